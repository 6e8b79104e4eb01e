//! Readings from several set-ups of an instrument brought to one horizon by the points that they share.
//!
//! In: readings, each with its set-up. Out: one height a point, and a [`Network`]: how high each line of sight is, what is
//! left over at every reading, how far the readings check each other, which of them look wrong.
//!
//! Model: z = h(point) - s(set-up), z the reading as a height over its own line of sight, h the point's height over the
//! line of sight of the first set-up, s the height of that of its own (0 for the first). Least squares with equal weights;
//! the points are eliminated (h is the mean of z + s over a point's readings), what is left is one unknown a set-up but
//! the first, solved by Cholesky. Residual: v = z + s - h. Redundancy: readings - points - (set-ups - 1). Standard
//! deviation of a reading that the residuals imply: root of (sum of v² / redundancy).
//! Redundancy number of a reading: r = 1 - variance of its fitted value over that of a reading; 0 if nothing checks it.
//!
//! A reading looks wrong if |v| / (u root r) is more than 3, u the standard uncertainty of one reading; the worst is put
//! aside, the rest adjusted again, until none is left (data snooping after Baarda; from memory). None is taken out
//! of the heights: that is for whoever held the staff.
//!
//! Points are the same if they have the same name, or, where one of the two has none, if they are within a millimetre.

use std::collections::HashMap;

use nalgebra::{DMatrix, DVector};

use crate::error::{Error, Result, Warning};
use crate::survey::Reading;
use crate::survey::delimited::{count, shown};
use crate::units::System;

/// Readings without a name that are closer than this on the plan are of one point, m.
const ONE_PLACE: f64 = 1e-3;
/// Readings with one name that are farther apart than this are not of one point, m: places come off a tape.
const ONE_NAME: f64 = 0.1;
/// The most set-ups: their equations are held whole.
const MOST_SETUPS: usize = 200;
/// A reading is checked by others if its redundancy number is above this.
const CHECKED: f64 = 1e-6;
/// Standard deviations from which on a reading looks wrong.
const WRONG: f64 = 3.0;
/// Readings that share the largest residual to this part are equally likely to be wrong.
const AS_LIKELY: f64 = 1e-6;
/// The most readings that are named as wrong: beyond that the survey is.
const MOST_WRONG: usize = 10;
/// A scatter this many times the uncertainty, or this part of it, is worth a warning ...
const DIFFERENT: f64 = 2.0;
/// ... where the redundancy is at least this: chi-square of 3 is above 12 once in 140 times ...
const TO_SHOW_MORE: usize = 3;
/// ... or this: chi-square of 10 is below 2.5 once in 110 times.
const TO_SHOW_LESS: usize = 10;

/// A set-up of the instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct SetUp {
    /// Its name; empty where readings have none.
    pub name: String,
    /// Height of its line of sight over that of the first set-up, m.
    pub height: f64,
    /// Number of its readings.
    pub readings: usize,
}

/// A reading in the adjustment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tie {
    /// Index of its point.
    pub point: usize,
    /// Index of its set-up.
    pub setup: usize,
    /// Height over its own line of sight, m.
    pub z: f64,
    /// What is left over: the reading less the adjusted one, as a height, m.
    pub residual: f64,
    /// How far other readings check it: from 0, not at all, to 1.
    pub redundancy: f64,
}

/// An adjusted point.
#[derive(Debug, Clone, PartialEq)]
pub struct TiedPoint {
    /// Its name, or its place.
    pub name: String,
    /// Height over the line of sight of the first set-up, m.
    pub height: f64,
    /// Number of its readings.
    pub readings: usize,
}

/// Set-ups tied by the points that they share.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    /// In the order in which they come up.
    pub setups: Vec<SetUp>,
    /// In the order in which they come up.
    pub points: Vec<TiedPoint>,
    /// Every reading, in the order of the survey.
    pub ties: Vec<Tie>,
    /// Readings beyond those that the unknowns need.
    pub redundancy: usize,
    /// Standard deviation of one reading that the residuals imply, m; None without redundancy.
    pub scatter: Option<f64>,
}

/// A reading that does not fit the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Wrong {
    /// Indices of the readings that may be the wrong one, all of them equally likely.
    pub ties: Vec<usize>,
    /// The first of them less what the others make of it, as a height, m.
    pub off: f64,
}

/// Brings readings of several set-ups to the line of sight of the first; None if there are not several.
///
/// # Errors
/// [`Error::Floor`] for a set-up tied to no other, for one name at two places, and for more set-ups than a floor has.
pub fn adjust(readings: &[Reading]) -> Result<Option<(Vec<Reading>, Network)>> {
    let (names, of_reading) = setups(readings);
    if names.len() < 2 {
        return Ok(None);
    }
    if names.len() > MOST_SETUPS {
        let wanted = format!("at most {MOST_SETUPS}");
        return Err(Error::floor(count(names.len(), "set-up"), wanted));
    }
    let (mut points, of_point) = points(readings)?;
    let ties: Vec<Tie> = readings
        .iter()
        .zip(of_reading.iter().zip(&of_point))
        .map(|(reading, (&setup, &point))| Tie {
            point,
            setup,
            z: reading.z,
            residual: 0.0,
            redundancy: 0.0,
        })
        .collect();
    all_tied(&ties, points.len(), &names)?;
    let network = solved(ties, &points, names)?;
    for (point, adjusted) in points.iter_mut().zip(&network.points) {
        (point.z, point.setup) = (adjusted.height, None);
    }
    Ok(Some((points, network)))
}

/// The names of the set-ups in the order in which they come up, and the set-up of every reading.
fn setups(readings: &[Reading]) -> (Vec<String>, Vec<usize>) {
    let mut names = Vec::new();
    let mut known = HashMap::new();
    let of_reading = readings
        .iter()
        .map(|reading| {
            let name = reading.setup.as_deref().unwrap_or_default();
            *known.entry(name).or_insert_with(|| {
                names.push(name.to_owned());
                names.len() - 1
            })
        })
        .collect();
    (names, of_reading)
}

fn solved(mut ties: Vec<Tie>, points: &[Reading], names: Vec<String>) -> Result<Network> {
    let heights = solve(&mut ties, points.len(), names.len()).ok_or_else(|| {
        let found = "heights of set-ups that cannot be solved for";
        Error::floor(found, "the readings of one floor")
    })?;
    let (mut of_point, mut of_setup) = (vec![0; points.len()], vec![0; names.len()]);
    for tie in &ties {
        of_point[tie.point] += 1;
        of_setup[tie.setup] += 1;
    }
    let tied_point = |((point, readings), &height): ((&Reading, usize), &f64)| TiedPoint {
        name: point
            .name
            .clone()
            .unwrap_or_else(|| System::Metric.place(point.x, point.y)),
        height,
        readings,
    };
    let setup = |((name, readings), &height): ((String, usize), &f64)| SetUp {
        name,
        height,
        readings,
    };
    let redundancy = (ties.len() + 1).saturating_sub(points.len() + names.len());
    let squares: f64 = ties.iter().map(|tie| tie.residual * tie.residual).sum();
    let counted = points.iter().zip(of_point);
    Ok(Network {
        points: counted.zip(&heights.points).map(tied_point).collect(),
        setups: names
            .into_iter()
            .zip(of_setup)
            .zip(&heights.setups)
            .map(setup)
            .collect(),
        ties,
        redundancy,
        scatter: (redundancy > 0).then(|| (squares / redundancy as f64).sqrt()),
    })
}

/// The points that were read, each as its first reading, and the point of every reading.
fn points(readings: &[Reading]) -> Result<(Vec<Reading>, Vec<usize>)> {
    let mut points: Vec<Reading> = Vec::new();
    let mut named: HashMap<&str, usize> = HashMap::new();
    let mut placed: HashMap<[u64; 2], usize> = HashMap::new();
    let mut of_reading = Vec::with_capacity(readings.len());
    for reading in readings {
        let name = reading.name.as_deref();
        let same_place = |&index: &usize| {
            let nameless = |point: &&Reading| name.is_none() || point.name.is_none();
            let point = points.get(index).filter(nameless);
            point.is_some_and(|point| apart(point, reading) <= ONE_PLACE)
        };
        let by_name = name.and_then(|name| named.get(name).copied());
        let by_place = || {
            squares(reading)
                .filter_map(|square| placed.get(&square).copied())
                .find(same_place)
        };
        let index = by_name.or_else(by_place).unwrap_or(points.len());
        match points.get_mut(index) {
            Some(point) if apart(point, reading) > ONE_NAME => {
                return Err(two_places(point, reading));
            }
            Some(point) => point.name = point.name.take().or_else(|| reading.name.clone()),
            None => {
                points.push(reading.clone());
                placed.entry(square(reading, 0.0, 0.0)).or_insert(index);
            }
        }
        if let Some(name) = name {
            named.insert(name, index);
        }
        of_reading.push(index);
    }
    Ok((points, of_reading))
}

/// Distance on the plan, m.
fn apart(a: &Reading, b: &Reading) -> f64 {
    (a.x - b.x).hypot(a.y - b.y)
}

/// The square of the plan, [`ONE_PLACE`] wide, that a reading is in, or one beside it.
fn square(reading: &Reading, right: f64, up: f64) -> [u64; 2] {
    // Zero is added so that minus zero is the same square as zero.
    let number = |at: f64, beside: f64| ((at / ONE_PLACE).round() + beside + 0.0).to_bits();
    [number(reading.x, right), number(reading.y, up)]
}

/// The square that a reading is in and the eight about it.
fn squares(reading: &Reading) -> impl Iterator<Item = [u64; 2]> + '_ {
    let beside = [0.0, -1.0, 1.0];
    beside.into_iter().flat_map(move |up| {
        let square = move |right| square(reading, right, up);
        beside.into_iter().map(square)
    })
}

fn two_places(first: &Reading, second: &Reading) -> Error {
    let place = |reading: &Reading| System::Metric.place(reading.x, reading.y);
    let name = shown(second.name.as_deref().unwrap_or_default());
    Error::floor(
        format!("point {name} at {} and at {}", place(first), place(second)),
        "a name of its own for every point of all set-ups (or no names: then points are told by their place)",
    )
}

/// What a set-up is called in a sentence.
fn setup_name(name: &str) -> String {
    if name.is_empty() {
        "the set-up without a name".to_owned()
    } else {
        format!("set-up {}", shown(name))
    }
}

/// That every set-up is tied to the first, directly or through others.
fn all_tied(ties: &[Tie], points: usize, names: &[String]) -> Result<()> {
    let (mut seen_from, mut read_from) = (vec![Vec::new(); names.len()], vec![Vec::new(); points]);
    for tie in ties {
        seen_from[tie.setup].push(tie.point);
        read_from[tie.point].push(tie.setup);
    }
    let reach = |start: usize| {
        let (mut reached, mut done) = (vec![false; names.len()], vec![false; points]);
        let mut open: Vec<usize> = vec![start];
        while let Some(setup) = open.pop() {
            if std::mem::replace(&mut reached[setup], true) {
                continue;
            }
            for &point in &seen_from[setup] {
                if !std::mem::replace(&mut done[point], true) {
                    open.extend(&read_from[point]);
                }
            }
        }
        reached
    };
    let from_first = reach(0);
    let Some(apart) = from_first.iter().position(|reached| !reached) else {
        return Ok(());
    };
    // The smaller part is the one to name: it may be the first that stands alone.
    let from_apart = reach(apart);
    let size = |reached: &[bool]| reached.iter().filter(|reached| **reached).count();
    let part = if size(&from_first) < size(&from_apart) {
        from_first
    } else {
        from_apart
    };
    let names: Vec<_> = names
        .iter()
        .zip(part)
        .filter(|(_, part)| *part)
        .map(|(name, _)| setup_name(name))
        .collect();
    Err(Error::floor(
        format!(
            "no point that ties {} to the other set-ups",
            names.join(", ")
        ),
        "at least one point read from both, with the same name or the same x and y (or no column setup, if the heights \
         have one zero already)",
    ))
}

/// Heights of points and of lines of sight, m.
struct Heights {
    points: Vec<f64>,
    setups: Vec<f64>,
}

/// For every point, the set-ups it was read from, each with its share of the point's readings.
type Shares = Vec<Vec<(usize, f64)>>;

/// Adjusts `ties`, which must hang together, and fills in their residuals and redundancy numbers.
fn solve(ties: &mut [Tie], points: usize, setups: usize) -> Option<Heights> {
    let shares = shares(ties, points);
    let (mut means, mut counts) = (vec![0.0; points], vec![0.0_f64; points]);
    for tie in ties.iter() {
        means[tie.point] += tie.z;
        counts[tie.point] += 1.0;
    }
    for (mean, count) in means.iter_mut().zip(&counts) {
        *mean /= count.max(1.0);
    }
    let mut right = DVector::<f64>::zeros(setups - 1);
    for tie in ties.iter().filter(|tie| tie.setup > 0) {
        right[tie.setup - 1] -= tie.z - means[tie.point];
    }
    let factors = normal(&shares, &counts, setups).cholesky()?;
    let mut sights = vec![0.0];
    sights.extend(factors.solve(&right).iter());
    let height = |(shares, mean): (&Vec<(usize, f64)>, &f64)| {
        let sight = |&(setup, share): &(usize, f64)| share * sights[setup];
        mean + shares.iter().map(sight).sum::<f64>()
    };
    let heights: Vec<f64> = shares.iter().zip(&means).map(height).collect();
    let variances = sight_variances(&shares, &factors.inverse());
    for tie in ties.iter_mut() {
        let fitted = 1.0 / counts[tie.point] + variances[tie.point][&tie.setup];
        tie.residual = tie.z + sights[tie.setup] - heights[tie.point];
        tie.redundancy = (1.0 - fitted).max(0.0);
    }
    Some(Heights {
        points: heights,
        setups: sights,
    })
}

fn shares(ties: &[Tie], points: usize) -> Shares {
    let mut setups: Vec<Vec<usize>> = vec![Vec::new(); points];
    for tie in ties {
        setups[tie.point].push(tie.setup);
    }
    let shares = |mut setups: Vec<usize>| {
        setups.sort_unstable();
        let all = setups.len() as f64;
        let share = |same: &[usize]| Some((*same.first()?, same.len() as f64 / all));
        setups.chunk_by(|a, b| a == b).filter_map(share).collect()
    };
    setups.into_iter().map(shares).collect()
}

/// The normal equations of the set-ups but the first, which is held: row and column 0 are those of the second.
fn normal(shares: &Shares, counts: &[f64], setups: usize) -> DMatrix<f64> {
    let mut normal = DMatrix::<f64>::zeros(setups - 1, setups - 1);
    for (shares, &readings) in shares.iter().zip(counts) {
        for &(one, share) in shares.iter().filter(|(one, _)| *one > 0) {
            normal[(one - 1, one - 1)] += share * readings;
            for &(other, of_other) in shares.iter().filter(|(other, _)| *other > 0) {
                normal[(one - 1, other - 1)] -= share * of_other * readings;
            }
        }
    }
    normal
}

/// For every point and each of its set-ups: variance of that line of sight less the mean of all that the point was read
/// from, in variances of a reading.
fn sight_variances(shares: &Shares, inverse: &DMatrix<f64>) -> Vec<HashMap<usize, f64>> {
    let cofactor = |one: usize, other: usize| match (one, other) {
        (0, _) | (_, 0) => 0.0,
        (one, other) => inverse[(one - 1, other - 1)],
    };
    let of_point = |shares: &Vec<(usize, f64)>| {
        let with_mean = |one: usize| {
            let part = |&(other, share): &(usize, f64)| share * cofactor(one, other);
            shares.iter().map(part).sum::<f64>()
        };
        let with_mean: Vec<f64> = shares.iter().map(|&(one, _)| with_mean(one)).collect();
        let both = shares.iter().zip(&with_mean);
        let mean: f64 = both.clone().map(|((_, share), with)| share * with).sum();
        both.map(|(&(one, _), with)| (one, cofactor(one, one) - 2.0 * with + mean))
            .collect()
    };
    shares.iter().map(of_point).collect()
}

impl Network {
    /// The readings of points that were read more than once, point by point, each with its point and its set-up.
    pub fn shared(&self) -> impl Iterator<Item = (&TiedPoint, &SetUp, &Tie)> {
        let mut ties: Vec<&Tie> = self.ties.iter().collect();
        ties.sort_by_key(|tie| tie.point);
        ties.into_iter()
            .map(|tie| (&self.points[tie.point], &self.setups[tie.setup], tie))
            .filter(|(point, _, _)| point.readings > 1)
    }

    /// The readings that do not fit, the worst first; `u` is the standard uncertainty of one reading, m.
    pub fn wrong(&self, u: f64) -> Vec<Wrong> {
        let size = |tie: &Tie| {
            if tie.redundancy > CHECKED {
                tie.residual.abs() / (u * tie.redundancy.sqrt())
            } else {
                0.0
            }
        };
        let (mut ties, mut kept) = (self.ties.clone(), (0..self.ties.len()).collect::<Vec<_>>());
        let mut found = Vec::new();
        while found.len() < MOST_WRONG {
            let worst = ties.iter().map(size).fold(0.0, f64::max);
            let suspects: Vec<usize> = (0..ties.len())
                .filter(|&tie| size(&ties[tie]) >= worst * (1.0 - AS_LIKELY))
                .collect();
            let Some(&first) = suspects.first().filter(|_| worst > WRONG) else {
                break;
            };
            found.push(Wrong {
                off: ties[first].residual / ties[first].redundancy,
                ties: suspects.iter().map(|&tie| kept[tie]).collect(),
            });
            ties.remove(first);
            kept.remove(first);
            if solve(&mut ties, self.points.len(), self.setups.len()).is_none() {
                break;
            }
        }
        found
    }

    /// What the user should know, where one reading has the standard uncertainty `u`, m.
    pub fn warnings(&self, u: f64) -> Vec<Warning> {
        let Some(scatter) = self.scatter else {
            return vec![Warning(
                "the set-ups share no more points than they need: a misread point would not show; share two or more"
                    .to_owned(),
            )];
        };
        let mut warnings: Vec<_> = self
            .wrong(u)
            .iter()
            .map(|wrong| self.doubt(wrong))
            .collect();
        let more = scatter > DIFFERENT * u && self.redundancy >= TO_SHOW_MORE;
        let less = scatter < u / DIFFERENT && self.redundancy >= TO_SHOW_LESS;
        if more || less {
            let [shown, taken] = [scatter, u].map(|length| System::Metric.height(length));
            warnings.push(Warning(format!(
                "the points that set-ups share show one reading to scatter by {shown}, where it is taken as known to {taken}: \
                 consider --u"
            )));
        }
        warnings
    }

    fn doubt(&self, wrong: &Wrong) -> Warning {
        let name = |&tie: &usize| {
            let Tie { point, setup, .. } = self.ties[tie];
            let setup = setup_name(&self.setups[setup].name);
            format!("{} from {setup}", shown(&self.points[point].name))
        };
        let names: Vec<_> = wrong.ties.iter().map(name).collect();
        let off = System::Metric.height(wrong.off.abs());
        Warning(match names.as_slice() {
            [one] => format!(
                "the reading of {one} is {off} off what the others make of it: read it again"
            ),
            several => format!(
                "one of these readings is {off} off, and the others do not tell which: {}: read them again",
                several.join(", ")
            ),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(name: &str, setup: &str, [x, y, z]: [f64; 3]) -> Reading {
        let text = |text: &str| (!text.is_empty()).then(|| text.to_owned());
        Reading {
            name: text(name),
            x,
            y,
            z,
            setup: text(setup),
        }
    }

    fn error(readings: &[Reading]) -> String {
        adjust(readings).expect_err("an error").to_string()
    }

    #[test]
    fn one_set_up_is_left_as_it_is() {
        assert_eq!(adjust(&[]).expect("nothing"), None);
        let one = [
            reading("A", "I", [0.0, 0.0, -1.0]),
            reading("B", "I", [1.0, 0.0, -1.0]),
        ];
        assert_eq!(adjust(&one).expect("one set-up"), None);
    }

    /// Two set-ups, two shared points that differ by 100 and 104 mm: the second line of sight is 102 mm lower, the mean
    /// of the two, and each of the four readings is left with 1 mm.
    #[test]
    fn two_set_ups_share_the_difference_of_their_ties() {
        let readings = [
            reading("A", "I", [0.0, 0.0, -1.200]),
            reading("B", "I", [1.0, 0.0, -1.300]),
            reading("A", "II", [0.0, 0.0, -1.100]),
            reading("B", "II", [1.0, 0.0, -1.196]),
            reading("C", "II", [2.0, 0.0, -1.000]),
        ];
        let (points, network) = adjust(&readings).expect("tied").expect("two set-ups");
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} {b}");
        close(network.setups[1].height, -0.102);
        for (point, height) in points.iter().zip([-1.201, -1.299, -1.102]) {
            close(point.z, height);
            assert_eq!(point.setup, None);
        }
        for tie in &network.ties[..4] {
            close(tie.residual.abs(), 0.001);
            close(tie.redundancy, 0.25);
        }
        close(network.ties[4].redundancy, 0.0);
        assert_eq!(network.redundancy, 1);
        close(network.scatter.expect("redundancy"), 0.002);
    }

    #[test]
    fn points_are_told_by_name_or_by_place() {
        let at = |name, setup, x| reading(name, setup, [x, 0.0, 0.0]);
        for pair in [
            [at("A", "I", 0.0), at("A", "II", 0.05)],
            [at("", "I", 0.0), at("", "II", 0.0009)],
            [at("A", "I", -0.0004), at("", "II", 0.0004)],
            [at("", "I", 1e6), at("A", "", 1e6)],
        ] {
            let (points, _) = adjust(&pair).expect("tied").expect("two set-ups");
            assert_eq!(points.len(), 1, "{pair:?}");
        }
        for pair in [
            [at("A", "I", 0.0), at("B", "II", 0.0)],
            [at("", "I", 0.0), at("", "II", 0.0011)],
        ] {
            assert!(error(&pair).contains("no point that ties"), "{pair:?}");
        }
    }

    #[test]
    fn errors_name_what_is_not_tied() {
        let readings = [
            reading("A", "I", [0.0; 3]),
            reading("A", "II", [0.0; 3]),
            reading("B", "III", [1.0, 0.0, 0.0]),
        ];
        assert_eq!(
            error(&readings),
            "the survey: found no point that ties set-up III to the other set-ups; wanted at least one point read from \
             both, with the same name or the same x and y (or no column setup, if the heights have one zero already)"
        );
        // The first is the one that stands alone.
        let first = [reading("C", "0", [5.0, 0.0, 0.0])];
        let alone = error(&[&first[..], &readings[..2]].concat());
        assert!(alone.contains("ties set-up 0 to"), "{alone}");
        let twice = error(&[
            reading("1", "I", [0.0; 3]),
            reading("1", "II", [3.0, 0.0, 0.0]),
        ]);
        assert!(
            twice.contains("point 1 at x 0.00, y 0.00 m and at x 3.00, y 0.00 m"),
            "{twice}"
        );
        let many: Vec<_> = (0..=MOST_SETUPS)
            .map(|setup| reading("A", &setup.to_string(), [0.0; 3]))
            .collect();
        assert!(error(&many).contains("201 set-ups"));
    }

    #[test]
    fn readings_without_a_check_are_said_to_have_none() {
        let readings = [reading("A", "I", [0.0; 3]), reading("A", "II", [0.0; 3])];
        let (_, network) = adjust(&readings).expect("tied").expect("two set-ups");
        assert_eq!(network.scatter, None);
        let warnings = network.warnings(0.001);
        assert!(
            warnings.len() == 1 && warnings[0].0.contains("would not show"),
            "{warnings:?}"
        );
    }

    #[test]
    fn a_blunder_that_could_be_any_of_four_readings_names_four() {
        let readings = [
            reading("A", "I", [0.0, 0.0, 0.0]),
            reading("B", "I", [1.0, 0.0, 0.0]),
            reading("A", "II", [0.0, 0.0, 0.0]),
            reading("B", "II", [1.0, 0.0, 0.010]),
        ];
        let (_, network) = adjust(&readings).expect("tied").expect("two set-ups");
        assert_eq!(
            network.warnings(0.001)[0].0,
            "one of these readings is 10.0 mm off, and the others do not tell which: A from set-up I, B from set-up I, A \
             from set-up II, B from set-up II: read them again"
        );
        assert_eq!(network.warnings(0.002), []);
    }
}

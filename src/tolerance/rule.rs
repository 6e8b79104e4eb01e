//! How a floor is measured for a class, and what it may measure.
//!
//! In: the figures of a standard. Out: a [`Rule`]. Formula of a tabled limit: straight line between the tabled
//! distances, rounded half up to whole millimetres where the standard says so (read for DIN 18202 on
//! klb-klimaleichtblock.de, Ebenheitstoleranzen).
//! Not here: the measuring (see `flatness`), what is allowed at a distance in height (see [`Allowed`]).

use std::borrow::Cow;

use super::allowed::{Allowed, JUST_BELOW};
use crate::units::{MILLIMETRE, System};

/// Limits at or above a distance's rounding step by less than this share of a step count as reaching it: 17.5 is
/// 17.5, whatever the last binary digit says.
const ROUNDING_SLACK: f64 = 1e-9;

/// A limit that is not rounded is held to the tenth of a millimetre below it, m: never too kind, and strict by less than
/// any wedge tells.
const FINE_STEP: f64 = 1e-4;

/// Distances and limits, m, both rising.
pub type Table = Cow<'static, [(f64, f64)]>;

/// Which part of a floor an F-number is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// All sample lines together.
    Overall,
    /// The sample line with the lowest number.
    Local,
}

/// A way of measuring a floor, with its limits, m.
#[derive(Debug, Clone, PartialEq)]
pub enum Rule {
    /// A straightedge resting on the floor: the gap beneath it, between its contacts.
    Straightedge {
        /// Length of the edge, m.
        length: f64,
        /// The widest gap allowed, m.
        limit: f64,
    },
    /// A lath laid across two high places: the gap between them, its limit by the distance between them.
    ByDistance {
        /// Distance and limit; the limit is the same before the first distance and after the last.
        row: Table,
        /// Whether the limit between tabled distances is rounded, half up, to whole millimetres.
        whole_mm: bool,
    },
    /// A rule on two equal shims, one at each end: the deviation of the floor from the line between its ends.
    EndShims {
        /// Length of the rule, m.
        length: f64,
        /// The largest deviation allowed, up or down, m.
        limit: f64,
    },
    /// A grid of heights: a node's deviation from the mean of its two neighbours.
    GridMethod {
        /// Distance between neighbours, m.
        pitch: f64,
        /// The largest deviation allowed, up or down, m.
        limit: f64,
    },
    /// The difference in height of two places.
    Level {
        /// Places nearer to each other than this are not compared, m.
        from: f64,
        /// Nor are those farther apart, m.
        to: f64,
        /// The largest difference, by the distance.
        allowed: Allowed,
    },
    /// The departure from the floor's mean level.
    Band {
        /// The height of the survey that it is measured from, m; None for the floor's own mean level.
        datum: Option<f64>,
        /// The largest departure allowed, up or down, m.
        limit: f64,
    },
    /// An abrupt step: the difference in height of two places next to each other, the floor's slope between them included.
    Step {
        /// Places farther apart than this are not next to each other, m.
        within: f64,
        /// The largest difference allowed, m.
        limit: f64,
    },
    /// Differences in height of neighbours on a grid along the floor's axes, at the 95th percentile.
    Differences {
        /// Distance of the neighbours, m.
        apart: f64,
        /// The largest allowed, m.
        limit: f64,
    },
    /// Second differences, from one step to the next along the floor's axes, at the 95th percentile.
    SecondDifferences {
        /// Length of a step, m.
        apart: f64,
        /// The largest allowed, m.
        limit: f64,
    },
    /// The F-number for flatness, FF of ASTM E1155.
    FlatnessNumber {
        /// Of which part of the floor.
        part: Part,
        /// The least allowed.
        least: f64,
    },
    /// The F-number for levelness, FL of ASTM E1155.
    LevelnessNumber {
        /// Of which part of the floor.
        part: Part,
        /// The least allowed.
        least: f64,
    },
    /// The waviness index of ASTM E1486.
    Waviness {
        /// The largest allowed, m.
        limit: f64,
    },
}

impl Rule {
    /// A lath whose limit is rounded to whole millimetres.
    pub const fn by_distance(row: &'static [(f64, f64)]) -> Self {
        Self::ByDistance {
            row: Cow::Borrowed(row),
            whole_mm: true,
        }
    }

    /// How a person is told to measure it.
    pub fn describe(&self, units: System) -> String {
        let long = |length: &f64| size(*length, units);
        match self {
            Self::Straightedge { length, .. } => format!(
                "widest gap under a {} straightedge, between its contacts with the floor",
                long(length)
            ),
            Self::ByDistance { .. } => {
                "widest gap under a lath between two high places, by the distance between them"
                    .to_owned()
            }
            Self::EndShims { length, .. } => format!(
                "largest deviation, up or down, under a {} rule on equal end shims",
                long(length)
            ),
            Self::GridMethod { pitch, .. } => format!(
                "largest deviation of a height from the mean of its two neighbours, {} away",
                long(pitch)
            ),
            Self::Level { from, to, .. } => {
                let apart = match (*from > 0.0, to.is_finite()) {
                    (true, true) => format!("{} to {} apart", long(from), long(to)),
                    (true, false) => format!("{} or more apart", long(from)),
                    (false, true) => format!("up to {} apart", long(to)),
                    (false, false) => "any distance apart".to_owned(),
                };
                format!("difference in height of two places, {apart}")
            }
            Self::Band { datum: None, .. } => {
                "largest departure from the floor's mean level".to_owned()
            }
            Self::Band {
                datum: Some(datum), ..
            } => format!(
                "largest departure from a datum at {}",
                units.signed_height(*datum)
            ),
            Self::Step { within, .. } => format!(
                "abrupt step: difference in height of two places up to {} apart",
                units.height(*within)
            ),
            Self::Differences { apart, .. } => format!(
                "difference in height of neighbours on a {} grid, 95th percentile",
                long(apart)
            ),
            Self::SecondDifferences { apart, .. } => format!(
                "change from one {} difference in height to the next, 95th percentile",
                long(apart)
            ),
            Self::FlatnessNumber { part, .. } => format!("flatness number FF, {}", part.describe()),
            Self::LevelnessNumber { part, .. } => {
                format!("levelness number FL, {}", part.describe())
            }
            Self::Waviness { .. } => "waviness index along sample lines".to_owned(),
        }
    }

    /// What is allowed, in the user's units.
    pub fn allowance(&self, units: System) -> String {
        let over = |way: &str, limit: f64, length: f64| {
            format!(
                "{} under {}",
                way.to_owned() + &units.height(limit),
                units.plan(length)
            )
        };
        match self {
            Self::Straightedge { length, limit } => over("at most ", *limit, *length),
            Self::ByDistance { row, .. } => table(row, "at", units),
            Self::EndShims { length, limit } => over("± ", *limit, *length),
            Self::GridMethod { pitch, limit } => {
                format!(
                    "± {} over {}",
                    units.height(*limit),
                    units.plan(2.0 * pitch)
                )
            }
            Self::Level { allowed, .. } => format!("at most {}", allowed.describe(units)),
            Self::Band { limit, .. } => format!("± {}", units.height(*limit)),
            Self::Step { within, limit } => {
                let [limit, within] = [limit, within].map(|length| units.height(*length));
                format!("at most {limit} within {within}")
            }
            Self::Differences { apart, limit } => {
                format!(
                    "95 % at most {} over {}",
                    units.height(*limit),
                    units.plan(*apart)
                )
            }
            Self::SecondDifferences { apart, limit } => format!(
                "95 % at most {} from one {} to the next",
                units.height(*limit),
                units.plan(*apart)
            ),
            Self::Waviness { limit } => format!("at most {}", units.height(*limit)),
            Self::FlatnessNumber { least, .. } => format!("FF at least {least}"),
            Self::LevelnessNumber { least, .. } => format!("FL at least {least}"),
        }
    }

    /// The one length that it is measured over, m, if there is one.
    pub fn length(&self) -> Option<f64> {
        match self {
            Self::Straightedge { length, .. } | Self::EndShims { length, .. } => Some(*length),
            Self::GridMethod { pitch, .. } => Some(2.0 * pitch),
            Self::Step { within, .. } => Some(*within),
            Self::Differences { apart, .. } => Some(*apart),
            Self::SecondDifferences { apart, .. } => Some(2.0 * apart),
            Self::ByDistance { .. }
            | Self::Level { .. }
            | Self::Band { .. }
            | Self::FlatnessNumber { .. }
            | Self::LevelnessNumber { .. }
            | Self::Waviness { .. } => None,
        }
    }

    /// Its one limit, m, if there is one.
    pub fn limit(&self) -> Option<f64> {
        match self {
            Self::Straightedge { limit, .. }
            | Self::EndShims { limit, .. }
            | Self::GridMethod { limit, .. }
            | Self::Band { limit, .. }
            | Self::Step { limit, .. }
            | Self::Differences { limit, .. }
            | Self::SecondDifferences { limit, .. }
            | Self::Waviness { limit }
            | Self::Level {
                allowed: Allowed::Fixed(limit),
                ..
            } => Some(*limit),
            Self::ByDistance { .. }
            | Self::Level { .. }
            | Self::FlatnessNumber { .. }
            | Self::LevelnessNumber { .. } => None,
        }
    }

    /// The least F-number, where it is one: the more the better, unlike everything else.
    pub fn least(&self) -> Option<f64> {
        match self {
            Self::FlatnessNumber { least, .. } | Self::LevelnessNumber { least, .. } => {
                Some(*least)
            }
            Self::Straightedge { .. }
            | Self::ByDistance { .. }
            | Self::EndShims { .. }
            | Self::GridMethod { .. }
            | Self::Level { .. }
            | Self::Band { .. }
            | Self::Step { .. }
            | Self::Differences { .. }
            | Self::SecondDifferences { .. }
            | Self::Waviness { .. } => None,
        }
    }

    /// The straightedge that it is laid with, m, if it is one.
    pub fn edge(&self) -> Option<f64> {
        match self {
            Self::Straightedge { length, .. } => Some(*length),
            Self::ByDistance { .. }
            | Self::EndShims { .. }
            | Self::GridMethod { .. }
            | Self::Level { .. }
            | Self::Band { .. }
            | Self::Step { .. }
            | Self::Differences { .. }
            | Self::SecondDifferences { .. }
            | Self::FlatnessNumber { .. }
            | Self::LevelnessNumber { .. }
            | Self::Waviness { .. } => None,
        }
    }

    /// Where it is about the flatness of an edge: length and limit, m, a tabled limit at `usual` metres.
    pub fn flatness(&self, usual: f64) -> Option<(f64, f64)> {
        match self {
            Self::ByDistance { row, whole_mm } => Some((usual, tabled(row, *whole_mm, usual))),
            Self::Straightedge { .. } | Self::EndShims { .. } | Self::GridMethod { .. } => {
                self.length().zip(self.limit())
            }
            Self::Level { .. }
            | Self::Band { .. }
            | Self::Step { .. }
            | Self::Differences { .. }
            | Self::SecondDifferences { .. }
            | Self::FlatnessNumber { .. }
            | Self::LevelnessNumber { .. }
            | Self::Waviness { .. } => None,
        }
    }

    /// A value or a limit of it as it is shown: a height, or a bare number.
    pub fn show(&self, value: f64, units: System) -> String {
        match self.least() {
            Some(_) => format!("{value:.1}"),
            None => units.height(value),
        }
    }
}

impl Part {
    fn describe(self) -> &'static str {
        match self {
            Self::Overall => "all sample lines together",
            Self::Local => "the lowest sample line",
        }
    }
}

/// A length as it is spoken: 2 m, 0.25 m, 10 ft 0 in.
fn size(length: f64, units: System) -> String {
    match units {
        System::Metric => format!("{} m", (length * 1e3).round() / 1e3),
        System::Imperial => units.plan(length),
    }
}

/// A table of limits in words; `at` is what stands before each distance.
pub(super) fn table(pairs: &[(f64, f64)], at: &str, units: System) -> String {
    let pair = |(distance, limit): &(f64, f64)| {
        let distance = if distance.is_finite() {
            format!("{at} {}", units.plan(*distance))
        } else {
            "beyond".to_owned()
        };
        format!("{} {distance}", units.height(*limit))
    };
    pairs.iter().map(pair).collect::<Vec<_>>().join(", ")
}

/// The limit of a `row` of distances and limits at `distance`, m: linear between, and rounded half up to whole
/// millimetres if `whole_mm`.
pub fn tabled(row: &[(f64, f64)], whole_mm: bool, distance: f64) -> f64 {
    let after = row.partition_point(|(tabled, _)| *tabled < distance);
    let limit = match (
        after.checked_sub(1).and_then(|i| row.get(i)),
        row.get(after),
    ) {
        (Some((d0, v0)), Some((d1, v1))) => v0 + (v1 - v0) * (distance - d0) / (d1 - d0),
        (Some((_, only)), None) | (None, Some((_, only))) => *only,
        (None, None) => 0.0,
    };
    if whole_mm {
        (limit / MILLIMETRE + 0.5 + ROUNDING_SLACK).floor() * MILLIMETRE
    } else {
        limit
    }
}

/// The lengths at which the limit of a `row` steps: the longest distance with a limit, and that limit, m. A
/// lath of each of these lengths, held to its one limit, is the whole rule: at any shorter distance its limit is no
/// tighter than the row's, and the row's own is held by a shorter lath. A limit that is not rounded is cut down to steps of
/// a tenth of a millimetre.
pub fn steps(row: &[(f64, f64)], whole_mm: bool) -> Vec<(f64, f64)> {
    let (step, carried) = if whole_mm {
        (MILLIMETRE, 0.5)
    } else {
        (FINE_STEP, 1.0)
    };
    let count = |limit: f64| (limit / step + 1.0 - carried + ROUNDING_SLACK).floor();
    let mut steps = Vec::new();
    for pair in row.windows(2) {
        let [(d0, v0), (d1, v1)] = [pair[0], pair[1]];
        let mut at = count(v0);
        while at < count(v1) {
            let share = ((at + carried) * step - v0) / (v1 - v0);
            let crossing = d0 + share * (d1 - d0);
            steps.push((crossing * (1.0 - JUST_BELOW), at * step));
            at += 1.0;
        }
    }
    steps.extend(row.last().map(|&(distance, _)| {
        let limit = tabled(row, whole_mm, distance);
        (f64::INFINITY, limit)
    }));
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROW: &[(f64, f64)] = &[(0.1, 0.010), (1.0, 0.015), (4.0, 0.020)];

    /// The steps are those of the rounded limit: just at a step's length its limit, just beyond it the next.
    #[test]
    fn steps_are_where_the_rounded_limit_changes() {
        let steps = steps(ROW, true);
        assert_eq!(steps.len(), 11);
        for pair in steps.windows(2) {
            let (length, limit) = pair[0];
            assert!(
                (tabled(ROW, true, length) - limit).abs() < 1e-12,
                "{length}"
            );
            let beyond = tabled(ROW, true, length * (1.0 + 2.0 * JUST_BELOW));
            assert!((beyond - pair[1].1).abs() < 1e-12, "{length}");
        }
        // Half way, 17.5 mm at 2.5 m, is already 18 mm.
        assert!((tabled(ROW, true, 2.5) - 0.018).abs() < 1e-12);
        assert!(steps.iter().all(|(length, _)| (length - 2.5).abs() > 1e-9));
    }

    /// Without rounding the limit of every distance is cut down by less than a tenth of a millimetre.
    #[test]
    fn a_limit_that_is_not_rounded_is_cut_down_by_a_tenth_at_most() {
        let steps = steps(ROW, false);
        for distance in [0.05, 0.1, 0.33, 1.0, 1.7, 3.99, 4.0, 9.0] {
            let (_, held) = *steps
                .iter()
                .find(|(to, _)| distance <= *to)
                .expect("a last step");
            let limit = tabled(ROW, false, distance);
            assert!(
                held <= limit + 1e-12 && held > limit - FINE_STEP - 1e-12,
                "{distance}: {held} {limit}"
            );
        }
        assert!((tabled(ROW, false, 2.5) - 0.0175).abs() < 1e-12);
    }

    #[test]
    fn told_in_both_systems() {
        let rule = Rule::Straightedge {
            length: 3.048,
            limit: 0.003175,
        };
        assert!(
            rule.describe(System::Imperial)
                .contains("10 ft 0 in straightedge")
        );
        assert_eq!(
            rule.allowance(System::Imperial),
            "at most 1/8 in under 10 ft 0 in"
        );
        assert!(
            rule.describe(System::Metric)
                .contains("3.048 m straightedge")
        );
        let local = Rule::FlatnessNumber {
            part: Part::Local,
            least: 15.0,
        };
        assert_eq!(local.allowance(System::Metric), "FF at least 15");
        assert_eq!((local.limit(), local.least()), (None, Some(15.0)));
    }
}

//! Measures a floor by a rule.
//!
//! In: a rule, a surface, the straightedges that were laid already, and what was measured along sample lines. Out: what
//! was found, where, with its uncertainty and the limit that it is held against. A rule whose limit goes by the distance
//! gives one measurement for every length at which the limit steps.
//!
//! How close readings must lie to show a floor within (to show it outside, one place is enough):
//!
//! - edges, in contact or on shims: an eighth of their length; by distance, of the longest distance with the tightest limit;
//! - the grid method, differences and second differences: at the distance that they compare;
//! - levels: at the shortest distance that is compared, but no closer than a metre; the band: every three metres. What the
//!   floor does between such readings is a matter of flatness. Both are our own choice; a 3 m grid is what TR34 surveys use;
//! - a step: half the distance, so that two places on its two sides are compared even where a cell lies across it.

use super::along::{Along, Estimate};
use super::bias::bias;
use super::differences::{self, FEWEST, Order};
use super::levels;
use super::straightedge::{Contact, Straightedge, lay, widest_gap};
use super::supports::{self, Between};
use crate::surface::{HeightField, Level, Surface};
use crate::tolerance::{Allowed, Part, Rule, rule};

/// One-sided 95 % quantile of the normal distribution.
pub const K: f64 = 1.645;

/// The coarsest spacing that can show a floor within, as a share of the straightedge.
pub const SPARSE: f64 = 1.0 / 8.0;

/// What a floor is smoothed for where a rule has no one length, m: it moves only the mean of what noise adds, which is not
/// used here.
const USUAL: f64 = 2.0;

/// Levels are compared between readings no farther apart than this or than the shortest distance of the rule, m.
const LEVEL_SPACING: f64 = 1.0;

/// A band takes readings no farther apart than this, m.
const BAND_SPACING: f64 = 3.0;

/// A spacing within this share of the coarsest counts as that.
const SPACING_SLACK: f64 = 1e-9;

/// Where a value was found, in nodes of the lattice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// At C, under an edge from A to B.
    Chord {
        /// One end.
        a: usize,
        /// The other.
        b: usize,
        /// Where the wedge goes in.
        c: usize,
    },
    /// Between two places.
    Pair {
        /// One.
        a: usize,
        /// The other.
        b: usize,
    },
    /// At one place.
    Node(usize),
    /// Along all sample lines.
    Lines,
}

/// How well a value is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Doubt {
    /// As well as the heights that it is made of.
    Heights {
        /// Its standard uncertainty, m.
        u: f64,
        /// The standard uncertainty of one height there, m.
        one: f64,
        /// What noise adds to the worst of a floor in one case in twenty at most, m; 0 where it could not be simulated.
        reach: f64,
    },
    /// It lies between these, each bound alone one-sided 95 %.
    Interval {
        /// At the least.
        low: f64,
        /// At the most.
        high: f64,
        /// How many readings it comes from.
        readings: usize,
    },
}

/// A value with its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// What is held against the limit, m, or an F-number; never negative.
    pub value: f64,
    /// How well it is known.
    pub doubt: Doubt,
    /// Where it is.
    pub place: Place,
}

impl Found {
    /// Of heights: a value with its standard uncertainty and that of one height, m.
    fn of_heights(value: f64, u: f64, one: f64, place: Place) -> Self {
        Self {
            value,
            doubt: Doubt::Heights { u, one, reach: 0.0 },
            place,
        }
    }

    fn along(estimate: Estimate) -> Self {
        let Estimate {
            value,
            low,
            high,
            readings,
        } = estimate;
        Self {
            value,
            doubt: Doubt::Interval {
                low,
                high,
                readings,
            },
            place: Place::Lines,
        }
    }

    /// Its standard uncertainty, m, where it has one.
    pub fn u(&self) -> Option<f64> {
        match self.doubt {
            Doubt::Heights { u, .. } => Some(u),
            Doubt::Interval { .. } => None,
        }
    }

    /// The node where it was found, or one of two.
    fn node(&self) -> Option<usize> {
        match self.place {
            Place::Chord { c: node, .. } | Place::Pair { a: node, .. } | Place::Node(node) => {
                Some(node)
            }
            Place::Lines => None,
        }
    }

    /// Where it lies at the least and at the most, each bound alone one-sided 95 %. The worst of many noisy values is
    /// more likely too large than too small, so that noise alone must not make up what is over a limit.
    pub fn bounds(&self) -> [f64; 2] {
        match self.doubt {
            Doubt::Heights { u, reach, .. } => [self.value - reach.max(K * u), self.value + K * u],
            Doubt::Interval { low, high, .. } => [low, high],
        }
    }
}

/// What a survey lacks to show a floor within.
#[derive(Debug, Clone, PartialEq)]
pub enum Needed {
    /// Readings no farther apart than this, m.
    Spacing(f64),
    /// Enough differences between readings.
    Differences {
        /// How many.
        count: usize,
        /// So far apart, m.
        apart: f64,
    },
    /// Sample lines: the reason why nothing was measured along them.
    Lines(String),
}

/// What was measured for one limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurement {
    /// The limit, m, or the least F-number.
    pub limit: f64,
    /// The length of the edge, or the distance of the places, m, where there is one. No greater than the floor's.
    pub length: Option<f64>,
    /// The worst that was found; None where there was nothing to measure.
    pub found: Option<Found>,
    /// What is lacking to show the floor within, if anything.
    pub needed: Option<Needed>,
}

/// Measures by a rule. `laid` saves laying a straightedge again.
pub fn measure(
    rule: &Rule,
    laid: &[Straightedge],
    along: &Along,
    surface: &Surface,
) -> Vec<Measurement> {
    let mut measured = values(rule, laid, along, surface);
    let at = measured
        .iter()
        .find_map(|one| one.found.and_then(|found| found.node()));
    let simulated = at.and_then(|at| reach(rule, laid, surface, at));
    for found in measured.iter_mut().filter_map(|one| one.found.as_mut()) {
        if let Doubt::Heights { reach, .. } = &mut found.doubt {
            *reach = simulated.unwrap_or(0.0);
        }
    }
    measured
}

/// What noise adds to what the rule finds, in one case in twenty at most, m; simulated around node `at` if the floor is
/// too large. Over a lath of any length noise makes no wider gap than over an endless one, and between two places no more
/// than between its highest and its lowest.
fn reach(rule: &Rule, laid: &[Straightedge], surface: &Surface, at: usize) -> Option<f64> {
    let known = |length: f64| laid.iter().find(|edge| edge.length == length)?.bias;
    let simulated = |length: f64, worst: &(dyn Fn(&HeightField) -> Option<f64> + Sync)| {
        bias(surface, at, length, worst)
    };
    let bias = match *rule {
        Rule::Straightedge { length, .. } => {
            known(length).or_else(|| simulated(length, &|field| widest_gap(field, length)))
        }
        Rule::ByDistance { .. } => simulated(USUAL, &|field| widest_gap(field, f64::INFINITY)),
        Rule::EndShims { length, .. } => simulated(length, &|field| {
            Some(supports::worst(field, length, Between::Everywhere)?.gap)
        }),
        Rule::GridMethod { pitch, .. } => simulated(2.0 * pitch, &|field| {
            Some(supports::worst(field, 2.0 * pitch, Between::Middle)?.gap)
        }),
        Rule::Level { .. } => simulated(USUAL, &|field| {
            let heights = || field.z.iter().copied().filter(|z| z.is_finite());
            Some(heights().reduce(f64::max)? - heights().reduce(f64::min)?)
        }),
        Rule::Band { .. } => simulated(USUAL, &|field| Some(levels::farthest(field, 0.0)?.1)),
        Rule::Step { within, .. } => simulated(USUAL, &|field| {
            Some(levels::worst(field, 0.0, within, &Allowed::Fixed(1.0))?.height)
        }),
        Rule::Differences { apart, .. } => simulated(USUAL, &|field| {
            Some(differences::percentile(field, apart, Order::First)?.value)
        }),
        Rule::SecondDifferences { apart, .. } => simulated(USUAL, &|field| {
            Some(differences::percentile(field, apart, Order::Second)?.value)
        }),
        Rule::FlatnessNumber { .. } | Rule::LevelnessNumber { .. } | Rule::Waviness { .. } => None,
    };
    bias.map(|bias| bias.reach)
}

/// What is measured, with no regard to what noise alone may make of it.
pub fn values(
    rule: &Rule,
    laid: &[Straightedge],
    along: &Along,
    surface: &Surface,
) -> Vec<Measurement> {
    let field = &surface.field;
    let one = match rule {
        &Rule::Straightedge { length, limit } => {
            let known = laid.iter().find(|edge| edge.length == length);
            let worst = known.map_or_else(|| lay(field, length).worst, |edge| edge.worst);
            chord(surface, length, limit, worst)
        }
        Rule::ByDistance { row, whole_mm } => return by_distance(row, *whole_mm, surface),
        &Rule::EndShims { length, limit } => {
            let worst = supports::worst(field, length, Between::Everywhere);
            chord(surface, length, limit, worst)
        }
        &Rule::GridMethod { pitch, limit } => {
            let length = 2.0 * pitch;
            let worst = supports::worst(field, length, Between::Middle);
            Measurement {
                needed: match worst {
                    None => Some(Needed::Spacing(pitch)),
                    Some(_) => closer(surface, pitch),
                },
                ..chord(surface, length, limit, worst)
            }
        }
        Rule::Level { from, to, allowed } => {
            let worst = levels::worst(field, *from, *to, allowed);
            Measurement {
                limit: worst.map_or_else(|| allowed.at(*from), |worst| worst.limit),
                length: worst.map(|worst| worst.distance),
                found: worst.map(|worst| pair(field, worst)),
                needed: closer(surface, from.max(LEVEL_SPACING)),
            }
        }
        &Rule::Step { within, limit } => {
            let allowed = Allowed::Fixed(limit);
            let worst = levels::worst(field, 0.0, within, &allowed);
            Measurement {
                limit,
                length: Some(within),
                found: worst.map(|worst| pair(field, worst)),
                needed: match worst {
                    None => Some(Needed::Spacing(within / 2.0)),
                    Some(_) => closer(surface, within / 2.0),
                },
            }
        }
        &Rule::Band { datum, limit } => band(surface, datum, limit),
        &Rule::Differences { apart, limit } => differences(surface, apart, limit, Order::First),
        &Rule::SecondDifferences { apart, limit } => {
            differences(surface, apart, limit, Order::Second)
        }
        &Rule::FlatnessNumber { part, least } => match part {
            Part::Overall => on_lines(&along.ff, least),
            Part::Local => on_lines(&along.ff_local, least),
        },
        &Rule::LevelnessNumber { part, least } => match part {
            Part::Overall => on_lines(&along.fl, least),
            Part::Local => on_lines(&along.fl_local, least),
        },
        &Rule::Waviness { limit } => on_lines(&along.waviness, limit),
    };
    vec![one]
}

/// The spacing that a rule needs, if the survey's is wider.
fn closer(surface: &Surface, spacing: f64) -> Option<Needed> {
    (surface.spacing > spacing * (1.0 + SPACING_SLACK)).then_some(Needed::Spacing(spacing))
}

/// A lath for every length at which the limit steps. Laths longer than the floor are all the same: the first of them is
/// held to the tightest limit, and the rest are left out.
fn by_distance(row: &[(f64, f64)], whole_mm: bool, surface: &Surface) -> Vec<Measurement> {
    let field = &surface.field;
    let across = (field.nx as f64 * field.dx).hypot(field.ny as f64 * field.dy);
    let mut measurements = Vec::new();
    for (length, limit) in rule::steps(row, whole_mm) {
        let laid = lay(field, length);
        let mut measurement = chord(surface, length.min(across), limit, laid.worst);
        if let Some(Contact { a, b, .. }) = laid.worst {
            let ([ax, ay], [bx, by]) = (field.position(a), field.position(b));
            measurement.length = Some((bx - ax).hypot(by - ay));
        }
        measurements.push(measurement);
        if length > across {
            break;
        }
    }
    measurements
}

/// What a chord rule of `length` found, and whether the readings are close enough for it.
fn chord(surface: &Surface, length: f64, limit: f64, worst: Option<Contact>) -> Measurement {
    let field = &surface.field;
    let needed = length * SPARSE;
    Measurement {
        limit,
        length: Some(length),
        found: worst.map(|Contact { a, b, c, gap, u }| {
            Found::of_heights(gap, u, field.u[c], Place::Chord { a, b, c })
        }),
        needed: match worst {
            None => Some(Needed::Spacing(needed)),
            Some(_) => closer(surface, needed),
        },
    }
}

fn pair(field: &HeightField, difference: levels::Difference) -> Found {
    let levels::Difference { a, b, height, .. } = difference;
    let [ua, ub] = [field.u[a], field.u[b]];
    Found::of_heights(height, ua.hypot(ub), ua.max(ub), Place::Pair { a, b })
}

/// The mean of a floor is known far better than one height: its uncertainty is left out. A datum is a height of the survey.
fn band(surface: &Surface, datum: Option<f64>, limit: f64) -> Measurement {
    let field = &surface.field;
    let middle = datum
        .map(|datum| datum - surface.origin[2])
        .or_else(|| Level::of(&surface.heights()).map(|level| level.mean));
    let farthest = middle.and_then(|middle| levels::farthest(field, middle));
    Measurement {
        limit,
        length: None,
        found: farthest.map(|(node, value)| {
            Found::of_heights(value, field.u[node], field.u[node], Place::Node(node))
        }),
        needed: closer(surface, BAND_SPACING),
    }
}

fn differences(surface: &Surface, apart: f64, limit: f64, order: Order) -> Measurement {
    let field = &surface.field;
    let found = differences::percentile(field, apart, order);
    let span = match order {
        Order::First => apart,
        Order::Second => 2.0 * apart,
    };
    let few = found.is_none_or(|found| found.count < FEWEST);
    let too_few = Needed::Differences {
        count: FEWEST,
        apart,
    };
    Measurement {
        limit,
        length: Some(span),
        found: found.map(
            |differences::Percentile {
                 value, nodes, u, ..
             }| {
                let [a, c, b] = nodes;
                let place = match order {
                    Order::First => Place::Pair { a, b },
                    Order::Second => Place::Chord { a, b, c },
                };
                Found::of_heights(value, u, field.u[c], place)
            },
        ),
        needed: closer(surface, apart).or(few.then_some(too_few)),
    }
}

fn on_lines(measured: &Result<Estimate, String>, limit: f64) -> Measurement {
    Measurement {
        limit,
        length: None,
        found: measured.as_ref().ok().copied().map(Found::along),
        needed: measured.as_ref().err().cloned().map(Needed::Lines),
    }
}

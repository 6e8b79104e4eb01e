//! Measures a floor by a rule.
//!
//! In: a rule, a surface, the straightedges that were laid already, and what was measured along sample lines. Out: what
//! was found, where, with its uncertainty and the limit that it is held against. A rule whose limit goes by the distance
//! gives one measurement for every length at which the limit steps.
//!
//! A tilt of the plane that heights were measured from (`--tilt`) adds tilt · distance to the doubt of a difference in height.
//! A gap, a deviation from a chord and a second difference do not feel it: w z_A + (1 - w) z_B - z_C of a plane is nothing.
//! FL feels it (see `f_numbers`), FF and waviness do not.
//!
//! How close readings must lie to show a floor within (to show it outside, one place is enough):
//!
//! - edges, in contact or on shims: an eighth of their length; by distance, of the longest distance with the tightest limit;
//! - the grid method, differences and second differences: at the distance that they compare;
//! - levels: at the shortest distance that is compared, but no closer than a metre; the band: every three metres. What the
//!   floor does between such readings is a matter of flatness. Both are our own choice; a 3 m grid is what TR34 surveys use;
//! - a step: half the distance, so that two places on its two sides are compared even where a cell lies across it.

mod heights;

use std::collections::HashMap;

use super::along::{Along, Estimate};
use super::bias;
use super::differences::{self, FEWEST, Order};
use super::levels;
use super::straightedge::{Contact, Straightedge, lay, widest_gap};
use super::supports::{self, Between};
use crate::surface::{HeightField, Surface};
use crate::tolerance::{Allowed, Part, Rule, rule};
use heights::{band, by_level, pair};

/// One-sided 95 % quantile of the normal distribution.
pub const K: f64 = 1.645;

/// The coarsest spacing that can show a floor within, as a share of the straightedge.
pub const SPARSE: f64 = 1.0 / 8.0;

/// What two independent tilts of one standard uncertainty, along x and along y, come to together in one case in twenty at
/// most: sqrt(-2 ln 0.05), by Rayleigh's distribution. A worst difference is found wherever the tilt makes it so.
const TILT_REACH: f64 = 2.4477;

/// A spacing within this share of the coarsest counts as that.
const SPACING_SLACK: f64 = 1e-9;

/// Where a value was found, in nodes of the lattice, or in places of a straightedge book.
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
        /// Its standard uncertainty from those heights, m.
        u: f64,
        /// Its standard uncertainty from the tilt of the plane that they were measured from, m; 0 where that cancels.
        tilt: f64,
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
            doubt: Doubt::Heights {
                u,
                tilt: 0.0,
                one,
                reach: 0.0,
            },
            place,
        }
    }

    /// The same over a `distance`, m, on a surface whose heights share a tilt.
    fn tilted(mut self, surface: &Surface, distance: f64) -> Self {
        if let Doubt::Heights { tilt, .. } = &mut self.doubt {
            *tilt = surface.shared.tilt * distance;
        }
        self
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
            Doubt::Heights { u, tilt, .. } => Some(u.hypot(tilt)),
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
            Doubt::Heights { u, tilt, reach, .. } => {
                let below = reach.max(K * u).hypot(TILT_REACH * tilt);
                [self.value - below, self.value + K * u.hypot(tilt)]
            }
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
    /// What lies between the places of a straightedge book: what the book shows instead, and what would decide it.
    Places(String),
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
    measure_next(rule, laid, along, surface, &mut EndlessLath::default())
}

/// What noise makes under a lath of any length, by the node that it was simulated around, None for the whole floor: the same
/// for every row of a table of limits by distance.
pub(super) type EndlessLath = HashMap<Option<usize>, Option<f64>>;

/// The same for one of several rules, which share what noise makes under a lath.
pub(super) fn measure_next(
    rule: &Rule,
    laid: &[Straightedge],
    along: &Along,
    surface: &Surface,
    endless: &mut EndlessLath,
) -> Vec<Measurement> {
    let mut measured = values(rule, laid, along, surface);
    let at = measured
        .iter()
        .find_map(|one| one.found.and_then(|found| found.node()));
    let simulated = at.and_then(|at| reach(rule, laid, surface, at, endless));
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
fn reach(
    rule: &Rule,
    laid: &[Straightedge],
    surface: &Surface,
    at: usize,
    endless: &mut EndlessLath,
) -> Option<f64> {
    let known = |length: f64| laid.iter().find(|edge| edge.length == length)?.bias;
    let simulated =
        |worst: &(dyn Fn(&HeightField) -> Option<f64> + Sync)| bias::reach(surface, at, worst);
    match *rule {
        Rule::Straightedge { length, .. } => known(length)
            .map(|bias| bias.reach)
            .or_else(|| simulated(&|field| widest_gap(field, length))),
        Rule::ByDistance { .. } => *endless
            .entry(bias::around(surface, at))
            .or_insert_with(|| simulated(&|field| widest_gap(field, f64::INFINITY))),
        Rule::EndShims { length, .. } => {
            simulated(&|field| Some(supports::worst(field, length, Between::Everywhere)?.gap))
        }
        Rule::GridMethod { pitch, .. } => {
            simulated(&|field| Some(supports::worst(field, 2.0 * pitch, Between::Middle)?.gap))
        }
        Rule::Level { .. } => simulated(&|field| {
            let heights = || field.z.iter().copied().filter(|z| z.is_finite());
            Some(heights().reduce(f64::max)? - heights().reduce(f64::min)?)
        }),
        Rule::Band { .. } => simulated(&|field| Some(levels::farthest(field, 0.0)?.1)),
        Rule::Step { within, .. } => simulated(&|field| {
            Some(levels::worst(field, 0.0, within, &Allowed::Fixed(1.0))?.height)
        }),
        Rule::Differences { apart, .. } => {
            simulated(&|field| Some(differences::percentile(field, apart, Order::First)?.value))
        }
        Rule::SecondDifferences { apart, .. } => {
            simulated(&|field| Some(differences::percentile(field, apart, Order::Second)?.value))
        }
        Rule::FlatnessNumber { .. } | Rule::LevelnessNumber { .. } | Rule::Waviness { .. } => None,
    }
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
        Rule::Level { from, to, allowed } => return by_level(surface, *from, *to, allowed),
        &Rule::Step { within, limit } => {
            let allowed = Allowed::Fixed(limit);
            let worst = levels::worst(field, 0.0, within, &allowed);
            Measurement {
                limit,
                length: Some(within),
                found: worst.map(|worst| pair(surface, worst)),
                needed: match worst {
                    None => Some(Needed::Spacing(within / 2.0)),
                    Some(_) => closer(surface, within / 2.0),
                },
            }
        }
        &Rule::Band { datum, limit } => return band(surface, datum, limit),
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
                let found = Found::of_heights(value, u, field.u[c], place);
                match order {
                    Order::First => found.tilted(surface, apart),
                    Order::Second => found,
                }
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

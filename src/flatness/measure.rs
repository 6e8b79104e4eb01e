//! Measures a floor by a rule.
//!
//! In: a rule, a surface, and the straightedges that were laid already. Out: what was found, where, with its
//! uncertainty and the limit that it is held against. A rule whose limit goes by the distance gives one measurement for
//! every length at which the limit steps.
//!
//! A survey coarser than an eighth of a straightedge can prove a floor outside and never within.

use super::bias::bias;
use super::levels;
use super::straightedge::{Contact, Straightedge, lay, widest_gap};
use super::supports::{self, Between};
use crate::surface::{HeightField, Level, Surface};
use crate::tolerance::{Rule, rule};

/// The coarsest spacing that can show a floor within, as a share of the straightedge.
pub const SPARSE: f64 = 1.0 / 8.0;

/// What a floor is smoothed for where a rule has no one length, m: it moves only the mean of what noise adds, which is not
/// used here.
const USUAL: f64 = 2.0;

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
}

/// A value with its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// What is held against the limit, m; never negative.
    pub value: f64,
    /// Its standard uncertainty, m.
    pub u: f64,
    /// The standard uncertainty of one height there, m.
    pub one_height: f64,
    /// What noise adds to the worst of a floor in one case in twenty at most, m; 0 where it could not be simulated.
    pub reach: f64,
    /// Where it is.
    pub place: Place,
}

impl Found {
    /// The node where it was found, or one of two.
    fn node(self) -> usize {
        match self.place {
            Place::Chord { c, .. } => c,
            Place::Pair { a, .. } => a,
            Place::Node(node) => node,
        }
    }

    fn chord(field: &HeightField, contact: Contact) -> Self {
        let Contact { a, b, c, gap, u } = contact;
        Self {
            value: gap,
            u,
            one_height: field.u[c],
            reach: 0.0,
            place: Place::Chord { a, b, c },
        }
    }
}

/// What was measured for one limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measurement {
    /// The limit, m.
    pub limit: f64,
    /// The length of the edge, or the distance of the places, m, where there is one. No greater than the floor's.
    pub length: Option<f64>,
    /// The worst that was found; None where there was nothing to measure.
    pub found: Option<Found>,
    /// Where the readings are too far apart to show the floor within: how far apart they may be, m.
    pub needed: Option<f64>,
}

/// Measures by a rule. `laid` saves laying a straightedge again.
pub fn measure(rule: Rule, laid: &[Straightedge], surface: &Surface) -> Vec<Measurement> {
    let mut measured = values(rule, laid, surface);
    let at = measured.iter().find_map(|one| one.found).map(Found::node);
    let reach = at.and_then(|at| reach(rule, laid, surface, at));
    let found = measured.iter_mut().filter_map(|one| one.found.as_mut());
    found.for_each(|found| found.reach = reach.unwrap_or(0.0));
    measured
}

/// What noise adds to what the rule finds, in one case in twenty at most, m; simulated around node `at` if the floor is
/// too large. Over a lath of any length noise makes no wider gap than over an endless one, and between two places no more
/// than between its highest and its lowest.
fn reach(rule: Rule, laid: &[Straightedge], surface: &Surface, at: usize) -> Option<f64> {
    let known = |length: f64| laid.iter().find(|edge| edge.length == length)?.bias;
    let simulated = |length: f64, worst: fn(&HeightField, f64) -> Option<f64>| {
        bias(surface, at, length, |field| worst(field, length))
    };
    let endless = f64::INFINITY;
    let bias = match rule {
        Rule::Straightedge { length, .. } => {
            known(length).or_else(|| simulated(length, widest_gap))
        }
        Rule::ByDistance { .. } => bias(surface, at, USUAL, |field| widest_gap(field, endless)),
        Rule::EndShims { length, .. } => simulated(length, |field, length| {
            Some(supports::worst(field, length, Between::Everywhere)?.gap)
        }),
        Rule::GridMethod { pitch, .. } => simulated(2.0 * pitch, |field, length| {
            Some(supports::worst(field, length, Between::Middle)?.gap)
        }),
        Rule::Level { .. } => simulated(USUAL, |field, _| {
            let heights = || field.z.iter().copied().filter(|z| z.is_finite());
            Some(heights().reduce(f64::max)? - heights().reduce(f64::min)?)
        }),
        Rule::Band { .. } => simulated(USUAL, |field, _| Some(levels::farthest(field, 0.0)?.1)),
    };
    bias.map(|bias| bias.reach)
}

fn values(rule: Rule, laid: &[Straightedge], surface: &Surface) -> Vec<Measurement> {
    let field = &surface.field;
    match rule {
        Rule::Straightedge { length, limit } => {
            let known = laid.iter().find(|edge| edge.length == length);
            let worst = known.map_or_else(|| lay(field, length).worst, |edge| edge.worst);
            vec![chord(surface, length, limit, worst)]
        }
        Rule::ByDistance { row } => by_distance(row, surface),
        Rule::EndShims { length, limit } => {
            let worst = supports::worst(field, length, Between::Everywhere);
            vec![chord(surface, length, limit, worst)]
        }
        Rule::GridMethod { pitch, limit } => {
            let length = 2.0 * pitch;
            let worst = supports::worst(field, length, Between::Middle);
            vec![Measurement {
                needed: worst.is_none().then_some(pitch),
                ..chord(surface, length, limit, worst)
            }]
        }
        Rule::Level { from, to, allowed } => {
            let worst = levels::worst(field, from, to, allowed);
            vec![Measurement {
                limit: worst.map_or_else(|| allowed.at(from), |worst| worst.limit),
                length: worst.map(|worst| worst.distance),
                found: worst.map(|levels::Difference { a, b, height, .. }| Found {
                    value: height,
                    u: field.u[a].hypot(field.u[b]),
                    one_height: field.u[a].max(field.u[b]),
                    reach: 0.0,
                    place: Place::Pair { a, b },
                }),
                needed: None,
            }]
        }
        Rule::Band { limit } => vec![band(surface, limit)],
    }
}

/// A lath for every length at which the limit steps. Laths longer than the floor are all the same: the first of them is
/// held to the tightest limit, and the rest are left out.
fn by_distance(row: &[(f64, f64)], surface: &Surface) -> Vec<Measurement> {
    let field = &surface.field;
    let across = (field.nx as f64 * field.dx).hypot(field.ny as f64 * field.dy);
    let mut measurements = Vec::new();
    for (length, limit) in rule::steps(row) {
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
    let needed = length * SPARSE;
    let sparse = worst.is_none() || surface.spacing > needed * (1.0 + SPACING_SLACK);
    Measurement {
        limit,
        length: Some(length),
        found: worst.map(|contact| Found::chord(&surface.field, contact)),
        needed: sparse.then_some(needed),
    }
}

/// The mean of a floor is known far better than one height: its uncertainty is left out.
fn band(surface: &Surface, limit: f64) -> Measurement {
    let field = &surface.field;
    let mean = Level::of(&surface.heights()).map(|level| level.mean);
    let farthest = mean.and_then(|mean| levels::farthest(field, mean));
    Measurement {
        limit,
        length: None,
        found: farthest.map(|(node, value)| Found {
            value,
            u: field.u[node],
            one_height: field.u[node],
            reach: 0.0,
            place: Place::Node(node),
        }),
        needed: None,
    }
}

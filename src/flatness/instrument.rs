//! Is the instrument level enough, and does the two-peg test allow saying so?
//!
//! In: a two-peg test, the standard uncertainty of one reading. Out: the collimation held against stated limits, by the
//! same rule as a class: within, outside or undecided with a one-sided 95 % guard.

use super::verdict::{K, Verdict};
use crate::survey::two_peg::TwoPeg;
use crate::units::MILLIMETRE;

/// How far a line of sight may be off.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentLimit {
    /// What it is for.
    pub title: &'static str,
    /// m per m, up or down.
    pub rate: f64,
    /// Where the figure was found.
    pub source: &'static str,
}

/// The stated limits, the tightest first.
pub const LIMITS: [InstrumentLimit; 2] = [
    InstrumentLimit {
        title: "first-order levelling",
        rate: 1.0 * MILLIMETRE / 50.0,
        source: "1.0 mm in 50 m, manual of the Australian Height Datum",
    },
    InstrumentLimit {
        title: "rotating laser for building",
        rate: 1.5 * MILLIMETRE / 30.0,
        source: "1.5 mm in 30 m, as makers' manuals have it",
    },
];

/// Holds a two-peg test against `limit`, one reading having the standard uncertainty `u`, m.
pub fn judge(test: &TwoPeg, limit: &InstrumentLimit, u: f64) -> Verdict {
    let (off, doubt) = (test.collimation.abs(), K * test.u(u));
    if off - doubt > limit.rate {
        Verdict::Outside
    } else if off + doubt <= limit.rate {
        Verdict::Within
    } else {
        Verdict::Undecided
    }
}

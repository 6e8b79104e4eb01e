//! What difference in height is allowed between two places, by their distance.
//!
//! In: the figures of a standard. Out: a limit for every distance.

use super::rule::{Table, table};
use crate::units::System;

/// What falls short of a distance by this share of it is below it: far more than rounding errors, far less than a tape.
pub(super) const JUST_BELOW: f64 = 1e-8;

/// A difference in height that depends on the distance. It never falls with it.
#[derive(Debug, Clone, PartialEq)]
pub enum Allowed {
    /// At every distance the same, m.
    Fixed(f64),
    /// Up to each distance the limit beside it, m; the last has no end.
    Steps(Table),
    /// So much, m, and so much more with every metre, m/m.
    Linear(f64, f64),
    /// So much at one metre, m, and growing with the cube root of the distance.
    CubeRoot(f64),
}

impl Allowed {
    /// The largest difference allowed at `distance`, m.
    pub fn at(&self, distance: f64) -> f64 {
        match self {
            Self::Fixed(limit) => *limit,
            Self::Steps(steps) => steps
                .iter()
                .find(|(to, _)| distance <= to * (1.0 + JUST_BELOW))
                .or(steps.last())
                .map_or(0.0, |(_, limit)| *limit),
            Self::Linear(start, slope) => start + slope * distance,
            Self::CubeRoot(at_one_metre) => at_one_metre * distance.cbrt(),
        }
    }

    pub(super) fn describe(&self, units: System) -> String {
        match self {
            Self::Fixed(limit) => units.height(*limit),
            Self::Steps(steps) => table(steps, "up to", units),
            Self::Linear(start, slope) if *start > 0.0 => {
                format!("{} + {}", units.height(*start), units.slope(*slope))
            }
            Self::Linear(_, slope) => units.slope(*slope),
            Self::CubeRoot(at_one_metre) => {
                format!("{} × cube root of the metres", units.height(*at_one_metre))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NF DTU 52.1 clause 10.2 (read on ffbatiment.fr): ± (5 mm + 1 mm × d); at 7 m 12 mm (computed).
    #[test]
    fn levels_by_distance() {
        assert!((Allowed::Linear(0.005, 0.001).at(7.0) - 0.012).abs() < 1e-12);
        // 10 L^(1/3), NF DTU 13.3 clause 17.2: 20 mm at 8 m.
        assert!((Allowed::CubeRoot(0.010).at(8.0) - 0.020).abs() < 1e-12);
        let steps = Allowed::Steps(vec![(0.5, 0.003), (1.0, 0.006), (f64::INFINITY, 0.030)].into());
        assert_eq!(
            [0.5, 0.51, 40.0].map(|d| steps.at(d)),
            [0.003, 0.006, 0.030]
        );
    }
}

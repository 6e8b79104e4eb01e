//! How a floor is measured for a class, and what it may measure.
//!
//! In: the figures of a standard. Out: a [`Rule`]. Formula of a tabled limit: straight line between the tabled
//! distances, rounded half up to whole millimetres (read for DIN 18202 on klb-klimaleichtblock.de, Ebenheitstoleranzen).
//! Not here: the measuring (see `flatness`).

use crate::units::{MILLIMETRE, System};

/// Limits at or above a distance's rounding step by less than this share of a millimetre count as reaching it: 17.5 is
/// 17.5, whatever the last binary digit says.
const ROUNDING_SLACK: f64 = 1e-9;

/// What falls short of a distance by this share of it is below it: far more than rounding errors, far less than a tape.
const JUST_BELOW: f64 = 1e-8;

/// A way of measuring a floor, with its limits, m.
#[derive(Debug, Clone, Copy, PartialEq)]
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
        /// Distance and limit, m, both rising; the limit is the same before the first distance and after the last.
        row: &'static [(f64, f64)],
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
        /// The largest departure allowed, up or down, m.
        limit: f64,
    },
}

/// A difference in height that depends on the distance. It never falls with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Allowed {
    /// At every distance the same, m.
    Fixed(f64),
    /// Up to each distance the limit beside it, m; the last has no end.
    Steps(&'static [(f64, f64)]),
    /// So much, m, and so much more with every metre, m/m.
    Linear(f64, f64),
    /// So much at one metre, m, and growing with the cube root of the distance.
    CubeRoot(f64),
}

impl Allowed {
    /// The largest difference allowed at `distance`, m.
    pub fn at(self, distance: f64) -> f64 {
        match self {
            Self::Fixed(limit) => limit,
            Self::Steps(steps) => steps
                .iter()
                .find(|(to, _)| distance <= to * (1.0 + JUST_BELOW))
                .or(steps.last())
                .map_or(0.0, |(_, limit)| *limit),
            Self::Linear(start, slope) => start + slope * distance,
            Self::CubeRoot(at_one_metre) => at_one_metre * distance.cbrt(),
        }
    }

    fn describe(self, units: System) -> String {
        match self {
            Self::Fixed(limit) => units.height(limit),
            Self::Steps(steps) => table(steps, "up to", units),
            Self::Linear(start, slope) if start > 0.0 => {
                format!("{} + {}", units.height(start), units.slope(slope))
            }
            Self::Linear(_, slope) => units.slope(slope),
            Self::CubeRoot(at_one_metre) => {
                format!("{} × cube root of the metres", units.height(at_one_metre))
            }
        }
    }
}

impl Rule {
    /// How a person is told to measure it.
    pub fn describe(self) -> String {
        let metres = |length: f64| (length * 1e3).round() / 1e3;
        match self {
            Self::Straightedge { length, .. } => {
                format!(
                    "widest gap under a {} m straightedge, between its contacts with the floor",
                    metres(length)
                )
            }
            Self::ByDistance { .. } => {
                "widest gap under a lath between two high places, by the distance between them"
                    .to_owned()
            }
            Self::EndShims { length, .. } => {
                format!(
                    "largest deviation, up or down, under a {} m rule on equal end shims",
                    metres(length)
                )
            }
            Self::GridMethod { pitch, .. } => format!(
                "largest deviation of a height from the mean of its two neighbours, {pitch} m away"
            ),
            Self::Level { from, to, .. } => {
                let apart = match (from > 0.0, to.is_finite()) {
                    (true, true) => format!("{from} m to {to} m apart"),
                    (true, false) => format!("{from} m or more apart"),
                    (false, true) => format!("up to {to} m apart"),
                    (false, false) => "any distance apart".to_owned(),
                };
                format!("difference in height of two places, {apart}")
            }
            Self::Band { .. } => "largest departure from the floor's mean level".to_owned(),
        }
    }

    /// What is allowed, in the user's units.
    pub fn allowance(self, units: System) -> String {
        match self {
            Self::Straightedge { length, limit } => {
                format!(
                    "at most {} under {}",
                    units.height(limit),
                    units.plan(length)
                )
            }
            Self::ByDistance { row } => table(row, "at", units),
            Self::EndShims { length, limit } => {
                format!("± {} under {}", units.height(limit), units.plan(length))
            }
            Self::GridMethod { pitch, limit } => {
                format!("± {} over {}", units.height(limit), units.plan(2.0 * pitch))
            }
            Self::Level { allowed, .. } => format!("at most {}", allowed.describe(units)),
            Self::Band { limit } => format!("± {}", units.height(limit)),
        }
    }

    /// The one length that it is measured over, m, if there is one.
    pub fn length(self) -> Option<f64> {
        match self {
            Self::Straightedge { length, .. } | Self::EndShims { length, .. } => Some(length),
            Self::GridMethod { pitch, .. } => Some(2.0 * pitch),
            Self::ByDistance { .. } | Self::Level { .. } | Self::Band { .. } => None,
        }
    }

    /// Its one limit, m, if there is one.
    pub fn limit(self) -> Option<f64> {
        match self {
            Self::Straightedge { limit, .. }
            | Self::EndShims { limit, .. }
            | Self::GridMethod { limit, .. }
            | Self::Band { limit }
            | Self::Level {
                allowed: Allowed::Fixed(limit),
                ..
            } => Some(limit),
            Self::ByDistance { .. } | Self::Level { .. } => None,
        }
    }

    /// Where it is about flatness: length and limit, m, a tabled limit at `usual` metres.
    pub fn flatness(self, usual: f64) -> Option<(f64, f64)> {
        match self {
            Self::ByDistance { row } => Some((usual, tabled(row, usual))),
            Self::Straightedge { .. } | Self::EndShims { .. } | Self::GridMethod { .. } => {
                self.length().zip(self.limit())
            }
            Self::Level { .. } | Self::Band { .. } => None,
        }
    }
}

fn table(pairs: &[(f64, f64)], at: &str, units: System) -> String {
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

/// The limit of a `row` of distances and limits at `distance`, m: linear between, rounded half up to whole millimetres.
pub fn tabled(row: &[(f64, f64)], distance: f64) -> f64 {
    let after = row.partition_point(|(tabled, _)| *tabled < distance);
    let limit = match (
        after.checked_sub(1).and_then(|i| row.get(i)),
        row.get(after),
    ) {
        (Some((d0, v0)), Some((d1, v1))) => v0 + (v1 - v0) * (distance - d0) / (d1 - d0),
        (Some((_, only)), None) | (None, Some((_, only))) => *only,
        (None, None) => 0.0,
    };
    (limit / MILLIMETRE + 0.5 + ROUNDING_SLACK).floor() * MILLIMETRE
}

/// The lengths at which the rounded limit of a `row` steps: the longest distance with a limit, and that limit, m. A
/// lath of each of these lengths, held to its one limit, is the whole rule: at any shorter distance its limit is no
/// tighter than the row's, and the row's own is held by a shorter lath.
pub fn steps(row: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let whole = |limit: f64| (limit / MILLIMETRE).round();
    let mut steps = Vec::new();
    for pair in row.windows(2) {
        let [(d0, v0), (d1, v1)] = [pair[0], pair[1]];
        let mut mm = whole(v0);
        while mm < whole(v1) {
            let share = ((mm + 0.5) * MILLIMETRE - v0) / (v1 - v0);
            let crossing = d0 + share * (d1 - d0);
            steps.push((crossing * (1.0 - JUST_BELOW), mm * MILLIMETRE));
            mm += 1.0;
        }
    }
    steps.extend(row.last().map(|&(_, limit)| (f64::INFINITY, limit)));
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROW: &[(f64, f64)] = &[(0.1, 0.010), (1.0, 0.015), (4.0, 0.020)];

    /// The steps are those of the rounded limit: just at a step's length its limit, just beyond it the next.
    #[test]
    fn steps_are_where_the_rounded_limit_changes() {
        let steps = steps(ROW);
        assert_eq!(steps.len(), 11);
        for pair in steps.windows(2) {
            let (length, limit) = pair[0];
            assert!((tabled(ROW, length) - limit).abs() < 1e-12, "{length}");
            let beyond = tabled(ROW, length * (1.0 + 2.0 * JUST_BELOW));
            assert!((beyond - pair[1].1).abs() < 1e-12, "{length}");
        }
        // Half way, 17.5 mm at 2.5 m, is already 18 mm.
        assert!((tabled(ROW, 2.5) - 0.018).abs() < 1e-12);
        assert!(steps.iter().all(|(length, _)| (length - 2.5).abs() > 1e-9));
    }

    /// NF DTU 52.1 clause 10.2 (read on ffbatiment.fr): ± (5 mm + 1 mm × d); at 7 m 12 mm (computed).
    #[test]
    fn levels_by_distance() {
        assert!((Allowed::Linear(0.005, 0.001).at(7.0) - 0.012).abs() < 1e-12);
        // 10 L^(1/3), NF DTU 13.3 clause 17.2: 20 mm at 8 m.
        assert!((Allowed::CubeRoot(0.010).at(8.0) - 0.020).abs() < 1e-12);
        let steps = Allowed::Steps(&[(0.5, 0.003), (1.0, 0.006), (f64::INFINITY, 0.030)]);
        assert_eq!(
            [0.5, 0.51, 40.0].map(|d| steps.at(d)),
            [0.003, 0.006, 0.030]
        );
    }
}

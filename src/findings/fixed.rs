//! Fixed levels against a finish: door sills, drains, a neighbouring floor.
//!
//! In: the fixed levels of a job, a floor and its target. Out: [`FixedLevels`].

use super::Findings;
use crate::pour::fixed::{self, FixedLevel, FixedReport};
use crate::pour::{Target, target};
use crate::surface::height_at;

/// Fixed levels, in local coordinates, and how a finish meets them.
#[derive(Debug, Clone, PartialEq)]
pub struct FixedLevels {
    /// Each of them held against the finish.
    pub reports: Vec<FixedReport>,
    /// The datum that meets most of them, of a level finish.
    pub proposed: Option<Proposed>,
}

/// A datum proposed for a level finish.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposed {
    /// Local height, m.
    pub datum: f64,
    /// Each fixed level held against it.
    pub reports: Vec<FixedReport>,
}

impl FixedLevels {
    /// `fixed`, with levels as the survey has heights, held against a finish; None of no fixed level. A datum is proposed
    /// that leaves at least `least_depth` (m) over the highest spot.
    pub fn of(
        fixed: &[FixedLevel],
        findings: &Findings,
        target: &Target,
        least_depth: f64,
    ) -> Option<Self> {
        if fixed.is_empty() {
            return None;
        }
        let surface = &findings.surface;
        let local = |one: &FixedLevel| one.local(surface.origin, findings.staff);
        let fixed: Vec<FixedLevel> = fixed.iter().map(local).collect();
        let finish = |x, y| match target {
            Target::Level { .. } | Target::Plane { .. } => Some(target.depth_over([x, y, 0.0])),
            Target::Raised(_) => {
                let [z, _] = height_at(surface, [x, y])?;
                Some(z + target.depth_over([x, y, z]))
            }
        };
        let proposed = match target {
            Target::Level { .. } => match target::level_from_cover(surface, least_depth) {
                Ok(Target::Level { datum }) => fixed::proposed_datum(&fixed, datum),
                Ok(Target::Plane { .. } | Target::Raised(_)) | Err(_) => None,
            },
            Target::Plane { .. } | Target::Raised(_) => None,
        };
        Some(Self {
            reports: fixed::report(&fixed, finish),
            proposed: proposed.map(|datum| Proposed {
                datum,
                reports: fixed::report(&fixed, |_, _| Some(datum)),
            }),
        })
    }
}

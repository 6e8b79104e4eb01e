//! The finished result of a job of several floors.
//!
//! In: each floor's plan. Out: [`HousePlan`], from which one order in all follows.

use super::PourPlan;
use crate::pour::fixed::{self, FixedLevel, FixedReport};
use crate::pour::together::{Together, together};
use crate::pour::{Target, target};

/// What a job is called, and what else is written at its head.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Heading {
    /// What it is called.
    pub title: String,
    /// For whom.
    pub client: Option<String>,
    /// Where.
    pub address: Option<String>,
    /// By whom.
    pub by: Option<String>,
    /// When, as it is written.
    pub date: Option<String>,
    /// Whatever else is to be said.
    pub remarks: Vec<String>,
}

/// A job, planned.
#[derive(Debug, Clone)]
pub struct HousePlan {
    /// What stands at its head.
    pub heading: Heading,
    /// The floors, in the order in which they are poured.
    pub floors: Vec<FloorPlan>,
}

impl HousePlan {
    /// What to buy of each compound in all.
    pub fn orders(&self) -> Vec<Together> {
        together(self.floors.iter().flat_map(|floor| floor.plan.orders()))
    }

    /// Whether every floor meets every class asked for.
    pub fn all_met(&self) -> bool {
        self.floors
            .iter()
            .all(|floor| floor.plan.findings.all_met())
    }
}

/// A floor of a job, planned.
#[derive(Debug, Clone)]
pub struct FloorPlan {
    /// What it is called.
    pub name: String,
    /// The same as part of a file's name.
    pub short_name: String,
    /// How it is poured.
    pub plan: PourPlan,
    /// The fixed levels and how the finish meets them.
    pub fixed: Option<FixedLevels>,
}

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
    /// `fixed`, with levels as the survey has heights, held against a plan that leaves at least `least_depth` (m) over the
    /// highest spot; None of no fixed level. What a finish that is raised over the floor meets is not known.
    pub fn of(fixed: &[FixedLevel], plan: &PourPlan, least_depth: f64) -> Option<Self> {
        if fixed.is_empty() {
            return None;
        }
        let surface = &plan.findings.surface;
        let local = |one: &FixedLevel| one.local(surface.origin, plan.findings.staff);
        let fixed: Vec<FixedLevel> = fixed.iter().map(local).collect();
        let finish = |x, y| match &plan.pour.target {
            target @ (Target::Level { .. } | Target::Plane { .. }) => {
                Some(target.depth_over([x, y, 0.0]))
            }
            Target::Raised(_) => None,
        };
        let proposed = match plan.pour.target {
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

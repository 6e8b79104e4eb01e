//! Fixed levels in the documents of a pour.
//!
//! In: the reports. Out: how far the finish is off at each, and the datum proposed.

use schemars::JsonSchema;
use serde::Serialize;

use super::{mm, on_plan};
use crate::findings::PourPlan;
use crate::findings::house::FixedLevels as Found;
use crate::output::words;
use crate::pour::fixed::{Beside, FixedReport, Met};
use crate::surface::Surface;

/// The fixed levels of a floor.
#[derive(Debug, Serialize, JsonSchema)]
pub struct FixedLevels {
    /// Each held against the finish.
    levels: Vec<FixedLevel>,
    /// The datum of a level finish that meets most of them, from the survey's zero.
    proposed_datum_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    proposed_datum_mm_reason: Option<&'static str>,
    /// Names of those that it does not meet.
    proposed_misses: Vec<String>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct FixedLevel {
    name: String,
    /// The fixed level, from the survey's zero.
    level_mm: f64,
    /// How far below it the finish is to end.
    below_mm: f64,
    allowance_mm: f64,
    /// "met", "missed" or "not known"
    verdict: &'static str,
    /// Where the finish is off most.
    worst: Option<Off>,
    #[serde(skip_serializing_if = "Option::is_none")]
    worst_reason: Option<&'static str>,
    /// At both ends of an edge; null where the finish is not known.
    ends: Vec<Option<Off>>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Off {
    x_m: f64,
    y_m: f64,
    /// How far the finish is too high; negative: too low.
    off_mm: f64,
    /// Step from the fixed level up to the compound; negative: down.
    step_mm: f64,
}

/// What the documents say of fixed levels.
pub(super) fn fixed_levels(plan: &PourPlan, found: &Found) -> FixedLevels {
    let surface = &plan.findings.surface;
    let proposed = found.proposed.as_ref();
    let missed = proposed.iter().flat_map(|proposed| &proposed.reports);
    FixedLevels {
        levels: found
            .reports
            .iter()
            .map(|one| level(surface, one))
            .collect(),
        proposed_datum_mm: proposed.map(|proposed| mm(surface.survey_z(proposed.datum))),
        proposed_datum_mm_reason: proposed.is_none().then_some(words::NO_PROPOSED_DATUM),
        proposed_misses: missed
            .filter(|one| one.met != Met::Yes)
            .map(|one| one.fixed.name.clone())
            .collect(),
    }
}

fn level(surface: &Surface, report: &FixedReport) -> FixedLevel {
    let fixed = &report.fixed;
    let off = |beside: Beside| {
        let [x_m, y_m] = on_plan(surface, beside.at);
        Off {
            x_m,
            y_m,
            off_mm: mm(beside.off),
            step_mm: mm(beside.step),
        }
    };
    FixedLevel {
        name: fixed.name.clone(),
        level_mm: mm(surface.survey_z(fixed.level)),
        below_mm: mm(fixed.below),
        allowance_mm: mm(fixed.allowance),
        verdict: match report.met {
            Met::Yes => "met",
            Met::No => "missed",
            Met::NotKnown => "not known",
        },
        worst: report.worst.map(off),
        worst_reason: report.worst.is_none().then_some(words::NO_FINISH_THERE),
        ends: match fixed.places.len() {
            0 | 1 => Vec::new(),
            _ => report.ends.map(|end| end.map(off)).into(),
        },
    }
}

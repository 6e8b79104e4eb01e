//! The JSON of `pour --poured`: the document of the pour with what is left of it.
//!
//! In: a plan of the rest. Out: the document.

use schemars::JsonSchema;
use serde::Serialize;

use super::batches::{Batch, numbered};
use super::pour::{Pour, pour};
use super::{litres, mm, rounded};
use crate::error::Warning;
use crate::findings;
use crate::output::words;
use crate::pour::replan;

/// The rest of a pour, some of which is down.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Rest {
    /// On site before the first mix.
    bags: u64,
    bags_planned: f64,
    bags_used: f64,
    /// Null where no depth was measured.
    off: Option<Off>,
    #[serde(skip_serializing_if = "Option::is_none")]
    off_reason: Option<&'static str>,
    bags_left: f64,
    /// What they leave on the floor.
    left_l: f64,
    /// What the rest takes as planned.
    needed_l: f64,
    enough: bool,
    bags_missing: u64,
    /// How much lower the rest comes out with what is left.
    drop_mm: f64,
    /// Between what is down and the rest: above zero where what is down is higher.
    step_mm: f64,
    /// Classes asked for that allow less than the step.
    step_over: Vec<StepOver>,
    /// Still to come; divided anew where the level drops. Minutes from now.
    batches: Vec<Batch>,
    warnings: Vec<String>,
}

/// Depths measured, less planned.
#[derive(Debug, Serialize, JsonSchema)]
struct Off {
    places: usize,
    mean_mm: f64,
    min_mm: f64,
    max_mm: f64,
}

/// A class that allows less than a step.
#[derive(Debug, Serialize, JsonSchema)]
struct StepOver {
    class: String,
    limit_mm: f64,
}

/// The document of `pour --poured`.
pub fn rest(rest: &findings::Rest) -> Pour {
    let replan = &rest.replan;
    let off = |off: replan::Off| Off {
        places: off.count,
        mean_mm: mm(off.mean),
        min_mm: mm(off.least),
        max_mm: mm(off.most),
    };
    let mut document = pour(&rest.plan);
    document.rest = Some(Rest {
        bags: rest.bags,
        bags_planned: rounded(replan.planned),
        bags_used: rounded(replan.used),
        off: replan.off.map(off),
        off_reason: replan.off.is_none().then_some(words::NO_DEPTHS),
        bags_left: rounded(replan.bags_left),
        left_l: litres(replan.left),
        needed_l: litres(replan.needed),
        enough: replan.enough(),
        bags_missing: replan.bags_missing,
        drop_mm: mm(replan.drop),
        step_mm: mm(replan.step()),
        step_over: rest
            .step_over
            .iter()
            .map(|over| StepOver {
                class: over.class.clone(),
                limit_mm: mm(over.limit),
            })
            .collect(),
        batches: rest
            .next
            .iter()
            .filter_map(|next| {
                let layer = rest.plan.mixing.layers.first()?;
                let compound = rest.plan.compounds.get(layer.compound)?;
                Some(numbered(
                    &rest.plan,
                    compound,
                    next.number,
                    &next.batch,
                    next.down_at,
                ))
            })
            .collect(),
        warnings: rest.warnings.iter().map(Warning::to_string).collect(),
    });
    document
}

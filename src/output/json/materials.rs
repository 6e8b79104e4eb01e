//! What comes with the compound, as JSON.
//!
//! In: a pour plan. Out: the edge strip, the weight to carry, the time until the floor can be walked on and covered.

use schemars::JsonSchema;
use serde::Serialize;

use super::rounded;
use crate::findings::PourPlan;
use crate::output::words;

/// What comes with the compound.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Materials {
    /// Round the room and its columns, or else round the floor that was measured.
    edge_strip_m: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    edge_strip_m_reason: Option<&'static str>,
    /// "the room" or "the measured floor"
    edge_strip_round: &'static str,
    /// Bags and liquid.
    carry_kg: f64,
    /// Until the finish can be walked on.
    walk_on_h: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    walk_on_h_reason: Option<&'static str>,
    /// Until the slowest place is dry by the sheets' rules, layer after layer: test the moisture all the same.
    drying_days: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    drying_days_reason: Option<&'static str>,
}

pub(super) fn materials(plan: &PourPlan) -> Materials {
    let found = &plan.pour.materials;
    Materials {
        edge_strip_m: found.edge_strip.map(rounded),
        edge_strip_m_reason: found.edge_strip.is_none().then_some(words::NO_EDGE),
        edge_strip_round: words::edge(found.round_the_room),
        carry_kg: rounded(found.mass),
        walk_on_h: found.walk_on.map(|seconds| rounded(words::hours(seconds))),
        walk_on_h_reason: found.walk_on.is_none().then_some(words::NOTHING_FILLED),
        drying_days: found.drying_days.map(rounded),
        drying_days_reason: found.drying_days.is_none().then_some(words::NO_DRYING),
    }
}

//! What comes with the compound, for people.
//!
//! In: a pour plan. Out: lines of the summary of `pour`.

use super::Page;
use crate::findings::PourPlan;
use crate::output::words;
use crate::units::System;

/// The lines; none where nothing is filled.
pub(super) fn materials(page: &mut Page, plan: &PourPlan, units: System) {
    let found = &plan.pour.materials;
    let Some(walk_on) = found.walk_on else { return };
    let mass = units.mass(found.mass);
    page.line("carry", format!("{mass}: bags and liquid"));
    let strip = match found.edge_strip {
        Some(length) => {
            let round = words::edge(found.round_the_room);
            format!("{} of edge strip round {round}", units.plan(length))
        }
        None => format!("edge strip: {}", words::NO_EDGE),
    };
    page.line("", strip);
    let hours = (words::hours(walk_on) * 10.0).round() / 10.0;
    page.line("walk on", format!("after {hours} h"));
    drying(page, plan, units);
}

/// How long it dries: in all, and by layers where there are several.
fn drying(page: &mut Page, plan: &PourPlan, units: System) {
    let Some(days) = plan.pour.materials.drying_days else {
        page.line("drying", words::NO_DRYING);
        return;
    };
    page.line(
        "drying",
        format!(
            "about {} by the sheet's rule; {}",
            words::days(days),
            words::TEST_MOISTURE
        ),
    );
    let from_below = plan.pour.layers.iter().rev();
    for (number, layer) in from_below.enumerate() {
        let depth = layer.volumes.max_depth;
        let compound = plan.compounds.get(layer.compound);
        let of_layer = compound.and_then(|compound| compound.drying_days(depth));
        if let (Some(days), true) = (of_layer, plan.pour.layers.len() > 1) {
            let (depth, days) = (units.height(depth), words::days(days));
            page.line("", format!("layer {}: {days} at {depth}", number + 1));
        }
    }
}

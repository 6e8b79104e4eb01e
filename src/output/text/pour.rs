//! The summary of `pour`: what to buy, to what level, how deep, in which mixes.
//!
//! In: a plan. Out: text.

use anstyle::Style;

use super::batches;
use super::{Page, height, measured, notes, styled};
use crate::findings::PourPlan;
use crate::output::words;
use crate::pour::Target;
use crate::units::System;

/// The summary of `pour`.
pub fn pour(plan: &PourPlan, units: System) -> String {
    let mut page = Page::default();
    let findings = &plan.findings;
    let volumes = &plan.pour.volumes;
    buy(&mut page, plan, units);
    finish(&mut page, plan, units);
    page.line(
        "depth",
        format!(
            "{} on average, {} to {}",
            units.height(volumes.mean_depth),
            units.height(volumes.min_depth),
            units.height(volumes.max_depth)
        ),
    );
    let (fill, area) = (units.volume(volumes.fill), units.area(volumes.filled_area));
    page.line(
        "volume",
        format!(
            "{fill} over {area}; {} mixed with waste",
            units.volume(plan.pour.orders.iter().map(|order| order.mixed).sum())
        ),
    );
    if volumes.grind > 0.0 {
        let (grind, ground) = (units.volume(volumes.grind), units.area(volumes.ground_area));
        page.line(
            "too high",
            format!("{grind} over {ground} stand above the finish: grind them, or finish higher"),
        );
    }
    layers(&mut page, plan, units);
    batches::batches(&mut page, plan, units);
    let per_area = |load: f64| match units {
        System::Metric => format!("{load:.1} kg/m²"),
        System::Imperial => format!("{:.1} lb/ft²", load * 0.204_816_1),
    };
    page.line(
        "load",
        format!(
            "{} on average, {} at most",
            per_area(plan.pour.load.mean),
            per_area(plan.pour.load.greatest)
        ),
    );
    measured(&mut page, findings, units);
    notes(&mut page, plan.warnings(), words::POUR_CAUTIONS);
    page.0
}

/// What to buy of each compound.
fn buy(page: &mut Page, plan: &PourPlan, units: System) {
    for (compound, order) in plan.orders() {
        let bags = styled(&words::bags(order.bags), Style::new().bold());
        let liquid = units.volume(order.liquid);
        let what = format!(
            "{bags} of {}, and {liquid} of {}",
            compound.name, compound.liquid
        );
        page.line("buy", what);
        if let Some(price) = &order.price {
            page.line("", format!("{:.2} {}", price.amount, price.currency));
        }
        if let Some(primer) = order.primer {
            let primer = units.volume(primer);
            page.line("", format!("{primer} of primer for one coat"));
        }
    }
    if plan.pour.bags() == 0 {
        page.line(
            "buy",
            "nothing: the floor stands above the finish everywhere",
        );
    }
}

/// Where one layer is not enough.
fn layers(page: &mut Page, plan: &PourPlan, units: System) {
    if plan.pour.layers.len() < 2 {
        return;
    }
    let from_below = plan.pour.layers.iter().rev();
    for (number, layer) in from_below.enumerate() {
        let Some(compound) = plan.compounds.get(layer.compound) else {
            continue;
        };
        let volumes = &layer.volumes;
        let [fill, area] = [units.volume(volumes.fill), units.area(volumes.filled_area)];
        let [least, greatest] = [volumes.min_depth, volumes.max_depth].map(|d| units.height(d));
        let name = &compound.name;
        page.line(
            &format!("layer {}", number + 1),
            format!("{name}: {fill} over {area}, {least} to {greatest} deep"),
        );
    }
}

fn finish(page: &mut Page, plan: &PourPlan, units: System) {
    let surface = &plan.findings.surface;
    let cover = units.signed_height(plan.cover());
    match &plan.pour.target {
        Target::Level { datum } => {
            let datum = height(surface.survey_z(*datum), plan.findings.staff, units);
            page.line(
                "finish",
                format!("level at {datum}: {cover} over the highest spot"),
            );
        }
        Target::Plane {
            slope_x, slope_y, ..
        } => {
            let fall = units.slope(slope_x.hypot(*slope_y));
            page.line(
                "finish",
                format!("falling {fall}: {cover} over the highest spot"),
            );
        }
        Target::Raised(_) => page.line("finish", "no higher than the class needs"),
    }
}

//! The summary of `pour`: what to buy, to what level, how deep, in which mixes.
//!
//! In: a plan. Out: text.

use anstyle::Style;

use super::batches;
use super::materials::materials;
use super::{Page, height, measured, notes, styled};
use crate::findings::PourPlan;
use crate::output::words;
use crate::pour::Target;
use crate::surface::Kind;
use crate::units::System;

/// The summary of `pour`.
pub fn pour(plan: &PourPlan, units: System) -> String {
    let mut page = Page::default();
    self::plan(&mut page, plan, units);
    notes(&mut page, plan.warnings(), words::POUR_CAUTIONS);
    page.0
}

/// What to buy, to what level, how deep: all but the notes.
pub(super) fn plan(page: &mut Page, plan: &PourPlan, units: System) {
    let findings = &plan.findings;
    let volumes = &plan.pour.volumes;
    buy(page, plan, units);
    page.line("finish", finish(plan, units));
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
    page.line("", fill_doubt(plan, units));
    if volumes.grind > 0.0 {
        let (grind, ground) = (units.volume(volumes.grind), units.area(volumes.ground_area));
        page.line(
            "too high",
            format!("{grind} over {ground} stand above the finish: grind them, or finish higher"),
        );
    }
    layers(page, plan, units);
    batches::batches(page, plan, units);
    page.line("load", load(plan, units));
    materials(page, plan, units);
    measured(page, findings, units);
}

/// What the compound weighs.
pub(in crate::output) fn load(plan: &PourPlan, units: System) -> String {
    let per_area = |load: f64| match units {
        System::Metric => format!("{load:.1} kg/m²"),
        System::Imperial => format!("{:.1} lb/ft²", load * 0.204_816_1),
    };
    format!(
        "{} on average, {} at most",
        per_area(plan.pour.load.mean),
        per_area(plan.pour.load.greatest)
    )
}

/// What to buy of each compound.
fn buy(page: &mut Page, plan: &PourPlan, units: System) {
    for (number, (compound, order)) in plan.compounds.iter().zip(&plan.pour.orders).enumerate() {
        if order.bags == 0 {
            continue;
        }
        let bags = styled(&words::bags(order.bags), Style::new().bold());
        let liquid = words::liquid(compound, order.liquid, units);
        let what = format!(
            "{bags} of {}, and {liquid} of {}",
            compound.name, compound.liquid
        );
        page.line("buy", what);
        if let Some(surely) = surely(plan, number, order.bags) {
            page.line("", surely);
        }
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

/// How many bags of a compound are enough in 95 % of cases, where that is known.
pub(in crate::output) fn surely(plan: &PourPlan, number: usize, bags: u64) -> Option<String> {
    let enough = *plan.bags_95.as_ref()?.get(number)?;
    Some(if enough > bags {
        format!("{} to be 95 % sure", words::bags(enough))
    } else {
        "the same to be 95 % sure".to_owned()
    })
}

/// How well the fill is known, and why no better.
pub(in crate::output) fn fill_doubt(plan: &PourPlan, units: System) -> String {
    let doubt = &plan.doubt;
    let shown = |volume: f64| units.volume(volume);
    let tilt = if doubt.tilt > 0.0 {
        format!(", {} from the laser's tilt", shown(doubt.tilt))
    } else {
        String::new()
    };
    let between = match (doubt.sampling, plan.findings.surface.kind) {
        (_, Kind::Cells | Kind::Lines) => String::new(),
        (Some(0.0), Kind::Grid | Kind::Triangulated) => {
            "; what lies between the readings is lost in that".to_owned()
        }
        (Some(between), Kind::Grid | Kind::Triangulated) => {
            format!(", {} from between the readings", shown(between))
        }
        (None, Kind::Grid | Kind::Triangulated) => {
            "; not counted is what lies between the readings, which are too few to tell".to_owned()
        }
    };
    let (u, heights) = (shown(doubt.fill_u), shown(doubt.heights));
    format!("fill known to {u} (u): {heights} from the heights{tilt}{between}")
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

/// To what level the floor is finished.
pub(in crate::output) fn finish(plan: &PourPlan, units: System) -> String {
    let surface = &plan.findings.surface;
    let cover = units.signed_height(plan.cover());
    match &plan.pour.target {
        Target::Level { datum } => {
            let datum = height(surface.survey_z(*datum), plan.findings.staff, units);
            format!("level at {datum}: {cover} over the highest spot")
        }
        Target::Plane {
            slope_x, slope_y, ..
        } => {
            let fall = units.slope(slope_x.hypot(*slope_y));
            format!("falling {fall}: {cover} over the highest spot")
        }
        Target::Raised(_) => "no higher than the class needs".to_owned(),
    }
}

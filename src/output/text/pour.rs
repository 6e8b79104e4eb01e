//! The summary of `pour`: what to buy, to what level, how deep, in which mixes.
//!
//! In: a plan. Out: text.

use anstyle::Style;

use super::batches;
use super::materials::materials;
use super::planned::{cost, planned};
use super::{Page, height, measured, notes, styled};
use crate::findings::PourPlan;
use crate::output::words;
use crate::pour::{Compound, Layer, Order, Target};
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
    buy(page, plan.orders_95(), units);
    page.line("", only_measured(plan, units));
    let finish = finish(plan, units);
    match &plan.pour.target {
        Target::Level { .. } | Target::Plane { .. } => page.line("finish", finish),
        Target::Raised(_) => page.line("finish", format!("{finish} (--pins-out, --map)")),
    }
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
        let what = if plan.grinding.is_some() {
            format!("{grind} over {ground} come off before the pour")
        } else {
            format!("{grind} over {ground} stand above the finish: grind them, or finish higher")
        };
        page.line("too high", what);
    }
    for thin in thin(plan, units) {
        page.line("thin", thin);
    }
    layers(page, &plan.pour.layers, &plan.compounds, units);
    batches::batches(page, plan, units);
    page.line("load", load_said(plan, units));
    materials(page, plan, units);
    cost(page, plan, units);
    planned(page, plan, units);
    measured(page, findings, units);
}

/// What the compound weighs.
pub(in crate::output) fn load_said(plan: &PourPlan, units: System) -> String {
    let [mean, greatest] = [plan.pour.load.mean, plan.pour.load.greatest].map(|l| load(l, units));
    format!("{mean} on average, {greatest} at most")
}

/// A load.
pub(super) fn load(load: f64, units: System) -> String {
    match units {
        System::Metric => format!("{load:.1} kg/m²"),
        System::Imperial => format!("{:.1} lb/ft²", load * 0.204_816_1),
    }
}

/// What to buy of each compound.
pub(super) fn buy<'a>(
    page: &mut Page,
    orders: impl Iterator<Item = (&'a Compound, &'a Order, Option<u64>)>,
    units: System,
) {
    let mut nothing = true;
    for (compound, order, bags_95) in orders {
        nothing = false;
        let bags = styled(&words::bags(order.bags), Style::new().bold());
        let liquid = words::liquid(compound, order.liquid, units);
        let what = format!(
            "{bags} of {}, and {liquid} of {}",
            compound.name, compound.liquid
        );
        page.line("buy", what);
        if let Some(enough) = bags_95 {
            page.line("", surely(enough, order.bags));
        }
        if let Some(price) = &order.price {
            page.line("", format!("{:.2} {}", price.amount, price.currency));
        }
        if let Some(primer) = order.primer {
            let primer = units.volume(primer);
            page.line("", format!("{primer} of primer for one coat"));
        }
    }
    if nothing {
        page.line("buy", "nothing: nowhere is the floor below the finish");
    }
}

/// What the order is for, and what comes on top.
fn only_measured(plan: &PourPlan, units: System) -> String {
    let surface = &plan.findings.surface;
    let area = units.area(surface.area);
    if surface.unmeasured > 0.0 {
        let gone = units.area(surface.unmeasured);
        return format!(
            "for the {area} that were measured: {gone} of the room were not, and come on top"
        );
    }
    match (surface.kind, &surface.outline) {
        (Kind::Grid | Kind::Triangulated, None) => format!(
            "for the {area} between the outer readings: what lies beyond them, along the walls, comes on top"
        ),
        (Kind::Cells | Kind::Lines, _) | (_, Some(_)) => format!("for {area}"),
    }
}

/// How many bags of a compound are enough in 95 % of cases.
pub(in crate::output) fn surely(enough: u64, bags: u64) -> String {
    if enough > bags {
        format!("{} to be 95 % sure", words::bags(enough))
    } else {
        "the same to be 95 % sure".to_owned()
    }
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
pub(super) fn layers(page: &mut Page, layers: &[Layer], compounds: &[Compound], units: System) {
    if layers.len() < 2 {
        return;
    }
    let from_below = layers.iter().rev();
    for (number, layer) in from_below.enumerate() {
        let Some(compound) = compounds.get(layer.compound) else {
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
    let datum = datum(plan, &plan.pour.target, units);
    match (&plan.pour.target, plan.towards) {
        (Target::Level { .. }, _) => format!("level at {datum}: {cover} over the highest spot"),
        (
            Target::Plane {
                slope_x, slope_y, ..
            },
            towards,
        ) => {
            let fall = units.slope(slope_x.hypot(*slope_y));
            let how = match towards {
                Some(drain) => format!(
                    "falling {fall} towards {}, {datum} there",
                    words::place(surface, drain, units)
                ),
                None => format!("flat, falling {fall} as the floor's best plane does"),
            };
            format!("{how}: {cover} over the spot that stands highest over it")
        }
        (Target::Raised(_), _) => {
            let classes = plan.findings.judged.iter();
            let classes = words::listed(classes.map(|judged| judged.class.name.as_str()));
            format!("as low as {classes} allows, so not level: every place has its own depth")
        }
    }
}

/// The height of a target as it was measured.
pub(super) fn datum(plan: &PourPlan, target: &Target, units: System) -> String {
    plan.datum(target).map_or(String::new(), |datum| {
        height(datum, plan.findings.staff, units)
    })
}

/// What it takes for nothing to be too thin.
pub(in crate::output) fn thin(plan: &PourPlan, units: System) -> impl Iterator<Item = String> {
    let added = plan.added.filter(|added| added.volume > 0.0).map(|added| {
        let [volume, depth] = [units.volume(added.volume), units.height(added.depth)];
        let bags = match added.bags {
            0 => "no bag".to_owned(),
            bags => words::bags(bags),
        };
        format!("adds {volume} and {bags}: nothing that is filled is thinner than {depth}")
    });
    let thin = plan.grinding.as_ref().map(|grinding| grinding.thin);
    let ground = thin.filter(|thin| thin.volume > 0.0).map(|thin| {
        let [volume, depth] = [units.volume(thin.volume), units.height(thin.depth)];
        format!(
            "adds {volume} to grind off and {volume} to fill, over {}: nothing is thinner than {depth}",
            units.area(thin.area)
        )
    });
    added.into_iter().chain(ground)
}

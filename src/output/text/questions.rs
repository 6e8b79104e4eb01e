//! Short answers to questions asked on site.
//!
//! In: finished results. Out: text. How far bags reach: what level, what depth, is it enough, which part.

use anstyle::Style;

use super::pour::{buy, layers, load};
use super::{Page, height, notes, styled, verdict_word};
use crate::error::Warning;
use crate::findings::{AreaPlan, Reached};
use crate::output::words;
use crate::pour::Target;
use crate::units::System;

/// The answer to `pour --bags`.
pub fn reach(reached: &Reached, units: System) -> String {
    let mut page = Page::default();
    let (plan, reach) = (&reached.plan, &reached.reach);
    let name = plan.compounds.first().map_or("", |sheet| &sheet.name);
    let bags = styled(&words::bags(reach.bags), Style::new().bold());
    let fill = units.volume(reach.compound);
    page.line(
        "you have",
        format!("{bags} of {name}: {fill} on the floor, what is lost taken off"),
    );
    page.line("level", level(reached, &reach.target, units));
    let volumes = &reach.volumes;
    let deep = format!(
        "{} on average, {} at most",
        units.height(volumes.mean_depth),
        units.height(volumes.max_depth)
    );
    let over = if reach.over_highest < 0.0 {
        let below = units.height(-reach.over_highest);
        let proud = units.area(volumes.ground_area);
        format!("{below} below the highest spot: {proud} stand proud")
    } else {
        format!("{} over the highest spot", units.height(reach.over_highest))
    };
    page.line("depth", over);
    page.line("", deep);
    page.line("enough", enough(reached, name, units));
    for judged in &reached.judged {
        let word = verdict_word(judged.verdict());
        let (class, reason) = (&judged.class.name, &judged.worst.reason);
        page.line("", format!("{class}: would be {word}: {reason}"));
    }
    page.line("part", part(reached, units));
    let of_sheets = plan.compounds.iter().flat_map(|sheet| &sheet.warnings);
    let warnings = plan.findings.warnings.iter().chain(of_sheets);
    notes(&mut page, warnings, words::POUR_CAUTIONS);
    page.0
}

/// A level to finish at.
fn level(reached: &Reached, target: &Target, units: System) -> String {
    let findings = &reached.plan.findings;
    match target {
        Target::Level { datum } => {
            let datum = findings.surface.survey_z(*datum);
            height(datum, findings.staff, units)
        }
        Target::Plane {
            slope_x, slope_y, ..
        } => {
            let over = units.signed_height(target.depth_over(findings.level.highest));
            let fall = units.slope(slope_x.hypot(*slope_y));
            format!("falling {fall}, {over} over the highest reading")
        }
        Target::Raised(_) => words::NO_DATUM.to_owned(),
    }
}

fn enough(reached: &Reached, name: &str, units: System) -> String {
    let reach = &reached.reach;
    let needs = if reach.least_depth > 0.0 {
        let least = units.height(reach.least_depth);
        format!("{name} needs at least {least} over the highest spot")
    } else {
        format!("{name} may run out to nothing, but has to cover the highest spot")
    };
    match reach.bags_missing() {
        0 => format!("yes: {needs}"),
        missing => {
            let (missing, all) = (words::bags(missing), reach.bags_for_least_depth);
            format!("no: {needs}, which takes {missing} more ({all} in all)")
        }
    }
}

fn part(reached: &Reached, units: System) -> String {
    let part = &reached.reach.part;
    let asked = level(reached, &reached.plan.pour.target, units);
    let [area, whole] = [part.area, part.whole].map(|area| units.area(area));
    match part.beyond {
        Some(beyond) => {
            let beyond = units.plan(beyond);
            format!(
                "at {asked}, the finish planned, {area} of {whole}: what is more than {beyond} from the way out"
            )
        }
        None if part.area < part.whole => format!(
            "at {asked}, the finish planned, about {area} of {whole}: say where the way out is (--exit X,Y) to hear which"
        ),
        None => format!("at {asked}, the finish planned, all of it: {whole}"),
    }
}

/// The answer to `pour --area --depth`.
pub fn pour_area(plan: &AreaPlan, units: System) -> String {
    let mut page = Page::default();
    let pour = &plan.pour;
    let volumes = &pour.volumes;
    let orders = plan
        .orders()
        .map(|(compound, order)| (compound, order, None));
    buy(&mut page, orders, units);
    for (number, layer) in pour.mixes.iter().rev().enumerate() {
        let Some(compound) = plan.compounds.get(layer.compound) else {
            continue;
        };
        let (bags, liquid) = (words::part_bags(layer.bags_per_mix), &compound.liquid);
        let [to_a_bag, mixes] = [
            units.jug(compound.liquid_per_bag),
            words::mixes(layer.bags.len()),
        ];
        let name = &compound.name;
        let of_layer = match pour.mixes.len() {
            1 => String::new(),
            _ => format!("layer {}, ", number + 1),
        };
        page.line(
            "mix",
            format!("{of_layer}{name}: {mixes} of {bags} at most, {to_a_bag} of {liquid} to a bag"),
        );
    }
    let [fill, area] = [units.volume(volumes.fill), units.area(volumes.filled_area)];
    let depth = units.height(volumes.mean_depth);
    let mixed = units.volume(pour.orders.iter().map(|order| order.mixed).sum());
    page.line(
        "volume",
        format!("{fill}: {depth} over {area}; {mixed} mixed with waste"),
    );
    layers(&mut page, &pour.layers, &plan.compounds, units);
    page.line("load", load(pour.load.mean, units));
    page.line(
        "carry",
        format!("{}: bags and liquid", units.mass(pour.mass)),
    );
    if let Some(finish) = plan.compounds.last() {
        let hours = (words::hours(finish.walk_on) * 10.0).round() / 10.0;
        page.line("walk on", format!("after {hours} h"));
    }
    let drying = pour.drying_days.map_or_else(
        || words::NO_DRYING.to_owned(),
        |days| {
            let days = words::days(days);
            format!("about {days} by the sheet's rule; {}", words::TEST_MOISTURE)
        },
    );
    page.line("drying", drying);
    let unmeasured = Warning(words::UNMEASURED.to_owned());
    let warnings = std::iter::once(&unmeasured).chain(plan.warnings());
    notes(&mut page, warnings, words::POUR_CAUTIONS);
    page.0
}

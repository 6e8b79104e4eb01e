//! The mixes of a pour, and the timetable where a way out is known: a line a batch, in words for the site.
//!
//! In: a plan. Out: lines of the summary of `pour`.

use super::Page;
use crate::findings::PourPlan;
use crate::output::words;
use crate::pour::batches::Batch;
use crate::pour::compound::Compound;
use crate::pour::mixing::{LayerMixes, Placed};
use crate::units::System;

/// Mixes, batches, joints.
pub fn batches(page: &mut Page, plan: &PourPlan, units: System) {
    let mixing = &plan.mixing;
    if mixing.mixes() == 0 {
        return;
    }
    let several = mixing.layers.len() > 1;
    for (number, layer) in mixing.layers.iter().enumerate() {
        let Some(compound) = plan.compounds.get(layer.compound) else {
            continue;
        };
        mixes(
            page,
            plan,
            layer,
            compound,
            several.then_some(number + 1),
            units,
        );
        if let Some(placed) = &layer.placed {
            timetable(page, plan, layer, placed, units);
            joints(page, plan, layer, placed, units);
        }
        if number + 1 < mixing.layers.len() {
            let walk_on = words::time(compound.walk_on);
            page.line(
                "",
                format!(
                    "the next layer when this one can be walked on: {walk_on} after its last batch"
                ),
            );
        }
    }
    if mixing.site.exits.is_empty() {
        page.line("batches", words::NO_EXIT);
    }
}

fn mixes(
    page: &mut Page,
    plan: &PourPlan,
    layer: &LayerMixes,
    compound: &Compound,
    number: Option<usize>,
    units: System,
) {
    let of_layer = number.map_or(String::new(), |number| {
        format!("layer {number}, {}: ", compound.name)
    });
    let full = words::part_bags(layer.bags_per_mix);
    let first = layer.bags.first().copied().unwrap_or(layer.bags_per_mix);
    let odd = words::part_bags(first);
    let count = match layer.bags.len() {
        1 => format!("1 mix of {odd}"),
        count if first < layer.bags_per_mix => {
            format!("{count} mixes, the first of {odd}, the others of {full}")
        }
        count => format!("{count} mixes of {full}"),
    };
    let vessel = units.volume(plan.mixing.site.vessel);
    page.line(
        "mixes",
        format!("{of_layer}{count} in a vessel of {vessel}"),
    );
    if first < layer.bags_per_mix.min(1.0) {
        page.line("", "keep the other half of the first bag dry, in reserve");
    }
    page.line(
        "",
        format!(
            "{} of {} to a bag",
            units.jug(compound.liquid_per_bag),
            compound.liquid
        ),
    );
}

fn timetable(page: &mut Page, plan: &PourPlan, layer: &LayerMixes, placed: &Placed, units: System) {
    let Some(compound) = plan.compounds.get(layer.compound) else {
        return;
    };
    let surface = &plan.findings.surface;
    let crew = match plan.mixing.site.crew {
        1 => "1 person mixes and pours in turn".to_owned(),
        crew => format!("{crew} people mix and pour"),
    };
    page.line(
        "timetable",
        format!("{crew}; each batch down by so many minutes from the start of mixing; area, least and greatest depth, middle"),
    );
    let mut region = None;
    for (place, (batch, down_at)) in placed.timed().enumerate() {
        if placed.division.entrances.len() > 1 && region != Some(batch.region) {
            region = Some(batch.region);
            let entrance = placed.division.entrances.get(batch.region);
            let at = entrance.map_or(String::new(), |&at| words::place(surface, at, units));
            page.line("", format!("room {}, entered at {at}", batch.region + 1));
        }
        let at = words::time(down_at);
        let line = format!("{}; by {at}", of_batch(plan, batch, compound, units));
        page.line(&format!("batch {}", layer.first + place), line);
    }
}

/// What goes into a batch, and where.
pub(super) fn of_batch(
    plan: &PourPlan,
    batch: &Batch,
    compound: &Compound,
    units: System,
) -> String {
    let place = words::place(&plan.findings.surface, batch.centre, units);
    let least = units.height(batch.min_depth);
    // Both depths have the same unit.
    let least = least
        .rsplit_once(' ')
        .map_or(least.as_str(), |(number, _)| number);
    format!(
        "{}, {} of {}: {}, {least} to {}, at {place}",
        words::part_bags(batch.bags),
        units.jug(batch.bags * compound.liquid_per_bag),
        compound.liquid,
        units.area(batch.area),
        units.height(batch.max_depth),
    )
}

/// Joints that cannot be made wet, and what would help.
fn joints(page: &mut Page, plan: &PourPlan, layer: &LayerMixes, placed: &Placed, units: System) {
    let Some(compound) = plan.compounds.get(layer.compound) else {
        return;
    };
    let schedule = &placed.schedule;
    let working = words::time(compound.working_time);
    let oldest = schedule
        .joints
        .iter()
        .map(|joint| joint.age)
        .fold(0.0, f64::max);
    if schedule.bay_stops.is_empty() {
        if !schedule.joints.is_empty() {
            let oldest = words::time(oldest);
            page.line(
                "wet edge",
                format!(
                    "{oldest} old at most where the next batch joins it; workable for {working}"
                ),
            );
        }
        return;
    }
    for joint in schedule
        .bay_stops
        .iter()
        .filter_map(|&at| schedule.joints.get(at))
    {
        let [from, to] = joint
            .ends
            .map(|end| words::place(&plan.findings.surface, end, units));
        let [one, other] = [joint.earlier, joint.later].map(|place| layer.first + place);
        let age = words::time(joint.age);
        page.line(
            "bay stop",
            format!("between batch {one} and {other}, from {from} to {to}: the edge would be {age} old, workable for {working}"),
        );
    }
    page.line(
        "",
        match schedule.crew_needed {
            Some(crew) => format!("no bay stop with {crew} people"),
            None => format!("no number of people can join these wet: {}", words::NO_CREW),
        },
    );
}

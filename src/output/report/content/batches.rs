//! How the pour is divided: mixes, and where a way out is known the timetable of its batches.

use super::{Made, Part};
use crate::output::report::document::{Block, Table, Text};
use crate::output::words as shared;
use crate::pour::compound::Compound;
use crate::pour::mixing::{LayerMixes, Placed};

/// Mixes and batches; nothing where nothing is mixed.
pub(super) fn batches(made: &mut Made, part: &Part) {
    let (plan, units) = (&part.floor.plan, part.units);
    if plan.mixing.mixes() == 0 {
        return;
    }
    made.heading(3, format!("{}: mixing and pouring", part.floor.name));
    for layer in &plan.mixing.layers {
        let Some(compound) = plan.compounds.get(layer.compound) else {
            continue;
        };
        let crew = match plan.mixing.site.crew {
            1 => "one person mixes and pours in turn".to_owned(),
            crew => format!("{crew} people mix and pour"),
        };
        let said = format!(
            "{} mixes of at most {} in a vessel of {}, {} of {} to a bag; {crew}.",
            layer.bags.len(),
            shared::part_bags(layer.bags_per_mix),
            units.volume(plan.mixing.site.vessel),
            units.jug(compound.liquid_per_bag),
            compound.liquid
        );
        made.add(Block::Paragraph(Text::led(
            format!("{}:", compound.name),
            said,
        )));
        if let Some(placed) = &layer.placed {
            made.add(Block::Table(timetable(part, layer, placed, compound)));
            joints(made, part, layer, placed, compound);
        }
    }
}

fn timetable(part: &Part, layer: &LayerMixes, placed: &Placed, compound: &Compound) -> Table {
    let (surface, units) = (&part.floor.plan.findings.surface, part.units);
    let caption = format!(
        "{}: batches in the order of the pour, from the start of mixing",
        compound.name
    );
    let heads = [
        "batch",
        "#bags",
        "#liquid",
        "#area",
        "#least depth",
        "#greatest depth",
        "middle",
        "#down by",
    ];
    let mut table = Table::new(caption, &heads);
    for (place, (batch, down_at)) in placed.timed().enumerate() {
        table.row([
            (layer.first + place).to_string(),
            batch.bags.to_string(),
            units.jug(batch.bags * compound.liquid_per_bag),
            units.area(batch.area),
            units.height(batch.min_depth),
            units.height(batch.max_depth),
            shared::place(surface, batch.centre, units),
            shared::time(down_at),
        ]);
    }
    table
}

/// Joints that cannot be made wet.
fn joints(made: &mut Made, part: &Part, layer: &LayerMixes, placed: &Placed, compound: &Compound) {
    let schedule = &placed.schedule;
    let stops = schedule
        .bay_stops
        .iter()
        .filter_map(|&at| schedule.joints.get(at));
    let said: Vec<Text> = stops
        .map(|joint| {
            let [from, to] = joint
                .ends
                .map(|end| shared::place(&part.floor.plan.findings.surface, end, part.units));
            let [one, other] = [joint.earlier, joint.later].map(|place| layer.first + place);
            let [age, working] = [joint.age, compound.working_time].map(shared::time);
            Text::led(
                format!("Bay stop between batch {one} and {other}:"),
                format!(
                    "from {from} to {to}; the edge would be {age} old, workable for {working}."
                ),
            )
        })
        .collect();
    if !said.is_empty() {
        made.add(Block::List(said));
    }
}

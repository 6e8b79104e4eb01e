//! What concerns all floors: materials, what was not measured, cautions, files, signatures.

use super::{Made, Part};
use crate::findings::handover::Handover;
use crate::output::report::document::{Block, Table, Text};
use crate::output::report::words;
use crate::output::words as shared;
use crate::pour::Compound;
use crate::pour::together::price_of_all;
use crate::units::System;

pub(super) fn closing(made: &mut Made, handover: &Handover, parts: &[Part]) {
    made.add(Block::NewPage);
    materials(made, handover, parts);
    made.heading(2, "What was not measured");
    made.add(Block::List(not_measured(parts)));
    made.heading(2, "Cautions");
    made.add(Block::List(
        shared::POUR_CAUTIONS
            .iter()
            .map(|&caution| caution.into())
            .collect(),
    ));
    made.heading(2, "Signatures");
    made.add(Block::Paragraph(words::SIGNING.into()));
    made.add(Block::Signatures(signatures(handover)));
    let version = env!("CARGO_PKG_VERSION");
    made.add(Block::Paragraph(
        format!("Made by lowspot {version}. {}", words::FONT).into(),
    ));
    inputs(made, handover);
}

fn materials(made: &mut Made, handover: &Handover, parts: &[Part]) {
    let Some(units) = parts.first().map(|part| part.units) else {
        return;
    };
    made.heading(2, "Materials");
    let orders = handover.house.orders();
    if orders.is_empty() {
        made.add(Block::Paragraph(
            "None: every floor stands above its finish everywhere.".into(),
        ));
        return;
    }
    let heads = [
        "compound",
        "#bags",
        "#liquid",
        "#mixed, with waste",
        "#primer, one coat",
        "#price",
    ];
    let mut table = Table::new("What the plan orders for all floors", &heads);
    for order in &orders {
        let compound = &order.compound;
        table.row([
            compound.name.clone(),
            order.bags.to_string(),
            format!(
                "{} of {}",
                shared::liquid(compound, order.liquid, units),
                compound.liquid
            ),
            units.volume(order.mixed),
            order.primer.map_or_else(
                || "not on the sheet".to_owned(),
                |primer| units.volume(primer),
            ),
            order.price.as_ref().map_or_else(
                || "not on the sheet".to_owned(),
                |price| format!("{:.2} {}", price.amount, price.currency),
            ),
        ]);
    }
    made.add(Block::Table(table));
    if let Some(price) = price_of_all(&orders).filter(|_| orders.len() > 1) {
        let total = format!("{:.2} {}", price.amount, price.currency);
        made.add(Block::Paragraph(Text::led("Price in all:", total)));
    }
    made.add(Block::Table(sheets(
        orders.iter().map(|order| &order.compound),
        units,
    )));
}

/// What the compounds' sheets say.
fn sheets<'a>(compounds: impl Iterator<Item = &'a Compound>, units: System) -> Table {
    let heads = [
        "compound",
        "#bag",
        "#liquid a bag",
        "#depth of a layer",
        "#workable",
        "#walk on",
        "#dry at its greatest depth",
    ];
    let mut table = Table::new("What the data sheets say", &heads);
    for compound in compounds {
        table.row([
            compound.name.clone(),
            units.mass(compound.bag),
            units.jug(compound.liquid_per_bag),
            format!(
                "{} to {}",
                units.height(compound.least_depth),
                units.height(compound.greatest_depth)
            ),
            shared::time(compound.working_time),
            shared::time(compound.walk_on),
            compound
                .drying_days(compound.greatest_depth)
                .map_or_else(|| "not said".to_owned(), shared::days),
        ]);
    }
    table
}

fn not_measured(parts: &[Part]) -> Vec<Text> {
    let of_floors = parts.iter().flat_map(|part| {
        let (name, units) = (&part.floor.name, part.units);
        let lacking = move |surface: &crate::surface::Surface, when: &str| {
            let area = units.area(surface.unmeasured);
            let said = format!("{area} of its floor were not measured {when} the pour.");
            (surface.unmeasured > 0.0).then(|| Text::led(format!("{name}:"), said))
        };
        let between = format!(
            "heights between readings, which lie {} apart, are taken as running straight from one to the next.",
            units.plan(part.before().surface.spacing)
        );
        let tilt = (part.before().surface.shared.tilt == 0.0)
            .then(|| Text::led(format!("{name}:"), "how level the instrument stood is not known; levels and volumes count no tilt."));
        let gone = part.after.is_none().then(|| Text::led(name.as_str(), words::NOT_SURVEYED_AFTER));
        [
            gone,
            lacking(&part.before().surface, "before"),
            part.found_after().and_then(|found| lacking(&found.surface, "after")),
            Some(Text::led(format!("{name}:"), between)),
            tilt,
        ]
        .into_iter()
        .flatten()
    });
    of_floors
        .chain(words::NEVER_MEASURED.map(Text::from))
        .collect()
}

fn inputs(made: &mut Made, handover: &Handover) {
    made.heading(2, "Files that this rests on");
    let mut table = Table::new(words::INPUTS, &["file", "SHA-256"]);
    for input in &handover.inputs {
        table.row([input.file.as_str(), input.sha256.as_str()]);
    }
    made.add(Block::Table(table));
}

fn signatures(handover: &Handover) -> Vec<String> {
    let heading = &handover.house.heading;
    let line = |who: &str, name: &Option<String>| {
        let name = name
            .as_deref()
            .map_or(String::new(), |name| format!(", {name}"));
        format!("{who}{name}: place, date, signature")
    };
    vec![
        line("For the floor layer", &heading.by),
        line("For the client", &heading.client),
    ]
}

//! The pour of one floor: as it was planned, and as it turned out.

use super::first_page::upper_first;
use super::{Made, Part};
use crate::findings::handover::AfterPour;
use crate::findings::{FixedLevels, PourPlan};
use crate::flatness::verdict::Verdict;
use crate::output::report::document::{Block, Table, Text};
use crate::output::report::words;
use crate::output::text;
use crate::output::words as shared;
use crate::pour::fixed::{FixedReport, Met};
use crate::pour::laid::{Laid, Thickness, Thin};
use crate::units::System;

/// What the pour takes: finish, depth, volume, layers, fixed levels.
pub(super) fn planned(made: &mut Made, part: &Part) {
    let (plan, units) = (&part.floor.plan, part.units);
    let volumes = &plan.pour.volumes;
    made.heading(3, format!("{}: the pour as planned", part.floor.name));
    let fact = |name: &str, fact: String| [name.to_owned(), fact];
    let [mean, least, greatest] =
        [volumes.mean_depth, volumes.min_depth, volumes.max_depth].map(|depth| units.height(depth));
    let (fill, area) = (units.volume(volumes.fill), units.area(volumes.filled_area));
    let mut facts = vec![
        fact("Finish", text::pour::finish(plan, units)),
        fact("Depth", format!("{mean} on average, {least} to {greatest}")),
        fact(
            "Volume",
            format!(
                "{fill} over {area}; {}",
                text::pour::fill_doubt(plan, units)
            ),
        ),
    ];
    if volumes.grind > 0.0 {
        let (grind, ground) = (units.volume(volumes.grind), units.area(volumes.ground_area));
        let what = if plan.grinding.is_some() {
            "come off before the pour"
        } else {
            "stand above the finish"
        };
        facts.push(fact("Too high", format!("{grind} over {ground} {what}")));
    }
    facts.extend(text::pour::thin(plan, units).map(|thin| fact("Thin", upper_first(&thin))));
    facts.push(fact("Load", text::pour::load_said(plan, units)));
    facts.extend(materials(part));
    facts.extend(text::planned::total(plan).map(|total| fact("Cost", total)));
    facts.extend(not_costed(plan).map(|reason| fact("Other heights", reason)));
    for class in &plan.planned {
        let each = class.requirements.iter();
        facts.extend(each.map(|one| {
            let said = text::planned::on_paper(one, units);
            fact("As planned", format!("{}: {said}", class.class))
        }));
    }
    made.add(Block::Facts(facts));
    if volumes.grind > 0.0 {
        made.add(Block::Notice(shared::GRINDING.into()));
    }
    if volumes.fill > 0.0 {
        made.add(Block::Paragraph(shared::WEIGHT.into()));
    }
    layers(made, part);
    costs(made, part);
    if let Some(fixed) = &plan.fixed {
        made.add(Block::Table(fixed_levels(part, fixed)));
        if let Some(better) = text::fixed::better(plan, fixed, units) {
            let said = format!("{}.", upper_first(&better));
            made.add(Block::Paragraph(said.into()));
        }
    }
}

/// Why other heights were not costed.
fn not_costed(plan: &PourPlan) -> Option<String> {
    let reason = plan.grinding.as_ref()?.curve.as_ref().err()?;
    Some(format!("not costed: {reason}"))
}

/// What comes with the compound; nothing where nothing is filled.
fn materials(part: &Part) -> Vec<[String; 2]> {
    let (found, units) = (&part.floor.plan.pour.materials, part.units);
    let Some(walk_on) = found.walk_on else {
        return Vec::new();
    };
    let fact = |name: &str, fact: String| [name.to_owned(), fact];
    let strip = found.edge_strip.map_or_else(
        || words::NO_EDGE.to_owned(),
        |length| {
            format!(
                "{} round {}",
                units.plan(length),
                shared::edge(found.round_the_room)
            )
        },
    );
    let drying = found.drying_days.map_or_else(
        || shared::NO_DRYING.to_owned(),
        |days| {
            format!(
                "about {} by the sheet's rule; {}",
                shared::days(days),
                shared::TEST_MOISTURE
            )
        },
    );
    vec![
        fact(
            "Carry",
            format!("{}: bags and liquid", units.mass(found.mass)),
        ),
        fact("Edge strip", strip),
        fact("Walk on", format!("after {:.1} h", shared::hours(walk_on))),
        fact("Drying", drying),
    ]
}

/// Where one layer is not enough.
fn layers(made: &mut Made, part: &Part) {
    let (plan, units) = (&part.floor.plan, part.units);
    if plan.pour.layers.len() < 2 {
        return;
    }
    let heads = [
        "layer",
        "compound",
        "#volume",
        "#area",
        "#least depth",
        "#greatest depth",
    ];
    let mut table = Table::new("Layers, from the lowest up", &heads);
    for (number, layer) in plan.pour.layers.iter().rev().enumerate() {
        let Some(compound) = plan.compounds.get(layer.compound) else {
            continue;
        };
        let volumes = &layer.volumes;
        table.row([
            (number + 1).to_string(),
            compound.name.clone(),
            units.volume(volumes.fill),
            units.area(volumes.filled_area),
            units.height(volumes.min_depth),
            units.height(volumes.max_depth),
        ]);
    }
    made.add(Block::Table(table));
}

/// What a little higher and lower would cost.
fn costs(made: &mut Made, part: &Part) {
    let (plan, units) = (&part.floor.plan, part.units);
    let Some(grinding) = &plan.grinding else {
        return;
    };
    let Ok(curve) = &grinding.curve else {
        return;
    };
    let heads = [
        "height (over the highest spot)",
        "#bags",
        "#ground off",
        "#cost",
    ];
    let mut table = Table::new(
        "What other heights to finish at would cost; the least in bold",
        &heads,
    );
    for point in text::planned::around(curve) {
        let cells = text::planned::costed(plan, grinding, point, units);
        let least = curve.best() == Some(point);
        table.row(cells.map(|cell| {
            if least {
                Text::led(cell, "")
            } else {
                Text::from(cell)
            }
        }));
    }
    made.add(Block::Table(table));
}

/// The levels that the finish has to meet.
fn fixed_levels(part: &Part, fixed: &FixedLevels) -> Table {
    let (surface, units) = (&part.floor.plan.findings.surface, part.units);
    let heads = [
        "fixed level",
        "met",
        "the planned finish is",
        "allowed",
        "where",
        "step",
    ];
    let mut table = Table::new("Levels that the finish has to meet", &heads);
    for report in &fixed.reports {
        let name = report.fixed.name.clone();
        let met = met(report.met);
        let [off, place, step] = beside(report, |at| shared::place(surface, at, units), units);
        let allowed = units.height(report.fixed.allowance);
        table.row([
            Text::from(name),
            Text::led(met, ""),
            Text::from(off),
            Text::from(allowed),
            Text::from(place),
            Text::from(step),
        ]);
    }
    table
}

/// Whether a level is met, in a word.
pub(super) fn met(met: Met) -> &'static str {
    match met {
        Met::Yes => "met",
        Met::No => "MISSED",
        Met::NotKnown => "NOT KNOWN",
    }
}

fn beside(report: &FixedReport, place: impl Fn([f64; 2]) -> String, units: System) -> [String; 3] {
    report.worst.as_ref().map_or_else(
        || {
            [
                shared::NO_FINISH_THERE.to_owned(),
                String::new(),
                String::new(),
            ]
        },
        |worst| {
            [
                text::fixed::off(worst, units),
                place(worst.at),
                text::fixed::step(worst, units),
            ]
        },
    )
}

/// Bags used against what the floor shows; None where nobody says how many.
pub(super) fn bags(after: &AfterPour, units: System) -> Option<String> {
    let compared = &after.compared;
    if let Ok(used) = &compared.used {
        let cause =
            shared::used_otherwise(used).map_or(String::new(), |cause| format!("; {cause}"));
        return Some(format!("{}{cause}.", shared::used(used)));
    }
    if after.bags_used.is_empty() {
        return None;
    }
    let bags: Vec<_> = after.bags_used.iter().map(f64::to_string).collect();
    let laid = compared.laid.as_ref().map_or(String::new(), |laid| {
        let volume = units.volume(laid.volume);
        format!(" The floor shows {volume} in all, which is not held against the bags of several compounds.")
    });
    Some(format!(
        "Bags used, compound by compound: {}.{laid}",
        bags.join(", ")
    ))
}

/// What was laid, by the two surveys.
pub(super) fn laid(made: &mut Made, part: &Part, after: &AfterPour) {
    let units = part.units;
    let laid = match &after.compared.laid {
        Ok(laid) => laid,
        Err(reason) => {
            let said = Text::led("How much was laid cannot be told:", format!("{reason}."));
            made.add(Block::Notice(said));
            return;
        }
    };
    if laid.lowered() {
        made.add(Block::Notice(words::LOWERED.into()));
    }
    let fact = |name: &str, fact: String| [name.to_owned(), fact];
    let place = |at: &Thickness| {
        let place = shared::place(&laid.surface, laid.surface.field.position(at.node), units);
        format!(
            "{} at {place}, known to {}",
            units.height(at.value),
            units.height(at.u)
        )
    };
    let mut facts = vec![
        fact(
            "Laid",
            format!(
                "{} on average, known to {}",
                units.height(laid.mean),
                units.height(laid.mean_u)
            ),
        ),
        fact(
            "Volume",
            format!(
                "{} over {}, known to {}",
                units.volume(laid.volume),
                units.area(laid.surface.area),
                units.volume(laid.volume_u)
            ),
        ),
        fact("Thinnest", place(&laid.least)),
        fact("Thickest", place(&laid.greatest)),
    ];
    facts.extend(
        laid.thin
            .iter()
            .map(|thin| fact("Thin places", self::thin(laid, thin, units))),
    );
    facts.extend(bags(after, units).map(|bags| fact("Bags", bags)));
    let names = laid.datum.fixed.iter().map(|fixed| fixed.name.as_str());
    let zeros = format!(
        "brought together by {}, to {}",
        shared::listed(names),
        units.height(laid.datum.u)
    );
    facts.push(fact("Zeros", zeros));
    made.add(Block::Facts(facts));
}

fn thin(laid: &Laid, thin: &Thin, units: System) -> String {
    let least = units.height(thin.least_depth);
    let share = |area: f64| {
        let percent = 100.0 * area / laid.surface.area;
        format!("{} ({percent:.0} %)", units.area(area))
    };
    let measured = if thin.area > 0.0 {
        format!(
            "less than the {least} that the compound needs over {}",
            share(thin.area)
        )
    } else {
        format!("nowhere less than the {least} that the compound needs")
    };
    let sure = match thin.verdict {
        Verdict::Within => "",
        Verdict::Outside => ", somewhere beyond doubt",
        Verdict::Undecided | Verdict::TooSparse => ", but not beyond doubt",
    };
    let doubtful = if thin.doubtful > 0.0 {
        format!(
            "; over {} it is too near {least} to say",
            share(thin.doubtful)
        )
    } else {
        String::new()
    };
    format!("{measured}{sure}{doubtful}")
}

/// The setting-out table.
pub(super) fn pins(made: &mut Made, part: &Part) {
    let (plan, units) = (&part.floor.plan, part.units);
    let surface = &plan.findings.surface;
    if plan.pins.is_empty() {
        return;
    }
    made.heading(3, format!("{}: setting out", part.floor.name));
    let caption = "Depth of compound at every pin; below zero the floor stands above the finish";
    let divided = plan.pins.iter().any(|pin| pin.batch.is_some());
    let ground = plan.is_ground();
    let mut heads = vec!["point", "where", "#floor", "#finish", "#depth"];
    heads.extend(ground.then_some("#grind off"));
    heads.extend(divided.then_some("#batch"));
    let mut table = Table::new(caption, &heads);
    for pin in plan.pins.iter().take(words::PINS_SHOWN) {
        let [x, y, z] = pin.position;
        let height = |z: f64| text::height(surface.survey_z(z), plan.findings.staff, units);
        let cells = [
            pin.name.clone(),
            shared::place(surface, [x, y], units),
            height(z),
            height(pin.finish()),
            units.height(pin.depth),
        ];
        let batch = pin.batch.map_or(String::new(), |batch| batch.to_string());
        let off = ground.then(|| units.height(pin.grind));
        table.row(cells.into_iter().chain(off).chain(divided.then_some(batch)));
    }
    made.add(Block::Table(table));
    let [table, drawing] = ["pins.csv", "pins.dxf"].map(|what| super::pictures::file(part, what));
    let shown = plan.pins.len().min(words::PINS_SHOWN);
    let all = plan.pins.len();
    let said = format!(
        "{shown} of {all} pins; all of them are in {table} and, to set out from, in {drawing}."
    );
    made.add(Block::Paragraph(said.into()));
}

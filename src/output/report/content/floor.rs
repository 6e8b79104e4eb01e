//! The part of one floor: as it was, its classes, the pour, as it is now.

use super::first_page::upper_first;
use super::{Made, Part, batches, loud, pictures, poured};
use crate::error::Result;
use crate::findings::{Findings, READING_U};
use crate::flatness::spots::{Spot, SpotKind};
use crate::flatness::verdict::JudgedRequirement;
use crate::output::report::document::{Block, Table, Text};
use crate::output::report::words;
use crate::output::text::{self, verdicts};
use crate::output::words as shared;
use crate::surface::Kind;
use crate::tolerance::Seen;
use crate::units::System;

pub(super) fn floor(made: &mut Made, part: &Part) -> Result<()> {
    let name = &part.floor.name;
    let looks = pictures::Looks::of(made, part);
    made.add(Block::NewPage);
    made.heading(2, name.as_str());
    classes(made, part);
    made.heading(3, format!("{name} before the pour"));
    as_measured(made, part.before(), part.units);
    pictures::before(made, part, &looks)?;
    poured::planned(made, part);
    batches::batches(made, part);
    pictures::depths(made, part, &looks)?;
    if let Some(after) = part.after {
        made.heading(3, format!("{name} after the pour"));
        poured::laid(made, part, after);
        as_measured(made, &after.compared.after, part.units);
        pictures::after(made, part, after, &looks)?;
    }
    poured::pins(made, part);
    warnings(made, part);
    Ok(())
}

/// Every requirement with what was found before and after, and its source.
fn classes(made: &mut Made, part: &Part) {
    let (before, after) = (part.before(), part.found_after());
    if before.judged.is_empty() {
        made.add(Block::Paragraph(words::NO_CLASS.into()));
        return;
    }
    let heads = ["class", "demand", "allowed", "before", "after", "source"];
    let mut table = Table::new(
        format!("{}: classes and their sources", part.floor.name),
        &heads,
    );
    for judged in &before.judged {
        let class = &judged.class;
        let mut name = format!("{}, {}", class.name, class.standard);
        for one in judged.requirements() {
            let of_after = after.iter().flat_map(|found| &found.judged);
            let same = of_after
                .filter(|other| other.class == *class)
                .flat_map(|judged| judged.requirements())
                .find(|other| other.requirement == one.requirement);
            table.row([
                Text::from(std::mem::take(&mut name)),
                Text::from(one.requirement.rule.describe(part.units)),
                Text::from(verdicts::allowed(one, part.units)),
                found(one, part.units),
                same.map_or_else(|| Text::from("not surveyed"), |one| found(one, part.units)),
                Text::from(one.requirement.source.as_ref()),
            ]);
        }
    }
    made.add(Block::Table(table));
    let judged = before
        .judged
        .iter()
        .flat_map(|judged| judged.requirements());
    if judged
        .into_iter()
        .any(|one| one.requirement.seen == Seen::FromMemory)
    {
        made.add(Block::Paragraph(words::FROM_MEMORY.into()));
    }
    made.add(Block::List(reasons(part)));
}

/// The verdict on a requirement and what it rests on.
fn found(one: &JudgedRequirement, units: System) -> Text {
    let value = one
        .measurement
        .found
        .map_or("nothing found".to_owned(), |found| {
            one.requirement.rule.show(found.value, units)
        });
    Text::led(loud(one.verdict), value)
}

/// Why each requirement has the verdict that it has, and where the worst place is.
fn reasons(part: &Part) -> Vec<Text> {
    let of = |findings: &Findings, when: &str| {
        let surface = &findings.surface;
        let at = |node| shared::place(surface, surface.field.position(node), part.units);
        let judged = findings.judged.iter();
        judged
            .flat_map(|judged| {
                judged.requirements().map(|one| {
                    let place = text::place_found(one, &at);
                    let lead = format!("{} {when}: {}.", judged.class.name, loud(one.verdict));
                    Text::led(lead, format!("{}{place}.", upper_first(&one.reason)))
                })
            })
            .collect::<Vec<_>>()
    };
    let mut reasons = of(part.before(), "before");
    reasons.extend(
        part.found_after()
            .into_iter()
            .flat_map(|found| of(found, "after")),
    );
    reasons
}

/// What a survey found: facts, and the table of spots.
fn as_measured(made: &mut Made, findings: &Findings, units: System) {
    let surface = &findings.surface;
    let files: Vec<_> = findings
        .inputs
        .iter()
        .map(|input| input.file.as_str())
        .collect();
    let fact = |name: &str, fact: String| [name.to_owned(), fact];
    let place = |[x, y, z]: [f64; 3]| {
        let z = text::height(surface.survey_z(z), findings.staff, units);
        format!("{z} at {}", shared::place(surface, [x, y], units))
    };
    let mut facts = vec![
        fact(
            "Survey",
            format!(
                "{}: {}",
                files.join(", "),
                text::what_was_measured(findings, units)
            ),
        ),
        fact("Heights", how_well_known(findings, units)),
        fact("Area", text::areas(surface, units)),
        fact("Level", text::levelled(findings, units)),
        fact("Highest", place(findings.level.highest)),
        fact("Lowest", place(findings.level.lowest)),
    ];
    facts.extend(flat(findings, units));
    if let Ok(found) = &findings.f_numbers {
        let along = format!("along {} lines", found.lines.len());
        let [ff, fl] = [
            (found.ff, found.ff_low, found.ff_high),
            (found.fl, found.fl_low, found.fl_high),
        ]
        .map(|(value, low, high)| format!("{value:.1} ({low:.1} to {high:.1})"));
        facts.push(fact("F-numbers", format!("FF {ff}, FL {fl}, {along}")));
    }
    if let Ok(found) = &findings.waviness {
        facts.push(fact("Waviness", units.fine_height(found.index)));
    }
    made.add(Block::Facts(facts));
    if let Some(table) = spots(findings, units) {
        made.add(Block::Table(table));
    }
}

fn how_well_known(findings: &Findings, units: System) -> String {
    match (
        findings.given_u,
        findings.surface.kind,
        findings.surface.noise,
    ) {
        (Some(u), _, _) => format!("taken as known to {}, as the job says", units.height(u)),
        (None, Kind::Cells, Some(noise)) => format!("points scatter by {}", units.height(noise)),
        (None, _, _) => {
            let usual = units.height(READING_U);
            format!("taken as known to {usual}, since the job does not say")
        }
    }
}

/// The widest gap under every edge that was laid.
fn flat(findings: &Findings, units: System) -> impl Iterator<Item = [String; 2]> {
    let surface = &findings.surface;
    let place = move |node: usize| shared::place(surface, surface.field.position(node), units);
    findings.straightedges.iter().map(move |laid| {
        let edge = units.plan(laid.length);
        let said = match laid.worst {
            Some(contact) if contact.gap > 0.0 => format!(
                "widest gap {} under {edge}, at {}, with the edge from {} to {}",
                units.height(contact.gap),
                place(contact.c),
                place(contact.a),
                place(contact.b)
            ),
            Some(_) => format!("no gap anywhere under {edge}"),
            None => format!("no edge of {edge} could be laid: {}", shared::NO_LINE),
        };
        ["Flat".to_owned(), said]
    })
}

fn spots(findings: &Findings, units: System) -> Option<Table> {
    let on_plan = findings
        .on_plan
        .as_ref()
        .filter(|found| !found.spots.is_empty())?;
    let caption = format!(
        "High and low spots, measured from {}",
        on_plan.reference.title()
    );
    let mut table = Table::new(caption, &["spot", "#height", "#area", "where"]);
    let mut numbers = [0, 0];
    for spot in &on_plan.spots {
        table.row(spot_row(findings, spot, &mut numbers, units));
    }
    Some(table)
}

fn spot_row(
    findings: &Findings,
    spot: &Spot,
    [highs, lows]: &mut [u32; 2],
    units: System,
) -> [String; 4] {
    let (word, number) = match spot.kind {
        SpotKind::High => ("high", highs),
        SpotKind::Low => ("low", lows),
    };
    *number += 1;
    let surface = &findings.surface;
    [
        format!("{word} {number}"),
        units.signed_height(spot.extreme),
        units.area(spot.area),
        shared::place(surface, surface.field.position(spot.node), units),
    ]
}

fn warnings(made: &mut Made, part: &Part) {
    let of_after = part
        .after
        .iter()
        .flat_map(|after| after.compared.warnings());
    let mut said: Vec<String> = part
        .floor
        .plan
        .warnings()
        .cloned()
        .chain(of_after)
        .map(|one| one.to_string())
        .collect();
    // What was said of the floor before comes again with the comparison.
    let before: Vec<String> = said.iter().map(|one| format!("before: {one}")).collect();
    said.retain(|one| !before.contains(one));
    let mut seen = Vec::new();
    said.retain(|one| {
        let new = !seen.contains(one);
        seen.push(one.clone());
        new
    });
    if !said.is_empty() {
        made.heading(3, format!("{}: what to know", part.floor.name));
        made.add(Block::List(
            said.iter().map(|one| upper_first(one).into()).collect(),
        ));
    }
}

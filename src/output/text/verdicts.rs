//! One floor by several classes: a table in place of the sentences.
//!
//! In: judged classes. Out: text, a row a requirement, and under the table what would decide what is not decided.

use anstyle::Style;
use comfy_table::{Cell, ContentArrangement, Table, presets};

use super::{MARGIN, Page, WIDTH, styled, verdict_colour};
use crate::flatness::verdict::{Judged, JudgedRequirement, Verdict};
use crate::tolerance::Seen;
use crate::units::System;

/// Stands beside a figure from memory.
pub(in crate::output) const FROM_MEMORY: &str = "*";

/// From so many classes on they stand in a table.
pub(super) const MANY: usize = 3;

/// The verdicts of many classes.
pub(super) fn verdicts(page: &mut Page, classes: &[Judged], units: System) {
    let mut table = table(["class", "verdict", "found", "allowed", "by"]);
    for judged in classes {
        for (place, one) in judged.requirements().enumerate() {
            let name = if place == 0 { &judged.class.name } else { "" };
            table.add_row(row(name, judged, one, units).map(Cell::new));
        }
    }
    put(page, table, classes);
    page.raw("");
    for judged in classes {
        let open = judged.requirements().filter(|one| match one.verdict {
            Verdict::Undecided | Verdict::TooSparse => true,
            Verdict::Within | Verdict::Outside => false,
        });
        let mut reasons: Vec<_> = open.map(|one| &one.reason).collect();
        reasons.dedup();
        if judged.verdict() != Verdict::Outside {
            for reason in reasons {
                let name = &judged.class.name;
                let margin = if name.len() < MARGIN { name } else { "" };
                let named = if margin.is_empty() {
                    format!("{name}: ")
                } else {
                    String::new()
                };
                page.line(margin, format!("{named}{reason}"));
            }
        }
    }
}

/// A table as wide as the page.
pub(super) fn table<const N: usize>(header: [&str; N]) -> Table {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(WIDTH as u16)
        .set_header(header);
    table
}

/// Prints a table of what was `judged`.
pub(super) fn put(page: &mut Page, mut table: Table, judged: &[Judged]) {
    if let Some(first) = table.column_mut(0) {
        first.set_padding((0, 1));
    }
    for line in table.lines() {
        page.raw(&coloured(line.trim_end()));
    }
    if judged
        .iter()
        .any(|judged| judged.requirements().any(from_memory))
    {
        page.raw(&format!(
            "{FROM_MEMORY} a figure from memory: check against your copy"
        ));
    }
}

fn row(name: &str, judged: &Judged, one: &JudgedRequirement, units: System) -> [String; 5] {
    let rule = &one.requirement.rule;
    let found = one
        .measurement
        .found
        .map_or("-".to_owned(), |found| rule.show(found.value, units));
    [
        name.to_owned(),
        one.verdict.word().to_uppercase(),
        found,
        allowed(one, units),
        judged.class.standard.to_string(),
    ]
}

/// What a requirement allows where it was measured, with a star where the figure is from memory.
pub(in crate::output) fn allowed(one: &JudgedRequirement, units: System) -> String {
    let (rule, measurement) = (&one.requirement.rule, &one.measurement);
    let allowed = match (rule.limit().or(rule.least()), measurement.length) {
        (None, Some(length)) => format!(
            "{} at {}",
            units.height(measurement.limit),
            units.plan(length)
        ),
        (Some(_), _) | (None, None) => rule.allowance(units),
    };
    let star = if from_memory(one) { FROM_MEMORY } else { "" };
    format!("{allowed}{star}")
}

fn from_memory(one: &JudgedRequirement) -> bool {
    one.requirement.seen == Seen::FromMemory
}

/// The verdict in its colour.
fn coloured(line: &str) -> String {
    let all = [
        Verdict::Within,
        Verdict::Outside,
        Verdict::Undecided,
        Verdict::TooSparse,
    ];
    let found = all.into_iter().find_map(|verdict| {
        let word = format!(" {} ", verdict.word().to_uppercase());
        line.contains(&word).then_some((verdict, word))
    });
    match found {
        Some((verdict, word)) => line.replacen(&word, &styled(&word, verdict_colour(verdict)), 1),
        None if line.starts_with("class") => styled(line, Style::new().bold()),
        None => line.to_owned(),
    }
}

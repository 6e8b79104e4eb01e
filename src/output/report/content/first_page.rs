//! The first page: what was asked, what was found, what was done.

use super::{Made, Part, loud};
use crate::findings::Findings;
use crate::findings::handover::Handover;
use crate::flatness::verdict::Verdict;
use crate::output::report::document::{Block, Table, Text};
use crate::output::report::words;
use crate::output::text::{fixed, pour, verdicts};
use crate::output::words as shared;
use crate::pour::fixed::Met;
use crate::pour::laid::Laid;

pub(super) fn first_page(made: &mut Made, handover: &Handover, parts: &[Part]) {
    let heading = &handover.house.heading;
    made.heading(1, heading.title.as_str());
    made.add(Block::Paragraph(words::KIND.into()));
    let facts = [
        ("Client", &heading.client),
        ("Address", &heading.address),
        ("By", &heading.by),
        ("Date", &heading.date),
    ];
    let facts: Vec<_> = facts
        .into_iter()
        .filter_map(|(name, fact)| Some([name.to_owned(), fact.clone()?]))
        .chain(
            heading
                .remarks
                .iter()
                .map(|remark| ["Remark".to_owned(), remark.clone()]),
        )
        .collect();
    if !facts.is_empty() {
        made.add(Block::Facts(facts));
    }
    made.add(Block::Notice(conclusion(parts)));
    let [asked, found, done] = words::QUESTIONS;
    made.heading(2, asked);
    made.add(Block::Table(what_was_asked(parts)));
    made.heading(2, found);
    made.add(Block::List(parts.iter().flat_map(what_was_found).collect()));
    made.heading(2, done);
    made.add(Block::List(parts.iter().flat_map(what_was_done).collect()));
    made.add(Block::Paragraph(words::VERDICTS.into()));
}

/// The whole in a sentence or two.
fn conclusion(parts: &[Part]) -> Text {
    if parts.iter().all(|part| part.now().judged.is_empty()) {
        return words::NO_CLASS.into();
    }
    let missed: Vec<_> = parts
        .iter()
        .flat_map(|part| {
            let judged = part.now().judged.iter();
            judged.filter_map(|judged| {
                let verdict = judged.verdict();
                let when = if part.after.is_some() {
                    ""
                } else {
                    ", before its pour"
                };
                let name = &part.floor.name;
                (verdict != Verdict::Within)
                    .then(|| format!("{name}: {} {}{when}", judged.class.name, loud(verdict)))
            })
        })
        .collect();
    if missed.is_empty() {
        Text::led(words::ALL_MET, not_measured(parts))
    } else {
        Text::led(words::NOT_MET, format!("{}.", missed.join("; ")))
    }
}

/// What of the floors a verdict on all of them leaves out; empty where that is nothing.
fn not_measured(parts: &[Part]) -> String {
    let gone: Vec<_> = parts
        .iter()
        .filter(|part| part.now().surface.unmeasured > 0.0)
        .map(|part| {
            let area = part.units.area(part.now().surface.unmeasured);
            format!("{area} of {}", part.floor.name)
        })
        .collect();
    if gone.is_empty() {
        return String::new();
    }
    format!("{} {}.", words::AS_FAR_AS_MEASURED, gone.join("; "))
}

fn what_was_asked(parts: &[Part]) -> Table {
    let mut table = Table::new(
        "The floors, and what was asked of them",
        &["floor", "class", "allowed", "finish", "with"],
    );
    for part in parts {
        let plan = &part.floor.plan;
        let judged = &plan.findings.judged;
        let of_each = |say: &dyn Fn(&crate::flatness::verdict::Judged) -> String| {
            judged.iter().map(say).collect::<Vec<_>>().join("; ")
        };
        let allowed = of_each(&|judged| {
            let each: Vec<_> = judged
                .requirements()
                .map(|one| verdicts::allowed(one, part.units))
                .collect();
            each.join(", ")
        });
        let compounds = plan.compounds.iter().map(|compound| compound.name.as_str());
        table.row([
            part.floor.name.clone(),
            of_each(&|judged| judged.class.name.clone()),
            allowed,
            pour::finish(plan, part.units),
            shared::listed(compounds),
        ]);
    }
    table
}

/// Each class of a floor with its verdict and the reason.
fn verdicts_on<'a>(
    name: &'a str,
    when: &'a str,
    findings: &'a Findings,
) -> impl Iterator<Item = Text> + 'a {
    findings.judged.iter().map(move |judged| {
        let lead = format!(
            "{name}, {when}: {} {}.",
            judged.class.name,
            loud(judged.verdict())
        );
        Text::led(lead, format!("{}.", upper_first(&judged.worst.reason)))
    })
}

fn what_was_found(part: &Part) -> Vec<Text> {
    let (name, before, units) = (&part.floor.name, part.before(), part.units);
    let range = units.height(before.level.range());
    let volumes = &part.floor.plan.pour.volumes;
    let needed = format!(
        "Its heights differ by {range}. To finish it as asked takes {} of compound over {}, {} deep on average.",
        units.volume(volumes.fill),
        units.area(volumes.filled_area),
        units.height(volumes.mean_depth)
    );
    let high = (volumes.ground_area > 0.0).then(|| {
        let area = units.area(volumes.ground_area);
        let then = if part.floor.plan.grinding.is_some() {
            ", and come off before the pour"
        } else {
            ""
        };
        Text::led(
            format!("{name}."),
            format!("{area} stand above that finish{then}."),
        )
    });
    let unmeasured = before.surface.unmeasured;
    let gone = (unmeasured > 0.0).then(|| {
        let area = units.area(unmeasured);
        Text::led(
            format!("{name}."),
            format!("{area} of its floor were not measured: nothing is said about them."),
        )
    });
    verdicts_on(name, "before the pour", before)
        .chain([Text::led(format!("{name}."), needed)])
        .chain(high)
        .chain(gone)
        .chain(missed_levels(part))
        .collect()
}

/// The fixed levels that the planned finish does not meet for sure.
fn missed_levels(part: &Part) -> impl Iterator<Item = Text> {
    let reports = part
        .floor
        .plan
        .fixed
        .iter()
        .flat_map(|fixed| &fixed.reports);
    reports
        .filter(|report| report.met != Met::Yes)
        .map(|report| {
            let fixed = &report.fixed;
            let off = report.worst.as_ref().map_or_else(
                || shared::NO_FINISH_THERE.to_owned(),
                |worst| {
                    format!(
                        "the finish asked for is {} there",
                        fixed::off(worst, part.units)
                    )
                },
            );
            let allowed = part.units.height(fixed.allowance);
            let word = super::poured::met(report.met);
            Text::led(
                format!("{}, {}: {word}.", part.floor.name, fixed.name),
                format!("{}; {allowed} is allowed.", upper_first(&off)),
            )
        })
}

fn what_was_done(part: &Part) -> Vec<Text> {
    let name = &part.floor.name;
    let Some(after) = part.after else {
        return vec![Text::led(name.as_str(), words::NOT_SURVEYED_AFTER)];
    };
    let laid = match &after.compared.laid {
        Ok(laid) => Text::led(format!("{name}."), laid_in_words(part, laid)),
        Err(reason) => Text::led(
            format!("{name}:"),
            format!("how much was laid cannot be told: {reason}."),
        ),
    };
    let lowered = after.compared.laid.as_ref().is_ok_and(Laid::lowered);
    [laid]
        .into_iter()
        .chain(
            super::poured::bags(after, part.units).map(|bags| Text::led(format!("{name}."), bags)),
        )
        .chain(lowered.then(|| Text::led(format!("{name}."), words::LOWERED)))
        .chain(verdicts_on(name, "after the pour", &after.compared.after))
        .collect()
}

fn laid_in_words(part: &Part, laid: &Laid) -> String {
    let units = part.units;
    format!(
        "{} of compound was laid on average (known to {}), {} over {}.",
        units.height(laid.mean),
        units.height(laid.mean_u),
        units.volume(laid.volume),
        units.area(laid.surface.area)
    )
}

/// With a capital letter.
pub(super) fn upper_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

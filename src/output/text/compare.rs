//! The floor before and after, for people: was the class reached, what was laid, do the bags agree.
//!
//! In: a comparison. Out: the summary.

use super::verdicts::{allowed, put, table};
use super::{
    Page, height, how_well_known, levelled, notes, styled, verdict_word, what_was_measured,
};
use crate::findings::{Comparison, Findings};
use crate::flatness::verdict::{JudgedRequirement, Verdict};
use crate::output::words;
use crate::pour::laid::{Laid, Thickness, Thin};
use crate::units::System;

/// Thin places that the summary lists; the JSON has them all.
const PLACES_SHOWN: usize = 3;

/// The summary of `compare`.
pub fn compare(found: &Comparison, units: System) -> String {
    let mut page = Page::default();
    classes(&mut page, found, units);
    match &found.laid {
        Ok(laid) => self::laid(&mut page, found, laid, units),
        Err(reason) => page.line("laid", format!("cannot be told: {reason}")),
    }
    if let Ok(used) = &found.used {
        page.line("bags", words::used(used));
        if let Some(cause) = words::used_otherwise(used) {
            page.line("", cause);
        }
    }
    flatness(&mut page, found, units);
    for (when, findings) in [("before", &found.before), ("after", &found.after)] {
        page.line(when, what_was_measured(findings, units));
        page.line("", how_well_known(findings, units));
    }
    page.line("to do", what_to_do(found));
    notes(&mut page, found.warnings().iter(), words::COMPARE_CAUTIONS);
    page.0
}

/// Each class before and after, then why the floor after is not within it.
fn classes(page: &mut Page, found: &Comparison, units: System) {
    if found.after.judged.is_empty() {
        return;
    }
    let cell = |one: &JudgedRequirement| {
        let value = one.measurement.found.map_or(String::new(), |found| {
            format!("{}, ", one.requirement.rule.show(found.value, units))
        });
        format!("{value}{}", one.verdict.word())
    };
    let mut table = table(["class", "allowed", "before", "after"]);
    for (before, after) in found.before.judged.iter().zip(&found.after.judged) {
        let mut name = after.class.name.as_str();
        for one in after.requirements() {
            let mut of_before = before.requirements();
            let same = of_before.find(|other| other.requirement == one.requirement);
            table.add_row([
                std::mem::take(&mut name).to_owned(),
                allowed(one, units),
                same.map_or(String::new(), cell),
                cell(one),
            ]);
        }
    }
    put(page, table, &found.after.judged);
    for judged in &found.after.judged {
        let (name, word) = (&judged.class.name, verdict_word(judged.verdict()));
        let reason = &judged.worst.reason;
        page.line("verdict", format!("{name} after the pour {word}: {reason}"));
    }
}

fn laid(page: &mut Page, found: &Comparison, laid: &Laid, units: System) {
    let (mean, u) = (units.height(laid.mean), units.height(laid.mean_u));
    let mean = styled(&mean, anstyle::Style::new().bold());
    page.line("laid", format!("{mean} on average, known to {u}"));
    let (volume, u) = (units.volume(laid.volume), units.volume(laid.volume_u));
    let area = units.area(laid.surface.area);
    page.line("", format!("{volume} over {area}, known to {u}"));
    let place = |at: &Thickness| {
        format!(
            "{} (known to {}) at {}",
            units.height(at.value),
            units.height(at.u),
            words::place(&laid.surface, laid.surface.field.position(at.node), units)
        )
    };
    page.line("least", place(&laid.least));
    page.line("most", place(&laid.greatest));
    if let Some(lower) = &laid.lower {
        let (area, worst) = (units.area(lower.area), place(&lower.worst));
        page.line(
            "lower",
            format!("after than before over {area}, beyond doubt, most at {worst}"),
        );
    } else if laid.lowered() {
        page.line("lower", "after than before on average, beyond doubt");
    }
    if laid.lowered() {
        page.line("", "the datum is wrong, it was ground off, or misread");
    }
    if let Some(thin) = &laid.thin {
        self::thin(page, laid, thin, units);
    }
    datum(page, found, laid, units);
}

fn thin(page: &mut Page, laid: &Laid, thin: &Thin, units: System) {
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
    let told = match thin.verdict {
        Verdict::Within => measured,
        Verdict::Outside => format!("{measured}, somewhere beyond doubt"),
        Verdict::Undecided | Verdict::TooSparse => format!("{measured}, but not beyond doubt"),
    };
    page.line("thin", told);
    if thin.doubtful > 0.0 {
        page.line(
            "",
            format!(
                "over {} it is too near {least} for the doubt of the surveys",
                share(thin.doubtful)
            ),
        );
    }
    for spot in thin.places.iter().take(PLACES_SHOWN) {
        let at = laid.surface.field.position(spot.node);
        page.line(
            "",
            format!(
                "{} at {}, thin over {}",
                units.height(thin.least_depth + spot.extreme),
                words::place(&laid.surface, at, units),
                units.area(spot.area)
            ),
        );
    }
    if let more @ 1.. = thin.places.len().saturating_sub(PLACES_SHOWN) {
        page.line("", format!("and {more} more thin places, see the map"));
    }
}

fn datum(page: &mut Page, found: &Comparison, laid: &Laid, units: System) {
    let datum = &laid.datum;
    let u = units.height(datum.u);
    let read = |z: f64, findings: &Findings| height(z, findings.staff, units);
    let several = datum.fixed.len() > 1;
    let mut margin = "datum";
    for fixed in &datum.fixed {
        let left = if several {
            let left = units.signed_height(datum.left_over(fixed));
            format!(", {left} left over")
        } else {
            String::new()
        };
        page.line(
            margin,
            format!(
                "{}: {} before, {} after{left}",
                fixed.name,
                read(fixed.before[0], &found.before),
                read(fixed.after[0], &found.after)
            ),
        );
        margin = "";
    }
    page.line("", format!("the zeros are brought together to {u}"));
}

fn flatness(page: &mut Page, found: &Comparison, units: System) {
    let gaps = found
        .before
        .straightedges
        .iter()
        .zip(&found.after.straightedges);
    for (before, after) in gaps {
        let gap = |laid: &crate::flatness::straightedge::Straightedge| {
            laid.worst
                .map_or("not measured".to_owned(), |worst| units.height(worst.gap))
        };
        page.line(
            "flat",
            format!(
                "widest gap {} before, {} after, under {}",
                gap(before),
                gap(after),
                units.plan(before.length)
            ),
        );
    }
    page.line(
        "level",
        format!(
            "{} before; {} after",
            levelled(&found.before, units),
            levelled(&found.after, units)
        ),
    );
}

fn what_to_do(found: &Comparison) -> &'static str {
    let lowered = found.laid.as_ref().is_ok_and(Laid::lowered);
    let thin = |verdict| {
        let thin = found.laid.as_ref().ok().and_then(|laid| laid.thin.as_ref());
        thin.is_some_and(|thin| thin.verdict == verdict)
    };
    if lowered {
        "find out why the floor seems lower than before, until then trust no thickness"
    } else if thin(Verdict::Outside) {
        "ask the maker what thin places need before the finish goes on"
    } else if !found.after.all_met() {
        "see why the class is not shown to be met, above"
    } else if found.laid.is_err() {
        "read a mark that stays where it is in every survey, and thickness can be told"
    } else if thin(Verdict::Undecided) {
        "measure the thin places again, or bring the zeros together by more places"
    } else {
        "nothing"
    }
}

//! How a finish meets the fixed levels of a floor.
//!
//! In: the reports. Out: lines of the summary.

use super::{Page, height, styled};
use crate::findings::FixedLevels;
use crate::findings::PourPlan;
use crate::output::words;
use crate::pour::fixed::{Beside, FixedReport, Met};
use crate::units::System;

use anstyle::AnsiColor;

/// Each fixed level, and the datum that meets more of them if there is one.
pub(super) fn fixed_levels(page: &mut Page, plan: &PourPlan, fixed: &FixedLevels, units: System) {
    for report in &fixed.reports {
        one(page, plan, report, units);
    }
    if let Some(better) = better(plan, fixed, units) {
        page.line("", better);
    }
}

/// The datum that meets more of the fixed levels, if there is one.
pub(in crate::output) fn better(
    plan: &PourPlan,
    fixed: &FixedLevels,
    units: System,
) -> Option<String> {
    let met = |reports: &[FixedReport]| reports.iter().filter(|one| one.met == Met::Yes).count();
    let proposed = fixed.proposed.as_ref()?;
    let [would, all] = [met(&proposed.reports), fixed.reports.len()];
    let datum = plan.findings.surface.survey_z(proposed.datum);
    let datum = height(datum, plan.findings.staff, units);
    (would > met(&fixed.reports)).then(|| format!("level at {datum} would meet {would} of {all}"))
}

fn one(page: &mut Page, plan: &PourPlan, report: &FixedReport, units: System) {
    let fixed = &report.fixed;
    let (word, colour) = match report.met {
        Met::Yes => ("met", AnsiColor::Green),
        Met::No => ("MISSED", AnsiColor::Red),
        Met::NotKnown => ("NOT KNOWN", AnsiColor::Yellow),
    };
    let word = styled(word, colour.on_default().bold());
    let name = &fixed.name;
    let Some(worst) = &report.worst else {
        page.line(
            "fixed",
            format!("{word}: {name}: {}", words::NO_FINISH_THERE),
        );
        return;
    };
    let at = words::place(&plan.findings.surface, worst.at, units);
    let (off, allowance) = (off(worst, units), units.height(fixed.allowance));
    page.line(
        "fixed",
        format!("{word}: {name}: {off} at {at}; {allowance} allowed"),
    );
    let ends = report.ends.map(|end| match end {
        Some(end) => self::off(&end, units),
        None => "not known".to_owned(),
    });
    if ends[0] != ends[1] {
        page.line("", format!("at its ends: {}, {}", ends[0], ends[1]));
    }
    if report.met == Met::No || fixed.below != 0.0 {
        page.line("", step(worst, units));
    }
}

/// How far the finish is off.
pub(in crate::output) fn off(beside: &Beside, units: System) -> String {
    let by = units.height(beside.off.abs());
    match units.signed_height(beside.off).chars().next() {
        Some('+') => format!("{by} too high"),
        Some('-') => format!("{by} too low"),
        Some(_) | None => "no difference".to_owned(),
    }
}

/// The step that is left at a door.
pub(in crate::output) fn step(beside: &Beside, units: System) -> String {
    let step = units.height(beside.step.abs());
    match units.signed_height(beside.step).chars().next() {
        Some('+') => format!("a step of {step} up from it to the compound"),
        Some('-') => format!("a step of {step} down from it to the compound"),
        Some(_) | None => "no step".to_owned(),
    }
}

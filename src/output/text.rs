//! The summary for people: verdict first, then where, then what to do. Ten seconds to read.
//!
//! In: finished results. Out: text with ANSI styles on the verdicts; whoever prints it strips them where they do not
//! belong (no terminal, NO_COLOR).

mod batches;
mod compare;
mod edge_book;
pub(super) mod fixed;
mod handover;
mod house;
mod levels;
mod materials;
pub(super) mod planned;
pub(super) mod pour;
mod questions;
mod rest;
pub(super) mod verdicts;

use std::fmt::Write;

use anstyle::{AnsiColor, Style};

use super::words;
use crate::findings::{Description, Findings, Floor, READING_U};
use crate::flatness::measure::Place;
use crate::flatness::spots::SpotKind;
use crate::flatness::verdict::{Judged, JudgedRequirement, Verdict};
use crate::surface::{Kind, Surface};
use crate::tolerance::Class;
use crate::units::System;

pub use compare::compare;
pub use edge_book::edge_book;
pub use handover::handover;
pub use house::house;
pub use levels::level_check;
pub use pour::pour;
pub use questions::{pour_area, reach};
pub use rest::rest;

/// Spots of a kind that the summary lists; the map and the JSON have them all.
const SPOTS_SHOWN: usize = 3;

/// Characters in a line: what a terminal and a printed page hold.
const WIDTH: usize = 90;

/// Characters of a line that the margin takes.
const MARGIN: usize = 10;

/// A text of lines that start with a short word in the margin.
#[derive(Default)]
struct Page(String);

impl Page {
    /// A line, broken where it is too long; the margin word is empty where it goes on with what the last one began.
    fn line(&mut self, margin: &str, text: impl std::fmt::Display) {
        let margin = format!("{margin:<MARGIN$}");
        let indent = " ".repeat(MARGIN);
        let options = textwrap::Options::new(WIDTH)
            .initial_indent(&margin)
            .subsequent_indent(&indent);
        for line in textwrap::wrap(&text.to_string(), options) {
            // Writing to a string cannot fail.
            let _ = writeln!(self.0, "{}", line.trim_end());
        }
    }

    /// A line as it is.
    fn raw(&mut self, line: &str) {
        let _ = writeln!(self.0, "{line}");
    }
}

fn styled(text: &str, style: Style) -> String {
    format!("{style}{text}{style:#}")
}

fn verdict_word(verdict: Verdict) -> String {
    styled(&verdict.word().to_uppercase(), verdict_colour(verdict))
}

fn verdict_colour(verdict: Verdict) -> Style {
    let colour = match verdict {
        Verdict::Within => AnsiColor::Green,
        Verdict::Outside => AnsiColor::Red,
        Verdict::Undecided | Verdict::TooSparse => AnsiColor::Yellow,
    };
    colour.on_default().bold()
}

/// The summary of `check`.
pub fn check(findings: &Findings, units: System) -> String {
    let mut page = Page::default();
    let surface = &findings.surface;
    let place = |node| words::place(surface, surface.field.position(node), units);
    classes_judged(&mut page, &findings.judged, &place, units);
    flatness(&mut page, findings, units);
    along_lines(&mut page, findings, units);
    levelness(&mut page, findings, units);
    spots(&mut page, findings, units);
    measured(&mut page, findings, units);
    page.line("to do", what_to_do(findings));
    notes(&mut page, findings.warnings.iter(), words::CHECK_CAUTIONS);
    page.0
}

/// The verdicts on classes; `at` is what a number of a place in their measurements stands for.
fn classes_judged(
    page: &mut Page,
    classes: &[Judged],
    at: &dyn Fn(usize) -> String,
    units: System,
) {
    if classes.len() >= verdicts::MANY {
        verdicts::verdicts(page, classes, units);
        return;
    }
    for judged in classes {
        verdict(page, judged, at, units);
    }
}

/// A class; `at` is what a number of a place in its measurements stands for.
fn verdict(page: &mut Page, judged: &Judged, at: &dyn Fn(usize) -> String, units: System) {
    let class = &judged.class;
    let several = !judged.others.is_empty();
    for (place, one) in judged.requirements().enumerate() {
        let margin = if place == 0 { class.name.as_str() } else { "" };
        // A name too long for the margin has a line of its own.
        let margin = if margin.len() < MARGIN {
            margin
        } else {
            page.line("", margin);
            ""
        };
        let word = verdict_word(one.verdict);
        page.line(margin, format!("{word}: {}", one.reason));
        let allowance = one.requirement.rule.allowance(units);
        let remark = remark(one.requirement.seen.remark());
        let place = place_found(one, at);
        page.line(
            "",
            format!("{}, {allowance}{place}{remark}", class.standard),
        );
    }
    if several {
        let word = judged.verdict().word();
        page.line("", format!("the class as a whole: {word}"));
    }
}

/// Where the worst of a requirement is; a straightedge's is said in the line about it.
pub(super) fn place_found(judged: &JudgedRequirement, at: &dyn Fn(usize) -> String) -> String {
    let Some(found) = judged.measurement.found else {
        return String::new();
    };
    match found.place {
        Place::Chord { .. } if judged.requirement.rule.edge().is_some() => String::new(),
        Place::Chord { c, .. } | Place::Node(c) => format!("; worst at {}", at(c)),
        Place::Pair { a, b } => format!("; worst from {} to {}", at(a), at(b)),
        Place::Lines => String::new(),
    }
}

fn remark(remark: &str) -> String {
    match remark {
        "" => String::new(),
        remark => format!(" ({remark})"),
    }
}

fn flatness(page: &mut Page, findings: &Findings, units: System) {
    let surface = &findings.surface;
    let place = |node: usize| words::place(surface, surface.field.position(node), units);
    for laid in &findings.straightedges {
        let edge = units.plan(laid.length);
        match laid.worst {
            Some(contact) if contact.gap > 0.0 => {
                let gap = units.height(contact.gap);
                page.line(
                    "flat",
                    format!("widest gap {gap} under {edge}, at {}", place(contact.c)),
                );
                page.line(
                    "",
                    format!(
                        "lay the edge from {} to {}",
                        place(contact.a),
                        place(contact.b)
                    ),
                );
                if let Some(bias) = laid.bias {
                    let [added, alone] = [bias.mean, bias.reach].map(|value| units.height(value));
                    page.line(
                        "",
                        format!("noise widens it by about {added}, and could make {alone} of gap on a flat floor"),
                    );
                }
            }
            Some(_) => page.line("flat", format!("no gap anywhere under {edge}")),
            None => page.line(
                "flat",
                format!("no edge of {edge} could be laid: {}", words::NO_LINE),
            ),
        }
    }
}

/// F-numbers and waviness, where they could be measured.
fn along_lines(page: &mut Page, findings: &Findings, units: System) {
    if let Ok(found) = &findings.f_numbers {
        let ff = format!(
            "{:.1} ({:.1} to {:.1})",
            found.ff, found.ff_low, found.ff_high
        );
        let fl = format!(
            "{:.1} ({:.1} to {:.1})",
            found.fl, found.fl_low, found.fl_high
        );
        let along = format!("along {} lines", found.lines.len());
        page.line("F-number", format!("FF {ff}, FL {fl}, {along}"));
        for note in &found.notes {
            page.line("", note);
        }
    }
    if let Ok(found) = &findings.waviness {
        page.line(
            "wavy",
            format!("waviness index {}", units.fine_height(found.index)),
        );
    }
}

fn levelness(page: &mut Page, findings: &Findings, units: System) {
    let (surface, level) = (&findings.surface, &findings.level);
    let place = |[x, y, z]: [f64; 3]| {
        let z = height(surface.survey_z(z), findings.staff, units);
        format!("{z} at {}", words::place(surface, [x, y], units))
    };
    page.line("level", levelled(findings, units));
    if surface.shared.tilt > 0.0 {
        let tilt = units.slope(surface.shared.tilt);
        page.line(
            "",
            format!("the laser's tilt of {tilt} (--tilt) is counted here; in flatness it cancels"),
        );
    }
    page.line("", format!("highest {}", place(level.highest)));
    page.line("", format!("lowest  {}", place(level.lowest)));
}

/// How level a floor is: its range, and what its best plane falls.
pub(super) fn levelled(findings: &Findings, units: System) -> String {
    let [range, range_u] =
        [findings.level.range(), findings.range_u].map(|size| units.height(size));
    let fall = findings.on_plan.as_ref().map_or(String::new(), |found| {
        let [fall, u] = [found.least_squares.plane.fall(), found.least_squares_u.fall]
            .map(|slope| units.slope(slope));
        format!(", best plane falls {fall} (u {u})")
    });
    format!("range {range} (u {range_u}){fall}")
}

/// A height from the survey's zero, or the staff reading that it is.
pub(super) fn height(z: f64, staff: bool, units: System) -> String {
    if staff {
        format!("staff {}", units.height(-z))
    } else {
        units.height(z)
    }
}

fn spots(page: &mut Page, findings: &Findings, units: System) {
    for (kind, word) in [(SpotKind::High, "high"), (SpotKind::Low, "low")] {
        let of_kind: Vec<_> = findings
            .on_plan
            .iter()
            .flat_map(|found| &found.spots)
            .filter(|spot| spot.kind == kind)
            .collect();
        for (number, spot) in of_kind.iter().take(SPOTS_SHOWN).enumerate() {
            let [x, y] = findings
                .surface
                .survey_xy(findings.surface.field.position(spot.node));
            let (extreme, area) = (units.signed_height(spot.extreme), units.area(spot.area));
            let place = units.place(x, y);
            page.line(
                &format!("{word} {}", number + 1),
                format!("{extreme} over {area}, at {place}"),
            );
        }
        if let more @ 1.. = of_kind.len().saturating_sub(SPOTS_SHOWN) {
            page.line("", format!("and {more} more {word} spots, see the map"));
        }
    }
}

fn measured(page: &mut Page, findings: &Findings, units: System) {
    page.line("measured", what_was_measured(findings, units));
    page.line("", areas(&findings.surface, units));
    page.line("", how_well_known(findings, units));
}

/// So many readings or cells, and how far apart.
pub(super) fn what_was_measured(findings: &Findings, units: System) -> String {
    let surface = &findings.surface;
    let spacing = units.plan(surface.spacing);
    let used = surface.points.used;
    match surface.kind {
        Kind::Grid => format!("{used} readings on a grid of {spacing}"),
        Kind::Triangulated => format!("{used} scattered readings, about {spacing} apart"),
        Kind::Lines => {
            let (lines, pitch) = (surface.rows.len(), units.height(surface.spacing));
            format!("{used} readings along {lines} lines, one every {pitch}")
        }
        Kind::Cells => {
            let [cells, all] = [
                surface.field.measured().count() as u64,
                used + surface.points.rejected(),
            ];
            format!(
                "{used} of {all} points are floor, in {cells} cells of {}",
                units.height(surface.spacing)
            )
        }
    }
}

fn how_well_known(findings: &Findings, units: System) -> String {
    let surface = &findings.surface;
    match (findings.given_u, surface.kind, surface.noise) {
        (Some(u), _, _) => format!("heights taken as known to {} (--u)", units.height(u)),
        (None, Kind::Cells, Some(noise)) => format!("points scatter by {}", units.height(noise)),
        (None, _, _) => {
            let usual = units.height(READING_U);
            format!("heights taken as known to {usual}; say --u if yours are better or worse")
        }
    }
}

pub(super) fn areas(surface: &Surface, units: System) -> String {
    let area = units.area(surface.area);
    if surface.kind == Kind::Lines {
        format!("no area, planes or spots: {}", words::NO_PLAN)
    } else if surface.unmeasured > 0.0 {
        format!(
            "{area} of floor, and {} not measured",
            units.area(surface.unmeasured)
        )
    } else {
        format!("{area} of floor")
    }
}

fn what_to_do(findings: &Findings) -> &'static str {
    let has = |verdict| {
        findings
            .judged
            .iter()
            .any(|judged| judged.verdict() == verdict)
    };
    if findings.judged.is_empty() {
        "name the class that the finish demands: --class SR2, or --class 3mm@2m"
    } else if has(Verdict::Outside) {
        "fill or take down before the finish goes on: `lowspot pour` says how much compound"
    } else if has(Verdict::TooSparse) {
        "measure closer before relying on this floor"
    } else if has(Verdict::Undecided) {
        "measure the worst places again with a better instrument, or level the floor"
    } else {
        "nothing: every class asked for is met"
    }
}

fn notes<'a>(
    page: &mut Page,
    warnings: impl Iterator<Item = &'a crate::error::Warning>,
    cautions: &[&str],
) {
    for warning in warnings {
        page.line("note", warning);
    }
    for caution in cautions {
        page.line("caution", caution);
    }
}

/// The summary of `describe`.
pub fn describe(description: &Description, units: System) -> String {
    let mut page = Page::default();
    for input in &description.inputs {
        let what = if description.scan {
            "points"
        } else {
            "readings"
        };
        page.line(
            "file",
            format!("{}: {}, {} {what}", input.file, input.format, input.points),
        );
    }
    if let Some(extent) = description.extent {
        self::extent(&mut page, extent, description.staff, units);
    }
    for book in &description.books {
        levels::book(&mut page, book, units);
    }
    if let Some(edges) = &description.edges {
        edge_book::laid(&mut page, "edges", edges, units);
    }
    if let Some(network) = &description.network {
        levels::setups(&mut page, network, description.staff, units);
    }
    match &description.floor {
        Ok(floor) => floor_found(&mut page, floor, description.staff, units),
        Err(reason) => page.line("floor", format!("none: {reason}")),
    }
    notes(&mut page, description.warnings.iter(), &[]);
    page.0
}

fn extent(page: &mut Page, [x, y, z]: [[f64; 2]; 3], staff: bool, units: System) {
    let span =
        |[least, greatest]: [f64; 2]| format!("{} to {}", units.plan(least), units.plan(greatest));
    page.line("extent", format!("x {}, y {}", span(x), span(y)));
    let (what, heights) = if staff {
        ("staff readings", [-z[1], -z[0]])
    } else {
        ("heights", z)
    };
    page.line(
        "",
        format!(
            "{what} {} to {}",
            units.height(heights[0]),
            units.height(heights[1])
        ),
    );
}

fn floor_found(page: &mut Page, floor: &Floor, staff: bool, units: System) {
    let surface = &floor.surface;
    let mean = height(surface.survey_z(floor.level.mean), staff, units);
    let (range, fall) = (
        units.height(floor.level.range()),
        units.slope(floor.plane.fall()),
    );
    page.line("floor", format!("mean {mean}, range {range}, falls {fall}"));
    page.line("", areas(surface, units));
    page.line("spacing", spacing(surface, units));
    if let Some(noise) = surface.noise {
        page.line(
            "noise",
            format!("points scatter by {} about the floor", units.height(noise)),
        );
    }
    let points = surface.points;
    let reasons = [
        (points.used, "used"),
        (points.above, "above the floor: walls, furniture, ceiling"),
        (points.below, "below the floor: reflections"),
        (points.outside, "outside the outline"),
        (points.sparse, "too few together to make a cell"),
        (points.left_out.withheld, "marked withheld"),
        (points.left_out.noise, "marked as noise"),
        (points.left_out.invalid, "without a position"),
    ];
    let mut margin = "points";
    for (count, reason) in reasons.into_iter().filter(|(count, _)| *count > 0) {
        page.line(margin, format!("{count} {reason}"));
        margin = "";
    }
}

fn spacing(surface: &Surface, units: System) -> String {
    let spacing = units.plan(surface.spacing);
    match surface.kind {
        Kind::Grid => format!("a grid of {spacing}"),
        Kind::Triangulated => format!("scattered, about {spacing} apart"),
        Kind::Lines => format!("along the lines {spacing}"),
        Kind::Cells => format!("cells of {}", units.height(surface.spacing)),
    }
}

/// The list of classes, all or those that contain every one of `wanted` words.
pub fn classes(classes: &[Class], units: System) -> String {
    let mut page = Page::default();
    for class in classes {
        let name = styled(&class.name, Style::new().bold());
        page.line(
            "class",
            format!("{name}: {}, {}", class.standard, class.title),
        );
        for requirement in &class.requirements {
            let limit = requirement.rule.allowance(units);
            page.line("", format!("{limit}: {}", requirement.rule.describe(units)));
            let remark = remark(requirement.seen.remark());
            page.line("", format!("source: {}{remark}", requirement.source));
        }
    }
    page.0
}

//! The summary of a straightedge book.

use super::{Page, classes_judged, notes};
use crate::findings::{EdgeFindings, READING_U};
use crate::flatness::by_hand::{Book, OfLength};
use crate::flatness::verdict::Verdict;
use crate::output::words;
use crate::units::System;

/// Edges over the limit that the summary lists; the map and the JSON have them all.
const SHOWN: usize = 5;

/// The summary of `check` for a straightedge book.
pub fn edge_book(found: &EdgeFindings, units: System) -> String {
    let mut page = Page::default();
    let at = |number| {
        let [x, y] = Book::place(&found.edges, number);
        units.place(x, y)
    };
    classes_judged(&mut page, &found.judged, &at, units);
    for one in &found.of_length {
        widest(&mut page, found, one, units);
    }
    verdicts(&mut page, found, units);
    laid(&mut page, "measured", found, units);
    let doubt = match found.given_u {
        Some(u) => format!("gaps taken as known to {} (--u)", units.height(u)),
        None => {
            let usual = units.height(READING_U);
            format!("gaps taken as known to {usual}; say --u if yours are better or worse")
        }
    };
    page.line("", doubt);
    page.line("", words::NO_HEIGHTS);
    page.line("to do", what_to_do(found));
    notes(&mut page, found.warnings.iter(), words::CHECK_CAUTIONS);
    page.0
}

fn what_to_do(found: &EdgeFindings) -> &'static str {
    let mut judged = found.judged.iter();
    if found.judged.is_empty() {
        "name the class that the finish demands: --class SR2, or --class 3mm@2m"
    } else if judged.any(|judged| judged.verdict() == Verdict::Outside) {
        "fill or take down before the finish goes on: from readings of height, `lowspot pour` says how much compound"
    } else {
        "measure heights before relying on this floor"
    }
}

fn widest(page: &mut Page, found: &EdgeFindings, one: &OfLength, units: System) {
    let length = units.plan(one.length);
    let Some((number, edge)) = one.widest.and_then(|n| Some((n, found.edges.get(n)?))) else {
        page.line("flat", format!("under {length}: {}", words::NOT_LAID));
        return;
    };
    let gap = units.height(edge.gap);
    let [at, from, to] = {
        let [from, to] = edge.ends();
        [edge.at, from, to].map(|[x, y]| units.place(x, y))
    };
    let name = words::edge_name(edge, number);
    page.line(
        "flat",
        format!("widest gap {gap} under {length}, at {at} (edge {name})"),
    );
    page.line("", format!("the edge lay from {from} to {to}"));
}

/// How many edges are within and so on, and which are outside.
fn verdicts(page: &mut Page, found: &EdgeFindings, units: System) {
    if found.judged.is_empty() {
        return;
    }
    let edges = || found.edges.iter().map(|edge| found.verdict(edge));
    let counts: Vec<_> = [
        (Some(Verdict::Within), "within where they lay"),
        (Some(Verdict::Undecided), "undecided"),
        (Some(Verdict::Outside), "outside"),
        (None, "that say nothing about the class"),
    ]
    .into_iter()
    .map(|(wanted, word)| (edges().filter(|verdict| *verdict == wanted).count(), word))
    .filter(|(count, _)| *count > 0)
    .map(|(count, word)| format!("{count} {word}"))
    .collect();
    page.line("edges", counts.join(", "));
    let mut outside: Vec<_> = found
        .edges
        .iter()
        .enumerate()
        .filter(|(_, edge)| found.verdict(edge) == Some(Verdict::Outside))
        .collect();
    outside.sort_by(|(_, a), (_, b)| b.gap.total_cmp(&a.gap));
    for (number, edge) in outside.iter().take(SHOWN) {
        let name = words::edge_name(edge, *number);
        let [x, y] = edge.at;
        page.line(
            "",
            format!(
                "outside: edge {name}, {} under {} at {}",
                units.height(edge.gap),
                units.plan(edge.length),
                units.place(x, y)
            ),
        );
    }
    if let more @ 1.. = outside.len().saturating_sub(SHOWN) {
        page.line("", format!("and {more} more outside, see the map"));
    }
}

/// How many edges of which length, and how dense.
pub(super) fn laid(page: &mut Page, margin: &str, found: &EdgeFindings, units: System) {
    let lengths: Vec<_> = found
        .of_length
        .iter()
        .filter(|one| one.count > 0)
        .map(|one| format!("{} of {}", one.count, units.plan(one.length)))
        .collect();
    let count = found.edges.len();
    page.line(
        margin,
        format!("{count} edges laid: {}", lengths.join(", ")),
    );
    let area = found.book().area;
    let of = if found.outline.is_some() {
        "the room"
    } else {
        "the ground that they span"
    };
    let [area, each] = [area, area / count as f64].map(|area| units.area(area));
    page.line("", format!("{area} is {of}: one edge to {each}"));
    if found.outside > 0 {
        page.line("", format!("{} more outside the outline", found.outside));
    }
}

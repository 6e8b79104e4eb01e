//! The summary of a handover: how every floor stands, and what was written where.
//!
//! In: a handover and the names of its files. Out: text.

use anstyle::Style;

use super::{Page, styled, verdict_word};
use crate::findings::handover::Handover;
use crate::output::words;

/// The summary of `handover`.
pub fn handover(found: &Handover, folder: &str, files: &[&str]) -> String {
    let mut page = Page::default();
    let bold = |text: &str| styled(text, Style::new().bold());
    page.line("job", bold(&found.house.heading.title));
    for (number, (floor, after)) in found.house.floors.iter().zip(&found.after).enumerate() {
        page.line(&format!("floor {}", number + 1), bold(&floor.name));
        let (when, judged) = match after {
            Some(after) => ("after the pour", &after.compared.after.judged),
            None => (
                "before the pour, not surveyed after it",
                &floor.plan.findings.judged,
            ),
        };
        for judged in judged {
            let (name, word) = (&judged.class.name, verdict_word(judged.verdict()));
            page.line(
                "verdict",
                format!("{name} {word} {when}: {}", judged.worst.reason),
            );
        }
        if judged.is_empty() {
            page.line("verdict", "no class was asked for");
        }
    }
    page.line(
        "written",
        format!("{folder}: {}", words::listed(files.iter().copied())),
    );
    page.0
}

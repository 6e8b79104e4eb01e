//! What a report says: a [`Handover`] becomes a [`Document`].
//!
//! In: the finished results of a job. Out: headings, sentences, tables and drawings. The first page answers what was asked,
//! what was found and what was done; then comes a part for each floor, then what concerns all of them.

mod batches;
mod closing;
mod first_page;
mod floor;
mod pictures;
mod poured;

use super::document::{Block, Document, Drawing, Picture};
use crate::error::Result;
use crate::findings::Findings;
use crate::findings::handover::{AfterPour, Handover};
use crate::findings::house::FloorPlan;
use crate::flatness::verdict::Verdict;
use crate::units::System;

/// A drawing by the name of its file in the bundle.
pub type NamedDrawing = (String, String);

/// A floor of the job, as its part of the report is made from it.
struct Part<'a> {
    floor: &'a FloorPlan,
    after: Option<&'a AfterPour>,
    units: System,
}

impl Part<'_> {
    fn before(&self) -> &Findings {
        &self.floor.plan.findings
    }

    fn found_after(&self) -> Option<&Findings> {
        self.after.map(|after| &after.compared.after)
    }

    /// The floor as it is now, as far as it was measured.
    fn now(&self) -> &Findings {
        self.found_after().unwrap_or(self.before())
    }
}

/// The report, and its drawings as files of their own.
///
/// # Errors
/// None but those of the drawing libraries.
pub fn document(handover: &Handover, units: System) -> Result<(Document, Vec<NamedDrawing>)> {
    let floors = handover.house.floors.iter().zip(&handover.after);
    let parts: Vec<_> = floors
        .map(|(floor, after)| Part {
            floor,
            after: after.as_ref(),
            units,
        })
        .collect();
    let heading = &handover.house.heading;
    let mut made = Made {
        document: Document {
            title: heading.title.clone(),
            author: heading.by.clone(),
            blocks: Vec::new(),
            readings: Vec::new(),
        },
        drawings: Vec::new(),
    };
    first_page::first_page(&mut made, handover, &parts);
    for part in &parts {
        floor::floor(&mut made, part)?;
    }
    closing::closing(&mut made, handover, &parts);
    Ok((made.document, made.drawings))
}

/// The report as it grows.
struct Made {
    document: Document,
    drawings: Vec<NamedDrawing>,
}

impl Made {
    fn add(&mut self, block: Block) {
        self.document.blocks.push(block);
    }

    fn heading(&mut self, level: u8, text: impl Into<String>) {
        self.add(Block::Heading(level, text.into()));
    }

    /// Adds a drawing with its number; `file` is what it is called in the bundle.
    fn picture(&mut self, file: String, drawing: Drawing, caption: String) {
        let number = self.drawings.len() + 1;
        self.drawings.push((file, drawing.svg().to_owned()));
        let caption = format!("Figure {number}. {caption}.");
        self.add(Block::Picture(Picture { drawing, caption }));
    }
}

/// A verdict as it stands out in a text.
fn loud(verdict: Verdict) -> String {
    verdict.word().to_uppercase()
}

//! Everything that is handed over of a job, as files in memory.
//!
//! In: [`Handover`]. Out: names and bytes: the report as HTML and PDF, its drawings, a setting-out table and drawing for each
//! floor, the result as JSON, and the inputs with their SHA-256.

use std::fmt::Write as _;

use crate::error::{Error, Result};
use crate::findings::handover::Handover;
use crate::output::folder::LIST;
use crate::output::report::{content, html::html, pdf::pdf};
use crate::output::{drawing, json, setting_out};
use crate::units::System;

/// The inputs, a line each as `sha256sum --check` reads it.
const INPUTS: &str = "inputs.sha256";

/// The files of a bundle, by name.
///
/// # Errors
/// None but those of the drawing libraries.
pub fn files(handover: &Handover, units: System) -> Result<Vec<(String, Vec<u8>)>> {
    let (document, drawings) = content::document(handover, units)?;
    let mut files = vec![
        (
            "report.html".to_owned(),
            html(&document, units).into_bytes(),
        ),
        ("report.pdf".to_owned(), pdf(&document)?),
        (INPUTS.to_owned(), inputs(handover).into_bytes()),
    ];
    files.extend(
        drawings
            .into_iter()
            .map(|(name, svg)| (name, svg.into_bytes())),
    );
    for floor in &handover.house.floors {
        let name = |what: &str| format!("{}-{what}", floor.short_name);
        if !floor.plan.pins.is_empty() {
            files.push((name("pins.csv"), setting_out::pins(&floor.plan)?));
        }
        files.push((name("pins.dxf"), drawing::pour(&floor.plan)?));
    }
    let names = files
        .iter()
        .map(|(name, _)| name.clone())
        .chain([LIST.to_owned()]);
    let result = json::handover(handover, names.collect());
    let fail = |source: serde_json::Error| Error::Write {
        file: LIST.to_owned(),
        source: source.into(),
    };
    let mut text = serde_json::to_vec_pretty(&result).map_err(fail)?;
    text.push(b'\n');
    files.push((LIST.to_owned(), text));
    files.sort();
    Ok(files)
}

fn inputs(handover: &Handover) -> String {
    handover
        .inputs
        .iter()
        .fold(String::new(), |mut lines, input| {
            // Writing to a string cannot fail.
            let _ = writeln!(lines, "{}  {}", input.sha256, input.file);
            lines
        })
}

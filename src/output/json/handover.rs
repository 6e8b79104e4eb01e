//! The JSON document of a handover.
//!
//! In: a handover. Out: the document of the job, each floor's document of `compare`, the inputs and the bundle's files.

use schemars::JsonSchema;
use serde::Serialize;

use super::compare::{Compare, compare};
use super::house::{House, house};
use crate::findings;

/// What `handover.json` holds.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Handover {
    #[serde(flatten)]
    house: House,
    /// The floors after the pour, in the same order.
    after: Vec<After>,
    /// Every file that the job was made from.
    inputs: Vec<InputFile>,
    /// The names of all files of the bundle.
    files: Vec<String>,
}

/// A floor after its pour.
#[derive(Debug, Serialize, JsonSchema)]
struct After {
    name: String,
    /// Null where it was not surveyed after the pour.
    compare: Option<Compare>,
    #[serde(skip_serializing_if = "Option::is_none")]
    compare_reason: Option<&'static str>,
    /// Bags used of each compound of the plan; empty where nobody says.
    bags_used: Vec<f64>,
}

/// A file that the job was made from.
#[derive(Debug, Serialize, JsonSchema)]
struct InputFile {
    /// From the job file's folder.
    file: String,
    sha256: String,
}

/// The document of a handover; `files` are the names of all files of its bundle.
pub fn handover(handover: &findings::handover::Handover, mut files: Vec<String>) -> Handover {
    files.sort();
    let floors = handover.house.floors.iter().zip(&handover.after);
    Handover {
        house: house(&handover.house),
        after: floors
            .map(|(floor, after)| After {
                name: floor.name.clone(),
                compare: after.as_ref().map(|after| compare(&after.compared)),
                compare_reason: after.is_none().then_some("no survey after the pour"),
                bags_used: after
                    .as_ref()
                    .map_or_else(Vec::new, |after| after.bags_used.clone()),
            })
            .collect(),
        inputs: handover
            .inputs
            .iter()
            .map(|input| InputFile {
                file: input.file.clone(),
                sha256: input.sha256.clone(),
            })
            .collect(),
        files,
    }
}

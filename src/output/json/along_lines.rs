//! F-numbers and waviness as JSON.
//!
//! In: what was measured along the sample lines. Out: the types of the keys `f_numbers` and `waviness`. F-numbers have no
//! unit; waviness is in millimetres.

use schemars::JsonSchema;
use serde::Serialize;

use super::{mm, rounded};
use crate::flatness::f_numbers;
use crate::flatness::waviness;
use crate::output::words;

/// F-numbers of ASTM E1155, each with its 90 % confidence interval.
#[derive(Debug, Serialize, JsonSchema)]
pub struct FNumbers {
    ff: f64,
    ff_low: f64,
    ff_high: f64,
    fl: f64,
    fl_low: f64,
    fl_high: f64,
    /// Heights on all lines.
    readings: usize,
    lines: Vec<LineNumbers>,
    notes: Vec<String>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct LineNumbers {
    line: String,
    readings: usize,
    ff: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ff_reason: Option<&'static str>,
    fl: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fl_reason: Option<&'static str>,
}

impl FNumbers {
    pub(super) fn new(found: &f_numbers::FNumbers) -> Self {
        let finite = |number: f64| number.is_finite().then(|| rounded(number));
        let reason = |number: f64| number.is_infinite().then_some(words::IN_LINE);
        let line = |line: &f_numbers::LineNumbers| LineNumbers {
            line: line.name.clone(),
            readings: line.readings,
            ff: finite(line.ff),
            ff_reason: reason(line.ff),
            fl: finite(line.fl),
            fl_reason: reason(line.fl),
        };
        Self {
            ff: rounded(found.ff),
            ff_low: rounded(found.ff_low),
            ff_high: rounded(found.ff_high),
            fl: rounded(found.fl),
            fl_low: rounded(found.fl_low),
            fl_high: rounded(found.fl_high),
            readings: found.readings,
            lines: found.lines.iter().map(line).collect(),
            notes: found.notes.clone(),
        }
    }
}

/// Waviness of ASTM E1486.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Waviness {
    /// Of the surface.
    index_mm: f64,
    lines: Vec<LineWaviness>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct LineWaviness {
    line: String,
    readings: usize,
    index_mm: f64,
    /// Root mean square departure from the middle of chords of 2, 4, 6, 8 and 10 ft.
    departures_mm: [f64; waviness::CHORDS],
}

impl Waviness {
    pub(super) fn new(found: &waviness::Waviness) -> Self {
        let line = |line: &waviness::LineWaviness| LineWaviness {
            line: line.name.clone(),
            readings: line.readings,
            index_mm: mm(line.index),
            departures_mm: line.departures.map(mm),
        };
        Self {
            index_mm: mm(found.index),
            lines: found.lines.iter().map(line).collect(),
        }
    }
}

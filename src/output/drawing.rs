//! The drawing to set out from: pins, contours of the depth, the room.
//!
//! In: a pour plan. Out: DXF in metres, survey coordinates, on layers: PINS, points at the height to finish at with the depth in
//! whole millimetres beside them; NAMES, what the pins are called; CONTOURS of the depth, each at its depth in metres as
//! elevation and with it written on in millimetres; BATCHES, the edge of each batch with its number, of the topmost layer
//! and, where there are several, BATCHES-1 and so on from the lowest; OUTLINE, the room with its columns, if it was given;
//! FIXED, the fixed levels at their own heights with how far the finish is above (+) or below (-); EDGE, where the compound ends.

use super::dxf::{Drawing, Layer};
use super::maps;
use super::words::whole_mm;
use crate::error::Result;
use crate::findings::PourPlan;
use crate::surface::Surface;
use crate::units::{MILLIMETRE, System};

const PINS: Layer = Layer {
    name: "PINS",
    colour: 1,
};
const NAMES: Layer = Layer {
    name: "NAMES",
    colour: 8,
};
const CONTOURS: Layer = Layer {
    name: "CONTOURS",
    colour: 5,
};
/// The batches of the topmost layer, and of those below it from the lowest up.
const BATCHES: &[Layer] = &[
    batches_layer("BATCHES"),
    batches_layer("BATCHES-1"),
    batches_layer("BATCHES-2"),
    batches_layer("BATCHES-3"),
    batches_layer("BATCHES-4"),
];
const OUTLINE: Layer = Layer {
    name: "OUTLINE",
    colour: 7,
};
const EDGE: Layer = Layer {
    name: "EDGE",
    colour: 3,
};

const FIXED: Layer = Layer {
    name: "FIXED",
    colour: 2,
};

const fn batches_layer(name: &'static str) -> Layer {
    Layer { name, colour: 6 }
}

/// Letters, as a share of the usual distance between pins.
const LETTERS: f64 = 0.12;
/// No smaller and no larger letters than these, m.
const LETTER_SIZES: [f64; 2] = [0.02, 0.3];

/// The drawing of a pour.
///
/// # Errors
/// As [`maps::depth_contours`].
pub fn pour(plan: &PourPlan) -> Result<Vec<u8>> {
    let surface = &plan.findings.surface;
    let mut drawing = Drawing::new();
    let letters = letters(plan);
    pins(&mut drawing, plan, letters);
    let traced = maps::depth_contours(plan)?;
    for (depth, line) in &traced.contours {
        contour(&mut drawing, surface, *depth, line, letters);
    }
    batches(&mut drawing, plan, letters);
    if let Some(outline) = &surface.outline {
        let polygon = &outline.polygon;
        for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
            let ring: Vec<[f64; 2]> = ring.coords().map(|corner| [corner.x, corner.y]).collect();
            drawing.line(OUTLINE, &on_survey(surface, &ring), 0.0);
        }
    }
    fixed(&mut drawing, plan, letters);
    for edge in &traced.edges {
        drawing.line(EDGE, &on_survey(surface, edge), 0.0);
    }
    Ok(drawing.finish())
}

fn pins(drawing: &mut Drawing, plan: &PourPlan, letters: f64) {
    let surface = &plan.findings.surface;
    for pin in &plan.pins {
        let [x, y] = surface.survey_xy([pin.position[0], pin.position[1]]);
        let z = surface.survey_z(pin.finish());
        drawing.point(PINS, [x, y, z]);
        let beside = x + 0.5 * letters;
        let above = [beside, y + 0.25 * letters, z];
        drawing.text(PINS, above, letters, &whole_mm(pin.depth));
        let below = [beside, y - 1.0 * letters, z];
        drawing.text(NAMES, below, 0.75 * letters, &pin.name);
    }
}

/// The edge of every batch with its number; beyond the fourth from below they are left to the timetable.
fn batches(drawing: &mut Drawing, plan: &PourPlan, letters: f64) {
    let surface = &plan.findings.surface;
    let layers = &plan.mixing.layers;
    for (place, layer) in layers.iter().enumerate() {
        let top = place + 1 == layers.len();
        let (Some(placed), Some(&on)) =
            (&layer.placed, BATCHES.get(if top { 0 } else { place + 1 }))
        else {
            continue;
        };
        for (number, batch) in placed.division.batches.iter().enumerate() {
            let ring: Vec<[f64; 2]> = batch
                .outline
                .iter()
                .chain(batch.outline.first())
                .copied()
                .collect();
            drawing.line(on, &on_survey(surface, &ring), 0.0);
            let [x, y] = surface.survey_xy(batch.centre);
            let text = (layer.first + number).to_string();
            drawing.text(on, [x, y, 0.0], 2.0 * letters, &text);
        }
    }
}

/// Each fixed level at its own height, with its name and how far the finish is off it.
fn fixed(drawing: &mut Drawing, plan: &PourPlan, letters: f64) {
    let surface = &plan.findings.surface;
    for report in plan.fixed.iter().flat_map(|fixed| &fixed.reports) {
        let z = surface.survey_z(report.fixed.level);
        let places = on_survey(surface, &report.fixed.places);
        drawing.line(FIXED, &places, z);
        for &[x, y] in &places {
            drawing.point(FIXED, [x, y, z]);
        }
        if let Some(&[x, y]) = places.first() {
            let off = report
                .worst
                .map(|worst| System::Metric.signed_height(worst.off));
            let text = [Some(report.fixed.name.clone()), off];
            let text: Vec<String> = text.into_iter().flatten().collect();
            let beside = [x + 0.5 * letters, y + 0.25 * letters, z];
            drawing.text(FIXED, beside, letters, &text.join(": "));
        }
    }
}

fn contour(drawing: &mut Drawing, surface: &Surface, depth: f64, line: &[[f64; 2]], letters: f64) {
    let line = on_survey(surface, line);
    drawing.line(CONTOURS, &line, depth);
    if let Some(&[x, y]) = line.get(line.len() / 2) {
        let text = format!("{}", (depth / MILLIMETRE * 10.0).round() / 10.0);
        drawing.text(CONTOURS, [x, y, depth], 0.75 * letters, &text);
    }
}

fn on_survey(surface: &Surface, line: &[[f64; 2]]) -> Vec<[f64; 2]> {
    line.iter().map(|&at| surface.survey_xy(at)).collect()
}

/// Height of letters that leaves room between pins, m.
fn letters(plan: &PourPlan) -> f64 {
    let [least, most] = LETTER_SIZES;
    let apart = (plan.findings.surface.area / plan.pins.len().max(1) as f64).sqrt();
    (LETTERS * apart).clamp(least, most)
}

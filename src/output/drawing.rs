//! The drawing to set out from: pins, contours of the depth, the room.
//!
//! In: a pour plan. Out: DXF in metres, survey coordinates, on layers: PINS, points at the height to finish at with the depth in
//! whole millimetres beside them; NAMES, what the pins are called; CONTOURS of the depth, each at its depth in metres as
//! elevation and with it written on in millimetres; OUTLINE, the room with its columns, if it was given; EDGE, where the
//! compound ends.

use super::dxf::{Drawing, Layer};
use super::maps;
use super::words::whole_mm;
use crate::error::Result;
use crate::findings::PourPlan;
use crate::surface::Surface;
use crate::units::MILLIMETRE;

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
const OUTLINE: Layer = Layer {
    name: "OUTLINE",
    colour: 7,
};
const EDGE: Layer = Layer {
    name: "EDGE",
    colour: 3,
};

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
    if let Some(outline) = &surface.outline {
        let polygon = &outline.polygon;
        for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
            let ring: Vec<[f64; 2]> = ring.coords().map(|corner| [corner.x, corner.y]).collect();
            drawing.line(OUTLINE, &on_survey(surface, &ring), 0.0);
        }
    }
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

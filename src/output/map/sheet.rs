//! The paper: what is drawn in millimetres becomes SVG.
//!
//! In: lines, areas, symbols and text in millimetres from the top left corner. Out: one SVG document.
//! Drawn by plotters' SVG backend. It knows whole pixels only, so a millimetre is [`UNITS`] of them and the viewBox
//! scales the drawing back. It knows no halo, dash or clip either: those are attributes of the group around a layer.

use std::fmt::Write as _;

use plotters::backend::{DrawingBackend, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, RGBColor, ShapeStyle, TextStyle};

use super::boxes::{Rect, text_width};
use crate::error::{Error, Result};

/// SVG units in a millimetre of paper.
pub const UNITS: f64 = 20.0;

/// A place on the paper: millimetres to the right and down from the top left corner.
pub type Point = [f64; 2];

/// Red, green, blue.
pub type Colour = [u8; 3];
/// Ink.
pub const BLACK: Colour = [0, 0, 0];
/// Ink that steps back.
pub const GREY: Colour = [95, 95, 95];
/// Paper.
pub const WHITE: Colour = [255, 255, 255];

/// Where the point of a text is: at its left end, its middle or its right end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// The text begins at its point.
    Left,
    /// The text is centred on its point.
    Middle,
    /// The text ends at its point.
    Right,
}

/// The document as it grows, and what is written on it.
#[derive(Debug, Default)]
pub struct Sheet {
    body: String,
    /// Every text with the room it takes, mm.
    pub texts: Vec<(String, Rect)>,
}

impl Sheet {
    /// Draws a layer: a group whose `attributes` everything in it inherits.
    ///
    /// # Errors
    /// [`Error::Write`] if the drawing library fails.
    pub fn layer(
        &mut self,
        attributes: &str,
        draw: impl FnOnce(&mut Pen) -> Result<()>,
    ) -> Result<()> {
        let mut text = String::new();
        let mut pen = Pen {
            backend: SVGBackend::with_string(&mut text, (1, 1)),
            texts: &mut self.texts,
        };
        draw(&mut pen)?;
        drawn(pen.backend.present())?;
        drop(pen);
        let body = text
            .split_once(">\n")
            .and_then(|(_, rest)| rest.strip_suffix("</svg>\n"))
            .unwrap_or_default();
        self.raw(&format!("<g {attributes}>\n{body}</g>\n"));
        Ok(())
    }

    /// Adds an element that plotters cannot draw.
    pub fn raw(&mut self, element: &str) {
        self.body.push_str(element);
    }

    /// The document, `width` by `height` mm, with its title and description for those who cannot see it.
    pub fn finish(self, [width, height]: [f64; 2], title: &str, description: &str) -> String {
        let (w, h) = (units(width), units(height));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.0}mm\" height=\"{height:.0}mm\" \
             viewBox=\"0 0 {w} {h}\" style=\"max-width:100%;height:auto\" role=\"img\" \
             aria-labelledby=\"map-title map-desc\">\n\
             <title id=\"map-title\">{}</title>\n<desc id=\"map-desc\">{}</desc>\n{}</svg>\n",
            escaped(title),
            escaped(description),
            self.body
        )
    }
}

/// What plotters says, as an error of ours. A drawing in memory has nothing to fail on.
fn drawn<E: std::fmt::Display>(done: std::result::Result<(), E>) -> Result<()> {
    done.map_err(|error| Error::Write {
        file: "the map".to_owned(),
        source: std::io::Error::other(error.to_string()),
    })
}

/// Draws into one layer.
pub struct Pen<'a> {
    backend: SVGBackend<'a>,
    texts: &'a mut Vec<(String, Rect)>,
}

impl Pen<'_> {
    /// A line through `points`, `width` mm wide.
    pub fn line(&mut self, points: &[Point], width: f64, colour: Colour) -> Result<()> {
        drawn(
            self.backend
                .draw_path(points.iter().copied().map(pixel), &stroke(colour, width)),
        )
    }

    /// A filled area with its edge.
    pub fn area(&mut self, points: &[Point], fill: Colour, edge: Option<f64>) -> Result<()> {
        drawn(
            self.backend
                .fill_polygon(points.iter().copied().map(pixel), &stroke(fill, 0.0)),
        )?;
        match edge {
            Some(width) => {
                let closed: Vec<_> = points.iter().chain(points.first()).copied().collect();
                self.line(&closed, width, BLACK)
            }
            None => Ok(()),
        }
    }

    /// A filled rectangle.
    pub fn rectangle(&mut self, area: Rect, fill: Colour) -> Result<()> {
        let (from, to) = (
            pixel([area.left, area.top]),
            pixel([area.right, area.bottom]),
        );
        drawn(self.backend.draw_rect(from, to, &stroke(fill, 0.0), true))
    }

    /// A circle: filled white, edged black.
    pub fn circle(&mut self, centre: Point, radius: f64, edge: f64) -> Result<()> {
        let (at, radius) = (pixel(centre), units(radius).unsigned_abs());
        drawn(
            self.backend
                .draw_circle(at, radius, &stroke(WHITE, 0.0), true),
        )?;
        drawn(
            self.backend
                .draw_circle(at, radius, &stroke(BLACK, edge), false),
        )
    }

    /// One line of text, its capitals centred on the height of `at`.
    pub fn text(
        &mut self,
        text: &str,
        at: Point,
        size: f64,
        anchor: Anchor,
        bold: bool,
    ) -> Result<()> {
        let text: String = text.chars().filter(|&c| allowed(c)).collect();
        let width = text_width(&text, size, bold);
        let (left, h_pos) = match anchor {
            Anchor::Left => (at[0], HPos::Left),
            Anchor::Middle => (at[0] - width / 2.0, HPos::Center),
            Anchor::Right => (at[0] - width, HPos::Right),
        };
        let style = if bold {
            FontStyle::Bold
        } else {
            FontStyle::Normal
        };
        // plotters writes 1/1.24 of the size it is given, and centres lower-case letters, not capitals.
        let font = FontDesc::new(FontFamily::SansSerif, size * UNITS * 1.24, style);
        let style = TextStyle {
            font,
            color: RGBColor(0, 0, 0).to_backend_color(),
            pos: Pos::new(h_pos, VPos::Center),
        };
        drawn(
            self.backend
                .draw_text(&text, &style, pixel([at[0], at[1] + 0.1 * size])),
        )?;
        let room = Rect::centred([left + width / 2.0, at[1]], [width, 0.8 * size]);
        self.texts.push((text, room));
        Ok(())
    }
}

/// An area hatched as not measured; rings within rings are holes in it.
pub fn hatched(rings: &[Vec<Point>]) -> String {
    format!(
        "<path fill=\"url(#not-measured)\" fill-rule=\"evenodd\" d=\"{}\"/>\n",
        path(rings)
    )
}

/// A closed path for an element of its own, mm.
pub fn path(rings: &[Vec<Point>]) -> String {
    let mut text = String::new();
    for ring in rings {
        for (index, &point) in ring.iter().enumerate() {
            let (x, y) = pixel(point);
            let _ = write!(text, "{}{x} {y}", if index == 0 { 'M' } else { 'L' });
        }
        text.push('Z');
    }
    text
}

/// Millimetres of paper in whole SVG units.
pub fn units(millimetres: f64) -> i32 {
    (millimetres * UNITS).round() as i32
}

fn pixel([x, y]: Point) -> (i32, i32) {
    (units(x), units(y))
}

fn stroke([r, g, b]: Colour, width: f64) -> ShapeStyle {
    ShapeStyle {
        color: RGBColor(r, g, b).to_rgba(),
        filled: false,
        stroke_width: units(width).unsigned_abs(),
    }
}

/// Whether XML 1.0 allows the character in text.
fn allowed(c: char) -> bool {
    !c.is_control() && !matches!(c, '\u{FFFE}' | '\u{FFFF}')
}

fn escaped(text: &str) -> String {
    text.chars()
        .filter(|&c| allowed(c))
        .collect::<String>()
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

//! The report as a PDF: A4, text that can be selected, drawings as vectors, the page's number on each.
//!
//! In: a document. Out: bytes, the same for the same document: no date is written, and the identifiers that a PDF has are
//! hashes of its content. `setter` decides what stands where; here it is drawn.
//! The letters are Roboto's, embedded as far as they are used; drawings are set in the same.

mod letters;
mod setter;
mod table;

use std::sync::Arc;

use krilla::SerializeSettings;
use krilla::color::rgb;
use krilla::destination::XyzDestination;
use krilla::geom::{Path, PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::Metadata;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla::text::TextDirection;
use krilla_svg::{SurfaceExt as _, SvgSettings};

use super::document::Document;
use crate::error::{Error, Result};
use letters::{BOLD, Letters, REGULAR};
use setter::{Item, Paper};

/// Red, green, blue.
type Colour = [u8; 3];

/// Room below the words of a page, for its number, points.
const FOOT: f32 = 26.0;

/// Letters of the foot, points.
const FOOT_SIZE: f32 = 8.0;

/// The PDF.
///
/// # Errors
/// [`Error::Write`] if the drawing library fails.
pub fn pdf(document: &Document) -> Result<Vec<u8>> {
    let letters = Letters::new().ok_or_else(|| fail("the letters cannot be read"))?;
    let pages = setter::set(document, &letters);
    let mut made = krilla::Document::new_with(SerializeSettings {
        enable_tagging: false,
        ..SerializeSettings::default()
    });
    let metadata = Metadata::new()
        .title(document.title.clone())
        .authors(document.author.iter().cloned().collect())
        .creator(format!("lowspot {}", env!("CARGO_PKG_VERSION")))
        .language("en".to_owned());
    made.set_metadata(metadata);
    let options = svg_options();
    let mut outline = Outline::new();
    for (number, page) in pages.iter().enumerate() {
        let [width, height] = page.size;
        let settings =
            PageSettings::from_wh(width, height).ok_or_else(|| fail("a page without a size"))?;
        let mut sheet = made.start_page_with(settings);
        let mut surface = sheet.surface();
        for item in &page.items {
            draw(&mut surface, item, &letters, &options)?;
        }
        foot(
            &mut surface,
            page,
            &letters,
            &format!("{} of {}", number + 1, pages.len()),
        );
        surface.finish();
        sheet.finish();
        for (text, y) in &page.headings {
            let at = XyzDestination::new(number, Point::from_xy(0.0, *y));
            outline.push_child(OutlineNode::new(text.clone(), at));
        }
    }
    made.set_outline(outline);
    made.finish().map_err(|error| fail(&format!("{error:?}")))
}

fn fail(said: &str) -> Error {
    Error::Write {
        file: "report.pdf".to_owned(),
        source: std::io::Error::other(said.to_owned()),
    }
}

/// Drawings are set in the letters of the report, whatever the machine has.
fn svg_options() -> usvg::Options<'static> {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(REGULAR.to_vec());
    fonts.load_font_data(BOLD.to_vec());
    fonts.set_sans_serif_family("Roboto");
    usvg::Options {
        font_family: "Roboto".to_owned(),
        fontdb: Arc::new(fonts),
        ..usvg::Options::default()
    }
}

fn draw(
    surface: &mut Surface,
    item: &Item,
    letters: &Letters,
    options: &usvg::Options,
) -> Result<()> {
    match item {
        Item::Text {
            at: [x, y],
            size,
            bold,
            colour,
            text,
        } => {
            surface.set_fill(Some(fill(*colour)));
            let (at, font) = (Point::from_xy(*x, *y), letters.font(*bold));
            surface.draw_text(at, font, *size, text, false, TextDirection::LeftToRight);
        }
        Item::Box {
            corner: [x, y],
            size: [width, height],
            colour,
        } => {
            if let Some(path) = rectangle(*x, *y, *width, *height) {
                surface.set_fill(Some(fill(*colour)));
                surface.draw_path(&path);
            }
        }
        Item::Drawing {
            corner: [x, y],
            width,
            height,
            svg,
        } => {
            let tree =
                usvg::Tree::from_str(svg, options).map_err(|error| fail(&error.to_string()))?;
            let size =
                Size::from_wh(*width, *height).ok_or_else(|| fail("a drawing without a size"))?;
            surface.push_transform(&Transform::from_translate(*x, *y));
            surface.draw_svg(&tree, size, SvgSettings::default());
            surface.pop();
        }
    }
    Ok(())
}

fn fill([red, green, blue]: Colour) -> Fill {
    Fill {
        paint: rgb::Color::new(red, green, blue).into(),
        ..Fill::default()
    }
}

fn rectangle(x: f32, y: f32, width: f32, height: f32) -> Option<Path> {
    let mut path = PathBuilder::new();
    path.push_rect(Rect::from_xywh(x, y, width, height)?);
    path.finish()
}

/// What the page belongs to, and its number.
fn foot(surface: &mut Surface, page: &Paper, letters: &Letters, number: &str) {
    let [width, height] = page.size;
    let y = height - FOOT + FOOT_SIZE;
    surface.set_fill(Some(fill(setter::QUIET)));
    let mut write = |x: f32, text: &str| {
        let font = letters.font(false);
        surface.draw_text(
            Point::from_xy(x, y),
            font,
            FOOT_SIZE,
            text,
            false,
            TextDirection::LeftToRight,
        );
    };
    write(page.margin, &page.foot);
    write(
        width - page.margin - letters.width(number, FOOT_SIZE, false),
        number,
    );
}

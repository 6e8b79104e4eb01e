//! What lies under the lines: paper, hatching, colours, and the room's outline.
//!
//! In: the picture and the outline. Out: drawing. The image, the hatching and the cut along the outline are written by
//! hand: plotters has no such elements.

use super::layout::{self, Page, View};
use super::raster::Picture;
use super::relief::Relief;
use super::sheet::{BLACK, GREY, Point, Sheet, hatched, path, units};
use super::{MapPlan, marks};
use crate::error::Result;
use crate::surface::Kind;

/// Paper, hatching of what was not measured, colours, and the outline.
///
/// # Errors
/// As the sheet's.
pub fn draw(
    sheet: &mut Sheet,
    plan: &MapPlan,
    page: &Page,
    relief: &Relief,
    picture: Option<&Picture>,
) -> Result<()> {
    let outline = layout::outline_rings(plan, &page.view);
    let edges = relief.edges_on_paper(&page.view);
    let unmeasured = if outline.is_empty() {
        edges
            .iter()
            .filter(|(_, hole)| *hole)
            .map(|(line, _)| line.clone())
            .collect()
    } else {
        outline.clone()
    };
    sheet.raw(&definitions(&outline));
    sheet.raw("<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n");
    if plan.has_heights() {
        sheet.raw(&hatched(&unmeasured));
    }
    if let Some(picture) = picture {
        sheet.raw(&image(picture, plan, &page.view, !outline.is_empty()));
    }
    sheet.layer("stroke-linejoin=\"round\"", |pen| {
        for (line, _) in &edges {
            pen.line(line, 0.12, GREY)?;
        }
        for (index, ring) in outline.iter().enumerate() {
            if index > 0 {
                pen.area(ring, marks::COLUMN, None)?;
            }
            pen.line(ring, 0.5, BLACK)?;
        }
        marks::readings(plan, &page.view, pen)
    })
}

/// The hatching, and the outline as something to cut by.
fn definitions(outline: &[Vec<Point>]) -> String {
    let step = units(1.6);
    format!(
        "<defs><pattern id=\"not-measured\" width=\"{step}\" height=\"{step}\" patternUnits=\"userSpaceOnUse\" \
         patternTransform=\"rotate(45)\"><rect width=\"{step}\" height=\"{step}\" fill=\"#f2f2f2\"/>\
         <rect width=\"4\" height=\"{step}\" fill=\"#999\"/></pattern>\
         <clipPath id=\"room\"><path clip-rule=\"evenodd\" d=\"{}\"/></clipPath></defs>\n",
        path(outline)
    )
}

fn image(picture: &Picture, plan: &MapPlan, view: &View, clipped: bool) -> String {
    let [low, high] = picture.extent;
    let ([left, bottom], [right, top]) = (view.to(low), view.to(high));
    let smooth = match plan.surface.kind {
        Kind::Cells => "image-rendering=\"optimizeSpeed\" style=\"image-rendering:pixelated\"",
        Kind::Grid | Kind::Triangulated | Kind::Lines => "",
    };
    let clip = if clipped {
        "clip-path=\"url(#room)\""
    } else {
        ""
    };
    format!(
        "<g {clip}><image x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" preserveAspectRatio=\"none\" {smooth} \
         href=\"data:image/png;base64,{}\"/></g>\n",
        units(left),
        units(top),
        units(right - left),
        units(bottom - top),
        picture.base64
    )
}

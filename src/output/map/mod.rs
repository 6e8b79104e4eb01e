//! The heat map of a floor, as one SVG file: looked at on a screen, printed on A4, put into the report.
//!
//! In: a [`MapPlan`]: a surface, a value a node of its lattice (deviations, depths or thicknesses) and what to mark.
//! Out: SVG text, the same bytes for the same plan, under 1 MB whatever the size of the floor.
//! The colours are one embedded image; lines and letters are vectors. Colour never carries the meaning alone: contours
//! have their heights written on them, those below zero are dashed, and high and low spots differ in shape.
//! Not here: which values, spots and straightedges there are; the caller brings them.

mod axes;
mod boxes;
mod colour;
mod columns;
mod contours;
mod ground;
mod heights;
mod layout;
mod legend;
mod marks;
mod panel;
mod raster;
mod relief;
mod sheet;

use std::fmt::Write as _;

use crate::error::{Error, Result};
use crate::flatness::verdict::Verdict;
use crate::pour::fixed::Met;
use crate::surface::Surface;
use crate::units::System;
use boxes::Taken;
use heights::Ink;
use layout::Page;
use relief::Relief;
use sheet::{Pen, Sheet};

pub use sheet::UNITS;

/// What a map shows. Plan positions are local metres, as in [`Surface`]; the map writes survey coordinates.
#[derive(Debug, Clone)]
pub struct MapPlan<'a> {
    /// The heading: which floor.
    pub title: String,
    /// The line under it: the verdict, or what is ordered.
    pub subtitle: String,
    /// What the values are, for the legend: `Height above or below the best level plane`.
    pub quantity: String,
    /// The floor.
    pub surface: &'a Surface,
    /// One value a node of the surface's lattice, m; NaN where there is none. None at all where no height was measured:
    /// then only the marks are drawn.
    pub values: &'a [f64],
    /// How values become colours.
    pub scale: Scale,
    /// What is marked and numbered.
    pub marks: Vec<Mark>,
    /// Units of everything written.
    pub units: System,
    /// Sentences under the legend.
    pub notes: Vec<String>,
}

/// How values become colours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// Heights against a reference: two hues about zero.
    Diverging {
        /// The value of the end colours, m; None: from the values.
        limit: Option<f64>,
    },
    /// Depths or thicknesses: one hue from zero.
    Depth,
}

/// Whether a spot is high or low.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpotKind {
    /// Above the reference.
    High,
    /// Below it.
    Low,
}

/// Something marked on the map. Positions are local plan metres.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A numbered high or low spot.
    Spot {
        /// Its number in the table.
        number: usize,
        /// High or low.
        kind: SpotKind,
        /// Where it is highest or lowest.
        at: [f64; 2],
        /// How high or low, m, signed.
        value: f64,
    },
    /// A straightedge where it lay.
    Edge {
        /// Its length, m.
        length: f64,
        /// Where it rested.
        from: [f64; 2],
        /// Where it rested.
        to: [f64; 2],
        /// Where the gap was.
        at: [f64; 2],
        /// The gap, m.
        gap: f64,
    },
    /// A straightedge laid by hand.
    Laid {
        /// What the book calls it.
        name: String,
        /// Its length, m.
        length: f64,
        /// Its ends.
        ends: [[f64; 2]; 2],
        /// Where the wedge went in.
        at: [f64; 2],
        /// The gap, m.
        gap: f64,
        /// What it says about the classes asked for, if anything.
        verdict: Option<Verdict>,
    },
    /// A pin to set, with what is written at it.
    Pin {
        /// Where it stands.
        at: [f64; 2],
        /// Its depth or name.
        text: String,
    },
    /// A line that heights were read along for F-numbers.
    SampleLine {
        /// Its name.
        name: String,
        /// Where it begins and ends.
        ends: [[f64; 2]; 2],
    },
    /// A numbered batch of a pour.
    Batch {
        /// Its number in the order of the pour.
        number: usize,
        /// Its edge on the plan.
        outline: Vec<[f64; 2]>,
        /// Where its number stands.
        centre: [f64; 2],
        /// What the table says of it: `3 bags, 28 l`.
        text: String,
    },
    /// From one batch to the next.
    Step {
        /// The middle of the one.
        from: [f64; 2],
        /// The middle of the next.
        to: [f64; 2],
    },
    /// Where the edge of a batch would be too old to be joined wet.
    BayStop {
        /// Its ends.
        ends: [[f64; 2]; 2],
    },
    /// The way out.
    Exit {
        /// Where the floor is left.
        at: [f64; 2],
    },
    /// A level that the finish has to meet.
    Fixed {
        /// Its letter in the table.
        letter: char,
        /// What it is called.
        name: String,
        /// Whether it is met.
        met: Met,
        /// A place, or the corners of an edge.
        places: Vec<[f64; 2]>,
        /// Where the finish is off most, or else its first place.
        at: [f64; 2],
        /// How far the finish is above what is wanted there, m; None where it is not known.
        off: Option<f64>,
    },
}

impl MapPlan<'_> {
    /// Whether there is anything to colour.
    fn has_heights(&self) -> bool {
        !self.values.is_empty()
    }
}

/// Draws the map.
///
/// # Errors
/// [`Error::Floor`] if no node has a value, or their number is not that of the surface's lattice.
pub fn svg(plan: &MapPlan) -> Result<String> {
    Ok(framed(plan)?.svg)
}

/// The lines of a map on the plan, local m. Closed lines end where they begin.
#[derive(Debug, Clone, PartialEq)]
pub struct Traced {
    /// Contours, each with its height, m.
    pub contours: Vec<(f64, Vec<[f64; 2]>)>,
    /// The edges of what has a value, and of the holes in it.
    pub edges: Vec<Vec<[f64; 2]>>,
}

/// The contours that [`svg`] would draw, without drawing.
///
/// # Errors
/// As [`svg`].
pub fn traced(plan: &MapPlan) -> Result<Traced> {
    one_value_a_node(plan)?;
    let extent = layout::extent(plan)?;
    Ok(Relief::new(plan, extent).on_plan(extent))
}

fn one_value_a_node(plan: &MapPlan) -> Result<()> {
    let nodes = plan.surface.field.nx * plan.surface.field.ny;
    if plan.values.len() == nodes {
        return Ok(());
    }
    Err(Error::floor(
        format!("{} values to draw", plan.values.len()),
        format!("one for each of the {nodes} nodes"),
    ))
}

/// A map, and where on it the plan lies.
#[derive(Debug, Clone, PartialEq)]
pub struct Framed {
    /// The drawing.
    pub svg: String,
    /// Where the map's frame is, as shares of the drawing's width and height: left, top, right, bottom.
    pub frame: [f64; 4],
    /// The frame's lower left corner, survey coordinates, m.
    pub low: [f64; 2],
    /// Its upper right corner.
    pub high: [f64; 2],
    /// Width and height of the drawing, in the units of its viewBox.
    pub size: [f64; 2],
}

/// Draws the map and says where on it the plan lies.
///
/// # Errors
/// As [`svg`].
pub fn framed(plan: &MapPlan) -> Result<Framed> {
    let (svg, page, _) = drawn(plan)?;
    let (paper, [width, height]) = (page.view.paper, page.size);
    let [x, y] = page.view.low;
    let across = (paper.right - paper.left) / page.view.scale;
    let up = (paper.bottom - paper.top) / page.view.scale;
    Ok(Framed {
        svg,
        frame: [
            paper.left / width,
            paper.top / height,
            paper.right / width,
            paper.bottom / height,
        ],
        low: plan.surface.survey_xy([x, y]),
        high: plan.surface.survey_xy([x + across, y + up]),
        size: page.size.map(|side| side * sheet::UNITS),
    })
}

/// The end of the scale that these values would have by themselves, m.
pub fn scale_end(scale: Scale, values: &[f64], units: System) -> f64 {
    let [_, high] = colour::ends(scale, values, units);
    high
}

/// A text of a sheet, with the room that it takes.
type Placed = (String, boxes::Rect);

/// The SVG, its page, and the sheet's texts: no two may overlap.
fn drawn(plan: &MapPlan) -> Result<(String, Page, Vec<Placed>)> {
    one_value_a_node(plan)?;
    let lattice = raster::lattice(plan.surface, plan.values, raster::PIXELS);
    let extent = layout::extent(plan)?;
    let ends = colour::ends(plan.scale, plan.values, plan.units);
    let relief = Relief::new(plan, extent);
    let page = Page::new(plan, extent, &panel::legend(plan, &relief));
    let picture = raster::picture(&lattice, plan.scale, ends)?;

    let mut sheet = Sheet::default();
    ground::draw(&mut sheet, plan, &page, &relief, picture.as_ref())?;
    let mut taken = Taken::new(page.view.paper);
    marks::keep_off(plan, &page.view, &mut taken);
    marks::label(plan, &page.view, &mut taken);
    let lines = relief.on_paper(&page.view);
    let ink = Ink::of(&lines);
    heights::label(&lines, &ink, plan, &mut taken);
    marks::label_readings(plan, &page.view, &ink, &mut taken);
    relief::draw(&mut sheet, &lines)?;
    sheet.layer("stroke-linejoin=\"round\"", |pen| {
        marks::draw(plan, &page.view, pen)
    })?;
    labels(&mut sheet, &taken)?;
    sheet.layer("", |pen| {
        axes::draw(plan, &page.view, pen)?;
        page.header(plan, pen)?;
        legend::draw(plan, &page, ends, &relief, pen)
    })?;
    sheet.raw(&page.view.element(plan.surface));
    let texts = std::mem::take(&mut sheet.texts);
    let description = description(plan, &relief);
    let svg = sheet.finish(page.size, &plan.title, &description);
    Ok((svg, page, texts))
}

/// Labels with a white rim, and the lines that lead to those which stand off.
fn labels(sheet: &mut Sheet, taken: &Taken) -> Result<()> {
    sheet.layer("", |pen: &mut Pen| {
        for label in &taken.labels {
            if let Some(to) = label.leader {
                let line = [label.room.nearest(to), to];
                pen.line(&line, 0.5, sheet::WHITE)?;
                pen.line(&line, 0.18, sheet::BLACK)?;
            }
        }
        Ok(())
    })?;
    let rim = sheet::units(0.9);
    let attributes = format!(
        "stroke=\"#fff\" stroke-width=\"{rim}\" stroke-linejoin=\"round\" paint-order=\"stroke\" \
         style=\"paint-order:stroke\""
    );
    sheet.layer(&attributes, |pen| {
        for label in &taken.labels {
            pen.text(
                &label.text,
                label.room.centre(),
                label.size,
                sheet::Anchor::Middle,
                label.bold,
            )?;
        }
        Ok(())
    })
}

/// What the map shows, in words.
fn description(plan: &MapPlan, relief: &Relief) -> String {
    let mut text = format!("{} {}.", plan.subtitle, plan.quantity);
    if plan.has_heights() {
        let _ = write!(text, " {}.", relief.said(plan));
    }
    for mark in &plan.marks {
        match mark {
            Mark::Spot {
                number,
                kind,
                at,
                value,
            } => {
                let [x, y] = plan.surface.survey_xy(*at);
                let kind = panel::kind_name(*kind);
                let _ = write!(
                    text,
                    " {number}: {kind} spot of {} at {}.",
                    plan.units.signed_height(*value),
                    plan.units.place(x, y)
                );
            }
            Mark::Edge { .. } => {
                let _ = write!(text, " {}.", panel::edge_sentence(plan, mark));
            }
            Mark::Batch {
                number,
                centre,
                text: what,
                ..
            } => {
                let [x, y] = plan.surface.survey_xy(*centre);
                let _ = write!(
                    text,
                    " Batch {number}: {what} at {}.",
                    plan.units.place(x, y)
                );
            }
            Mark::Pin { .. }
            | Mark::SampleLine { .. }
            | Mark::Step { .. }
            | Mark::BayStop { .. }
            | Mark::Exit { .. } => {}
            Mark::Fixed {
                letter,
                name,
                met,
                at,
                off,
                ..
            } => {
                let [x, y] = plan.surface.survey_xy(*at);
                let _ = write!(
                    text,
                    " Fixed level {letter}, {name}: {}, {} at {}.",
                    panel::met_word(*met),
                    panel::off_text(plan, *off),
                    plan.units.place(x, y)
                );
            }
            Mark::Laid {
                name, at, verdict, ..
            } => {
                let [x, y] = plan.surface.survey_xy(*at);
                let _ = write!(
                    text,
                    " Edge {name}: {} at {}, {}.",
                    panel::gap_text(plan, mark),
                    plan.units.place(x, y),
                    panel::verdict_word(*verdict)
                );
            }
        }
    }
    text
}

/// A height as it is written on the map: no unit, a true minus sign.
fn height_number(plan: &MapPlan, metres: f64) -> String {
    let text = match plan.scale {
        Scale::Diverging { .. } => plan.units.signed_height(metres),
        Scale::Depth => plan.units.height(metres),
    };
    let number = text
        .rsplit_once(' ')
        .map_or(text.as_str(), |(number, _)| number);
    number.replace('-', "\u{2212}")
}

/// A height as it is written along a contour: `+2` rather than `+2.0`.
fn short_height(plan: &MapPlan, metres: f64) -> String {
    height_number(plan, metres)
        .trim_end_matches(".0")
        .to_owned()
}

/// The unit of heights.
fn height_unit(units: System) -> &'static str {
    match units {
        System::Metric => "mm",
        System::Imperial => "in",
    }
}

#[cfg(test)]
mod tests;

//! Contours as they are drawn: which, how smooth, and where their heights are written.
//!
//! In: the lattice. Out: lines on paper, labelled.
//! A scan's cells are noisy: its contours are drawn on means over [`REACH`] cells each way, taken twice (of blocks, where
//! there are more cells than a picture shows), and the legend says over what distance. Colours are not smoothed.

use geo::{LineString, Simplify};

use super::boxes::{Rect, Taken, text_width};
use super::contours::{self, Line};
use super::layout::View;
use super::panel::unbroken;
use super::raster::Lattice;
use super::sheet::{self, Point, Sheet};
use super::{MapPlan, Scale, short_height};
use crate::error::Result;
use crate::surface::Kind;

/// How many cells each way a contour's heights are averaged over.
const REACH: usize = 2;
/// Nodes along the longer side of the lattice that contours are drawn on.
const NODES: usize = 600;
/// Contour pieces shorter than this are left out as noise: in scans, and otherwise, mm of paper.
const SHORTEST: [f64; 2] = [14.0, 2.0];
/// Holes and patches with a shorter edge are not outlined, mm of paper.
const SHORTEST_EDGE: f64 = 5.0;
/// How far a drawn line may be from the traced one, mm of paper.
const TOLERANCE: f64 = 0.08;
/// Letters along contours, mm.
const SIZE: f64 = 2.7;
/// Shorter contours have no label, unless no longer one has that height, mm.
const SHORTEST_LABELLED: f64 = 10.0;
/// One label for so much line, mm.
const LABEL_EVERY: f64 = 110.0;

/// Which heights are meant.
type Heights = fn(f64) -> bool;

/// The contours of a map, on the plan.
#[derive(Debug)]
pub struct Relief {
    /// Between contours, m.
    pub interval: f64,
    /// What each contour's heights were averaged over, m, if they were.
    pub averaged: Option<f64>,
    /// Lowest and highest value drawn.
    pub range: [f64; 2],
    lines: Vec<(f64, Vec<Line>)>,
    edges: Vec<(Line, bool)>,
    shortest: f64,
}

/// A contour on paper.
#[derive(Debug)]
pub struct PaperLine {
    level: f64,
    points: Vec<Point>,
    length: f64,
}

impl Relief {
    /// Chooses and traces the contours.
    pub fn new(plan: &MapPlan, lattice: &Lattice, [low, high]: [[f64; 2]; 2]) -> Self {
        let (lattice, averaged, shortest) = match plan.surface.kind {
            Kind::Cells => {
                let by = lattice.size[0].max(lattice.size[1]).div_ceil(NODES).max(1);
                let smooth = lattice.coarser(by).smoothed(REACH).smoothed(REACH);
                // The mean of means reaches twice as far.
                let width = (4 * REACH + 1) as f64 * smooth.step[0];
                (smooth, Some(width), SHORTEST[0])
            }
            Kind::Grid | Kind::Triangulated => (lattice.clone(), None, SHORTEST[1]),
        };
        let drawn = contours::range(&lattice.values).unwrap_or([0.0, 0.0]);
        let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
        // Narrow floors have room for fewer lines: about one in 6 mm of a page's 180.
        let most = (30.0 * wide.min(tall) / wide.max(tall)).clamp(5.0, 9.0) as usize;
        let interval = contours::interval(drawn[1] - drawn[0], most, plan.units);
        let lines = contours::levels(drawn, interval)
            .into_iter()
            .filter(|level| *level != 0.0 || plan.scale != Scale::Depth)
            .map(|level| (level, contours::lines(&lattice, level)))
            .collect();
        Self {
            interval,
            averaged,
            range: contours::range(plan.values).unwrap_or([0.0, 0.0]),
            lines,
            edges: contours::measured_edge(&lattice),
            shortest,
        }
    }

    /// The contours on paper, longest first within a height.
    pub fn on_paper(&self, view: &View) -> Vec<PaperLine> {
        let mut drawn = Vec::new();
        for (level, lines) in &self.lines {
            let mut of_level: Vec<PaperLine> = lines
                .iter()
                .map(|line| simplified(line, view))
                .map(|points| PaperLine {
                    level: *level,
                    length: length(&points),
                    points,
                })
                .filter(|line| line.length >= self.shortest)
                .collect();
            of_level.sort_by(|a, b| b.length.total_cmp(&a.length));
            drawn.extend(of_level);
        }
        drawn
    }

    /// The edges of what was measured, and whether each is that of a hole.
    pub fn edges_on_paper(&self, view: &View) -> Vec<(Vec<Point>, bool)> {
        self.edges
            .iter()
            .map(|(line, hole)| (simplified(line, view), *hole))
            .filter(|(points, _)| length(points) >= SHORTEST_EDGE)
            .collect()
    }

    /// Whether it has holes worth hatching, judged on a page of usual size.
    pub fn has_holes(&self) -> bool {
        self.edges.iter().any(|(_, hole)| *hole)
    }

    /// Whether a contour is drawn whose height fits.
    pub fn has(&self, wanted: Heights) -> bool {
        let mut drawn = self.lines.iter().filter(|(_, lines)| !lines.is_empty());
        drawn.any(|(level, _)| wanted(*level))
    }

    /// What contours are drawn and what was measured, in a sentence.
    pub fn said(&self, plan: &MapPlan) -> String {
        let show = |value| match plan.scale {
            Scale::Diverging { .. } => plan.units.signed_height(value),
            Scale::Depth => plan.units.height(value),
        };
        let [low, high] = self.range.map(|value| unbroken(&show(value)));
        let every = unbroken(&plan.units.height(self.interval).replace(".0 ", " "));
        if self.has(|_| true) {
            format!("Contours every {every}, values from {low} to {high}")
        } else {
            format!("Values from {low} to {high}")
        }
    }
}

fn simplified(line: &Line, view: &View) -> Vec<Point> {
    let points: LineString<f64> = line
        .iter()
        .map(|&at| view.to(at))
        .collect::<Vec<_>>()
        .into();
    points
        .simplify(TOLERANCE)
        .coords()
        .map(|c| [c.x, c.y])
        .collect()
}

fn length(points: &[Point]) -> f64 {
    points
        .windows(2)
        .map(|pair| match pair {
            [a, b] => (b[0] - a[0]).hypot(b[1] - a[1]),
            _ => 0.0,
        })
        .sum()
}

/// Draws the contours: zero thick, above it solid, below it dashed.
///
/// # Errors
/// As the sheet's.
pub fn draw(sheet: &mut Sheet, lines: &[PaperLine]) -> Result<()> {
    let dash = format!(
        "stroke-dasharray=\"{} {}\"",
        sheet::units(1.8),
        sheet::units(1.0)
    );
    let layers: [(&str, f64, Heights); 3] = [
        (&dash, 0.25, |level| level < 0.0),
        ("", 0.25, |level| level > 0.0),
        ("", 0.6, |level| level == 0.0),
    ];
    for (attributes, width, wanted) in layers {
        let attributes = format!("stroke-linejoin=\"round\" {attributes}");
        sheet.layer(&attributes, |pen| {
            lines
                .iter()
                .filter(|line| wanted(line.level))
                .try_for_each(|line| pen.line(&line.points, width, sheet::BLACK))
        })?;
    }
    Ok(())
}

/// Writes the heights along the contours, where nothing else is; by choice where no other contour runs either.
pub fn label(lines: &[PaperLine], ink: &Ink, plan: &MapPlan, taken: &mut Taken) {
    let mut last = None;
    for (index, line) in lines.iter().enumerate() {
        let first_of_level = last != Some(line.level);
        last = Some(line.level);
        if line.length < SHORTEST_LABELLED && !first_of_level {
            continue;
        }
        let text = short_height(plan, line.level);
        let size = [text_width(&text, SIZE, false), SIZE];
        let wanted = (line.length / LABEL_EVERY).round().clamp(1.0, 6.0) as usize;
        let places = places(&line.points, line.length);
        for part in 0..wanted {
            let middle = line.length * (part as f64 + 0.5) / wanted as f64;
            let reach = line.length / wanted as f64 / 2.0;
            let mut near: Vec<_> = places
                .iter()
                .map(|(along, at)| ((along - middle).abs(), *at))
                .filter(|(off, _)| *off <= reach)
                .collect();
            near.sort_by(|a, b| a.0.total_cmp(&b.0));
            let clear = |at: &Point| ink.only(Rect::centred(*at, size), number(index));
            let by_choice = near.iter().filter(|(_, at)| clear(at));
            let or_else = near.iter().filter(|_| first_of_level && part == 0);
            let mut tried = by_choice.chain(or_else);
            tried.any(|(_, at)| taken.put(&text, *at, [SIZE, 0.8], false));
        }
    }
}

/// Points about 2 mm apart along a line, each with its distance from the start.
fn places(points: &[Point], length: f64) -> Vec<(f64, Point)> {
    let mut places = Vec::with_capacity((length / 2.0) as usize + 1);
    let (mut along, mut next) = (0.0, 0.0);
    for pair in points.windows(2) {
        let [a, b] = pair else { continue };
        let piece = (b[0] - a[0]).hypot(b[1] - a[1]);
        while next <= along + piece && piece > 0.0 {
            let t = (next - along) / piece;
            places.push((next, [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]));
            next += 2.0;
        }
        along += piece;
    }
    places
}

/// Which contour runs through each square millimetre of an A4 page.
pub struct Ink(Vec<u32>);

/// Side of the page it covers, mm.
const SIDE: usize = 300;
/// More than one contour.
const SEVERAL: u32 = u32::MAX;

impl Ink {
    /// Drawn with these contours.
    pub fn of(lines: &[PaperLine]) -> Self {
        let mut ink = vec![0; SIDE * SIDE];
        for (index, line) in lines.iter().enumerate() {
            let own = number(index);
            for pair in line.points.windows(2) {
                let [a, b] = pair else { continue };
                let steps = ((b[0] - a[0]).hypot(b[1] - a[1]) * 2.0)
                    .ceil()
                    .clamp(1.0, 2000.0);
                for step in 0..=steps as usize {
                    let t = step as f64 / steps;
                    let at = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
                    if let Some(cell) = ink.get_mut(Self::cell(at)) {
                        *cell = if *cell == 0 || *cell == own {
                            own
                        } else {
                            SEVERAL
                        };
                    }
                }
            }
        }
        Self(ink)
    }

    fn cell([x, y]: Point) -> usize {
        let place = |mm: f64| (mm.max(0.0) as usize).min(SIDE - 1);
        place(y) * SIDE + place(x)
    }

    /// Whether no contour runs through the room.
    pub fn none(&self, room: Rect) -> bool {
        self.only(room, 0)
    }

    /// Whether none but `own` does.
    fn only(&self, room: Rect, own: u32) -> bool {
        let columns = room.left.floor() as i64..=room.right.floor() as i64;
        columns.into_iter().all(|x| {
            let mut rows = room.top.floor() as i64..=room.bottom.floor() as i64;
            rows.all(|y| {
                let cell = Self::cell([x as f64, y as f64]);
                self.0.get(cell).is_none_or(|ink| *ink == 0 || *ink == own)
            })
        })
    }
}

/// The number of a contour in [`Ink`], where 0 is none.
fn number(index: usize) -> u32 {
    index as u32 + 1
}

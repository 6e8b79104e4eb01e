//! Contours as they are drawn: which, and how smooth.
//!
//! In: the plan. Out: lines on paper.
//! A scan's cells are noisy: its contours are drawn on means over [`REACH`] cells each way, taken twice (of blocks, where
//! there are more cells than a picture shows). On a floor flatter than its noise that still leaves a tangle: blocks are then
//! doubled until it can be read. The legend says over what distance was smoothed. Colours are not smoothed.

use geo::{LineString, Simplify};

use super::contours::{self, Line};
use super::layout::View;
use super::panel::unbroken;
use super::raster::{self, Lattice};
use super::sheet::{self, Point, Sheet};
use super::{MapPlan, Scale, Traced};
use crate::error::Result;
use crate::surface::Kind;

/// How many cells each way a contour's heights are averaged over.
const REACH: usize = 2;
/// Nodes along the longer side of the lattice that a scan's contours are drawn on.
const NODES: usize = 600;
/// The same of readings, between which the surface is smooth.
const READINGS_NODES: usize = 100;
/// The longer side of a map as it usually comes out, mm of paper.
const USUAL: f64 = 180.0;
/// Contours closer than this on the average are noise, and are smoothed further, mm of paper.
const CLOSEST: f64 = 3.0;
/// But never on fewer nodes along the longer side than this.
const FEWEST_NODES: usize = 60;
/// Contour pieces shorter than this are left out as noise: in scans, and otherwise, mm of paper.
const SHORTEST: [f64; 2] = [14.0, 2.0];
/// Holes and patches with a shorter edge are not outlined, mm of paper.
const SHORTEST_EDGE: f64 = 5.0;
/// How far a drawn line may be from the traced one, mm of paper.
const TOLERANCE: f64 = 0.08;

/// The lines of each height.
type Contours = Vec<(f64, Vec<Line>)>;

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
    lines: Contours,
    edges: Vec<(Line, bool)>,
    shortest: f64,
}

/// A contour on paper.
#[derive(Debug)]
pub struct PaperLine {
    /// Its height, m.
    pub level: f64,
    /// Its points.
    pub points: Vec<Point>,
    /// How long it is, mm.
    pub length: f64,
}

impl Relief {
    /// Chooses and traces the contours.
    pub fn new(plan: &MapPlan, extent: [[f64; 2]; 2]) -> Self {
        let lattice = &raster::lattice(plan.surface, plan.values, READINGS_NODES);
        let range = contours::range(plan.values).unwrap_or([0.0, 0.0]);
        if plan.surface.kind != Kind::Cells {
            let (interval, lines) = traced(plan, lattice, extent);
            let edges = contours::measured_edge(lattice);
            let (averaged, shortest) = (None, SHORTEST[1]);
            return Self {
                interval,
                averaged,
                range,
                lines,
                edges,
                shortest,
            };
        }
        let longer = lattice.size[0].max(lattice.size[1]);
        let mut by = longer.div_ceil(NODES).max(1);
        let smooth = |by| lattice.coarser(by).smoothed(REACH).smoothed(REACH);
        let mut smoothed = smooth(by);
        let edges = contours::measured_edge(&smoothed);
        let (mut interval, mut lines) = traced(plan, &smoothed, extent);
        while apart(&lines, &smoothed, extent) < CLOSEST && longer / by > FEWEST_NODES {
            by *= 2;
            smoothed = smooth(by);
            (interval, lines) = traced(plan, &smoothed, extent);
        }
        // The mean of means reaches twice as far.
        let averaged = Some((4 * REACH + 1) as f64 * smoothed.step[0]);
        Self {
            interval,
            averaged,
            range,
            lines,
            edges,
            shortest: SHORTEST[0],
        }
    }

    /// The contours on paper, longest first within a height.
    pub fn on_paper(&self, view: &View) -> Vec<PaperLine> {
        let mut drawn = Vec::new();
        for (level, lines) in &self.lines {
            let mut of_level: Vec<PaperLine> = lines
                .iter()
                .map(|line| on_the_paper(line, view))
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

    /// The contours and edges on the plan: those that a page of usual size shows.
    pub fn on_plan(&self, [low, high]: [[f64; 2]; 2]) -> Traced {
        let millimetre = (high[0] - low[0]).max(high[1] - low[1]) / USUAL;
        let simple = |line: &Line| simplified(line.iter().copied(), TOLERANCE * millimetre);
        let contours = self
            .lines
            .iter()
            .flat_map(|(level, lines)| lines.iter().map(|line| (*level, simple(line))))
            .filter(|(_, line)| length(line) >= self.shortest * millimetre);
        let edges = self.edges.iter().map(|(line, _)| simple(line));
        Traced {
            contours: contours.collect(),
            edges: edges
                .filter(|line| length(line) >= SHORTEST_EDGE * millimetre)
                .collect(),
        }
    }

    /// The edges of what was measured, and whether each is that of a hole.
    pub fn edges_on_paper(&self, view: &View) -> Vec<(Vec<Point>, bool)> {
        self.edges
            .iter()
            .map(|(line, hole)| (on_the_paper(line, view), *hole))
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

fn on_the_paper(line: &Line, view: &View) -> Vec<Point> {
    simplified(line.iter().map(|&at| view.to(at)), TOLERANCE)
}

/// The line with no more points than it takes to stay within `tolerance` of it.
fn simplified(line: impl Iterator<Item = [f64; 2]>, tolerance: f64) -> Vec<[f64; 2]> {
    let points: LineString<f64> = line.collect::<Vec<_>>().into();
    let simple = points.simplify(tolerance);
    simple.coords().map(|c| [c.x, c.y]).collect()
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

/// The contours of a lattice, and the height between them, m.
fn traced(plan: &MapPlan, lattice: &Lattice, [low, high]: [[f64; 2]; 2]) -> (f64, Contours) {
    let drawn = contours::range(&lattice.values).unwrap_or([0.0, 0.0]);
    let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
    // Narrow floors have room for fewer lines: about one in 6 mm of a page.
    let most = (USUAL / 6.0 * wide.min(tall) / wide.max(tall)).clamp(5.0, 9.0) as usize;
    let interval = contours::interval(drawn[1] - drawn[0], most, plan.units);
    let lines = contours::levels(drawn, interval)
        .into_iter()
        .filter(|level| *level != 0.0 || plan.scale != Scale::Depth)
        .map(|level| (level, contours::lines(lattice, level)))
        .collect();
    (interval, lines)
}

/// How far contours are from each other on the average, mm on a page of usual size.
fn apart(lines: &Contours, lattice: &Lattice, [low, high]: [[f64; 2]; 2]) -> f64 {
    let all = lines.iter().flat_map(|(_, lines)| lines);
    let length: f64 = all.map(|line| length(line)).sum();
    let measured = lattice.values.iter().filter(|value| value.is_finite());
    let area = measured.count() as f64 * lattice.step[0] * lattice.step[1];
    area / length * USUAL / (high[0] - low[0]).max(high[1] - low[1])
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

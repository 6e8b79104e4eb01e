//! The sample lines that F-numbers and waviness are measured along.
//!
//! In: a surface. Out: straight lines of heights at one pitch, or the reason why there are none. From the M edition of ASTM
//! E1155 as a national laboratory's worksheet states it: a reading every 300 mm (12 in in the other edition), nothing
//! within 600 mm of the edge, parallel lines at least 1.2 m apart, each at least 3.3 m long, in two directions square to
//! each other; where the floor is narrower than 7.5 m both at 45 degrees to its longest side, and never corner to corner.
//!
//! A scan is sampled every 12 in between its cells (bilinear), in the directions of the smallest rectangle around the room;
//! a cell that was not measured breaks a line. Lines of readings lie on the grid's nodes, if its spacing is the standard's.
//! Scattered readings give no lines: what lies between them was not measured.
//! Not here: construction joints, which nothing tells of, are not kept clear of.

mod floor;

use geo::{Coord, MinimumRotatedRect, MultiPoint, Point};

use crate::surface::{HeightField, Kind, Surface};
use crate::units::{FOOT, System};
use floor::Floor;

/// Distance of readings, m: 12 in.
pub const PITCH: f64 = FOOT;
/// Distance of readings in the M edition, m.
pub const METRIC_PITCH: f64 = 0.3;
/// A pitch this share off counts as the standard's.
const PITCH_SLACK: f64 = 0.01;
/// Readings of the shortest line: 11 ft, or 3.3 m.
pub const FEWEST: usize = 12;
/// Length of the shortest line, m.
const LEAST_LENGTH: f64 = 3.3;
/// A scan's cells are no larger than this, m: else most of a line would be made up between them.
const COARSEST_CELL: f64 = PITCH / 2.0;
/// Strip along the edge where nothing is read, m.
const EDGE_STRIP: f64 = 0.6;
/// Least distance of parallel lines, m.
const LINES_APART: f64 = 1.2;
/// Narrower than this, m, and the lines run at 45 degrees.
const NARROW: f64 = 7.5;
/// Lengths within this of each other are the same, m.
const SLACK: f64 = 1e-6;

/// Heights along a straight line.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleLine {
    /// What it is called, and named on the map.
    pub name: String,
    /// Distance of neighbouring readings, m.
    pub pitch: f64,
    /// Where it begins and ends, local plan m; None where the lines have no place on the plan.
    pub ends: Option<[[f64; 2]; 2]>,
    /// Heights, m.
    pub heights: Vec<f64>,
    /// Standard uncertainty of one height, m, root mean square along the line.
    pub u: f64,
}

/// Whether `pitch` is one of the standard's.
fn pitch_fits(pitch: f64) -> bool {
    let range = METRIC_PITCH * (1.0 - PITCH_SLACK)..=PITCH * (1.0 + PITCH_SLACK);
    range.contains(&pitch)
}

/// The lines that are long enough, and a sentence for those that are not.
///
/// # Errors
/// The reason, where none is, or one is not at the standard's pitch.
pub fn fitting(
    lines: &[SampleLine],
    units: System,
) -> Result<(Vec<&SampleLine>, Option<String>), String> {
    if let Some(line) = lines.iter().find(|line| !pitch_fits(line.pitch)) {
        return Err(wrong_pitch(line.pitch, units));
    }
    let (long, short): (Vec<_>, Vec<_>) =
        lines.iter().partition(|line| line.heights.len() >= FEWEST);
    let least = units.plan(LEAST_LENGTH);
    if long.is_empty() {
        return Err(format!("no line of readings is {least} long"));
    }
    let names: Vec<_> = short.iter().map(|line| line.name.as_str()).collect();
    let note = format!("lines shorter than {least} left out: {}", names.join(", "));
    Ok((long, (!short.is_empty()).then_some(note)))
}

fn wrong_pitch(pitch: f64, units: System) -> String {
    format!(
        "the readings are {} apart; the standard reads every {} or {}",
        units.height(pitch),
        units.height(METRIC_PITCH),
        units.height(PITCH)
    )
}

/// Lays the lines over a scan or a grid of readings. `units` are those of the reason.
///
/// # Errors
/// The reason, where the readings or the size of the floor allow none.
pub fn lay(surface: &Surface, units: System) -> Result<Vec<SampleLine>, String> {
    let frame = match surface.kind {
        Kind::Cells if surface.spacing > COARSEST_CELL => {
            let [cell, pitch] = [surface.spacing, PITCH].map(|length| units.height(length));
            return Err(format!(
                "cells of {cell} are too coarse for a reading every {pitch}"
            ));
        }
        Kind::Cells => Frame::room(surface).ok_or("the floor encloses no room")?,
        Kind::Grid => Frame::grid(&surface.field, units)?,
        Kind::Triangulated => {
            return Err("scattered readings do not lie along lines at one pitch".to_owned());
        }
        Kind::Lines => return Err("the lines have no floor around them".to_owned()),
    };
    let floor = Floor::new(surface);
    let mut lines = Vec::new();
    for (name, bundle) in ["A", "B"].into_iter().zip(frame.bundles()) {
        let starts = bundle.starts.iter();
        let runs: Vec<_> = starts.flat_map(|&at| floor.runs(at, &bundle)).collect();
        if runs.is_empty() {
            return Err(format!(
                "no line of {} fits in both directions, {} clear of the edges and unbroken by what was not measured",
                units.plan(LEAST_LENGTH),
                units.plan(EDGE_STRIP)
            ));
        }
        lines.extend((1..).zip(runs).map(|(number, run)| SampleLine {
            name: format!("{name}{number}"),
            ..run
        }));
    }
    Ok(lines)
}

/// A rectangle on the plan that lines are laid in.
struct Frame {
    corner: [f64; 2],
    /// Unit vectors along its sides.
    sides: [[f64; 2]; 2],
    /// Lengths of its sides, m.
    size: [f64; 2],
    /// Spacing of the readings along each side, m, where lines have to lie on them.
    nodes: Option<[f64; 2]>,
}

/// Parallel lines: where the first reading of each would be, and the step to the next.
struct Bundle {
    starts: Vec<[f64; 2]>,
    step: [f64; 2],
    /// Length of the step, m.
    pitch: f64,
    /// Steps to the far end.
    steps: usize,
}

fn along([x, y]: [f64; 2], [dx, dy]: [f64; 2], by: f64) -> [f64; 2] {
    [x + dx * by, y + dy * by]
}

fn turned([x, y]: [f64; 2]) -> [f64; 2] {
    [-y, x]
}

impl Frame {
    /// The smallest rectangle around the outline, or else around the measured cells.
    fn room(surface: &Surface) -> Option<Self> {
        let rectangle = match &surface.outline {
            Some(outline) => outline.polygon.minimum_rotated_rect(),
            None => border(&surface.field).minimum_rotated_rect(),
        }?;
        let corners: Vec<Coord<f64>> = rectangle.exterior().coords().copied().collect();
        let [a, b, c, ..] = corners[..] else {
            return None;
        };
        let sides = [(a, b), (b, c)].map(|(from, to)| [to.x - from.x, to.y - from.y]);
        let size = sides.map(|[x, y]| x.hypot(y));
        (size[0] > 0.0 && size[1] > 0.0).then(|| Self {
            corner: [a.x, a.y],
            sides: [0, 1].map(|side| sides[side].map(|by| by / size[side])),
            size,
            nodes: None,
        })
    }

    /// The rectangle of a grid of readings at the standard's pitch.
    fn grid(field: &HeightField, units: System) -> Result<Self, String> {
        let nodes = [field.dx, field.dy];
        if let Some(&pitch) = nodes.iter().find(|&&pitch| !pitch_fits(pitch)) {
            return Err(wrong_pitch(pitch, units));
        }
        let frame = Self {
            corner: [field.x0, field.y0],
            sides: [[1.0, 0.0], [0.0, 1.0]],
            size: [
                (field.nx - 1) as f64 * field.dx,
                (field.ny - 1) as f64 * field.dy,
            ],
            nodes: Some(nodes),
        };
        if frame.narrow() {
            return Err(format!(
                "the floor is narrower than {}: the standard wants lines at 45 degrees, and the grid has none at its pitch",
                units.plan(NARROW)
            ));
        }
        Ok(frame)
    }

    fn narrow(&self) -> bool {
        self.size[0].min(self.size[1]) < NARROW
    }

    /// Two bundles square to each other: along the sides, or at 45 degrees to them.
    fn bundles(&self) -> [Bundle; 2] {
        let [a, b] = self.sides;
        if self.narrow() {
            let half = 0.5f64.sqrt();
            let diagonal = [(a[0] + b[0]) * half, (a[1] + b[1]) * half];
            return [diagonal, turned(diagonal)].map(|way| self.bundle(way, None));
        }
        let nodes = |side: usize| self.nodes.map(|nodes| [nodes[side], nodes[1 - side]]);
        [self.bundle(a, nodes(0)), self.bundle(b, nodes(1))]
    }

    /// Least and greatest place of the rectangle along a unit vector, m from its corner.
    fn range(&self, [wx, wy]: [f64; 2]) -> [f64; 2] {
        let [u, v] = [0, 1].map(|side| {
            let [x, y] = self.sides[side];
            (x * wx + y * wy) * self.size[side]
        });
        [u.min(0.0) + v.min(0.0), u.max(0.0) + v.max(0.0)]
    }

    /// Lines the way of the unit vector `way`, from one end of the rectangle to the other. On a grid with `nodes` along and
    /// across, on every so many rows; else as far apart as the standard asks, symmetric about the middle.
    fn bundle(&self, way: [f64; 2], nodes: Option<[f64; 2]>) -> Bundle {
        let across = turned(way);
        let ([begin, end], [near, far]) = (self.range(way), self.range(across));
        let (pitch, begin, offsets) = match nodes {
            Some([pitch, rows]) => {
                let whole = |least: f64| (least / rows - SLACK).ceil() * rows;
                let first = near + whole(EDGE_STRIP);
                let offsets = places(first, far - EDGE_STRIP, whole(LINES_APART));
                (pitch, begin, offsets)
            }
            None => {
                let fit = ((far - near - 2.0 * EDGE_STRIP) / LINES_APART + SLACK).floor();
                // An even number of slanting lines leaves out the middle: none runs corner to corner.
                let even = if self.narrow() {
                    1.0 - fit.rem_euclid(2.0)
                } else {
                    0.0
                };
                let half = (fit - even) * LINES_APART / 2.0;
                let middle = (near + far) / 2.0;
                let offsets = places(middle - half, middle + half, LINES_APART);
                (PITCH, begin + EDGE_STRIP, offsets)
            }
        };
        let start = |offset: f64| along(along(self.corner, way, begin), across, offset);
        Bundle {
            starts: offsets.into_iter().map(start).collect(),
            step: way.map(|by| by * pitch),
            pitch,
            steps: ((end - begin) / pitch + SLACK).floor().max(0.0) as usize,
        }
    }
}

/// The first and last measured node of every row: the rectangle around them is that around all.
fn border(field: &HeightField) -> MultiPoint<f64> {
    let mut ends = Vec::new();
    for row in 0..field.ny {
        let mut measured =
            (row * field.nx..(row + 1) * field.nx).filter(|&node| field.z[node].is_finite());
        if let Some(first) = measured.next() {
            let last = measured.next_back().unwrap_or(first);
            ends.extend([first, last].map(|node| Point::from(field.position(node))));
        }
    }
    MultiPoint::new(ends)
}

/// From `first` to `last` inclusive, `every` so many metres; none where `last` lies before `first`.
fn places(first: f64, last: f64, every: f64) -> Vec<f64> {
    let gaps = ((last - first) / every + SLACK).floor();
    let count = if gaps < 0.0 { 0 } else { gaps as usize + 1 };
    (0..count).map(|at| first + at as f64 * every).collect()
}

#[cfg(test)]
mod tests;

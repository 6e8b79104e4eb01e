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

use geo::{Coord, Distance, Euclidean, MinimumRotatedRect, MultiPoint, Point};

use crate::surface::readings::enclosed;
use crate::surface::{HeightField, Kind, Outline, Surface};
use crate::units::{FOOT, System};

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

/// Where lines may lie.
struct Floor<'a> {
    field: &'a HeightField,
    outline: Option<&'a Outline>,
    /// Without an outline, for every node whether it lies outside the floor: not measured, nor enclosed by what is.
    outside: Vec<bool>,
}

impl<'a> Floor<'a> {
    fn new(surface: &'a Surface) -> Self {
        let (field, outline) = (&surface.field, surface.outline.as_ref());
        let mut outside = Vec::new();
        if outline.is_none() {
            outside = field.z.iter().map(|z| z.is_nan()).collect();
            let (nx, ny) = (field.nx, field.ny);
            let neighbours = |node: usize| {
                let (ix, iy) = (node % nx, node / nx);
                vec![
                    (ix > 0).then(|| node - 1),
                    (ix + 1 < nx).then_some(node + 1),
                    (iy > 0).then(|| node - nx),
                    (iy + 1 < ny).then_some(node + nx),
                ]
            };
            for hole in enclosed(&outside, neighbours) {
                outside[hole] = false;
            }
        }
        Self {
            field,
            outline,
            outside,
        }
    }

    /// The lines of enough readings from `start` on, without their names.
    fn runs(&self, start: [f64; 2], bundle: &Bundle) -> Vec<SampleLine> {
        let at = |step: usize| along(start, bundle.step, step as f64);
        let read: Vec<_> = (0..=bundle.steps)
            .map(|step| {
                self.clear(at(step))
                    .then(|| self.height(at(step)))
                    .flatten()
            })
            .collect();
        let mut runs = Vec::new();
        let mut first = 0;
        for piece in read.split(Option::is_none) {
            if piece.len() >= FEWEST {
                let variance: f64 = piece.iter().flatten().map(|[_, variance]| variance).sum();
                runs.push(SampleLine {
                    name: String::new(),
                    pitch: bundle.pitch,
                    ends: Some([at(first), at(first + piece.len() - 1)]),
                    heights: piece.iter().flatten().map(|[z, _]| *z).collect(),
                    u: (variance / piece.len() as f64).sqrt(),
                });
            }
            first += piece.len() + 1;
        }
        runs
    }

    /// Whether the edge strip is kept: from the outline and what stands in the room, or else from the end of the floor.
    fn clear(&self, [x, y]: [f64; 2]) -> bool {
        if let Some(outline) = self.outline {
            let here = Point::new(x, y);
            let away = |ring| Euclidean.distance(&here, ring) >= EDGE_STRIP - SLACK;
            let room = &outline.polygon;
            return outline.contains(x, y)
                && away(room.exterior())
                && room.interiors().iter().all(away);
        }
        let field = self.field;
        let columns = within_the_strip(x, [field.x0, field.dx], field.nx);
        let rows = within_the_strip(y, [field.y0, field.dy], field.ny);
        let (Some(columns), Some(rows)) = (columns, rows) else {
            return false;
        };
        rows.flat_map(|iy| columns.clone().map(move |ix| iy * field.nx + ix))
            .filter(|&node| self.outside[node])
            .all(|node| {
                let [nx, ny] = field.position(node);
                (nx - x).hypot(ny - y) >= EDGE_STRIP - SLACK
            })
    }

    /// Height between the nodes and its variance, m and m²; None where a node that counts was not measured.
    fn height(&self, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
        let field = self.field;
        let (column, row) = ((x - field.x0) / field.dx, (y - field.y0) / field.dy);
        let (ix, iy) = ((column + SLACK).floor(), (row + SLACK).floor());
        let (wx, wy) = ((column - ix).max(0.0), (row - iy).max(0.0));
        let (mut z, mut variance) = (0.0, 0.0);
        for (right, up, weight) in [
            (0, 0, (1.0 - wx) * (1.0 - wy)),
            (1, 0, wx * (1.0 - wy)),
            (0, 1, (1.0 - wx) * wy),
            (1, 1, wx * wy),
        ] {
            if weight > SLACK {
                let (ix, iy) = (ix as usize + right, iy as usize + up);
                let node = (ix < field.nx && iy < field.ny).then_some(iy * field.nx + ix)?;
                z += weight * field.z[node];
                variance += (weight * field.u[node]).powi(2);
            }
        }
        z.is_finite().then_some([z, variance])
    }
}

/// The nodes along one axis that are within the edge strip of a place; None where the strip reaches over the end of the
/// lattice.
fn within_the_strip(
    at: f64,
    [start, step]: [f64; 2],
    count: usize,
) -> Option<std::ops::RangeInclusive<usize>> {
    let [low, high] = [-EDGE_STRIP, EDGE_STRIP].map(|by| (at + by - start) / step);
    let last = count.checked_sub(1)?;
    let inside = low >= -SLACK && high <= last as f64 + SLACK;
    let (low, high) = ((low - SLACK).ceil().max(0.0), (high + SLACK).floor());
    inside.then(|| low as usize..=(high as usize).min(last))
}

#[cfg(test)]
mod tests {
    use geo::{LineString, Polygon};

    use super::*;
    use crate::surface::PointsByFate;

    fn height([x, y]: [f64; 2]) -> f64 {
        1e-3 * (x - 0.5 * y)
    }

    /// A floor of `size` metres with a node every `step` metres, turned by nothing.
    fn surface(
        kind: Kind,
        size: [f64; 2],
        step: f64,
        measured: impl Fn([f64; 2]) -> bool,
    ) -> Surface {
        let count = size.map(|length| (length / step).round() as usize + 1);
        let mut field = HeightField::unmeasured([0.0, 0.0], [step, step], count);
        for node in 0..field.z.len() {
            let at = field.position(node);
            if measured(at) {
                (field.z[node], field.u[node]) = (height(at), 1e-3);
            }
        }
        Surface {
            kind,
            origin: [0.0; 3],
            field,
            triangles: Vec::new(),
            rows: Vec::new(),
            pins: Vec::new(),
            spacing: step,
            outline: None,
            area: size[0] * size[1],
            unmeasured: 0.0,
            points: PointsByFate::default(),
            noise: None,
            warnings: Vec::new(),
        }
    }

    fn length(line: &SampleLine) -> f64 {
        let [[ax, ay], [bx, by]] = line.ends.unwrap();
        (bx - ax).hypot(by - ay)
    }

    /// Distance of a place from the straight line through the ends of `line`, m.
    fn off(line: &SampleLine, [x, y]: [f64; 2]) -> f64 {
        let [[ax, ay], [bx, by]] = line.ends.unwrap();
        ((bx - ax) * (y - ay) - (by - ay) * (x - ax)).abs() / length(line)
    }

    fn holds(lines: &[SampleLine], edge: impl Fn([f64; 2]) -> f64) {
        for line in lines {
            let ends = line.ends.unwrap();
            assert!(ends.iter().all(|&end| edge(end) > 0.6 - 1e-5), "{ends:?}");
            assert!(length(line) > 3.3 - 1e-5 && line.heights.len() >= 12);
            assert!((length(line) - line.pitch * (line.heights.len() - 1) as f64).abs() < 1e-9);
            // On a plane the heights between the cells are exact.
            let steps = (line.heights.len() - 1) as f64;
            for (step, z) in line.heights.iter().enumerate() {
                let share = step as f64 / steps;
                let at = [0, 1].map(|axis| ends[0][axis] + share * (ends[1][axis] - ends[0][axis]));
                assert!((z - height(at)).abs() < 1e-12);
            }
            let parallel = lines
                .iter()
                .filter(|other| other.name[..1] == line.name[..1]);
            for other in parallel.filter(|other| other.name != line.name) {
                assert!(off(line, other.ends.unwrap()[0]) > 1.2 - 1e-5);
            }
        }
        assert!(
            ["A1", "B1"]
                .iter()
                .all(|name| lines.iter().any(|line| line.name == *name))
        );
    }

    /// 10 m by 8 m: lines 8.8 m and 6.8 m long, six (6.8 / 1.2 = 5.7) and eight (8.8 / 1.2 = 7.3) of them.
    #[test]
    fn a_wide_room_has_lines_along_its_sides() {
        let room = surface(Kind::Cells, [10.0, 8.0], 0.05, |_| true);
        let lines = lay(&room, System::Metric).unwrap();
        holds(&lines, |[x, y]| x.min(10.0 - x).min(y).min(8.0 - y));
        assert_eq!(lines.len(), 6 + 8);
        assert!(lines.iter().all(|line| length(line) > 6.4));
    }

    #[test]
    fn a_narrow_room_has_slanting_lines_and_none_corner_to_corner() {
        for size in [[12.0, 6.0], [7.0, 7.0]] {
            let room = surface(Kind::Cells, size, 0.05, |_| true);
            let lines = lay(&room, System::Metric).unwrap();
            holds(&lines, |[x, y]| x.min(size[0] - x).min(y).min(size[1] - y));
            for line in &lines {
                let [[ax, ay], [bx, by]] = line.ends.unwrap();
                assert!(((bx - ax).abs() - (by - ay).abs()).abs() < 1e-9);
                let corners = [[0.0, 0.0], [size[0], 0.0], [0.0, size[1]], size];
                assert!(
                    corners
                        .iter()
                        .filter(|&&corner| off(line, corner) < 0.5)
                        .count()
                        < 2
                );
            }
        }
    }

    #[test]
    fn a_hole_breaks_lines_and_an_outline_keeps_them_clear() {
        let hole = |[x, y]: [f64; 2]| (x - 5.0).abs() < 0.2 && (y - 4.0).abs() < 2.0;
        let mut room = surface(Kind::Cells, [10.0, 8.0], 0.05, |at| !hole(at));
        let lines = lay(&room, System::Metric).unwrap();
        assert!(
            lines.len() > 14
                && lines
                    .iter()
                    .all(|line| line.heights.iter().all(|z| z.is_finite()))
        );

        let ring = |x: [f64; 2], y: [f64; 2]| {
            LineString::from(vec![(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])])
        };
        let column = ring([4.8, 5.2], [3.8, 4.2]);
        room = surface(Kind::Cells, [10.0, 8.0], 0.05, |_| true);
        room.outline = Some(Outline {
            polygon: Polygon::new(ring([1.0, 9.0], [0.0, 8.0]), vec![column]),
        });
        let lines = lay(&room, System::Metric).unwrap();
        for line in &lines {
            let [[ax, ay], [bx, by]] = line.ends.unwrap();
            for share in (0..line.heights.len()).map(|i| i as f64 / (line.heights.len() - 1) as f64)
            {
                let (x, y) = (ax + share * (bx - ax), ay + share * (by - ay));
                assert!(x > 1.6 - 1e-5 && x < 8.4 + 1e-5 && y > 0.6 - 1e-5 && y < 7.4 + 1e-5);
                let (dx, dy) = ((x - 5.0f64).abs() - 0.2, (y - 4.0f64).abs() - 0.2);
                assert!(dx.max(0.0).hypot(dy.max(0.0)) > 0.6 - 1e-5);
            }
        }
    }

    #[test]
    fn a_grid_is_read_at_its_nodes_if_its_pitch_fits() {
        let grid = surface(Kind::Grid, [9.0, 8.1], 0.3, |_| true);
        let lines = lay(&grid, System::Metric).unwrap();
        holds(&lines, |[x, y]| x.min(9.0 - x).min(y).min(8.1 - y));
        // Rows at 0.6, 1.8, ... 6.6 m (7.8 m is in the strip) and columns at 0.6, 1.8, ... 7.8 m.
        assert_eq!(lines.len(), 6 + 7);
        let reason = |kind, size, step| {
            lay(&surface(kind, size, step, |_| true), System::Metric).unwrap_err()
        };
        assert!(reason(Kind::Grid, [8.0, 8.0], 0.4).contains("400.0 mm apart"));
        assert!(reason(Kind::Grid, [9.0, 6.0], 0.3).contains("45 degrees"));
        assert!(reason(Kind::Cells, [9.0, 3.0], 0.1).contains("no line of 3.30 m fits"));
        assert!(reason(Kind::Triangulated, [9.0, 9.0], 0.3).contains("scattered"));
    }
}

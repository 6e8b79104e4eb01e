//! Points become a floor: a height field z(x, y) over the part of the plan that was measured.
//!
//! In: readings, or scanned points in batches. Out: a [`Surface`]: a lattice of heights that a straightedge can be laid
//! on, the faces that area and volume are integrated over, and what was measured of the room.
//! Definition 1 of the README ("What the numbers mean") says what is a grid, what is triangulated, what is a cell.
//! Coordinates in here are local metres: [`Surface::origin`] has been subtracted once, so that georeferenced
//! coordinates cost no digits.

use crate::error::Warning;

mod cells;
mod clip;
pub mod columns;
mod floor;
mod grid;
mod lattice;
pub mod lines;
mod marks;
pub mod outline;
pub mod readings;
mod resample;
pub mod sample;
pub mod scan;
mod sheets;
mod storeys;
mod stream;
mod triangulation;

pub use outline::Outline;
pub use readings::from_readings;
pub use resample::{height_at, resample};

/// Heights on a lattice of nodes, rows of constant y. A node that was not measured is NaN.
#[derive(Debug, Clone, PartialEq)]
pub struct HeightField {
    /// Local x of node (0, 0), m.
    pub x0: f64,
    /// Local y of node (0, 0), m.
    pub y0: f64,
    /// Distance between columns, m.
    pub dx: f64,
    /// Distance between rows, m.
    pub dy: f64,
    /// Number of columns.
    pub nx: usize,
    /// Number of rows.
    pub ny: usize,
    /// Heights, m, length `nx * ny`, node (ix, iy) at `iy * nx + ix`.
    pub z: Vec<f64>,
    /// Standard uncertainty of each height, m, same layout.
    pub u: Vec<f64>,
}

impl HeightField {
    /// A field without a single measured node.
    pub fn unmeasured([x0, y0]: [f64; 2], [dx, dy]: [f64; 2], [nx, ny]: [usize; 2]) -> Self {
        Self {
            x0,
            y0,
            dx,
            dy,
            nx,
            ny,
            z: vec![f64::NAN; nx * ny],
            u: vec![f64::NAN; nx * ny],
        }
    }

    /// Local plan position of node `index`, m.
    pub fn position(&self, index: usize) -> [f64; 2] {
        let (ix, iy) = (index % self.nx, index / self.nx);
        [self.x0 + ix as f64 * self.dx, self.y0 + iy as f64 * self.dy]
    }

    /// The measured nodes: index and local x, y, z in m.
    pub fn measured(&self) -> impl Iterator<Item = (usize, [f64; 3])> + '_ {
        self.z
            .iter()
            .enumerate()
            .filter(|(_, z)| z.is_finite())
            .map(|(index, &z)| {
                let [x, y] = self.position(index);
                (index, [x, y, z])
            })
    }

    /// Height of every node over a reference height at its local plan position, m; NaN where not measured.
    pub fn heights_over(&self, reference: impl Fn(f64, f64) -> f64) -> Vec<f64> {
        let over = |(index, z): (usize, &f64)| {
            let [x, y] = self.position(index);
            z - reference(x, y)
        };
        self.z.iter().enumerate().map(over).collect()
    }

    /// The wider of the two spacings, m.
    pub fn spacing(&self) -> f64 {
        self.dx.max(self.dy)
    }
}

/// How a surface came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Readings on a regular grid; the nodes are the readings.
    Grid,
    /// Scattered readings, triangulated; the nodes are sampled from the triangles.
    Triangulated,
    /// Scanned points, cut into cells; the nodes are the cells' centres.
    Cells,
    /// Profile lines without a place on the plan: a row of nodes a line, the rows so far apart that nothing reaches
    /// from one to the next.
    Lines,
}

/// Heights of the floor: local positions and heights, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Mean height.
    pub mean: f64,
    /// The highest measured place: x, y, z.
    pub highest: [f64; 3],
    /// The lowest.
    pub lowest: [f64; 3],
}

impl Level {
    /// Highest minus lowest, m.
    pub fn range(&self) -> f64 {
        self.highest[2] - self.lowest[2]
    }
}

impl Level {
    /// Mean, highest and lowest of `heights`; None of nothing.
    pub fn of(heights: &[[f64; 3]]) -> Option<Self> {
        let highest = heights
            .iter()
            .copied()
            .max_by(|a, b| a[2].total_cmp(&b[2]))?;
        let lowest = heights
            .iter()
            .copied()
            .min_by(|a, b| a[2].total_cmp(&b[2]))?;
        let above = heights
            .iter()
            .map(|height| height[2] - lowest[2])
            .sum::<f64>();
        Some(Self {
            mean: lowest[2] + above / heights.len() as f64,
            highest,
            lowest,
        })
    }
}

/// A triangle in space: three corners, local x, y, z in m.
pub type Triangle = [[f64; 3]; 3];

/// Plan area of a triangle, m².
pub fn plan_area([[ax, ay, _], [bx, by, _], [cx, cy, _]]: &Triangle) -> f64 {
    0.5 * ((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)).abs()
}

/// A reading as it lies on the surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Pin {
    /// The name of the reading, or its number from 1.
    pub name: String,
    /// Local x, y, z, m.
    pub position: [f64; 3],
    /// Standard uncertainty of its height, m.
    pub u: f64,
}

/// Doubt that heights have in common. It cancels between neighbours, and adds up over a distance or an area.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Shared {
    /// Standard uncertainty of the tilt of the plane that heights were measured from, along x and along y each, m per m.
    pub tilt: f64,
    /// The part of every height's own uncertainty that taking more points does not lessen, m: what `--u` says of a scan. How
    /// it is spread over the floor is not known. 0 for readings, which are taken as independent of one another.
    pub common: f64,
}

/// Points of a scan by what became of them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PointsByFate {
    /// Belong to the floor and are in a measured cell.
    pub used: u64,
    /// Marked withheld, noise or invalid by the file.
    pub left_out: crate::survey::LeftOut,
    /// Above the floor: walls, furniture, ceiling, people.
    pub above: u64,
    /// Below the floor: reflections.
    pub below: u64,
    /// Outside the outline.
    pub outside: u64,
    /// At floor height but with too few neighbours to make a cell, or cut off from the floor.
    pub sparse: u64,
}

impl PointsByFate {
    /// Every point that was not used.
    pub fn rejected(&self) -> u64 {
        self.left_out.total() + self.above + self.below + self.outside + self.sparse
    }
}

/// A measured floor.
#[derive(Debug, Clone)]
pub struct Surface {
    /// How it came about.
    pub kind: Kind,
    /// What was subtracted from the survey's coordinates, m.
    pub origin: [f64; 3],
    /// The lattice that straightedges are laid on and maps are drawn from.
    pub field: HeightField,
    /// The faces that area and volume are integrated over, clipped to the outline: triangles for readings, and none
    /// for a scan, whose cells are flat squares about their nodes.
    pub triangles: Vec<Triangle>,
    /// Name of the line and station of its first node in m for each row of a surface of kind `Lines`; else empty.
    pub rows: Vec<(String, f64)>,
    /// The readings; empty for a scan and for lines.
    pub pins: Vec<Pin>,
    /// Usual distance between neighbouring readings, or the cell size, m. What "coarser than L/8" is judged by.
    pub spacing: f64,
    /// Doubt that its heights have in common.
    pub shared: Shared,
    /// The room, in local coordinates, if the user gave it.
    pub outline: Option<Outline>,
    /// Plan area of the measured floor, m²; nothing of lines.
    pub area: f64,
    /// Area of the outline that was not measured, m²; without an outline, of the holes inside the measured floor.
    pub unmeasured: f64,
    /// Measured points by what became of them.
    pub points: PointsByFate,
    /// Scatter of scanned points about the floor (one standard deviation, m). None for readings.
    pub noise: Option<f64>,
    /// What the user should know.
    pub warnings: Vec<Warning>,
}

impl Surface {
    /// A room of which no height was measured: what the edges of a straightedge book are drawn on. `outline` is in the
    /// survey's coordinates.
    pub fn without_heights(origin: [f64; 2], outline: Option<&Outline>) -> Self {
        let origin = [origin[0], origin[1], 0.0];
        Self {
            kind: Kind::Triangulated,
            origin,
            field: HeightField::unmeasured([0.0; 2], [1.0; 2], [0, 0]),
            triangles: Vec::new(),
            rows: Vec::new(),
            pins: Vec::new(),
            spacing: 0.0,
            outline: outline.map(|outline| outline.shifted(origin)),
            area: 0.0,
            unmeasured: 0.0,
            points: PointsByFate::default(),
            shared: Shared::default(),
            noise: None,
            warnings: Vec::new(),
        }
    }

    /// Everything that was measured: the readings, or the cells of a scan. Local x, y, z, m.
    pub fn heights(&self) -> Vec<[f64; 3]> {
        match self.kind {
            Kind::Grid | Kind::Triangulated => self.pins.iter().map(|pin| pin.position).collect(),
            Kind::Cells | Kind::Lines => self
                .field
                .measured()
                .map(|(_, position)| position)
                .collect(),
        }
    }

    /// Standard uncertainty of each of [`Surface::heights`], m, but for their common tilt.
    pub fn uncertainties(&self) -> Vec<f64> {
        match self.kind {
            Kind::Grid | Kind::Triangulated => self.pins.iter().map(|pin| pin.u).collect(),
            Kind::Cells | Kind::Lines => {
                let nodes = self.field.measured();
                nodes.map(|(node, _)| self.field.u[node]).collect()
            }
        }
    }

    /// Standard uncertainty of the difference in height of two places with the standard uncertainties `u`, m: the tilt
    /// of the plane that they were measured from adds up over their distance.
    pub fn difference_u(&self, u: [f64; 2], [a, b]: [[f64; 2]; 2]) -> f64 {
        let distance = (b[0] - a[0]).hypot(b[1] - a[1]);
        u[0].hypot(u[1]).hypot(self.shared.tilt * distance)
    }

    /// Standard uncertainty of the range of `level`, m.
    pub fn range_u(&self, level: &Level) -> f64 {
        let heights = self.heights();
        let u = self.uncertainties();
        let of = |wanted: [f64; 3]| {
            let at = heights.iter().position(|height| *height == wanted);
            at.and_then(|at| u.get(at)).copied().unwrap_or(0.0)
        };
        let [high, low] = [level.highest, level.lowest];
        self.difference_u([of(high), of(low)], [high, low].map(|[x, y, _]| [x, y]))
    }

    /// On a surface of kind `Lines`: the name of the line at a local position, and the station there, m.
    pub fn line_at(&self, [x, y]: [f64; 2]) -> Option<(&str, f64)> {
        let (name, start) = self.rows.get((y / self.field.dy).round() as usize)?;
        Some((name, start + x))
    }

    /// A local plan position in the survey's coordinates, m.
    pub fn survey_xy(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [x + self.origin[0], y + self.origin[1]]
    }

    /// A local height as a height of the survey, m.
    pub fn survey_z(&self, z: f64) -> f64 {
        z + self.origin[2]
    }
}

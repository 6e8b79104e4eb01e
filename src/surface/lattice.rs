//! Where the cells of a scan lie, and how large they are.
//!
//! In: where the floor is, how dense its points lie, what the user asked for. Out: a [`Lattice`]. The centres lie on whole
//! multiples of the cell's side in the survey's coordinates, so that two scans of one floor share their cells; points that
//! lie on a grid shift them, so that none falls on a border.

use geo::Contains;

use super::Outline;
use super::sample::Grid;
use crate::error::{Error, Result};
use crate::units::MILLIMETRE;

/// Sizes of cells that are proposed, m.
const CELLS: [f64; 7] = [0.025, 0.05, 0.1, 0.15, 0.2, 0.25, 0.5];
/// Points that a cell should hold where the floor is covered as usual: of random points one cell in 2000 then has fewer than
/// three (Poisson), so that a straightedge of eighty cells is seldom broken by chance.
const WANTED: f64 = 12.0;
/// Fewest points of a cell unless the user says otherwise.
const LEAST: u32 = 3;
/// Most cells of a lattice: a hall of 150 by 100 m at 25 mm.
pub const MOST_CELLS: usize = 24_000_000;

/// Where the cells lie. The centre of cell (i, j) is at `phase` + (i, j) `cell`, in the survey's coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lattice {
    /// Side of a cell, m.
    pub cell: f64,
    /// Shift of the centres from whole multiples of the side, m.
    pub phase: [f64; 2],
    /// Number of the first column and row.
    pub first: [i64; 2],
    /// Number of columns and rows.
    pub count: [usize; 2],
}

impl Lattice {
    /// The number of the cell that holds a coordinate.
    pub fn index(cell: f64, phase: f64, x: f64) -> i64 {
        ((x - phase) / cell + 0.5).floor() as i64
    }

    /// Where the centre of a cell lies on one axis, m; `at` counts from the first.
    pub fn centre(&self, axis: usize, at: usize) -> f64 {
        (self.first[axis] + at as i64) as f64 * self.cell + self.phase[axis]
    }

    /// The number of the cell, from the first, that holds a coordinate.
    pub fn find(&self, axis: usize, x: f64) -> Option<usize> {
        let at = Self::index(self.cell, self.phase[axis], x) - self.first[axis];
        usize::try_from(at).ok().filter(|&at| at < self.count[axis])
    }
}

/// Fewest points of a cell: points on a grid have been averaged already.
pub fn fewest(grid: Option<Grid>, cell: f64) -> u32 {
    match grid {
        Some(grid) if (cell / grid.pitch).powi(2) < f64::from(LEAST) => 1,
        _ => LEAST,
    }
}

/// Where the cells lie: of the size asked for, or as large as the density of the points needs. Points on a grid lie in the
/// middle of their cells, or evenly in them, never on a border. `density` is in points per m².
///
/// # Errors
/// [`Error::Argument`] for a size that cannot be used, that makes too many cells, or cells of too few points; it names the
/// size that could be used.
pub fn lattice(
    bounds: [[f64; 2]; 2],
    density: f64,
    grid: Option<Grid>,
    asked: Option<f64>,
) -> Result<Lattice> {
    if let Some(cell) = asked.filter(|cell| !(1e-3..=5.0).contains(cell)) {
        let found = format!("{cell} m");
        return Err(Error::argument(
            "--cell",
            found,
            "a length between 1mm and 5m",
        ));
    }
    if let Some(cell) = asked {
        borne(cell, density, grid)?;
    }
    let sizes = asked.map_or_else(|| proposed(density, grid), |cell| vec![cell]);
    let all = |cell: f64| {
        let phase = phase(grid, cell);
        let ends = [0, 1].map(|axis| bounds[axis].map(|x| Lattice::index(cell, phase[axis], x)));
        Lattice {
            cell,
            phase,
            first: ends.map(|[low, _]| low),
            count: ends.map(|[low, high]| usize::try_from(high - low + 1).unwrap_or(0)),
        }
    };
    let fits = |lattice: &Lattice| lattice.count[0].saturating_mul(lattice.count[1]) <= MOST_CELLS;
    sizes.into_iter().map(all).find(fits).ok_or_else(|| {
        let [width, depth] = bounds.map(|[low, high]| high - low);
        // One cell more along each side than go into it: the borders need not coincide.
        let mut fitting = whole_mm((width * depth / MOST_CELLS as f64).sqrt());
        while (width / fitting + 2.0) * (depth / fitting + 2.0) > MOST_CELLS as f64 {
            fitting = whole_mm(fitting + MILLIMETRE);
        }
        Error::argument(
            "--cell",
            format!("more than {MOST_CELLS} cells over {width:.0} x {depth:.0} m"),
            format!(
                "{} or more, or one room at a time (--outline)",
                in_mm(fitting)
            ),
        )
    })
}

/// Whether there are points enough for cells of the size asked for.
fn borne(cell: f64, density: f64, grid: Option<Grid>) -> Result<()> {
    let (least, better) = match grid {
        Some(grid) => (grid.pitch, grid.pitch),
        None => {
            let holding = |points: f64| whole_mm((points / density).sqrt());
            (holding(f64::from(LEAST)), holding(WANTED))
        }
    };
    if cell >= least * (1.0 - 1e-6) {
        return Ok(());
    }
    let (found, wanted) = match grid {
        Some(grid) => (
            format!(
                "cells of {} for points every {}",
                in_mm(cell),
                in_mm(grid.pitch)
            ),
            format!("{} or more", in_mm(least)),
        ),
        None => (
            format!(
                "cells of {} that hold {:.1} points each",
                in_mm(cell),
                density * cell * cell
            ),
            format!(
                "{} at least, and {} or more for a floor without gaps",
                in_mm(least),
                in_mm(better)
            ),
        ),
    };
    Err(Error::argument("--cell", found, wanted))
}

/// The next whole millimetre up, m.
fn whole_mm(length: f64) -> f64 {
    (length / MILLIMETRE - 1e-6).ceil() * MILLIMETRE
}

fn in_mm(length: f64) -> String {
    let mm = length / MILLIMETRE;
    format!("{}mm", (mm * 10.0).round() / 10.0)
}

/// The sizes to try, m, smallest first: 25 mm or more, as many pitches of a grid as that takes.
fn proposed(density: f64, grid: Option<Grid>) -> Vec<f64> {
    if let Some(grid) = grid.filter(|grid| grid.pitch > 0.5 * CELLS[0]) {
        let times = (CELLS[0] / grid.pitch - 1e-6).ceil();
        return [1.0, 2.0, 4.0]
            .map(|more| more * times * grid.pitch)
            .to_vec();
    }
    let enough = CELLS
        .iter()
        .position(|cell| density * cell * cell >= WANTED);
    CELLS[enough.unwrap_or(CELLS.len() - 1)..].to_vec()
}

/// How far the centres of the cells are shifted so that the points of a grid lie evenly in them, m.
fn phase(grid: Option<Grid>, cell: f64) -> [f64; 2] {
    let Some(grid) = grid else { return [0.0; 2] };
    let times = (cell / grid.pitch).round();
    if times < 1.0 || (times * grid.pitch - cell).abs() > 1e-6 * cell {
        return [0.0; 2];
    }
    grid.phase.map(|phase| phase + 0.5 * (cell - grid.pitch))
}

/// For each cell of a lattice whether its centre is within the outline. A centre on the wall line counts on one side only,
/// hence the shift, m.
pub fn inside(outline: &Outline, lattice: &Lattice) -> Vec<bool> {
    let [nx, ny] = lattice.count;
    let shift = 1e-6;
    let xs: Vec<_> = (0..nx).map(|ix| lattice.centre(0, ix) + shift).collect();
    (0..ny)
        .flat_map(|iy| {
            let y = lattice.centre(1, iy) + shift;
            xs.iter()
                .map(move |&x| outline.polygon.contains(&geo::Point::new(x, y)))
        })
        .collect()
}

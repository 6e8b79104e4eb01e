//! Readings that lie on a regular grid.
//!
//! In: marks on the plan. Out: the lattice with the marks at its nodes, and for every cell with four measured corners
//! four triangles about its centre, whose height is the mean of the corners: their volume is the handbook's grid method,
//! V = (A/4)(sum h1 + 2 sum h2 + 3 sum h3 + 4 sum h4) with h_n the heights at nodes that n cells share.
//! A grid is parallel to the axes, with one spacing along x and one along y, and may have nodes that were not measured:
//! an L-shaped room is one. A grid turned on the plan is triangulated.

use super::marks::Mark;
use super::readings::{Floor, enclosed, median};
use super::{HeightField, Kind, Triangle};
use crate::error::Warning;
use crate::units::System;

/// A reading may be this share of the spacing off its node: points are set out by hand with a tape.
const OFF_THE_NODE: f64 = 0.1;
/// From this share of the spacing on, the user is told.
const WORTH_SAYING: f64 = 0.01;
/// At least this share of the nodes in the bounding rectangle is measured: a thin L has about half.
const MEASURED: f64 = 0.5;
/// At least this share of the readings is at a corner of a whole cell; otherwise cells would leave out floor that
/// triangles cover.
const AT_A_CELL: f64 = 0.75;
/// Between lines of readings the distances differ from those within a line by more than this factor: with readings up
/// to 10 % off, lines are 0.8 to 1.2 (with one line missing 2.2) spacings apart and readings of one line at most 0.2.
const APART: f64 = 3.0;

/// The grid lines along one axis, and which of them each mark is on.
struct Axis {
    start: f64,
    step: f64,
    count: usize,
    line: Vec<usize>,
    /// The farthest that a mark is off its line, m.
    off: f64,
}

/// The floor of a grid, if the marks lie on one.
pub(super) fn recognise(marks: &[Mark]) -> Option<Floor> {
    let x = axis(&marks.iter().map(|mark| mark.x).collect::<Vec<_>>())?;
    let y = axis(&marks.iter().map(|mark| mark.y).collect::<Vec<_>>())?;
    let nodes = x.count.checked_mul(y.count)?;
    if (marks.len() as f64) < MEASURED * nodes as f64 {
        return None;
    }
    let mut field =
        HeightField::unmeasured([x.start, y.start], [x.step, y.step], [x.count, y.count]);
    for (mark, (ix, iy)) in marks.iter().zip(x.line.iter().zip(&y.line)) {
        let z = field.z.get_mut(iy * x.count + ix)?;
        if z.is_finite() {
            return None;
        }
        *z = mark.z;
        *field.u.get_mut(iy * x.count + ix)? = mark.u;
    }
    let cells = cells(&field);
    let mut at_a_cell: Vec<usize> = cells.iter().flatten().flatten().copied().collect();
    at_a_cell.sort_unstable();
    at_a_cell.dedup();
    if (at_a_cell.len() as f64) < AT_A_CELL * marks.len() as f64 {
        return None;
    }
    Some(Floor {
        kind: Kind::Grid,
        spacing: field.spacing(),
        triangles: cells
            .iter()
            .flatten()
            .flat_map(|cell| faces(&field, *cell))
            .collect(),
        holes: holes(&field, &cells),
        joined: vec![true; marks.len()],
        warnings: snapped(&x, &y).into_iter().collect(),
        field,
    })
}

/// The grid lines that `values`, the marks' positions along one axis, lie on.
fn axis(values: &[f64]) -> Option<Axis> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let apart = least_distance_of_lines(&sorted)?;
    let middles: Vec<f64> = sorted
        .chunk_by(|a, b| b - a < apart)
        .map(|line| line.iter().sum::<f64>() / line.len() as f64)
        .collect();
    let gaps: Vec<f64> = middles.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let usual = median(&gaps)?;
    let mut numbers = vec![0.0];
    for gap in gaps {
        numbers.push(numbers.last()? + (gap / usual).round().max(1.0));
    }
    let (start, step) = straight_line(&numbers, &middles);
    let number = |value: f64| ((value - start) / step).round();
    let off = |&value: &f64| (value - start - number(value) * step).abs();
    let off = values.iter().map(off).fold(0.0, f64::max);
    let line: Vec<usize> = values.iter().map(|&value| number(value) as usize).collect();
    let count = line.iter().max()? + 1;
    (off <= OFF_THE_NODE * step && count > 1).then_some(Axis {
        start,
        step,
        count,
        line,
        off,
    })
}

/// The least distance between neighbouring lines: going down through the distances between neighbours, the last before
/// they fall by more than [`APART`] at once.
fn least_distance_of_lines(sorted: &[f64]) -> Option<f64> {
    let mut distances: Vec<f64> = sorted.windows(2).map(|pair| pair[1] - pair[0]).collect();
    distances.sort_by(|a, b| b.total_cmp(a));
    let within = |pair: &[f64]| pair[0] > APART * pair[1];
    let last = distances
        .windows(2)
        .position(within)
        .unwrap_or(distances.len().checked_sub(1)?);
    distances
        .get(last)
        .copied()
        .filter(|&distance| distance > 0.0)
}

/// Least squares of `y` = start + step `x`: (start, step).
fn straight_line(x: &[f64], y: &[f64]) -> (f64, f64) {
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let (mx, my) = (mean(x), mean(y));
    let sxx: f64 = x.iter().map(|x| (x - mx) * (x - mx)).sum();
    let sxy: f64 = x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum();
    (my - sxy / sxx * mx, sxy / sxx)
}

/// The cells row by row: their corner nodes counter-clockwise, or none where one was not measured.
fn cells(field: &HeightField) -> Vec<Option<[usize; 4]>> {
    let cell = |ix: usize, iy: usize| {
        let first = iy * field.nx + ix;
        let corners = [first, first + 1, first + 1 + field.nx, first + field.nx];
        let measured = |&node: &usize| field.z.get(node).is_some_and(|z| z.is_finite());
        corners.iter().all(measured).then_some(corners)
    };
    (0..field.ny - 1)
        .flat_map(|iy| (0..field.nx - 1).map(move |ix| (ix, iy)))
        .map(|(ix, iy)| cell(ix, iy))
        .collect()
}

/// The four triangles of a cell about its centre.
fn faces(field: &HeightField, cell: [usize; 4]) -> [Triangle; 4] {
    let [a, b, c, d] = cell.map(|node| {
        let [x, y] = field.position(node);
        [x, y, field.z[node]]
    });
    let centre = [0, 1, 2].map(|axis| (a[axis] + b[axis] + c[axis] + d[axis]) / 4.0);
    [
        [a, b, centre],
        [b, c, centre],
        [c, d, centre],
        [d, a, centre],
    ]
}

/// Plan area of the cells that are missing inside the measured floor, m².
fn holes(field: &HeightField, cells: &[Option<[usize; 4]>]) -> f64 {
    let (nx, ny) = (field.nx - 1, field.ny - 1);
    let neighbours = |cell: usize| {
        let (ix, iy) = (cell % nx, cell / nx);
        vec![
            (ix > 0).then(|| cell - 1),
            (ix + 1 < nx).then_some(cell + 1),
            (iy > 0).then(|| cell - nx),
            (iy + 1 < ny).then_some(cell + nx),
        ]
    };
    let missing: Vec<bool> = cells.iter().map(Option::is_none).collect();
    enclosed(&missing, neighbours).len() as f64 * field.dx * field.dy
}

/// What the user should know about readings moved to the nodes.
fn snapped(x: &Axis, y: &Axis) -> Option<Warning> {
    let noticeable = |axis: &Axis| axis.off > WORTH_SAYING * axis.step;
    (noticeable(x) || noticeable(y)).then(|| {
        let show = System::Metric;
        Warning(format!(
            "the readings lie up to {} off a grid of {} by {}; they are taken to lie on it",
            show.height(x.off.max(y.off)),
            show.plan(x.step),
            show.plan(y.step),
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks(at: impl IntoIterator<Item = [f64; 2]>) -> Vec<Mark> {
        at.into_iter()
            .map(|[x, y]| Mark {
                x,
                y,
                z: x * y,
                u: 1e-3,
                first: 0,
                count: 1,
            })
            .collect()
    }

    fn lattice(nx: usize, ny: usize) -> impl Iterator<Item = [f64; 2]> {
        (0..ny).flat_map(move |iy| (0..nx).map(move |ix| [ix as f64 * 0.5, iy as f64 * 0.75]))
    }

    #[test]
    fn a_full_grid() {
        let floor = recognise(&marks(lattice(5, 4))).unwrap();
        assert_eq!([floor.field.nx, floor.field.ny], [5, 4]);
        assert!((floor.field.dx - 0.5).abs() < 1e-12 && (floor.field.dy - 0.75).abs() < 1e-12);
        assert!(floor.warnings.is_empty() && floor.holes == 0.0);
        assert_eq!(floor.triangles.len(), 4 * 4 * 3);
    }

    #[test]
    fn nodes_may_be_missing_and_a_hole_is_counted() {
        // One inner node gone: the four cells about it are a hole. A corner gone: outside.
        let gone = |at: &[f64; 2]| *at == [1.0, 1.5] || *at == [0.0, 0.0];
        let floor = recognise(&marks(lattice(5, 5).filter(|at| !gone(at)))).unwrap();
        assert!((floor.holes - 4.0 * 0.5 * 0.75).abs() < 1e-12);
        assert_eq!(floor.triangles.len(), 4 * (16 - 4 - 1));
        // Two whole lines gone, beside each other.
        let floor = recognise(&marks(
            lattice(9, 5).filter(|at| at[0] != 1.5 && at[0] != 2.0),
        ))
        .unwrap();
        assert_eq!(floor.field.nx, 9);
    }

    #[test]
    fn hand_set_points_are_moved_to_their_nodes_and_it_is_said() {
        // Off by up to 8 % of the spacing, in a fixed pattern without drift.
        let off = |i: usize| [0.0, 0.08, -0.08, 0.03, -0.03][i % 5];
        let by_hand = lattice(10, 10)
            .enumerate()
            .map(|(i, [x, y])| [x + 0.5 * off(i), y + 0.75 * off(i / 10)]);
        let floor = recognise(&marks(by_hand)).unwrap();
        assert!((floor.field.dx - 0.5).abs() < 0.01);
        assert_eq!(floor.warnings.len(), 1);
        assert!(
            floor.warnings[0]
                .0
                .contains("off a grid of 0.50 m by 0.75 m")
        );
    }

    #[test]
    fn what_is_no_grid() {
        let shift = |at: [f64; 2]| if at == [1.0, 1.5] { [1.1, 1.5] } else { at };
        assert!(recognise(&marks(lattice(5, 5).map(shift))).is_none());
        let quincunx = |at: &[f64; 2]| ((at[0] / 0.5 + at[1] / 0.75) as usize).is_multiple_of(2);
        assert!(recognise(&marks(lattice(9, 9).filter(quincunx))).is_none());
        assert!(recognise(&marks(lattice(5, 1))).is_none());
        let (sin, cos) = 0.3f64.sin_cos();
        let turned = |[x, y]: [f64; 2]| [x * cos - y * sin, x * sin + y * cos];
        assert!(recognise(&marks(lattice(6, 6).map(turned))).is_none());
        let twice = lattice(3, 3).chain([[0.51, 0.75]]);
        assert!(recognise(&marks(twice)).is_none());
    }
}

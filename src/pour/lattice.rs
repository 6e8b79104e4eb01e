//! Depths of compound on a lattice fine enough to divide a pour.
//!
//! In: a surface, its target, and how thick a layer lies where the whole depth (target minus floor) is so much. Out: a
//! [`HeightField`] whose heights are those thicknesses, m, NaN off the floor. Readings are sampled from their triangles; cells of a scan are averaged in blocks where there are too many.
//! Its volume is close to that of [`super::volume()`], which alone is exact.

use crate::pour::Target;
use crate::surface::{HeightField, Surface, Triangle};

/// Cells that a pour is divided into, at most: enough for a thousand to a batch, and few enough to be quick.
const MOST_CELLS: f64 = 100_000.0;

/// Cells need be no smaller than this to snap a line along their edge, m.
const FINEST: f64 = 0.05;

/// Thickness over the floor of a layer that is `thick` of the whole depth, m.
pub fn depths(surface: &Surface, target: &Target, thick: impl Fn(f64) -> f64) -> HeightField {
    let thickness = |place| thick(target.depth_over(place));
    if surface.triangles.is_empty() {
        from_cells(&surface.field, thickness)
    } else {
        from_triangles(&surface.triangles, thickness)
    }
}

/// Blocks of cells, each at the mean of those measured, and floor if half of it is.
fn from_cells(cells: &HeightField, thickness: impl Fn([f64; 3]) -> f64) -> HeightField {
    let count = cells.z.len() as f64;
    let finest = FINEST / cells.dx.min(cells.dy);
    let block = (count / MOST_CELLS).sqrt().max(finest).round().max(1.0) as usize;
    let mut depths = HeightField::unmeasured(
        [
            cells.x0 + 0.5 * (block as f64 - 1.0) * cells.dx,
            cells.y0 + 0.5 * (block as f64 - 1.0) * cells.dy,
        ],
        [cells.dx * block as f64, cells.dy * block as f64],
        [cells.nx.div_ceil(block), cells.ny.div_ceil(block)],
    );
    let mut sums = vec![(0.0, 0); depths.z.len()];
    for (index, position) in cells.measured() {
        let (ix, iy) = (index % cells.nx / block, index / cells.nx / block);
        let sum = &mut sums[iy * depths.nx + ix];
        *sum = (sum.0 + thickness(position), sum.1 + 1);
    }
    for (depth, (sum, count)) in depths.z.iter_mut().zip(sums) {
        if 2 * count >= block * block {
            *depth = sum / count as f64;
        }
    }
    depths
}

/// Every cell whose middle lies in a triangle, at the depth there.
fn from_triangles(triangles: &[Triangle], thickness: impl Fn([f64; 3]) -> f64) -> HeightField {
    let ends = |axis: usize| {
        let along = triangles.iter().flatten().map(|corner| corner[axis]);
        along.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(x), high.max(x))
        })
    };
    let ((x0, x1), (y0, y1)) = (ends(0), ends(1));
    let side = ((x1 - x0) * (y1 - y0) / MOST_CELLS).sqrt().max(FINEST);
    let size = |length: f64| ((length / side).ceil().max(1.0), length);
    let ((nx, width), (ny, height)) = (size(x1 - x0), size(y1 - y0));
    let (dx, dy) = (width / nx, height / ny);
    let corner = [x0 + 0.5 * dx, y0 + 0.5 * dy];
    let mut depths = HeightField::unmeasured(corner, [dx, dy], [nx as usize, ny as usize]);
    for triangle in triangles {
        sample(&mut depths, triangle, &thickness);
    }
    depths
}

fn sample(depths: &mut HeightField, &[a, b, c]: &Triangle, thickness: &impl Fn([f64; 3]) -> f64) {
    let twice = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]);
    if twice == 0.0 {
        return;
    }
    let nodes = |axis: usize, from: f64, pitch: f64, count: usize| {
        let low = a[axis].min(b[axis]).min(c[axis]);
        let high = a[axis].max(b[axis]).max(c[axis]);
        let first = ((low - from) / pitch).ceil().max(0.0) as usize;
        let end = ((high - from) / pitch).floor() + 1.0;
        first..(end.max(0.0) as usize).min(count)
    };
    let columns = nodes(0, depths.x0, depths.dx, depths.nx);
    for iy in nodes(1, depths.y0, depths.dy, depths.ny) {
        for ix in columns.clone() {
            let node = iy * depths.nx + ix;
            let [x, y] = depths.position(node);
            let v = ((x - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (y - a[1])) / twice;
            let w = ((b[0] - a[0]) * (y - a[1]) - (x - a[0]) * (b[1] - a[1])) / twice;
            if v >= 0.0 && w >= 0.0 && v + w <= 1.0 {
                let z = a[2] + v * (b[2] - a[2]) + w * (c[2] - a[2]);
                depths.z[node] = thickness([x, y, z]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::volume;
    use crate::pour::volume::tests::grid;

    fn filled(depths: &HeightField) -> f64 {
        let filled: f64 = depths.z.iter().filter(|depth| **depth > 0.0).sum();
        filled * depths.dx * depths.dy
    }

    #[test]
    fn readings_are_sampled_finely() {
        let floor = grid([5, 4], 1.0, |x, y| 0.004 * (x - y).sin());
        let target = Target::Level { datum: 0.003 };
        let depths = depths(&floor, &target, |depth| depth);
        assert_eq!((depths.nx, depths.ny), (80, 60));
        assert!(depths.z.iter().all(|depth| depth.is_finite()));
        let exact = volume(&floor, &target).fill;
        assert!((filled(&depths) / exact - 1.0).abs() < 1e-3);
    }

    /// 40 x 20 cells of 25 mm become blocks of 50 mm: each the mean of four, and none where three are missing.
    #[test]
    fn cells_are_averaged_in_blocks() {
        let mut scan = grid([40, 20], 0.025, |x, _| 0.001 * x);
        scan.triangles.clear();
        for hole in [0, 1, 40] {
            scan.field.z[hole] = f64::NAN;
        }
        let depths = depths(&scan, &Target::Level { datum: 0.01 }, |depth| depth);
        assert_eq!((depths.nx, depths.ny, depths.dx), (20, 10, 0.05));
        assert!(depths.z[0].is_nan());
        assert!((depths.z[1] - (0.01 - 0.001 * 0.0625)).abs() < 1e-15);
        assert!((depths.x0 - 0.0125).abs() < 1e-15);
    }
}

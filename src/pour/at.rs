//! How high the floor is at places of one's own choice.
//!
//! In: a surface, places on the plan. Out: a height each, NaN off the measured floor: on the triangle above the place, or of
//! the cell about it (definition 1 of the README).

use crate::surface::{HeightField, Surface, Triangle};

/// A place may lie outside a triangle by this share of it: rounding.
const SAME: f64 = 1e-9;

/// Height of the floor at each of `places` (local x, y, m), m; NaN where nothing was measured.
pub fn heights_at(surface: &Surface, places: &[[f64; 2]]) -> Vec<f64> {
    if surface.triangles.is_empty() {
        let field = &surface.field;
        return places.iter().map(|&at| of_cell(field, at)).collect();
    }
    let mut by_x: Vec<(usize, [f64; 2])> = places.iter().copied().enumerate().collect();
    by_x.sort_by(|(_, a), (_, b)| a[0].total_cmp(&b[0]));
    let mut heights = vec![f64::NAN; places.len()];
    for triangle in &surface.triangles {
        let [left, right] = span(triangle);
        let first = by_x.partition_point(|(_, [x, _])| *x < left);
        let beneath = by_x.iter().skip(first);
        for &(place, at) in beneath.take_while(|(_, [x, _])| *x <= right) {
            if let (Some(z), Some(height)) = (on_triangle(triangle, at), heights.get_mut(place)) {
                *height = z;
            }
        }
    }
    heights
}

/// From where to where a triangle reaches along x, and a little more.
fn span(triangle: &Triangle) -> [f64; 2] {
    let [a, b, c] = triangle.map(|corner| corner[0]);
    let (left, right) = (a.min(b).min(c), a.max(b).max(c));
    let more = SAME * (right - left);
    [left - more, right + more]
}

/// Height of a triangle's plane at a place, if the place lies in it.
fn on_triangle(&[a, b, c]: &Triangle, [x, y]: [f64; 2]) -> Option<f64> {
    let twice = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]);
    let v = ((x - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (y - a[1])) / twice;
    let w = ((b[0] - a[0]) * (y - a[1]) - (x - a[0]) * (b[1] - a[1])) / twice;
    let inside = v >= -SAME && w >= -SAME && v + w <= 1.0 + SAME;
    inside.then(|| a[2] + v * (b[2] - a[2]) + w * (c[2] - a[2]))
}

/// Height of the cell about a place.
fn of_cell(field: &HeightField, [x, y]: [f64; 2]) -> f64 {
    let (ix, iy) = (
        ((x - field.x0) / field.dx).round(),
        ((y - field.y0) / field.dy).round(),
    );
    let outside = ix < 0.0 || iy < 0.0 || ix >= field.nx as f64 || iy >= field.ny as f64;
    let node = iy as usize * field.nx + ix as usize;
    let height = field.z.get(node).filter(|_| !outside);
    height.copied().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::volume::tests::grid;

    #[test]
    fn a_plane_is_a_plane_between_the_readings() {
        let floor = grid([4, 3], 0.5, |x, y| 0.01 * x - 0.02 * y + 0.1);
        let places = [[0.0, 0.0], [1.5, 1.0], [0.77, 0.31], [0.5, 0.9], [1.0, 0.0]];
        for (z, [x, y]) in heights_at(&floor, &places).iter().zip(places) {
            assert!((z - (0.01 * x - 0.02 * y + 0.1)).abs() < 1e-15, "{x} {y}");
        }
        let off = heights_at(
            &floor,
            &[[-0.01, 0.5], [1.51, 0.5], [0.5, 1.01], [f64::NAN, 0.0]],
        );
        assert!(off.iter().all(|z| z.is_nan()), "{off:?}");
    }

    #[test]
    fn a_cell_is_flat_about_its_middle() {
        let mut scan = grid([3, 2], 0.5, |x, _| x);
        scan.triangles.clear();
        scan.field.z[4] = f64::NAN;
        let found = heights_at(&scan, &[[0.7, -0.2], [0.8, 0.1], [0.5, 0.5], [1.26, 0.0]]);
        assert_eq!(found[..2], [0.5, 1.0]);
        assert!(found[2].is_nan() && found[3].is_nan());
    }
}

//! The height of a floor where no reading stands: how two surveys get onto one lattice.
//!
//! In: a surface, and a lattice in its local coordinates. Out: heights with their standard uncertainty at the lattice's
//! nodes, NaN where nothing was measured. Of the surface as it is defined (definition 1 of the README), nothing smoothed:
//!
//! - grid: the four triangles about the centre of a cell. With s, t the place in the cell, 0 to 1, the corners weigh
//!   max(0, 1 - s - t), max(0, s - t), max(0, s + t - 1), max(0, t - s); what is left of one is the centre's, a quarter for
//!   each corner. Readings are independent: u² is the sum of (weight u)².
//! - triangulated: the triangle at the node; u is that of the nearest node of the surface's own lattice.
//! - cells: the flat square that the node lies in.

use super::{HeightField, Kind, Surface, triangulation};

/// A place this share of a cell outside the lattice is on its edge, to rounding.
const ON_THE_EDGE: f64 = 1e-6;

/// Nodes beside the nearest: itself first, then those at its sides, then those across.
const ABOUT: [[f64; 2]; 9] = [
    [0.0, 0.0],
    [1.0, 0.0],
    [-1.0, 0.0],
    [0.0, 1.0],
    [0.0, -1.0],
    [1.0, 1.0],
    [-1.0, 1.0],
    [1.0, -1.0],
    [-1.0, -1.0],
];

/// Heights of `surface` at the nodes of `lattice`, written over its own.
pub fn resample(surface: &Surface, mut lattice: HeightField) -> HeightField {
    lattice.z.fill(f64::NAN);
    lattice.u.fill(f64::NAN);
    if surface.kind == Kind::Triangulated {
        for triangle in &surface.triangles {
            triangulation::sample(&mut lattice, triangle, [0.0; 3]);
        }
    }
    let field = &surface.field;
    for node in 0..lattice.z.len() {
        let at = lattice.position(node);
        let [z, u] = match surface.kind {
            Kind::Grid => in_a_grid(field, at),
            Kind::Triangulated => {
                let mut about = ABOUT.iter().map(|beside| near(field, at, *beside));
                let u = about.find_map(|found| found.map(|[_, u]| u));
                Some([lattice.z[node], u.unwrap_or(f64::NAN)])
            }
            Kind::Cells => near(field, at, [0.0; 2]),
            Kind::Lines => None,
        }
        .unwrap_or([f64::NAN; 2]);
        lattice.z[node] = z;
        lattice.u[node] = u;
    }
    lattice
}

/// Height and uncertainty at a place, local m; None where nothing was measured.
pub fn height_at(surface: &Surface, at: [f64; 2]) -> Option<[f64; 2]> {
    let found = resample(surface, HeightField::unmeasured(at, [1.0; 2], [1; 2]));
    let (z, u) = (*found.z.first()?, *found.u.first()?);
    z.is_finite().then_some([z, u])
}

/// Where a place lies between the nodes: columns and rows from the first, and parts of them.
fn in_steps(field: &HeightField, [x, y]: [f64; 2]) -> [f64; 2] {
    [(x - field.x0) / field.dx, (y - field.y0) / field.dy]
}

/// A node's height and uncertainty, if it is one and was measured.
fn node(field: &HeightField, [ix, iy]: [f64; 2]) -> Option<[f64; 2]> {
    let within = |at: f64, count: usize| (0.0..count as f64).contains(&at);
    if !within(ix, field.nx) || !within(iy, field.ny) {
        return None;
    }
    let index = iy as usize * field.nx + ix as usize;
    let (z, u) = (*field.z.get(index)?, *field.u.get(index)?);
    z.is_finite().then_some([z, u])
}

/// The node nearest to a place, or one that stands so many columns and rows beside it.
fn near(field: &HeightField, at: [f64; 2], beside: [f64; 2]) -> Option<[f64; 2]> {
    let [s, t] = in_steps(field, at).map(|steps| (steps + 0.5).floor());
    node(field, [s + beside[0], t + beside[1]])
}

/// On the four triangles of the cell that holds a place.
fn in_a_grid(field: &HeightField, at: [f64; 2]) -> Option<[f64; 2]> {
    let steps = in_steps(field, at);
    let ends = [field.nx, field.ny].map(|count| count as f64 - 1.0);
    let inside = |axis: usize| {
        let within = -ON_THE_EDGE..=ends[axis] + ON_THE_EDGE;
        within.contains(&steps[axis])
    };
    if !inside(0) || !inside(1) {
        return None;
    }
    // On a line of readings only those of the line count, not what lies to the side of it.
    let steps = steps.map(|at| {
        let line = at.round();
        if (at - line).abs() < ON_THE_EDGE {
            line
        } else {
            at
        }
    });
    let [ix, iy] = [0, 1].map(|axis| steps[axis].floor().clamp(0.0, ends[axis] - 1.0));
    let [s, t] = [steps[0] - ix, steps[1] - iy];
    let corners = [
        ([ix, iy], 1.0 - s - t),
        ([ix + 1.0, iy], s - t),
        ([ix + 1.0, iy + 1.0], s + t - 1.0),
        ([ix, iy + 1.0], t - s),
    ];
    let centre = 1.0 - (1.0 - s - t).abs() - (s - t).abs();
    let (mut z, mut variance) = (0.0, 0.0);
    for (corner, weight) in corners {
        let weight = weight.max(0.0) + centre / 4.0;
        if weight == 0.0 {
            continue;
        }
        let [corner_z, corner_u] = node(field, corner)?;
        z += weight * corner_z;
        variance += (weight * corner_u).powi(2);
    }
    Some([z, variance.sqrt()])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::surface::from_readings;
    use crate::survey::Reading;

    fn surface(at: impl IntoIterator<Item = [f64; 2]>, z: impl Fn(f64, f64) -> f64) -> Surface {
        let reading = |[x, y]: [f64; 2]| Reading {
            name: None,
            x,
            y,
            z: z(x, y),
            setup: None,
        };
        let readings: Vec<_> = at.into_iter().map(reading).collect();
        from_readings(&readings, 0.002, None).unwrap()
    }

    fn grid() -> impl Iterator<Item = [f64; 2]> {
        (0..20).map(|i| [f64::from(i % 5) * 0.5, f64::from(i / 5) * 0.4])
    }

    /// One corner 8 mm high: at the centre of its cell a quarter of it, with half of u; on the way from the corner to the
    /// centre straight between the two; at the middle of a side u / √2.
    #[test]
    fn a_cell_is_four_triangles_about_its_centre() {
        let floor = surface(grid(), |x, y| if x + y == 0.0 { 0.008 } else { 0.0 });
        assert_eq!(floor.kind, Kind::Grid);
        let near = |at, z: f64, u: f64| {
            let found = height_at(&floor, at).unwrap();
            assert!((found[0] - z).abs() < 1e-12, "{at:?} {found:?}");
            assert!((found[1] - u).abs() < 1e-12, "{at:?} {found:?}");
        };
        near([0.0, 0.0], 0.008, 0.002);
        near([0.25, 0.2], 0.002, 0.001);
        // Half way: corner 1/2 + 1/8, the others 1/8 each.
        let half = (0.625f64.powi(2) + 3.0 * 0.125f64.powi(2)).sqrt();
        near([0.125, 0.1], 0.005, 0.002 * half);
        near([0.25, 0.0], 0.004, 0.002 / 2f64.sqrt());
        near([2.0, 1.2], 0.0, 0.002);
        let mut holed = floor.clone();
        holed.field.z[6] = f64::NAN;
        for at in [[0.5, 0.4], [0.3, 0.2]] {
            assert_eq!(height_at(&holed, at), None, "{at:?}");
        }
        for at in [[0.0, 0.4], [0.5, 0.0], [0.0, 0.2], [1.0, 0.7]] {
            assert!(height_at(&holed, at).is_some(), "{at:?}");
        }
        assert_eq!(height_at(&floor, [2.01, 0.5]), None);
        assert_eq!(height_at(&floor, [0.5, -0.01]), None);
    }

    #[test]
    fn every_kind_gives_a_plane_back() {
        let plane = |x: f64, y: f64| 0.003 * x - 0.007 * y;
        let off_the_grid = grid().enumerate().map(|(i, [x, y])| {
            let off = ((i * 7919) % 11) as f64 * 0.015;
            [x + off, y + off]
        });
        let scattered = surface(off_the_grid, plane);
        assert_eq!(scattered.kind, Kind::Triangulated);
        for floor in [surface(grid(), plane), scattered] {
            for [x, y] in [[0.61, 0.3], [0.7, 0.81], [1.3, 0.77]] {
                let [z, u] = height_at(&floor, [x, y]).unwrap();
                assert!((z - plane(x, y)).abs() < 1e-12, "{:?}", floor.kind);
                assert!((0.001 / 1.01..0.002).contains(&u), "{u}");
            }
        }
    }

    #[test]
    fn a_cell_is_a_flat_square() {
        let mut floor = surface(grid(), |x, _| 0.01 * x);
        floor.kind = Kind::Cells;
        assert_eq!(height_at(&floor, [0.74, 0.0]), Some([0.005, 0.002]));
        assert_eq!(height_at(&floor, [0.76, 0.0]), Some([0.01, 0.002]));
        floor.field.z[1] = f64::NAN;
        assert_eq!(height_at(&floor, [0.74, 0.0]), None);
    }
}

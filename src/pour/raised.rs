//! Depths of compound given on a lattice, and between its nodes.
//!
//! In: depths at the nodes of the floor's own lattice. Out: the depth anywhere on the floor.
//! Between four nodes the depth is that of four triangles about their middle, at the mean of the four: the surface of
//! readings on a grid (definition 1 of the README), so that floor plus depth is such a surface again.
//! Beyond the outermost nodes, where an outline or a triangle goes a little farther, depths go on from the nearest nodes.

use crate::surface::HeightField;

/// How many nodes beyond the measured ones depths go on.
const BEYOND: usize = 2;

/// Depths on a lattice, less what they were lowered by.
#[derive(Debug, Clone, PartialEq)]
pub struct Raised {
    rise: HeightField,
    lowered: f64,
}

impl Raised {
    pub(super) fn new(mut rise: HeightField) -> Self {
        for _ in 0..BEYOND {
            go_on(&mut rise);
        }
        Self { rise, lowered: 0.0 }
    }

    pub(super) fn lowered(&self, by: f64) -> Self {
        Self {
            rise: self.rise.clone(),
            lowered: self.lowered + by,
        }
    }

    /// Depth over a local plan position, m; NaN far from anything measured.
    pub(super) fn depth(&self, [x, y]: [f64; 2]) -> f64 {
        let rise = &self.rise;
        let along = |at: f64, count: usize| {
            let at = at.clamp(0.0, count.saturating_sub(1) as f64);
            let low = (at.floor() as usize).min(count.saturating_sub(2));
            (low, at - low as f64)
        };
        let (ix, s) = along((x - rise.x0) / rise.dx, rise.nx);
        let (iy, t) = along((y - rise.y0) / rise.dy, rise.ny);
        let node = |ix: usize, iy: usize| {
            let (ix, iy) = (ix.min(rise.nx - 1), iy.min(rise.ny - 1));
            rise.z.get(iy * rise.nx + ix).copied().unwrap_or(f64::NAN)
        };
        let corners = [
            node(ix, iy),
            node(ix + 1, iy),
            node(ix, iy + 1),
            node(ix + 1, iy + 1),
        ];
        between(corners, [s, t]) - self.lowered
    }
}

/// Value at (s, t) of a unit square of four triangles about its middle; corners 00, 10, 01, 11. Exactly a corner's value at a
/// corner; where a corner is missing, the mean of the others weighed by how near they are.
fn between(corners: [f64; 4], [s, t]: [f64; 2]) -> f64 {
    let weights = [(1.0 - s) * (1.0 - t), s * (1.0 - t), (1.0 - s) * t, s * t];
    let present = || corners.iter().zip(weights).filter(|(z, _)| z.is_finite());
    if present().count() < corners.len() {
        let weight: f64 = present().map(|(_, weight)| weight).sum();
        return present().map(|(z, weight)| z * weight).sum::<f64>() / weight;
    }
    let [p, q, r, u] = corners;
    let middle = 0.25 * (p + q + r + u);
    // From an edge inwards: along the edge between its two ends, and twice the way to the edge of the middle's.
    let from = |a: f64, b: f64, along: f64, inwards: f64| {
        a * (1.0 - along - inwards) + b * (along - inwards) + 2.0 * inwards * middle
    };
    let nearest = s.min(t).min(1.0 - s).min(1.0 - t);
    if nearest == t {
        from(p, q, s, t)
    } else if nearest == s {
        from(p, r, t, s)
    } else if nearest == 1.0 - t {
        from(r, u, s, 1.0 - t)
    } else {
        from(q, u, t, 1.0 - s)
    }
}

/// Gives every unmeasured node beside measured ones their mean.
fn go_on(field: &mut HeightField) {
    let (nx, ny) = (field.nx, field.ny);
    let beside = |node: usize| {
        let (ix, iy) = (node % nx, node / nx);
        let columns = ix.saturating_sub(1)..(ix + 2).min(nx);
        let rows = iy.saturating_sub(1)..(iy + 2).min(ny);
        let around = rows.flat_map(|iy| columns.clone().map(move |ix| iy * nx + ix));
        let (sum, count) = around
            .map(|node| field.z[node])
            .filter(|z| z.is_finite())
            .fold((0.0, 0), |(sum, count), z| (sum + z, count + 1));
        (count > 0).then(|| sum / f64::from(count))
    };
    let more: Vec<(usize, f64)> = (0..field.z.len())
        .filter(|&node| !field.z[node].is_finite())
        .filter_map(|node| Some((node, beside(node)?)))
        .collect();
    for (node, z) in more {
        field.z[node] = z;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_nodes_it_is_the_grid_method() {
        let corners = [1.0, 2.0, 4.0, 9.0];
        assert_eq!(between(corners, [0.0, 0.0]), 1.0);
        assert_eq!(between(corners, [1.0, 0.0]), 2.0);
        assert_eq!(between(corners, [0.0, 1.0]), 4.0);
        assert_eq!(between(corners, [1.0, 1.0]), 9.0);
        assert_eq!(between(corners, [0.5, 0.5]), 4.0);
        assert_eq!(between(corners, [0.5, 0.0]), 1.5);
        // Half-way from the middle (4) to the middle of the right side (5.5).
        assert_eq!(between(corners, [0.75, 0.5]), 4.75);
        // A missing corner: the others by nearness.
        assert_eq!(between([f64::NAN, 2.0, 2.0, 2.0], [0.2, 0.3]), 2.0);
    }

    #[test]
    fn depths_go_on_a_little() {
        let mut rise = HeightField::unmeasured([0.0; 2], [0.5; 2], [6, 1]);
        rise.z[0] = 0.01;
        let raised = Raised::new(rise);
        assert_eq!(raised.depth([0.9, 0.0]), 0.01);
        assert!(raised.depth([2.5, 0.0]).is_nan());
        assert_eq!(raised.lowered(0.004).depth([0.0, 0.0]), 0.006);
    }
}

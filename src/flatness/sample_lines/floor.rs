//! Where lines may lie on a floor, and the heights along them.
//!
//! In: a surface, and where a line would be read. Out: the pieces of it that are clear of the edges and measured throughout.

use geo::{Distance, Euclidean, Point};

use super::{Bundle, EDGE_STRIP, FEWEST, SLACK, SampleLine, along};
use crate::surface::readings::enclosed;
use crate::surface::{HeightField, Outline, Surface};

/// Where lines may lie.
pub struct Floor<'a> {
    field: &'a HeightField,
    outline: Option<&'a Outline>,
    /// Without an outline, for every node whether it lies outside the floor: not measured, nor enclosed by what is.
    outside: Vec<bool>,
}

impl<'a> Floor<'a> {
    /// The floor of a surface on the plan.
    pub fn new(surface: &'a Surface) -> Self {
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
    pub fn runs(&self, start: [f64; 2], bundle: &Bundle) -> Vec<SampleLine> {
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

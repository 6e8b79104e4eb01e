//! What a floor does between its readings, as far as the readings tell.
//!
//! In: a surface of readings, the share of the filled area that hangs on each. Out: the standard uncertainty of the fill.
//!
//! Each reading is left out in turn, and its height worked out from its neighbours by the surface's own model: in a grid the
//! mean of the four about it (they are the corners of a cell set on its tip), at an edge the mean of the two along it; of
//! scattered readings the triangles that its neighbours are joined to without it. What is left over, r, is bumps that
//! a reading meets or misses. For bumps shorter than the spacing, of which readings are independent samples,
//! r² / (1 + Σ c²) estimates their mean square, c the shares of the neighbours, and the fill misses
//! u² = Σ A_i² (r_i² / (1 + Σ c²) - u_i²), A_i the reading's share of the filled area; u_i is off because the heights'
//! own uncertainty is told of apart. (Estimates of this form, from differences of neighbours, are usual for samples at
//! a fixed pitch: Wolter, J. Am. Stat. Assoc. 79, 781, 1984; from memory.)
//!
//! It is an order of magnitude. Where the floor bends gently from reading to reading it is too large: the errors of
//! neighbouring places then cancel. It is blind to a hollow or hump that no reading met. A reading without neighbours
//! on two sides takes the mean of the others.

use rayon::prelude::*;
use spade::{DelaunayTriangulation, FloatTriangulation, HasPosition, Point2, Triangulation};

use super::Knots;
use crate::surface::{HeightField, Kind, Pin, Surface};

/// Neighbours farther off than this many times the surface's usual spacing are none: as for its triangles.
const FARTHEST: f64 = 2.5;

/// Mean square of what a floor does about one reading, m²: what is left over when it is left out, without its
/// neighbours' part; None where they do not lie about it.
type Left = Option<f64>;

/// Standard uncertainty of the fill from what lies between the readings, m³; None where no reading has neighbours about
/// it. `shares`: of the filled area on each height, m².
pub(super) fn sampling(surface: &Surface, knots: &Knots, shares: &[f64]) -> Option<f64> {
    let left = match surface.kind {
        Kind::Triangulated => scattered(&surface.pins, FARTHEST * surface.spacing),
        Kind::Grid | Kind::Cells | Kind::Lines => on_grid(&surface.field),
    };
    let known: Vec<f64> = left.iter().copied().flatten().collect();
    if known.is_empty() {
        return None;
    }
    let usual = known.iter().sum::<f64>() / known.len() as f64;
    let of_bumps =
        |((left, u), share): ((&Left, &f64), &f64)| share * share * (left.unwrap_or(usual) - u * u);
    let squares = left.iter().zip(&knots.u).zip(shares).map(of_bumps);
    Some(squares.sum::<f64>().max(0.0).sqrt())
}

/// For each node of a grid.
fn on_grid(field: &HeightField) -> Vec<Left> {
    let (nx, ny) = (field.nx, field.ny);
    let node = |at: usize| {
        let (ix, iy) = (at % nx, at / nx);
        let along = (ix > 0 && ix + 1 < nx).then(|| [at - 1, at + 1]);
        let up = (iy > 0 && iy + 1 < ny).then(|| [at - nx, at + nx]);
        let pairs = [along, up].into_iter().flatten();
        let means: Vec<f64> = pairs
            .map(|[a, b]| (field.z[a] + field.z[b]) / 2.0)
            .filter(|mean| mean.is_finite())
            .collect();
        let count = means.len() as f64;
        let r = field.z[at] - means.iter().sum::<f64>() / count;
        // Two neighbours to a mean: Σ c² = 1 / (2 count).
        r.is_finite().then(|| r * r / (1.0 + 0.5 / count))
    };
    (0..field.z.len()).map(node).collect()
}

/// A reading as spade takes it.
struct Vertex {
    at: Point2<f64>,
    reading: usize,
}

impl Vertex {
    fn new(pins: &[Pin], reading: usize) -> Self {
        let [x, y, _] = pins[reading].position;
        Self {
            at: Point2::new(x, y),
            reading,
        }
    }
}

impl HasPosition for Vertex {
    type Scalar = f64;

    fn position(&self) -> Point2<f64> {
        self.at
    }
}

/// For each of scattered readings.
fn scattered(pins: &[Pin], farthest: f64) -> Vec<Left> {
    let vertices = (0..pins.len()).map(|reading| Vertex::new(pins, reading));
    let Ok(joined) = DelaunayTriangulation::<Vertex>::bulk_load(vertices.collect()) else {
        return vec![None; pins.len()];
    };
    let mut neighbours = vec![Vec::new(); pins.len()];
    for edge in joined.directed_edges() {
        if edge.length_2() <= farthest * farthest {
            let [from, to] = edge.vertices().map(|vertex| vertex.data().reading);
            neighbours[from].push(to);
        }
    }
    neighbours
        .par_iter()
        .enumerate()
        .map(|(reading, neighbours)| left_out(pins, reading, neighbours))
        .collect()
}

fn left_out(pins: &[Pin], reading: usize, neighbours: &[usize]) -> Left {
    let around = neighbours.iter().map(|&reading| Vertex::new(pins, reading));
    let joined = DelaunayTriangulation::<Vertex>::bulk_load(around.collect()).ok()?;
    let mut corners = Vec::new();
    let place = Vertex::new(pins, reading).at;
    joined.barycentric().get_weights(place, &mut corners);
    let (mut height, mut squares) = (0.0, 0.0);
    for &(corner, share) in &corners {
        height += share * pins[joined.vertex(corner).data().reading].position[2];
        squares += share * share;
    }
    let r = pins[reading].position[2] - height;
    (!corners.is_empty()).then(|| r * r / (1.0 + squares))
}

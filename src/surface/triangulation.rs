//! Scattered readings joined to triangles.
//!
//! In: marks on the plan. Out: their Delaunay triangulation (spade) without the triangles that have an edge longer than
//! [`LONGEST`] times the usual one, so that an L-shaped room is not bridged across its corner; and a lattice of heights
//! sampled from the triangles, that straightedges are laid on.
//! A node's height is the weighted mean of its triangle's corners, z = w1 z1 + w2 z2 + w3 z3 (barycentric), and, the
//! readings being independent, u^2 = (w1 u1)^2 + (w2 u2)^2 + (w3 u3)^2. It is the uncertainty of the triangle's plane
//! there: what the floor does between the readings is not known, which is what the "too sparse" verdict is for.

use spade::{DelaunayTriangulation, HasPosition, Point2, Triangulation};

use super::marks::Mark;
use super::readings::{Floor, enclosed, median};
use super::{HeightField, Kind, Triangle, plan_area};
use crate::error::{Error, Result, Warning};
use crate::units::System;

/// An edge longer than this many times the median edge joins no neighbours. On a square grid the edges are 1, 1 and 1.4;
/// at 2.5 a lost reading is bridged, two in a row are not.
const LONGEST: f64 = 2.5;
/// A triangle thinner than this is rounding, m: three readings along a slanting wall.
const THINNEST: f64 = 1e-6;
/// Lattice nodes to the usual distance of readings.
const NODES_PER_SPACING: f64 = 8.0;
/// The lattice has at most this many nodes; a large survey gets a coarser one.
const MOST_NODES: f64 = 1e6;
/// A node this far outside a triangle, in shares of its height, still belongs to it: on the edge, to rounding.
const ON_THE_EDGE: f64 = 1e-9;
/// The readings are called uneven when the longest tenth of the edges is more than this many times the shortest tenth.
const UNEVEN: f64 = 3.0;

/// A mark as spade takes it.
struct Vertex {
    at: Point2<f64>,
    mark: usize,
}

impl HasPosition for Vertex {
    type Scalar = f64;

    fn position(&self) -> Point2<f64> {
        self.at
    }
}

/// The triangles kept, and the plan area of the holes inside them.
struct Mesh {
    /// Marks at the corners, counter-clockwise.
    corners: Vec<[usize; 3]>,
    /// m²
    holes: f64,
}

/// The floor of scattered marks.
///
/// # Errors
/// [`Error::Floor`] where no three marks are near enough to each other.
pub(super) fn floor(marks: &[Mark]) -> Result<Floor> {
    let mesh = mesh(marks, LONGEST)?;
    let corner = |mark: usize| [marks[mark].x, marks[mark].y, marks[mark].z];
    let triangles: Vec<Triangle> = mesh.corners.iter().map(|t| t.map(corner)).collect();
    let mut edges: Vec<f64> = triangles.iter().flat_map(edges).collect();
    let usual = median(&edges).ok_or_else(|| {
        Error::floor(
            format!("{} readings, no three of them near each other", marks.len()),
            "readings spread evenly over the floor",
        )
    })?;
    let mut field = lattice(&triangles, usual);
    for (triangle, corners) in triangles.iter().zip(&mesh.corners) {
        sample(&mut field, triangle, corners.map(|mark| marks[mark].u));
    }
    let mut joined = vec![false; marks.len()];
    for &mark in mesh.corners.iter().flatten() {
        joined[mark] = true;
    }
    Ok(Floor {
        kind: Kind::Triangulated,
        spacing: usual.max(field.spacing()),
        field,
        triangles,
        holes: mesh.holes,
        joined,
        warnings: unevenness(&mut edges).into_iter().collect(),
    })
}

/// Joins the marks, leaving out triangles with an edge over `longest` times the median edge.
fn mesh(marks: &[Mark], longest: f64) -> Result<Mesh> {
    let vertices = marks.iter().enumerate().map(|(mark, at)| Vertex {
        at: Point2::new(at.x, at.y),
        mark,
    });
    let joined: DelaunayTriangulation<Vertex> = Triangulation::bulk_load(vertices.collect())
        .map_err(|error| {
            let found = format!("positions that cannot be joined ({error})");
            Error::floor(found, "positions within the reach of a survey")
        })?;
    let lengths: Vec<f64> = joined
        .undirected_edges()
        .map(|edge| edge.length_2().sqrt())
        .collect();
    let limit = longest * median(&lengths).unwrap_or(0.0);
    let faces: Vec<_> = joined.inner_faces().collect();
    let dropped: Vec<bool> = faces
        .iter()
        .map(|face| {
            let edges = face.adjacent_edges().map(|edge| edge.length_2().sqrt());
            let longest = edges.into_iter().fold(0.0, f64::max);
            longest > limit || 2.0 * face.area() < THINNEST * longest
        })
        .collect();
    // spade counts its faces from the outer one, which is face 0.
    let neighbours = |face: usize| {
        let beyond = faces[face]
            .adjacent_edges()
            .map(|edge| edge.rev().face().index());
        beyond.map(|face| face.checked_sub(1)).to_vec()
    };
    let holes = enclosed(&dropped, neighbours);
    let kept = faces.iter().zip(&dropped).filter(|(_, dropped)| !**dropped);
    Ok(Mesh {
        corners: kept
            .map(|(face, _)| face.vertices().map(|v| v.data().mark))
            .collect(),
        holes: holes.iter().map(|&face| faces[face].area()).sum(),
    })
}

fn edges([a, b, c]: &Triangle) -> [f64; 3] {
    [(a, b), (b, c), (c, a)].map(|(p, q)| (p[0] - q[0]).hypot(p[1] - q[1]))
}

/// An unmeasured lattice over the extent of `triangles`, whose outermost nodes lie on the edges of that extent.
fn lattice(triangles: &[Triangle], usual: f64) -> HeightField {
    let (mut least, mut most) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for corner in triangles.iter().flatten() {
        for axis in 0..2 {
            least[axis] = least[axis].min(corner[axis]);
            most[axis] = most[axis].max(corner[axis]);
        }
    }
    let size = [most[0] - least[0], most[1] - least[1]];
    let steps = |step: f64| size.map(|size| (size / step).ceil().max(1.0));
    let mut step = usual / NODES_PER_SPACING;
    while steps(step).map(|steps| steps + 1.0).iter().product::<f64>() > MOST_NODES {
        step *= 1.1;
    }
    let steps = steps(step);
    HeightField::unmeasured(
        least,
        [size[0] / steps[0], size[1] / steps[1]],
        steps.map(|steps| steps as usize + 1),
    )
}

/// Writes the heights of `triangle` to the nodes of `field` on it. `u` are its corners' uncertainties.
pub(super) fn sample(field: &mut HeightField, triangle: &Triangle, u: [f64; 3]) {
    let twice = 2.0 * plan_area(triangle);
    let [a, b, c] = triangle;
    let reach = |axis: usize, start: f64, step: f64, count: usize| {
        let along = triangle.map(|corner| (corner[axis] - start) / step);
        let least = along.iter().copied().fold(f64::INFINITY, f64::min);
        let most = along.iter().copied().fold(0.0, f64::max);
        let first = (least - ON_THE_EDGE).ceil().max(0.0) as usize;
        first..(((most + ON_THE_EDGE) as usize) + 1).min(count)
    };
    let columns = reach(0, field.x0, field.dx, field.nx);
    for iy in reach(1, field.y0, field.dy, field.ny) {
        for ix in columns.clone() {
            let node = iy * field.nx + ix;
            let p = field.position(node);
            let weight = |q: &[f64; 3], r: &[f64; 3]| {
                ((q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1])) / twice
            };
            let w = [weight(b, c), weight(c, a), weight(a, b)];
            if w.iter().all(|&w| w >= -ON_THE_EDGE) {
                field.z[node] = w[0] * a[2] + w[1] * b[2] + w[2] * c[2];
                field.u[node] = (w[0] * u[0]).hypot((w[1] * u[1]).hypot(w[2] * u[2]));
            }
        }
    }
}

/// What the user should know about edges of very different lengths.
fn unevenness(edges: &mut [f64]) -> Option<Warning> {
    edges.sort_by(f64::total_cmp);
    let (short, long) = (
        edges.get(edges.len() / 10)?,
        edges.get(edges.len() * 9 / 10)?,
    );
    (*long > UNEVEN * short).then(|| {
        let show = System::Metric;
        Warning(format!(
            "the readings are unevenly spaced, mostly between {} and {} apart: where they are far apart, bumps between \
             them are not seen",
            show.plan(*short),
            show.plan(*long),
        ))
    })
}

#[cfg(test)]
mod tests {
    use geo::{Area, ConvexHull, MultiPoint, Point};
    use proptest::prelude::*;

    use super::*;

    /// Marks on the plane z = 0.1 + 0.02 x - 0.01 y.
    fn marks(at: impl IntoIterator<Item = [f64; 2]>) -> Vec<Mark> {
        at.into_iter()
            .enumerate()
            .map(|(first, [x, y])| Mark {
                x,
                y,
                z: 0.1 + 0.02 * x - 0.01 * y,
                u: 1e-3,
                first,
                count: 1,
            })
            .collect()
    }

    /// Every half metre over 6 m by 5 m, and up to 0.1 m off in an order without pattern.
    fn scattered() -> impl Iterator<Item = [f64; 2]> {
        (0..13 * 11).map(|i: usize| {
            let off = |k: usize| ((i * k) % 201) as f64 / 1000.0 - 0.1;
            [
                (i % 13) as f64 * 0.5 + off(7919),
                (i / 13) as f64 * 0.5 + off(104_729),
            ]
        })
    }

    fn area(floor: &Floor) -> f64 {
        floor.triangles.iter().map(plan_area).sum()
    }

    #[test]
    fn an_l_is_not_bridged_across_its_corner() {
        let l = scattered().filter(|[x, y]| *x < 2.2 || *y < 2.2);
        let floor = floor(&marks(l)).unwrap();
        // The L of readings measures 6 * 2 + 2 * 3 = 18 m²; across the corner it would be 18 + 4 * 3 / 2 = 24 m².
        assert!((17.0..19.0).contains(&area(&floor)), "{}", area(&floor));
        assert!((0.45..0.6).contains(&floor.spacing), "{}", floor.spacing);
        assert_eq!(floor.holes, 0.0);
    }

    #[test]
    fn a_hole_is_counted_and_a_lone_reading_left_out() {
        let column = |[x, y]: &[f64; 2]| (2.2..3.8).contains(x) && (1.2..3.3).contains(y);
        let around = scattered().filter(|at| !column(at)).chain([[12.0, 2.0]]);
        let floor = floor(&marks(around)).unwrap();
        let joined = floor.joined.iter().filter(|joined| **joined).count();
        assert_eq!(joined, floor.joined.len() - 1);
        // Readings every half metre about a 1.6 m by 2.1 m column leave about 2 m by 2.5 m without its corners.
        assert!((2.5..5.5).contains(&floor.holes), "{}", floor.holes);
    }

    #[test]
    fn the_lattice_is_the_plane_up_to_its_edges() {
        let square = [[0.0, 0.0], [1.1, 0.0], [1.1, 0.9], [0.0, 0.9], [0.4, 0.5]];
        let floor = floor(&marks(square)).unwrap();
        assert!((area(&floor) - 0.99).abs() < 1e-12);
        let field = &floor.field;
        assert_eq!(field.measured().count(), field.nx * field.ny);
        for (node, [x, y, z]) in field.measured() {
            assert!((z - (0.1 + 0.02 * x - 0.01 * y)).abs() < 1e-12);
            // Between 1/sqrt(3) of u, amid three readings, and u, at one.
            let u = field.u[node];
            assert!((0.577e-3..1.001e-3).contains(&u), "{u}");
        }
        assert!((field.u[0] - 1e-3).abs() < 1e-12);
    }

    #[test]
    fn rows_along_a_slanting_wall_make_no_slivers() {
        let (sin, cos) = 0.3f64.sin_cos();
        let rows =
            (0..30).flat_map(|i| (0..20).map(move |j| [f64::from(i) * 0.1, f64::from(j) * 0.1]));
        let turned = rows.map(|[x, y]| [3.0 + x * cos - y * sin, x * sin + y * cos]);
        let floor = floor(&marks(turned)).unwrap();
        assert!((area(&floor) - 2.9 * 1.9).abs() < 1e-9);
        assert_eq!(floor.triangles.len(), 2 * 29 * 19);
        for (_, [x, y, z]) in floor.field.measured() {
            assert!((z - (0.1 + 0.02 * x - 0.01 * y)).abs() < 1e-9);
        }
    }

    #[test]
    fn a_wide_survey_keeps_the_lattice_in_bounds() {
        let wide = (0..300).map(|i| [f64::from(i % 2) * 0.002, f64::from(i) * 0.002]);
        let far = floor(&marks(wide.chain([
            [900.0, 0.0],
            [900.0, 0.001],
            [900.001, 0.0],
        ])))
        .unwrap();
        assert!(far.field.nx * far.field.ny <= 1_000_000);
        assert!(far.spacing >= far.field.spacing());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        /// With no edge dropped the triangles tile the convex hull (geo's is the other opinion).
        #[test]
        fn triangles_tile_the_hull(
            at in prop::collection::vec(prop::array::uniform2(0.0..20.0f64), 3..60),
        ) {
            let hull = MultiPoint::from_iter(at.iter().map(|&[x, y]| Point::new(x, y))).convex_hull();
            let marks = marks(at);
            let mesh = mesh(&marks, f64::INFINITY).unwrap();
            let corner = |mark: usize| [marks[mark].x, marks[mark].y, 0.0];
            let area: f64 = mesh.corners.iter().map(|t| plan_area(&t.map(corner))).sum();
            // Slivers thinner than a micrometre may go, 20 m of them at a time.
            prop_assert!((area - hull.unsigned_area()).abs() < 1e-4);
            prop_assert_eq!(mesh.holes, 0.0);
        }
    }
}

//! Faces cut to the outline of the room.
//!
//! In: triangles, and the outline. Out: the triangles inside; those that cross it cut along it, each piece on the plane
//! of its triangle.
//! How: the outline is cut into triangles once (ear clipping), and a triangle cut by a triangle is convex: half-plane
//! after half-plane (Sutherland and Hodgman 1974, Reentrant polygon clipping, CACM 17; from memory), then a fan. No
//! coordinate is snapped, so areas agree to rounding.

use geo::{Coord, Intersects, LinesIter, TriangulateEarcut};

use super::{Outline, Triangle, plan_area};

/// A triangle that reaches over the outline by less than this share of its size is inside.
const TOUCHING: f64 = 1e-9;
/// Smaller pieces are dropped, m²: a square micrometre.
const CRUMB: f64 = 1e-12;

/// The parts of `triangles` inside `outline`.
pub(super) fn clip(triangles: &[Triangle], outline: &Outline) -> Vec<Triangle> {
    let sides: Vec<geo::Line> = outline.polygon.lines_iter().collect();
    let room: Vec<geo::Triangle> = outline.polygon.earcut_triangles();
    let mut inside = Vec::new();
    for triangle in triangles {
        if crosses(triangle, &sides) {
            inside.extend(room.iter().flat_map(|part| cut(triangle, part)));
        } else if outline.polygon.intersects(&centre(triangle)) {
            inside.push(*triangle);
        }
    }
    inside
}

fn centre([a, b, c]: &Triangle) -> Coord<f64> {
    Coord {
        x: (a[0] + b[0] + c[0]) / 3.0,
        y: (a[1] + b[1] + c[1]) / 3.0,
    }
}

/// Whether a side of the outline enters the triangle, rather than touches it.
fn crosses(triangle: &Triangle, sides: &[geo::Line]) -> bool {
    let centre = centre(triangle);
    let shrunk = triangle.map(|[x, y, _]| Coord {
        x: x + (centre.x - x) * TOUCHING,
        y: y + (centre.y - y) * TOUCHING,
    });
    let shrunk = geo::Triangle::from(shrunk);
    let extent = geo::BoundingRect::bounding_rect(&shrunk);
    sides
        .iter()
        .any(|side| extent.intersects(side) && shrunk.intersects(side))
}

/// The part of `triangle` inside `part`, as triangles.
fn cut(triangle: &Triangle, part: &geo::Triangle) -> Vec<Triangle> {
    let mut corners = triangle.to_vec();
    // Counter-clockwise, so that the inside is to the left of every side.
    let [a, b, c] = part.to_array();
    let clockwise = (b.x - a.x) * (c.y - a.y) < (c.x - a.x) * (b.y - a.y);
    let sides = if clockwise {
        [(a, c), (c, b), (b, a)]
    } else {
        [(a, b), (b, c), (c, a)]
    };
    for (from, to) in sides {
        corners = left_of(&corners, from, to);
    }
    let Some((&first, rest)) = corners.split_first() else {
        return Vec::new();
    };
    rest.windows(2)
        .filter_map(|pair| <[_; 2]>::try_from(pair).ok())
        .map(|[second, third]| [first, second, third])
        .filter(|piece| plan_area(piece) > CRUMB)
        .collect()
}

/// The part of a convex polygon to the left of the line through `from` and `to`.
fn left_of(corners: &[[f64; 3]], from: Coord<f64>, to: Coord<f64>) -> Vec<[f64; 3]> {
    let left =
        |[x, y, _]: [f64; 3]| (to.x - from.x) * (y - from.y) - (to.y - from.y) * (x - from.x);
    let mut kept = Vec::with_capacity(corners.len() + 1);
    for (&here, &next) in corners.iter().zip(corners.iter().cycle().skip(1)) {
        let (a, b) = (left(here), left(next));
        if a >= 0.0 {
            kept.push(here);
        }
        if (a < 0.0) != (b < 0.0) {
            let w = a / (a - b);
            kept.push([0, 1, 2].map(|axis| here[axis] + w * (next[axis] - here[axis])));
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use geo::{Area, Polygon};
    use proptest::prelude::*;

    use super::*;

    fn volume(triangles: &[Triangle]) -> f64 {
        triangles
            .iter()
            .map(|t| plan_area(t) * (t[0][2] + t[1][2] + t[2][2]) / 3.0)
            .sum()
    }

    fn area(triangles: &[Triangle]) -> f64 {
        triangles.iter().map(plan_area).sum()
    }

    /// A plane z = 1 + 0.1 x - 0.2 y over [-5, 5]², as two triangles.
    fn plane() -> [Triangle; 2] {
        let corner = |x: f64, y: f64| [x, y, 1.0 + 0.1 * x - 0.2 * y];
        let (a, b, c, d) = (
            corner(-5., -5.),
            corner(5., -5.),
            corner(5., 5.),
            corner(-5., 5.),
        );
        [[a, b, c], [a, c, d]]
    }

    #[test]
    fn a_room_with_a_column_is_cut_exactly() {
        let square = |x: f64, y: f64, size: f64| {
            vec![(x, y), (x + size, y), (x + size, y + size), (x, y + size)].into()
        };
        let outline = Outline {
            polygon: Polygon::new(square(-1.0, -2.0, 4.0), vec![square(0.1, 0.2, 0.5)]),
        };
        let pieces = clip(&plane(), &outline);
        // Over a centrally symmetric area the mean of a plane is its height at the centre: at (1, 0) of the room 1.1, at
        // (0.35, 0.45) of the column 0.945.
        assert!((area(&pieces) - (16.0 - 0.25)).abs() < 1e-12);
        assert!((volume(&pieces) - (16.0 * 1.1 - 0.25 * 0.945)).abs() < 1e-12);
    }

    #[test]
    fn what_touches_the_wall_stays_whole_and_what_is_outside_goes() {
        // The corner amid a wall keeps the room's own triangles from being the faces.
        let wall = vec![(-5., -5.), (0., -5.), (5., -5.), (5., 5.), (-5., 5.)];
        let outline = Outline {
            polygon: Polygon::new(wall.into(), Vec::new()),
        };
        assert_eq!(clip(&plane(), &outline), plane());
        assert!(clip(&plane(), &outline.shifted([20.0, 0.0, 0.0])).is_empty());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        /// A star-shaped room with a star-shaped column inside a measured square: what is left is the room, to rounding.
        #[test]
        fn the_pieces_add_up_to_the_room(
            wall in prop::collection::vec(2.0..4.9f64, 5..40),
            column in prop::collection::vec(0.1..0.9f64, 5..12),
        ) {
            let star = |radii: &[f64]| -> geo::LineString {
                radii.iter().enumerate().map(|(i, r)| {
                    let (sin, cos) = (std::f64::consts::TAU * i as f64 / radii.len() as f64).sin_cos();
                    (r * cos, r * sin)
                }).collect()
            };
            let outline = Outline { polygon: Polygon::new(star(&wall), vec![star(&column)]) };
            let pieces = clip(&plane(), &outline);
            prop_assert!((area(&pieces) - outline.polygon.unsigned_area()).abs() < 1e-9);
        }
    }
}

//! How much compound goes in, and how much floor comes off.
//!
//! In: a [`Surface`] and a [`Target`]. Out: [`Volumes`]. Depth is target minus floor.
//! A triangle's depth is linear, so it is cut along its zero line and each side integrated in closed form (a linear
//! function over a triangle is its area times the mean of the corners: handbook). A cell of a scan is a flat square.
//! Both are exact for the surface as defined (definitions 1 and 6 of the README). Only a raised lattice over scattered
//! readings is not linear on their triangles: these are halved until they are as small as the lattice's pitch.
//! Sums are taken in chunks of fixed size and in order, so that the result is the same on any number of cores.

use rayon::prelude::*;

use super::target::Target;
use super::thin::Thin;
use crate::surface::{Kind, Surface, Triangle};

/// Triangles or cells in one partial sum.
const CHUNK: usize = 4096;

/// Fill and grind between a floor and its target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Volumes {
    /// Compound, m³.
    pub fill: f64,
    /// Floor above the target, m³: ground off, or left proud.
    pub grind: f64,
    /// Plan area under compound, m².
    pub filled_area: f64,
    /// Plan area above the target, m².
    pub ground_area: f64,
    /// Mean depth of compound where there is any, m; 0 where there is none at all.
    pub mean_depth: f64,
    /// Least depth of compound where there is any, m: 0 where it runs out to a feather edge.
    pub min_depth: f64,
    /// Greatest depth of compound, m.
    pub max_depth: f64,
}

impl Volumes {
    /// Compound of one depth (m) over an area (m²), with no survey.
    pub fn even(area: f64, depth: f64) -> Self {
        Self {
            fill: area * depth,
            grind: 0.0,
            filled_area: area,
            ground_area: 0.0,
            mean_depth: depth,
            min_depth: depth,
            max_depth: depth,
        }
    }

    /// The same, with floor taken down where it would be too thin.
    pub(super) fn with(self, thin: Thin) -> Self {
        let fill = self.fill + thin.volume;
        Self {
            fill,
            grind: self.grind + thin.volume,
            ground_area: self.ground_area + thin.area,
            mean_depth: fill / self.filled_area,
            min_depth: self.min_depth.max(thin.depth),
            ..self
        }
    }
}

/// One side of the zero line of a piece of floor.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Side {
    volume: f64,
    area: f64,
    min: f64,
    max: f64,
}

impl Side {
    const NOTHING: Self = Self {
        volume: 0.0,
        area: 0.0,
        min: f64::INFINITY,
        max: 0.0,
    };

    fn plus(self, other: Self) -> Self {
        Self {
            volume: self.volume + other.volume,
            area: self.area + other.area,
            min: self.min.min(other.min),
            max: self.max.max(other.max),
        }
    }
}

/// Fill and grind of a piece of floor.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Sides {
    fill: Side,
    grind: Side,
}

impl Sides {
    const NOTHING: Self = Self {
        fill: Side::NOTHING,
        grind: Side::NOTHING,
    };

    fn plus(self, other: Self) -> Self {
        Self {
            fill: self.fill.plus(other.fill),
            grind: self.grind.plus(other.grind),
        }
    }

    fn turned(self) -> Self {
        Self {
            fill: self.grind,
            grind: self.fill,
        }
    }
}

/// Volumes between the floor and `target`, exact for the surface as it is defined.
pub fn volume(surface: &Surface, target: &Target) -> Volumes {
    let field = &surface.field;
    let sides = if surface.triangles.is_empty() {
        let cell = field.dx * field.dy;
        in_chunks(&field.z, |index, &z| {
            let [x, y] = field.position(index);
            let depth = target.depth_over([x, y, z]);
            if z.is_finite() && depth.is_finite() {
                over_cell(cell, depth)
            } else {
                Sides::NOTHING
            }
        })
    } else {
        let longest = longest_side(surface, target);
        in_chunks(&surface.triangles, |_, triangle| {
            over_pieces(triangle, target, longest)
        })
    };
    let Sides { fill, grind } = sides;
    let filled = fill.area > 0.0;
    Volumes {
        fill: fill.volume,
        grind: grind.volume,
        filled_area: fill.area,
        ground_area: grind.area,
        mean_depth: if filled { fill.volume / fill.area } else { 0.0 },
        min_depth: if filled { fill.min } else { 0.0 },
        max_depth: fill.max,
    }
}

/// Sums pieces in an order that does not depend on the number of cores.
fn in_chunks<T: Sync>(pieces: &[T], sides: impl Fn(usize, &T) -> Sides + Sync) -> Sides {
    let sums: Vec<Sides> = pieces
        .par_chunks(CHUNK)
        .enumerate()
        .map(|(chunk, pieces)| {
            let pieces = pieces.iter().enumerate();
            pieces.fold(Sides::NOTHING, |sum, (at, piece)| {
                sum.plus(sides(chunk * CHUNK + at, piece))
            })
        })
        .collect();
    sums.into_iter().fold(Sides::NOTHING, Sides::plus)
}

/// How long the side of a triangle may be for depths to be straight along it, m: a raised lattice over scattered readings
/// bends from node to node.
fn longest_side(surface: &Surface, target: &Target) -> f64 {
    match (target, surface.kind) {
        (Target::Raised(_), Kind::Triangulated) => surface.field.spacing(),
        (Target::Raised(_), Kind::Grid | Kind::Cells | Kind::Lines)
        | (Target::Level { .. } | Target::Plane { .. }, _) => f64::INFINITY,
    }
}

/// A triangle of floor, halved across its longest side until none is longer than `longest` m.
fn over_pieces(triangle: &Triangle, target: &Target, longest: f64) -> Sides {
    let [a, b, c] = *triangle;
    let length = |p: [f64; 3], q: [f64; 3]| (p[0] - q[0]).hypot(p[1] - q[1]);
    let turns = [[a, b, c], [b, c, a], [c, a, b]];
    let widest = turns
        .into_iter()
        .max_by(|[p, q, _], [r, s, _]| length(*p, *q).total_cmp(&length(*r, *s)));
    match widest {
        Some([p, q, r]) if length(p, q) > longest => {
            let middle = [0, 1, 2].map(|axis| 0.5 * (p[axis] + q[axis]));
            let half = |corner| over_pieces(&[corner, middle, r], target, longest);
            half(p).plus(half(q))
        }
        Some(_) | None => over_triangle(
            plan_area(triangle),
            triangle.map(|corner| target.depth_over(corner)),
        ),
    }
}

/// Plan area of a triangle, m².
fn plan_area([[ax, ay, _], [bx, by, _], [cx, cy, _]]: &[[f64; 3]; 3]) -> f64 {
    0.5 * ((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)).abs()
}

/// A flat square of `area` at one depth.
fn over_cell(area: f64, depth: f64) -> Sides {
    if depth < 0.0 {
        return over_cell(area, -depth).turned();
    }
    Sides {
        fill: whole(area, [depth; 3]),
        grind: Side::NOTHING,
    }
}

/// A triangle of plan `area` whose depth is linear between its three corners.
///
/// Only products and sums of numbers of one sign, so small volumes keep their digits however near to zero the corners.
fn over_triangle(area: f64, mut depths: [f64; 3]) -> Sides {
    depths.sort_by(f64::total_cmp);
    let [low, middle, high] = depths;
    if low >= 0.0 {
        Sides {
            fill: whole(area, depths),
            grind: Side::NOTHING,
        }
    } else if high <= 0.0 || middle > 0.0 {
        over_triangle(area, depths.map(|depth| -depth)).turned()
    } else {
        cut(area, high, [middle, low])
    }
}

/// A triangle wholly on one side; nothing if it only touches the target.
fn whole(area: f64, depths: [f64; 3]) -> Side {
    let [p, q, r] = depths;
    let max = p.max(q).max(r);
    if max <= 0.0 || area <= 0.0 {
        return Side::NOTHING;
    }
    Side {
        volume: area * (p + q + r) / 3.0,
        area,
        min: p.min(q).min(r),
        max,
    }
}

/// A triangle with one corner at depth `tip` > 0 and the others at q, r <= 0 (not both 0), cut along its zero line.
///
/// The line leaves the tip a triangle, a share a of one edge and b of the other, with depths tip, 0, 0; and the base
/// a quadrilateral, which is the triangle q, r, cut on r (share 1 - b) and the triangle q, two cuts (share b (1 - a)).
fn cut(area: f64, tip: f64, [q, r]: [f64; 2]) -> Sides {
    let (a, b) = (tip / (tip - q), tip / (tip - r));
    let (not_a, not_b) = (-q / (tip - q), -r / (tip - r));
    Sides {
        fill: Side {
            volume: area * a * b * tip / 3.0,
            area: area * a * b,
            min: 0.0,
            max: tip,
        },
        grind: Side {
            volume: area * (not_b * (-q - r) + b * not_a * -q) / 3.0,
            area: area * (not_b + b * not_a),
            min: 0.0,
            max: -q.min(r),
        },
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::surface::{HeightField, Kind, Pin, PointsByFate, Shared};

    /// A floor of readings on a grid: each cell four triangles about its centre, at the mean of its corners.
    pub(crate) fn grid(
        [nx, ny]: [usize; 2],
        pitch: f64,
        height: impl Fn(f64, f64) -> f64,
    ) -> Surface {
        let mut field = HeightField::unmeasured([0.0; 2], [pitch; 2], [nx, ny]);
        for index in 0..nx * ny {
            let [x, y] = field.position(index);
            (field.z[index], field.u[index]) = (height(x, y), 1e-3);
        }
        let corner = |ix: usize, iy: usize| {
            let [x, y] = field.position(iy * nx + ix);
            [x, y, field.z[iy * nx + ix]]
        };
        let mut triangles = Vec::new();
        for (ix, iy) in (0..ny - 1).flat_map(|iy| (0..nx - 1).map(move |ix| (ix, iy))) {
            let ring = [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(i, j)| corner(ix + i, iy + j));
            let centre = [0, 1, 2].map(|axis| ring.iter().map(|c| c[axis]).sum::<f64>() / 4.0);
            triangles.extend((0..4).map(|k| [centre, ring[k], ring[(k + 1) % 4]]));
        }
        let pins = field.measured().map(|(index, position)| Pin {
            name: (index + 1).to_string(),
            position,
            u: 1e-3,
        });
        Surface {
            kind: Kind::Grid,
            origin: [0.0; 3],
            rows: Vec::new(),
            pins: pins.collect(),
            triangles,
            spacing: pitch,
            shared: Shared::default(),
            outline: None,
            area: ((nx - 1) * (ny - 1)) as f64 * pitch * pitch,
            unmeasured: 0.0,
            points: PointsByFate::default(),
            noise: None,
            warnings: Vec::new(),
            field,
        }
    }

    /// A wedge from depth -1 to 2 along x, over 3 m x 1 m: 1 m² ground to a mean of 0.5, 2 m² filled to a mean of 1.
    #[test]
    fn a_wedge_is_cut_along_its_zero_line() {
        let target = Target::Plane {
            height: -1.0,
            slope_x: 1.0,
            slope_y: 0.0,
        };
        for pitch in [1.0, 1.5] {
            let ny = if pitch == 1.0 { 2 } else { 3 };
            let floor = grid([(3.0 / pitch) as usize + 1, ny], pitch, |_, _| 0.0);
            let volumes = volume(&floor, &target);
            let width = pitch * (ny - 1) as f64;
            assert!((volumes.fill - 2.0 * width).abs() < 1e-14);
            assert!((volumes.grind - 0.5 * width).abs() < 1e-14);
            assert!((volumes.filled_area - 2.0 * width).abs() < 1e-14);
            assert!((volumes.ground_area - width).abs() < 1e-14);
            assert_eq!((volumes.min_depth, volumes.max_depth), (0.0, 2.0));
        }
    }

    /// Tip 1e-9 over a base of 1: the tip's share of the edges is t = 1e-9 / (1 + 1e-9), its volume A t² tip / 3.
    #[test]
    fn small_volumes_keep_their_digits() {
        let t = 1e-9 / (1.0 + 1e-9);
        let wanted = 0.5 * t * t * 1e-9 / 3.0;
        let up = over_triangle(0.5, [-1.0, 1e-9, -1.0]);
        let down = over_triangle(0.5, [1.0, 1.0, -1e-9]);
        assert!((up.fill.volume / wanted - 1.0).abs() < 1e-14);
        assert!((down.grind.volume / wanted - 1.0).abs() < 1e-14);
        let zero = over_triangle(0.5, [0.0; 3]);
        assert_eq!(zero, Sides::NOTHING);
        let ridge = over_triangle(0.5, [0.0, 0.0, 3.0]);
        assert_eq!((ridge.fill.area, ridge.fill.volume), (0.5, 0.5));
    }

    #[test]
    fn cells_of_a_scan_are_flat_squares() {
        let mut floor = grid([2, 2], 0.5, |x, y| 0.01 * x + 0.02 * y);
        floor.triangles.clear();
        floor.field.z[3] = f64::NAN;
        let volumes = volume(&floor, &Target::Level { datum: 0.006 });
        // Heights 0, 5, 10 mm: depths 6, 1 and -4 mm on 0.25 m² each.
        assert!((volumes.fill - 0.25 * 0.007).abs() < 1e-15);
        assert!((volumes.grind - 0.25 * 0.004).abs() < 1e-15);
        assert_eq!((volumes.filled_area, volumes.ground_area), (0.5, 0.25));
        assert!((volumes.min_depth - 0.001).abs() < 1e-15);
    }

    #[test]
    fn one_core_and_two_give_the_same_bits() {
        let floor = grid([120, 90], 0.1, |x, y| {
            0.01 * (3.0 * x).sin() * (2.0 * y).cos()
        });
        let target = Target::Level { datum: 0.002 };
        let on = |threads| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .expect("threads");
            pool.install(|| volume(&floor, &target))
        };
        assert_eq!(on(1), on(3));
    }
}

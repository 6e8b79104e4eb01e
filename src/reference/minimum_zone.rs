//! The minimum zone: two parallel planes, as close together as can be, that hold every point between them.
//!
//! In: points. Out: the plane midway, the zone's width, and the points that the two planes rest on.
//! It is the flatness of ISO 1101 and the MZPL of ISO 12781-1, measured along the vertical.
//!
//! Wanted is the least w for which some slopes b, c and heights A, B = A - w exist with
//! `B <= z_i - b x_i - c y_i <= A` for every point i. The dual of this linear programme asks for weights
//! l_i >= 0 and m_j >= 0, each set adding up to 1, that
//! maximise `sum l_i z_i - sum m_j z_j` subject to `sum l_i (x_i, y_i) = sum m_j (x_j, y_j)`:
//! the largest vertical distance between the upper and the lower hull of the points at one place of the plan. It has
//! four equations whatever the number of points, so a vertex of it is four contacts, and the equations of its
//! multipliers, `z = A + b x + c y` at an upper contact and `z = B + b x + c y` at a lower one, are the zone
//! that rests on them. The simplex method starts from a zone of no width through three points. Each step
//! looks through all points for the one farthest outside the zone, lets it in as a contact and drops the contact whose
//! weight comes to nothing first; the width never shrinks. When no point is outside, the zone holds all points, and the
//! weights prove that none narrower does (a centre of the upper contacts lies right above a centre of the lower ones).
//! On a lattice many weights are zero and the width may stand still. Bland's rule (Math. Oper. Res. 2, 103, 1977; from
//! memory) then keeps the method from going round in circles.
//! The width is unique, the plane not always: a floor measured on two lines may rock between its contacts. So that the plane does
//! not depend on the order of the points, they are sorted first.

use std::cmp::Ordering;

use nalgebra::{Matrix4, Vector4};
use rayon::prelude::*;

use super::axes::Axes;
use super::{CHUNK, Plane, least_squares::in_axes};
use crate::error::{Error, Result};

/// How far outside the zone a point may lie, as a share of the root mean square residual of the least-squares plane:
/// some hundreds of roundings.
const OUTSIDE: f64 = 1e-13;

/// A weight that changes by less than this per unit of the new one does not change: the weights are of the size of 1.
const UNMOVED: f64 = 1e-11;

/// Steps without a wider zone after which Bland's rule chooses.
const PATIENCE: usize = 20;

/// Steps after which something is wrong. A million scattered points take about thirty.
const STEPS: usize = 10_000;

/// The narrowest zone between two parallel planes that holds all points.
#[derive(Debug, Clone, PartialEq)]
pub struct MinimumZone {
    /// The plane midway between the two.
    pub plane: Plane,
    /// Vertical distance between the two, m.
    pub width: f64,
    /// Indices of the points that the upper plane rests on.
    pub above: Vec<usize>,
    /// Indices of the points that the lower plane rests on; with `above` four in all.
    pub below: Vec<usize>,
}

/// Which of the two planes a contact belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Face {
    Upper,
    Lower,
}

/// A point on one of the two planes. In order of index: what Bland's rule goes by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Contact {
    point: usize,
    face: Face,
}

/// The multipliers: two parallel planes `height + b u + c v`.
struct Zone {
    upper: f64,
    lower: f64,
    b: f64,
    c: f64,
}

impl Zone {
    fn level(&self, [u, v, z]: [f64; 3]) -> f64 {
        z - self.b * u - self.c * v
    }
}

/// The minimum zone of `points` (local x, y, z, m).
///
/// # Errors
/// [`Error::Floor`] for fewer than three points, points at one place or on one line.
pub fn minimum_zone(points: &[[f64; 3]]) -> Result<MinimumZone> {
    let mut numbered: Vec<(usize, [f64; 3])> = points.iter().copied().enumerate().collect();
    // By rows, as the cells of a scan are already.
    let row = |[x, y, z]: [f64; 3]| [y, x, z];
    numbered.par_sort_by(|(_, a), (_, b)| {
        let pairs = row(*a).into_iter().zip(row(*b));
        pairs.fold(Ordering::Equal, |so_far, (a, b)| {
            so_far.then(a.total_cmp(&b))
        })
    });
    let (numbers, points): (Vec<usize>, Vec<[f64; 3]>) = numbered.into_iter().unzip();
    let axes = Axes::of(&points)?;
    let ([a, b, c], rms) = in_axes(&points, &axes)?;
    let scale = if rms > 0.0 { rms } else { 1.0 };
    let scaled: Vec<[f64; 3]> = points
        .par_iter()
        .map(|&point| {
            let [u, v, z] = axes.place(point);
            [u, v, (z - (a + b * u + c * v)) / scale]
        })
        .collect();
    let (contacts, zone) = simplex(&scaled)?;
    let middle = (zone.upper + zone.lower) / 2.0;
    let on = |face| {
        let mut on: Vec<usize> = contacts
            .iter()
            .filter(|contact| contact.face == face)
            .filter_map(|contact| numbers.get(contact.point).copied())
            .collect();
        on.sort_unstable();
        on
    };
    Ok(MinimumZone {
        plane: axes.plane([a + middle * scale, b + zone.b * scale, c + zone.c * scale]),
        width: (zone.upper - zone.lower) * scale,
        above: on(Face::Upper),
        below: on(Face::Lower),
    })
}

/// The contacts of the minimum zone and the zone, of points in their own axes.
fn simplex(points: &[[f64; 3]]) -> Result<([Contact; 4], Zone)> {
    let unsettled = || {
        Error::floor(
            "points whose narrowest zone cannot be told in double precision",
            "points without heights or positions of wholly different sizes",
        )
    };
    let mut contacts = start(points);
    let (mut widest, mut patience) = (0.0, PATIENCE);
    for _ in 0..STEPS {
        let basis = Matrix4::from_columns(&contacts.map(|contact| column(points, contact)));
        let heights = Vector4::from(contacts.map(|contact| height(points, contact)));
        let multipliers = basis
            .transpose()
            .lu()
            .solve(&heights)
            .ok_or_else(unsettled)?;
        let zone = Zone {
            upper: multipliers[0],
            lower: -multipliers[1],
            b: multipliers[2],
            c: multipliers[3],
        };
        if zone.upper - zone.lower > widest + OUTSIDE {
            (widest, patience) = (zone.upper - zone.lower, PATIENCE);
        }
        let outside = match patience {
            0 => first_outside(points, &zone),
            _ => farthest_outside(points, &zone),
        };
        let Some(entering) = outside else {
            return Ok((contacts, zone));
        };
        patience = patience.saturating_sub(1);
        let basis = basis.lu();
        let weights = basis
            .solve(&Vector4::new(1.0, 1.0, 0.0, 0.0))
            .ok_or_else(unsettled)?;
        let change = basis
            .solve(&column(points, entering))
            .ok_or_else(unsettled)?;
        let leaving = first_to_nothing(&contacts, &weights, &change).ok_or_else(unsettled)?;
        contacts[leaving] = entering;
    }
    Err(unsettled())
}

/// A contact's column in the equations: the two sums of weights, and the difference of the two centres.
fn column(points: &[[f64; 3]], contact: Contact) -> Vector4<f64> {
    let [u, v, _] = points[contact.point];
    match contact.face {
        Face::Upper => Vector4::new(1.0, 0.0, u, v),
        Face::Lower => Vector4::new(0.0, 1.0, -u, -v),
    }
}

/// What a contact's weight adds to the width.
fn height(points: &[[f64; 3]], contact: Contact) -> f64 {
    let [_, _, z] = points[contact.point];
    match contact.face {
        Face::Upper => z,
        Face::Lower => -z,
    }
}

/// A zone of no width: the two ends of the long axis and the point farthest from the line between them, the first of
/// them on both planes.
fn start(points: &[[f64; 3]]) -> [Contact; 4] {
    let most = |of: &dyn Fn(&[f64; 3]) -> f64| {
        let larger = |best: (usize, f64), (i, point)| {
            let value = of(point);
            if value > best.1 { (i, value) } else { best }
        };
        points
            .iter()
            .enumerate()
            .fold((0, f64::NEG_INFINITY), larger)
            .0
    };
    let first = most(&|point| -point[0]);
    let second = most(&|point| point[0]);
    let ([u, v, _], [u2, v2, _]) = (points[first], points[second]);
    let third = most(&|point| ((u2 - u) * (point[1] - v) - (v2 - v) * (point[0] - u)).abs());
    let contact = |point, face| Contact { point, face };
    [
        contact(first, Face::Upper),
        contact(first, Face::Lower),
        contact(second, Face::Upper),
        contact(third, Face::Upper),
    ]
}

/// The point farthest outside the zone; of equals the first.
fn farthest_outside(points: &[[f64; 3]], zone: &Zone) -> Option<Contact> {
    let extremes: Vec<[(f64, usize); 2]> = points
        .par_chunks(CHUNK)
        .enumerate()
        .map(|(chunk, points)| {
            let (mut highest, mut lowest) = ((f64::MIN, 0), (f64::MAX, 0));
            for (i, &point) in points.iter().enumerate() {
                let level = zone.level(point);
                if level > highest.0 {
                    highest = (level, chunk * CHUNK + i);
                }
                if level < lowest.0 {
                    lowest = (level, chunk * CHUNK + i);
                }
            }
            [highest, lowest]
        })
        .collect();
    let mut farthest = (OUTSIDE, None);
    for [(highest, above), (lowest, below)] in extremes {
        for (outside, point, face) in [
            (highest - zone.upper, above, Face::Upper),
            (zone.lower - lowest, below, Face::Lower),
        ] {
            if outside > farthest.0 {
                farthest = (outside, Some(Contact { point, face }));
            }
        }
    }
    farthest.1
}

/// The first point outside the zone.
fn first_outside(points: &[[f64; 3]], zone: &Zone) -> Option<Contact> {
    points.iter().enumerate().find_map(|(point, &place)| {
        let level = zone.level(place);
        let face = if level > zone.upper + OUTSIDE {
            Face::Upper
        } else if level < zone.lower - OUTSIDE {
            Face::Lower
        } else {
            return None;
        };
        Some(Contact { point, face })
    })
}

/// Which contact's weight comes to nothing first as the new one's grows; of equals the one of lowest index.
fn first_to_nothing(
    contacts: &[Contact; 4],
    weights: &Vector4<f64>,
    change: &Vector4<f64>,
) -> Option<usize> {
    let growth = |k: usize| weights[k].max(0.0) / change[k];
    let falling = || (0..4).filter(|&k| change[k] > UNMOVED);
    let least = falling().map(growth).min_by(f64::total_cmp)?;
    falling()
        .filter(|&k| growth(k) <= least + UNMOVED)
        .min_by_key(|&k| contacts[k])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The zone found must hold every point, touch its contacts, and be as wide as `width`.
    fn assert_zone(points: &[[f64; 3]], width: f64, above: &[usize], below: &[usize]) {
        let found = minimum_zone(points).expect("a zone");
        assert!(
            (found.width - width).abs() < 1e-12,
            "{} {width}",
            found.width
        );
        assert_eq!((&found.above[..], &found.below[..]), (above, below));
        for point in points {
            assert!(found.plane.residual(*point).abs() <= width / 2.0 + 1e-12);
        }
        for (contacts, sign) in [(above, 1.0), (below, -1.0)] {
            for &contact in contacts {
                let touch = found.plane.residual(points[contact]) - sign * width / 2.0;
                assert!(touch.abs() < 1e-12);
            }
        }
    }

    /// Two highs and two lows whose lines cross: at the crossing the highs' line is at 5 mm, the lows' at 1 mm.
    #[test]
    fn crossing() {
        let points = [
            [0.0, 0.0, 0.004],
            [4.0, 4.0, 0.006],
            [4.0, 0.0, 0.002],
            [0.0, 4.0, 0.000],
            [1.0, 2.0, 0.003],
        ];
        assert_zone(&points, 0.004, &[0, 1], &[2, 3]);
    }

    /// Three lows level at 0 and a high of 3 mm above the inside of their triangle.
    #[test]
    fn triangle() {
        let points = [
            [0.0, 0.0, 0.0],
            [6.0, 0.0, 0.0],
            [0.0, 6.0, 0.0],
            [1.0, 2.0, 0.003],
            [5.0, 5.0, 0.002],
        ];
        assert_zone(&points, 0.003, &[3], &[0, 1, 2]);
    }

    #[test]
    fn a_plane_has_a_zone_of_no_width() {
        let points: Vec<[f64; 3]> = (0..100)
            .map(|i| [f64::from(i % 10), f64::from(i / 10)])
            .map(|[x, y]| [x, y, 0.01 * x - 0.02 * y])
            .collect();
        let found = minimum_zone(&points).expect("a zone");
        assert!(found.width.abs() < 1e-15);
        assert!((found.plane.b - 0.01).abs() < 1e-15 && (found.plane.c + 0.02).abs() < 1e-15);
    }
}

//! How well a floor's planes are known.
//!
//! In: points, the standard uncertainty of each height, what they have in common, the plane. Out: standard uncertainties
//! of its slopes and its fall, and of a zone's width. Law of propagation (JCGM 100:2008, clause 5; from memory), first order:
//!
//! - least squares: a slope is a sum of the heights with weights that follow from their places alone, so
//!   u² = Σ (w_i u_i)². It is the uncertainty of the plane through these points, not of one through others of that floor.
//! - minimum zone: it rests on four points, so its slopes and its width are what four equations say, z = A + b x + c y at an
//!   upper contact and z = B + b x + c y at a lower one, and the uncertainties of the four heights go in. Which points
//!   are contacts is taken as known. Where many stand nearly as high, noise chooses among them and the zone comes out
//!   wider than the floor's, as a widest gap does.
//!
//! A part that all cells of a scan have in common, U, may be spread over the floor in any way. For a slope of the
//! least-squares plane the worst way is counted, U Σ |w_i|; the four contacts of a zone lie far apart and count as
//! independent.
//! A tilt of the plane that heights were measured from adds to each slope, and leaves the width as it is.

use nalgebra::{Matrix4, Vector4};
use rayon::prelude::*;

use super::axes::Axes;
use super::{CHUNK, MinimumZone, Plane};
use crate::error::Result;
use crate::surface::Shared;

/// Standard uncertainties of a plane's slopes, m per m.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct SlopesU {
    /// Along x.
    pub x: f64,
    /// Along y.
    pub y: f64,
    /// Of the fall, in its own direction; of a level plane the larger of the two.
    pub fall: f64,
}

/// The standard uncertainties of the slopes of `plane`, the least-squares plane of `points` with uncertainties `u`, m.
///
/// # Errors
/// As [`super::least_squares()`].
pub fn least_squares_u(
    points: &[[f64; 3]],
    u: &[f64],
    shared: Shared,
    plane: &Plane,
) -> Result<SlopesU> {
    let axes = Axes::of(points)?;
    let count = points.len() as f64;
    // In own coordinates, centred, square to each other and of unit root mean square, a slope is the mean of place · height.
    let weight = |&point: &[f64; 3]| {
        let [along, across, _] = axes.place(point);
        let slopes = axes.plane([0.0, along / count, across / count]);
        [slopes.b, slopes.c]
    };
    let directions = directions(plane);
    let sums: Vec<[[f64; 2]; 3]> = points
        .par_chunks(CHUNK)
        .zip(u.par_chunks(CHUNK))
        .map(|(points, u)| {
            let mut sums = [[0.0; 2]; 3];
            for (point, u) in points.iter().zip(u) {
                let [x, y] = weight(point);
                for (sum, [along_x, along_y]) in sums.iter_mut().zip(directions) {
                    let w = along_x * x + along_y * y;
                    let own = (u * u - shared.common * shared.common).max(0.0);
                    sum[0] += w * w * own;
                    sum[1] += w.abs();
                }
            }
            sums
        })
        .collect();
    let of = |direction: usize| {
        let sum = |k: usize| sums.iter().map(|sums| sums[direction][k]).sum::<f64>();
        let common = shared.common * sum(1);
        (sum(0) + common * common).sqrt()
    };
    Ok(slopes(of, shared.tilt))
}

/// The standard uncertainties of the slopes and the width (m) of the minimum `zone` of `points` with uncertainties
/// `u`, m. None where its contacts do not hold it, as on a line.
pub fn minimum_zone_u(
    points: &[[f64; 3]],
    u: &[f64],
    shared: Shared,
    zone: &MinimumZone,
) -> Option<(SlopesU, f64)> {
    let upper = zone.above.iter().map(|&point| (point, [1.0, 0.0]));
    let lower = zone.below.iter().map(|&point| (point, [0.0, 1.0]));
    let contacts: Vec<(usize, [f64; 2])> = upper.chain(lower).collect();
    let contacts: [_; 4] = contacts.try_into().ok()?;
    // About the first contact: only differences of places matter.
    let [x0, y0, _] = *points.get(contacts[0].0)?;
    let mut equations = Matrix4::zeros();
    let mut own = [0.0; 4];
    for (row, (point, [above, below])) in contacts.into_iter().enumerate() {
        let [x, y, _] = *points.get(point)?;
        let terms = Vector4::new(above, below, x - x0, y - y0);
        equations.set_row(row, &terms.transpose());
        own[row] = *u.get(point)?;
    }
    let solved = equations.try_inverse()?;
    let of = |from_heights: &dyn Fn(usize) -> f64| {
        let contact = |row: usize| {
            // One point on both planes, of a zone of no width, counts once.
            let same = (0..4).filter(|&other| contacts[other].0 == contacts[row].0);
            let first = (0..row).all(|other| contacts[other].0 != contacts[row].0);
            let weight: f64 = same.map(from_heights).sum();
            if first { weight * own[row] } else { 0.0 }
        };
        (0..4).map(|row| contact(row).powi(2)).sum::<f64>().sqrt()
    };
    let directions = directions(&zone.plane);
    let slope = |direction: usize| {
        let [x, y] = directions[direction];
        of(&|row| x * solved[(2, row)] + y * solved[(3, row)])
    };
    let width = of(&|row| solved[(0, row)] - solved[(1, row)]);
    Some((slopes(slope, shared.tilt), width))
}

/// Along x, along y, and along the fall; nowhere for a level plane.
fn directions(plane: &Plane) -> [[f64; 2]; 3] {
    let fall = plane.fall();
    let along = if fall > 0.0 {
        [plane.b / fall, plane.c / fall]
    } else {
        [0.0; 2]
    };
    [[1.0, 0.0], [0.0, 1.0], along]
}

fn slopes(of: impl Fn(usize) -> f64, tilt: f64) -> SlopesU {
    let [x, y, fall] = [0, 1, 2].map(|direction| of(direction).hypot(tilt));
    let level = of(2) == 0.0;
    SlopesU {
        x,
        y,
        fall: if level { x.max(y) } else { fall },
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, Normal};

    use super::*;
    use crate::reference::{least_squares, minimum_zone};

    /// 6 x 4 places 0.5 m apart, falling along x.
    fn grid() -> Vec<[f64; 3]> {
        (0..24)
            .map(|i| [0.5 * f64::from(i % 6), 0.5 * f64::from(i / 6)])
            .map(|[x, y]| [x, y, 0.004 * x])
            .collect()
    }

    const TILTED: Shared = Shared {
        tilt: 2e-4,
        common: 0.0,
    };

    /// On a grid along the axes the slopes are independent of each other and of the height: σ² = u² / Σ (x - mean)², with
    /// Σ (x - mean)² = 4 · 0.25 · (2 (0.5² + 1.5² + 2.5²)) = 17.5 m², and along y 6 · 0.25 · 2 (0.5² + 1.5²) = 7.5 m².
    #[test]
    fn slopes_of_a_grid() {
        let points = grid();
        let u = [1e-3; 24];
        let plane = least_squares(&points).expect("a plane").plane;
        let found = least_squares_u(&points, &u, Shared::default(), &plane).expect("slopes");
        let near = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-9, "{a} {b}");
        near(found.x, 1e-3 / 17.5_f64.sqrt());
        near(found.y, 1e-3 / 7.5_f64.sqrt());
        near(found.fall, found.x);
        let tilted = least_squares_u(&points, &u, TILTED, &plane).expect("slopes");
        near(tilted.x, (1e-6_f64 / 17.5 + 4e-8).sqrt());
        // All of it in common: Σ |x - mean| / Σ (x - mean)² = 4 · 0.5 · 2 · 4.5 / 17.5 = 18 / 17.5 per metre.
        let common = Shared {
            tilt: 0.0,
            common: 1e-3,
        };
        let common = least_squares_u(&points, &u, common, &plane).expect("slopes");
        near(common.x, 1e-3 * 18.0 / 17.5);
    }

    /// Two highs and two lows whose lines cross in the middle of both: the width is the mean of the highs less the mean
    /// of the lows, u of it 4 · (1/2)² = 1 times that of a height, whatever the tilt.
    #[test]
    fn the_width_of_a_zone_does_not_feel_a_tilt() {
        let points = [
            [0.0, 0.0, 5e-3],
            [4.0, 4.0, 5e-3],
            [4.0, 0.0, 0.0],
            [0.0, 4.0, 0.0],
        ];
        let zone = minimum_zone(&points).expect("a zone");
        let (slopes, width) =
            minimum_zone_u(&points, &[1e-3; 4], TILTED, &zone).expect("four contacts");
        assert!((width - 1e-3).abs() < 1e-15);
        // Along (1, 1): the difference of the two highs over 4 m · √2; along x: half of both differences, over 4 m.
        assert!((slopes.x - (2.0 * 1e-6 / 2.0 / 16.0 + 4e-8_f64).sqrt()).abs() < 1e-12);
    }

    /// 4,000 surveys of an egg box whose highs and lows stand 20 u apart, with normal noise.
    #[test]
    fn minimum_zone_by_simulation() {
        let floor = [
            [0.3, 0.2, 9e-3],
            [3.8, 3.1, 11e-3],
            [3.5, 0.4, -10e-3],
            [0.1, 3.9, -9e-3],
            [2.0, 2.0, 1e-3],
            [1.0, 3.0, 0.0],
        ];
        let u = [4e-4, 5e-4, 6e-4, 5e-4, 5e-4, 5e-4];
        let zone = minimum_zone(&floor).expect("a zone");
        let (slopes, width) = minimum_zone_u(&floor, &u, Shared::default(), &zone).expect("held");
        let mut random = ChaCha8Rng::seed_from_u64(7);
        let mut squares = [0.0; 3];
        for _ in 0..4000 {
            let mut survey = floor;
            for (point, u) in survey.iter_mut().zip(u) {
                point[2] += Normal::new(0.0, u).expect("a width").sample(&mut random);
            }
            let found = minimum_zone(&survey).expect("a zone");
            let off = [
                found.plane.b - zone.plane.b,
                found.plane.c - zone.plane.c,
                found.width - zone.width,
            ];
            squares
                .iter_mut()
                .zip(off)
                .for_each(|(sum, off)| *sum += off * off);
        }
        for (sum, wanted) in squares.into_iter().zip([slopes.x, slopes.y, width]) {
            let found = (sum / 4000.0).sqrt();
            assert!((found / wanted - 1.0).abs() < 0.05, "{found} {wanted}");
        }
    }
}

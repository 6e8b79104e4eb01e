//! A floor without its noise: what is left of it when neighbours are averaged.
//!
//! In: a lattice of heights, the length of the edge that is to be laid on it. Out: the same lattice, every measured height
//! about the floor's best plane replaced by the mean of its measured neighbours, weighted by a Gaussian.
//! The plane is left out, since averaging would bend a falling floor at its walls, and no straightedge feels a plane.
//! Holes stay holes, and lend no height to their neighbours.
//! Not here: a smoothed floor to measure. Averaging makes hollows shallower; it serves to simulate noise on.

use rayon::prelude::*;

use crate::reference::least_squares;
use crate::surface::HeightField;

/// Standard deviation of the Gaussian, as a share of the edge: a hollow as long as the edge keeps three quarters of its
/// depth, exp(-2 pi^2 / 64).
const SHARE: f64 = 1.0 / 8.0;

/// The Gaussian is cut off so many standard deviations out.
const CUT: f64 = 3.0;

/// `field` smoothed for an edge of `length` m, without its plane.
pub fn smoothed(field: &HeightField, length: f64) -> HeightField {
    let heights: Vec<[f64; 3]> = field.measured().map(|(_, place)| place).collect();
    let mut smooth = field.clone();
    if let Ok(fit) = least_squares(&heights) {
        smooth.z = field.heights_over(|x, y| fit.plane.height(x, y));
    }
    let width = (SHARE * length).max(field.spacing());
    let measured = |z: &f64| if z.is_nan() { [0.0; 2] } else { [*z, 1.0] };
    let mut sums: Vec<[f64; 2]> = smooth.z.iter().map(measured).collect();
    sums = along_rows(&sums, field.nx, &weights(width / field.dx, field.nx));
    sums = turned(&sums, field.nx);
    sums = along_rows(&sums, field.ny, &weights(width / field.dy, field.ny));
    sums = turned(&sums, field.ny);
    for (z, [sum, weight]) in smooth.z.iter_mut().zip(sums) {
        *z = *z * 0.0 + sum / weight;
    }
    smooth
}

/// The Gaussian from its middle outwards, in steps of the lattice, no farther than its `count` nodes reach.
fn weights(width: f64, count: usize) -> Vec<f64> {
    let weight = |step: usize| (-0.5 * (step as f64 / width).powi(2)).exp();
    (0..=((CUT * width) as usize).min(count))
        .map(weight)
        .collect()
}

/// Every value of every row of `nx` with its neighbours added, by their weights.
fn along_rows(sums: &[[f64; 2]], nx: usize, weights: &[f64]) -> Vec<[f64; 2]> {
    let mut out = vec![[0.0; 2]; sums.len()];
    out.par_chunks_mut(nx)
        .zip(sums.par_chunks(nx))
        .for_each(|(out, row)| {
            for (at, out) in out.iter_mut().enumerate() {
                let first = at.saturating_sub(weights.len() - 1);
                let near = &row[first..(at + weights.len()).min(nx)];
                for (place, value) in (first..).zip(near) {
                    let weight = weights[place.abs_diff(at)];
                    out[0] += weight * value[0];
                    out[1] += weight * value[1];
                }
            }
        });
    out
}

/// Rows to columns.
fn turned(sums: &[[f64; 2]], nx: usize) -> Vec<[f64; 2]> {
    let ny = sums.len() / nx;
    (0..sums.len())
        .map(|at| sums[at % ny * nx + at / ny])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_edge_of_a_million_kilometres_asks_for_no_more_memory_than_the_floor() {
        let mut field = HeightField::unmeasured([0.0; 2], [0.4; 2], [3, 3]);
        field.z = (0..9).map(|n| f64::from(n % 2)).collect();
        let smooth = smoothed(&field, 1e9);
        let mean = smooth.z.iter().sum::<f64>() / 9.0;
        assert!(smooth.z.iter().all(|z| (z - mean).abs() < 1e-9));
    }

    /// A Gaussian of standard deviation s keeps exp(-2 pi^2 s^2 / w^2) of a wave of length w; a plane leaves nothing.
    #[test]
    fn waves_grow_shallow_and_planes_go() {
        let mut field = HeightField::unmeasured([0.0; 2], [0.05; 2], [161, 81]);
        for node in 0..field.z.len() {
            let [x, y] = field.position(node);
            let wave = (std::f64::consts::TAU * x / 2.0).cos();
            field.z[node] = 0.01 * x - 0.02 * y + 0.004 * wave;
        }
        let smooth = smoothed(&field, 2.0);
        let kept = (-2.0 * (std::f64::consts::PI * 0.25 / 2.0).powi(2)).exp();
        let (crest, trough) = (smooth.z[40 * 161 + 80], smooth.z[40 * 161 + 100]);
        let depth = (crest - trough) / 0.008;
        assert!((depth - kept).abs() < 0.01, "{depth} {kept}");
    }

    #[test]
    fn holes_stay_holes_and_lend_nothing() {
        let mut field = HeightField::unmeasured([0.0; 2], [0.5; 2], [5, 4]);
        for node in (0..20).filter(|node| node % 7 != 0) {
            field.z[node] = 0.3;
        }
        let smooth = smoothed(&field, 2.0);
        for (before, after) in field.z.iter().zip(&smooth.z) {
            assert_eq!(before.is_nan(), after.is_nan());
            assert!(after.is_nan() || after.abs() < 1e-12);
        }
    }
}

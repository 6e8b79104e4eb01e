//! How much of a worst value is noise: the largest of very many noisy gaps is more likely too large than too small.
//!
//! In: a measured floor, the uncertainty of its heights, and what is to be measured on it. Out: a [`Bias`]: how far noise
//! moves that value, on average and in the one case in twenty on either side.
//!
//! Method (definition 5): the floor is smoothed about its best plane by a Gaussian of an eighth of the edge (at least one
//! spacing), so that little of its noise is left; the survey's own noise is laid on the smoothed floor again and again
//! (normal, each height with its own standard uncertainty, seeded: the same every time) and the worst value taken each
//! time. Of n = 20 k - 1 such values the k-th from either end is exceeded by another like them in exactly 5 % of cases
//! (Barnard's Monte Carlo test, 1963; from memory).
//! Between scattered readings a floor is interpolated, so its noise is too: independent values a spacing apart, linear
//! between.
//!
//! The work is bounded: [`BUDGET`] cells laid in all. A floor too large for that is simulated around its worst place, and
//! the result carried over to the whole as for a largest of many (Gumbel's law: with sd s, the largest of m times as
//! many lies s ln(m) sqrt(6) / pi higher), as if all of it were as bad as that part: that makes the bias too large
//! rather than too small.
//! Not here: noise that neighbours have in common, such as an instrument's tilt, which no straightedge feels.

use std::f64::consts::PI;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

use super::smooth::smoothed;
use crate::surface::{HeightField, Kind, Surface};

/// Cells of which a worst value is taken in all simulations together, each counted once for every edge laid over it.
pub const BUDGET: usize = 4_000_000;

/// The fewest simulations from which 5 % can be told.
const FEWEST: usize = 19;

/// More of them would change nothing that is shown.
const MOST: usize = 199;

/// Where the noise starts.
const SEED: u64 = 0xf1a7;

/// How far noise alone moves a worst value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bias {
    /// On average, m.
    pub mean: f64,
    /// In one case in twenty it is moved by this or less, m; mostly above zero all the same.
    pub low: f64,
    /// In one case in twenty by this or more, m.
    pub high: f64,
}

/// How the survey's own noise moves what `worst` finds on `surface`: a value in m, found at the node `at`, with an edge of
/// `length` m that is laid `edges` times to find it. None where the smoothed floor holds nothing to measure.
pub fn bias(
    surface: &Surface,
    at: usize,
    length: f64,
    edges: usize,
    worst: impl Fn(&HeightField) -> Option<f64> + Sync,
) -> Option<Bias> {
    let nodes = surface.field.z.len();
    let affordable = BUDGET / edges.max(1);
    let field = window(&surface.field, at, affordable / FEWEST);
    let parts = nodes as f64 / field.z.len() as f64;
    let simulations = affordable / field.z.len().max(1);
    let twentieths = (simulations.clamp(FEWEST, MOST) + 1) / 20;
    let pitch = match surface.kind {
        Kind::Grid | Kind::Cells => [field.dx, field.dy],
        Kind::Triangulated => [surface.spacing; 2],
    };
    let smooth = smoothed(&field, length);
    simulate(&smooth, pitch, twentieths, SEED, worst).map(|simulated| simulated.over(parts))
}

/// A bias, and the standard deviation of what it is the mean of, m.
struct Simulated {
    bias: Bias,
    sd: f64,
}

impl Simulated {
    /// The bias on a floor of so many `parts` like the one simulated.
    fn over(self, parts: f64) -> Bias {
        let higher = self.sd * 6f64.sqrt() / PI * parts.ln();
        Bias {
            mean: self.bias.mean + higher,
            low: self.bias.low,
            high: self.bias.high + higher,
        }
    }
}

/// The bias of `worst` on the floor `smooth`, from 20 `twentieths` - 1 simulations of noise independent at `pitch` m.
fn simulate(
    smooth: &HeightField,
    pitch: [f64; 2],
    twentieths: usize,
    seed: u64,
    worst: impl Fn(&HeightField) -> Option<f64> + Sync,
) -> Option<Simulated> {
    let without = worst(smooth)?;
    let moved: Option<Vec<f64>> = (0..20 * twentieths - 1)
        .into_par_iter()
        .map(|number| {
            let mut random = ChaCha8Rng::seed_from_u64(seed.wrapping_add(number as u64));
            Some(worst(&with_noise(smooth, pitch, &mut random))? - without)
        })
        .collect();
    let mut moved = moved?;
    moved.sort_by(f64::total_cmp);
    let mean = moved.iter().sum::<f64>() / moved.len() as f64;
    let squares: f64 = moved.iter().map(|value| (value - mean).powi(2)).sum();
    Some(Simulated {
        bias: Bias {
            mean,
            low: *moved.get(twentieths - 1)?,
            high: *moved.get(moved.len() - twentieths)?,
        },
        sd: (squares / moved.len() as f64).sqrt(),
    })
}

/// About `most` nodes round node `at`, as square as the floor allows; the whole floor if it has no more.
fn window(field: &HeightField, at: usize, most: usize) -> HeightField {
    if field.z.len() <= most {
        return field.clone();
    }
    let nx = field.nx.min((most / field.ny.min(most.isqrt())).max(1));
    let ny = field.ny.min((most / nx).max(1));
    let first = |middle: usize, size: usize, all: usize| {
        middle.saturating_sub(size / 2).min(all.saturating_sub(size))
    };
    let x = first(at % field.nx, nx, field.nx);
    let y = first(at / field.nx, ny, field.ny);
    let corner = field.position(y * field.nx + x);
    let mut part = HeightField::unmeasured(corner, [field.dx, field.dy], [nx, ny]);
    for row in 0..ny {
        let from = (y + row) * field.nx + x;
        let to = row * nx..(row + 1) * nx;
        part.z[to.clone()].copy_from_slice(&field.z[from..from + nx]);
        part.u[to].copy_from_slice(&field.u[from..from + nx]);
    }
    part
}

/// `field` with noise on it, as large as the uncertainty of each height says.
fn with_noise(field: &HeightField, pitch: [f64; 2], random: &mut ChaCha8Rng) -> HeightField {
    let steps = [field.dx / pitch[0], field.dy / pitch[1]];
    let columns = (field.nx as f64 * steps[0]) as usize + 2;
    let rows = (field.ny as f64 * steps[1]) as usize + 2;
    let drawn: Vec<f64> = StandardNormal
        .sample_iter(random)
        .take(columns * rows)
        .collect();
    let mut noisy = field.clone();
    for (node, (z, u)) in noisy.z.iter_mut().zip(&field.u).enumerate() {
        if z.is_nan() {
            continue;
        }
        let x = (node % field.nx) as f64 * steps[0];
        let y = (node / field.nx) as f64 * steps[1];
        let (along, up) = (x.fract(), y.fract());
        let at = y as usize * columns + x as usize;
        let corners = [at, at + 1, at + columns, at + columns + 1];
        let weights = [
            (1.0 - along) * (1.0 - up),
            along * (1.0 - up),
            (1.0 - along) * up,
            along * up,
        ];
        let sum: f64 = corners.iter().zip(weights).map(|(&at, w)| w * drawn[at]).sum();
        let size: f64 = weights.iter().map(|w| w * w).sum();
        *z += u * sum / size.sqrt();
    }
    noisy
}

#[cfg(test)]
mod tests;

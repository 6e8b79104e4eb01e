//! How much of a worst value is noise: the largest of very many noisy gaps is more likely too large than too small.
//!
//! In: a measured floor, the uncertainty of its heights, and what is to be measured on it. Out: a [`Bias`]: how far noise
//! moves that value on average, and how far it can reach on its own.
//!
//! Both by laying the survey's own noise (normal, each height with its own standard uncertainty, seeded: the same every
//! time) on a floor again and again and taking the worst value each time:
//!
//! - on the floor smoothed about its best plane (definition 5): what noise adds on average. An estimate, and too small
//!   where many places are equally bad, since a little noise stays in the smoothed floor and parts them.
//! - on a perfect plane: the value that noise alone makes in the one case in twenty. It bounds what noise adds on *any*
//!   floor: a gap is z_A (1 - w) + z_B w - z_C, a sum of floor and noise, so the largest of the sums is at most the largest
//!   gap of the floor plus the largest gap of the noise. This is what a verdict of outside rests on.
//!
//! Of n = 20 k - 1 values the k-th largest is exceeded by another like them in exactly 5 % of cases (Barnard's Monte Carlo
//! test, 1963; from memory).
//! Between scattered readings a floor is interpolated, so its noise is too: independent values a spacing apart, linear
//! between.
//! The work is bounded: [`BUDGET`] cells in all. A floor too large for that is simulated around its worst place, and
//! the result carried over to the whole as for a largest of many (Gumbel's law: with sd s, the largest of m times as
//! many lies s ln(m) sqrt(6) / pi higher).
//! Not here: noise that neighbours have in common, such as an instrument's tilt, which no straightedge feels.

use std::f64::consts::PI;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

use super::smooth::smoothed;
use crate::surface::{HeightField, Kind, Surface};

/// Cells looked at in all simulations together: some seconds.
pub const BUDGET: usize = 4_000_000;

/// The fewest simulations from which 5 % can be told.
const FEWEST: usize = 19;

/// More of them would change nothing that is shown.
const MOST: usize = 199;

/// Where the noise starts.
const SEED: u64 = 0xf1a7;

/// What noise does to a worst value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bias {
    /// What it adds on average, m.
    pub mean: f64,
    /// What it adds in one case in twenty at most, m, whatever the floor.
    pub reach: f64,
}

/// What the survey's own noise does to the value that `worst` finds on `surface`, in m, at the node `at` and with an edge
/// of `length` m. `worst` is the largest of gaps, deviations or differences. None where there is nothing to measure.
pub fn bias(
    surface: &Surface,
    at: usize,
    length: f64,
    worst: impl Fn(&HeightField) -> Option<f64> + Sync,
) -> Option<Bias> {
    let trials = Trials::about(surface, at);
    let smooth = smoothed(&trials.field, length);
    let added = simulate(&smooth, trials.pitch, trials.twentieths, SEED, worst)?;
    Some(Bias {
        mean: mean(&added.to_smooth) + trials.higher(&added.to_smooth),
        reach: added.reach(trials.twentieths)? + trials.higher(&added.to_plane),
    })
}

/// [`Bias::reach`] alone, of the same simulations: half the work.
pub fn reach(
    surface: &Surface,
    at: usize,
    worst: impl Fn(&HeightField) -> Option<f64> + Sync,
) -> Option<f64> {
    let trials = Trials::about(surface, at);
    let to_plane = (0..20 * trials.twentieths - 1)
        .into_par_iter()
        .map(|number| {
            let mut random = ChaCha8Rng::seed_from_u64(SEED.wrapping_add(number as u64));
            worst(&noise(&trials.field, trials.pitch, &mut random))
        });
    let mut to_plane: Vec<f64> = to_plane.collect::<Option<_>>()?;
    to_plane.sort_by(f64::total_cmp);
    let higher = trials.higher(&to_plane);
    let added = Added {
        to_smooth: Vec::new(),
        to_plane,
    };
    Some(added.reach(trials.twentieths)? + higher)
}

/// The node around which simulations look at a part of the floor; None where it is small enough to be looked at whole.
pub fn around(surface: &Surface, at: usize) -> Option<usize> {
    (surface.field.z.len() > BUDGET / 2 / FEWEST).then_some(at)
}

/// What is simulated on, and how often.
struct Trials {
    field: HeightField,
    /// How far apart noise is independent, m.
    pitch: [f64; 2],
    /// There are 20 of this less one simulations.
    twentieths: usize,
    /// So many fields make the floor.
    parts: f64,
}

impl Trials {
    fn about(surface: &Surface, at: usize) -> Self {
        // Each simulation looks at two floors.
        let affordable = BUDGET / 2;
        let field = window(&surface.field, at, affordable / FEWEST);
        let simulations = affordable / field.z.len().max(1);
        Self {
            pitch: match surface.kind {
                Kind::Grid | Kind::Cells | Kind::Lines => [field.dx, field.dy],
                Kind::Triangulated => [surface.spacing; 2],
            },
            twentieths: (simulations.clamp(FEWEST, MOST) + 1) / 20,
            parts: surface.field.z.len() as f64 / field.z.len() as f64,
            field,
        }
    }

    /// How much higher the largest of the whole floor lies.
    fn higher(&self, values: &[f64]) -> f64 {
        sd(values) * 6f64.sqrt() / PI * self.parts.ln()
    }
}

/// What noise added in each simulation, m.
struct Added {
    to_smooth: Vec<f64>,
    /// From the least to the largest.
    to_plane: Vec<f64>,
}

impl Added {
    fn reach(&self, twentieths: usize) -> Option<f64> {
        let from_the_end = self.to_plane.len().checked_sub(twentieths)?;
        self.to_plane.get(from_the_end).copied()
    }
}

/// What noise that is independent at `pitch` m adds to the `worst` of the floor `smooth` and of a plane, in
/// 20 `twentieths` - 1 simulations.
fn simulate(
    smooth: &HeightField,
    pitch: [f64; 2],
    twentieths: usize,
    seed: u64,
    worst: impl Fn(&HeightField) -> Option<f64> + Sync,
) -> Option<Added> {
    let without = worst(smooth)?;
    let added: Option<Vec<[f64; 2]>> = (0..20 * twentieths - 1)
        .into_par_iter()
        .map(|number| {
            let mut random = ChaCha8Rng::seed_from_u64(seed.wrapping_add(number as u64));
            let mut noise = noise(smooth, pitch, &mut random);
            let on_plane = worst(&noise)?;
            let heights = noise.z.iter_mut().zip(&smooth.z);
            heights.for_each(|(noise, smooth)| *noise += smooth);
            Some([worst(&noise)? - without, on_plane])
        })
        .collect();
    let added = added?;
    let mut to_plane: Vec<f64> = added.iter().map(|both| both[1]).collect();
    to_plane.sort_by(f64::total_cmp);
    Some(Added {
        to_smooth: added.iter().map(|both| both[0]).collect(),
        to_plane,
    })
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn sd(values: &[f64]) -> f64 {
    let middle = mean(values);
    let squares = values.iter().map(|value| (value - middle).powi(2));
    (squares.sum::<f64>() / values.len() as f64).sqrt()
}

/// About `most` nodes round node `at`, as square as the floor allows; the whole floor if it has no more.
fn window(field: &HeightField, at: usize, most: usize) -> HeightField {
    if field.z.len() <= most {
        return field.clone();
    }
    let nx = field.nx.min((most / field.ny.min(most.isqrt())).max(1));
    let ny = field.ny.min((most / nx).max(1));
    let first = |middle: usize, size: usize, all: usize| {
        middle
            .saturating_sub(size / 2)
            .min(all.saturating_sub(size))
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

/// The noise on a floor like `field`, as large as the uncertainty of each height says.
fn noise(field: &HeightField, pitch: [f64; 2], random: &mut ChaCha8Rng) -> HeightField {
    let steps = [field.dx / pitch[0], field.dy / pitch[1]];
    let columns = (field.nx as f64 * steps[0]) as usize + 2;
    let rows = (field.ny as f64 * steps[1]) as usize + 2;
    let drawn: Vec<f64> = StandardNormal
        .sample_iter(random)
        .take(columns * rows)
        .collect();
    let mut noise = field.clone();
    for (node, (z, u)) in noise.z.iter_mut().zip(&field.u).enumerate() {
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
        let sum: f64 = corners
            .iter()
            .zip(weights)
            .map(|(&at, w)| w * drawn[at])
            .sum();
        let size: f64 = weights.iter().map(|w| w * w).sum();
        *z = u * sum / size.sqrt();
    }
    noise
}

#[cfg(test)]
mod tests;

//! High and low spots: connected patches of floor that stand out from a reference plane.
//!
//! In: the deviation of every node from the reference, and how far counts as out. Out: the patches, the largest volume
//! first, each with its place, area, extreme and volume.
//! Cells finer than a spot are levelled out first: a spot is what a hand's breadth of floor does, not one noisy cell.
//! Area and volume count a node as its share of the lattice (dx times dy); the pour's volumes are the exact ones.

use rayon::prelude::*;

use crate::surface::HeightField;

/// Deviations are levelled out over a square of about this side, m, where the lattice is finer.
const BREADTH: f64 = 0.25;

/// Smallest patch worth a number on the map, m²: a foot squared. A single node of a coarse grid counts.
const SMALLEST: f64 = 0.09;

/// More than this many of a kind is a rough floor, not a list of spots.
const MOST: usize = 9;

/// Which way a spot stands out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpotKind {
    /// Above the reference.
    High,
    /// Below the reference.
    Low,
}

/// A patch that stands out.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Which way.
    pub kind: SpotKind,
    /// The node that stands out most.
    pub node: usize,
    /// Its deviation from the reference, m, with its sign; on a fine lattice the mean about it.
    pub extreme: f64,
    /// Plan area, m².
    pub area: f64,
    /// Volume between patch and reference, m³.
    pub volume: f64,
}

/// The spots that stand out by more than `out` metres, high ones first, each kind by volume, at most nine of a kind.
/// `deviations` has one value a node (m, NaN where nothing was measured).
pub fn spots(field: &HeightField, deviations: &[f64], out: f64) -> Vec<Spot> {
    let calm = levelled_out(field, deviations);
    let mut found = patches(field, &calm, out, SpotKind::High);
    found.extend(patches(field, &calm, out, SpotKind::Low));
    found
}

/// Means over the measured nodes of a square about each measured node; the values themselves on a coarse lattice.
fn levelled_out(field: &HeightField, deviations: &[f64]) -> Vec<f64> {
    let along = mean_along(deviations, 1, field.nx, (BREADTH / 2.0 / field.dx) as usize);
    let both = mean_along(
        &along,
        field.nx,
        field.ny,
        (BREADTH / 2.0 / field.dy) as usize,
    );
    both.iter()
        .zip(deviations)
        .map(|(mean, value)| if value.is_nan() { f64::NAN } else { *mean })
        .collect()
}

/// Running means of `length` values a `stride` apart, `reach` to either side, passing over what is not measured.
fn mean_along(values: &[f64], stride: usize, length: usize, reach: usize) -> Vec<f64> {
    if reach == 0 {
        return values.to_vec();
    }
    let mean_about = |node: usize| {
        let at = node / stride % length;
        let first = node - at * stride;
        let window = (at.saturating_sub(reach)..(at + reach + 1).min(length))
            .map(|at| values[first + at * stride]);
        let (sum, count) = window
            .filter(|value| !value.is_nan())
            .fold((0.0, 0), |(sum, n), value| (sum + value, n + 1));
        sum / f64::from(count)
    };
    (0..values.len()).into_par_iter().map(mean_about).collect()
}

fn patches(field: &HeightField, deviations: &[f64], out: f64, kind: SpotKind) -> Vec<Spot> {
    let sign = match kind {
        SpotKind::High => 1.0,
        SpotKind::Low => -1.0,
    };
    let share = field.dx * field.dy;
    let mut waiting: Vec<bool> = deviations
        .iter()
        .map(|deviation| sign * deviation > out)
        .collect();
    let mut found = Vec::new();
    for start in 0..waiting.len() {
        if !waiting[start] {
            continue;
        }
        let patch = flood(field, &mut waiting, start);
        let area = patch.len() as f64 * share;
        let most = patch
            .iter()
            .copied()
            .max_by(|&a, &b| (sign * deviations[a]).total_cmp(&(sign * deviations[b])));
        if let (Some(node), true) = (most, area >= SMALLEST) {
            let volume = patch
                .iter()
                .map(|&node| deviations[node].abs())
                .sum::<f64>()
                * share;
            found.push(Spot {
                kind,
                node,
                extreme: deviations[node],
                area,
                volume,
            });
        }
    }
    found.sort_by(|a, b| b.volume.total_cmp(&a.volume));
    found.truncate(MOST);
    found
}

/// Takes the patch that `start` belongs to out of `waiting`: nodes joined side by side.
fn flood(field: &HeightField, waiting: &mut [bool], start: usize) -> Vec<usize> {
    let mut patch = vec![start];
    waiting[start] = false;
    let mut next = 0;
    while let Some(&node) = patch.get(next) {
        next += 1;
        let (ix, iy) = (node % field.nx, node / field.nx);
        let sides = [
            (ix > 0).then(|| node - 1),
            (ix + 1 < field.nx).then(|| node + 1),
            (iy > 0).then(|| node - field.nx),
            (iy + 1 < field.ny).then(|| node + field.nx),
        ];
        for side in sides.into_iter().flatten() {
            if std::mem::take(&mut waiting[side]) {
                patch.push(side);
            }
        }
    }
    patch
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_humps_and_a_hollow() {
        let mut field = HeightField::unmeasured([0.0, 0.0], [0.5, 0.5], [5, 3]);
        #[rustfmt::skip]
        let deviations = [
            4.0, 4.0, 0.0, 0.0,  6.0,
            5.0, 0.0, 0.0, 0.0,  0.0,
            0.0, 0.0, 0.0, -3.0, f64::NAN,
        ];
        field.z = deviations.to_vec();
        let found = spots(&field, &deviations, 1.0);
        let summary: Vec<_> = found
            .iter()
            .map(|spot| (spot.kind, spot.node, spot.extreme, spot.area))
            .collect();
        assert_eq!(
            summary,
            [
                (SpotKind::High, 5, 5.0, 0.75),
                (SpotKind::High, 4, 6.0, 0.25),
                (SpotKind::Low, 13, -3.0, 0.25)
            ]
        );
        assert_eq!(found[0].volume, 13.0 * 0.25);
    }
}

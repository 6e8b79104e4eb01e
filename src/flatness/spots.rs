//! High and low spots: connected patches of floor that stand out from a reference plane.
//!
//! In: the deviation of every node from the reference, and how far counts as out. Out: the patches, the largest volume
//! first, each with its place, area, extreme and volume.
//! Area and volume count a node as its share of the lattice (dx times dy); the pour's volumes are the exact ones.

use crate::surface::HeightField;

/// Smallest patch worth a number on the map, m²: a hand's breadth squared. A single node of a coarse grid counts.
const SMALLEST: f64 = 0.01;

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
    /// Deviation of that node from the reference, m, with its sign.
    pub extreme: f64,
    /// Plan area, m².
    pub area: f64,
    /// Volume between patch and reference, m³.
    pub volume: f64,
}

/// The spots that stand out by more than `out` metres, high ones first, each kind by volume, at most nine of a kind.
/// `deviations` has one value a node (m, NaN where nothing was measured).
pub fn spots(field: &HeightField, deviations: &[f64], out: f64) -> Vec<Spot> {
    let mut found = patches(field, deviations, out, SpotKind::High);
    found.extend(patches(field, deviations, out, SpotKind::Low));
    found
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

//! A small sample of a scan that does not depend on the order of its points: how dense they lie, how they scatter.
//!
//! In: batches of points; later the floor they are about. Out: spacing, grid, scatter. How: `PATCHES` square metres of
//! the plan, drawn by a seeded hash of their place, keep up to `CAP` points each, drawn by a hash of the point: the same
//! patches and points whatever the order of points and files. Nearest neighbours by kiddo, on the plan.

use std::num::NonZero;

use kiddo::{ImmutableKdTree, SquaredEuclidean};

use super::columns::{ByPlace, can_be_placed};
use super::sheets::Plane;
use crate::survey::Batch;

/// Most patches kept.
const PATCHES: usize = 64;
/// Most points kept in a patch.
const CAP: usize = 2048;
/// Where the hashes start.
const SEED: u64 = 0x10_35_70_07;
/// Neighbours that a plane is laid through to see how a point scatters.
const NEIGHBOURS: usize = 12;
/// Most points whose scatter is looked at.
const LOOKED_AT: usize = 4000;

/// Mixes the bits of a number so that similar ones end up far apart (the finaliser of SplitMix64; Steele, Lea, Flood
/// 2014; from memory).
fn mix(value: u64) -> u64 {
    let value = (value ^ (value >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let value = (value ^ (value >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    value ^ (value >> 31)
}

fn mix_all(values: [f64; 3]) -> u64 {
    values
        .iter()
        .fold(SEED, |sum, value| mix(sum ^ value.to_bits()))
}

/// The points of one square metre with the smallest hashes.
#[derive(Clone)]
struct Patch {
    points: Vec<(u64, [f64; 3])>,
    /// Points with a larger hash are not among the `CAP` kept.
    limit: u64,
}

impl Patch {
    fn add(&mut self, point: [f64; 3]) {
        let hash = mix_all(point);
        if hash <= self.limit {
            self.points.push((hash, point));
            if self.points.len() >= 2 * CAP {
                self.trim();
            }
        }
    }

    /// Keeps the smallest hashes, each once.
    fn trim(&mut self) {
        self.points.sort_unstable_by_key(|&(hash, _)| hash);
        self.points.dedup_by_key(|&mut (hash, _)| hash);
        self.points.truncate(CAP);
        if let (CAP, Some(&(last, _))) = (self.points.len(), self.points.last()) {
            self.limit = last;
        }
    }
}

/// The points of some square metres, by the hash of their place.
#[derive(Default)]
pub struct Sample {
    patches: ByPlace<u64, Patch>,
    /// The largest hash of a patch, once there are `PATCHES`.
    limit: Option<u64>,
}

/// Points that lie on a square grid along the axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Distance of neighbours, m.
    pub pitch: f64,
    /// Where a column and a row of points lie, m.
    pub phase: [f64; 2],
}

impl Sample {
    /// Looks at the points of a batch.
    pub fn add(&mut self, batch: &Batch) {
        for point in batch.points().filter(|&point| can_be_placed(point)) {
            let [x, y, _] = point.map(|value| value.floor() as i64 as u64);
            let place = mix(mix(x ^ SEED) ^ y);
            if self.limit.is_some_and(|limit| place > limit) {
                continue;
            }
            let fresh = || Patch {
                points: Vec::new(),
                limit: u64::MAX,
            };
            let before = self.patches.len();
            self.patches.entry(place).or_insert_with(fresh).add(point);
            if self.patches.len() == before {
                continue;
            }
            if self.patches.len() > PATCHES {
                self.patches.remove(&self.largest());
            }
            self.limit = (self.patches.len() == PATCHES).then(|| self.largest());
        }
    }

    fn largest(&self) -> u64 {
        self.patches.keys().copied().max().unwrap_or(0)
    }

    /// The points that lie on the floor, in an order of their own.
    pub fn on_floor(&self, on_floor: impl Fn([f64; 3]) -> bool) -> Vec<[f64; 3]> {
        let mut patches: Vec<_> = self
            .patches
            .iter()
            .map(|(&place, patch)| (place, patch.clone()))
            .collect();
        patches.sort_unstable_by_key(|&(place, _)| place);
        patches.iter_mut().for_each(|(_, patch)| patch.trim());
        let points = patches.into_iter().flat_map(|(_, patch)| patch.points);
        points
            .map(|(_, point)| point)
            .filter(|&point| on_floor(point))
            .collect()
    }
}

/// The nearest neighbours of each of the first points: distance on the plan in m and place in `points`, nearest first
/// (which is the point itself).
fn neighbours(points: &[[f64; 3]], count: usize) -> Vec<Vec<(f64, usize)>> {
    let plan: Vec<[f64; 2]> = points.iter().map(|&[x, y, _]| [x, y]).collect();
    let Ok(tree) = ImmutableKdTree::<f64, 2>::new_from_slice(&plan) else {
        return Vec::new();
    };
    let count = NonZero::new(count).unwrap_or(NonZero::<usize>::MIN);
    plan.iter()
        .take(LOOKED_AT)
        .map(|place| {
            let found = tree
                .query(place)
                .nearest_n::<SquaredEuclidean<f64>>(count)
                .execute();
            found
                .iter()
                .map(|near| (near.distance.sqrt(), near.item as usize))
                .collect()
        })
        .collect()
}

/// The middle value, or None of nothing.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Scatter of points about the plane through their neighbours: one standard deviation in m, robust (median of the
/// absolute residuals times 1.4826, the factor of a normal distribution). None where there are too few points.
pub fn scatter(points: &[[f64; 3]]) -> Option<f64> {
    let residual = |near: &Vec<(f64, usize)>| {
        let (_, own) = *near.first()?;
        let others: Vec<_> = near
            .iter()
            .skip(1)
            .filter_map(|&(_, at)| points.get(at))
            .copied()
            .collect();
        let &[x, y, z] = points.get(own)?;
        (others.len() + 1 == NEIGHBOURS).then(|| (z - Plane::through(&others).height([x, y])).abs())
    };
    let residuals: Vec<f64> = neighbours(points, NEIGHBOURS)
        .iter()
        .filter_map(residual)
        .collect();
    // A plane through m neighbours is itself uncertain by about 1 / m of their variance.
    let share = 1.0 + 1.0 / (NEIGHBOURS as f64 - 1.0);
    median(residuals).map(|middle| 1.4826 * middle / share.sqrt())
}

/// The grid that the points lie on, if they do: at least nine in ten at the same distance from their nearest neighbour,
/// along the axes.
pub fn grid(points: &[[f64; 3]]) -> Option<Grid> {
    let near = neighbours(points, 2);
    let distances: Vec<f64> = near
        .iter()
        .filter_map(|near| near.get(1))
        .map(|near| near.0)
        .collect();
    let pitch = median(distances.clone()).filter(|&pitch| pitch > 1e-3)?;
    let same = distances
        .iter()
        .filter(|&&distance| (distance / pitch - 1.0).abs() < 0.02)
        .count();
    if distances.len() < 20 || same * 10 < distances.len() * 9 {
        return None;
    }
    let pitch = round_pitch(pitch, points);
    let phase = |axis: usize| {
        let turns = points
            .iter()
            .map(|point| std::f64::consts::TAU * (point[axis] / pitch).fract());
        let (sin, cos) = turns.fold((0.0, 0.0), |(sin, cos), turn| {
            (sin + turn.sin(), cos + turn.cos())
        });
        let agreed = f64::hypot(sin, cos) > 0.9 * points.len() as f64;
        let share = sin.atan2(cos) / std::f64::consts::TAU;
        agreed.then_some((share * 100.0).round() / 100.0 * pitch)
    };
    Some(Grid {
        pitch,
        phase: [phase(0)?, phase(1)?],
    })
}

/// The pitch to the digits it was meant in: whole millimetres where it is within two thousandths of them, else as the
/// whole width of the sample tells it.
fn round_pitch(pitch: f64, points: &[[f64; 3]]) -> f64 {
    let xs = || points.iter().map(|point| point[0]);
    let width = xs().fold(f64::MIN, f64::max) - xs().fold(f64::MAX, f64::min);
    let steps = (width / pitch).round();
    let pitch = if steps >= 1.0 { width / steps } else { pitch };
    let whole = (pitch * 1e3).round() / 1e3;
    if (pitch / whole - 1.0).abs() < 2e-3 {
        whole
    } else {
        pitch
    }
}

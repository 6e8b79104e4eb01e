//! First look at a scan: how high the points lie over each small square of the plan.
//!
//! In: batches of points. Out: for every column of [`COLUMN`] m square a histogram of heights in bins of [`BIN`] m.
//! Only whole numbers are added up, so the order of points and files makes no difference. Memory grows with the room,
//! not with the points, and is bounded by `MOST_BLOCKS`.
//! Not here: what the histograms mean (see `floor`).

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use rayon::prelude::*;

use crate::error::{Error, Result};
use crate::survey::{Batch, FARTHEST};

/// Points that one core looks at at a time.
const PART: usize = 8192;
/// Side of a column on the plan, m.
pub const COLUMN: f64 = 0.2;
/// Height of a bin, m.
pub const BIN: f64 = 0.01;
/// Bins that are stored together.
const BLOCK: usize = 16;
/// Steps in which the place of a point in its bin is counted.
const STEPS: f64 = 256.0;
/// The borders of the columns are shifted by this, m, so that points on a round grid do not fall on them.
const SHIFT: f64 = 0.013_37;
/// Most blocks (0.2 m by 0.2 m by 0.16 m) that may hold points: a hall of 60 by 40 m, half filled to 10 m.
const MOST_BLOCKS: usize = 2 << 20;

/// Column number on one axis.
pub fn column_of(x: f64, scale: i32) -> i32 {
    (((x - SHIFT) / COLUMN).floor() as i32).div_euclid(scale)
}

/// Where the centre of a column lies on one axis, m.
pub fn column_centre(index: i32, scale: i32) -> f64 {
    (f64::from(index) + 0.5) * f64::from(scale) * COLUMN + SHIFT
}

/// Whether a point can be placed at all.
pub fn can_be_placed(point: [f64; 3]) -> bool {
    point.iter().all(|value| value.abs() <= FARTHEST)
}

/// The block, the bin in it and the step in that, of a point.
fn place([x, y, z]: [f64; 3]) -> (Key, u8, u8) {
    let bin = (z / BIN).floor();
    let step = (z / BIN - bin) * STEPS;
    let bin = bin as i64;
    let key = Key {
        x: column_of(x, 1),
        y: column_of(y, 1),
        slab: bin.div_euclid(BLOCK as i64) as i32,
    };
    (key, bin.rem_euclid(BLOCK as i64) as u8, step as u8)
}

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct Key {
    x: i32,
    y: i32,
    slab: i32,
}

/// Mixes whole numbers well enough for a table of places; several times quicker than the standard one.
#[derive(Default)]
pub struct Mix(u64);

impl Hasher for Mix {
    fn finish(&self) -> u64 {
        self.0 ^ (self.0 >> 29)
    }

    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.write_i32(i32::from(byte));
        }
    }

    fn write_i32(&mut self, value: i32) {
        self.write_u64(u64::from(value.cast_unsigned()));
    }

    fn write_u64(&mut self, value: u64) {
        self.0 = (self.0.rotate_left(23) ^ value).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    }
}

/// A table by place.
pub type ByPlace<K, V> = HashMap<K, V, BuildHasherDefault<Mix>>;

/// Points of a bin: how many, and the sum of their heights above its foot in [`BIN`] / `STEPS`.
#[derive(Clone, Copy, Default)]
struct Bin {
    points: u32,
    steps: u32,
}

/// Points by column and height.
#[derive(Default)]
pub struct Columns {
    index: ByPlace<Key, u32>,
    blocks: Vec<[Bin; BLOCK]>,
    /// Points that were counted.
    pub points: u64,
    /// Points without a usable position.
    pub invalid: u64,
}

/// Points of a column at about one height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Number of the bin.
    pub bin: i32,
    /// How many points.
    pub points: u64,
    /// Sum of their heights, m.
    pub sum: f64,
}

/// The heights over one column, from the lowest up.
pub type Heights = Vec<Level>;

impl Columns {
    /// Counts the points of a batch: all cores look at the points, then one counts them.
    ///
    /// # Errors
    /// [`Error::Floor`] when they spread farther than any floor does.
    pub fn add(&mut self, batch: &Batch) -> Result<()> {
        let parts: Vec<Vec<_>> = (0..batch.len().div_ceil(PART))
            .into_par_iter()
            .map(|part| {
                let points = batch.points().skip(part * PART).take(PART);
                points
                    .filter(|&point| can_be_placed(point))
                    .map(place)
                    .collect()
            })
            .collect();
        let placed: usize = parts.iter().map(Vec::len).sum();
        self.points += placed as u64;
        self.invalid += (batch.len() - placed) as u64;
        let mut last = (None, 0);
        for (key, bin, step) in parts.into_iter().flatten() {
            if Some(key) != last.0 {
                last = (Some(key), self.block(key)?);
            }
            let bin = &mut self.blocks[last.1][usize::from(bin)];
            bin.points = bin.points.saturating_add(1);
            bin.steps = bin.steps.saturating_add(u32::from(step));
        }
        Ok(())
    }

    fn block(&mut self, key: Key) -> Result<usize> {
        let next = self.blocks.len();
        let at = *self.index.entry(key).or_insert(next as u32) as usize;
        if at == next {
            if next == MOST_BLOCKS {
                return Err(self.too_wide());
            }
            self.blocks.push([Bin::default(); BLOCK]);
        }
        Ok(at)
    }

    /// Refuses points spread so wide that their unit must be another.
    ///
    /// # Errors
    /// [`Error::Floor`].
    pub fn check_extent(&self) -> Result<()> {
        let [x, y, _] = self.extent();
        if x.max(y) > 2000.0 && self.points < 50 * self.index.len() as u64 {
            return Err(self.too_wide());
        }
        if self.points > 0 && x.max(y) <= 2.0 * COLUMN {
            return Err(Error::floor(
                format!("all points within a square of {:.1} m", x.max(y)),
                "a room; if its coordinates are metres although they were read as something smaller, say so with --units m",
            ));
        }
        Ok(())
    }

    /// Width in x, y and z of the middle 98 % of the occupied blocks, m.
    pub fn extent(&self) -> [f64; 3] {
        let width = |value: fn(&Key) -> i32, size: f64| {
            let mut all: Vec<_> = self.index.keys().map(value).collect();
            all.sort_unstable();
            let cut = all.len() / 100;
            match (all.get(cut), all.get(all.len().saturating_sub(cut + 1))) {
                (Some(&low), Some(&high)) => (f64::from(high) - f64::from(low) + 1.0) * size,
                _ => 0.0,
            }
        };
        [
            width(|key| key.x, COLUMN),
            width(|key| key.y, COLUMN),
            width(|key| key.slab, BIN * BLOCK as f64),
        ]
    }

    fn too_wide(&self) -> Error {
        let [x, y, z] = self.extent();
        Error::floor(
            format!("points spread over {x:.0} x {y:.0} m on the plan and {z:.0} m in height"),
            "one hall or one storey; if the coordinates are millimetres or feet, say so with --units, otherwise cut the \
             scan down to the floor's surroundings first",
        )
    }

    /// Number of columns, `scale` times as wide, that hold points.
    pub fn count(&self, scale: i32) -> u64 {
        let mut count = 0;
        self.each(scale, |_, _| count += 1);
        count
    }

    /// Shows every column, `scale` times as wide, with its heights, in order of place.
    pub fn each(&self, scale: i32, mut show: impl FnMut([i32; 2], &Heights)) {
        let mut keys: Vec<_> = self
            .index
            .iter()
            .map(|(key, &at)| {
                (
                    [key.x.div_euclid(scale), key.y.div_euclid(scale)],
                    key.slab,
                    at,
                )
            })
            .collect();
        keys.sort_unstable();
        let mut heights = Heights::new();
        for column in keys.chunk_by(|one, next| one.0 == next.0) {
            heights.clear();
            for slab in column.chunk_by(|one, next| one.1 == next.1) {
                let mut bins = [(0u64, 0u64); BLOCK];
                for &(_, _, at) in slab {
                    let block = self.blocks.get(at as usize).into_iter().flatten();
                    for (sum, bin) in bins.iter_mut().zip(block) {
                        sum.0 += u64::from(bin.points);
                        sum.1 += u64::from(bin.steps);
                    }
                }
                let levels = (slab[0].1 * BLOCK as i32..)
                    .zip(bins)
                    .filter(|(_, bin)| bin.0 > 0);
                heights.extend(levels.map(|(bin, (points, steps))| {
                    let sum = points as f64 * (f64::from(bin) + 0.5 / STEPS) + steps as f64 / STEPS;
                    Level {
                        bin,
                        points,
                        sum: sum * BIN,
                    }
                }));
            }
            show(column[0].0, &heights);
        }
    }
}

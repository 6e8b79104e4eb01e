//! A pour divided into mixes: which patch of floor each one serves, and in which order.
//!
//! In: depths on a lattice, the way out, the compound, the order, the vessel. Out: the patch of every batch, the farthest first.
//!
//! How the floor is divided stands in `growth.rs`: every patch hangs together, and nobody is trapped.
//!
//! Definition 8 of the README. Not here: when each batch is down (see [`super::wet_edge`]); pouring in layers.

use super::compound::Compound;
use super::growth::Pouring;
use super::order::{Order, whole_up};
use super::patch::outline;
use crate::error::{Error, Result};
use crate::surface::HeightField;
use crate::units::System;

/// Share of the vessel that stays free, so that a mixer does not throw the mix over the rim (practice, no source).
const HEADROOM: f64 = 0.2;

/// One mix and the patch of floor that it is for.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// Whole bags.
    pub bags: u64,
    /// Compound on the floor, without what is lost, m³.
    pub volume: f64,
    /// Area under compound, m².
    pub area: f64,
    /// Least depth of compound, m.
    pub min_depth: f64,
    /// Greatest depth of compound, m.
    pub max_depth: f64,
    /// Middle of the patch, weighed by volume, local m.
    pub centre: [f64; 2],
    /// Corners of its edge, local m, simplified so that a line can be snapped between them.
    pub outline: Vec<[f64; 2]>,
}

impl Batch {
    /// Mean depth of compound, m.
    pub fn mean_depth(&self) -> f64 {
        self.volume / self.area
    }
}

/// A pour divided.
#[derive(Debug, Clone, PartialEq)]
pub struct Division {
    /// In the order of pouring.
    pub batches: Vec<Batch>,
    /// For every node of the lattice the batch that it belongs to; None off the floor, and on floor that no batch passes.
    pub batch_of: Vec<Option<u32>>,
    /// Bags in a full mix.
    pub bags_per_mix: u64,
}

/// Bags that go into one vessel of `vessel` m³.
///
/// # Errors
/// [`Error::Argument`] where it cannot hold a bag.
pub fn bags_per_mix(compound: &Compound, vessel: f64) -> Result<u64> {
    let bags = (vessel * (1.0 - HEADROOM) / compound.mixed_per_bag + 1e-9).floor();
    if bags >= 1.0 {
        return Ok(bags as u64);
    }
    let litres = |volume| System::Metric.volume(volume);
    Err(Error::argument(
        "--vessel",
        litres(vessel),
        format!(
            "at least {}: a bag of {} makes {}, and a fifth of the vessel stays free",
            litres(compound.mixed_per_bag / (1.0 - HEADROOM)),
            compound.name,
            litres(compound.mixed_per_bag)
        ),
    ))
}

/// Divides a pour of `fill` m³ (the exact volume) over `depths` (m, NaN off the floor) into mixes of one `vessel` (m³),
/// leaving by `exit` (local x, y, m). Parts of the floor that hang together only through a wall are poured one after the
/// other, the farthest first.
///
/// # Errors
/// As [`bags_per_mix`]; [`Error::Floor`] where a mix covers hardly more than a single cell of the lattice.
pub fn divide(
    depths: &HeightField,
    fill: f64,
    order: &Order,
    compound: &Compound,
    vessel: f64,
    exit: [f64; 2],
) -> Result<Division> {
    let bags_per_mix = bags_per_mix(compound, vessel)?;
    // What a bag leaves on the floor once the waste is off.
    let bag = compound.mixed_per_bag * fill / order.mixed;
    let mix = bag * bags_per_mix as f64;
    let mut pouring = Pouring::new(depths, fill, exit);
    let deepest = pouring.volume.iter().copied().fold(0.0, f64::max);
    if deepest > mix / 4.0 {
        let litres = |volume| System::Metric.volume(volume);
        return Err(Error::floor(
            format!(
                "{} of compound on a single cell of the plan",
                litres(deepest)
            ),
            format!(
                "at most a quarter of a mix of {}; pour in layers, or take a larger vessel",
                litres(mix)
            ),
        ));
    }
    let mut batches = Vec::new();
    for region in (0..pouring.regions()).rev() {
        pouring.enter(region);
        // Whole cells miss the mix by a little: the next batch makes it up.
        let mut carried = 0.0;
        while let Some(start) = pouring.start() {
            let number = batches.len() as u32;
            let (cells, used_up) = pouring.grow(start, number, mix + carried);
            let volume: f64 = cells.iter().map(|&cell| pouring.volume[cell]).sum();
            if volume <= 0.0 {
                pouring.leave_dry(&cells);
                continue;
            }
            let bags = if used_up {
                bags_per_mix
            } else {
                (whole_up((volume - carried) / bag) as u64).clamp(1, bags_per_mix)
            };
            carried = if used_up { carried + mix - volume } else { 0.0 };
            batches.push(batch(&pouring, &cells, bags, volume));
        }
    }
    Ok(Division {
        batches,
        batch_of: pouring.finish(),
        bags_per_mix,
    })
}

fn batch(pouring: &Pouring, cells: &[usize], bags: u64, volume: f64) -> Batch {
    let filled = || cells.iter().filter(|&&cell| pouring.volume[cell] > 0.0);
    let depths = || filled().map(|&cell| pouring.depths.z[cell]);
    let weighed = |axis: usize| -> f64 {
        filled()
            .map(|&cell| pouring.volume[cell] * pouring.depths.position(cell)[axis])
            .sum::<f64>()
            / volume
    };
    Batch {
        bags,
        volume,
        area: filled().count() as f64 * pouring.depths.dx * pouring.depths.dy,
        min_depth: depths().fold(f64::INFINITY, f64::min),
        max_depth: depths().fold(0.0, f64::max),
        centre: [weighed(0), weighed(1)],
        outline: outline(pouring.depths, cells),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::pour::distance::{distances, neighbours};
    use crate::pour::sheet::tests::SHEET;
    use crate::pour::{Volumes, order};

    /// A floor of 0.1 m cells with 10 mm of compound everywhere.
    fn floor([nx, ny]: [usize; 2], wall: impl Fn(usize, usize) -> bool) -> HeightField {
        let mut field = HeightField::unmeasured([0.0; 2], [0.1; 2], [nx, ny]);
        for node in 0..nx * ny {
            if !wall(node % nx, node / nx) {
                field.z[node] = 0.01;
            }
        }
        field
    }

    fn divided(depths: &HeightField, vessel: f64, exit: [f64; 2]) -> Division {
        let compound = Compound::parse(SHEET, "sheet").expect("a sheet");
        let filled = || depths.z.iter().filter(|depth| **depth > 0.0);
        let area = filled().count() as f64 * 0.01;
        let volumes = Volumes::even(area, filled().sum::<f64>() * 0.01 / area);
        let order = order(&volumes, &compound, 0.05).expect("an order");
        let division =
            divide(depths, volumes.fill, &order, &compound, vessel, exit).expect("divided");
        holds(depths, &division, volumes.fill, exit);
        division
    }

    /// What must hold for every division: all of the volume is poured, no mix is more than a vessel, every patch hangs
    /// together, and whatever is not poured yet can be left over floor not poured yet.
    fn holds(depths: &HeightField, division: &Division, fill: f64, exit: [f64; 2]) {
        let poured: f64 = division.batches.iter().map(|batch| batch.volume).sum();
        assert!((poured / fill - 1.0).abs() < 1e-9, "{poured} {fill}");
        assert!(
            division
                .batches
                .iter()
                .all(|batch| batch.bags >= 1 && batch.bags <= division.bags_per_mix)
        );
        let entrances = distances(depths, exit).entrances;
        for number in 0..division.batches.len() as u32 {
            let patch: Vec<usize> = (0..depths.z.len())
                .filter(|&n| division.batch_of[n] == Some(number))
                .collect();
            let together = reached(depths, &patch[..1], |n| {
                division.batch_of[n] == Some(number)
            });
            assert_eq!(together, patch.len(), "batch {number} is in pieces");
            let dry = |n: usize| division.batch_of[n].is_none_or(|batch| batch > number);
            let left = (0..depths.z.len())
                .filter(|&n| depths.z[n].is_finite() && dry(n))
                .count();
            let ways_out: Vec<usize> = entrances.iter().copied().filter(|&n| dry(n)).collect();
            assert_eq!(
                reached(depths, &ways_out, dry),
                left,
                "batch {number} traps someone"
            );
        }
    }

    fn reached(depths: &HeightField, from: &[usize], free: impl Fn(usize) -> bool) -> usize {
        let mut seen: BTreeSet<usize> = from.iter().copied().collect();
        let mut open = from.to_vec();
        while let Some(node) = open.pop() {
            for next in neighbours(depths, node).filter(|&next| free(next)) {
                if seen.insert(next) {
                    open.push(next);
                }
            }
        }
        seen.len()
    }

    /// 60 x 40 cells are 24 m², 240 l; a mix is one bag of 15 l less 5 % waste.
    #[test]
    fn far_corners_come_first() {
        let depths = floor([60, 40], |_, _| false);
        let division = divided(&depths, 0.03, [3.0, -0.1]);
        let at = |ix: usize, iy: usize| division.batch_of[iy * 60 + ix].expect("poured");
        assert!(at(0, 39).max(at(59, 39)) < at(30, 30));
        assert_eq!(at(30, 0), division.batches.len() as u32 - 1);
        assert_eq!(at(0, 39).min(at(59, 39)), 0);
    }

    #[test]
    fn around_a_column_and_into_an_l() {
        let depths = floor([60, 60], |x, y| {
            (20..30).contains(&x) && (25..35).contains(&y) || x > 40 && y > 25
        });
        let division = divided(&depths, 0.05, [0.0, 0.0]);
        assert_eq!(division.bags_per_mix, 2);
    }

    #[test]
    fn a_wall_makes_two_sequences() {
        let depths = floor([41, 20], |x, _| x == 20);
        let division = divided(&depths, 0.03, [0.0, 1.0]);
        let last_behind = division.batch_of[19 * 41 + 40].max(division.batch_of[21]);
        assert!(last_behind < division.batch_of[19]);
    }

    /// Rooms with blocks in them at random, and depths from -5 to 15 mm: a quarter of the floor is dry.
    #[test]
    fn cluttered_floors_are_divided_too() {
        let mut state = 7u64;
        let mut random = |below: usize| {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 33) as usize % below
        };
        for _ in 0..12 {
            let blocks: Vec<_> = (0..12)
                .map(|_| (random(50), random(40), 1 + random(9), 1 + random(9)))
                .collect();
            let inside = |x: usize, y: usize| {
                blocks
                    .iter()
                    .any(|&(bx, by, w, h)| (bx..bx + w).contains(&x) && (by..by + h).contains(&y))
            };
            let mut depths = floor([50, 40], inside);
            let (a, b) = (
                0.05 + 0.01 * random(30) as f64,
                0.05 + 0.01 * random(30) as f64,
            );
            for node in 0..depths.z.len() {
                let (x, y) = ((node % 50) as f64, (node / 50) as f64);
                depths.z[node] *= 0.5 + (a * x).sin() * (b * y).cos();
            }
            divided(&depths, 0.03, [0.1 * random(50) as f64, -0.1]);
        }
    }

    #[test]
    fn no_compound_no_batch() {
        let mut depths = floor([5, 5], |_, _| false);
        let compound = Compound::parse(SHEET, "sheet").expect("a sheet");
        depths.z.fill(-0.001);
        let order = order(&Volumes::even(0.0, 0.0), &compound, 0.05).expect("an order");
        let division = divide(&depths, 0.0, &order, &compound, 0.03, [0.0; 2]).expect("divided");
        assert_eq!(
            (division.batches.len(), division.batch_of),
            (0, vec![None; 25])
        );
        let deep = HeightField {
            z: vec![0.5; 25],
            ..depths
        };
        let order =
            crate::pour::order(&Volumes::even(0.25, 0.5), &compound, 0.05).expect("an order");
        assert!(divide(&deep, 0.125, &order, &compound, 0.03, [0.0; 2]).is_err());
    }

    #[test]
    fn a_vessel_too_small_says_what_would_do() {
        let compound = Compound::parse(SHEET, "sheet").expect("a sheet");
        let error = bags_per_mix(&compound, 0.018)
            .expect_err("15 l and headroom")
            .to_string();
        assert!(error.contains("at least 18.8 l"), "{error}");
        assert_eq!(bags_per_mix(&compound, 0.01875).expect("just"), 1);
    }
}

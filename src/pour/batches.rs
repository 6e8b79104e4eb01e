//! A pour divided into mixes: which patch of floor each one serves, and in which order.
//!
//! In: depths on a lattice, the ways out, the compound, the bags of a mix. Out: the patch of every batch, in the order of pouring.
//!
//! Every piece of floor that hangs together is cut into a patch for each mix (see `parts.rs`), and the patches are put in
//! order (see `sequence.rs`). Patches are as square as the wet edge allows: they are tried longer and longer across the
//! way in which the pour moves, along either wall, until no joint is too old. What is too small for half a bag and cut off
//! from the rest is poured with the nearest patch.
//!
//! Definition 8 of the README. Not here: when each batch is down (see [`super::wet_edge`]); pouring in layers.

use super::compound::Compound;
use super::distance::{Distances, distances};
use super::mixes::HALF;
use super::parts::{Floor, Part, parts};
use super::patch::{along_the_walls, outline};
use super::sequence::{Contacts, Sequence};
use crate::error::{Error, Result};
use crate::surface::HeightField;
use crate::units::System;

/// How many times longer than wide a patch may be made.
const STRETCHES: [f64; 5] = [1.0, 2.0, 4.0, 8.0, 16.0];

/// More mixes than this nobody carries by hand, and no batch would be a plan.
const MOST_MIXES: f64 = 2000.0;

/// One mix and the patch of floor that it is for.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// Whole bags, or half a bag.
    pub bags: f64,
    /// Which of the pieces of floor that do not hang together, counted from 0; see [`Division::entrances`].
    pub region: usize,
    /// Compound on the floor, without what is lost, m³.
    pub volume: f64,
    /// Area under compound, m².
    pub area: f64,
    /// Least depth of compound, m.
    pub min_depth: f64,
    /// Greatest depth of compound, m.
    pub max_depth: f64,
    /// The place of the patch nearest to its middle, weighed by volume, local m.
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
    /// For every node of the lattice the batch that it belongs to; None off the floor, and on pieces that stay dry.
    pub batch_of: Vec<Option<u32>>,
    /// For every piece of floor that is poured the place where it is entered, local m, in the order of pouring.
    pub entrances: Vec<[f64; 2]>,
}

impl Division {
    /// Bags of all batches.
    pub fn bags(&self) -> f64 {
        self.batches.iter().map(|batch| batch.bags).sum()
    }

    /// Of the batches that are `left` to pour on `depths` those that nobody can walk to over floor not poured yet.
    pub fn cut_off(&self, depths: &HeightField, left: &[bool]) -> Vec<usize> {
        let of_region = |region: usize| {
            let numbered = self.batches.iter().enumerate();
            let own = numbered.filter(|(_, batch)| batch.region == region);
            let own: Vec<usize> = own.map(|(number, _)| number).collect();
            let part = |batch: &Option<u32>| {
                let batch = (*batch)? as usize;
                own.iter().position(|&one| one == batch)
            };
            let part_of: Vec<_> = self.batch_of.iter().map(part).collect();
            let away = |node: usize, [x, y]: [f64; 2]| {
                let [nx, ny] = depths.position(node);
                (nx - x).hypot(ny - y)
            };
            let entrance = self.entrances.get(region).and_then(|&entrance| {
                let nodes = (0..part_of.len()).filter(|&node| part_of[node].is_some());
                nodes.min_by(|&a, &b| away(a, entrance).total_cmp(&away(b, entrance)))
            });
            let exit = entrance.and_then(|node| part_of[node]).unwrap_or(0);
            let middle = own.iter().map(|&number| self.batches[number].centre);
            let far = vec![0.0; own.len()];
            let contacts = Contacts::new(depths, &part_of, far, middle.collect(), exit);
            let left: Vec<_> = own
                .iter()
                .map(|&one| left.get(one) == Some(&true))
                .collect();
            let cut_off = contacts.cut_off(&left);
            let cut_off = own.into_iter().zip(cut_off);
            cut_off.filter_map(|(number, cut)| cut.then_some(number))
        };
        (0..self.entrances.len()).flat_map(of_region).collect()
    }
}

/// How the compound comes to the floor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply<'a> {
    /// The compound.
    pub compound: &'a Compound,
    /// Bags of a full mix.
    pub bags_per_mix: f64,
    /// Share of the compound that is lost on the way.
    pub waste: f64,
    /// How many batches may lie between two that are joined wet.
    pub most_apart: f64,
}

impl Supply<'_> {
    /// What a bag leaves on the floor once the waste is off, m³.
    pub fn bag(&self) -> f64 {
        self.compound.mixed_per_bag / (1.0 + self.waste)
    }
}

/// Divides a pour of `fill` m³ (the exact volume) over `depths` (m, NaN off the floor) into mixes, leaving by the nearest
/// of `exits` (local x, y, m). Parts of the floor that hang together only through a wall are poured one after the
/// other, the farthest first.
///
/// # Errors
/// [`Error::Floor`] for more than 2000 mixes, and where a mix covers hardly more than a single cell of the lattice.
pub fn divide(
    depths: &HeightField,
    fill: f64,
    supply: &Supply,
    exits: &[[f64; 2]],
) -> Result<Division> {
    let mut division = Division {
        batches: Vec::new(),
        batch_of: vec![None; depths.z.len()],
        entrances: Vec::new(),
    };
    if fill <= 0.0 {
        return Ok(division);
    }
    let volume = spread(depths, fill);
    mixes_make_sense(fill, &volume, supply)?;
    let away = distances(depths, exits);
    let (regions, weight) = regions(depths, &away, &volume, HALF * supply.bag());
    let mut patches: Vec<Vec<usize>> = Vec::new();
    for region in regions.iter().rev() {
        let along = along_the_walls(depths, &region.cells);
        let floor = Floor {
            depths,
            volume: &weight,
            metres: &away.metres,
            along,
            stretch: 1.0,
            bag: supply.bag(),
            bags_per_mix: supply.bags_per_mix,
        };
        let (parts, sequence) = youngest_edges(&floor, region, supply.most_apart);
        for &part in &sequence.order {
            let Part { cells, bags } = &parts[part];
            let islands = region.islands.iter().filter(|(at, _)| cells.contains(at));
            let all: Vec<usize> = cells
                .iter()
                .chain(islands.flat_map(|(_, cells)| cells))
                .copied()
                .collect();
            for &cell in &all {
                division.batch_of[cell] = Some(division.batches.len() as u32);
            }
            let number = division.entrances.len();
            let batch = batch(depths, &volume, &all, *bags, number);
            division.batches.push(batch);
            patches.push(all);
        }
        division.entrances.push(depths.position(region.entrance));
    }
    for (batch, cells) in division.batches.iter_mut().zip(&patches) {
        batch.outline = outline(depths, cells, &division.batch_of);
    }
    Ok(division)
}

/// `fill` m³ spread over the nodes by their depth.
fn spread(depths: &HeightField, fill: f64) -> Vec<f64> {
    let filled = |depth: f64| if depth > 0.0 { depth } else { 0.0 };
    let sampled: f64 = depths.z.iter().map(|&depth| filled(depth)).sum();
    depths
        .z
        .iter()
        .map(|&depth| fill * filled(depth) / sampled)
        .collect()
}

/// # Errors
/// [`Error::Floor`] for more mixes than anybody carries, and where a mix covers hardly more than a single cell.
fn mixes_make_sense(fill: f64, volume: &[f64], supply: &Supply) -> Result<()> {
    let mix = supply.bag() * supply.bags_per_mix;
    let mixes = (fill / mix).ceil();
    if mixes > MOST_MIXES {
        let wanted = format!("at most {MOST_MIXES} to plan batches: take a larger --vessel");
        return Err(Error::floor(format!("{mixes} mixes"), wanted));
    }
    let deepest = volume.iter().copied().fold(0.0, f64::max);
    if deepest <= mix / 4.0 {
        return Ok(());
    }
    let litres = |volume| System::Metric.volume(volume);
    Err(Error::floor(
        format!(
            "{} of compound on a single cell of the plan",
            litres(deepest)
        ),
        format!(
            "at most a quarter of a mix of {}; pour in layers, or take a larger vessel",
            litres(mix)
        ),
    ))
}

/// A piece of floor that hangs together, and what is poured with it.
struct Region {
    entrance: usize,
    cells: Vec<usize>,
    /// Pieces too small for half a bag, each with the cell nearest to it.
    islands: Vec<(usize, Vec<usize>)>,
}

/// The pieces of floor that need compound, the nearest to a way out first; those that need less than `least` m³ as
/// islands of others, if there are others. With them the compound on every node, m³, that of islands on the cell
/// nearest to them.
fn regions(
    depths: &HeightField,
    away: &Distances,
    volume: &[f64],
    least: f64,
) -> (Vec<Region>, Vec<f64>) {
    let mut weight = volume.to_vec();
    let mut pieces = vec![Vec::new(); away.entrances.len()];
    for (node, region) in away.region.iter().enumerate() {
        if let Some(region) = region {
            pieces[*region as usize].push(node);
        }
    }
    let of = |cells: &[usize]| cells.iter().map(|&cell| volume[cell]).sum::<f64>();
    let largest = pieces.iter().map(|cells| of(cells)).fold(0.0, f64::max);
    let wet = away
        .entrances
        .iter()
        .zip(pieces)
        .filter(|(_, cells)| of(cells) > 0.0);
    let (mains, small): (Vec<_>, Vec<_>) =
        wet.partition(|(_, cells)| of(cells) >= least.min(largest));
    let mut regions: Vec<Region> = mains
        .into_iter()
        .map(|(&entrance, cells)| Region {
            entrance,
            cells,
            islands: Vec::new(),
        })
        .collect();
    for (&entrance, island) in small {
        let [x, y] = depths.position(entrance);
        let apart = |cell: usize| {
            let [cx, cy] = depths.position(cell);
            (cx - x).hypot(cy - y)
        };
        let nearest = |region: &Region| {
            region
                .cells
                .iter()
                .copied()
                .min_by(|&a, &b| apart(a).total_cmp(&apart(b)))
        };
        let of_each = (0..regions.len()).filter_map(|at| Some((at, nearest(&regions[at])?)));
        if let Some((at, cell)) = of_each.min_by(|a, b| apart(a.1).total_cmp(&apart(b.1))) {
            weight[cell] += of(&island);
            regions[at].islands.push((cell, island));
        }
    }
    (regions, weight)
}

/// The squarest parts that can all be joined wet, with their order; else those with the fewest joints that are too old.
fn youngest_edges(floor: &Floor, region: &Region, most: f64) -> (Vec<Part>, Sequence) {
    let [x, y] = floor.along;
    let tried = |stretch: f64, along: [f64; 2]| {
        let floor = Floor {
            along,
            stretch,
            ..*floor
        };
        let parts = parts(&floor, region.cells.clone());
        let sequence = contacts(&floor, &parts, region.entrance).sequence(most);
        (parts, sequence)
    };
    let mut best = tried(STRETCHES[0], [x, y]);
    for (number, stretch) in STRETCHES.into_iter().enumerate() {
        for along in [[x, y], [-y, x]].into_iter().skip(usize::from(number == 0)) {
            let next = tried(stretch, along);
            if next.1.compare(&best.1, most).is_lt() {
                best = next;
            }
        }
        if best.1.too_old(most) == 0 {
            break;
        }
    }
    let (parts, sequence) = best;
    let improved = contacts(floor, &parts, region.entrance).improved(sequence, most);
    (parts, improved)
}

fn contacts(floor: &Floor, parts: &[Part], entrance: usize) -> Contacts {
    let mut part_of = vec![None; floor.depths.z.len()];
    for (number, part) in parts.iter().enumerate() {
        for &cell in &part.cells {
            part_of[cell] = Some(number);
        }
    }
    let farthest = |part: &Part| {
        let metres = part.cells.iter().map(|&cell| floor.metres[cell]);
        metres.fold(0.0, f64::max)
    };
    let middle = |part: &Part| {
        [0, 1].map(|axis| {
            let along = part
                .cells
                .iter()
                .map(|&cell| floor.depths.position(cell)[axis]);
            along.sum::<f64>() / part.cells.len() as f64
        })
    };
    Contacts::new(
        floor.depths,
        &part_of,
        parts.iter().map(farthest).collect(),
        parts.iter().map(middle).collect(),
        part_of[entrance].unwrap_or(0),
    )
}

/// A batch but for its outline.
fn batch(depths: &HeightField, volume: &[f64], cells: &[usize], bags: f64, region: usize) -> Batch {
    let filled = || cells.iter().copied().filter(|&cell| volume[cell] > 0.0);
    let whole: f64 = filled().map(|cell| volume[cell]).sum();
    let middle = [0, 1].map(|axis| {
        let weighed = filled().map(|cell| volume[cell] * depths.position(cell)[axis]);
        weighed.sum::<f64>() / whole
    });
    let off_middle = |cell: usize| {
        let [x, y] = depths.position(cell);
        (x - middle[0]).hypot(y - middle[1])
    };
    let centre = filled().min_by(|&a, &b| off_middle(a).total_cmp(&off_middle(b)));
    Batch {
        bags,
        region,
        volume: whole,
        area: filled().count() as f64 * depths.dx * depths.dy,
        min_depth: filled()
            .map(|cell| depths.z[cell])
            .fold(f64::INFINITY, f64::min),
        max_depth: filled().map(|cell| depths.z[cell]).fold(0.0, f64::max),
        centre: centre.map_or(middle, |cell| depths.position(cell)),
        outline: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::pour::distance::neighbours;
    use crate::pour::mixes::bags_per_mix;
    use crate::pour::sheet::tests::SHEET;

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
        let supply = Supply {
            compound: &compound,
            bags_per_mix: bags_per_mix(&compound, vessel).expect("a bag"),
            waste: 0.05,
            most_apart: 5.0,
        };
        let filled = depths.z.iter().filter(|depth| **depth > 0.0);
        let fill = filled.sum::<f64>() * 0.01;
        let division = divide(depths, fill, &supply, &[exit]).expect("divided");
        holds(depths, &division, fill, &supply, exit);
        division
    }

    /// What must hold for every division: all of the volume is poured, no mix is more than a vessel or for more floor than
    /// it is enough for, every patch hangs together but for islands, and whatever is not poured yet can be left over floor
    /// not poured yet.
    fn holds(
        depths: &HeightField,
        division: &Division,
        fill: f64,
        supply: &Supply,
        exit: [f64; 2],
    ) {
        let poured: f64 = division.batches.iter().map(|batch| batch.volume).sum();
        assert!((poured / fill - 1.0).abs() < 1e-9, "{poured} {fill}");
        for batch in &division.batches {
            assert!(batch.bags >= HALF && batch.bags <= supply.bags_per_mix);
            let made = batch.bags * supply.bag();
            assert!(
                batch.volume < made + 0.05 * supply.bag() * supply.bags_per_mix,
                "{batch:?} {made}"
            );
        }
        let away = distances(depths, &[exit]);
        let alone: Vec<bool> = (0..away.entrances.len() as u32)
            .map(|region| {
                let nodes = (0..depths.z.len()).filter(|&n| away.region[n] == Some(region));
                nodes.map(|n| depths.z[n].max(0.0) * 0.01).sum::<f64>() < HALF * supply.bag()
            })
            .collect();
        let main = |n: usize| away.region[n].is_some_and(|region| !alone[region as usize]);
        for number in 0..division.batches.len() as u32 {
            let patch: Vec<usize> = (0..depths.z.len())
                .filter(|&n| division.batch_of[n] == Some(number) && main(n))
                .collect();
            let together = reached(depths, &patch[..1], |n| {
                division.batch_of[n] == Some(number)
            });
            assert_eq!(together, patch.len(), "batch {number} is in pieces");
            let dry = |n: usize| division.batch_of[n].is_none_or(|batch| batch > number);
            let left = (0..depths.z.len()).filter(|&n| main(n) && dry(n)).count();
            let ways_out: Vec<usize> = away
                .entrances
                .iter()
                .copied()
                .filter(|&n| main(n) && dry(n))
                .collect();
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
    /// A corridor of 8 m x 1 m, the way out at its near end: poured in order nobody is trapped at any time; with the batch at
    /// the door down early, all that is left is cut off.
    #[test]
    fn what_lies_behind_wet_floor_is_cut_off() {
        let depths = floor([80, 10], |_, _| false);
        let division = divided(&depths, 0.02, [0.0, 0.5]);
        let count = division.batches.len();
        assert!(count > 3, "{count}");
        for down in 0..=count {
            let left: Vec<_> = (0..count).map(|batch| batch >= down).collect();
            assert!(division.cut_off(&depths, &left).is_empty(), "{down} down");
        }
        let left: Vec<_> = (0..count).map(|batch| batch == 1).collect();
        assert_eq!(division.cut_off(&depths, &left), [1]);
        let left: Vec<_> = (0..count).map(|batch| batch != 1).collect();
        assert_eq!(division.cut_off(&depths, &left), [0]);
    }

    #[test]
    fn far_corners_come_first() {
        let depths = floor([60, 40], |_, _| false);
        let division = divided(&depths, 0.03, [3.0, -0.1]);
        let at = |ix: usize, iy: usize| division.batch_of[iy * 60 + ix].expect("poured");
        assert!(at(0, 39).max(at(59, 39)) < at(30, 30));
        assert_eq!(at(30, 0), division.batches.len() as u32 - 1);
        assert_eq!(at(0, 39).min(at(59, 39)), 0);
        // 240 l at 14.3 l a bag are 16.8 bags; the first is no larger than the others.
        assert_eq!((division.batches.len(), division.bags()), (17, 17.0));
    }

    #[test]
    fn around_a_column_and_into_an_l() {
        let depths = floor([60, 60], |x, y| {
            (20..30).contains(&x) && (25..35).contains(&y) || x > 40 && y > 25
        });
        let division = divided(&depths, 0.05, [0.0, 0.0]);
        // 28.54 m² at 10 mm are 19.98 bags.
        let bags: Vec<f64> = division.batches.iter().map(|batch| batch.bags).collect();
        assert_eq!(bags, [2.0; 10]);
    }

    #[test]
    fn a_wall_makes_two_sequences() {
        let depths = floor([41, 20], |x, _| x == 20);
        let division = divided(&depths, 0.03, [0.0, 1.0]);
        let last_behind = division.batch_of[19 * 41 + 40].max(division.batch_of[21]);
        assert!(last_behind < division.batch_of[19]);
        assert_eq!(division.entrances.len(), 2);
        let regions: Vec<usize> = division.batches.iter().map(|batch| batch.region).collect();
        assert!(
            regions.is_sorted() && regions.last() == Some(&1),
            "{regions:?}"
        );
    }

    /// A niche behind a wall, too small for half a bag of 7.1 l, is poured with the floor nearest to it.
    #[test]
    fn an_island_is_no_sequence_of_its_own() {
        let depths = floor([40, 20], |x, _| x == 37);
        let division = divided(&depths, 0.03, [0.0, 1.0]);
        assert_eq!(division.entrances.len(), 1);
        for row in 0..20 {
            let number = division.batch_of[row * 40 + 39].expect("poured");
            assert!(division.batches[number as usize].centre[0] > 2.0);
        }
    }

    /// 2 m² at 10 mm are 1.4 bags: half a bag in the far corner, then a whole one.
    #[test]
    fn half_a_bag_goes_into_the_far_corner() {
        let depths = floor([20, 10], |_, _| false);
        let division = divided(&depths, 0.02, [-0.1, 0.5]);
        let bags: Vec<f64> = division.batches.iter().map(|batch| batch.bags).collect();
        assert_eq!(bags, [0.5, 1.0]);
        assert!(division.batches[0].centre[0] > 1.3);
        assert!((division.batches[0].volume / 0.02 - 1.0 / 3.0).abs() < 0.02);
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
        let supply = Supply {
            compound: &compound,
            bags_per_mix: 1.0,
            waste: 0.05,
            most_apart: 2.0,
        };
        depths.z.fill(-0.001);
        let division = divide(&depths, 0.0, &supply, &[[0.0; 2]]).expect("divided");
        assert_eq!(
            (division.batches.len(), division.batch_of),
            (0, vec![None; 25])
        );
        let deep = HeightField {
            z: vec![0.5; 25],
            ..depths
        };
        assert!(divide(&deep, 0.125, &supply, &[[0.0; 2]]).is_err());
        let error = divide(&deep, 1e3, &supply, &[[0.0; 2]]).expect_err("70,000 mixes");
        assert!(error.to_string().contains("larger --vessel"), "{error}");
    }
}

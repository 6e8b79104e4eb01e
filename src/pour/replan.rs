//! The rest of a pour, once some of it is down thicker or thinner than planned.
//!
//! In: depths on the plan's lattice, the batch of every node, what is down, the bags there were. Out: a [`Replan`]: bags
//! left against what the rest takes; if they are not enough, how much lower the rest comes out, or how many are missing.
//! Volumes are those of the lattice, brought to the exact volume of the whole. The rest's volume falls with its level
//! and is convex, so that Newton's steps from the level planned never go too far (as in `reach.rs`).
//! What bags leave on the floor is their yield over 1 + waste. Where the bags of a batch were not counted, they are taken as
//! planned, and as much more as the depths measured say. Definition 8 of the README.
//! Not here: how what is left is mixed, and when each batch is down (see `batches.rs` and `wet_edge.rs`).

use super::compound::Compound;
use super::mixes::HALF;
use super::order::whole_up;
use crate::surface::HeightField;
use crate::units::MILLIMETRE;

/// A level lower by less than this nobody finds, m; the lattice is no better either.
const NO_MATTER: f64 = 0.1 * MILLIMETRE;

/// More steps than any floor needs.
const MOST_STEPS: usize = 200;

/// A pour as it was planned.
#[derive(Debug, Clone, Copy)]
pub struct Planned<'a> {
    /// Depths on the lattice, m, NaN off the floor.
    pub depths: &'a HeightField,
    /// The exact volume of the whole, m³.
    pub fill: f64,
    /// For every node its batch, counted from 0.
    pub batch_of: &'a [Option<u32>],
    /// Bags of every batch.
    pub bags: &'a [f64],
    /// The compound.
    pub compound: &'a Compound,
    /// Share of it that is lost.
    pub waste: f64,
}

/// A batch that is down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Laid {
    /// Which, counted from 0.
    pub batch: usize,
    /// Bags used for it, if they were counted.
    pub bags: Option<f64>,
}

/// How far what is down is off what was planned, where it was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Off {
    /// How many depths were measured.
    pub count: usize,
    /// On average, m: above zero where it is thicker.
    pub mean: f64,
    /// Where it is thinnest against the plan, m.
    pub least: f64,
    /// Where it is thickest, m.
    pub most: f64,
}

impl Off {
    /// Of differences, measured less planned, m; None of none.
    pub fn of(differences: &[f64]) -> Option<Self> {
        let least = differences.iter().copied().reduce(f64::min)?;
        let most = differences.iter().copied().reduce(f64::max)?;
        let count = differences.len();
        let mean = differences.iter().sum::<f64>() / count as f64;
        Some(Self {
            count,
            mean,
            least,
            most,
        })
    }
}

/// A batch still to come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    /// Which of the plan, counted from 0.
    pub batch: usize,
    /// Compound on the floor, m³, at the level that what is left reaches.
    pub volume: f64,
    /// Bags of it: as planned, or where the level drops what it takes, parts of a bag included.
    pub bags: f64,
}

/// What is down and what is left.
#[derive(Debug, Clone, PartialEq)]
pub struct Replan {
    /// Bags planned for what is down.
    pub planned: f64,
    /// Bags used for it.
    pub used: f64,
    /// How far it is off the plan; None where no depth was measured.
    pub off: Option<Off>,
    /// Bags left.
    pub bags_left: f64,
    /// What they leave on the floor, m³.
    pub left: f64,
    /// What the rest takes at the level planned, m³.
    pub needed: f64,
    /// Whole bags missing for that.
    pub bags_missing: u64,
    /// How much lower the rest comes out with what is left, m; where nothing is left, its greatest depth.
    pub drop: f64,
    /// Batches still to come, in the order of the plan.
    pub rest: Vec<Left>,
}

impl Replan {
    /// Whether what is left is enough for the level planned.
    pub fn enough(&self) -> bool {
        self.bags_missing == 0
    }

    /// Step at the edge between what is down and the rest, m: above zero where what is down is higher.
    pub fn step(&self) -> f64 {
        self.drop + self.off.map_or(0.0, |off| off.mean)
    }
}

/// Plans the rest with `laid` down and `off` measured there; `bags` were on site before the first was mixed. What was
/// used beyond those leaves none.
pub fn replan(plan: &Planned, laid: &[Laid], off: Option<Off>, bags: f64) -> Replan {
    let cells = Cells::new(plan);
    let bag = plan.compound.mixed_per_bag / (1.0 + plan.waste);
    let planned_for = |batch: usize| plan.bags.get(batch).copied().unwrap_or_default();
    let off_bags = off.map_or(0.0, |off| off.mean) * cells.volume_a_metre / bag;
    let used = laid.iter().map(|one| {
        let more = || off_bags * cells.wet(one.batch) as f64;
        one.bags
            .unwrap_or_else(|| (planned_for(one.batch) + more()).max(0.0))
    });
    let used: f64 = used.sum();
    let rest: Vec<usize> = (0..plan.bags.len())
        .filter(|batch| laid.iter().all(|one| one.batch != *batch))
        .collect();
    let bags_left = (bags - used).max(0.0);
    let (left, needed) = (bags_left * bag, cells.volume(&rest, 0.0));
    let drop = cells.drop(&rest, left);
    let drop = if drop < NO_MATTER { 0.0 } else { drop };
    let rest = rest.into_iter().map(|batch| {
        let volume = cells.volume(&[batch], drop);
        let bags = if drop > 0.0 {
            volume / bag
        } else {
            planned_for(batch)
        };
        Left {
            batch,
            volume,
            bags,
        }
    });
    let mut rest: Vec<_> = rest.collect();
    if drop == 0.0 {
        ask_for_no_more(&mut rest, bags_left);
    }
    Replan {
        planned: laid.iter().map(|one| planned_for(one.batch)).sum(),
        used,
        off,
        bags_left,
        left,
        needed,
        bags_missing: if drop > 0.0 {
            whole_up((needed - left) / bag) as u64
        } else {
            0
        },
        drop,
        rest,
    }
}

/// The last mixes do with the half bags that are there, where mixes were rounded up to others.
fn ask_for_no_more(rest: &mut [Left], bags_left: f64) {
    let there = HALF * whole_up(bags_left / HALF);
    let planned: f64 = rest.iter().map(|left| left.bags).sum();
    let mut over = HALF * ((planned - there) / HALF).round();
    for left in rest.iter_mut().rev() {
        let less = over.min(left.bags - HALF).max(0.0);
        left.bags -= less;
        over -= less;
    }
}

/// The depths under compound of every batch.
struct Cells {
    of_batch: Vec<Vec<f64>>,
    /// Volume of a node for each metre of depth, m².
    volume_a_metre: f64,
}

impl Cells {
    fn new(plan: &Planned) -> Self {
        let mut of_batch = vec![Vec::new(); plan.bags.len()];
        let mut sum = 0.0;
        for (&depth, batch) in plan.depths.z.iter().zip(plan.batch_of) {
            if depth > 0.0
                && let Some(cells) = batch.and_then(|batch| of_batch.get_mut(batch as usize))
            {
                cells.push(depth);
                sum += depth;
            }
        }
        Self {
            of_batch,
            volume_a_metre: if sum > 0.0 { plan.fill / sum } else { 0.0 },
        }
    }

    /// Nodes under compound in a batch.
    fn wet(&self, batch: usize) -> usize {
        self.of_batch.get(batch).map_or(0, Vec::len)
    }

    /// Depths in `batches` once the level is lower by `drop`.
    fn depths(&self, batches: &[usize], drop: f64) -> impl Iterator<Item = f64> {
        batches
            .iter()
            .filter_map(|&batch| self.of_batch.get(batch))
            .flatten()
            .map(move |depth| depth - drop)
            .filter(|depth| *depth > 0.0)
    }

    /// What `batches` take once the level is lower by `drop`, m³.
    fn volume(&self, batches: &[usize], drop: f64) -> f64 {
        // A sum of nothing is -0.
        self.volume_a_metre * self.depths(batches, drop).sum::<f64>() + 0.0
    }

    /// How much lower `batches` come out with `left` m³.
    fn drop(&self, batches: &[usize], left: f64) -> f64 {
        let mut drop = 0.0;
        for _ in 0..MOST_STEPS {
            let over = self.volume(batches, drop) - left;
            if over <= 0.0 {
                return drop;
            }
            let wet = self.depths(batches, drop).count() as f64;
            let step = over / (wet * self.volume_a_metre);
            if drop + step <= drop || wet == 0.0 {
                return drop;
            }
            drop += step;
        }
        drop
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::sheet::tests::SHEET;

    /// 15 l a bag.
    fn compound() -> Compound {
        Compound::parse(SHEET, "sheet.toml").expect("a good sheet")
    }

    /// A corridor 12 m x 1 m of 0.1 m cells in 8 batches of 1.5 m; depth (m) by the distance along it (m). Bags of each
    /// batch are what it takes.
    fn rest_of(
        depth: impl Fn(f64) -> f64,
        laid: &[Option<f64>],
        off: Option<Off>,
        bags: f64,
    ) -> Replan {
        let mut depths = HeightField::unmeasured([0.05; 2], [0.1; 2], [120, 10]);
        for node in 0..depths.z.len() {
            depths.z[node] = depth(depths.position(node)[0]);
        }
        let batch_of: Vec<_> = (0..1200).map(|node| Some(node % 120 / 15)).collect();
        let fill = 0.01 * depths.z.iter().sum::<f64>();
        let bags_of = |batch: u32| {
            let nodes = batch_of.iter().zip(&depths.z);
            let volume = nodes.filter(|(of, _)| **of == Some(batch)).map(|(_, z)| z);
            0.01 * volume.sum::<f64>() / 0.015
        };
        let plan = Planned {
            depths: &depths,
            fill,
            batch_of: &batch_of,
            bags: &(0..8).map(bags_of).collect::<Vec<_>>(),
            compound: &compound(),
            waste: 0.0,
        };
        let laid = laid.iter().enumerate();
        let laid: Vec<_> = laid.map(|(batch, &bags)| Laid { batch, bags }).collect();
        replan(&plan, &laid, off, bags)
    }

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-9, "{a} {b}");
    }

    /// 10 mm everywhere: a bag a batch.
    #[test]
    fn as_planned_the_rest_stays_as_it_was() {
        for laid in [[None; 3], [Some(1.0); 3]] {
            let found = rest_of(|_| 0.01, &laid, Off::of(&[0.0, 0.0]), 8.0);
            near(found.used, found.planned);
            near(found.bags_left, 5.0);
            near(found.needed, 0.075);
            assert!(found.enough());
            assert_eq!((found.drop, found.step()), (0.0, 0.0));
            let rest: Vec<_> = found.rest.iter().map(|left| left.batch).collect();
            assert_eq!(rest, [3, 4, 5, 6, 7]);
            for left in found.rest {
                near(left.bags, 1.0);
                near(left.volume, 0.015);
            }
        }
    }

    /// 1 mm more over 4.5 m² are 4.5 l, 0.3 bags; they are missing on 7.5 m²: 0.6 mm.
    #[test]
    fn a_millimetre_more_is_missing_later() {
        let found = rest_of(|_| 0.01, &[None; 3], Off::of(&[0.0005, 0.0015]), 8.0);
        near(found.used, 3.3);
        near(found.bags_left, 4.7);
        near(found.drop, 0.0006);
        near(found.step(), 0.0016);
        assert_eq!(found.bags_missing, 1);
        let volume: f64 = found.rest.iter().map(|left| left.volume).sum();
        near(volume, found.left);
        let off = found.off.expect("measured");
        assert_eq!((off.count, off.least, off.most), (2, 0.0005, 0.0015));
    }

    /// Bags that were counted say more than depths: 4 used in place of 3 are 15 l, on 7.5 m² 2 mm.
    #[test]
    fn counted_bags_come_first() {
        let counted = [Some(1.0), Some(1.0), Some(2.0)];
        let found = rest_of(|_| 0.01, &counted, Off::of(&[-0.001]), 8.0);
        near(found.drop, 0.002);
        near(found.step(), 0.001);
        assert_eq!(found.bags_missing, 1);
    }

    #[test]
    fn thinner_leaves_more() {
        let found = rest_of(|_| 0.01, &[None; 3], Off::of(&[-0.001]), 8.0);
        near(found.used, 2.7);
        assert!(found.enough());
        near(found.step(), -0.001);
    }

    #[test]
    fn no_more_bags_are_asked_for_than_there_are() {
        let left = |bags| Left {
            batch: 0,
            volume: 0.012,
            bags,
        };
        for (there, wanted) in [
            (3.0, [1.0, 2.0]),
            (2.5, [1.0, 1.5]),
            (2.3, [1.0, 1.5]),
            (1.5, [1.0, 0.5]),
        ] {
            let mut rest = [left(1.0), left(2.0)];
            ask_for_no_more(&mut rest, there);
            assert_eq!(rest.map(|left| left.bags), wanted, "{there}");
        }
    }

    /// 6 m of 10 mm are down; over the other 6 m the depth falls from 10 mm to 0, which takes 30 l. With 15 l the level
    /// drops by d: 6 (10 - d)² / 20 = 15, d = 2.93 mm.
    #[test]
    fn a_wedge_drops_by_its_closed_form() {
        let depth = |x: f64| 0.01 * ((12.0 - x) / 6.0).min(1.0);
        let found = rest_of(depth, &[Some(1.0); 4], None, 5.0);
        let wanted = 0.01 * (1.0 - 0.5_f64.sqrt());
        assert!((found.drop - wanted).abs() < 2e-5, "{}", found.drop);
        assert_eq!(found.bags_missing, 1);
    }

    #[test]
    fn nothing_left_and_nothing_to_come() {
        let found = rest_of(|_| 0.01, &[Some(2.0); 4], None, 8.0);
        near(found.drop, 0.01);
        assert_eq!(found.bags_missing, 4);
        let done = rest_of(|_| 0.01, &[None; 8], None, 8.0);
        assert_eq!((done.rest.len(), done.drop, done.bags_missing), (0, 0.0, 0));
        assert!(done.needed.is_sign_positive(), "shown as -0.0");
    }
}

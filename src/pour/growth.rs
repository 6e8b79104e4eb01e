//! How a floor is poured batch by batch without trapping anyone.
//!
//! In: depths on a lattice and the way out; then, batch by batch, how much there is of a mix. Out: the cells that it covers.
//!
//! A place is poured only when everything around it that is farther from the way out has been poured. So from whatever
//! is not poured yet a way of falling distance leads out over floor not poured yet: nobody is trapped.
//! A batch starts at a place that is free to be poured beside the oldest wet edge, or at the farthest place of all, and
//! grows over the farthest place beside it until its mix is used up. So it hangs together. Where it meets a place that
//! has to wait for a corner not poured yet, it takes the corner in if its mix is enough for all of it. If
//! nothing beside it is free, it ends early, with as many bags as it needs.
//!
//! No source: the argument is above, and the tests of `batches.rs` hold it on cluttered floors.

use std::cmp::{Ordering, Reverse};
use std::collections::{BTreeSet, BinaryHeap};

use super::distance::{Distances, distances, neighbours};
use crate::surface::HeightField;

/// Stands for a batch on floor that needs no compound and lies in nobody's way.
const DRY: u32 = u32::MAX;

/// A floor being poured, one region after the other.
pub(super) struct Pouring<'a> {
    pub(super) depths: &'a HeightField,
    away: Distances,
    /// Compound on every node, m³.
    pub(super) volume: Vec<f64>,
    batch_of: Vec<Option<u32>>,
    /// The region's nodes, the farthest last; poured ones are dropped when they come up.
    farthest: Vec<Farthest>,
    /// Nodes not poured that lie beside poured ones.
    beside: BTreeSet<usize>,
    /// How many of the region's nodes still need compound.
    wanting: usize,
}

/// A place that might be poured next, farthest first.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Farthest {
    metres: f64,
    node: usize,
}

impl Eq for Farthest {}

impl Ord for Farthest {
    fn cmp(&self, other: &Self) -> Ordering {
        self.metres
            .total_cmp(&other.metres)
            .then(other.node.cmp(&self.node))
    }
}

impl PartialOrd for Farthest {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<'a> Pouring<'a> {
    /// `fill` m³ spread over the nodes by their depth.
    pub(super) fn new(depths: &'a HeightField, fill: f64, exit: [f64; 2]) -> Self {
        let sampled: f64 = depths.z.iter().filter(|depth| **depth > 0.0).sum();
        let share = |depth: f64| {
            if depth > 0.0 {
                fill * depth / sampled
            } else {
                0.0
            }
        };
        Self {
            depths,
            away: distances(depths, exit),
            volume: depths.z.iter().map(|&depth| share(depth)).collect(),
            batch_of: vec![None; depths.z.len()],
            farthest: Vec::new(),
            beside: BTreeSet::new(),
            wanting: 0,
        }
    }

    /// How many parts the floor has that do not hang together, the one with the way out first.
    pub(super) fn regions(&self) -> u32 {
        self.away.entrances.len() as u32
    }

    /// Starts on a region.
    pub(super) fn enter(&mut self, region: u32) {
        let nodes = (0..self.batch_of.len()).filter(|&node| self.away.region[node] == Some(region));
        self.farthest = nodes.map(|node| self.place(node)).collect();
        self.farthest.sort_unstable();
        self.wanting = self
            .farthest
            .iter()
            .filter(|place| self.volume[place.node] > 0.0)
            .count();
        self.beside.clear();
    }

    fn place(&self, node: usize) -> Farthest {
        Farthest {
            metres: self.away.metres[node],
            node,
        }
    }

    fn poured(&self, node: usize) -> bool {
        self.batch_of[node].is_some()
    }

    /// What has to be poured before `node`.
    fn before(&self, node: usize) -> impl Iterator<Item = usize> + '_ {
        self.open_beside(node)
            .filter(move |&next| self.place(next) > self.place(node))
    }

    /// Where the next batch starts: beside the oldest batch that has free floor beside it, or else at the farthest
    /// place. None when no compound is left to pour.
    pub(super) fn start(&mut self) -> Option<usize> {
        if self.wanting == 0 {
            return None;
        }
        let free = self
            .beside
            .iter()
            .filter(|&&node| self.before(node).next().is_none());
        let aged = free.map(|&node| {
            let oldest = neighbours(self.depths, node)
                .filter_map(|next| self.batch_of[next])
                .min();
            (Reverse(oldest), self.place(node))
        });
        if let Some((_, place)) = aged.max() {
            return Some(place.node);
        }
        while self.poured(self.farthest.last()?.node) {
            self.farthest.pop();
        }
        self.farthest.last().map(|place| place.node)
    }

    /// Pours batch `number` from `start` on, `mix` m³ but for half of the last cell. Returns its cells, and whether
    /// the mix is used up.
    pub(super) fn grow(&mut self, start: usize, number: u32, mix: f64) -> (Vec<usize>, bool) {
        let mut cells = Vec::new();
        let mut left = mix;
        let mut open = BinaryHeap::from([self.place(start)]);
        while let Some(Farthest { node, .. }) = open.pop() {
            if self.poured(node) {
                continue;
            }
            let Some(corner) = self.corner_behind(node, left) else {
                if self.before(node).next().is_none() {
                    return (cells, true);
                }
                continue;
            };
            for node in corner {
                left -= self.volume[node];
                self.cover(node, number);
                cells.push(node);
                open.extend(self.open_beside(node).map(|next| self.place(next)));
            }
        }
        (cells, false)
    }

    fn cover(&mut self, node: usize, number: u32) {
        self.batch_of[node] = Some(number);
        self.wanting -= usize::from(self.volume[node] > 0.0);
        self.beside.remove(&node);
        let beside: Vec<usize> = self.open_beside(node).collect();
        self.beside.extend(beside);
    }

    fn open_beside(&self, node: usize) -> impl Iterator<Item = usize> + '_ {
        neighbours(self.depths, node).filter(|&next| !self.poured(next))
    }

    /// `node` and everything not poured yet that has to be poured before it, if that takes no more than `left` m³.
    fn corner_behind(&self, node: usize, left: f64) -> Option<BTreeSet<usize>> {
        let mut corner = BTreeSet::from([node]);
        let mut open = vec![node];
        let mut volume = 0.0;
        while let Some(node) = open.pop() {
            volume += self.volume[node];
            if volume > left + 0.5 * self.volume[node] {
                return None;
            }
            for next in self.before(node) {
                if corner.insert(next) {
                    open.push(next);
                }
            }
        }
        Some(corner)
    }

    /// Takes back a batch of nothing: its cells need no compound and lie in nobody's way.
    pub(super) fn leave_dry(&mut self, cells: &[usize]) {
        for &cell in cells {
            self.batch_of[cell] = Some(DRY);
        }
    }

    /// For every node its batch.
    pub(super) fn finish(self) -> Vec<Option<u32>> {
        let batches = self.batch_of.into_iter();
        batches
            .map(|batch| batch.filter(|&batch| batch != DRY))
            .collect()
    }
}

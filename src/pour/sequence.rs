//! In which order the parts of a floor are poured: far corners first, nobody trapped, wet edges young.
//!
//! In: for every node its part, how far every part is from the way out. Out: the parts in order.
//!
//! A part is poured only when all that is not poured yet can still be left over floor not poured yet, through places wide
//! enough to walk if there are any. Of the parts free to be poured, either the farthest is next, or the one beside the
//! oldest wet edge (the way in which nodes are numbered to keep a matrix narrow: Cuthill and McKee 1969, from memory). Both
//! orders are made, and the one with fewer joints that are too old is taken.
//!
//! Not here: how the parts are cut (see `parts.rs`), when each is down (see [`super::wet_edge`]).

use std::cmp::Ordering;
use std::collections::BTreeMap;

use super::distance::neighbours;
use crate::surface::HeightField;

/// A place to walk through is at least so wide, m.
const PASSAGE: f64 = 0.5;

/// Which parts touch, and along how much.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Contacts {
    /// For every part those that touch it, with the length that they share, m; 0 where they touch at a corner.
    beside: Vec<BTreeMap<usize, f64>>,
    /// How far every part is from the way out, m.
    pub far: Vec<f64>,
    /// The part with the way out.
    pub exit: usize,
}

/// An order of parts, and how good it is.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sequence {
    pub order: Vec<usize>,
    /// How many parts lie between two that touch, for every joint.
    apart: Vec<usize>,
}

impl Sequence {
    /// Joints between parts that are more than `most` apart in the order.
    pub fn too_old(&self, most: f64) -> usize {
        self.apart
            .iter()
            .filter(|&&apart| apart as f64 > most)
            .count()
    }

    /// The most that two parts that touch are apart in the order.
    pub fn widest(&self) -> usize {
        self.apart.iter().copied().max().unwrap_or(0)
    }
}

impl Contacts {
    /// Of the parts that `part_of` gives for every node, `count` in all.
    pub fn new(
        depths: &HeightField,
        part_of: &[Option<usize>],
        far: Vec<f64>,
        exit: usize,
    ) -> Self {
        let mut beside = vec![BTreeMap::new(); far.len()];
        for (node, part) in part_of.iter().enumerate() {
            let Some(part) = *part else { continue };
            for next in neighbours(depths, node) {
                let Some(other) = part_of[next].filter(|other| *other != part) else {
                    continue;
                };
                let shared = if node.abs_diff(next) == 1 {
                    depths.dy
                } else if node.abs_diff(next) == depths.nx {
                    depths.dx
                } else {
                    0.0
                };
                *beside[part].entry(other).or_insert(0.0) += shared;
            }
        }
        Self { beside, far, exit }
    }

    /// The better of two orders, where parts more than `most` apart in it cannot be joined wet.
    pub fn sequence(&self, most: f64) -> Sequence {
        let [by_distance, by_age] = [false, true].map(|by_age| {
            let order = self.order(by_age);
            Sequence {
                apart: self.apart(&order),
                order,
            }
        });
        let age = |sequence: &Sequence| (sequence.too_old(most), sequence.widest());
        if age(&by_age) < age(&by_distance) {
            by_age
        } else {
            by_distance
        }
    }

    fn apart(&self, order: &[usize]) -> Vec<usize> {
        let mut place = vec![0; order.len()];
        for (at, &part) in order.iter().enumerate() {
            place[part] = at;
        }
        let touching = |(part, beside): (usize, &BTreeMap<usize, f64>)| {
            let later = beside
                .iter()
                .filter(move |(other, shared)| **other > part && **shared > 0.0);
            later
                .map(|(&other, _)| place[other].abs_diff(place[part]))
                .collect::<Vec<_>>()
        };
        self.beside.iter().enumerate().flat_map(touching).collect()
    }

    fn order(&self, by_age: bool) -> Vec<usize> {
        let mut order: Vec<usize> = Vec::with_capacity(self.far.len());
        let mut left = vec![true; self.far.len()];
        // The oldest wet edge beside every part.
        let mut oldest: Vec<Option<usize>> = vec![None; self.far.len()];
        while order.len() < self.far.len() {
            let mut next: Vec<usize> = (0..left.len()).filter(|&part| left[part]).collect();
            next.sort_by(|&a, &b| {
                let aged = |part: usize| (oldest[part].is_none(), oldest[part]);
                let ages = if by_age {
                    aged(a).cmp(&aged(b))
                } else {
                    Ordering::Equal
                };
                ages.then(self.far[b].total_cmp(&self.far[a]))
            });
            let free = |wide: f64| {
                next.iter()
                    .copied()
                    .find(|&part| self.leaves_a_way(part, &left, wide))
            };
            let Some(part) = free(PASSAGE).or_else(|| free(0.0)).or(next.last().copied()) else {
                break;
            };
            for &other in self.beside[part].keys() {
                oldest[other] = oldest[other].or(Some(order.len()));
            }
            left[part] = false;
            order.push(part);
        }
        order
    }

    /// Whether every part left can be left once `part` is poured, through places as `wide` as that.
    fn leaves_a_way(&self, part: usize, left: &[bool], wide: f64) -> bool {
        let mut dry = left.to_vec();
        dry[part] = false;
        if part == self.exit {
            return !dry.contains(&true);
        }
        let mut open = vec![self.exit];
        dry[self.exit] = false;
        while let Some(part) = open.pop() {
            for (&next, &shared) in &self.beside[part] {
                if dry[next] && shared >= wide {
                    dry[next] = false;
                    open.push(next);
                }
            }
        }
        !dry.contains(&true)
    }
}

//! In which order the parts of a floor are poured: far corners first, nobody trapped, wet edges young.
//!
//! In: for every node its part, how far every part is from the way out. Out: the parts in order.
//!
//! A part is poured only when all that is not poured yet can still be left over floor not poured yet: through places wide
//! enough to walk, or where those do not lead everywhere, through any. Of the parts free to be poured, the next is the farthest from the way out; or that beside
//! the oldest wet edge (the way in which nodes are numbered to keep a matrix narrow: Cuthill and McKee 1969, from memory);
//! or that which is far from the way out and near the last. All of these orders are made, and of those with the fewest
//! joints that are too old the one with the shortest way from part to part is taken, and parts are moved in it as long as that
//! makes the way shorter.
//!
//! Not here: how the parts are cut (see `parts.rs`), when each is down (see [`super::wet_edge`]).

use std::cmp::Ordering;
use std::collections::BTreeMap;

use super::distance::neighbours;
use crate::surface::HeightField;

/// A place to walk through is at least so wide, m.
const PASSAGE: f64 = 0.5;

/// How the next part is chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Next {
    Farthest,
    OldestEdge,
    /// Far from the way out, so much closer to the last part counting as much as a metre farther.
    Near(f64),
}

const RULES: [Next; 5] = [
    Next::Farthest,
    Next::OldestEdge,
    Next::Near(0.5),
    Next::Near(1.0),
    Next::Near(2.0),
];

/// Orders of more parts than this are left as a rule made them: there are too many ways to change them.
const MOST_CHANGED: usize = 60;

/// So many parts in a row are moved to another place in the order.
const LONGEST_MOVE: usize = 4;

/// Which parts touch, and along how much.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Contacts {
    /// For every part those that touch it, with the length that they share, m; 0 where they touch at a corner.
    beside: Vec<BTreeMap<usize, f64>>,
    /// For every part those that it can be left for.
    ways: Vec<Vec<usize>>,
    /// How far every part is from the way out, m.
    pub far: Vec<f64>,
    /// The middle of every part, local m.
    pub middle: Vec<[f64; 2]>,
    /// The part with the way out.
    pub exit: usize,
}

/// An order of parts, and how good it is.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sequence {
    pub order: Vec<usize>,
    /// How many parts lie between two that touch, for every joint.
    apart: Vec<usize>,
    /// The way from middle to middle, m.
    travel: f64,
}

impl Sequence {
    /// Joints between parts that are more than `most` apart in the order.
    pub fn too_old(&self, most: f64) -> usize {
        self.apart
            .iter()
            .filter(|&&apart| apart as f64 > most)
            .count()
    }

    /// Which of two is better, where parts more than `most` apart cannot be joined wet: the lesser.
    pub fn compare(&self, other: &Self, most: f64) -> Ordering {
        let by_age = self.too_old(most).cmp(&other.too_old(most));
        by_age.then(self.travel.total_cmp(&other.travel))
    }
}

impl Contacts {
    /// Of the parts that `part_of` gives for every node, so `far` from the way out, which is in part `exit`.
    pub fn new(
        depths: &HeightField,
        part_of: &[Option<usize>],
        far: Vec<f64>,
        middle: Vec<[f64; 2]>,
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
        let wide = |(_, shared): &(&usize, &f64)| **shared >= PASSAGE;
        let ways = |all: bool| {
            let of_part = |beside: &BTreeMap<usize, f64>| {
                let open = beside.iter().filter(|touching| all || wide(touching));
                open.map(|(&other, _)| other).collect()
            };
            beside.iter().map(of_part).collect()
        };
        let mut contacts = Self {
            ways: ways(false),
            far,
            middle,
            exit,
            beside: Vec::new(),
        };
        if !contacts.leaves_a_way(&vec![true; contacts.far.len()]) {
            contacts.ways = ways(true);
        }
        contacts.beside = beside;
        contacts
    }

    /// The best order, where parts more than `most` apart in it cannot be joined wet.
    pub fn sequence(&self, most: f64) -> Sequence {
        let [first, others @ ..] = RULES.map(|rule| self.rated(self.order(rule)));
        others.into_iter().fold(first, |best, next| {
            if next.compare(&best, most).is_lt() {
                next
            } else {
                best
            }
        })
    }

    fn rated(&self, order: Vec<usize>) -> Sequence {
        let steps = order.windows(2).map(|two| self.between(two[0], two[1]));
        Sequence {
            apart: self.apart(&order),
            travel: steps.sum(),
            order,
        }
    }

    /// The order with parts moved and turned round as long as that makes it better; the first stays the first.
    pub fn improved(&self, mut best: Sequence, most: f64) -> Sequence {
        let count = best.order.len();
        if count > MOST_CHANGED {
            return best;
        }
        loop {
            let moves = (1..count).flat_map(|from| {
                (1..=LONGEST_MOVE.min(count - from)).map(move |long| (from, long))
            });
            let places =
                moves.flat_map(|(from, long)| (1..=count - long).map(move |to| (from, long, to)));
            let better = places
                .flat_map(|one| [(one, false), (one, true)])
                .map(|((from, long, to), turned)| {
                    let mut order = best.order.clone();
                    let mut moved: Vec<usize> = order.drain(from..from + long).collect();
                    if turned {
                        moved.reverse();
                    }
                    order.splice(to..to, moved);
                    self.rated(order)
                })
                .find(|next| next.compare(&best, most).is_lt() && self.traps_nobody(&next.order));
            match better {
                Some(better) => best = better,
                None => return best,
            }
        }
    }

    fn traps_nobody(&self, order: &[usize]) -> bool {
        let mut left = vec![true; order.len()];
        order.iter().all(|&part| {
            left[part] = false;
            self.leaves_a_way(&left)
        })
    }

    fn between(&self, one: usize, other: usize) -> f64 {
        let ([x, y], [ox, oy]) = (self.middle[one], self.middle[other]);
        (x - ox).hypot(y - oy)
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

    fn order(&self, rule: Next) -> Vec<usize> {
        let mut order: Vec<usize> = Vec::with_capacity(self.far.len());
        let mut left = vec![true; self.far.len()];
        // The oldest wet edge beside every part.
        let mut oldest: Vec<Option<usize>> = vec![None; self.far.len()];
        while order.len() < self.far.len() {
            let mut next: Vec<usize> = (0..left.len()).filter(|&part| left[part]).collect();
            let far = |part: usize| match (rule, order.last()) {
                (Next::Near(weight), Some(&last)) => {
                    self.far[part] - weight * self.between(last, part)
                }
                (Next::Near(_), None) | (Next::Farthest | Next::OldestEdge, _) => self.far[part],
            };
            let aged = |part: usize| (oldest[part].is_none(), oldest[part]);
            let better = |a: usize, b: usize| {
                let ages = match rule {
                    Next::OldestEdge => aged(a).cmp(&aged(b)),
                    Next::Farthest | Next::Near(_) => Ordering::Equal,
                };
                ages.then(far(b).total_cmp(&far(a)))
            };
            let mut free = None;
            while free.is_none() {
                let best = (0..next.len()).min_by(|&a, &b| better(next[a], next[b]));
                let Some(part) = best.map(|at| next.swap_remove(at)) else {
                    break;
                };
                left[part] = false;
                free = Some(part).filter(|_| self.leaves_a_way(&left));
                left[part] = free.is_none();
            }
            let Some(part) = free else { break };
            for &other in self.beside[part].keys() {
                oldest[other] = oldest[other].or(Some(order.len()));
            }
            order.push(part);
        }
        order
    }

    /// Whether everybody can walk out over the parts that are `left`.
    fn leaves_a_way(&self, left: &[bool]) -> bool {
        !self.cut_off(left).contains(&true)
    }

    /// Of the parts that are `left` those from which nobody can walk out over others that are left.
    pub fn cut_off(&self, left: &[bool]) -> Vec<bool> {
        let mut unreached = left.to_vec();
        let mut open: Vec<usize> = Some(self.exit)
            .filter(|&exit| left[exit])
            .into_iter()
            .collect();
        for &exit in &open {
            unreached[exit] = false;
        }
        while let Some(part) = open.pop() {
            for &next in &self.ways[part] {
                if unreached[next] {
                    unreached[next] = false;
                    open.push(next);
                }
            }
        }
        unreached
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Parts of 1 m x 1 m in rows, the way out in part 0 at the lower left.
    fn rows([nx, ny]: [usize; 2]) -> Contacts {
        let side = 10;
        let mut depths = HeightField::unmeasured([0.05; 2], [0.1; 2], [nx * side, ny * side]);
        depths.z.fill(0.01);
        let part = |node: usize| node / depths.nx / side * nx + node % depths.nx / side;
        let part_of: Vec<_> = (0..depths.z.len()).map(|node| Some(part(node))).collect();
        let middle: Vec<[f64; 2]> = (0..nx * ny)
            .map(|part| [(part % nx) as f64 + 0.5, (part / nx) as f64 + 0.5])
            .collect();
        let far = middle.iter().map(|[x, y]| x.hypot(*y)).collect();
        Contacts::new(&depths, &part_of, far, middle, 0)
    }

    #[test]
    fn a_corridor_is_poured_backwards() {
        let corridor = rows([5, 1]);
        let found = corridor.sequence(3.0);
        assert_eq!(found.order, [4, 3, 2, 1, 0]);
        assert_eq!((found.too_old(0.9), found.too_old(1.0)), (4, 0));
        assert!((found.travel - 4.0).abs() < 1e-12);
    }

    /// To and fro row by row would be a way of 17 m, with edges up to 2 x 3 - 1 batches old, but end in the wrong corner.
    #[test]
    fn a_room_is_poured_row_by_row() {
        let room = rows([3, 6]);
        let ruled = room.sequence(5.0);
        let found = room.improved(ruled.clone(), 5.0);
        assert!(found.travel <= ruled.travel && found.order[0] == ruled.order[0]);
        assert!(found.travel < 20.0, "{found:?}");
        assert_eq!(found.too_old(5.0), 0);
        assert_eq!(found.order.last(), Some(&0));
        assert!(room.traps_nobody(&found.order));
        // Part 0 poured first would lock everybody in.
        assert!(!room.traps_nobody(&(0..18).collect::<Vec<_>>()));
    }
}

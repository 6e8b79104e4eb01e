//! A piece of floor cut into parts, one for each mix: straight cuts along the walls, as lines are snapped.
//!
//! In: cells that hang together, how much compound each takes, how far each is from the way out, bags of every mix.
//! Out: for every mix its cells, which hang together.
//!
//! The floor is halved again and again, so that each side takes what its mixes hold: across the longer way if both
//! sides hang together, or else across the shorter, or else along the distance from the way out. The side with the farthest
//! place gets the first mixes. What a cut leaves on its own (behind a column, in a niche) goes to the other side, and
//! the cut moves until the volumes are right again. Where no cut can make them right, a branch of the ways out is cut off,
//! and each side has mixes of its own.
//! `stretch` makes long parts of it: of two ways, the one along which the pour moves counts so many times as long.
//!
//! No source. Not here: in which order the parts are poured (see `sequence.rs`).

use std::collections::BTreeMap;

use super::distance::neighbours;
use super::mixes::mixes;
use crate::surface::HeightField;

/// A cut may miss its volume by this share of a full mix, or by half a cell.
const MISSED: f64 = 0.01;

/// How often a cut is moved.
const TRIES: usize = 8;

/// What the floor is cut by.
#[derive(Debug, Clone, Copy)]
pub(super) struct Floor<'a> {
    pub depths: &'a HeightField,
    /// Compound on every node, m³.
    pub volume: &'a [f64],
    /// How far every node is from the way out, m.
    pub metres: &'a [f64],
    /// The way along which the pour moves: a unit vector, along a wall.
    pub along: [f64; 2],
    /// How many times as long that way counts.
    pub stretch: f64,
    /// What a bag leaves on the floor, m³.
    pub bag: f64,
    /// Bags of a full mix.
    pub bags_per_mix: f64,
}

/// A mix and its cells.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub cells: Vec<usize>,
    pub bags: f64,
}

/// Two sides of a cut, the far one first, and by how much that one is too large, m³.
struct Cut {
    sides: [Vec<usize>; 2],
    missed: f64,
}

/// Cuts `cells`, which hang together, into a part for every mix.
pub(super) fn parts(floor: &Floor, cells: Vec<usize>) -> Vec<Part> {
    let own_mixes = |cells: &[usize]| mixes(floor.of(cells) / floor.bag, floor.bags_per_mix);
    let mut marks = Marks::new(floor.depths);
    let mut parts = Vec::new();
    let all = own_mixes(&cells);
    let mut open = vec![(cells, all)];
    while let Some((cells, mut bags)) = open.pop() {
        if let ([] | [_], _) | (_, [] | [_]) = (bags.as_slice(), cells.as_slice()) {
            let bags = bags.iter().sum();
            parts.push(Part { cells, bags });
            continue;
        }
        let near = bags.split_off(bags.len() / 2);
        let share =
            bags.iter().sum::<f64>() / (bags.iter().sum::<f64>() + near.iter().sum::<f64>());
        let wanted = share * floor.of(&cells);
        let cut = floor.cut(&cells, wanted, &mut marks);
        let [far_side, near_side] = cut.sides;
        let (far, near) = if cut.missed.abs() <= floor.may_miss(&cells) {
            (bags, near)
        } else {
            (own_mixes(&far_side), own_mixes(&near_side))
        };
        open.push((far_side, far));
        open.push((near_side, near));
    }
    with_dry_floor(floor.depths, parts)
}

/// Dry floor that a cut left on its own goes with a part beside it.
fn with_dry_floor(depths: &HeightField, parts: Vec<Part>) -> Vec<Part> {
    let (mut parts, mut dry): (Vec<_>, Vec<_>) =
        parts.into_iter().partition(|part| part.bags > 0.0);
    let mut part_of: BTreeMap<usize, usize> = BTreeMap::new();
    if !dry.is_empty() {
        part_of.extend(
            parts
                .iter()
                .enumerate()
                .flat_map(|(n, part)| part.cells.iter().map(move |&cell| (cell, n))),
        );
    }
    let mut waiting = dry.len();
    while let Some(piece) = dry.pop() {
        let mut beside = piece
            .cells
            .iter()
            .flat_map(|&cell| neighbours(depths, cell));
        if let Some(number) = beside.find_map(|cell| part_of.get(&cell).copied()) {
            part_of.extend(piece.cells.iter().map(|&cell| (cell, number)));
            parts[number].cells.extend(piece.cells);
            waiting = dry.len();
        } else if waiting > 0 {
            waiting -= 1;
            dry.insert(0, piece);
        }
    }
    parts
}

impl Floor<'_> {
    fn of(&self, cells: &[usize]) -> f64 {
        cells.iter().map(|&cell| self.volume[cell]).sum()
    }

    fn may_miss(&self, cells: &[usize]) -> f64 {
        let deepest = cells
            .iter()
            .map(|&cell| self.volume[cell])
            .fold(0.0, f64::max);
        (MISSED * self.bag * self.bags_per_mix).max(0.5 * deepest)
    }

    /// The first cut that makes the volumes right, or else the one that misses least.
    fn cut(&self, cells: &[usize], wanted: f64, marks: &mut Marks) -> Cut {
        let [ax, ay] = self.along;
        let on = |[x, y]: [f64; 2]| {
            move |cell: usize| {
                let [px, py] = self.depths.position(cell);
                x * px + y * py
            }
        };
        let (along, across) = (on([ax, ay]), on([-ay, ax]));
        let along_first = extent(cells, &along) * self.stretch >= extent(cells, &across);
        let distance = |cell: usize| self.metres[cell];
        let [first, second]: [&dyn Fn(usize) -> f64; 2] = if along_first {
            [&along, &across]
        } else {
            [&across, &along]
        };
        let better = |cut: Cut, than: Option<Cut>| match than {
            Some(than) if than.missed.abs() <= cut.missed.abs() => than,
            Some(_) | None => cut,
        };
        let mut best = None;
        for key in [first, second, &distance] {
            let cut = self.cut_by(key, cells, wanted, marks);
            if cut.sides.iter().any(Vec::is_empty) {
                continue;
            }
            if cut.missed.abs() <= self.may_miss(cells) {
                return cut;
            }
            best = Some(better(cut, best));
        }
        better(self.branch(cells, wanted, marks), best)
    }

    /// Cuts across where `key` is so large or so small that the side of the farthest place takes `wanted` m³.
    fn cut_by(
        &self,
        key: &dyn Fn(usize) -> f64,
        cells: &[usize],
        wanted: f64,
        marks: &mut Marks,
    ) -> Cut {
        let mut keyed: Vec<(f64, usize)> = cells.iter().map(|&cell| (key(cell), cell)).collect();
        keyed.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let farthest = |half: &[(f64, usize)]| {
            let metres = half.iter().map(|&(_, cell)| self.metres[cell]);
            metres.fold(0.0, f64::max)
        };
        let (low, high) = keyed.split_at(keyed.len() / 2);
        if farthest(high) > farthest(low) {
            keyed.reverse();
        }
        let sorted: Vec<usize> = keyed.into_iter().map(|(_, cell)| cell).collect();
        let mut first = wanted;
        let mut best: Option<Cut> = None;
        for _ in 0..TRIES {
            let sides = marks.hang_together(
                self.depths,
                sorted.split_at(self.prefix(&sorted, first)),
                self.volume,
            );
            let missed = self.of(&sides[0]) - wanted;
            if best
                .as_ref()
                .is_none_or(|best| missed.abs() < best.missed.abs())
            {
                best = Some(Cut { sides, missed });
            }
            if missed.abs() <= self.may_miss(cells) {
                break;
            }
            first -= missed;
        }
        best.unwrap_or(Cut {
            sides: [Vec::new(), sorted],
            missed: -wanted,
        })
    }

    /// How many of the cells take `wanted` m³, but for half of the last.
    fn prefix(&self, sorted: &[usize], wanted: f64) -> usize {
        let mut sum = 0.0;
        let over = sorted.iter().position(|&cell| {
            sum += self.volume[cell];
            sum - 0.5 * self.volume[cell] > wanted
        });
        over.unwrap_or(sorted.len())
    }

    /// Cuts off the branch of the ways out that takes most nearly `wanted` m³: neither side is empty.
    fn branch(&self, cells: &[usize], wanted: f64, marks: &mut Marks) -> Cut {
        let mut sorted = cells.to_vec();
        sorted.sort_unstable_by(|&a, &b| self.metres[b].total_cmp(&self.metres[a]).then(a.cmp(&b)));
        let sorted_place = |(at, &cell): (usize, &usize)| (cell, at);
        let place: BTreeMap<usize, usize> = sorted.iter().enumerate().map(sorted_place).collect();
        // Of the cells beside a cell, the one nearest to the way out is the next on the way.
        let next = |&cell: &usize| {
            let beside = neighbours(self.depths, cell).filter_map(|next| place.get(&next).copied());
            beside.max().filter(|next| Some(next) > place.get(&cell))
        };
        let nexts: Vec<Option<usize>> = sorted.iter().map(next).collect();
        let mut behind: Vec<f64> = sorted.iter().map(|&cell| self.volume[cell]).collect();
        let mut best = (f64::INFINITY, 0);
        for (at, next) in nexts.iter().enumerate() {
            if let Some(next) = next {
                let missed = (behind[at] - wanted).abs();
                if missed < best.0 {
                    best = (missed, at);
                }
                behind[*next] += behind[at];
            }
        }
        let mut cut_off = vec![false; sorted.len()];
        for at in (0..sorted.len()).rev() {
            cut_off[at] = at == best.1 || nexts[at].is_some_and(|next| cut_off[next]);
        }
        let mut both = sorted.iter().zip(cut_off);
        let (far, near): (Vec<_>, Vec<_>) = both.by_ref().partition(|(_, off)| *off);
        let cells =
            |side: Vec<(&usize, bool)>| side.into_iter().map(|(&cell, _)| cell).collect::<Vec<_>>();
        let sides = marks.hang_together(self.depths, (&cells(far), &cells(near)), self.volume);
        Cut {
            missed: self.of(&sides[0]) - wanted,
            sides,
        }
    }
}

fn extent(cells: &[usize], key: &impl Fn(usize) -> f64) -> f64 {
    let (low, high) = cells
        .iter()
        .map(|&cell| key(cell))
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(x), high.max(x))
        });
    high - low
}

/// Which cells are being looked at.
struct Marks {
    of: Vec<u32>,
    last: u32,
}

impl Marks {
    fn new(depths: &HeightField) -> Self {
        Self {
            of: vec![0; depths.z.len()],
            last: 0,
        }
    }

    /// The two sides of a cut, changed so that each hangs together: what lies apart on one side goes to the other.
    fn hang_together(
        &mut self,
        depths: &HeightField,
        (far, near): (&[usize], &[usize]),
        volume: &[f64],
    ) -> [Vec<usize>; 2] {
        let (mut far, apart) = self.largest(depths, far, volume);
        let near = [near, &apart].concat();
        let (near, apart) = self.largest(depths, &near, volume);
        far.extend(apart);
        [far, near]
    }

    /// The largest piece of `cells` that hangs together, and the rest.
    fn largest(
        &mut self,
        depths: &HeightField,
        cells: &[usize],
        volume: &[f64],
    ) -> (Vec<usize>, Vec<usize>) {
        let pieces = self.pieces(depths, cells);
        let of = |piece: &Vec<usize>| piece.iter().map(|&cell| volume[cell]).sum::<f64>();
        let largest = (0..pieces.len()).max_by(|&a, &b| {
            let sizes = of(&pieces[a]).total_cmp(&of(&pieces[b]));
            sizes.then(pieces[a].len().cmp(&pieces[b].len()))
        });
        let (mut main, mut rest) = (Vec::new(), Vec::new());
        for (number, piece) in pieces.into_iter().enumerate() {
            if Some(number) == largest {
                main = piece;
            } else {
                rest.extend(piece);
            }
        }
        (main, rest)
    }

    fn pieces(&mut self, depths: &HeightField, cells: &[usize]) -> Vec<Vec<usize>> {
        self.last += 1;
        let wanted = self.last;
        for &cell in cells {
            self.of[cell] = wanted;
        }
        let mut pieces = Vec::new();
        for &start in cells {
            if self.of[start] != wanted {
                continue;
            }
            self.of[start] = 0;
            let mut piece = vec![start];
            let mut at = 0;
            while let Some(&cell) = piece.get(at) {
                at += 1;
                for next in neighbours(depths, cell) {
                    if self.of[next] == wanted {
                        self.of[next] = 0;
                        piece.push(next);
                    }
                }
            }
            pieces.push(piece);
        }
        pieces
    }
}

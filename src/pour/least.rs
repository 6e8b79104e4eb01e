//! The least fill that brings a floor within straightedge limits.
//!
//! In: a lattice of heights, straightedges of length L, each with its limit T, and the least depth d of what is filled.
//! Out: heights to finish at, one a node.
//!
//! The surfaces z' whose contact gaps are all at most T, and which at every point are z or at least z + d, have a least element
//! (definition 6 of the README): of two of them, the lower height at every point is another, for no chord rises by that.
//! Starting from z, every point more than T below the highest chord over it is raised to T below it, and to z + d at
//! least, until none is left. Nothing is ever raised above the least element, so what is left is that element.
//!
//! # What makes it fast
//!
//! - A raised point hangs T below one chord. Where the ends of that chord rise it follows, and that costs next to
//!   nothing: so between two looks at all lines the raised points settle under the chords they hang from.
//! - A point that rises lifts only the chords that end on it. So after the first look each direction looks only within
//!   reach of what rose since it last looked: one by one where little rose, at the whole stretch where much did.
//!
//! The result does not depend on the number of cores. No source: the argument is above, and `tests/properties` holds it
//! against its definition and against a linear programme.
//!
//! Not here: which straightedges a class lays (see [`super::within`]), fixed levels.

use rayon::prelude::*;

use crate::flatness::chords::{Scratch, each_highest_chord};
use crate::flatness::straightedge::{DIRECTIONS, first_nodes, nodes_of_line, reach};
use crate::surface::HeightField;

/// A point this little below its place stays where it is, m.
const STILL: f64 = 1e-8;

/// Less than this is no compound, m.
pub const NO_DEPTH: f64 = 1e-6;

/// Lines that one task looks at.
const LINES_A_TASK: usize = 64;

/// Rounds of settling between two looks: after so many the chords are worth a new look.
const MOST_ROUNDS: usize = 50;

/// A point of a whole stretch costs as much to look at as this many points in reach of a single one that rose.
const ONE_BY_ONE: usize = 20;

/// A straightedge, and the widest gap that may be left under it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// Its length, m.
    pub length: f64,
    /// The limit, m, not negative.
    pub limit: f64,
}

/// Heights of the least fill that leaves no gap above its limit under any of `edges`, and is at least `least_depth` (m)
/// deep wherever there is any.
///
/// Same layout as [`HeightField::z`], NaN where nothing was measured. No gap is left above its limit by more than
/// 1e-7 m. What is raised by no more than [`NO_DEPTH`] is not held to the least depth.
pub fn least_heights(field: &HeightField, edges: &[Edge], least_depth: f64) -> Vec<f64> {
    let looks = edges.iter().flat_map(|edge| {
        (0..DIRECTIONS.len()).map(|direction| Look {
            direction,
            reach: reach(field, edge.length, direction),
            limit: edge.limit.max(0.0),
            seen: 0,
        })
    });
    let mut looks: Vec<Look> = looks.filter(|look| look.reach >= 2).collect();
    let mut rising = Rising {
        field,
        least_depth,
        z: field.z.clone(),
        risen_at: vec![0; field.z.len()],
        hung_at: vec![None; field.z.len()],
        hung: Vec::new(),
        turn: 0,
    };
    loop {
        let risen: usize = looks.iter_mut().map(|look| rising.look_along(look)).sum();
        if risen == 0 {
            return rising.z;
        }
        rising.settle();
    }
}

/// One direction under one straightedge.
struct Look {
    direction: usize,
    /// Steps from one end of the edge to the other.
    reach: usize,
    limit: f64,
    /// The turn at which it was last looked along.
    seen: u32,
}

/// A point that hangs under a chord: z(c) = z(a) + share (z(b) - z(a)) - limit.
#[derive(Debug, Clone, Copy)]
struct Hung {
    c: u32,
    a: u32,
    b: u32,
    share: f64,
    limit: f64,
}

impl Hung {
    fn height(&self, z: &[f64]) -> f64 {
        let (a, b) = (z[self.a as usize], z[self.b as usize]);
        a + self.share * (b - a) - self.limit
    }
}

/// The floor on its way up.
struct Rising<'a> {
    field: &'a HeightField,
    least_depth: f64,
    z: Vec<f64>,
    /// The turn at which each node last rose.
    risen_at: Vec<u32>,
    /// Where each raised node is in `hung`.
    hung_at: Vec<Option<u32>>,
    hung: Vec<Hung>,
    turn: u32,
}

impl Rising<'_> {
    /// Raises a point to what it hangs under, and to the least depth if that is any depth at all. Returns by how much.
    fn raise(&mut self, hung: &Hung) -> f64 {
        let c = hung.c as usize;
        let (before, floor) = (self.z[c], self.field.z[c]);
        let wanted = hung.height(&self.z);
        let wanted = if wanted > floor + NO_DEPTH {
            wanted.max(floor + self.least_depth)
        } else {
            wanted
        };
        self.z[c] = before.max(wanted);
        self.z[c] - before
    }

    /// Raises what lies too low under the chords of one direction. Returns how many points rose.
    fn look_along(&mut self, look: &mut Look) -> usize {
        let rising = &*self;
        let rises: Vec<Vec<Hung>> = first_nodes(self.field, DIRECTIONS[look.direction])
            .par_chunks(LINES_A_TASK)
            .map_init(Line::default, |line, starts| {
                let mut rises = Vec::new();
                for &start in starts {
                    line.look(rising, start, look, &mut rises);
                }
                rises
            })
            .collect();
        self.turn += 1;
        look.seen = self.turn;
        let mut risen = 0;
        for hung in rises.into_iter().flatten() {
            let c = hung.c as usize;
            match self.hung_at[c] {
                Some(place) => self.hung[place as usize] = hung,
                None => {
                    self.hung_at[c] = Some(self.hung.len() as u32);
                    self.hung.push(hung);
                }
            }
            self.raise(&hung);
            self.risen_at[c] = self.turn;
            risen += 1;
        }
        risen
    }

    /// Lets the raised points follow the chords that they hang from, forwards and backwards in turn.
    fn settle(&mut self) {
        let before: Vec<f64> = self
            .hung
            .iter()
            .map(|hung| self.z[hung.c as usize])
            .collect();
        let mut hung = std::mem::take(&mut self.hung);
        for round in 0..MOST_ROUNDS {
            let most = if round % 2 == 0 {
                hung.iter()
                    .rev()
                    .fold(0.0, |most: f64, one| most.max(self.raise(one)))
            } else {
                hung.iter()
                    .fold(0.0, |most: f64, one| most.max(self.raise(one)))
            };
            if most < STILL {
                break;
            }
        }
        std::mem::swap(&mut self.hung, &mut hung);
        for (hung, before) in self.hung.iter().zip(before) {
            if self.z[hung.c as usize] > before + STILL {
                self.risen_at[hung.c as usize] = self.turn;
            }
        }
    }
}

/// One line of nodes, copied out of the lattice, and the highest chord over each: its height and its two ends.
#[derive(Default)]
struct Line {
    nodes: Vec<usize>,
    risen: Vec<usize>,
    z: Vec<f64>,
    chords: Vec<(f64, [usize; 2])>,
    scratch: Scratch,
}

impl Line {
    /// Finds what lies too low on the line from `start` on, under chords that may have risen since the last look.
    fn look(&mut self, rising: &Rising, start: usize, look: &Look, rises: &mut Vec<Hung>) {
        let reach = look.reach;
        let direction = DIRECTIONS[look.direction];
        self.nodes.clear();
        self.nodes
            .extend(nodes_of_line(rising.field, start, direction));
        let since = look.seen;
        self.risen.clear();
        let risen = self
            .nodes
            .iter()
            .enumerate()
            .filter(|&(_, &node)| rising.risen_at[node] >= since);
        self.risen.extend(risen.map(|(at, _)| at));
        let risen = std::mem::take(&mut self.risen);
        for near in risen.chunk_by(|a, b| b - a <= 2 * reach) {
            let (Some(first), Some(last)) = (near.first(), near.last()) else {
                continue;
            };
            let begin = first.saturating_sub(reach);
            let end = (last + reach + 1).min(self.nodes.len());
            self.z.clear();
            self.z
                .extend(self.nodes[begin..end].iter().map(|&node| rising.z[node]));
            self.chords.clear();
            self.chords
                .resize(self.z.len(), (f64::NEG_INFINITY, [0, 0]));
            if near.len() * 2 * reach < ONE_BY_ONE * self.z.len() {
                for at in near {
                    self.chords_that_end_on(at - begin, reach);
                }
            } else {
                self.chords_everywhere(reach);
            }
            self.too_low(begin, look.limit, rises);
        }
        self.risen = risen;
    }

    /// The highest chord over every point of the stretch.
    fn chords_everywhere(&mut self, reach: usize) {
        let mut end = 0;
        while end < self.z.len() {
            let begin = end;
            end += self.z[begin..].iter().take_while(|z| z.is_finite()).count();
            let run = &mut self.chords[begin..end];
            each_highest_chord(
                &self.z[begin..end],
                reach,
                &mut self.scratch,
                |points, chord| {
                    let ends = chord.ends().map(|at| begin + at);
                    for c in points {
                        run[c] = (chord.height(c as f64), ends);
                    }
                },
            );
            end += 1;
        }
    }

    /// Raises the chords over the stretch to those that end on the point `end`.
    fn chords_that_end_on(&mut self, end: usize, reach: usize) {
        let measured = |z: &&f64| z.is_finite();
        let ahead = self.z[end + 1..]
            .iter()
            .take(reach)
            .take_while(measured)
            .count();
        let behind = self.z[..end]
            .iter()
            .rev()
            .take(reach)
            .take_while(measured)
            .count();
        self.chords_to((end + 1..=end + ahead).rev(), end);
        self.chords_to(end - behind..end, end);
    }

    /// Raises the chords to those between `end` and `others`, which come towards it. Of these the steepest from `end`
    /// is the highest over every point on the way.
    fn chords_to(&mut self, others: impl Iterator<Item = usize>, end: usize) {
        let here = self.z[end];
        let (mut steepest, mut other) = (f64::NEG_INFINITY, end);
        for at in others {
            let steps = at.abs_diff(end) as f64;
            let height = here + steepest * steps;
            if height > self.chords[at].0 {
                self.chords[at] = (height, [end.min(other), end.max(other)]);
            }
            let slope = (self.z[at] - here) / steps;
            if slope > steepest {
                (steepest, other) = (slope, at);
            }
        }
    }

    /// Hangs what lies too low in the stretch from `begin` on under the highest chord over it.
    fn too_low(&self, begin: usize, limit: f64, rises: &mut Vec<Hung>) {
        for (c, (&(chord, [a, b]), z)) in self.chords.iter().zip(&self.z).enumerate() {
            if chord - limit > z + STILL {
                let node = |at: usize| self.nodes[begin + at] as u32;
                rises.push(Hung {
                    c: node(c),
                    a: node(a),
                    b: node(b),
                    share: (c - a) as f64 / (b - a) as f64,
                    limit,
                });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A row of nodes 0.1 m apart.
    fn row(z: &[f64]) -> HeightField {
        let mut field = HeightField::unmeasured([0.0; 2], [0.1; 2], [z.len(), 1]);
        field.z.copy_from_slice(z);
        field
    }

    /// Two ridges of 5 mm, 1 m apart: an edge of 1 m rests on both, and no chord is ever higher. So with a limit of
    /// 2 mm the floor between them comes up to exactly 3 mm.
    #[test]
    fn between_two_ridges_the_floor_comes_up_to_the_limit() {
        let mut z = [0.0; 31];
        (z[10], z[20]) = (0.005, 0.005);
        let least = least_heights(
            &row(&z),
            &[Edge {
                length: 1.0,
                limit: 0.002,
            }],
            0.0,
        );
        for (at, height) in least.iter().enumerate() {
            let ridge = at == 10 || at == 20;
            if (10..=20).contains(&at) && !ridge {
                assert!((height - 0.003).abs() < 1e-9, "{at}: {height}");
            } else {
                assert!(ridge || *height < 0.003 + 1e-9, "{at}: {height}");
            }
        }
        z[15] = f64::NAN;
        let with_hole = least_heights(
            &row(&z),
            &[Edge {
                length: 1.0,
                limit: 0.002,
            }],
            0.0,
        );
        assert!(with_hole[15].is_nan() && with_hole[14] < 0.0029);
    }

    #[test]
    fn a_floor_within_its_limit_is_left_alone() {
        let z: Vec<f64> = (0..40)
            .map(|k| 0.001 * f64::from(k % 2) + 0.01 * f64::from(k))
            .collect();
        assert_eq!(
            least_heights(
                &row(&z),
                &[Edge {
                    length: 1.0,
                    limit: 0.0011
                }],
                0.0
            ),
            z
        );
        assert_eq!(
            least_heights(
                &row(&z[..2]),
                &[Edge {
                    length: 1.0,
                    limit: 0.0
                }],
                0.0
            ),
            z[..2]
        );
        assert!(
            least_heights(
                &row(&[]),
                &[Edge {
                    length: 1.0,
                    limit: 0.0
                }],
                0.0
            )
            .is_empty()
        );
    }
}

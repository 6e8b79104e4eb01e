//! A straightedge laid over every line of a height field, in contact with the floor.
//!
//! In: a lattice of heights and the length of the edge. Out: the widest gap between two contacts, the widest crown, and
//! for every node how far a wedge would go in there.
//!
//! Definitions (section 2 of the README's "What the numbers mean"): over every line of nodes in the directions (p, q), p
//! and q coprime and at most 3, for nodes A, C, B in this order, A and B at most the length apart and everything
//! between them measured:
//!
//! - contact gap: height of the chord AB at C, minus the floor at C;
//! - departure of a window: the width of the narrowest pair of parallel lines that holds its profile (minimum-zone
//!   straightness of ISO 12780, measured along the vertical).
//!
//! The departure needs no search of its own. In a window it is the largest vertical distance between the upper and the
//! lower hull, reached at a corner of one of them: at a corner of the lower hull it is a contact gap, at a corner of the
//! upper hull a contact gap of the floor turned upside down. Every contact gap lies in some window, so the largest
//! departure is the larger of the widest gap and the widest crown.
//!
//! Not here: what the gap is judged by (`verdict`), gaps measured on end shims or by the grid method (`supports`).

use std::ops::Range;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use super::bias::{Bias, bias};
use super::chords::{Scratch, highest_chords};
use crate::surface::{HeightField, Surface};

/// The 16 lattice directions (columns, rows): p and q coprime, at most 3.
pub const DIRECTIONS: [(usize, isize); 16] = [
    (1, 0),
    (0, 1),
    (1, 1),
    (1, -1),
    (2, 1),
    (2, -1),
    (1, 2),
    (1, -2),
    (3, 1),
    (3, -1),
    (1, 3),
    (1, -3),
    (3, 2),
    (3, -2),
    (2, 3),
    (2, -3),
];

/// Lines that one task looks at: enough to share the memory they touch, few enough to keep both cores busy.
const LINES_A_TASK: usize = 64;

/// Lengths within this share of a step count as reached, so that 0.1 m steps reach 2 m in 20.
const REACH_SLACK: f64 = 1e-9;

/// Two contacts and the place between them: nodes of the height field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contact {
    /// One contact.
    pub a: usize,
    /// The other contact.
    pub b: usize,
    /// Where the gap (or the crown) is greatest.
    pub c: usize,
    /// Height of the chord above the floor at C, m. For a crown, of the floor above the chord. Never negative: an edge
    /// that rocks on a crest leaves no gap between contacts.
    pub gap: f64,
    /// Standard uncertainty of the gap, m, from its three heights.
    pub u: f64,
}

/// What a straightedge of one length finds.
#[derive(Debug, Clone, PartialEq)]
pub struct Straightedge {
    /// Its length, m.
    pub length: f64,
    /// The widest gap. None where no three measured nodes lie in line within the length.
    pub worst: Option<Contact>,
    /// The widest crown: the floor's height above the chord between two lower places.
    pub crown: Option<Contact>,
    /// What noise adds to the widest gap; None until it is simulated.
    pub bias: Option<Bias>,
    /// For every node the widest gap over it, m: 0 where no wedge goes in, NaN where nothing was measured.
    pub gaps: Vec<f64>,
}

impl Straightedge {
    /// The same, with what the survey's own noise adds to its widest gap.
    pub fn with_bias(self, surface: &Surface) -> Self {
        let widest = |field: &HeightField| widest_gap(field, self.length);
        let bias = self
            .worst
            .and_then(|worst| bias(surface, worst.c, self.length, widest));
        Self { bias, ..self }
    }

    /// The largest departure from straightness in any window of the length, m.
    pub fn departure(&self) -> Option<f64> {
        Some(self.widest_departure()?.gap)
    }

    /// Where that is: at the widest gap or at the widest crown.
    pub fn widest_departure(&self) -> Option<Contact> {
        let (gap, crown) = (self.worst?, self.crown?);
        Some(if crown.gap > gap.gap { crown } else { gap })
    }
}

/// The widest gap found so far: its size and the line and point it is at.
#[derive(Debug, Clone, Copy)]
struct Widest {
    gap: f64,
    node: usize,
    direction: usize,
}

impl Widest {
    const NONE: Self = Self {
        gap: f64::NEG_INFINITY,
        node: usize::MAX,
        direction: usize::MAX,
    };

    /// The wider of two; of equals the one that comes first on the floor, so that the answer does not depend on which
    /// core was faster.
    fn wider(self, other: Self) -> Self {
        let order = other.gap.total_cmp(&self.gap);
        let order = order.then(self.direction.cmp(&other.direction));
        if order.then(self.node.cmp(&other.node)).is_le() {
            self
        } else {
            other
        }
    }
}

/// Lays a straightedge of `length` metres over every line of `field`, in all 16 directions, on all cores.
pub fn lay(field: &HeightField, length: f64) -> Straightedge {
    let gaps: Vec<AtomicU64> = field
        .z
        .iter()
        .map(|z| AtomicU64::new((z * 0.0).to_bits()))
        .collect();
    let nothing = (Widest::NONE, Widest::NONE);
    let (gap, crown) = (0..DIRECTIONS.len())
        .map(|direction| lay_in_direction(field, length, direction, &gaps))
        .fold(nothing, |(gap, crown), (g, c)| {
            (gap.wider(g), crown.wider(c))
        });
    Straightedge {
        length,
        worst: contact(field, length, gap, 1.0),
        crown: contact(field, length, crown, -1.0),
        bias: None,
        gaps: gaps
            .into_iter()
            .map(|gap| f64::from_bits(gap.into_inner()))
            .collect(),
    }
}

/// The widest gap alone, m, on one core: what simulations need. None where no three measured nodes lie in line within
/// the length.
pub fn widest_gap(field: &HeightField, length: f64) -> Option<f64> {
    let mut line = Line::default();
    let mut widest = Widest::NONE;
    for (direction, &way) in DIRECTIONS.iter().enumerate() {
        let reach = reach(field, length, direction);
        if reach < 2 {
            continue;
        }
        for start in first_nodes(field, way) {
            line.gather(field, start, way);
            let mut from = 0;
            while let Some(run) = line.run(from) {
                from = run.end;
                widest = widest.wider(line.widest(run, reach, false, |_, _| {}));
            }
        }
    }
    widest.gap.is_finite().then_some(widest.gap)
}

/// Steps of `direction` that the straightedge reaches.
pub(crate) fn reach(field: &HeightField, length: f64, direction: usize) -> usize {
    let (p, q) = DIRECTIONS[direction];
    let step = (p as f64 * field.dx).hypot(q as f64 * field.dy);
    (length / step + REACH_SLACK)
        .floor()
        .min(field.z.len() as f64) as usize
}

/// Widest gap and widest crown along the lines of one direction. The lines share no node, so that each task is the
/// only one to touch its part of `gaps`; relaxed loads and stores are all it takes.
fn lay_in_direction(
    field: &HeightField,
    length: f64,
    direction: usize,
    gaps: &[AtomicU64],
) -> (Widest, Widest) {
    let reach = reach(field, length, direction);
    if reach < 2 {
        return (Widest::NONE, Widest::NONE);
    }
    first_nodes(field, DIRECTIONS[direction])
        .par_chunks(LINES_A_TASK)
        .map_init(Line::default, |line, starts| {
            let mut widest = (Widest::NONE, Widest::NONE);
            for &start in starts {
                line.gather(field, start, DIRECTIONS[direction]);
                let (gap, crown) = line.lay(reach, direction, gaps);
                widest = (widest.0.wider(gap), widest.1.wider(crown));
            }
            widest
        })
        .reduce(
            || (Widest::NONE, Widest::NONE),
            |(gap, crown), (g, c)| (gap.wider(g), crown.wider(c)),
        )
}

/// The first node of every line in a direction: those whose predecessor lies outside the lattice.
pub(crate) fn first_nodes(field: &HeightField, (p, q): (usize, isize)) -> Vec<usize> {
    let (nx, ny) = (field.nx, field.ny);
    let edge_rows = if q < 0 {
        ny.saturating_sub(q.unsigned_abs())..ny
    } else {
        0..(q as usize).min(ny)
    };
    let mut nodes: Vec<usize> = edge_rows
        .clone()
        .flat_map(|iy| (0..nx).map(move |ix| iy * nx + ix))
        .collect();
    let others = (0..ny).filter(|iy| !edge_rows.contains(iy));
    nodes.extend(others.flat_map(|iy| (0..p.min(nx)).map(move |ix| iy * nx + ix)));
    nodes
}

/// The nodes of a line from `start` on, to the edge of the lattice.
pub(crate) fn nodes_of_line(
    field: &HeightField,
    start: usize,
    (p, q): (usize, isize),
) -> impl Iterator<Item = usize> + use<> {
    let (ix, iy) = (start % field.nx, start / field.nx);
    let columns = (field.nx - 1 - ix).checked_div(p).unwrap_or(usize::MAX);
    let rows = match q {
        0 => usize::MAX,
        1.. => (field.ny - 1 - iy) / q as usize,
        _ => iy / q.unsigned_abs(),
    };
    let step = p as isize + q * field.nx as isize;
    let mut node = start as isize;
    (0..=columns.min(rows)).map(move |_| {
        let here = node;
        node += step;
        here as usize
    })
}

/// One line of nodes, copied out of the lattice.
#[derive(Debug, Default)]
struct Line {
    nodes: Vec<usize>,
    z: Vec<f64>,
    upside_down: Vec<f64>,
    chords: Vec<f64>,
    scratch: Scratch,
}

impl Line {
    fn gather(&mut self, field: &HeightField, start: usize, direction: (usize, isize)) {
        self.nodes.clear();
        self.nodes.extend(nodes_of_line(field, start, direction));
        self.z.clear();
        self.z.extend(self.nodes.iter().map(|&node| field.z[node]));
        self.chords.resize(self.z.len(), 0.0);
    }

    /// The first stretch of the line from point `from` on that is measured throughout and long enough for an edge.
    fn run(&self, from: usize) -> Option<Range<usize>> {
        let mut begin = from;
        while begin + 3 <= self.z.len() {
            let measured = self.z[begin..].iter().take_while(|z| z.is_finite()).count();
            if measured >= 3 {
                return Some(begin..begin + measured);
            }
            begin += measured + 1;
        }
        None
    }

    /// Widest gap and crown of the line; gaps go to the gap map.
    fn lay(&mut self, reach: usize, direction: usize, gaps: &[AtomicU64]) -> (Widest, Widest) {
        let (mut gap, mut crown) = (Widest::NONE, Widest::NONE);
        self.upside_down.clear();
        self.upside_down.extend(self.z.iter().map(|z| -z));
        let mut from = 0;
        while let Some(run) = self.run(from) {
            from = run.end;
            let widest = self.widest(run.clone(), reach, false, |node, gap| {
                if gap > f64::from_bits(gaps[node].load(Ordering::Relaxed)) {
                    gaps[node].store(gap.to_bits(), Ordering::Relaxed);
                }
            });
            gap = gap.wider(Widest {
                direction,
                ..widest
            });
            crown = crown.wider(Widest {
                direction,
                ..self.widest(run, reach, true, |_, _| {})
            });
        }
        (gap, crown)
    }

    /// The widest gap along a measured run of the line, or of the line upside down; `each` sees every gap. Over a run
    /// without a hollow the edge rocks and leaves none: that is a gap of nothing over the second node.
    fn widest(
        &mut self,
        run: Range<usize>,
        reach: usize,
        upside_down: bool,
        mut each: impl FnMut(usize, f64),
    ) -> Widest {
        let z = if upside_down {
            &self.upside_down[run.clone()]
        } else {
            &self.z[run.clone()]
        };
        let chords = &mut self.chords[run.clone()];
        highest_chords(z, reach, &mut self.scratch, chords);
        let mut widest = (0.0, 1);
        for ((at, &chord), &z) in chords.iter().enumerate().zip(z) {
            let gap = chord - z;
            if gap > 0.0 {
                each(self.nodes[run.start + at], gap);
            }
            if gap > widest.0 {
                widest = (gap, at);
            }
        }
        Widest {
            gap: widest.0,
            node: self.nodes[run.start + widest.1],
            direction: usize::MAX,
        }
    }
}

/// Names the contacts of the widest gap: the highest chord over its node, by trying the chords over that one node.
fn contact(field: &HeightField, length: f64, widest: Widest, sign: f64) -> Option<Contact> {
    if widest.gap == f64::NEG_INFINITY {
        return None;
    }
    let (p, q) = DIRECTIONS[widest.direction];
    let reach = reach(field, length, widest.direction);
    let c = widest.node;
    let before = measured_from(field, c, (p, q), -1, reach);
    let behind = measured_from(field, c, (p, q), 1, reach);
    let mut highest = (f64::NEG_INFINITY, c, c, 0.5);
    for (i, &a) in before.iter().enumerate() {
        for (j, &b) in behind.iter().enumerate().take(reach.saturating_sub(i + 1)) {
            let share = (i + 1) as f64 / (i + j + 2) as f64;
            let chord = sign * (field.z[a] + share * (field.z[b] - field.z[a]));
            if chord > highest.0 {
                highest = (chord, a, b, share);
            }
        }
    }
    let (_, a, b, share) = highest;
    Some(Contact {
        a,
        b,
        c,
        gap: widest.gap,
        u: gap_uncertainty(field, [a, b, c], share),
    })
}

/// The measured nodes next to `from` in or against a direction, nearest first, at most `reach - 1` of them.
fn measured_from(
    field: &HeightField,
    from: usize,
    (p, q): (usize, isize),
    way: isize,
    reach: usize,
) -> Vec<usize> {
    let (ix, iy) = ((from % field.nx) as isize, (from / field.nx) as isize);
    (1..reach as isize)
        .map(|steps| (ix + way * steps * p as isize, iy + way * steps * q))
        .take_while(|&(ix, iy)| {
            ix >= 0 && iy >= 0 && ix < field.nx as isize && iy < field.ny as isize
        })
        .map(|(ix, iy)| iy as usize * field.nx + ix as usize)
        .take_while(|&node| field.z[node].is_finite())
        .collect()
}

/// u² = u_C² + (1 - w)² u_A² + w² u_B², w the place of C between A and B: three independent heights (definitions 5).
pub(super) fn gap_uncertainty(field: &HeightField, [a, b, c]: [usize; 3], w: f64) -> f64 {
    (field.u[c].powi(2) + ((1.0 - w) * field.u[a]).powi(2) + (w * field.u[b]).powi(2)).sqrt()
}

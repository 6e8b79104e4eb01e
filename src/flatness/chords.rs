//! The highest chord over every point of one line of heights: what a straightedge of a given length rests on.
//!
//! In: heights at one pitch along a line, and the length of the straightedge in steps of that pitch. Out: for every
//! point C the height at C of the highest chord from a point A before it to a point B behind it, B at most that many
//! steps from A.
//!
//! # How, and why it is exact
//!
//! Of the chords that start at A only the steepest, to B(A) say, can be the highest over any point: up to B(A) every
//! other one lies below it, and behind B(A) the chord that starts at B(A) lies above every chord from A. So there is
//! one chord a point to look at.
//!
//! - B(A) is where a line through A touches the upper hull of the points within reach. Points are taken in blocks as
//!   long as the straightedge, so that what A can reach lies in its own block and the next. From right to left through
//!   a block, the hull of what lies between A and the block's end grows (the points it sheds are the search for the
//!   tangent), while the hull of the reachable part of the next block shrinks: it was built from left to right,
//!   and each of its steps is undone. The tangent to that second hull is a binary search, made only where the hull's
//!   highest point could beat the first tangent.
//! - A chord inside the span of an earlier one lies below it. The others have both ends increasing, and of two that
//!   overlap the later is the lower one at its start and the higher one at the earlier's end: they cross once. So the
//!   upper envelope is kept as a stack, a crossing a chord.
//!
//! Every point enters and leaves each stack once: the cost does not grow with the length of the straightedge but for
//! the binary search. No source: the argument is above and `tests/properties` holds it against all chords tried one by
//! one.

use std::ops::Range;

/// A point of a hull: position in steps along the line, height in m.
#[derive(Debug, Clone, Copy, Default)]
struct Point {
    at: f64,
    z: f64,
}

/// A chord that is highest from `first` on.
#[derive(Debug, Clone, Copy)]
pub struct Chord {
    first: usize,
    last: usize,
    start: f64,
    z: f64,
    slope: f64,
}

impl Chord {
    /// Its two ends, as points of the line.
    pub fn ends(&self) -> [usize; 2] {
        [self.start as usize, self.last]
    }

    /// Its height at point `at`, m.
    pub fn height(&self, at: f64) -> f64 {
        self.z + self.slope * (at - self.start)
    }
}

/// Memory that is kept from line to line.
#[derive(Debug, Default)]
pub struct Scratch {
    target: Vec<u32>,
    near: Vec<Point>,
    far: FarHull,
    envelope: Vec<Chord>,
}

/// Writes to `highest[c]` the height in m of the highest chord over point `c` of the line `z` (m), or minus infinity
/// where no chord rises above it. `reach` is the straightedge in steps. The line must be measured throughout (no NaN).
///
/// # Panics
/// Never; `highest` shorter than `z` is filled as far as it goes.
pub fn highest_chords(z: &[f64], reach: usize, scratch: &mut Scratch, highest: &mut [f64]) {
    highest.fill(f64::NEG_INFINITY);
    each_highest_chord(z, reach, scratch, |points, chord| {
        for c in points {
            if let Some(height) = highest.get_mut(c) {
                *height = chord.height(c as f64);
            }
        }
    });
}

/// Hands to `each`, from left to right, the points of the line `z` (m) that a chord is highest over, and that chord.
/// As [`highest_chords`].
pub fn each_highest_chord(
    z: &[f64],
    reach: usize,
    scratch: &mut Scratch,
    mut each: impl FnMut(Range<usize>, &Chord),
) {
    if z.len() < 3 || reach < 2 {
        return;
    }
    steepest(z, reach, scratch);
    envelope(z, scratch);
    for (place, chord) in scratch.envelope.iter().enumerate() {
        let next = scratch
            .envelope
            .get(place + 1)
            .map_or(usize::MAX, |next| next.first);
        each(chord.first..chord.last.min(next), chord);
    }
}

/// Fills `scratch.target` with B(A) for every A but the last.
fn steepest(z: &[f64], reach: usize, scratch: &mut Scratch) {
    let Scratch {
        target, near, far, ..
    } = scratch;
    target.clear();
    target.resize(z.len(), 0);
    let blocks = z.len().div_ceil(reach);
    for block in (0..blocks).rev() {
        let begin = block * reach;
        let border = (begin + reach).min(z.len());
        let end = (border + reach).min(z.len());
        far.build(&z[border..end], border);
        near.clear();
        for from in (begin..border).rev() {
            far.shrink_to(from + reach + 1);
            let here = Point {
                at: from as f64,
                z: z[from],
            };
            let mut best = tangent_by_shedding(near, here);
            if let Some(beyond) = far.tangent(here, best) {
                best = Some(beyond);
            }
            target[from] = best.map_or(0, |point| point.at as u32);
            near.push(here);
        }
    }
}

/// The point of the hull on the stack that is steepest from `here`; what `here` hides is taken off the stack.
fn tangent_by_shedding(hull: &mut Vec<Point>, here: Point) -> Option<Point> {
    let mut top = hull.pop()?;
    while let Some(&below) = hull.last() {
        if !steeper(here, below, top) {
            break;
        }
        top = below;
        hull.pop();
    }
    hull.push(top);
    Some(top)
}

/// Whether `a` is at least as steep from `here` as `b` (both lie behind `here`).
#[inline(always)]
fn steeper(here: Point, a: Point, b: Point) -> bool {
    (a.z - here.z) * (b.at - here.at) >= (b.z - here.z) * (a.at - here.at)
}

/// The upper hull of the first points of a block, which can lose its last point again and again.
#[derive(Debug, Default)]
struct FarHull {
    hull: Vec<Point>,
    len: usize,
    /// For each point: the hull's length before it came, where it was put, and what stood there.
    undo: Vec<(u32, u32, Point)>,
    /// The greatest height up to each point.
    top: Vec<f64>,
    first: usize,
}

impl FarHull {
    fn build(&mut self, z: &[f64], first: usize) {
        self.first = first;
        self.len = 0;
        self.undo.clear();
        self.top.clear();
        if self.hull.len() < z.len() {
            self.hull.resize(z.len(), Point::default());
        }
        let mut top = f64::NEG_INFINITY;
        for (offset, &z) in z.iter().enumerate() {
            let point = Point {
                at: (first + offset) as f64,
                z,
            };
            let mut place = self.len;
            while place >= 2 && steeper(self.hull[place - 2], point, self.hull[place - 1]) {
                place -= 1;
            }
            self.undo
                .push((self.len as u32, place as u32, self.hull[place]));
            self.hull[place] = point;
            self.len = place + 1;
            top = z.max(top);
            self.top.push(top);
        }
    }

    /// Forgets the points from position `end` on.
    fn shrink_to(&mut self, end: usize) {
        while self.first + self.undo.len() > end {
            if let Some((len, place, point)) = self.undo.pop() {
                self.hull[place as usize] = point;
                self.len = len as usize;
            }
        }
    }

    /// The hull's steepest point from `here`, if it is at least as steep as `rival`.
    fn tangent(&self, here: Point, rival: Option<Point>) -> Option<Point> {
        let top = *self.top.get(self.undo.len().checked_sub(1)?)?;
        let (nearest, farthest) = (self.first as f64, (self.first + self.undo.len() - 1) as f64);
        if let Some(rival) = rival {
            let bound = Point {
                at: if top > here.z { nearest } else { farthest },
                z: top,
            };
            if !steeper(here, bound, rival) {
                return None;
            }
        }
        let hull = &self.hull[..self.len];
        let (mut low, mut high) = (0, hull.len() - 1);
        while low < high {
            let middle = (low + high) / 2;
            if steeper(here, hull[middle + 1], hull[middle]) {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        let found = hull[low];
        rival
            .is_none_or(|rival| steeper(here, found, rival))
            .then_some(found)
    }
}

/// Fills `scratch.envelope` with the chords that are highest somewhere, from left to right.
fn envelope(z: &[f64], scratch: &mut Scratch) {
    let Scratch {
        target, envelope, ..
    } = scratch;
    envelope.clear();
    let mut farthest = 0;
    for (from, &to) in target[..z.len() - 1].iter().enumerate() {
        let to = to as usize;
        if to <= farthest || to < from + 2 {
            continue;
        }
        farthest = to;
        let (start, run) = (from as f64, (to - from) as f64);
        let mut chord = Chord {
            first: from + 1,
            last: to,
            start,
            z: z[from],
            slope: (z[to] - z[from]) / run,
        };
        while let Some(rival) = envelope.last() {
            chord.first = takes_over(&chord, rival);
            if chord.first > rival.first {
                break;
            }
            envelope.pop();
            chord.first = from + 1;
        }
        envelope.push(chord);
    }
}

/// The first point that `chord` spans and is not lower over than `rival`, which starts before it and ends before it.
fn takes_over(chord: &Chord, rival: &Chord) -> usize {
    let first = chord.start as usize + 1;
    if rival.last <= first {
        return first;
    }
    let behind = rival.height(chord.start) - chord.z;
    let gain = chord.slope - rival.slope;
    let steps = (behind / gain).ceil();
    if gain > 0.0 && steps >= 1.0 {
        (chord.start as usize + steps as usize).min(rival.last)
    } else if behind > 0.0 {
        rival.last
    } else {
        first
    }
}

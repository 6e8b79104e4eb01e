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

/// A corner of a hull: its place on the line, and the slope of the hull's edge that ends there or begins there (m a step).
#[derive(Debug, Clone, Copy, Default)]
struct Corner {
    at: u32,
    slope: f64,
}

/// A line of heights (m), with 1/k for every number of steps k that the straightedge reaches.
#[derive(Clone, Copy)]
struct Line<'a> {
    z: &'a [f64],
    inverse: &'a [f64],
}

impl Line<'_> {
    /// Slope from one point to a later one, m a step.
    #[inline(always)]
    fn slope(&self, from: usize, to: usize) -> f64 {
        (self.z[to] - self.z[from]) * self.inverse[to - from]
    }
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
    inverse: Vec<f64>,
    near: Vec<Corner>,
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
        target,
        inverse,
        near,
        far,
        ..
    } = scratch;
    target.clear();
    target.resize(z.len(), 0);
    for steps in inverse.len()..=reach.min(z.len()) {
        inverse.push(1.0 / steps as f64);
    }
    let line = Line { z, inverse };
    near.resize(reach.min(z.len()), Corner::default());
    for begin in (0..z.len()).step_by(reach).rev() {
        let border = (begin + reach).min(z.len());
        far.build(line, border, (border + reach).min(z.len()));
        let mut corners = 0;
        for from in (begin..border).rev() {
            far.shrink_to(from + reach + 1);
            let mut steepest = Corner {
                at: 0,
                slope: f64::NEG_INFINITY,
            };
            // The hull of what lies between, from its left end on: corners that the next one is steeper than are hidden.
            while corners > 0 {
                let Corner { at, slope: onwards } = near[corners - 1];
                steepest = Corner {
                    at,
                    slope: line.slope(from, at as usize),
                };
                if steepest.slope > onwards {
                    break;
                }
                corners -= 1;
            }
            near[corners] = Corner {
                at: from as u32,
                slope: steepest.slope,
            };
            corners += 1;
            target[from] = far.tangent(line, from, steepest).at;
        }
    }
}

/// The upper hull of the first `points` points of a block, which can lose its last point again and again.
#[derive(Debug, Default)]
struct FarHull {
    first: usize,
    points: usize,
    /// The hull from left to right, each corner with the slope of the edge that ends there; the first `corners` hold.
    hull: Vec<Corner>,
    corners: usize,
    /// What each point of the block changed when it came.
    steps: Vec<Step>,
}

/// How a point changed a hull: how many corners there were, which one it took the place of, and the greatest height
/// since.
#[derive(Debug, Clone, Copy, Default)]
struct Step {
    corners: u32,
    corner: Corner,
    top: f64,
}

impl FarHull {
    fn build(&mut self, line: Line, first: usize, end: usize) {
        (self.first, self.points) = (first, end - first);
        self.hull
            .resize(self.points.max(self.hull.len()), Corner::default());
        self.steps
            .resize(self.points.max(self.steps.len()), Step::default());
        let mut top = f64::NEG_INFINITY;
        let mut corners = 0;
        for (at, step) in (first..end).zip(&mut self.steps) {
            let before = corners;
            // Nothing ends at the first point, so that it stays.
            let mut slope = f64::INFINITY;
            while corners > 0 {
                let last = self.hull[corners - 1];
                slope = line.slope(last.at as usize, at);
                if slope < last.slope {
                    break;
                }
                corners -= 1;
            }
            top = line.z[at].max(top);
            *step = Step {
                corners: before as u32,
                corner: self.hull[corners],
                top,
            };
            self.hull[corners] = Corner {
                at: at as u32,
                slope,
            };
            corners += 1;
        }
        self.corners = corners;
    }

    /// Forgets the points from position `end` on.
    fn shrink_to(&mut self, end: usize) {
        while self.first + self.points > end && self.points > 0 {
            self.points -= 1;
            let step = self.steps[self.points];
            self.hull[self.corners - 1] = step.corner;
            self.corners = step.corners as usize;
        }
    }

    /// The steepest point of this hull from `from`, or `rival` if that is steeper.
    fn tangent(&self, line: Line, from: usize, rival: Corner) -> Corner {
        let Some(last) = self.points.checked_sub(1) else {
            return rival;
        };
        // Nothing here can be steeper than its highest point would be at the nearer or, going down, the farther end.
        let rise = self.steps[last].top - line.z[from];
        let run = if rise > 0.0 {
            self.first
        } else {
            self.first + last
        } - from;
        if rise * line.inverse[run] < rival.slope {
            return rival;
        }
        let hull = &self.hull[..self.corners];
        let (mut low, mut high) = (0, hull.len() - 1);
        while low < high {
            let middle = (low + high) / 2;
            let next = hull[middle + 1];
            if next.slope >= line.slope(from, hull[middle].at as usize) {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        let found = Corner {
            at: hull[low].at,
            slope: line.slope(from, hull[low].at as usize),
        };
        if found.slope >= rival.slope {
            found
        } else {
            rival
        }
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

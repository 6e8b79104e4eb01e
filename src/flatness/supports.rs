//! A rule on two equal supports, and the grid method: deviation from the line between two places a set distance apart.
//!
//! In: a lattice of heights and the distance between the supports. Out: the largest deviation, up or down, along the 16
//! lattice directions. Formula: |(1 - w) z_A + w z_B - z_C|, w the place of C between A and B; for the grid method C is
//! half way, so that its uncertainty is sqrt(1.5) of one height's.
//! A direction whose lattice has no two nodes at the distance, give or take [`OFF_LENGTH`], is left out.

use rayon::prelude::*;

use super::straightedge::{Contact, DIRECTIONS, gap_uncertainty};
use crate::surface::HeightField;

/// Supports may be this share of the length too near or too far: on a hollow of one radius that is 4 % of its depth.
pub const OFF_LENGTH: f64 = 0.02;

/// Which places between the supports are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Between {
    /// Every one: a rule on end shims. All of them must be measured.
    Everywhere,
    /// The middle: the grid method.
    Middle,
}

/// The largest deviation from the line between two supports `length` metres apart. None where no such line lies on
/// measured floor. The contact's gap is the size of the deviation, a hollow's or a hump's.
pub fn worst(field: &HeightField, length: f64, between: Between) -> Option<Contact> {
    DIRECTIONS
        .iter()
        .filter_map(|&direction| {
            let steps = steps(field, length, direction, between)?;
            worst_in_direction(field, direction, steps, between)
        })
        .fold(None, |worst, contact| larger(worst, Some(contact)))
}

/// Of equals the first, so that the answer does not depend on which core was faster.
fn larger(first: Option<Contact>, second: Option<Contact>) -> Option<Contact> {
    match (first, second) {
        (Some(first), Some(second)) if second.gap > first.gap => Some(second),
        (Some(first), _) => Some(first),
        (None, second) => second,
    }
}

/// Lattice steps between the supports.
fn steps(
    field: &HeightField,
    length: f64,
    (p, q): (usize, isize),
    between: Between,
) -> Option<usize> {
    let step = (p as f64 * field.dx).hypot(q as f64 * field.dy);
    let steps = match between {
        Between::Everywhere => (length / step).round(),
        Between::Middle => 2.0 * (length / step / 2.0).round(),
    };
    let fits = (steps * step - length).abs() <= OFF_LENGTH * length;
    let inside = steps >= 2.0 && steps < field.nx.max(field.ny) as f64;
    (fits && inside).then_some(steps as usize)
}

fn worst_in_direction(
    field: &HeightField,
    (p, q): (usize, isize),
    steps: usize,
    between: Between,
) -> Option<Contact> {
    let stride = p as isize + q * field.nx as isize;
    let columns = field.nx.saturating_sub(steps * p);
    let chord = |a: usize| {
        let node = |step: usize| (a as isize + step as isize * stride) as usize;
        let b = node(steps);
        let looked_at = match between {
            Between::Everywhere => 1..steps,
            Between::Middle => steps / 2..steps / 2 + 1,
        };
        let mut largest: Option<(f64, usize)> = None;
        for step in looked_at {
            let w = step as f64 / steps as f64;
            let line = field.z[a] + w * (field.z[b] - field.z[a]);
            let deviation = (line - field.z[node(step)]).abs();
            if deviation.is_nan() {
                return None;
            }
            if largest.is_none_or(|(other, _)| deviation > other) {
                largest = Some((deviation, step));
            }
        }
        largest.map(|(gap, step)| {
            let (c, w) = (node(step), step as f64 / steps as f64);
            let u = gap_uncertainty(field, [a, b, c], w);
            Contact { a, b, c, gap, u }
        })
    };
    (0..field.ny)
        .into_par_iter()
        .filter(|iy| {
            let end = *iy as isize + steps as isize * q;
            (0..field.ny as isize).contains(&end)
        })
        .map(|iy| {
            (0..columns)
                .map(|ix| chord(iy * field.nx + ix))
                .fold(None, larger)
        })
        .reduce(|| None, larger)
}

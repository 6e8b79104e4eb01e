//! Differences in height: of two places by their distance, and of a place from the mean level.
//!
//! In: a lattice of heights. Out: the two places whose difference takes the largest share of what is allowed at their
//! distance, along the 16 lattice directions; the place farthest from the mean level.
//! What lies between two places does not matter: a level reaches across a hole in the floor.

use rayon::prelude::*;

use super::straightedge::DIRECTIONS;
use crate::surface::HeightField;
use crate::tolerance::Allowed;

/// Distances within this share of a bound count as reaching it.
const REACH_SLACK: f64 = 1e-9;

/// Two places and their difference in height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// One place, a node.
    pub a: usize,
    /// The other.
    pub b: usize,
    /// The difference, m, never negative.
    pub height: f64,
    /// The distance between them, m.
    pub distance: f64,
    /// What is allowed at that distance, m.
    pub limit: f64,
}

/// The difference that takes the largest share of what is `allowed`, of places `from` to `to` metres apart. None where
/// no two measured places are.
pub fn worst(field: &HeightField, from: f64, to: f64, allowed: &Allowed) -> Option<Difference> {
    worst_in_doubt(field, from, to, allowed, |_| 0.0)
}

/// The same where a `doubt`, m, that never falls with the distance is added to each difference.
pub fn worst_in_doubt(
    field: &HeightField,
    from: f64,
    to: f64,
    allowed: &Allowed,
    doubt: impl Fn(f64) -> f64 + Sync,
) -> Option<Difference> {
    let share = |one: &Difference| (one.height + doubt(one.distance)) / one.limit;
    let heights = field.measured().map(|(_, [_, _, z])| z);
    let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), z| {
        (low.min(z), high.max(z))
    });
    DIRECTIONS
        .par_iter()
        .map(|&direction| {
            worst_in_direction(field, direction, [from, to], allowed, high - low, &share)
        })
        .collect::<Vec<_>>()
        .into_iter()
        .flatten()
        .reduce(|first, second| {
            if share(&second) > share(&first) {
                second
            } else {
                first
            }
        })
}

/// From near to far; it ends where the floor's whole `range` between its ends would take no larger `share`, as limits and
/// doubts never fall.
fn worst_in_direction(
    field: &HeightField,
    (p, q): (usize, isize),
    [from, to]: [f64; 2],
    allowed: &Allowed,
    range: f64,
    share: &impl Fn(&Difference) -> f64,
) -> Option<Difference> {
    let step = (p as f64 * field.dx).hypot(q as f64 * field.dy);
    let across = (field.nx as f64 * field.dx).hypot(field.ny as f64 * field.dy);
    let mut worst: Option<Difference> = None;
    for steps in 1..field.nx.max(field.ny) {
        let distance = steps as f64 * step;
        let limit = allowed.at(distance);
        let most = Difference {
            a: 0,
            b: 0,
            height: range,
            distance: across,
            limit,
        };
        let enough = worst.is_some_and(|worst| share(&most) <= share(&worst));
        if distance > to * (1.0 + REACH_SLACK) || enough {
            break;
        }
        if distance < from * (1.0 - REACH_SLACK) {
            continue;
        }
        if let Some((a, b, height)) = largest_difference(field, steps * p, steps as isize * q) {
            let found = Difference {
                a,
                b,
                height,
                distance,
                limit,
            };
            if worst.is_none_or(|worst| share(&found) > share(&worst)) {
                worst = Some(found);
            }
        }
    }
    worst
}

/// The nodes `columns` and `rows` apart that differ most in height.
fn largest_difference(
    field: &HeightField,
    columns: usize,
    rows: isize,
) -> Option<(usize, usize, f64)> {
    let (nx, ny) = (field.nx, field.ny as isize);
    let mut largest = None;
    for iy in (0..ny).filter(|iy| (0..ny).contains(&(iy + rows))) {
        let (first, second) = (iy as usize * nx, (iy + rows) as usize * nx + columns);
        for ix in 0..nx.saturating_sub(columns) {
            let height = (field.z[first + ix] - field.z[second + ix]).abs();
            if height > largest.map_or(-1.0, |(_, _, height)| height) {
                largest = Some((first + ix, second + ix, height));
            }
        }
    }
    largest
}

/// The node farthest from `mean`, and how far, m.
pub fn farthest(field: &HeightField, mean: f64) -> Option<(usize, f64)> {
    farthest_in_doubt(field, mean, |_| 0.0)
}

/// The same where the `doubt` at each node, m, is added to its distance.
pub fn farthest_in_doubt(
    field: &HeightField,
    mean: f64,
    doubt: impl Fn(usize) -> f64,
) -> Option<(usize, f64)> {
    let off = field
        .measured()
        .map(|(node, [_, _, z])| (node, (z - mean).abs()));
    off.map(|(node, off)| (node, off, off + doubt(node)))
        .reduce(|first, second| if second.2 > first.2 { second } else { first })
        .map(|(node, off, _)| (node, off))
}

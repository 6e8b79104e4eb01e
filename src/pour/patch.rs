//! The edge of a patch of floor, simplified to what a person can snap a line to.
//!
//! In: which cells of a lattice belong to which patch. Out: the corners of its outer edge, local m; the way its walls run.

use std::collections::{BTreeMap, BTreeSet};

use geo::{LineString, Simplify};

use super::distance::neighbours;
use crate::surface::HeightField;

/// How far the simplified edge may lie off the cells', m: half a hand's breadth. On a coarse lattice, a cell.
const OFF: f64 = 0.05;

/// A corner between cells: column and row.
type Corner = (usize, usize);

/// The outer edge of `cells`, anticlockwise, its first corner not repeated. Empty for an
/// empty patch. Holes are left out, and of a patch in several pieces all but the largest. Where three patches of `patch_of`,
/// or two and the edge of the floor, meet, there is a corner: so an edge that two patches share is simplified alike for both.
pub(super) fn outline(
    field: &HeightField,
    cells: &[usize],
    patch_of: &[Option<u32>],
) -> Vec<[f64; 2]> {
    let longest = rings(edges(field, cells, patch_of))
        .into_iter()
        .max_by_key(|ring| twice_area(ring))
        .unwrap_or_default();
    let corners_once = longest.len().saturating_sub(1);
    let mut ring: Vec<Corner> = longest.into_iter().take(corners_once).collect();
    let meets = |&corner: &Corner| meeting(field, patch_of, corner) > 2;
    let first = ring.iter().position(meets).unwrap_or(0);
    ring.rotate_left(first);
    ring.extend(ring.first().copied());
    let mut corners = Vec::new();
    let mut chain = Vec::new();
    for (place, &corner) in ring.iter().enumerate() {
        chain.push(corner);
        if place > 0 && (meets(&corner) || place + 1 == ring.len()) {
            corners.extend(simplified(field, &chain));
            chain = vec![corner];
        }
    }
    corners
}

/// How many patches meet at a corner between cells; the floor's outside counts as one.
fn meeting(field: &HeightField, patch_of: &[Option<u32>], (ix, iy): Corner) -> usize {
    let cell = |left: usize, below: usize| {
        let (ix, iy) = (ix.checked_sub(left)?, iy.checked_sub(below)?);
        let inside = ix < field.nx && iy < field.ny;
        patch_of
            .get(iy * field.nx + ix)
            .copied()
            .filter(|_| inside)?
    };
    let around = [cell(0, 0), cell(1, 0), cell(0, 1), cell(1, 1)];
    BTreeSet::from(around).len()
}

/// The corners of a chain but for its last, simplified: alike whichever way it runs.
fn simplified(field: &HeightField, chain: &[Corner]) -> Vec<[f64; 2]> {
    let at = |&(ix, iy): &Corner| geo::Coord {
        x: field.x0 + (ix as f64 - 0.5) * field.dx,
        y: field.y0 + (iy as f64 - 0.5) * field.dy,
    };
    let backwards = chain.first() > chain.last();
    let mut line: Vec<_> = chain.iter().map(at).collect();
    if backwards {
        line.reverse();
    }
    let mut corners = LineString::new(line).simplify(OFF.max(field.spacing())).0;
    if backwards {
        corners.reverse();
    }
    corners.pop();
    corners.iter().map(|corner| [corner.x, corner.y]).collect()
}

/// The way along the longer walls, a unit vector: the turn, to the degree, that puts the patch into the smallest rectangle.
pub(super) fn along_the_walls(field: &HeightField, cells: &[usize]) -> [f64; 2] {
    let edge: Vec<[f64; 2]> = cells
        .iter()
        .filter(|&&cell| neighbours(field, cell).count() < 8)
        .map(|&cell| field.position(cell))
        .collect();
    let rectangle = |degrees: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let extent = |[a, b]: [f64; 2]| {
            let along = edge.iter().map(|[x, y]| a * x + b * y);
            let (low, high) = along.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
                (low.min(x), high.max(x))
            });
            high - low
        };
        ([cos, sin], extent([cos, sin]), extent([-sin, cos]))
    };
    let turns = (0..90).map(|degrees| rectangle(f64::from(degrees)));
    let smallest = turns.min_by(|a, b| (a.1 * a.2).total_cmp(&(b.1 * b.2)));
    match smallest {
        Some(([cos, sin], along, across)) if across > along => [-sin, cos],
        Some((along, ..)) => along,
        None => [1.0, 0.0],
    }
}

/// The sides of the cells of one of the patches of `patch_of`, behind which it ends, each from corner to corner with the patch on its left.
fn edges(
    field: &HeightField,
    cells: &[usize],
    patch_of: &[Option<u32>],
) -> BTreeMap<Corner, Vec<Corner>> {
    let mut edges: BTreeMap<Corner, Vec<Corner>> = BTreeMap::new();
    for &cell in cells {
        let (x, y) = (cell % field.nx, cell / field.nx);
        let sides = [
            ((x, y), (x + 1, y), y > 0, cell.wrapping_sub(field.nx)),
            ((x + 1, y), (x + 1, y + 1), x + 1 < field.nx, cell + 1),
            (
                (x + 1, y + 1),
                (x, y + 1),
                y + 1 < field.ny,
                cell + field.nx,
            ),
            ((x, y + 1), (x, y), x > 0, cell.wrapping_sub(1)),
        ];
        for (from, to, inside, neighbour) in sides {
            if !(inside && patch_of.get(neighbour) == patch_of.get(cell)) {
                edges.entry(from).or_default().push(to);
            }
        }
    }
    edges
}

/// Joins sides to closed rings, the first corner repeated at the end. Where two cells touch at a corner only, the ring
/// goes on round the other cell, so that they stay one patch.
fn rings(mut edges: BTreeMap<Corner, Vec<Corner>>) -> Vec<Vec<Corner>> {
    let mut rings = Vec::new();
    while let Some((&start, _)) = edges.first_key_value() {
        let mut ring = vec![start];
        let mut from = None;
        let mut here = start;
        while let Some(ways) = edges.get_mut(&here) {
            let right = ways
                .iter()
                .position(|&to| from.is_some_and(|from| turns_right(from, here, to)));
            let next = ways.swap_remove(right.unwrap_or(0));
            if ways.is_empty() {
                edges.remove(&here);
            }
            (from, here) = (Some(here), next);
            ring.push(here);
        }
        rings.push(ring);
    }
    rings
}

fn turns_right(from: Corner, here: Corner, to: Corner) -> bool {
    let step = |a: Corner, b: Corner| (b.0 as isize - a.0 as isize, b.1 as isize - a.1 as isize);
    let ((ax, ay), (bx, by)) = (step(from, here), step(here, to));
    ax * by - ay * bx < 0
}

/// In cells.
fn twice_area(ring: &[Corner]) -> i64 {
    let sides = ring.windows(2).map(|ends| {
        let [(ax, ay), (bx, by)] = [ends[0], ends[1]].map(|(x, y)| (x as i64, y as i64));
        ax * by - bx * ay
    });
    sides.sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outline_of(drawing: &[&str]) -> Vec<[f64; 2]> {
        let (nx, ny) = (drawing[0].len(), drawing.len());
        let field = HeightField::unmeasured([0.05, 0.05], [0.1, 0.1], [nx, ny]);
        let text: Vec<u8> = drawing.iter().flat_map(|row| row.bytes()).collect();
        let cells: Vec<usize> = (0..nx * ny).filter(|&cell| text[cell] == b'#').collect();
        let patch_of: Vec<Option<u32>> = text
            .iter()
            .map(|&letter| (letter != b'.').then_some(u32::from(letter)))
            .collect();
        let mut corners = outline(&field, &cells, &patch_of);
        corners
            .iter_mut()
            .flatten()
            .for_each(|x| *x = (*x * 1e6).round() / 1e6);
        corners
    }

    #[test]
    fn a_rectangle_has_four_corners() {
        let found = outline_of(&["......", ".####.", ".####.", ".####."]);
        assert_eq!(found, [[0.1, 0.1], [0.5, 0.1], [0.5, 0.4], [0.1, 0.4]]);
    }

    #[test]
    fn an_l_keeps_its_inner_corner_and_a_hole_is_left_out() {
        let found = outline_of(&[
            "#########",
            "#########",
            "###.#####",
            "####.....",
            "####.....",
            "####.....",
        ]);
        assert_eq!(found.len(), 6, "{found:?}");
        assert!(found.contains(&[0.4, 0.3]));
    }

    #[test]
    fn stairs_become_a_straight_line() {
        let found = outline_of(&[
            "########", "#######.", "######..", "#####...", "####....", "###.....", "##......",
            "#.......",
        ]);
        assert!(found.len() <= 4, "{found:?}");
    }

    /// Two patches meet along an edge with a step of one cell: a straight line, the same for both.
    #[test]
    fn a_shared_edge_is_one_line() {
        let drawing = ["####++++", "####++++", "####++++", "###+++++", "###+++++"];
        let found = outline_of(&drawing);
        assert_eq!(found, [[0.4, 0.0], [0.3, 0.5], [0.0, 0.5], [0.0, 0.0]]);
        let swapped = drawing.map(|row| row.replace('#', "-").replace('+', "#"));
        let other = outline_of(&[0, 1, 2, 3, 4].map(|row| swapped[row].as_str()));
        assert!(
            other.contains(&[0.3, 0.5]) && other.contains(&[0.4, 0.0]),
            "{other:?}"
        );
        assert_eq!(other.len(), 4);
    }

    /// A rectangle of 4 m x 1 m turned by 30 degrees.
    #[test]
    fn walls_that_are_not_square_to_the_axes() {
        let mut field = HeightField::unmeasured([0.0; 2], [0.05, 0.05], [100, 80]);
        let (sin, cos) = 30f64.to_radians().sin_cos();
        for cell in 0..field.z.len() {
            let [x, y] = field.position(cell);
            let (along, across) = (cos * (x - 0.6) + sin * y, cos * y - sin * (x - 0.6));
            if (0.0..4.0).contains(&along) && (0.0..1.0).contains(&across) {
                field.z[cell] = 0.0;
            }
        }
        let cells: Vec<usize> = field.measured().map(|(cell, _)| cell).collect();
        let [x, y] = along_the_walls(&field, &cells);
        assert!((y.atan2(x).to_degrees() - 30.0).abs() <= 1.0, "{x} {y}");
    }

    #[test]
    fn cells_that_touch_at_a_corner_are_one_patch() {
        let found = outline_of(&[
            "####....", "####....", "####....", "....####", "....####", "....####",
        ]);
        assert!(
            found.contains(&[0.0, 0.0]) && found.contains(&[0.8, 0.6]),
            "{found:?}"
        );
        assert_eq!(outline_of(&["...", "..."]), Vec::<[f64; 2]>::new());
    }
}

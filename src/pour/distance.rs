//! How far every place is from the way out, walking over the floor around walls and columns.
//!
//! In: a lattice, whose finite nodes are floor, and the ways out. Out: a distance and a region for every node; what a wall
//! cuts off is a region of its own, entered where it is nearest to a way out.
//!
//! Distances spread from node to node, each node remembering the last place that its path bends round: it is as far as
//! that place and the straight line from there, if that line runs over floor; if not, the path bends at a neighbour, or
//! where a neighbour's path does. (This is an any-angle path search known as lazy theta star, from memory.) A straight distance is exact.
//! Around corners and columns it is good to 1 %, and never too short; the tests hold that against closed forms.
//!
//! Not here: doors that are too narrow, floor that may not be stepped on.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use crate::surface::HeightField;

/// Distances over the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Distances {
    /// For every node the distance to the way out, m; NaN where there is no floor.
    pub metres: Vec<f64>,
    /// For every node its region, counted from 0; None where there is no floor.
    pub region: Vec<Option<u32>>,
    /// For every region the node where it is entered, that nearest to a way out. Nearest region first.
    pub entrances: Vec<usize>,
}

/// Distances from the nearest of `exits` (local x, y, m) over the finite nodes of `field`. A way out may lie off the floor:
/// the straight line to the nearest node is added.
pub fn distances(field: &HeightField, exits: &[[f64; 2]]) -> Distances {
    let (region, entrances) = regions(field, exits);
    let mut spread = Spread {
        field,
        metres: vec![f64::NAN; field.z.len()],
        bend: (0..field.z.len()).collect(),
        done: vec![false; field.z.len()],
        open: BinaryHeap::new(),
        holes: Holes::of(field),
    };
    for &entrance in &entrances {
        spread.offer(entrance, entrance, nearest(exits, field.position(entrance)));
    }
    while let Some(Open { node, .. }) = spread.open.pop() {
        spread.visit(node);
    }
    Distances {
        metres: spread.metres,
        region,
        entrances,
    }
}

/// How far it is to the nearest of `exits`.
fn nearest(exits: &[[f64; 2]], place: [f64; 2]) -> f64 {
    let apart = exits.iter().map(|&exit| apart(place, exit));
    apart.fold(f64::INFINITY, f64::min)
}

/// Regions of floor that hang together, and the node of each that is nearest to a way out.
fn regions(field: &HeightField, exits: &[[f64; 2]]) -> (Vec<Option<u32>>, Vec<usize>) {
    let from_exit = |node: usize| nearest(exits, field.position(node));
    let mut by_distance: Vec<(f64, usize)> = field
        .measured()
        .map(|(node, _)| (from_exit(node), node))
        .collect();
    by_distance.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut region = vec![None; field.z.len()];
    let mut entrances = Vec::new();
    let mut stack = Vec::new();
    for (_, entrance) in by_distance {
        if region[entrance].is_some() {
            continue;
        }
        let number = Some(entrances.len() as u32);
        entrances.push(entrance);
        region[entrance] = number;
        stack.push(entrance);
        while let Some(node) = stack.pop() {
            for next in neighbours(field, node) {
                if region[next].is_none() {
                    region[next] = number;
                    stack.push(next);
                }
            }
        }
    }
    (region, entrances)
}

/// The floor nodes that one step leads to. A diagonal step needs floor on at least one of its sides.
pub(super) fn neighbours(field: &HeightField, node: usize) -> impl Iterator<Item = usize> + use<> {
    let nx = field.nx;
    let (ix, iy) = (node % nx, node / nx);
    let (west, east) = (ix > 0, ix + 1 < nx);
    let (south, north) = (iy > 0, iy + 1 < field.ny);
    let floor = |inside: bool, node: usize| (inside && field.z[node].is_finite()).then_some(node);
    let (to_west, to_east) = (floor(west, node.wrapping_sub(1)), floor(east, node + 1));
    let (to_south, to_north) = (floor(south, node.wrapping_sub(nx)), floor(north, node + nx));
    let diagonal = |sides: [Option<usize>; 2], inside: bool, node: usize| {
        floor(inside && sides != [None, None], node)
    };
    let around = [
        to_east,
        to_north,
        to_west,
        to_south,
        diagonal([to_east, to_north], east && north, node + nx + 1),
        diagonal([to_west, to_north], west && north, node + nx - 1),
        diagonal(
            [to_west, to_south],
            west && south,
            node.wrapping_sub(nx + 1),
        ),
        diagonal(
            [to_east, to_south],
            east && south,
            (node + 1).wrapping_sub(nx),
        ),
    ];
    around.into_iter().flatten()
}

/// A node that is waiting, nearest first.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Open {
    metres: f64,
    node: usize,
}

impl Eq for Open {}

impl Ord for Open {
    fn cmp(&self, other: &Self) -> Ordering {
        let nearest = other.metres.total_cmp(&self.metres);
        nearest.then(other.node.cmp(&self.node))
    }
}

impl PartialOrd for Open {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// Distances on their way over the floor.
struct Spread<'a> {
    field: &'a HeightField,
    metres: Vec<f64>,
    /// The last node that the path to each node bends round.
    bend: Vec<usize>,
    done: Vec<bool>,
    open: BinaryHeap<Open>,
    holes: Holes,
}

impl Spread<'_> {
    fn apart(&self, a: usize, b: usize) -> f64 {
        apart(self.field.position(a), self.field.position(b))
    }

    /// Takes a path to `node` that bends last at `bend`, if it is shorter than the one known.
    fn offer(&mut self, node: usize, bend: usize, metres: f64) {
        let shorter = self.metres[node].is_nan() || metres < self.metres[node];
        if shorter {
            self.metres[node] = metres;
            self.bend[node] = bend;
            self.open.push(Open { metres, node });
        }
    }

    fn visit(&mut self, node: usize) {
        if self.done[node] {
            return;
        }
        self.done[node] = true;
        if !self.in_sight(self.bend[node], node) {
            (self.metres[node], self.bend[node]) = self.round_the_corner(node);
        }
        let bend = self.bend[node];
        for next in neighbours(self.field, node) {
            if !self.done[next] {
                self.offer(next, bend, self.metres[bend] + self.apart(bend, next));
            }
        }
    }

    fn in_sight(&self, a: usize, b: usize) -> bool {
        self.holes.none_between(a, b) || in_sight(self.field, a, b)
    }

    /// The shortest path to a node that its bend is not in sight of: by a neighbour, or by what a neighbour bends round.
    fn round_the_corner(&self, node: usize) -> (f64, usize) {
        let mut shortest = (f64::INFINITY, node);
        for next in neighbours(self.field, node).filter(|&next| self.done[next]) {
            for bend in [next, self.bend[next]] {
                let metres = self.metres[bend] + self.apart(bend, node);
                if metres < shortest.0 && (bend == next || self.in_sight(bend, node)) {
                    shortest = (metres, bend);
                }
            }
        }
        shortest
    }
}

/// Tells at once that a rectangle is floor throughout.
struct Holes {
    columns: usize,
    /// For every corner between nodes how many nodes below it and to its left are none of the floor.
    before: Vec<u32>,
}

impl Holes {
    fn of(field: &HeightField) -> Self {
        let columns = field.nx + 1;
        let mut before = vec![0; columns * (field.ny + 1)];
        for (node, z) in field.z.iter().enumerate() {
            let corner = (node / field.nx + 1) * columns + node % field.nx + 1;
            let beside = before[corner - 1] + before[corner - columns];
            before[corner] = beside - before[corner - columns - 1] + u32::from(!z.is_finite());
        }
        Self { columns, before }
    }

    /// Whether the rectangle of which two nodes are opposite corners is all floor.
    fn none_between(&self, a: usize, b: usize) -> bool {
        let nx = self.columns - 1;
        let ([ax, ay], [bx, by]) = ([a % nx, a / nx], [b % nx, b / nx]);
        let at = |x: usize, y: usize| self.before[y * self.columns + x];
        let (left, right) = (ax.min(bx), ax.max(bx) + 1);
        let (low, high) = (ay.min(by), ay.max(by) + 1);
        at(right, high) + at(left, low) == at(left, high) + at(right, low)
    }
}

fn apart([ax, ay]: [f64; 2], [bx, by]: [f64; 2]) -> f64 {
    // `hypot` guards against overflow, and takes thrice as long.
    ((ax - bx).powi(2) + (ay - by).powi(2)).sqrt()
}

/// Whether the straight line from `a` to `b` runs over floor: every cell that it crosses, and where it passes between
/// four cells at least one of the two beside it.
fn in_sight(field: &HeightField, a: usize, b: usize) -> bool {
    let place = |node: usize| ((node % field.nx) as isize, (node / field.nx) as isize);
    let floor = |x: isize, y: isize| field.z[(y * field.nx as isize + x) as usize].is_finite();
    let ((mut x, mut y), (bx, by)) = (place(a), place(b));
    let (run, rise) = ((bx - x).abs(), (by - y).abs());
    let (right, up) = ((bx - x).signum(), (by - y).signum());
    // Positive where the line leaves the cell through its side, negative through its top, 0 through the corner.
    let mut lead = run - rise;
    while (x, y) != (bx, by) {
        match lead.cmp(&0) {
            Ordering::Greater => {
                x += right;
                lead -= 2 * rise;
            }
            Ordering::Less => {
                y += up;
                lead += 2 * run;
            }
            Ordering::Equal => {
                if !floor(x + right, y) && !floor(x, y + up) {
                    return false;
                }
                (x, y) = (x + right, y + up);
                lead += 2 * (run - rise);
            }
        }
        if !floor(x, y) {
            return false;
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A floor of 0.1 m cells with node (0, 0) at the origin; what `wall` says is none.
    fn floor([nx, ny]: [usize; 2], wall: impl Fn(f64, f64) -> bool) -> HeightField {
        let mut field = HeightField::unmeasured([0.0; 2], [0.1; 2], [nx, ny]);
        for node in 0..nx * ny {
            let (x, y) = ((node % nx) as f64, (node / nx) as f64);
            if !wall(x, y) {
                field.z[node] = 0.0;
            }
        }
        field
    }

    fn within(found: f64, wanted: f64, share: f64) {
        assert!(
            found >= wanted - 1e-12 && found <= wanted * (1.0 + share),
            "{found} {wanted}"
        );
    }

    #[test]
    fn straight_distances_are_exact() {
        let field = floor([60, 40], |_, _| false);
        let distances = distances(&field, &[[-0.3, 1.0]]);
        for (node, [x, y, _]) in field.measured() {
            let wanted = 0.3 + x.hypot(y - 1.0);
            assert!((distances.metres[node] - wanted).abs() < 1e-12);
        }
        assert_eq!(distances.entrances, [10 * 60]);
    }

    /// A wall of cells across the way: the shortest path touches the two corners of its last cell.
    #[test]
    fn around_a_corner() {
        let field = floor([101, 101], |x, y| x == 50.0 && y < 60.0);
        let metres = distances(&field, &[[1.0, 1.0]]).metres;
        let wanted = 0.1 * (2.0 * 39.5f64.hypot(49.5) + 1.0);
        within(metres[10 * 101 + 90], wanted, 0.01);
        let wanted = 0.1 * (39.5f64.hypot(49.5) + 1.0 + 29.5f64.hypot(19.5));
        within(metres[40 * 101 + 80], wanted, 0.01);
    }

    /// A round column of radius R between two places D from its middle: two tangents, and the arc that they leave,
    /// 2 sqrt(D² - R²) + R (pi - 2 acos(R / D)).
    #[test]
    fn around_a_column() {
        for (radius, out) in [(10.0, 40.0), (25.0, 45.0), (35.0, 49.0)] {
            let field = floor([101, 101], |x, y| (x - 50.0f64).hypot(y - 50.0) < radius);
            let metres = distances(&field, &[[5.0 - 0.1 * out, 5.0]]).metres;
            let node = 50 * 101 + 50 + out as usize;
            let (r, d): (f64, f64) = (0.1 * radius, 0.1 * out);
            let arc = r * (std::f64::consts::PI - 2.0 * (r / d).acos());
            within(metres[node], 2.0 * (d * d - r * r).sqrt() + arc, 0.01);
        }
    }

    #[test]
    fn a_wall_makes_two_regions() {
        let field = floor([21, 11], |x, _| x == 10.0);
        let Distances {
            metres,
            region,
            entrances,
        } = distances(&field, &[[0.0, 0.5]]);
        assert_eq!(entrances, [5 * 21, 5 * 21 + 11]);
        assert_eq!(region[0], Some(0));
        assert_eq!((region[10], region[20]), (None, Some(1)));
        assert!(metres[10].is_nan());
        within(metres[20], 1.1 + 0.9f64.hypot(0.5), 1e-12);
    }

    #[test]
    fn no_floor_no_distance() {
        let field = floor([3, 3], |_, _| true);
        let distances = distances(&field, &[[0.0, 0.0]]);
        assert!(distances.metres.iter().all(|metres| metres.is_nan()));
        assert!(distances.entrances.is_empty());
    }
}

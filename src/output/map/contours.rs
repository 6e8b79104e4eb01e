//! Lines of equal height, and the edge of what was measured.
//!
//! In: a lattice of values, m. Out: polylines in local plan metres.
//! By marching squares (the `contour` crate), on which nothing that was not measured has a say: every piece of line
//! lies in a square of four nodes, and pieces of squares with an unmeasured corner are cut out.

use contour::ContourBuilder;
use geo::LineString;

use super::raster::Lattice;
use crate::units::{INCH, MILLIMETRE, System};

/// A line on the plan, local m; first and last point are the same where it is closed.
pub type Line = Vec<[f64; 2]>;

/// The smallest step between contours that leaves at most `most` of them in a range, m: 0.5, 1, 2, 5, 10, ... mm, or
/// sixteenths of an inch and their doubles.
pub fn interval(range: f64, most: usize, units: System) -> f64 {
    let steps: &[f64] = match units {
        System::Metric => &[
            0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0,
        ],
        System::Imperial => &[0.0625, 0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0],
    };
    let unit = match units {
        System::Metric => MILLIMETRE,
        System::Imperial => INCH,
    };
    let mut steps = steps.iter().map(|step| step * unit);
    let fits = |step: &f64| range / step <= most as f64;
    let last = steps.clone().next_back().unwrap_or(unit);
    steps.find(fits).unwrap_or_else(|| {
        // Beyond a metre of range the steps go on in powers of ten.
        last * 10f64.powf((range / last / most as f64).log10().ceil())
    })
}

/// The multiples of `interval` between `low` and `high`, m.
pub fn levels([low, high]: [f64; 2], interval: f64) -> Vec<f64> {
    let (first, last) = ((low / interval).ceil(), (high / interval).floor());
    let count = (last - first + 1.0).clamp(0.0, 1000.0);
    (0..count as usize)
        .map(|n| (first + n as f64) * interval + 0.0)
        .collect()
}

/// Lowest and highest value, if there is any.
pub fn range(values: &[f64]) -> Option<[f64; 2]> {
    let measured = values.iter().copied().filter(|value| value.is_finite());
    measured.fold(None, |range, value| match range {
        None => Some([value, value]),
        Some([low, high]) => Some([low.min(value), high.max(value)]),
    })
}

/// The lines along which the lattice has the value `level`.
pub fn lines(lattice: &Lattice, level: f64) -> Vec<Line> {
    let filled: Vec<f64> = lattice
        .values
        .iter()
        .map(|&value| {
            if value.is_finite() {
                value
            } else {
                level - 1.0
            }
        })
        .collect();
    rings(lattice, &filled, level)
        .iter()
        .flat_map(|ring| measured_parts(ring, lattice))
        .map(|part| part.iter().map(|&at| plan(lattice, at)).collect())
        .collect()
}

/// The edge of what was measured: closed lines, and whether each is the edge of a hole.
pub fn measured_edge(lattice: &Lattice) -> Vec<(Line, bool)> {
    let mask: Vec<f64> = lattice
        .values
        .iter()
        .map(|value| if value.is_finite() { 1.0 } else { 0.0 })
        .collect();
    let [nx, ny] = lattice.size;
    let on_edge = |[x, y]: [f64; 2]| [x.clamp(0.0, nx as f64), y.clamp(0.0, ny as f64)];
    rings(lattice, &mask, 0.5)
        .iter()
        .map(|ring| {
            let hole = signed_area(&ring.0.iter().map(|c| [c.x, c.y]).collect::<Vec<_>>()) > 0.0;
            let line = ring.0.iter().map(|c| plan(lattice, on_edge([c.x, c.y])));
            (line.collect(), hole)
        })
        .collect()
}

/// Rings in the crate's coordinates: node (ix, iy) is at (ix + 0.5, iy + 0.5).
fn rings(lattice: &Lattice, values: &[f64], level: f64) -> Vec<LineString<f64>> {
    let [nx, ny] = lattice.size;
    if nx < 2 || ny < 2 || values.len() != nx * ny {
        return Vec::new();
    }
    ContourBuilder::new(nx, ny, true)
        .lines(values, &[level])
        .unwrap_or_default()
        .into_iter()
        .flat_map(|line| line.into_inner().0.0)
        .collect()
}

fn plan(lattice: &Lattice, [x, y]: [f64; 2]) -> [f64; 2] {
    [
        lattice.first[0] + (x - 0.5) * lattice.step[0],
        lattice.first[1] + (y - 0.5) * lattice.step[1],
    ]
}

/// The parts of a ring that lie in squares whose four nodes were measured.
fn measured_parts(ring: &LineString<f64>, lattice: &Lattice) -> Vec<Line> {
    let points: Vec<_> = ring.0.iter().map(|c| [c.x, c.y]).collect();
    let kept = |piece: &[[f64; 2]]| match piece {
        [a, b] => measured_square(lattice, [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]),
        _ => false,
    };
    let mut parts: Vec<Line> = Vec::new();
    let mut open = false;
    for piece in points.windows(2) {
        let keep = kept(piece);
        match (keep, open, parts.last_mut()) {
            (true, true, Some(part)) => part.extend(piece.get(1)),
            (true, _, _) => parts.push(piece.to_vec()),
            (false, _, _) => {}
        }
        open = keep;
    }
    // The ring's first and last part are one, where the ring was opened between them.
    let joined = parts.len() > 1 && open && points.get(..2).is_some_and(kept);
    if joined
        && let Some(mut last) = parts.pop()
        && let Some(first) = parts.first_mut()
    {
        last.extend(first.iter().skip(1));
        *first = last;
    }
    parts
}

fn measured_square(lattice: &Lattice, [x, y]: [f64; 2]) -> bool {
    let (left, low) = ((x - 0.5).floor(), (y - 0.5).floor());
    if left < 0.0 || low < 0.0 {
        return false;
    }
    let (ix, iy) = (left as usize, low as usize);
    [[0, 0], [1, 0], [0, 1], [1, 1]]
        .iter()
        .all(|[right, up]| lattice.at(ix + right, iy + up).is_finite())
}

/// Twice the area a closed line encloses, positive where it runs anticlockwise (x to the right, y up).
pub fn signed_area(points: &[[f64; 2]]) -> f64 {
    points
        .windows(2)
        .map(|pair| match pair {
            [a, b] => a[0] * b[1] - a[1] * b[0],
            _ => 0.0,
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cone of slope 1 about the middle of a lattice of 21 x 21 nodes a metre apart.
    fn cone() -> Lattice<'static> {
        let values = (0..441).map(|i| {
            let (x, y) = (f64::from(i % 21) - 10.0, f64::from(i / 21) - 10.0);
            x.hypot(y)
        });
        Lattice {
            first: [-10.0, -10.0],
            step: [1.0, 1.0],
            size: [21, 21],
            values: values.collect(),
        }
    }

    #[test]
    fn the_contour_of_a_cone_is_a_circle() {
        let lines = lines(&cone(), 5.0);
        assert_eq!(lines.len(), 1);
        assert_eq!(lines[0].first(), lines[0].last());
        for [x, y] in &lines[0] {
            // Linear between nodes: a chord of the cone is at most 1/(8 r) too high.
            assert!((x.hypot(*y) - 5.0).abs() < 0.03, "{x} {y}");
        }
    }

    #[test]
    fn what_was_not_measured_cuts_the_contour_and_makes_none() {
        let mut cone = cone();
        for iy in 0..21 {
            cone.values.to_mut()[iy * 21 + 10] = f64::NAN;
        }
        let lines = lines(&cone, 5.0);
        assert_eq!(lines.len(), 2);
        assert!(lines.iter().flatten().all(|[x, _]| x.abs() >= 1.0 - 1e-9));
    }

    #[test]
    fn a_hole_is_told_from_the_outer_edge() {
        let mut cone = cone();
        cone.values.to_mut()[10 * 21 + 10] = f64::NAN;
        let edges = measured_edge(&cone);
        let holes: Vec<_> = edges.iter().map(|(_, hole)| *hole).collect();
        assert_eq!(holes.iter().filter(|hole| **hole).count(), 1);
        assert_eq!(holes.len(), 2);
    }

    #[test]
    fn steps_are_those_a_ruler_shows() {
        assert_eq!(interval(0.004, 9, System::Metric), 0.5 * MILLIMETRE);
        assert_eq!(interval(0.030, 9, System::Metric), 5.0 * MILLIMETRE);
        assert_eq!(interval(0.030, 9, System::Imperial), 0.25 * INCH);
        assert_eq!(
            levels([-0.0021, 0.0011], 0.001),
            [-0.002, -0.001, 0.0, 0.001]
        );
        assert!(interval(1e9, 9, System::Metric).is_finite());
    }
}

//! Planes: least squares and minimum zone on random points, lattices and known zones.

use lowspot::reference::{least_squares, minimum_zone};
use microlp::{ComparisonOp, OptimizationDirection, Problem};
use proptest::prelude::*;

type Points = Vec<[f64; 3]>;

/// Points anywhere on a floor of 12 m x 8 m, heights within 20 mm.
fn scattered(most: usize) -> impl Strategy<Value = Points> {
    let point = (0.0..12.0, 0.0..8.0, -0.01..0.01).prop_map(|(x, y, z)| [x, y, z]);
    prop::collection::vec(point, 4..most)
}

/// A lattice of whole metres with heights of whole millimetres, many of them equal: as degenerate as readings come.
fn lattice() -> impl Strategy<Value = Points> {
    (2..9_usize, 2..9_usize, 1..8_i32)
        .prop_flat_map(|(nx, ny, range)| (Just(nx), prop::collection::vec(0..=range, nx * ny)))
        .prop_map(|(nx, heights)| {
            let place = |i: usize| [(i % nx) as f64, (i / nx) as f64];
            let point = |(i, z): (usize, i32)| [place(i)[0], place(i)[1], f64::from(z) / 1000.0];
            heights.into_iter().enumerate().map(point).collect()
        })
}

/// Either, some points twice over.
fn points() -> impl Strategy<Value = Points> {
    let once = prop_oneof![scattered(70), lattice()];
    (once, any::<prop::sample::Index>(), 0..10_usize).prop_map(|(mut points, from, count)| {
        let from = from.index(points.len());
        let again: Points = points
            .iter()
            .cycle()
            .skip(from)
            .take(count)
            .copied()
            .collect();
        points.extend(again);
        points
    })
}

/// The width of the minimum zone by a linear programme in millimetres: least w, `w >= 0`, with
/// `B <= z - b x - c y <= B + w` for every point.
fn by_linear_programme(points: &[[f64; 3]]) -> f64 {
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let free = (f64::NEG_INFINITY, f64::INFINITY);
    let [lower, b, c] = [0.0; 3].map(|cost| problem.add_var(cost, free));
    let width = problem.add_var(1.0, (0.0, f64::INFINITY));
    for [x, y, z] in points {
        let plane = [(lower, 1.0), (b, *x), (c, *y)];
        problem.add_constraint(plane, ComparisonOp::Le, 1000.0 * z);
        let plane = [(lower, 1.0), (b, *x), (c, *y), (width, 1.0)];
        problem.add_constraint(plane, ComparisonOp::Ge, 1000.0 * z);
    }
    let solution = problem
        .solve()
        .expect("solvable")
        .into_solution()
        .expect("a solution");
    solution.objective() / 1000.0
}

/// Twice the area of a triangle on the plan, positive if it runs anticlockwise.
fn turn(a: [f64; 3], b: [f64; 3], c: [f64; 3]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// The width of the minimum zone by its dual, tried out: the largest vertical distance between a point and a triangle
/// that it lies in, or between two lines that cross. A vertex of the dual is one of the two.
fn by_trial(points: &[[f64; 3]]) -> f64 {
    let n = points.len();
    let mut widest = 0.0_f64;
    for (i, j) in (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j))) {
        let (a, b) = (points[i], points[j]);
        for (k, l) in (0..n).flat_map(|k| (k + 1..n).map(move |l| (k, l))) {
            let (c, d) = (points[k], points[l]);
            let (c_side, d_side) = (turn(a, b, c), turn(a, b, d));
            let (a_side, b_side) = (turn(c, d, a), turn(c, d, b));
            if c_side * d_side < 0.0 && a_side * b_side <= 0.0 {
                let along = |p: [f64; 3], q: [f64; 3], t: f64| p[2] + t * (q[2] - p[2]);
                let on_cd = along(c, d, c_side / (c_side - d_side));
                let on_ab = along(a, b, a_side / (a_side - b_side));
                widest = widest.max((on_ab - on_cd).abs());
            }
        }
        for c in &points[j + 1..] {
            let whole = turn(a, b, *c);
            if whole == 0.0 {
                continue;
            }
            for p in points {
                let shares = [turn(*p, b, *c), turn(a, *p, *c), turn(a, b, *p)].map(|s| s / whole);
                if shares.iter().all(|share| *share >= 0.0) {
                    let height = shares[0] * a[2] + shares[1] * b[2] + shares[2] * c[2];
                    widest = widest.max((p[2] - height).abs());
                }
            }
        }
    }
    widest
}

/// The width of the zone found, after checking that it holds every point and touches its contacts, to `allowance`.
fn checked_width(points: &[[f64; 3]], allowance: f64) -> f64 {
    let found = minimum_zone(points).expect("a zone");
    for &point in points {
        assert!(found.plane.residual(point).abs() <= found.width / 2.0 + allowance);
    }
    assert_eq!(found.above.len() + found.below.len(), 4);
    for (contacts, sign) in [(found.above, 1.0), (found.below, -1.0)] {
        for contact in contacts {
            let touch = sign * found.plane.residual(points[contact]) - found.width / 2.0;
            assert!(touch.abs() <= allowance);
        }
    }
    found.width
}

/// Whether the points make a plane at all: random ones may lie on a line.
fn spread(points: &[[f64; 3]]) -> bool {
    minimum_zone(points).is_ok()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn minimum_zone_is_the_linear_programmes(points in points()) {
        prop_assume!(spread(&points));
        let width = checked_width(&points, 1e-14);
        prop_assert!((width - by_linear_programme(&points)).abs() < 1e-9);
    }

    #[test]
    fn minimum_zone_is_the_widest_of_all_contacts(points in prop_oneof![scattered(10), lattice()]) {
        let points = &points[..points.len().min(12)];
        prop_assume!(spread(points));
        prop_assert!((checked_width(points, 1e-14) - by_trial(points)).abs() < 1e-14);
    }

    /// Turned on the plan, tilted and moved, a floor keeps its flatness.
    #[test]
    fn planes_follow_a_floor_that_is_moved(
        points in points(),
        angle in 0.0..6.3_f64,
        [b, c] in [-0.05..0.05, -0.05..0.05_f64],
        [dx, dy, dz] in [-1e4..1e4, -1e4..1e4, -100.0..100.0_f64],
    ) {
        prop_assume!(spread(&points));
        let (sin, cos) = angle.sin_cos();
        let moved: Points = points
            .iter()
            .map(|&[x, y, z]| {
                [dx + cos * x - sin * y, dy + sin * x + cos * y, z + dz + b * x + c * y]
            })
            .collect();
        // At 10 km a position is rounded to 2e-12 m, times a slope of 0.05 and a lever of a few.
        let allowance = 1e-11;
        prop_assert!((checked_width(&points, 1e-14) - checked_width(&moved, allowance)).abs() < allowance);
        let (at_home, away) = (least_squares(&points).unwrap(), least_squares(&moved).unwrap());
        prop_assert!((at_home.rms - away.rms).abs() < allowance);
        prop_assert!((at_home.above - away.above).abs() < allowance);
        prop_assert!((at_home.below - away.below).abs() < allowance);
        for (here, there) in points.iter().zip(&moved) {
            let residuals = at_home.plane.residual(*here) - away.plane.residual(*there);
            prop_assert!(residuals.abs() < allowance);
        }
    }

    /// No plane has a smaller sum of squares, and none a narrower zone.
    #[test]
    fn no_other_plane_is_better(points in points(), [b, c] in [-1e-3..1e-3, -1e-3..1e-3_f64]) {
        prop_assume!(spread(&points));
        let (squares, zone) = (least_squares(&points).unwrap(), minimum_zone(&points).unwrap());
        let rocked = |plane: lowspot::reference::Plane| -> Vec<f64> {
            points.iter().map(|p| plane.residual(*p) - b * p[0] - c * p[1]).collect()
        };
        let left = rocked(squares.plane);
        let mean = left.iter().sum::<f64>() / left.len() as f64;
        let rms = (left.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / left.len() as f64).sqrt();
        prop_assert!(rms >= squares.rms - 1e-15);
        let left = rocked(zone.plane);
        let highest = left.iter().copied().fold(f64::MIN, f64::max);
        let lowest = left.iter().copied().fold(f64::MAX, f64::min);
        prop_assert!(highest - lowest >= zone.width - 1e-15);
    }

    /// Zones known from their contacts: a point above (below) the inside of a triangle, or two highs across two lows, all
    /// other points strictly between the planes.
    #[test]
    fn a_zone_is_found_from_its_contacts(
        crossing in any::<bool>(),
        turned in any::<bool>(),
        width in 1e-4..0.02_f64,
        [b, c] in [-0.02..0.02, -0.02..0.02_f64],
        shares in [0.1..1.0, 0.1..1.0, 0.1..1.0_f64],
        inside in prop::collection::vec((0.0..10.0, 0.0..10.0, 0.01..0.99_f64), 0..300),
    ) {
        let (upper, lower) = if turned { (0.0, width) } else { (width, 0.0) };
        let mut plan: Vec<(f64, f64, f64)> = if crossing {
            vec![(0.0, 1.0, upper), (10.0, 9.0, upper), (1.0, 10.0, lower), (9.0, 0.0, lower)]
        } else {
            let corners = [(0.0, 0.0), (10.0, 1.0), (3.0, 10.0)];
            let sum: f64 = shares.iter().sum();
            let within = |of: fn(&(f64, f64)) -> f64| {
                corners.iter().zip(shares).map(|(corner, share)| of(corner) * share / sum).sum()
            };
            let mut plan: Vec<_> = corners.iter().map(|&(x, y)| (x, y, lower)).collect();
            plan.push((within(|corner| corner.0), within(|corner| corner.1), upper));
            plan
        };
        plan.extend(inside.iter().map(|&(x, y, share)| (x, y, share * width)));
        let points: Points = plan.iter().map(|&(x, y, z)| [x, y, z + b * x + c * y + 1.0]).collect();
        let found = minimum_zone(&points).unwrap();
        prop_assert!((found.width - width).abs() < 1e-14);
        let mut contacts = [found.above, found.below].concat();
        contacts.sort_unstable();
        prop_assert_eq!(contacts, [0, 1, 2, 3]);
        prop_assert!((found.plane.b - b).abs() < 1e-14 && (found.plane.c - c).abs() < 1e-14);
        prop_assert!((found.plane.a - 1.0 - width / 2.0).abs() < 1e-13);
    }
}

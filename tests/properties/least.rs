//! The least fill against its definition tried chord by chord, and against a linear programme.

use crate::chords::chords;
use lowspot::flatness::straightedge::lay;
use lowspot::pour::least::{Edge, NO_DEPTH, least_heights};
use lowspot::surface::HeightField;
use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome};
use proptest::prelude::*;

const LIMIT: f64 = 0.003;

/// The definition: raise what lies too low under any chord, and to the least depth if that is any depth at all, again and
/// again. None where a depth lies at the very edge of being none, so that rounding would decide.
fn by_definition(field: &HeightField, edges: &[Edge], least_depth: f64) -> Option<Vec<f64>> {
    let mut z = field.z.clone();
    loop {
        let mut most = 0.0f64;
        for edge in edges {
            for ([a, c, b], share) in chords(field, edge.length) {
                let wanted = z[a] + share * (z[b] - z[a]) - edge.limit;
                let depth = wanted - field.z[c];
                if (depth - NO_DEPTH).abs() < 0.1 * NO_DEPTH {
                    return None;
                }
                let wanted = if depth > NO_DEPTH {
                    wanted.max(field.z[c] + least_depth)
                } else {
                    wanted
                };
                if wanted > z[c] {
                    most = most.max(wanted - z[c]);
                    z[c] = wanted;
                }
            }
        }
        if most < 1e-13 {
            return Some(z);
        }
    }
}

/// Two edges that each find what the other does not.
fn two_edges(length: f64) -> [Edge; 2] {
    let short = Edge {
        length: 0.5 * length,
        limit: 0.5 * LIMIT,
    };
    [
        Edge {
            length,
            limit: LIMIT,
        },
        short,
    ]
}

fn widest(field: &HeightField, length: f64) -> f64 {
    lay(field, length).worst.map_or(0.0, |contact| contact.gap)
}

/// Heights of up to 20 mm, a tenth of them not measured.
fn floor(nx: usize, ny: usize) -> impl Strategy<Value = HeightField> {
    let height = prop_oneof![9 => 0.0..0.02, 1 => Just(f64::NAN)];
    prop::collection::vec(height, nx * ny).prop_map(move |z| {
        let mut field = HeightField::unmeasured([0.0; 2], [0.1, 0.12], [nx, ny]);
        field.z = z;
        field
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn it_is_what_the_definition_says(
        field in floor(13, 9),
        length in 0.2..1.5,
        least_depth in prop_oneof![Just(0.0), 0.001..0.006],
    ) {
        let edges = two_edges(length);
        let wanted = by_definition(&field, &edges, least_depth);
        prop_assume!(wanted.is_some());
        let found = least_heights(&field, &edges, least_depth);
        for (node, (found, wanted)) in found.iter().zip(wanted.unwrap()).enumerate() {
            let same = (found - wanted).abs() < 1e-6 || (found.is_nan() && wanted.is_nan());
            prop_assert!(same, "node {}: {} {}", node, found, wanted);
        }
    }

    #[test]
    fn the_class_is_met_and_nothing_is_lowered_or_thin(
        field in floor(40, 30),
        length in 0.2..3.0,
        least_depth in prop_oneof![Just(0.0), 0.001..0.006],
    ) {
        let edges = two_edges(length);
        let heights = least_heights(&field, &edges, least_depth);
        for (z, raised) in field.z.iter().zip(&heights) {
            let depth = raised - z;
            prop_assert!(z.is_nan() || depth >= 0.0);
            prop_assert!(z.is_nan() || depth <= NO_DEPTH || depth >= least_depth - 1e-12, "{}", depth);
        }
        let finished = HeightField { z: heights, ..field };
        for edge in edges {
            let worst = widest(&finished, edge.length);
            prop_assert!(worst <= edge.limit + 1e-7, "{} {}", worst, edge.limit);
        }
    }

    /// What is within its limits is left alone: filling twice fills no more.
    #[test]
    fn the_least_fill_is_idempotent(
        field in floor(40, 30),
        length in 0.2..3.0,
        least_depth in prop_oneof![Just(0.0), 0.001..0.006],
    ) {
        let edges = two_edges(length);
        let finished = HeightField { z: least_heights(&field, &edges, least_depth), ..field };
        let again = least_heights(&finished, &edges, least_depth);
        prop_assert!(again.iter().zip(&finished.z).all(|(again, once)| once.is_nan() || again - once < 1e-6));
    }

    /// Any filled place a hundredth of a millimetre lower, and a gap is over its limit.
    #[test]
    fn nothing_filled_can_be_lower(field in floor(12, 8), length in 0.3..1.5) {
        let edges = two_edges(length);
        let heights = least_heights(&field, &edges, 0.0);
        for node in 0..heights.len() {
            if heights[node] - field.z[node] > 2e-5 {
                let mut lowered = HeightField { z: heights.clone(), ..field.clone() };
                lowered.z[node] -= 1e-5;
                let over = edges.iter().any(|edge| widest(&lowered, edge.length) > edge.limit + 5e-6);
                prop_assert!(over, "node {}", node);
            }
        }
    }

    /// The least element has the least sum, so a linear programme over all chords (in mm) must find the same volume.
    #[test]
    fn a_linear_programme_finds_no_less(field in floor(6, 5), length in 0.25..0.7) {
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let heights: Vec<_> = field.z.iter().map(|&z| {
            let (cost, lowest) = if z.is_nan() { (0.0, 0.0) } else { (1.0, 1000.0 * z) };
            problem.add_var(cost, (lowest, 1000.0))
        }).collect();
        let edges = two_edges(length);
        for edge in edges {
            for ([a, c, b], share) in chords(&field, edge.length) {
                let gap = [(heights[a], 1.0 - share), (heights[b], share), (heights[c], -1.0)];
                problem.add_constraint(gap, ComparisonOp::Le, 1000.0 * edge.limit);
            }
        }
        let Ok(SolveOutcome::Solution(programme)) = problem.solve() else {
            panic!("all at the greatest height is a solution")
        };
        let found: f64 = least_heights(&field, &edges, 0.0).iter().filter(|z| z.is_finite()).sum();
        prop_assert!((1000.0 * found - programme.objective()).abs() < 1e-4, "{}", found);
    }

    #[test]
    fn the_number_of_cores_changes_no_bit(field in floor(30, 20), length in 0.3..2.0) {
        let on = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
            let heights = pool.install(|| least_heights(&field, &[Edge { length, limit: LIMIT }], 0.0));
            heights.into_iter().map(f64::to_bits).collect::<Vec<_>>()
        };
        prop_assert_eq!(on(1), on(3));
    }
}

//! The least fill against its definition tried chord by chord, and against a linear programme.

use crate::chords::chords;
use lowspot::flatness::straightedge::lay;
use lowspot::pour::least::{Edge, least_heights};
use lowspot::surface::HeightField;
use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome};
use proptest::prelude::*;

const LIMIT: f64 = 0.003;

/// The definition: raise what lies too low under any chord, again and again.
fn by_definition(field: &HeightField, length: f64) -> Vec<f64> {
    let chords = chords(field, length);
    let mut z = field.z.clone();
    loop {
        let mut most = 0.0f64;
        for &([a, c, b], share) in &chords {
            let wanted = z[a] + share * (z[b] - z[a]) - LIMIT;
            if wanted > z[c] {
                most = most.max(wanted - z[c]);
                z[c] = wanted;
            }
        }
        if most < 1e-13 {
            return z;
        }
    }
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
    fn it_is_what_the_definition_says(field in floor(13, 9), length in 0.2..1.5) {
        let found = least_heights(&field, &[Edge { length, limit: LIMIT }], 0.0);
        for (node, (found, wanted)) in found.iter().zip(by_definition(&field, length)).enumerate() {
            let same = (found - wanted).abs() < 1e-6 || (found.is_nan() && wanted.is_nan());
            prop_assert!(same, "node {}: {} {}", node, found, wanted);
        }
    }

    #[test]
    fn the_class_is_met_and_nothing_is_lowered(field in floor(40, 30), length in 0.2..3.0) {
        let heights = least_heights(&field, &[Edge { length, limit: LIMIT }], 0.0);
        prop_assert!(field.z.iter().zip(&heights).all(|(z, raised)| z.is_nan() || raised >= z));
        let finished = HeightField { z: heights, ..field };
        let worst = lay(&finished, length).worst.map_or(0.0, |contact| contact.gap);
        prop_assert!(worst <= LIMIT + 1e-7, "{}", worst);
    }

    /// The least element has the least sum, so a linear programme over all chords (in mm) must find the same volume.
    #[test]
    fn a_linear_programme_finds_no_less(field in floor(6, 5), length in 0.25..0.7) {
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let heights: Vec<_> = field.z.iter().map(|&z| {
            let (cost, lowest) = if z.is_nan() { (0.0, 0.0) } else { (1.0, 1000.0 * z) };
            problem.add_var(cost, (lowest, 1000.0))
        }).collect();
        for ([a, c, b], share) in chords(&field, length) {
            let gap = [(heights[a], 1.0 - share), (heights[b], share), (heights[c], -1.0)];
            problem.add_constraint(gap, ComparisonOp::Le, 1000.0 * LIMIT);
        }
        let Ok(SolveOutcome::Solution(programme)) = problem.solve() else {
            panic!("all at the greatest height is a solution")
        };
        let found: f64 = least_heights(&field, &[Edge { length, limit: LIMIT }], 0.0).iter().filter(|z| z.is_finite()).sum();
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

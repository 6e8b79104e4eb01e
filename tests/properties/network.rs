//! Set-ups tied by shared points: against a dense least-squares solution of the whole design, and what must not matter.

use lowspot::survey::Reading;
use lowspot::survey::setups::{Network, adjust};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

/// A floor read from several set-ups.
#[derive(Debug, Clone)]
struct Survey {
    /// Height of each point and of each line of sight, m.
    points: Vec<f64>,
    sights: Vec<f64>,
    /// Point, set-up, error of the reading in m.
    seen: Vec<(usize, usize, f64)>,
}

impl Survey {
    fn readings(&self) -> Vec<Reading> {
        let reading = |&(point, setup, error): &(usize, usize, f64)| Reading {
            name: Some(format!("P{point}")),
            x: point as f64,
            y: 0.0,
            z: self.points[point] - self.sights[setup] + error,
            setup: Some(format!("S{setup}")),
        };
        self.seen.iter().map(reading).collect()
    }
}

/// Two to five set-ups, each read at point 0 and at random others, some twice, in random order.
fn surveys() -> impl Strategy<Value = Survey> {
    let heights = |count| prop::collection::vec(-1.0..1.0, count);
    (2..6_usize, 2..15_usize)
        .prop_flat_map(move |(setups, points)| {
            let reading = (0..points, 0..setups, -0.002..0.002);
            let more = prop::collection::vec(reading, 1..40);
            (heights(points), heights(setups), more)
        })
        .prop_flat_map(|(points, sights, mut seen)| {
            seen.extend((0..sights.len()).map(|setup| (0, setup, 0.0005)));
            (Just(points), Just(sights), Just(seen).prop_shuffle())
        })
        .prop_map(|(points, sights, seen)| Survey {
            points,
            sights,
            seen,
        })
}

fn network(readings: &[Reading]) -> (Vec<Reading>, Network) {
    adjust(readings).expect("tied").expect("several set-ups")
}

/// Residuals and redundancy numbers by the normal equations of the whole design, with the first line of sight held: the
/// fit does not depend on which one is.
fn dense(network: &Network) -> (DVector<f64>, DVector<f64>) {
    let (ties, points) = (&network.ties, network.points.len());
    let mut design = DMatrix::zeros(ties.len(), points + network.setups.len() - 1);
    for (row, tie) in ties.iter().enumerate() {
        design[(row, tie.point)] = 1.0;
        if tie.setup > 0 {
            design[(row, points + tie.setup - 1)] = -1.0;
        }
    }
    let read = DVector::from_iterator(ties.len(), ties.iter().map(|tie| tie.z));
    let normal = design.tr_mul(&design).cholesky().expect("tied set-ups");
    let hat = &design * normal.solve(&design.transpose());
    let rest = DMatrix::identity(ties.len(), ties.len()) - hat;
    (&rest * read, rest.diagonal())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn adjustment_is_that_of_the_dense_design(survey in surveys()) {
        let (points, network) = network(&survey.readings());
        let (residuals, redundancies) = dense(&network);
        for (row, tie) in network.ties.iter().enumerate() {
            prop_assert!((tie.residual - residuals[row]).abs() < 1e-10);
            prop_assert!((tie.redundancy - redundancies[row]).abs() < 1e-9);
        }
        prop_assert!((redundancies.sum() - network.redundancy as f64).abs() < 1e-8);
        if let Some(scatter) = network.scatter {
            let implied = (residuals.norm_squared() / redundancies.sum()).sqrt();
            prop_assert!((scatter - implied).abs() < 1e-10);
        }
        // One height a point, and every reading is its point's height less its line of sight plus what is left over.
        prop_assert_eq!(points.len(), network.points.len());
        for tie in &network.ties {
            let fitted = points[tie.point].z - network.setups[tie.setup].height;
            prop_assert!((fitted + tie.residual - tie.z).abs() < 1e-12);
        }
    }

    #[test]
    fn consistent_readings_are_met_exactly(mut survey in surveys()) {
        survey.seen.iter_mut().for_each(|(_, _, error)| *error = 0.0);
        let readings = survey.readings();
        let (points, network) = network(&readings);
        let first = survey.sights[survey.seen[0].1];
        for point in &points {
            let height = survey.points[point.x as usize] - first;
            prop_assert!((point.z - height).abs() < 1e-12);
        }
        prop_assert!(network.wrong(1e-6).is_empty());
    }

    /// An instrument set up higher reads more on every staff and changes no height, unless it is the first, whose line of
    /// sight is the zero of them all.
    #[test]
    fn a_higher_instrument_changes_no_height(survey in surveys(), up in -2.0..2.0) {
        let (before, of_before) = network(&survey.readings());
        let mut others = survey.seen.iter().map(|seen| seen.1);
        let first = others.next().unwrap();
        let moved = others.find(|setup| *setup != first).unwrap();
        let mut higher = survey.clone();
        higher.sights[moved] += up;
        let (after, of_after) = network(&higher.readings());
        for (before, after) in before.iter().zip(&after) {
            prop_assert!((before.z - after.z).abs() < 1e-12);
        }
        for (before, after) in of_before.ties.iter().zip(&of_after.ties) {
            prop_assert!((before.residual - after.residual).abs() < 1e-12);
        }
    }

    /// Three set-ups that all read eight points well, and one reading 15 mm or more off: it is named, and it alone.
    #[test]
    fn a_blunder_is_named(
        errors in prop::collection::vec(-0.0005..0.0005, 24),
        at in 0..24_usize,
        off in 0.015..0.5_f64,
        down: bool,
    ) {
        let off = if down { -off } else { off };
        let mut survey = Survey {
            points: (0..8).map(|point| f64::from(point) * 0.01).collect(),
            sights: vec![0.0, 0.3, -0.2],
            seen: errors.iter().enumerate().map(|(i, &error)| (i / 3, i % 3, error)).collect(),
        };
        let (_, clean) = network(&survey.readings());
        prop_assert!(clean.wrong(0.001).is_empty());
        survey.seen[at].2 += off;
        let (_, network) = network(&survey.readings());
        let wrong = network.wrong(0.001);
        prop_assert_eq!(wrong.len(), 1);
        prop_assert_eq!(&wrong[0].ties, &vec![at]);
        prop_assert!((wrong[0].off - off).abs() < 0.002);
        let warning = &network.warnings(0.001)[0].0;
        let name = format!("P{} from set-up S{}", at / 3, at % 3);
        prop_assert!(warning.contains(&name), "{}", warning);
    }
}

//! The straightedge against all chords tried one by one, on random floors with holes, and against closed forms.

use crate::chords::chords;
use lowspot::flatness::straightedge::lay;
use lowspot::surface::HeightField;
use proptest::prelude::*;

/// The widest gap and crown and the gap map, straight from the definition: every A, C, B in line.
fn every_chord(field: &HeightField, length: f64) -> (Option<f64>, Option<f64>, Vec<f64>) {
    let mut gaps: Vec<f64> = field.z.iter().map(|z| z * 0.0).collect();
    let (mut worst, mut crown) = (None::<f64>, None::<f64>);
    for ([a, c, b], share) in chords(field, length) {
        let gap = field.z[a] + (field.z[b] - field.z[a]) * share - field.z[c];
        worst = Some(worst.map_or(gap, |w| w.max(gap)));
        crown = Some(crown.map_or(-gap, |w| w.max(-gap)));
        gaps[c] = gaps[c].max(gap);
    }
    (worst, crown, gaps)
}

fn assert_same(field: &HeightField, length: f64) {
    let laid = lay(field, length);
    let (worst, crown, gaps) = every_chord(field, length);
    let clamped = |gap: Option<f64>| gap.map(|gap| gap.max(0.0));
    let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() < 1e-9,
        (None, None) => true,
        _ => false,
    };
    assert!(
        near(laid.worst.map(|c| c.gap), clamped(worst)),
        "{:?} {worst:?}",
        laid.worst
    );
    assert!(
        near(laid.crown.map(|c| c.gap), clamped(crown)),
        "{:?} {crown:?}",
        laid.crown
    );
    for (node, (a, b)) in laid.gaps.iter().zip(&gaps).enumerate() {
        assert!(
            (a - b).abs() < 1e-9 || (a.is_nan() && b.is_nan()),
            "node {node}: {a} {b}"
        );
    }
    if let (Some(contact), true) = (laid.worst, worst > Some(0.0)) {
        let ([xa, ya], [xb, yb], [xc, yc]) = (
            field.position(contact.a),
            field.position(contact.b),
            field.position(contact.c),
        );
        let span = (xb - xa).hypot(yb - ya);
        let share = (xc - xa).hypot(yc - ya) / span;
        let (za, zb) = (field.z[contact.a], field.z[contact.b]);
        assert!(span <= length * (1.0 + 1e-9));
        assert!((za + share * (zb - za) - field.z[contact.c] - contact.gap).abs() < 1e-9);
    }
}

/// Heights in m: rough, in whole steps of 5 mm (many ties), or smooth.
fn floors() -> impl Strategy<Value = HeightField> {
    let size = prop_oneof![
        4 => (1usize..24, 1usize..18),
        1 => (60usize..200, 1usize..3),
    ];
    (
        size,
        0u8..3,
        0.0..0.3f64,
        any::<u64>(),
        0.05..0.4f64,
        0.05..0.4f64,
    )
        .prop_map(|((nx, ny), kind, holes, seed, dx, dy)| {
            let mut state = seed | 1;
            let mut random = move || {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                (state >> 11) as f64 / (1u64 << 53) as f64
            };
            let mut field = HeightField::unmeasured([0.0, 0.0], [dx, dy], [nx, ny]);
            let wave = 1.0 + 4.0 * random();
            for node in 0..nx * ny {
                let [x, y] = field.position(node);
                let z = match kind {
                    0 => 0.02 * random(),
                    1 => 0.005 * (4.0 * random()).floor(),
                    _ => 0.01 * (wave * x).sin() * (0.7 * wave * y).cos() + 0.003 * x,
                };
                field.z[node] = if random() < holes { f64::NAN } else { z };
                field.u[node] = 0.001;
            }
            field
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn equals_every_chord_tried(field in floors(), length in 0.1..6.0f64) {
        assert_same(&field, length);
    }

    #[test]
    fn tilt_and_shift_leave_gaps(field in floors(), length in 0.3..4.0f64, b in -0.02..0.02f64, c in -0.02..0.02f64) {
        let mut tilted = field.clone();
        for node in 0..field.z.len() {
            let [x, y] = field.position(node);
            tilted.z[node] += 5.0 + b * x + c * y;
        }
        let (before, after) = (lay(&field, length), lay(&tilted, length));
        for (a, b) in before.gaps.iter().zip(&after.gaps) {
            prop_assert!((a - b).abs() < 1e-12 || a.is_nan());
        }
    }
    /// The directions that an edge is laid in are the same from every side.
    #[test]
    fn quarter_turns_and_mirror_leave_gaps(field in floors(), length in 0.3..4.0f64) {
        let (nx, ny) = (field.nx, field.ny);
        let mut turned = HeightField::unmeasured([0.0; 2], [field.dy, field.dx], [ny, nx]);
        let mut mirrored = HeightField::unmeasured([0.0; 2], [field.dx, field.dy], [nx, ny]);
        let place = |node: usize| {
            let (ix, iy) = (node % nx, node / nx);
            (ix * ny + (ny - 1 - iy), iy * nx + (nx - 1 - ix))
        };
        for node in 0..nx * ny {
            let (to, across) = place(node);
            (turned.z[to], mirrored.z[across]) = (field.z[node], field.z[node]);
            (turned.u[to], mirrored.u[across]) = (field.u[node], field.u[node]);
        }
        let (before, after, other) = (lay(&field, length), lay(&turned, length), lay(&mirrored, length));
        for (node, gap) in before.gaps.iter().enumerate() {
            let (to, across) = place(node);
            for same in [after.gaps[to], other.gaps[across]] {
                prop_assert!((gap - same).abs() < 1e-12 || (gap.is_nan() && same.is_nan()), "{node}: {gap} {same}");
            }
        }
    }
}

//! How often the verdict is wrong, by seeded surveys of floors that are exactly at their limit.

use std::f64::consts::{PI, TAU};

use super::*;
use crate::flatness::straightedge::{lay, widest_gap};
use crate::flatness::verdict::K;

const LIMIT: f64 = 0.003;
const EDGE: f64 = 2.0;
const PITCH: [f64; 2] = [0.25; 2];

/// A floor of readings 0.25 m apart whose widest gap is exactly the limit.
fn at_the_limit(side: usize, height: Height) -> HeightField {
    let mut field = HeightField::unmeasured([0.0; 2], PITCH, [side, side]);
    for node in 0..field.z.len() {
        let [x, y] = field.position(node);
        field.z[node] = height(x, y);
    }
    let widest = widest_gap(&field, EDGE).unwrap();
    field.z.iter_mut().for_each(|z| *z *= LIMIT / widest);
    field
}

/// The height of a floor over its plan.
type Height = fn(f64, f64) -> f64;

/// Hollows and waves that are at the limit in one place and in many.
const SHAPES: [(&str, Height); 6] = [
    ("one hollow", |x, y| {
        -(-((x - 1.5f64).powi(2) + (y - 1.5).powi(2)) / 0.5).exp()
    }),
    ("ripple of 1 m", |x, _| (TAU * x).cos()),
    ("ripple of 2 m", |x, _| (PI * x).cos()),
    ("egg box of 2 m", |x, y| (PI * x).cos() * (PI * y).cos()),
    ("bowl", |x, y| (x - 1.5).powi(2) + (y - 1.5).powi(2)),
    ("step", |x, _| if x > 1.4 { 1.0 } else { 0.0 }),
];

/// Shares of `surveys` surveys of a floor at its limit that are called within and outside; the same for outside with the
/// guard of one gap alone; and the mean of what noise is found to add, in limits.
fn rates(floor: &HeightField, share: f64, surveys: u64) -> [f64; 4] {
    let mut floor = floor.clone();
    floor.u.iter_mut().for_each(|u| *u = share * LIMIT);
    let of_survey = |survey: u64| {
        let mut random = ChaCha8Rng::seed_from_u64(1_000_000 + survey);
        let mut measured = noise(&floor, PITCH, &mut random);
        let heights = measured.z.iter_mut().zip(&floor.z);
        heights.for_each(|(z, floor)| *z += floor);
        let worst = lay(&measured, EDGE).worst.unwrap();
        let widest = |field: &HeightField| widest_gap(field, EDGE);
        let smooth = smoothed(&measured, EDGE);
        let added = simulate(&smooth, PITCH, 1, 1000 * survey, widest).unwrap();
        let guard = K * worst.u;
        let below = guard.max(added.reach(1).unwrap());
        let is = |true_or_not: bool| f64::from(u8::from(true_or_not));
        [
            is(worst.gap + guard <= LIMIT),
            is(worst.gap - below > LIMIT),
            is(worst.gap - guard > LIMIT),
            mean(&added.to_smooth) / LIMIT,
        ]
    };
    let all: Vec<[f64; 4]> = (0..surveys).into_par_iter().map(of_survey).collect();
    [0, 1, 2, 3].map(|k| mean(&all.iter().map(|one| one[k]).collect::<Vec<_>>()))
}

/// At most 5 % of 2,000 seeded surveys of a floor exactly at its limit, as verdicts promise; the guard of one gap alone fails
/// by far.
#[test]
fn floors_at_their_limit_are_seldom_called_anything_else() {
    for ((_, shape), surveys) in [(SHAPES[0], 2000), (SHAPES[1], 300)] {
        let [within, outside, plain, bias] = rates(&at_the_limit(13, shape), 0.3, surveys);
        assert!(within <= 0.05 && outside <= 0.05, "{within} {outside}");
        assert!(plain > 0.5 && bias > 0.5, "{plain} {bias}");
    }
}

/// The reach of noise of 1 mm on one place between two: 1.645 sqrt(1.5) mm, as the gap of three heights is normal.
#[test]
fn three_heights_have_the_guard_of_one_gap() {
    let mut field = HeightField::unmeasured([0.0; 2], [1.0; 2], [3, 1]);
    field.z.fill(0.0);
    field.u.fill(0.001);
    let gap = |field: &HeightField| widest_gap(field, 2.0);
    let added = simulate(&field, [1.0; 2], 100, SEED, gap).unwrap();
    let wanted = 1.645e-3 * 1.5f64.sqrt();
    assert!((added.reach(100).unwrap() / wanted - 1.0).abs() < 0.06);
}

/// Four times the floor, simulated on a quarter of it: as if on all of it, within a tenth.
#[test]
fn a_part_speaks_for_the_whole() {
    let of = |side: usize| {
        let mut field = HeightField::unmeasured([0.0; 2], [0.25; 2], [side, side]);
        field.z.fill(0.0);
        field.u.fill(0.001);
        let widest = |field: &HeightField| widest_gap(field, EDGE);
        let added = simulate(&field, PITCH, 10, SEED, widest).unwrap();
        (added.reach(10).unwrap(), sd(&added.to_plane))
    };
    let ((part, sd), (whole, _)) = (of(20), of(40));
    let carried = part + sd * 6f64.sqrt() / PI * 4f64.ln();
    assert!((carried / whole - 1.0).abs() < 0.1, "{carried} {whole}");
    let field = HeightField::unmeasured([0.0; 2], [0.25; 2], [40, 30]);
    let part = window(&field, 1199, 300);
    assert!(part.z.len() <= 300 && part.z.len() > 250);
    assert_eq!(part.position(part.z.len() - 1), field.position(1199));
}

/// The rates that the README gives: `cargo test --release wrong_verdicts -- --ignored --nocapture`.
#[test]
#[ignore = "for the README: minutes"]
fn wrong_verdicts_in_2000_surveys() {
    for (side, (name, shape)) in [13, 25]
        .into_iter()
        .flat_map(|side| SHAPES.map(|shape| (side, shape)))
    {
        let floor = at_the_limit(side, shape);
        for share in [0.1, 0.3] {
            let [within, outside, plain, bias] = rates(&floor, share, 2000);
            println!(
                "{side:2} x {side:2} {name:14} u = {share} T: within {:5.2} %, outside {:5.2} % (one gap's guard alone {:6.2} %), bias {bias:.2} T",
                100.0 * within,
                100.0 * outside,
                100.0 * plain
            );
            assert!(within <= 0.05 && outside <= 0.05);
        }
    }
}

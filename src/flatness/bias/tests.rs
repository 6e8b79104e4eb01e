//! How often the verdict is wrong, by seeded surveys of floors that are exactly at their limit.

use std::f64::consts::{PI, TAU};

use super::*;
use crate::flatness::straightedge::{lay, widest_gap};

const LIMIT: f64 = 0.003;
const EDGE: f64 = 2.0;

/// A floor of readings 0.25 m apart whose widest gap is exactly the limit.
fn at_the_limit(side: usize, height: fn(f64, f64) -> f64) -> HeightField {
    let mut field = HeightField::unmeasured([0.0; 2], [0.25; 2], [side, side]);
    for node in 0..field.z.len() {
        let [x, y] = field.position(node);
        field.z[node] = height(x, y);
    }
    let widest = widest_gap(&field, EDGE).unwrap();
    field.z.iter_mut().for_each(|z| *z *= LIMIT / widest);
    field
}

#[test]
#[ignore]
fn explore() {
    let shapes: [(&str, fn(f64, f64) -> f64); 6] = [
        ("hollow", |x, y| {
            -(-((x - 1.5f64).powi(2) + (y - 1.5).powi(2)) / 0.5).exp()
        }),
        ("ripple 1 m", |x, _| (TAU * x).cos()),
        ("ripple 2 m", |x, _| (PI * x).cos()),
        ("egg box 2 m", |x, y| (PI * x).cos() * (PI * y).cos()),
        ("bowl", |x, y| (x - 1.5).powi(2) + (y - 1.5).powi(2)),
        ("step", |x, _| if x > 1.4 { 1.0 } else { 0.0 }),
    ];
    let surveys: u64 = std::env::var("SURVEYS").map_or(400, |n| n.parse().unwrap());
    for side in [13, 25] {
        for (name, shape) in shapes {
            for share in [0.1, 0.3] {
                let mut floor = at_the_limit(side, shape);
                floor.u.iter_mut().for_each(|u| *u = share * LIMIT);
                let results: Vec<([bool; 4], f64)> = (0..surveys)
                    .into_par_iter()
                    .map(|survey| {
                        let mut random = ChaCha8Rng::seed_from_u64(1_000_000 + survey);
                        let measured = with_noise(&floor, [0.25; 2], &mut random);
                        let worst = lay(&measured, EDGE).worst.unwrap();
                        let smooth = smoothed(&measured, EDGE);
                        let widest = |field: &HeightField| widest_gap(field, EDGE);
                        let bias = simulate(&smooth, [0.25; 2], 1, survey * 1000, widest)
                            .unwrap()
                            .bias;
                        let k = 1.645 * worst.u;
                        let verdicts = [
                            worst.gap + k <= LIMIT,
                            worst.gap + k.max(-bias.low) <= LIMIT,
                            worst.gap - k > LIMIT,
                            worst.gap - k.max(bias.high) > LIMIT,
                        ];
                        (verdicts, bias.mean)
                    })
                    .collect();
                let rate = |which: usize| {
                    100.0 * results.iter().filter(|one| one.0[which]).count() as f64
                        / surveys as f64
                };
                println!(
                    "{side:2} {name:12} u/T {share}: within {:5.2} -> {:5.2}, outside {:5.2} -> {:5.2}, bias/T {:.2}",
                    rate(0),
                    rate(1),
                    rate(2),
                    rate(3),
                    results.iter().map(|one| one.1).sum::<f64>() / surveys as f64 / LIMIT
                );
            }
        }
    }
}

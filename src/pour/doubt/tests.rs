use std::f64::consts::TAU;

use rand::RngExt as _;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::*;
use crate::pour::volume;
use crate::pour::volume::tests::grid;
use crate::surface::{Shared, from_readings};
use crate::survey::Reading;

fn near(found: f64, wanted: f64, share: f64) {
    assert!((found / wanted - 1.0).abs() < share, "{found} {wanted}");
}

/// Filled all over, an inner node of a 5 x 4 grid holds a whole cell, one at an edge half, one at a corner a quarter:
/// Σ A² = c² (6 · 1 + 10 / 4 + 4 / 16) = 8.75 c² with 3 · 2 inner and 2 · (3 + 2) edge nodes, c = 0.25 m².
#[test]
fn a_filled_grid_has_the_trapezoid_rules_weights() {
    let mut floor = grid([5, 4], 0.5, |x, y| 1e-3 * (x - y));
    let found = doubt(&floor, &Target::Level { datum: 1.0 }, false);
    near(found.heights, 1e-3 * 0.25 * 8.75_f64.sqrt(), 1e-12);
    // A plane has nothing between its readings, a filled rectangle no moment about its middle.
    assert_eq!((found.tilt, found.sampling), (0.0, Some(0.0)));
    // From the highest spot, the corner (2, 0): 3 m² with their middle at (1, 0.75), so a moment of 3 · (-1, 0.75).
    floor.shared.tilt = 1e-4;
    let found = doubt(&floor, &Target::Level { datum: 0.005 }, true);
    near(found.tilt, 1e-4 * 3.0 * 1.25, 1e-9);
    // Its own weight is its quarter cell less the whole area.
    let squares = 8.75 * 0.0625 - 0.0625 * 0.0625 + (0.0625 - 3.0_f64).powi(2);
    near(found.heights, 1e-3 * squares.sqrt(), 1e-9);
}

/// Each share is the derivative of the exact fill: central differences by a millionth of the depth.
#[test]
fn shares_are_derivatives_of_the_exact_fill() {
    let fill = |depths: [f64; 3]| {
        let [a, b, c] = depths;
        let mut floor = grid([2, 2], 1.0, |_, _| 0.0);
        floor.triangles = vec![[[0.0, 0.0, -a], [1.0, 0.0, -b], [0.0, 1.0, -c]]];
        volume(&floor, &Target::Level { datum: 0.0 }).fill
    };
    for depths in [
        [1.0, 2.0, 3.0],
        [1.0, -2.0, 0.5],
        [-1.0, 0.3, -0.2],
        [-1.0, -2.0, 3.0],
        [-1.0, -1.0, -0.1],
        [0.4, -1.0, 0.0001],
    ] {
        let shares = filled_shares(0.5, depths);
        for corner in 0..3 {
            let moved = |by: f64| {
                let mut depths = depths;
                depths[corner] += by;
                fill(depths)
            };
            let wanted = (moved(1e-6) - moved(-1e-6)) / 2e-6;
            assert!(
                (shares[corner] - wanted).abs() < 1e-6,
                "{depths:?} {corner}"
            );
        }
    }
}

/// A place in a cell has the height that its triangle says: here on (1 - s)(1 - t)-like corners, one at a time.
#[test]
fn a_place_is_made_of_its_cells_corners() {
    for node in 0..6 {
        let floor = grid([3, 2], 1.0, |x, y| {
            f64::from(u8::from((y * 3.0 + x - node as f64).abs() < 0.1))
        });
        for triangle in &floor.triangles {
            let middle = [0, 1, 2].map(|axis| triangle.iter().map(|c| c[axis]).sum::<f64>() / 3.0);
            for [x, y, z] in triangle.iter().copied().chain([middle]) {
                let shares = in_cell(&floor.field, [x, y]);
                let found: f64 = shares
                    .iter()
                    .filter(|(at, _)| *at == node)
                    .map(|(_, share)| share)
                    .sum();
                assert!((found - z).abs() < 1e-12, "{x} {y}: {found} {z}");
            }
        }
    }
}

/// 3,000 surveys of a bowl, filled to half its height or from its one highest spot, each with a tilt of its own.
#[test]
fn heights_and_tilt_by_simulation() {
    let u = 2e-4;
    let tilt = 1e-4;
    let bowl = |x: f64, y: f64| {
        let spot = if x == 0.0 && y == 0.0 { 0.01 } else { 0.0 };
        0.002 * ((x - 2.2).powi(2) + (y - 1.4).powi(2)) + spot
    };
    let survey = |height: &mut dyn FnMut(f64, f64) -> f64| {
        let mut floor = grid([9, 7], 0.5, |_, _| 0.0);
        let mut heights = Vec::new();
        for node in 0..floor.field.z.len() {
            let [x, y] = floor.field.position(node);
            heights.push(height(x, y));
        }
        let mut rebuilt = grid([9, 7], 0.5, |x, y| {
            heights[((y / 0.5).round() * 9.0 + (x / 0.5).round()) as usize]
        });
        rebuilt.field.u.fill(u);
        rebuilt.shared.tilt = tilt;
        std::mem::swap(&mut floor, &mut rebuilt);
        floor
    };
    let floor = survey(&mut |x, y| bowl(x, y));
    let datum = Target::Level { datum: 0.008 };
    let hung = |floor: &Surface| crate::pour::target::level_from_cover(floor, 0.003);
    let wanted = [
        doubt(&floor, &datum, false),
        doubt(&floor, &hung(&floor).expect("measured"), true),
    ];
    let fills = |floor: &Surface| {
        [datum.clone(), hung(floor).expect("measured")].map(|target| volume(floor, &target).fill)
    };
    let exact = fills(&floor);
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let mut squares = [0.0; 2];
    for _ in 0..3000 {
        let [along, across]: [f64; 2] = [0; 2].map(|_| StandardNormal.sample(&mut random));
        let read = survey(&mut |x, y| {
            let noise: f64 = StandardNormal.sample(&mut random);
            // About the middle, where the datum is tied to the survey.
            bowl(x, y) + u * noise + tilt * (along * (x - 2.0) + across * (y - 1.5))
        });
        let off = fills(&read);
        (0..2).for_each(|k| squares[k] += (off[k] - exact[k]).powi(2));
    }
    for (sum, wanted) in squares.into_iter().zip(wanted) {
        near(
            (sum / 3000.0).sqrt(),
            wanted.heights.hypot(wanted.tilt),
            0.05,
        );
    }
}

/// Scattered readings: the noise of 1,000 surveys moves the fill as far as said.
#[test]
fn scattered_readings_by_simulation() {
    let reading = |i: usize, noise: f64| {
        let off = |k: usize| ((i * k) % 201) as f64 / 1000.0 - 0.1;
        let (x, y) = (
            (i % 9) as f64 * 0.5 + off(7919),
            (i / 9) as f64 * 0.5 + off(104_729),
        );
        Reading {
            name: None,
            x,
            y,
            z: 0.004 * (x + 0.5 * y).sin() + noise,
            setup: None,
        }
    };
    let floor = |noise: &mut dyn FnMut() -> f64| {
        let readings: Vec<_> = (0..63).map(|i| reading(i, noise())).collect();
        from_readings(&readings, 2e-4, None).expect("a floor")
    };
    let target = Target::Level { datum: 0.001 };
    let exact = floor(&mut || 0.0);
    assert_eq!(exact.kind, Kind::Triangulated);
    let wanted = doubt(&exact, &target, false);
    assert!(wanted.sampling.is_some());
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let squares: f64 = (0..1000)
        .map(|_| {
            let read = floor(&mut || {
                let noise: f64 = StandardNormal.sample(&mut random);
                2e-4 * noise
            });
            (volume(&read, &target).fill - volume(&exact, &target).fill).powi(2)
        })
        .sum();
    near((squares / 1000.0).sqrt(), wanted.heights, 0.07);
}

/// What a common part does: to a datum it is alike everywhere, area · U; hung on the highest cell, that one's own is
/// as much again as the others' mean.
#[test]
fn the_common_part_of_a_scan_does_not_average_out() {
    let mut scan = grid([40, 20], 0.025, |x, _| 0.001 * x);
    scan.kind = Kind::Cells;
    scan.triangles.clear();
    scan.field.u.fill(1e-3);
    scan.shared = Shared {
        tilt: 0.0,
        common: 1e-3,
    };
    let target = Target::Level { datum: 0.01 };
    near(doubt(&scan, &target, false).fill_u, 0.5 * 1e-3, 1e-9);
    near(doubt(&scan, &target, true).fill_u, 0.5 * 1e-3, 0.01);
    scan.shared.common = 0.0;
    let alone = doubt(&scan, &target, false).fill_u;
    near(alone, 1e-3 * 0.5 / 800_f64.sqrt(), 1e-9);
}

/// Floors of forty waves each, in every direction, of about one wavelength: the fill of the readings' surface against
/// the integral in closed form. Said over true, both as root mean squares of 100 floors.
fn said_over_true(wavelength: f64) -> f64 {
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let (mut said, mut truly) = (0.0, 0.0);
    let (width, depth) = (6.0, 4.0);
    for _ in 0..100 {
        let waves: Vec<[f64; 3]> = (0..40)
            .map(|_| {
                let length = wavelength * random.random_range(0.8..1.25);
                let (sin, cos) = random.random_range(0.0..TAU).sin_cos();
                let phase = random.random_range(0.0..TAU);
                [TAU * cos / length, TAU * sin / length, phase]
            })
            .collect();
        let height = |x: f64, y: f64| -> f64 {
            let wave = |[p, q, phase]: &[f64; 3]| (p * x + q * y + phase).cos();
            5e-4 * waves.iter().map(wave).sum::<f64>()
        };
        // ∫∫ cos(p x + q y + f) = [-cos] over the four corners, with signs, over p q.
        let integral: f64 = waves
            .iter()
            .map(|[p, q, phase]| {
                let at = |x: f64, y: f64| -(p * x + q * y + phase).cos();
                5e-4 * (at(width, depth) - at(0.0, depth) - at(width, 0.0) + at(0.0, 0.0)) / (p * q)
            })
            .sum();
        let mut floor = grid([13, 9], 0.5, height);
        floor.field.u.fill(0.0);
        let target = Target::Level { datum: 0.1 };
        let fill = volume(&floor, &target).fill;
        truly += (fill - (0.1 * width * depth - integral)).powi(2);
        let sampling = doubt(&floor, &target, false).sampling;
        said += sampling.expect("neighbours").powi(2);
    }
    (said / truly).sqrt()
}

/// Right where bumps are shorter than the spacing; too large, and so on the safe side, where they are longer.
#[test]
fn sampling_is_of_the_right_order() {
    for short in [0.2, 0.3, 0.35] {
        let ratio = said_over_true(short);
        assert!((0.7..1.5).contains(&ratio), "{short}: {ratio}");
    }
    let at_the_spacing = said_over_true(0.5);
    assert!(at_the_spacing > 0.4, "{at_the_spacing}");
    for long in [1.0, 2.0, 4.0] {
        let ratio = said_over_true(long);
        assert!((1.0..10.0).contains(&ratio), "{long}: {ratio}");
    }
}

/// The table that the README gives: `cargo test --release said_over_true_for_the_readme -- --ignored --nocapture`.
#[test]
#[ignore = "for the README"]
fn said_over_true_for_the_readme() {
    for wavelength in [0.3, 0.45, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0] {
        let ratio = said_over_true(wavelength);
        println!("{:.1} spacings: {ratio:.1}", wavelength / 0.5);
    }
}

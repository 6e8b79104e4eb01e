//! Planes through floors of 10^4 to 4 million points: an undulating floor with a fall and 1 mm of noise.

use divan::{Bencher, black_box};
use lowspot::reference::{least_squares, minimum_zone};
use rand::{RngExt, SeedableRng};

fn main() {
    divan::main();
}

const SIZES: [usize; 3] = [100 * 100, 1000 * 1000, 2000 * 2000];

/// Cells of 25 mm in a square, row by row, m.
fn floor(points: usize) -> Vec<[f64; 3]> {
    let side = points.isqrt();
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    (0..points)
        .map(|i| [0.025 * (i % side) as f64, 0.025 * (i / side) as f64])
        .map(|[x, y]| {
            let waves =
                0.004 * (0.9 * x).sin() * (0.7 * y).cos() + 0.002 * (2.3 * x + 1.1 * y).sin();
            [
                x,
                y,
                0.005 * x - 0.003 * y + waves + random.random_range(-0.001..0.001),
            ]
        })
        .collect()
}

#[divan::bench(args = SIZES)]
fn least_squares_plane(bencher: Bencher, points: usize) {
    let floor = floor(points);
    bencher.bench_local(|| least_squares(black_box(&floor)));
}

#[divan::bench(args = SIZES)]
fn minimum_zone_plane(bencher: Bencher, points: usize) {
    let floor = floor(points);
    bencher.bench_local(|| minimum_zone(black_box(&floor)));
}

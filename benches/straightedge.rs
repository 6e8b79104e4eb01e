//! The straightedge over large floors: `cargo bench --bench straightedge`.
//!
//! An item is one cell in one azimuth, and every cell is looked at in 16; gap, crown and gap map together. `on_one_core` shows that the cost
//! does not grow with the length of the edge.

use divan::Bencher;
use divan::counter::ItemsCount;
use lowspot::flatness::straightedge::{DIRECTIONS, lay};
use lowspot::surface::HeightField;

const SIDES: [usize; 2] = [1000, 2000];
const EDGES: [f64; 4] = [1.0, 2.0, 4.0, 10.0];

fn main() {
    divan::main();
}

/// A hall of 25 mm cells: two waves of 8 and 3 mm, and 1 mm of scatter from a fixed generator.
fn hall(side: usize) -> HeightField {
    let mut field = HeightField::unmeasured([0.0, 0.0], [0.025, 0.025], [side, side]);
    let mut state = 1u64;
    for node in 0..side * side {
        let [x, y] = field.position(node);
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        let scatter = (state >> 40) as f64 / (1u64 << 24) as f64 - 0.5;
        field.z[node] = 0.008 * (0.9 * x).sin() * (0.7 * y).cos()
            + 0.003 * (2.3 * x + y).sin()
            + 0.001 * scatter;
        field.u[node] = 0.0005;
    }
    field
}

fn cases() -> impl Iterator<Item = (usize, f64)> {
    SIDES
        .into_iter()
        .flat_map(|side| EDGES.into_iter().map(move |edge| (side, edge)))
}

fn on_cores(bencher: Bencher, (side, edge): (usize, f64), cores: usize) {
    let field = hall(side);
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(cores)
        .build()
        .unwrap();
    bencher
        .counter(ItemsCount::new(side * side * DIRECTIONS.len()))
        .bench(|| pool.install(|| lay(&field, edge)));
}

#[divan::bench(args = cases(), sample_count = 3, sample_size = 1)]
fn on_one_core(bencher: Bencher, case: (usize, f64)) {
    on_cores(bencher, case, 1);
}

#[divan::bench(args = cases(), sample_count = 3, sample_size = 1)]
fn on_two_cores(bencher: Bencher, case: (usize, f64)) {
    on_cores(bencher, case, 2);
}

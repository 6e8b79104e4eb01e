//! The straightedge over large floors: `cargo bench --bench straightedge`.
//!
//! An item is one cell in one azimuth, and every cell is looked at in 16; gap, crown and gap map together. `on_one_core` shows that the cost
//! does not grow with the length of the edge.

mod floors;

use divan::Bencher;
use divan::counter::ItemsCount;
use floors::hall;
use lowspot::flatness::straightedge::{DIRECTIONS, lay};

const SIDES: [usize; 2] = [1000, 2000];
const EDGES: [f64; 4] = [1.0, 2.0, 4.0, 10.0];

fn main() {
    divan::main();
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

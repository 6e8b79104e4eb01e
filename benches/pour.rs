//! The pour over large floors: `cargo bench --bench pour`.
//!
//! The least fill of a hall of a million cells under an edge of 2 m, beside one lay of that edge; a floor of 100,000 cells
//! divided into mixes.

mod floors;

use divan::Bencher;
use floors::hall;
use lowspot::flatness::straightedge::lay;
use lowspot::pour::batches::divide;
use lowspot::pour::least::{Edge, least_heights};
use lowspot::pour::{Compound, Volumes, order};
use lowspot::surface::HeightField;

fn main() {
    divan::main();
}

#[divan::bench(args = [1, 2], sample_count = 3, sample_size = 1)]
fn least_fill(bencher: Bencher, cores: usize) {
    let field = hall(1000);
    let pool = cores_of(cores);
    bencher.bench(|| {
        pool.install(|| {
            least_heights(
                &field,
                &[Edge {
                    length: 2.0,
                    limit: 0.003,
                }],
                0.0,
            )
        })
    });
}

/// The measure of it: one straightedge over the same hall.
#[divan::bench(args = [1, 2], sample_count = 3, sample_size = 1)]
fn straightedge(bencher: Bencher, cores: usize) {
    let field = hall(1000);
    let pool = cores_of(cores);
    bencher.bench(|| pool.install(|| lay(&field, 2.0)));
}

fn cores_of(cores: usize) -> rayon::ThreadPool {
    rayon::ThreadPoolBuilder::new()
        .num_threads(cores)
        .build()
        .unwrap()
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn batches(bencher: Bencher) {
    let mut depths = HeightField::unmeasured([0.0; 2], [0.1; 2], [400, 250]);
    depths.z.fill(0.01);
    let sheet = "name = \"c\"\nbag = \"25 kg\"\nliquid_per_bag = \"5 l\"\nmixed_per_bag = \"15 l\"\nleast_depth = \"2 mm\"\n\
        greatest_depth = \"10 mm\"\nworking_time = \"20 min\"\nmixing_time = \"3 min\"\nwalk_on = \"3 h\"\n";
    let compound = Compound::parse(sheet, "sheet").unwrap();
    let order = order(&Volumes::even(1000.0, 0.01), &compound, 0.05).unwrap();
    bencher.bench(|| divide(&depths, 10.0, &order, &compound, 0.04, [0.0; 2]));
}

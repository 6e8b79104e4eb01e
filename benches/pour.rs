//! The pour over large floors: `cargo bench --bench pour`.
//!
//! The least fill of a hall of a million cells under an edge of 2 m, beside one lay of that edge, and by the eight steps of a
//! class by distance; the datum of least total cost of that hall; a floor of 100,000 cells divided into mixes.

mod floors;

use divan::Bencher;
use floors::hall;
use lowspot::flatness::straightedge::lay;
use lowspot::pour::batches::divide;
use lowspot::pour::cost::{Weighed, cheapest};
use lowspot::pour::least::{Edge, least_heights};
use lowspot::pour::within::edges;
use lowspot::pour::{Compound, Target, Volumes, order};
use lowspot::surface::{HeightField, Kind, PointsByFate, Shared, Surface};
use lowspot::tolerance::parse_class;

const SHEET: &str = "name = \"c\"\nbag = \"25 kg\"\nliquid_per_bag = \"5 l\"\nmixed_per_bag = \"15 l\"\nleast_depth = \"2 mm\"\n\
    greatest_depth = \"10 mm\"\nworking_time = \"20 min\"\nmixing_time = \"3 min\"\nwalk_on = \"3 h\"\n";

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

/// DIN 18202, line 3: 2 mm at 0.1 m up to 12 mm at 10 m, a limit for every millimetre.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn least_fill_by_distance(bencher: Bencher) {
    let field = hall(1000);
    let class = parse_class("DIN18202-3", &[]).unwrap();
    let edges = edges(&[class], 35.0);
    bencher.bench(|| least_heights(&field, &edges, 0.0));
}

/// A million cells at 25 a square metre ground, nothing thinner than 3 mm.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn cheapest_datum(bencher: Bencher) {
    let field = hall(1000);
    let highest = field.z.iter().copied().reduce(f64::max).unwrap();
    let surface = cells(field);
    let compound = Compound::parse(SHEET, "sheet").unwrap();
    let top = Target::Level {
        datum: highest + 0.003,
    };
    let rate = "25 EUR/m2".parse().unwrap();
    let weighed = Weighed {
        surface: &surface,
        top: &top,
        least_depth: 0.003,
        compound: &compound,
        bag: 30.0,
        waste: 0.05,
        rate: &rate,
    };
    bencher.bench(|| cheapest(&weighed));
}

fn cells(field: HeightField) -> Surface {
    Surface {
        kind: Kind::Cells,
        origin: [0.0; 3],
        triangles: Vec::new(),
        rows: Vec::new(),
        pins: Vec::new(),
        spacing: field.dx,
        outline: None,
        area: field.z.len() as f64 * field.dx * field.dy,
        unmeasured: 0.0,
        points: PointsByFate::default(),
        noise: None,
        shared: Shared::default(),
        warnings: Vec::new(),
        field,
    }
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
    let compound = Compound::parse(SHEET, "sheet").unwrap();
    let order = order(&Volumes::even(1000.0, 0.01), &compound, 0.05).unwrap();
    bencher.bench(|| divide(&depths, 10.0, &order, &compound, 0.04, [0.0; 2]));
}

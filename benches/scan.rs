//! How many points a second go from a reader's batches into columns, the sample and cells.
//!
//! The points come as a scanner delivers them, line by line, and once in random order, which is the worst for the caches.

use divan::{Bencher, counter::ItemsCount};
use lowspot::error::Result;
use lowspot::surface::columns::Columns;
use lowspot::surface::sample::Sample;
use lowspot::surface::scan::{ScanSettings, from_scan};
use lowspot::survey::{Batch, LeftOut, PointReader};
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const POINTS: usize = 2_000_000;

fn main() {
    divan::main();
}

/// A floor of 20 x 10 m under a ceiling, in lines.
fn hall(shuffled: bool) -> Vec<Batch> {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let mut points: Vec<[f64; 3]> = (0..POINTS)
        .map(|at| {
            let line = (at / 2000) as f64 * 0.02;
            let noise = random.random_range(-0.004..0.004);
            let z = if at % 2 == 0 { 0.01 * line.sin() } else { 3.0 };
            [line, (at % 2000) as f64 * 0.005, z + noise]
        })
        .collect();
    if shuffled {
        points.shuffle(&mut random);
    }
    let batch = |points: &[[f64; 3]]| {
        let mut batch = Batch::default();
        points.iter().for_each(|&point| batch.push(point));
        batch
    };
    points.chunks(65_536).map(batch).collect()
}

#[divan::bench(args = [false, true], sample_count = 5)]
fn columns(bencher: Bencher, shuffled: bool) {
    let batches = hall(shuffled);
    bencher.counter(ItemsCount::new(POINTS)).bench_local(|| {
        let mut columns = Columns::default();
        batches
            .iter()
            .try_for_each(|batch| columns.add(batch))
            .map(|()| columns.points)
    });
}

#[divan::bench(args = [false, true], sample_count = 5)]
fn sample(bencher: Bencher, shuffled: bool) {
    let batches = hall(shuffled);
    bencher.counter(ItemsCount::new(POINTS)).bench_local(|| {
        let mut sample = Sample::default();
        batches.iter().for_each(|batch| sample.add(batch));
        sample
    });
}

struct Held(std::vec::IntoIter<Batch>);

impl PointReader for Held {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        let next = self.0.next();
        let more = next.is_some();
        *batch = next.unwrap_or_default();
        Ok(more)
    }

    fn announced(&self) -> Option<u64> {
        None
    }

    fn left_out(&self) -> LeftOut {
        LeftOut::default()
    }
}

#[divan::bench(args = [false, true], sample_count = 5)]
fn both_passes(bencher: Bencher, shuffled: bool) {
    let batches = hall(shuffled);
    bencher.counter(ItemsCount::new(POINTS)).bench_local(|| {
        let open = || {
            Ok(vec![
                Box::new(Held(batches.clone().into_iter())) as Box<dyn PointReader>
            ])
        };
        from_scan(&open, &ScanSettings::default(), None, &|_| {}).map(|surface| surface.area)
    });
}

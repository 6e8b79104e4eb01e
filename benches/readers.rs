//! Points per second of each reader of scans, beside the bare decoder on the same file.
//!
//! Files are those of the example `make-large`: two million points in a folder under the system's temporary one, made
//! on the first run, or those in the folder that LOWSPOT_BENCH_SCANS names.
//!
//! ```text
//! cargo bench --bench readers
//! ```
//!
//! The bare decoders do what a reader cannot do without: read, decode x, y and z in f64, and add them up. Goal: a
//! reader takes at most 1.25 times as long.

use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::PathBuf;
use std::process::Command;
use std::sync::OnceLock;

use divan::Bencher;
use divan::counter::ItemsCount;
use e57::{E57Reader, RecordValue};
use las::PointDataBuilder;
use lowspot::survey::{Batch, Content, Options, Source, recognise};

const POINTS: u64 = 2_000_000;

fn main() {
    divan::main();
}

fn folder() -> &'static PathBuf {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        if let Some(folder) = std::env::var_os("LOWSPOT_BENCH_SCANS") {
            return folder.into();
        }
        let folder = std::env::temp_dir().join("lowspot-bench-scans");
        if !folder.join("hall.ply").exists() {
            let made = Command::new(env!("CARGO"))
                .args(["run", "--release", "--example", "make-large", "--"])
                .arg(&folder)
                .arg(POINTS.to_string())
                .status()
                .unwrap();
            assert!(made.success());
        }
        folder
    })
}

fn file(extension: &str) -> PathBuf {
    folder().join("hall").with_extension(extension)
}

/// Number of points and the sum of all coordinates.
type Sum = (u64, f64);

fn by_reader(extension: &str) -> Sum {
    let source = Source::new(file(extension).to_str().unwrap()).unwrap();
    let options = Options::default();
    let format = recognise(&source, &options).unwrap();
    let Content::Points(mut reader) = (format.open)(&source, &options).unwrap() else {
        panic!("no points")
    };
    let (mut batch, mut count, mut sum) = (Batch::default(), 0, 0.0);
    while reader.next_batch(&mut batch).unwrap() {
        count += batch.len() as u64;
        for column in [&batch.x, &batch.y, &batch.z] {
            sum += column.iter().sum::<f64>();
        }
    }
    (count, sum)
}

/// `las` with its buffer used again, x, y and z decoded from its bytes: 64k points at a time, or a million where
/// chunks are decompressed, so that both cores have some.
fn bare_las(extension: &str, at_once: u64) -> Sum {
    let mut reader = las::Reader::new(open(extension)).unwrap();
    let mut data = PointDataBuilder::new().for_header(reader.header()).build();
    let (mut count, mut sum) = (0, 0.0);
    while reader.fill_points(at_once, &mut data).unwrap() > 0 {
        count += data.len() as u64;
        let t = data.transforms();
        let axes = [
            (t.x.scale, t.x.offset),
            (t.y.scale, t.y.offset),
            (t.z.scale, t.z.offset),
        ];
        for record in data.raw_bytes().chunks_exact(data.record_len()) {
            for (bytes, (scale, offset)) in record.chunks_exact(4).zip(axes) {
                let integer = i32::from_le_bytes(bytes.try_into().unwrap());
                sum += f64::from(integer) * scale + offset;
            }
        }
    }
    (count, sum)
}

/// The raw iterator of `e57`, on the calling thread.
fn bare_e57() -> Sum {
    let mut reader = E57Reader::new(open("e57")).unwrap();
    let (mut count, mut sum) = (0, 0.0);
    for scan in reader.pointclouds() {
        for values in reader.pointcloud_raw(&scan).unwrap() {
            count += 1;
            for value in &values.unwrap()[..3] {
                if let RecordValue::Single(value) = value {
                    sum += f64::from(*value);
                }
            }
        }
    }
    (count, sum)
}

/// Records of 15 bytes, 64k at a time.
fn bare_ply() -> Sum {
    let mut reader = open("ply");
    let mut line = String::new();
    while line != "end_header\n" {
        line.clear();
        reader.read_line(&mut line).unwrap();
    }
    let mut block = vec![0; 65_536 * 15];
    let (mut count, mut sum) = (0, 0.0);
    loop {
        let mut filled = 0;
        while filled < block.len() {
            match reader.read(&mut block[filled..]).unwrap() {
                0 => break,
                read => filled += read,
            }
        }
        for record in block[..filled].chunks_exact(15) {
            count += 1;
            for bytes in record[..12].chunks_exact(4) {
                sum += f64::from(f32::from_le_bytes(bytes.try_into().unwrap()));
            }
        }
        if filled < block.len() {
            return (count, sum);
        }
    }
}

fn open(extension: &str) -> BufReader<File> {
    BufReader::with_capacity(1 << 20, File::open(file(extension)).unwrap())
}

#[divan::bench(args = ["las", "laz", "e57", "ply"], sample_count = 8)]
fn reader(bencher: Bencher, extension: &str) {
    let points = by_reader(extension).0;
    bencher
        .counter(ItemsCount::new(points))
        .bench_local(|| by_reader(extension));
}

#[divan::bench(args = ["las", "laz", "e57", "ply"], sample_count = 8)]
fn bare(bencher: Bencher, extension: &str) {
    let decode = || match extension {
        "las" => bare_las(extension, 65_536),
        "laz" => bare_las(extension, 1_000_000),
        "e57" => bare_e57(),
        _ => bare_ply(),
    };
    let (points, sum) = decode();
    let found = by_reader(extension);
    assert!(
        found.0 == points && (found.1 - sum).abs() < 1e-9 * sum.abs(),
        "{extension}"
    );
    bencher.counter(ItemsCount::new(points)).bench_local(decode);
}

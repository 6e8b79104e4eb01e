//! Points per second of each reader of scans, beside the bare decoder on the same file.
//!
//! Files are those of the example `make-large`: two million points in a folder under the system's temporary one, made
//! on the first run, or those in the folder that LOWSPOT_BENCH_SCANS names.
//!
//! ```text
//! cargo bench --bench readers
//! ```
//!
//! The bare decoders do what a reader cannot do without: read, and decode x, y and z to columns of f64 whose memory is
//! used again. Goal: a reader takes at most 1.25 times as long.

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
const FORMATS: [&str; 8] = ["las", "laz", "e57", "ply", "pcd", "xyz", "pts", "ptx"];

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
        if !folder.join("hall.ptx").exists() {
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

/// Columns of coordinates, used again and again, and what went through them.
#[derive(Default)]
struct Columns {
    batch: Batch,
    points: u64,
    last: Option<[f64; 3]>,
}

impl Columns {
    /// Uses up what is in the columns.
    fn used(&mut self) {
        let batch = divan::black_box(&mut self.batch);
        self.points += batch.len() as u64;
        self.last = batch.points().last().or(self.last);
        batch.clear();
    }
}

fn by_reader(extension: &str) -> Columns {
    let source = Source::new(file(extension).to_str().unwrap()).unwrap();
    let options = Options::default();
    let format = recognise(&source, &options).unwrap();
    let Content::Points(mut reader) = (format.open)(&source, &options).unwrap() else {
        panic!("no points")
    };
    let mut columns = Columns::default();
    while reader.next_batch(&mut columns.batch).unwrap() {
        columns.used();
    }
    columns
}

/// `las` with its buffer used again, x, y and z decoded from its bytes: 64k points at a time, or a million where
/// chunks are decompressed, so that both cores have some.
fn bare_las(extension: &str, at_once: u64) -> Columns {
    let mut reader = las::Reader::new(open(extension)).unwrap();
    let mut data = PointDataBuilder::new().for_header(reader.header()).build();
    let mut columns = Columns::default();
    while reader.fill_points(at_once, &mut data).unwrap() > 0 {
        let t = data.transforms();
        let axes = [
            (t.x.scale, t.x.offset),
            (t.y.scale, t.y.offset),
            (t.z.scale, t.z.offset),
        ];
        for record in data.raw_bytes().chunks_exact(data.record_len()) {
            columns.batch.push([0, 1, 2].map(|axis| {
                let bytes = record[4 * axis..4 * axis + 4].try_into().unwrap();
                f64::from(i32::from_le_bytes(bytes)) * axes[axis].0 + axes[axis].1
            }));
        }
        columns.used();
    }
    columns
}

/// The raw iterator of `e57`, on the calling thread.
fn bare_e57() -> Columns {
    let mut reader = E57Reader::from_file(file("e57")).unwrap();
    let mut columns = Columns::default();
    for scan in reader.pointclouds() {
        for values in reader.pointcloud_raw(&scan).unwrap() {
            let [
                RecordValue::Single(x),
                RecordValue::Single(y),
                RecordValue::Single(z),
            ] = values.unwrap()[..]
            else {
                panic!("three floats")
            };
            columns.batch.push([x, y, z].map(f64::from));
            if columns.batch.len() == 65_536 {
                columns.used();
            }
        }
    }
    columns.used();
    columns
}

/// Records of floats behind a header, 64k at a time.
fn bare_records(extension: &str, end_of_header: &str, size: usize) -> Columns {
    let mut reader = open(extension);
    let mut line = String::new();
    while line != end_of_header {
        line.clear();
        reader.read_line(&mut line).unwrap();
    }
    let mut block = vec![0; 65_536 * size];
    let mut columns = Columns::default();
    loop {
        let mut filled = 0;
        while filled < block.len() {
            match reader.read(&mut block[filled..]).unwrap() {
                0 => break,
                read => filled += read,
            }
        }
        for record in block[..filled].chunks_exact(size) {
            columns.batch.push(
                [0, 4, 8].map(|at| {
                    f64::from(f32::from_le_bytes(record[at..at + 4].try_into().unwrap()))
                }),
            );
        }
        columns.used();
        if filled < block.len() {
            return columns;
        }
    }
}

/// Lines split and their first three numbers parsed by `fast-float2`.
fn bare_text(extension: &str, header_lines: usize) -> Columns {
    let mut reader = open(extension);
    let mut columns = Columns::default();
    let mut line = Vec::new();
    for _ in 0..header_lines {
        reader.read_until(b'\n', &mut line).unwrap();
    }
    loop {
        line.clear();
        if reader.read_until(b'\n', &mut line).unwrap() == 0 {
            columns.used();
            return columns;
        }
        let mut rest = line.as_slice();
        columns.batch.push([(); 3].map(|()| {
            let (number, length) = fast_float2::parse_partial::<f64, _>(rest).unwrap();
            rest = &rest[(length + 1).min(rest.len())..];
            number
        }));
        if columns.batch.len() == 65_536 {
            columns.used();
        }
    }
}

fn open(extension: &str) -> BufReader<File> {
    BufReader::with_capacity(1 << 20, File::open(file(extension)).unwrap())
}

#[divan::bench(args = FORMATS, sample_count = 8)]
fn reader(bencher: Bencher, extension: &str) {
    let points = by_reader(extension).points;
    bencher
        .counter(ItemsCount::new(points))
        .bench_local(|| by_reader(extension));
}

#[divan::bench(args = FORMATS, sample_count = 8)]
fn bare(bencher: Bencher, extension: &str) {
    let decode = || match extension {
        "las" => bare_las(extension, 65_536),
        "laz" => bare_las(extension, 1_000_000),
        "e57" => bare_e57(),
        "ply" => bare_records(extension, "end_header\n", 15),
        "pcd" => bare_records(extension, "DATA binary\n", 12),
        "pts" => bare_text(extension, 1),
        "ptx" => bare_text(extension, 10),
        _ => bare_text(extension, 0),
    };
    let (wanted, found) = (decode(), by_reader(extension));
    assert_eq!((found.points, found.last), (wanted.points, wanted.last));
    bencher
        .counter(ItemsCount::new(wanted.points))
        .bench_local(decode);
}

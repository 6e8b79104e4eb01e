//! Every scan among the real and conformance files, read and held against `formats.txt`: the number of points, how many
//! were left out, and the mean position; or the error.
//!
//! Runs where the data lie beside the repository. A fresh clone elsewhere has none and passes with a note; where the
//! folder beside it is there but the data are not, CI fails.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use e57::{E57Writer, Record, RecordDataType, RecordName, RecordValue};
use lowspot::error::Result;
use lowspot::survey::{Batch, Content, LeftOut, Options, Source, recognise};

const SHARED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../shared");
const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/data");
const FOLDERS: [&str; 10] = [
    "copc",
    "cross-format",
    "derived",
    "e57",
    "las",
    "pcd",
    "ply",
    "pts",
    "ptx",
    "xyz",
];

/// Whether the data are there.
fn data() -> bool {
    let there = Path::new(DATA).is_dir();
    let due = std::env::var_os("CI").is_some() && Path::new(SHARED).is_dir();
    assert!(there || !due, "shared/data is missing");
    if !there {
        eprintln!("shared/data is not beside the repository: nothing was read");
    }
    there
}

struct Read {
    format: &'static str,
    points: Vec<[f64; 3]>,
    left_out: LeftOut,
}

fn read(file: &str) -> Result<Read> {
    read_as(file, &Options::default())
}

fn read_as(file: &str, options: &Options) -> Result<Read> {
    read_path(&format!("{DATA}/{file}"), options)
}

fn read_path(file: &str, options: &Options) -> Result<Read> {
    let source = Source::new(file)?;
    let format = recognise(&source, options)?;
    let Content::Points(mut reader) = (format.open)(&source, options)? else {
        panic!("{file}: readings")
    };
    let (mut batch, mut points) = (Batch::default(), Vec::new());
    while reader.next_batch(&mut batch)? {
        assert!(batch.len() <= 65_536, "{file}: a batch of {}", batch.len());
        points.extend(batch.points());
    }
    Ok(Read {
        format: format.name,
        points,
        left_out: reader.left_out(),
    })
}

fn mean(points: &[[f64; 3]]) -> [f64; 3] {
    [0, 1, 2].map(|axis| points.iter().map(|p| p[axis]).sum::<f64>() / points.len() as f64)
}

/// All files in the folders of scans.
fn files() -> Vec<String> {
    let mut files = Vec::new();
    for folder in FOLDERS
        .iter()
        .flat_map(|f| fs::read_dir(format!("{DATA}/{f}")).unwrap())
    {
        let path = folder.unwrap().path();
        match path.is_dir() {
            true => files.extend(fs::read_dir(path).unwrap().map(|f| f.unwrap().path())),
            false => files.push(path),
        }
    }
    let name = |path: &Path| path.strip_prefix(DATA).unwrap().display().to_string();
    files.iter().map(|path| name(path)).collect()
}

/// Holds one file against its line: what is wrong with it, if anything.
fn fault(file: &str, expected: &str) -> Option<String> {
    let wanted: Vec<&str> = expected.split_whitespace().collect();
    match (read(file), expected.strip_prefix("error ")) {
        (Err(error), Some(text)) => {
            let error = error.to_string();
            (!error.contains(text.trim())).then(|| format!("{error}, not: {text}"))
        }
        (Err(error), None) => Some(error.to_string()),
        (Ok(read), Some(_)) => Some(format!("{} points, not an error", read.points.len())),
        (Ok(read), None) => {
            let [format, points, left_out, position @ ..] = wanted.as_slice() else {
                return Some(format!("a line that cannot be read: {expected}"));
            };
            let found = mean(&read.points);
            let near = position.iter().zip(found).all(|(wanted, found)| {
                (wanted.parse::<f64>().unwrap() - found).abs() < 1e-6 * found.abs().max(1.0)
            });
            let same = read.format == *format
                && read.points.len().to_string() == *points
                && read.left_out.total().to_string() == *left_out;
            let seen = (read.format, read.points.len(), read.left_out, found);
            (!near || !same).then(|| format!("{seen:?}, not: {expected}"))
        }
    }
}

#[test]
fn every_scan_is_read_right_or_refused_with_its_place() {
    if !data() {
        return;
    }
    let lines = include_str!("formats.txt").lines();
    let expected: BTreeMap<_, _> = lines
        .filter(|line| !line.starts_with('#'))
        .filter_map(|line| line.split_once(char::is_whitespace))
        .collect();
    let mut faults = Vec::new();
    for file in files() {
        let fault = match expected.get(file.as_str()) {
            Some(line) => fault(&file, line.trim()),
            None => Some("not in formats.txt".to_owned()),
        };
        faults.extend(fault.map(|fault| format!("{file}: {fault}")));
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Largest distance between points of the same place in two files, along any axis.
fn apart(a: &[[f64; 3]], b: &[[f64; 3]]) -> f64 {
    assert_eq!(a.len(), b.len());
    let distances = a.iter().flatten().zip(b.iter().flatten());
    distances.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

fn sorted(mut points: Vec<[f64; 3]>) -> Vec<[f64; 3]> {
    points.sort_by(|a, b| a.partial_cmp(b).unwrap());
    points
}

/// The tolerances are those of the data's own description, but for the ASCII PLY: its numbers are printed to seven
/// digits, which is as near as 2e-7 m. Text of four decimals is off by 5e-5 m and what the LAS file itself rounds.
#[test]
fn one_surface_is_the_same_in_every_format() {
    if !data() {
        return;
    }
    let ripple = |file: &str| {
        let points = read(&format!("cross-format/ripple/ripple{file}"))
            .unwrap()
            .points;
        // Rounded to a tenth of the spacing, so that all formats sort alike.
        let key = |p: &[f64; 3]| [p[0], p[1]].map(|c| (c * 100.0).round() as i64);
        let mut keyed: Vec<_> = points.iter().map(|p| (key(p), *p)).collect();
        keyed.sort_by_key(|(key, _)| *key);
        keyed.into_iter().map(|(_, p)| p).collect::<Vec<_>>()
    };
    let las = ripple(".las");
    assert_eq!(las, ripple(".laz"));
    for (file, tolerance) in [
        ("_bin.ply", 5e-9),
        ("_ascii.ply", 2e-7),
        (".pts", 5.01e-5),
        (".ptx", 5.01e-5),
    ] {
        let apart = apart(&las, &ripple(file));
        assert!(apart < tolerance, "{file}: {apart:e}");
    }
    // Two more encodings, written here from the points of the LAS: the same to the last bit.
    let folder = tempfile::tempdir().unwrap();
    for (file, write) in [
        ("ripple.pcd", write_pcd as fn(&Path, &[[f64; 3]])),
        ("ripple.e57", write_e57),
    ] {
        let path = folder.path().join(file);
        write(&path, &las);
        let read = read_path(path.to_str().unwrap(), &Options::default()).unwrap();
        assert_eq!(read.points, las, "{file}");
    }
}

/// A binary PCD of doubles.
fn write_pcd(path: &Path, points: &[[f64; 3]]) {
    let count = points.len();
    let mut bytes = format!(
        "VERSION 0.7\nFIELDS x y z\nSIZE 8 8 8\nTYPE F F F\nCOUNT 1 1 1\nWIDTH {count}\nHEIGHT 1\n\
         VIEWPOINT 0 0 0 1 0 0 0\nPOINTS {count}\nDATA binary\n"
    )
    .into_bytes();
    bytes.extend(points.iter().flatten().flat_map(|c| c.to_le_bytes()));
    fs::write(path, bytes).unwrap();
}

/// An E57 of doubles, by its crate's own writer.
fn write_e57(path: &Path, points: &[[f64; 3]]) {
    let names = [
        RecordName::CartesianX,
        RecordName::CartesianY,
        RecordName::CartesianZ,
    ];
    let data_type = RecordDataType::Double {
        min: None,
        max: None,
    };
    let record = |name| Record {
        name,
        data_type: data_type.clone(),
    };
    let mut writer = E57Writer::from_file(path, "ripple").unwrap();
    let mut scan = writer
        .add_pointcloud("scan", names.map(record).to_vec())
        .unwrap();
    for point in points {
        scan.add_point(point.map(RecordValue::Double).to_vec())
            .unwrap();
    }
    scan.finalize().unwrap();
    writer.finalize().unwrap();
}

/// Pairs that hold the same points, compressed and not, or in another order.
#[test]
fn twins_hold_the_same_points() {
    if !data() {
        return;
    }
    for (a, b) in [
        ("las/laz-rs/point10.las", "las/laz-rs/point10.laz"),
        ("las/laz-rs/point-time.las", "las/laz-rs/point-time.laz"),
        ("las/laz-rs/point-color.las", "las/laz-rs/point-color.laz"),
        ("las/laz-rs/extra-bytes.las", "las/laz-rs/extra-bytes.laz"),
        (
            "las/laspy/simple.las",
            "las/pdal/simple-laszip-compressor-version-1.2r0.laz",
        ),
        (
            "las/laz-rs/point-version-1-point-wise.las",
            "las/laz-rs/point-version-1-point-wise.laz",
        ),
        ("las/laspy/1_4_w_evlr.las", "las/laspy/1_4_w_evlr.laz"),
        ("las/laspy/simple.las", "copc/laspy/simple.copc.laz"),
        (
            "las/loaders.gl/ellipsoid-1.4.laz",
            "copc/loaders.gl/ellipsoid.copc.laz",
        ),
    ] {
        let [a_points, b_points] = [a, b].map(|file| sorted(read(file).unwrap().points));
        let apart = apart(&a_points, &b_points);
        assert!(apart < 1e-8, "{a} and {b}: {apart:e}");
    }
}

#[test]
fn plain_text_with_a_bare_header_is_read_when_asked_for() {
    if !data() {
        return;
    }
    let options = Options {
        format: Some("xyz"),
        ..Options::default()
    };
    for (file, points) in [
        ("quoted.txt", 9),
        ("utm17_1.txt", 10),
        ("utm17_3.txt", 11),
        ("file1.txt", 9),
    ] {
        let read = read_as(&format!("xyz/pdal/{file}"), &options).unwrap();
        assert_eq!(read.points.len(), points, "{file}");
    }
}

/// Damage that is the same in every run: a byte changed, four bytes set, or the end cut off.
fn damaged(bytes: &[u8], n: u64) -> Vec<u8> {
    let mut random = n.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let mut next = || {
        // xorshift64 (Marsaglia 2003)
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        random as usize
    };
    let mut bytes = bytes.to_vec();
    // Most damage goes where counts and offsets are.
    let reach = match next() % 3 {
        0 => bytes.len(),
        _ => bytes.len().min(600),
    };
    let at = next() % reach.max(1);
    match next() % 4 {
        0 => bytes.truncate(at),
        1 => bytes.iter_mut().skip(at).take(4).for_each(|b| *b = 0xff),
        2 => bytes.iter_mut().skip(at).take(4).for_each(|b| *b = 0),
        _ => bytes
            .iter_mut()
            .skip(at)
            .take(1)
            .for_each(|b| *b = next() as u8),
    }
    bytes
}

/// Nothing is asked of the outcome but that there is one, within the memory of the process.
#[test]
fn damaged_files_are_read_or_refused_but_never_a_panic() {
    if !data() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    for file in files() {
        let bytes = fs::read(format!("{DATA}/{file}")).unwrap();
        if bytes.len() > 100_000 {
            continue;
        }
        let path = folder.path().join("damaged");
        for n in 0..10 {
            fs::write(&path, damaged(&bytes, n)).unwrap();
            let source = Source::new(path.to_str().unwrap()).unwrap();
            let read = || -> Result<u64> {
                let format = recognise(&source, &Options::default())?;
                let Content::Points(mut reader) = (format.open)(&source, &Options::default())?
                else {
                    return Ok(0);
                };
                let (mut batch, mut points) = (Batch::default(), 0);
                while reader.next_batch(&mut batch)? {
                    points += batch.len() as u64;
                }
                Ok(points)
            };
            let _ = read();
        }
    }
}

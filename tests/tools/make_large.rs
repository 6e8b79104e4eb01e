//! Writes a large scan of a hall in eight formats: what the readers' benches and trials with millions of points
//! are fed.
//!
//! In: a folder, a number of points, and the formats if not all. Out: `hall.las`, `.laz`, `.e57`, `.ply`, `.pcd`,
//! `.xyz`, `.pts` and `.ptx` in it, the same points.
//!
//! ```text
//! cargo run --release --example make-large -- FOLDER 100000000 las
//! ```
//!
//! The hall is 60 m x 40 m: seven points in ten on a floor with a wave of 4 mm over 7 m and 1 mm of noise, two on walls
//! of 4 m, one on pallets of 1.2 m x 0.8 m x 1 m. Always the same points (ChaCha8, seed 1).

use std::error::Error;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use e57::{E57Writer, Record, RecordDataType, RecordName, RecordValue};
use las::{Builder, Point, Transform, Vector, Writer, point};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const LENGTH: f64 = 60.0;
const WIDTH: f64 = 40.0;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().collect();
    let [_, folder, count, formats @ ..] = arguments.as_slice() else {
        return Err("wanted: a folder, a number of points, and formats if not all".into());
    };
    let (folder, count) = (Path::new(folder), count.parse()?);
    fs::create_dir_all(folder)?;
    for (format, write) in WRITERS {
        if formats.is_empty() || formats.iter().any(|wanted| wanted == format) {
            write(&folder.join("hall").with_extension(format), count)?;
        }
    }
    Ok(())
}

/// Writes so many points to a file.
type WriteHall = fn(&Path, u64) -> Result<(), Box<dyn Error>>;

const WRITERS: [(&str, WriteHall); 8] = [
    ("las", write_las),
    ("laz", write_las),
    ("e57", write_e57),
    ("ply", write_ply),
    ("pcd", write_pcd),
    ("xyz", |path, count| write_text(path, count, "", "")),
    ("pts", |path, count| {
        write_text(path, count, &format!("{count}\n"), " 0 128 128 128")
    }),
    ("ptx", |path, count| {
        let upright = "0 0 0\n1 0 0\n0 1 0\n0 0 1\n1 0 0 0\n0 1 0 0\n0 0 1 0\n0 0 0 1\n";
        write_text(path, count, &format!("{count}\n1\n{upright}"), " 0.5")
    }),
];

/// The points of the hall, m.
fn hall(count: u64) -> impl Iterator<Item = [f64; 3]> {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    (0..count).map(move |_| match random.random_range(0..10) {
        0..7 => floor(&mut random),
        7..9 => wall(&mut random),
        _ => pallet(&mut random),
    })
}

/// About normal, with a standard deviation of 1 mm: twelve uniform numbers have a variance of one together.
fn noise(random: &mut impl Rng) -> f64 {
    let sum: f64 = (0..12).map(|_| random.random::<f64>()).sum();
    (sum - 6.0) * 1e-3
}

fn floor(random: &mut impl Rng) -> [f64; 3] {
    let (x, y) = (
        random.random::<f64>() * LENGTH,
        random.random::<f64>() * WIDTH,
    );
    let wave = 0.004 * (x * std::f64::consts::TAU / 7.0).sin();
    [x, y, wave + noise(random)]
}

fn wall(random: &mut impl Rng) -> [f64; 3] {
    let z = random.random::<f64>() * 4.0;
    let along = random.random::<f64>();
    let off = noise(random);
    match random.random_range(0..4) {
        0 => [along * LENGTH, off, z],
        1 => [along * LENGTH, WIDTH + off, z],
        2 => [off, along * WIDTH, z],
        _ => [LENGTH + off, along * WIDTH, z],
    }
}

fn pallet(random: &mut impl Rng) -> [f64; 3] {
    let corner = [random.random_range(1..9), random.random_range(1..6)].map(|n| f64::from(n) * 3.0);
    let (x, y) = (random.random::<f64>() * 1.2, random.random::<f64>() * 0.8);
    [corner[0] + x, corner[1] + y, 1.0 + noise(random)]
}

fn write_las(path: &Path, count: u64) -> Result<(), Box<dyn Error>> {
    let mut builder = Builder::from((1, 4));
    builder.point_format = point::Format::new(6)?;
    builder.point_format.is_compressed = path.extension().is_some_and(|e| e == "laz");
    let axis = Transform {
        scale: 0.0001,
        offset: 0.0,
    };
    builder.transforms = Vector {
        x: axis,
        y: axis,
        z: axis,
    };
    let file = BufWriter::new(File::create(path)?);
    let mut writer = Writer::new(file, builder.into_header()?)?;
    for (n, [x, y, z]) in hall(count).enumerate() {
        writer.write_point(Point {
            x,
            y,
            z,
            gps_time: Some(n as f64 * 1e-6),
            ..Point::default()
        })?;
    }
    writer.close()?;
    Ok(())
}

fn write_e57(path: &Path, count: u64) -> Result<(), Box<dyn Error>> {
    use RecordName::{CartesianX, CartesianY, CartesianZ};
    let mut writer = E57Writer::from_file(path, "hall")?;
    let prototype = [CartesianX, CartesianY, CartesianZ].map(|name| Record {
        name,
        data_type: RecordDataType::F32,
    });
    let mut scan = writer.add_pointcloud("scan", prototype.to_vec())?;
    for point in hall(count) {
        scan.add_point(point.map(|c| RecordValue::Single(c as f32)).to_vec())?;
    }
    scan.finalize()?;
    writer.finalize()?;
    Ok(())
}

fn write_ply(path: &Path, count: u64) -> Result<(), Box<dyn Error>> {
    let mut file = BufWriter::new(File::create(path)?);
    write!(
        file,
        "ply\nformat binary_little_endian 1.0\nelement vertex {count}\nproperty float x\nproperty float y\n\
         property float z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n"
    )?;
    for point in hall(count) {
        point
            .into_iter()
            .try_for_each(|c| file.write_all(&(c as f32).to_le_bytes()))?;
        file.write_all(&[128; 3])?;
    }
    file.flush()?;
    Ok(())
}

fn write_pcd(path: &Path, count: u64) -> Result<(), Box<dyn Error>> {
    let mut file = BufWriter::new(File::create(path)?);
    write!(
        file,
        "VERSION 0.7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH {count}\nHEIGHT 1\n\
         VIEWPOINT 0 0 0 1 0 0 0\nPOINTS {count}\nDATA binary\n"
    )?;
    for point in hall(count) {
        point
            .into_iter()
            .try_for_each(|c| file.write_all(&(c as f32).to_le_bytes()))?;
    }
    file.flush()?;
    Ok(())
}

/// Lines of x y z to a tenth of a millimetre, with a head before them and something behind each.
fn write_text(path: &Path, count: u64, head: &str, behind: &str) -> Result<(), Box<dyn Error>> {
    let mut file = BufWriter::new(File::create(path)?);
    file.write_all(head.as_bytes())?;
    for [x, y, z] in hall(count) {
        writeln!(file, "{x:.4} {y:.4} {z:.4}{behind}")?;
    }
    file.flush()?;
    Ok(())
}

//! E57: any number of scans in one file, each with its pose.
//!
//! In: cartesian or spherical records of floats or scaled integers. Out: points in metres after each scan's own pose,
//! scan after scan; points marked invalid, or without a range, are left out. Images and colours are not read.
//! Source: ASTM E2807-11 (records, invalid states 0 valid, 1 a direction only, 2 nothing; pose = rotation, then
//! translation; azimuth from +x towards +y, elevation from the xy plane), by way of the e57 crate.
//! Decoding runs on a thread of its own, because the decoder borrows from itself while it runs; what takes the points
//! works meanwhile.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

use e57::{E57Reader, PointCloud, RawValues, RecordDataType, RecordName, RecordValue, Transform};

use crate::error::{Error, Place, Result};
use crate::survey::contain::contain;
use crate::survey::{Batch, Content, Format, LeftOut, Options, PointReader, Source, cloud};

/// E57.
pub const E57: Format = Format {
    name: "e57",
    title: "E57 scans",
    recognises: |head| head.starts_with(b"ASTM-E57"),
    open,
};

/// Bytes read at a time.
const BLOCK: usize = 1 << 20;

/// Bytes of XML, at most: thousands of scans. The decoder holds it as a tree of many times its size.
const LONGEST_XML: u64 = 8 << 20;

/// Batches that wait to be taken.
const WAITING: usize = 2;

type Message = Result<(Batch, LeftOut)>;

fn open(source: &Source, options: &Options) -> Result<Content> {
    let place = source.place();
    if xml_length(&source.head()?).is_some_and(|length| length > LONGEST_XML) {
        let found = format!("more than {} MiB of XML", LONGEST_XML >> 20);
        return Err(Error::input(place, found, "an undamaged E57 file"));
    }
    let file = Pages::new(source.open()?);
    let reader = contain(&place, "E57", || {
        E57Reader::new(file).map_err(|error| undecodable(place.clone(), &error))
    })?;
    let scans = reader.pointclouds();
    let announced = scans
        .iter()
        .fold(0, |sum: u64, scan| sum.saturating_add(scan.records));
    for scan in &scans {
        Layout::of(scan, &place)?;
    }
    let reader = Reader {
        place,
        state: State::Closed(Box::new(reader)),
        announced,
        left_out: LeftOut::default(),
    };
    Ok(cloud::content(Box::new(reader), None, options))
}

/// How long the header says the XML is (ASTM E2807-11, table 2: bytes 32 to 39); None of a file that is shorter.
fn xml_length(head: &[u8]) -> Option<u64> {
    let bytes = head.get(32..40)?.try_into().ok()?;
    Some(u64::from_le_bytes(bytes))
}

/// A file read in large blocks. The decoder goes to the beginning of each page of 1 kB, mostly the next one, and a plain
/// [`BufReader`] would throw its block away each time.
struct Pages {
    file: BufReader<File>,
    at: u64,
}

impl Pages {
    fn new(file: File) -> Self {
        Self {
            file: BufReader::with_capacity(BLOCK, file),
            at: 0,
        }
    }
}

impl Read for Pages {
    fn read(&mut self, bytes: &mut [u8]) -> io::Result<usize> {
        let read = self.file.read(bytes)?;
        self.at += read as u64;
        Ok(read)
    }
}

impl Seek for Pages {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        match to {
            SeekFrom::Start(to) if to.abs_diff(self.at) < BLOCK as u64 => {
                self.file.seek_relative(to as i64 - self.at as i64)?;
                self.at = to;
            }
            to => self.at = self.file.seek(to)?,
        }
        Ok(self.at)
    }
}

/// Decodes all scans and sends their points. Ends early, without an error, when nobody takes them any more.
fn read(
    mut reader: E57Reader<Pages>,
    place: &Place,
    send: &SyncSender<Message>,
    spent: &Receiver<Batch>,
) -> Result<()> {
    let mut number = 0;
    let scans = reader.pointclouds();
    for scan in scans.iter().filter(|scan| scan.records > 0) {
        let layout = Layout::of(scan, place)?;
        let record = |number: u64| Place::record(&place.file, number + 1);
        let points = reader.pointcloud_raw(scan);
        let mut points = points.map_err(|error| undecodable(record(number), &error))?;
        let mut more = true;
        while more {
            let mut batch = spent.try_recv().unwrap_or_default();
            batch.clear();
            let mut left_out = LeftOut::default();
            for _ in 0..cloud::BATCH {
                let Some(values) = points.next() else {
                    more = false;
                    break;
                };
                let values = values.map_err(|error| undecodable(record(number), &error))?;
                number += 1;
                match layout.point(&values) {
                    Some(point) => cloud::push(&mut batch, &mut left_out, point),
                    None => left_out.invalid += 1,
                }
            }
            if send.send(Ok((batch, left_out))).is_err() {
                return Ok(());
            }
        }
    }
    Ok(())
}

fn undecodable(place: Place, error: &e57::Error) -> Error {
    let found = format!("E57 data that cannot be decoded ({error})");
    Error::input(place, found, "an undamaged E57 file")
}

/// Where in a record the position stands, and what to do with it.
struct Layout {
    columns: [Column; 3],
    spherical: bool,
    /// Index of the invalid state, if there is one.
    invalid: Option<usize>,
    pose: Option<Pose>,
}

/// A coordinate: its index in a record, and the scale and offset of an integer.
#[derive(Clone, Copy)]
struct Column {
    index: usize,
    scale: f64,
    offset: f64,
}

impl Layout {
    fn of(scan: &PointCloud, place: &Place) -> Result<Self> {
        let wrong = |found: &str, wanted: &str| Error::input(place.clone(), found, wanted);
        // A record without a single bit never ends: the decoder would fill the memory with copies of it.
        let empty = |kind: &RecordDataType| match kind {
            RecordDataType::Single { .. } | RecordDataType::Double { .. } => false,
            RecordDataType::ScaledInteger { min, max, .. }
            | RecordDataType::Integer { min, max } => min == max,
        };
        if scan.records > 0 && scan.prototype.iter().all(|record| empty(&record.data_type)) {
            return Err(wrong(
                "a scan whose points all have the same values",
                "a measured scan",
            ));
        }
        let index = |name| scan.prototype.iter().position(|record| record.name == name);
        let column = |name| {
            let index = index(name)?;
            let (scale, offset) = match scan.prototype.get(index)?.data_type {
                RecordDataType::ScaledInteger { scale, offset, .. } => (scale, offset),
                RecordDataType::Single { .. }
                | RecordDataType::Double { .. }
                | RecordDataType::Integer { .. } => (1.0, 0.0),
            };
            Some(Column {
                index,
                scale,
                offset,
            })
        };
        let columns = |a, b, c| Some([column(a)?, column(b)?, column(c)?]);
        use RecordName as Name;
        let cartesian = columns(Name::CartesianX, Name::CartesianY, Name::CartesianZ);
        let range = || {
            columns(
                Name::SphericalRange,
                Name::SphericalAzimuth,
                Name::SphericalElevation,
            )
        };
        let spherical = cartesian.is_none();
        let columns = cartesian.or_else(range).ok_or_else(|| {
            wrong(
                "a scan without positions",
                "cartesian or spherical coordinates",
            )
        })?;
        Ok(Self {
            columns,
            spherical,
            invalid: index(match spherical {
                true => Name::SphericalInvalidState,
                false => Name::CartesianInvalidState,
            }),
            pose: scan.transform.as_ref().map(Pose::of),
        })
    }

    /// The position of a record, unless it is marked invalid.
    fn point(&self, values: &RawValues) -> Option<[f64; 3]> {
        if let Some(index) = self.invalid
            && number(values.get(index)?) != 0.0
        {
            return None;
        }
        let [a, b, c] = self.columns;
        let value = |c: Column| Some(number(values.get(c.index)?) * c.scale + c.offset);
        let mut point = [value(a)?, value(b)?, value(c)?];
        if self.spherical {
            let [range, azimuth, elevation] = point;
            let plan = range * elevation.cos();
            point = [
                plan * azimuth.cos(),
                plan * azimuth.sin(),
                range * elevation.sin(),
            ];
        }
        Some(self.pose.as_ref().map_or(point, |pose| pose.place(point)))
    }
}

fn number(value: &RecordValue) -> f64 {
    match *value {
        RecordValue::Single(value) => f64::from(value),
        RecordValue::Double(value) => value,
        RecordValue::ScaledInteger(value) | RecordValue::Integer(value) => value as f64,
    }
}

/// A rotation and a translation.
struct Pose {
    rows: [[f64; 3]; 3],
    translation: [f64; 3],
}

impl Pose {
    /// From a quaternion of any length but zero, which is taken for no rotation.
    fn of(transform: &Transform) -> Self {
        let q = &transform.rotation;
        let length = (q.w * q.w + q.x * q.x + q.y * q.y + q.z * q.z).sqrt();
        let [w, x, y, z] = match length > 0.0 {
            true => [q.w / length, q.x / length, q.y / length, q.z / length],
            false => [1.0, 0.0, 0.0, 0.0],
        };
        let t = &transform.translation;
        Self {
            rows: [
                [
                    1.0 - 2.0 * (y * y + z * z),
                    2.0 * (x * y - w * z),
                    2.0 * (x * z + w * y),
                ],
                [
                    2.0 * (x * y + w * z),
                    1.0 - 2.0 * (x * x + z * z),
                    2.0 * (y * z - w * x),
                ],
                [
                    2.0 * (x * z - w * y),
                    2.0 * (y * z + w * x),
                    1.0 - 2.0 * (x * x + y * y),
                ],
            ],
            translation: [t.x, t.y, t.z],
        }
    }

    fn place(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        let [a, b, c] = self.rows.map(|r| r[0] * x + r[1] * y + r[2] * z);
        let [tx, ty, tz] = self.translation;
        [a + tx, b + ty, c + tz]
    }
}

struct Reader {
    place: Place,
    state: State,
    announced: u64,
    left_out: LeftOut,
}

/// Whether decoding has begun.
enum State {
    Closed(Box<E57Reader<Pages>>),
    Running {
        batches: Receiver<Message>,
        /// Takes the memory of used batches back to the decoder.
        give_back: SyncSender<Batch>,
    },
    Ended,
}

/// Begins to decode, on a thread that ends with the file or when nobody takes its batches any more.
fn start(reader: E57Reader<Pages>, place: Place) -> Result<State> {
    let (send, batches) = sync_channel(WAITING);
    let (give_back, spent) = sync_channel(WAITING + 1);
    let file = place.file.clone();
    thread::Builder::new()
        .name("e57".to_owned())
        .spawn(move || {
            let outcome = contain(&place, "E57", || read(reader, &place, &send, &spent));
            if let Err(error) = outcome {
                // Nobody listens when the reader was dropped.
                let _ = send.send(Err(error));
            }
        })
        .map_err(|source| Error::Read { file, source })?;
    Ok(State::Running { batches, give_back })
}

impl PointReader for Reader {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        self.state = match std::mem::replace(&mut self.state, State::Ended) {
            State::Closed(reader) => start(*reader, self.place.clone())?,
            state => state,
        };
        let State::Running { batches, give_back } = &self.state else {
            return Ok(false);
        };
        let Ok(message) = batches.recv() else {
            return Ok(false);
        };
        let (decoded, left_out) = message?;
        // Full or gone: then the memory is not needed.
        let _ = give_back.try_send(std::mem::replace(batch, decoded));
        self.left_out += left_out;
        Ok(true)
    }

    fn announced(&self) -> Option<u64> {
        Some(self.announced)
    }

    fn left_out(&self) -> LeftOut {
        self.left_out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::cloud::testing::{error, read};
    use e57::{E57Writer, Quaternion, Record, Translation};

    const STATE: RecordDataType = RecordDataType::Integer { min: 0, max: 2 };

    /// A file of one scan of the given kinds of records and points.
    fn file(names: [RecordName; 4], pose: Transform, points: &[[f64; 4]]) -> Vec<u8> {
        let path = tempfile::NamedTempFile::new().unwrap();
        let mut writer = E57Writer::from_file(path.path(), "file").unwrap();
        let kinds = [
            RecordDataType::F64,
            RecordDataType::F64,
            RecordDataType::F64,
            STATE,
        ];
        let prototype = names.into_iter().zip(kinds);
        let prototype = prototype.map(|(name, data_type)| Record { name, data_type });
        let mut scan = writer.add_pointcloud("scan", prototype.collect()).unwrap();
        scan.set_transform(Some(pose));
        for [a, b, c, state] in points {
            let values = [a, b, c].map(|v| RecordValue::Double(*v)).to_vec();
            let state = RecordValue::Integer(*state as i64);
            scan.add_point([values, vec![state]].concat()).unwrap();
        }
        scan.finalize().unwrap();
        writer.finalize().unwrap();
        std::fs::read(path.path()).unwrap()
    }

    fn cartesian() -> [RecordName; 4] {
        use RecordName::*;
        [CartesianX, CartesianY, CartesianZ, CartesianInvalidState]
    }

    /// Half the angle of the turn stands in a quaternion: a quarter turn about z takes x to y.
    #[test]
    fn the_pose_turns_then_moves_and_invalid_points_are_left_out() {
        let half = std::f64::consts::FRAC_PI_4;
        let pose = Transform {
            rotation: Quaternion {
                w: half.cos(),
                x: 0.0,
                y: 0.0,
                z: half.sin(),
            },
            translation: Translation {
                x: 10.0,
                y: 20.0,
                z: 30.0,
            },
        };
        let points = [
            [1.0, 2.0, 3.0, 0.0],
            [1.0, 1.0, 1.0, 1.0],
            [1.0, 1.0, 1.0, 2.0],
        ];
        let (points, left_out) = read(&E57, &file(cartesian(), pose, &points)).unwrap();
        assert_eq!((points.len(), left_out.invalid), (1, 2));
        for (found, wanted) in points[0].iter().zip([8.0, 21.0, 33.0]) {
            assert!((found - wanted).abs() < 1e-12);
        }
    }

    #[test]
    fn spherical_points_become_cartesian() {
        use RecordName::*;
        let names = [
            SphericalRange,
            SphericalAzimuth,
            SphericalElevation,
            SphericalInvalidState,
        ];
        let (azimuth, elevation) = (0.5f64, -0.25f64);
        let file = file(
            names,
            Transform::default(),
            &[[2.0, azimuth, elevation, 0.0]],
        );
        let (points, _) = read(&E57, &file).unwrap();
        let [x, y, z] = points[0];
        assert!((y.atan2(x) - azimuth).abs() < 1e-14);
        assert!((z - 2.0 * elevation.sin()).abs() < 1e-14);
        assert!((x.hypot(y).hypot(z) - 2.0).abs() < 1e-14);
    }

    #[test]
    fn more_than_a_batch_arrives_whole_and_a_cut_file_is_an_error() {
        let many: Vec<_> = (0..70_000).map(|n| [f64::from(n), 0.0, 0.0, 0.0]).collect();
        let file = file(cartesian(), Transform::default(), &many);
        let (points, _) = read(&E57, &file).unwrap();
        assert_eq!(points.len(), 70_000);
        assert!(points.iter().zip(&many).all(|(p, m)| p[0] == m[0]));
        assert!(error(&E57, &file[..file.len() - 100]).contains("cannot be decoded"));
        assert!(error(&E57, &file[..100_352]).contains("cannot be decoded"));
    }
}

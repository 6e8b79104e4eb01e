//! LAS 1.0 to 1.4, LAZ and COPC (which is LAZ with an index that is not needed here).
//!
//! In: point records of integers, scale and offset. Out: points in the file's unit; withheld points and noise left out.
//! Source: ASPRS LAS specification 1.4 R15, tables 3, 7 to 17 (layout, classification 7 "low point" and 18 "high
//! noise", the withheld flag). Coordinates are `integer * scale + offset` in f64, so that georeferenced surveys lose
//! nothing. Extended variable length records, waveforms, colour and time are not read.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::ops::RangeInclusive;

use las::raw::{Header, Vlr};

use crate::error::{Error, Place, Result, Warning};
use crate::survey::{Batch, Content, Format, LeftOut, Options, PointReader, Source, cloud, laz};

/// LAS without compression.
pub const LAS: Format = Format {
    name: "las",
    title: "LAS point cloud",
    recognises: |head| signed(head) && !compressed(head),
    open,
};

/// COPC. Stands before [`LAZ`], of which it is a special case.
pub const COPC: Format = Format {
    name: "copc",
    title: "COPC point cloud",
    recognises: |head| {
        signed(head) && compressed(head) && head.get(377..381).is_some_and(|id| id == b"copc")
    },
    open,
};

/// LAZ, compressed LAS.
pub const LAZ: Format = Format {
    name: "laz",
    title: "LAZ point cloud",
    recognises: |head| signed(head) && compressed(head),
    open,
};

fn signed(head: &[u8]) -> bool {
    head.starts_with(b"LASF")
}

/// LAZ marks itself in the topmost bit of the point format.
fn compressed(head: &[u8]) -> bool {
    head.get(104).is_some_and(|format| format & 0x80 != 0)
}

/// Scale factors that make sense: below is no instrument, above is no floor.
const SCALES: RangeInclusive<f64> = 1e-9..=1e3;

/// Shortest record of each point format 0 to 10, bytes.
const SHORTEST: [u16; 11] = [20, 28, 26, 34, 57, 63, 30, 36, 38, 59, 67];

/// Bytes of records held at a time, at most.
const BLOCK: u64 = 16 << 20;

/// Records looked at together: 100 kB or so.
const SOME: usize = 4096;

/// Bytes of a variable length record before its data.
const VLR_HEAD: u64 = 54;

fn open(source: &Source, options: &Options) -> Result<Content> {
    let mut file = source.buffered()?;
    let header = Header::read_from(&mut file).map_err(|error| {
        let found = format!("a LAS header that cannot be read ({error})");
        Error::input(source.place(), found, "a LAS header of version 1.0 to 1.4")
    })?;
    let layout = Layout::new(source, &header)?;
    let vlrs = variable_length_records(&mut file, &header);
    let mut warnings = Vec::new();
    if options.units.is_none() && vlrs.iter().any(in_feet) {
        warnings.push(Warning(format!(
            "{}: its coordinate system is in feet, but it was read as metres; say --units ft or --units usft",
            source.name()
        )));
    }
    let records = if header.point_data_record_format & 0x80 == 0 {
        let file = plain(source, &header, &layout)?;
        Records::Plain(file)
    } else {
        let items = vlrs.iter().find(|vlr| laz::is_description(vlr));
        let items = items.ok_or_else(|| {
            let found = "a compressed file without the record that describes its compression";
            Error::input(source.place(), found, "a LAZ file")
        })?;
        let start = u64::from(header.offset_to_point_data);
        Records::Compressed(laz::Chunks::open(
            source,
            start,
            &items.data,
            layout.shape(),
        )?)
    };
    let reader = Reader {
        name: source.name().to_owned(),
        layout,
        records,
        block: Vec::new(),
        at: 0,
        done: 0,
        left_out: LeftOut::default(),
        warnings,
    };
    Ok(cloud::content(Box::new(reader), None, options))
}

/// The file, positioned at the first record, if it is as long as its header says.
fn plain(source: &Source, header: &Header, layout: &Layout) -> Result<File> {
    let start = u64::from(header.offset_to_point_data);
    let there = source.size()?.saturating_sub(start) / layout.length as u64;
    if there < layout.count {
        let wanted = format!("{} records, as its header says", layout.count);
        let place = Place::record(source.name(), there + 1);
        return Err(Error::input(place, "the end of the file", wanted));
    }
    let mut file = source.open()?;
    file.seek(SeekFrom::Start(start))
        .map_err(|error| source.read_error(error))?;
    Ok(file)
}

/// Where things stand in a record, and how integers become coordinates.
struct Layout {
    count: u64,
    length: usize,
    scale: [f64; 3],
    offset: [f64; 3],
    /// Byte of the classification, the bits that are it, byte of the flags, the bit for withheld.
    class: (usize, u8),
    withheld: (usize, u8),
}

impl Layout {
    fn new(source: &Source, header: &Header) -> Result<Self> {
        let wrong = |found: String, wanted: &str| Error::input(source.place(), found, wanted);
        let format = header.point_data_record_format & 0x3f;
        let length = header.point_data_record_length;
        let shortest = SHORTEST.get(usize::from(format)).ok_or_else(|| {
            wrong(
                format!("point format {format}"),
                "a point format of 0 to 10",
            )
        })?;
        if length < *shortest {
            let found = format!("records of {length} bytes");
            return Err(wrong(found, &format!("at least {shortest} bytes")));
        }
        let h = header;
        let scale = [h.x_scale_factor, h.y_scale_factor, h.z_scale_factor];
        let offset = [h.x_offset, h.y_offset, h.z_offset];
        let usable = scale.iter().all(|s| SCALES.contains(&s.abs()));
        if !usable || !offset.iter().all(|o| o.is_finite()) {
            let found = format!("scale factors {scale:?} and offsets {offset:?}");
            return Err(wrong(found, "finite offsets, and scales of 1e-9 to 1000"));
        }
        let legacy = u64::from(header.number_of_point_records);
        let count = match (legacy, &header.large_file) {
            (0, Some(large)) => large.number_of_point_records,
            _ => legacy,
        };
        let early = format < 6;
        Ok(Self {
            count,
            length: usize::from(length),
            scale,
            offset,
            class: if early { (15, 0x1f) } else { (16, 0xff) },
            withheld: if early { (15, 0x80) } else { (15, 0x04) },
        })
    }

    fn shape(&self) -> laz::Shape {
        laz::Shape {
            count: self.count,
            length: self.length,
        }
    }

    /// Appends the points of whole records, some at a time, so that the second look at them finds them in the cache.
    fn decode(&self, records: &[u8], batch: &mut Batch, left_out: &mut LeftOut) {
        for records in records.chunks(SOME * self.length) {
            if records
                .chunks_exact(self.length)
                .any(|record| self.withheld(record) || self.noise(record))
            {
                self.decode_one_by_one(records, batch, left_out);
            } else {
                let Batch { x, y, z } = batch;
                x.extend(
                    records
                        .chunks_exact(self.length)
                        .map(|r| self.coordinate(r, 0)),
                );
                y.extend(
                    records
                        .chunks_exact(self.length)
                        .map(|r| self.coordinate(r, 1)),
                );
                z.extend(
                    records
                        .chunks_exact(self.length)
                        .map(|r| self.coordinate(r, 2)),
                );
            }
        }
    }

    fn decode_one_by_one(&self, records: &[u8], batch: &mut Batch, left_out: &mut LeftOut) {
        for record in records.chunks_exact(self.length) {
            if self.withheld(record) {
                left_out.withheld += 1;
            } else if self.noise(record) {
                left_out.noise += 1;
            } else {
                batch.push([0, 1, 2].map(|axis| self.coordinate(record, axis)));
            }
        }
    }

    fn withheld(&self, record: &[u8]) -> bool {
        let (byte, bit) = self.withheld;
        record[byte] & bit != 0
    }

    fn noise(&self, record: &[u8]) -> bool {
        let (byte, bits) = self.class;
        matches!(record[byte] & bits, 7 | 18)
    }

    /// A coordinate of a record; every record is at least 20 bytes long, as [`Self::new`] has seen to.
    fn coordinate(&self, record: &[u8], axis: usize) -> f64 {
        let at = 4 * axis;
        let bytes = [record[at], record[at + 1], record[at + 2], record[at + 3]];
        f64::from(i32::from_le_bytes(bytes)) * self.scale[axis] + self.offset[axis]
    }
}

/// Where records come from.
enum Records {
    Plain(File),
    Compressed(laz::Chunks),
}

struct Reader {
    name: String,
    layout: Layout,
    records: Records,
    /// Whole records, decoded from `at` onwards.
    block: Vec<u8>,
    at: usize,
    /// Records that have been in `block`.
    done: u64,
    left_out: LeftOut,
    warnings: Vec<Warning>,
}

impl Reader {
    fn next_block(&mut self) -> Result<()> {
        let left = self.layout.count - self.done;
        self.at = 0;
        match &mut self.records {
            Records::Plain(file) => {
                let length = self.layout.length;
                let records = left.min(cloud::BATCH as u64).min(BLOCK / length as u64);
                self.block.resize(records as usize * length, 0);
                file.read_exact(&mut self.block)
                    .map_err(|error| broken(&self.name, self.done, error))?;
            }
            Records::Compressed(chunks) => chunks.next(&mut self.block)?,
        }
        self.done += (self.block.len() / self.layout.length) as u64;
        Ok(())
    }
}

fn broken(name: &str, done: u64, source: io::Error) -> Error {
    if source.kind() == io::ErrorKind::UnexpectedEof {
        let place = Place::record(name, done + 1);
        return Error::input(place, "the end of the file", "more records");
    }
    Error::Read {
        file: name.to_owned(),
        source,
    }
}

impl PointReader for Reader {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        if self.at == self.block.len() {
            if self.done == self.layout.count {
                return Ok(false);
            }
            self.next_block()?;
        }
        let rest = self.block.get(self.at..).unwrap_or_default();
        let now = &rest[..rest.len().min(cloud::BATCH * self.layout.length)];
        self.layout.decode(now, batch, &mut self.left_out);
        self.at += now.len();
        Ok(true)
    }

    fn announced(&self) -> Option<u64> {
        Some(self.layout.count)
    }

    fn left_out(&self) -> LeftOut {
        self.left_out
    }

    fn warnings(&self) -> Vec<Warning> {
        self.warnings.clone()
    }
}

/// The variable length records, as many as there are before the points. A count that lies costs nothing: what they
/// say is only needed for compression and for a warning.
fn variable_length_records(file: &mut BufReader<File>, header: &Header) -> Vec<Vlr> {
    let mut left =
        u64::from(header.offset_to_point_data).saturating_sub(u64::from(header.header_size));
    let mut vlrs = Vec::new();
    for _ in 0..header.number_of_variable_length_records {
        let Ok(vlr) = Vlr::read_from(&mut *file, false) else {
            break;
        };
        let length = VLR_HEAD + vlr.data.len() as u64;
        if length > left {
            break;
        }
        left -= length;
        vlrs.push(vlr);
    }
    vlrs
}

/// Whether a coordinate system is given in feet: the GeoTIFF keys for the unit of the plan (3076) and of heights
/// (4099) with the EPSG codes 9002 (foot) and 9003 (US survey foot), or a well-known text that names the foot.
fn in_feet(vlr: &Vlr) -> bool {
    if !vlr.user_id.starts_with(b"LASF_Projection") {
        return false;
    }
    match vlr.record_id {
        34735 => vlr.data.chunks_exact(8).skip(1).any(|key| {
            let word = |at: usize| u16::from_le_bytes([key[at], key[at + 1]]);
            matches!(word(0), 3076 | 4099) && matches!(word(6), 9002 | 9003)
        }),
        2112 => {
            let text = String::from_utf8_lossy(&vlr.data).to_lowercase();
            text.contains("unit[\"foot") || text.contains("unit[\"us survey foot")
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A LAS 1.2 file of point format 0 with the given records: x, y, z, classification byte.
    fn file(records: &[([i32; 3], u8)], count: u32) -> tempfile::NamedTempFile {
        let mut header = Header {
            number_of_point_records: count,
            point_data_record_length: 20,
            x_scale_factor: 0.001,
            y_scale_factor: 0.001,
            z_scale_factor: 0.0001,
            x_offset: 650_000.0,
            y_offset: 5_300_000.0,
            ..Header::default()
        };
        header.version = las::Version::new(1, 2);
        let mut file = tempfile::NamedTempFile::new().unwrap();
        header.write_to(&mut file).unwrap();
        for (position, class) in records {
            let mut record = [0; 20];
            for (bytes, c) in record.chunks_exact_mut(4).zip(position) {
                bytes.copy_from_slice(&c.to_le_bytes());
            }
            record[15] = *class;
            std::io::Write::write_all(&mut file, &record).unwrap();
        }
        file
    }

    fn reader(file: &tempfile::NamedTempFile) -> Result<Box<dyn PointReader>> {
        let source = Source::new(file.path().to_str().unwrap())?;
        match open(&source, &Options::default())? {
            Content::Points(reader) => Ok(reader),
            Content::Readings(_) | Content::Lines(_) | Content::Edges(_) => panic!("points"),
        }
    }

    #[test]
    fn georeferenced_points_keep_every_digit_and_noise_is_left_out() {
        let file = file(
            &[
                ([123_456, 7, -12_345], 2),
                ([1, 1, 1], 7),
                ([2, 2, 2], 18),
                ([3, 3, 3], 2 | 0x80),
                ([4, 4, 4], 2 | 0x20),
            ],
            5,
        );
        let mut reader = reader(&file).unwrap();
        let mut batch = Batch::default();
        assert!(reader.next_batch(&mut batch).unwrap());
        let first = batch.points().next().unwrap();
        assert_eq!(first, [650_123.456, 5_300_000.007, -12_345.0 * 0.0001]);
        assert_eq!(batch.len(), 2);
        let left_out = reader.left_out();
        assert_eq!((left_out.noise, left_out.withheld), (2, 1));
        assert!(!reader.next_batch(&mut batch).unwrap());
    }

    #[test]
    fn a_count_beyond_the_file_is_an_error_that_names_the_record() {
        let file = file(&[([1, 1, 1], 2)], u32::MAX);
        let error = reader(&file).err().unwrap().to_string();
        assert!(
            error.contains("record 2: found the end of the file"),
            "{error}"
        );
    }
}

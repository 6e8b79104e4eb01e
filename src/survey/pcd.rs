//! PCD 0.5 to 0.7: a header in words, then points as text, as binary records, or compressed column by column.
//!
//! In: any fields, among them x, y and z. Out: points in the file's unit. The viewpoint is where the instrument stood;
//! points are not moved by it.
//! Source: Point Cloud Library, "The PCD (Point Cloud Data) file format". A compressed file is one block that has to be
//! unpacked as a whole, so its memory grows with it; what it announces is held against its length first.

use crate::error::{Error, Place, Result};
use crate::survey::lines::{self, Lines};
use crate::survey::pcd_header::{Encoding, Field, Header};
use crate::survey::{Batch, Content, Format, LeftOut, Options, PointReader, Source, cloud, lzf};

/// PCD.
pub const PCD: Format = Format {
    name: "pcd",
    title: "PCD point cloud",
    recognises,
    open,
};

fn recognises(head: &[u8]) -> bool {
    let mut filled = head
        .split(|&b| b == b'\n')
        .map(<[u8]>::trim_ascii)
        .filter(|line| !line.is_empty() && !line.starts_with(b"#"));
    head.starts_with(b"# .PCD") || filled.next().is_some_and(|l| l.starts_with(b"VERSION "))
}

/// Bytes of binary points read at a time, at most.
const BLOCK: usize = 16 << 20;

fn open(source: &Source, options: &Options) -> Result<Content> {
    let mut lines = Lines::open(source)?;
    let header = Header::read(&mut lines)?;
    let data = match header.encoding {
        Encoding::Text => Data::Text,
        Encoding::Binary => Data::Records,
        Encoding::Compressed => Data::Columns(unpack(source, &mut lines, &header)?),
    };
    let reader = Reader {
        name: source.name().to_owned(),
        lines,
        left: header.points,
        header,
        data,
        left_out: LeftOut::default(),
    };
    Ok(cloud::content(Box::new(reader), None, options))
}

/// The whole of a compressed file: its fields one after the other, each for all points.
fn unpack(source: &Source, lines: &mut Lines, header: &Header) -> Result<Vec<u8>> {
    let wrong = |found: String, wanted: String| Error::input(source.place(), found, wanted);
    let &[a, b, c, d, e, f, g, h] = lines.bytes(8)? else {
        let wanted = "the sizes of the compressed points".to_owned();
        return Err(wrong("the end of the file".to_owned(), wanted));
    };
    let packed = u32::from_le_bytes([a, b, c, d]) as usize;
    let unpacked = u32::from_le_bytes([e, f, g, h]) as usize;
    let announced = header.points.saturating_mul(header.stride as u64);
    if unpacked as u64 != announced {
        let wanted = format!("{announced}, as its header says");
        return Err(wrong(format!("{unpacked} bytes of points"), wanted));
    }
    if packed as u64 > source.size()? || unpacked > lzf::most(packed) {
        let found = format!("{packed} compressed bytes of {unpacked}");
        return Err(wrong(found, "no more than the file can hold".to_owned()));
    }
    let bytes = lines.bytes(packed)?;
    let data = lzf::unpack(bytes, unpacked).filter(|data| data.len() == unpacked);
    data.ok_or_else(|| {
        let found = "compressed points that are cut short or damaged".to_owned();
        wrong(found, format!("{unpacked} bytes of points"))
    })
}

enum Data {
    Text,
    Records,
    Columns(Vec<u8>),
}

struct Reader {
    name: String,
    lines: Lines,
    header: Header,
    data: Data,
    /// Points still to come.
    left: u64,
    left_out: LeftOut,
}

impl Reader {
    /// Number of points read so far.
    fn done(&self) -> u64 {
        self.header.points - self.left
    }

    fn records(&mut self, count: usize, batch: &mut Batch) -> Result<()> {
        let Header { stride, fields, .. } = &self.header;
        let done = self.done();
        let records = self.lines.bytes(count * stride)?;
        let there = records.len() / stride;
        if there < count {
            let place = Place::record(&self.name, done + there as u64 + 1);
            let wanted = format!("{} points, as its header says", self.header.points);
            return Err(Error::input(place, "the end of the file", wanted));
        }
        for (field, out) in fields
            .iter()
            .zip([&mut batch.x, &mut batch.y, &mut batch.z])
        {
            let data = records.get(field.offset..).unwrap_or_default();
            field.scalar.column(data, *stride, false, out);
        }
        Ok(())
    }

    fn text(&mut self, batch: &mut Batch) -> Result<()> {
        let Some(line) = self.lines.next_filled()? else {
            let wanted = format!("{} points, as its header says", self.header.points);
            return Err(self.lines.wrong("the end of the file", wanted));
        };
        let Some(point) = on_line(line, &self.header) else {
            let found = lines::shown(line);
            let wanted = format!("{} numbers", self.header.parts);
            return Err(self.lines.wrong(found, wanted));
        };
        cloud::push(batch, &mut self.left_out, point);
        Ok(())
    }
}

/// The point on a line of text, if nothing on the line is missing.
fn on_line(line: &[u8], header: &Header) -> Option<[f64; 3]> {
    let mut point = [f64::NAN; 3];
    let mut parts = 0;
    for (index, part) in lines::parts(line).enumerate() {
        parts += 1;
        if let Some(axis) = header.fields.iter().position(|f| f.part == index) {
            point[axis] = lines::number(part)?;
        }
    }
    (parts >= header.parts).then_some(point)
}

/// The next points of the unpacked columns; there are as many.
fn columns(data: &[u8], header: &Header, done: u64, count: usize, batch: &mut Batch) {
    let outs = [&mut batch.x, &mut batch.y, &mut batch.z];
    for (Field { scalar, offset, .. }, out) in header.fields.iter().zip(outs) {
        let size = scalar.size();
        let start = offset * header.points as usize + done as usize * size;
        let column = data.get(start..start + count * size).unwrap_or_default();
        scalar.column(column, size, false, out);
    }
}

impl PointReader for Reader {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        if self.left == 0 {
            return Ok(false);
        }
        let most = (BLOCK / self.header.stride).clamp(1, cloud::BATCH) as u64;
        let count = self.left.min(most) as usize;
        match &self.data {
            Data::Text => (0..count).try_for_each(|_| self.text(batch))?,
            Data::Records => self.records(count, batch)?,
            Data::Columns(data) => columns(data, &self.header, self.done(), count, batch),
        }
        self.left -= count as u64;
        cloud::drop_invalid(batch, &mut self.left_out);
        Ok(true)
    }

    fn announced(&self) -> Option<u64> {
        Some(self.header.points)
    }

    fn left_out(&self) -> LeftOut {
        self.left_out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::cloud::testing::{error, points, read};

    fn head(points: u64, data: &str) -> Vec<u8> {
        format!(
            "# .PCD v.7\nVERSION .7\nFIELDS i x _ z y\nSIZE 1 4 2 8 4\nTYPE U F U F I\nCOUNT 2 1 1 1 1\n\
             WIDTH {points}\nHEIGHT 1\nPOINTS {points}\nDATA {data}\n"
        )
        .into_bytes()
    }

    fn record(x: f32, y: i32, z: f64) -> Vec<u8> {
        let (x, y, z) = (x.to_le_bytes(), y.to_le_bytes(), z.to_le_bytes());
        [&[7, 7][..], &x, &[0, 0], &z, &y].concat()
    }

    #[test]
    fn text_and_binary() {
        let text = [
            head(2, "ascii"),
            b"7 7 1.5 0 3.25 -2\n7 7 nan 0 nan 0\n".to_vec(),
        ]
        .concat();
        let (points, left_out) = read(&PCD, &text).unwrap();
        assert_eq!(
            (points.as_slice(), left_out.invalid),
            (&[[1.5, -2.0, 3.25]][..], 1)
        );
        let records = [record(1.5, -2, 3.25), record(4.0, 5, 6.0)].concat();
        let binary = [head(2, "binary"), records].concat();
        let expected = [[1.5, -2.0, 3.25], [4.0, 5.0, 6.0]];
        assert_eq!(super::tests::points(&PCD, &binary), expected);
        assert!(error(&PCD, &binary[..binary.len() - 1]).contains("record 2: found the end"));
    }

    /// Literal runs only: control byte `length - 1`, then the bytes.
    #[test]
    fn compressed_columns() {
        let (a, b) = (record(1.5, -2, 3.25), record(4.0, 5, 6.0));
        let columns = [0..2, 2..6, 6..8, 8..16, 16..20];
        let plain: Vec<u8> = columns
            .into_iter()
            .flat_map(|c| [a[c.clone()].to_vec(), b[c].to_vec()].concat())
            .collect();
        let mut packed = Vec::new();
        for run in plain.chunks(32) {
            packed.push(run.len() as u8 - 1);
            packed.extend(run);
        }
        let sizes = [packed.len() as u32, plain.len() as u32]
            .map(u32::to_le_bytes)
            .concat();
        let file = [head(2, "binary_compressed"), sizes, packed].concat();
        assert_eq!(points(&PCD, &file), [[1.5, -2.0, 3.25], [4.0, 5.0, 6.0]]);
        assert!(error(&PCD, &file[..file.len() - 1]).contains("cut short"));
    }

    #[test]
    fn damaged_headers_do_not_allocate() {
        let huge = [head(u64::MAX, "binary"), vec![0; 50]].concat();
        assert!(error(&PCD, &huge).contains("record 3: found the end"));
        let sizes = [u32::MAX, u32::MAX].map(u32::to_le_bytes).concat();
        assert!(error(&PCD, &[head(1, "binary_compressed"), sizes].concat()).contains("found"));
        let sizes = [4u32, 20].map(u32::to_le_bytes).concat();
        let packed = vec![0xe0, 0xff, 0xff, 0xff];
        assert!(
            error(
                &PCD,
                &[head(1, "binary_compressed"), sizes, packed].concat()
            )
            .contains("damaged")
        );
        assert!(error(&PCD, b"VERSION .4\n").contains("line 1"));
    }
}

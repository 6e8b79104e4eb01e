//! PLY: a header in words, then elements as text or binary in either byte order. The points are the element `vertex`.
//!
//! In: any order and type of properties, lists among them, elements before the points. Out: x, y, z in the file's
//! unit. Faces and whatever else follows the points are not read.
//! Source: Greg Turk, "The PLY polygon file format", 1994 (from memory).

use crate::error::{Error, Place, Result};
use crate::survey::lines::{self, Lines};
use crate::survey::ply_header::{Element, Encoding, Header, Kind};
use crate::survey::{Batch, Content, Format, LeftOut, Options, PointReader, Source, cloud};

/// PLY.
pub const PLY: Format = Format {
    name: "ply",
    title: "PLY point cloud",
    recognises: |head| matches!(head, [b'p', b'l', b'y', b'\n' | b'\r' | b' ', ..]),
    open,
};

/// Bytes of binary points read at a time, at most.
const BLOCK: usize = 16 << 20;

fn open(source: &Source, options: &Options) -> Result<Content> {
    let mut lines = Lines::open(source)?;
    let header = Header::read(&mut lines)?;
    let mut data = Data {
        name: source.name().to_owned(),
        lines,
        encoding: header.encoding,
    };
    for element in &header.before {
        data.skip(element)?;
    }
    let reader = Reader {
        data,
        columns: header.columns,
        left: header.points.count,
        points: header.points,
        left_out: LeftOut::default(),
    };
    Ok(cloud::content(Box::new(reader), None, options))
}

/// What follows the header.
struct Data {
    name: String,
    lines: Lines,
    encoding: Encoding,
}

impl Data {
    fn big(&self) -> bool {
        self.encoding == Encoding::Big
    }

    /// Exactly `length` bytes, of record `number` of its element.
    fn bytes(&mut self, length: usize, number: u64) -> Result<&[u8]> {
        let bytes = self.lines.bytes(length)?;
        if bytes.len() < length {
            return Err(cut(&self.name, number));
        }
        Ok(bytes)
    }

    /// The next line that is not empty, of record `number` of its element.
    fn line(&mut self, number: u64) -> Result<&[u8]> {
        let line = self.lines.next_filled()?;
        line.ok_or_else(|| cut(&self.name, number))
    }

    fn skip(&mut self, element: &Element) -> Result<()> {
        match (self.encoding, element.stride()) {
            (_, Some(0)) => Ok(()),
            (Encoding::Text, _) => (0..element.count).try_for_each(|n| self.line(n + 1).map(drop)),
            (_, Some(stride)) => {
                let mut left = element.count.saturating_mul(stride as u64);
                while left > 0 {
                    let some = left.min(1 << 20);
                    self.bytes(some as usize, 1)?;
                    left -= some;
                }
                Ok(())
            }
            (_, None) => (0..element.count).try_for_each(|n| self.row(element, n + 1, |_, _| {})),
        }
    }

    /// Walks through one binary row; `value` gets the index of each property that is no list, and its number.
    fn row(
        &mut self,
        element: &Element,
        number: u64,
        mut value: impl FnMut(usize, f64),
    ) -> Result<()> {
        let big = self.big();
        for (index, property) in element.properties.iter().enumerate() {
            match property.kind {
                Kind::One(scalar) => {
                    let bytes = self.bytes(scalar.size(), number)?;
                    value(index, scalar.value(bytes, big));
                }
                Kind::List { count, item } => {
                    let bytes = self.bytes(count.size(), number)?;
                    let items = count.value(bytes, big) as u64;
                    let mut left = items.saturating_mul(item.size() as u64);
                    while left > 0 {
                        let some = left.min(1 << 20);
                        self.bytes(some as usize, number)?;
                        left -= some;
                    }
                }
            }
        }
        Ok(())
    }
}

fn cut(name: &str, number: u64) -> Error {
    let place = Place::record(name, number);
    Error::input(place, "the end of the file", "as much as its header says")
}

struct Reader {
    data: Data,
    points: Element,
    /// Which properties are x, y and z.
    columns: [usize; 3],
    /// Points still to come.
    left: u64,
    left_out: LeftOut,
}

impl Reader {
    /// Number of the next point, from 1.
    fn number(&self) -> u64 {
        self.points.count - self.left + 1
    }

    /// Points of one length each, decoded column by column.
    fn binary(&mut self, stride: usize, batch: &mut Batch) -> Result<()> {
        let big = self.data.big();
        let most = (BLOCK / stride).clamp(1, cloud::BATCH) as u64;
        let count = self.left.min(most) as usize;
        let number = self.number();
        let records = self.data.lines.bytes(count * stride)?;
        let there = records.len() / stride;
        if there < count {
            return Err(cut(&self.data.name, number + there as u64));
        }
        for (column, out) in self
            .columns
            .iter()
            .zip([&mut batch.x, &mut batch.y, &mut batch.z])
        {
            let (offset, scalar) = self.points.position(*column);
            scalar.column(records.get(offset..).unwrap_or_default(), stride, big, out);
        }
        self.left -= count as u64;
        cloud::drop_invalid(batch, &mut self.left_out);
        Ok(())
    }

    /// A point among lists.
    fn listed(&mut self) -> Result<[f64; 3]> {
        let mut point = [f64::NAN; 3];
        let columns = self.columns;
        self.data.row(&self.points, self.number(), |index, value| {
            if let Some(axis) = columns.iter().position(|&c| c == index) {
                point[axis] = value;
            }
        })?;
        Ok(point)
    }

    /// A point on a line of text.
    fn text(&mut self) -> Result<[f64; 3]> {
        let line = self.data.line(self.points.count - self.left + 1)?;
        if let Some(point) = on_line(line, &self.points, self.columns) {
            return Ok(point);
        }
        let found = lines::shown(line);
        let wanted = format!("{} numbers", self.points.properties.len());
        Err(self.data.lines.wrong(found, wanted))
    }
}

/// The point on a line of text, if nothing on the line is missing.
fn on_line(line: &[u8], element: &Element, columns: [usize; 3]) -> Option<[f64; 3]> {
    let mut point = [f64::NAN; 3];
    let mut parts = lines::parts(line);
    for (index, property) in element.properties.iter().enumerate() {
        let value = lines::number(parts.next()?)?;
        match property.kind {
            Kind::One(_) => {
                if let Some(axis) = columns.iter().position(|&c| c == index) {
                    point[axis] = value;
                }
            }
            Kind::List { .. } => {
                if let Some(last) = (value as usize).checked_sub(1) {
                    parts.nth(last)?;
                }
            }
        }
    }
    Some(point)
}

impl PointReader for Reader {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        if self.left == 0 {
            return Ok(false);
        }
        let binary = self.data.encoding != Encoding::Text;
        if binary && let Some(stride) = self.points.stride() {
            self.binary(stride, batch)?;
            return Ok(true);
        }
        for _ in 0..self.left.min(cloud::BATCH as u64) {
            let point = if binary { self.listed()? } else { self.text()? };
            cloud::push(batch, &mut self.left_out, point);
            self.left -= 1;
        }
        Ok(true)
    }

    fn announced(&self) -> Option<u64> {
        Some(self.points.count)
    }

    fn left_out(&self) -> LeftOut {
        self.left_out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::cloud::testing::{error, points, read};

    const TEXT: &[u8] = b"ply\nformat ascii 1.0\ncomment made by hand\nelement camera 1\nproperty float x\n\
        element vertex 2\nproperty list uchar int faces\nproperty double z\nproperty float x\nproperty uchar red\n\
        property short y\nend_header\n0.5\n2 8 9 3 1 255 2\n0 6.25 4 0 -5\n";

    #[test]
    fn text_with_lists_and_elements_before_the_points() {
        assert_eq!(points(&PLY, TEXT), [[1.0, 2.0, 3.0], [4.0, -5.0, 6.25]]);
    }

    #[test]
    fn binary_in_both_byte_orders() {
        for (order, big) in [("little", false), ("big", true)] {
            let head = format!(
                "ply\nformat binary_{order}_endian 1.0\nelement face 1\nproperty list uchar short i\nelement vertex 2\n\
                 property float x\nproperty uchar red\nproperty double y\nproperty int z\nend_header\n"
            );
            let mut file = head.into_bytes();
            file.extend([2, 0, 0, 0, 0]);
            for [x, y, z] in [[1.5, -2.25, 3.0], [f64::NAN, 0.0, 0.0]] {
                let (x, z) = (x as f32, z as i32);
                file.extend(if big {
                    x.to_be_bytes()
                } else {
                    x.to_le_bytes()
                });
                file.push(255);
                file.extend(if big {
                    y.to_be_bytes()
                } else {
                    y.to_le_bytes()
                });
                file.extend(if big {
                    z.to_be_bytes()
                } else {
                    z.to_le_bytes()
                });
            }
            let (points, left_out) = read(&PLY, &file).unwrap();
            assert_eq!(
                (points.as_slice(), left_out.invalid),
                (&[[1.5, -2.25, 3.0]][..], 1)
            );
            file.pop();
            assert!(error(&PLY, &file).contains("record 2: found the end of the file"));
        }
    }

    #[test]
    fn damaged_headers_are_errors() {
        let bad = |text: &str| error(&PLY, text.as_bytes());
        assert!(bad("ply\nformat ascii 1.0\nend_header\n").contains("wanted an element 'vertex'"));
        assert!(bad("ply\nformat ascii 2.0\nend_header\n").contains("line 2"));
        assert!(bad("ply\nformat ascii 1.0\nelement vertex -1\n").contains("line 3"));
        assert!(
            bad("ply\nformat ascii 1.0\nelement vertex 1\nproperty real x\n").contains("line 4")
        );
        let endless = "ply\nformat ascii 1.0\nelement vertex 99999999999999\nproperty float x\nproperty float y\n\
            property float z\nend_header\n1 2 3\n";
        assert!(bad(endless).contains("record 2: found the end of the file"));
    }
}

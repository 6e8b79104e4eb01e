//! The header of a PCD file: which fields a point consists of, how many points there are, how they are written.

use crate::error::Result;
use crate::survey::lines::{self, Lines};
use crate::survey::scalar::Scalar;

/// Fields, and values in a field, at most: no real file comes near.
const MOST: u64 = 10_000;

/// How the points are written.
#[derive(Debug, Clone, Copy)]
pub enum Encoding {
    /// A point a line.
    Text,
    /// Records.
    Binary,
    /// One compressed block, field by field.
    Compressed,
}

/// A coordinate.
#[derive(Debug, Clone, Copy)]
pub struct Field {
    /// Its type.
    pub scalar: Scalar,
    /// Byte of a record at which it begins.
    pub offset: usize,
    /// Which number of a line it is, from 0.
    pub part: usize,
}

/// The header, as far as the points need it.
#[derive(Debug)]
pub struct Header {
    /// How the points are written.
    pub encoding: Encoding,
    /// Number of points.
    pub points: u64,
    /// Bytes in a record.
    pub stride: usize,
    /// Numbers on a line.
    pub parts: usize,
    /// x, y and z.
    pub fields: [Field; 3],
}

/// Words of the lines that matter.
#[derive(Default)]
struct Words {
    fields: Vec<Vec<u8>>,
    size: Vec<Vec<u8>>,
    kind: Vec<Vec<u8>>,
    count: Vec<Vec<u8>>,
    width: Option<u64>,
    height: Option<u64>,
    points: Option<u64>,
}

impl Header {
    /// Reads lines up to the one that begins with `DATA`.
    ///
    /// # Errors
    /// [`crate::error::Error::Input`] with the line; [`crate::error::Error::Read`].
    pub fn read(lines: &mut Lines) -> Result<Self> {
        let mut words = Words::default();
        let encoding = loop {
            let Some(line) = lines.next_filled()? else {
                return Err(lines.wrong("the end of the file", "a PCD header up to 'DATA'"));
            };
            let all: Vec<&[u8]> = lines::parts(line).collect();
            let Some((key, rest)) = all.split_first() else {
                continue;
            };
            match *key {
                b"DATA" => {
                    let encoding = encoding(rest);
                    let wanted = "DATA ascii, binary or binary_compressed";
                    break encoding.ok_or_else(|| lines.wrong("another encoding", wanted))?;
                }
                b"VERSION"
                    if !matches!(rest, [b".5" | b".6" | b".7" | b"0.5" | b"0.6" | b"0.7"]) =>
                {
                    let found = lines::shown(line);
                    return Err(lines.wrong(found, "PCD version 0.5 to 0.7"));
                }
                _ => words.take(key, rest),
            }
        };
        let points = words.points();
        let points = points.ok_or_else(|| {
            lines.wrong("no number of points", "lines 'WIDTH', 'HEIGHT' or 'POINTS'")
        })?;
        Self::of(encoding, points, &words).ok_or_else(|| {
            let wanted = "fields x, y and z, each a single number of a known size and type";
            lines.wrong("a header without usable points", wanted)
        })
    }

    fn of(encoding: Encoding, points: u64, words: &Words) -> Option<Self> {
        let mut found: [Option<Field>; 3] = [None; 3];
        let (mut offset, mut part) = (0usize, 0usize);
        for (index, name) in words.fields.iter().enumerate() {
            let size = lines::count(words.size.get(index)?)?;
            let count = match words.count.get(index) {
                Some(count) => lines::count(count)?,
                None => 1,
            };
            if size > 8 || count > MOST || index as u64 > MOST {
                return None;
            }
            if let Some(axis) = [b"x", b"y", b"z"].iter().position(|axis| name == *axis) {
                let scalar = scalar(words.kind.get(index)?, size)?;
                let field = Field {
                    scalar,
                    offset,
                    part,
                };
                found[axis] = (count == 1).then_some(field);
            }
            offset += (size * count) as usize;
            part += count as usize;
        }
        let [x, y, z] = found;
        Some(Self {
            encoding,
            points,
            stride: offset,
            parts: part,
            fields: [x?, y?, z?],
        })
    }
}

impl Words {
    fn take(&mut self, key: &[u8], rest: &[&[u8]]) {
        let owned = || rest.iter().map(|word| word.to_vec()).collect();
        let number = || rest.first().and_then(|word| lines::count(word));
        match key {
            b"FIELDS" | b"COLUMNS" => self.fields = owned(),
            b"SIZE" => self.size = owned(),
            b"TYPE" => self.kind = owned(),
            b"COUNT" => self.count = owned(),
            b"WIDTH" => self.width = number(),
            b"HEIGHT" => self.height = number(),
            b"POINTS" => self.points = number(),
            _ => {}
        }
    }

    fn points(&self) -> Option<u64> {
        self.points
            .or_else(|| self.width?.checked_mul(self.height.unwrap_or(1)))
    }
}

fn encoding(words: &[&[u8]]) -> Option<Encoding> {
    match words {
        [b"ascii"] => Some(Encoding::Text),
        [b"binary"] => Some(Encoding::Binary),
        [b"binary_compressed"] => Some(Encoding::Compressed),
        _ => None,
    }
}

fn scalar(kind: &[u8], size: u64) -> Option<Scalar> {
    Some(match (kind, size) {
        (b"I", 1) => Scalar::I8,
        (b"I", 2) => Scalar::I16,
        (b"I", 4) => Scalar::I32,
        (b"I", 8) => Scalar::I64,
        (b"U", 1) => Scalar::U8,
        (b"U", 2) => Scalar::U16,
        (b"U", 4) => Scalar::U32,
        (b"U", 8) => Scalar::U64,
        (b"F", 4) => Scalar::F32,
        (b"F", 8) => Scalar::F64,
        _ => return None,
    })
}

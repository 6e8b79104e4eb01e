//! The header of a PLY file: which elements there are, and which numbers they consist of.

use crate::error::Result;
use crate::survey::lines::{self, Lines};
use crate::survey::scalar::Scalar;

/// Properties in all, at most: no real file comes near.
const MOST: usize = 10_000;

/// How the elements are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// As text.
    Text,
    /// Binary, least significant byte first.
    Little,
    /// Binary, most significant byte first.
    Big,
}

/// What a property is.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// One number.
    One(Scalar),
    /// A number of items, then the items.
    List {
        /// Type of the number of items.
        count: Scalar,
        /// Type of an item.
        item: Scalar,
    },
}

/// A named number or list.
#[derive(Debug)]
pub struct Property {
    /// As the header calls it.
    pub name: Vec<u8>,
    /// One number or a list.
    pub kind: Kind,
}

/// Rows of the same properties.
#[derive(Debug)]
pub struct Element {
    name: Vec<u8>,
    /// Number of rows.
    pub count: u64,
    /// In the order of the file.
    pub properties: Vec<Property>,
}

impl Element {
    /// Bytes of a binary row, if all rows are of one length.
    pub fn stride(&self) -> Option<usize> {
        let size = |property: &Property| match property.kind {
            Kind::One(scalar) => Some(scalar.size()),
            Kind::List { .. } => None,
        };
        self.properties.iter().map(size).sum()
    }

    /// Where property `index` begins in a binary row without lists, and its type.
    pub fn position(&self, index: usize) -> (usize, Scalar) {
        let mut offset = 0;
        for (at, property) in self.properties.iter().enumerate() {
            if let Kind::One(scalar) = property.kind {
                if at == index {
                    return (offset, scalar);
                }
                offset += scalar.size();
            }
        }
        (offset, Scalar::U8)
    }
}

/// The header, as far as the points need it.
#[derive(Debug)]
pub struct Header {
    /// How the elements are written.
    pub encoding: Encoding,
    /// Elements that stand before the points.
    pub before: Vec<Element>,
    /// The points.
    pub points: Element,
    /// Which properties of the points are x, y and z.
    pub columns: [usize; 3],
}

impl Header {
    /// Reads lines up to `end_header`.
    ///
    /// # Errors
    /// [`crate::error::Error::Input`] with the line; [`crate::error::Error::Read`].
    pub fn read(lines: &mut Lines) -> Result<Self> {
        let mut encoding = None;
        let mut elements: Vec<Element> = Vec::new();
        let mut properties = 0;
        loop {
            let Some(line) = lines.next()? else {
                return Err(lines.wrong("the end of the file", "the line 'end_header'"));
            };
            let words: Vec<&[u8]> = lines::parts(line).collect();
            let known = match words.as_slice() {
                [b"ply"] | [b"comment" | b"obj_info", ..] | [] => true,
                [b"end_header"] => break,
                [b"format", name, b"1.0"] => {
                    encoding = match *name {
                        b"ascii" => Some(Encoding::Text),
                        b"binary_little_endian" => Some(Encoding::Little),
                        b"binary_big_endian" => Some(Encoding::Big),
                        _ => None,
                    };
                    encoding.is_some()
                }
                [b"element", name, count] => lines::count(count)
                    .map(|count| elements.push(element(name, count)))
                    .is_some(),
                [b"property", words @ ..] => {
                    properties += 1;
                    let property = property(words).filter(|_| properties <= MOST);
                    match (property, elements.last_mut()) {
                        (Some(property), Some(element)) => {
                            element.properties.push(property);
                            true
                        }
                        _ => false,
                    }
                }
                _ => false,
            };
            if !known {
                let found = lines::shown(line);
                return Err(lines.wrong(found, "a line of a PLY 1.0 header"));
            }
        }
        let encoding = encoding
            .ok_or_else(|| lines.wrong("no line 'format'", "ascii or binary, version 1.0"))?;
        Self::of(encoding, elements)
            .ok_or_else(|| lines.wrong("no points", "an element 'vertex' with x, y and z"))
    }

    fn of(encoding: Encoding, mut elements: Vec<Element>) -> Option<Self> {
        let at = elements.iter().position(|e| e.name == b"vertex")?;
        elements.truncate(at + 1);
        let points = elements.pop()?;
        let column = |name: &[u8]| {
            let is = |p: &Property| p.name == name && matches!(p.kind, Kind::One(_));
            points.properties.iter().position(is)
        };
        let columns = [column(b"x")?, column(b"y")?, column(b"z")?];
        Some(Self {
            encoding,
            before: elements,
            points,
            columns,
        })
    }
}

fn element(name: &[u8], count: u64) -> Element {
    Element {
        name: name.to_owned(),
        count,
        properties: Vec::new(),
    }
}

fn property(words: &[&[u8]]) -> Option<Property> {
    let (name, kind) = match words {
        [b"list", count, item, name] => {
            let (count, item) = (scalar(count)?, scalar(item)?);
            (name, Kind::List { count, item })
        }
        [kind, name] => (name, Kind::One(scalar(kind)?)),
        _ => return None,
    };
    Some(Property {
        name: name.to_vec(),
        kind,
    })
}

/// The scalar types by their two names each.
fn scalar(name: &[u8]) -> Option<Scalar> {
    Some(match name {
        b"char" | b"int8" => Scalar::I8,
        b"uchar" | b"uint8" => Scalar::U8,
        b"short" | b"int16" => Scalar::I16,
        b"ushort" | b"uint16" => Scalar::U16,
        b"int" | b"int32" => Scalar::I32,
        b"uint" | b"uint32" => Scalar::U32,
        b"float" | b"float32" => Scalar::F32,
        b"double" | b"float64" => Scalar::F64,
        _ => return None,
    })
}

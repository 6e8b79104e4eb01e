//! The compressed records of LAZ, chunk by chunk, several chunks at a time on all cores.
//!
//! In: the description of the compression and where the chunks are. Out: whole LAS records of which x, y, z, the
//! classification and the flags are filled in (newer point formats leave the rest undecoded).
//! Every count is held against the length of the file before the decoder sees it, because a forged one would make it
//! ask for more memory than there is. A file that is not cut into chunks is decoded record by record.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};

use las::raw::Vlr;
use laz::laszip::{ChunkTable, ChunkTableEntry};
use laz::{DecompressionSelection, LasZipDecompressor, LasZipError, LazVlr};

use crate::error::{Error, Place, Result};
use crate::survey::contain::{contain, on_decoding_threads};
use crate::survey::{Source, cloud};

/// Bytes of records decoded at a time, about, and at least one chunk.
const BLOCK: u64 = 16 << 20;

/// Bytes of records in one chunk, at most: chunks of 50,000 points are usual, which is less than 4 MB.
const LARGEST: u64 = 512 << 20;

/// Bytes before the first chunk: where the table of chunks is.
const OFFSET: u64 = 8;

/// How the description names records that are not cut into chunks, the first version of LAZ.
const UNCHUNKED: u8 = 1;

/// Whether `vlr` describes the compression.
pub fn is_description(vlr: &Vlr) -> bool {
    vlr.user_id.starts_with(LazVlr::USER_ID.as_bytes()) && vlr.record_id == LazVlr::RECORD_ID
}

/// How many records there are and how long each is, bytes.
#[derive(Clone, Copy)]
pub struct Shape {
    /// Records in the file.
    pub count: u64,
    /// Bytes in a record.
    pub length: usize,
}

/// The chunks of a file, in their order.
pub struct Chunks {
    name: String,
    shape: Shape,
    /// Records decoded so far.
    done: u64,
    way: Way,
}

/// How records are decoded.
enum Way {
    /// Many chunks at once.
    Parallel {
        file: File,
        description: Box<LazVlr>,
        /// Layers of a chunk, where its records are stored in layers.
        layers: Option<u64>,
        /// What is still to be decoded, next one last.
        chunks: Vec<ChunkTableEntry>,
        compressed: Vec<u8>,
    },
    /// One record after the other.
    OneByOne(Box<LasZipDecompressor<'static, BufReader<File>>>),
}

fn selection() -> DecompressionSelection {
    DecompressionSelection::base()
        .decompress_z()
        .decompress_classification()
        .decompress_flags()
}

impl Chunks {
    /// The records after byte `start` of `source`, compressed as `description` says.
    ///
    /// # Errors
    /// [`Error::Input`] when the description or the chunk table does not fit the file; [`Error::Read`].
    pub fn open(source: &Source, start: u64, description: &[u8], shape: Shape) -> Result<Self> {
        let place = source.place();
        let way = contain(&place, "LAZ", || way(source, start, description, shape))?;
        Ok(Self {
            name: source.name().to_owned(),
            shape,
            done: 0,
            way,
        })
    }

    /// Replaces `records` by the next ones; there must be some left.
    ///
    /// # Errors
    /// [`Error::Input`] with the first record of those that cannot be decoded; [`Error::Read`].
    pub fn next(&mut self, records: &mut Vec<u8>) -> Result<()> {
        let place = Place::record(&self.name, self.done + 1);
        let left = self.shape.count - self.done;
        let length = self.shape.length;
        let way = &mut self.way;
        contain(&place, "LAZ", || match way {
            Way::Parallel { .. } => way.next_chunks(left, length, records, &place),
            Way::OneByOne(decoder) => {
                let most = (BLOCK / length as u64).min(cloud::BATCH as u64);
                records.resize(left.min(most) as usize * length, 0);
                decoder
                    .decompress_many(records)
                    .map_err(|error| undecodable(&place, error.into()))
            }
        })?;
        self.done += (records.len() / length) as u64;
        Ok(())
    }
}

impl Way {
    /// Decodes chunks until a block is full.
    fn next_chunks(
        &mut self,
        left: u64,
        length: usize,
        records: &mut Vec<u8>,
        place: &Place,
    ) -> Result<()> {
        let Self::Parallel {
            file,
            description,
            layers,
            chunks,
            compressed,
        } = self
        else {
            return Ok(());
        };
        let (mut now, mut points) = (Vec::new(), 0);
        while points * (length as u64) < BLOCK
            && points < left
            && let Some(mut chunk) = chunks.pop()
        {
            // The table gives the last chunk the size of all others.
            chunk.point_count = chunk.point_count.min(left - points);
            points += chunk.point_count;
            now.push(chunk);
        }
        let bytes: u64 = now.iter().map(|chunk| chunk.byte_count).sum();
        compressed.resize(bytes as usize, 0);
        file.read_exact(compressed)
            .map_err(|error| undecodable(place, error.into()))?;
        if points == 0 || !layers.is_none_or(|n| layers_fit(compressed, &now, length, n)) {
            let wanted = "chunks whose parts fill them";
            return Err(Error::input(place.clone(), "a damaged chunk", wanted));
        }
        records.resize(points as usize * length, 0);
        on_decoding_threads(|| {
            laz::par_decompress_selective(compressed, records, description, &now, selection())
        })
        .map_err(|error| undecodable(place, error))
    }
}

/// Checks description and chunk table, and chooses how to decode.
fn way(source: &Source, start: u64, description: &[u8], shape: Shape) -> Result<Way> {
    let place = source.place();
    let layers = layers(description);
    let unchunked = description.first() == Some(&UNCHUNKED);
    let mut description = description.to_vec();
    if unchunked && let Some(size) = description.get_mut(12..16) {
        // Not used then, but the decoder takes a zero for chunks of varying size.
        size.fill(1);
    }
    let description =
        LazVlr::read_from(description.as_slice()).map_err(|error| undecodable(&place, error))?;
    if description.items_size() != shape.length as u64 {
        let found = format!("compressed records of {} bytes", description.items_size());
        let wanted = format!("{} bytes, as its header says", shape.length);
        return Err(Error::input(place, found, wanted));
    }
    let mut file = source.buffered()?;
    file.seek(SeekFrom::Start(start))
        .map_err(|error| source.read_error(error))?;
    if unchunked {
        let decoder = LasZipDecompressor::selective(file, description, selection())
            .map_err(|error| undecodable(&place, error))?;
        return Ok(Way::OneByOne(Box::new(decoder)));
    }
    let mut chunks = chunk_table(source, file, start, &description, shape)?;
    chunks.reverse();
    let mut file = source.open()?;
    file.seek(SeekFrom::Start(start + OFFSET))
        .map_err(|error| source.read_error(error))?;
    Ok(Way::Parallel {
        file,
        description: Box::new(description),
        layers,
        chunks,
        compressed: Vec::new(),
    })
}

/// Reads the table of chunks and holds it against the file's length and the number of records.
fn chunk_table(
    source: &Source,
    mut file: BufReader<File>,
    start: u64,
    description: &LazVlr,
    shape: Shape,
) -> Result<Vec<ChunkTableEntry>> {
    let wrong = |found: String, wanted: String| Error::input(source.place(), found, wanted);
    let fail = |error| source.read_error(error);
    let end = source.size()?;
    let cut = || {
        wrong(
            format!("the end of the file at byte {end}"),
            "a table of chunks".into(),
        )
    };
    let mut at = [0; 8];
    file.read_exact(&mut at).map_err(|_| cut())?;
    if i64::from_le_bytes(at) <= start as i64 {
        // The writer could not go back; the position stands at the end.
        file.seek(SeekFrom::End(-(OFFSET as i64))).map_err(fail)?;
        file.read_exact(&mut at).map_err(|_| cut())?;
    }
    let table = u64::from_le_bytes(at);
    let first = start + OFFSET;
    if table < first || table > end.saturating_sub(8) {
        let wanted =
            format!("its table of chunks at byte {table}: the file is cut short or damaged");
        return Err(wrong(format!("the end of the file at byte {end}"), wanted));
    }
    let mut head = [0; 8];
    file.seek(SeekFrom::Start(table)).map_err(fail)?;
    file.read_exact(&mut head).map_err(fail)?;
    let [.., a, b, c, d] = head;
    let chunks = u64::from(u32::from_le_bytes([a, b, c, d]));
    // A chunk begins with one record as it is.
    let most = (table - first) / shape.length as u64;
    if chunks > most {
        return Err(wrong(
            format!("{chunks} chunks"),
            format!("at most {most}, as long as the file is"),
        ));
    }
    file.seek(SeekFrom::Start(start)).map_err(fail)?;
    let chunks = ChunkTable::read_from(file, description)
        .map_err(|error| undecodable(&source.place(), error))?;
    let (mut points, mut bytes) = (0u64, 0u64);
    for chunk in chunks.as_ref() {
        points = points.saturating_add(chunk.point_count);
        bytes = bytes.saturating_add(chunk.byte_count);
        let decoded = chunk
            .point_count
            .min(shape.count)
            .saturating_mul(shape.length as u64);
        if decoded > LARGEST {
            let found = format!("a chunk of {} points", chunk.point_count);
            return Err(wrong(
                found,
                format!("chunks of at most {} MB", LARGEST >> 20),
            ));
        }
    }
    if bytes > table - first {
        return Err(wrong(
            format!("{bytes} bytes of chunks"),
            format!("{}", table - first),
        ));
    }
    if points < shape.count {
        let place = Place::record(source.name(), points + 1);
        let wanted = format!("{} records, as its header says", shape.count);
        return Err(Error::input(place, "the end of the last chunk", wanted));
    }
    Ok(chunks.as_ref().to_vec())
}

/// How many layers a chunk is stored in, if it is: item types 10 to 14 of the description, 6 bytes an item from byte
/// 34 (LASzip specification, "LASzip VLR"; layers: 9 for the point, 1 for colour, 2 with near infrared, 1 for a wave
/// packet, 1 for each extra byte).
fn layers(description: &[u8]) -> Option<u64> {
    let items = description.get(34..)?.chunks_exact(6);
    let layers = items.map(|item| match item[0] {
        10 => Some(9),
        11 | 13 => Some(1),
        12 => Some(2),
        14 => Some(u64::from(u16::from_le_bytes([item[2], item[3]]))),
        _ => None,
    });
    layers.sum()
}

/// Whether the layers that each chunk announces are as long as the chunk: its first record, its count of points, the
/// length of each layer, the layers.
fn layers_fit(compressed: &[u8], chunks: &[ChunkTableEntry], length: usize, layers: u64) -> bool {
    let (mut rest, sizes) = (compressed, length + 4);
    chunks.iter().all(|chunk| {
        let Some((chunk, next)) = rest.split_at_checked(chunk.byte_count as usize) else {
            return false;
        };
        rest = next;
        let Some(head) = chunk.get(sizes..sizes + 4 * layers as usize) else {
            return false;
        };
        let size = |s: &[u8]| u64::from(u32::from_le_bytes([s[0], s[1], s[2], s[3]]));
        let sum: u64 = head.chunks_exact(4).map(size).sum();
        (sizes + head.len()) as u64 + sum <= chunk.len() as u64
    })
}

fn undecodable(place: &Place, error: LasZipError) -> Error {
    match error {
        LasZipError::IoError(error) if error.kind() != io::ErrorKind::UnexpectedEof => {
            Error::Read {
                file: place.file.clone(),
                source: error,
            }
        }
        LasZipError::IoError(_) => {
            let found = "the end of the compressed data";
            Error::input(
                place.clone(),
                found,
                "more records; the file is cut short or damaged",
            )
        }
        other => {
            let found = format!("a compression that cannot be decoded ({other})");
            Error::input(place.clone(), found, "LAZ of version 2 or newer")
        }
    }
}

//! What the fuzz targets have in common: bytes become a file, the file is read to its end, and what comes out must be sound.
//!
//! Errors are welcome. Panics, hangs, much memory and numbers that are not finite are findings.

use std::fs;
use std::path::PathBuf;
use std::sync::OnceLock;

use lowspot::survey::{Batch, Content, FORMATS, Options, Source};
use lowspot::units::LengthUnit;

/// More points than this are not read from one input: a few bytes may well stand for millions.
const MOST_POINTS: usize = 2_000_000;

/// `data` as a file, which the next call writes over.
pub fn file(data: &[u8]) -> Source {
    static PATH: OnceLock<PathBuf> = OnceLock::new();
    let path = PATH.get_or_init(|| {
        std::env::temp_dir().join(format!("lowspot-fuzz-{}", std::process::id()))
    });
    fs::write(path, data).unwrap();
    Source::new(path.to_str().unwrap()).unwrap()
}

/// Reads `data` as `format`, whatever it looks like, and again with a unit for what does not say its own.
pub fn survey(format: &str, data: &[u8]) {
    let source = file(data);
    let format = FORMATS.iter().find(|one| one.name == format).unwrap();
    let _ = (format.recognises)(&data[..data.len().min(1 << 16)]);
    for units in [None, Some(LengthUnit::Millimetre)] {
        let options = Options {
            units,
            ..Options::default()
        };
        let outcome = (format.open)(&source, &options).and_then(sound);
        if let Err(error) = outcome {
            assert!(!error.to_string().is_empty());
        }
    }
}

/// Reads `content` to its end; every number in it is finite.
fn sound(content: Content) -> lowspot::error::Result<()> {
    match content {
        Content::Points(mut reader) => {
            let (mut batch, mut points) = (Batch::default(), 0);
            while points < MOST_POINTS && reader.next_batch(&mut batch)? {
                points += batch.len();
                assert!(batch.len() <= 65_536);
                assert!(batch.points().flatten().all(f64::is_finite));
            }
            let _ = (reader.left_out(), reader.announced(), reader.warnings());
        }
        Content::Readings(found) => {
            let numbers = found.readings.iter().flat_map(|one| [one.x, one.y, one.z]);
            numbers.for_each(|number| assert!(number.is_finite()));
        }
        Content::Lines(found) => {
            let heights = found.lines.iter().flat_map(|line| &line.heights);
            heights.for_each(|height| assert!(height.is_finite()));
        }
        Content::Edges(found) => {
            let ends = found.edges.iter().flat_map(|edge| edge.ends());
            ends.flatten().for_each(|end| assert!(end.is_finite()));
        }
    }
    Ok(())
}

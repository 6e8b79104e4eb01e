//! What was measured: files of readings or of scanned points, recognised from their content.
//!
//! In: files as the user names them. Out: [`Content`], readings held whole or points streamed in batches.
//! [`FORMATS`] is the one list of formats: detection, `--format`, `--help` and the README read it. A format is one file
//! beside this one and one line in the table; no reader knows another.
//! Not here: which of the points are floor (see `surface`).

use crate::error::{Error, Result, Warning};
use crate::units::LengthUnit;

mod cloud;
mod contain;
mod delimited;
mod e57;
mod edge_book;
mod files;
mod grid;
mod heading;
mod landxml;
mod las;
mod laz;
mod level_book;
mod lines;
mod list;
mod lzf;
mod pcd;
mod pcd_header;
pub mod places;
mod ply;
mod ply_header;
pub mod poured;
mod profile;
mod pts;
mod ptx;
mod reduction;
mod scalar;
pub mod setups;
mod source;
pub mod two_peg;
mod xyz;

pub use edge_book::{LaidEdge, LaidEdges};
pub use files::{Input, Measured, Survey};
pub use profile::{ProfileLine, ProfileLines};
pub use reduction::{Closing, ReducedRow, Reduction, Sights};
pub use source::Source;

/// Farthest from zero that a coordinate may lie, m: every national grid on Earth is within, and a number still tells
/// 2 nanometres apart.
pub const FARTHEST: f64 = 1e7;

/// What an error says of a coordinate beyond [`FARTHEST`].
pub const WITHIN_REACH: &str = "a number within 10,000 km of zero (is the unit right?)";

/// One height at one place on the plan. Metres, heights growing upwards, in the survey's own coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The name of the point, where the survey gives one.
    pub name: Option<String>,
    /// Plan position, m.
    pub x: f64,
    /// Plan position, m.
    pub y: f64,
    /// Height, m. A staff reading of 1.250 m is a height of -1.250 m: zero is the instrument's line of sight.
    pub z: f64,
    /// The set-up of the instrument it was read from, where several are told apart.
    pub setup: Option<String>,
}

/// Readings of one file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Readings {
    /// In the order of the file.
    pub readings: Vec<Reading>,
    /// Whether they were read off a staff, so that the survey's zero is the line of sight.
    pub staff: bool,
    /// What the reader noticed.
    pub warnings: Vec<Warning>,
    /// The reduction that they come from, if they come from a level book.
    pub book: Option<Reduction>,
}

/// Scanned points, a batch at a time: plan and height in metres, survey coordinates, in three columns of one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Batch {
    /// Plan position, m.
    pub x: Vec<f64>,
    /// Plan position, m.
    pub y: Vec<f64>,
    /// Height, m, after `--up`.
    pub z: Vec<f64>,
}

impl Batch {
    /// Number of points.
    pub fn len(&self) -> usize {
        self.z.len()
    }

    /// Whether it holds no point.
    pub fn is_empty(&self) -> bool {
        self.z.is_empty()
    }

    /// Empties the columns and keeps their memory.
    pub fn clear(&mut self) {
        self.x.clear();
        self.y.clear();
        self.z.clear();
    }

    /// Appends a point.
    pub fn push(&mut self, [x, y, z]: [f64; 3]) {
        self.x.push(x);
        self.y.push(y);
        self.z.push(z);
    }

    /// The points one by one.
    pub fn points(&self) -> impl Iterator<Item = [f64; 3]> + '_ {
        self.x
            .iter()
            .zip(&self.y)
            .zip(&self.z)
            .map(|((&x, &y), &z)| [x, y, z])
    }
}

/// Points a reader left out, by reason.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct LeftOut {
    /// Marked withheld or deleted by whoever processed the scan.
    pub withheld: u64,
    /// Classified as noise.
    pub noise: u64,
    /// Without a position: not a number, infinite, or marked invalid.
    pub invalid: u64,
}

impl LeftOut {
    /// All reasons together.
    pub fn total(self) -> u64 {
        self.withheld + self.noise + self.invalid
    }
}

impl std::ops::AddAssign for LeftOut {
    fn add_assign(&mut self, other: Self) {
        self.withheld += other.withheld;
        self.noise += other.noise;
        self.invalid += other.invalid;
    }
}

/// A stream of scanned points. A trait because this is a real seam: every scan format has its own decoder, and what
/// comes after takes batches without knowing which.
pub trait PointReader: Send {
    /// Fills `batch` (emptied first) with the next points, at most about 65,536 of them.
    ///
    /// Returns false, with `batch` empty, at the end. An `Ok(true)` with an empty batch is possible: all of a chunk
    /// was left out.
    ///
    /// # Errors
    /// [`Error::Input`] with the record that cannot be decoded, [`Error::Read`] when the file cannot be read.
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool>;

    /// How many points the file says it holds, before any is left out. For the progress bar.
    fn announced(&self) -> Option<u64>;

    /// What has been left out so far.
    fn left_out(&self) -> LeftOut;

    /// What the reader noticed so far.
    fn warnings(&self) -> Vec<Warning> {
        Vec::new()
    }
}

/// What a file turned out to hold.
pub enum Content {
    /// Readings, held whole.
    Readings(Readings),
    /// Profile lines, held whole.
    Lines(ProfileLines),
    /// A straightedge book, held whole.
    Edges(LaidEdges),
    /// Scanned points, streamed.
    Points(Box<dyn PointReader>),
}

/// How files are read: what the user said about them.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Options {
    /// `--units`: the unit of heights (and of scanned points) where the file does not say.
    pub units: Option<LengthUnit>,
    /// `--up`: which axis of a scan points upwards.
    pub up: Up,
    /// `--format`: a name of [`FORMATS`], overruling recognition.
    pub format: Option<&'static str>,
    /// `--collimation`: metres that the instrument's line of sight rises in a metre. Readings are corrected for it by
    /// their sight lengths.
    pub collimation: Option<f64>,
}

/// Which axis of a scan points upwards. The other two are turned into the plan without mirroring it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Up {
    /// +x
    X,
    /// -x
    MinusX,
    /// +y
    Y,
    /// -y
    MinusY,
    /// +z
    #[default]
    Z,
    /// -z
    MinusZ,
}

impl Up {
    /// All axes with the way they are typed.
    pub const ALL: [(&'static str, Self); 6] = [
        ("x", Self::X),
        ("-x", Self::MinusX),
        ("y", Self::Y),
        ("-y", Self::MinusY),
        ("z", Self::Z),
        ("-z", Self::MinusZ),
    ];

    /// Turns a point so that this axis becomes z. A proper rotation: left stays left.
    pub fn turn(self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        match self {
            Self::Z => [x, y, z],
            Self::MinusZ => [x, -y, -z],
            Self::Y => [x, -z, y],
            Self::MinusY => [x, z, -y],
            Self::X => [y, z, x],
            Self::MinusX => [z, y, -x],
        }
    }
}

/// One format: a record of the table [`FORMATS`].
pub struct Format {
    /// The name that `--format` takes and the JSON shows.
    pub name: &'static str,
    /// What a person calls it.
    pub title: &'static str,
    /// Whether a file that starts with these bytes (up to 64 KiB) is of this format.
    pub recognises: fn(&[u8]) -> bool,
    /// Opens it.
    pub open: fn(&Source, &Options) -> Result<Content>,
}

/// Every format lowspot reads, in the order in which they are tried: those with a signature first.
pub const FORMATS: &[Format] = &[
    las::LAS,
    las::COPC,
    las::LAZ,
    e57::E57,
    ply::PLY,
    pcd::PCD,
    landxml::LANDXML,
    ptx::PTX,
    pts::PTS,
    level_book::BOOK,
    edge_book::EDGE_BOOK,
    profile::PROFILE,
    list::LIST,
    grid::GRID,
    xyz::XYZ,
];

/// The format of `source`: by its content, unless `options` name one.
///
/// # Errors
/// [`Error::Read`]; [`Error::Input`] for an empty file or one that no reader recognises.
pub fn recognise(source: &Source, options: &Options) -> Result<&'static Format> {
    let head = source.head()?;
    let found = match options.format {
        Some(name) => FORMATS.iter().find(|format| format.name == name),
        None => FORMATS.iter().find(|format| (format.recognises)(&head)),
    };
    let titles: Vec<_> = FORMATS.iter().map(|format| format.name).collect();
    found.ok_or_else(|| {
        let what = if head.is_empty() {
            "an empty file"
        } else {
            "no format that lowspot knows"
        };
        let wanted = format!("one of {} (or say which with --format)", titles.join(", "));
        Error::input(source.place(), what, wanted)
    })
}

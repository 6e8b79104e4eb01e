//! The files of one floor, taken together.
//!
//! In: file names and what the user said about them. Out: a [`Survey`]: all readings, or the means to stream all
//! scanned points, as often as they are needed; and for the record each file's format, size and SHA-256.

use std::sync::{Arc, Mutex, PoisonError};

use rayon::prelude::*;

use super::setups::{self, Network};
use super::{
    Batch, Content, Format, LeftOut, Options, PointReader, Reading, Reduction, Source, level_book,
    list, recognise,
};
use crate::error::{Error, Result, Warning};

/// A file of a survey.
#[derive(Clone)]
struct SurveyFile {
    source: Source,
    format: &'static Format,
    tally: Arc<Mutex<Tally>>,
}

/// What has passed through a reader since the file was last opened.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    points: u64,
    extent: Option<Extent>,
}

/// Least and greatest x, y and z, m, survey coordinates.
pub type Extent = [[f64; 2]; 3];

/// A file that was read, for the record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Input {
    /// As the user named it.
    pub file: String,
    /// SHA-256 of its content.
    pub sha256: String,
    /// The name of its format.
    pub format: &'static str,
    /// Readings or points in it.
    pub points: u64,
}

/// One floor, as measured.
pub struct Survey {
    files: Vec<SurveyFile>,
    options: Options,
    /// What the files hold.
    pub measured: Measured,
    /// The level books among them, reduced.
    pub books: Vec<Reduction>,
    /// How several set-ups were brought to one horizon, if there are several.
    pub network: Option<Network>,
    /// What the readers noticed.
    pub warnings: Vec<Warning>,
}

/// What the files of a survey hold.
#[derive(Debug, Clone, PartialEq)]
pub enum Measured {
    /// Readings, held whole.
    Readings {
        /// Those of all files, in their order; one a point where several set-ups were brought to one horizon.
        readings: Vec<Reading>,
        /// Whether they were read off a staff.
        staff: bool,
    },
    /// Scanned points, to be streamed by [`Survey::open_points`].
    Scan,
}

impl Survey {
    /// Recognises all files; reads them if they hold readings.
    ///
    /// # Errors
    /// [`Error::Argument`] for no file at all or for readings and scans together; [`Error::Input`] for staff readings
    /// mixed with heights, and whatever a reader meets; [`Error::Floor`] for set-ups that are not tied.
    pub fn open(names: &[String], options: &Options) -> Result<Self> {
        let files: Vec<SurveyFile> = names
            .iter()
            .map(|name| {
                let source = Source::new(name)?;
                let format = recognise(&source, options)?;
                sights_known(name, format, options)?;
                Ok(SurveyFile {
                    source,
                    format,
                    tally: Arc::default(),
                })
            })
            .collect::<Result<_>>()?;
        let (mut all, mut staff, mut warnings, mut scans) = (Vec::new(), None, Vec::new(), 0);
        let mut books = Vec::new();
        for file in &files {
            match (file.format.open)(&file.source, options)? {
                Content::Points(_) => scans += 1,
                Content::Readings(mut read) => {
                    if *staff.get_or_insert(read.staff) != read.staff {
                        let found = if read.staff {
                            "staff readings"
                        } else {
                            "heights"
                        };
                        let wanted = "the same as in the first file: staff readings and heights have no common zero";
                        return Err(Error::input(file.source.place(), found, wanted));
                    }
                    file.tally
                        .lock()
                        .unwrap_or_else(PoisonError::into_inner)
                        .points = read.readings.len() as u64;
                    all.append(&mut read.readings);
                    warnings.append(&mut read.warnings);
                    books.extend(read.book);
                }
            }
        }
        let adjusted = setups::adjust(&all)?;
        let (readings, network) = match adjusted {
            Some((points, network)) => (points, Some(network)),
            None => (all, None),
        };
        let measured = match (staff, scans) {
            (Some(staff), 0) => Measured::Readings { readings, staff },
            (None, 1..) => Measured::Scan,
            (None, _) => {
                return Err(Error::argument(
                    "SURVEY",
                    "no file",
                    "at least one survey file",
                ));
            }
            (Some(_), _) => {
                let wanted = "files of one kind: a scan's heights and readings have no common zero";
                return Err(Error::argument(
                    "SURVEY",
                    "readings and scanned points together",
                    wanted,
                ));
            }
        };
        Ok(Self {
            files,
            options: *options,
            measured,
            books,
            network,
            warnings,
        })
    }

    /// Whether heights were read off a staff, so that zero is the line of sight.
    pub fn staff(&self) -> bool {
        matches!(self.measured, Measured::Readings { staff: true, .. })
    }

    /// Opens every file of a scan from its beginning.
    ///
    /// # Errors
    /// Whatever a reader meets.
    pub fn open_points(&self) -> Result<Vec<Box<dyn PointReader>>> {
        let mut readers: Vec<Box<dyn PointReader>> = Vec::new();
        for file in &self.files {
            if let Content::Points(reader) = (file.format.open)(&file.source, &self.options)? {
                *file.tally.lock().unwrap_or_else(PoisonError::into_inner) = Tally::default();
                readers.push(Box::new(Counted {
                    reader,
                    tally: Arc::clone(&file.tally),
                }));
            }
        }
        Ok(readers)
    }

    /// Least and greatest x, y and z of everything measured; None of nothing. For a scan, of what was last streamed.
    pub fn extent(&self) -> Option<Extent> {
        let mut extent = None;
        match &self.measured {
            Measured::Readings { readings, .. } => {
                for reading in readings {
                    widen(
                        &mut extent,
                        [reading.x, reading.y, reading.z].map(|at| [at, at]),
                    );
                }
            }
            Measured::Scan => {
                for of_file in self.files.iter().filter_map(|file| file.tally().extent) {
                    widen(&mut extent, of_file);
                }
            }
        }
        extent
    }

    /// How many points the files of a scan say they hold, if all of them say so.
    ///
    /// # Errors
    /// Whatever a reader meets.
    pub fn announced(&self) -> Result<Option<u64>> {
        Ok(self
            .open_points()?
            .iter()
            .map(|reader| reader.announced())
            .sum())
    }

    /// The files for the record, with their SHA-256. Points are those of the last time they were streamed.
    ///
    /// # Errors
    /// [`Error::Read`].
    pub fn inputs(&self) -> Result<Vec<Input>> {
        self.files
            .par_iter()
            .map(|file| {
                Ok(Input {
                    file: file.source.name().to_owned(),
                    sha256: file.source.sha256()?,
                    format: file.format.name,
                    points: file.tally().points,
                })
            })
            .collect()
    }
}

/// That a file which is to be corrected by its sight lengths is of a format that has any.
fn sights_known(name: &str, format: &Format, options: &Options) -> Result<()> {
    let known = [list::LIST.name, level_book::BOOK.name].contains(&format.name);
    if options.collimation.is_none() || known {
        return Ok(());
    }
    Err(Error::argument(
        "--collimation",
        format!("{name}, which has no sight lengths ({})", format.title),
        "a list of readings with a column sight_m, or a level book with bs_sight_m, is_sight_m and fs_sight_m",
    ))
}

fn widen(extent: &mut Option<Extent>, by: Extent) {
    let extent = extent.get_or_insert(by);
    for ([least, greatest], [low, high]) in extent.iter_mut().zip(by) {
        (*least, *greatest) = (least.min(low), greatest.max(high));
    }
}

/// Least and greatest of a column of a batch.
fn range(column: &[f64]) -> [f64; 2] {
    column.iter().fold(
        [f64::INFINITY, f64::NEG_INFINITY],
        |[least, greatest], &at| [least.min(at), greatest.max(at)],
    )
}

impl SurveyFile {
    fn tally(&self) -> Tally {
        *self.tally.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A reader that keeps a tally of what passes through it.
struct Counted {
    reader: Box<dyn PointReader>,
    tally: Arc<Mutex<Tally>>,
}

impl PointReader for Counted {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        let left_out = self.reader.left_out().total();
        let more = self.reader.next_batch(batch)?;
        let mut tally = self.tally.lock().unwrap_or_else(PoisonError::into_inner);
        tally.points += batch.len() as u64 + self.reader.left_out().total() - left_out;
        if !batch.is_empty() {
            widen(
                &mut tally.extent,
                [&batch.x, &batch.y, &batch.z].map(|column| range(column)),
            );
        }
        Ok(more)
    }

    fn announced(&self) -> Option<u64> {
        self.reader.announced()
    }

    fn left_out(&self) -> LeftOut {
        self.reader.left_out()
    }

    fn warnings(&self) -> Vec<Warning> {
        self.reader.warnings()
    }
}

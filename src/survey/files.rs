//! The files of one floor, taken together.
//!
//! In: file names and what the user said about them. Out: a [`Survey`]: all readings, or the means to stream all
//! scanned points, as often as they are needed; and for the record each file's format, size and SHA-256.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use super::{Batch, Content, Format, LeftOut, Options, PointReader, Reading, Source, recognise};
use crate::error::{Error, Result, Warning};

/// A file of a survey.
#[derive(Clone)]
struct SurveyFile {
    source: Source,
    format: &'static Format,
    points: Arc<AtomicU64>,
}

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
    /// What the readers noticed.
    pub warnings: Vec<Warning>,
}

/// What the files of a survey hold.
#[derive(Debug, Clone, PartialEq)]
pub enum Measured {
    /// Readings, held whole.
    Readings {
        /// Those of all files, in their order.
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
    /// mixed with heights, and whatever a reader meets.
    pub fn open(names: &[String], options: &Options) -> Result<Self> {
        let files: Vec<SurveyFile> = names
            .iter()
            .map(|name| {
                let source = Source::new(name)?;
                let format = recognise(&source, options)?;
                Ok(SurveyFile {
                    source,
                    format,
                    points: Arc::default(),
                })
            })
            .collect::<Result<_>>()?;
        let (mut all, mut staff, mut warnings, mut scans) = (Vec::new(), None, Vec::new(), 0);
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
                    file.points
                        .store(read.readings.len() as u64, Ordering::Relaxed);
                    all.append(&mut read.readings);
                    warnings.append(&mut read.warnings);
                }
            }
        }
        let measured = match (staff, scans) {
            (Some(staff), 0) => Measured::Readings {
                readings: all,
                staff,
            },
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
                file.points.store(0, Ordering::Relaxed);
                readers.push(Box::new(Counted {
                    reader,
                    points: Arc::clone(&file.points),
                }));
            }
        }
        Ok(readers)
    }

    /// Least and greatest x, y and z of everything measured, m, survey coordinates; None of nothing.
    ///
    /// # Errors
    /// Whatever a reader meets: a scan is streamed from beginning to end.
    pub fn extent(&self) -> Result<Option<[[f64; 2]; 3]>> {
        let mut extent = None;
        match &self.measured {
            Measured::Readings { readings, .. } => {
                readings
                    .iter()
                    .for_each(|reading| widen(&mut extent, [reading.x, reading.y, reading.z]));
            }
            Measured::Scan => {
                let mut batch = Batch::default();
                for mut reader in self.open_points()? {
                    while reader.next_batch(&mut batch)? {
                        batch.points().for_each(|point| widen(&mut extent, point));
                    }
                }
            }
        }
        Ok(extent)
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
                    points: file.points.load(Ordering::Relaxed),
                })
            })
            .collect()
    }
}

fn widen(extent: &mut Option<[[f64; 2]; 3]>, point: [f64; 3]) {
    let extent = extent.get_or_insert(point.map(|at| [at, at]));
    for ([least, greatest], at) in extent.iter_mut().zip(point) {
        (*least, *greatest) = (least.min(at), greatest.max(at));
    }
}

/// A reader that counts what passes through it.
struct Counted {
    reader: Box<dyn PointReader>,
    points: Arc<AtomicU64>,
}

impl PointReader for Counted {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        let left_out = self.reader.left_out().total();
        let more = self.reader.next_batch(batch)?;
        let passed = batch.len() as u64 + self.reader.left_out().total() - left_out;
        self.points.fetch_add(passed, Ordering::Relaxed);
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

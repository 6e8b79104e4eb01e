//! The files of one floor, taken together.
//!
//! In: file names and what the user said about them. Out: a [`Survey`]: all readings, or the means to stream all
//! scanned points, as often as they are needed; and for the record each file's format, size and SHA-256.

use std::sync::{Arc, Mutex, PoisonError};

use rayon::prelude::*;

use super::delimited::shown;
use super::setups::{self, Network};
use super::{
    Batch, Content, Format, LaidEdge, LaidEdges, LeftOut, Options, PointReader, ProfileLine,
    ProfileLines, Reading, Readings, Reduction, Source, level_book, list, recognise,
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
    /// How many points the files of a scan say they hold, if all of them say so.
    pub announced: Option<u64>,
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
    /// Profile lines, held whole: all with plan positions, or none.
    Lines {
        /// Those of all files, in their order.
        lines: Vec<ProfileLine>,
        /// Whether they were read off a staff.
        staff: bool,
    },
    /// A straightedge book, held whole: the edges of all files, in their order.
    Edges(Vec<LaidEdge>),
    /// Scanned points, to be streamed by [`Survey::open_points`].
    Scan,
}

impl Measured {
    /// Both together, if they are of one kind. `source` is the file that `more` comes from.
    fn with(self, more: Self, source: &Source) -> Result<Self> {
        let together = |found: &str, wanted: &str| Err(Error::argument("SURVEY", found, wanted));
        match (self, more) {
            (Self::Scan, Self::Scan) => Ok(Self::Scan),
            (Self::Edges(mut edges), Self::Edges(more)) => {
                edges.extend(more);
                Ok(Self::Edges(edges))
            }
            (
                Self::Readings {
                    mut readings,
                    staff,
                },
                Self::Readings {
                    readings: more,
                    staff: theirs,
                },
            ) => {
                same_zero(staff, theirs, source)?;
                readings.extend(more);
                Ok(Self::Readings { readings, staff })
            }
            (
                Self::Lines { mut lines, staff },
                Self::Lines {
                    lines: more,
                    staff: theirs,
                },
            ) => {
                same_zero(staff, theirs, source)?;
                let clash = |line: &&ProfileLine| lines.iter().any(|one| one.clashes(line));
                if let Some(line) = more.iter().find(clash) {
                    let found = format!("line {} again, or placed otherwise", shown(&line.name));
                    let wanted = "lines of other names than in the files before it, all by x and y or all by station";
                    return Err(Error::input(source.place(), found, wanted));
                }
                lines.extend(more);
                Ok(Self::Lines { lines, staff })
            }
            (Self::Scan, Self::Readings { .. } | Self::Lines { .. })
            | (Self::Readings { .. } | Self::Lines { .. }, Self::Scan) => together(
                "readings and scanned points together",
                "files of one kind: a scan's heights and readings have no common zero",
            ),
            (Self::Edges(_), Self::Readings { .. } | Self::Lines { .. } | Self::Scan)
            | (Self::Readings { .. } | Self::Lines { .. } | Self::Scan, Self::Edges(_)) => {
                together(
                    "a straightedge book and another survey together",
                    "files of one kind: a straightedge book holds gaps and no heights",
                )
            }
            (Self::Readings { .. }, Self::Lines { .. })
            | (Self::Lines { .. }, Self::Readings { .. }) => together(
                "profile lines and other readings together",
                "files of one kind: F-numbers are measured along lines alone",
            ),
        }
    }

    /// The same with the set-ups of readings brought to one horizon, if there are several.
    fn on_one_horizon(self) -> Result<(Self, Option<Network>)> {
        let (readings, staff) = match self {
            Self::Readings { readings, staff } => (readings, staff),
            Self::Lines { .. } | Self::Edges(_) | Self::Scan => return Ok((self, None)),
        };
        let (readings, network) = match setups::adjust(&readings)? {
            Some((points, network)) => (points, Some(network)),
            None => (readings, None),
        };
        Ok((Self::Readings { readings, staff }, network))
    }
}

fn same_zero(staff: bool, theirs: bool, source: &Source) -> Result<()> {
    if staff == theirs {
        return Ok(());
    }
    let found = if theirs { "staff readings" } else { "heights" };
    let wanted = "the same as in the first file: staff readings and heights have no common zero";
    Err(Error::input(source.place(), found, wanted))
}

impl Survey {
    /// Recognises all files; reads them if they hold readings.
    ///
    /// # Errors
    /// [`Error::Argument`] for no file at all or for files of several kinds together; [`Error::Input`] for staff
    /// readings mixed with heights, a profile line given twice, and whatever a reader meets; [`Error::Floor`] for
    /// set-ups that are not tied.
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
        let (mut measured, mut warnings) = (None::<Measured>, Vec::new());
        let (mut books, mut announced) = (Vec::new(), Some(0));
        for file in &files {
            let (read, points) = match file.open(options)? {
                Content::Points(reader) => {
                    announced = announced
                        .zip(reader.announced())
                        .map(|(a, b): (u64, u64)| a.saturating_add(b));
                    (Measured::Scan, 0)
                }
                Content::Readings(Readings {
                    readings,
                    staff,
                    warnings: mut noticed,
                    book,
                }) => {
                    warnings.append(&mut noticed);
                    books.extend(book);
                    let points = readings.len();
                    (Measured::Readings { readings, staff }, points)
                }
                Content::Lines(ProfileLines { lines, staff }) => {
                    let points = lines.iter().map(|line| line.heights.len()).sum();
                    (Measured::Lines { lines, staff }, points)
                }
                Content::Edges(LaidEdges {
                    edges,
                    warnings: mut noticed,
                }) => {
                    warnings.append(&mut noticed);
                    let points = edges.len();
                    (Measured::Edges(edges), points)
                }
            };
            file.tally
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .points = points as u64;
            measured = Some(match measured {
                Some(before) => before.with(read, &file.source)?,
                None => read,
            });
        }
        let measured = measured
            .ok_or_else(|| Error::argument("SURVEY", "no file", "at least one survey file"))?;
        let (measured, network) = measured.on_one_horizon()?;
        Ok(Self {
            files,
            options: *options,
            measured,
            announced,
            books,
            network,
            warnings,
        })
    }

    /// Whether heights were read off a staff, so that zero is the line of sight.
    pub fn staff(&self) -> bool {
        match self.measured {
            Measured::Readings { staff, .. } | Measured::Lines { staff, .. } => staff,
            Measured::Edges(_) | Measured::Scan => false,
        }
    }

    /// Whether it is known where on the plan things were measured. Lines by station have no place there.
    pub fn on_plan(&self) -> bool {
        match &self.measured {
            Measured::Lines { lines, .. } => lines.iter().all(|line| line.places.is_some()),
            Measured::Readings { .. } | Measured::Edges(_) | Measured::Scan => true,
        }
    }

    /// Opens every file of a scan from its beginning.
    ///
    /// # Errors
    /// Whatever a reader meets.
    pub fn open_points(&self) -> Result<Vec<Box<dyn PointReader>>> {
        let mut readers: Vec<Box<dyn PointReader>> = Vec::new();
        for file in &self.files {
            if let Content::Points(reader) = file.open(&self.options)? {
                *file.tally.lock().unwrap_or_else(PoisonError::into_inner) = Tally::default();
                readers.push(Box::new(Counted {
                    source: file.source.clone(),
                    reader,
                    tally: Arc::clone(&file.tally),
                }));
            }
        }
        Ok(readers)
    }

    /// Least and greatest x, y and z of everything measured; None of nothing, of lines without a place on the plan,
    /// and of a straightedge book, which has no z. For a scan, of what was last streamed.
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
            Measured::Lines { lines, .. } => {
                for reading in lines.iter().flat_map(ProfileLine::readings) {
                    widen(
                        &mut extent,
                        [reading.x, reading.y, reading.z].map(|at| [at, at]),
                    );
                }
            }
            Measured::Edges(_) => {}
            Measured::Scan => {
                for of_file in self.files.iter().filter_map(|file| file.tally().extent) {
                    widen(&mut extent, of_file);
                }
            }
        }
        extent
    }

    /// What went wrong with the survey, unless that is because one of its files has changed.
    pub fn or_changed(&self, error: Error) -> Error {
        let mut sources = self.files.iter().map(|file| &file.source);
        let changed = sources.find_map(|source| source.unchanged().err());
        changed.unwrap_or(error)
    }

    /// The files for the record, with their SHA-256. Points are those of the last time they were streamed.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] if a file has changed since it was opened.
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
    fn open(&self, options: &Options) -> Result<Content> {
        (self.format.open)(&self.source, options).map_err(|error| self.source.or_changed(error))
    }

    fn tally(&self) -> Tally {
        *self.tally.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A reader that keeps a tally of what passes through it.
struct Counted {
    source: Source,
    reader: Box<dyn PointReader>,
    tally: Arc<Mutex<Tally>>,
}

impl PointReader for Counted {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        let left_out = self.reader.left_out().total();
        let more = self.reader.next_batch(batch);
        let more = more.map_err(|error| self.source.or_changed(error))?;
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

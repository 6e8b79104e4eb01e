//! What the page asks, as JSON, and the job file that it becomes.
//!
//! In: readings, outlines and compound sheets as text, files by the numbers they were kept under, and settings under the
//! names that a job file has for them. Out: a folder with those files, and the [`JobFile`] that the command line would read.
//! Whoever fills in the form chooses no path: the names in the job file are all given here.

use std::path::Path;

use serde::{Deserialize, Serialize};
use tempfile::TempDir;

use super::rooms::Room;
use crate::error::{Error, Place, Result};
use crate::job::JobFile;
use crate::run::{CompareJob, Job, NotPoured, Zero};
use crate::survey::Source;
use crate::units::{Length, System};

/// The job file's name.
pub(super) const JOB: &str = "job.toml";

/// What else is written beside it, but for compound sheets.
const OURS: [&str; 4] = ["survey.csv", "after.csv", "outline.csv", "down.csv"];

/// More compounds than this are in no pour.
const MOST_SHEETS: usize = 8;

/// More places than this nobody taps.
pub(super) const MOST_PLACES: usize = 1000;

/// What is asked.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Form {
    survey: SurveyForm,
    after: Option<SurveyForm>,
    /// The outline as CSV or GeoJSON.
    outline: Option<String>,
    /// Compound sheets as TOML: the deepest fill first.
    #[serde(default)]
    sheets: Vec<String>,
    #[serde(default)]
    heading: Heading,
    #[serde(default)]
    floor: Floor,
    /// Places where nothing was poured, or points, as `--not-poured` takes them.
    #[serde(default)]
    not_poured: Vec<String>,
    /// Batches that are down and depths that were measured, as `--poured` takes them.
    down: Option<String>,
    /// Bags on site before the first mix.
    bags: Option<u64>,
    /// Places where the depth is asked for, m.
    #[serde(default)]
    pub(super) places: Vec<[f64; 2]>,
    /// Inches and feet in sentences and maps.
    #[serde(default)]
    imperial: bool,
}

/// Readings or a scan.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SurveyForm {
    /// Typed: delimited text.
    Typed(String),
    /// Files that were sent before.
    Files(Vec<u64>),
}

/// The head of the job file.
#[derive(Debug, Default, Deserialize, Serialize)]
#[serde(deny_unknown_fields, default)]
struct Heading {
    job: String,
    client: Option<String>,
    address: Option<String>,
    by: Option<String>,
    date: Option<String>,
    remarks: Option<String>,
}

/// The keys of a floor that name no file, as the job file has them.
#[derive(Debug, Default, Deserialize, Serialize)]
#[serde(deny_unknown_fields, default)]
struct Floor {
    name: String,
    floor_height: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    bags_used: Vec<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    class: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    straightedge: Vec<String>,
    reference: Option<String>,
    u: Option<String>,
    tilt: Option<String>,
    units: Option<String>,
    format: Option<String>,
    up: Option<String>,
    cell: Option<String>,
    collimation: Option<String>,
    target: Option<String>,
    datum: Option<String>,
    cover: Option<String>,
    least_depth: Option<String>,
    grind: Option<String>,
    waste: Option<String>,
    exit: Option<[String; 2]>,
    vessel: Option<String>,
    crew: Option<u32>,
    /// A distance alone: a name would be opened.
    pins: Option<String>,
    fall: Option<Fall>,
    benchmark: Option<Benchmark>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    fixed: Vec<Fixed>,
}

#[derive(Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct Fall {
    rate: String,
    towards: [String; 2],
}

#[derive(Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct Benchmark {
    before: String,
    after: String,
}

#[derive(Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct Fixed {
    name: String,
    at: Vec<[String; 2]>,
    level: String,
    allowance: String,
    below: Option<String>,
}

/// The job file as it is written.
#[derive(Serialize)]
struct Written<'a> {
    #[serde(flatten)]
    heading: &'a Heading,
    floor: [WrittenFloor<'a>; 1],
}

#[derive(Serialize)]
struct WrittenFloor<'a> {
    survey: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    after: Vec<String>,
    outline: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    compound: Vec<String>,
    #[serde(flatten)]
    floor: &'a Floor,
}

/// The file of what is down, and the bags that were on site.
pub(super) struct DownFile {
    pub(super) file: String,
    pub(super) bags: Option<u64>,
}

/// A form on the desk: its files, and the job that they make.
pub(super) struct Desk {
    pub(super) job: JobFile,
    /// What the floor before and after is asked, if there is a survey after.
    pub(super) compare: Option<CompareJob>,
    /// What is down already, if anything is.
    pub(super) down: Option<DownFile>,
    pub(super) units: System,
    pub(super) places: Vec<[f64; 2]>,
    /// Where its files lie; it goes with this.
    pub(super) folder: TempDir,
}

impl Form {
    /// Reads a form.
    ///
    /// # Errors
    /// [`Error::Argument`] for JSON that is none.
    pub(super) fn read(bytes: &[u8]) -> Result<Self> {
        let form: Self = serde_json::from_slice(bytes)
            .map_err(|error| wrong(error.to_string(), "the form that the page sends"))?;
        if form.sheets.len() > MOST_SHEETS || form.places.len() > MOST_PLACES {
            return Err(wrong(
                "more than there is room for",
                "fewer sheets and places",
            ));
        }
        Ok(form)
    }

    /// Whether it asks about files, which may be large, and not about typed readings alone.
    pub(super) fn asks_about_files(&self) -> bool {
        let surveys = [Some(&self.survey), self.after.as_ref()];
        let mut surveys = surveys.into_iter().flatten();
        surveys.any(|survey| matches!(survey, SurveyForm::Files(_)))
    }

    /// Writes its files into a folder of the room, and reads the job.
    ///
    /// # Errors
    /// As [`JobFile::read`]; [`Error::Argument`] for a file that is not there, and for pins that are no distance.
    pub(super) fn lay_out(self, room: &Room) -> Result<Desk> {
        let folder = room.desk().map_err(cannot_write)?;
        if let Some(pins) = &self.floor.pins {
            let pins = pins.parse::<Length>();
            pins.map_err(|error| wrong(error.found, error.wanted))?;
        }
        let file = |name: &str, text: &str| write(folder.path(), name, text);
        let survey = |survey: &SurveyForm, name: &str| match survey {
            SurveyForm::Typed(text) => Ok(vec![file(name, text)?]),
            SurveyForm::Files(numbers) => {
                let sent = numbers
                    .iter()
                    .map(|&number| sent(room, number, folder.path()));
                sent.collect()
            }
        };
        let floor = WrittenFloor {
            survey: survey(&self.survey, "survey.csv")?,
            after: match &self.after {
                Some(after) => survey(after, "after.csv")?,
                None => Vec::new(),
            },
            outline: match &self.outline {
                Some(text) => Some(file("outline.csv", text)?),
                None => None,
            },
            compound: (1..)
                .zip(&self.sheets)
                .map(|(number, text)| file(&format!("compound-{number}.toml"), text))
                .collect::<Result<_>>()?,
            floor: &self.floor,
        };
        let written = Written {
            heading: &self.heading,
            floor: [floor],
        };
        let text = toml::to_string(&written)
            .map_err(|error| wrong(error.to_string(), "settings that a job file can hold"))?;
        let whole = |name: String| folder.path().join(name).to_string_lossy().into_owned();
        let job = JobFile::read(&Source::new(&whole(file(JOB, &text)?))?)?;
        let units = if self.imperial {
            System::Imperial
        } else {
            System::Metric
        };
        Ok(Desk {
            compare: compare_job(&job, &self.not_poured, units),
            down: match &self.down {
                Some(text) => Some(DownFile {
                    file: whole(file("down.csv", text)?),
                    bags: self.bags,
                }),
                None => None,
            },
            job,
            units,
            places: self.places,
            folder,
        })
    }
}

/// The floor before and after, as `lowspot compare` would be asked.
fn compare_job(job: &JobFile, not_poured: &[String], units: System) -> Option<CompareJob> {
    let floor = job.floors.first().filter(|floor| !floor.after.is_empty())?;
    let before = floor.job(units);
    let zero = match floor.benchmark {
        Some(mark) => Zero::Benchmark {
            before: mark.before,
            after: mark.after,
        },
        None if not_poured.is_empty() => Zero::Unknown,
        None => Zero::NotPoured(
            not_poured
                .iter()
                .map(|text| NotPoured::parse(text))
                .collect(),
        ),
    };
    Some(CompareJob {
        after: Job {
            files: floor.after.clone(),
            ..before.clone()
        },
        before,
        zero,
        compound: floor.settings.compounds.last().cloned(),
        bags_used: floor.bags_used.last().copied(),
    })
}

/// Lays a file that was sent beside the job, under the name that the browser has for it; returns where it is from there.
fn sent(room: &Room, number: u64, folder: &Path) -> Result<String> {
    let path = room.upload(number).ok_or_else(|| {
        let wanted = "a file that was sent since lowspot was started: drop it again";
        wrong(format!("file {number}, which is not here"), wanted)
    })?;
    let name = path.file_name().unwrap_or_default();
    // A file that is called like one of ours, or like another, gets a folder of its own.
    let ours =
        OURS.iter().any(|ours| name == *ours) || path.extension().is_some_and(|end| end == "toml");
    let own = folder.join(number.to_string());
    let place = if ours || folder.join(name).exists() {
        &own
    } else {
        folder
    };
    std::fs::create_dir_all(place).map_err(cannot_write)?;
    let place = place.join(name);
    std::fs::hard_link(&path, &place).map_err(cannot_write)?;
    let from_job = place.strip_prefix(folder).unwrap_or(&place);
    Ok(from_job.to_string_lossy().into_owned())
}

fn write(folder: &Path, name: &str, text: &str) -> Result<String> {
    let path = folder.join(name);
    std::fs::write(&path, text).map_err(cannot_write)?;
    Ok(name.to_owned())
}

fn cannot_write(source: std::io::Error) -> Error {
    Error::Write {
        file: "the temporary folder".to_owned(),
        source,
    }
}

fn wrong(found: impl Into<String>, wanted: impl Into<String>) -> Error {
    Error::input(Place::file("the form"), found, wanted)
}

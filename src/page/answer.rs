//! The answer to a form: the documents that the command line prints, with their maps and summaries.
//!
//! In: a job on the desk. Out: one JSON text. What cannot be answered is told in words, and the rest is answered all the
//! same: a sheet with a misprint does not hide the floor.

use serde::Serialize;
use serde_json::Value;

use super::form::{Desk, JOB};
use crate::error::{Error, Result};
use crate::findings::house::{FloorPlan, HousePlan};
use crate::findings::{Checked, Comparison, Findings, PourPlan};
use crate::job;
use crate::output::{json, maps, text};
use crate::pour::Compound;
use crate::run::{self, Progress};
use crate::survey::Source;
use crate::units::{MILLIMETRE, System};

/// All that is known of a floor.
#[derive(Debug, Default, Serialize)]
struct Answer {
    /// Whether heights were read off a staff, so that the more is the lower.
    staff: bool,
    /// As `check --json`.
    check: Option<Value>,
    check_text: Option<String>,
    check_map: Option<String>,
    /// As `pour --job --json`.
    pour: Option<Value>,
    pour_text: Option<String>,
    pour_map: Option<String>,
    /// As the `rest` of `pour --poured --json`.
    rest: Option<Value>,
    rest_text: Option<String>,
    /// As `compare --json`.
    compare: Option<Value>,
    compare_text: Option<String>,
    compare_map: Option<String>,
    /// Where the depth was asked for.
    places: Vec<Depth>,
    problems: Vec<Problem>,
}

/// Floor and compound at a place.
#[derive(Debug, Serialize)]
struct Depth {
    x_m: f64,
    y_m: f64,
    /// Null off the measured floor.
    depth_mm: Option<f64>,
}

/// What keeps something from being answered.
#[derive(Debug, Serialize)]
struct Problem {
    /// "survey", "pour", "down" or "compare"
    about: &'static str,
    message: String,
    /// The file, line and column that it stands in, if there is one.
    file: Option<String>,
    line: Option<u64>,
    column: Option<String>,
}

impl Answer {
    /// Notes what went wrong.
    fn problem(&mut self, about: &'static str, error: &Error) {
        let place = match error {
            Error::Input { place, .. } => Some(place.clone()),
            Error::Argument { .. }
            | Error::Floor { .. }
            | Error::Read { .. }
            | Error::Write { .. } => None,
        };
        // The job file is ours: whoever fills in the form has not seen its lines.
        let message = match error {
            Error::Input {
                place,
                found,
                wanted,
            } if place.file.ends_with(JOB) => {
                format!("found {found}; wanted {wanted}")
            }
            error => error.to_string(),
        };
        self.problems.push(Problem {
            about,
            message,
            file: place.as_ref().map(|place| place.file.clone()),
            line: place.as_ref().and_then(|place| place.line),
            column: place.and_then(|place| place.column),
        });
    }

    /// The floor as it is. Lines that span no floor have no map.
    fn check(&mut self, findings: &Findings, units: System) {
        self.staff = findings.staff;
        self.check = document(&json::check(findings));
        self.check_text = Some(text::check(findings, units));
        self.check_map = maps::check(findings, units).ok();
    }

    fn pour(&mut self, house: &HousePlan, units: System, places: &[[f64; 2]]) {
        let Some(FloorPlan { plan, .. }) = house.floors.first() else {
            return;
        };
        self.check(&plan.findings, units);
        self.pour = document(&json::house(house));
        self.pour_text = Some(text::house(house, units));
        self.pour_map = maps::pour(plan, units).ok();
        self.places = places.iter().map(|&place| depth(plan, place)).collect();
    }

    fn compare(&mut self, found: &Comparison, units: System) {
        self.compare = document(&json::compare(found));
        self.compare_text = Some(text::compare(found, units));
        self.compare_map = maps::compare(found, units).ok();
    }
}

fn document(document: &impl Serialize) -> Option<Value> {
    serde_json::to_value(document).ok()
}

fn depth(plan: &PourPlan, [x_m, y_m]: [f64; 2]) -> Depth {
    let depth = plan.depth_at([x_m, y_m]);
    Depth {
        x_m,
        y_m,
        depth_mm: depth.map(|depth| (depth / MILLIMETRE * 1e4).round() / 1e4),
    }
}

/// Answers a form as JSON text.
pub(super) fn answer(desk: &Desk, progress: &Progress) -> String {
    let mut answer = Answer::default();
    match before(desk, &mut answer, progress) {
        Ok(()) => {
            if let Some(Err(error)) = rest(desk, &mut answer, progress) {
                answer.problem("down", &error);
            }
            if let Some(job) = &desk.compare {
                match run::compare(job, progress) {
                    Ok(found) => answer.compare(&found, desk.units),
                    Err(error) => answer.problem("compare", &error),
                }
            }
        }
        Err(error) => answer.problem("survey", &error),
    }
    match serde_json::to_string(&answer) {
        Ok(text) => without_folders(&text, desk),
        Err(error) => problem(&Error::floor(
            error.to_string(),
            "a finding that can be told",
        )),
    }
}

/// The floor as it is, and its pour if there is a compound.
fn before(desk: &Desk, answer: &mut Answer, progress: &Progress) -> Result<()> {
    match poured(desk, progress) {
        Some(Ok(house)) => {
            answer.pour(&house, desk.units, &desk.places);
            return Ok(());
        }
        Some(Err(error)) => answer.problem("pour", &error),
        None => {}
    }
    let Some(floor) = desk.job.floors.first() else {
        return Ok(());
    };
    match run::check_any(&floor.job(desk.units), progress) {
        Ok(Checked::Floor(findings)) => answer.check(&findings, desk.units),
        Ok(Checked::Edges(found)) => {
            answer.check = document(&json::edge_book(&found));
            answer.check_text = Some(text::edge_book(&found, desk.units));
            answer.check_map = maps::edge_book(&found, desk.units).ok();
        }
        Err(error) => {
            // The survey kept the pour from being planned, too.
            answer.problems.clear();
            return Err(error);
        }
    }
    Ok(())
}

/// The rest of the pour, if some of it is down.
fn rest(desk: &Desk, answer: &mut Answer, progress: &Progress) -> Option<Result<()>> {
    let (floor, down) = (desk.job.floors.first()?, desk.down.as_ref()?);
    answer.pour.as_ref()?;
    let found = floor.pour_job().and_then(|pouring| {
        let job = floor.job(desk.units);
        run::rest(&job, &pouring, &down.file, down.bags, progress)
    });
    Some(found.map(|found| {
        let document = document(&json::rest(&found));
        answer.rest = document.and_then(|mut pour| pour.get_mut("rest").map(Value::take));
        answer.rest_text = Some(text::rest(&found, desk.units));
    }))
}

/// The pour, if there is a compound. Sheets are read first: they are short, and a survey may be long.
fn poured(desk: &Desk, progress: &Progress) -> Option<Result<HousePlan>> {
    let floor = desk.job.floors.first()?;
    let sheets = &floor.settings.compounds;
    if sheets.is_empty() {
        return None;
    }
    let read = |sheet: &String| Compound::read(&Source::new(sheet)?);
    let sheets: Result<Vec<_>> = sheets.iter().map(read).collect();
    Some(sheets.and_then(|_| job::pour(&desk.job, desk.units, progress)))
}

/// An answer that holds nothing but what went wrong.
pub(super) fn problem(error: &Error) -> String {
    let mut answer = Answer::default();
    answer.problem("survey", error);
    serde_json::to_string(&answer).unwrap_or_default()
}

/// Files are told by the names that the user gave them: where they are kept is nobody's business.
pub(super) fn without_folders(text: &str, desk: &Desk) -> String {
    let told = |path: String| {
        let quoted = serde_json::to_string(&path).unwrap_or_default();
        quoted.trim_matches('"').to_owned()
    };
    let surveys = desk
        .job
        .files()
        .filter_map(|file| std::path::Path::new(file).parent());
    let mut folders: Vec<String> = surveys
        .chain([desk.folder.path()])
        .map(|folder| told(format!("{}{}", folder.display(), std::path::MAIN_SEPARATOR)))
        .collect();
    // The deepest first: a folder in a folder is told by neither.
    folders.sort();
    folders.dedup();
    folders.reverse();
    let without = |text: String, folder: &String| text.replace(folder, "");
    folders
        .iter()
        .filter(|folder| folder.len() > 1)
        .fold(text.to_owned(), without)
}

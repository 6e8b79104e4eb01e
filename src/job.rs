//! The job file: a whole job, one floor or several, as TOML.
//!
//! In: the file, see `sample-surveys/weavers-cottage/job.toml`. Out: a [`JobFile`] in SI, from which each floor's
//! [`run::Job`] and [`PourJob`] are made; and [`pour()`], each floor's plan.
//! File names are relative to the job file's folder. They may lead anywhere, since the file is the user's own; whoever
//! takes one from somebody else has to look at [`JobFile::files`] first.

use crate::error::{Error, Place, Result};
use crate::findings::Reference;
use crate::findings::house::Heading;
use crate::pour::FixedLevel;
use crate::run::{self, PourJob};
use crate::survey::{self, Up};
use crate::tolerance::Class;
use crate::units::{LengthUnit, System};

mod house;
mod read;
mod settings;

pub use house::pour;

/// The share of the compound that is lost where nobody says.
pub const USUAL_WASTE: f64 = 0.05;

/// A job as its file describes it.
#[derive(Debug, Clone, PartialEq)]
pub struct JobFile {
    /// The file, as the user named it.
    pub file: String,
    /// What stands at its head.
    pub heading: Heading,
    /// The floors, at least one, in the order in which they are poured.
    pub floors: Vec<Floor>,
}

/// One floor of a job. Names of files are as they are opened; places on the plan are in the survey's coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct Floor {
    /// What it is called; no other floor's name makes the same [`Floor::short_name`].
    pub name: String,
    /// Where in the job file it stands.
    pub place: Place,
    /// The survey's files, at least one.
    pub survey: Vec<String>,
    /// Files of the survey after pouring.
    pub after: Vec<String>,
    /// The room's polygon.
    pub outline: Option<String>,
    /// Which of several floors of a scan: its height, m.
    pub floor_height: Option<f64>,
    /// Bags that were used, one number for each of the compounds; empty where nobody says.
    pub bags_used: Vec<f64>,
    /// The same fixed mark in both surveys.
    pub benchmark: Option<Benchmark>,
    /// What the finish has to meet, with levels as the survey has heights: see [`FixedLevel::local`].
    pub fixed: Vec<FixedLevel>,
    /// How it is measured, judged and poured: its own, or else those of the job.
    pub settings: Settings,
}

/// A fixed mark: its height in each survey, m, or its staff reading where the survey was read off a staff.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Benchmark {
    /// In the survey before pouring.
    pub before: f64,
    /// In the survey after.
    pub after: f64,
}

/// How floors are measured, judged and poured. What nobody said is None, or an empty list.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Settings {
    /// Classes to judge by.
    pub classes: Vec<Class>,
    /// The user's own classes, and the file that they are in.
    pub own_classes: Option<(String, Vec<Class>)>,
    /// Straightedges to lay besides, m.
    pub straightedges: Vec<f64>,
    /// What deviations are measured from.
    pub reference: Option<Reference>,
    /// Standard uncertainty of one height, m.
    pub u: Option<f64>,
    /// Standard uncertainty of the instrument's horizon, m per m.
    pub tilt: Option<f64>,
    /// The unit of heights where the survey does not say.
    pub units: Option<LengthUnit>,
    /// The survey's format, whatever it looks like.
    pub format: Option<&'static str>,
    /// Which axis of a scan points upwards.
    pub up: Option<Up>,
    /// Side of a scan's cells, m.
    pub cell: Option<f64>,
    /// Rise of the instrument's line of sight, m per m.
    pub collimation: Option<f64>,
    /// Compound sheets: deep fill first, what finishes last.
    pub compounds: Vec<String>,
    /// What the finished floor is to be like.
    pub target: Option<Target>,
    /// How high it is to be.
    pub finish: Option<Finish>,
    /// Least depth of compound, m; else the compound's own.
    pub least_depth: Option<f64>,
    /// Whether high spots may be ground down.
    pub grind: Option<bool>,
    /// Share of the compound that is lost.
    pub waste: Option<f64>,
    /// The way out, on the plan, m.
    pub exit: Option<[f64; 2]>,
    /// What is mixed in, m³.
    pub vessel: Option<f64>,
    /// How many hands there are.
    pub crew: Option<u32>,
    /// Where depths are to be set out.
    pub pins: Option<Pins>,
}

/// What a finished floor is to be like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Target {
    /// Level.
    Level,
    /// Flat: with this fall, or else with that of the floor's own best plane.
    Plane(Option<Fall>),
    /// With the least fill that brings it within its straightedge class.
    Least,
}

/// A fall, such as 1:80 towards a drain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fall {
    /// How much it falls, m per m.
    pub slope: f64,
    /// The direction on the plan in which it goes down, of length 1.
    pub downhill: [f64; 2],
}

/// How high a finished floor is to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finish {
    /// At this height of the survey, m, or at this staff reading where it was read off a staff.
    Datum(f64),
    /// With so much compound over the highest spot, m.
    Cover(f64),
}

/// Where depths are to be set out.
#[derive(Debug, Clone, PartialEq)]
pub enum Pins {
    /// On a grid of this pitch, m.
    Every(f64),
    /// At the places in this file.
    Listed(String),
}

impl JobFile {
    /// Every file that the job names, the job file among them.
    pub fn files(&self) -> impl Iterator<Item = &str> {
        let of_floors = self.floors.iter().flat_map(|floor| {
            let settings = &floor.settings;
            let pins = match &settings.pins {
                Some(Pins::Listed(file)) => Some(file),
                Some(Pins::Every(_)) | None => None,
            };
            let surveys = floor.survey.iter().chain(&floor.after);
            let classes = settings.own_classes.iter().map(|(file, _)| file);
            surveys
                .chain(&floor.outline)
                .chain(classes)
                .chain(&settings.compounds)
                .chain(pins)
        });
        of_floors.chain([&self.file]).map(String::as_str)
    }
}

impl Floor {
    /// Its name as part of a file's name: small letters and digits, `ground-floor-hall`.
    pub fn short_name(&self) -> String {
        short_name(&self.name)
    }

    /// What to measure and judge. `units` are those of sentences.
    pub fn job(&self, units: System) -> run::Job {
        let settings = &self.settings;
        run::Job {
            files: self.survey.clone(),
            options: survey::Options {
                units: settings.units,
                up: settings.up.unwrap_or_default(),
                format: settings.format,
                collimation: settings.collimation,
            },
            u: settings.u,
            tilt: settings.tilt,
            cell: settings.cell,
            floor: self.floor_height,
            outline: self.outline.clone(),
            classes: settings.classes.clone(),
            straightedges: settings.straightedges.clone(),
            reference: settings.reference.unwrap_or_default(),
            units,
        }
    }

    /// What to pour.
    ///
    /// # Errors
    /// [`Error::Input`] with the floor's place where no compound is named, or something is asked for that is not done yet.
    pub fn pour_job(&self) -> Result<PourJob> {
        let settings = &self.settings;
        let wrong = |found: &str, wanted: &str| {
            let found = format!("{found} for floor {}", self.name);
            Err(Error::input(self.place.clone(), found, wanted))
        };
        if settings.compounds.is_empty() {
            return wrong("no compound", "compound = \"SHEET.toml\"");
        }
        match settings.target {
            Some(Target::Level) | None => {}
            Some(Target::Plane(_) | Target::Least) => {
                return wrong("a finish that is not level", "target = \"level\"");
            }
        }
        if settings.grind == Some(true) {
            return wrong("grind = true", "a datum or a cover");
        }
        Ok(PourJob {
            compounds: settings.compounds.clone(),
            finish: match (settings.finish, settings.least_depth) {
                (Some(Finish::Datum(datum)), _) => run::Finish::AsRead(datum),
                (Some(Finish::Cover(cover)), _) | (None, Some(cover)) => run::Finish::Cover(cover),
                (None, None) => run::Finish::LeastDepth,
            },
            waste: settings.waste.unwrap_or(USUAL_WASTE),
            exits: settings.exit.into_iter().collect(),
            vessel: settings.vessel,
            crew: settings.crew.map_or(1, |crew| crew as usize),
            pins: match &settings.pins {
                Some(Pins::Every(pitch)) => run::Pins::Grid(*pitch),
                Some(Pins::Listed(file)) => run::Pins::File(file.clone()),
                None => run::Pins::Readings {
                    of_scan: Some(run::USUAL_PITCH),
                },
            },
        })
    }
}

fn short_name(name: &str) -> String {
    let words = name.split(|c: char| !c.is_alphanumeric());
    let words: Vec<String> = words
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    words.join("-")
}

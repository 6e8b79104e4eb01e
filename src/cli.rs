//! The command line: arguments -> [`Job`] -> findings -> outputs, and the exit code.
//!
//! 0: done, every class asked for is met. 1: done, and one is not met or not shown to be met. 2: not done; nothing was
//! written.

mod compare;
mod progress;
mod serve;

use std::ffi::OsStr;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Arg, Args, Parser, Subcommand};

use compare::CompareArgs;
use progress::Progress;
use serve::ServeArgs;

use crate::error::{Error, Result};
use crate::findings::house::FloorPlan;
use crate::findings::{Checked, Reference};
use crate::job::{self, JobFile};
use crate::output::{drawing, files::Files, json, maps, setting_out, text};
use crate::run::{self, Finish, Job, LevelJob, Pins, PourJob, USUAL_PITCH};
use crate::survey::{FORMATS, Options, Source, Up};
use crate::tolerance::{self, Class};
use crate::units::{Length, LengthUnit, Rate, Share, System, Volume};

/// From a measured subfloor to a flat one: how far out it is, whether it meets its class, and what levelling it takes.
#[derive(Parser)]
#[command(version, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Subcommand)]
enum Verb {
    /// One floor, measured: how flat and how level, does it meet the class, where are the high and low spots
    Check(SurveyArgs),
    /// The same floor and a compound: what level to finish at, how much compound, how deep where, mixed and poured in
    /// which order
    Pour(PourArgs),
    /// The floor before and after the pour: thickness laid, was the class reached, do the bags agree
    Compare(CompareArgs),
    /// The same on a local web page, for a tablet or phone on site
    Serve(ServeArgs),
    /// What is in a file, before trusting it
    Describe(SurveyArgs),
    /// Two-peg readings: is the instrument level, and by how much not
    LevelCheck(LevelArgs),
    /// The tolerance classes, each with its limit, how it is measured, and its source
    Classes(ClassesArgs),
}

#[derive(Args)]
struct SurveyArgs {
    /// Files of one floor: readings, or a scan; - reads standard input
    #[arg(required = true, value_name = "SURVEY")]
    files: Vec<String>,
    /// Class to judge by: a name of `lowspot classes`, or GAP@LENGTH such as 3mm@2m (repeatable)
    #[arg(long, value_name = "CLASS")]
    class: Vec<String>,
    /// Your own classes, as the README describes
    #[arg(long, value_name = "FILE.toml")]
    classes: Option<String>,
    /// Lay a straightedge of this length, without asking for a class (repeatable)
    #[arg(long, value_name = "LENGTH", value_parser = positive_length)]
    straightedge: Vec<f64>,
    /// Standard uncertainty of one height
    #[arg(long, value_name = "LENGTH", value_parser = positive_length)]
    u: Option<f64>,
    /// Standard uncertainty of the tilt of the laser plane, such as 0.1mm/m: counts in levels, falls and volumes, and in
    /// no gap
    #[arg(long, value_name = "RATE", value_parser = positive_rate)]
    tilt: Option<f64>,
    /// Unit of heights and scanned points where the file does not say: mm, cm, m, in, ft, usft
    #[arg(long, value_name = "UNIT", value_parser = |text: &str| text.parse::<LengthUnit>())]
    units: Option<LengthUnit>,
    /// Read as this format, whatever the content looks like
    #[arg(long, value_name = "FORMAT", value_parser = format_name)]
    format: Option<&'static str>,
    /// Which axis of a scan points upwards: z, y, -y, x, -x, -z
    #[arg(long, value_name = "AXIS", allow_hyphen_values = true, value_parser = up)]
    up: Option<Up>,
    /// Which of several floors of a scan: its height
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true, value_parser = length)]
    floor: Option<f64>,
    /// Side of a scan's cells
    #[arg(long, value_name = "LENGTH", value_parser = positive_length)]
    cell: Option<f64>,
    /// How much the instrument's line of sight rises, such as 0.05mm/m from `lowspot level-check`: corrects readings by
    /// their sight lengths
    #[arg(long, value_name = "RATE", allow_hyphen_values = true, value_parser = |text: &str| text.parse::<Rate>())]
    collimation: Option<Rate>,
    /// Polygon of the room with holes for columns: CSV or GeoJSON
    #[arg(long, value_name = "FILE")]
    outline: Option<String>,
    /// What deviations are measured from: plane (best fit), zone (minimum zone), level
    #[arg(long, value_name = "PLANE", default_value = "plane", value_parser = reference)]
    reference: Reference,
    /// Show inches and feet
    #[arg(long)]
    imperial: bool,
    /// Print one JSON document instead of the summary
    #[arg(long)]
    json: bool,
    /// Write the map to this file
    #[arg(long, value_name = "FILE.svg")]
    map: Option<PathBuf>,
}

#[derive(Args)]
#[command(mut_args(beside_job))]
struct PourArgs {
    /// A whole job, one floor or several, as the README describes: its files and settings stand in place of the options
    #[arg(long, value_name = "FILE.toml")]
    job: Option<String>,
    #[command(flatten)]
    survey: SurveyArgs,
    /// The compound's data sheet; of several the deepest fill first, the finish last
    #[arg(long, required_unless_present = "job", value_name = "SHEET.toml")]
    compound: Vec<String>,
    /// Finish level at this height of the survey
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true, conflicts_with = "cover", value_parser = length)]
    datum: Option<f64>,
    /// Finish level with this depth over the highest spot; without either, the compound's least depth
    #[arg(long, value_name = "DEPTH", allow_hyphen_values = true, value_parser = length)]
    cover: Option<f64>,
    /// Share of the compound that is lost on the way
    #[arg(long, value_name = "SHARE", default_value = "5%", value_parser = |text: &str| text.parse::<Share>())]
    waste: Share,
    /// The way out, plan metres of the survey; with several, each room is left by the nearest (repeatable)
    #[arg(long, value_name = "X,Y", allow_hyphen_values = true, value_parser = plan_place)]
    exit: Vec<[f64; 2]>,
    /// What a mix is made in; a fifth of it stays free; without it, a bucket of 40 l
    #[arg(long, value_name = "VOLUME", value_parser = positive_volume)]
    vessel: Option<f64>,
    /// How many people mix and pour; one alone does it in turn
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..))]
    crew: u16,
    /// Where the depth is set out: on a grid, such as 1m, or at the places in a file; without it, at the readings (of a
    /// scan, on a grid of 1 m)
    #[arg(long, value_name = "PITCH|FILE.csv", value_parser = pins)]
    pins: Option<Pins>,
    /// Write the depth at every pin to this file
    #[arg(long, value_name = "FILE.csv")]
    pins_out: Option<PathBuf>,
    /// Write pins, contours of the depth and the room to this drawing, to set out from
    #[arg(long, value_name = "FILE.dxf")]
    dxf: Option<PathBuf>,
}

#[derive(Args)]
struct LevelArgs {
    /// Readings of two pegs from two set-ups: columns setup, point, staff, sight; - reads standard input
    #[arg(value_name = "FILE")]
    file: String,
    /// How far the line of sight may be off, such as 0.05mm/m
    #[arg(long, value_name = "RATE", value_parser = positive_rate)]
    limit: Option<f64>,
    /// Standard uncertainty of one reading
    #[arg(long, value_name = "LENGTH", value_parser = positive_length)]
    u: Option<f64>,
    /// Unit of staff readings where the file does not say: mm, cm, m, in, ft, usft
    #[arg(long, value_name = "UNIT", value_parser = |text: &str| text.parse::<LengthUnit>())]
    units: Option<LengthUnit>,
    /// Show inches and feet
    #[arg(long)]
    imperial: bool,
    /// Print one JSON document instead of the summary
    #[arg(long)]
    json: bool,
}

#[derive(Args)]
struct ClassesArgs {
    /// Only classes that contain all of these words
    words: Vec<String>,
    /// Your own classes, as the README describes, listed first
    #[arg(long, value_name = "FILE.toml")]
    classes: Option<String>,
    /// Show inches and feet
    #[arg(long)]
    imperial: bool,
    /// Print one JSON document instead of the table
    #[arg(long)]
    json: bool,
}

/// Beside `--job` stand only options that say what to put out; the others are keys of the job file.
fn beside_job(arg: Arg) -> Arg {
    match arg.get_id().as_str() {
        "job" | "imperial" | "json" | "map" | "pins_out" | "dxf" => arg,
        "files" => arg
            .required(false)
            .required_unless_present("job")
            .conflicts_with("job"),
        _ => arg.conflicts_with("job"),
    }
}

/// The user's own classes, if there is a file of them.
fn own_classes(file: Option<&str>) -> Result<Vec<Class>> {
    file.map_or(Ok(Vec::new()), |file| {
        tolerance::own::read(&Source::new(file)?)
    })
}

fn length(text: &str) -> std::result::Result<f64, String> {
    text.parse::<Length>()
        .map(Length::m)
        .map_err(|error| error.to_string())
}

fn positive_length(text: &str) -> std::result::Result<f64, String> {
    length(text).and_then(|metres| {
        if metres > 0.0 {
            Ok(metres)
        } else {
            Err("wanted a length above zero".to_owned())
        }
    })
}

fn positive_volume(text: &str) -> std::result::Result<f64, String> {
    let Volume(volume) = text.parse::<Volume>().map_err(|error| error.to_string())?;
    if volume > 0.0 {
        Ok(volume)
    } else {
        Err("wanted a volume above zero".to_owned())
    }
}

/// A place on the plan: two numbers with a comma between, m.
fn plan_place(text: &str) -> std::result::Result<[f64; 2], String> {
    let number = |text: &str| {
        text.trim()
            .parse::<f64>()
            .ok()
            .filter(|number| number.is_finite())
    };
    let place = text
        .split_once(',')
        .and_then(|(x, y)| Some([number(x)?, number(y)?]));
    place.ok_or_else(|| "wanted x and y in metres with a comma between, such as 0.5,3.2".to_owned())
}

/// A length is the pitch of a grid, anything else a file.
fn pins(text: &str) -> std::result::Result<Pins, String> {
    match text.parse::<Length>() {
        Ok(pitch) if pitch.m() > 0.0 => Ok(Pins::Grid(pitch.m())),
        Ok(_) => Err("wanted a length above zero".to_owned()),
        Err(_) => Ok(Pins::File(text.to_owned())),
    }
}

fn positive_rate(text: &str) -> std::result::Result<f64, String> {
    let Rate(rate) = text.parse::<Rate>().map_err(|error| error.to_string())?;
    if rate > 0.0 {
        Ok(rate)
    } else {
        Err("wanted a rate above zero".to_owned())
    }
}

fn system(imperial: bool) -> System {
    if imperial {
        System::Imperial
    } else {
        System::Metric
    }
}

fn format_name(text: &str) -> std::result::Result<&'static str, String> {
    let names = || FORMATS.iter().map(|format| format.name);
    names()
        .find(|name| *name == text)
        .ok_or_else(|| format!("wanted one of {}", names().collect::<Vec<_>>().join(", ")))
}

fn up(text: &str) -> std::result::Result<Up, String> {
    one_of(&Up::ALL, text)
}

fn reference(text: &str) -> std::result::Result<Reference, String> {
    one_of(&Reference::ALL, text)
}

fn one_of<T: Copy>(all: &[(&str, T)], text: &str) -> std::result::Result<T, String> {
    let names = || {
        all.iter()
            .map(|(name, _)| *name)
            .collect::<Vec<_>>()
            .join(", ")
    };
    all.iter()
        .find(|(name, _)| *name == text)
        .map(|(_, value)| *value)
        .ok_or_else(|| format!("wanted one of {}", names()))
}

impl SurveyArgs {
    /// # Errors
    /// A file of classes that cannot be read, a class that is not known.
    fn job(&self) -> Result<Job> {
        let own = own_classes(self.classes.as_deref())?;
        let class = |text: &String| {
            tolerance::parse_class(text, &own)
                .map_err(|wanted| Error::argument("--class", format!("'{text}'"), wanted))
        };
        Ok(Job {
            files: self.files.clone(),
            options: Options {
                units: self.units,
                up: self.up.unwrap_or_default(),
                format: self.format,
                collimation: self.collimation.map(|Rate(rate)| rate),
            },
            u: self.u,
            tilt: self.tilt,
            cell: self.cell,
            floor: self.floor,
            outline: self.outline.clone(),
            classes: self.class.iter().map(class).collect::<Result<_>>()?,
            straightedges: self.straightedge.clone(),
            reference: self.reference,
            units: self.system(),
        })
    }

    fn system(&self) -> System {
        system(self.imperial)
    }

    /// Files that must not be written over.
    fn inputs(&self) -> impl Iterator<Item = &Path> {
        self.files
            .iter()
            .chain(&self.outline)
            .chain(&self.classes)
            .map(Path::new)
    }
}

impl PourArgs {
    fn job(&self) -> PourJob {
        let finish = match (self.datum, self.cover) {
            (Some(datum), _) => Finish::Datum(datum),
            (None, Some(cover)) => Finish::Cover(cover),
            (None, None) => Finish::LeastDepth,
        };
        PourJob {
            compounds: self.compound.clone(),
            finish,
            waste: self.waste.0,
            exits: self.exit.clone(),
            vessel: self.vessel,
            crew: usize::from(self.crew),
            pins: self.pins.clone().unwrap_or(self.usual_pins()),
        }
    }

    /// The readings; of a scan a grid, where somebody wants pins at all.
    fn usual_pins(&self) -> Pins {
        let wanted = self.pins_out.is_some() || self.dxf.is_some();
        Pins::Readings {
            of_scan: wanted.then_some(USUAL_PITCH),
        }
    }

    /// Files that must not be written over.
    fn inputs(&self) -> impl Iterator<Item = &Path> {
        let pins = match &self.pins {
            Some(Pins::File(file)) => Some(file),
            Some(Pins::Grid(_) | Pins::Readings { .. }) | None => None,
        };
        let own = self.compound.iter().chain(pins);
        self.survey.inputs().chain(own.map(Path::new))
    }
}

/// Parses the arguments, does what they say, and tells how it ended.
pub fn main() -> ExitCode {
    match act(&Cli::parse().verb) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(error) => {
            anstream::eprintln!("lowspot: {error}");
            ExitCode::from(2)
        }
    }
}

/// Does what a verb says. Returns whether every class asked for is met.
fn act(verb: &Verb) -> Result<bool> {
    match verb {
        Verb::Check(args) => check(args),
        Verb::Pour(args) => pour(args),
        Verb::Compare(args) => compare::compare(args),
        Verb::Serve(args) => serve::serve(args),
        Verb::Describe(args) => describe(args),
        Verb::LevelCheck(args) => level_check(args),
        Verb::Classes(args) => classes(args),
    }
}

/// Does what takes long with a progress bar, which is gone when it is done.
fn with_progress<T>(work: impl FnOnce(&run::Progress) -> Result<T>) -> Result<T> {
    let progress = Progress::new();
    work(&|points, of| progress.more(points, of))
}

fn check(args: &SurveyArgs) -> Result<bool> {
    let found = args
        .job()
        .and_then(|job| with_progress(|progress| run::check_any(&job, progress)))?;
    let units = args.system();
    let mut files = Files::sparing(args.inputs());
    if let Some(path) = &args.map {
        let map = match &found {
            Checked::Floor(findings) => maps::check(findings, units)?,
            Checked::Edges(found) => maps::edge_book(found, units)?,
        };
        files.add(path, map)?;
    }
    let printed = match (&found, args.json) {
        (Checked::Floor(findings), true) => document(&json::check(findings))?,
        (Checked::Floor(findings), false) => text::check(findings, units),
        (Checked::Edges(found), true) => document(&json::edge_book(found))?,
        (Checked::Edges(found), false) => text::edge_book(found, units),
    };
    finish(files, &printed)?;
    Ok(found.all_met())
}

fn pour(args: &PourArgs) -> Result<bool> {
    let survey = &args.survey;
    if let Some(file) = &args.job {
        return pour_job(file, args);
    }
    let plan = survey
        .job()
        .and_then(|job| with_progress(|progress| run::pour(&job, &args.job(), progress)))?;
    let mut files = Files::sparing(args.inputs());
    if let Some(path) = &survey.map {
        files.add(path, maps::pour(&plan, survey.system())?)?;
    }
    if let Some(path) = &args.pins_out {
        files.add(path, setting_out::pins(&plan)?)?;
    }
    if let Some(path) = &args.dxf {
        files.add(path, drawing::pour(&plan)?)?;
    }
    let printed = if survey.json {
        document(&json::pour(&plan))?
    } else {
        text::pour(&plan, survey.system())
    };
    finish(files, &printed)?;
    Ok(plan.findings.all_met())
}

fn pour_job(file: &str, args: &PourArgs) -> Result<bool> {
    let (survey, units) = (&args.survey, args.survey.system());
    let job = JobFile::read(&Source::new(file)?)?;
    let house = with_progress(|progress| job::pour(&job, units, progress))?;
    let mut files = Files::sparing(job.files().map(Path::new));
    for floor in &house.floors {
        if let Some(path) = &survey.map {
            files.add(&of_floor(path, floor), maps::pour(&floor.plan, units)?)?;
        }
        if let Some(path) = &args.pins_out {
            files.add(&of_floor(path, floor), setting_out::pins(&floor.plan)?)?;
        }
        if let Some(path) = &args.dxf {
            files.add(&of_floor(path, floor), drawing::pour(&floor.plan)?)?;
        }
    }
    let printed = if survey.json {
        document(&json::house(&house))?
    } else {
        text::house(&house, units)
    };
    finish(files, &printed)?;
    Ok(house.all_met())
}

/// A floor's own file: `maps.svg` becomes `maps-kitchen.svg`.
fn of_floor(path: &Path, floor: &FloorPlan) -> PathBuf {
    let part = |part: Option<&OsStr>| part.unwrap_or_default().to_string_lossy().into_owned();
    let (stem, extension) = (part(path.file_stem()), part(path.extension()));
    let dot = if extension.is_empty() { "" } else { "." };
    path.with_file_name(format!("{stem}-{}{dot}{extension}", floor.short_name))
}

fn describe(args: &SurveyArgs) -> Result<bool> {
    let description = args
        .job()
        .and_then(|job| with_progress(|progress| run::describe(&job, progress)))?;
    let mut files = Files::sparing(args.inputs());
    if let Some(path) = &args.map {
        files.add(path, maps::describe(&description, args.system())?)?;
    }
    let printed = if args.json {
        document(&json::describe(&description))?
    } else {
        text::describe(&description, args.system())
    };
    finish(files, &printed)?;
    Ok(true)
}

fn level_check(args: &LevelArgs) -> Result<bool> {
    let found = run::level_check(&LevelJob {
        file: args.file.clone(),
        units: args.units,
        u: args.u,
        limit: args.limit,
    })?;
    let printed = if args.json {
        document(&json::level_check(&found))?
    } else {
        text::level_check(&found, system(args.imperial))
    };
    finish(Files::sparing([]), &printed)?;
    Ok(found.met())
}

fn classes(args: &ClassesArgs) -> Result<bool> {
    let wanted: Vec<_> = args.words.iter().map(|word| word.to_lowercase()).collect();
    let found: Vec<_> = own_classes(args.classes.as_deref())?
        .into_iter()
        .chain(tolerance::classes())
        .filter(|class| wanted.iter().all(|word| class.mentions(word)))
        .collect();
    if found.is_empty() {
        return Err(Error::argument(
            "classes",
            args.words.join(" "),
            "words that some class contains",
        ));
    }
    let printed = if args.json {
        document(&json::classes(&found))?
    } else {
        text::classes(&found, system(args.imperial))
    };
    finish(Files::sparing([]), &printed)?;
    Ok(true)
}

fn document(value: &impl serde::Serialize) -> Result<String> {
    let fail = |source: serde_json::Error| Error::Write {
        file: "standard output".to_owned(),
        source: source.into(),
    };
    Ok(serde_json::to_string_pretty(value).map_err(fail)? + "\n")
}

/// Writes the files, then prints. A reader of standard output that has gone away is no error.
fn finish(files: Files, printed: &str) -> Result<()> {
    files.write()?;
    let mut out = anstream::stdout().lock();
    match out.write_all(printed.as_bytes()).and_then(|()| out.flush()) {
        Err(source) if source.kind() != std::io::ErrorKind::BrokenPipe => Err(Error::Write {
            file: "standard output".to_owned(),
            source,
        }),
        _ => Ok(()),
    }
}

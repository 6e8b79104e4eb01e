//! The verb `pour`: its arguments, and the questions that it answers.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use clap::{Arg, Args};

use super::survey::SurveyArgs;
use super::values::{length, one_of, place, positive_length, positive_rate, positive_volume};
use super::{document, finish, with_progress};
use crate::error::{Error, Result};
use crate::findings::house::FloorPlan;
use crate::job::{self, JobFile};
use crate::output::{drawing, files::Files, json, maps, setting_out, text};
use crate::pour::cost::GrindRate;
use crate::run::{self, Fall, Finish, Pins, PourJob, Shape, USUAL_PITCH};
use crate::survey::Source;
use crate::units::{Area, Length, Share};

#[derive(Args)]
#[command(mut_args(beside_job))]
pub(super) struct PourArgs {
    /// A whole job, one floor or several, as the README describes: its files and settings stand in place of the options
    #[arg(long, value_name = "FILE.toml")]
    job: Option<String>,
    #[command(flatten)]
    pub(super) survey: SurveyArgs,
    /// The compound's data sheet; of several the deepest fill first, the finish last
    #[arg(long, required_unless_present = "job", value_name = "SHEET.toml")]
    compound: Vec<String>,
    /// What to finish to: level, plane (flat, with a fall), least (no more than the classes need)
    #[arg(long, value_name = "TARGET", default_value = "level", value_parser = target)]
    target: TargetKind,
    /// With --target plane: how much it falls, such as 1:80 or 12.5mm/m; without, as the floor's own best plane
    #[arg(long, value_name = "RATE", requires = "towards", value_parser = positive_rate)]
    fall: Option<f64>,
    /// Where it falls to, such as a drain: its place on the plan, in metres
    #[arg(long, value_name = "X,Y", allow_hyphen_values = true, requires = "fall", value_parser = place)]
    towards: Option<[f64; 2]>,
    /// Finish at this height of the survey; with --towards, at this height there
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true, conflicts_with = "cover", value_parser = length)]
    datum: Option<f64>,
    /// Finish with this depth over the highest spot; without either, the compound's least depth or, with --grind, what
    /// costs least
    #[arg(long, value_name = "DEPTH", allow_hyphen_values = true, value_parser = length)]
    cover: Option<f64>,
    /// Where compound is poured at all it is at least so deep; without, as its sheet says
    #[arg(long, value_name = "DEPTH", value_parser = positive_length)]
    least_depth: Option<f64>,
    /// High spots may come down, at this price for an area or a volume, such as "25 EUR/m2" or "4 EUR/l"
    #[arg(long, value_name = "PRICE", value_parser = |text: &str| text.parse::<GrindRate>())]
    grind: Option<GrindRate>,
    /// Share of the compound that is lost on the way
    #[arg(long, value_name = "SHARE", default_value = "5%", value_parser = |text: &str| text.parse::<Share>())]
    waste: Share,
    /// The way out, plan metres of the survey; with several, each room is left by the nearest (repeatable)
    #[arg(long, value_name = "X,Y", allow_hyphen_values = true, value_parser = place)]
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
    /// So many bags are there: what level do they reach, is it enough, and which part would they do?
    #[arg(long, value_name = "N", conflicts_with_all = ["map", "pins_out", "dxf"],
          value_parser = clap::value_parser!(u64).range(1..=MOST_BAGS))]
    bags: Option<u64>,
    /// While pouring: the batches that are down, with the bags used and depths measured if you have them: is the rest
    /// enough, and what is next? --bags is then what was on site before the first mix
    #[arg(long, value_name = "FILE", requires = "exit", conflicts_with_all = ["map", "pins_out", "dxf"])]
    poured: Option<String>,
    /// With no survey: an area, such as 3m2 or 32sqft, to be filled to --depth
    #[arg(long, value_name = "AREA", requires = "depth",
          conflicts_with_all = ["files", "datum", "cover", "class", "straightedge", "outline", "map", "pins", "pins_out", "dxf", "exit", "crew", "bags", "poured"],
          value_parser = |text: &str| text.parse::<Area>())]
    area: Option<Area>,
    /// How deep --area is to be filled
    #[arg(long, value_name = "DEPTH", requires = "area", value_parser = positive_length)]
    depth: Option<f64>,
}

/// More bags than this nobody has.
const MOST_BAGS: u64 = 1_000_000;

/// Beside `--job` stand only options that say what to put out; the others are keys of the job file.
fn beside_job(arg: Arg) -> Arg {
    match arg.get_id().as_str() {
        "job" | "imperial" | "json" | "map" | "pins_out" | "dxf" => arg,
        "files" => arg
            .required(false)
            .required_unless_present_any(["job", "area"])
            .conflicts_with("job"),
        _ => arg.conflicts_with("job"),
    }
}

/// A length is the pitch of a grid, anything else a file.
fn pins(text: &str) -> std::result::Result<Pins, String> {
    match text.parse::<Length>() {
        Ok(pitch) if pitch.m() > 0.0 => Ok(Pins::Grid(pitch.m())),
        Ok(_) => Err("wanted a length above zero".to_owned()),
        Err(_) => Ok(Pins::File(text.to_owned())),
    }
}

/// Which surface to finish to.
#[derive(Clone, Copy)]
enum TargetKind {
    Level,
    Plane,
    Least,
}

fn target(text: &str) -> std::result::Result<TargetKind, String> {
    let all = [
        ("level", TargetKind::Level),
        ("plane", TargetKind::Plane),
        ("least", TargetKind::Least),
    ];
    one_of(&all, text)
}

impl PourArgs {
    /// # Errors
    /// A fall without a plane to fall.
    fn job(&self) -> Result<PourJob> {
        let fall = self.fall.zip(self.towards);
        let fall = fall.map(|(rate, towards)| Fall { rate, towards });
        let shape = match (self.target, fall) {
            (TargetKind::Plane, fall) => Shape::Plane(fall),
            (TargetKind::Level, None) => Shape::Level,
            (TargetKind::Least, None) => Shape::Least,
            (TargetKind::Level | TargetKind::Least, Some(_)) => {
                let found = "a fall with a --target that has none";
                return Err(Error::argument("--fall", found, "--target plane"));
            }
        };
        let finish = match (self.datum, self.cover) {
            (Some(datum), _) => Finish::Datum(datum),
            (None, Some(cover)) => Finish::Cover(cover),
            (None, None) => Finish::LeastDepth,
        };
        Ok(PourJob {
            compounds: self.compound.clone(),
            shape,
            finish,
            waste: self.waste.0,
            exits: self.exit.clone(),
            vessel: self.vessel,
            crew: usize::from(self.crew),
            pins: self.pins.clone().unwrap_or(self.usual_pins()),
            least_depth: self.least_depth,
            grind: self.grind.clone(),
            fixed: Vec::new(),
        })
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

pub(super) fn pour(args: &PourArgs) -> Result<bool> {
    if let (Some(Area(area)), Some(depth)) = (args.area, args.depth) {
        return pour_area(args, area, depth);
    }
    if let Some(poured) = &args.poured {
        return rest(args, poured);
    }
    if let Some(bags) = args.bags {
        return reach(args, bags);
    }
    let survey = &args.survey;
    if let Some(file) = &args.job {
        return pour_job(file, args);
    }
    let (job, pouring) = (survey.job()?, args.job()?);
    let plan = with_progress(|progress| run::pour(&job, &pouring, progress))?;
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

/// How far so many bags reach.
fn reach(args: &PourArgs, bags: u64) -> Result<bool> {
    let survey = &args.survey;
    let (job, pouring) = (survey.job()?, args.job()?);
    let reached = with_progress(|progress| run::reach(&job, &pouring, bags, progress))?;
    let printed = if survey.json {
        document(&json::reach(&reached))?
    } else {
        text::reach(&reached, survey.system())
    };
    finish(Files::sparing([]), &printed)?;
    Ok(reached.all_met())
}

/// The rest of a pour, some of which is down. Returns whether no class forbids the step that it leaves.
fn rest(args: &PourArgs, poured: &str) -> Result<bool> {
    let survey = &args.survey;
    let (job, pouring) = (survey.job()?, args.job()?);
    let rest = with_progress(|progress| run::rest(&job, &pouring, poured, args.bags, progress))?;
    let printed = if survey.json {
        document(&json::rest(&rest))?
    } else {
        text::rest(&rest, survey.system())
    };
    finish(Files::sparing([]), &printed)?;
    Ok(rest.step_over.is_empty())
}

/// What an area at a depth takes, with no survey.
fn pour_area(args: &PourArgs, area: f64, depth: f64) -> Result<bool> {
    let plan = run::pour_area(area, depth, &args.job()?)?;
    let printed = if args.survey.json {
        document(&json::pour_area(&plan))?
    } else {
        text::pour_area(&plan, args.survey.system())
    };
    finish(Files::sparing([]), &printed)?;
    Ok(true)
}

//! The command line: arguments -> [`Job`] -> findings -> outputs, and the exit code.
//!
//! 0: done, every class asked for is met. 1: done, and one is not met or not shown to be met. 2: not done; nothing was
//! written.

mod compare;
mod handover;
mod pour;
mod progress;
mod stop;
mod survey;
mod values;

use std::io::Write as _;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use clap::{Args, Parser, Subcommand};

use compare::CompareArgs;
use handover::HandoverArgs;
use pour::PourArgs;
use progress::Progress;
use survey::SurveyArgs;
use values::{positive_length, positive_rate};

use crate::error::{Error, Result};
use crate::findings::Checked;
use crate::output::files::{Beside, Files};
use crate::output::{json, maps, text};
use crate::run::{self, LevelJob};
use crate::survey::Source;
use crate::tolerance::{self, Class};
use crate::units::{LengthUnit, System};

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
    Pour(Box<PourArgs>),
    /// The floor before and after the pour: thickness laid, was the class reached, do the bags agree
    Compare(CompareArgs),
    /// Everything of a job in one folder: report, maps, setting-out tables, results
    Handover(HandoverArgs),
    /// What is in a file, before trusting it
    Describe(SurveyArgs),
    /// Two-peg readings: is the instrument level, and by how much not
    LevelCheck(LevelArgs),
    /// The tolerance classes, each with its limit, how it is measured, and its source
    Classes(ClassesArgs),
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

/// The user's own classes, if there is a file of them.
fn own_classes(file: Option<&str>) -> Result<Vec<Class>> {
    file.map_or(Ok(Vec::new()), |file| {
        tolerance::own::read(&Source::new(file)?)
    })
}

fn system(imperial: bool) -> System {
    if imperial {
        System::Imperial
    } else {
        System::Metric
    }
}

/// Parses the arguments, does what they say, and tells how it ended.
pub fn main() -> ExitCode {
    let done = match Cli::try_parse() {
        Ok(cli) => act(&cli.verb),
        Err(other) if other.use_stderr() => other.exit(),
        // Help, or the version.
        Err(asked) => printed(&asked.render().ansi().to_string()).map(|()| true),
    };
    match done {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(error) => {
            // Where not even this can be said, the exit code says it.
            let _ = writeln!(anstream::stderr(), "lowspot: {error}");
            ExitCode::from(2)
        }
    }
}

/// Does what a verb says. Returns whether every class asked for is met.
fn act(verb: &Verb) -> Result<bool> {
    match verb {
        Verb::Check(args) => check(args),
        Verb::Pour(args) => pour::pour(args),
        Verb::Compare(args) => compare::compare(args),
        Verb::Handover(args) => handover::handover(args),
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
    finish(Files::sparing([Path::new(&args.file)]), &printed)?;
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
    finish(Files::sparing(args.classes.iter().map(Path::new)), &printed)?;
    Ok(true)
}

fn document(value: &impl serde::Serialize) -> Result<String> {
    let fail = |source: serde_json::Error| Error::Write {
        file: "standard output".to_owned(),
        source: source.into(),
    };
    Ok(serde_json::to_string_pretty(value).map_err(fail)? + "\n")
}

/// Writes the files and prints; only when both have gone well are the files in their places.
fn finish(files: Files, text: &str) -> Result<()> {
    let beside = Arc::new(Beside::default());
    stop::on_stop(&beside, |beside, end| beside.give_up(end));
    files.write_beside(&beside)?;
    printed(text)?;
    beside.keep()
}

/// Prints. A reader of standard output that has gone away is no error.
fn printed(text: &str) -> Result<()> {
    let mut out = anstream::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(source) if source.kind() != std::io::ErrorKind::BrokenPipe => Err(Error::Write {
            file: "standard output".to_owned(),
            source,
        }),
        _ => Ok(()),
    }
}

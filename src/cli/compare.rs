//! The verb `compare`: its arguments, and what is done with them.

use std::path::Path;

use clap::{ArgAction, Args};

use super::survey::SurveyArgs;
use super::values::{format_name, length, positive_length};
use super::{document, finish, with_progress};
use crate::error::Result;
use crate::output::{files::Files, json, maps, text};
use crate::run::{self, CompareJob, Job, NotPoured, Zero};
use crate::units::LengthUnit;

#[derive(Args)]
#[command(mut_arg("files", |files| files
    .value_names(["BEFORE", "AFTER"])
    .num_args(2)
    .action(ArgAction::Set)
    .help("The surveys before and after the pour, on the same plan coordinates; - reads standard input")))]
pub(super) struct CompareArgs {
    #[command(flatten)]
    survey: SurveyArgs,
    /// What the survey before read on a mark that stays where it is: a height, or a staff reading if it has those
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true, requires = "benchmark_after", value_parser = length)]
    benchmark_before: Option<f64>,
    /// What the survey after read on the same mark
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true, requires = "benchmark_before", value_parser = length)]
    benchmark_after: Option<f64>,
    /// Where nothing was poured: X,Y in metres, or the name of a point in both surveys (repeatable)
    #[arg(
        long,
        value_name = "X,Y|POINT",
        allow_hyphen_values = true,
        conflicts_with = "benchmark_before"
    )]
    not_poured: Vec<String>,
    /// The compound's data sheet: least depth, and what a bag makes
    #[arg(long, value_name = "SHEET.toml")]
    compound: Option<String>,
    /// How many bags were used
    #[arg(long, value_name = "N", requires = "compound", value_parser = bags)]
    bags_used: Option<f64>,
    /// Standard uncertainty of one height of the survey after, where it differs
    #[arg(long, value_name = "LENGTH", value_parser = positive_length)]
    u_after: Option<f64>,
    /// Unit of the survey after, where it differs
    #[arg(long, value_name = "UNIT", value_parser = |text: &str| text.parse::<LengthUnit>())]
    units_after: Option<LengthUnit>,
    /// Format of the survey after, where it differs
    #[arg(long, value_name = "FORMAT", value_parser = format_name)]
    format_after: Option<&'static str>,
}

fn bags(text: &str) -> std::result::Result<f64, String> {
    let count = text.trim().parse::<f64>().ok();
    count
        .filter(|count| count.is_finite() && *count >= 0.0)
        .ok_or_else(|| "wanted a number of bags, such as 13 or 12.5".to_owned())
}

impl CompareArgs {
    fn job(&self) -> Result<CompareJob> {
        let both = self.survey.job()?;
        let of = |file: Option<&String>| file.into_iter().cloned().collect();
        let mut after = Job {
            files: of(both.files.get(1)),
            u: self.u_after.or(both.u),
            ..both.clone()
        };
        after.options.units = self.units_after.or(both.options.units);
        after.options.format = self.format_after.or(both.options.format);
        let zero = match (self.benchmark_before, self.benchmark_after) {
            (Some(before), Some(after)) => Zero::Benchmark { before, after },
            _ if self.not_poured.is_empty() => Zero::Unknown,
            _ => Zero::NotPoured(
                self.not_poured
                    .iter()
                    .map(|text| NotPoured::parse(text))
                    .collect(),
            ),
        };
        Ok(CompareJob {
            before: Job {
                files: of(both.files.first()),
                ..both
            },
            after,
            zero,
            compound: self.compound.clone(),
            bags_used: self.bags_used,
        })
    }
}

pub(super) fn compare(args: &CompareArgs) -> Result<bool> {
    let survey = &args.survey;
    let found = args
        .job()
        .and_then(|job| with_progress(|progress| run::compare(&job, progress)))?;
    let compound = args.compound.iter().map(Path::new);
    let mut files = Files::sparing(survey.inputs().chain(compound));
    if let Some(path) = &survey.map {
        files.add(path, maps::compare(&found, survey.system())?)?;
    }
    let printed = if survey.json {
        document(&json::compare(&found))?
    } else {
        text::compare(&found, survey.system())
    };
    finish(files, &printed)?;
    Ok(found.after.all_met())
}

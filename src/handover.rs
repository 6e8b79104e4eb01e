//! A whole job: each floor as it was, the compound that it takes, and the floor as it is after the pour.
//!
//! In: a [`JobFile`]. Out: a [`Handover`], from which [`crate::output::bundle`] makes its files. File names in it are from the
//! job file's folder, so that it is the same wherever the job lies.

use std::path::Path;

use crate::error::Result;
use crate::findings::Comparison;
use crate::findings::handover::{AfterPour, Handover, InputFile};
use crate::job::{self, Floor, JobFile};
use crate::output::report::NO_BENCHMARK;
use crate::run::{self, CompareJob, Job, Progress, Zero};
use crate::survey::{Input, Source};
use crate::units::System;

/// Works a job out. `units` are those of sentences.
///
/// # Errors
/// As [`job::pour`] and [`run::compare`].
pub fn handover(job: &JobFile, units: System, progress: &Progress) -> Result<Handover> {
    let sources = sources(job)?;
    let mut house = job::pour(job, units, progress)?;
    for floor in &mut house.floors {
        rename(&mut floor.plan.findings.inputs, job);
    }
    let after = job
        .floors
        .iter()
        .map(|floor| {
            let compared = after(floor, units, progress)?;
            Ok(compared.map(|mut compared| {
                rename(&mut compared.before.inputs, job);
                rename(&mut compared.after.inputs, job);
                AfterPour {
                    compared,
                    bags_used: floor.bags_used.clone(),
                }
            }))
        })
        .collect::<Result<_>>()?;
    Ok(Handover {
        house,
        after,
        inputs: inputs(job, &sources)?,
    })
}

/// A floor before and after its pour, if it was surveyed afterwards. How many bags of several compounds the floor shows
/// cannot be told apart.
fn after(floor: &Floor, units: System, progress: &Progress) -> Result<Option<Comparison>> {
    if floor.after.is_empty() {
        return Ok(None);
    }
    let before = floor.job(units);
    let compounds = &floor.settings.compounds;
    let one = compounds.len() == 1;
    let mut compared = run::compare(
        &CompareJob {
            after: Job {
                files: floor.after.clone(),
                ..before.clone()
            },
            before,
            zero: floor
                .benchmark
                .map_or(Zero::Unknown, |mark| Zero::Benchmark {
                    before: mark.before,
                    after: mark.after,
                }),
            compound: compounds.last().cloned(),
            bags_used: floor.bags_used.first().copied().filter(|_| one),
        },
        progress,
    )?;
    if floor.benchmark.is_none() {
        compared.laid = Err(NO_BENCHMARK.to_owned());
    }
    Ok(Some(compared))
}

fn rename(inputs: &mut [Input], job: &JobFile) {
    for input in inputs {
        input.file = from_folder(&input.file, job);
    }
}

/// A file's name from the job file's folder.
fn from_folder(file: &str, job: &JobFile) -> String {
    let folder = Path::new(&job.file).parent().unwrap_or(Path::new(""));
    let inside = Path::new(file).strip_prefix(folder).ok();
    inside.map_or_else(|| file.to_owned(), |inside| inside.display().to_string())
}

/// Every file of the job, each once.
fn sources(job: &JobFile) -> Result<Vec<Source>> {
    let mut names: Vec<&str> = job.files().collect();
    names.sort_unstable();
    names.dedup();
    names.into_iter().map(Source::new).collect()
}

/// The same for the record, if they are still what they were.
fn inputs(job: &JobFile, sources: &[Source]) -> Result<Vec<InputFile>> {
    let input = |source: &Source| {
        Ok(InputFile {
            sha256: source.sha256()?,
            file: from_folder(source.name(), job),
        })
    };
    let mut inputs = sources.iter().map(input).collect::<Result<Vec<_>>>()?;
    inputs.sort();
    Ok(inputs)
}

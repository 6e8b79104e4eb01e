//! The verb `handover`: its arguments, and what is done with them.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use super::{printed, stop, system, with_progress};
use crate::error::Result;
use crate::handover;
use crate::job::JobFile;
use crate::output::folder::Replacement;
use crate::output::place::Inputs;
use crate::output::{bundle, text};
use crate::survey::Source;

#[derive(Args)]
pub(super) struct HandoverArgs {
    /// The whole job, one floor or several, as the README describes
    #[arg(value_name = "JOB.toml")]
    job: String,
    /// The folder for the bundle: a new one, or that of an earlier handover, which is replaced whole
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Show inches and feet
    #[arg(long)]
    imperial: bool,
}

pub(super) fn handover(args: &HandoverArgs) -> Result<bool> {
    let units = system(args.imperial);
    let job = JobFile::read(&Source::new(&args.job)?)?;
    let inputs = Inputs::at(job.files().map(Path::new));
    let bundle = Arc::new(Replacement::of(&args.out, inputs)?);
    let found = with_progress(|progress| handover::handover(&job, units, progress))?;
    let files = bundle::files(&found, units)?;
    stop::on_stop(&bundle, |bundle, end| bundle.give_up(end));
    bundle.write(&files)?;
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    printed(&text::handover(
        &found,
        &args.out.display().to_string(),
        &names,
    ))?;
    bundle.keep()?;
    Ok(found.all_met())
}

//! The verb `handover`: its arguments, and what is done with them.

use std::path::PathBuf;

use clap::Args;

use super::{printed, system, with_progress};
use crate::error::Result;
use crate::handover;
use crate::job::JobFile;
use crate::output::{bundle, folder, text};
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
    folder::may_be_replaced(&args.out)?;
    let job = JobFile::read(&Source::new(&args.job)?)?;
    let found = with_progress(|progress| handover::handover(&job, units, progress))?;
    let files = bundle::files(&found, units)?;
    folder::replace(&args.out, &files)?;
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    printed(&text::handover(
        &found,
        &args.out.display().to_string(),
        &names,
    ))?;
    Ok(found.all_met())
}

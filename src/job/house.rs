//! A whole job poured: each floor its plan, one order in all.

use super::{Floor, JobFile};
use crate::error::{Error, Result};
use crate::findings::house::{FloorPlan, HousePlan};
use crate::run::{self, Progress};
use crate::units::System;

/// Each floor of a job with the compound that it takes. `units` are those of sentences.
///
/// # Errors
/// As [`run::pour`], with the floor's place in the job file where the floor itself is at fault.
pub fn pour(job: &JobFile, units: System, progress: &Progress) -> Result<HousePlan> {
    // How much there is to read is known of one floor at a time only.
    let several = job.floors.len() > 1;
    let progress = |points, of: Option<u64>| progress(points, of.filter(|_| !several));
    let floor = |floor: &Floor| {
        let pouring = floor.pour_job()?;
        let plan = run::pour(&floor.job(units), &pouring, &progress)
            .map_err(|error| at_floor(error, floor))?;
        Ok(FloorPlan {
            name: floor.name.clone(),
            short_name: floor.short_name(),
            plan,
        })
    };
    Ok(HousePlan {
        heading: job.heading.clone(),
        floors: job.floors.iter().map(floor).collect::<Result<_>>()?,
    })
}

/// An error that has no place of its own gets that of the floor.
fn at_floor(error: Error, floor: &Floor) -> Error {
    match error {
        Error::Floor { found, wanted, .. } | Error::Argument { found, wanted, .. } => {
            let found = format!("{found}, for floor {}", floor.name);
            Error::input(floor.place.clone(), found, wanted)
        }
        error @ (Error::Input { .. } | Error::Read { .. } | Error::Write { .. }) => error,
    }
}

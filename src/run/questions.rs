//! Questions asked on site, each with its own answer.
//!
//! How far so many bags reach; what an area at a depth takes.

use super::pour::sheets;
use super::{Job, PourJob, Progress, along, pour};
use crate::error::{Error, Result};
use crate::findings::{AreaPlan, Findings, Reached};
use crate::flatness::along::Along;
use crate::flatness::sample_lines::SampleLine;
use crate::flatness::verdict::Judged;
use crate::flatness::{f_numbers, straightedge, verdict, waviness};
use crate::pour::even::pour_evenly;
use crate::pour::mixes::USUAL_VESSEL;
use crate::pour::{Target, reach};
use crate::surface::Outline;

/// What `bags` do for a floor: the level they reach, whether that is enough, and which part they do at the level asked for,
/// starting farthest from the ways out.
///
/// # Errors
/// As [`pour()`] and [`reach::reach`]; [`Error::Argument`] for several compounds.
pub fn reach(job: &Job, pouring: &PourJob, bags: u64, progress: &Progress) -> Result<Reached> {
    let plan = pour(job, pouring, progress)?;
    let [compound] = plan.compounds.as_slice() else {
        let found = format!("bags of {} compounds", plan.compounds.len());
        return Err(Error::argument("--bags", found, "one --compound"));
    };
    let surface = &plan.findings.surface;
    let exits = &plan.mixing.site.exits;
    let asked = &plan.pour.target;
    let reach = reach::reach(surface, asked, compound, pouring.waste, bags, exits)?;
    Ok(Reached {
        judged: judge_filled(job, &plan.findings, &reach.target),
        reach,
        plan,
    })
}

/// Judges the floor as it would be, filled to `target`.
fn judge_filled(job: &Job, findings: &Findings, target: &Target) -> Vec<Judged> {
    if job.classes.is_empty() {
        return Vec::new();
    }
    let surface = reach::filled(&findings.surface, target);
    let laid: Vec<_> = job
        .edges()
        .into_iter()
        .map(|length| straightedge::lay(&surface.field, length))
        .collect();
    let lines: Vec<_> = findings
        .sample_lines
        .iter()
        .map(|line| filled_line(line, target))
        .collect();
    let measured = match &findings.f_numbers {
        Err(reason) if lines.is_empty() => Err(reason.clone()),
        Ok(_) | Err(_) => Ok(lines.clone()),
    };
    let room = surface.outline.as_ref().map_or(surface.area, Outline::area);
    let f_numbers = along(&measured, |lines| {
        f_numbers::measure(lines, Some(room), job.units)
    });
    let waviness = along(&measured, |lines| waviness::measure(lines, job.units));
    let numbers = Along::of(&f_numbers, &waviness, &lines);
    verdict::judge_all(&job.classes, &laid, &numbers, &surface, job.units)
}

/// A sample line with everything below `target` filled up to it.
fn filled_line(line: &SampleLine, target: &Target) -> SampleLine {
    let Some([[x0, y0], [x1, y1]]) = line.ends else {
        return line.clone();
    };
    let last = line.heights.len().saturating_sub(1).max(1) as f64;
    let filled = |(number, &z): (usize, &f64)| {
        let t = number as f64 / last;
        let position = [x0 + t * (x1 - x0), y0 + t * (y1 - y0), z];
        z + target.depth_over(position).max(0.0)
    };
    SampleLine {
        heights: line.heights.iter().enumerate().map(filled).collect(),
        ..line.clone()
    }
}

/// What `depth` (m) over `area` (m²) takes, with no survey: of `pouring` compounds, waste and vessel.
///
/// # Errors
/// A compound sheet that cannot be read or contradicts itself; as [`pour_evenly`].
pub fn pour_area(area: f64, depth: f64, pouring: &PourJob) -> Result<AreaPlan> {
    let compounds = sheets(&pouring.compounds)?;
    let vessel = pouring.vessel.unwrap_or(USUAL_VESSEL);
    let pour = pour_evenly(area, depth, &compounds, pouring.waste, vessel)?;
    Ok(AreaPlan { compounds, pour })
}

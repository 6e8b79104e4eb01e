//! From a floor and compounds to the plan of a pour.
//!
//! floor -> target -> volumes, layers, orders, depths -> mixes and batches.

use super::{Job, Progress, check, has_plan};
use crate::error::{Error, Result};
use crate::findings::PourPlan;
use crate::pour::mixes::USUAL_VESSEL;
use crate::pour::mixing::Site;
use crate::pour::{self, Compound, target};
use crate::survey::Source;

/// What is to be poured.
#[derive(Debug, Clone)]
pub struct PourJob {
    /// The compound sheets' files: the deepest fill first, the finish last.
    pub compounds: Vec<String>,
    /// Where to finish.
    pub finish: Finish,
    /// Share of the compound that is lost.
    pub waste: f64,
    /// `--exit`: ways out, plan metres of the survey.
    pub exits: Vec<[f64; 2]>,
    /// `--vessel`: what a mix is made in, m³; None: [`USUAL_VESSEL`].
    pub vessel: Option<f64>,
    /// `--crew`: how many people mix and pour.
    pub crew: usize,
}

/// The level to finish at, as asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finish {
    /// `--datum`: a height of the survey, m.
    Datum(f64),
    /// `--cover`: over the highest spot, m.
    Cover(f64),
    /// The compound's least depth over the highest spot.
    LeastDepth,
}

/// The same floor and a compound: what level to finish at, how much it takes, how deep at every pin, in which
/// mixes it is poured where.
///
/// # Errors
/// As [`check`]; a compound sheet that cannot be read or contradicts itself; a target that nothing can be poured to; a
/// vessel too small for half a bag.
pub fn pour(job: &Job, pouring: &PourJob, progress: &Progress) -> Result<PourPlan> {
    let sheets = pouring.compounds.iter();
    let compounds = sheets
        .map(|file| Compound::read(&Source::new(file)?))
        .collect::<Result<Vec<_>>>()?;
    let Some(finish) = compounds.last() else {
        return Err(Error::argument("--compound", "no sheet", "at least one"));
    };
    let findings = check(job, progress)?;
    let surface = &findings.surface;
    has_plan(surface)?;
    let target = match pouring.finish {
        Finish::Datum(datum) => target::level_from_datum(surface, datum),
        Finish::Cover(cover) => target::level_from_cover(surface, cover)?,
        Finish::LeastDepth => target::level_from_cover(surface, finish.least_depth)?,
    };
    let mut pour = pour::pour(surface, target, &compounds, pouring.waste)?;
    let [x0, y0, _] = surface.origin;
    let site = Site {
        vessel: pouring.vessel.unwrap_or(USUAL_VESSEL),
        crew: pouring.crew,
        exits: pouring
            .exits
            .iter()
            .map(|[x, y]| [x - x0, y - y0])
            .collect(),
    };
    let mixing = pour::mixing(surface, &pour, &compounds, pouring.waste, site)?;
    mixing.cover(&mut pour, &compounds);
    let depths = (0..surface.field.z.len())
        .map(|node| {
            let [x, y] = surface.field.position(node);
            let z = surface.field.z[node];
            if z.is_finite() {
                pour.target.depth_over([x, y, z])
            } else {
                f64::NAN
            }
        })
        .collect();
    Ok(PourPlan {
        compounds,
        pour,
        mixing,
        depths,
        findings,
    })
}

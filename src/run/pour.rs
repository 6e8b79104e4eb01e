//! From a floor and compounds to the plan of a pour.
//!
//! floor -> target -> volumes, layers, orders, depths -> mixes and batches.

use super::{Job, Progress, check, has_plan};
use crate::error::{Error, Result, Warning};
use crate::findings::PourPlan;
use crate::pour::mixes::USUAL_VESSEL;
use crate::pour::mixing::Site;
use crate::pour::{self, Compound, Pin, Target, pins, target};
use crate::surface::{Kind, Surface};
use crate::survey::{Source, places};

/// Where a scan is set out if nobody says where, m: a tape is read at whole metres.
pub const USUAL_PITCH: f64 = 1.0;

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
    /// Where the depth is set out.
    pub pins: Pins,
}

/// Where pins are wanted.
#[derive(Debug, Clone, PartialEq)]
pub enum Pins {
    /// At every reading.
    Readings {
        /// A scan has none: then on a grid of so many metres, if any.
        of_scan: Option<f64>,
    },
    /// `--pins 1m`: on a grid of so many metres.
    Grid(f64),
    /// `--pins FILE.csv`: at the places in a file.
    File(String),
}

/// The level to finish at, as asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finish {
    /// `--datum`: a height of the survey, m.
    Datum(f64),
    /// As the survey has heights, m: a staff reading where it was read off a staff.
    AsRead(f64),
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
    let compounds = sheets(&pouring.compounds)?;
    let Some(finish) = compounds.last() else {
        return Err(Error::argument("--compound", "no sheet", "at least one"));
    };
    let mut findings = check(job, progress)?;
    let surface = &findings.surface;
    has_plan(surface)?;
    let target = match pouring.finish {
        Finish::Datum(datum) => target::level_from_datum(surface, datum),
        Finish::AsRead(reading) if findings.staff => target::level_from_datum(surface, -reading),
        Finish::AsRead(height) => target::level_from_datum(surface, height),
        Finish::Cover(cover) => target::level_from_cover(surface, cover)?,
        Finish::LeastDepth => target::level_from_cover(surface, finish.least_depth)?,
    };
    let on_highest = match pouring.finish {
        Finish::Datum(_) | Finish::AsRead(_) => false,
        Finish::Cover(_) | Finish::LeastDepth => true,
    };
    let doubt = pour::doubt(surface, &target, on_highest);
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
    let mut bags_95 = pour::bags_95(surface, &pour, &doubt, &compounds, pouring.waste);
    // What the mixes take is bought in any case.
    for (bags, order) in bags_95.iter_mut().flatten().zip(&pour.orders) {
        *bags = order.bags.max(*bags);
    }
    let (mut pins, warning) = pins(surface, &pour.target, &pouring.pins)?;
    for pin in &mut pins {
        let [x, y, _] = pin.position;
        pin.batch = mixing.batch_at([x, y]);
    }
    pins::in_order_of_pouring(&mut pins);
    findings.warnings.extend(warning);
    Ok(PourPlan {
        bags_95,
        doubt,
        compounds,
        pour,
        mixing,
        pins,
        depths,
        findings,
    })
}

/// The pins, and a warning of those that could not be set.
fn pins(surface: &Surface, target: &Target, wanted: &Pins) -> Result<(Vec<Pin>, Option<Warning>)> {
    let scan = surface.kind == Kind::Cells;
    match wanted {
        Pins::Readings {
            of_scan: Some(pitch),
        } if scan => Ok((pins::on_grid(surface, target, *pitch)?, None)),
        Pins::Readings { .. } => Ok((pins::at_readings(surface, target), None)),
        Pins::Grid(pitch) => Ok((pins::on_grid(surface, target, *pitch)?, None)),
        Pins::File(file) => {
            let places = places::read(&Source::new(file)?, pins::MOST)?;
            pins::at_places(surface, target, &places)
        }
    }
}

/// The compound sheets.
pub(super) fn sheets(files: &[String]) -> Result<Vec<Compound>> {
    let files = files.iter();
    files
        .map(|file| Compound::read(&Source::new(file)?))
        .collect()
}

//! From a floor and compounds to the plan of a pour.
//!
//! floor -> target (`aim.rs`) -> volumes, layers, orders, depths -> mixes and batches, pins, fixed levels -> the
//! finished floor.

use super::aim::{self, Aim};
use super::{Job, Progress, along, check, has_plan};
use crate::error::{Error, Result, Warning};
use crate::findings::{Findings, FixedLevels, Grinding, PourPlan};
use crate::flatness::along::Along;
use crate::flatness::{f_numbers, sample_lines, waviness};
use crate::pour::after::{Planned, finished, planned};
use crate::pour::cost::GrindRate;
use crate::pour::mixes::USUAL_VESSEL;
use crate::pour::mixing::Site;
use crate::pour::{self, Compound, FixedLevel, Mixing, Pin, Pour, Target, pins};
use crate::surface::{Kind, Outline, Surface};
use crate::survey::{Source, places};
use crate::units::{MILLIMETRE, System};

/// Where a scan is set out if nobody says where, m: a tape is read at whole metres.
pub const USUAL_PITCH: f64 = 1.0;

/// A pin where the compound is less deep than this lies in no batch, m: its depth is shown as none.
const NO_DEPTH: f64 = 0.05 * MILLIMETRE;

/// What is to be poured.
#[derive(Debug, Clone)]
pub struct PourJob {
    /// The compound sheets' files: the deepest fill first, the finish last.
    pub compounds: Vec<String>,
    /// What surface to finish to.
    pub shape: Shape,
    /// How high.
    pub finish: Finish,
    /// Share of the compound that is lost.
    pub waste: f64,
    /// `--least-depth`: in place of the finishing compound's own, m.
    pub least_depth: Option<f64>,
    /// `--grind`: high spots may come down, at this price.
    pub grind: Option<GrindRate>,
    /// `--exit`: ways out, plan metres of the survey.
    pub exits: Vec<[f64; 2]>,
    /// `--vessel`: what a mix is made in, m³; None: [`USUAL_VESSEL`].
    pub vessel: Option<f64>,
    /// `--crew`: how many people mix and pour.
    pub crew: usize,
    /// Where the depth is set out.
    pub pins: Pins,
    /// What the finish has to meet, with levels as the survey has heights.
    pub fixed: Vec<FixedLevel>,
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

/// The surface to finish to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Level.
    Level,
    /// Flat, with a given fall or, without one, as the floor's own best plane.
    Plane(Option<Fall>),
    /// The least fill that the classes need.
    Least,
}

/// A fall to a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fall {
    /// How steep, m per m.
    pub rate: f64,
    /// Where to: x, y in the survey's coordinates, m.
    pub towards: [f64; 2],
}

/// The height to finish at, as asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finish {
    /// `--datum`: as the survey has heights, m, what the staff reads where it was read off a staff; of a fall at the place
    /// that it runs to.
    Datum(f64),
    /// `--cover`: over the highest spot, m.
    Cover(f64),
    /// The compound's least depth over the highest spot or, where the floor may be ground, the cheapest height.
    LeastDepth,
}

/// The same floor and a compound: what level to finish at, how much it takes, how deep at every pin, in which
/// mixes it is poured where.
///
/// # Errors
/// As [`check`]; a compound sheet that cannot be read or contradicts itself; options that do not go together; a target that
/// nothing can be poured to; a vessel too small for half a bag.
pub fn pour(job: &Job, pouring: &PourJob, progress: &Progress) -> Result<PourPlan> {
    let compounds = compounds(pouring)?;
    aim::fits(job, pouring, &compounds)?;
    let findings = check(job, progress)?;
    has_plan(&findings.surface)?;
    let Aim {
        target,
        on_highest,
        towards,
        added,
        ground,
        mut warnings,
    } = aim::aim(job, pouring, &compounds, &findings)?;
    let surface = &findings.surface;
    let doubt = pour::doubt(surface, &target, on_highest);
    let thin = ground.as_ref().map(|ground| ground.thin);
    let mut pour = pour::pour(surface, target, &compounds, pouring.waste, thin)?;
    let grinding = ground.map(|ground| Grinding {
        cost: ground
            .rate
            .cost(pour.volumes.grind, pour.volumes.ground_area),
        ..ground
    });
    let mixing = pour::mixing(
        surface,
        &pour,
        &compounds,
        pouring.waste,
        site(surface, pouring),
    )?;
    mixing.cover(&mut pour, &compounds);
    let mut bags_95 = pour::bags_95(surface, &pour, &doubt, &compounds, pouring.waste);
    // What the mixes take is bought in any case.
    for (bags, order) in bags_95.iter_mut().flatten().zip(&pour.orders) {
        *bags = order.bags.max(*bags);
    }
    let (pins, warning) = pins(surface, &pour, &mixing, &pouring.pins)?;
    warnings.extend(warning);
    let least_depth = compounds.last().map_or(0.0, |finish| finish.least_depth);
    let mut plan = PourPlan {
        depths: depths(&pour, &findings),
        planned: after(job, &findings, &pour.target, grinding.is_some()),
        fixed: FixedLevels::of(&pouring.fixed, &findings, &pour.target, least_depth),
        bags_95,
        doubt,
        compounds,
        pour,
        mixing,
        pins,
        towards,
        added,
        grinding,
        warnings,
        findings,
    };
    aim::warn_of_thin_places(&mut plan, job.units);
    Ok(plan)
}

/// Vessel, people and ways out.
fn site(surface: &Surface, pouring: &PourJob) -> Site {
    let [x0, y0, _] = surface.origin;
    let exits = pouring.exits.iter();
    Site {
        vessel: pouring.vessel.unwrap_or(USUAL_VESSEL),
        crew: pouring.crew,
        exits: exits.map(|[x, y]| [x - x0, y - y0]).collect(),
    }
}

/// The compounds, the last with the least depth asked for.
pub(super) fn compounds(pouring: &PourJob) -> Result<Vec<Compound>> {
    let sheets = pouring.compounds.iter();
    let mut compounds = sheets
        .map(|file| Compound::read(&Source::new(file)?))
        .collect::<Result<Vec<_>>>()?;
    let Some(finish) = compounds.last_mut() else {
        return Err(Error::argument("--compound", "no sheet", "at least one"));
    };
    if let Some(least) = pouring.least_depth {
        if least > finish.greatest_depth {
            let shown = |depth| System::Metric.height(depth);
            let wanted = format!(
                "at most {}, which {} allows",
                shown(finish.greatest_depth),
                finish.name
            );
            return Err(Error::argument("--least-depth", shown(least), wanted));
        }
        finish.least_depth = least;
        finish.feather_edge = false;
    }
    Ok(compounds)
}

/// Depth of compound over every node, m; negative where the floor is too high.
fn depths(pour: &Pour, findings: &Findings) -> Vec<f64> {
    let field = &findings.surface.field;
    let depth = |node: usize| {
        let [x, y] = field.position(node);
        let z = field.z[node];
        let depth = pour.target.depth_over([x, y, z]);
        if depth > 0.0 { pour.laid(depth) } else { depth }
    };
    (0..field.z.len()).map(depth).collect()
}

/// What the classes will measure on the finished floor.
fn after(job: &Job, findings: &Findings, target: &Target, ground: bool) -> Vec<Planned> {
    if job.classes.is_empty() {
        return Vec::new();
    }
    let finished = finished(&findings.surface, target, ground);
    let lines = sample_lines::lay(&finished, job.units);
    let room = finished.outline.as_ref().map(Outline::area);
    let section = room.or(Some(finished.area));
    let f_numbers = along(&lines, |lines| {
        f_numbers::measure(lines, section, job.units)
    });
    let waviness = along(&lines, |lines| waviness::measure(lines, job.units));
    let numbers = Along::of(&f_numbers, &waviness, lines.as_deref().unwrap_or_default());
    planned(&job.classes, &finished, &numbers)
}

/// The pins in the order of pouring, and a warning of those that could not be set.
fn pins(
    surface: &Surface,
    pour: &Pour,
    mixing: &Mixing,
    wanted: &Pins,
) -> Result<(Vec<Pin>, Option<Warning>)> {
    let (scan, target) = (surface.kind == Kind::Cells, &pour.target);
    let (mut pins, warning) = match wanted {
        Pins::Readings {
            of_scan: Some(pitch),
        } if scan => (pins::on_grid(surface, target, *pitch)?, None),
        Pins::Readings { .. } => (pins::at_readings(surface, target), None),
        Pins::Grid(pitch) => (pins::on_grid(surface, target, *pitch)?, None),
        Pins::File(file) => {
            let places = places::read(&Source::new(file)?, pins::MOST)?;
            pins::at_places(surface, target, &places)?
        }
    };
    for pin in &mut pins {
        let [x, y, _] = pin.position;
        let laid = pour.laid(pin.depth);
        (pin.grind, pin.depth) = (laid - pin.depth, laid);
        pin.batch = mixing.batch_at([x, y]).filter(|_| laid > NO_DEPTH);
    }
    pins::in_order_of_pouring(&mut pins);
    Ok((pins, warning))
}

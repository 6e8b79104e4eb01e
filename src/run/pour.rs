//! From a floor and compounds to the plan of a pour.
//!
//! floor -> target (`aim.rs`) -> volumes, layers, orders, depths -> the finished floor.

use super::aim::{self, Aim};
use super::{Job, Progress, along, check, has_plan};
use crate::error::{Error, Result, Warning};
use crate::findings::{Findings, Grinding, PourPlan};
use crate::flatness::along::Along;
use crate::flatness::{f_numbers, sample_lines, waviness};
use crate::pour::after::{Planned, finished, planned};
use crate::pour::cost::GrindRate;
use crate::pour::{self, Compound, Doubt, Pin, Target, pins};
use crate::surface::{Kind, Outline, Surface};
use crate::survey::{Source, places};
use crate::units::System;

/// Where a scan is set out if nobody says where, m: a tape is read at whole metres.
pub const USUAL_PITCH: f64 = 1.0;

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

/// A fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fall {
    /// How steep, m per m.
    pub rate: f64,
    /// Where it goes down.
    pub downhill: Downhill,
}

/// Where a fall goes down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Downhill {
    /// From the middle of the floor towards a place: x, y in the survey's coordinates, m.
    Towards([f64; 2]),
    /// In a direction on the plan, of length 1.
    Along([f64; 2]),
}

/// The height to finish at, as asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finish {
    /// `--datum`: a height of the survey, m; of a fall at the place that it runs to.
    Datum(f64),
    /// The same as the survey has heights, m: a staff reading where it was read off a staff.
    AsRead(f64),
    /// `--cover`: over the highest spot, m.
    Cover(f64),
    /// The compound's least depth over the highest spot or, where the floor may be ground, the cheapest height.
    LeastDepth,
}

/// The same floor and a compound: what level to finish at, how much it takes, how deep at every pin.
///
/// # Errors
/// As [`check`]; a compound sheet that cannot be read or contradicts itself; options that do not go together; a target that
/// nothing can be poured to.
pub fn pour(job: &Job, pouring: &PourJob, progress: &Progress) -> Result<PourPlan> {
    let compounds = compounds(pouring)?;
    aim::fits(job, pouring, &compounds)?;
    let mut findings = check(job, progress)?;
    let surface = &findings.surface;
    has_plan(surface)?;
    let aim = aim::aim(job, pouring, &compounds, &findings)?;
    let Aim {
        target,
        towards,
        added,
        ground,
        warnings,
    } = aim;
    let doubt = doubt(surface, &target, pouring);
    let thin = ground.as_ref().map(|ground| ground.thin);
    let pour = pour::pour_taking_down(surface, target, &compounds, pouring.waste, thin)?;
    let bags_95 = pour::bags_95(surface, &pour, &doubt, &compounds, pouring.waste);
    let (pins, warning) = pins(surface, &pour.target, &pouring.pins)?;
    let grinding = ground.map(|ground| Grinding {
        cost: ground
            .rate
            .cost(pour.volumes.grind, pour.volumes.ground_area),
        ..ground
    });
    let planned = after(job, &findings, &pour.target, grinding.is_some());
    findings.warnings.extend(warning);
    let mut plan = PourPlan {
        depths: depths(&pour.target, &findings),
        planned,
        doubt,
        bags_95,
        pins,
        compounds,
        pour,
        towards,
        added,
        grinding,
        warnings,
        findings,
    };
    aim::warn_of_thin_places(&mut plan, job.units);
    Ok(plan)
}

/// The compounds, the last with the least depth asked for.
fn compounds(pouring: &PourJob) -> Result<Vec<Compound>> {
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

/// Depth of compound over every node, m.
fn depths(target: &Target, findings: &Findings) -> Vec<f64> {
    let field = &findings.surface.field;
    let depth = |node: usize| {
        let [x, y] = field.position(node);
        let z = field.z[node];
        if z.is_finite() {
            target.depth_over([x, y, z])
        } else {
            f64::NAN
        }
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

/// How well the fill is known. A finish parallel to the floor's own best plane tilts as the survey does.
fn doubt(surface: &Surface, target: &Target, pouring: &PourJob) -> Doubt {
    let on_highest = match pouring.finish {
        Finish::Datum(_) | Finish::AsRead(_) => false,
        Finish::Cover(_) | Finish::LeastDepth => pouring.shape != Shape::Least,
    };
    if pouring.shape == Shape::Plane(None) && surface.shared.tilt > 0.0 {
        let mut untilted = surface.clone();
        untilted.shared.tilt = 0.0;
        return pour::doubt(&untilted, target, on_highest);
    }
    pour::doubt(surface, target, on_highest)
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

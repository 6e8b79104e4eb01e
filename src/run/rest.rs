//! While pouring: the rest of a pour, planned anew with what is down already.
//!
//! plan + what is down -> bags left against what the rest takes -> the batches still to come.

use super::{Job, PourJob, Progress, USUAL_EDGE, pour};
use crate::error::{Error, Result, Warning};
use crate::findings::{NextBatch, PourPlan, Rest, StepOver};
use crate::pour::batches::{Supply, divide};
use crate::pour::mixing::{LayerMixes, Placed};
use crate::pour::replan::{self, Laid, Off, Planned, Replan};
use crate::pour::wet_edge::{most_apart, schedule};
use crate::pour::{Compound, Target};
use crate::surface::HeightField;
use crate::survey::Source;
use crate::survey::poured::{Down, MeasuredDepth, Poured, Spot};
use crate::units::System;

/// The rest of a pour whose batches in the file `poured` are down; `bags` were on site before the first mix, or as many as were
/// to be ordered.
///
/// # Errors
/// As [`pour()`] and [`Poured::read`]; [`Error::Argument`] without a way out, for several layers, and for more bags used than
/// there were; [`Error::Input`] for a batch or point that is not of the plan.
pub fn rest(
    job: &Job,
    pouring: &PourJob,
    poured: &str,
    bags: Option<u64>,
    progress: &Progress,
) -> Result<Rest> {
    let poured = Poured::read(&Source::new(poured)?)?;
    let plan = pour(job, pouring, progress)?;
    let (layer, placed) = one_layer(&plan)?;
    let laid = poured
        .batches
        .iter()
        .map(|down| laid(down, layer.bags.len()))
        .collect::<Result<Vec<_>>>()?;
    let (differences, mut warnings) = differences(&plan, placed, &laid, &poured.depths)?;
    let Some(compound) = plan.compounds.get(layer.compound) else {
        return Err(Error::argument("--compound", "no sheet", "at least one"));
    };
    let planned = Planned {
        depths: &placed.lattice,
        fill: placed
            .division
            .batches
            .iter()
            .map(|batch| batch.volume)
            .sum(),
        batch_of: &placed.division.batch_of,
        bags: &layer.bags,
        compound,
        waste: pouring.waste,
    };
    let bags = bags.unwrap_or_else(|| plan.pour.bags());
    let replan = replan::replan(&planned, &laid, Off::of(&differences), bags as f64);
    if laid.iter().filter_map(|one| one.bags).sum::<f64>() > bags as f64 {
        let found = format!("{bags} on site, and {} used", replan.used);
        let wanted = "all that were there before the first mix";
        return Err(Error::argument("--bags", found, wanted));
    }
    let supply = Supply {
        compound,
        bags_per_mix: layer.bags_per_mix,
        waste: pouring.waste,
        most_apart: most_apart(compound, pouring.crew),
    };
    let next = next(&plan, layer, placed, &replan, &supply)?;
    warnings.extend(too_thin(compound, &replan, &next));
    Ok(Rest {
        step_over: step_over(job, replan.step()),
        bags,
        next,
        replan,
        warnings,
        plan,
    })
}

/// The only layer of the pour, on the floor.
fn one_layer(plan: &PourPlan) -> Result<(&LayerMixes, &Placed)> {
    let [layer] = plan.mixing.layers.as_slice() else {
        let found = format!("a pour in {} layers", plan.mixing.layers.len());
        return Err(Error::argument("--poured", found, "a pour in one layer"));
    };
    let placed = layer.placed.as_ref().ok_or_else(|| {
        let wanted = "--exit X,Y, as when the pour was planned: its batches start from there";
        Error::argument("--poured", "no way out", wanted)
    })?;
    Ok((layer, placed))
}

fn laid(down: &Down, count: usize) -> Result<Laid> {
    let batch = usize::try_from(down.number - 1).ok();
    let batch = batch.filter(|batch| *batch < count).ok_or_else(|| {
        let found = format!("batch {}", down.number);
        let wanted = format!("1 to {count}, as the plan has them");
        Error::input(down.place.clone(), found, wanted)
    })?;
    Ok(Laid {
        batch,
        bags: down.bags,
    })
}

/// Depths measured less planned, m, and a warning for each that was measured where nothing is down.
fn differences(
    plan: &PourPlan,
    placed: &Placed,
    laid: &[Laid],
    depths: &[MeasuredDepth],
) -> Result<(Vec<f64>, Vec<Warning>)> {
    let surface = &plan.findings.surface;
    let between = Target::raised(placed.lattice.clone());
    let (mut differences, mut warnings) = (Vec::new(), Vec::new());
    for measured in depths {
        let (at, planned) = match &measured.at {
            Spot::Point(name) => {
                let set_out = plan.pins.iter().map(|pin| (&pin.name, pin.position));
                let read = surface.pins.iter().map(|pin| (&pin.name, pin.position));
                let mut named = set_out.chain(read).filter(|(pin, _)| *pin == name);
                let (_, position) = named.next().ok_or_else(|| {
                    let found = format!("the point '{name}'");
                    Error::input(
                        measured.place.clone(),
                        found,
                        "a pin or a point of the survey",
                    )
                })?;
                let [x, y, _] = position;
                ([x, y], plan.pour.target.depth_over(position))
            }
            Spot::Plan([x, y]) => {
                let at = [x - surface.origin[0], y - surface.origin[1]];
                (at, between.depth_over([at[0], at[1], 0.0]))
            }
        };
        if planned.is_finite() && is_down(placed, laid, at) {
            differences.push(measured.depth - planned);
        } else {
            warnings.push(Warning(format!(
                "{}: left out, it does not lie in a batch that is down",
                measured.place
            )));
        }
    }
    Ok((differences, warnings))
}

/// Whether a node no farther than the next one from a local place belongs to a batch that is down.
fn is_down(placed: &Placed, laid: &[Laid], [x, y]: [f64; 2]) -> bool {
    let lattice = &placed.lattice;
    let near = |node: usize| {
        let [nx, ny] = lattice.position(node);
        (nx - x).abs() <= lattice.dx && (ny - y).abs() <= lattice.dy
    };
    let of = placed.division.batch_of.iter().enumerate();
    of.filter_map(|(node, batch)| Some((node, (*batch)? as usize)))
        .any(|(node, batch)| laid.iter().any(|one| one.batch == batch) && near(node))
}

/// The batches still to come: those of the plan, or where the level drops, divided anew.
fn next(
    plan: &PourPlan,
    layer: &LayerMixes,
    placed: &Placed,
    replan: &Replan,
    supply: &Supply,
) -> Result<Vec<NextBatch>> {
    if replan.drop == 0.0 {
        let timed = replan.rest.iter().zip(&placed.schedule.down_at);
        return Ok(timed
            .filter_map(|(left, &down_at)| {
                Some(NextBatch {
                    number: layer.first + left.batch,
                    batch: placed.division.batches.get(left.batch)?.clone(),
                    down_at,
                })
            })
            .collect());
    }
    let to_come = |batch: Option<u32>| {
        batch.is_none_or(|batch| replan.rest.iter().any(|left| left.batch == batch as usize))
    };
    let nodes = placed.lattice.z.iter().zip(&placed.division.batch_of);
    let lowered = nodes.map(|(&depth, &batch)| {
        if to_come(batch) {
            depth - replan.drop
        } else {
            f64::NAN
        }
    });
    let lattice = HeightField {
        z: lowered.collect(),
        ..placed.lattice.clone()
    };
    let division = divide(&lattice, replan.left, supply, &plan.mixing.site.exits)?;
    let times = schedule(&lattice, &division, supply.compound, plan.mixing.site.crew).down_at;
    let first = layer.first + layer.bags.len() - replan.rest.len();
    let timed = division.batches.into_iter().zip(times).enumerate();
    Ok(timed
        .map(|(place, (batch, down_at))| NextBatch {
            number: first + place,
            batch,
            down_at,
        })
        .collect())
}

/// Warns where the level drops so far that the compound is too thin for its sheet.
fn too_thin(compound: &Compound, replan: &Replan, next: &[NextBatch]) -> Option<Warning> {
    let thinnest = next
        .iter()
        .min_by(|a, b| a.batch.min_depth.total_cmp(&b.batch.min_depth))?;
    let least = thinnest.batch.min_depth;
    let thin = replan.drop > 0.0 && !compound.feather_edge && least < compound.least_depth;
    thin.then(|| {
        let [least, wanted] = [least, compound.least_depth].map(|d| System::Metric.height(d));
        Warning(format!(
            "{} needs at least {wanted}: with what is left it would be only {least} deep in batch {}; fetch more",
            compound.name, thinnest.number
        ))
    })
}

/// The classes asked for that allow less than a step, m.
fn step_over(job: &Job, step: f64) -> Vec<StepOver> {
    let over = job.classes.iter().filter_map(|class| {
        let limit = class.flatness_limit(USUAL_EDGE)?;
        (step.abs() > limit).then(|| StepOver {
            class: class.name.clone(),
            limit,
        })
    });
    over.collect()
}

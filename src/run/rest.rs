//! While pouring: the rest of a pour, planned anew with what is down already.
//!
//! plan + what is down -> bags left against what the rest takes -> the batches still to come.

use super::{Job, PourJob, Progress, USUAL_EDGE, pour};
use crate::error::{Error, Result, Warning};
use crate::findings::{NextBatch, PourPlan, READING_U, Rest, StepOver};
use crate::pour::batches::{Batch, Supply, divide};
use crate::pour::mixing::{LayerMixes, Placed};
use crate::pour::replan::{self, Laid, Off, Planned, Replan};
use crate::pour::wet_edge::{most_apart, schedule};
use crate::pour::{Compound, Target};
use crate::surface::HeightField;
use crate::survey::Source;
use crate::survey::poured::{Down, MeasuredDepth, Poured, Spot};
use crate::units::{MILLIMETRE, System};

/// A depth off the plan by more than that depth and this is more likely a slip of the pen, m.
const SLIP: f64 = 10.0 * MILLIMETRE;

/// Bags are counted to the half.
const COUNTED_TO: f64 = 0.5;

/// 95 % on one side.
const SURE: f64 = 1.645;

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
    let Some(compound) = plan.compounds.get(layer.compound) else {
        return Err(Error::argument("--compound", "no sheet", "at least one"));
    };
    let (differences, mut warnings) = differences(&plan, placed, compound, &laid, &poured.depths)?;
    let blocked = behind_wet_floor(placed, &laid);
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
    let offs: Vec<f64> = differences.iter().map(|one| one.off).collect();
    let typed = bags;
    let bags = bags.unwrap_or_else(|| plan.pour.bags());
    let replan = replan::replan(&planned, &laid, Off::of(&offs), bags as f64);
    if laid.iter().filter_map(|one| one.bags).sum::<f64>() > bags as f64 {
        let used = replan.used;
        return Err(match typed {
            Some(_) => {
                let found = format!("{bags} on site, and {used} used");
                Error::argument("--bags", found, "all that were there before the first mix")
            }
            None => {
                let found = format!("{used} bags used, where the plan orders {bags}");
                let wanted = "--bags N, as many as were on site before the first mix";
                Error::argument("--poured", found, wanted)
            }
        });
    }
    let supply = Supply {
        compound,
        bags_per_mix: layer.bags_per_mix,
        waste: pouring.waste,
        most_apart: most_apart(compound, pouring.crew),
    };
    let next = next(&plan, layer, placed, &replan, &supply)?;
    warnings.extend(bags_against_depths(
        &plan,
        placed,
        &planned,
        &laid,
        &differences,
    ));
    warnings.extend(too_thin(compound, &replan, &next));
    Ok(Rest {
        step_over: step_over(job, replan.step()),
        way_is_free: blocked.is_none(),
        bags,
        next,
        replan,
        warnings: blocked.into_iter().chain(warnings).collect(),
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

/// A depth that was measured, against the plan.
struct Difference {
    /// Measured less planned, m.
    off: f64,
    /// The batch that it lies in, counted from 0.
    batch: usize,
}

/// Depths measured less planned, with warnings of those measured where nothing is down, and those that look like slips.
fn differences(
    plan: &PourPlan,
    placed: &Placed,
    compound: &Compound,
    laid: &[Laid],
    depths: &[MeasuredDepth],
) -> Result<(Vec<Difference>, Vec<Warning>)> {
    let between = Target::raised(placed.lattice.clone());
    let (mut differences, mut warnings) = (Vec::new(), Vec::new());
    for measured in depths {
        let (at, planned) = planned_at(plan, &between, measured)?;
        let batch = down_at(placed, laid, at).filter(|_| planned.is_finite());
        let Some(batch) = batch else {
            warnings.push(Warning(format!(
                "{}: left out, it does not lie in a batch that is down",
                measured.place
            )));
            continue;
        };
        let off = measured.depth - planned;
        let [deep, as_planned, most] =
            [measured.depth, planned, compound.greatest_depth].map(|d| System::Metric.height(d));
        let beyond = (measured.depth > compound.greatest_depth)
            .then(|| format!("more than the {most} that {} allows", compound.name))
            .or_else(|| (off.abs() > planned + SLIP).then(|| "far off".to_owned()));
        warnings.extend(beyond.map(|beyond| {
            Warning(format!(
                "{}: {deep} measured where {as_planned} was planned is {beyond}: a slip of the pen? it counts in all that is said here",
                measured.place
            ))
        }));
        differences.push(Difference { off, batch });
    }
    Ok((differences, warnings))
}

/// Where a depth was measured, local x, y, m, and what was planned there, m.
fn planned_at(
    plan: &PourPlan,
    between: &Target,
    measured: &MeasuredDepth,
) -> Result<([f64; 2], f64)> {
    let surface = &plan.findings.surface;
    match &measured.at {
        Spot::Point(name) => {
            let set_out = plan.pins.iter().map(|pin| (&pin.name, pin.position));
            let read = surface.pins.iter().map(|pin| (&pin.name, pin.position));
            let mut named = set_out.chain(read).filter(|(pin, _)| *pin == name);
            let (_, position) = named.next().ok_or_else(|| {
                let (found, wanted) = (
                    format!("the point '{name}'"),
                    "a pin or a point of the survey",
                );
                Error::input(measured.place.clone(), found, wanted)
            })?;
            let [x, y, _] = position;
            Ok((
                [x, y],
                plan.pour.laid(plan.pour.target.depth_over(position)),
            ))
        }
        Spot::Plan([x, y]) => {
            let at = [x - surface.origin[0], y - surface.origin[1]];
            Ok((at, between.depth_over([at[0], at[1], 0.0])))
        }
    }
}

/// The batch that is down with the node nearest to a local place, no farther off than the next one; None where there is none.
fn down_at(placed: &Placed, laid: &[Laid], [x, y]: [f64; 2]) -> Option<usize> {
    let lattice = &placed.lattice;
    let of = placed.division.batch_of.iter().enumerate();
    of.filter_map(|(node, batch)| {
        let [nx, ny] = lattice.position(node);
        let near = (nx - x).abs() <= lattice.dx && (ny - y).abs() <= lattice.dy;
        let batch = (*batch)? as usize;
        let down = laid.iter().any(|one| one.batch == batch);
        (near && down).then_some((batch, (nx - x).hypot(ny - y)))
    })
    .min_by(|a, b| a.1.total_cmp(&b.1))
    .map(|(batch, _)| batch)
}

/// Warns where batches still to come lie behind floor that is poured already.
fn behind_wet_floor(placed: &Placed, laid: &[Laid]) -> Option<Warning> {
    let count = placed.division.batches.len();
    let left: Vec<bool> = (0..count)
        .map(|batch| laid.iter().all(|one| one.batch != batch))
        .collect();
    let cut_off = placed.division.cut_off(&placed.lattice, &left);
    let numbers: Vec<String> = cut_off
        .iter()
        .map(|batch| (batch + 1).to_string())
        .collect();
    let (batches, lie, them) = match numbers.len() {
        0 => return None,
        1 => ("batch", "lies", "it"),
        _ => ("batches", "lie", "them"),
    };
    Some(Warning(format!(
        "{batches} {} {lie} behind wet floor: there is no way to {them} over floor not poured yet; is what is down \
         written down rightly? else wait until it can be walked on",
        numbers.join(", ")
    )))
}

/// Warns where the bags counted and the depths measured in the same batches tell of different volumes, by more than the doubt:
/// a depth is known as well as a height, or as they scatter; bags are counted to the half.
fn bags_against_depths(
    plan: &PourPlan,
    placed: &Placed,
    planned: &Planned,
    laid: &[Laid],
    differences: &[Difference],
) -> Option<Warning> {
    let measured_in = |batch: usize| differences.iter().any(|one| one.batch == batch);
    let (mut more, mut area, mut numbers) = (0.0, 0.0, Vec::new());
    for one in laid.iter().filter(|one| measured_in(one.batch)) {
        let Some(bags) = one.bags else { continue };
        more += bags - planned.bags.get(one.batch)?;
        area += placed.division.batches.get(one.batch)?.area;
        numbers.push(one.batch);
    }
    let offs = differences
        .iter()
        .filter(|one| numbers.contains(&one.batch));
    let offs: Vec<f64> = offs.map(|one| one.off).collect();
    let off = Off::of(&offs)?;
    let count = offs.len() as f64;
    let squares = offs.iter().map(|one| (one - off.mean).powi(2)).sum::<f64>();
    let scatter = (squares / (count - 1.0).max(1.0)).sqrt();
    let bag = planned.compound.mixed_per_bag / (1.0 + planned.waste);
    let of_depths = area * scatter.max(plan.findings.given_u.unwrap_or(READING_U)) / count.sqrt();
    let of_bags = COUNTED_TO * bag / 12.0_f64.sqrt();
    let [by_bags, by_depths] = [more * bag, off.mean * area];
    let missing = by_bags - by_depths;
    let doubt = SURE * of_depths.hypot(of_bags);
    let numbers: Vec<String> = numbers
        .iter()
        .map(|batch| (batch + 1).to_string())
        .collect();
    let batches = match numbers.as_slice() {
        [one] => format!("batch {one}"),
        several => format!("batches {}", several.join(", ")),
    };
    let shown = |volume: f64| System::Metric.volume(volume.abs());
    let against = |volume: f64| {
        let which = if volume < 0.0 { "less" } else { "more" };
        format!("{} {which} than planned", shown(volume))
    };
    (missing.abs() > doubt).then(|| {
        Warning(format!(
            "bags and depths of {} do not agree by some {} (doubt {}): by the bags used there is {}, by the depths measured \
             {}; count and measure again",
            batches,
            shown(missing),
            shown(doubt),
            against(by_bags),
            against(by_depths)
        ))
    })
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
                    batch: Batch {
                        bags: left.bags,
                        ..placed.division.batches.get(left.batch)?.clone()
                    },
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

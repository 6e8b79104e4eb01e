//! What the map of a pour marks: batches in their order, fixed levels, and pins where they have room.
//!
//! In: a plan. Out: marks and notes of the map.

use super::super::map::Mark;
use super::super::words;
use crate::findings::PourPlan;
use crate::surface::Surface;
use crate::units::System;

/// So many pins stand side by side along the longer way of a map: more cannot have their depths beside them.
const PINS_ALONG: f64 = 26.0;

/// The batches of the topmost layer in their order, from the far corner to the way out.
pub fn marks(plan: &PourPlan, units: System) -> Vec<Mark> {
    let top = plan.mixing.layers.last();
    let Some((layer, placed)) = top.and_then(|layer| Some((layer, layer.placed.as_ref()?))) else {
        return Vec::new();
    };
    let batches = &placed.division.batches;
    let patches = batches
        .iter()
        .enumerate()
        .map(|(place, batch)| Mark::Batch {
            number: layer.first + place,
            outline: batch.outline.clone(),
            centre: batch.centre,
            text: format!(
                "{}, {}",
                words::part_bags(batch.bags),
                units.volume(batch.volume)
            ),
        });
    let steps = batches.windows(2).filter_map(|two| match two {
        [from, to] if from.region == to.region => Some(Mark::Step {
            from: from.centre,
            to: to.centre,
        }),
        _ => None,
    });
    let exits = placed
        .division
        .entrances
        .iter()
        .map(|&at| Mark::Exit { at });
    let schedule = &placed.schedule;
    let too_old = schedule
        .bay_stops
        .iter()
        .filter_map(|&at| schedule.joints.get(at));
    let stops = too_old.map(|joint| Mark::BayStop { ends: joint.ends });
    patches.chain(stops).chain(steps).chain(exits).collect()
}

/// The fixed levels, lettered in the order of the job file.
pub fn fixed(plan: &PourPlan) -> impl Iterator<Item = Mark> {
    let reports = plan.fixed.iter().flat_map(|fixed| &fixed.reports);
    ('A'..='Z')
        .chain('a'..='z')
        .zip(reports)
        .filter_map(|(letter, report)| {
            let places = report.fixed.places.clone();
            Some(Mark::Fixed {
                letter,
                name: report.fixed.name.clone(),
                met: report.met,
                at: report
                    .worst
                    .map_or(places.first().copied(), |worst| Some(worst.at))?,
                places,
                off: report.worst.map(|worst| worst.off),
            })
        })
}

/// What to know of the batches on the map, where there are several layers.
pub fn note(plan: &PourPlan) -> Option<String> {
    let [.., under, top] = plan.mixing.layers.as_slice() else {
        return None;
    };
    top.placed.as_ref()?;
    let lie = match under.first + under.bags.len() - 1 {
        1 => "batch 1 lies".to_owned(),
        last => format!("batches 1 to {last} lie"),
    };
    Some(format!(
        "The depths are those of all layers, the batches those of the topmost: {lie} under it, as the timetable tells."
    ))
}

/// Pins far enough apart for their depths, and a note where others are left out.
pub fn apart(pins: Vec<Mark>, surface: &Surface, units: System) -> (Vec<Mark>, Option<String>) {
    let [width, height] = [0, 1].map(|axis| {
        let places = pins.iter().filter_map(|pin| match pin {
            Mark::Pin { at, .. } => Some(at[axis]),
            _ => None,
        });
        let (low, high) = places.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(x), high.max(x))
        });
        high - low
    });
    let least = width.max(height) / PINS_ALONG;
    if surface.spacing >= least {
        return (pins, None);
    }
    let all = pins.len();
    let mut kept: Vec<([f64; 2], Mark)> = Vec::new();
    for pin in pins {
        let Mark::Pin { at: [x, y], .. } = pin else {
            continue;
        };
        let near = |[kx, ky]: [f64; 2]| (kx - x).hypot(ky - y) < least;
        if !kept.iter().any(|(at, _)| near(*at)) {
            kept.push(([x, y], pin));
        }
    }
    let note = (kept.len() < all).then(|| {
        format!(
            "Pins closer together than {} are left out here: the setting-out table has all {all}.",
            units.plan(least)
        )
    });
    (kept.into_iter().map(|(_, pin)| pin).collect(), note)
}

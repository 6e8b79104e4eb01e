//! The mixes and batches of a pour's JSON document.
//!
//! In: a plan. Out: a record a batch, and for every layer its joints and bay stops.

use schemars::JsonSchema;
use serde::Serialize;

use super::{litres, mm, on_plan, rounded};
use crate::findings::PourPlan;
use crate::output::words;
use crate::pour::batches::Batch as Poured;
use crate::pour::compound::Compound;
use crate::pour::mixing::{LayerMixes, Placed};
use crate::pour::wet_edge::Joint as Meeting;
use crate::surface::Surface;
use crate::units::MINUTE;

#[derive(Debug, Serialize, JsonSchema)]
struct PlanPlace {
    x_m: f64,
    y_m: f64,
}

impl PlanPlace {
    fn new(surface: &Surface, local: [f64; 2]) -> Self {
        let [x_m, y_m] = on_plan(surface, local);
        Self { x_m, y_m }
    }
}

/// One mix on the floor.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Batch {
    /// Its number in the order of pouring, on through the layers.
    n: usize,
    /// The layer, the lowest is 1.
    layer: usize,
    compound: String,
    /// Whole bags, or half a bag.
    bags: f64,
    liquid_l: f64,
    /// On the floor, without what is lost.
    volume_l: f64,
    area_m2: f64,
    mean_depth_mm: f64,
    min_depth_mm: f64,
    max_depth_mm: f64,
    centre: PlanPlace,
    /// Corners, the first not repeated.
    outline: Vec<[f64; 2]>,
    /// Which room, counted from 1 in the order of pouring.
    room: usize,
    /// When it is down, from the start of its layer's first mixing.
    at_minute: f64,
}

/// How the pour is mixed.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Mixing {
    vessel_l: f64,
    crew: usize,
    /// The lowest first.
    layers: Vec<LayerMixing>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct LayerMixing {
    layer: usize,
    compound: String,
    /// Of a full mix: whole bags, or half a bag.
    bags_per_mix: f64,
    mixes: usize,
    /// Bags of every mix, in the order of mixing.
    bags: Vec<f64>,
    liquid_per_bag_l: f64,
    /// How long after its last batch the next layer may follow.
    walk_on_minutes: f64,
    working_minutes: f64,
    /// Where every room is entered, in the order of pouring; null where no way out is known.
    entrances: Option<Vec<PlanPlace>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    entrances_reason: Option<&'static str>,
    /// Every place where two batches meet; null where no way out is known.
    joints: Option<Vec<Joint>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    joints_reason: Option<&'static str>,
    /// The least number of people who could join every batch wet.
    crew_needed: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    crew_needed_reason: Option<&'static str>,
}

/// Where two batches meet.
#[derive(Debug, Serialize, JsonSchema)]
struct Joint {
    earlier: usize,
    later: usize,
    /// How old the earlier one is when the later one comes down.
    age_minutes: f64,
    /// Whether that is too old, so that a bay stop belongs there.
    bay_stop: bool,
    from: PlanPlace,
    to: PlanPlace,
}

/// The batches of all layers; None where no way out is known.
pub fn batches(plan: &PourPlan) -> Option<Vec<Batch>> {
    let of_layer = |(number, layer): (usize, &LayerMixes)| {
        let compound = plan.compounds.get(layer.compound)?;
        let placed = layer.placed.as_ref()?;
        let numbered = placed.timed().enumerate();
        let batches = numbered.map(|(place, (poured, down_at))| Batch {
            n: layer.first + place,
            layer: number + 1,
            at_minute: rounded(down_at / MINUTE),
            ..batch(plan, compound, poured)
        });
        Some(batches.collect::<Vec<_>>())
    };
    let each: Option<Vec<Vec<Batch>>> = plan
        .mixing
        .layers
        .iter()
        .enumerate()
        .map(of_layer)
        .collect();
    each.map(|each| each.into_iter().flatten().collect())
}

/// A batch of the lowest layer, with its number and its time, s.
pub(super) fn numbered(
    plan: &PourPlan,
    compound: &Compound,
    n: usize,
    poured: &Poured,
    down_at: f64,
) -> Batch {
    Batch {
        n,
        layer: 1,
        at_minute: rounded(down_at / MINUTE),
        ..batch(plan, compound, poured)
    }
}

/// A batch but for its number and its time.
fn batch(plan: &PourPlan, compound: &Compound, poured: &Poured) -> Batch {
    let surface = &plan.findings.surface;
    Batch {
        n: 0,
        layer: 0,
        compound: compound.name.clone(),
        bags: poured.bags,
        liquid_l: litres(poured.bags * compound.liquid_per_bag),
        volume_l: litres(poured.volume),
        area_m2: rounded(poured.area),
        mean_depth_mm: mm(poured.mean_depth()),
        min_depth_mm: mm(poured.min_depth),
        max_depth_mm: mm(poured.max_depth),
        centre: PlanPlace::new(surface, poured.centre),
        outline: poured
            .outline
            .iter()
            .map(|&corner| on_plan(surface, corner))
            .collect(),
        room: poured.region + 1,
        at_minute: 0.0,
    }
}

/// Vessel, people, and every layer's mixes.
pub fn mixing(plan: &PourPlan) -> Mixing {
    let layers = plan.mixing.layers.iter().enumerate();
    Mixing {
        vessel_l: litres(plan.mixing.site.vessel),
        crew: plan.mixing.site.crew,
        layers: layers
            .filter_map(|(number, layer)| {
                let compound = plan.compounds.get(layer.compound)?;
                Some(layer_mixing(
                    &plan.findings.surface,
                    number + 1,
                    layer,
                    compound,
                ))
            })
            .collect(),
    }
}

fn layer_mixing(
    surface: &Surface,
    number: usize,
    layer: &LayerMixes,
    compound: &Compound,
) -> LayerMixing {
    let placed = layer.placed.as_ref();
    let crew_needed = placed.and_then(|placed| placed.schedule.crew_needed);
    let no_crew = if placed.is_some() {
        words::NO_CREW
    } else {
        words::NO_EXIT
    };
    LayerMixing {
        layer: number,
        compound: compound.name.clone(),
        bags_per_mix: layer.bags_per_mix,
        mixes: layer.bags.len(),
        bags: layer.bags.clone(),
        liquid_per_bag_l: litres(compound.liquid_per_bag),
        walk_on_minutes: rounded(compound.walk_on / MINUTE),
        working_minutes: rounded(compound.working_time / MINUTE),
        entrances: placed.map(|placed| {
            let entrances = placed.division.entrances.iter();
            entrances.map(|&at| PlanPlace::new(surface, at)).collect()
        }),
        joints: placed.map(|placed| joints(surface, layer.first, placed)),
        crew_needed,
        crew_needed_reason: crew_needed.is_none().then_some(no_crew),
        entrances_reason: placed.is_none().then_some(words::NO_EXIT),
        joints_reason: placed.is_none().then_some(words::NO_EXIT),
    }
}

fn joints(surface: &Surface, first: usize, placed: &Placed) -> Vec<Joint> {
    let schedule = &placed.schedule;
    let joint = |(number, joint): (usize, &Meeting)| Joint {
        earlier: first + joint.earlier,
        later: first + joint.later,
        age_minutes: rounded(joint.age / MINUTE),
        bay_stop: schedule.bay_stops.contains(&number),
        from: PlanPlace::new(surface, joint.ends[0]),
        to: PlanPlace::new(surface, joint.ends[1]),
    };
    schedule.joints.iter().enumerate().map(joint).collect()
}

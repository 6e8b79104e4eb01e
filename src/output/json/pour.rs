//! The JSON document of `pour`.
//!
//! In: a pour plan. Out: target, volumes, order, load and the depth at every reading.

use schemars::JsonSchema;
use serde::Serialize;

use super::{
    Input, Level, SurfaceFacts, Survey, inputs, level, litres, mm, on_plan, rounded, surface_facts,
    survey,
};
use crate::error::Warning;
use crate::findings::PourPlan;
use crate::output::words;
use crate::pour::Target;

#[derive(Debug, Serialize, JsonSchema)]
struct TargetFacts {
    /// "level" or "plane"
    mode: &'static str,
    /// Height to finish at, from the survey's zero.
    datum_mm: f64,
    /// Depth over the highest spot: negative where the datum lies below it.
    cover_mm: f64,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Volume {
    fill_l: f64,
    grind_l: f64,
    filled_m2: f64,
    ground_m2: f64,
    mean_depth_mm: f64,
    min_depth_mm: f64,
    max_depth_mm: f64,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Order {
    compound: String,
    bags: u64,
    /// Null until lowspot divides the order into mixes.
    mixes: Option<u64>,
    mixes_reason: &'static str,
    liquid_l: f64,
    mixed_l: f64,
    spare_l: f64,
    primer_l: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    primer_l_reason: Option<&'static str>,
    price: Option<f64>,
    currency: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    price_reason: Option<&'static str>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Load {
    mean: f64,
    max: f64,
}

/// Depth of compound at a reading; negative where the floor stands above the target.
#[derive(Debug, Serialize, JsonSchema)]
struct PinDepth {
    name: String,
    x_m: f64,
    y_m: f64,
    depth_mm: f64,
}

/// What `lowspot pour --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Pour {
    /// Version of lowspot.
    lowspot: &'static str,
    inputs: Vec<Input>,
    survey: Survey,
    surface: SurfaceFacts,
    level: Level,
    target: TargetFacts,
    volume: Volume,
    order: Order,
    /// Null until lowspot divides the floor into batches.
    batches: Option<Vec<()>>,
    batches_reason: &'static str,
    lifts: u64,
    load_kg_per_m2: Load,
    pins: Vec<PinDepth>,
    warnings: Vec<String>,
    cautions: Vec<&'static str>,
}

/// The document of `pour`.
pub fn pour(plan: &PourPlan) -> Pour {
    let findings = &plan.findings;
    let surface = &findings.surface;
    let order = &plan.pour.order;
    let volumes = &plan.pour.volumes;
    Pour {
        lowspot: env!("CARGO_PKG_VERSION"),
        inputs: inputs(&findings.inputs),
        survey: survey(surface, findings.given_u),
        surface: surface_facts(surface),
        level: level(surface, &findings.level),
        target: target(plan),
        volume: Volume {
            fill_l: litres(volumes.fill),
            grind_l: litres(volumes.grind),
            filled_m2: rounded(volumes.filled_area),
            ground_m2: rounded(volumes.ground_area),
            mean_depth_mm: mm(volumes.mean_depth),
            min_depth_mm: mm(volumes.min_depth),
            max_depth_mm: mm(volumes.max_depth),
        },
        order: Order {
            compound: plan.compound.name.clone(),
            bags: order.bags,
            mixes: None,
            mixes_reason: words::NO_MIXES,
            liquid_l: litres(order.liquid),
            mixed_l: litres(order.mixed),
            spare_l: litres(order.spare),
            primer_l: order.primer.map(litres),
            primer_l_reason: order.primer.is_none().then_some(words::NO_PRIMER),
            price: order.price.as_ref().map(|price| rounded(price.amount)),
            currency: order.price.as_ref().map(|price| price.currency.clone()),
            price_reason: order.price.is_none().then_some(words::NO_PRICE),
        },
        batches: None,
        batches_reason: words::NO_MIXES,
        lifts: order.layers,
        load_kg_per_m2: Load {
            mean: rounded(order.mean_load),
            max: rounded(order.greatest_load),
        },
        pins: pins(plan),
        warnings: plan.warnings().map(Warning::to_string).collect(),
        cautions: words::POUR_CAUTIONS.to_vec(),
    }
}

fn target(plan: &PourPlan) -> TargetFacts {
    let (mode, datum) = match plan.pour.target {
        Target::Level { datum } => ("level", datum),
        Target::Plane { height, .. } => ("plane", height),
    };
    TargetFacts {
        mode,
        datum_mm: mm(plan.findings.surface.survey_z(datum)),
        cover_mm: mm(plan.cover()),
    }
}

fn pins(plan: &PourPlan) -> Vec<PinDepth> {
    let surface = &plan.findings.surface;
    surface
        .pins
        .iter()
        .zip(&plan.pour.pin_depths)
        .map(|(pin, &depth)| {
            let [x_m, y_m] = on_plan(surface, [pin.position[0], pin.position[1]]);
            PinDepth {
                name: pin.name.clone(),
                x_m,
                y_m,
                depth_mm: mm(depth),
            }
        })
        .collect()
}

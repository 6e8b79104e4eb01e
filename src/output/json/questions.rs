//! The JSON of questions asked on site.
//!
//! In: finished results. Out: of `pour --bags` the document of the pour with what they reach; of `pour --area` a document of
//! its own.

use schemars::JsonSchema;
use serde::Serialize;

use super::classes::JudgedClass;
use super::pour::{LayerFacts, Load, Order, Pour, layers, order, pour};
use super::{Place, litres, mm, rounded};
use crate::error::Warning;
use crate::findings::{AreaPlan, Reached};
use crate::output::words;
use crate::pour::Target;

/// What the bags there are do.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Reach {
    bags: u64,
    /// What they leave on the floor.
    compound_l: f64,
    /// Height that they fill to, from the survey's zero; of a plane that over the survey's first corner.
    datum_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    datum_mm_reason: Option<&'static str>,
    /// Depth over the highest spot: negative where that stands above the level.
    over_highest_mm: f64,
    filled_m2: f64,
    /// What stands above the level.
    proud_m2: f64,
    mean_depth_mm: f64,
    max_depth_mm: f64,
    /// What the compound needs over the highest spot.
    least_depth_mm: f64,
    bags_for_least_depth: u64,
    bags_missing: u64,
    /// Classes asked for, judged of the floor filled to that level.
    classes: Vec<JudgedClass>,
    part: Part,
}

/// The part of the floor that the bags do at the level asked for.
#[derive(Debug, Serialize, JsonSchema)]
struct Part {
    area_m2: f64,
    of_m2: f64,
    /// Walking distance from the way out beyond which the floor is done.
    beyond_m: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    beyond_m_reason: Option<&'static str>,
}

/// The document of `pour --bags`.
pub fn reach(reached: &Reached) -> Pour {
    let surface = &reached.plan.findings.surface;
    let reach = &reached.reach;
    let datum = match reach.target {
        Target::Level { datum } => Some(datum),
        Target::Plane { height, .. } => Some(height),
        Target::Raised(_) => None,
    };
    let reach = Reach {
        bags: reach.bags,
        compound_l: litres(reach.compound),
        datum_mm: datum.map(|datum| mm(surface.survey_z(datum))),
        datum_mm_reason: datum.is_none().then_some(words::NO_DATUM),
        over_highest_mm: mm(reach.over_highest),
        filled_m2: rounded(reach.volumes.filled_area),
        proud_m2: rounded(reach.volumes.ground_area),
        mean_depth_mm: mm(reach.volumes.mean_depth),
        max_depth_mm: mm(reach.volumes.max_depth),
        least_depth_mm: mm(reach.least_depth),
        bags_for_least_depth: reach.bags_for_least_depth,
        bags_missing: reach.bags_missing(),
        classes: reached
            .judged
            .iter()
            .map(|judged| JudgedClass::new(judged, &|node| Place::node(surface, node)))
            .collect(),
        part: Part {
            area_m2: rounded(reach.part.area),
            of_m2: rounded(reach.part.whole),
            beyond_m: reach.part.beyond.map(rounded),
            beyond_m_reason: match reach.part.beyond {
                Some(_) => None,
                None if reach.part.area < reach.part.whole => Some(words::NO_EXIT),
                None => Some(words::WHOLE_FLOOR),
            },
        },
    };
    let mut document = pour(&reached.plan);
    document.reach = Some(reach);
    document
}

/// How a layer is mixed.
#[derive(Debug, Serialize, JsonSchema)]
struct Mixes {
    compound: String,
    bags_per_mix: f64,
    /// Bags of every mix, in the order of mixing.
    bags: Vec<f64>,
}

/// What `lowspot pour --area --depth --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub struct PourArea {
    /// Version of lowspot.
    lowspot: &'static str,
    area_m2: f64,
    depth_mm: f64,
    fill_l: f64,
    order: Order,
    /// The lowest layer first.
    mixes: Vec<Mixes>,
    /// Layers of compound.
    lifts: usize,
    layers: Vec<LayerFacts>,
    load_kg_per_m2: Load,
    /// Bags and liquid.
    carry_kg: f64,
    drying_days: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    drying_days_reason: Option<&'static str>,
    warnings: Vec<String>,
    cautions: Vec<&'static str>,
}

/// The document of `pour --area --depth`.
pub fn pour_area(plan: &AreaPlan) -> PourArea {
    let even = &plan.pour;
    let mixed = even.mixes.iter().rev().filter_map(|layer| {
        let compound = plan.compounds.get(layer.compound)?;
        Some(Mixes {
            compound: compound.name.clone(),
            bags_per_mix: layer.bags_per_mix,
            bags: layer.bags.clone(),
        })
    });
    let warnings = plan.warnings().map(Warning::to_string);
    PourArea {
        lowspot: env!("CARGO_PKG_VERSION"),
        area_m2: rounded(even.volumes.filled_area),
        depth_mm: mm(even.volumes.mean_depth),
        fill_l: litres(even.volumes.fill),
        order: order(
            plan.orders()
                .map(|(compound, order)| (compound, order, None)),
            plan.mixes(),
            None,
            words::NOT_MEASURED,
        ),
        mixes: mixed.collect(),
        lifts: even.layers.len(),
        layers: layers(&even.layers, &plan.compounds),
        load_kg_per_m2: Load::new(even.load),
        carry_kg: rounded(even.mass),
        drying_days: even.drying_days.map(rounded),
        drying_days_reason: even.drying_days.is_none().then_some(words::NO_DRYING),
        warnings: std::iter::once(words::UNMEASURED.to_owned())
            .chain(warnings)
            .collect(),
        cautions: words::POUR_CAUTIONS.to_vec(),
    }
}

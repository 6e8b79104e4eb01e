//! The JSON document of `pour`.
//!
//! In: a pour plan. Out: target, volumes, order, mixes, load and the depth at every pin.

use schemars::JsonSchema;
use serde::Serialize;

use super::batches::{self, Batch, Mixing};
use super::materials::{Materials, materials};
use super::{
    Input, Level, SurfaceFacts, Survey, inputs, level, litres, mm, on_plan, rounded, surface_facts,
    survey,
};
use crate::error::Warning;
use crate::findings::PourPlan;
use crate::output::words;
use crate::pour::cost::CostPoint;
use crate::pour::{self, Compound, Target, after};
use crate::units::System;

#[derive(Debug, Serialize, JsonSchema)]
struct TargetFacts {
    /// "level", "plane" or "least"
    mode: &'static str,
    /// Height to finish at, from the survey's zero; of a plane that at the place that it falls to or, without one, at the
    /// survey's least x and y.
    datum_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    datum_mm_reason: Option<&'static str>,
    /// Depth over the highest spot, or that which stands highest over a plane: negative where the target lies below it.
    cover_mm: f64,
    /// Fall of a plane.
    fall_mm_per_m: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fall_mm_per_m_reason: Option<&'static str>,
    /// Where a given fall runs to: x and y.
    towards_m: Option<[f64; 2]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    towards_m_reason: Option<&'static str>,
    /// What the compound's least depth adds to the least fill.
    added: Option<Added>,
    #[serde(skip_serializing_if = "Option::is_none")]
    added_reason: Option<&'static str>,
}

/// What a least depth adds to the least fill.
#[derive(Debug, Serialize, JsonSchema)]
struct Added {
    least_depth_mm: f64,
    fill_l: f64,
    bags: u64,
}

/// Grinding and its cost.
#[derive(Debug, Serialize, JsonSchema)]
struct Grinding {
    /// Of grinding alone.
    cost: f64,
    /// Of grinding and bags.
    total: Option<f64>,
    currency: String,
    /// No compound is thinner than this.
    least_depth_mm: f64,
    /// Ground off for that, and filled again; part of grind_l and of fill_l.
    thin_l: f64,
    thin_m2: f64,
}

/// What it costs to finish at a height.
#[derive(Debug, Serialize, JsonSchema)]
struct CostAt {
    /// As target.datum_mm.
    datum_mm: Option<f64>,
    cover_mm: f64,
    bags: u64,
    grind_l: f64,
    ground_m2: f64,
    /// Of bags and grinding.
    cost: f64,
    cheapest: bool,
}

/// What a class will measure on the finished floor, as planned.
#[derive(Debug, Serialize, JsonSchema)]
struct Planned {
    class: String,
    /// Null where something of it cannot be measured.
    met: Option<bool>,
    requirements: Vec<PlannedRequirement>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct PlannedRequirement {
    measured_as: String,
    allowed: String,
    /// mm, or an F-number.
    found: Option<f64>,
    /// mm, or the least F-number.
    limit: f64,
    met: Option<bool>,
    /// Whether the survey's readings lie too far apart to show a floor within.
    too_sparse: bool,
}

/// What makes the fill uncertain: standard uncertainties.
#[derive(Debug, Serialize, JsonSchema)]
struct FillU {
    /// The heights, each with its own.
    heights_l: f64,
    /// The tilt of the plane that they were measured from.
    tilt_l: f64,
    /// What the floor does between the readings; null where they are too few to tell.
    sampling_l: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sampling_l_reason: Option<&'static str>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Volume {
    fill_l: f64,
    /// Standard uncertainty of the fill, from all that follows.
    fill_u_l: f64,
    fill_u_from: FillU,
    grind_l: f64,
    filled_m2: f64,
    ground_m2: f64,
    mean_depth_mm: f64,
    min_depth_mm: f64,
    max_depth_mm: f64,
}

/// What to buy of all compounds.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Order {
    bags: u64,
    /// Vessels full, or the odd one that is not.
    mixes: usize,
    /// Bags that are enough in 95 % of cases; null where the layers do not work out with that much more compound.
    bags_95: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bags_95_reason: Option<&'static str>,
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
    compounds: Vec<OrderOf>,
}

/// What to buy of one compound.
#[derive(Debug, Serialize, JsonSchema)]
struct OrderOf {
    compound: String,
    bags: u64,
    /// Of this one; null where the layers do not work out with that much more compound.
    bags_95: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bags_95_reason: Option<&'static str>,
    liquid: String,
    liquid_l: f64,
    /// Whole bottles of the liquid.
    bottles: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bottles_reason: Option<&'static str>,
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

/// One layer; the lowest first.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct LayerFacts {
    compound: String,
    fill_l: f64,
    area_m2: f64,
    mean_depth_mm: f64,
    min_depth_mm: f64,
    max_depth_mm: f64,
    /// Until it is dry where it is deepest, by the sheet's rule.
    drying_days: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    drying_days_reason: Option<&'static str>,
    /// Until it can be walked on.
    walk_on_h: f64,
}

#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Load {
    mean: f64,
    max: f64,
}

/// Depth of compound at a pin: a reading, or a place asked for; negative where the floor stands above the target and is not
/// ground.
#[derive(Debug, Serialize, JsonSchema)]
struct PinDepth {
    name: String,
    x_m: f64,
    y_m: f64,
    /// Height of the floor, from the survey's zero.
    floor_mm: f64,
    finish_mm: f64,
    depth_mm: f64,
    /// Ground off before; left out where nothing is.
    #[serde(skip_serializing_if = "Option::is_none")]
    grind_mm: Option<f64>,
    /// The batch that it lies in, from 1; left out where the pour is not divided, or no batch passes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    batch: Option<usize>,
}

impl Load {
    pub(super) fn new(load: pour::Load) -> Self {
        Self {
            mean: rounded(load.mean),
            max: rounded(load.greatest),
        }
    }
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
    /// Null where the floor may not be ground.
    grinding: Option<Grinding>,
    #[serde(skip_serializing_if = "Option::is_none")]
    grinding_reason: Option<&'static str>,
    /// What other heights cost, the highest first.
    cost_curve: Option<Vec<CostAt>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cost_curve_reason: Option<&'static str>,
    /// Classes on the finished floor: as measured, and poured exactly.
    planned: Vec<Planned>,
    order: Order,
    mixing: Mixing,
    /// In the order of pouring; null where no way out is known.
    batches: Option<Vec<Batch>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    batches_reason: Option<&'static str>,
    materials: Materials,
    /// Layers where it is deepest.
    lifts: usize,
    layers: Vec<LayerFacts>,
    load_kg_per_m2: Load,
    pins: Vec<PinDepth>,
    /// With --bags: what they do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) reach: Option<super::questions::Reach>,
    /// With --poured: what is left to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) rest: Option<super::rest::Rest>,
    warnings: Vec<String>,
    cautions: Vec<&'static str>,
}

/// The document of `pour`.
pub fn pour(plan: &PourPlan) -> Pour {
    let findings = &plan.findings;
    let surface = &findings.surface;
    let volumes = &plan.pour.volumes;
    let poured = batches::batches(plan);
    let doubt = &plan.doubt;
    Pour {
        lowspot: env!("CARGO_PKG_VERSION"),
        inputs: inputs(&findings.inputs),
        survey: survey(surface, findings.given_u),
        surface: surface_facts(surface),
        level: level(surface, &findings.level, findings.range_u),
        target: target(plan),
        volume: Volume {
            fill_l: litres(volumes.fill),
            fill_u_l: litres(doubt.fill_u),
            fill_u_from: FillU {
                heights_l: litres(doubt.heights),
                tilt_l: litres(doubt.tilt),
                sampling_l: doubt.sampling.map(litres),
                sampling_l_reason: doubt
                    .sampling
                    .is_none()
                    .then_some(words::TOO_FEW_NEIGHBOURS),
            },
            grind_l: litres(volumes.grind),
            filled_m2: rounded(volumes.filled_area),
            ground_m2: rounded(volumes.ground_area),
            mean_depth_mm: mm(volumes.mean_depth),
            min_depth_mm: mm(volumes.min_depth),
            max_depth_mm: mm(volumes.max_depth),
        },
        grinding: grinding(plan),
        grinding_reason: plan.grinding.is_none().then_some(words::NO_GRINDING),
        cost_curve: cost_curve(plan).ok(),
        cost_curve_reason: cost_curve(plan).err(),
        planned: plan.planned.iter().map(planned).collect(),
        order: order_of_plan(plan),
        mixing: batches::mixing(plan),
        batches_reason: poured.is_none().then_some(words::NO_EXIT),
        batches: poured,
        materials: materials(plan),
        lifts: plan.pour.layers.len(),
        layers: layers(&plan.pour.layers, &plan.compounds),
        load_kg_per_m2: Load::new(plan.pour.load),
        pins: pins(plan),
        reach: None,
        rest: None,
        warnings: plan.warnings().map(Warning::to_string).collect(),
        cautions: words::POUR_CAUTIONS.to_vec(),
    }
}

fn target(plan: &PourPlan) -> TargetFacts {
    let surface = &plan.findings.surface;
    let datum = plan.datum(&plan.pour.target);
    let (mode, fall) = match plan.pour.target {
        Target::Level { .. } => ("level", None),
        Target::Plane {
            slope_x, slope_y, ..
        } => ("plane", Some(slope_x.hypot(slope_y))),
        Target::Raised(_) => ("least", None),
    };
    TargetFacts {
        mode,
        datum_mm: datum.map(mm),
        datum_mm_reason: datum.is_none().then_some(words::NO_DATUM),
        cover_mm: mm(plan.cover()),
        fall_mm_per_m: fall.map(mm),
        fall_mm_per_m_reason: fall.is_none().then_some(words::NO_FALL),
        towards_m: plan.towards.map(|towards| on_plan(surface, towards)),
        towards_m_reason: plan.towards.is_none().then_some(words::NO_TOWARDS),
        added: plan.added.map(|added| Added {
            least_depth_mm: mm(added.depth),
            fill_l: litres(added.volume),
            bags: added.bags,
        }),
        added_reason: plan.added.is_none().then_some(words::NOTHING_ADDED),
    }
}

fn grinding(plan: &PourPlan) -> Option<Grinding> {
    let grinding = plan.grinding.as_ref()?;
    Some(Grinding {
        cost: rounded(grinding.cost),
        total: plan.total_cost().map(rounded),
        currency: grinding.rate.price.currency.clone(),
        least_depth_mm: mm(grinding.thin.depth),
        thin_l: litres(grinding.thin.volume),
        thin_m2: rounded(grinding.thin.area),
    })
}

/// The curve, or why there is none.
fn cost_curve(plan: &PourPlan) -> Result<Vec<CostAt>, &'static str> {
    let grinding = plan.grinding.as_ref().ok_or(words::NO_GRINDING)?;
    let curve = grinding.curve.as_ref().map_err(|reason| *reason)?;
    let at = |point: &CostPoint| CostAt {
        datum_mm: plan.datum(&grinding.top.lowered(point.lowered)).map(mm),
        cover_mm: mm(grinding.thin.depth - point.lowered),
        bags: point.bags,
        grind_l: litres(point.ground),
        ground_m2: rounded(point.ground_area),
        cost: rounded(point.cost),
        cheapest: curve.best() == Some(point),
    };
    Ok(curve.points.iter().map(at).collect())
}

fn planned(class: &after::Planned) -> Planned {
    let requirement = |one: &after::PlannedRequirement| {
        let rule = &one.requirement.rule;
        let value = |value: f64| match rule.least() {
            Some(_) => rounded(value),
            None => mm(value),
        };
        PlannedRequirement {
            measured_as: rule.describe(System::Metric),
            allowed: rule.allowance(System::Metric),
            found: one.measurement.found.map(|found| value(found.value)),
            limit: value(one.measurement.limit),
            met: one.met(),
            too_sparse: one.too_sparse(),
        }
    };
    Planned {
        class: class.class.clone(),
        met: class.met(),
        requirements: class.requirements.iter().map(requirement).collect(),
    }
}

fn order_of_plan(plan: &PourPlan) -> Order {
    let bags_95 = plan.bags_95.as_ref().map(|bags| bags.iter().sum());
    let mixes = plan.mixing.mixes();
    order(plan.orders_95(), mixes, bags_95, words::NO_LAYERS_95)
}

pub(super) fn order<'a>(
    orders: impl Iterator<Item = (&'a Compound, &'a pour::Order, Option<u64>)>,
    mixes: usize,
    bags_95: Option<u64>,
    no_bags_95: &'static str,
) -> Order {
    let compounds: Vec<OrderOf> = orders
        .map(|(compound, order, bags_95)| OrderOf {
            bags_95,
            bags_95_reason: bags_95.is_none().then_some(no_bags_95),
            ..order_of(compound, order)
        })
        .collect();
    let sum = |of: fn(&OrderOf) -> f64| rounded(compounds.iter().map(of).sum());
    // A sum of what every one of them has; none where one has not.
    let all = |of: fn(&OrderOf) -> Option<f64>| {
        let each: Option<Vec<f64>> = compounds.iter().map(of).collect();
        each.filter(|each| !each.is_empty())
            .map(|each| rounded(each.iter().sum()))
    };
    let mut currencies = compounds.iter().map(|one| one.currency.as_ref());
    let currency = currencies.next().flatten();
    let one_currency = currencies.all(|other| other == currency);
    let price = all(|one| one.price).filter(|_| one_currency);
    let primer = all(|one| one.primer_l);
    Order {
        bags: compounds.iter().map(|one| one.bags).sum(),
        mixes,
        bags_95,
        bags_95_reason: bags_95.is_none().then_some(no_bags_95),
        liquid_l: sum(|one| one.liquid_l),
        mixed_l: sum(|one| one.mixed_l),
        spare_l: sum(|one| one.spare_l),
        primer_l: primer,
        primer_l_reason: primer.is_none().then_some(words::NO_PRIMER),
        price,
        currency: price.and(currency.cloned()),
        price_reason: price.is_none().then_some(match compounds.len() {
            0 | 1 => words::NO_PRICE,
            _ => words::NO_TOTAL,
        }),
        compounds,
    }
}

/// But for the bags that are surely enough.
fn order_of(compound: &Compound, order: &pour::Order) -> OrderOf {
    OrderOf {
        compound: compound.name.clone(),
        bags: order.bags,
        bags_95: None,
        bags_95_reason: None,
        liquid: compound.liquid.clone(),
        liquid_l: litres(order.liquid),
        bottles: compound.bottles(order.liquid),
        bottles_reason: words::no_bottles(compound),
        mixed_l: litres(order.mixed),
        spare_l: litres(order.spare),
        primer_l: order.primer.map(litres),
        primer_l_reason: order.primer.is_none().then_some(words::NO_PRIMER),
        price: order.price.as_ref().map(|price| rounded(price.amount)),
        currency: order.price.as_ref().map(|price| price.currency.clone()),
        price_reason: order.price.is_none().then_some(words::NO_PRICE),
    }
}

pub(super) fn layers(layers: &[pour::Layer], compounds: &[Compound]) -> Vec<LayerFacts> {
    let from_below = layers.iter().rev();
    from_below
        .filter_map(|layer| {
            let compound = compounds.get(layer.compound)?;
            let drying_days = compound.drying_days(layer.volumes.max_depth);
            Some(LayerFacts {
                compound: compound.name.clone(),
                fill_l: litres(layer.volumes.fill),
                area_m2: rounded(layer.volumes.filled_area),
                mean_depth_mm: mm(layer.volumes.mean_depth),
                min_depth_mm: mm(layer.volumes.min_depth),
                max_depth_mm: mm(layer.volumes.max_depth),
                drying_days: drying_days.map(rounded),
                drying_days_reason: drying_days.is_none().then_some(words::NO_DRYING),
                walk_on_h: rounded(words::hours(compound.walk_on)),
            })
        })
        .collect()
}

fn pins(plan: &PourPlan) -> Vec<PinDepth> {
    let surface = &plan.findings.surface;
    plan.pins
        .iter()
        .map(|pin| {
            let [x, y, z] = pin.position;
            let [x_m, y_m] = on_plan(surface, [x, y]);
            PinDepth {
                name: pin.name.clone(),
                x_m,
                y_m,
                floor_mm: mm(surface.survey_z(z)),
                finish_mm: mm(surface.survey_z(pin.finish())),
                depth_mm: mm(pin.depth),
                grind_mm: plan.is_ground().then(|| mm(pin.grind)),
                batch: pin.batch,
            }
        })
        .collect()
}

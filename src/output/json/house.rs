//! The JSON document of a job.
//!
//! In: a house plan. Out: each floor's document of `pour`, and one order in all.

use schemars::JsonSchema;
use serde::Serialize;

use super::fixed::{FixedLevels, fixed_levels};
use super::{Pour, litres, pour, rounded};
use crate::findings::house::{FloorPlan, HousePlan};
use crate::output::words;
use crate::pour::together::{Together, price_of_all};

/// What `lowspot pour --job FILE.toml --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub struct House {
    /// Version of lowspot.
    lowspot: &'static str,
    job: String,
    client: Option<String>,
    address: Option<String>,
    by: Option<String>,
    date: Option<String>,
    remarks: Vec<String>,
    /// In the order in which they are poured.
    floors: Vec<Floor>,
    order: Order,
}

/// A floor, and what `pour` says of it.
#[derive(Debug, Serialize, JsonSchema)]
struct Floor {
    name: String,
    /// Null where the job names none.
    fixed_levels: Option<FixedLevels>,
    #[serde(flatten)]
    pour: Pour,
}

/// What to buy for all floors.
#[derive(Debug, Serialize, JsonSchema)]
struct Order {
    bags: u64,
    price: Option<f64>,
    currency: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    price_reason: Option<&'static str>,
    compounds: Vec<OrderOf>,
}

/// What to buy of one compound for all floors.
#[derive(Debug, Serialize, JsonSchema)]
struct OrderOf {
    compound: String,
    /// Whole bags, the sum of what each floor takes.
    bags: u64,
    /// Whole bags if what is left of one floor goes into the next.
    bags_in_one_go: u64,
    /// Whole bags that are enough on each floor in 95 % of cases; null where that is not known of each.
    bags_95: Option<u64>,
    liquid: String,
    liquid_l: f64,
    /// Whole bottles of the liquid.
    bottles: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bottles_reason: Option<&'static str>,
    mixed_l: f64,
    primer_l: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    primer_l_reason: Option<&'static str>,
    price: Option<f64>,
    currency: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    price_reason: Option<&'static str>,
}

/// The document of a job.
pub fn house(house: &HousePlan) -> House {
    let heading = &house.heading;
    House {
        lowspot: env!("CARGO_PKG_VERSION"),
        job: heading.title.clone(),
        client: heading.client.clone(),
        address: heading.address.clone(),
        by: heading.by.clone(),
        date: heading.date.clone(),
        remarks: heading.remarks.clone(),
        floors: house.floors.iter().map(floor).collect(),
        order: order(house),
    }
}

fn floor(floor: &FloorPlan) -> Floor {
    let fixed = floor.plan.fixed.as_ref();
    Floor {
        name: floor.name.clone(),
        fixed_levels: fixed.map(|fixed| fixed_levels(&floor.plan, fixed)),
        pour: pour(&floor.plan),
    }
}

fn order(house: &HousePlan) -> Order {
    let orders = house.orders();
    let price = price_of_all(&orders);
    Order {
        bags: orders.iter().map(|order| order.bags).sum(),
        price_reason: price.is_none().then_some(match orders.len() {
            0 | 1 => words::NO_PRICE,
            _ => words::NO_TOTAL,
        }),
        currency: price.as_ref().map(|price| price.currency.clone()),
        price: price.map(|price| rounded(price.amount)),
        compounds: orders.iter().map(|order| order_of(house, order)).collect(),
    }
}

fn order_of(house: &HousePlan, order: &Together) -> OrderOf {
    let compound = &order.compound;
    let price = order.price.as_ref();
    OrderOf {
        compound: compound.name.clone(),
        bags: order.bags,
        bags_in_one_go: order.bags_in_one_go,
        bags_95: house.bags_95(compound),
        liquid: compound.liquid.clone(),
        liquid_l: litres(order.liquid),
        bottles: compound.bottles(order.liquid),
        bottles_reason: words::no_bottles(compound),
        mixed_l: litres(order.mixed),
        primer_l: order.primer.map(litres),
        primer_l_reason: order.primer.is_none().then_some(words::NO_PRIMER),
        price: price.map(|price| rounded(price.amount)),
        currency: price.map(|price| price.currency.clone()),
        price_reason: price.is_none().then_some(words::NO_PRICE),
    }
}

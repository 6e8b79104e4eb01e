//! The pour: what level to finish at, how much compound it takes, and how to divide and order it.
//!
//! In: a measured [`Surface`], a [`Target`], [`Compound`]s from their data sheets. Out: [`Pour`]: volumes, layers and orders.
//! Source of the load: in place 1 mm weighs as many kg/m² as the density has kg/l.
//! Definitions 6 and 8 of the README ("What the numbers mean").

use crate::error::Result;
use crate::surface::Surface;

pub mod after;
pub mod at;
pub mod batches;
pub mod compound;
pub mod cost;
pub mod datum;
pub mod distance;
pub mod doubt;
pub mod even;
pub mod fixed;
pub mod laid;
pub mod lattice;
pub mod layers;
pub mod least;
pub mod materials;
pub mod mixes;
pub mod mixing;
pub mod order;
mod parts;
mod patch;
pub mod pins;
mod raised;
pub mod reach;
pub mod replan;
mod sequence;
mod sheet;
pub mod target;
pub mod thin;
pub mod together;
pub mod volume;
pub mod wet_edge;
pub mod within;

pub use compound::Compound;
pub use datum::Datum;
pub use doubt::{Doubt, bags_95, doubt};
pub use fixed::FixedLevel;
pub use laid::{Laid, laid};
pub use layers::{Layer, layers};
pub use materials::Materials;
pub use mixing::{Mixing, mixing};
pub use order::{Order, order};
pub use pins::Pin;
pub use replan::replan;
pub use target::Target;
pub use thin::Thin;
pub use volume::{Volumes, volume};

/// What it takes to bring a floor to its target.
#[derive(Debug, Clone, PartialEq)]
pub struct Pour {
    /// The height to finish at.
    pub target: Target,
    /// Compound and grinding in all.
    pub volumes: Volumes,
    /// The layers, the topmost first; none where nothing is filled.
    pub layers: Vec<Layer>,
    /// What to buy of each compound, in the order of the compounds.
    pub orders: Vec<Order>,
    /// Load added, kg/m².
    pub load: Load,
    /// What comes with the compound: edge strip, weight, time.
    pub materials: Materials,
    /// Where the floor may be ground: what is taken down so that the finish is nowhere too thin.
    pub thin: Option<Thin>,
}

/// Load that the hardened compound adds, kg/m²: its depth times its density.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// Mean where there is compound.
    pub mean: f64,
    /// Where it is deepest.
    pub greatest: f64,
}

impl Pour {
    /// Bags of all compounds.
    pub fn bags(&self) -> u64 {
        self.orders.iter().map(|order| order.bags).sum()
    }

    /// Compound where the target is `depth` m over the floor, m: what is ground off there is filled again to the least depth.
    /// Negative where the floor is too high and may not be ground.
    pub fn laid(&self, depth: f64) -> f64 {
        match self.thin {
            Some(_) if depth <= 0.0 => 0.0,
            Some(thin) if depth < thin.depth => thin.depth,
            Some(_) | None => depth,
        }
    }
}

/// Works out volumes, layers and orders. Of several compounds the first is the deepest fill, the last
/// the finish. `waste` is the share of the compound that is lost (0.05 for 5 %); `thin`, what is taken down so that the
/// finish is nowhere too thin, makes the topmost layer larger.
///
/// # Errors
/// As [`layers()`] and [`order()`].
pub fn pour(
    surface: &Surface,
    target: Target,
    compounds: &[Compound],
    waste: f64,
    thin: Option<Thin>,
) -> Result<Pour> {
    let mut volumes = volume(surface, &target);
    let mut layers = layers(surface, &target, compounds)?;
    if let (Some(thin), Some(top)) = (thin, layers.first_mut()) {
        volumes = volumes.with(thin);
        top.volumes = top.volumes.with(thin);
    }
    let orders = orders(&layers, compounds, waste)?;
    Ok(Pour {
        load: load(&volumes, &layers, compounds),
        materials: materials::materials(surface, &volumes, &layers, compounds, &orders),
        target,
        volumes,
        layers,
        orders,
        thin,
    })
}

/// The order of every compound for all its layers.
fn orders(layers: &[Layer], compounds: &[Compound], waste: f64) -> Result<Vec<Order>> {
    let numbered = compounds.iter().enumerate();
    numbered
        .map(|(number, compound)| {
            let of_compound = layers.iter().filter(|layer| layer.compound == number);
            order(&together(of_compound), compound, waste)
        })
        .collect()
}

/// The layers of one compound taken together: their areas count each.
fn together<'a>(layers: impl Iterator<Item = &'a Layer>) -> Volumes {
    let nothing = Volumes::even(0.0, 0.0);
    layers.fold(nothing, |sum, layer| {
        let one = layer.volumes;
        let (fill, filled_area) = (sum.fill + one.fill, sum.filled_area + one.filled_area);
        Volumes {
            fill,
            filled_area,
            mean_depth: fill / filled_area,
            min_depth: if sum.filled_area > 0.0 {
                sum.min_depth.min(one.min_depth)
            } else {
                one.min_depth
            },
            max_depth: sum.max_depth.max(one.max_depth),
            ..sum
        }
    })
}

fn load(volumes: &Volumes, layers: &[Layer], compounds: &[Compound]) -> Load {
    let sum = |of: &dyn Fn(&Layer) -> f64| -> f64 {
        let loads = layers
            .iter()
            .filter_map(|layer| Some(compounds.get(layer.compound)?.hardened_density * of(layer)));
        loads.fold(0.0, |sum, load| sum + load)
    };
    Load {
        mean: if volumes.filled_area > 0.0 {
            sum(&|layer| layer.volumes.fill) / volumes.filled_area
        } else {
            0.0
        },
        greatest: sum(&|layer| layer.thickness(volumes.max_depth)),
    }
}

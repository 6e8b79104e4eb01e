//! The pour: what level to finish at, how much compound it takes, and how to divide and order it.
//!
//! In: a measured [`Surface`], a [`Target`], a [`Compound`] from its data sheet. Out: [`Pour`]: volumes, the order, and
//! the depth at every pin.
//! Definitions 6 and 8 of the README ("What the numbers mean").

use crate::error::Result;
use crate::surface::Surface;

pub mod batches;
pub mod compound;
pub mod distance;
mod growth;
pub mod lattice;
pub mod least;
pub mod order;
mod patch;
mod sheet;
pub mod target;
pub mod volume;
pub mod wet_edge;

pub use compound::Compound;
pub use order::{Order, order};
pub use target::Target;
pub use volume::{Volumes, volume};

/// What it takes to bring a floor to its target.
#[derive(Debug, Clone, PartialEq)]
pub struct Pour {
    /// The height to finish at.
    pub target: Target,
    /// Compound and grinding.
    pub volumes: Volumes,
    /// What to buy.
    pub order: Order,
    /// How much compound stands at each pin, m; negative where the floor is too high. In the order of
    /// [`Surface::pins`].
    pub pin_depths: Vec<f64>,
}

/// Works out volumes, order and the depth at every pin. `waste` is the share of the compound that is lost (0.05 for 5 %).
///
/// # Errors
/// As [`order()`].
pub fn pour(surface: &Surface, target: Target, compound: &Compound, waste: f64) -> Result<Pour> {
    let volumes = volume(surface, &target);
    let order = order(&volumes, compound, waste)?;
    Ok(Pour {
        target,
        volumes,
        order,
        pin_depths: pin_depths(surface, &target),
    })
}

/// Target minus floor at every pin, m: the depth of compound, negative where the floor is too high.
pub fn pin_depths(surface: &Surface, target: &Target) -> Vec<f64> {
    surface
        .pins
        .iter()
        .map(|pin| target.depth_over(pin.position))
        .collect()
}

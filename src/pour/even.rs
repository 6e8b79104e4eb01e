//! An order for an area and a depth, with no survey at all.
//!
//! In: an area, one depth for all of it, compounds, the share that is lost, the vessel. Out: an [`EvenPour`].
//! Source: 1 mm over 1 m² is 1 litre. Layers, orders and load as for a measured floor (see the module's own head).
//! Not here: what the floor really takes. Nobody has measured it.

use super::compound::Compound;
use super::layers::{Layer, Refusal, layers_of};
use super::materials::mass;
use super::mixes::{bags_per_mix, mixes};
use super::order::Order;
use super::volume::Volumes;
use super::{Load, load, orders};
use crate::error::{Error, Result};

/// What one depth over an area takes.
#[derive(Debug, Clone, PartialEq)]
pub struct EvenPour {
    /// Area and depth.
    pub volumes: Volumes,
    /// The layers, the topmost first.
    pub layers: Vec<Layer>,
    /// What to buy of each compound, in the order of the compounds.
    pub orders: Vec<Order>,
    /// Load added, kg/m².
    pub load: Load,
    /// The mixes of every layer, in the order of the layers.
    pub mixes: Vec<LayerMixes>,
    /// Bags and liquid to carry, kg.
    pub mass: f64,
    /// Days until it is dry, where every sheet gives a rule.
    pub drying_days: Option<f64>,
}

/// A layer as it is mixed.
#[derive(Debug, Clone, PartialEq)]
pub struct LayerMixes {
    /// Which of the compounds.
    pub compound: usize,
    /// Bags of a full mix: whole ones, or half a bag.
    pub bags_per_mix: f64,
    /// Bags of every mix, the odd one first.
    pub bags: Vec<f64>,
}

/// What `depth` (m) over `area` (m²) takes; `vessel` is that for mixing, m³. Compounds and `waste` as in [`super::pour()`].
///
/// # Errors
/// [`Error::Argument`] for an area or depth of nothing or less; as [`super::layers()`], [`super::order()`] and
/// [`bags_per_mix`].
pub fn pour_evenly(
    area: f64,
    depth: f64,
    compounds: &[Compound],
    waste: f64,
    vessel: f64,
) -> Result<EvenPour> {
    for (name, value) in [("--area", area), ("--depth", depth)] {
        if !(value > 0.0 && value.is_finite()) {
            return Err(Error::argument(name, "nothing, or less", "more than 0"));
        }
    }
    let deeper_than = |over: f64| {
        if over < depth {
            Volumes::even(area, depth - over)
        } else {
            Volumes::even(0.0, 0.0)
        }
    };
    let refused = |refusal: Refusal| Error::argument("--depth", refusal.found, refusal.wanted);
    let mut layers = layers_of(deeper_than, compounds, refused)?;
    for layer in &mut layers {
        layer.volumes = Volumes::even(area, layer.thickness(depth));
    }
    let mut orders = orders(&layers, compounds, waste)?;
    let mut mixed = Vec::new();
    for layer in &layers {
        let Some(compound) = compounds.get(layer.compound) else {
            continue;
        };
        let needed = layer.volumes.fill * (1.0 + waste) / compound.mixed_per_bag;
        let bags_per_mix = bags_per_mix(compound, vessel)?;
        mixed.push(LayerMixes {
            compound: layer.compound,
            bags_per_mix,
            bags: mixes(needed, bags_per_mix),
        });
    }
    for (number, (order, compound)) in orders.iter_mut().zip(compounds).enumerate() {
        let of_compound = mixed.iter().filter(|layer| layer.compound == number);
        order.raise_to(of_compound.flat_map(|layer| &layer.bags).sum(), compound);
    }
    let volumes = deeper_than(0.0);
    let drying = layers.iter().map(|layer| {
        compounds
            .get(layer.compound)?
            .drying_days(layer.volumes.mean_depth)
    });
    Ok(EvenPour {
        load: load(&volumes, &layers, compounds),
        mixes: mixed,
        mass: mass(compounds, &orders),
        drying_days: drying.sum(),
        volumes,
        layers,
        orders,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::sheet::tests::SHEET;

    fn finish() -> Compound {
        Compound::parse(SHEET, "sheet.toml").expect("a good sheet")
    }

    /// 3 m² at 5 mm are 15 l, with 5 % waste 15.75 l: 2 bags of 15 l. 5 mm of 1.9 kg/l weigh 9.5 kg/m², dry in 5 days.
    #[test]
    fn an_area_and_a_depth_by_hand() {
        let pour = pour_evenly(3.0, 0.005, &[finish()], 0.05, 0.04).expect("an order");
        assert_eq!(pour.orders[0].bags, 2);
        assert!((pour.load.mean - 9.5).abs() < 1e-12);
        assert!((pour.drying_days.expect("given") - 5.0).abs() < 1e-12);
        assert_eq!(pour.mixes[0].bags, [2.0]);
        assert_eq!(pour.layers.len(), 1);
        // 2 bags of 20 kg and 10 l of water, as in `materials.rs`.
        assert!((pour.mass - 60.0).abs() < 1e-9, "{}", pour.mass);
    }

    /// 30 mm of at most 10 mm: 8, 8, 8 and 6 mm, as over a measured floor (see `layers.rs`), and no litre lost.
    #[test]
    fn deeper_than_one_layer() {
        let pour = pour_evenly(2.0, 0.03, &[finish()], 0.0, 0.04).expect("an order");
        let depths: Vec<f64> = pour.layers.iter().map(|l| l.volumes.mean_depth).collect();
        for (depth, wanted) in depths.iter().zip([0.008, 0.008, 0.008, 0.006]) {
            assert!((depth - wanted).abs() < 1e-12, "{depths:?}");
        }
        // 16, 16, 16 and 12 l: three layers of a bag and a half bag mixed each on its own, and one of a bag.
        let bags: Vec<f64> = pour
            .mixes
            .iter()
            .map(|layer| layer.bags.iter().sum())
            .collect();
        assert_eq!((depths.len(), bags), (4, vec![2.0, 2.0, 2.0, 1.0]));
        assert_eq!(pour.orders[0].bags, 7);
    }

    /// The finish 2 to 10 mm, the fill from 20 mm: 45 mm are 2 over 43 mm, 15 mm cannot be.
    #[test]
    fn two_sheets_and_a_depth_between_them() {
        let deep = Compound {
            greatest_depth: 0.05,
            least_depth: 0.02,
            ..finish()
        };
        let sheets = [deep, finish()];
        let both = pour_evenly(8.0, 0.045, &sheets, 0.0, 0.04).expect("two layers");
        assert_eq!(both.layers.len(), 2);
        let error = pour_evenly(8.0, 0.015, &sheets, 0.0, 0.04).expect_err("between");
        let error = error.to_string();
        assert!(error.starts_with("--depth: found 8.0 m²"), "{error}");
    }

    #[test]
    fn nothing_is_no_order() {
        for (area, depth) in [(0.0, 0.005), (-1.0, 0.005), (3.0, 0.0), (3.0, f64::NAN)] {
            assert!(pour_evenly(area, depth, &[finish()], 0.0, 0.04).is_err());
        }
        assert!(pour_evenly(3.0, 0.005, &[finish()], 0.0, 0.001).is_err());
    }
}

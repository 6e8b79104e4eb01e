//! What to buy of one compound: bags, liquid, primer and price.
//!
//! In: [`Volumes`], a [`Compound`], the share that is lost. Out: an [`Order`].
//! Source: 1 mm over 1 m² is 1 litre.

use super::compound::{Compound, Price};
use super::volume::Volumes;
use crate::error::{Error, Result, Warning};
use crate::units::{MILLIMETRE, System};

/// A count this close above a whole number is that number: what is over is rounding of the sums.
const SAME: f64 = 1e-9;

/// More bags than this are no floor but a slip in a unit.
const MOST_BAGS: f64 = 1e6;

/// What to buy of one compound.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Whole bags.
    pub bags: u64,
    /// Liquid for all bags, m³.
    pub liquid: f64,
    /// Whole bottles of it, where it is bought by the bottle.
    pub bottles: Option<u64>,
    /// Mixed compound needed, waste included, m³.
    pub mixed: f64,
    /// What the bags make beyond that, m³.
    pub spare: f64,
    /// Primer for one coat, m³, where the sheet gives its coverage.
    pub primer: Option<f64>,
    /// Price of the bags, where the sheet gives one.
    pub price: Option<Price>,
    /// What the order cannot mend.
    pub warnings: Vec<Warning>,
}

/// The order for `volumes`, with `waste` (a share, 0.05 for 5 %) of the compound lost on the way.
///
/// # Errors
/// [`Error::Argument`] for a waste below 0 or of the whole and more; [`Error::Floor`] for more than a million bags.
pub fn order(volumes: &Volumes, compound: &Compound, waste: f64) -> Result<Order> {
    if !(0.0..1.0).contains(&waste) {
        let found = format!("{:.0} %", waste * 100.0);
        return Err(Error::argument("--waste", found, "0 % up to below 100 %"));
    }
    let mixed = volumes.fill * (1.0 + waste);
    let bags = whole_up(mixed / compound.mixed_per_bag);
    if bags.is_nan() || bags > MOST_BAGS {
        return Err(Error::floor(
            format!("{bags:.0} bags of compound"),
            "at most a million; look at the units of the heights and at the target",
        ));
    }
    Ok(Order {
        bags: bags as u64,
        liquid: bags * compound.liquid_per_bag,
        bottles: compound
            .bottle
            .map(|bottle| whole_up(bags * compound.liquid_per_bag / bottle) as u64),
        mixed,
        spare: (bags * compound.mixed_per_bag - mixed).max(0.0),
        primer: compound
            .primer_coverage
            .map(|coverage| volumes.filled_area / coverage),
        price: compound.price.as_ref().map(|price| Price {
            amount: price.amount * bags,
            currency: price.currency.clone(),
        }),
        warnings: thin_places(volumes, compound),
    })
}

/// Rounds up, but for what rounding of the sums left above a whole number.
pub(super) fn whole_up(count: f64) -> f64 {
    let nearest = count.round();
    if count > nearest && count - nearest <= SAME * nearest {
        nearest
    } else {
        count.ceil()
    }
}

/// Warns where the compound is thinner than its sheet allows.
fn thin_places(volumes: &Volumes, compound: &Compound) -> Vec<Warning> {
    let thin = volumes.min_depth < compound.least_depth * (1.0 - SAME);
    if !thin || volumes.filled_area <= 0.0 || compound.feather_edge {
        return Vec::new();
    }
    let shown = |depth| System::Metric.height(depth);
    let cause = if volumes.min_depth < 0.1 * MILLIMETRE {
        "it runs out to nothing where it meets a high spot".to_owned()
    } else {
        format!(
            "it is only {} deep at its shallowest",
            shown(volumes.min_depth)
        )
    };
    vec![Warning(format!(
        "{} needs at least {}: {cause}; raise the target or take the high spots down",
        compound.name,
        shown(compound.least_depth)
    ))]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::sheet::tests::SHEET;

    fn compound() -> Compound {
        Compound::parse(SHEET, "sheet.toml").expect("a good sheet")
    }

    #[test]
    fn a_sum_that_is_a_hair_above_is_not_another_bag() {
        for (count, whole) in [
            (0.0, 0.0),
            (3.0, 3.0),
            (3.0000000001, 3.0),
            (3.0001, 4.0),
            (2.9999999999, 3.0),
            (1e-12, 1.0),
        ] {
            assert_eq!(whole_up(count), whole, "{count}");
        }
    }

    /// 20 m² at 6 mm are 120 l, with 5 % waste 126 l: 8.4 bags of 15 l.
    #[test]
    fn an_order_by_hand() {
        let order = order(&Volumes::even(20.0, 0.006), &compound(), 0.05).expect("an order");
        assert_eq!(order.bags, 9);
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} {b}");
        near(order.mixed, 0.126);
        near(order.spare, 0.009);
        near(order.liquid, 0.045);
        near(order.primer.expect("given"), 0.0025);
        near(order.price.expect("given").amount, 256.5);
        assert_eq!(order.warnings, []);
    }

    /// Nine bags take 45 l: in bottles of 5 l nine of them, in bottles of 4 l 11.25, so twelve.
    #[test]
    fn bottles_are_whole() {
        for (bottle, wanted) in [(0.005, 9), (0.004, 12)] {
            let two_part = Compound {
                bottle: Some(bottle),
                ..compound()
            };
            let order = order(&Volumes::even(20.0, 0.006), &two_part, 0.05).expect("an order");
            assert_eq!((order.bags, order.bottles), (9, Some(wanted)));
        }
    }

    #[test]
    fn too_thin() {
        let thin = order(&Volumes::even(1.0, 0.001), &compound(), 0.0).expect("an order");
        assert!(thin.warnings[0].0.contains("only 1.0 mm deep"));
        let none = order(&Volumes::even(0.0, 0.0), &compound(), 0.0).expect("an order");
        assert_eq!((none.bags, none.warnings.len()), (0, 0));
    }

    #[test]
    fn no_waste_of_all_and_no_million_bags() {
        let volumes = Volumes::even(20.0, 0.006);
        for waste in [-0.1, 1.0, f64::NAN] {
            assert!(order(&volumes, &compound(), waste).is_err(), "{waste}");
        }
        assert!(order(&Volumes::even(1e6, 1e3), &compound(), 0.0).is_err());
        assert!(order(&Volumes::even(f64::NAN, 1.0), &compound(), 0.0).is_err());
    }
}

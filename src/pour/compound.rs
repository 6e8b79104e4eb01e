//! A levelling compound as its data sheet describes it, checked against itself.
//!
//! In: the sheet's figures in SI. Out: a [`Compound`], or an error or warning with the figures that disagree.
//! Sources: 1 mm over 1 m² is 1 litre; densities of levelling compounds, fresh 1.9 to 2.1 kg/l and dry 1.7 to 2.0 kg/l
//! (common practice, no source).
//! Not here: how the sheet is written (see `sheet.rs`).

use std::str::FromStr;

use crate::error::Warning;
use crate::units::{LITRE, NotAQuantity};

/// Figures of a sheet may differ by this share before anyone is told: data sheets round to two digits.
const ROUNDING: f64 = 0.05;
/// Beyond this share the figures cannot be of one compound, and the order would be wrong.
const CONTRADICTION: f64 = 0.25;
/// Densities that a mixed levelling compound can have, kg/m³: from light fill to one with stone in it.
const DENSITIES: [f64; 2] = [800.0, 3000.0];

/// An amount of money in the currency of the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Price {
    /// How much.
    pub amount: f64,
    /// Of what, as the sheet writes it.
    pub currency: String,
}

impl FromStr for Price {
    type Err = NotAQuantity;

    /// An amount and its currency in either order: `28.50 EUR`, `£28.50`.
    fn from_str(text: &str) -> std::result::Result<Self, NotAQuantity> {
        let (number, currency): (String, String) = text
            .chars()
            .partition(|c| c.is_ascii_digit() || matches!(c, '.' | '-'));
        let currency = currency.trim();
        match number.parse() {
            Ok(amount) if amount >= 0.0 && !currency.is_empty() => Ok(Self {
                amount,
                currency: currency.to_owned(),
            }),
            Ok(_) | Err(_) => Err(NotAQuantity {
                found: text.to_owned(),
                wanted: "a price with its currency, such as 28.50 EUR",
            }),
        }
    }
}

/// A levelling compound.
#[derive(Debug, Clone, PartialEq)]
pub struct Compound {
    /// What it is called.
    pub name: String,
    /// Powder in a bag, kg.
    pub bag: f64,
    /// What it is mixed with: water or a second part.
    pub liquid: String,
    /// Liquid for a bag, m³.
    pub liquid_per_bag: f64,
    /// What the liquid weighs, kg/m³.
    pub liquid_density: f64,
    /// What a bottle of the liquid holds, m³, where it is bought by the bottle.
    pub bottle: Option<f64>,
    /// Mixed compound from a bag, m³. Where the sheet states it in several ways, the least of them.
    pub mixed_per_bag: f64,
    /// Density when mixed, kg/m³.
    pub mixed_density: f64,
    /// Density when hardened, kg/m³; that of the mixed compound where the sheet does not say, which is never too light.
    pub hardened_density: f64,
    /// Least depth of a layer, m.
    pub least_depth: f64,
    /// Greatest depth of one layer, m.
    pub greatest_depth: f64,
    /// Whether its edge may run out to nothing.
    pub feather_edge: bool,
    /// How long it can be worked once mixed, s.
    pub working_time: f64,
    /// How long mixing takes, s.
    pub mixing_time: f64,
    /// When it can be walked on, s.
    pub walk_on: f64,
    /// How fast it dries.
    pub drying: Option<Drying>,
    /// Area that a cubic metre of primer covers, m²/m³.
    pub primer_coverage: Option<f64>,
    /// Price of a bag.
    pub price: Option<Price>,
    /// What on the sheet does not quite agree.
    pub warnings: Vec<Warning>,
}

impl Compound {
    /// The least depth that it may be poured at, m: nothing where its edge may run out to nothing.
    pub fn thinnest(&self) -> f64 {
        if self.feather_edge {
            0.0
        } else {
            self.least_depth
        }
    }

    /// Days for `depth` (m) to dry, where the sheet gives a rule.
    pub fn drying_days(&self, depth: f64) -> Option<f64> {
        self.drying.map(|drying| drying.days(depth))
    }
}

/// The trade's rule for drying: so much depth in a day, and less of it where it is deep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drying {
    /// Depth that dries in a day, m.
    pub per_day: f64,
    /// Down to which depth, and how much of what lies deeper dries in a day, m; infinite where the rule does not change.
    pub deeper: [f64; 2],
}

impl Drying {
    /// Days for `depth` (m) to dry.
    pub fn days(self, depth: f64) -> f64 {
        let [from, per_day] = self.deeper;
        depth.min(from) / self.per_day + (depth - from).max(0.0) / per_day
    }
}

/// Two figures of a sheet that should be the same.
pub(super) struct Comparison<'a> {
    pub what: &'a str,
    pub stated: f64,
    pub follows: f64,
    /// SI in one of the unit that they are shown in, and its symbol.
    pub unit: (f64, &'a str),
}

impl Comparison<'_> {
    /// Nothing where they agree but for rounding (5 %), a warning up to 25 %, an error's text beyond.
    pub(super) fn verdict(&self) -> Result<Option<Warning>, String> {
        let apart = (self.stated - self.follows).abs() / self.follows;
        let (worth, symbol) = self.unit;
        let text = format!(
            "{}: {:.3} {symbol} stated, but {:.3} {symbol} follows from the other figures ({:.0} % apart)",
            self.what,
            self.stated / worth,
            self.follows / worth,
            apart * 100.0
        );
        if apart > CONTRADICTION {
            Err(text)
        } else if apart > ROUNDING {
            Ok(Some(Warning(text)))
        } else {
            Ok(None)
        }
    }
}

/// What a sheet says of yield and density, in SI; what it does not say is None.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Figures {
    pub bag: f64,
    pub liquid_mass: f64,
    pub mixed_volume: Option<f64>,
    /// Area x depth of a bag, m³.
    pub coverage: Option<f64>,
    /// Powder in a cubic metre in place, kg/m³.
    pub consumption: Option<f64>,
    pub mixed_density: Option<f64>,
    pub hardened_density: Option<f64>,
}

/// Yield and densities that follow from a sheet's figures.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Settled {
    pub mixed_per_bag: f64,
    pub mixed_density: f64,
    pub hardened_density: f64,
    pub warnings: Vec<Warning>,
}

/// Settles the yield of a bag and the densities, or says which figures contradict each other.
///
/// Powder and liquid weigh what the mix weighs; hardened, it weighs no more, and no less than its powder. A yield stated in several ways is taken at its least, so that no order
/// falls short.
pub(super) fn settle(figures: &Figures) -> Result<Settled, String> {
    let stated = [
        ("the coverage", figures.coverage),
        (
            "the consumption",
            figures.consumption.map(|per| figures.bag / per),
        ),
        ("the mixed volume", figures.mixed_volume),
    ];
    let stated: Vec<(&str, f64)> = stated
        .into_iter()
        .filter_map(|(what, volume)| Some((what, volume?)))
        .collect();
    let Some(&(_, first)) = stated.first() else {
        return Err("no yield".to_owned());
    };
    let mut warnings = Vec::new();
    for &(what, volume) in stated.iter().skip(1) {
        let yields = Comparison {
            what: &format!("yield of a bag by {what}"),
            stated: volume,
            follows: first,
            unit: (LITRE, "l"),
        };
        warnings.extend(yields.verdict()?);
    }
    let mixed_per_bag = stated.iter().fold(first, |least, &(_, v)| least.min(v));
    let weighed = (figures.bag + figures.liquid_mass) / mixed_per_bag;
    if !(DENSITIES[0]..=DENSITIES[1]).contains(&weighed) {
        return Err(format!(
            "{:.2} kg of powder and liquid in {:.2} l of mix, {:.2} kg/l",
            figures.bag + figures.liquid_mass,
            mixed_per_bag / LITRE,
            weighed * LITRE
        ));
    }
    let dry = figures.bag / mixed_per_bag;
    let densities = [
        ("density when mixed", figures.mixed_density, weighed),
        ("density when hardened", figures.hardened_density, dry),
    ];
    for (what, stated, lightest) in densities {
        let Some(stated) = stated else { continue };
        let balance = Comparison {
            what,
            stated,
            follows: stated.clamp(lightest, weighed),
            unit: (1.0 / LITRE, "kg/l"),
        };
        warnings.extend(balance.verdict()?);
    }
    let mixed_density = figures.mixed_density.unwrap_or(weighed);
    Ok(Settled {
        mixed_per_bag,
        mixed_density,
        hardened_density: figures.hardened_density.unwrap_or(mixed_density),
        warnings,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 25 kg and 5 l of water are 30 kg; at 2.0 kg/l they are 15 l.
    const FIGURES: Figures = Figures {
        bag: 25.0,
        liquid_mass: 5.0,
        mixed_volume: Some(0.015),
        coverage: None,
        consumption: None,
        mixed_density: Some(2000.0),
        hardened_density: None,
    };

    #[test]
    fn the_mass_balances_or_the_figures_are_named() {
        let settled = settle(&FIGURES).expect("balances");
        assert_eq!(settled.warnings, []);
        assert_eq!(settled.hardened_density, 2000.0);

        let off = |mixed_density| {
            settle(&Figures {
                mixed_density: Some(mixed_density),
                ..FIGURES
            })
        };
        let warned = off(1800.0).expect("10 % is a warning").warnings;
        assert!(warned[0].0.contains("1.800 kg/l") && warned[0].0.contains("2.000 kg/l"));
        let refused = off(200.0).expect_err("a slip of the decimal point");
        assert!(refused.contains("0.200 kg/l"), "{refused}");
    }

    #[test]
    fn hardened_weighs_between_powder_and_mix() {
        let hardened = |density| {
            settle(&Figures {
                hardened_density: Some(density),
                ..FIGURES
            })
        };
        assert_eq!(
            hardened(1700.0).expect("powder alone is 1.667").warnings,
            []
        );
        assert_eq!(hardened(2200.0).expect("10 % heavier").warnings.len(), 1);
        assert!(hardened(1000.0).is_err());
    }

    /// 1.7 kg/m²/mm is 1700 kg/m³: 25 kg fill 14.7 l, 2 % under 15 l. 8 m² at 2 mm are 16 l, 6.7 % over.
    #[test]
    fn a_yield_stated_twice_must_agree_and_the_least_counts() {
        let consumption = Figures {
            consumption: Some(1700.0),
            ..FIGURES
        };
        let settled = settle(&consumption).expect("agrees");
        assert_eq!(settled.warnings, []);
        assert!((settled.mixed_per_bag - 25.0 / 1700.0).abs() < 1e-15);
        let coverage = |coverage| {
            settle(&Figures {
                coverage: Some(coverage),
                ..FIGURES
            })
        };
        let settled = coverage(0.016).expect("6 % is a warning");
        assert_eq!((settled.mixed_per_bag, settled.warnings.len()), (0.015, 1));
        assert!(coverage(0.030).is_err());
    }

    #[test]
    fn no_yield_and_an_impossible_mix_are_refused() {
        let none = Figures {
            mixed_volume: None,
            ..FIGURES
        };
        assert!(settle(&none).is_err());
        let slip = Figures {
            mixed_volume: Some(0.0015),
            mixed_density: None,
            ..FIGURES
        };
        assert!(settle(&slip).expect_err("20 kg/l").contains("20.00 kg/l"));
    }
}

//! One order for several floors.
//!
//! In: each floor's compounds with what to buy of them. Out: what to buy of each compound in all. Bags are whole ones for
//! every floor, since a bag is mixed whole; how many would do if nothing were left over between floors is said too.

use super::compound::{Compound, Price};
use super::order::{Order, whole_up};

/// What to buy of one compound for all floors.
#[derive(Debug, Clone, PartialEq)]
pub struct Together {
    /// The compound.
    pub compound: Compound,
    /// Whole bags, the sum of what each floor takes.
    pub bags: u64,
    /// Whole bags if the floors are poured in one go, so that what is left of a mix goes into the next floor.
    pub bags_in_one_go: u64,
    /// Liquid for all bags, m³.
    pub liquid: f64,
    /// Mixed compound needed, waste included, m³.
    pub mixed: f64,
    /// Primer for one coat, m³, where the sheet gives its coverage.
    pub primer: Option<f64>,
    /// Price of the bags, where the sheet gives one.
    pub price: Option<Price>,
}

/// The orders of all floors, one for each compound, in the order in which they first come up.
pub fn together<'a>(orders: impl IntoIterator<Item = (&'a Compound, &'a Order)>) -> Vec<Together> {
    let mut all: Vec<Together> = Vec::new();
    for (compound, order) in orders {
        match all.iter_mut().find(|one| one.compound == *compound) {
            Some(one) => one.add(order),
            None => {
                let mut one = Together {
                    compound: compound.clone(),
                    bags: 0,
                    bags_in_one_go: 0,
                    liquid: 0.0,
                    mixed: 0.0,
                    primer: compound.primer_coverage.map(|_| 0.0),
                    price: compound.price.as_ref().map(|price| Price {
                        amount: 0.0,
                        currency: price.currency.clone(),
                    }),
                };
                one.add(order);
                all.push(one);
            }
        }
    }
    all
}

impl Together {
    fn add(&mut self, order: &Order) {
        self.bags += order.bags;
        self.liquid += order.liquid;
        self.mixed += order.mixed;
        self.bags_in_one_go = whole_up(self.mixed / self.compound.mixed_per_bag) as u64;
        if let (Some(primer), Some(more)) = (&mut self.primer, order.primer) {
            *primer += more;
        }
        if let (Some(price), Some(more)) = (&mut self.price, &order.price) {
            price.amount += more.amount;
        }
    }
}

/// What several orders cost in all; None where one has no price or another currency.
pub fn price_of_all(orders: &[Together]) -> Option<Price> {
    let currency = &orders.first()?.price.as_ref()?.currency;
    let amounts = orders.iter().map(|order| {
        let price = order.price.as_ref()?;
        (price.currency == *currency).then_some(price.amount)
    });
    Some(Price {
        amount: amounts.sum::<Option<f64>>()?,
        currency: currency.clone(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::order::order;
    use crate::pour::sheet::tests::SHEET;
    use crate::pour::volume::Volumes;

    fn compound(text: &str) -> Compound {
        Compound::parse(text, "sheet.toml").expect("a good sheet")
    }

    /// 20 m² and 12 m² at 6 mm with 5 % waste: 126 l and 75.6 l, in bags of 15 l 8.4 and 5.04, together 13.44.
    #[test]
    fn each_floor_takes_whole_bags() {
        let fast = compound(SHEET);
        let orders = [20.0, 12.0]
            .map(|area| order(&Volumes::even(area, 0.006), &fast, 0.05).expect("an order"));
        let all = together(orders.iter().map(|order| (&fast, order)));
        let [one] = &all[..] else { panic!("{all:?}") };
        assert_eq!((one.bags, one.bags_in_one_go), (9 + 6, 14));
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} {b}");
        near(one.liquid, 15.0 * 0.005);
        near(one.mixed, 0.2016);
        near(one.primer.expect("given"), 0.004);
        near(one.price.as_ref().expect("given").amount, 15.0 * 28.5);
        near(price_of_all(&all).expect("one currency").amount, 427.5);
    }

    #[test]
    fn another_compound_is_another_order() {
        let fast = compound(SHEET);
        let slow = compound(&SHEET.replace("20 min", "40 min").replace("EUR", "GBP"));
        let small = order(&Volumes::even(1.0, 0.006), &fast, 0.0).expect("an order");
        let all = together([(&fast, &small), (&slow, &small), (&fast, &small)]);
        assert_eq!(all.iter().map(|one| one.bags).collect::<Vec<_>>(), [2, 1]);
        assert_eq!(price_of_all(&all), None, "two currencies");
        assert_eq!(price_of_all(&[]), None);
    }
}

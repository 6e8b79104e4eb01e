//! The summary of a job: what to buy in all, then floor by floor.
//!
//! In: a house plan. Out: text.

use anstyle::Style;

use super::fixed::fixed_levels;
use super::{Page, notes, pour, styled};
use crate::findings::house::HousePlan;
use crate::output::words;
use crate::pour::together::price_of_all;
use crate::units::System;

/// The summary of `pour --job`.
pub fn house(house: &HousePlan, units: System) -> String {
    let mut page = Page::default();
    heading(&mut page, house);
    buy(&mut page, house, units);
    for (number, floor) in house.floors.iter().enumerate() {
        page.line("", "");
        let name = styled(&floor.name, Style::new().bold());
        page.line(&format!("floor {}", number + 1), name);
        pour::plan(&mut page, &floor.plan, units);
        if let Some(fixed) = &floor.plan.fixed {
            fixed_levels(&mut page, &floor.plan, fixed, units);
        }
        notes(&mut page, floor.plan.warnings(), &[]);
    }
    page.line("", "");
    notes(&mut page, [].iter(), words::POUR_CAUTIONS);
    page.0
}

fn heading(page: &mut Page, house: &HousePlan) {
    let heading = &house.heading;
    page.line("job", styled(&heading.title, Style::new().bold()));
    let facts = [
        ("client", &heading.client),
        ("address", &heading.address),
        ("by", &heading.by),
        ("date", &heading.date),
    ];
    for (margin, fact) in facts {
        if let Some(fact) = fact {
            page.line(margin, fact);
        }
    }
    for remark in &heading.remarks {
        page.line("remark", remark);
    }
}

fn buy(page: &mut Page, house: &HousePlan, units: System) {
    let orders = house.orders();
    for order in &orders {
        let bags = styled(&words::bags(order.bags), Style::new().bold());
        let compound = &order.compound;
        let liquid = words::liquid(compound, order.liquid, units);
        let floors = match house.floors.len() {
            1 => String::new(),
            count => format!(", for {count} floors"),
        };
        page.line(
            "buy",
            format!(
                "{bags} of {}, and {liquid} of {}{floors}",
                compound.name, compound.liquid
            ),
        );
        if let Some(enough) = house.bags_95(compound) {
            page.line("", pour::surely(enough, order.bags));
        }
        if let Some(price) = &order.price {
            page.line("", format!("{:.2} {}", price.amount, price.currency));
        }
        if let Some(primer) = order.primer {
            page.line(
                "",
                format!("{} of primer for one coat", units.volume(primer)),
            );
        }
        if order.bags_in_one_go < order.bags {
            let bags = words::bags(order.bags_in_one_go);
            page.line("", format!("{bags} would do if all is poured in one go"));
        }
    }
    if orders.is_empty() {
        page.line(
            "buy",
            "nothing: every floor stands above its finish everywhere",
        );
    }
    if let Some(price) = price_of_all(&orders).filter(|_| orders.len() > 1) {
        page.line("in all", format!("{:.2} {}", price.amount, price.currency));
    }
}

//! What a planned pour costs with grinding, and what its classes will measure.
//!
//! In: a plan. Out: lines of the summary, which the report shares.

use super::Page;
use super::pour::datum;
use crate::findings::{Grinding, PourPlan};
use crate::output::words;
use crate::pour::after::PlannedRequirement;
use crate::pour::cost::{CostCurve, CostPoint, Per};
use crate::units::System;

/// Heights whose costs are shown.
const ROWS: usize = 5;

/// What compound and grinding cost together, and a little higher and lower.
pub(super) fn cost(page: &mut Page, plan: &PourPlan, units: System) {
    let (Some(grinding), Some(total)) = (&plan.grinding, total(plan)) else {
        return;
    };
    page.line("cost", total);
    let curve = match &grinding.curve {
        Ok(curve) => curve,
        Err(reason) => {
            page.line("", format!("other heights are not costed: {reason}"));
            return;
        }
    };
    for point in around(curve) {
        let mark = if curve.best() == Some(point) {
            "; the least"
        } else {
            ""
        };
        let [height, bags, ground, cost] = costed(plan, grinding, point, units);
        page.line(
            "",
            format!("{height}: {bags}, {ground} ground, {cost}{mark}"),
        );
    }
}

/// What compound and grinding cost together.
pub(in crate::output) fn total(plan: &PourPlan) -> Option<String> {
    let (grinding, total) = (plan.grinding.as_ref()?, plan.total_cost()?);
    let currency = &grinding.rate.price.currency;
    let [bags, ground] = [total - grinding.cost, grinding.cost];
    Some(format!(
        "{total:.2} {currency}: {bags:.2} for bags, {ground:.2} for grinding"
    ))
}

/// What one height costs: the height with the depth over the highest spot, bags, what is ground, both together.
pub(in crate::output) fn costed(
    plan: &PourPlan,
    grinding: &Grinding,
    point: &CostPoint,
    units: System,
) -> [String; 4] {
    let ground = match grinding.rate.per {
        Per::Area => units.area(point.ground_area),
        Per::Volume => units.volume(point.ground),
    };
    let cover = units.signed_height(grinding.thin.depth - point.lowered);
    let datum = datum(plan, &grinding.top.lowered(point.lowered), units);
    [
        format!("{datum} ({cover})"),
        words::bags(point.bags),
        ground,
        format!("{:.2} {}", point.cost, grinding.rate.price.currency),
    ]
}

/// Five heights of a curve, the cheapest among them, the others a tenth of its range apart.
pub(in crate::output) fn around(curve: &CostCurve) -> Vec<&CostPoint> {
    let apart = curve.points.len() / 10;
    let tens: Vec<usize> = (0..curve.points.len())
        .filter(|at| *at == curve.cheapest || at.abs_diff(curve.cheapest) % apart.max(1) == 0)
        .collect();
    let at = tens.iter().position(|at| *at == curve.cheapest);
    let last = tens.len().saturating_sub(ROWS);
    let first = at.unwrap_or_default().saturating_sub(ROWS / 2).min(last);
    let rows = tens.iter().skip(first).take(ROWS);
    rows.filter_map(|&at| curve.points.get(at)).collect()
}

/// What the classes will measure once it is poured.
pub(super) fn planned(page: &mut Page, plan: &PourPlan, units: System) {
    for class in &plan.planned {
        for one in &class.requirements {
            page.line(
                "after",
                format!("{}: {}", class.class, on_paper(one, units)),
            );
        }
    }
}

/// What a class's requirement measures on the floor as planned.
pub(in crate::output) fn on_paper(one: &PlannedRequirement, units: System) -> String {
    let rule = &one.requirement.rule;
    let measured = &one.measurement;
    let limit = rule.show(measured.limit, units);
    let limit = match (rule.least(), measured.length) {
        (Some(_), _) => format!("at least {limit}"),
        (None, Some(length)) => format!("at most {limit} over {}", units.plan(length)),
        (None, None) => format!("at most {limit}"),
    };
    match (measured.found, one.met()) {
        (Some(found), Some(met)) => {
            let found = rule.show(found.value, units);
            let met = if met { "met" } else { "not met" };
            let sparse = if one.too_sparse() {
                "; readings too sparse to show it"
            } else {
                ""
            };
            format!("{met} on paper, {found}; {limit}{sparse}")
        }
        (None, _) | (_, None) => format!("nothing to measure; {limit}"),
    }
}

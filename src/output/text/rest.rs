//! The rest of a pour: what is down, what is left, whether it is enough, and the batches still to come.
//!
//! In: a plan of the rest. Out: text.

use super::batches::of_batch;
use super::{Page, notes};
use crate::findings::Rest;
use crate::output::words;
use crate::units::System;

/// A step smaller than this is none, m: it is shown to a tenth of a millimetre.
const NO_STEP: f64 = 5e-5;

/// The answer to `pour --poured`.
pub fn rest(rest: &Rest, units: System) -> String {
    let mut page = Page::default();
    let replan = &rest.replan;
    let numbers = |count: f64| format!("{:.1}", count);
    page.line(
        "down",
        format!(
            "{} bags used where {} were planned",
            numbers(replan.used),
            numbers(replan.planned)
        ),
    );
    if let Some(off) = replan.off {
        let [mean, least, most] = [off.mean, off.least, off.most].map(|d| units.signed_height(d));
        let places = match off.count {
            1 => "1 place".to_owned(),
            count => format!("{count} places"),
        };
        page.line(
            "",
            format!("{mean} against the plan on average, {least} to {most} at {places}"),
        );
    }
    let [left, needed] = [replan.left, replan.needed].map(|volume| units.volume(volume));
    page.line(
        "left",
        format!(
            "{} of {} bags: {left} on the floor; the rest takes {needed}",
            numbers(replan.bags_left),
            rest.bags
        ),
    );
    page.line("enough", enough(rest, units));
    if replan.step().abs() >= NO_STEP {
        page.line("step", step(rest, units));
    }
    next(&mut page, rest, units);
    let warnings = rest.warnings.iter().chain(rest.plan.warnings());
    notes(&mut page, warnings, words::POUR_CAUTIONS);
    page.0
}

fn enough(rest: &Rest, units: System) -> String {
    if rest.replan.rest.is_empty() {
        return "all of it is down".to_owned();
    }
    match rest.replan.bags_missing {
        0 if rest.way_is_free => "yes: pour the rest as planned".to_owned(),
        0 => "yes, but it cannot be poured as planned: see the notes".to_owned(),
        missing if rest.next.is_empty() => {
            format!("no: {} more, and nothing is left", words::bags(missing))
        }
        missing => format!(
            "no: {} more, or the rest comes out {} lower",
            words::bags(missing),
            units.height(rest.replan.drop)
        ),
    }
}

fn step(rest: &Rest, units: System) -> String {
    let step = rest.replan.step();
    let higher = if step > 0.0 {
        "what is down"
    } else {
        "the rest"
    };
    let step = units.height(step.abs());
    let mut text = format!("{step} at the edge to the rest, {higher} the higher");
    for over in &rest.step_over {
        let limit = units.height(over.limit);
        text += &format!("; more than the {limit} of {}", over.class);
    }
    text
}

fn next(page: &mut Page, rest: &Rest, units: System) {
    let plan = &rest.plan;
    let of_layer = plan.mixing.layers.first();
    let Some(compound) = of_layer.and_then(|layer| plan.compounds.get(layer.compound)) else {
        return;
    };
    if rest.replan.drop > 0.0 && !rest.next.is_empty() {
        page.line("next", "with what is left, on patches divided anew");
    }
    for next in &rest.next {
        let what = of_batch(plan, &next.batch, compound, units);
        let at = words::time(next.down_at);
        page.line(
            &format!("batch {}", next.number),
            format!("{what}; down by {at} from now"),
        );
    }
}

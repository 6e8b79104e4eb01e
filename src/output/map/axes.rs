//! Survey coordinates along the edges of the map.
//!
//! In: the view. Out: two axes with arrows, and ticks at round metres or feet of the survey's own coordinates, so that
//! a place on the map can be set out on the floor.

use super::MapPlan;
use super::layout::{View, widest};
use super::sheet::{Anchor, BLACK, Pen, Point};
use crate::error::Result;
use crate::units::{FOOT, System};

/// Letters along the axes, mm.
const SIZE: f64 = 2.7;
/// Least distance between ticks, mm.
const APART: f64 = 9.0;
/// White between numbers along x, mm.
const BETWEEN: f64 = 4.0;

/// Metres in the unit of the plan, and its name.
pub fn plan_unit(units: System) -> (f64, &'static str) {
    match units {
        System::Metric => (1.0, "m"),
        System::Imperial => (FOOT, "ft"),
    }
}

/// Ticks along one axis: local position, m, and number.
fn ticks([low, high]: [f64; 2], origin: f64, step: f64, unit: f64) -> Vec<(f64, String)> {
    let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
    let first = ((low + origin) / unit / step).ceil();
    let last = ((high + origin) / unit / step).floor();
    let count = (last - first + 1.0).clamp(0.0, 200.0) as usize;
    (0..count)
        .map(|n| {
            let value = (first + n as f64) * step + 0.0;
            let text = format!("{value:.decimals$}").replace('-', "\u{2212}");
            (value * unit - origin, text)
        })
        .collect()
}

/// The smallest 1, 2 or 5 times a power of ten, not under a tenth, that is at least `least`.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.max(0.1).log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|times| times * power)
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

/// The largest 1, 2 or 5 times a power of ten that is at most `most`: the length of the scale bar.
pub fn round_length(most: f64) -> f64 {
    let power = 10f64.powf(most.log10().floor());
    [5.0, 2.0, 1.0]
        .into_iter()
        .map(|times| times * power)
        .find(|length| *length <= most)
        .unwrap_or(power)
}

/// Room the y axis takes left of the map, mm.
pub fn width_of_y(plan: &MapPlan, low: f64, high: f64) -> f64 {
    let (unit, _) = plan_unit(plan.units);
    let step = round_step((high - low) / unit / 10.0);
    let ticks = ticks([low, high], plan.surface.origin[1], step, unit);
    // More than a coordinate of any real survey takes.
    widest(ticks.iter().map(|(_, text)| text), SIZE).min(40.0) + 4.0
}

/// Draws both axes.
///
/// # Errors
/// As the pen's.
pub fn draw(plan: &MapPlan, view: &View, pen: &mut Pen) -> Result<()> {
    let (unit, name) = plan_unit(plan.units);
    let paper = view.paper;
    let high = [
        view.low[0] + paper.width() / view.scale,
        view.low[1] + paper.height() / view.scale,
    ];
    let least = APART / view.scale / unit;
    let mut step = round_step(least);
    let along_x = |step| ticks([view.low[0], high[0]], plan.surface.origin[0], step, unit);
    while widest(along_x(step).iter().map(|(_, text)| text), SIZE) + BETWEEN
        > step * unit * view.scale
    {
        step = round_step(step * 1.01);
    }
    for (at, text) in along_x(step) {
        let [x, _] = view.to([at, 0.0]);
        pen.line(&[[x, paper.bottom], [x, paper.bottom + 1.4]], 0.2, BLACK)?;
        pen.text(&text, [x, paper.bottom + 3.6], SIZE, Anchor::Middle, false)?;
    }
    let step = round_step(least);
    for (at, text) in ticks([view.low[1], high[1]], plan.surface.origin[1], step, unit) {
        let [_, y] = view.to([0.0, at]);
        pen.line(&[[paper.left, y], [paper.left - 1.4, y]], 0.2, BLACK)?;
        pen.text(&text, [paper.left - 2.2, y], SIZE, Anchor::Right, false)?;
    }
    let corner = [paper.left, paper.bottom];
    arrow(pen, corner, [paper.right + 3.0, paper.bottom])?;
    arrow(pen, corner, [paper.left, paper.top - 3.0])?;
    let name = |axis| format!("{axis}, {name}");
    let x_name = name("x");
    let at = [paper.right + 3.0, paper.bottom + 7.6];
    pen.text(&x_name, at, SIZE, Anchor::Right, false)?;
    let at = [paper.left + 2.0, paper.top - 3.2];
    pen.text(&name("y"), at, SIZE, Anchor::Left, false)
}

fn arrow(pen: &mut Pen, from: Point, to: Point) -> Result<()> {
    pen.line(&[from, to], 0.25, BLACK)?;
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let length = dx.hypot(dy);
    let (ux, uy) = (dx / length, dy / length);
    let side = |way: f64| {
        [
            to[0] - 2.2 * ux - way * 0.8 * uy,
            to[1] - 2.2 * uy + way * 0.8 * ux,
        ]
    };
    pen.area(&[to, side(1.0), side(-1.0)], BLACK, None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_stand_at_round_survey_coordinates() {
        let ticks = ticks([-0.3, 1.2], 652_345.25, 0.5, 1.0);
        let texts: Vec<_> = ticks.iter().map(|(_, text)| text.as_str()).collect();
        assert_eq!(texts, ["652345.0", "652345.5", "652346.0"]);
        assert!((ticks[0].0 - -0.25).abs() < 1e-9);
    }

    #[test]
    fn steps_are_one_two_or_five() {
        for (least, step) in [
            (0.02, 0.1),
            (0.11, 0.2),
            (0.3, 0.5),
            (0.7, 1.0),
            (13.0, 20.0),
        ] {
            assert!((round_step(least) - step).abs() < 1e-12, "{least}");
        }
        assert_eq!(round_length(4.9), 2.0);
        assert_eq!(round_length(0.7), 0.5);
    }
}

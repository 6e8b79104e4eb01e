//! What a floor costs at every height it might be finished at: bags and grinding, each and together.
//!
//! In: a plan with a rate for grinding. Out: SVG; the cheapest height and the planned one are marked.

use plotters::prelude::*;

use super::{EDGE, FAINT, FLOOR, LETTERS, Picture, SIZE, drawn, picture};
use crate::error::Result;
use crate::findings::{Grinding, PourPlan};
use crate::pour::cost::{CostCurve, CostPoint};
use crate::units::{INCH, MILLIMETRE, System};

/// How many times the cheapest cost is shown at most: grinding the whole floor would hide the rest.
const TIMES: f64 = 4.0;

/// The curve; None where grinding has no rate, or other heights are not costed.
///
/// # Errors
/// None but those of the drawing library.
pub fn cost_curve(plan: &PourPlan, units: System) -> Option<Result<Picture>> {
    let grinding = plan.grinding.as_ref()?;
    let curve = grinding.curve.as_ref().ok()?;
    Some(draw(plan, grinding, curve, units))
}

fn draw(plan: &PourPlan, grinding: &Grinding, curve: &CostCurve, units: System) -> Result<Picture> {
    let (unit, name) = match units {
        System::Metric => (MILLIMETRE, "mm"),
        System::Imperial => (INCH, "in"),
    };
    let cover = |point: &CostPoint| (grinding.thin.depth - point.lowered) / unit;
    let points = shown(curve);
    let ends = |value: &dyn Fn(&CostPoint) -> f64| {
        let values = points.iter().map(|point| value(point));
        let ends = (f64::INFINITY, f64::NEG_INFINITY);
        values.fold(ends, |(low, high), value| (low.min(value), high.max(value)))
    };
    let (low, high) = ends(&cover);
    let (_, dearest) = ends(&|point| point.cost);
    let most = dearest.max(1e-9) * 1.1;
    let currency = &grinding.rate.price.currency;
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
        let mut chart = drawn(
            ChartBuilder::on(&area)
                .margin(12)
                .x_label_area_size(55)
                .y_label_area_size(100)
                .build_cartesian_2d(low..high.max(low + 1e-6), 0.0..most),
        )?;
        drawn(
            chart
                .configure_mesh()
                .disable_x_mesh()
                .light_line_style(TRANSPARENT)
                .bold_line_style(FAINT)
                .x_desc(format!(
                    "{name} of compound over the highest spot; below 0 it is ground down"
                ))
                .y_desc(currency.as_str())
                .label_style(("sans-serif", LETTERS))
                .draw(),
        )?;
        let ground = |point: &&CostPoint| grinding.rate.cost(point.ground, point.ground_area);
        let ground = points.iter().map(|point| (cover(point), ground(point)));
        drawn(chart.draw_series(AreaSeries::new(ground, 0.0, FLOOR.mix(0.5))))?;
        let total = points.iter().map(|point| (cover(point), point.cost));
        drawn(chart.draw_series(LineSeries::new(total, BLACK.stroke_width(3))))?;
        let planned = plan.cover() / unit;
        let planned = (low..=high)
            .contains(&planned)
            .then(|| PathElement::new([(planned, 0.0), (planned, most)], EDGE.stroke_width(2)));
        drawn(chart.draw_series(planned))?;
        let cheapest = curve
            .best()
            .map(|best| Circle::new((cover(best), best.cost), 8, EDGE.stroke_width(4)));
        drawn(chart.draw_series(cheapest))?;
        drawn(area.present())?;
    }
    let caption = format!(
        "What every height to finish at costs, in {currency}: bags and grinding together (line), grinding alone (grey). The ring is the cheapest, the upright line the planned one"
    );
    Ok(picture(&svg, caption))
}

/// The points that are not too dear to be shown.
fn shown(curve: &CostCurve) -> Vec<&CostPoint> {
    let highest = curve.points.first().map_or(0.0, |highest| highest.cost);
    let cheapest = curve.best().map_or(0.0, |best| best.cost);
    let most = highest.max(TIMES * cheapest);
    let points = curve.points.iter();
    points.filter(|point| point.cost <= most).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_far_too_dear_is_left_out() {
        let point = |lowered: f64, cost: f64| CostPoint {
            lowered,
            bags: 1,
            ground: 0.0,
            ground_area: 0.0,
            cost,
        };
        let curve = CostCurve {
            points: vec![
                point(0.0, 90.0),
                point(0.001, 30.0),
                point(0.002, 119.0),
                point(0.003, 121.0),
            ],
            cheapest: 1,
        };
        let costs: Vec<f64> = shown(&curve).iter().map(|point| point.cost).collect();
        assert_eq!(costs, [90.0, 30.0, 119.0]);
    }
}

//! How far how much of the floor is out: a histogram of deviations from the reference plane.
//!
//! In: findings. Out: SVG, with the band of half the class's limit to either side, if a class was asked for.

use plotters::prelude::*;

use super::{EDGE, FAINT, FLOOR, LETTERS, Picture, SIZE, drawn, picture};
use crate::error::Result;
use crate::findings::{Findings, USUAL_EDGE};
use crate::units::{INCH, MILLIMETRE, System};

/// Bars, about: so many that a hollow shows and so few that noise does not.
const BARS: f64 = 24.0;

/// The histogram; None of lines that have no plan.
///
/// # Errors
/// None but those of the drawing library.
pub fn histogram(findings: &Findings, units: System) -> Option<Result<Picture>> {
    let on_plan = findings.on_plan.as_ref()?;
    let (unit, name) = match units {
        System::Metric => (MILLIMETRE, "mm"),
        System::Imperial => (INCH, "in"),
    };
    let values: Vec<f64> = on_plan
        .deviations
        .iter()
        .filter(|value| value.is_finite())
        .map(|value| value / unit)
        .collect();
    let limits = findings
        .judged
        .iter()
        .filter_map(|judged| judged.class.flatness_limit(USUAL_EDGE));
    let band = limits
        .min_by(f64::total_cmp)
        .map(|limit| 0.5 * limit / unit);
    let what = on_plan.reference.title();
    Some(draw(&values, band, name, what))
}

/// Width of a bar and how many percent of the values each holds, from the lowest bar's number on.
fn bars(values: &[f64]) -> (f64, i64, Vec<f64>) {
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let rough = ((high - low) / BARS).max(1e-6);
    let decade = 10.0_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * decade)
        .find(|step| *step >= rough)
        .unwrap_or(rough);
    let number = |value: f64| (value / step).floor() as i64;
    let first = number(low);
    let mut counts = vec![0.0; (number(high) - first + 1).max(1) as usize];
    for &value in values {
        if let Some(count) = counts.get_mut((number(value) - first) as usize) {
            *count += 100.0 / values.len() as f64;
        }
    }
    (step, first, counts)
}

fn draw(values: &[f64], band: Option<f64>, unit: &str, what: &str) -> Result<Picture> {
    let (step, first, counts) = bars(values);
    let from = first as f64 * step;
    let to = from + counts.len() as f64 * step;
    let reach = band.unwrap_or(0.0) * 1.2;
    let most = counts.iter().copied().fold(0.0, f64::max);
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
        let mut chart = drawn(
            ChartBuilder::on(&area)
                .margin(12)
                .x_label_area_size(55)
                .y_label_area_size(80)
                .build_cartesian_2d(from.min(-reach)..to.max(reach), 0.0..most * 1.1),
        )?;
        drawn(
            chart
                .configure_mesh()
                .disable_x_mesh()
                .light_line_style(TRANSPARENT)
                .bold_line_style(FAINT)
                .x_desc(format!("{unit} above (+) or below (-) {what}"))
                .y_desc("% of the floor")
                .label_style(("sans-serif", LETTERS))
                .draw(),
        )?;
        let bar = |(number, &count): (usize, &f64)| {
            let left = from + number as f64 * step;
            Rectangle::new([(left, 0.0), (left + step, count)], FLOOR.filled())
        };
        drawn(chart.draw_series(counts.iter().enumerate().map(bar)))?;
        if let Some(band) = band {
            let side =
                |at: f64| PathElement::new([(at, 0.0), (at, most * 1.1)], EDGE.stroke_width(3));
            drawn(chart.draw_series([side(-band), side(band)]))?;
        }
        drawn(area.present())?;
    }
    let band = match band {
        Some(_) => ", with half the limit of the class to either side",
        None => "",
    };
    let caption = format!("How far how much of the floor is from {what}{band}");
    Ok(picture(&svg, caption))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_hold_all_of_the_floor() {
        let values: Vec<f64> = (0..1000)
            .map(|n| (f64::from(n) * 0.37).sin() * 6.0)
            .collect();
        let (step, first, counts) = bars(&values);
        assert_eq!((step, first), (0.5, -12));
        assert!((counts.iter().sum::<f64>() - 100.0).abs() < 1e-9);
        let below = values.iter().filter(|value| **value < -5.5).count() as f64;
        assert!((counts[0] - below / 10.0).abs() < 1e-9);
        assert_eq!(bars(&[0.0, 0.0]).2, [100.0]);
    }
}

//! The floor in section along the worst straightedge, with the edge on it.
//!
//! In: findings. Out: SVG; heights are exaggerated, and the picture says by how much.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::{EDGE, FAINT, FLOOR, LETTERS, Picture, SIZE, drawn, picture};
use crate::error::Result;
use crate::findings::Findings;
use crate::output::maps::{WorstChord, worst_chord};
use crate::surface::HeightField;
use crate::units::{FOOT, INCH, MILLIMETRE, System};

/// How much of the floor is shown beyond either end of the edge, as a share of its length.
const BEYOND: f64 = 0.25;

/// A place along the section and the floor's height there over the lower end of the edge, m; no height where it was not
/// measured.
type Profile = Vec<[f64; 2]>;

/// The section; None where no edge leaves a gap.
///
/// # Errors
/// None but those of the drawing library.
pub fn section(findings: &Findings, units: System) -> Option<Result<Picture>> {
    let chord = worst_chord(findings)?;
    let (profile, ends) = profile(&findings.surface.field, &chord);
    Some(draw(&profile, ends, &chord, units))
}

/// The floor along the line of A and B, and where on it these two and C are.
fn profile(field: &HeightField, chord: &WorstChord) -> (Profile, [[f64; 2]; 3]) {
    let [a, b, c] = chord.nodes;
    let place = |node: usize| [(node % field.nx) as i64, (node / field.nx) as i64];
    let ([ax, ay], [bx, by]) = (place(a), place(b));
    let steps = greatest_common_divisor(bx.abs_diff(ax), by.abs_diff(ay)).max(1) as i64;
    let [sx, sy] = [(bx - ax) / steps, (by - ay) / steps];
    let step = (sx as f64 * field.dx).hypot(sy as f64 * field.dy);
    let beyond = (BEYOND * chord.length / step).ceil() as i64;
    let node = |at: i64| {
        let [x, y] = [ax + at * sx, ay + at * sy];
        let inside = (0..field.nx as i64).contains(&x) && (0..field.ny as i64).contains(&y);
        inside.then(|| (y * field.nx as i64 + x) as usize)
    };
    let lower = field.z[a].min(field.z[b]);
    let profile = (-beyond..=steps + beyond)
        .filter_map(|at| Some([at as f64 * step, field.z[node(at)?] - lower]))
        .collect();
    let along = |node: usize| {
        let ([x, y], [px, py]) = (field.position(node), field.position(a));
        [(x - px).hypot(y - py), field.z[node] - lower]
    };
    (profile, [along(a), along(b), along(c)])
}

fn greatest_common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 {
        a
    } else {
        greatest_common_divisor(b, a % b)
    }
}

fn draw(
    profile: &Profile,
    [a, b, c]: [[f64; 2]; 3],
    chord: &WorstChord,
    units: System,
) -> Result<Picture> {
    let (plan, height, names) = match units {
        System::Metric => (1.0, MILLIMETRE, ["m along the edge", "mm"]),
        System::Imperial => (FOOT, INCH, ["ft along the edge", "in"]),
    };
    let shown = |[along, z]: [f64; 2]| (along / plan, z / height);
    let floor: Vec<(f64, f64)> = profile.iter().copied().map(shown).collect();
    let measured = || floor.iter().filter(|(_, z)| z.is_finite());
    let low = measured().map(|(_, z)| *z).fold(0.0, f64::min);
    let high = measured().map(|(_, z)| *z).fold(0.0, f64::max);
    let room = 0.2 * (high - low).max(1e-6);
    let first = floor.first().map_or(0.0, |(along, _)| *along);
    let last = floor.last().map_or(1.0, |(along, _)| *along);
    let mut svg = String::new();
    let exaggeration;
    {
        let area = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
        let mut chart = drawn(
            ChartBuilder::on(&area)
                .margin(12)
                .x_label_area_size(55)
                .y_label_area_size(80)
                .build_cartesian_2d(first..last, low - room..high + room),
        )?;
        // Units of the picture to a metre, upwards against along.
        let (wide, tall) = chart.plotting_area().dim_in_pixel();
        exaggeration = (f64::from(tall) / ((high - low + 2.0 * room) * height))
            / (f64::from(wide) / ((last - first) * plan));
        drawn(
            chart
                .configure_mesh()
                .light_line_style(TRANSPARENT)
                .bold_line_style(FAINT)
                .x_desc(names[0])
                .y_desc(names[1])
                .label_style(("sans-serif", LETTERS))
                .draw(),
        )?;
        for run in floor.split(|(_, z)| !z.is_finite()) {
            let ground = AreaSeries::new(run.iter().copied(), low - room, FLOOR.mix(0.35));
            drawn(chart.draw_series(ground.border_style(BLACK.stroke_width(2))))?;
        }
        let edge = [shown(a), shown(b)];
        drawn(chart.draw_series([PathElement::new(edge, EDGE.stroke_width(4))]))?;
        let share = (c[0] - a[0]) / (b[0] - a[0]);
        let on_edge = [c[0], a[1] + share * (b[1] - a[1])];
        let gap = [shown(c), shown(on_edge)];
        drawn(chart.draw_series([PathElement::new(gap, BLACK.stroke_width(2))]))?;
        let contacts = [a, b].map(|end| Circle::new(shown(end), 6, EDGE.filled()));
        drawn(chart.draw_series(contacts))?;
        let (x, y) = shown(on_edge);
        let label = format!("gap {}", units.height(chord.gap));
        // Above the edge and on the side that it falls to, where nothing crosses the letters.
        let side = if b[1] > a[1] { HPos::Right } else { HPos::Left };
        let letters = ("sans-serif", LETTERS + 2).into_font();
        let letters = TextStyle::from(letters).pos(Pos::new(side, VPos::Bottom));
        drawn(chart.draw_series([Text::new(label, (x, y + 0.15 * room), letters)]))?;
        drawn(area.present())?;
    }
    let edge = units.plan(chord.length);
    let caption = format!(
        "The floor in section under a straightedge of {edge}, heights exaggerated {exaggeration:.0} times"
    );
    Ok(picture(&svg, caption))
}

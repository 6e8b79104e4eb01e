//! Draws the legend's items where the layout put them.
//!
//! In: a page. Out: drawing.

use super::boxes::{Rect, text_width};
use super::columns::COLUMN;
use super::layout::Page;
use super::panel::{CELLS, HEADING, Item, SIZE, Symbol};
use super::relief::Relief;
use super::sheet::{Anchor, BLACK, Pen, Point, WHITE};
use super::{MapPlan, Scale, SpotKind, axes, colour, contours, height_unit, marks, short_height};
use crate::error::Result;

/// The longest scale bar, mm.
const LONGEST_BAR: f64 = 50.0;
/// Steps between the numbers of a shared scale at most.
const MOST_NUMBERS: usize = 8;
/// Height of the colour bar, mm.
const BAR: f64 = 5.0;
/// Where the meaning of a symbol begins, mm.
const MEANING: f64 = 14.0;

/// Draws the legend.
///
/// # Errors
/// As the pen's.
pub fn draw(
    plan: &MapPlan,
    page: &Page,
    ends: [f64; 2],
    relief: &Relief,
    pen: &mut Pen,
) -> Result<()> {
    for (item, [x, y]) in &page.items {
        let middle = [*x, y + item.height() / 2.0];
        match item {
            Item::Heading(text) => pen.text(text, middle, HEADING, Anchor::Left, true)?,
            Item::Text(text) => pen.text(text, middle, SIZE, Anchor::Left, false)?,
            Item::ColourBar => {
                colour_bar(plan, ends, between_numbers(plan, relief), [*x, *y], pen)?;
            }
            Item::ScaleBar => scale_bar(plan, page.view.scale, [*x, *y], pen)?,
            Item::Key(symbol, meaning) => key(*symbol, meaning, middle, pen)?,
            Item::Row(cells) => row(cells, middle, pen)?,
            Item::Space => {}
        }
    }
    Ok(())
}

/// From number to number under the palette, m: from contour to contour, unless maps share a scale: they have the same.
fn between_numbers(plan: &MapPlan, relief: &Relief) -> f64 {
    match plan.scale {
        Scale::Diverging { limit: Some(limit) } => {
            contours::interval(2.0 * limit, MOST_NUMBERS, plan.units)
        }
        Scale::Diverging { limit: None } | Scale::Depth => relief.interval,
    }
}

/// The palette from low to high, with numbers below it as far as they have room.
fn colour_bar(
    plan: &MapPlan,
    ends: [f64; 2],
    interval: f64,
    [x, y]: Point,
    pen: &mut Pen,
) -> Result<()> {
    // Numbers at the ends are centred on them, and the unit stands at the right.
    let (left, width) = (x + 4.0, COLUMN - 13.0);
    let (right, bottom) = (left + width, y + BAR);
    let step = width / colour::STEPS as f64;
    for (n, fill) in colour::palette(plan.scale).into_iter().enumerate() {
        // Each reaches to the end under the next: no seams.
        let from = left + n as f64 * step;
        pen.rectangle(
            Rect {
                left: from,
                top: y,
                right,
                bottom,
            },
            fill,
        )?;
    }
    pen.line(
        &[
            [left, y],
            [right, y],
            [right, bottom],
            [left, bottom],
            [left, y],
        ],
        0.2,
        BLACK,
    )?;
    let unit = height_unit(plan.units);
    pen.text(
        unit,
        [right + 2.0, y + BAR / 2.0],
        SIZE,
        Anchor::Left,
        false,
    )?;
    let at = |value: f64| left + width * (value - ends[0]) / (ends[1] - ends[0]);
    let widest = text_width(&short_height(plan, ends[0]), SIZE, false).max(text_width(
        &short_height(plan, ends[1]),
        SIZE,
        false,
    ));
    // Every so many steps, counted from zero, so that zero always has its number.
    let every = ((widest + 2.0) / (width * interval / (ends[1] - ends[0])))
        .ceil()
        .max(1.0);
    let (first, last) = (
        (ends[0] / interval / every - 1e-9).ceil() as i64,
        (ends[1] / interval / every + 1e-9).floor() as i64,
    );
    for n in first..=last {
        let value = n as f64 * every * interval;
        let x = at(value);
        pen.line(
            &[[x, bottom], [x, bottom + 1.2]],
            if n == 0 { 0.5 } else { 0.2 },
            BLACK,
        )?;
        let text = short_height(plan, value);
        pen.text(&text, [x, bottom + 3.2], SIZE, Anchor::Middle, false)?;
    }
    Ok(())
}

/// A round length of floor in two halves, black and white.
fn scale_bar(plan: &MapPlan, mm_per_m: f64, [x, y]: Point, pen: &mut Pen) -> Result<()> {
    let (unit, name) = axes::plan_unit(plan.units);
    let length = axes::round_length(LONGEST_BAR / mm_per_m / unit);
    let width = length * unit * mm_per_m;
    let (left, top, bottom) = (x + 1.0, y + 5.2, y + 7.2);
    let half = |from: f64| Rect {
        left: left + from * width,
        top,
        right: left + (from + 0.5) * width,
        bottom,
    };
    pen.rectangle(half(0.0), BLACK)?;
    pen.rectangle(half(0.5), WHITE)?;
    let right = left + width;
    pen.line(
        &[
            [left, top],
            [right, top],
            [right, bottom],
            [left, bottom],
            [left, top],
        ],
        0.25,
        BLACK,
    )?;
    pen.text("0", [left, y + 2.6], SIZE, Anchor::Middle, false)?;
    let text = format!("{length} {name}");
    pen.text(&text, [right, y + 2.6], SIZE, Anchor::Middle, false)
}

fn key(symbol: Symbol, meaning: &str, [x, y]: Point, pen: &mut Pen) -> Result<()> {
    let middle = [x + 6.0, y];
    let line = [[x + 1.0, y], [x + 11.0, y]];
    let swatch = Rect::centred(middle, [9.0, 3.2]);
    match symbol {
        Symbol::Above => pen.line(&line, 0.25, BLACK)?,
        Symbol::Below => {
            for start in [1.0, 3.8, 6.6, 9.4] {
                pen.line(&[[x + start, y], [x + start + 1.8, y]], 0.25, BLACK)?;
            }
        }
        Symbol::Zero => pen.line(&line, 0.6, BLACK)?,
        Symbol::Reading => marks::reading(middle, pen)?,
        Symbol::NotMeasured => hatching(swatch, pen)?,
        Symbol::Column => pen.rectangle(swatch, marks::COLUMN)?,
        Symbol::High => marks::triangle(pen, SpotKind::High, middle)?,
        Symbol::Low => marks::triangle(pen, SpotKind::Low, middle)?,
        Symbol::Edge => marks::straightedge(pen, line, middle)?,
        Symbol::Laid(verdict) => marks::laid(verdict, line, middle, pen)?,
        Symbol::Pin => marks::pin(pen, middle)?,
        Symbol::SampleLine => marks::sample_line(pen, line)?,
        Symbol::Batch => marks::batch(pen, &line)?,
        Symbol::BayStop => marks::bay_stop(pen, line)?,
        Symbol::Step => marks::step(pen, line)?,
        Symbol::Exit => marks::exit(pen, middle)?,
        Symbol::Fixed(met) => marks::fixed(met, &[middle], pen)?,
    }
    pen.text(meaning, [x + MEANING, y], SIZE, Anchor::Left, false)
}

/// The hatching of the map, drawn by hand: plotters has no patterns.
fn hatching(swatch: Rect, pen: &mut Pen) -> Result<()> {
    pen.rectangle(swatch, [242, 242, 242])?;
    let high = swatch.height();
    for n in 0..4 {
        let x = swatch.left + f64::from(n) * 1.9;
        pen.line(
            &[[x, swatch.bottom], [x + high, swatch.top]],
            0.2,
            [153, 153, 153],
        )?;
    }
    Ok(())
}

fn row(cells: &[String; 4], [x, y]: Point, pen: &mut Pen) -> Result<()> {
    let anchors = [Anchor::Left, Anchor::Left, Anchor::Right, Anchor::Left];
    let placed = cells.iter().zip(CELLS).zip(anchors).enumerate();
    placed
        .filter(|(_, ((text, _), _))| !text.is_empty())
        .try_for_each(|(column, ((text, cell), anchor))| {
            pen.text(text, [x + cell, y], SIZE, anchor, column == 0)
        })
}

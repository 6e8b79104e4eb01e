//! What is marked on the map: spots, straightedges, pins, batches, and the readings themselves.
//!
//! In: the plan's marks. Out: symbols, and labels placed clear of each other.

use super::boxes::{Rect, Taken, text_width};
use super::heights::Ink;
use super::layout::View;
use super::sheet::{BLACK, Colour, GREY, Pen, Point, WHITE};
use super::{MapPlan, Mark, SpotKind, height_number, panel};
use crate::error::Result;
use crate::flatness::verdict::Verdict;
use crate::pour::fixed::Met;
use crate::surface::Kind;

/// What stands in the room.
pub const COLUMN: Colour = [150, 150, 150];
/// A line that heights were read along: a green that neither heights nor depths have.
const SAMPLE_LINE: Colour = [0, 90, 40];
/// An edge whose gap is over the limit, one that is too near it, and one that is within.
const OUTSIDE: Colour = [178, 24, 43];
const UNDECIDED: Colour = [120, 80, 0];
const WITHIN: Colour = [33, 102, 172];
/// A piece of a broken line with the white after it, mm.
const PIECE: f64 = 2.4;
/// Half the width of a spot's triangle, mm.
const SPOT: f64 = 1.9;
/// Half the length of a straightedge's end ticks, mm.
const TICK: f64 = 1.6;
/// How far an arrow keeps off the numbers of the batches at its ends, mm.
const CLEAR: f64 = 3.6;
/// Length of an arrow's head, mm.
const HEAD: f64 = 2.2;
/// Half the side of a way out, mm.
const EXIT: f64 = 1.6;
/// Half a fixed level's diamond, mm.
const FIXED: f64 = 1.7;
/// Half a pin's cross, mm.
const PIN: f64 = 1.0;
/// Half a reading's cross, mm.
const READING: f64 = 0.55;
/// Readings closer than this are not marked: they would hide the map, mm.
const READINGS_APART: f64 = 2.5;
/// Letters of a reading's value, mm.
const VALUE: f64 = 2.2;
/// Readings closer than this go without their values, mm.
const VALUES_APART: f64 = 11.0;

/// Reserves the room of symbols and lines.
pub fn keep_off(plan: &MapPlan, view: &View, taken: &mut Taken) {
    for mark in &plan.marks {
        match mark {
            Mark::Spot { at, .. } => {
                taken.keep_off(Rect::centred(view.to(*at), [2.0 * SPOT, 2.0 * SPOT]));
            }
            Mark::Edge { from, to, .. } => taken.keep_off_line([view.to(*from), view.to(*to)]),
            Mark::Laid { ends, .. } => taken.keep_off_line(ends.map(|end| view.to(end))),
            Mark::Pin { at, .. } => {
                taken.keep_off(Rect::centred(view.to(*at), [2.0 * PIN, 2.0 * PIN]));
            }
            Mark::Exit { at } => {
                taken.keep_off(Rect::centred(view.to(*at), [2.0 * EXIT, 2.0 * EXIT]));
            }
            Mark::Fixed { places, .. } => {
                for &at in places {
                    taken.keep_off(Rect::centred(view.to(at), [2.0 * FIXED, 2.0 * FIXED]));
                }
            }
            Mark::Batch { .. }
            | Mark::SampleLine { .. }
            | Mark::Step { .. }
            | Mark::BayStop { .. } => {}
        }
    }
}

/// Places the labels: numbers first, for a symbol without its number is lost; then gaps and pins.
pub fn label(plan: &MapPlan, view: &View, taken: &mut Taken) {
    for mark in &plan.marks {
        match mark {
            Mark::Spot { number, at, .. } => {
                taken.put_beside(&number.to_string(), view.to(*at), SPOT + 0.4, 3.3, true);
            }
            Mark::Batch { number, centre, .. } => {
                let (text, at) = (number.to_string(), view.to(*centre));
                let _ = taken.put(&text, at, [4.2, 0.6], true)
                    || taken.put_over(&text, at, 4.2, true)
                    || taken.put_beside(&text, at, 1.0, 4.2, true);
            }
            Mark::Fixed { letter, places, .. } => {
                places.iter().any(|&place| {
                    let text = letter.to_string();
                    taken.put_beside(&text, view.to(place), FIXED + 0.4, 3.3, true)
                });
            }
            Mark::Edge { .. }
            | Mark::Laid { .. }
            | Mark::Pin { .. }
            | Mark::SampleLine { .. }
            | Mark::Step { .. }
            | Mark::BayStop { .. }
            | Mark::Exit { .. } => {}
        }
    }
    for mark in &plan.marks {
        match mark {
            Mark::Edge { at, gap, .. } => {
                let at = view.to(*at);
                let gap = plan.units.height(*gap);
                [panel::gap_text(plan, mark), format!("gap {gap}"), gap]
                    .iter()
                    .any(|text| taken.put_beside(text, at, TICK + 0.6, 2.9, true));
            }
            Mark::Laid {
                name,
                at,
                gap,
                verdict,
                ..
            } => {
                let gap = plan.units.height(*gap);
                let bold = *verdict == Some(Verdict::Outside);
                [format!("{name}: {gap}"), gap]
                    .iter()
                    .any(|text| taken.put_beside(text, view.to(*at), TICK + 0.6, 2.7, bold));
            }
            Mark::Pin { at, text } => {
                taken.put_beside(text, view.to(*at), PIN + 0.4, 2.6, false);
            }
            Mark::SampleLine { name, ends } => {
                taken.put_beside(name, view.to(ends[0]), 0.6, VALUE, false);
            }
            Mark::Exit { at } => {
                taken.put_beside("way out", view.to(*at), EXIT + 0.4, 2.9, true);
            }
            Mark::Spot { .. }
            | Mark::Batch { .. }
            | Mark::Fixed { .. }
            | Mark::Step { .. }
            | Mark::BayStop { .. } => {}
        }
    }
}

/// Draws the symbols.
///
/// # Errors
/// As the pen's.
pub fn draw(plan: &MapPlan, view: &View, pen: &mut Pen) -> Result<()> {
    for mark in &plan.marks {
        match mark {
            Mark::Spot { kind, at, .. } => triangle(pen, *kind, view.to(*at))?,
            Mark::Edge { from, to, at, .. } => {
                straightedge(pen, [view.to(*from), view.to(*to)], view.to(*at))?;
            }
            Mark::Laid {
                ends, at, verdict, ..
            } => laid(*verdict, ends.map(|end| view.to(end)), view.to(*at), pen)?,
            Mark::Pin { at, .. } => pin(pen, view.to(*at))?,
            Mark::SampleLine { ends, .. } => sample_line(pen, ends.map(|end| view.to(end)))?,
            Mark::Batch { outline, .. } => {
                let line: Vec<Point> = outline
                    .iter()
                    .chain(outline.first())
                    .map(|&at| view.to(at))
                    .collect();
                batch(pen, &line)?;
            }
            Mark::Step { from, to } => step(pen, [view.to(*from), view.to(*to)])?,
            Mark::BayStop { ends } => bay_stop(pen, ends.map(|end| view.to(end)))?,
            Mark::Exit { at } => exit(pen, view.to(*at))?,
            Mark::Fixed { met, places, .. } => {
                let places: Vec<Point> = places.iter().map(|&at| view.to(at)).collect();
                fixed(*met, &places, pen)?;
            }
        }
    }
    Ok(())
}

/// The edge of a batch.
///
/// # Errors
/// As the pen's.
pub fn batch(pen: &mut Pen, line: &[Point]) -> Result<()> {
    pen.line(line, 1.1, WHITE)?;
    pen.line(line, 0.55, BLACK)
}

/// A bay stop: a double line.
///
/// # Errors
/// As the pen's.
pub fn bay_stop(pen: &mut Pen, ends: [Point; 2]) -> Result<()> {
    pen.line(&ends, 1.9, BLACK)?;
    pen.line(&ends, 0.8, WHITE)
}

/// An arrow from one batch towards the next, clear of their numbers.
///
/// # Errors
/// As the pen's.
pub fn step(pen: &mut Pen, [from, to]: [Point; 2]) -> Result<()> {
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let length = dx.hypot(dy).max(1e-9);
    let at = |along: f64, aside: f64| {
        let (along, aside) = (along / length, aside / length);
        [
            from[0] + along * dx - aside * dy,
            from[1] + along * dy + aside * dx,
        ]
    };
    let clear = CLEAR.min(0.25 * length);
    let (tail, tip) = (clear, length - clear);
    let shaft = [at(tail, 0.0), at(tip - HEAD, 0.0)];
    let head = |by: f64| {
        [
            at(tip + by, 0.0),
            at(tip - HEAD - by, HEAD / 2.0 + by),
            at(tip - HEAD - by, -HEAD / 2.0 - by),
        ]
    };
    pen.line(&shaft, 1.0, WHITE)?;
    pen.area(&head(0.3), WHITE, None)?;
    pen.line(&shaft, 0.35, BLACK)?;
    pen.area(&head(0.0), BLACK, None)
}

/// A way out: a filled square with a white door in it.
///
/// # Errors
/// As the pen's.
pub fn exit(pen: &mut Pen, at: Point) -> Result<()> {
    pen.rectangle(Rect::centred(at, [2.0 * EXIT, 2.0 * EXIT]), BLACK)?;
    pen.rectangle(Rect::centred(at, [EXIT, 1.4 * EXIT]), WHITE)
}

/// A fixed level: a diamond at each of its places, filled where it is missed, and a line along its edge.
///
/// # Errors
/// As the pen's.
pub fn fixed(met: Met, places: &[Point], pen: &mut Pen) -> Result<()> {
    pen.line(places, 1.3, WHITE)?;
    pen.line(places, 0.7, BLACK)?;
    let fill = match met {
        Met::Yes => WHITE,
        Met::NotKnown => COLUMN,
        Met::No => BLACK,
    };
    places.iter().try_for_each(|&[x, y]| {
        let corners = |half: f64| [[x, y - half], [x + half, y], [x, y + half], [x - half, y]];
        pen.area(&corners(1.35 * FIXED), WHITE, None)?;
        pen.area(&corners(FIXED), fill, Some(0.35))
    })
}

/// A filled triangle pointing up for a high spot, an open one pointing down for a low one.
pub fn triangle(pen: &mut Pen, kind: SpotKind, [x, y]: Point) -> Result<()> {
    let (tip, fill) = match kind {
        SpotKind::High => (-SPOT, BLACK),
        SpotKind::Low => (SPOT, WHITE),
    };
    let corners = |by: f64| {
        [
            [x, y + tip * by],
            [x - SPOT * by, y - tip * 0.8 * by],
            [x + SPOT * by, y - tip * 0.8 * by],
        ]
    };
    pen.area(&corners(1.35), WHITE, None)?;
    pen.area(&corners(1.0), fill, Some(0.35))
}

/// A thick line with end ticks, and a ring where the gap is.
pub fn straightedge(pen: &mut Pen, ends: [Point; 2], at: Point) -> Result<()> {
    edge_line(pen, ends, 0.8, BLACK)?;
    pen.circle(at, 1.1, 0.5)
}

/// A straightedge laid by hand, told apart without colour too: thick with end ticks where the gap is over the limit, broken
/// where it is undecided, thin where it is within, grey where it says nothing. A ring where the wedge went in.
///
/// # Errors
/// As the pen's.
pub fn laid(verdict: Option<Verdict>, ends: [Point; 2], at: Point, pen: &mut Pen) -> Result<()> {
    match verdict {
        Some(Verdict::Outside) => edge_line(pen, ends, 1.2, OUTSIDE)?,
        Some(Verdict::Undecided | Verdict::TooSparse) => broken(pen, ends, 0.7, UNDECIDED)?,
        Some(Verdict::Within) => pen.line(&ends, 0.5, WITHIN)?,
        None => pen.line(&ends, 0.4, COLUMN)?,
    }
    match verdict {
        Some(Verdict::Outside) => pen.circle(at, 1.4, 0.7),
        Some(_) | None => pen.circle(at, 0.8, 0.25),
    }
}

/// A line in pieces.
fn broken(pen: &mut Pen, [from, to]: [Point; 2], width: f64, colour: Colour) -> Result<()> {
    let way = [to[0] - from[0], to[1] - from[1]];
    let pieces = (way[0].hypot(way[1]) / PIECE).ceil().clamp(1.0, 400.0);
    let at = |share: f64| [from[0] + share * way[0], from[1] + share * way[1]];
    (0..pieces as usize).try_for_each(|piece| {
        let [begin, end] = [0.0, 0.6].map(|by| at((piece as f64 + by) / pieces));
        pen.line(&[begin, end], width, colour)
    })
}

/// A line with end ticks, on a white rim.
fn edge_line(pen: &mut Pen, [from, to]: [Point; 2], wide: f64, ink: Colour) -> Result<()> {
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let length = dx.hypot(dy).max(1e-9);
    let (ax, ay) = (-dy / length * TICK, dx / length * TICK);
    let tick = |[x, y]: Point| [[x - ax, y - ay], [x + ax, y + ay]];
    for (width, colour) in [(wide + 0.9, WHITE), (wide, ink)] {
        for line in [[from, to], tick(from), tick(to)] {
            pen.line(&line, width, colour)?;
        }
    }
    Ok(())
}

/// A sample line: thin, with a dot at either end.
///
/// # Errors
/// As the pen's.
pub fn sample_line(pen: &mut Pen, ends: [Point; 2]) -> Result<()> {
    pen.line(&ends, 0.5, WHITE)?;
    pen.line(&ends, 0.2, SAMPLE_LINE)?;
    ends.into_iter()
        .try_for_each(|end| pen.rectangle(Rect::centred(end, [1.0, 1.0]), SAMPLE_LINE))
}

/// A pin's cross.
///
/// # Errors
/// As the pen's.
pub fn pin(pen: &mut Pen, at: Point) -> Result<()> {
    cross(pen, at, PIN, 0.35, BLACK)
}

/// A reading's cross: smaller, finer, grey.
///
/// # Errors
/// As the pen's.
pub fn reading(at: Point, pen: &mut Pen) -> Result<()> {
    cross(pen, at, READING, 0.15, GREY)
}

fn cross(pen: &mut Pen, [x, y]: Point, half: f64, width: f64, colour: Colour) -> Result<()> {
    pen.line(&[[x - half, y], [x + half, y]], width, colour)?;
    pen.line(&[[x, y - half], [x, y + half]], width, colour)
}

/// Where readings were taken, if they are not too many for the paper.
fn reading_places(plan: &MapPlan, view: &View, apart: f64) -> Vec<[f64; 2]> {
    if plan.surface.spacing * view.scale < apart {
        return Vec::new();
    }
    match plan.surface.kind {
        Kind::Cells | Kind::Lines => Vec::new(),
        Kind::Grid => {
            let nodes = plan.surface.field.measured();
            nodes.map(|(_, [x, y, _])| [x, y]).collect()
        }
        Kind::Triangulated => {
            let pins = plan.surface.pins.iter();
            pins.map(|pin| [pin.position[0], pin.position[1]]).collect()
        }
    }
}

/// Marks where readings were taken.
///
/// # Errors
/// As the pen's.
pub fn readings(plan: &MapPlan, view: &View, pen: &mut Pen) -> Result<()> {
    reading_places(plan, view, READINGS_APART)
        .into_iter()
        .try_for_each(|at| reading(view.to(at), pen))
}

/// Writes the value of readings on a grid under or over them, where they are far enough apart, nothing else is there, and no
/// pins have values of their own.
pub fn label_readings(plan: &MapPlan, view: &View, ink: &Ink, taken: &mut Taken) {
    let field = &plan.surface.field;
    let pins = plan
        .marks
        .iter()
        .any(|mark| matches!(mark, Mark::Pin { .. }));
    let close = plan.surface.spacing * view.scale < VALUES_APART;
    if plan.surface.kind != Kind::Grid || close || pins {
        return;
    }
    for (index, value) in plan.values.iter().enumerate() {
        if value.is_finite() {
            let [x, y] = view.to(field.position(index));
            let text = height_number(plan, *value);
            let size = [text_width(&text, VALUE, false) + 1.6, VALUE];
            let [under, over] = [[x, y + VALUE], [x, y - VALUE]];
            let clear = |at| ink.none(Rect::centred(at, size));
            let at = if clear(over) && !clear(under) {
                over
            } else {
                under
            };
            taken.put(&text, at, [VALUE, 0.2], false);
        }
    }
}

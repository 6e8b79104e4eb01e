//! Two floors on one lattice.
//!
//! In: two surveys' floors and their datum. Out: the difference of their heights at the nodes of a grid that they share, or at
//! the middles of small squares. The head of [`super`] says which, and why.

use crate::pour::datum::Datum;
use crate::surface::{HeightField, Kind, Outline, Pin, Surface, height_at, resample};
use crate::units::System;

/// Two grids share their nodes if these lie no farther apart than this share of the spacing.
const SAME_NODE: f64 = 0.02;
/// Squares to the distance of the closer readings.
const SQUARES_PER_SPACING: f64 = 8.0;
/// At most so many squares are cut from a floor of readings.
const MOST_SQUARES: f64 = 1e6;
/// Thickness is told at each reading of a survey with at most so many.
const MOST_PINS: usize = 1000;

/// One of the two surveys.
#[derive(Debug, Clone, Copy)]
pub struct Side<'a> {
    /// Its floor: of readings all that they were joined to, whatever the outline; of a scan what lies inside it.
    pub surface: &'a Surface,
    /// Whether an outline cuts that floor.
    pub cut: bool,
    /// The standard uncertainty that all its heights have in common, m.
    pub common_u: f64,
}

/// Thickness on one lattice, m, and the floor that each of its nodes stands for, m²: `Grid` where both surveys share their
/// readings' places, else `Cells`. Nothing measured where the floors have nothing in common.
pub(super) fn thickness(
    before: &Side,
    after: &Side,
    datum: &Datum,
    room: Option<&Outline>,
) -> (Kind, HeightField, Vec<f64>) {
    if let Some(field) = shared_grid(before, after) {
        let mut field = plus_datum(field, before, after, datum);
        let shares = quarters(&mut field);
        return (Kind::Grid, field, shares);
    }
    let field = plus_datum(squares(before, after, room), before, after, datum);
    let shares = vec![field.dx * field.dy; field.z.len()];
    (Kind::Cells, field, shares)
}

/// Where the origin of the floor after lies from that of the floor before, m.
fn offset(before: &Side, after: &Side) -> [f64; 3] {
    let [from, to] = [before, after].map(|side| side.surface.origin);
    [to[0] - from[0], to[1] - from[1], to[2] - from[2]]
}

/// After less before on the nodes that two grids share, if they are the same grid.
fn shared_grid(before: &Side, after: &Side) -> Option<HeightField> {
    let (a, b) = (&before.surface.field, &after.surface.field);
    let grids = [before, after].map(|side| side.surface.kind == Kind::Grid && !side.cut);
    let [ox, oy, _] = offset(before, after);
    let steps = [(b.x0 + ox - a.x0) / a.dx, (b.y0 + oy - a.y0) / a.dy];
    let longer = [
        (b.dx / a.dx - 1.0) * a.nx.max(b.nx) as f64,
        (b.dy / a.dy - 1.0) * a.ny.max(b.ny) as f64,
    ];
    let off = steps.map(|steps| steps - steps.round());
    let same = off.iter().chain(&longer).all(|off| off.abs() < SAME_NODE);
    if grids != [true; 2] || !same {
        return None;
    }
    let mut field = a.clone();
    for node in 0..field.z.len() {
        let (ix, iy) = (node % a.nx, node / a.nx);
        let at = [ix as f64 - steps[0].round(), iy as f64 - steps[1].round()];
        let within = |at: f64, count: usize| (0.0..count as f64).contains(&at);
        let there = (within(at[0], b.nx) && within(at[1], b.ny))
            .then(|| at[1] as usize * b.nx + at[0] as usize);
        let of = |values: &[f64]| {
            let value = there.and_then(|there| values.get(there));
            value.copied().unwrap_or(f64::NAN)
        };
        field.z[node] = of(&b.z) - a.z[node];
        field.u[node] = of(&b.u).hypot(a.u[node]);
    }
    Some(field)
}

/// After less before at the middles of small squares over the floor that both have.
fn squares(before: &Side, after: &Side, room: Option<&Outline>) -> HeightField {
    let [ox, oy, _] = offset(before, after);
    let lattice = lattice(before, after, [ox, oy]);
    let there = HeightField {
        x0: lattice.x0 - ox,
        y0: lattice.y0 - oy,
        ..lattice.clone()
    };
    let mut field = resample(before.surface, lattice);
    let there = resample(after.surface, there);
    for node in 0..field.z.len() {
        let [x, y] = field.position(node);
        let inside = room.is_none_or(|room| room.contains(x, y));
        let after = if inside { there.z[node] } else { f64::NAN };
        field.z[node] = after - field.z[node];
        field.u[node] = field.u[node].hypot(there.u[node]);
    }
    field
}

/// Least and greatest of what a surface covers along an axis, local m.
fn reach(surface: &Surface, axis: usize) -> [f64; 2] {
    let field = &surface.field;
    let (first, step, count) = match axis {
        0 => (field.x0, field.dx, field.nx),
        _ => (field.y0, field.dy, field.ny),
    };
    let half = if surface.kind == Kind::Cells {
        0.5
    } else {
        0.0
    };
    [
        first - half * step,
        first + (count as f64 - 1.0 + half) * step,
    ]
}

/// The squares: those of the finer scan, or of an eighth of the closer readings. One square off the floor where the surveys
/// have nothing in common.
fn lattice(before: &Side, after: &Side, offset: [f64; 2]) -> HeightField {
    let both = [0, 1].map(|axis| {
        let [a, b] = [before, after].map(|side| reach(side.surface, axis));
        [a[0].max(b[0] + offset[axis]), a[1].min(b[1] + offset[axis])]
    });
    let [width, depth] = both.map(|[low, high]| high - low);
    if width <= 0.0 || depth <= 0.0 {
        return HeightField::unmeasured([f64::NAN; 2], [1.0; 2], [1; 2]);
    }
    let scans = [(before, [0.0; 2]), (after, offset)];
    let finest = scans
        .iter()
        .filter(|(side, _)| side.surface.kind == Kind::Cells)
        .min_by(|a, b| a.0.surface.field.dx.total_cmp(&b.0.surface.field.dx));
    if let Some((side, shift)) = finest {
        let field = &side.surface.field;
        let start = [field.x0 + shift[0], field.y0 + shift[1]];
        let step = [field.dx, field.dy];
        let first = [0, 1].map(|axis| ((both[axis][0] - start[axis]) / step[axis]).ceil());
        let last = [0, 1].map(|axis| ((both[axis][1] - start[axis]) / step[axis]).floor());
        return HeightField::unmeasured(
            [0, 1].map(|axis| start[axis] + first[axis] * step[axis]),
            step,
            [0, 1].map(|axis| (last[axis] - first[axis]).max(0.0) as usize + 1),
        );
    }
    let closer = before.surface.spacing.min(after.surface.spacing);
    let step = (closer / SQUARES_PER_SPACING).max((width * depth / MOST_SQUARES).sqrt());
    let count = [width, depth].map(|length| (length / step).ceil());
    let step = [width / count[0], depth / count[1]];
    let first = [0, 1].map(|axis| both[axis][0] + step[axis] / 2.0);
    HeightField::unmeasured(first, step, count.map(|count| count as usize))
}

/// Differences of local heights become thickness: zeros brought together, and the doubt of that added.
fn plus_datum(mut field: HeightField, before: &Side, after: &Side, datum: &Datum) -> HeightField {
    let [.., oz] = offset(before, after);
    field.z.iter_mut().for_each(|z| *z += oz + datum.shift);
    field.u.iter_mut().for_each(|u| *u = u.hypot(datum.u));
    field
}

/// The floor that each node of a grid stands for, m²: a quarter of every whole cell at it. A reading with none stands apart,
/// such as a mark beside the floor, and is taken off the lattice.
fn quarters(field: &mut HeightField) -> Vec<f64> {
    let mut weights = vec![0.0; field.z.len()];
    for first in 0..field.z.len().saturating_sub(field.nx + 1) {
        let cell = [first, first + 1, first + field.nx, first + field.nx + 1];
        let whole = cell.iter().all(|&node| field.z[node].is_finite());
        if first % field.nx + 1 < field.nx && whole {
            cell.iter()
                .for_each(|&node| weights[node] += field.dx * field.dy / 4.0);
        }
    }
    for (z, weight) in field.z.iter_mut().zip(&weights) {
        if *weight == 0.0 {
            *z = f64::NAN;
        }
    }
    weights
}

/// Thickness at the readings before, or after where the first survey has none.
pub(super) fn pins(before: &Side, after: &Side, datum: &Datum, room: Option<&Outline>) -> Vec<Pin> {
    let [ox, oy, oz] = offset(before, after);
    let (pins, [dx, dy]) = match before.surface.pins.as_slice() {
        [] => (&after.surface.pins, [ox, oy]),
        [..] => (&before.surface.pins, [0.0; 2]),
    };
    if pins.len() > MOST_PINS {
        return Vec::new();
    }
    let thickness = |pin: &Pin| {
        let [x, y] = [pin.position[0] + dx, pin.position[1] + dy];
        let [old, old_u] = height_at(before.surface, [x, y])?;
        let [new, new_u] = height_at(after.surface, [x - ox, y - oy])?;
        let inside = room.is_none_or(|room| room.contains(x, y));
        inside.then(|| Pin {
            name: pin.name.clone(),
            position: [x, y, new - old + oz + datum.shift],
            u: old_u.hypot(new_u).hypot(datum.u),
        })
    };
    pins.iter().filter_map(thickness).collect()
}

/// Why there is nothing to compare.
pub(super) fn apart(before: &Side, after: &Side, units: System) -> String {
    let place = |side: &Side| {
        let [x, y] = [0, 1].map(|axis| {
            let [low, high] =
                reach(side.surface, axis).map(|at| units.plan(at + side.surface.origin[axis]));
            format!("{low} to {high}")
        });
        format!("x {x}, y {y}")
    };
    format!(
        "the surveys have no measured floor in common: before it is {}, after it is {}; both must have the same plan \
         coordinates",
        place(before),
        place(after)
    )
}

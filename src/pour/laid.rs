//! The compound that was really laid: a floor after the pour less the floor before it.
//!
//! In: two surfaces of one floor on the same plan coordinates, and the [`Datum`] that brings their zeros together. Out:
//! [`Laid`]: thickness on one lattice, its mean, least and greatest, volume, and where it is thinner than it may be, each with
//! its uncertainty.
//! Formulae: thickness t = z_after - z_before + shift; at a place u² = u_before² + u_after² + u_shift². Volume is Σ a t, a the
//! floor that a node stands for. Two grids of the same readings keep their nodes: a is a quarter of every whole cell at the
//! node, so that volume is the handbook's grid method, exact for the surface as defined. Otherwise the floor is cut into
//! small squares, a scan's cells or an eighth of the closer readings wide, and t is taken at their middles: exact for two
//! scans that share their cells, and else but for the squares that an edge or a fold crosses.
//! Mean: u² = Σ (ū² / n + c²) + u_shift² over both surveys, ū² the mean of the heights' u², n the heights in what is compared,
//! c what averaging does not remove.
//! "Beyond doubt" of the worst of n places: k = √(2 ln(n / 0.1)), as P(Z > k) is at most exp(-k²/2) / 2, so that all n
//! together are wrong in less than one case in twenty.
//! Not here: what the floor does between readings: there thickness is straight from one to the next.

use super::compound::Compound;
use super::datum::Datum;
use crate::flatness::spots::{Spot, SpotKind, spots};
use crate::flatness::verdict::{K, Verdict};
use crate::surface::{HeightField, Kind, Outline, Pin, PointsByFate, Surface, height_at, resample};
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

/// Thickness at a node of the lattice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thickness {
    /// The node.
    pub node: usize,
    /// m
    pub value: f64,
    /// Its standard uncertainty, m, that of the datum included.
    pub u: f64,
}

/// Compound thinner than its least depth.
#[derive(Debug, Clone, PartialEq)]
pub struct Thin {
    /// The least depth, m.
    pub least_depth: f64,
    /// Floor with less on it, as measured, m².
    pub area: f64,
    /// Floor where the doubt is too great to say, m².
    pub doubtful: f64,
    /// Within: nowhere too thin. Outside: too thin somewhere, beyond doubt.
    pub verdict: Verdict,
    /// Patches, the largest volume first; their extremes are thickness less least depth.
    pub places: Vec<Spot>,
}

/// Floor that lies lower after than before, beyond doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lower {
    /// m²
    pub area: f64,
    /// Where it is lowest.
    pub worst: Thickness,
}

/// What was laid.
#[derive(Debug, Clone)]
pub struct Laid {
    /// The lattice, in the coordinates of the floor before: thickness in place of heights, and of readings; kind `Grid`
    /// where both surveys share their readings' places, else `Cells`.
    pub surface: Surface,
    /// How the zeros were brought together.
    pub datum: Datum,
    /// Compound, m³; where the floor is lower than before it counts as less than nothing.
    pub volume: f64,
    /// Its standard uncertainty, m³.
    pub volume_u: f64,
    /// Volume over the floor compared, m.
    pub mean: f64,
    /// Its standard uncertainty, m.
    pub mean_u: f64,
    /// Where it is thinnest.
    pub least: Thickness,
    /// Where it is thickest.
    pub greatest: Thickness,
    /// Where it is too thin, if a least depth is known.
    pub thin: Option<Thin>,
    /// Where nothing can have been laid.
    pub lower: Option<Lower>,
}

impl Laid {
    /// Whether the floor lies lower after than before, somewhere or on average, beyond doubt: no pour does that.
    pub fn lowered(&self) -> bool {
        self.lower.is_some() || self.mean + K * self.mean_u < 0.0
    }

    /// Whether thickness is told at readings that both surveys share, rather than at the middles of squares.
    pub fn shares_readings(&self) -> bool {
        self.surface.kind == Kind::Grid
    }
}

/// Material used against material found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Used {
    /// Bags used.
    pub bags: f64,
    /// What they make by the compound's sheet, m³.
    pub made: f64,
    /// Bags that the volume laid takes.
    pub expected: f64,
    /// Its standard uncertainty.
    pub expected_u: f64,
}

impl Used {
    /// `bags` against what was laid.
    pub fn new(bags: f64, laid: &Laid, compound: &Compound) -> Self {
        Self {
            bags,
            made: bags * compound.mixed_per_bag,
            expected: laid.volume / compound.mixed_per_bag,
            expected_u: laid.volume_u / compound.mixed_per_bag,
        }
    }

    /// Bags used more than expected as a share of those; None where none were to be expected.
    pub fn difference(&self) -> Option<f64> {
        (self.expected > 0.0).then(|| self.bags / self.expected - 1.0)
    }

    /// How far the bags expected may be off, one-sided 95 %.
    pub fn doubt(&self) -> f64 {
        K * self.expected_u
    }

    /// Whether bags and floor differ by more than that.
    pub fn decided(&self) -> bool {
        (self.bags - self.expected).abs() > self.doubt()
    }
}

/// Thickness between two floors. `outline` is the room in the surveys' coordinates, `least_depth` (m) what the compound needs.
///
/// # Errors
/// The reason in words where the surveys have no floor in common.
pub fn laid(
    [before, after]: [Side; 2],
    datum: Datum,
    outline: Option<&Outline>,
    least_depth: Option<f64>,
    units: System,
) -> Result<Laid, String> {
    let room = outline.map(|outline| outline.shifted(before.surface.origin));
    let (kind, field) = match shared_grid(&before, &after) {
        Some(field) => (Kind::Grid, field),
        None => (Kind::Cells, squares(&before, &after, room.as_ref())),
    };
    let mut field = plus_datum(field, &before, &after, &datum);
    let weights = match kind {
        Kind::Grid => quarters(&mut field),
        Kind::Triangulated | Kind::Cells | Kind::Lines => vec![field.dx * field.dy; field.z.len()],
    };
    let places: Vec<(Thickness, f64)> = field
        .measured()
        .map(|(node, [.., value])| {
            let u = field.u[node];
            (Thickness { node, value, u }, weights[node])
        })
        .collect();
    let area: f64 = places.iter().map(|(_, share)| share).sum();
    let by_value = |a: &&(Thickness, f64), b: &&(Thickness, f64)| a.0.value.total_cmp(&b.0.value);
    let (least, greatest) = (
        places.iter().min_by(by_value),
        places.iter().max_by(by_value),
    );
    let (Some(&(least, _)), Some(&(greatest, _)), true) = (least, greatest, area > 0.0) else {
        return Err(apart(&before, &after, units));
    };
    let volume: f64 = places.iter().map(|(at, share)| share * at.value).sum();
    let own = [before, after].map(|side| variance_of_mean(&side, area));
    let mean_u = (own[0] + own[1] + datum.u.powi(2)).sqrt();
    let surface = surface(kind, field, &before, &after, &datum, room, area);
    Ok(Laid {
        thin: least_depth.map(|depth| thin(&surface.field, &places, depth)),
        lower: lower(&places),
        volume,
        volume_u: mean_u * area,
        mean: volume / area,
        mean_u,
        least,
        greatest,
        surface,
        datum,
    })
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

/// u² of the mean height of a survey over so much of its floor, without the datum, m².
fn variance_of_mean(side: &Side, area: f64) -> f64 {
    let Surface { kind, field, .. } = side.surface;
    let common = side.common_u.powi(2);
    let own = |u: &f64| (u * u - common).max(0.0);
    let of: Vec<f64> = field.u.iter().filter(|u| u.is_finite()).map(own).collect();
    let mean = of.iter().sum::<f64>() / of.len() as f64;
    let (heights, variance) = match kind {
        Kind::Grid => (of.len(), mean),
        // Between readings the lattice is better known than at them.
        Kind::Triangulated => (
            side.surface.pins.len(),
            of.iter().copied().fold(0.0, f64::max),
        ),
        Kind::Cells | Kind::Lines => (of.len(), mean),
    };
    let compared = heights as f64 * (area / side.surface.area).min(1.0);
    variance / compared.max(1.0) + common
}

fn surface(
    kind: Kind,
    field: HeightField,
    before: &Side,
    after: &Side,
    datum: &Datum,
    outline: Option<Outline>,
    area: f64,
) -> Surface {
    let [x0, y0, _] = before.surface.origin;
    let room = outline.as_ref().map(Outline::area);
    Surface {
        kind,
        origin: [x0, y0, 0.0],
        spacing: field.spacing(),
        field,
        triangles: Vec::new(),
        rows: Vec::new(),
        pins: pins(before, after, datum, outline.as_ref()),
        unmeasured: room.map_or(0.0, |room| (room - area).max(0.0)),
        outline,
        area,
        points: PointsByFate::default(),
        noise: None,
        warnings: Vec::new(),
    }
}

/// Thickness at the readings before, or after where the first survey has none.
fn pins(before: &Side, after: &Side, datum: &Datum, room: Option<&Outline>) -> Vec<Pin> {
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
        let [old, _] = height_at(before.surface, [x, y])?;
        let [new, _] = height_at(after.surface, [x - ox, y - oy])?;
        let inside = room.is_none_or(|room| room.contains(x, y));
        inside.then(|| Pin {
            name: pin.name.clone(),
            position: [x, y, new - old + oz + datum.shift],
        })
    };
    pins.iter().filter_map(thickness).collect()
}

/// k for what holds of the worst of `places`.
fn beyond_doubt(places: usize) -> f64 {
    (2.0 * (places as f64 / 0.1).ln()).sqrt()
}

fn thin(field: &HeightField, places: &[(Thickness, f64)], least_depth: f64) -> Thin {
    let k = beyond_doubt(places.len());
    let area = |wanted: &dyn Fn(&Thickness) -> bool| {
        let of = places.iter().filter(|(at, _)| wanted(at));
        of.map(|(_, share)| share).sum()
    };
    let surely = |at: &Thickness| at.value + k * at.u < least_depth;
    let nowhere = |at: &Thickness| at.value - K * at.u >= least_depth;
    let verdict = if places.iter().any(|(at, _)| surely(at)) {
        Verdict::Outside
    } else if places.iter().all(|(at, _)| nowhere(at)) {
        Verdict::Within
    } else {
        Verdict::Undecided
    };
    let over: Vec<f64> = field.z.iter().map(|z| z - least_depth).collect();
    let mut patches = spots(field, &over, 0.0);
    patches.retain(|spot| spot.kind == SpotKind::Low);
    Thin {
        least_depth,
        area: area(&|at| at.value < least_depth),
        doubtful: area(&|at| (at.value - least_depth).abs() <= K * at.u),
        verdict,
        places: patches,
    }
}

fn lower(places: &[(Thickness, f64)]) -> Option<Lower> {
    let k = beyond_doubt(places.len());
    let below: Vec<_> = places
        .iter()
        .filter(|(at, _)| at.value + k * at.u < 0.0)
        .collect();
    let worst = below
        .iter()
        .min_by(|a, b| a.0.value.total_cmp(&b.0.value))?;
    Some(Lower {
        area: below.iter().map(|(_, share)| share).sum(),
        worst: worst.0,
    })
}

/// Why there is nothing to compare.
fn apart(before: &Side, after: &Side, units: System) -> String {
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

#[cfg(test)]
mod tests;

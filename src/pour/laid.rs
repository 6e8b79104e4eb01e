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

mod lattice;

use super::compound::Compound;
use super::datum::Datum;
use crate::flatness::spots::{Spot, SpotKind, spots};
use crate::flatness::verdict::{K, Verdict};
use crate::surface::{HeightField, Kind, Outline, PointsByFate, Shared, Surface};
use crate::units::System;

pub use lattice::Side;

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
    sides: [Side; 2],
    datum: Datum,
    outline: Option<&Outline>,
    least_depth: Option<f64>,
    units: System,
) -> Result<Laid, String> {
    let [before, after] = &sides;
    let room = outline.map(|outline| outline.shifted(before.surface.origin));
    let (kind, field, shares) = lattice::thickness(before, after, &datum, room.as_ref());
    let places: Vec<(Thickness, f64)> = field
        .measured()
        .map(|(node, [.., value])| {
            let u = field.u[node];
            (Thickness { node, value, u }, shares[node])
        })
        .collect();
    let by_value = |a: &&(Thickness, f64), b: &&(Thickness, f64)| a.0.value.total_cmp(&b.0.value);
    let [least, greatest] = [
        places.iter().min_by(by_value),
        places.iter().max_by(by_value),
    ];
    let (Some(&(least, _)), Some(&(greatest, _))) = (least, greatest) else {
        return Err(lattice::apart(before, after, units));
    };
    let area: f64 = places.iter().map(|(_, share)| share).sum();
    let volume: f64 = places.iter().map(|(at, share)| share * at.value).sum();
    let own: f64 = sides.iter().map(|side| variance_of_mean(side, area)).sum();
    let mean_u = (own + datum.u.powi(2)).sqrt();
    Ok(Laid {
        thin: least_depth.map(|depth| thin(&field, &places, depth)),
        lower: lower(&places),
        volume,
        volume_u: mean_u * area,
        mean: volume / area,
        mean_u,
        least,
        greatest,
        surface: Surface {
            kind,
            origin: [before.surface.origin[0], before.surface.origin[1], 0.0],
            spacing: field.spacing(),
            field,
            triangles: Vec::new(),
            rows: Vec::new(),
            pins: lattice::pins(before, after, &datum, room.as_ref()),
            unmeasured: room
                .as_ref()
                .map_or(0.0, |room| (room.area() - area).max(0.0)),
            outline: room,
            area,
            points: PointsByFate::default(),
            shared: Shared::default(),
            noise: None,
            warnings: Vec::new(),
        },
        datum,
    })
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

#[cfg(test)]
mod tests;

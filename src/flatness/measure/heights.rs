//! Measures by rules that compare heights with each other or with a level: where a tilt counts.
//!
//! In: a rule's figures and a surface. Out: measurements. Formula: a difference in height of two places d apart has
//! u² = u_A² + u_B² + (tilt d)², tilt that of the plane that they were measured from (`--tilt`).

use super::super::levels;
use super::{Found, K, Measurement, Place, closer};
use crate::surface::{Level, Surface};
use crate::tolerance::Allowed;

/// Levels are compared between readings no farther apart than this or than the shortest distance of the rule, m.
const LEVEL_SPACING: f64 = 1.0;

/// A band takes readings no farther apart than this, m.
const BAND_SPACING: f64 = 3.0;

/// The difference that takes the largest share of what is allowed; and, where the heights share a tilt, the one that takes
/// the largest share with its doubt, which grows with the distance.
pub(super) fn by_level(
    surface: &Surface,
    from: f64,
    to: f64,
    allowed: &Allowed,
) -> Vec<Measurement> {
    let field = &surface.field;
    let tilt = surface.shared.tilt;
    let worst = levels::worst(field, from, to, allowed);
    let doubtful = worst.filter(|_| tilt > 0.0).and_then(|worst| {
        let u = field.u[worst.a].hypot(field.u[worst.b]);
        let doubt = |distance: f64| K * u.hypot(tilt * distance);
        levels::worst_in_doubt(field, from, to, allowed, doubt)
    });
    let needed = closer(surface, from.max(LEVEL_SPACING));
    let measured = |one: levels::Difference| Measurement {
        limit: one.limit,
        length: Some(one.distance),
        found: Some(pair(surface, one)),
        needed: needed.clone(),
    };
    match worst {
        Some(worst) => std::iter::once(worst)
            .chain(doubtful.filter(|one| *one != worst))
            .map(measured)
            .collect(),
        None => vec![Measurement {
            limit: allowed.at(from),
            length: None,
            found: None,
            needed,
        }],
    }
}

/// Two places, and how well their difference is known.
pub(super) fn pair(surface: &Surface, difference: levels::Difference) -> Found {
    let levels::Difference {
        a,
        b,
        height,
        distance,
        ..
    } = difference;
    let [ua, ub] = [surface.field.u[a], surface.field.u[b]];
    Found::of_heights(height, ua.hypot(ub), ua.max(ub), Place::Pair { a, b })
        .tilted(surface, distance)
}

/// The mean of a floor is known far better than one height: its uncertainty is left out. A datum is a height of the survey.
/// A tilt turns the heights about their mean place; for a datum too, as no survey says where it was read. As with levels,
/// the place farthest off, and the one farthest off with its doubt.
pub(super) fn band(surface: &Surface, datum: Option<f64>, limit: f64) -> Vec<Measurement> {
    let field = &surface.field;
    let heights = surface.heights();
    let tilt = surface.shared.tilt;
    let count = heights.len() as f64;
    let [x, y] = [0, 1].map(|axis| heights.iter().map(|at| at[axis]).sum::<f64>() / count);
    let distance = |node: usize| {
        let [at_x, at_y] = field.position(node);
        (at_x - x).hypot(at_y - y)
    };
    let middle = datum
        .map(|datum| datum - surface.origin[2])
        .or_else(|| Level::of(&heights).map(|level| level.mean));
    let needed = closer(surface, BAND_SPACING);
    let measured = |found: Option<(usize, f64)>| Measurement {
        limit,
        length: None,
        found: found.map(|(node, value)| {
            Found::of_heights(value, field.u[node], field.u[node], Place::Node(node))
                .tilted(surface, distance(node))
        }),
        needed: needed.clone(),
    };
    let farthest = middle.and_then(|middle| levels::farthest(field, middle));
    let doubtful = middle.filter(|_| tilt > 0.0).and_then(|middle| {
        let doubt = |node: usize| K * field.u[node].hypot(tilt * distance(node));
        levels::farthest_in_doubt(field, middle, doubt)
    });
    std::iter::once(farthest)
        .chain(doubtful.map(Some).filter(|doubtful| *doubtful != farthest))
        .map(measured)
        .collect()
}

//! What comes with the compound: edge strip, the weight to carry, the time until it can be walked on and covered.
//!
//! In: a surface, the layers, the compounds and their orders. Out: [`Materials`].
//!
//! *Edge strip* goes round the room and the columns in it, where the room is given; else round the floor that was measured:
//! the sides of triangles that no other triangle shares. That lies inside the walls by as much as the outermost readings do.
//! *Drying* follows the rule of the compound's sheet, for every layer at its own depth and one after the other. It is a rule of
//! thumb: what counts is the moisture that is measured.

use std::collections::HashMap;

use geo::{Euclidean, Length};

use super::compound::Compound;
use super::layers::Layer;
use super::order::Order;
use super::volume::Volumes;
use crate::surface::{Surface, Triangle};

/// What comes with the compound.
#[derive(Debug, Clone, PartialEq)]
pub struct Materials {
    /// Length of edge strip, m; None for a scan without an outline, which does not tell a wall from what stood before it.
    pub edge_strip: Option<f64>,
    /// Whether the edge strip goes round the room that was given, or round the floor that was measured.
    pub round_the_room: bool,
    /// Bags and liquid to carry, kg.
    pub mass: f64,
    /// Days until the place that takes longest is dry by the sheets' rules; None where a sheet gives none.
    pub drying_days: Option<f64>,
    /// Time until the finish can be walked on, s; None where nothing is filled.
    pub walk_on: Option<f64>,
}

/// Works out what comes with an order.
pub fn materials(
    surface: &Surface,
    volumes: &Volumes,
    layers: &[Layer],
    compounds: &[Compound],
    orders: &[Order],
) -> Materials {
    let finish = layers.first().and_then(|top| compounds.get(top.compound));
    Materials {
        edge_strip: edge_strip(surface),
        round_the_room: surface.outline.is_some(),
        mass: mass(compounds, orders),
        drying_days: drying_days(volumes, layers, compounds),
        walk_on: finish.map(|compound| compound.walk_on),
    }
}

/// Bags and liquid to carry, kg.
pub(super) fn mass(compounds: &[Compound], orders: &[Order]) -> f64 {
    let masses = compounds.iter().zip(orders).map(|(compound, order)| {
        let bottles = compound.bottle.zip(compound.bottles(order.liquid));
        let liquid = bottles.map_or(order.liquid, |(bottle, count)| bottle * count as f64);
        compound.bag * order.bags as f64 + compound.liquid_density * liquid
    });
    masses.sum()
}

/// Length of the walls and columns, or of the edge of what was measured, m.
fn edge_strip(surface: &Surface) -> Option<f64> {
    if let Some(outline) = &surface.outline {
        let polygon = &outline.polygon;
        let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
        return Some(rings.map(|ring| Euclidean.length(ring)).sum());
    }
    (!surface.triangles.is_empty()).then(|| border(&surface.triangles))
}

/// Length of the sides that belong to one triangle only, on the plan, m.
fn border(triangles: &[Triangle]) -> f64 {
    let key = |corner: [f64; 3]| [corner[0], corner[1]].map(|value| (value + 0.0).to_bits());
    let mut sides = HashMap::new();
    for (number, &[a, b, c]) in triangles.iter().enumerate() {
        for (from, to) in [(a, b), (b, c), (c, a)] {
            let (one, other) = (key(from), key(to));
            let length = (to[0] - from[0]).hypot(to[1] - from[1]);
            let side = sides.entry((one.min(other), one.max(other)));
            side.or_insert((0, number, length)).0 += 1;
        }
    }
    let mut single: Vec<_> = sides.into_values().filter(|side| side.0 == 1).collect();
    // In the order of the triangles, so that the sum is the same every time.
    single.sort_by(|a, b| a.1.cmp(&b.1).then(a.2.total_cmp(&b.2)));
    single.iter().map(|side| side.2).sum()
}

/// Days until the slowest place is dry. The time grows with the depth but for where a further layer begins, so that it is greatest
/// at the deepest place or right before such a depth.
fn drying_days(volumes: &Volumes, layers: &[Layer], compounds: &[Compound]) -> Option<f64> {
    let at = |depth: f64| -> Option<f64> {
        let days = layers.iter().map(|layer| {
            let compound = compounds.get(layer.compound)?;
            compound.drying_days(layer.thickness(depth))
        });
        days.sum()
    };
    let alone = |layer: &&Layer| layer.volumes.max_depth > layer.on_another;
    let turns = layers.iter().filter(alone).map(|layer| layer.deep);
    let depths = turns
        .filter(|deep| deep.is_finite())
        .chain([volumes.max_depth]);
    depths
        .map(at)
        .try_fold(0.0, |most: f64, days| Some(most.max(days?)))
}

#[cfg(test)]
mod tests {
    use geo::polygon;

    use super::*;
    use crate::pour::compound::Drying;
    use crate::pour::sheet::tests::SHEET;
    use crate::pour::volume::tests::grid;
    use crate::pour::{Target, pour};
    use crate::surface::Outline;

    fn finish() -> Compound {
        Compound::parse(SHEET, "sheet.toml").expect("a good sheet")
    }

    fn per_day(rate: f64) -> Option<Drying> {
        Some(Drying {
            per_day: rate,
            deeper: [f64::INFINITY; 2],
        })
    }

    fn found(floor: &Surface, datum: f64, compounds: &[Compound]) -> Materials {
        let pour = pour(floor, Target::Level { datum }, compounds, 0.0, None);
        pour.expect("a pour").materials
    }

    #[test]
    fn edge_strip_goes_round_the_floor_and_its_holes() {
        let near = |found: Option<f64>, wanted: f64| {
            assert!(
                (found.expect("a length") - wanted).abs() < 1e-12,
                "{found:?}"
            );
        };
        let mut floor = grid([5, 4], 1.0, |x, y| 0.01 * (x + y));
        near(edge_strip(&floor), 14.0);
        // Without the cell in the second column and row: a hole of four sides more.
        let inside = |&[x, y, _]: &[f64; 3]| (1.0..=2.0).contains(&x) && (1.0..=2.0).contains(&y);
        floor
            .triangles
            .retain(|triangle| !triangle.iter().all(inside));
        near(edge_strip(&floor), 18.0);
        let room = polygon!(exterior: [(x: 0.0, y: 0.0), (x: 4.2, y: 0.0), (x: 4.2, y: 3.1), (x: 0.0, y: 3.1)],
            interiors: [[(x: 1.0, y: 1.0), (x: 1.4, y: 1.0), (x: 1.4, y: 1.4), (x: 1.0, y: 1.4)]]);
        floor.outline = Some(Outline { polygon: room });
        near(edge_strip(&floor), 14.6 + 1.6);
        floor.outline = None;
        floor.triangles.clear();
        assert_eq!(edge_strip(&floor), None, "a scan");
    }

    /// 4 m² at 6 mm: 24 l are two bags of 15 l, 50 kg and 10 l of water; as bottles of 4 l three of them at 1.1 kg/l.
    #[test]
    fn what_has_to_be_carried() {
        let floor = grid([3, 3], 1.0, |_, _| 0.0);
        assert!((found(&floor, 0.006, &[finish()]).mass - 60.0).abs() < 1e-9);
        let two_part = Compound {
            bottle: Some(0.004),
            liquid_density: 1100.0,
            ..finish()
        };
        assert!((found(&floor, 0.006, &[two_part]).mass - 63.2).abs() < 1e-9);
        let nothing = found(&floor, -0.006, &[finish()]);
        assert_eq!(
            (nothing.mass, nothing.walk_on, nothing.drying_days),
            (0.0, None, Some(0.0))
        );
    }

    /// A wedge up to 30 mm under a finish of at most 10 mm that lies 2 mm thick where there is fill below it. With both at
    /// 1 mm a day the deep end takes 30 days. With the finish at 0.2 mm a day, 10 mm of it alone take 50 days, 2 mm over
    /// 28 mm no more than 38.
    #[test]
    fn drying_takes_the_slowest_place() {
        let floor = grid([4, 2], 1.0, |x, _| -0.01 * x);
        let deep = Compound {
            greatest_depth: 0.05,
            least_depth: 0.005,
            ..finish()
        };
        let days = |finish: Compound| found(&floor, 0.0, &[deep.clone(), finish]).drying_days;
        let near = |found: Option<f64>, wanted: f64| {
            assert!((found.expect("a rule") - wanted).abs() < 1e-9, "{found:?}");
        };
        near(days(finish()), 30.0);
        near(
            days(Compound {
                drying: per_day(0.0002),
                ..finish()
            }),
            50.0,
        );
        // 12 mm at the least: the finish is 2 mm thick everywhere, nowhere 10 mm.
        let slow = Compound {
            drying: per_day(0.0002),
            ..finish()
        };
        near(
            found(&grid([2, 2], 1.0, |_, _| 0.0), 0.012, &[deep.clone(), slow]).drying_days,
            20.0,
        );
        let silent = Compound {
            drying: None,
            ..finish()
        };
        assert_eq!(days(silent), None);
    }
}

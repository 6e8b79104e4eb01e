//! The least fill that brings a floor within its classes.
//!
//! In: a surface, classes, the least depth of the compound. Out: a [`Target`] of depths.
//!
//! A straightedge requirement is an edge with its limit. One by distance is an edge with one fixed limit for each length at
//! which its limit steps (see [`rule::steps`]). An edge that another one of at least its length is stricter than adds
//! nothing and is left out. [`least_heights`] keeps to all the others at once.
//! Not here: rules that are no straightedge. The least fill does not see them, and [`unseen`] names them.

use super::least::{Edge, NO_DEPTH, least_heights};
use super::target::Target;
use crate::surface::{HeightField, Surface};
use crate::tolerance::{Class, Rule, rule};

/// The straightedges that `classes` lay, the longest first, each no longer than `across` (m), which the floor is.
pub fn edges(classes: &[Class], across: f64) -> Vec<Edge> {
    let requirements = classes.iter().flat_map(|class| &class.requirements);
    let mut edges: Vec<Edge> = requirements
        .flat_map(|one| edges_of(&one.rule))
        .map(|edge| Edge {
            length: edge.length.min(across),
            ..edge
        })
        .collect();
    edges.sort_by(|a, b| {
        let by_length = b.length.total_cmp(&a.length);
        by_length.then(a.limit.total_cmp(&b.limit))
    });
    let mut strictest = f64::INFINITY;
    edges.retain(|edge| {
        let stricter = edge.limit < strictest;
        strictest = strictest.min(edge.limit);
        stricter
    });
    edges
}

/// The edges that a rule lays; none where it is no straightedge.
fn edges_of(rule: &Rule) -> Vec<Edge> {
    match rule {
        &Rule::Straightedge { length, limit } => vec![Edge { length, limit }],
        Rule::ByDistance { row, whole_mm } => rule::steps(row, *whole_mm)
            .into_iter()
            .map(|(length, limit)| Edge { length, limit })
            .collect(),
        Rule::EndShims { .. }
        | Rule::GridMethod { .. }
        | Rule::Level { .. }
        | Rule::Band { .. }
        | Rule::Step { .. }
        | Rule::Differences { .. }
        | Rule::SecondDifferences { .. }
        | Rule::FlatnessNumber { .. }
        | Rule::LevelnessNumber { .. }
        | Rule::Waviness { .. } => Vec::new(),
    }
}

/// The rules of `classes` that the least fill does not see, each with its class.
pub fn unseen(classes: &[Class]) -> impl Iterator<Item = (&Class, &Rule)> {
    classes.iter().flat_map(|class| {
        let rules = class.requirements.iter().map(|one| &one.rule);
        rules
            .filter(|rule| edges_of(rule).is_empty())
            .map(move |rule| (class, rule))
    })
}

/// The least fill that keeps to the straightedges of `classes`, nowhere thinner than `least_depth` (m) but where it runs out
/// between a reading that is filled and one that is not. None where the classes lay no straightedge.
pub fn least_fill(surface: &Surface, classes: &[Class], least_depth: f64) -> Option<Target> {
    let field = &surface.field;
    let across = (field.nx as f64 * field.dx).hypot(field.ny as f64 * field.dy);
    let edges = edges(classes, across);
    if edges.is_empty() {
        return None;
    }
    let heights = least_heights(field, &edges, least_depth);
    let depths = heights.iter().zip(&field.z).map(|(raised, z)| {
        let depth = raised - z;
        if depth <= NO_DEPTH { 0.0 } else { depth }
    });
    Some(Target::raised(HeightField {
        z: depths.collect(),
        ..field.clone()
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::volume;
    use crate::pour::volume::tests::grid;
    use crate::tolerance::parse_class;

    fn class(name: &str) -> Class {
        parse_class(name, &[]).expect(name)
    }

    /// 3 mm under 2 m is stricter than 5 mm under 1 m, and no stricter than 1 mm under 0.3 m.
    #[test]
    fn only_edges_that_add_something() {
        let classes = ["5mm@1m", "3mm@2m", "1mm@0.3m"].map(class);
        let kept: Vec<_> = edges(&classes, 10.0)
            .iter()
            .map(|edge| (edge.length, edge.limit))
            .collect();
        assert_eq!(kept, [(2.0, 0.003), (0.3, 0.001)]);
        // On a floor 1 m across they are 3 mm and 1 mm.
        assert_eq!(edges(&classes, 1.0).len(), 2);
        let din = edges(&[class("DIN18202-3")], 5.0);
        assert!(din.is_sorted_by(|a, b| a.length > b.length && a.limit > b.limit));
        // 2 mm up to 0.1 m; 10 mm at 4 m, 10.33 mm at 5 m, so 10 mm holds across the floor.
        assert_eq!(
            din.first().map(|edge| (edge.length, edge.limit)),
            Some((5.0, 0.010))
        );
    }

    #[test]
    fn what_is_no_straightedge_is_named() {
        let classes = ["SR2", "FM2", "NHBC-LEVEL"].map(class);
        let named: Vec<_> = unseen(&classes)
            .map(|(class, _)| class.name.as_str())
            .collect();
        assert!(!named.contains(&"SR2") && named.contains(&"FM2") && named.contains(&"NHBC-LEVEL"));
        let floor = grid([4, 4], 0.2, |x, _| 0.01 * x);
        assert_eq!(least_fill(&floor, &classes[1..], 0.0), None);
    }

    /// A trough 10 mm deep and 0.2 m wide across 2 m of floor: with 4 mm allowed under 2 m its bottom comes up by 6 mm.
    #[test]
    fn a_trough_is_filled_up_to_the_limit() {
        let floor = grid([21, 3], 0.1, |x, _| {
            if (x - 1.0).abs() < 0.05 { -0.01 } else { 0.0 }
        });
        let target = least_fill(&floor, &[class("4mm@2m")], 0.0).expect("an edge");
        assert!((target.depth_over([1.0, 0.1, -0.01]) - 0.006).abs() < 1e-7);
        assert_eq!(target.depth_over([0.5, 0.1, 0.0]), 0.0);
        assert!((volume(&floor, &target).max_depth - 0.006).abs() < 1e-7);
    }
}

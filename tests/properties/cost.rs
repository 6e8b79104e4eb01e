//! The height of least total cost against trying every height, and what the least depth takes down against a sum.

use crate::volumes::{by_small_triangles, floor, heights};
use lowspot::pour::cost::{GrindRate, Weighed, cheapest};
use lowspot::pour::thin::taken_down;
use lowspot::pour::{Compound, Target, volume};
use lowspot::surface::Surface;
use proptest::prelude::*;

const SHEET: &str = "name = \"c\"\nbag = \"25 kg\"\nliquid_per_bag = \"5 l\"\nmixed_per_bag = \"15 l\"\nleast_depth = \"2 mm\"\n\
    greatest_depth = \"100 mm\"\nworking_time = \"20 min\"\nmixing_time = \"3 min\"\nwalk_on = \"3 h\"\n";

/// The same floor as flat cells, whose areas jump as the target sinks.
fn cells(mut floor: Surface) -> Surface {
    floor.triangles.clear();
    floor
}

/// The target with the least depth over the highest place.
fn top(floor: &Surface, least_depth: f64) -> Target {
    let highest = floor.field.z.iter().copied().reduce(f64::max).unwrap();
    Target::Level {
        datum: highest + least_depth,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Every height of a fine comb, and the height at which each number of bags just does, costs at least as much.
    #[test]
    fn no_height_is_cheaper(
        heights in heights(),
        least_depth in prop_oneof![Just(0.0), 0.001..0.004],
        rate in prop_oneof![(1.0..60.0).prop_map(|eur| format!("{eur} EUR/m2")), (0.2..30.0).prop_map(|eur| format!("{eur} EUR/l"))],
        in_cells: bool,
    ) {
        let by_litre = rate.ends_with("/l");
        let floor = if in_cells { cells(floor(&heights)) } else { floor(&heights) };
        let top = top(&floor, least_depth);
        let rate: GrindRate = rate.parse().unwrap();
        let compound = Compound::parse(SHEET, "sheet").unwrap();
        let weighed = Weighed {
            surface: &floor, top: &top, least_depth, compound: &compound, bag: 28.5, waste: 0.05, rate: &rate,
        };
        let found = cheapest(&weighed);
        let best = *found.best().unwrap();
        prop_assert_eq!(weighed.at(best.lowered), best);
        prop_assert!(found.points.iter().all(|point| point.cost >= best.cost));
        let deepest = volume(&floor, &top).max_depth;
        let comb = (0..3000).map(|step| deepest * f64::from(step) / 3000.0).chain([deepest]);
        let steps = (0..=weighed.at(0.0).bags).map(|bags| {
            let (mut enough, mut too_high) = (deepest + 1e-9, 0.0);
            for _ in 0..26 {
                let middle = 0.5 * (enough + too_high);
                if weighed.at(middle).bags <= bags { enough = middle } else { too_high = middle }
            }
            enough
        });
        for lowered in comb.chain(steps) {
            let cost = weighed.at(lowered).cost;
            prop_assert!(cost > best.cost - 1e-5, "{} {} {} {}", lowered, cost, best.cost, by_litre);
        }
    }

    /// A wedge between nothing and the least depth, summed over small triangles.
    #[test]
    fn what_is_thin_is_taken_down(heights in heights(), least_depth in 0.001..0.01, below in 0.0..0.02) {
        let floor = floor(&heights);
        let target = top(&floor, 0.0).lowered(below);
        let thin = taken_down(&floor, &target, least_depth);
        let taken = |depth: f64| if depth > 0.0 { (least_depth - depth).max(0.0) } else { 0.0 };
        let summed: f64 = floor.triangles.iter().map(|t| by_small_triangles(t, &target, 24, taken)).sum();
        prop_assert!((thin.volume - summed).abs() < 0.01 * least_depth * floor.area, "{:?} {}", thin, summed);
        prop_assert!(thin.area >= thin.volume / least_depth * (1.0 - 1e-6));
    }
}

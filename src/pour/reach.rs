//! What so many bags do for a floor: the level they reach, whether that is enough, and which part they do at the full level.
//!
//! In: a surface, the surface to finish at, a compound, the bags there are. Out: a [`Reach`].
//! The fill rises with the level, ever faster (it is convex), so that steps of Newton's method from above never go below
//! the level sought: it is found to rounding. What bags leave on the floor is their yield over 1 + waste, as in `order.rs`.
//! Definitions 6 and 8 of the README. Not here: whether the floor then meets a class (see `flatness::verdict`).

use super::compound::Compound;
use super::distance::distances;
use super::lattice;
use super::order::order;
use super::target::Target;
use super::volume::{Volumes, volume};
use crate::error::{Error, Result};
use crate::surface::{HeightField, Surface};

/// A fill this close to the one sought, as a share of it, is that one.
const SAME: f64 = 1e-12;

/// The highest spot this close to the level is flush with it, m: what is off is rounding.
const FLUSH: f64 = 1e-9;

/// More steps than any floor needs: the slowest, near the lowest spot, take a third off what is left.
const MOST_STEPS: usize = 200;

/// What the bags there are do.
#[derive(Debug, Clone, PartialEq)]
pub struct Reach {
    /// Bags there are.
    pub bags: u64,
    /// Compound that they leave on the floor, m³.
    pub compound: f64,
    /// The level that they fill to.
    pub target: Target,
    /// What lies below it, and what stands above.
    pub volumes: Volumes,
    /// Depth over the highest spot, m; negative where that stands above the level.
    pub over_highest: f64,
    /// What the compound needs over the highest spot, m: its least depth, or nothing where its edge may run out.
    pub least_depth: f64,
    /// Bags that this takes in all.
    pub bags_for_least_depth: u64,
    /// The part that they do at the level asked for.
    pub part: Part,
}

impl Reach {
    /// Bags missing for the compound's least depth over the highest spot.
    pub fn bags_missing(&self) -> u64 {
        self.bags_for_least_depth.saturating_sub(self.bags)
    }
}

/// A part of the floor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Its area under compound, m².
    pub area: f64,
    /// That of the whole, m².
    pub whole: f64,
    /// Walking distance from the way out at which it ends, m: everything farther is in it. None without a way out, and where
    /// it is the whole.
    pub beyond: Option<f64>,
}

/// What `bags` of `compound` do for a floor that is to be finished at `asked`, with `waste` (a share) of them lost. `exits` are
/// the ways out, local m.
///
/// # Errors
/// [`Error::Argument`] for a target of least fill, and for no bags at all; [`Error::Floor`] where nothing was measured; as
/// [`order()`].
pub fn reach(
    surface: &Surface,
    asked: &Target,
    compound: &Compound,
    waste: f64,
    bags: u64,
    exits: &[[f64; 2]],
) -> Result<Reach> {
    match asked {
        Target::Level { .. } | Target::Plane { .. } => {}
        Target::Raised(_) => {
            let wanted =
                "a level finish or a plane: the least fill has no one level that bags could reach";
            return Err(Error::argument("--bags", "a target of least fill", wanted));
        }
    }
    if bags == 0 {
        return Err(Error::argument("--bags", "0", "at least 1"));
    }
    let poured = bags as f64 * compound.mixed_per_bag / (1.0 + waste);
    let target = fill_to(surface, asked, poured)?;
    let over_highest = shallowest(surface, &target)?;
    let over_highest = if over_highest.abs() < FLUSH {
        0.0
    } else {
        over_highest
    };
    let least_depth = if compound.feather_edge {
        0.0
    } else {
        compound.least_depth
    };
    let covered = target.lowered(over_highest - least_depth);
    let full = volume(surface, asked);
    Ok(Reach {
        bags,
        compound: poured,
        volumes: volume(surface, &target),
        over_highest,
        least_depth,
        bags_for_least_depth: order(&volume(surface, &covered), compound, waste)?.bags,
        part: part(
            &lattice::depths(surface, asked, |depth| depth),
            &full,
            poured,
            exits,
        ),
        target,
    })
}

/// The surface parallel to `like` below which the floor takes `wanted` m³.
fn fill_to(surface: &Surface, like: &Target, wanted: f64) -> Result<Target> {
    // So high that everything lies under compound, and that it takes more than is wanted.
    let mut lowered = shallowest(surface, like)? - wanted / surface.area;
    for _ in 0..MOST_STEPS {
        let found = volume(surface, &like.lowered(lowered));
        let over = found.fill - wanted;
        if over.abs() <= SAME * wanted {
            break;
        }
        lowered += over / found.filled_area;
    }
    Ok(like.lowered(lowered))
}

/// Depth where it is least, m; negative where the floor stands above the target.
fn shallowest(surface: &Surface, target: &Target) -> Result<f64> {
    let least = if surface.triangles.is_empty() {
        let cells = surface.field.measured();
        cells
            .map(|(_, cell)| target.depth_over(cell))
            .reduce(f64::min)
    } else {
        let corners = surface.triangles.iter().flatten();
        corners
            .map(|&corner| target.depth_over(corner))
            .reduce(f64::min)
    };
    least
        .filter(|least| least.is_finite() && surface.area > 0.0)
        .ok_or_else(|| {
            let wanted = "at least one triangle of readings or one cell of a scan";
            Error::floor("no measured floor", wanted)
        })
}

/// The part of a pour of `full` over `depths` that `poured` m³ do: the farthest from the `exits` first; without one, as much as at
/// its mean depth.
fn part(depths: &HeightField, full: &Volumes, poured: f64, exits: &[[f64; 2]]) -> Part {
    let whole = full.filled_area;
    let share = poured / full.fill;
    let done = |area, beyond| Part {
        area,
        whole,
        beyond,
    };
    if full.fill <= poured {
        return done(whole, None);
    }
    if exits.is_empty() {
        return done(whole * share, None);
    }
    let away = distances(depths, exits).metres;
    let mut wet: Vec<(f64, f64)> = depths
        .z
        .iter()
        .zip(away)
        .filter(|(depth, metres)| **depth > 0.0 && metres.is_finite())
        .map(|(&depth, metres)| (metres, depth))
        .collect();
    wet.sort_by(|a, b| b.0.total_cmp(&a.0));
    let left: f64 = share * wet.iter().map(|(_, depth)| depth).sum::<f64>();
    let filled = wet.iter().scan(0.0, |sum, (_, depth)| {
        *sum += depth;
        Some(*sum)
    });
    let count = filled.take_while(|sum| *sum <= left).count();
    let beyond = wet.get(count).map(|(metres, _)| *metres);
    done(whole * count as f64 / wet.len().max(1) as f64, beyond)
}

/// The floor with everything below `target` filled up to it. Triangles are raised at their corners, so that one which the
/// edge of the compound crosses stays straight.
pub fn filled(surface: &Surface, target: &Target) -> Surface {
    let raised = |[x, y, z]: [f64; 3]| z + target.depth_over([x, y, z]).max(0.0);
    let mut filled = surface.clone();
    for (index, position) in surface.field.measured() {
        if let Some(z) = filled.field.z.get_mut(index) {
            *z = raised(position);
        }
    }
    for corner in filled.triangles.iter_mut().flatten() {
        corner[2] = raised(*corner);
    }
    for pin in &mut filled.pins {
        pin.position[2] = raised(pin.position);
    }
    filled
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::sheet::tests::SHEET;
    use crate::pour::target::level_from_cover;
    use crate::pour::volume::tests::grid;

    /// 15 l a bag, least depth 2 mm.
    fn compound() -> Compound {
        Compound::parse(SHEET, "sheet.toml").expect("a good sheet")
    }

    /// A wedge from -30 mm to 0 over 3 m x 1 m: up to h over its low end it takes h² / (2 · 0.01) for h up to 30 mm.
    fn wedge() -> Surface {
        grid([4, 2], 1.0, |x, _| 0.01 * (x - 3.0))
    }

    fn reached(floor: &Surface, bags: u64, exits: &[[f64; 2]]) -> Reach {
        let asked = level_from_cover(floor, 0.002).expect("measured");
        reach(floor, &asked, &compound(), 0.0, bags, exits).expect("reached")
    }

    /// One bag of 15 l: h = √(2 · 0.01 · 0.015) = 17.3 mm, 12.7 mm below the highest spot, over 1.73 m of the 3 m.
    #[test]
    fn a_wedge_by_hand() {
        let found = reached(&wedge(), 1, &[]);
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} {b}");
        let h = (2.0 * 0.01 * 0.015_f64).sqrt();
        near(found.over_highest, h - 0.03);
        near(found.volumes.fill, 0.015);
        near(found.volumes.ground_area, 3.0 - h / 0.01);
        // Covered, it takes 45 l; 2 mm more over 3 m² are 6 l: 51 l, 4 bags.
        assert_eq!((found.bags_for_least_depth, found.bags_missing()), (4, 3));
        // Of 51 l, 15: of 3 m² at their mean depth 0.88 m².
        near(found.part.area, 3.0 * 15.0 / 51.0);
        near(found.part.whole, 3.0);
    }

    /// 45 l are what covers it; 60 l are 15 l more: 5 mm over all of it.
    #[test]
    fn enough_covers_the_highest_spot() {
        assert_eq!(reached(&wedge(), 3, &[]).over_highest, 0.0);
        let found = reached(&wedge(), 4, &[[0.0, 0.5]]);
        assert!((found.over_highest - 0.005).abs() < 1e-12);
        assert_eq!((found.bags_missing(), found.part.beyond), (0, None));
        assert_eq!(found.part.area, found.part.whole);
    }

    /// From the shallow end, with the way out at the deep end: 2 t + 5 t² = 15 l at t = 1.544 m from the shallow end.
    #[test]
    fn the_part_farthest_from_the_way_out() {
        let found = reached(&wedge(), 1, &[[0.0, 0.5]]);
        let t = (-2.0 + (4.0_f64 + 4.0 * 5.0 * 15.0).sqrt()) / 10.0;
        assert!((found.part.area - t).abs() < 0.06, "{:?}", found.part);
        let beyond = found.part.beyond.expect("a part");
        assert!((beyond - (3.0 - t)).abs() < 0.15, "{beyond}");
    }

    #[test]
    fn a_plane_keeps_its_fall_and_a_scan_of_flat_cells_is_reached_too() {
        let mut floor = wedge();
        let asked = Target::Plane {
            height: 0.0,
            slope_x: 0.01,
            slope_y: 0.0,
        };
        let found = reach(&floor, &asked, &compound(), 0.05, 1, &[]).expect("reached");
        let depth = 0.015 / 1.05 / 3.0;
        assert!((found.over_highest - depth).abs() < 1e-12, "{found:?}");
        floor.triangles.clear();
        floor.field.z.fill(0.0);
        let area = floor.field.z.len() as f64;
        floor.area = area;
        let level = Target::Level { datum: -0.5 };
        let found = reach(&floor, &level, &compound(), 0.0, 1, &[]).expect("reached");
        assert!((found.over_highest - 0.015 / area).abs() < 1e-12);
    }

    /// The order's bags reach the level that they were ordered for, one less does not; and more bags never reach less.
    #[test]
    fn the_bags_ordered_reach_the_level() {
        for (waves, waste) in [(1.0, 0.0), (2.3, 0.05), (5.0, 0.1)] {
            let floor = grid([25, 19], 0.25, |x, y| {
                0.006 * ((waves * x).sin() + (0.7 * waves * y).cos())
            });
            let asked = level_from_cover(&floor, 0.002).expect("measured");
            let needed = order(&volume(&floor, &asked), &compound(), waste).expect("an order");
            let over = |bags| {
                reach(&floor, &asked, &compound(), waste, bags, &[])
                    .expect("reached")
                    .over_highest
            };
            assert!(over(needed.bags) >= 0.002 - 1e-12);
            assert!(over(needed.bags - 1) < 0.002);
            let depths: Vec<f64> = (1..=needed.bags).map(over).collect();
            assert!(depths.is_sorted(), "{depths:?}");
        }
    }

    #[test]
    fn no_bags_and_no_level_are_refused() {
        let floor = wedge();
        let level = Target::Level { datum: 0.0 };
        assert!(reach(&floor, &level, &compound(), 0.0, 0, &[]).is_err());
        let least = Target::raised(floor.field.clone());
        let error = reach(&floor, &least, &compound(), 0.0, 1, &[]).expect_err("no level");
        assert!(error.to_string().contains("least fill"), "{error}");
    }

    #[test]
    fn a_filled_floor_is_level_but_for_what_stands_proud() {
        let filled = filled(&wedge(), &Target::Level { datum: -0.015 });
        let heights: Vec<f64> = filled.pins[..4].iter().map(|pin| pin.position[2]).collect();
        for (height, wanted) in heights.iter().zip([-0.015, -0.015, -0.01, 0.0]) {
            assert!((height - wanted).abs() < 1e-15, "{heights:?}");
        }
    }
}

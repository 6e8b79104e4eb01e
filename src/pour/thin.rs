//! Floor taken down so that no compound is thinner than its least depth.
//!
//! In: a surface, a flat target, the least depth d. Out: how much more is ground off, and filled again.
//!
//! Where the depth h is between 0 and d, the floor comes down by d - h. Over the floor that is the integral of d - h where
//! h > 0, plus that of h - d where h > d: d A - V + V(d), with A and V the area and volume of the fill and V(d) that of
//! the target lowered by d. What is ground off there is filled again, so both grow by it. Exact, as [`volume()`] is.

use super::target::Target;
use super::volume::{Volumes, volume};
use crate::surface::Surface;

/// Depths within this share of the least depth are that: rounding.
const SAME: f64 = 1e-9;

/// Floor taken down to make room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thin {
    /// The least depth, m.
    pub depth: f64,
    /// Ground off, and filled again, m³.
    pub volume: f64,
    /// Plan area, m².
    pub area: f64,
}

/// What has to come down for `target` to be nowhere thinner than `least_depth` m.
pub fn taken_down(surface: &Surface, target: &Target, least_depth: f64) -> Thin {
    let [whole, deeper] = whole_and_deeper(surface, target, least_depth);
    between(&whole, &deeper, least_depth)
}

/// The volumes of the target, and of the target lowered by the least depth.
pub(super) fn whole_and_deeper(
    surface: &Surface,
    target: &Target,
    least_depth: f64,
) -> [Volumes; 2] {
    let whole = volume(surface, target);
    let deeper = if least_depth > 0.0 {
        volume(surface, &target.lowered(held(least_depth)))
    } else {
        whole
    };
    [whole, deeper]
}

/// What comes down, from the volumes of the target and of the target lowered.
pub(super) fn between(whole: &Volumes, deeper: &Volumes, least_depth: f64) -> Thin {
    let volume = held(least_depth) * whole.filled_area - whole.fill + deeper.fill;
    Thin {
        depth: least_depth,
        volume: volume.max(0.0),
        area: (whole.filled_area - deeper.filled_area).max(0.0),
    }
}

/// The least depth but for rounding: a place exactly so deep is not thin.
pub(super) fn held(least_depth: f64) -> f64 {
    least_depth * (1.0 - SAME)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::volume::tests::grid;

    /// A slope of 10 mm a metre from the datum down, 1 m wide: nothing to 2 mm deep over the first 0.2 m, where a wedge
    /// of 0.2 m x 2 mm / 2 comes off. Above the datum nothing is thin.
    #[test]
    fn a_wedge_is_cut_to_the_least_depth() {
        let floor = grid([4, 2], 1.0, |x, _| 0.01 * (1.0 - x));
        let thin = taken_down(&floor, &Target::Level { datum: 0.0 }, 0.002);
        assert!((thin.volume - 0.0002).abs() < 1e-11, "{thin:?}");
        assert!((thin.area - 0.2).abs() < 1e-8, "{thin:?}");
        let none = taken_down(&floor, &Target::Level { datum: 0.012 }, 0.002);
        assert!(none.volume < 1e-11 && none.area < 1e-12, "{none:?}");
    }
}

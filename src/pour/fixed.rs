//! Fixed levels: a door sill, a drain, a neighbouring finish that the poured floor has to meet.
//!
//! In: [`FixedLevel`]s and the height to finish at, as a function of the place. Out: for each how far the finish is off,
//! where it is off most, and the step that is left; for a level finish also the datum that meets most of them.
//! Definition 6 of the README: what is missed by more than its allowance is reported, never silently accepted.
//! An edge is looked at every centimetre and at its corners: exact where the finish is flat between them.

use crate::units::MILLIMETRE;

/// Along an edge the finish is looked at this often, m.
const EVERY: f64 = 0.01;

/// Beyond so many places on one stretch of an edge they lie farther apart than that.
const MOST_ON_A_STRETCH: f64 = 10_000.0;

/// What is met to this is met, m: the rounding of sums and differences.
const SAME: f64 = 1e-6 * MILLIMETRE;

/// A level that the finish has to meet, at a place or along an edge of several.
#[derive(Debug, Clone, PartialEq)]
pub struct FixedLevel {
    /// What it is called.
    pub name: String,
    /// Places on the plan, m: one, or the corners of an edge in the order in which one walks along it.
    pub places: Vec<[f64; 2]>,
    /// The fixed level, m.
    pub level: f64,
    /// How far below it the finish has to end, m, such as the thickness of a covering.
    pub below: f64,
    /// How far the finish may be off, up or down, m.
    pub allowance: f64,
}

impl FixedLevel {
    /// The same in local coordinates, for one in the survey's coordinates whose level is as the survey has heights: read
    /// off the staff where it was `staff`, or else a height. `origin` is the surface's.
    pub fn local(&self, [x0, y0, z0]: [f64; 3], staff: bool) -> Self {
        let height = if staff { -self.level } else { self.level };
        Self {
            places: self.places.iter().map(|[x, y]| [x - x0, y - y0]).collect(),
            level: height - z0,
            ..self.clone()
        }
    }

    /// The height that the finish has to have, m.
    pub fn wanted(&self) -> f64 {
        self.level - self.below
    }

    fn meets(&self, off: f64) -> bool {
        off.abs() <= self.allowance + SAME
    }

    /// The corners, and between them a place every centimetre.
    fn along(&self) -> Vec<[f64; 2]> {
        let mut places: Vec<[f64; 2]> = self.places.first().copied().into_iter().collect();
        for (&[ax, ay], &[bx, by]) in self.places.iter().zip(self.places.iter().skip(1)) {
            let steps = ((bx - ax).hypot(by - ay) / EVERY).ceil();
            let steps = steps.clamp(1.0, MOST_ON_A_STRETCH) as u32;
            places.extend((1..steps).map(|step| {
                let share = f64::from(step) / f64::from(steps);
                [ax + share * (bx - ax), ay + share * (by - ay)]
            }));
            places.push([bx, by]);
        }
        places
    }
}

/// The finish beside a fixed level, at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// Where, on the plan, m.
    pub at: [f64; 2],
    /// How far the finish is above what is wanted, m; negative below.
    pub off: f64,
    /// The step from the fixed level up to the finish, m; negative where it goes down.
    pub step: f64,
}

/// Whether a fixed level is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Met {
    /// Within its allowance all along.
    Yes,
    /// Off by more somewhere.
    No,
    /// Within its allowance where the finish is known, which is not all along.
    NotKnown,
}

/// A fixed level and the finish beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct FixedReport {
    /// The fixed level.
    pub fixed: FixedLevel,
    /// Whether it is met.
    pub met: Met,
    /// Where the finish is off most; None where it is known nowhere.
    pub worst: Option<Beside>,
    /// At both ends of an edge, where the finish is known there; of a single place both are the same.
    pub ends: [Option<Beside>; 2],
}

/// Each fixed level held against the finish. `finish_height` is the height to finish at over a place on the plan, None
/// where none is known; all in the same coordinates.
pub fn report(
    fixed: &[FixedLevel],
    finish_height: impl Fn(f64, f64) -> Option<f64>,
) -> Vec<FixedReport> {
    let one = |fixed: &FixedLevel| {
        let beside = |at: [f64; 2]| {
            let finish = finish_height(at[0], at[1]).filter(|height| height.is_finite())?;
            Some(Beside {
                at,
                off: finish - fixed.wanted(),
                step: finish - fixed.level,
            })
        };
        let along: Vec<Option<Beside>> = fixed.along().into_iter().map(beside).collect();
        let worst = along.iter().flatten().copied().reduce(|worst, next| {
            if next.off.abs() > worst.off.abs() {
                next
            } else {
                worst
            }
        });
        let known = !along.is_empty() && along.iter().all(Option::is_some);
        FixedReport {
            fixed: fixed.clone(),
            met: match worst {
                Some(worst) if !fixed.meets(worst.off) => Met::No,
                Some(_) if known => Met::Yes,
                Some(_) | None => Met::NotKnown,
            },
            worst,
            ends: [along.first(), along.last()].map(|end| end.copied().flatten()),
        }
    };
    fixed.iter().map(one).collect()
}

/// The datum of a level finish that meets most of the fixed levels, none below `lowest` (the highest spot with its least
/// cover, m); of those that meet as many the lowest, which takes the least compound. None where there is nothing to go by.
///
/// The number met changes only where a datum enters or leaves a fixed level's allowance, and it is highest from the
/// lower end of one, so that these and `lowest` are all that has to be tried. [`report`] at it tells which are missed.
pub fn proposed_datum(fixed: &[FixedLevel], lowest: f64) -> Option<f64> {
    let met = |datum: f64| {
        let meets = |one: &&FixedLevel| one.meets(datum - one.wanted());
        fixed.iter().filter(meets).count()
    };
    let lower_ends = fixed.iter().map(|one| one.wanted() - one.allowance);
    let mut candidates: Vec<f64> = lower_ends
        .filter(|&datum| datum >= lowest)
        .chain([lowest])
        .filter(|datum| datum.is_finite())
        .collect();
    candidates.sort_by(f64::total_cmp);
    candidates
        .into_iter()
        .reduce(|best, next| if met(next) > met(best) { next } else { best })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn sill(level: f64, allowance: f64) -> FixedLevel {
        FixedLevel {
            name: "door to the hall".to_owned(),
            places: vec![[0.0, 1.2], [0.0, 2.0]],
            level,
            below: 0.0,
            allowance,
        }
    }

    /// A finish that rises 5 mm per metre along y, 10 mm at y = 0: 16 mm at one end of the door, 20 mm at the other.
    #[test]
    fn an_edge_is_missed_at_its_worst_place() {
        let finish = |_: f64, y: f64| Some(0.010 + 0.005 * y);
        let [found] = &report(&[sill(0.017, 0.002)], finish)[..] else {
            panic!("one")
        };
        let worst = found.worst.expect("known");
        assert_eq!((found.met, worst.at), (Met::No, [0.0, 2.0]));
        let ends = found.ends.map(|end| end.expect("known").off);
        assert!((ends[0] + 0.001).abs() < 1e-12 && (ends[1] - 0.003).abs() < 1e-12);
        assert_eq!(report(&[sill(0.018, 0.002)], finish)[0].met, Met::Yes);
    }

    /// The worst place need not be an end: a ridge halfway along.
    #[test]
    fn a_ridge_between_the_ends_is_found() {
        let ridge = |_: f64, y: f64| Some(0.004 - (y - 1.6).abs() * 0.01);
        let found = &report(&[sill(0.0, 0.003)], ridge)[0];
        let worst = found.worst.expect("known");
        assert!((worst.off - 0.004).abs() < 1e-9 && (worst.at[1] - 1.6).abs() < 1e-9);
        assert_eq!(found.met, Met::No);
        assert!(found.ends.iter().flatten().all(|end| end.off.abs() < 1e-9));
    }

    #[test]
    fn a_covering_lowers_what_is_wanted_and_leaves_a_step() {
        let fixed = FixedLevel {
            below: 0.008,
            ..sill(0.020, 0.001)
        };
        let found = &report(&[fixed], |_, _| Some(0.0125))[0];
        let worst = found.worst.expect("known");
        assert_eq!(found.met, Met::Yes);
        assert!((worst.off - 0.0005).abs() < 1e-12 && (worst.step + 0.0075).abs() < 1e-12);
    }

    #[test]
    fn what_lies_beyond_the_finish_is_not_met() {
        let found = &report(&[sill(0.0, 0.002)], |_, _| None)[0];
        assert_eq!((found.met, found.worst), (Met::NotKnown, None));
        let half = |_: f64, y: f64| (y < 1.5).then_some(0.0);
        let found = &report(&[sill(0.0, 0.002)], half)[0];
        assert_eq!((found.met, found.ends[1]), (Met::NotKnown, None));
        let off = |_: f64, y: f64| (y < 1.5).then_some(0.003);
        assert_eq!(report(&[sill(0.0, 0.002)], off)[0].met, Met::No);
    }

    /// 1250 mm on the staff is 1.25 m below the line of sight; the origin lies 1.26 m below it.
    #[test]
    fn a_staff_reading_grows_downwards() {
        let local = sill(1.250, 0.002).local([0.5, 1.0, -1.260], true);
        assert!((local.level - 0.010).abs() < 1e-12);
        assert!(
            (local.places[1][0] + 0.5).abs() < 1e-12 && (local.places[1][1] - 1.0).abs() < 1e-12
        );
        let height = sill(0.250, 0.002).local([0.0, 0.0, 0.2], false);
        assert!((height.level - 0.05).abs() < 1e-12);
    }

    #[test]
    fn the_lowest_datum_is_kept_where_nothing_is_gained() {
        assert_eq!(proposed_datum(&[], 0.02), Some(0.02));
        assert_eq!(proposed_datum(&[], f64::NEG_INFINITY), None);
        let below = [sill(0.010, 0.002)];
        assert_eq!(
            proposed_datum(&below, 0.02),
            Some(0.02),
            "too low to be met"
        );
        assert_eq!(proposed_datum(&below, f64::NEG_INFINITY), Some(0.008));
        let three = [sill(0.030, 0.002), sill(0.033, 0.002), sill(0.05, 0.001)];
        assert_eq!(proposed_datum(&three, 0.02), Some(0.031), "two of three");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]
        /// Whole millimetres, so that the best datum is a whole one too: all of them are tried.
        #[test]
        fn no_other_datum_meets_more(
            levels in prop::collection::vec((0i32..60, 0i32..8, 0i32..6), 0..12),
            lowest in 0i32..60,
        ) {
            let mm = |whole: i32| f64::from(whole) * MILLIMETRE;
            let fixed: Vec<_> = levels
                .iter()
                .map(|&(level, below, allowance)| FixedLevel {
                    below: mm(below),
                    ..sill(mm(level), mm(allowance))
                })
                .collect();
            let met = |datum: i32| {
                let met = |&&(level, below, allowance): &&(i32, i32, i32)| (datum - level + below).abs() <= allowance;
                levels.iter().filter(met).count()
            };
            let best = (lowest..100).max_by_key(|&datum| (met(datum), -datum)).expect("a range");
            let found = proposed_datum(&fixed, mm(lowest)).expect("a lowest datum");
            prop_assert!((found - mm(best)).abs() < 1e-9, "{found} {best}");
            let reported = report(&fixed, |_, _| Some(found));
            prop_assert_eq!(reported.iter().filter(|one| one.met == Met::Yes).count(), met(best));
        }
    }
}

//! Does a floor meet a class, and does the measurement allow saying so?
//!
//! In: classes and a surface. Out: one of four verdicts for every requirement of a class, and the reason in words. A floor
//! is within a class if it meets every requirement, outside if it misses any.
//!
//! Rule (definitions 5): with k = 1.645, the one-sided 95 % quantile of the normal distribution, within if value + k u is
//! at most the limit, otherwise undecided or outside: guard bands as in JCGM 106:2012 (the quantile is derived, the
//! clause is from memory). The worst of many noisy values is more likely too large than too small ([`super::bias`]). That
//! makes "within" safer than 5 %, and is not used to make it easier; but noise alone must not make a floor "outside", so
//! there the value less the larger of k u and what noise reaches on its own must be above the limit. Where a tilt counts, 2.45
//! times its share is added to that in quadrature (see `measure`). A value that comes with a 90 % interval has its bounds for
//! value - k u and value + k u. F-numbers run the other way: the more the better.

use super::along::Along;
use super::measure::{EndlessLath, Measurement, Needed, measure_next};
use super::reason::reason;
use super::straightedge::Straightedge;
use crate::surface::Surface;
use crate::tolerance::{Class, Requirement, Rule};
use crate::units::System;

pub use super::measure::K;

/// What the measurement says about a class, from best to worst: what a class of several requirements takes is the worst of theirs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Shown to meet it.
    Within,
    /// Too close to the limit for the uncertainty of the measurement.
    Undecided,
    /// Nothing above the limit found, but the readings are too far apart to exclude it.
    TooSparse,
    /// Shown to miss it.
    Outside,
}

impl Verdict {
    /// The word for it, as shown and as in the JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Outside => "outside",
            Self::Undecided => "undecided",
            Self::TooSparse => "too sparse",
        }
    }
}

/// A requirement and what was found.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedRequirement {
    /// The requirement.
    pub requirement: Requirement,
    /// The measurement that decided: of several the one that takes the largest share of its limit.
    pub measurement: Measurement,
    /// The verdict.
    pub verdict: Verdict,
    /// Why, and what would decide it.
    pub reason: String,
}

impl JudgedRequirement {
    /// The share of what is allowed that was used: above 1 it is missed.
    pub fn share(&self) -> f64 {
        share(&self.requirement.rule, &self.measurement)
    }
}

/// A class and what was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// The class asked for.
    pub class: Class,
    /// Its requirement that is missed most, or is nearest to being missed.
    pub worst: JudgedRequirement,
    /// The others, the worst first.
    pub others: Vec<JudgedRequirement>,
}

impl Judged {
    /// The verdict on the class: that on its worst requirement.
    pub fn verdict(&self) -> Verdict {
        self.worst.verdict
    }

    /// All requirements, the worst first.
    pub fn requirements(&self) -> impl Iterator<Item = &JudgedRequirement> {
        std::iter::once(&self.worst).chain(&self.others)
    }
}

/// The share of its limit that a measurement takes, or of its F-number that the least one is.
fn share(rule: &Rule, measurement: &Measurement) -> f64 {
    let limit = measurement.limit;
    measurement.found.map_or(0.0, |found| match rule.least() {
        Some(_) => limit / found.value,
        None => found.value / limit,
    })
}

/// Judges every class; `laid` are the straightedges that were laid already, `along` what was measured along sample lines.
pub fn judge_all(
    classes: &[Class],
    laid: &[Straightedge],
    along: &Along,
    surface: &Surface,
    units: System,
) -> Vec<Judged> {
    let mut endless = EndlessLath::default();
    judge_each(classes, units, |rule| {
        measure_next(rule, laid, along, surface, &mut endless)
    })
}

/// Judges every class by what `measure` finds.
pub(super) fn judge_each(
    classes: &[Class],
    units: System,
    mut measure: impl FnMut(&Rule) -> Vec<Measurement>,
) -> Vec<Judged> {
    classes
        .iter()
        .filter_map(|class| {
            let mut requirements: Vec<_> = class
                .requirements
                .iter()
                .filter_map(|one| judge(one, measure(&one.rule), units))
                .collect();
            requirements.sort_by(|a, b| {
                let by_share = b.share().total_cmp(&a.share());
                b.verdict.cmp(&a.verdict).then(by_share)
            });
            let mut requirements = requirements.into_iter();
            Some(Judged {
                class: class.clone(),
                worst: requirements.next()?,
                others: requirements.collect(),
            })
        })
        .collect()
}

/// Judges a requirement by everything that was measured for it. None of nothing.
pub fn judge(
    requirement: &Requirement,
    measured: Vec<Measurement>,
    units: System,
) -> Option<JudgedRequirement> {
    let rule = &requirement.rule;
    let verdict = measured.iter().map(|one| self::verdict(rule, one)).max()?;
    let spacing = |needed: &Needed| match needed {
        Needed::Spacing(spacing) => *spacing,
        Needed::Differences { .. } | Needed::Lines(_) | Needed::Places(_) => f64::INFINITY,
    };
    let needed = measured
        .iter()
        .filter_map(|one| one.needed.clone())
        .min_by(|a, b| spacing(a).total_cmp(&spacing(b)));
    let decided = |one: &Measurement| match verdict {
        Verdict::Outside | Verdict::Undecided => self::verdict(rule, one) == verdict,
        Verdict::Within | Verdict::TooSparse => true,
    };
    let mut measurement = measured.into_iter().filter(decided).reduce(|a, b| {
        if share(rule, &b) > share(rule, &a) {
            b
        } else {
            a
        }
    })?;
    measurement.needed = needed;
    Some(JudgedRequirement {
        requirement: requirement.clone(),
        reason: reason(verdict, rule, &measurement, units),
        measurement,
        verdict,
    })
}

/// The verdict on one measurement. Where there was nothing to measure and no closer readings would help, as with levels
/// of places farther apart than the floor is long, nothing can be missed.
fn verdict(rule: &Rule, measurement: &Measurement) -> Verdict {
    let limit = measurement.limit;
    let (missed, met) = match (measurement.found.map(|found| found.bounds()), rule.least()) {
        (Some([low, high]), None) => (low > limit, high <= limit),
        (Some([low, high]), Some(_)) => (high < limit, low >= limit),
        (None, _) => (false, true),
    };
    match (missed, &measurement.needed, met) {
        (true, _, _) => Verdict::Outside,
        (false, Some(_), _) => Verdict::TooSparse,
        (false, None, false) => Verdict::Undecided,
        (false, None, true) => Verdict::Within,
    }
}

#[cfg(test)]
mod tests {
    use super::super::measure::{Doubt, Found, Place};
    use super::*;
    use crate::tolerance::Part;

    fn judged(rule: Rule, limit: f64, value: f64, doubt: Doubt) -> JudgedRequirement {
        let measurement = Measurement {
            limit,
            length: rule.length(),
            found: Some(Found {
                value,
                doubt,
                place: Place::Lines,
            }),
            needed: None,
        };
        let requirement = Requirement::read(rule, "a test");
        judge(&requirement, vec![measurement], System::Metric).expect("one measurement")
    }

    /// SR1, u 0.5 mm: accepted to 3 - 1.645 * 0.5 = 2.1775 mm, missed from 3.8225 mm on (closed form).
    #[test]
    fn guard_bands_on_both_sides_of_a_limit() {
        let edge = |value| {
            let rule = Rule::Straightedge {
                length: 2.0,
                limit: 0.003,
            };
            let doubt = Doubt::Heights {
                u: 0.0005,
                tilt: 0.0,
                one: 0.0004,
                reach: 0.0005,
            };
            judged(rule, 0.003, value, doubt)
        };
        assert_eq!(edge(0.002177).verdict, Verdict::Within);
        assert_eq!(edge(0.002178).verdict, Verdict::Undecided);
        assert_eq!(edge(0.003822).verdict, Verdict::Undecided);
        assert_eq!(edge(0.003823).verdict, Verdict::Outside);
        // 0.5 mm from the limit: u may be 0.5 / 1.645 = 0.304 mm, so one height 0.8 of that, 0.24 mm.
        let reason = edge(0.0025).reason;
        assert!(
            reason.ends_with("heights known to 0.2 mm would decide it"),
            "{reason}"
        );
    }

    /// The more the better: an interval wholly above the least is within, wholly below it outside.
    #[test]
    fn f_numbers_run_the_other_way() {
        let flat = |value, low, high| {
            let rule = Rule::FlatnessNumber {
                part: Part::Overall,
                least: 25.0,
            };
            let doubt = Doubt::Interval {
                low,
                high,
                readings: 50,
            };
            judged(rule, 25.0, value, doubt)
        };
        assert_eq!(flat(30.0, 26.0, 34.0).verdict, Verdict::Within);
        assert_eq!(flat(20.0, 17.0, 23.0).verdict, Verdict::Outside);
        let undecided = flat(27.0, 23.0, 31.0);
        assert_eq!(undecided.verdict, Verdict::Undecided);
        // The interval is twice as wide as what is left to the limit: four times the readings.
        assert!(
            undecided.reason.contains("200 readings"),
            "{}",
            undecided.reason
        );
        assert!(flat(20.0, 17.0, 23.0).share() > 1.0);
    }
}

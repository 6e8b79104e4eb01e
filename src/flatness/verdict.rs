//! Does a floor meet a class, and does the measurement allow saying so?
//!
//! In: classes and a surface. Out: one of four verdicts for every requirement of a class, and the reason in words. A floor
//! is within a class if it meets every requirement, outside if it misses any.
//!
//! Rule (definitions 5): with k = 1.645, the one-sided 95 % quantile of the normal distribution, within if value + k u is
//! at most the limit, otherwise undecided or outside: guard bands as in JCGM 106:2012 (the quantile is derived, the
//! clause is from memory). The worst of many noisy values is more likely too large than too small ([`super::bias`]). That
//! makes "within" safer than 5 %, and is not used to make it easier; but noise alone must not make a floor "outside", so
//! there the value less the larger of k u and what noise reaches on its own must be above the limit.

use super::measure::{Found, Measurement, Place, measure};
use super::straightedge::Straightedge;
use crate::surface::Surface;
use crate::tolerance::{Class, Requirement, Rule};
use crate::units::System;

/// One-sided 95 % quantile of the normal distribution.
pub const K: f64 = 1.645;

/// Heights on a floor are not known better than this, m: the finest that a digital level gives (from memory).
const FINEST: f64 = 0.0001;

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

/// How far the true value may lie on either side of the one found, m.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Doubt {
    below: f64,
    above: f64,
}

impl Doubt {
    fn of(found: &Found) -> Self {
        let above = K * found.u;
        Self {
            below: above.max(found.reach),
            above,
        }
    }

    /// The side on which `limit` lies.
    fn towards(self, limit: f64, found: &Found) -> f64 {
        if limit < found.value {
            self.below
        } else {
            self.above
        }
    }
}

impl JudgedRequirement {
    fn share(&self) -> f64 {
        share(&self.measurement)
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

/// The share of its limit that a measurement takes.
fn share(measurement: &Measurement) -> f64 {
    measurement
        .found
        .map_or(0.0, |found| found.value / measurement.limit)
}

/// Judges every class; `laid` are the straightedges that were laid already.
pub fn judge_all(
    classes: &[Class],
    laid: &[Straightedge],
    surface: &Surface,
    units: System,
) -> Vec<Judged> {
    classes
        .iter()
        .filter_map(|class| {
            let mut requirements: Vec<_> = class
                .requirements
                .iter()
                .filter_map(|one| judge(one, measure(one.rule, laid, surface), units))
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
fn judge(
    requirement: &Requirement,
    measured: Vec<Measurement>,
    units: System,
) -> Option<JudgedRequirement> {
    let verdict = measured.iter().map(verdict).max()?;
    let needed = measured
        .iter()
        .filter_map(|one| one.needed)
        .min_by(f64::total_cmp);
    let decided = |one: &Measurement| verdict != Verdict::Outside || self::verdict(one) == verdict;
    let mut measurement = measured
        .into_iter()
        .filter(decided)
        .reduce(|a, b| if share(&b) > share(&a) { b } else { a })?;
    measurement.needed = needed;
    Some(JudgedRequirement {
        requirement: *requirement,
        measurement,
        verdict,
        reason: reason(verdict, requirement.rule, &measurement, units),
    })
}

/// The verdict on one measurement. Where there was nothing to measure and no closer readings would help, as with levels
/// of places farther apart than the floor is long, nothing can be missed.
fn verdict(measurement: &Measurement) -> Verdict {
    let limit = measurement.limit;
    match measurement.found {
        Some(found) if found.value - Doubt::of(&found).below > limit => Verdict::Outside,
        Some(_) | None if measurement.needed.is_some() => Verdict::TooSparse,
        Some(found) if found.value + Doubt::of(&found).above > limit => Verdict::Undecided,
        Some(_) | None => Verdict::Within,
    }
}

/// Why, in the user's terms, and what would decide it.
fn reason(verdict: Verdict, rule: Rule, measurement: &Measurement, units: System) -> String {
    let needed = measurement.needed.map_or(String::new(), |needed| {
        let needed = units.plan(needed);
        format!("readings every {needed} or closer would decide it")
    });
    let Some(found) = measurement.found else {
        return match (rule, measurement.length) {
            (Rule::Level { .. } | Rule::Band { .. }, _) | (_, None) => {
                "no two measured places are so far apart".to_owned()
            }
            (_, Some(length)) => {
                let length = units.plan(length);
                format!("no three readings lie in line within {length}; {needed}")
            }
        };
    };
    let limit = match (rule.limit(), measurement.length) {
        (None, Some(length)) => {
            let limit = units.height(measurement.limit);
            format!("the {limit} allowed at {}", units.plan(length))
        }
        (Some(limit), _) => units.height(limit),
        (None, None) => units.height(measurement.limit),
    };
    let doubt = Doubt::of(&found).towards(measurement.limit, &found);
    let (value, guard) = (units.height(found.value), units.height(doubt));
    match verdict {
        Verdict::Within => format!("{value} with {guard} of doubt is inside {limit}"),
        Verdict::Outside => format!("{value} is over {limit} by more than the {guard} of doubt"),
        Verdict::Undecided => {
            let remedy = remedy(&found, doubt, measurement.limit, units);
            format!("{value} is too near {limit} for the {guard} of doubt; {remedy}")
        }
        Verdict::TooSparse => format!(
            "{value} is the {} found, but the readings could miss a wider one; {needed}",
            match found.place {
                Place::Chord { .. } => "widest gap",
                Place::Pair { .. } | Place::Node(_) => "largest difference",
            }
        ),
    }
}

/// How well heights would have to be known.
fn remedy(found: &Found, doubt: f64, limit: f64, units: System) -> String {
    let bearable = found.one_height * (limit - found.value).abs() / doubt;
    if bearable < FINEST {
        "no instrument would decide it".to_owned()
    } else {
        let bearable = units.height(bearable);
        format!("heights known to {bearable} would decide it")
    }
}

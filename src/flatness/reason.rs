//! Why a verdict is what it is, and what would decide it, in the user's terms.
//!
//! In: a verdict, the rule, what was measured. Out: a sentence.
//! Formulae: an uncertainty shrinks with that of the heights, so heights may be known to one · |limit - value| / doubt, a
//! tilt's share taken off both squares first; the
//! interval of an F-number narrows with the square root of the readings, so that it takes readings · (half width /
//! |limit - value|)² of them.

use super::measure::{Doubt, Found, Measurement, Needed, Place};
use super::verdict::Verdict;
use crate::tolerance::Rule;
use crate::units::System;

/// Heights on a floor are not known better than this, m: the finest that a digital level gives (from memory).
const FINEST: f64 = 0.0001;

/// More readings than this along sample lines nobody takes.
const MOST_READINGS: f64 = 1e5;

/// Why, and what would decide it.
pub(super) fn reason(
    verdict: Verdict,
    rule: &Rule,
    measurement: &Measurement,
    units: System,
) -> String {
    let Some(found) = measurement.found else {
        return nothing_found(rule, measurement, units);
    };
    let limit = match (rule.limit().or(rule.least()), measurement.length) {
        (None, Some(length)) => {
            let limit = units.height(measurement.limit);
            format!("the {limit} allowed at {}", units.plan(length))
        }
        (Some(limit), _) => rule.show(limit, units),
        (None, None) => rule.show(measurement.limit, units),
    };
    let value = rule.show(found.value, units);
    if verdict == Verdict::TooSparse {
        let needed = needed(measurement, units);
        return match found.place {
            Place::Chord { .. } => format!(
                "{value} is the widest gap found, but the readings could miss a wider one; {needed}"
            ),
            Place::Pair { .. } | Place::Node(_) | Place::Lines => format!(
                "{value} is the largest difference found, but the readings could miss a larger one; \
                 {needed}"
            ),
        };
    }
    match found.doubt {
        Doubt::Heights { .. } => {
            let guard = units.height(towards(&found, measurement.limit));
            match verdict {
                Verdict::Within => format!("{value} with {guard} of doubt is inside {limit}"),
                Verdict::Outside => {
                    format!("{value} is over {limit} by more than the {guard} of doubt")
                }
                Verdict::Undecided | Verdict::TooSparse => format!(
                    "{value} is too near {limit} for the {guard} of doubt; {}",
                    remedy(rule, &found, measurement.limit, units)
                ),
            }
        }
        Doubt::Interval { low, high, .. } => {
            let between = format!(
                "{value}, between {} and {},",
                rule.show(low, units),
                rule.show(high, units)
            );
            match (verdict, rule.least()) {
                (Verdict::Within, None) => format!("{between} is inside {limit}"),
                (Verdict::Within, Some(_)) => format!("{between} reaches {limit}"),
                (Verdict::Outside, None) => format!("{between} is over {limit}"),
                (Verdict::Outside, Some(_)) => format!("{between} falls short of {limit}"),
                (Verdict::Undecided | Verdict::TooSparse, _) => format!(
                    "{between} is too near {limit}; {}",
                    remedy(rule, &found, measurement.limit, units)
                ),
            }
        }
    }
}

fn nothing_found(rule: &Rule, measurement: &Measurement, units: System) -> String {
    let needed = needed(measurement, units);
    match (rule, measurement.length, &measurement.needed) {
        (_, _, Some(Needed::Lines(_) | Needed::Places(_))) => needed,
        (Rule::Level { .. }, _, None) | (_, None, None) => {
            "no two measured places are so far apart".to_owned()
        }
        (Rule::Level { .. } | Rule::Band { .. }, _, Some(_)) | (_, None, Some(_)) => {
            format!("nothing to compare; {needed}")
        }
        (Rule::Step { within: apart, .. }, ..)
        | (Rule::Differences { apart, .. } | Rule::SecondDifferences { apart, .. }, ..) => {
            let apart = spacing_words(*apart, units);
            format!("no readings lie {apart} apart in line; {needed}")
        }
        (_, Some(length), _) => format!(
            "no three readings lie in line within {}; {needed}",
            units.plan(length)
        ),
    }
}

/// What the survey lacks.
fn needed(measurement: &Measurement, units: System) -> String {
    match &measurement.needed {
        None => String::new(),
        Some(Needed::Spacing(spacing)) => format!(
            "readings every {} or closer would decide it",
            spacing_words(*spacing, units)
        ),
        Some(Needed::Differences { count, apart }) => format!(
            "{count} or more differences of readings {} apart in line would decide it",
            units.plan(*apart)
        ),
        Some(Needed::Lines(reason) | Needed::Places(reason)) => reason.clone(),
    }
}

/// A spacing as it is set out: centimetres do for wide ones, millimetres for close ones.
fn spacing_words(spacing: f64, units: System) -> String {
    if spacing < CLOSE {
        units.height(spacing)
    } else {
        units.plan(spacing)
    }
}

/// Below this a spacing is told like a height, m.
const CLOSE: f64 = 0.1;

/// How far the true value may lie on the side of the limit.
fn towards(found: &Found, limit: f64) -> f64 {
    let [low, high] = found.bounds();
    if limit < found.value {
        found.value - low
    } else {
        high - found.value
    }
}

/// The same of heights measured from a plane that is level for sure.
fn without_tilt(doubt: Doubt) -> Doubt {
    match doubt {
        Doubt::Heights { u, one, reach, .. } => Doubt::Heights {
            u,
            tilt: 0.0,
            one,
            reach,
        },
        Doubt::Interval { .. } => doubt,
    }
}

/// How well heights would have to be known, or how many readings it takes.
fn remedy(rule: &Rule, found: &Found, limit: f64, units: System) -> String {
    let left = (limit - found.value).abs();
    let doubt = towards(found, limit);
    match (found.doubt, rule.least()) {
        (Doubt::Heights { one, tilt, .. }, _) => {
            let level = Found {
                doubt: without_tilt(found.doubt),
                ..*found
            };
            let heights = towards(&level, limit);
            let from_tilt = doubt * doubt - heights * heights;
            let bearable = one * (left * left - from_tilt).max(0.0).sqrt() / heights;
            if tilt > 0.0 && bearable < FINEST {
                "a laser plane whose tilt is better known would decide it".to_owned()
            } else if bearable < FINEST {
                let finest = units.height(FINEST);
                format!(
                    "only heights known to better than {finest} would decide it, finer than staff and laser give"
                )
            } else {
                let bearable = units.height(bearable);
                format!("heights known to {bearable} would decide it")
            }
        }
        (Doubt::Interval { readings, .. }, Some(_)) => {
            let readings = (readings as f64 * (doubt / left).powi(2)).ceil();
            if readings > MOST_READINGS {
                "no number of sample lines would decide it".to_owned()
            } else {
                format!("about {readings} readings along sample lines would decide it")
            }
        }
        (Doubt::Interval { .. }, None) => "heights better known would decide it".to_owned(),
    }
}

//! Classes as JSON: as they are listed, and as a floor was judged by them.
//!
//! In: classes and verdicts. Out: the document of `classes`, and the type of the key `classes` of `check`.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Place, mm, rounded};
use crate::flatness::measure::{Measurement, Place as Where};
use crate::flatness::verdict::{Judged, JudgedRequirement};
use crate::output::words;
use crate::tolerance::{Class, Requirement};
use crate::units::System;

/// The one length and the one limit of a class.
#[derive(Debug, Serialize, JsonSchema)]
struct LengthAndLimit {
    /// Null where there are several, or none.
    length_m: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    length_m_reason: Option<&'static str>,
    /// Null where there are several.
    limit_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    limit_mm_reason: Option<&'static str>,
}

impl LengthAndLimit {
    fn new(requirements: &[Requirement]) -> Self {
        let (length, limit, reason) = match requirements {
            [only] if only.rule.least().is_some() => (None, None, words::BARE_NUMBER),
            [only] => (only.rule.length(), only.rule.limit(), words::BY_DISTANCE),
            _ => (None, None, words::SEVERAL_REQUIREMENTS),
        };
        let no_length = if limit.is_some() {
            words::NO_LENGTH
        } else {
            reason
        };
        Self {
            length_m: length.map(rounded),
            length_m_reason: length.is_none().then_some(no_length),
            limit_mm: limit.map(mm),
            limit_mm_reason: limit.is_none().then_some(reason),
        }
    }
}

/// What was measured, in millimetres where it is a length.
#[derive(Debug, Serialize, JsonSchema)]
struct Measured {
    /// Null where nothing could be measured, and for an F-number.
    measured_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    measured_mm_reason: Option<&'static str>,
    /// Its standard uncertainty; null where it has an interval instead.
    u_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    u_mm_reason: Option<&'static str>,
}

impl Measured {
    fn new(judged: &JudgedRequirement) -> Self {
        let found = judged.measurement.found;
        let number = judged.requirement.rule.least().is_some();
        let length = found.filter(|_| !number);
        let u = found.and_then(|found| found.u());
        let why = |some: bool, otherwise| match (some, found) {
            (true, _) => None,
            (false, None) => Some(words::NOTHING_MEASURED),
            (false, Some(_)) => Some(otherwise),
        };
        Self {
            measured_mm: length.map(|found| mm(found.value)),
            measured_mm_reason: why(length.is_some(), words::BARE_NUMBER),
            u_mm: u.map(mm),
            u_mm_reason: why(u.is_some(), words::HAS_AN_INTERVAL),
        }
    }
}

/// A value without a unit and the 90 % interval it lies in, with the least allowed: an F-number.
#[derive(Debug, Serialize, JsonSchema)]
struct Number {
    least: f64,
    measured: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct JudgedClass {
    class: String,
    title: String,
    standard: String,
    #[serde(flatten)]
    length_and_limit: LengthAndLimit,
    /// Of the worst requirement.
    #[serde(flatten)]
    measured: Measured,
    /// "within", "outside", "undecided" or "too sparse"
    verdict: &'static str,
    reason: String,
    source: String,
    remark: &'static str,
    /// The worst first.
    requirements: Vec<JudgedPart>,
}

/// One requirement of a class, as judged.
#[derive(Debug, Serialize, JsonSchema)]
struct JudgedPart {
    measured_as: String,
    /// Length of the edge or distance of the places.
    length_m: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    length_m_reason: Option<&'static str>,
    /// The limit there; null for an F-number.
    limit_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    limit_mm_reason: Option<&'static str>,
    #[serde(flatten)]
    measured: Measured,
    /// In place of the millimetres where it is an F-number.
    #[serde(skip_serializing_if = "Option::is_none")]
    number: Option<Number>,
    from: Option<Place>,
    to: Option<Place>,
    at: Option<Place>,
    verdict: &'static str,
    reason: String,
    source: String,
    remark: &'static str,
}

impl JudgedPart {
    fn new(judged: &JudgedRequirement, place: &dyn Fn(usize) -> Place) -> Self {
        let Measurement {
            limit,
            length,
            found,
            needed: _,
        } = &judged.measurement;
        let rule = &judged.requirement.rule;
        let [from, to, at] = match found.map(|found| found.place) {
            Some(Where::Chord { a, b, c }) => [Some(a), Some(b), Some(c)],
            Some(Where::Pair { a, b }) => [Some(a), Some(b), None],
            Some(Where::Node(c)) => [None, None, Some(c)],
            Some(Where::Lines) | None => [None; 3],
        }
        .map(|node| node.map(place));
        let bounds = found.map(|found| found.bounds().map(rounded));
        Self {
            measured_as: rule.describe(System::Metric),
            length_m: length.map(rounded),
            length_m_reason: length.is_none().then_some(words::NO_LENGTH),
            limit_mm: rule.least().is_none().then(|| mm(*limit)),
            limit_mm_reason: rule.least().is_some().then_some(words::BARE_NUMBER),
            measured: Measured::new(judged),
            number: rule.least().map(|least| Number {
                least: rounded(least),
                measured: found.map(|found| rounded(found.value)),
                low: bounds.map(|[low, _]| low),
                high: bounds.map(|[_, high]| high),
            }),
            from,
            to,
            at,
            verdict: judged.verdict.word(),
            reason: judged.reason.clone(),
            source: judged.requirement.source.to_string(),
            remark: judged.requirement.seen.remark(),
        }
    }
}

impl JudgedClass {
    /// `place` is what a number of a place in the measurements stands for.
    pub(super) fn new(judged: &Judged, place: &dyn Fn(usize) -> Place) -> Self {
        let Class {
            name,
            title,
            standard,
            requirements,
        } = &judged.class;
        Self {
            class: name.clone(),
            title: title.clone(),
            standard: standard.clone(),
            length_and_limit: LengthAndLimit::new(requirements),
            measured: Measured::new(&judged.worst),
            verdict: judged.verdict().word(),
            reason: judged.worst.reason.clone(),
            source: judged.class.sources(),
            remark: judged.class.remark(),
            requirements: judged
                .requirements()
                .map(|one| JudgedPart::new(one, place))
                .collect(),
        }
    }
}

/// A class as `lowspot classes --json` lists it.
#[derive(Debug, Serialize, JsonSchema)]
pub struct KnownClass {
    class: String,
    title: String,
    standard: String,
    #[serde(flatten)]
    length_and_limit: LengthAndLimit,
    measured_as: String,
    source: String,
    remark: &'static str,
    requirements: Vec<KnownPart>,
}

/// One requirement of a class.
#[derive(Debug, Serialize, JsonSchema)]
struct KnownPart {
    measured_as: String,
    /// What is allowed, in words: a limit may depend on the distance.
    allowed: String,
    length_m: Option<f64>,
    limit_mm: Option<f64>,
    /// The least F-number, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    least: Option<f64>,
    source: String,
    remark: &'static str,
}

/// The document of `classes`.
pub fn classes(classes: &[Class]) -> Vec<KnownClass> {
    let part = |one: &Requirement| KnownPart {
        measured_as: one.rule.describe(System::Metric),
        allowed: one.rule.allowance(System::Metric),
        length_m: one.rule.length().map(rounded),
        limit_mm: one.rule.limit().map(mm),
        least: one.rule.least().map(rounded),
        source: one.source.to_string(),
        remark: one.seen.remark(),
    };
    let known = |class: &Class| KnownClass {
        class: class.name.clone(),
        title: class.title.clone(),
        standard: class.standard.clone(),
        length_and_limit: LengthAndLimit::new(&class.requirements),
        measured_as: class
            .requirements
            .iter()
            .map(|one| one.rule.describe(System::Metric))
            .collect::<Vec<_>>()
            .join("; "),
        source: class.sources(),
        remark: class.remark(),
        requirements: class.requirements.iter().map(part).collect(),
    };
    classes.iter().map(known).collect()
}

//! Does a floor meet a class, and does the measurement allow saying so?
//!
//! In: a gap with its standard uncertainty, the limit, the spacing of the survey. Out: one of four verdicts and the
//! reason in words.
//!
//! Rule (definitions 5): with k = 1.645, the one-sided 95 % quantile of the normal distribution, within if gap + k u is
//! at most the limit, outside if gap - k u is above it, otherwise undecided: guard bands as in JCGM 106:2012
//! (the quantile is derived, the clause is from memory). A survey coarser than an eighth of the straightedge can prove a
//! floor outside and never within.

use crate::surface::Surface;
use crate::tolerance::{Class, Rule};
use crate::units::System;

use super::straightedge::Straightedge;

/// One-sided 95 % quantile of the normal distribution.
pub const K: f64 = 1.645;

/// The coarsest spacing that can show a floor within, as a share of the straightedge.
pub const SPARSE: f64 = 1.0 / 8.0;

/// Heights on a floor are not known better than this, m: the finest that a digital level gives (from memory).
const FINEST: f64 = 0.0001;

/// What the measurement says about a class.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Shown to meet it.
    Within,
    /// Shown to miss it.
    Outside,
    /// Too close to the limit for the uncertainty of the measurement.
    Undecided,
    /// No gap above the limit found, but the readings are too far apart to exclude one.
    TooSparse,
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

/// A class and what was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// The class asked for.
    pub class: Class,
    /// The measured value that is held against the limit, m. None where nothing could be measured.
    pub measured: Option<f64>,
    /// Its standard uncertainty, m.
    pub u: Option<f64>,
    /// The verdict.
    pub verdict: Verdict,
    /// Why, and what would decide it.
    pub reason: String,
}

/// Judges every class by the straightedge of its length among `laid`.
pub fn judge_all(
    classes: &[Class],
    laid: &[Straightedge],
    surface: &Surface,
    units: System,
) -> Vec<Judged> {
    let of_length = |length: f64| laid.iter().find(move |edge| edge.length == length);
    classes
        .iter()
        .filter_map(|class| match class.rule {
            Rule::Straightedge { length } => Some(judge(class, of_length(length)?, surface, units)),
        })
        .collect()
}

/// Judges a class by the straightedge of its length.
pub fn judge(class: &Class, laid: &Straightedge, surface: &Surface, units: System) -> Judged {
    let Rule::Straightedge { length } = class.rule;
    let contact = laid.worst;
    let (measured, u) = (
        contact.map(|contact| contact.gap),
        contact.map(|contact| contact.u),
    );
    let sparse = surface.spacing > length * SPARSE * (1.0 + 1e-9);
    let verdict = match contact {
        Some(contact) if contact.gap - K * contact.u > class.limit => Verdict::Outside,
        Some(contact) if !sparse && contact.gap + K * contact.u <= class.limit => Verdict::Within,
        Some(_) if !sparse => Verdict::Undecided,
        Some(_) | None => Verdict::TooSparse,
    };
    let one_height = contact.map(|contact| surface.field.u[contact.c]);
    let reason = reason(
        verdict,
        class,
        measured.zip(u).zip(one_height),
        length,
        units,
    );
    Judged {
        class: class.clone(),
        measured,
        u,
        verdict,
        reason,
    }
}

/// Why, in the user's terms, and what would decide it.
fn reason(
    verdict: Verdict,
    class: &Class,
    gap: Option<((f64, f64), f64)>,
    length: f64,
    units: System,
) -> String {
    let limit = units.height(class.limit);
    let needed = format!(
        "readings every {} or closer would decide it",
        units.plan(length * SPARSE)
    );
    let Some(((gap, u), one_height)) = gap else {
        return format!(
            "no three readings lie in line within {}; {needed}",
            units.plan(length)
        );
    };
    let (found, guard) = (units.height(gap), units.height(K * u));
    match verdict {
        Verdict::Within => format!("{found} with {guard} of doubt is inside {limit}"),
        Verdict::Outside => format!("{found} is over {limit} by more than the {guard} of doubt"),
        Verdict::Undecided => {
            let bearable = one_height * (class.limit - gap).abs() / (K * u);
            let remedy = if bearable < FINEST {
                "no instrument would decide it".to_owned()
            } else {
                format!(
                    "heights known to {} would decide it",
                    units.height(bearable)
                )
            };
            format!("{found} is too near {limit} for the {guard} of doubt; {remedy}")
        }
        Verdict::TooSparse => {
            format!(
                "{found} is the widest gap found, but the readings could miss a wider one; {needed}"
            )
        }
    }
}

//! The finished result of a whole job: what was asked, found and done, floor by floor.
//!
//! In: the job's plan, and each floor after its pour. Out: [`Handover`], from which the bundle is made.

use super::Comparison;
use super::house::HousePlan;
use crate::flatness::verdict::{Judged, Verdict};

/// A job from the first survey to the last.
#[derive(Debug, Clone)]
pub struct Handover {
    /// Each floor as it was, and what it takes.
    pub house: HousePlan,
    /// Each floor before and after its pour, in the same order; None where it was not surveyed afterwards.
    pub after: Vec<Option<AfterPour>>,
    /// Every file that the job was made from, by name, each once.
    pub inputs: Vec<InputFile>,
}

/// A floor before and after its pour.
#[derive(Debug, Clone)]
pub struct AfterPour {
    /// The two surveys.
    pub compared: Comparison,
    /// Bags used of each compound of the plan; empty where nobody says.
    pub bags_used: Vec<f64>,
}

/// A file that went into a job.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct InputFile {
    /// Its name, from the job file's folder.
    pub file: String,
    /// SHA-256 of its content.
    pub sha256: String,
}

impl Handover {
    /// Whether every floor, as it is now, meets every class asked for.
    pub fn all_met(&self) -> bool {
        let floors = self.house.floors.iter().zip(&self.after);
        let mut judged = floors.flat_map(|(floor, after)| match after {
            Some(after) => &after.compared.after.judged,
            None => &floor.plan.findings.judged,
        });
        judged.all(|judged: &Judged| judged.verdict() == Verdict::Within)
    }
}

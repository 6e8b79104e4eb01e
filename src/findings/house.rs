//! The finished result of a job of several floors.
//!
//! In: each floor's plan. Out: [`HousePlan`], from which one order in all follows.

use super::PourPlan;
use crate::pour::Compound;
use crate::pour::together::{Together, together};

/// What a job is called, and what else is written at its head.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Heading {
    /// What it is called.
    pub title: String,
    /// For whom.
    pub client: Option<String>,
    /// Where.
    pub address: Option<String>,
    /// By whom.
    pub by: Option<String>,
    /// When, as it is written.
    pub date: Option<String>,
    /// Whatever else is to be said.
    pub remarks: Vec<String>,
}

/// A job, planned.
#[derive(Debug, Clone)]
pub struct HousePlan {
    /// What stands at its head.
    pub heading: Heading,
    /// The floors, in the order in which they are poured.
    pub floors: Vec<FloorPlan>,
}

impl HousePlan {
    /// What to buy of each compound in all.
    pub fn orders(&self) -> Vec<Together> {
        together(self.floors.iter().flat_map(|floor| floor.plan.orders()))
    }

    /// Whole bags of a compound that are enough on each floor in 95 % of cases; None where that is not known of each.
    pub fn bags_95(&self, compound: &Compound) -> Option<u64> {
        let orders = self.floors.iter().flat_map(|floor| floor.plan.orders_95());
        orders
            .filter(|(one, ..)| *one == compound)
            .map(|(.., bags_95)| bags_95)
            .sum()
    }

    /// Whether every floor meets every class asked for.
    pub fn all_met(&self) -> bool {
        self.floors
            .iter()
            .all(|floor| floor.plan.findings.all_met())
    }
}

/// A floor of a job, planned.
#[derive(Debug, Clone)]
pub struct FloorPlan {
    /// What it is called.
    pub name: String,
    /// The same as part of a file's name.
    pub short_name: String,
    /// How it is poured.
    pub plan: PourPlan,
}

//! BS 8204, screeds, bases and in situ floorings (United Kingdom): surface regularity under a 2 m straightedge.
//!
//! The straightedge lies in contact with the floor under its own weight; the gap is measured between the points of
//! contact, so an end that hangs over a hump is no gap.

use super::{Row, Rule, Seen, Standard};

const CONTACT_2M: Rule = Rule::Straightedge { length: 2.0 };

/// Limits as the Concrete Society's concise guidance (fingertips, document 1009) prints them.
const SOURCE: &str = "Concrete Society, concrete fingertips 1009, citing BS 8204";

/// The three classes of surface regularity.
pub const STANDARD: Standard = Standard {
    name: "BS 8204",
    rows: &[
        Row {
            name: "SR1",
            title: "high standard, for thin finishes",
            rule: CONTACT_2M,
            limit: 0.003,
            source: SOURCE,
            seen: Seen::Read,
        },
        Row {
            name: "SR2",
            title: "normal standard, commercial floors",
            rule: CONTACT_2M,
            limit: 0.005,
            source: SOURCE,
            seen: Seen::Read,
        },
        Row {
            name: "SR3",
            title: "utility standard, for thick finishes",
            rule: CONTACT_2M,
            limit: 0.010,
            source: SOURCE,
            seen: Seen::Read,
        },
    ],
};

//! BS 8204, screeds, bases and in situ floorings (United Kingdom).
//!
//! The straightedge lies in contact with the floor under its own weight; the gap is measured between the points of
//! contact, so an end that hangs over a hump is no gap. The limits were read in the source below;
//! what each class is used for is from memory.

use super::{Requirement, Row, Rule, Standard};

/// Limits as the Concrete Society's concise guidance (fingertips, document 1009) prints them.
const SOURCE: &str = "Concrete Society, concrete fingertips 1009, citing BS 8204";

/// The three classes of surface regularity, and the departure from level.
pub const STANDARD: Standard = Standard {
    name: "BS 8204",
    rows: &[
        Row {
            name: "SR1",
            title: "high standard, for thin finishes",
            requirements: &[Requirement::read(
                Rule::Straightedge {
                    length: 2.0,
                    limit: 0.003,
                },
                SOURCE,
            )],
        },
        Row {
            name: "SR2",
            title: "normal standard, commercial floors",
            requirements: &[Requirement::read(
                Rule::Straightedge {
                    length: 2.0,
                    limit: 0.005,
                },
                SOURCE,
            )],
        },
        Row {
            name: "SR3",
            title: "utility standard, for thick finishes",
            requirements: &[Requirement::read(
                Rule::Straightedge {
                    length: 2.0,
                    limit: 0.010,
                },
                SOURCE,
            )],
        },
        Row {
            name: "BS8204-LEVEL",
            title: "departure from the level; from the floor's own mean level here",
            requirements: &[Requirement::from_memory(
                Rule::Band { limit: 0.015 },
                "BS 8204",
            )],
        },
    ],
};

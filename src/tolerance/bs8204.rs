//! BS 8204, screeds, bases and in situ floorings, and BS 5385-3, floor tiling (United Kingdom).
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
                Rule::Band {
                    datum: None,
                    limit: 0.015,
                },
                "BS 8204",
            )],
        },
        Row {
            name: "BS8204-STEP",
            title: "abrupt steps at joints, for thin finishes",
            requirements: &[Requirement::from_memory(
                Rule::Step {
                    within: NEXT,
                    limit: 0.001,
                },
                "BS 8204-1",
            )],
        },
    ],
};

/// Floors to take tile.
pub const TILING: Standard = Standard {
    name: "BS 5385-3",
    rows: &[Row {
        name: "BS5385",
        title: "floor to take bedded tile",
        requirements: &[Requirement::from_memory(
            Rule::Straightedge {
                length: 2.0,
                limit: 0.003,
            },
            "BS 5385-3",
        )],
    }],
};

/// Two sides of a joint are no farther apart than this, m: our own choice, the width of a joint and a hand-laid gauge.
const NEXT: f64 = 0.05;

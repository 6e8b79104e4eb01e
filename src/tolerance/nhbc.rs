//! NHBC Standards, new homes (United Kingdom): floors.
//!
//! Flatness is measured by a straightedge with equal offsets, so on equal feet; the feet are taken to stand at its ends.

use super::{Allowed, Requirement, Row, Rule, Standard};

const SOURCE: &str = "nhbc-standards.co.uk, NHBC Standards 2020, 9.1.5";

/// Flatness and level.
pub const STANDARD: Standard = Standard {
    name: "NHBC Standards 2020",
    rows: &[
        Row {
            name: "NHBC",
            title: "new homes, flatness",
            requirements: &[Requirement::read(
                Rule::EndShims {
                    length: 2.0,
                    limit: 0.005,
                },
                SOURCE,
            )],
        },
        Row {
            name: "NHBC-LEVEL",
            title: "new homes, out of level",
            requirements: &[
                Requirement::read(
                    Rule::Level {
                        from: 1.0,
                        to: 6.0,
                        allowed: Allowed::Linear(0.0, 0.003),
                    },
                    SOURCE,
                ),
                Requirement::read(
                    Rule::Level {
                        from: 6.0,
                        to: f64::INFINITY,
                        allowed: Allowed::Fixed(0.020),
                    },
                    SOURCE,
                ),
            ],
        },
    ],
};

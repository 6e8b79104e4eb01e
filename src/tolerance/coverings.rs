//! What trades lay down for a floor that is to take wood.
//!
//! The "or" of a rule with two lengths is read as both.

use super::{Requirement, Row, Rule, Standard};

use crate::units::{FOOT, INCH};

const FLOORS_MAG: &str = "hardwoodfloorsmag.com, 7 December 2025";

/// Wood floors.
pub const WOOD: Standard = Standard {
    name: "wood flooring trade, United States",
    rows: &[
        Row {
            name: "WOOD-GLUED",
            title: "wood floors glued down or floating",
            requirements: &[
                Requirement::read(
                    Rule::Straightedge {
                        length: 10.0 * FOOT,
                        limit: 3.0 / 16.0 * INCH,
                    },
                    FLOORS_MAG,
                ),
                Requirement::read(
                    Rule::Straightedge {
                        length: 6.0 * FOOT,
                        limit: 0.125 * INCH,
                    },
                    FLOORS_MAG,
                ),
            ],
        },
        Row {
            name: "WOOD-NAILED",
            title: "wood floors nailed down",
            requirements: &[
                Requirement::read(
                    Rule::Straightedge {
                        length: 10.0 * FOOT,
                        limit: 0.25 * INCH,
                    },
                    FLOORS_MAG,
                ),
                Requirement::read(
                    Rule::Straightedge {
                        length: 6.0 * FOOT,
                        limit: 3.0 / 16.0 * INCH,
                    },
                    FLOORS_MAG,
                ),
            ],
        },
    ],
};

/// Maple sports floors.
pub const MAPLE: Standard = Standard {
    name: "maple flooring trade, United States",
    rows: &[Row {
        name: "MAPLE",
        title: "maple sports floors",
        requirements: &[Requirement::read(
            Rule::Straightedge {
                length: 10.0 * FOOT,
                limit: 0.125 * INCH,
            },
            "maplefloor.org, position statement",
        )],
    }],
};

/// Parquet.
pub const PARQUET: Standard = Standard {
    name: "parquet trade, Netherlands",
    rows: &[Row {
        name: "PARQUET-NL",
        title: "subfloor to take parquet",
        requirements: &[Requirement::read(
            Rule::Straightedge {
                length: 2.0,
                limit: 0.005,
            },
            "legvoorschriften.nl 8028-8030",
        )],
    }],
};

//! AMA Hus (Sweden): flatness of floors.
//!
//! A ± figure at a length is taken as the reading of a rule of that length on equal end shims; the excerpt does not
//! say so.

use super::{Requirement, Row, Rule, Standard};

const SOURCE: &str = "sakravatrum.gvk.se 4.5.1, citing AMA Hus table 43.DC/-1";

/// The three classes.
pub const STANDARD: Standard = Standard {
    name: "AMA Hus",
    rows: &[
        Row {
            name: "AMA-A+",
            title: "flatness",
            requirements: &[
                Requirement::read(
                    Rule::EndShims {
                        length: 0.25,
                        limit: 0.0010,
                    },
                    SOURCE,
                ),
                Requirement::read(
                    Rule::EndShims {
                        length: 2.0,
                        limit: 0.002,
                    },
                    SOURCE,
                ),
            ],
        },
        Row {
            name: "AMA-A",
            title: "flatness",
            requirements: &[
                Requirement::read(
                    Rule::EndShims {
                        length: 0.25,
                        limit: 0.0012,
                    },
                    SOURCE,
                ),
                Requirement::read(
                    Rule::EndShims {
                        length: 2.0,
                        limit: 0.003,
                    },
                    SOURCE,
                ),
            ],
        },
        Row {
            name: "AMA-B",
            title: "flatness",
            requirements: &[
                Requirement::read(
                    Rule::EndShims {
                        length: 0.25,
                        limit: 0.0012,
                    },
                    SOURCE,
                ),
                Requirement::read(
                    Rule::EndShims {
                        length: 2.0,
                        limit: 0.005,
                    },
                    SOURCE,
                ),
            ],
        },
    ],
};

//! TV 189 (NIT 189), floor screeds (Belgium).
//!
//! A ± figure under a rule is taken as its reading on equal end shims; the fact sheet does not say so.

use std::borrow::Cow;

use super::{Allowed, Requirement, Row, Rule, Standard};

const SOURCE: &str = "wtcb.be, fact sheet on screeds";

/// Screeds and base slabs.
pub const STANDARD: Standard = Standard {
    name: "TV 189",
    rows: &[
        Row {
            name: "TV189-1",
            title: "finished screed, class 1: tiles with a side of 300 mm or more",
            requirements: &[
                Requirement::read(
                    Rule::EndShims {
                        length: 1.0,
                        limit: 0.002,
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
            name: "TV189-2",
            title: "finished screed, class 2: where nothing else was agreed",
            requirements: &[
                Requirement::read(
                    Rule::EndShims {
                        length: 1.0,
                        limit: 0.003,
                    },
                    SOURCE,
                ),
                Requirement::read(
                    Rule::EndShims {
                        length: 2.0,
                        limit: 0.004,
                    },
                    SOURCE,
                ),
            ],
        },
        Row {
            name: "TV189-3",
            title: "finished screed, class 3",
            requirements: &[
                Requirement::read(
                    Rule::EndShims {
                        length: 1.0,
                        limit: 0.005,
                    },
                    SOURCE,
                ),
                Requirement::read(
                    Rule::EndShims {
                        length: 2.0,
                        limit: 0.006,
                    },
                    SOURCE,
                ),
            ],
        },
        Row {
            name: "TV189-BASE-1",
            title: "base slab, class 1",
            requirements: &[
                Requirement::read(
                    Rule::EndShims {
                        length: 1.0,
                        limit: 0.008,
                    },
                    SOURCE,
                ),
                Requirement::read(
                    Rule::EndShims {
                        length: 2.0,
                        limit: 0.009,
                    },
                    SOURCE,
                ),
            ],
        },
        Row {
            name: "TV189-BASE-2",
            title: "base slab, class 2",
            requirements: &[
                Requirement::read(
                    Rule::EndShims {
                        length: 1.0,
                        limit: 0.015,
                    },
                    SOURCE,
                ),
                Requirement::read(
                    Rule::EndShims {
                        length: 2.0,
                        limit: 0.017,
                    },
                    SOURCE,
                ),
            ],
        },
        Row {
            name: "TV189-LEVEL-1",
            title: "finished screed, level, class 1",
            requirements: &[level(&[(3.0, 0.006), (6.0, 0.008), (15.0, 0.010)])],
        },
        Row {
            name: "TV189-LEVEL-2",
            title: "finished screed, level, class 2",
            requirements: &[level(&[(3.0, 0.008), (6.0, 0.012), (15.0, 0.014)])],
        },
    ],
};

/// Any two places, the one being the reference of the other; the fact sheet goes as far as 15 m.
const fn level(steps: &'static [(f64, f64)]) -> Requirement {
    Requirement::read(
        Rule::Level {
            from: 0.0,
            to: 15.0,
            allowed: Allowed::Steps(Cow::Borrowed(steps)),
        },
        SOURCE,
    )
}

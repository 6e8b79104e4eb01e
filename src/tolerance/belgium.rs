//! TV 189 (NIT 189), floor screeds (Belgium).
//!
//! A ± figure under a rule is taken as its reading on equal end shims; the fact sheet does not say so.

use super::{Requirement, Row, Rule, Standard};

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
    ],
};

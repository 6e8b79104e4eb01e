//! NF DTU 13.3, concrete slabs, NF DTU 26.2, screeds, NF DTU 52.1, bedded tiling, NF DTU 52.2, bonded tiling (France).
//!
//! DTU 13.3 sets the rule on two shims at its ends; DTU 52.1 lays it freely on the covering. For DTU 26.2 and 52.2 figures and
//! the shims are from memory.

use super::{Allowed, Requirement, Row, Rule, Standard};

const SLABS: &str = "dtu.golgoth.org, NF DTU 13.3 P1-1-2 (December 2021), clauses 17.1 and 17.2";
const TILING: &str = "ffbatiment.fr, NF DTU 52.1, clauses 10.1 and 10.2";

/// Slabs.
pub const DTU_13_3: Standard = Standard {
    name: "NF DTU 13.3",
    rows: &[
        Row {
            name: "DTU13.3",
            title: "slab to take a bonded or decoupled covering",
            requirements: &[
                Requirement::read(
                    Rule::EndShims {
                        length: 2.0,
                        limit: 0.007,
                    },
                    SLABS,
                ),
                Requirement::read(
                    Rule::EndShims {
                        length: 0.2,
                        limit: 0.002,
                    },
                    SLABS,
                ),
            ],
        },
        Row {
            name: "DTU13.3-LEVEL",
            title: "slab, level",
            requirements: &[Requirement::read(
                Rule::Level {
                    from: 0.0,
                    to: f64::INFINITY,
                    allowed: Allowed::CubeRoot(0.010),
                },
                SLABS,
            )],
        },
    ],
};

/// Tiling.
pub const DTU_52_1: Standard = Standard {
    name: "NF DTU 52.1",
    rows: &[
        Row {
            name: "DTU52.1",
            title: "finished tiling; the tile's own tolerance comes on top",
            requirements: &[Requirement::read(
                Rule::Straightedge {
                    length: 2.0,
                    limit: 0.003,
                },
                TILING,
            )],
        },
        Row {
            name: "DTU52.1-LEVEL",
            title: "finished tiling, level, any place as the reference",
            requirements: &[Requirement::read(
                Rule::Level {
                    from: 0.0,
                    to: f64::INFINITY,
                    allowed: Allowed::Linear(0.005, 0.001),
                },
                TILING,
            )],
        },
    ],
};

/// A rule of 2 m and one of 0.20 m on end shims, from memory.
const fn from_memory(long: f64, short: f64, whose: &'static str) -> [Requirement; 2] {
    [
        Requirement::from_memory(
            Rule::EndShims {
                length: 2.0,
                limit: long,
            },
            whose,
        ),
        Requirement::from_memory(
            Rule::EndShims {
                length: 0.2,
                limit: short,
            },
            whose,
        ),
    ]
}

/// Screeds.
pub const DTU_26_2: Standard = Standard {
    name: "NF DTU 26.2",
    rows: &[Row {
        name: "DTU26.2",
        title: "screed to take a bonded covering",
        requirements: &from_memory(0.005, 0.001, "NF DTU 26.2"),
    }],
};

/// What bonded tile is laid on.
pub const DTU_52_2: Standard = Standard {
    name: "NF DTU 52.2",
    rows: &[
        Row {
            name: "DTU52.2",
            title: "support of bonded tile",
            requirements: &from_memory(0.005, 0.001, "NF DTU 52.2"),
        },
        Row {
            name: "DTU52.2-OLD",
            title: "support of bonded tile, older text",
            requirements: &from_memory(0.005, 0.002, "NF DTU 52.2, older text"),
        },
    ],
};

//! ACI 117 (concrete), ASTM F710 (concrete under resilient flooring), ANSI A108.02 (tile): straightedges, United States.
//!
//! Not here: ACI 117's F-numbers, and its limits for nine samples in ten: every place is held to the limit for all.

use super::{Requirement, Row, Rule, Standard};

use crate::units::{FOOT, INCH};

const ACI: &str = "ACI 117-10, straightedge method, limit for all samples";
const TILE: &str = "ceramictilefoundation.org, ultimate guide to underlayment for tile";

/// Concrete slabs.
pub const ACI_117: Standard = Standard {
    name: "ACI 117-10",
    rows: &[
        Row {
            name: "ACI117-CONVENTIONAL",
            title: "conventional slab",
            requirements: &[Requirement::from_memory(
                Rule::Straightedge {
                    length: 10.0 * FOOT,
                    limit: 0.75 * INCH,
                },
                ACI,
            )],
        },
        Row {
            name: "ACI117-MODERATE",
            title: "moderately flat slab",
            requirements: &[Requirement::from_memory(
                Rule::Straightedge {
                    length: 10.0 * FOOT,
                    limit: 0.625 * INCH,
                },
                ACI,
            )],
        },
        Row {
            name: "ACI117-FLAT",
            title: "flat slab",
            requirements: &[Requirement::from_memory(
                Rule::Straightedge {
                    length: 10.0 * FOOT,
                    limit: 0.375 * INCH,
                },
                ACI,
            )],
        },
    ],
};

/// Concrete to take resilient flooring.
pub const ASTM_F710: Standard = Standard {
    name: "ASTM F710",
    rows: &[Row {
        name: "F710",
        title: "concrete to take resilient flooring",
        requirements: &[
            Requirement::read(
                Rule::Straightedge {
                    length: 10.0 * FOOT,
                    limit: 3.0 / 16.0 * INCH,
                },
                "NFCA, ten-foot straightedge best practice, January 2023",
            ),
            Requirement::from_memory(
                Rule::Straightedge {
                    length: FOOT,
                    limit: INCH / 32.0,
                },
                "ASTM F710",
            ),
        ],
    }],
};

/// Subfloors to take tile.
pub const ANSI_A108: Standard = Standard {
    name: "ANSI A108.02",
    rows: &[
        Row {
            name: "A108-SMALL",
            title: "subfloor to take tile, all sides under 15 in",
            requirements: &[
                Requirement::read(
                    Rule::Straightedge {
                        length: 10.0 * FOOT,
                        limit: 0.25 * INCH,
                    },
                    TILE,
                ),
                Requirement::read(
                    Rule::Straightedge {
                        length: FOOT,
                        limit: INCH / 16.0,
                    },
                    TILE,
                ),
            ],
        },
        Row {
            name: "A108-LARGE",
            title: "subfloor to take tile, a side of 15 in or more",
            requirements: &[
                Requirement::read(
                    Rule::Straightedge {
                        length: 10.0 * FOOT,
                        limit: 0.125 * INCH,
                    },
                    TILE,
                ),
                Requirement::read(
                    Rule::Straightedge {
                        length: 2.0 * FOOT,
                        limit: INCH / 16.0,
                    },
                    TILE,
                ),
            ],
        },
    ],
};

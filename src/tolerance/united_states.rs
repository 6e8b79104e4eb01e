//! ACI 117 (concrete), ASTM F710 (concrete under resilient flooring), ANSI A108.02 (tile), NAHB (new homes): United States.
//!
//! ACI 117 has F-numbers or a straightedge. A local F-number is at least three fifths of the overall one (clause 4.8.5.3).
//! Not here: ACI 117's straightedge limits for nine samples in ten: every place is held to the limit for all.

use super::{Allowed, Part, Requirement, Row, Rule, Standard};

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

const ACI_F: &str = "page 117-42 of ACI 117-10, table 4.8.5.1 and clause 4.8.5.3";

/// A local F-number as a share of the overall one.
const LOCAL: f64 = 0.6;

/// What a slab's four F-numbers are to reach: flatness and levelness, overall and on the lowest line.
const fn f_numbers(ff: f64, fl: f64) -> [Requirement; 4] {
    const fn flat(part: Part, least: f64) -> Requirement {
        Requirement::read(Rule::FlatnessNumber { part, least }, ACI_F)
    }
    const fn level(part: Part, least: f64) -> Requirement {
        Requirement::read(Rule::LevelnessNumber { part, least }, ACI_F)
    }
    [
        flat(Part::Overall, ff),
        level(Part::Overall, fl),
        flat(Part::Local, LOCAL * ff),
        level(Part::Local, LOCAL * fl),
    ]
}

/// Concrete slabs, by F-numbers.
pub const ACI_117_F: Standard = Standard {
    name: "ACI 117-10, F-numbers",
    rows: &[
        Row {
            name: "ACI117-F20",
            title: "conventional slab: FF 20, FL 15",
            requirements: &f_numbers(20.0, 15.0),
        },
        Row {
            name: "ACI117-F25",
            title: "moderately flat slab: FF 25, FL 20",
            requirements: &f_numbers(25.0, 20.0),
        },
        Row {
            name: "ACI117-F35",
            title: "flat slab: FF 35, FL 25",
            requirements: &f_numbers(35.0, 25.0),
        },
        Row {
            name: "ACI117-F45",
            title: "very flat slab: FF 45, FL 35",
            requirements: &f_numbers(45.0, 35.0),
        },
        Row {
            name: "ACI117-F60",
            title: "super flat slab: FF 60, FL 40",
            requirements: &f_numbers(60.0, 40.0),
        },
    ],
};

const HOMES: &str = "hardwoodexpert.ahfproducts.com, citing NAHB";

/// Wood subfloors of new homes. The source does not say how the 1/4 in is measured: taken as a straightedge in contact.
pub const NAHB: Standard = Standard {
    name: "NAHB guidelines",
    rows: &[
        Row {
            name: "NAHB",
            title: "new homes, flatness",
            requirements: &[Requirement::read(
                Rule::Straightedge {
                    length: 32.0 * INCH,
                    limit: 0.25 * INCH,
                },
                HOMES,
            )],
        },
        Row {
            name: "NAHB-LEVEL",
            title: "new homes, out of level",
            requirements: &[Requirement::read(
                Rule::Level {
                    from: 0.0,
                    to: 20.0 * FOOT,
                    allowed: Allowed::Fixed(0.5 * INCH),
                },
                HOMES,
            )],
        },
    ],
};

//! AS 1884 (resilient coverings) and AS 3958 (tile): straightedges, Australia.
//!
//! AS 1884's abrupt deviation is what a 150 mm straightedge finds.

use super::{Requirement, Row, Rule, Standard};

const CLAUSE: &str = "spaspecialcommitteesibu.com, excerpt of clause 3.1.4";

/// Subfloors to take resilient coverings.
pub const AS_1884: Standard = Standard {
    name: "AS 1884:2021",
    rows: &[Row {
        name: "AS1884",
        title: "subfloor to take resilient flooring",
        requirements: &[
            Requirement::read(
                Rule::Straightedge {
                    length: 2.0,
                    limit: 0.004,
                },
                CLAUSE,
            ),
            Requirement::read(
                Rule::Straightedge {
                    length: 0.15,
                    limit: 0.0005,
                },
                CLAUSE,
            ),
        ],
    }],
};

/// Subfloors to take tile.
pub const AS_3958: Standard = Standard {
    name: "AS 3958",
    rows: &[
        Row {
            name: "AS3958-2007",
            title: "subfloor to take tile",
            requirements: &[Requirement::from_memory(
                Rule::Straightedge {
                    length: 2.0,
                    limit: 0.004,
                },
                "AS 3958.1:2007",
            )],
        },
        Row {
            name: "AS3958-LARGE",
            title: "tiles over 400 mm",
            requirements: &[Requirement::read(
                Rule::Straightedge {
                    length: 3.0,
                    limit: 0.003,
                },
                "elyment.com.au, a contractor's page: a weak source",
            )],
        },
    ],
};

//! DIN 18202, tolerances in building construction (Germany): floors.
//!
//! Flatness (table 3): a lath across two high places; the limit follows from the distance between them. The grid method
//! is the other way to measure it: a node against the mean of its neighbours, a 1 m grid being held to the limit at
//! 2 m. The two can differ on the same floor (read on bts-betontechnik.eu).
//! Level (table 2): the difference in height of two places by their distance.
//! Not here: rows 5 to 7, walls and soffits.

use std::borrow::Cow;

use super::{Allowed, Requirement, Row, Rule, Standard};

const FLATNESS: &str =
    "deploy.doczz.net/doc/5839552, table of the ZDB screed and flooring handbook";
const GRID: &str = "beaplan.de, grid method; limit of the table at 2 m";
const LEVEL: &str = "beaplan.de, citing table 2";

/// Row 1: distance and limit, m.
pub const ROW_1: &[(f64, f64)] = &[
    (0.1, 0.010),
    (1.0, 0.015),
    (4.0, 0.020),
    (10.0, 0.025),
    (15.0, 0.030),
];

/// Row 2: distance and limit, m.
pub const ROW_2: &[(f64, f64)] = &[
    (0.1, 0.005),
    (1.0, 0.008),
    (4.0, 0.012),
    (10.0, 0.015),
    (15.0, 0.020),
];

/// Row 3: distance and limit, m.
pub const ROW_3: &[(f64, f64)] = &[
    (0.1, 0.002),
    (1.0, 0.004),
    (4.0, 0.010),
    (10.0, 0.012),
    (15.0, 0.015),
];

/// Row 4: distance and limit, m.
pub const ROW_4: &[(f64, f64)] = &[
    (0.1, 0.001),
    (1.0, 0.003),
    (4.0, 0.009),
    (10.0, 0.012),
    (15.0, 0.015),
];

/// Flatness, rows 1 to 4, by the lath and by a grid.
pub const TABLE_3: Standard = Standard {
    name: "DIN 18202, table 3",
    rows: &[
        Row {
            name: "DIN18202-1",
            title: "unfinished tops of slabs and subfloors",
            requirements: &[Requirement::read(Rule::by_distance(ROW_1), FLATNESS)],
        },
        Row {
            name: "DIN18202-2",
            title: "unfinished, raised demands: to take floating screeds, tile beds",
            requirements: &[Requirement::read(Rule::by_distance(ROW_2), FLATNESS)],
        },
        Row {
            name: "DIN18202-3",
            title: "finished floors: screeds to take coverings, tiles",
            requirements: &[Requirement::read(Rule::by_distance(ROW_3), FLATNESS)],
        },
        Row {
            name: "DIN18202-4",
            title: "finished floors, raised demands",
            requirements: &[Requirement::read(Rule::by_distance(ROW_4), FLATNESS)],
        },
        Row {
            name: "DIN18202-1-GRID",
            title: "unfinished tops of slabs and subfloors, by a 1 m grid",
            requirements: &[Requirement::read(
                Rule::GridMethod {
                    pitch: 1.0,
                    limit: 0.017,
                },
                GRID,
            )],
        },
        Row {
            name: "DIN18202-2-GRID",
            title: "unfinished, raised demands: to take floating screeds, tile beds, by a 1 m grid",
            requirements: &[Requirement::read(
                Rule::GridMethod {
                    pitch: 1.0,
                    limit: 0.009,
                },
                GRID,
            )],
        },
        Row {
            name: "DIN18202-3-GRID",
            title: "finished floors: screeds to take coverings, tiles, by a 1 m grid",
            requirements: &[Requirement::read(
                Rule::GridMethod {
                    pitch: 1.0,
                    limit: 0.006,
                },
                GRID,
            )],
        },
        Row {
            name: "DIN18202-4-GRID",
            title: "finished floors, raised demands, by a 1 m grid",
            requirements: &[Requirement::read(
                Rule::GridMethod {
                    pitch: 1.0,
                    limit: 0.005,
                },
                GRID,
            )],
        },
    ],
};

/// Out of level.
pub const TABLE_2: Standard = Standard {
    name: "DIN 18202, table 2",
    rows: &[Row {
        name: "DIN18202-LEVEL",
        title: "out of level",
        requirements: &[Requirement::read(
            Rule::Level {
                from: 0.0,
                to: f64::INFINITY,
                allowed: Allowed::Steps(Cow::Borrowed(OUT_OF_LEVEL)),
            },
            LEVEL,
        )],
    }],
};

/// Up to each distance the largest difference in height, m.
const OUT_OF_LEVEL: &[(f64, f64)] = &[
    (0.5, 0.003),
    (1.0, 0.006),
    (3.0, 0.008),
    (6.0, 0.012),
    (15.0, 0.016),
    (30.0, 0.020),
    (f64::INFINITY, 0.030),
];

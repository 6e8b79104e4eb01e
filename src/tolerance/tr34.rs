//! TR34, 4th edition (2013), concrete industrial ground floors (United Kingdom): floors of free movement.
//!
//! Property E is the difference in height of neighbours on a 3 m grid, property F the change from one 300 mm difference to
//! the next; 95 % of the floor's are within the limit. The departure from the datum is from memory and measured from the
//! floor's mean level here.
//! Not here: floors of defined movement, and the strip along walls and columns that a surveyor leaves out: an outline
//! drawn inside it does that.

use super::{Requirement, Row, Rule, Standard};

const SOURCE: &str = "a tester's page quoting TR34, 4th edition, table 3.1";

/// Property E of a 3 m grid.
const fn e(limit: f64) -> Requirement {
    Requirement::read(Rule::Differences { apart: 3.0, limit }, SOURCE)
}

/// Property F over 300 mm.
const fn f(limit: f64) -> Requirement {
    Requirement::read(Rule::SecondDifferences { apart: 0.3, limit }, SOURCE)
}

const DATUM: Requirement = Requirement::from_memory(
    Rule::Band {
        datum: None,
        limit: 0.015,
    },
    "TR34",
);

/// The four classes.
pub const STANDARD: Standard = Standard {
    name: "TR34, 4th edition",
    rows: &[
        Row {
            name: "FM1",
            title: "free movement, class 1",
            requirements: &[e(0.0045), f(0.0018), DATUM],
        },
        Row {
            name: "FM2",
            title: "free movement, class 2",
            requirements: &[e(0.0065), f(0.0020), DATUM],
        },
        Row {
            name: "FM3",
            title: "free movement, class 3: shops, covering laid on the slab",
            requirements: &[e(0.008), f(0.0022), DATUM],
        },
        Row {
            name: "FM4",
            title: "free movement, class 4: shops, to take a screed",
            requirements: &[e(0.010), f(0.0024), DATUM],
        },
    ],
};

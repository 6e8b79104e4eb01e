//! Levelling as JSON: the reduced book, the ties between set-ups, the two-peg test.
//!
//! In: reductions, networks and two-peg tests. Out: serialisable documents, heights and readings in millimetres.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Input, inputs, mm, rounded};
use crate::findings;
use crate::flatness::instrument::InstrumentLimit;
use crate::flatness::verdict::Verdict;
use crate::output::words;
use crate::survey::setups::Network;
use crate::survey::two_peg::{PegSetUp, TwoPeg};
use crate::survey::{ReducedRow, Reduction};

/// A level book, reduced by height of collimation and by rise and fall.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LevelBook {
    file: String,
    setups: u64,
    rows: Vec<BookRow>,
    back_sights_mm: f64,
    fore_sights_mm: f64,
    rises_mm: f64,
    falls_mm: f64,
    /// Last level less first: equal to back sights less fore sights and to rises less falls.
    difference_mm: f64,
    /// Level found for the last point less the known one.
    misclosure_mm: Option<f64>,
    allowance_mm: Option<f64>,
    /// Whether the misclosure is within the allowance, and has been taken off.
    distributed: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    misclosure_mm_reason: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    allowance_mm_reason: Option<&'static str>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct BookRow {
    point: String,
    back_sight_mm: Option<f64>,
    intermediate_sight_mm: Option<f64>,
    fore_sight_mm: Option<f64>,
    /// Height of the line of sight that starts here.
    collimation_mm: Option<f64>,
    /// Above the point before; negative for a fall.
    rise_mm: Option<f64>,
    level_mm: f64,
    adjusted_mm: f64,
}

pub(super) fn book(book: &Reduction) -> LevelBook {
    let row = |row: &ReducedRow| BookRow {
        point: row.point.clone(),
        back_sight_mm: row.sights.back().map(mm),
        intermediate_sight_mm: row.sights.intermediate().map(mm),
        fore_sight_mm: row.sights.fore().map(mm),
        collimation_mm: row.collimation.map(mm),
        rise_mm: row.rise.map(mm),
        level_mm: mm(row.level),
        adjusted_mm: mm(row.adjusted),
    };
    let unknown = book.closing.is_none().then_some(words::NO_CLOSING);
    LevelBook {
        file: book.file.clone(),
        setups: book.setups as u64,
        rows: book.rows.iter().map(row).collect(),
        back_sights_mm: mm(book.back_sights),
        fore_sights_mm: mm(book.fore_sights),
        rises_mm: mm(book.rises),
        falls_mm: mm(book.falls),
        difference_mm: mm(book.difference()),
        misclosure_mm: book.closing.map(|closing| mm(closing.misclosure)),
        allowance_mm: book.closing.map(|closing| mm(closing.allowance)),
        distributed: book.closing.is_some_and(|closing| closing.closes()),
        misclosure_mm_reason: unknown,
        allowance_mm_reason: unknown,
    }
}

/// Set-ups brought to the line of sight of the first by the points that they share.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SetUps {
    setups: Vec<SetUp>,
    /// Readings beyond those that the unknowns need.
    redundancy: u64,
    /// Standard deviation of one reading that the residuals imply.
    scatter_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    scatter_mm_reason: Option<&'static str>,
    /// Every reading of a point that was read more than once.
    shared: Vec<Tie>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct SetUp {
    setup: String,
    /// Height of its line of sight over that of the first.
    height_mm: f64,
    readings: u64,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Tie {
    point: String,
    setup: String,
    /// The reading less the adjusted one, as a height.
    residual_mm: f64,
    /// How far other readings check it, from 0 to 1.
    redundancy: f64,
}

pub(super) fn setups(network: &Network) -> SetUps {
    let setup = |setup: &crate::survey::setups::SetUp| SetUp {
        setup: setup.name.clone(),
        height_mm: mm(setup.height),
        readings: setup.readings as u64,
    };
    let shared = network.shared().map(|(point, setup, tie)| Tie {
        point: point.name.clone(),
        setup: setup.name.clone(),
        residual_mm: mm(tie.residual),
        redundancy: rounded(tie.redundancy),
    });
    SetUps {
        setups: network.setups.iter().map(setup).collect(),
        redundancy: network.redundancy as u64,
        scatter_mm: network.scatter.map(mm),
        scatter_mm_reason: network.scatter.is_none().then_some(words::NO_REDUNDANCY),
        shared: shared.collect(),
    }
}

/// What `lowspot level-check --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LevelCheck {
    /// Version of lowspot.
    lowspot: &'static str,
    inputs: Vec<Input>,
    /// What the line of sight rises; negative where it falls.
    collimation_mm_per_m: f64,
    collimation_mm_in_30_m: f64,
    u_mm_per_m: f64,
    reading_u_mm: f64,
    /// First peg less second, as a level instrument reads them.
    true_difference_mm: f64,
    setups: Vec<TestSetUp>,
    limits: Vec<Limit>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct TestSetUp {
    setup: String,
    difference_mm: f64,
    readings: Vec<PegReading>,
}

impl TestSetUp {
    fn new(test: &TwoPeg, setup: &PegSetUp) -> Self {
        let readings = setup.readings.iter().map(|reading| PegReading {
            peg: reading.peg.clone(),
            staff_mm: mm(reading.staff),
            sight_m: rounded(reading.sight),
            corrected_mm: mm(test.corrected(reading)),
        });
        Self {
            setup: setup.name.clone(),
            difference_mm: mm(setup.difference()),
            readings: readings.collect(),
        }
    }
}

#[derive(Debug, Serialize, JsonSchema)]
struct PegReading {
    peg: String,
    staff_mm: f64,
    sight_m: f64,
    /// What a level instrument would have read.
    corrected_mm: f64,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Limit {
    limit: &'static str,
    limit_mm_per_m: f64,
    /// "within", "outside" or "undecided"
    verdict: &'static str,
    source: &'static str,
}

/// The document of `level-check`.
pub fn level_check(found: &findings::LevelCheck) -> LevelCheck {
    let test = &found.test;
    let setup = |setup| TestSetUp::new(test, setup);
    let limit = |(limit, verdict): &(InstrumentLimit, Verdict)| Limit {
        limit: limit.title,
        limit_mm_per_m: mm(limit.rate),
        verdict: verdict.word(),
        source: limit.source,
    };
    LevelCheck {
        lowspot: env!("CARGO_PKG_VERSION"),
        inputs: inputs(std::slice::from_ref(&found.input)),
        collimation_mm_per_m: mm(test.collimation),
        collimation_mm_in_30_m: mm(30.0 * test.collimation),
        u_mm_per_m: mm(test.u(found.u)),
        reading_u_mm: mm(found.u),
        true_difference_mm: mm(test.true_difference),
        setups: test.setups.iter().map(setup).collect(),
        limits: found.limits.iter().map(limit).collect(),
    }
}

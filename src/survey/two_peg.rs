//! The two-peg test: by how much an instrument's line of sight is not level.
//!
//! In: delimited text with columns `setup`, `point`, `staff` and `sight` (distance from the instrument), four rows: two
//! pegs, each read from two set-ups, one midway between them, one near a peg. Out: [`TwoPeg`].
//!
//! Sign: the collimation c is what the line of sight rises in a metre, so that a staff at distance D reads c D too high.
//! The difference of the two readings of a set-up is then the true difference + c (difference of its two sights), and two
//! set-ups give both. With equal sights c falls out, which is why one set-up is midway; it need not be exactly so.
//! The curvature of the earth is left out: D² / (2 · 6371 km), 0.2 mm at 50 m.

use crate::error::{Error, Result};
use crate::survey::Source;
use crate::survey::delimited::{Row, Table, count, shown};
use crate::survey::heading::{
    Column, Heading, POINT_NAMES, SETUP_NAMES, SIGHT_NAMES, STAFF_NAMES, measured_column, needed,
    only, plan_column,
};
use crate::units::{LengthUnit, System};

/// Pegs may be called so too.
const PEG_NAMES: &[&str] = &["peg"];
/// Sights may be called so too.
const DISTANCE_NAMES: &[&str] = &["distance"];
/// Two set-ups whose differences of sights are closer than this tell nothing, m.
const ALIKE: f64 = 1.0;

/// A reading of the test.
#[derive(Debug, Clone, PartialEq)]
pub struct PegReading {
    /// The peg that the staff stood on.
    pub peg: String,
    /// What was read, m.
    pub staff: f64,
    /// Distance between instrument and staff, m.
    pub sight: f64,
}

/// A set-up of the test.
#[derive(Debug, Clone, PartialEq)]
pub struct PegSetUp {
    /// Its name.
    pub name: String,
    /// Its readings of the first peg and of the second.
    pub readings: [PegReading; 2],
}

impl PegSetUp {
    /// Reading of the first peg less that of the second, m.
    pub fn difference(&self) -> f64 {
        let [first, second] = &self.readings;
        first.staff - second.staff
    }

    /// Sight to the first peg less that to the second, m.
    fn sights(&self) -> f64 {
        let [first, second] = &self.readings;
        first.sight - second.sight
    }
}

/// A two-peg test.
#[derive(Debug, Clone, PartialEq)]
pub struct TwoPeg {
    /// As read.
    pub setups: [PegSetUp; 2],
    /// What a level instrument would read on the first peg less what it would read on the second, m.
    pub true_difference: f64,
    /// What the line of sight rises in a metre, m; negative where it falls.
    pub collimation: f64,
    /// The distance over which the test shows it, m.
    pub base: f64,
}

impl TwoPeg {
    /// Standard uncertainty of the collimation, where one reading has the standard uncertainty `u`, m.
    pub fn u(&self, u: f64) -> f64 {
        // Four readings, each with weight one over the base.
        2.0 * u / self.base
    }

    /// What a level instrument would have read, m.
    pub fn corrected(&self, reading: &PegReading) -> f64 {
        reading.staff - self.collimation * reading.sight
    }
}

/// Reads a two-peg test; `units` is for staff readings whose header has no unit.
///
/// # Errors
/// [`Error::Read`]; [`Error::Input`] with the line for a column missing or without its unit, a cell that is no number,
/// anything but two set-ups with a reading of the same two pegs each, and set-ups whose sights differ alike.
pub fn read(source: &Source, units: Option<LengthUnit>) -> Result<TwoPeg> {
    test(Table::open(source)?, units)
}

fn test(mut table: Table, units: Option<LengthUnit>) -> Result<TwoPeg> {
    let columns = Columns::find(&table, units)?;
    let mut rows: Vec<(String, PegReading)> = Vec::new();
    while let Some(row) = table.next_row()? {
        rows.push(columns.reading(&mut table, &row)?);
        if rows.len() > 4 {
            return Err(not_two_by_two(&table, "more than 4 readings"));
        }
    }
    let [(one, first), (a, second), (other, third), (b, fourth)] =
        <[_; 4]>::try_from(by_setup(rows))
            .map_err(|rows| not_two_by_two(&table, &count(rows.len(), "reading")))?;
    if one != a || other != b || one == other {
        let names = [&one, &a, &other, &b].map(|name| shown(name));
        let found = format!("the set-ups {}", names.join(", "));
        return Err(not_two_by_two(&table, &found));
    }
    let (third, fourth) = if third.peg == first.peg {
        (third, fourth)
    } else {
        (fourth, third)
    };
    if first.peg == second.peg || first.peg != third.peg || second.peg != fourth.peg {
        let pegs = [&first, &second, &third, &fourth].map(|reading| shown(&reading.peg));
        let found = format!("the pegs {}", pegs.join(", "));
        return Err(not_two_by_two(&table, &found));
    }
    let setup = |name, readings| PegSetUp { name, readings };
    let setups = [setup(one, [first, second]), setup(other, [third, fourth])];
    solve(&table, setups)
}

fn solve(table: &Table, setups: [PegSetUp; 2]) -> Result<TwoPeg> {
    let [one, other] = &setups;
    let base = other.sights() - one.sights();
    if base.abs() < ALIKE {
        let [of_one, of_other] = [one, other].map(|setup| System::Metric.plan(setup.sights()));
        let found = format!("sights that differ by {of_one} and {of_other}");
        let wanted = "one set-up midway between the pegs, the other near one of them";
        return Err(Error::input(table.file(), found, wanted));
    }
    let collimation = (other.difference() - one.difference()) / base;
    Ok(TwoPeg {
        true_difference: one.difference() - collimation * one.sights(),
        collimation,
        base: base.abs(),
        setups,
    })
}

/// The readings of the set-up that comes first, then those of the other.
fn by_setup(rows: Vec<(String, PegReading)>) -> Vec<(String, PegReading)> {
    let first = rows.first().map(|(setup, _)| setup.clone());
    let (mut of_first, of_others): (Vec<_>, Vec<_>) = rows
        .into_iter()
        .partition(|(setup, _)| Some(setup) == first.as_ref());
    of_first.extend(of_others);
    of_first
}

fn not_two_by_two(table: &Table, found: &str) -> Error {
    let wanted = "four rows: two pegs, each read once from two set-ups";
    Error::input(table.file(), found, wanted)
}

struct Columns {
    setup: usize,
    peg: usize,
    staff: Column,
    sight: Column,
}

impl Columns {
    fn find(table: &Table, units: Option<LengthUnit>) -> Result<Self> {
        let headings = Heading::all(table);
        let pegs = [POINT_NAMES, PEG_NAMES].concat();
        let sights = [SIGHT_NAMES, DISTANCE_NAMES].concat();
        let setup = only(table, &headings, SETUP_NAMES)?;
        let peg = only(table, &headings, &pegs)?;
        let staff = measured_column(table, &headings, STAFF_NAMES, units)?;
        let sight = plan_column(table, &headings, &sights)?;
        let wanted_staff = "a column staff or reading with its unit, such as staff_mm";
        let wanted_sight = "a column sight_m or distance_m: from the instrument to the staff";
        Ok(Self {
            setup: needed(table, setup, "a column setup")?,
            peg: needed(table, peg, "a column point or peg")?,
            staff: needed(table, staff, wanted_staff)?,
            sight: needed(table, sight, wanted_sight)?,
        })
    }

    fn reading(&self, table: &mut Table, row: &Row) -> Result<(String, PegReading)> {
        let reading = PegReading {
            peg: row.cell(self.peg).to_owned(),
            staff: table.distance(row, self.staff)?,
            sight: table.distance(row, self.sight)?,
        };
        Ok((row.cell(self.setup).to_owned(), reading))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_text(text: &str) -> Result<TwoPeg> {
        test(Table::from_bytes("pegs.csv", text.as_bytes())?, None)
    }

    /// A line of sight that falls 0.2 mm in a metre, pegs 0.300 m apart in height, neither set-up midway, rows in disorder.
    #[test]
    fn unequal_sights_give_the_same_collimation() {
        let text = "setup;peg;sight_m;reading_mm\nnear;B;30;1494\nmid;A;11;1297.8\nmid;B;9;1598.2\nnear;A;5;1199\n";
        let found = read_text(text).expect(text);
        assert!(
            (found.collimation + 0.0002).abs() < 1e-12,
            "{}",
            found.collimation
        );
        // B is read first: what a level instrument reads on B less what it reads on A, 1500 - 1200 and 1600 - 1300.
        assert_eq!(found.setups[0].readings[0].peg, "B");
        assert!((found.true_difference - 0.3).abs() < 1e-12);
        assert!((found.corrected(&found.setups[1].readings[1]) - 1.3).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_two_peg_test_is_refused() {
        let head = "setup,point,staff_m,sight_m\n";
        let cases = [
            (
                "I,A,1,20\nI,B,1,20\nII,A,1,5\n",
                "found 3 readings; wanted four rows",
            ),
            (
                "I,A,1,20\nI,B,1,20\nII,A,1,5\nIII,B,1,5\n",
                "the set-ups I, I, II, III",
            ),
            (
                "I,A,1,20\nI,B,1,20\nII,A,1,5\nII,C,1,5\n",
                "the pegs A, B, A, C",
            ),
            (
                "I,A,1,20\nI,A,1,20\nII,A,1,5\nII,A,1,5\n",
                "the pegs A, A, A, A",
            ),
            (
                "I,A,1,20\nI,B,1,20\nII,A,1,5\nII,B,1,5\n",
                "sights that differ by 0.00 m and 0.00 m",
            ),
            (
                "I,A,1,20\nI,B,1,-20\n",
                "line 3, column sight_m: found the distance -20; wanted 0 or more",
            ),
            (
                "I,A,1,1\nI,A,1,1\nI,A,1,1\nI,A,1,1\nI,A,1,1\n",
                "more than 4 readings",
            ),
        ];
        for (rows, message) in cases {
            let error = read_text(&format!("{head}{rows}"))
                .expect_err(rows)
                .to_string();
            assert!(error.contains(message), "{error}");
        }
        let error = read_text("setup,point,staff_m\n")
            .expect_err("no sight")
            .to_string();
        assert!(error.contains("a column sight_m or distance_m"), "{error}");
    }
}

//! A level book: point, back sight, intermediate sight, fore sight, and x and y of what is to be floor.
//!
//! In: delimited text with columns `bs` and `fs` (`backsight`, `foresight`), and `is` (`intermediate`), `point`, `x`, `y`,
//! `rl` or another height if there are any. Sights and levels carry a unit, or are in `--units`; x and y are metres. The
//! first row has a back sight, the last a fore sight, a change point both on one row. Readings below zero are those of a
//! staff held upside down.
//!
//! `rl` on the first or the last row only is a known level. On any other row it makes the column one of levels that the
//! user reduced by hand: each is held against lowspot's own, and the first that does not agree is an error with its line.
//! Then the first row's level is the one to start from, and a known level to close on stands in a column `known`.
//! `bs_sight`, `is_sight` and `fs_sight` are the sight lengths that `--collimation` needs.
//!
//! Out: a [`Reduction`], and as [`Readings`] the adjusted levels of the rows with x and y.

use crate::error::{Error, Place, Result, Warning};
use crate::survey::delimited::{self, Row, Table, count, shown};
use crate::survey::heading::{
    self, Column, HEIGHT_NAMES, Heading, POINT_NAMES, X_NAMES, Y_NAMES, measured_column,
    plan_column,
};
use crate::survey::reduction::{Reduction, Sights, reduce};
use crate::survey::{Content, Format, Options, Reading, Readings, Source};
use crate::units::{MILLIMETRE, System};

const BACK_NAMES: &[&str] = &["bs", "backsight"];
const INTERMEDIATE_NAMES: &[&str] = &["is", "intermediate", "intermediatesight"];
const FORE_NAMES: &[&str] = &["fs", "foresight"];
const KNOWN_NAMES: &[&str] = &["known", "knownlevel"];

/// A level reduced by hand agrees if it is off by no more than this: it is booked to the millimetre, m.
const AS_BOOKED: f64 = 0.5 * MILLIMETRE + 1e-9;

const WANTED_SIGHTS: &str = "columns bs_sight_m, is_sight_m and fs_sight_m for --collimation: distances from the \
                             instrument to the staff";

/// Level book.
pub const BOOK: Format = Format {
    name: "book",
    title: "level book",
    recognises,
    open,
};

/// Whether a file that starts with `head` is a level book: a header row with back sights or fore sights.
pub fn recognises(head: &[u8]) -> bool {
    delimited::first_row(head).is_some_and(|(_, row)| {
        let mut headings = row.texts().map(Heading::parse);
        headings.any(|heading| heading.is(BACK_NAMES) || heading.is(FORE_NAMES))
    })
}

/// Opens a level book.
///
/// # Errors
/// As [`read`].
pub fn open(source: &Source, options: &Options) -> Result<Content> {
    read(Table::open(source)?, options).map(Content::Readings)
}

/// Reads and reduces a level book.
///
/// # Errors
/// [`Error::Input`] with the line and the column: a column missing or without its unit, a cell that is no number, a
/// sight where none can be or missing where one must be, a level that does not agree with the sights.
pub fn read(mut table: Table, options: &Options) -> Result<Readings> {
    let headings = Heading::all(&table);
    let columns = Columns::find(&table, &headings, options)?;
    let mut warnings = heading::unread_measurements(&table, &headings, &columns.read());
    let mut rows = Vec::new();
    while let Some(row) = table.next_row()? {
        table.room_for_one_more(rows.len(), &row)?;
        rows.push(row);
    }
    let book = Book {
        columns: &columns,
        rows: &rows,
    };
    let sights = book.sights(&mut table)?;
    let (first, last) = book.known(&mut table)?;
    let reduction = reduce(&table.file().file, &sights, first, last);
    // Levels reduced by hand are not corrected for the line of sight, and cannot agree with corrected ones.
    if options.collimation.is_none() {
        book.agree(&mut table, &reduction)?;
    }
    warnings.extend(closing(&reduction));
    Ok(Readings {
        readings: book.readings(&mut table, &reduction)?,
        staff: false,
        warnings,
        book: Some(reduction),
    })
}

/// Which columns are read.
struct Columns {
    point: Option<usize>,
    back: Column,
    intermediate: Option<Column>,
    fore: Column,
    level: Option<Column>,
    known: Option<Column>,
    plan: Option<(Column, Column)>,
    /// Sight lengths of the back, intermediate and fore sights.
    sights: [Option<Column>; 3],
    collimation: Option<f64>,
}

impl Columns {
    fn find(table: &Table, headings: &[Heading], options: &Options) -> Result<Self> {
        let measured = |names: &[&str]| measured_column(table, headings, names, options.units);
        let plan = |names: &[&str]| plan_column(table, headings, names);
        let needed = |names: &[&str]| {
            let wanted = format!("a column {} with its unit, as in bs_m", names.join(" or "));
            heading::needed(table, measured(names)?, wanted)
        };
        let (x, y) = (plan(X_NAMES)?, plan(Y_NAMES)?);
        if x.is_some() != y.is_some() {
            let names = if x.is_none() { X_NAMES } else { Y_NAMES };
            heading::needed(table, None::<Column>, heading::wanted_on_the_plan(names))?;
        }
        Ok(Self {
            point: heading::only(table, headings, POINT_NAMES)?,
            back: needed(BACK_NAMES)?,
            intermediate: measured(INTERMEDIATE_NAMES)?,
            fore: needed(FORE_NAMES)?,
            level: measured(&[HEIGHT_NAMES, &["reducedlevel"]].concat())?,
            known: measured(KNOWN_NAMES)?,
            plan: x.zip(y),
            sights: [
                plan(&["bssight"])?,
                plan(&["issight"])?,
                plan(&["fssight"])?,
            ],
            collimation: options.collimation,
        })
    }

    fn read(&self) -> Vec<usize> {
        let (x, y) = self.plan.unzip();
        let numbers = [
            Some(self.back),
            self.intermediate,
            Some(self.fore),
            self.level,
            self.known,
            x,
            y,
        ];
        let numbers = numbers.into_iter().chain(self.sights).flatten();
        numbers
            .map(|(column, _)| column)
            .chain(self.point)
            .collect()
    }
}

/// The number in a cell of an optional column, m; None for an empty cell.
fn optional(table: &mut Table, row: &Row, column: Option<Column>) -> Result<Option<f64>> {
    column
        .filter(|&(column, _)| !row.cell(column).is_empty())
        .map(|column| table.metres(row, column))
        .transpose()
}

/// A book as it stands in its file.
struct Book<'a> {
    columns: &'a Columns,
    rows: &'a [Row],
}

impl Book<'_> {
    /// The rows between the first and the last.
    fn inner(&self) -> impl Iterator<Item = &Row> {
        self.rows.iter().skip(1).rev().skip(1).rev()
    }

    /// What was read, row by row, with the name of the point.
    fn sights(&self, table: &mut Table) -> Result<Vec<(String, Sights)>> {
        if self.rows.len() < 2 {
            let wanted = "two at least: a back sight and a fore sight";
            let found = count(self.rows.len(), "row");
            return Err(Error::input(table.file(), found, wanted));
        }
        let mut sights = Vec::new();
        for (number, row) in self.rows.iter().enumerate() {
            let point = self.columns.point.map_or("", |column| row.cell(column));
            let of_row = self.sights_of(table, number, row)?;
            sights.push((point.to_owned(), of_row));
        }
        Ok(sights)
    }

    fn sights_of(&self, table: &mut Table, number: usize, row: &Row) -> Result<Sights> {
        let columns = self.columns;
        let [back, intermediate, fore] = columns.sights;
        let back = self.sight(table, row, Some(columns.back), back)?;
        let intermediate = self.sight(table, row, columns.intermediate, intermediate)?;
        let fore = self.sight(table, row, Some(columns.fore), fore)?;
        let last = number + 1 == self.rows.len();
        let wanted = match (number, back, intermediate, fore) {
            (0, Some(back), None, None) => return Ok(Sights::Back(back)),
            (0, ..) => "a back sight alone on the first row",
            (_, None, None, Some(fore)) if last => return Ok(Sights::Fore(fore)),
            _ if last => "a fore sight alone on the last row",
            (_, None, Some(sight), None) => return Ok(Sights::Intermediate(sight)),
            (_, Some(back), None, Some(fore)) => return Ok(Sights::Change { fore, back }),
            _ => {
                "an intermediate sight, or the fore sight and the back sight of a change point, both on one row"
            }
        };
        let named = [
            (back, "a back sight"),
            (intermediate, "an intermediate sight"),
            (fore, "a fore sight"),
        ];
        let found: Vec<_> = named
            .iter()
            .filter_map(|(sight, name)| sight.map(|_| *name))
            .collect();
        let found = if found.is_empty() {
            "no sight".to_owned()
        } else {
            found.join(" and ")
        };
        let place = Place::line(table.file().file, row.line);
        Err(Error::input(place, found, wanted))
    }

    /// A sight, m, corrected for the line of sight if that was asked for.
    fn sight(
        &self,
        table: &mut Table,
        row: &Row,
        column: Option<Column>,
        length: Option<Column>,
    ) -> Result<Option<f64>> {
        let Some(sight) = optional(table, row, column)? else {
            return Ok(None);
        };
        let Some(collimation) = self.columns.collimation else {
            return Ok(Some(sight));
        };
        let length = heading::needed(table, length, WANTED_SIGHTS)?;
        Ok(Some(sight - collimation * table.distance(row, length)?))
    }

    /// Whether the levels in the book are those that the user reduced by hand.
    fn by_hand(&self) -> bool {
        let level = self.columns.level;
        let filled = |row: &Row| level.is_some_and(|(column, _)| !row.cell(column).is_empty());
        self.columns.known.is_some() || self.inner().any(filled)
    }

    /// The known levels of the first and the last point, m.
    fn known(&self, table: &mut Table) -> Result<(Option<f64>, Option<f64>)> {
        let (Some(first), Some(last)) = (self.rows.first(), self.rows.last()) else {
            return Ok((None, None));
        };
        let Columns { level, known, .. } = *self.columns;
        for row in self.inner() {
            if let (Some((column, _)), Some(_)) = (known, optional(table, row, known)?) {
                let found = format!("the known level {}", shown(row.cell(column)));
                let wanted = "known levels on the first and the last row only";
                return Err(Error::input(table.place(row, column), found, wanted));
            }
        }
        let of_first = optional(table, first, known)?.or(optional(table, first, level)?);
        if !self.by_hand() {
            return Ok((of_first, optional(table, last, level)?));
        }
        if let (Some((column, _)), None) = (level, of_first) {
            let wanted = "the level that the others start from";
            let place = table.place(first, column);
            return Err(Error::input(place, "an empty cell", wanted));
        }
        Ok((of_first, optional(table, last, known)?))
    }

    /// Holds the levels reduced by hand against `reduction`.
    fn agree(&self, table: &mut Table, reduction: &Reduction) -> Result<()> {
        let (Some((column, metres)), true) = (self.columns.level, self.by_hand()) else {
            return Ok(());
        };
        let mut back = None;
        for (row, reduced) in self.rows.iter().zip(&reduction.rows) {
            let booked = optional(table, row, self.columns.level)?;
            if booked.is_some_and(|booked| (booked - reduced.level).abs() > AS_BOOKED) {
                let found = format!(
                    "the level {}, which does not agree with {}",
                    shown(row.cell(column)),
                    self.named(back, row)
                );
                let right = as_written(reduced.level / metres);
                let wanted = format!("{right}, or the reading mended");
                return Err(Error::input(table.place(row, column), found, wanted));
            }
            if reduced.collimation.is_some() {
                back = Some(row);
            }
        }
        Ok(())
    }

    /// The sights that a level follows from, as they are written.
    fn named(&self, back: Option<&Row>, row: &Row) -> String {
        let cell = |row: &Row, (column, _): Column| shown(row.cell(column));
        let own = match self.columns.intermediate {
            Some(column) if !cell(row, column).is_empty() => {
                format!("intermediate sight {}", cell(row, column))
            }
            Some(_) | None => format!("fore sight {}", cell(row, self.columns.fore)),
        };
        match back {
            Some(back) => format!("back sight {} and {own}", cell(back, self.columns.back)),
            None => "the known level".to_owned(),
        }
    }

    /// The adjusted levels of the rows with x and y. Without a known level they have a zero of their own, which they
    /// share with no other file.
    fn readings(&self, table: &mut Table, reduction: &Reduction) -> Result<Vec<Reading>> {
        let mut readings = Vec::new();
        let Some((x, y)) = self.columns.plan else {
            return Ok(readings);
        };
        for (row, reduced) in self.rows.iter().zip(&reduction.rows) {
            if row.cell(x.0).is_empty() && row.cell(y.0).is_empty() {
                continue;
            }
            readings.push(Reading {
                name: Some(reduced.point.clone()).filter(|name| !name.is_empty()),
                x: table.number(row, x.0)? * x.1 + 0.0,
                y: table.number(row, y.0)? * y.1 + 0.0,
                z: reduced.adjusted,
                setup: (!reduction.datum).then(|| reduction.file.clone()),
            });
        }
        Ok(readings)
    }
}

/// A level with no more digits than a book has.
fn as_written(level: f64) -> String {
    let digits = format!("{level:.4}");
    digits
        .trim_end_matches('0')
        .trim_end_matches('.')
        .to_owned()
}

/// What the user should know of how a book closes.
fn closing(book: &Reduction) -> Option<Warning> {
    let (file, setups) = (&book.file, count(book.setups, "set-up"));
    let Some(closing) = book.closing else {
        let unchecked =
            format!("{file}: ends on no known level, so that nothing checks its {setups}");
        return (book.setups > 1).then_some(Warning(unchecked));
    };
    let misclosure = System::Metric.signed_height(closing.misclosure);
    let allowance = System::Metric.height(closing.allowance);
    Some(Warning(if closing.closes() {
        format!(
            "{file}: misclosure {misclosure} in {setups}, {allowance} allowed: taken off in equal parts"
        )
    } else {
        format!(
            "{file}: misclosure {misclosure} in {setups}, more than the {allowance} allowed: not taken off; look for a \
             misread sight, or level again"
        )
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_text(text: &str) -> Result<Readings> {
        read(
            Table::from_bytes("book.csv", text.as_bytes())?,
            &Options::default(),
        )
    }

    fn book(text: &str) -> Reduction {
        read_text(text).expect(text).book.expect("a reduction")
    }

    #[test]
    fn errors_name_the_row_and_the_fix() {
        let head = "point,bs_m,is_m,fs_m,known_m,rl_m\n";
        let cases = [
            ("A,1,,,,\n", "book.csv: found 1 row; wanted two at least"),
            (
                "A,,1,,,\nB,,,1,,\n",
                "line 2: found an intermediate sight; wanted a back sight alone on the first row",
            ),
            (
                "A,1,,,,\nB,1,,1,,\n",
                "line 3: found a back sight and a fore sight; wanted a fore sight alone on the last row",
            ),
            (
                "A,1,,,,\nB,,,1,,\nB,1,,,,\nC,,,1,,\n",
                "line 3: found a fore sight; wanted an intermediate sight, or the fore sight and the back sight of a change point, both on one row",
            ),
            (
                "A,1,,,,\nB,,,,,\nC,,,1,,\n",
                "line 3: found no sight; wanted an intermediate sight",
            ),
            (
                "A,1,,,,\nB,,1,,5,\nC,,,1,,\n",
                "line 3, column known_m: found the known level 5; wanted known levels on the first and the last row only",
            ),
            (
                "A,1,,,,\nB,,1,,,9\nC,,,1,,\n",
                "line 2, column rl_m: found an empty cell; wanted the level that the others start from",
            ),
            (
                "A,1,,,,10\nB,,1.2,,,9.799\nC,,,1,,\n",
                "line 3, column rl_m: found the level 9.799, which does not agree with back sight 1 and intermediate sight 1.2; wanted 9.8, or the reading mended",
            ),
        ];
        for (rows, message) in cases {
            let error = read_text(&format!("{head}{rows}"))
                .expect_err(rows)
                .to_string();
            assert!(error.contains(message), "{error}");
        }
        for (text, message) in [
            ("bs_m,is_m\n1,\n", "wanted a column fs or foresight"),
            ("bs,fs\n1,\n", "column bs: found no unit of length"),
            ("bs_m,fs_m,x\n1,,0\n", "wanted a column y or northing"),
        ] {
            let error = read_text(text).expect_err(text).to_string();
            assert!(error.contains(message), "{error}");
        }
    }

    #[test]
    fn levels_start_from_what_is_known() {
        let rows = |first: &str, last: &str, end: &str| {
            format!("point,bs_m,is_m,fs_m,rl_m\nA,1.5,,,{first}\nB,1.2,,1.0,\n{end},,,1.6,{last}\n")
        };
        let ends = |book: &Reduction| {
            let (Some(first), Some(last)) = (book.rows.first(), book.rows.last()) else {
                panic!("rows")
            };
            [first.level, last.level].map(|level| (level * 1000.0).round() as i64)
        };
        // The last point is 0.1 m above the first.
        assert_eq!(ends(&book(&rows("", "", "C"))), [0, 100]);
        assert_eq!(ends(&book(&rows("20", "", "C"))), [20000, 20100]);
        assert_eq!(ends(&book(&rows("", "20", "C"))), [19900, 20000]);
        assert_eq!(book(&rows("", "20", "C")).closing, None);
        // Back at the first point, 0.1 m is misclosure, whichever row its level stands on.
        for (first, last) in [("", ""), ("20", ""), ("", "20")] {
            let closing = book(&rows(first, last, "A")).closing.expect("a circuit");
            assert!((closing.misclosure - 0.1).abs() < 1e-12, "{first} {last}");
        }
    }

    #[test]
    fn a_book_without_a_known_level_has_a_zero_of_its_own() {
        let setup = |level: &str| {
            let text = format!("bs_m,fs_m,x,y,rl_m\n1,,0,0,{level}\n,2,1,0,\n");
            let read = read_text(&text).expect("a book");
            read.readings.first().and_then(|first| first.setup.clone())
        };
        assert_eq!(setup(""), Some("book.csv".to_owned()));
        assert_eq!(setup("3"), None);
    }

    /// A ceiling 2.4 m above a floor, the staff held upside down against it.
    #[test]
    fn readings_of_a_staff_upside_down_are_below_zero() {
        let text = "Back sight (mm);Intermediate (mm);Fore sight (mm)\n1300;;\n;-1100;\n;;1300\n";
        let levels: Vec<f64> = book(text)
            .rows
            .iter()
            .map(|row| (row.level * 1e3).round())
            .collect();
        assert_eq!(levels, [0.0, 2400.0, 0.0]);
    }

    #[test]
    fn only_books_are_recognised() {
        for yes in [
            "bs,fs\n",
            "Point;Back sight [m];IS;Foresight\n",
            "x,y,z,bs_m\n",
        ] {
            assert!(recognises(yes.as_bytes()), "{yes}");
        }
        for no in ["", "x,y,staff_mm\n", "point,is\n", "1 2 3\n"] {
            assert!(!recognises(no.as_bytes()), "{no}");
        }
    }
}

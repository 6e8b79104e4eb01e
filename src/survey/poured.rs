//! What is down already, as it was written down on site.
//!
//! In: delimited text with a column `batch` (its number in the plan), and if known `bags` (used for it, halves too), and
//! places where the depth was measured: `depth` with its unit, and `point` or `x` and `y`. A row may hold a batch, a
//! measured depth, or both. Out: [`Poured`].
//! Not here: what follows for the rest (see `pour::replan`).

use crate::error::{Error, Place, Result};
use crate::survey::Source;
use crate::survey::delimited::{Row, Table, shown};
use crate::survey::heading::{
    Column, Heading, POINT_NAMES, X_NAMES, Y_NAMES, measured_column, needed, only, plan_column,
};

/// More bags than this are in no mix.
const MOST_BAGS: f64 = 1e6;

/// Batches that are down, and depths that were measured in them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Poured {
    /// The batches, in the order of the file.
    pub batches: Vec<Down>,
    /// The depths.
    pub depths: Vec<MeasuredDepth>,
}

/// A batch that is down.
#[derive(Debug, Clone, PartialEq)]
pub struct Down {
    /// Its number in the plan, counted from 1.
    pub number: u64,
    /// Bags used for it, if they were counted.
    pub bags: Option<f64>,
    /// Where that stands.
    pub place: Place,
}

/// A depth measured where compound is down.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredDepth {
    /// Where it was measured.
    pub at: Spot,
    /// Depth of compound, m.
    pub depth: f64,
    /// Where that stands.
    pub place: Place,
}

/// Where a depth was measured.
#[derive(Debug, Clone, PartialEq)]
pub enum Spot {
    /// At the reading of this name.
    Point(String),
    /// At a place on the plan of the survey, m.
    Plan([f64; 2]),
}

/// The columns of the file.
struct Columns {
    batch: usize,
    bags: Option<usize>,
    point: Option<usize>,
    plan: Option<[Column; 2]>,
    depth: Option<Column>,
}

impl Poured {
    /// Reads what is down.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] with the line for a column missing or without its unit, a cell that is no number, a
    /// batch named twice, bags without a batch, a depth without a place, and a file without any batch.
    pub fn read(source: &Source) -> Result<Self> {
        Self::from_table(Table::open(source)?)
    }

    fn from_table(mut table: Table) -> Result<Self> {
        let columns = Columns::find(&table)?;
        let mut poured = Self::default();
        while let Some(row) = table.next_row()? {
            table.room_for_one_more(poured.batches.len() + poured.depths.len(), &row)?;
            let down = columns.down(&mut table, &row)?;
            if let Some(again) = down.iter().find(|one| poured.has(one.number)) {
                let found = format!("batch {} again", again.number);
                return Err(Error::input(again.place.clone(), found, "every batch once"));
            }
            let measured = columns.measured(&mut table, &row)?;
            if down.is_none() && measured.is_none() {
                let place = table.place(&row, columns.batch);
                let wanted = "the number of a batch, or a depth with its place";
                return Err(Error::input(place, "neither a batch nor a depth", wanted));
            }
            poured.batches.extend(down);
            poured.depths.extend(measured);
        }
        if poured.batches.is_empty() {
            let wanted = "the number of at least one batch that is down";
            return Err(Error::input(table.file(), "no batch", wanted));
        }
        Ok(poured)
    }

    fn has(&self, number: u64) -> bool {
        self.batches.iter().any(|down| down.number == number)
    }
}

impl Columns {
    fn find(table: &Table) -> Result<Self> {
        let headings = Heading::all(table);
        let named = |names| only(table, &headings, names);
        let x = plan_column(table, &headings, X_NAMES)?;
        let y = plan_column(table, &headings, Y_NAMES)?;
        Ok(Self {
            batch: needed(table, named(&["batch"])?, "a column batch")?,
            bags: named(&["bags"])?,
            point: named(POINT_NAMES)?,
            plan: x.zip(y).map(|(x, y)| [x, y]),
            depth: measured_column(table, &headings, &["depth"], None)?,
        })
    }

    fn down(&self, table: &mut Table, row: &Row) -> Result<Option<Down>> {
        let bags = match self.bags.filter(|&column| !row.cell(column).is_empty()) {
            Some(column) => Some((column, table.number(row, column)?)),
            None => None,
        };
        let place = table.place(row, self.batch);
        if row.cell(self.batch).is_empty() {
            return match bags {
                None => Ok(None),
                Some(_) => Err(Error::input(place, "bags of no batch", "its number")),
            };
        }
        let number = row
            .cell(self.batch)
            .parse()
            .ok()
            .filter(|number| *number > 0);
        let Some(number) = number else {
            let found = format!("'{}'", shown(row.cell(self.batch)));
            return Err(Error::input(place, found, "the number of a batch, from 1"));
        };
        match bags {
            Some((column, bags)) if !(bags > 0.0 && bags <= MOST_BAGS) => {
                let found = format!("{bags} bags");
                let wanted = "more than 0, or nothing where they were not counted";
                Err(Error::input(table.place(row, column), found, wanted))
            }
            Some(_) | None => Ok(Some(Down {
                number,
                bags: bags.map(|(_, bags)| bags),
                place,
            })),
        }
    }

    fn measured(&self, table: &mut Table, row: &Row) -> Result<Option<MeasuredDepth>> {
        let Some(depth) = self
            .depth
            .filter(|(column, _)| !row.cell(*column).is_empty())
        else {
            return Ok(None);
        };
        let place = table.place(row, depth.0);
        let point = self.point.map_or("", |column| row.cell(column));
        let at = match self.plan {
            _ if !point.is_empty() => Spot::Point(point.to_owned()),
            Some([x, y]) => Spot::Plan([table.metres(row, x)?, table.metres(row, y)?]),
            None => {
                let wanted = "a point, or x and y, beside it";
                return Err(Error::input(place, "a depth without a place", wanted));
            }
        };
        let depth = table.distance(row, depth)?;
        Ok(Some(MeasuredDepth { at, depth, place }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Poured> {
        Poured::from_table(Table::from_bytes("poured.csv", text.as_bytes())?)
    }

    #[test]
    fn batches_bags_and_depths() {
        let poured =
            read("batch,bags,x_m,y_m,depth_mm\n1,2,,,\n2,1.5,0.5,1,7.5\n,,0.5,2,8\n3,,,,\n")
                .expect("good");
        let batches: Vec<_> = poured.batches.iter().map(|b| (b.number, b.bags)).collect();
        assert_eq!(batches, [(1, Some(2.0)), (2, Some(1.5)), (3, None)]);
        let depths: Vec<_> = poured
            .depths
            .iter()
            .map(|d| (d.at.clone(), d.depth))
            .collect();
        assert_eq!(
            depths,
            [
                (Spot::Plan([0.5, 1.0]), 0.0075),
                (Spot::Plan([0.5, 2.0]), 0.008)
            ]
        );
        let points = read("batch;point;depth_mm\n1;B2;7,5\n").expect("good");
        assert_eq!(points.depths[0].at, Spot::Point("B2".to_owned()));
        assert_eq!(read("batch\n1\n2\n").expect("good").batches.len(), 2);
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line() {
        for (text, part) in [
            ("bags\n1\n", "a column batch"),
            ("batch,bags\n1,2\n1,2\n", "line 3"),
            ("batch,bags\n0,2\n", "from 1"),
            ("batch,bags\n1.5,2\n", "'1.5'"),
            ("batch,bags\n1,-1\n", "more than 0"),
            ("batch,bags\n1,two\n", "a number"),
            ("batch,bags\n,2\n", "bags of no batch"),
            ("batch,depth\n1,7\n", "no unit"),
            ("batch,depth_mm\n1,7\n", "without a place"),
            ("batch,point,depth_mm\n1,A,-7\n", "0 or more"),
            ("batch,point,depth_mm\n,A,7\n", "no batch"),
            ("batch,point,depth_mm\n,A,\n", "neither"),
        ] {
            let error = read(text).expect_err(text).to_string();
            assert!(error.contains(part), "{text}: {error}");
        }
    }
}

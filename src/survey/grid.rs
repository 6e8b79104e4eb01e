//! Readings as a grid: first row x, first column y, readings in the cells.
//!
//! In: delimited text. The corner cell says what the cells hold and in what unit, `staff_mm` or `height (mm)`; without a
//! unit there, `--units`. The distances in the first row and column are metres, unless the corner goes on to say
//! otherwise after a slash: `staff_in/xy_ft`. Rows and columns may stand in any order and at any spacing; an empty cell
//! was not measured. Out: [`Readings`] in metres, row by row, heights growing upwards.

use std::collections::HashMap;

use crate::error::{Error, Result};
use crate::survey::delimited::{self, Delimiter, Row, Table, decimal, shown};
use crate::survey::heading::{HEIGHT_NAMES, Heading, HeightScale, STAFF_NAMES};
use crate::survey::{Content, Options, Reading, Readings, Source};
use crate::units::LengthUnit;

const WANTED_CORNER: &str = "a corner cell that says what the cells hold and in what unit, such as staff_mm (grows \
                             downwards) or height_mm (grows upwards), or staff_in/xy_ft for plan distances in feet";

/// Whether a file that starts with `head` is a grid of readings: numbers along the first row after a corner cell that
/// names a quantity or a unit. An empty corner is a grid too, so that the error can say what is wanting.
pub fn recognises(head: &[u8]) -> bool {
    let Some((delimiter, row)) = delimited::first_row(head) else {
        return false;
    };
    let (corner, _) = corner(row.cell(0));
    let named = corner.is(HEIGHT_NAMES) || corner.is(STAFF_NAMES);
    let unit = corner.has_unit() || corner.name.parse::<LengthUnit>().is_ok();
    let number = |text| decimal(text, delimiter != Delimiter::Comma).is_some();
    row.width() > 1 && row.texts().skip(1).all(number) && (named || unit || corner.name.is_empty())
}

/// Opens a grid.
///
/// # Errors
/// As [`read`].
pub fn open(source: &Source, options: &Options) -> Result<Content> {
    read(Table::open(source)?, options).map(Content::Readings)
}

/// Reads a grid.
///
/// # Errors
/// [`Error::Input`] with the line and the column: a corner that does not say quantity and unit; a distance missing or
/// given twice; a cell that is no number; a staff reading below zero; no reading at all.
pub fn read(mut table: Table, options: &Options) -> Result<Readings> {
    let header = table.header().clone();
    let (scale, metres) = scales(&table, options.units)?;
    let mut seen = Seen::default();
    let mut xs = Vec::new();
    for column in 1..header.width() {
        xs.push((column, seen.distance(&mut table, &header, column, metres)?));
    }
    let mut seen = Seen::default();
    let mut readings = Vec::new();
    while let Some(row) = table.next_row()? {
        let y = seen.distance(&mut table, &row, 0, metres)?;
        for &(column, x) in &xs {
            if row.cell(column).is_empty() {
                continue;
            }
            table.room_for_one_more(readings.len(), &row)?;
            let value = table.number(&row, column)?;
            let z = scale.height(value, || table.place(&row, column))?;
            readings.push(Reading {
                name: None,
                x,
                y,
                z,
                setup: None,
            });
        }
    }
    if readings.is_empty() {
        return Err(Error::input(
            table.file(),
            "no reading",
            "at least one cell with a reading",
        ));
    }
    Ok(Readings {
        readings,
        staff: scale.staff,
        warnings: Vec::new(),
    })
}

/// The two halves of a corner cell: what the cells hold, and the plan's unit after a slash.
fn corner(text: &str) -> (Heading, Option<Heading>) {
    match text.split_once('/') {
        Some((cells, plan)) => (Heading::parse(cells), Some(Heading::parse(plan))),
        None => (Heading::parse(text), None),
    }
}

/// What the corner cell says: how the cells become heights, and the metres in the plan's unit.
fn scales(table: &Table, units: Option<LengthUnit>) -> Result<(HeightScale, f64)> {
    let (cells, plan) = corner(table.header().cell(0));
    let place = table.place(table.header(), 0);
    let wrong = || {
        let found = match table.header().cell(0) {
            "" => "an empty corner cell".to_owned(),
            text => format!("the corner cell '{}'", shown(text)),
        };
        Error::input(place.clone(), found, WANTED_CORNER)
    };
    let scale = HeightScale::of(&cells, &place, units)?.ok_or_else(wrong)?;
    let unit = match plan {
        None => LengthUnit::Metre,
        Some(plan) if plan.name == "xy" => plan.unit(&place)?.ok_or_else(wrong)?,
        Some(_) => return Err(wrong()),
    };
    Ok((scale, unit.metres()))
}

/// Distances that have been met, with the text they were written as.
#[derive(Default)]
struct Seen(HashMap<u64, String>);

impl Seen {
    /// The distance in a cell of the first row or column, m.
    fn distance(
        &mut self,
        table: &mut Table,
        row: &Row,
        column: usize,
        metres: f64,
    ) -> Result<f64> {
        // Zero is added so that minus zero is the same place as zero.
        let distance = table.number(row, column)? * metres + 0.0;
        match self
            .0
            .insert(distance.to_bits(), row.cell(column).to_owned())
        {
            None => Ok(distance),
            Some(before) => Err(Error::input(
                table.place(row, column),
                format!(
                    "the distance {} again, after '{}'",
                    row.cell(column),
                    before
                ),
                "each distance once",
            )),
        }
    }
}

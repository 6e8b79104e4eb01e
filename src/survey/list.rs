//! Readings as a list: a header row, then one reading a row.
//!
//! In: delimited text with a column `x` and `y` (or `easting` and `northing`) and one of height (`z`, `height`, `level`,
//! `rl`, `elevation`: grows upwards) or staff (`staff`, `reading`: grows downwards); `point` and `setup` if there are any.
//! Units stand in the header: `x_ft`, `staff_mm`, `height (mm)`. Plan columns without one are metres; a height column
//! without one is in `--units`, and without that it is an error. Out: [`Readings`] in metres, heights growing upwards.
//! Readings of several set-ups are not brought to one horizon here.

use crate::error::{Error, Place, Result, Warning};
use crate::survey::delimited::{self, Row, Table, count, shown};
use crate::survey::heading::Heading;
use crate::survey::heading::{self, HEIGHT_NAMES, HeightScale, STAFF_NAMES, X_NAMES, Y_NAMES};
use crate::survey::{Content, Options, Reading, Readings, Source};
use crate::units::{LengthUnit, System};

const POINT_NAMES: &[&str] = &["point"];
const SETUP_NAMES: &[&str] = &["setup"];

/// Columns that make a file a level book, a book of lines or a straightedge book.
const OTHER_BOOKS: &[&str] = &[
    "line",
    "station",
    "bs",
    "backsight",
    "is",
    "fs",
    "foresight",
    "azimuth",
    "gap",
];

/// Columns that only a scanner writes.
const SCAN_NAMES: &[&str] = &[
    "intensity",
    "i",
    "r",
    "g",
    "b",
    "red",
    "green",
    "blue",
    "nx",
    "ny",
    "nz",
    "classification",
    "gpstime",
    "offsettime",
    "returnnumber",
    "numberofreturns",
    "pointsourceid",
    "scananglerank",
    "scanangle",
    "userdata",
];

/// Whether a file that starts with `head` is a list of readings: a header row with x, y and something else, and none
/// of the columns of another book. Bare `x,y,z` with a scanner's columns beside it is a scan.
pub fn recognises(head: &[u8]) -> bool {
    let Some((_, row)) = delimited::first_row(head) else {
        return false;
    };
    let headings: Vec<_> = row.texts().map(Heading::parse).collect();
    let has = |names: &[&str]| headings.iter().any(|heading| heading.is(names));
    let scan = has(SCAN_NAMES) && !has(STAFF_NAMES) && !headings.iter().any(Heading::has_unit);
    headings.len() > 2 && has(X_NAMES) && has(Y_NAMES) && !has(OTHER_BOOKS) && !scan
}

/// Opens a list.
///
/// # Errors
/// As [`read`].
pub fn open(source: &Source, options: &Options) -> Result<Content> {
    read(Table::open(source)?, options).map(Content::Readings)
}

/// Reads a list.
///
/// # Errors
/// [`Error::Input`] with the line and the column: a column missing, given twice or without its unit; a cell that is no
/// number; a staff reading below zero; no reading at all.
pub fn read(mut table: Table, options: &Options) -> Result<Readings> {
    let headings = Heading::all(&table);
    let columns = Columns::find(&table, &headings, options.units)?;
    let mut warnings = unread_measurements(&table, &headings, &columns);
    let (mut readings, mut lines, mut without_height) = (Vec::new(), Vec::new(), Vec::new());
    while let Some(row) = table.next_row()? {
        table.room_for_one_more(readings.len(), &row)?;
        match columns.reading(&mut table, &row)? {
            Some(reading) => {
                readings.push(reading);
                lines.push(row.line);
            }
            None => without_height.push(row.line),
        }
    }
    if readings.is_empty() {
        return Err(Error::input(
            table.file(),
            "no reading",
            "at least one row with x, y and a height",
        ));
    }
    if let Some(first) = without_height.first() {
        let rows = count(without_height.len(), "row");
        warnings.push(Warning(format!(
            "{}: {rows} without a height left out, the first is line {first}",
            table.file()
        )));
    }
    warnings.extend(read_twice(&table.file(), &readings, &lines));
    Ok(Readings {
        readings,
        staff: columns.scale.staff,
        warnings,
    })
}

/// Which columns are read, and how.
struct Columns {
    x: (usize, f64),
    y: (usize, f64),
    height: usize,
    scale: HeightScale,
    point: Option<usize>,
    setup: Option<usize>,
}

impl Columns {
    fn find(table: &Table, headings: &[Heading], units: Option<LengthUnit>) -> Result<Self> {
        let height_names = [HEIGHT_NAMES, STAFF_NAMES].concat();
        let (height, scale) = match heading::only(table, headings, &height_names)? {
            Some(column) => (column, height_scale(table, headings, column, units)?),
            None => (0, None),
        };
        let scale = scale.ok_or_else(|| {
            missing(
                table,
                "a column of heights that says which way they run: z, height, level, rl or elevation (grows upwards), \
                 staff or reading (grows downwards), with its unit, such as staff_mm",
            )
        })?;
        Ok(Self {
            x: plan_column(table, headings, X_NAMES)?,
            y: plan_column(table, headings, Y_NAMES)?,
            height,
            scale,
            point: heading::only(table, headings, POINT_NAMES)?,
            setup: heading::only(table, headings, SETUP_NAMES)?,
        })
    }

    fn has(&self, column: usize) -> bool {
        [self.x.0, self.y.0, self.height].contains(&column)
            || self.point == Some(column)
            || self.setup == Some(column)
    }

    /// The reading of a row; None where no height was taken.
    fn reading(&self, table: &mut Table, row: &Row) -> Result<Option<Reading>> {
        let mut plan = |(column, metres): (usize, f64)| {
            // Zero is added so that minus zero is the same place as zero.
            table.number(row, column).map(|value| value * metres + 0.0)
        };
        let (x, y) = (plan(self.x)?, plan(self.y)?);
        if row.cell(self.height).is_empty() {
            return Ok(None);
        }
        let value = table.number(row, self.height)?;
        let z = self.scale.height(value, || table.place(row, self.height))?;
        let text = |column: Option<usize>| {
            let text = column.map(|column| row.cell(column))?;
            (!text.is_empty()).then(|| text.to_owned())
        };
        Ok(Some(Reading {
            name: text(self.point),
            x,
            y,
            z,
            setup: text(self.setup),
        }))
    }
}

fn height_scale(
    table: &Table,
    headings: &[Heading],
    column: usize,
    units: Option<LengthUnit>,
) -> Result<Option<HeightScale>> {
    let place = table.place(table.header(), column);
    match headings.get(column) {
        Some(heading) => HeightScale::of(heading, &place, units),
        None => Ok(None),
    }
}

/// The column of a plan position and the metres in its unit.
fn plan_column(table: &Table, headings: &[Heading], names: &[&str]) -> Result<(usize, f64)> {
    let column = heading::only(table, headings, names)?;
    let found = column.and_then(|column| Some((column, headings.get(column)?)));
    let (column, heading) = found.ok_or_else(|| {
        let wanted = format!(
            "a column {} (in metres, unless it says otherwise, as in x_ft)",
            names.join(" or ")
        );
        missing(table, &wanted)
    })?;
    let unit = heading.unit(&table.place(table.header(), column))?;
    Ok((column, unit.unwrap_or(LengthUnit::Metre).metres()))
}

fn missing(table: &Table, wanted: &str) -> Error {
    let names: Vec<_> = table.header().texts().collect();
    let place = Place::line(table.file().file, table.header().line);
    Error::input(
        place,
        format!("the columns {}", shown(&names.join(", "))),
        wanted,
    )
}

/// Warns of columns that look like a measurement and are not read: `z2_mm`, `height2`.
fn unread_measurements(table: &Table, headings: &[Heading], columns: &Columns) -> Vec<Warning> {
    let looks = |heading: &Heading| {
        let names = [HEIGHT_NAMES, STAFF_NAMES].concat();
        let mut long = names.iter().filter(|name| name.len() > 3);
        heading.has_unit() || long.any(|name| heading.name.starts_with(name))
    };
    headings
        .iter()
        .enumerate()
        .filter(|(column, heading)| !columns.has(*column) && looks(heading))
        .map(|(_, heading)| {
            Warning(format!(
                "{}: the column {} is not read",
                table.file(),
                shown(&heading.text)
            ))
        })
        .collect()
}

/// Warns of positions that were read more than once from one set-up, with different heights.
fn read_twice(file: &Place, readings: &[Reading], lines: &[u64]) -> Option<Warning> {
    let mut all: Vec<(&Reading, u64)> = readings.iter().zip(lines.iter().copied()).collect();
    all.sort_by(|(a, _), (b, _)| {
        a.x.total_cmp(&b.x)
            .then(a.y.total_cmp(&b.y))
            .then_with(|| a.setup.cmp(&b.setup))
            .then(a.z.total_cmp(&b.z))
    });
    let same = |a: &Reading, b: &Reading| a.x == b.x && a.y == b.y && a.setup == b.setup;
    let apart: Vec<_> = all
        .chunk_by(|(a, _), (b, _)| same(a, b))
        .filter_map(|group| Some((group.first()?, group.last()?)))
        .filter(|((low, _), (high, _))| high.z > low.z)
        .collect();
    let spread = |((low, _), (high, _)): &(&(&Reading, u64), &(&Reading, u64))| high.z - low.z;
    let worst = apart
        .iter()
        .max_by(|a, b| spread(a).total_cmp(&spread(b)))?;
    let ((low, low_line), (_, high_line)) = worst;
    Some(Warning(format!(
        "{file}: {} read more than once with different heights; lines {} and {} differ most, by {} at {}",
        count(apart.len(), "position"),
        low_line.min(high_line),
        low_line.max(high_line),
        System::Metric.height(spread(worst)),
        System::Metric.place(low.x, low.y),
    )))
}

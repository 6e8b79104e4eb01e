//! What stands above a column: a name, and perhaps a unit of length.
//!
//! In: `x_m`, `staff_mm`, `z ft`, `height (mm)`, `RL [m]`. Out: the name, the unit, and for a height which way it runs.
//! Which way a height runs, or in what unit, is never guessed.

use crate::error::{Error, Place, Result, Warning};
use crate::survey::delimited::{Table, shown};
use crate::survey::{FARTHEST, WITHIN_REACH};
use crate::units::LengthUnit;

/// Names of the plan position to the right, or east.
pub const X_NAMES: &[&str] = &["x", "easting"];
/// Names of the plan position upwards on the plan, or north.
pub const Y_NAMES: &[&str] = &["y", "northing"];
/// Names of a height, which grows upwards.
pub const HEIGHT_NAMES: &[&str] = &["z", "height", "level", "rl", "elevation"];
/// Names of a staff reading, which grows downwards.
pub const STAFF_NAMES: &[&str] = &["staff", "reading"];

/// Names of the distance between the instrument and the staff.
pub const SIGHT_NAMES: &[&str] = &["sight", "sightlength"];
/// Names of the point that was read.
pub const POINT_NAMES: &[&str] = &["point"];
/// Names of the set-up of the instrument it was read from.
pub const SETUP_NAMES: &[&str] = &["setup"];

/// The header of one column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heading {
    /// As it stands in the file.
    pub text: String,
    /// The name without its unit: small letters, and no spaces, hyphens or underscores.
    pub name: String,
    unit: Option<String>,
}

impl Heading {
    /// Takes `height (mm)`, `height_mm` or `height mm` apart. In brackets anything counts as a unit.
    pub fn parse(text: &str) -> Self {
        let small = text.trim().to_lowercase();
        let bracketed = small
            .strip_suffix([')', ']'])
            .and_then(|open| open.rsplit_once(['(', '[']));
        let hanging = small
            .rsplit_once(['_', ' '])
            .filter(|(_, unit)| unit.parse::<LengthUnit>().is_ok());
        let (name, unit) = match bracketed.or(hanging) {
            Some((name, unit)) => (name, Some(unit.trim().to_owned())),
            None => (small.as_str(), None),
        };
        Self {
            text: text.trim().to_owned(),
            name: name.replace([' ', '-', '_'], ""),
            unit,
        }
    }

    /// The headings of a table, in the order of its columns.
    pub fn all(table: &Table) -> Vec<Self> {
        table.header().texts().map(Self::parse).collect()
    }

    /// Whether it carries a unit, or what stands in the place of one.
    pub fn has_unit(&self) -> bool {
        self.unit.is_some()
    }

    /// Whether it is in degrees, or says no unit at all.
    pub fn in_degrees(&self) -> bool {
        let unit = self.unit.as_deref();
        unit.is_none_or(|unit| ["deg", "°", "degrees"].contains(&unit))
    }

    /// Whether its name is one of `names`.
    pub fn is(&self, names: &[&str]) -> bool {
        names.contains(&self.name.as_str())
    }

    /// The unit it carries.
    ///
    /// # Errors
    /// [`Error::Input`] at `place` for what is no unit of length.
    pub fn unit(&self, place: &Place) -> Result<Option<LengthUnit>> {
        let Some(unit) = &self.unit else {
            return Ok(None);
        };
        unit.parse().map(Some).map_err(|_| {
            let found = format!("the unit '{}'", shown(unit));
            Error::input(place.clone(), found, "mm, cm, m, in, ft or usft")
        })
    }

    /// The unit it carries, or `units`, which is what `--units` says.
    ///
    /// # Errors
    /// [`Error::Input`] at `place` where neither says one, and for what is no unit of length.
    pub fn unit_or(&self, units: Option<LengthUnit>, place: &Place) -> Result<LengthUnit> {
        self.unit(place)?.or(units).ok_or_else(|| {
            Error::input(
                place.clone(),
                "no unit of length",
                format!(
                    "the unit in the header, such as {}_mm, or --units mm (for scanned points, say so with --format)",
                    self.name
                ),
            )
        })
    }
}

/// A column of numbers: where it is, and the metres in its unit.
pub type Column = (usize, f64);

/// The column with one of `names`, if there is any, of heights or readings: in `units` where its header has no unit.
///
/// # Errors
/// [`Error::Input`] for a second one, one without a unit, and what is no unit of length.
pub fn measured_column(
    table: &Table,
    headings: &[Heading],
    names: &[&str],
    units: Option<LengthUnit>,
) -> Result<Option<Column>> {
    let column = only(table, headings, names)?;
    let found = column.and_then(|column| Some((column, headings.get(column)?)));
    found
        .map(|(column, heading)| {
            let unit = heading.unit_or(units, &table.place(table.header(), column))?;
            Ok((column, unit.metres()))
        })
        .transpose()
}

/// The column with one of `names`, if there is any, of distances on the plan: metres where its header has no unit.
///
/// # Errors
/// [`Error::Input`] for a second one and for what is no unit of length.
pub fn plan_column(table: &Table, headings: &[Heading], names: &[&str]) -> Result<Option<Column>> {
    measured_column(table, headings, names, Some(LengthUnit::Metre))
}

/// A column that must be there.
///
/// # Errors
/// [`Error::Input`] that lists the columns there are.
pub fn needed<T>(table: &Table, column: Option<T>, wanted: impl Into<String>) -> Result<T> {
    column.ok_or_else(|| {
        let names: Vec<_> = table.header().texts().collect();
        let place = Place::line(table.file().file, table.header().line);
        let found = format!("the columns {}", shown(&names.join(", ")));
        Error::input(place, found, wanted)
    })
}

/// The column with one of `names`, which must be there, of distances on the plan.
///
/// # Errors
/// As [`plan_column`] and [`needed`].
pub fn needed_plan_column(table: &Table, headings: &[Heading], names: &[&str]) -> Result<Column> {
    let column = plan_column(table, headings, names)?;
    needed(table, column, wanted_on_the_plan(names))
}

/// The column of heights or staff readings, and how its numbers become heights.
///
/// # Errors
/// [`Error::Input`] where there is none, a second one, or no unit is said.
pub fn height_column(
    table: &Table,
    headings: &[Heading],
    units: Option<LengthUnit>,
) -> Result<(usize, HeightScale)> {
    let column = only(table, headings, &[HEIGHT_NAMES, STAFF_NAMES].concat())?;
    let scale = match column.and_then(|column| Some((column, headings.get(column)?))) {
        Some((column, heading)) => {
            let place = table.place(table.header(), column);
            HeightScale::of(heading, &place, units)?.map(|scale| (column, scale))
        }
        None => None,
    };
    needed(
        table,
        scale,
        "a column of heights that says which way they run: z, height, level, rl or elevation (grows upwards), \
         staff or reading (grows downwards), with its unit, such as staff_mm",
    )
}

/// What is wanted where a column of the plan is missing.
pub fn wanted_on_the_plan(names: &[&str]) -> String {
    format!(
        "a column {} (in metres, unless it says otherwise, as in x_ft)",
        names.join(" or ")
    )
}

/// Warns of columns that look like a measurement and are not `read`: `z2_mm`, `height2`.
pub fn unread_measurements(table: &Table, headings: &[Heading], read: &[usize]) -> Vec<Warning> {
    let looks = |heading: &Heading| {
        let names = [HEIGHT_NAMES, STAFF_NAMES].concat();
        let mut long = names.iter().filter(|name| name.len() > 3);
        heading.has_unit() || long.any(|name| heading.name.starts_with(name))
    };
    headings
        .iter()
        .enumerate()
        .filter(|(column, heading)| !read.contains(column) && looks(heading))
        .map(|(_, heading)| {
            Warning(format!(
                "{}: the column {} is not read",
                table.file(),
                shown(&heading.text)
            ))
        })
        .collect()
}

/// The one column with one of `names`, if there is any.
///
/// # Errors
/// [`Error::Input`] for a second one.
pub fn only(table: &Table, headings: &[Heading], names: &[&str]) -> Result<Option<usize>> {
    let mut columns = (0..headings.len()).filter(|&i| headings.get(i).is_some_and(|h| h.is(names)));
    let (first, second) = (columns.next(), columns.next());
    let (Some(one), Some(two)) = (first, second) else {
        return Ok(first);
    };
    let [one_text, two_text] = [one, two].map(|column| shown(table.header().cell(column)));
    Err(Error::input(
        table.place(table.header(), two),
        format!("'{two_text}' beside '{one_text}' (column {})", one + 1),
        "one of them only: delete or rename the other",
    ))
}

/// How the numbers of a column become heights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeightScale {
    /// Whether they are staff readings, which grow downwards.
    pub staff: bool,
    metres: f64,
}

impl HeightScale {
    /// What `heading` says of its column; `units` is for a heading without a unit. None if it is no name of a height.
    ///
    /// # Errors
    /// [`Error::Input`] at `place` where no unit is said, or one that is unknown.
    pub fn of(heading: &Heading, place: &Place, units: Option<LengthUnit>) -> Result<Option<Self>> {
        let staff = heading.is(STAFF_NAMES);
        if !staff && !heading.is(HEIGHT_NAMES) {
            return Ok(None);
        }
        let metres = heading.unit_or(units, place)?.metres();
        Ok(Some(Self { staff, metres }))
    }

    /// The height, m, growing upwards, that `value` stands for.
    ///
    /// # Errors
    /// [`Error::Input`] beyond [`FARTHEST`], and for a staff reading below zero: it would be a height, or the wrong way up.
    pub fn height(self, value: f64, place: impl FnOnce() -> Place) -> Result<f64> {
        if (value * self.metres).abs() > FARTHEST {
            return Err(Error::input(place(), format!("'{value:e}'"), WITHIN_REACH));
        }
        if !self.staff {
            return Ok(value * self.metres);
        }
        if value < 0.0 {
            return Err(Error::input(
                place(),
                format!("the staff reading {value}"),
                "0 or more (if the numbers grow upwards, call the column height)",
            ));
        }
        // Subtracted from zero, so that a reading of 0 does not become minus zero.
        Ok(0.0 - value * self.metres)
    }
}

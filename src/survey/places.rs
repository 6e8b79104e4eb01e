//! A list of places on the plan, such as pins to set.
//!
//! In: delimited text with a header: `x` and `y` (or `easting` and `northing`; metres unless it says otherwise), and `point` if
//! they have names. Out: the places in metres, survey coordinates. Other columns are not read.

use crate::error::{Error, Place, Result};
use crate::survey::Source;
use crate::survey::delimited::Table;
use crate::survey::heading::{self, Heading, POINT_NAMES, X_NAMES, Y_NAMES};

/// A place with a name.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedPlace {
    /// Its name, or its number from 1.
    pub name: String,
    /// x and y of the survey, m.
    pub at: [f64; 2],
}

/// Reads a list of places, at most `most` of them.
///
/// # Errors
/// [`Error::Read`]; [`Error::Input`] with the line and the column for a column missing or given twice, a cell that is no
/// number, no place at all or too many.
pub fn read(source: &Source, most: usize) -> Result<Vec<NamedPlace>> {
    of_table(Table::open(source)?, most)
}

fn of_table(mut table: Table, most: usize) -> Result<Vec<NamedPlace>> {
    let headings = Heading::all(&table);
    let columns =
        [X_NAMES, Y_NAMES].map(|names| heading::needed_plan_column(&table, &headings, names));
    let [x, y] = columns;
    let (x, y) = (x?, y?);
    let point = heading::only(&table, &headings, POINT_NAMES)?;
    let mut places: Vec<NamedPlace> = Vec::new();
    while let Some(row) = table.next_row()? {
        if places.len() == most {
            let place = Place::line(table.file().file, row.line);
            let found = format!("more than {most} places");
            return Err(Error::input(place, found, "fewer of them"));
        }
        let name = point.map_or("", |point| row.cell(point));
        places.push(NamedPlace {
            at: [table.metres(&row, x)?, table.metres(&row, y)?],
            name: match name {
                "" => (places.len() + 1).to_string(),
                name => name.to_owned(),
            },
        });
    }
    if places.is_empty() {
        let wanted = "at least one row with x and y";
        return Err(Error::input(table.file(), "no place", wanted));
    }
    Ok(places)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(text: &str) -> Result<Vec<NamedPlace>> {
        of_table(Table::from_bytes("pins.csv", text.as_bytes())?, 3)
    }

    #[test]
    fn names_and_units_are_read() {
        let found = places("Point;x (ft);northing\nP7;10;-0\n;1,5;2\n").expect("a list");
        let names: Vec<_> = found.iter().map(|place| place.name.as_str()).collect();
        assert_eq!(names, ["P7", "2"]);
        assert!((found[0].at[0] - 3.048).abs() < 1e-12 && found[0].at[1] == 0.0);
        assert!((found[1].at[0] - 0.4572).abs() < 1e-12);
        assert_eq!(
            places("x_m,y_m,code\n1,2,wall\n").expect("a list")[0].at,
            [1.0, 2.0]
        );
    }

    #[test]
    fn what_is_wrong_is_pointed_at() {
        for (text, wanted) in [
            (
                "x,y\n1,2\n3,\n",
                "pins.csv, line 3, column y: found an empty cell",
            ),
            ("x,name\n1,2\n", "wanted a column y"),
            ("x,y\n", "pins.csv: found no place"),
            (
                "x,y\n1,1\n2,2\n3,3\n4,4\n",
                "pins.csv, line 5: found more than 3 places",
            ),
        ] {
            let error = places(text).expect_err(text).to_string();
            assert!(error.contains(wanted), "{error}");
        }
    }
}

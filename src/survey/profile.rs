//! Profile lines: readings in order along straight lines at one pitch, the sample lines of ASTM E1155 and E1486.
//!
//! In: delimited text with a column `line`, plan columns `x` and `y` or a distance along the line `station`, and one of
//! height or staff, with units as in a list. The rows of a line share its name and need not stand together. Out:
//! [`ProfileLines`] in metres, heights growing upwards. A line read towards falling stations is turned round.
//! Every reading has to be within [`OFF`] of its place at even pitch between the first and the last of its line: a reading
//! left out, or a bend, is an error with the line of the file.
//! Lines by station have no place on the plan: what needs one is not worked out for them.

use std::collections::HashMap;

use crate::error::{Error, Place, Result};
use crate::survey::delimited::{self, Row, Table, count, shown};
use crate::survey::heading::{self, Column, Heading, HeightScale, X_NAMES, Y_NAMES};
use crate::survey::{Content, Format, Options, Reading, Source};
use crate::units::System;

const LINE_NAMES: &[&str] = &["line"];
const STATION_NAMES: &[&str] = &["station"];

/// How far a reading may be off its place, as a share of the pitch: points are set out by hand with a tape.
const OFF: f64 = 0.1;
/// No pitch is smaller than this, m.
const LEAST_PITCH: f64 = 1e-3;
/// Readings that show whether a line is straight and at one pitch.
const FEWEST: usize = 3;

/// Profile lines.
pub const PROFILE: Format = Format {
    name: "profile",
    title: "profile lines",
    recognises,
    open,
};

/// Heights in order along a straight line at one pitch.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfileLine {
    /// Its name.
    pub name: String,
    /// Distance between neighbouring readings, m.
    pub pitch: f64,
    /// Distance of the first reading from the line's zero, m; 0 where plan positions are given.
    pub start: f64,
    /// Plan position of every reading, m, survey coordinates; None where stations are given.
    pub places: Option<Vec<[f64; 2]>>,
    /// Heights, m, growing upwards.
    pub heights: Vec<f64>,
}

impl ProfileLine {
    /// The readings of a line that has places on the plan, named by the line and their number; none of a line by station.
    pub fn readings(&self) -> impl Iterator<Item = Reading> + '_ {
        let places = self.places.iter().flatten().zip(&self.heights);
        places.enumerate().map(|(number, (&[x, y], &z))| Reading {
            name: Some(format!("{}-{}", self.name, number + 1)),
            x,
            y,
            z,
            setup: None,
        })
    }

    /// Whether both cannot belong to one survey: of one name, or only one of them on the plan.
    pub(super) fn clashes(&self, other: &Self) -> bool {
        self.name == other.name || self.places.is_some() != other.places.is_some()
    }
}

/// The profile lines of one file: all of them with plan positions, or none.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ProfileLines {
    /// In the order in which they first appear.
    pub lines: Vec<ProfileLine>,
    /// Whether heights were read off a staff, so that the survey's zero is the line of sight.
    pub staff: bool,
}

/// Whether a file that starts with `head` holds profile lines: a header row with a column `line`.
pub fn recognises(head: &[u8]) -> bool {
    delimited::first_row(head).is_some_and(|(_, row)| {
        let headings: Vec<_> = row.texts().map(Heading::parse).collect();
        headings.len() > 2 && headings.iter().any(|heading| heading.is(LINE_NAMES))
    })
}

/// Opens profile lines.
///
/// # Errors
/// As [`read`].
pub fn open(source: &Source, options: &Options) -> Result<Content> {
    read(Table::open(source)?, options).map(Content::Lines)
}

/// Where a reading is, as columns and the metres in their units: on the plan, or so far along its line.
#[derive(Clone, Copy)]
enum At {
    Plan(Column, Column),
    Station(Column),
}

/// One row: where on the plan (or station and 0), height, and the line of the file.
type Point = ([f64; 2], f64, u64);

/// Reads profile lines.
///
/// # Errors
/// [`Error::Input`] with the line of the file: a column missing or without its unit, a cell that is no number, a line of
/// fewer than three readings, a reading off the straight line or the even pitch.
pub fn read(mut table: Table, options: &Options) -> Result<ProfileLines> {
    let headings = Heading::all(&table);
    let line = heading::only(&table, &headings, LINE_NAMES)?;
    let line = heading::needed(&table, line, "a column line with the name of the line")?;
    let at = match heading::only(&table, &headings, STATION_NAMES)? {
        Some(_) => At::Station(heading::needed_plan_column(
            &table,
            &headings,
            STATION_NAMES,
        )?),
        None => At::Plan(
            heading::needed_plan_column(&table, &headings, X_NAMES)?,
            heading::needed_plan_column(&table, &headings, Y_NAMES)?,
        ),
    };
    let height = heading::height_column(&table, &headings, options.units)?;
    let mut points: Vec<(String, Vec<Point>)> = Vec::new();
    let mut known: HashMap<String, usize> = HashMap::new();
    let mut readings = 0;
    while let Some(row) = table.next_row()? {
        table.room_for_one_more(readings, &row)?;
        readings += 1;
        let name = row.cell(line);
        if name.is_empty() {
            let place = table.place(&row, line);
            return Err(Error::input(place, "an empty cell", "the name of the line"));
        }
        let number = *known.entry(name.to_owned()).or_insert_with(|| {
            points.push((name.to_owned(), Vec::new()));
            points.len() - 1
        });
        let point = point(&mut table, &row, at, height)?;
        if let Some((_, line)) = points.get_mut(number) {
            line.push(point);
        }
    }
    if points.is_empty() {
        let file = table.file();
        return Err(Error::input(file, "no reading", "lines of readings"));
    }
    let on_plan = matches!(at, At::Plan(..));
    let lines = points
        .into_iter()
        .map(|(name, points)| profile(&table.file(), name, points, on_plan));
    Ok(ProfileLines {
        lines: lines.collect::<Result<_>>()?,
        staff: height.1.staff,
    })
}

fn point(
    table: &mut Table,
    row: &Row,
    at: At,
    (height, scale): (usize, HeightScale),
) -> Result<Point> {
    let mut metres = |column: Column| table.metres(row, column);
    let place = match at {
        At::Plan(x, y) => [metres(x)?, metres(y)?],
        At::Station(station) => [metres(station)?, 0.0],
    };
    let value = table.number(row, height)?;
    let z = scale.height(value, || table.place(row, height))?;
    Ok((place, z, row.line))
}

/// The line through `points`, if they are on one at even pitch.
fn profile(
    file: &Place,
    name: String,
    mut points: Vec<Point>,
    on_plan: bool,
) -> Result<ProfileLine> {
    let at_line = |line: u64| Place::line(&file.file, line);
    let called = shown(&name);
    let (Some(&(first, _, _)), Some(&(last, _, end))) = (points.first(), points.last()) else {
        return Err(Error::input(file.clone(), "an empty line", "readings"));
    };
    if points.len() < FEWEST {
        let found = format!("line {called} with {}", count(points.len(), "reading"));
        return Err(Error::input(at_line(end), found, "at least three readings"));
    }
    let steps = (points.len() - 1) as f64;
    let way = [last[0] - first[0], last[1] - first[1]];
    let pitch = way[0].hypot(way[1]) / steps;
    if !pitch.is_finite() || pitch < LEAST_PITCH {
        let found = format!("line {called} that ends where it begins");
        let wanted = "readings in order from one end of a straight line to the other";
        return Err(Error::input(at_line(end), found, wanted));
    }
    for (step, ([x, y], _, line)) in points.iter().enumerate() {
        let share = step as f64 / steps;
        let off = (first[0] + share * way[0] - x).hypot(first[1] + share * way[1] - y);
        if off > OFF * pitch {
            let (off, even) = (System::Metric.plan(off), System::Metric.plan(pitch));
            let found = format!("a reading of line {called} {off} off the even pitch of {even}");
            let wanted = "readings in order along a straight line, one at every step, each within a tenth of the pitch \
                          (where one is missing, give the rest a name of its own)";
            return Err(Error::input(at_line(*line), found, wanted));
        }
    }
    if !on_plan && way[0] < 0.0 {
        points.reverse();
    }
    Ok(ProfileLine {
        name,
        pitch,
        start: if on_plan { 0.0 } else { first[0].min(last[0]) },
        places: on_plan.then(|| points.iter().map(|&(place, ..)| place).collect()),
        heights: points.iter().map(|&(_, z, _)| z).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_text(text: &str) -> Result<ProfileLines> {
        let table = Table::from_bytes("lines.csv", text.as_bytes())?;
        read(table, &Options::default())
    }

    #[test]
    fn lines_by_station_and_on_the_plan() {
        let text = "line;station_ft;staff_mm\nA;1;1250\nB;9;7\nA;2;1251\nB;8;8\nA;3;1253\nB;7;9\n";
        assert!(recognises(text.as_bytes()));
        let read = read_text(text).expect(text);
        let [a, b] = read.lines.as_slice() else {
            panic!("two lines")
        };
        assert!(read.staff && a.places.is_none() && a.name == "A");
        assert_eq!(a.heights, [1250.0, 1251.0, 1253.0].map(|mm| -mm * 1e-3));
        // Read backwards: turned round, so that it starts at 7 ft with the reading of 9 mm.
        assert!((a.pitch - 0.3048).abs() < 1e-12 && (b.start - 7.0 * 0.3048).abs() < 1e-12);
        assert_eq!(b.heights, [9.0, 8.0, 7.0].map(|mm| -mm * 1e-3));

        let text = "x_m,y_m,line,z_mm\n0,0,d,1\n0.21,0.22,d,2\n0.42,0.43,d,3\n";
        let read = read_text(text).expect(text);
        let line = read.lines.first().expect("a line");
        assert!((line.pitch - 0.42f64.hypot(0.43) / 2.0).abs() < 1e-12 && !read.staff);
        assert_eq!(line.places.as_ref().map(|p| p[1]), Some([0.21, 0.22]));
        let names: Vec<_> = line.readings().filter_map(|reading| reading.name).collect();
        assert_eq!(names, ["d-1", "d-2", "d-3"]);
    }

    #[test]
    fn what_is_no_straight_line_at_one_pitch_is_refused_with_its_line() {
        let header = "line,station_m,z_mm\n";
        let cases = [
            ("A,0,1\nA,0.3,1\n", ", line 3: found line A with 2 readings"),
            (
                "A,0,1\nA,0.3,1\nA,0.6,1\nA,1.2,1\n",
                ", line 3: found a reading of line A 0.10 m off",
            ),
            (
                "A,0,1\nA,1,1\nA,0,1\n",
                ", line 4: found line A that ends where it begins",
            ),
            (
                "A,0,1\n,1,1\n",
                ", line 3, column line: found an empty cell",
            ),
            ("A,0,\n", ", line 2, column z_mm: found an empty cell"),
            ("", ": found no reading"),
        ];
        for (rows, expected) in cases {
            let error = read_text(&format!("{header}{rows}")).expect_err(rows);
            let error = error.to_string();
            assert!(
                error.starts_with(&format!("lines.csv{expected}")),
                "{error}"
            );
        }
        let bent = "line,x,y,z_mm\nA,0,0,1\nA,1,0.2,1\nA,2,0,1\n";
        let error = read_text(bent).expect_err(bent).to_string();
        assert!(error.starts_with("lines.csv, line 3: found a reading of line A 0.20 m off"));
        for columns in ["line,x_m,z_mm\nA,0,1\n", "line,station_m,gap_mm\n"] {
            let error = read_text(columns).expect_err(columns).to_string();
            assert!(error.starts_with("lines.csv, line 1: found the columns line,"));
        }
    }
}

//! Straightedge book: gaps measured by hand with an edge and a wedge.
//!
//! In: delimited text with a column `gap` and its unit, `x` and `y` (where the wedge went in), `azimuth` and `length` of the
//! edge; if there are any, `along` (from the end that the edge points away from to the wedge) and `point`. Azimuths are
//! degrees clockwise from the y axis, in the direction in which the edge points. Plan distances, the length and `along`
//! are metres where the header has no unit; a gap without one is in `--units`. Out: [`LaidEdge`]s in metres.
//! Formula: the edge begins at (x, y) - along · (sin azimuth, cos azimuth). Without `along` the wedge is taken to have gone
//! in at the middle: that moves the edge on the map, and no verdict.
//! A book holds no heights: there is nothing to level, to draw contours of or to pour from.

use crate::error::{Error, Place, Result, Warning};
use crate::survey::delimited::{self, Row, Table, shown};
use crate::survey::heading::{self, Column, Heading, POINT_NAMES, X_NAMES, Y_NAMES};
use crate::survey::{Content, Format, Options, Source};

const GAP_NAMES: &[&str] = &["gap"];
const LENGTH_NAMES: &[&str] = &["length"];
const ALONG_NAMES: &[&str] = &["along"];
/// The unit is part of the name: degrees are no length.
const AZIMUTH_NAMES: &[&str] = &["azimuth", "azimuthdeg"];

/// Nothing longer is laid as an edge, m.
const LONGEST: f64 = 100.0;

/// More edges than this nobody lays by hand on one floor.
const MOST: usize = 1000;

/// A full turn, degrees.
const TURN: f64 = 360.0;

/// A straightedge book.
pub const EDGE_BOOK: Format = Format {
    name: "straightedge",
    title: "straightedge book",
    recognises,
    open,
};

/// An edge as it lay on the floor, and the gap that the wedge found beneath it.
#[derive(Debug, Clone, PartialEq)]
pub struct LaidEdge {
    /// The name of the point, where the book gives one.
    pub name: Option<String>,
    /// Where the wedge went in: plan position, m, survey coordinates.
    pub at: [f64; 2],
    /// Where the edge points, degrees clockwise from the y axis.
    pub azimuth: f64,
    /// Length of the edge, m.
    pub length: f64,
    /// From the end it points away from to the wedge, m.
    pub along: f64,
    /// The gap, m.
    pub gap: f64,
}

impl LaidEdge {
    /// The two ends, plan positions in m: the edge points from the first to the second.
    pub fn ends(&self) -> [[f64; 2]; 2] {
        let (east, north) = self.azimuth.to_radians().sin_cos();
        [-self.along, self.length - self.along].map(|by| {
            let [x, y] = self.at;
            [x + by * east, y + by * north]
        })
    }
}

/// The edges of one file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LaidEdges {
    /// In the order of the file.
    pub edges: Vec<LaidEdge>,
    /// What the reader noticed.
    pub warnings: Vec<Warning>,
}

/// Whether a file that starts with `head` is a straightedge book: a header row with a column `gap`.
pub fn recognises(head: &[u8]) -> bool {
    delimited::first_row(head).is_some_and(|(_, row)| {
        let headings: Vec<_> = row.texts().map(Heading::parse).collect();
        headings.len() > 2 && headings.iter().any(|heading| heading.is(GAP_NAMES))
    })
}

/// Opens a straightedge book.
///
/// # Errors
/// As [`read`].
pub fn open(source: &Source, options: &Options) -> Result<Content> {
    read(Table::open(source)?, options).map(Content::Edges)
}

/// Reads a straightedge book.
///
/// # Errors
/// [`Error::Input`] with the line and the column: a column missing, given twice or without its unit; a cell that is no
/// number; an edge without length, a gap below zero or as wide as the edge is long, a wedge beyond the edge's ends, an
/// azimuth that is none; no reading at all, or more than [`MOST`].
pub fn read(mut table: Table, options: &Options) -> Result<LaidEdges> {
    let headings = Heading::all(&table);
    let columns = Columns::find(&table, &headings, options)?;
    let warnings = heading::unread_measurements(&table, &headings, &columns.read());
    let mut edges = Vec::new();
    while let Some(row) = table.next_row()? {
        if edges.len() == MOST {
            let place = Place::line(table.file().file, row.line);
            let found = format!("more than {MOST} edges");
            return Err(Error::input(place, found, "a book of edges laid by hand"));
        }
        edges.push(columns.edge(&mut table, &row)?);
    }
    if edges.is_empty() {
        let wanted = "at least one row with x, y, azimuth, length and gap";
        return Err(Error::input(table.file(), "no reading", wanted));
    }
    Ok(LaidEdges { edges, warnings })
}

/// Which columns are read.
struct Columns {
    x: Column,
    y: Column,
    azimuth: usize,
    length: Column,
    gap: Column,
    along: Option<Column>,
    point: Option<usize>,
}

impl Columns {
    fn find(table: &Table, headings: &[Heading], options: &Options) -> Result<Self> {
        let gap = heading::measured_column(table, headings, GAP_NAMES, options.units)?;
        let azimuth = heading::only(table, headings, AZIMUTH_NAMES)?
            .filter(|&column| headings.get(column).is_some_and(Heading::in_degrees));
        Ok(Self {
            x: heading::needed_plan_column(table, headings, X_NAMES)?,
            y: heading::needed_plan_column(table, headings, Y_NAMES)?,
            azimuth: heading::needed(
                table,
                azimuth,
                "a column azimuth_deg: where the edge points, degrees clockwise from the y axis",
            )?,
            length: heading::needed_plan_column(table, headings, LENGTH_NAMES)?,
            gap: heading::needed(table, gap, "a column gap with its unit, such as gap_mm")?,
            along: heading::plan_column(table, headings, ALONG_NAMES)?,
            point: heading::only(table, headings, POINT_NAMES)?,
        })
    }

    fn read(&self) -> Vec<usize> {
        [self.x.0, self.y.0, self.azimuth, self.length.0, self.gap.0]
            .into_iter()
            .chain(self.along.map(|(column, _)| column))
            .chain(self.point)
            .collect()
    }

    fn edge(&self, table: &mut Table, row: &Row) -> Result<LaidEdge> {
        let at = [table.metres(row, self.x)?, table.metres(row, self.y)?];
        let wrong = |table: &Table, column: usize, wanted: &str| {
            let found = format!("'{}'", shown(row.cell(column)));
            Err(Error::input(table.place(row, column), found, wanted))
        };
        let azimuth = table.number(row, self.azimuth)?;
        if !(0.0..=TURN).contains(&azimuth) {
            return wrong(
                table,
                self.azimuth,
                "0 to 360 degrees clockwise from the y axis",
            );
        }
        let length = table.distance(row, self.length)?;
        if !(f64::MIN_POSITIVE..=LONGEST).contains(&length) {
            return wrong(
                table,
                self.length.0,
                "the length of the edge, above zero and up to 100 m",
            );
        }
        let gap = table.distance(row, self.gap)?;
        if gap >= length {
            return wrong(table, self.gap.0, "a gap smaller than the edge is long");
        }
        let along = match self.along {
            Some(column) if !row.cell(column.0).is_empty() => {
                let along = table.distance(row, column)?;
                if along > length {
                    return wrong(table, column.0, "a place between the ends of the edge");
                }
                along
            }
            Some(_) | None => length / 2.0,
        };
        let name = self.point.map(|column| row.cell(column));
        Ok(LaidEdge {
            name: name.filter(|name| !name.is_empty()).map(str::to_owned),
            at,
            azimuth,
            length,
            along,
            gap,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::recognise;

    fn read_text(text: &str) -> Result<LaidEdges> {
        let table = Table::from_bytes("book.csv", text.as_bytes())?;
        read(table, &Options::default())
    }

    #[test]
    fn edges_lie_where_the_book_says() {
        let text = "point;x_m;y_m;azimuth_deg;length_m;gap_mm;along_m\n\
                    A;1,0;2,0;90;2,0;3,5;0,5\n;1,0;2,0;0;2,0;0;\n";
        let [a, b] = <[LaidEdge; 2]>::try_from(read_text(text).expect(text).edges).unwrap();
        assert_eq!(
            (a.name.as_deref(), a.gap, b.name.as_deref()),
            (Some("A"), 0.0035, None)
        );
        let near = |found: [[f64; 2]; 2], wanted: [[f64; 2]; 2]| {
            let off = found.as_flattened().iter().zip(wanted.as_flattened());
            assert!(
                off.clone().all(|(a, b)| (a - b).abs() < 1e-12),
                "{found:?} {wanted:?}"
            );
        };
        // Azimuth 90: along x, half a metre of it before the wedge. Azimuth 0: along y, the wedge in the middle.
        near(a.ends(), [[0.5, 2.0], [2.5, 2.0]]);
        near(b.ends(), [[1.0, 1.0], [1.0, 3.0]]);

        // 45 degrees: as far to the right as upwards, 10 ft long.
        let text = "x_ft,y_ft,azimuth (deg),length_ft,gap_in\n0,0,45,10,0.25\n";
        let edge = read_text(text).expect(text).edges.remove(0);
        assert!((edge.gap - 0.25 * 0.0254).abs() < 1e-15);
        let half = 5.0 * 0.3048 * 0.5f64.sqrt();
        near(edge.ends(), [[-half, -half], [half, half]]);
    }

    #[test]
    fn bad_rows_are_named() {
        let header = "x,y,azimuth_deg,length_m,along_m,gap_mm\n0,0,0,2,,1\n";
        let cases = [
            (
                "0,0,361,2,,1",
                "azimuth_deg: found '361'; wanted 0 to 360 degrees clockwise from the y axis",
            ),
            ("0,0,N,2,,1", "azimuth_deg: found 'N'; wanted a number"),
            (
                "0,0,0,0,,1",
                "length_m: found '0'; wanted the length of the edge, above zero and up to 100 m",
            ),
            (
                "0,0,0,2,2.1,1",
                "along_m: found '2.1'; wanted a place between the ends of the edge",
            ),
            ("0,0,0,2,,", "gap_mm: found an empty cell; wanted a number"),
            (
                "0,0,0,2,,-1",
                "gap_mm: found the distance -1; wanted 0 or more",
            ),
            (
                "0,0,0,2,,2000",
                "gap_mm: found '2000'; wanted a gap smaller than the edge is long",
            ),
        ];
        for (row, expected) in cases {
            let error = read_text(&format!("{header}{row}\n")).expect_err(row);
            let expected = format!("book.csv, line 3, column {expected}");
            assert_eq!(error.to_string(), expected);
        }
        let many = header.to_owned() + &"0,0,0,2,,1\n".repeat(MOST);
        let error = read_text(&many).expect_err("many").to_string();
        assert!(error.starts_with("book.csv, line 1002: found more than 1000 edges"));
        let headers = [
            ("x,y,azimuth_deg,length_m,gap\n", "no unit of length"),
            ("x,y,length_m,gap_mm\n", "azimuth_deg"),
            ("x,y,azimuth_gon,length_m,gap_mm\n", "azimuth_deg"),
            ("x,y,azimuth (gon),length_m,gap_mm\n", "azimuth_deg"),
            ("x,y,azimuth_deg,gap_mm\n", "a column length"),
            ("x,y,azimuth_deg,length_m,gap_mm\n", "no reading"),
        ];
        for (header, part) in headers {
            let error = read_text(header).expect_err(header).to_string();
            assert!(error.contains(part), "{error}");
        }
    }

    #[test]
    fn a_book_is_recognised_by_its_gaps() {
        let file = tempfile::NamedTempFile::new().expect("a file");
        let name = file.path().to_str().expect("a name");
        let format = |text: &str| {
            std::fs::write(file.path(), text).expect("written");
            let source = Source::new(name).expect("a source");
            recognise(&source, &Options::default()).map(|format| format.name)
        };
        let book = format("x_m,y_m,azimuth_deg,length_m,gap_mm\n1,1,0,2,1\n");
        assert_eq!(book.expect("a format"), "straightedge");
        let list = format("x_m,y_m,z_mm\n1,1,0\n");
        assert_eq!(list.expect("a format"), "list");
    }
}

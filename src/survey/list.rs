//! Readings as a list: a header row, then one reading a row.
//!
//! In: delimited text with a column `x` and `y` (or `easting` and `northing`) and one of height (`z`, `height`, `level`,
//! `rl`, `elevation`: grows upwards) or staff (`staff`, `reading`: grows downwards); `point` and `setup` if there are any.
//! Units stand in the header: `x_ft`, `staff_mm`, `height (mm)`. Plan columns without one are metres; a height column
//! without one is in `--units`, and without that it is an error. A column `sight` (distance from the instrument, metres
//! unless it says otherwise) is what `--collimation` needs. Out: [`Readings`] in metres, heights growing upwards.
//! Readings of several set-ups are not brought to one horizon here (see `setups`).

use crate::error::{Error, Place, Result, Warning};
use crate::survey::delimited::{self, Row, Table, count};
use crate::survey::heading::{
    self, Column, Heading, HeightScale, POINT_NAMES, SETUP_NAMES, SIGHT_NAMES, STAFF_NAMES,
    X_NAMES, Y_NAMES,
};
use crate::survey::{Content, Format, Options, Reading, Readings, Source};
use crate::units::System;

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

/// Readings, as a list.
pub const LIST: Format = Format {
    name: "list",
    title: "readings, as a list",
    recognises,
    open,
};

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
    let columns = Columns::find(&table, &headings, options)?;
    let mut warnings = heading::unread_measurements(&table, &headings, &columns.read());
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
        book: None,
    })
}

/// Which columns are read, and how.
struct Columns {
    x: Column,
    y: Column,
    height: usize,
    scale: HeightScale,
    point: Option<usize>,
    setup: Option<usize>,
    sight: Option<Column>,
    collimation: Option<f64>,
}

impl Columns {
    fn find(table: &Table, headings: &[Heading], options: &Options) -> Result<Self> {
        let (height, scale) = heading::height_column(table, headings, options.units)?;
        let sight = heading::plan_column(table, headings, SIGHT_NAMES)?;
        if options.collimation.is_some() {
            let wanted =
                "a column sight_m for --collimation: the distance from the instrument to the staff";
            heading::needed(table, sight, wanted)?;
        }
        Ok(Self {
            x: heading::needed_plan_column(table, headings, X_NAMES)?,
            y: heading::needed_plan_column(table, headings, Y_NAMES)?,
            height,
            scale,
            point: heading::only(table, headings, POINT_NAMES)?,
            setup: heading::only(table, headings, SETUP_NAMES)?,
            sight,
            collimation: options.collimation,
        })
    }

    fn read(&self) -> Vec<usize> {
        let sight = self.sight.map(|(column, _)| column);
        [self.x.0, self.y.0, self.height]
            .into_iter()
            .chain([self.point, self.setup, sight].into_iter().flatten())
            .collect()
    }

    /// The reading of a row; None where no height was taken.
    fn reading(&self, table: &mut Table, row: &Row) -> Result<Option<Reading>> {
        let (x, y) = (table.metres(row, self.x)?, table.metres(row, self.y)?);
        if row.cell(self.height).is_empty() {
            return Ok(None);
        }
        let value = table.number(row, self.height)?;
        let mut z = self.scale.height(value, || table.place(row, self.height))?;
        if let Some((collimation, sight)) = self.collimation.zip(self.sight) {
            z += collimation * table.distance(row, sight)?;
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::LengthUnit;

    fn read_text(text: &str, units: Option<LengthUnit>) -> Result<Readings> {
        let options = Options {
            units,
            ..Options::default()
        };
        read(Table::from_bytes("floor.csv", text.as_bytes())?, &options)
    }

    fn error(text: &str) -> String {
        read_text(text, None).expect_err(text).to_string()
    }

    #[test]
    fn heights_grow_upwards_and_staff_readings_downwards() {
        let text = "Point;Setup;x;y;Staff (mm)\nA1;I;0,5;-1,25;1250\n;II;0;0;0\n";
        let read = read_text(text, None).expect(text);
        assert!(read.staff);
        let [first, second] = read.readings.as_slice() else {
            panic!("two readings")
        };
        assert_eq!((first.x, first.y, first.z), (0.5, -1.25, -1.25));
        assert_eq!(
            (first.name.as_deref(), first.setup.as_deref()),
            (Some("A1"), Some("I"))
        );
        assert_eq!(
            (second.name.as_deref(), second.setup.as_deref()),
            (None, Some("II"))
        );
        assert!(second.z.is_sign_positive());

        for name in ["z_mm", "Height mm", "LEVEL [mm]", "rl_MM", "elevation (mm)"] {
            let read = read_text(&format!("easting,northing,{name}\n1,2,-3\n"), None).expect(name);
            assert!(!read.staff);
            assert_eq!(
                read.readings.first().map(|reading| reading.z),
                Some(-0.003),
                "{name}"
            );
        }
    }

    #[test]
    fn units_option_is_for_heights_whose_header_has_none() {
        let z = |text, units| {
            read_text(text, Some(units))
                .expect(text)
                .readings
                .first()
                .map(|r| [r.x, r.z])
        };
        assert_eq!(
            z("x,y,z\n2,0,5\n", LengthUnit::Foot),
            Some([2.0, 5.0 * 0.3048])
        );
        assert_eq!(z("x,y,z_m\n2,0,5\n", LengthUnit::Foot), Some([2.0, 5.0]));
        // The US survey foot is 1200/3937 m.
        assert_eq!(
            z("x_usft,y,z_m\n3937,0,5\n", LengthUnit::Foot),
            Some([1200.0, 5.0])
        );
    }

    /// The same readings, however they are written.
    #[test]
    fn delimiter_unit_direction_and_line_end_change_nothing() {
        let points = [
            [0.0, 0.0, -1.25],
            [3.048, 0.5, -1.2537],
            [-7.125, 1e-3, -0.9],
            [12.7, 25.4, 0.0],
        ];
        let mut tried = 0;
        for (delimiter, comma) in [
            (",", false),
            (";", true),
            (";", false),
            ("\t", true),
            ("   ", true),
            (" ", false),
        ] {
            for (end, mark) in [("\n", ""), ("\r\n", "\u{feff}")] {
                for plan in LengthUnit::ALL {
                    for height in LengthUnit::ALL {
                        for (name, sign) in [("staff", -1.0), ("rl", 1.0)] {
                            let mut rows = vec![[
                                format!("x_{}", plan.symbol()),
                                format!("y_{}", plan.symbol()),
                                format!("{name}_{}", height.symbol()),
                            ]];
                            for [x, y, z] in points {
                                let row = [
                                    x / plan.metres(),
                                    y / plan.metres(),
                                    0.0 + sign * z / height.metres(),
                                ];
                                rows.push(row.map(|number| {
                                    let text = number.to_string();
                                    if comma { text.replace('.', ",") } else { text }
                                }));
                            }
                            let lines: Vec<_> =
                                rows.iter().map(|row| row.join(delimiter)).collect();
                            let text = format!("{mark}{}", lines.join(end));
                            assert!(recognises(text.as_bytes()), "{text}");
                            let read = read_text(&text, None).expect(&text);
                            assert_eq!(read.readings.len(), points.len());
                            for (reading, [x, y, z]) in read.readings.iter().zip(points) {
                                let off = (reading.x - x)
                                    .abs()
                                    .max((reading.y - y).abs())
                                    .max((reading.z - z).abs());
                                assert!(off < 1e-12, "{text}: off by {off}");
                            }
                            tried += 1;
                        }
                    }
                }
            }
        }
        assert_eq!(tried, 6 * 2 * 6 * 6 * 2);
    }

    #[test]
    fn errors_name_the_place_and_the_fix() {
        let cases = [
            (
                "x,y,staff\n0,0,1\n",
                "floor.csv, line 1, column staff: found no unit of length; wanted the unit in the header, such as staff_mm, or --units mm (for scanned points, say so with --format)",
            ),
            (
                "# note\nx,y,depth_mm\n0,0,1\n",
                "floor.csv, line 2: found the columns x, y, depth_mm; wanted a column of heights that says which way they run: z, height, level, rl or elevation (grows upwards), staff or reading (grows downwards), with its unit, such as staff_mm",
            ),
            (
                "x,z_mm,name\n0,0,1\n",
                "floor.csv, line 1: found the columns x, z_mm, name; wanted a column y or northing (in metres, unless it says otherwise, as in x_ft)",
            ),
            (
                "x,y,staff_mm,height_mm\n0,0,1,1\n",
                "floor.csv, line 1, column height_mm: found 'height_mm' beside 'staff_mm' (column 3); wanted one of them only: delete or rename the other",
            ),
            (
                "x,y,X,z_m\n0,0,1,1\n",
                "floor.csv, line 1, column X: found 'X' beside 'x' (column 1); wanted one of them only: delete or rename the other",
            ),
            (
                "x,y,z (yd)\n0,0,1\n",
                "floor.csv, line 1, column z (yd): found the unit 'yd'; wanted mm, cm, m, in, ft or usft",
            ),
            (
                "x,y,staff_mm\n0,0,1\n0,1,-2.5\n",
                "floor.csv, line 3, column staff_mm: found the staff reading -2.5; wanted 0 or more (if the numbers grow upwards, call the column height)",
            ),
            (
                "x,y,z_m\n0,0,1\n\n0,n/a,1\n",
                "floor.csv, line 4, column y: found 'n/a'; wanted a number",
            ),
            (
                "x,y,z_m\n,0,1\n",
                "floor.csv, line 2, column x: found an empty cell; wanted a number",
            ),
            (
                "x,y,z_m\n0,0,NaN\n",
                "floor.csv, line 2, column z_m: found 'NaN'; wanted a number",
            ),
            (
                "x,y,z_m\n",
                "floor.csv: found no reading; wanted at least one row with x, y and a height",
            ),
        ];
        for (text, message) in cases {
            assert_eq!(error(text), message);
        }
    }

    #[test]
    fn what_is_left_out_is_said() {
        let text = "x,y,z_mm,note,z2_mm,Height check\n0,0,1,a,,\n-0,0,4.5,,,\n1,0,2,,,\n1,0,2,,,\n2,0,,,,\n";
        let read = read_text(text, None).expect(text);
        assert_eq!(read.readings.len(), 4);
        let warnings: Vec<_> = read
            .warnings
            .iter()
            .map(|warning| warning.0.as_str())
            .collect();
        assert_eq!(
            warnings,
            [
                "floor.csv: the column z2_mm is not read",
                "floor.csv: the column Height check is not read",
                "floor.csv: 1 row without a height left out, the first is line 6",
                "floor.csv: 1 position read more than once with different heights; lines 2 and 3 differ most, by 3.5 mm at x 0.00, y 0.00 m",
            ]
        );
        // From another set-up the line of sight is another.
        let text = "x,y,staff_mm,setup\n0,0,1,I\n0,0,4,II\n";
        assert_eq!(read_text(text, None).expect(text).warnings, []);
    }

    #[test]
    fn only_lists_are_recognised() {
        for yes in [
            "x,y,z\n",
            "X Y Z\n1 2 3",
            "point;x_m;y_m;staff_mm\n",
            "# hall\n\nEasting\tNorthing\tRL (m)\n",
            "x,y,value_mm\n",
            "x,y,z_m,intensity\n",
        ] {
            assert!(recognises(yes.as_bytes()), "{yes}");
        }
        for no in [
            "",
            "1 2 3\n4 5 6\n",
            "x,y\n",
            "line,x_m,y_m,z_mm\n",
            "point,bs,is,fs,x,y\n",
            "x,y,azimuth,length,gap\n",
            "X,Y,Z,Intensity\n",
            "x y z r g b\n",
            "staff_mm,0,1\n",
            "ply\nformat ascii 1.0\n",
            "# .PCD v.7\nVERSION .7\nFIELDS x y z\n",
            "LASF\0\0x,y,z\n",
        ] {
            assert!(!recognises(no.as_bytes()), "{no}");
        }
    }

    #[test]
    fn a_file_is_recognised_and_opened() {
        let file = tempfile::NamedTempFile::new().expect("a file");
        std::fs::write(file.path(), "x y staff_mm\n0 0,5 1250\n").expect("written");
        let source = Source::new(file.path().to_str().expect("a name")).expect("a source");
        let options = Options::default();
        let format = crate::survey::recognise(&source, &options).expect("a format");
        assert_eq!(format.name, "list");
        match (format.open)(&source, &options).expect("readings") {
            Content::Readings(read) => assert_eq!(read.readings.len(), 1),
            Content::Lines(_) | Content::Edges(_) | Content::Points(_) => {
                panic!("a list holds readings")
            }
        }
    }
}

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
use crate::survey::{Content, Format, Options, Reading, Readings, Source};
use crate::units::LengthUnit;

const WANTED_CORNER: &str = "a corner cell that says what the cells hold and in what unit, such as staff_mm (grows \
                             downwards) or height_mm (grows upwards), or staff_in/xy_ft for plan distances in feet";

/// Readings, as a grid.
pub const GRID: Format = Format {
    name: "grid",
    title: "readings, as a grid",
    recognises,
    open,
};

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
        ..Readings::default()
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
        let distance = table.metres(row, (column, metres))?;
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

#[cfg(test)]
mod tests {
    use super::*;

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

    fn points(text: &str, units: Option<LengthUnit>) -> Vec<[f64; 3]> {
        let read = read_text(text, units).expect(text);
        read.readings.iter().map(|r| [r.x, r.y, r.z]).collect()
    }

    #[test]
    fn x_runs_along_the_first_row_and_y_down_the_first_column() {
        let text = "staff_m,0,0.5,2\n1,1.25,1.251,\n0,1.252,,1.2535\n";
        let wanted = vec![
            [0.0, 1.0, -1.25],
            [0.5, 1.0, -1.251],
            [0.0, 0.0, -1.252],
            [2.0, 0.0, -1.2535],
        ];
        assert_eq!(points(text, None), wanted);
        let heights = text.replace("staff_m", "RL (m)");
        let turned: Vec<_> = wanted.iter().map(|[x, y, z]| [*x, *y, -z]).collect();
        assert_eq!(points(&heights, None), turned);
    }

    #[test]
    fn the_corner_says_the_units_of_cells_and_plan() {
        let wanted = vec![[10.0 * 0.3048, 20.0 * 0.3048, 2.0 * 0.0254]];
        for corner in ["height_in/xy_ft", "Height (in) / XY (ft)", "height/xy_ft"] {
            assert_eq!(
                points(&format!("{corner};10\n20;2\n"), Some(LengthUnit::Inch)),
                wanted,
                "{corner}"
            );
        }
    }

    /// The same readings, however they are written.
    #[test]
    fn delimiter_unit_direction_and_line_end_change_nothing() {
        let (xs, ys) = ([0.0, 0.5, -3.048], [1.2, 0.0]);
        let z = |i: usize, j: usize| -1.25 + 0.0013 * i as f64 - 0.0007 * j as f64;
        for (delimiter, comma) in [
            (",", false),
            (";", true),
            ("\t", true),
            ("   ", true),
            (" ", false),
        ] {
            for (end, mark) in [("\n", ""), ("\r\n", "\u{feff}")] {
                for plan in LengthUnit::ALL {
                    for cells in LengthUnit::ALL {
                        for (name, sign) in [("reading", -1.0), ("z", 1.0)] {
                            let text = |number: f64| {
                                let text = number.to_string();
                                if comma { text.replace('.', ",") } else { text }
                            };
                            let mut header =
                                vec![format!("{name}_{}/xy_{}", cells.symbol(), plan.symbol())];
                            header.extend(xs.map(|x| text(x / plan.metres())));
                            let mut lines = vec![header.join(delimiter)];
                            for (j, y) in ys.iter().enumerate() {
                                let mut row = vec![text(y / plan.metres())];
                                row.extend((0..3).map(|i| text(sign * z(i, j) / cells.metres())));
                                lines.push(row.join(delimiter));
                            }
                            let whole = format!("{mark}{}", lines.join(end));
                            assert!(recognises(whole.as_bytes()), "{whole}");
                            let read = points(&whole, None);
                            assert_eq!(read.len(), 6);
                            for (k, [x, y, height]) in read.into_iter().enumerate() {
                                let (i, j) = (k % 3, k / 3);
                                let off = [x - xs[i], y - ys[j], height - z(i, j)].map(f64::abs);
                                assert!(off.iter().all(|off| *off < 1e-12), "{whole}: {off:?}");
                            }
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn errors_name_the_place_and_the_fix() {
        let corner = "a corner cell that says what the cells hold and in what unit, such as staff_mm (grows downwards) or height_mm (grows upwards), or staff_in/xy_ft for plan distances in feet";
        let cases = [
            (",0,1\n0,1,1\n", format!("floor.csv, line 1, column 1: found an empty corner cell; wanted {corner}")),
            ("mm,0,1\n0,1,1\n", format!("floor.csv, line 1, column mm: found the corner cell 'mm'; wanted {corner}")),
            (
                "z_mm/plan_ft,0,1\n0,1,1\n",
                format!("floor.csv, line 1, column z_mm/plan_ft: found the corner cell 'z_mm/plan_ft'; wanted {corner}"),
            ),
            (
                "staff,0,1\n0,1,1\n",
                "floor.csv, line 1, column staff: found no unit of length; wanted the unit in the header, such as staff_mm, or --units mm (for scanned points, say so with --format)".to_owned(),
            ),
            (
                "z_mm;0;1,5\n0;1;1\n1;2;two\n",
                "floor.csv, line 3, column 1,5: found 'two'; wanted a number".to_owned(),
            ),
            ("z_mm,0,x\n0,1,1\n", "floor.csv, line 1, column x: found 'x'; wanted a number".to_owned()),
            ("z_mm,0,,2\n0,1,1,1\n", "floor.csv, line 1, column 3: found an empty cell; wanted a number".to_owned()),
            ("z_mm,0,1\n,1,1\n", "floor.csv, line 2, column z_mm: found an empty cell; wanted a number".to_owned()),
            (
                "z_mm,0,1,1.0\n0,1,1,1\n",
                "floor.csv, line 1, column 1.0: found the distance 1.0 again, after '1'; wanted each distance once".to_owned(),
            ),
            (
                "z_mm,0\n0,1\n\n-0,1\n",
                "floor.csv, line 4, column z_mm: found the distance -0 again, after '0'; wanted each distance once".to_owned(),
            ),
            (
                "staff_mm,0,1\n0,1,-1\n",
                "floor.csv, line 2, column 1: found the staff reading -1; wanted 0 or more (if the numbers grow upwards, call the column height)".to_owned(),
            ),
            ("z_mm,0,1\n0,1\n", "floor.csv, line 2: found 2 cells; wanted 3, as the header row has (decimal commas need semicolons between the cells)".to_owned()),
            ("z_mm,0,1\n0,,\n", "floor.csv: found no reading; wanted at least one cell with a reading".to_owned()),
        ];
        for (text, message) in cases {
            assert_eq!(error(text), message);
        }
    }

    #[test]
    fn only_grids_are_recognised() {
        for yes in [
            "staff_mm,0,1\n",
            "height;0,5;1\n",
            ",0,1\n",
            "mm\t0\t1\n",
            "depth_mm,0,1\n",
            "z_in/xy_ft 0 1\n",
        ] {
            assert!(recognises(yes.as_bytes()), "{yes}");
        }
        for no in [
            "",
            "0,1,2\n",
            "x,y,z\n",
            "VERSION .7\n",
            "P1,0.5,1.0,2.0\n",
            "12345\n",
            "z\n",
        ] {
            assert!(!recognises(no.as_bytes()), "{no}");
        }
    }
}

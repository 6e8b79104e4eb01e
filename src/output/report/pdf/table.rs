//! Tables on pages: columns as wide as they need, rows that are not torn apart, headings again on every page.
//!
//! In: a table. Out: items on the pages. Where the columns' texts do not fit side by side in one line each, every column gets
//! the width of its widest word, and what is left is shared out by what each still lacks.

use super::letters::Letters;
use super::setter::{FAINT, INK, Item, LEADING, QUIET, SIDE, Setter, WHOLE};
use crate::output::report::document::{Table, Text};

/// Letters of a table, points.
const SIZE: f32 = 8.5;

/// White between columns, points.
const GAP: f32 = 9.0;

/// White above and below the words of a row, points.
const PAD: f32 = 2.2;

/// No word is given more than this, points: a longer one is broken.
const WIDEST_WORD: f32 = 130.0;

/// White above and below a table.
const AROUND: f32 = 8.0;

/// Rows of a long table that stay with its headings.
const FIRST_ROWS: usize = 3;

/// How high a table is up to where it may be torn apart: all of a short one.
pub fn beginning(setter: &Setter, table: &Table) -> f32 {
    let widths = widths(setter.letters, table, setter.width());
    let caption = Text::led(table.caption.as_str(), "");
    let above = setter.height(&caption, setter.width(), SIZE + 0.5)
        + height(setter, &head_cells(table), &widths)
        + AROUND;
    let rows = |count: usize| -> f32 {
        let rows = table.rows.iter().take(count);
        rows.map(|cells| height(setter, cells, &widths)).sum()
    };
    let whole = above + rows(table.rows.len());
    if whole <= WHOLE {
        whole
    } else {
        above + rows(FIRST_ROWS)
    }
}

fn head_cells(table: &Table) -> Vec<Text> {
    let columns = table.columns.iter();
    columns.map(|column| column.head.into()).collect()
}

/// Sets a table.
pub fn set(setter: &mut Setter, table: &Table) {
    let widths = widths(setter.letters, table, setter.width());
    let heads = head_cells(table);
    let caption = Text::led(table.caption.as_str(), "");
    setter.keep(beginning(setter, table));
    setter.y += 4.0;
    setter.y += setter.write(&caption, [SIDE, setter.y], setter.width(), SIZE + 0.5, INK) + 1.0;
    self::heads(setter, table, &heads, &widths);
    for cells in &table.rows {
        if setter.y + height(setter, cells, &widths) > setter.end() {
            setter.new_page();
            self::heads(setter, table, &heads, &widths);
        }
        row(setter, table, cells, &widths, false);
        setter.rule(0.4);
    }
    setter.y += AROUND;
}

fn heads(setter: &mut Setter, table: &Table, heads: &[Text], widths: &[f32]) {
    row(setter, table, heads, widths, true);
    let (corner, size) = ([SIDE, setter.y], [setter.width(), 0.8]);
    setter.put(Item::Box {
        corner,
        size,
        colour: FAINT.map(|_| 90),
    });
}

fn row(setter: &mut Setter, table: &Table, cells: &[Text], widths: &[f32], head: bool) {
    let (top, colour) = (setter.y + PAD, if head { QUIET } else { INK });
    let mut x = SIDE;
    for ((cell, width), column) in cells.iter().zip(widths).zip(&table.columns) {
        let lines = setter.letters.lines(cell, SIZE, *width);
        for (number, line) in lines.iter().enumerate() {
            let left = if column.figures {
                width - line.width
            } else {
                0.0
            };
            for piece in &line.pieces {
                setter.put(Item::Text {
                    at: [
                        x + left + piece.along,
                        top + number as f32 * SIZE * LEADING + SIZE,
                    ],
                    size: SIZE,
                    bold: piece.bold,
                    colour,
                    text: piece.text.clone(),
                });
            }
        }
        x += width + GAP;
    }
    setter.y += height(setter, cells, widths);
}

fn height(setter: &Setter, cells: &[Text], widths: &[f32]) -> f32 {
    let heights = cells
        .iter()
        .zip(widths)
        .map(|(cell, width)| setter.height(cell, *width, SIZE));
    heights.fold(SIZE * LEADING, f32::max) + 2.0 * PAD
}

/// The widths of the columns, which together with the gaps take all of `width`.
fn widths(letters: &Letters, table: &Table, width: f32) -> Vec<f32> {
    let room = width - GAP * table.columns.len().saturating_sub(1) as f32;
    let columns = || table.columns.iter().enumerate();
    let of = |measure: &dyn Fn(&Text) -> f32| -> Vec<f32> {
        columns()
            .map(|(number, column)| {
                let cells = table.rows.iter().filter_map(|row| row.get(number));
                cells
                    .map(measure)
                    .fold(measure(&column.head.into()), f32::max)
            })
            .collect()
    };
    let wanted = of(&|text| letters.whole_width(text, SIZE));
    let least = of(&|text| letters.widest_word(text, SIZE).min(WIDEST_WORD));
    let (all, lowest): (f32, f32) = (wanted.iter().sum(), least.iter().sum());
    if all <= room {
        let more = (room - all) / wanted.len().max(1) as f32;
        wanted.iter().map(|width| width + more).collect()
    } else if lowest < room {
        let lacking: Vec<f32> = wanted
            .iter()
            .zip(&least)
            .map(|(wanted, least)| wanted - least)
            .collect();
        let share = (room - lowest) / lacking.iter().sum::<f32>();
        least
            .iter()
            .zip(&lacking)
            .map(|(least, lacking)| least + lacking.max(0.0) * share)
            .collect()
    } else {
        least.iter().map(|width| width * room / lowest).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_take_the_width_that_there_is() {
        let letters = Letters::new().expect("the fonts of the report");
        let long = "a long sentence that says what is demanded and how it is measured ".repeat(3);
        for cells in [
            ["SR2", "5.0 mm"],
            ["SR2", long.as_str()],
            ["0123456789abcdef0123456789abcdef0123456789", long.as_str()],
        ] {
            let mut table = Table::new("classes", &["class", "#allowed"]);
            table.row(cells);
            for width in [90.0, 200.0, 480.0] {
                let widths = widths(&letters, &table, width);
                let all = widths.iter().sum::<f32>() + GAP;
                assert!(
                    (all - width).abs() < 0.5,
                    "{cells:?} in {width}: {widths:?}"
                );
                assert!(widths.iter().all(|width| *width > 0.0));
            }
        }
    }
}

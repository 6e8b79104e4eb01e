//! The legend in columns: beside the map, under it, or both.
//!
//! In: items of known height. Out: a place for each. Items keep their order; a heading stays with what follows it.

use super::MapPlan;
use super::boxes::Rect;
use super::panel::{self, Item};
use super::sheet::Point;

/// Width of a column, mm.
pub const COLUMN: f64 = 80.0;
/// Between columns, and between them and the map, mm.
pub const GAP: f64 = 8.0;
/// The most rows of the table that are tried.
const ROWS: usize = 60;
/// The rows that are shown even if they do not fit.
const ROWS_AT_LEAST: usize = 3;

/// The legend in the column beside the map, and the table under it or, if that shows more of it or saves paper, in the
/// room at the foot of the map. Returns where all ends, mm.
pub fn beside_map(
    plan: &MapPlan,
    legend: &[Item],
    column: Point,
    foot: Rect,
) -> (Vec<(Item, Point)>, f64) {
    let whole = Columns::fitting(plan, legend, 1, foot.bottom - column[1]);
    let side = Columns::flowing(legend.to_vec(), 1);
    let table = Columns::fitting(plan, &[], columns_in(foot.width()), foot.height());
    let bottoms = [
        column[1] + whole.height,
        (column[1] + side.height).max(foot.top + table.height),
    ];
    let apart = (table.rows(), -bottoms[1]) > (whole.rows(), -bottoms[0].max(foot.top));
    if apart {
        let mut items = side.placed(column);
        items.extend(table.placed([foot.left, foot.top]));
        (items, bottoms[1])
    } else {
        (whole.placed(column), bottoms[0])
    }
}

/// How many columns stand beside each other in `width` mm: one at least.
pub fn columns_in(width: f64) -> usize {
    ((width + GAP) / (COLUMN + GAP)).floor().max(1.0) as usize
}

/// Items in columns.
pub struct Columns {
    items: Vec<Item>,
    /// Column and top of each, mm.
    places: Vec<(usize, f64)>,
    /// Of the columns, mm.
    pub height: f64,
}

impl Columns {
    /// The legend and as many rows of the table as fit `highest`, but a few at least.
    pub fn fitting(plan: &MapPlan, legend: &[Item], columns: usize, highest: f64) -> Self {
        let mut rows = ROWS;
        loop {
            let items = legend.iter().cloned().chain(panel::table(plan, rows));
            let fitted = Self::flowing(items.collect(), columns);
            if fitted.height <= highest || rows <= ROWS_AT_LEAST {
                return fitted;
            }
            rows -= 1;
        }
    }

    fn rows(&self) -> usize {
        let rows = self
            .items
            .iter()
            .filter(|item| matches!(item, Item::Row(_)));
        rows.count()
    }

    /// In the lowest columns that hold all items in their order.
    fn flowing(items: Vec<Item>, columns: usize) -> Self {
        let heights: Vec<f64> = items.iter().map(Item::height).collect();
        let total: f64 = heights.iter().sum();
        let mut height = total / columns as f64;
        loop {
            let (mut column, mut top) = (0, 0.0);
            let mut places = Vec::with_capacity(items.len());
            for (index, item) in items.iter().enumerate() {
                let needed = item.height()
                    + match item {
                        Item::Heading(_) => heights.get(index + 1).copied().unwrap_or(0.0),
                        _ => 0.0,
                    };
                if top + needed > height + 1e-9 {
                    (column, top) = (column + 1, 0.0);
                }
                places.push((column, top));
                // No white at the head of a column.
                if top > 0.0 || *item != Item::Space {
                    top += item.height();
                }
            }
            if column < columns || height > 2.0 * total {
                return Self {
                    items,
                    places,
                    height,
                };
            }
            height += 2.0;
        }
    }

    /// The items with their top left corners, the first at the one given.
    pub fn placed(&self, [left, top]: Point) -> Vec<(Item, Point)> {
        let places = self
            .places
            .iter()
            .map(|(column, down)| [left + *column as f64 * (COLUMN + GAP), top + down]);
        self.items.iter().cloned().zip(places).collect()
    }
}

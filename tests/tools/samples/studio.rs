//! An L-shaped studio with a column, read where the staff happened to be set.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{File, Instrument, MM, ripple};

/// Seed of the places and the readings.
pub const SEED: u64 = 64_052;
/// Corners of the walls, m.
pub const WALLS: [[f64; 2]; 6] = [
    [0.0, 0.0],
    [6.4, 0.0],
    [6.4, 2.8],
    [3.8, 2.8],
    [3.8, 5.2],
    [0.0, 5.2],
];
/// Corners of the column, m.
pub const COLUMN: [[f64; 2]; 4] = [[2.2, 2.0], [2.6, 2.0], [2.6, 2.4], [2.2, 2.4]];
/// The staff's foot stays this far from walls and column, m.
const FOOT: f64 = 0.05;

/// The screed, m above the door sill: a fall towards the corner at x 0, y 0, and waves of some 12 mm in all.
pub fn truth(x: f64, y: f64) -> f64 {
    -18.0 * MM
        + 1.5 * MM * x
        + 1.2 * MM * y
        + ripple(3.5 * MM, 3.6, x + 0.3 * y, 1.1)
        + ripple(2.5 * MM, 2.9, y - 0.4 * x, 0.2)
}

/// Whether the staff can stand at x, y.
fn stands(x: f64, y: f64) -> bool {
    let within = |[x0, y0]: [f64; 2], [x1, y1]: [f64; 2], margin: f64| {
        x >= x0 - margin && x <= x1 + margin && y >= y0 - margin && y <= y1 + margin
    };
    let room = within(WALLS[0], WALLS[2], -FOOT) || within(WALLS[0], WALLS[4], -FOOT);
    room && !within(COLUMN[0], COLUMN[2], FOOT)
}

/// `survey.csv`, heights to half a millimetre, and `outline.csv`.
pub fn files() -> Vec<File> {
    vec![
        ("corner-studio/survey.csv", readings().into_bytes()),
        ("corner-studio/outline.csv", outline().into_bytes()),
    ]
}

/// Rows A to L across the room, paced rather than taped: each foot up to 0.12 m from where a grid would have it.
fn readings() -> String {
    const COLUMNS: usize = 15;
    const ROWS: usize = 12;
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut level = Instrument::new(SEED + 1, 0.4 * MM, 0.5 * MM);
    let mut pace = |index: usize, count: usize, length: f64| {
        let paced = length * index as f64 / (count - 1) as f64 + rng.random_range(-0.12..0.12);
        (paced.clamp(FOOT + 0.01, length - FOOT - 0.01) * 100.0).round() / 100.0
    };
    let mut text = String::from("point,x_m,y_m,height_mm\n");
    for (row, letter) in ('A'..).take(ROWS).enumerate() {
        let mut number = 0;
        for column in 0..COLUMNS {
            let (x, y) = (pace(column, COLUMNS, 6.4), pace(row, ROWS, 5.2));
            if stands(x, y) {
                number += 1;
                let height = level.read(truth(x, y)) / MM;
                text += &format!("{letter}{number},{x:.2},{y:.2},{height:.1}\n");
            }
        }
    }
    text
}

fn outline() -> String {
    let rings = [(0, WALLS.as_slice()), (1, COLUMN.as_slice())];
    let corners = rings.into_iter().flat_map(|(ring, corners)| {
        corners
            .iter()
            .map(move |[x, y]| format!("{x:.1},{y:.1},{ring}\n"))
    });
    String::from("x_m,y_m,ring\n") + &corners.collect::<String>()
}

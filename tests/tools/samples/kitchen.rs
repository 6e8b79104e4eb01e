//! A weaver's kitchen of 3.6 x 2.8 m, read off a staff on a 0.4 m grid before and after the pour.

use super::{File, Instrument, MM, bump, ripple};

/// Seed of the readings.
pub const SEED: u64 = 36_028;
/// Distance between readings, m; the first stand half of it from the walls.
pub const PITCH: f64 = 0.4;
const COLUMNS: usize = 9;
const ROWS: usize = 7;
/// Column and row where the staff could not stand: a heating pipe, and the waste stack in the corner.
const BLOCKED: [[usize; 2]; 2] = [[6, 5], [8, 6]];
/// Height of the poured floor, m: 3 mm over the highest reading of the old one.
const POURED: f64 = -1.253;

/// The old screed, m below the laser's line of sight: a gentle fall to the left, a hump and a hollow.
pub fn truth(x: f64, y: f64) -> f64 {
    -1.264
        + 0.8 * MM * x
        + bump(9.0 * MM, 0.9, [1.1, 1.1], [x, y])
        + bump(-8.0 * MM, 0.9, [2.5, 1.5], [x, y])
        + ripple(0.8 * MM, 2.2, x + 0.6 * y, 0.3)
}

/// The floor after the pour, m: level to a millimetre.
pub fn truth_after(x: f64, y: f64) -> f64 {
    POURED + ripple(0.3 * MM, 2.7, x, 0.4) + ripple(0.3 * MM, 3.1, y, 0.9)
}

/// `survey.csv` and `after.csv`, staff readings to the millimetre.
pub fn files() -> Vec<File> {
    vec![
        ("weavers-kitchen/survey.csv", grid(SEED, truth)),
        ("weavers-kitchen/after.csv", grid(SEED + 1, truth_after)),
    ]
}

fn grid(seed: u64, floor: fn(f64, f64) -> f64) -> Vec<u8> {
    let mut laser = Instrument::new(seed, 0.5 * MM, MM);
    let along = |index: usize| (index as f64 + 0.5) * PITCH;
    let mut text = String::from("staff_mm");
    for column in 0..COLUMNS {
        text += &format!(",{:.1}", along(column));
    }
    text += "\n";
    for row in 0..ROWS {
        text += &format!("{:.1}", along(row));
        for column in 0..COLUMNS {
            let staff = -laser.read(floor(along(column), along(row))) / MM;
            text += ",";
            if !BLOCKED.contains(&[column, row]) {
                text += &format!("{staff:.0}");
            }
        }
        text += "\n";
    }
    text.into_bytes()
}

//! Two rooms of a weaver's cottage, side by side, read off a staff from one set-up of a laser before and after the pour.

use super::{File, Instrument, MM, bump, ripple};

/// Seed of the readings.
pub const SEED: u64 = 36_040;
/// Distance between readings, m; the first stand half of it from the walls.
pub const PITCH: f64 = 0.4;
/// Columns and rows of the parlour's readings, whose corner is at 0, 0.
pub const PARLOUR: [usize; 2] = [8, 6];
/// Columns and rows of the kitchen's readings, whose corner is at x 3.2, y 0.
pub const KITCHEN: [usize; 2] = [6, 5];
/// Where the kitchen begins, m.
const WALL: f64 = 3.2;
/// Height of both poured floors, m.
const POURED: f64 = -1.244;

/// The old floors, m below the laser's line of sight: flagstones, the kitchen's lower than the parlour's.
pub fn truth(x: f64, y: f64) -> f64 {
    let stones = ripple(1.2 * MM, 1.1, x, 0.2) + ripple(0.9 * MM, 0.9, y, 0.5);
    if x < WALL {
        -1.249 - 1.5 * MM * y + bump(-5.0 * MM, 0.8, [1.2, 1.6], [x, y]) + stones
    } else {
        -1.255 + bump(6.0 * MM, 0.7, [4.6, 1.0], [x, y]) + stones
    }
}

/// The floors after the pour, m: level to a millimetre.
pub fn truth_after(x: f64, y: f64) -> f64 {
    POURED + ripple(0.4 * MM, 2.3, x + y, 0.3)
}

/// Lists of points with staff readings to the millimetre.
pub fn files() -> Vec<File> {
    let parlour = |seed, floor| list(seed, floor, 0.0, PARLOUR);
    let kitchen = |seed, floor| list(seed, floor, WALL, KITCHEN);
    vec![
        ("weavers-cottage/parlour.csv", parlour(SEED, truth)),
        ("weavers-cottage/kitchen.csv", kitchen(SEED + 1, truth)),
        (
            "weavers-cottage/parlour-after.csv",
            parlour(SEED + 2, truth_after),
        ),
        (
            "weavers-cottage/kitchen-after.csv",
            kitchen(SEED + 3, truth_after),
        ),
    ]
}

fn list(seed: u64, floor: fn(f64, f64) -> f64, from: f64, [columns, rows]: [usize; 2]) -> Vec<u8> {
    let mut laser = Instrument::new(seed, 0.5 * MM, MM);
    let along = |index: usize| (index as f64 + 0.5) * PITCH;
    let mut text = String::from("x_m,y_m,staff_mm\n");
    for row in 0..rows {
        for column in 0..columns {
            let (x, y) = (from + along(column), along(row));
            let staff = -laser.read(floor(x, y)) / MM;
            text += &format!("{x:.1},{y:.1},{staff:.0}\n");
        }
    }
    text.into_bytes()
}

//! A hall of 12 x 8 m, read with a digital level on a 0.25 m grid.

use super::{File, Instrument, MM, ripple};

/// Seed of the readings.
pub const SEED: u64 = 120_080;
/// Distance between readings, m; the first stand half of it from the walls.
pub const PITCH: f64 = 0.25;
const COLUMNS: usize = 48;
const ROWS: usize = 32;

/// The slab, m above the hall's bench mark: long waves that a straightedge hardly feels, and shorter ones that it does.
pub fn truth(x: f64, y: f64) -> f64 {
    4.0 * MM
        + ripple(3.0 * MM, 9.5, x + 0.5 * y, 2.0)
        + ripple(1.25 * MM, 2.9, x - 0.4 * y, 0.7)
        + ripple(1.15 * MM, 3.3, y + 0.3 * x, 1.6)
}

/// `survey.csv`, heights to a tenth of a millimetre.
pub fn files() -> Vec<File> {
    let mut level = Instrument::new(SEED, 0.3 * MM, 0.1 * MM);
    let mut text = String::from("x_m,y_m,z_mm\n");
    for row in 0..ROWS {
        for column in 0..COLUMNS {
            let [x, y] = [column, row].map(|index| (index as f64 + 0.5) * PITCH);
            // Adding zero keeps a minus off a height that rounds to nothing.
            let height = level.read(truth(x, y)) / MM + 0.0;
            text += &format!("{x:.3},{y:.3},{height:.1}\n");
        }
    }
    vec![("twin-peg-hall/survey.csv", text.into_bytes())]
}

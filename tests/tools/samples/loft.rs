//! A bobbin loft of 5.6 x 4.2 m, tried by hand with a straightedge and a wedge.
//!
//! The edge is laid on the true floor: it rests on the two places that carry its middle, and the wedge goes in where the
//! gap between them is widest.

use super::{File, Instrument, MM, bump, ripple};

/// Seed of the wedge.
pub const SEED: u64 = 56_042;
/// Corners of the walls, m: a chimney breast stands out from the wall at y 4.2.
const WALLS: [[f64; 2]; 8] = [
    [0.0, 0.0],
    [5.6, 0.0],
    [5.6, 4.2],
    [3.4, 4.2],
    [3.4, 3.7],
    [2.0, 3.7],
    [2.0, 4.2],
    [0.0, 4.2],
];
/// Name, middle in m, azimuth in degrees, length in m of every edge laid.
pub const EDGES: [(&str, [f64; 2], f64, f64); 15] = [
    ("1", [1.1, 0.4], 90.0, 2.0),
    ("2", [3.3, 0.4], 90.0, 2.0),
    ("3", [0.4, 1.3], 0.0, 2.0),
    ("4", [1.2, 1.5], 45.0, 2.0),
    ("5", [2.2, 1.4], 0.0, 2.0),
    ("6", [3.7, 1.2], 90.0, 2.0),
    ("7", [5.2, 1.3], 180.0, 2.0),
    ("8", [1.2, 2.6], 90.0, 2.0),
    ("9", [2.4, 3.0], 110.0, 2.0),
    ("10", [4.5, 1.7], 40.0, 2.0),
    ("11", [4.4, 3.6], 90.0, 2.0),
    ("12", [3.2, 2.2], 135.0, 2.0),
    ("13", [1.0, 3.9], 90.0, 1.2),
    ("14", [1.4, 3.4], 20.0, 1.2),
    ("15", [3.0, 1.9], 80.0, 3.0),
];
/// Places along an edge that are tried, a centimetre apart.
const STEP: f64 = 0.01;

/// The floor, m: a hollow where the bobbin winder stood, and ripples of 2 mm in all.
pub fn truth(x: f64, y: f64) -> f64 {
    0.9 * MM * x
        + bump(-8.0 * MM, 0.85, [3.9, 1.3], [x, y])
        + ripple(0.6 * MM, 1.7, x + 0.3 * y, 0.4)
        + ripple(0.4 * MM, 1.3, y - 0.5 * x, 0.1)
}

/// How far along an edge its gap is widest, and how wide, m. It rests on the highest chord over its middle.
pub fn gap([x, y]: [f64; 2], azimuth: f64, length: f64) -> [f64; 2] {
    let steps = (length / STEP).round() as usize;
    let (east, north) = azimuth.to_radians().sin_cos();
    let along = |step: usize| step as f64 * STEP;
    let height = |step: usize| {
        let by = along(step) - length / 2.0;
        truth(x + by * east, y + by * north)
    };
    let heights: Vec<f64> = (0..=steps).map(height).collect();
    let chord = |a: usize, b: usize, at: usize| {
        heights[a] + (heights[b] - heights[a]) * (at - a) as f64 / (b - a) as f64
    };
    let middle = steps / 2;
    let contacts = (0..middle).flat_map(|a| (middle + 1..=steps).map(move |b| (a, b)));
    let (a, b) = contacts
        .max_by(|p, q| chord(p.0, p.1, middle).total_cmp(&chord(q.0, q.1, middle)))
        .expect("two contacts");
    (a..=b)
        .map(|at| [along(at), chord(a, b, at) - heights[at]])
        .max_by(|p, q| p[1].total_cmp(&q[1]))
        .expect("a place")
}

/// `survey.csv`, gaps to half a millimetre, and `outline.csv`.
pub fn files() -> Vec<File> {
    vec![
        ("bobbin-loft/survey.csv", book().into_bytes()),
        ("bobbin-loft/outline.csv", outline().into_bytes()),
    ]
}

fn book() -> String {
    let mut wedge = Instrument::new(SEED, 0.3 * MM, 0.5 * MM);
    let mut text = String::from("point,x_m,y_m,azimuth_deg,length_m,along_m,gap_mm\n");
    for (name, [x, y], azimuth, length) in EDGES {
        let [along, gap] = gap([x, y], azimuth, length);
        let (east, north) = azimuth.to_radians().sin_cos();
        let by = along - length / 2.0;
        let (x, y) = (x + by * east, y + by * north);
        let gap = wedge.read(gap).max(0.0) / MM;
        text += &format!("{name},{x:.2},{y:.2},{azimuth:.0},{length:.1},{along:.2},{gap:.1}\n");
    }
    text
}

fn outline() -> String {
    let corners = WALLS.iter().map(|[x, y]| format!("{x:.1},{y:.1}\n"));
    String::from("x_m,y_m\n") + &corners.collect::<String>()
}

//! All the chords of a floor, straight from the definition: what the fast ways are held against.

use lowspot::flatness::straightedge::DIRECTIONS;
use lowspot::surface::HeightField;

/// Every A, C, B in line within the length, with nothing unmeasured between them, and C's share of the way.
pub fn chords(field: &HeightField, length: f64) -> Vec<([usize; 3], f64)> {
    let (nx, ny) = (field.nx as isize, field.ny as isize);
    let mut chords = Vec::new();
    for (p, q) in DIRECTIONS {
        let (p, step) = (p as isize, (p as f64 * field.dx).hypot(q as f64 * field.dy));
        for a in 0..nx * ny {
            let at = |k: isize| {
                let (x, y) = (a % nx + k * p, a / nx + k * q);
                ((0..nx).contains(&x) && (0..ny).contains(&y)).then(|| (y * nx + x) as usize)
            };
            let run: Vec<usize> = (0..)
                .map_while(at)
                .take_while(|&node| field.z[node].is_finite())
                .collect();
            for k in (2..run.len()).take_while(|&k| k as f64 * step <= length * (1.0 + 1e-9)) {
                chords.extend((1..k).map(|c| ([run[0], run[c], run[k]], c as f64 / k as f64)));
            }
        }
    }
    chords
}

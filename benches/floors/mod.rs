//! Floors that several benches lay straightedges on.

use lowspot::surface::HeightField;

/// A hall of 25 mm cells: two waves of 8 and 3 mm, and 1 mm of scatter from a fixed generator.
pub fn hall(side: usize) -> HeightField {
    let mut field = HeightField::unmeasured([0.0, 0.0], [0.025, 0.025], [side, side]);
    let mut state = 1u64;
    for node in 0..side * side {
        let [x, y] = field.position(node);
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        let scatter = (state >> 40) as f64 / (1u64 << 24) as f64 - 0.5;
        field.z[node] = 0.008 * (0.9 * x).sin() * (0.7 * y).cos()
            + 0.003 * (2.3 * x + y).sin()
            + 0.001 * scatter;
        field.u[node] = 0.0005;
    }
    field
}

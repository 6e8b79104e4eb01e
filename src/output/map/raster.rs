//! The coloured picture under the lines: a lattice of values as one small embedded image.
//!
//! In: a value a node of the surface's lattice, m. Out: a finer or coarser lattice, and a palette PNG of it.
//! Between readings the value is bilinear: at the readings, along the grid lines and in the middle of a cell it is that of
//! the surface (four triangles about the mean of the corners). A cell with a corner that was not measured stays blank.
//! Cells of a scan are drawn as they are, or as means of blocks where there are more than a picture of this size shows.

use std::borrow::Cow;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use super::Scale;
use super::colour;
use crate::error::{Error, Result};
use crate::surface::{Kind, Surface};

/// Pixels along the longer side of a picture made from readings.
pub const PIXELS: usize = 300;
/// Most pixels of a picture made from cells: the paper shows no more.
const CELLS_PIXELS: usize = 1_100_000;
/// The PNG is made coarser until it is smaller than this, in bytes: a third more as text, and the lines come on top.
const PNG_BYTES: usize = 560_000;

/// Values on a lattice, rows of constant y, local metres; NaN where not measured. Those of a scan are the surface's own: there
/// may be millions.
#[derive(Debug, Clone, PartialEq)]
pub struct Lattice<'a> {
    /// Local x, y of node (0, 0), m.
    pub first: [f64; 2],
    /// Distance between columns and between rows, m.
    pub step: [f64; 2],
    /// Number of columns and rows.
    pub size: [usize; 2],
    /// Values, m, length `size[0] * size[1]`, node (ix, iy) at `iy * size[0] + ix`.
    pub values: Cow<'a, [f64]>,
}

impl Lattice<'_> {
    /// The value at a node, NaN outside.
    pub fn at(&self, ix: usize, iy: usize) -> f64 {
        if ix < self.size[0] && iy < self.size[1] {
            self.values
                .get(iy * self.size[0] + ix)
                .copied()
                .unwrap_or(f64::NAN)
        } else {
            f64::NAN
        }
    }

    /// The plan area of its pixels: lowest corner, highest corner, local m.
    pub fn extent(&self) -> [[f64; 2]; 2] {
        let low = |axis: usize| self.first[axis] - self.step[axis] / 2.0;
        let high = |axis: usize| low(axis) + self.step[axis] * self.size[axis] as f64;
        [[low(0), low(1)], [high(0), high(1)]]
    }

    /// Means of blocks of `by` x `by` nodes; a block is measured if at least half of it is.
    pub fn coarser(&self, by: usize) -> Self {
        if by == 1 {
            return self.clone();
        }
        let size = [self.size[0].div_ceil(by), self.size[1].div_ceil(by)];
        let mut values = Vec::with_capacity(size[0] * size[1]);
        for iy in 0..size[1] {
            for ix in 0..size[0] {
                values.push(self.mean(
                    [ix * by, (ix + 1) * by],
                    [iy * by, (iy + 1) * by],
                    by * by / 2,
                ));
            }
        }
        let shift = (by - 1) as f64 / 2.0;
        Self {
            first: [
                self.first[0] + shift * self.step[0],
                self.first[1] + shift * self.step[1],
            ],
            step: [self.step[0] * by as f64, self.step[1] * by as f64],
            size,
            values: values.into(),
        }
    }

    /// Each node replaced by the mean of the measured ones up to `reach` nodes away in x and in y. One that was not
    /// measured stays so, unless most of that window was: scattered missing cells are bridged, edges do not move.
    pub fn smoothed(&self, reach: usize) -> Self {
        let side = 2 * reach + 1;
        let mean = |(index, value): (usize, &f64)| {
            let (ix, iy) = (index % self.size[0], index / self.size[0]);
            let least = if value.is_finite() {
                1
            } else {
                side * side / 2 + 1
            };
            self.mean(
                [ix.saturating_sub(reach), ix + reach + 1],
                [iy.saturating_sub(reach), iy + reach + 1],
                least,
            )
        };
        Self {
            values: self.values.iter().enumerate().map(mean).collect(),
            ..*self
        }
    }

    /// Mean of the measured nodes in a window, NaN unless there are at least `least` and one.
    fn mean(&self, columns: [usize; 2], rows: [usize; 2], least: usize) -> f64 {
        let (mut sum, mut count) = (0.0, 0);
        for iy in rows[0]..rows[1].min(self.size[1]) {
            for ix in columns[0]..columns[1].min(self.size[0]) {
                let value = self.at(ix, iy);
                if value.is_finite() {
                    sum += value;
                    count += 1;
                }
            }
        }
        if count >= least.max(1) {
            sum / count as f64
        } else {
            f64::NAN
        }
    }
}

/// The values of a map: readings interpolated to about `longer` nodes along the longer side, cells as they are.
pub fn lattice<'a>(surface: &Surface, values: &'a [f64], longer: usize) -> Lattice<'a> {
    let field = &surface.field;
    let nodes = Lattice {
        first: [field.x0, field.y0],
        step: [field.dx, field.dy],
        size: [field.nx, field.ny],
        values: values.into(),
    };
    match surface.kind {
        Kind::Cells => nodes,
        Kind::Grid | Kind::Triangulated | Kind::Lines => interpolated(&nodes, longer),
    }
}

fn interpolated(nodes: &Lattice, longer: usize) -> Lattice<'static> {
    let cells = nodes.size.map(|nodes| nodes.saturating_sub(1));
    let fine = (longer / cells[0].max(cells[1]).max(1)).clamp(1, 100);
    let shares: Vec<f64> = (0..fine)
        .map(|place| (place as f64 + 0.5) / fine as f64)
        .collect();
    let between = |low: f64, high: f64, share: f64| low * (1.0 - share) + high * share;
    let size = cells.map(|cells| cells * fine);
    let mut values = Vec::with_capacity(size[0] * size[1]);
    for iy in 0..cells[1] {
        for v in &shares {
            let across = |ix| between(nodes.at(ix, iy), nodes.at(ix, iy + 1), *v);
            let mut left = across(0);
            for right in (1..nodes.size[0]).map(across) {
                values.extend(shares.iter().map(|u| between(left, right, *u)));
                left = right;
            }
        }
    }
    let step = nodes.step.map(|step| step / fine as f64);
    Lattice {
        first: [
            nodes.first[0] + step[0] / 2.0,
            nodes.first[1] + step[1] / 2.0,
        ],
        step,
        size,
        values: values.into(),
    }
}

/// A picture to embed, and the plan area it covers.
#[derive(Debug)]
pub struct Picture {
    /// A PNG as base64 text.
    pub base64: String,
    /// Lowest corner, highest corner, local m.
    pub extent: [[f64; 2]; 2],
}

/// The lattice in colours, as coarse as it must be to stay small. None if it has no nodes.
///
/// # Errors
/// [`Error::Write`] if the image cannot be encoded.
pub fn picture(lattice: &Lattice, scale: Scale, ends: [f64; 2]) -> Result<Option<Picture>> {
    let [nx, ny] = lattice.size;
    if nx == 0 || ny == 0 {
        return Ok(None);
    }
    let mut by = ((nx * ny) as f64 / CELLS_PIXELS as f64)
        .sqrt()
        .ceil()
        .max(1.0) as usize;
    loop {
        let shown = lattice.coarser(by);
        let png = encode(&shown, scale, ends).map_err(|error| Error::Write {
            file: "the map's image".to_owned(),
            source: error.into(),
        })?;
        if png.len() <= PNG_BYTES {
            return Ok(Some(Picture {
                base64: STANDARD.encode(&png),
                extent: shown.extent(),
            }));
        }
        by += 1;
    }
}

/// Palette entry 0 is "not measured" and transparent.
fn encode(
    shown: &Lattice,
    scale: Scale,
    ends: [f64; 2],
) -> std::result::Result<Vec<u8>, png::EncodingError> {
    let [nx, ny] = shown.size;
    let pixel = |value: &f64| match value {
        value if value.is_finite() => colour::step(*value, ends) as u8 + 1,
        _ => 0,
    };
    let mut pixels = Vec::with_capacity(nx * ny);
    for row in shown.values.chunks(nx).rev() {
        pixels.extend(row.iter().map(pixel));
    }
    let mut palette = vec![255; 3];
    palette.extend(colour::palette(scale).into_iter().flatten());
    let mut png = Vec::new();
    let mut encoder = png::Encoder::new(&mut png, nx as u32, ny as u32);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(palette);
    encoder.set_trns(vec![0]);
    encoder.set_compression(png::Compression::Fast);
    encoder.set_filter(png::FilterType::Up);
    encoder.write_header()?.write_image_data(&pixels)?;
    Ok(png)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lattice(size: [usize; 2], values: Vec<f64>) -> Lattice<'static> {
        Lattice {
            first: [0.0, 0.0],
            step: [1.0, 1.0],
            size,
            values: values.into(),
        }
    }

    #[test]
    fn blocks_keep_the_mean_and_the_place() {
        let coarse = lattice(
            [4, 2],
            vec![1.0, 2.0, 9.0, f64::NAN, 3.0, 2.0, f64::NAN, f64::NAN],
        )
        .coarser(2);
        assert_eq!(coarse.size, [2, 1]);
        assert_eq!(coarse.values[0], 2.0);
        assert!(
            coarse.values[1].is_nan(),
            "a quarter measured is not measured"
        );
        assert_eq!(coarse.extent(), [[-0.5, -0.5], [3.5, 1.5]]);
    }

    #[test]
    fn smoothing_leaves_a_tilt_alone_and_invents_nothing() {
        let mut values: Vec<f64> = (0..49).map(|i| f64::from(i % 7)).collect();
        values[0] = f64::NAN;
        values[24] = f64::NAN;
        let smooth = lattice([7, 7], values).smoothed(2);
        assert_eq!(smooth.at(3, 3), 3.0, "a single gap is bridged");
        // Its window of 25 lacks the 0 in the corner and the 3: (25 * 2 - 0 - 3) / 23.
        assert_eq!(smooth.at(2, 2), 47.0 / 23.0);
        assert!(smooth.at(0, 0).is_nan());
    }

    #[test]
    fn noise_of_a_million_cells_stays_small() {
        // A linear congruential generator: the worst case, no two neighbours alike.
        let mut state = 1u64;
        let values = (0..1_000_000)
            .map(|_| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                (state >> 40) as f64 / (1u64 << 24) as f64 - 0.5
            })
            .collect();
        let scale = Scale::Diverging { limit: None };
        let picture = picture(&lattice([1000, 1000], values), scale, [-0.5, 0.5])
            .expect("encodes")
            .expect("has pixels");
        assert!(picture.base64.len() < 800_000, "{}", picture.base64.len());
    }
}

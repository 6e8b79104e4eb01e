//! The height to finish at.
//!
//! In: a datum, or a cover over the highest spot, or a fall, or a lattice of depths. Out: a [`Target`], which tells the
//! depth of compound over any point of the floor.
//! Definition 6 of the README. A datum below some of the floor is allowed: what stands above it is ground off or left
//! proud, and [`super::volume()`] tells how much.

use std::sync::Arc;

use super::raised::Raised;
use crate::error::{Error, Result};
use crate::surface::{HeightField, Surface};

/// A place this near to the middle of the floor gives no direction to fall in, m.
const CLOSEST: f64 = 0.01;

/// The surface to finish at, in local metres.
#[derive(Debug, Clone, PartialEq)]
pub enum Target {
    /// Level everywhere.
    Level {
        /// Height of the finished floor, m.
        datum: f64,
    },
    /// Flat, and falling as it falls.
    Plane {
        /// Height over the local origin, m.
        height: f64,
        /// Rise along x, m per m.
        slope_x: f64,
        /// Rise along y, m per m.
        slope_y: f64,
    },
    /// As deep over the floor as a lattice says.
    Raised(Arc<Raised>),
}

impl Target {
    /// As deep over the floor as `rise` (depths on the floor's lattice, m) says.
    pub fn raised(rise: HeightField) -> Self {
        Self::Raised(Arc::new(Raised::new(rise)))
    }

    /// Compound over a point of the floor (local x, y, z), m; negative where the floor is too high.
    pub fn depth_over(&self, [x, y, z]: [f64; 3]) -> f64 {
        match self {
            Self::Level { datum } => datum - z,
            Self::Plane {
                height,
                slope_x,
                slope_y,
            } => height + slope_x * x + slope_y * y - z,
            Self::Raised(raised) => raised.depth([x, y]),
        }
    }

    /// The same surface, lower by `by` m everywhere.
    pub fn lowered(&self, by: f64) -> Self {
        match self {
            Self::Level { datum } => Self::Level { datum: datum - by },
            &Self::Plane {
                height,
                slope_x,
                slope_y,
            } => Self::Plane {
                height: height - by,
                slope_x,
                slope_y,
            },
            Self::Raised(raised) => Self::Raised(Arc::new(raised.lowered(by))),
        }
    }
}

/// Level at a height of the survey, m.
pub fn level_from_datum(surface: &Surface, datum: f64) -> Target {
    Target::Level {
        datum: datum - surface.origin[2],
    }
}

/// Level, with `cover` (m) of compound over the highest spot of the floor: the highest corner of its triangles, or the
/// highest cell of a scan.
///
/// # Errors
/// [`Error::Floor`] when nothing of the floor was measured.
pub fn level_from_cover(surface: &Surface, cover: f64) -> Result<Target> {
    let datum = highest_over(surface, [0.0; 2])? + cover;
    Ok(Target::Level { datum })
}

/// Flat, rising by `slope` (m per m along x and y), with `cover` (m) of compound over the spot that stands highest over it.
///
/// # Errors
/// As [`level_from_cover`].
pub fn plane_from_cover(surface: &Surface, slope: [f64; 2], cover: f64) -> Result<Target> {
    let height = highest_over(surface, slope)? + cover;
    Ok(plane_through([0.0, 0.0, height], slope))
}

/// Flat, rising by `slope` (m per m along x and y), through a place (local x, y, z, m).
pub fn plane_through([x, y, z]: [f64; 3], [slope_x, slope_y]: [f64; 2]) -> Target {
    Target::Plane {
        height: z - slope_x * x - slope_y * y,
        slope_x,
        slope_y,
    }
}

/// The slope, m per m along x and y, that falls by `fall` m per m in the straight direction from the middle of the floor to a
/// place (local x, y, m). None where the place is the middle.
pub fn slope_towards(surface: &Surface, fall: f64, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
    let (count, sum) = surface
        .field
        .measured()
        .fold((0.0, [0.0; 2]), |(count, sum), (_, [x, y, _])| {
            (count + 1.0, [sum[0] + x, sum[1] + y])
        });
    let way = [x - sum[0] / count, y - sum[1] / count];
    let length = way[0].hypot(way[1]);
    (length > CLOSEST).then(|| way.map(|along| -fall * along / length))
}

/// How far the floor reaches above a plane of this slope through the local origin, m: at a corner of its triangles, or a
/// cell of a scan.
fn highest_over(surface: &Surface, [slope_x, slope_y]: [f64; 2]) -> Result<f64> {
    let over = |[x, y, z]: [f64; 3]| z - slope_x * x - slope_y * y;
    let highest = if surface.triangles.is_empty() {
        let cells = surface.field.measured();
        cells.map(|(_, cell)| over(cell)).reduce(f64::max)
    } else {
        let corners = surface.triangles.iter().flatten().copied();
        corners.map(over).reduce(f64::max)
    };
    match highest {
        Some(highest) if highest.is_finite() => Ok(highest),
        Some(_) | None => Err(Error::floor(
            "no measured floor",
            "at least one triangle of readings or one cell of a scan",
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::volume::tests::grid;

    #[test]
    fn cover_is_over_the_highest_spot() {
        let mut floor = grid([3, 2], 1.0, |x, y| 0.01 * x - 0.002 * y);
        floor.origin = [0.0, 0.0, 100.0];
        let target = level_from_cover(&floor, 0.003).expect("measured");
        assert_eq!(target, Target::Level { datum: 0.023 });
        assert_eq!(
            level_from_datum(&floor, 100.25),
            Target::Level { datum: 0.25 }
        );
        let pins = crate::pour::pins::at_readings(&floor, &Target::Level { datum: 0.01 });
        assert!(
            (pins[2].depth + 0.01).abs() < 1e-15,
            "0.02 high, wanted 0.01"
        );
    }

    /// 3 m x 2 m about (1.5, 1): towards (1.5, -4) it falls along -y, and the highest spot over it takes the cover.
    #[test]
    fn a_plane_falls_towards_a_drain() {
        let floor = grid([4, 3], 1.0, |x, y| 0.01 * y - 0.002 * x);
        let slope = slope_towards(&floor, 0.0125, [1.5, -4.0]).expect("not the middle");
        assert!(
            slope[0].abs() < 1e-15 && (slope[1] - 0.0125).abs() < 1e-15,
            "{slope:?}"
        );
        assert_eq!(slope_towards(&floor, 0.0125, [1.5, 1.0]), None);
        let target = plane_from_cover(&floor, slope, 0.003).expect("measured");
        let least = floor.pins.iter().map(|pin| target.depth_over(pin.position));
        assert!((least.reduce(f64::min).expect("pins") - 0.003).abs() < 1e-15);
        let through = plane_through([1.5, -4.0, 0.1], slope);
        assert!((through.depth_over([0.0, -4.0, 0.1])).abs() < 1e-15);
        assert!((through.depth_over([0.0, 0.0, 0.1]) - 0.05).abs() < 1e-15);
    }

    #[test]
    fn nothing_measured_has_no_highest_spot() {
        let mut floor = grid([2, 2], 1.0, |_, _| f64::NAN);
        floor.triangles.clear();
        assert!(level_from_cover(&floor, 0.003).is_err());
    }

    #[test]
    fn a_plane_falls() {
        let plane = Target::Plane {
            height: 0.02,
            slope_x: -0.01,
            slope_y: 0.005,
        };
        assert!((plane.depth_over([2.0, 4.0, 0.015]) - 0.005).abs() < 1e-15);
    }
}

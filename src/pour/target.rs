//! The height to finish at.
//!
//! In: a datum, or a cover over the highest spot, or a plane, or a lattice of depths. Out: a [`Target`], which tells the
//! depth of compound over any point of the floor.
//! Definition 6 of the README. A datum below some of the floor is allowed: what stands above it is ground off or left
//! proud, and [`super::volume()`] tells how much.

use std::sync::Arc;

use super::raised::Raised;
use crate::error::{Error, Result};
use crate::surface::{HeightField, Surface};

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
    let corners = surface.triangles.iter().flatten().map(|corner| corner[2]);
    let highest = if surface.triangles.is_empty() {
        surface.field.z.iter().copied().reduce(f64::max)
    } else {
        corners.reduce(f64::max)
    };
    match highest {
        Some(highest) if highest.is_finite() => Ok(Target::Level {
            datum: highest + cover,
        }),
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

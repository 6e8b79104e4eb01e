//! A floor's own axes: its centre, the direction in which it is longest, and the one across.
//!
//! In: points. Out: plan coordinates about the centre along the principal axes, each of unit root mean square, in which
//! a long narrow room set askew on the plan is as good to calculate with as a square one.
//! The axes are the eigenvectors of the plan's covariance matrix. They only choose coordinates: no result depends on
//! their rounding.

use nalgebra::{Matrix2, Vector3};
use rayon::prelude::*;

use super::{CHUNK, Plane};
use crate::error::{Error, Result};

/// Points that spread less than this (root mean square, m) lie at one place.
const ONE_PLACE: f64 = 1e-6;

/// Points that spread across their longest direction less than this share of their spread along it lie on one line.
/// Plan positions are typed to the millimetre, so a line that slants across the plan scatters about itself by some
/// 0.3 mm: 1e-4 of the spread of a line of 10 m. A plane through that would be made of the rounding.
const ONE_LINE: f64 = 1e-4;

/// What a plane needs.
const WANTED: &str = "three points or more that do not lie on one line";

pub(super) struct Axes {
    /// Mean of the points, local x, y, z, m.
    centre: [f64; 3],
    /// Row k: what dx and dy add to own coordinate k, 1/m.
    own: [[f64; 2]; 2],
}

impl Axes {
    /// # Errors
    /// [`Error::Floor`] for fewer than three points, points at one place or on one line, or a coordinate that is not
    /// a finite number.
    pub(super) fn of(points: &[[f64; 3]]) -> Result<Self> {
        if points.len() < 3 {
            return Err(Error::floor(format!("{} points", points.len()), WANTED));
        }
        let centre = mean(points, |&point| point.into());
        // xx, xy, yy; the heights are looked at only for being numbers.
        let spread = mean(points, |&point| {
            let d = Vector3::from(point) - centre;
            Vector3::new(d.x * d.x, d.x * d.y, d.y * d.y)
        });
        if !centre.sum().is_finite() || !spread.sum().is_finite() {
            return Err(Error::floor(
                "a point with a coordinate that is not a number",
                "finite coordinates",
            ));
        }
        let eigen = Matrix2::new(spread.x, spread.y, spread.y, spread.z).symmetric_eigen();
        let (long, across) = if eigen.eigenvalues[0] >= eigen.eigenvalues[1] {
            (0, 1)
        } else {
            (1, 0)
        };
        let size = |k: usize| eigen.eigenvalues[k].max(0.0).sqrt();
        if size(long) < ONE_PLACE {
            return Err(Error::floor("points that all lie at one place", WANTED));
        }
        if size(across) < ONE_LINE * size(long) {
            return Err(Error::floor("points that all lie on one line", WANTED));
        }
        let own = [long, across].map(|k| {
            let axis = eigen.eigenvectors.column(k) / size(k);
            [axis[0], axis[1]]
        });
        Ok(Self {
            centre: centre.into(),
            own,
        })
    }

    /// A point in own coordinates: two without unit, and the height above the centre, m.
    pub(super) fn place(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        let (dx, dy) = (x - self.centre[0], y - self.centre[1]);
        let [u, v] = self
            .own
            .map(|[along_x, along_y]| along_x * dx + along_y * dy);
        [u, v, z - self.centre[2]]
    }

    /// The plane `a + b u + c v` above the centre, in local coordinates.
    pub(super) fn plane(&self, [a, b, c]: [f64; 3]) -> Plane {
        let [u, v] = self.own;
        let (slope_x, slope_y) = (b * u[0] + c * v[0], b * u[1] + c * v[1]);
        let [x, y, z] = self.centre;
        Plane {
            a: z + a - slope_x * x - slope_y * y,
            b: slope_x,
            c: slope_y,
        }
    }
}

/// The mean of three quantities over all points.
fn mean(points: &[[f64; 3]], of: impl Fn(&[f64; 3]) -> Vector3<f64> + Sync) -> Vector3<f64> {
    let sums: Vec<Vector3<f64>> = points
        .par_chunks(CHUNK)
        .map(|chunk| chunk.iter().map(&of).sum())
        .collect();
    sums.into_iter().sum::<Vector3<f64>>() / points.len() as f64
}

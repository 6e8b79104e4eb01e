//! Planes laid through a floor: what its level, its fall and its flatness are told against.
//!
//! In: points, local x, y, z in metres. Out: a [`Plane`] and how far the points leave it: [`least_squares()`] (the plane
//! the floor follows on the whole) and [`minimum_zone()`] (the two parallel planes, as close as can be, that hold it).
//! Distances from a plane are measured along the vertical, as a staff is read. Square to the plane, as ISO 12781-1
//! has it, they are smaller by the cosine of the fall: by 0.02 % at 20 mm/m.
//! Not here: finding the floor in a scan, which needs a plane that furniture cannot pull (see `surface`).

mod axes;
mod doubt;
mod least_squares;
mod minimum_zone;

pub use doubt::{SlopesU, least_squares_u, minimum_zone_u};
pub use least_squares::{Fit, LeastSquares, fit, least_squares};
pub use minimum_zone::{MinimumZone, minimum_zone};

/// Points handled by one task. Partial results are put together in the order of the points, so that a result does not
/// depend on the number of processors.
const CHUNK: usize = 1 << 14;

/// The plane z = a + b x + c y, local metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    /// Height at the local origin, m.
    pub a: f64,
    /// Rise per metre of x.
    pub b: f64,
    /// Rise per metre of y.
    pub c: f64,
}

impl Plane {
    /// Its height at a plan position, m.
    pub fn height(&self, x: f64, y: f64) -> f64 {
        self.a + self.b * x + self.c * y
    }

    /// How far a point lies above it, m; below it is negative.
    pub fn residual(&self, [x, y, z]: [f64; 3]) -> f64 {
        z - self.height(x, y)
    }

    /// Rise per metre of x.
    pub fn slope_x(&self) -> f64 {
        self.b
    }

    /// Rise per metre of y.
    pub fn slope_y(&self) -> f64 {
        self.c
    }

    /// Rise per metre in its steepest direction: 0 is level.
    pub fn fall(&self) -> f64 {
        self.b.hypot(self.c)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Error;

    #[test]
    fn height_residual_and_fall() {
        let plane = Plane {
            a: 1.0,
            b: 0.03,
            c: -0.04,
        };
        assert!((plane.height(10.0, 5.0) - 1.1).abs() < 1e-15);
        assert!((plane.residual([10.0, 5.0, 1.102]) - 0.002).abs() < 1e-15);
        assert!((plane.fall() - 0.05).abs() < 1e-15);
    }

    #[test]
    fn what_is_no_plane_is_an_error_that_says_so() {
        let line = |y: fn(f64) -> f64| {
            (0..20)
                .map(|i| f64::from(i) * 0.7)
                .map(move |x| [x, y(x), x * x])
        };
        let cases: [(&str, Vec<[f64; 3]>); 7] = [
            ("0 points", vec![]),
            ("2 points", vec![[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]]),
            ("one place", vec![[0.1, 0.7, 0.3]; 10]),
            ("one line", line(|_| 3.1).collect()),
            ("one line", line(|x| 0.3 * x - 0.1).collect()),
            // A slanting line typed to the millimetre.
            ("one line", line(|x| (300.0 * x).round() / 1000.0).collect()),
            (
                "not a number",
                vec![[0.0, 0.0, f64::NAN], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
            ),
        ];
        for (wanted, points) in cases {
            for result in [least_squares(&points).err(), minimum_zone(&points).err()] {
                match result {
                    Some(Error::Floor { found, .. }) => assert!(found.contains(wanted), "{found}"),
                    other => panic!("{wanted}: {other:?}"),
                }
            }
        }
    }
}

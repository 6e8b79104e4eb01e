//! The least-squares plane, and least squares with any columns.
//!
//! In: points, or columns and a right-hand side. Out: the coefficients that make the sum of squared vertical residuals
//! least, and what is left.
//! By QR decomposition (Householder) of the columns, centred and scaled first: the normal equations would square the
//! condition number. The rows are taken in blocks and the triangles of the blocks stacked and decomposed once more:
//! the triangle is that of the whole, and the memory is that of a block ("tall and skinny QR": Demmel, Grigori,
//! Hoemmen and Langou, SIAM J. Sci. Comput. 34, A206, 2012; from memory).
//! Not here: weights, and how well the coefficients are known (see `doubt`).

use nalgebra::DMatrix;
use rayon::prelude::*;

use super::axes::Axes;
use super::{CHUNK, Plane};
use crate::error::{Error, Result};

/// Rows of a block: with the four columns of a plane it fits a processor's nearest memory.
const BLOCK: usize = 512;

/// A column that all but this share of lies in the columns before it adds nothing that double precision can tell.
const DEPENDENT: f64 = 1e-14;

/// A least-squares plane and how far the points leave it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeastSquares {
    /// The plane.
    pub plane: Plane,
    /// Root mean square of the vertical residuals, m.
    pub rms: f64,
    /// Height of the highest point above the plane, m.
    pub above: f64,
    /// Depth of the lowest point below the plane, m.
    pub below: f64,
}

/// The least-squares plane of `points` (local x, y, z, m).
///
/// # Errors
/// [`Error::Floor`] for fewer than three points, points at one place or on one line.
pub fn least_squares(points: &[[f64; 3]]) -> Result<LeastSquares> {
    let axes = Axes::of(points)?;
    let (coefficients, rms) = in_axes(points, &axes)?;
    let [a, b, c] = coefficients;
    let ranges: Vec<(f64, f64)> = points
        .par_chunks(CHUNK)
        .map(|chunk| {
            chunk.iter().fold((0.0, 0.0), |(below, above), &point| {
                let [u, v, z] = axes.place(point);
                let residual = z - (a + b * u + c * v);
                (f64::max(below, -residual), f64::max(above, residual))
            })
        })
        .collect();
    Ok(LeastSquares {
        plane: axes.plane(coefficients),
        rms,
        above: ranges.iter().fold(0.0, |most, range| most.max(range.1)),
        below: ranges.iter().fold(0.0, |most, range| most.max(range.0)),
    })
}

/// The coefficients of the least-squares plane in the points' own axes, and the root mean square of its residuals, m.
pub(super) fn in_axes(points: &[[f64; 3]], axes: &Axes) -> Result<([f64; 3], f64)> {
    let blocks = points.par_chunks(BLOCK).map(|block| {
        let mut rows = DMatrix::from_element(block.len(), 4, 1.0);
        for (row, &point) in block.iter().enumerate() {
            let place = axes.place(point);
            (0..3).for_each(|column| rows[(row, column + 1)] = place[column]);
        }
        rows
    });
    let (solution, left) = solve(blocks, 3)?;
    match solution[..] {
        [a, b, c] => Ok(([a, b, c], left / (points.len() as f64).sqrt())),
        _ => Err(dependent()),
    }
}

/// Coefficients of a linear least-squares fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// One for each column; with an intercept, that first.
    pub coefficients: Vec<f64>,
    /// Square root of (sum of squared residuals / (rows - coefficients)); 0 if there are no more rows than coefficients.
    pub residual_sd: f64,
}

/// Least squares of `z` on any `columns`, each as long as `z`; with `intercept`, on a constant as well.
///
/// # Errors
/// [`Error::Floor`] if the columns are not all of one length, there are fewer rows than coefficients, or a column is
/// made up of the others.
pub fn fit(columns: &[&[f64]], z: &[f64], intercept: bool) -> Result<Fit> {
    let (rows, constant) = (z.len(), usize::from(intercept));
    let unknowns = columns.len() + constant;
    if columns.iter().any(|column| column.len() != rows) || rows < unknowns || unknowns == 0 {
        return Err(Error::floor(
            format!("{rows} rows for {unknowns} unknowns"),
            "as many rows as unknowns or more, and columns of one length",
        ));
    }
    let mean = |column: &[f64]| column.iter().sum::<f64>() / rows as f64;
    let centre = |column: &[f64]| if intercept { mean(column) } else { 0.0 };
    let size = |column: &[f64], centre: f64| {
        let squares = column.iter().map(|x| (x - centre).powi(2)).sum::<f64>();
        (squares / rows as f64).sqrt()
    };
    let centres: Vec<f64> = columns.iter().map(|column| centre(column)).collect();
    let sizes: Vec<f64> = columns
        .iter()
        .zip(&centres)
        .map(|(column, &centre)| size(column, centre))
        .collect();
    let z_centre = centre(z);
    let blocks = (0..rows.div_ceil(BLOCK)).into_par_iter().map(|block| {
        let first = block * BLOCK;
        DMatrix::from_fn(BLOCK.min(rows - first), unknowns + 1, |row, k| {
            if k == unknowns {
                z[first + row] - z_centre
            } else if k < constant {
                1.0
            } else {
                let j = k - constant;
                (columns[j][first + row] - centres[j]) / sizes[j]
            }
        })
    });
    let (mut coefficients, left) = solve(blocks, unknowns)?;
    for (j, size) in sizes.iter().enumerate() {
        coefficients[constant + j] /= size;
    }
    if intercept {
        let at_centre: f64 = centres
            .iter()
            .zip(&coefficients[1..])
            .map(|(x, b)| x * b)
            .sum();
        coefficients[0] += z_centre - at_centre;
    }
    let freedom = rows - unknowns;
    Ok(Fit {
        coefficients,
        residual_sd: if freedom > 0 {
            left / (freedom as f64).sqrt()
        } else {
            0.0
        },
    })
}

/// Solves blocks of rows, the right-hand side in their last column, for `unknowns`: the solution, and the root of the
/// sum of squared residuals. The columns must be of about one size.
fn solve(
    blocks: impl IndexedParallelIterator<Item = DMatrix<f64>>,
    unknowns: usize,
) -> Result<(Vec<f64>, f64)> {
    let triangles: Vec<DMatrix<f64>> = blocks.map(|block| block.qr().unpack_r()).collect();
    let rows = triangles.iter().map(DMatrix::nrows).sum();
    let mut stack = DMatrix::zeros(rows, unknowns + 1);
    let mut first = 0;
    for triangle in &triangles {
        stack.rows_mut(first, triangle.nrows()).copy_from(triangle);
        first += triangle.nrows();
    }
    let triangle = stack.qr().unpack_r();
    let (square, right) = (
        triangle.view((0, 0), (unknowns, unknowns)),
        triangle.view((0, unknowns), (unknowns, 1)),
    );
    let diagonal = square.diagonal().abs();
    let (least, most) = (diagonal.min(), diagonal.max());
    if least.is_nan() || least <= DEPENDENT * most {
        return Err(dependent());
    }
    let solution = square
        .solve_upper_triangular(&right)
        .ok_or_else(dependent)?;
    let left = triangle
        .get((unknowns, unknowns))
        .map_or(0.0, |corner| corner.abs());
    Ok((solution.iter().copied().collect(), left))
}

fn dependent() -> Error {
    Error::floor(
        "columns of which one is made up of the others",
        "columns that are independent of one another",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// z = 0.2 + 0.01 x - 0.02 y, and +1 mm and -1 mm in the pattern of a chessboard, on an even number of columns
    /// and rows: the pattern is square to 1, x - mean and y - mean, so the plane comes back and the rms is 1 mm.
    fn chessboard() -> Vec<[f64; 3]> {
        (0..6_000_u32)
            .map(|i| (i % 100, i / 100))
            .map(|(i, j)| {
                let (x, y) = (0.5 * f64::from(i), 0.5 * f64::from(j));
                let tooth = [1e-3, -1e-3][((i + j) % 2) as usize];
                [x, y, 0.2 + 0.01 * x - 0.02 * y + tooth]
            })
            .collect()
    }

    #[test]
    fn plane_of_a_chessboard() {
        let found = least_squares(&chessboard()).expect("a plane");
        assert!((found.plane.a - 0.2).abs() < 1e-13);
        assert!((found.plane.b - 0.01).abs() < 1e-14);
        assert!((found.plane.c + 0.02).abs() < 1e-14);
        for size in [found.rms, found.above, found.below] {
            assert!((size - 1e-3).abs() < 1e-13, "{size}");
        }
    }

    #[test]
    fn the_general_fit_agrees_with_the_plane() {
        let points = chessboard();
        let [x, y, z] = [0, 1, 2].map(|k| points.iter().map(|p| p[k]).collect::<Vec<f64>>());
        let found = fit(&[&x, &y], &z, true).expect("a fit");
        let plane = least_squares(&points).expect("a plane").plane;
        for (found, wanted) in found.coefficients.iter().zip([plane.a, plane.b, plane.c]) {
            assert!((found - wanted).abs() < 1e-13);
        }
    }

    #[test]
    fn a_column_made_up_of_others_is_refused() {
        let x: Vec<f64> = (0..9).map(f64::from).collect();
        let twice: Vec<f64> = x.iter().map(|x| 2.0 * x + 1.0).collect();
        assert!(fit(&[&x, &twice], &x, true).is_err());
        assert!(fit(&[&x, &[1.0; 9]], &x, true).is_err());
        assert!(fit(&[&x, &x[1..]], &x, true).is_err());
        assert!(fit(&[&x[..1]], &x[..1], true).is_err());
    }
}

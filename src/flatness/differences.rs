//! Differences and second differences in height over a set distance, at the 95th percentile (TR34's properties E and F).
//!
//! In: a lattice of heights and a distance. Out: the value that 95 % of all differences along the two axes of the lattice do
//! not exceed, sign left out, and where one of that size lies.
//! Formula: of n values in rising order the one at place ceil(0.95 n) (nearest rank). A difference is z_B - z_A, with
//! sqrt(2) of one height's uncertainty; a second difference z_A - 2 z_C + z_B, with sqrt(6).
//! Every node of the lattice starts a difference: more places than a surveyor visits, the same differences.
//! Noise spreads the differences and so raises the value: that counts against the floor, never for it.

use super::supports::OFF_LENGTH;
use crate::surface::HeightField;

/// The share of the differences that the value is not to be exceeded by.
pub const SHARE: f64 = 0.95;

/// The fewest differences that a 95th percentile is told from: of fewer it would be the largest.
pub const FEWEST: usize = 20;

/// Which differences.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// From one place to the next: property E.
    First,
    /// From one difference to the next: property F.
    Second,
}

/// A difference of the size that 95 % do not exceed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Percentile {
    /// Its size, m.
    pub value: f64,
    /// The places it is of: nodes from one end to the other. The one in the middle is B again for a first difference.
    pub nodes: [usize; 3],
    /// Its standard uncertainty, m.
    pub u: f64,
    /// How many differences there are.
    pub count: usize,
}

/// The 95th percentile of differences over `apart` metres. None where the lattice has no two nodes at that distance,
/// give or take 2 %, or no difference was measured.
pub fn percentile(field: &HeightField, apart: f64, order: Order) -> Option<Percentile> {
    let all = || {
        strides(field, apart)
            .into_iter()
            .flatten()
            .flat_map(move |stride| along(field, stride, order))
    };
    let mut sizes: Vec<f64> = all().map(|(size, _)| size).collect();
    let count = sizes.len();
    let rank = ((SHARE * count as f64).ceil() as usize).checked_sub(1)?;
    let value = *sizes.select_nth_unstable_by(rank, f64::total_cmp).1;
    let (_, nodes) = all().find(|(size, _)| *size == value)?;
    Some(Percentile {
        value,
        nodes,
        u: uncertainty(field, nodes, order),
        count,
    })
}

/// Columns and rows that a difference spans, along each axis whose spacing fits.
fn strides(field: &HeightField, apart: f64) -> [Option<[usize; 2]>; 2] {
    let steps = |spacing: f64| {
        let steps = (apart / spacing).round();
        let fits = (steps * spacing - apart).abs() <= OFF_LENGTH * apart;
        (fits && steps >= 1.0 && steps < field.z.len() as f64).then_some(steps as usize)
    };
    [
        steps(field.dx).map(|steps| [steps, 0]),
        steps(field.dy).map(|steps| [0, steps]),
    ]
}

/// Sizes of all measured differences that span so many columns and rows, with their nodes.
fn along(
    field: &HeightField,
    [columns, rows]: [usize; 2],
    order: Order,
) -> impl Iterator<Item = (f64, [usize; 3])> {
    let spans = match order {
        Order::First => 1,
        Order::Second => 2,
    };
    let stride = rows * field.nx + columns;
    let width = field.nx.saturating_sub(spans * columns);
    let height = field.ny.saturating_sub(spans * rows);
    (0..height)
        .flat_map(move |iy| (0..width).map(move |ix| iy * field.nx + ix))
        .map(move |a| {
            let (next, last) = (a + stride, a + spans * stride);
            let size = match order {
                Order::First => field.z[next] - field.z[a],
                Order::Second => field.z[a] - 2.0 * field.z[next] + field.z[last],
            };
            (size.abs(), [a, next, last])
        })
        .filter(|(size, _)| size.is_finite())
}

fn uncertainty(field: &HeightField, [a, middle, b]: [usize; 3], order: Order) -> f64 {
    match order {
        Order::First => field.u[a].hypot(field.u[b]),
        Order::Second => field.u[a].hypot(field.u[b]).hypot(2.0 * field.u[middle]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A strip of one row, nodes every 0.3 m, each height known to 1 mm.
    fn strip(heights: &[f64]) -> HeightField {
        let mut field = HeightField::unmeasured([0.0; 2], [0.3, 1.0], [heights.len(), 1]);
        field.z.copy_from_slice(heights);
        field.u.fill(0.001);
        field
    }

    /// z = c x²: every second difference over s is 2 c s², every difference grows with x.
    #[test]
    fn a_parabola_has_one_second_difference() {
        let heights: Vec<f64> = (0..40)
            .map(|i| 0.004 * (0.3 * f64::from(i)).powi(2))
            .collect();
        let found = percentile(&strip(&heights), 0.3, Order::Second).expect("38 of them");
        assert_eq!(found.count, 38);
        assert!(
            (found.value - 2.0 * 0.004 * 0.09).abs() < 1e-12,
            "{found:?}"
        );
        assert!((found.u - 6.0_f64.sqrt() * 0.001).abs() < 1e-12);
    }

    /// Twenty rises of 1 to 20 mm: nineteen of them, 95 %, are at most 19 mm.
    #[test]
    fn one_in_twenty_may_be_larger() {
        let mut heights = vec![0.0];
        for rise in 1..=20 {
            heights.push(heights[heights.len() - 1] + 0.001 * f64::from(rise));
        }
        let found = percentile(&strip(&heights), 0.3, Order::First).expect("twenty");
        assert!((found.value - 0.019).abs() < 1e-12, "{found:?}");
        assert!((found.u - 2.0_f64.sqrt() * 0.001).abs() < 1e-12);
        assert_eq!(percentile(&strip(&heights), 0.4, Order::First), None);
    }
}

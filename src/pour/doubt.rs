//! How well the fill is known, and how many bags are enough for nearly certain.
//!
//! In: a [`Surface`], its [`Target`], whether that hangs on the floor's highest spot. Out: a [`Doubt`].
//!
//! Law of propagation (JCGM 100:2008, clause 5; from memory), first order. Raising one height by dz takes A dz off the fill,
//! A the height's share of the filled area: the integral of its interpolation weight over it, in closed form for every
//! triangle, cut or whole. So
//!
//! - **heights**: u² = Σ (A_i u_i)², the heights independent of one another. Where the target hangs on the highest spot, an
//!   error of that height moves the target under the whole filled area: its weight is A_i less that area. Of readings from
//!   one set-up part of u is the same for all; that part cancels where the target hangs on the floor, and where it is a datum
//!   it is for the datum to tell. The part that all cells of a scan have in common, U, counts as alike for all or as
//!   independent from cell to cell, whichever does more: U max(|Σ w_i|, √Σ w_i²), w_i the weights.
//! - **tilt**: rate · |∫ (p - p0) dA| over the filled area. p0 is where the target is tied to the survey: the highest spot, or
//!   for a datum the mean place of the heights, as no survey says where the datum was read. A target that tilts with the
//!   survey (parallel to the floor's own best plane) does not feel it: call with a surface whose tilt is 0.
//! - **sampling**: what the floor does between the readings, see [`sampling`].
//!
//! Not here: that the highest of many uncertain heights is more likely too high than too low (then the fill is too large,
//! which is the safe side); a target that hangs on many heights, such as the least fill, whose own uncertainty is left out; the
//! waste; floor that was not measured.

mod sampling;

use kiddo::{ImmutableKdTree, SquaredEuclidean};

use super::{Compound, Pour, Target};
use crate::flatness::verdict::K;
use crate::surface::{HeightField, Kind, Surface, plan_area};

/// How well the fill is known: standard uncertainties, m³.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Doubt {
    /// Of the fill, from all that follows.
    pub fill_u: f64,
    /// From the heights, each with its own.
    pub heights: f64,
    /// From the tilt of the plane that they were measured from.
    pub tilt: f64,
    /// From what lies between the readings; None where they are too few to tell.
    pub sampling: Option<f64>,
}

/// Whole bags of each compound that are enough in 95 % of cases: those of the same pour on a floor that lies lower by 1.645
/// times the fill's uncertainty, spread over the filled area. None where the compounds' layers do not work out there, and of the least fill.
pub fn bags_95(
    surface: &Surface,
    pour: &Pour,
    doubt: &Doubt,
    compounds: &[Compound],
    waste: f64,
) -> Option<Vec<u64>> {
    let area = pour.volumes.filled_area;
    let lower = if area > 0.0 {
        K * doubt.fill_u / area
    } else {
        0.0
    };
    let raised = match &pour.target {
        target @ (Target::Level { .. } | Target::Plane { .. }) => target.lowered(-lower),
        Target::Raised(_) => return None,
    };
    let deeper = super::pour_taking_down(surface, raised, compounds, waste, pour.thin).ok()?;
    Some(deeper.orders.iter().map(|order| order.bags).collect())
}

/// How well the fill up to `target` is known. `on_highest`: the target hangs on the floor's highest spot, so that an error
/// of its height moves the target.
pub fn doubt(surface: &Surface, target: &Target, on_highest: bool) -> Doubt {
    let knots = Knots::of(surface);
    let filled = Filled::of(surface, target, &knots);
    let highest = highest(surface).filter(|_| on_highest);
    let heights = from_heights(surface, &knots, &filled, highest);
    let [x, y] = highest.map_or_else(|| mean_place(surface), |[x, y, _]| [x, y]);
    let moment = [
        filled.moment[0] - filled.area * x,
        filled.moment[1] - filled.area * y,
    ];
    let tilt = surface.shared.tilt * moment[0].hypot(moment[1]);
    let sampling = match surface.kind {
        Kind::Grid | Kind::Triangulated => sampling::sampling(surface, &knots, &filled.shares),
        Kind::Cells | Kind::Lines => Some(0.0),
    };
    Doubt {
        fill_u: heights.hypot(tilt).hypot(sampling.unwrap_or(0.0)),
        heights,
        tilt,
        sampling,
    }
}

/// Standard uncertainty of the fill from the heights, m³; the target hangs on `highest`, if any.
fn from_heights(
    surface: &Surface,
    knots: &Knots,
    filled: &Filled,
    highest: Option<[f64; 3]>,
) -> f64 {
    let mut weights = filled.shares.clone();
    if let Some([x, y, _]) = highest {
        knots.spread([x, y], |knot, share| weights[knot] -= filled.area * share);
    }
    let common = surface.shared.common;
    let (mut own, mut sum, mut squares) = (0.0, 0.0, 0.0);
    for (weight, u) in weights.iter().zip(&knots.u) {
        own += weight * weight * (u * u - common * common).max(0.0);
        sum += weight;
        squares += weight * weight;
    }
    (own + common * common * squares.max(sum * sum)).sqrt()
}

/// The highest corner of the triangles, or the highest cell.
fn highest(surface: &Surface) -> Option<[f64; 3]> {
    let corners = surface.triangles.iter().flatten().copied();
    let cells = surface.field.measured().map(|(_, position)| position);
    let higher = |a: [f64; 3], b: [f64; 3]| if b[2] > a[2] { b } else { a };
    corners.reduce(higher).or_else(|| cells.reduce(higher))
}

fn mean_place(surface: &Surface) -> [f64; 2] {
    let heights = surface.heights();
    let count = heights.len().max(1) as f64;
    [0, 1].map(|axis| heights.iter().map(|at| at[axis]).sum::<f64>() / count)
}

/// The heights that a surface hangs on: the nodes of a grid or of cells, else the readings.
struct Knots<'a> {
    field: Option<&'a HeightField>,
    /// The readings by place, where there is no lattice.
    tree: Option<ImmutableKdTree<f64, 2>>,
    /// Standard uncertainty of each, m. A node cut off by the outline, whose reading still shapes the floor up to it, has
    /// the largest.
    u: Vec<f64>,
}

impl<'a> Knots<'a> {
    fn of(surface: &'a Surface) -> Self {
        match surface.kind {
            Kind::Grid | Kind::Cells | Kind::Lines => {
                let field = &surface.field;
                let known = || field.u.iter().copied().filter(|u| u.is_finite());
                let largest = known().fold(0.0, f64::max);
                let u = |&u: &f64| if u.is_finite() { u } else { largest };
                Self {
                    field: Some(field),
                    tree: None,
                    u: field.u.iter().map(u).collect(),
                }
            }
            Kind::Triangulated => {
                let place = |pin: &crate::surface::Pin| [pin.position[0], pin.position[1]];
                let places: Vec<[f64; 2]> = surface.pins.iter().map(place).collect();
                Self {
                    field: None,
                    tree: ImmutableKdTree::new_from_slice(&places).ok(),
                    u: surface.pins.iter().map(|pin| pin.u).collect(),
                }
            }
        }
    }

    /// Tells `add` which heights, and by what shares, make up the height at a place. A corner of scattered readings is one of
    /// them; where the outline cut a triangle, the nearest stands for the three.
    fn spread(&self, place: [f64; 2], mut add: impl FnMut(usize, f64)) {
        if let Some(field) = self.field {
            for (node, share) in in_cell(field, place) {
                if node < self.u.len() {
                    add(node, share);
                }
            }
        } else if let Some(tree) = self.tree.as_ref().filter(|_| !self.u.is_empty()) {
            let nearest = tree.query(&place).nearest_one::<SquaredEuclidean<f64>>();
            add(nearest.execute().item as usize, 1.0);
        }
    }
}

/// The four nodes about a place and their shares in its height: linear in each of the four triangles about the middle of
/// the cell, whose own height is the mean of the four.
fn in_cell(field: &HeightField, [x, y]: [f64; 2]) -> [(usize, f64); 4] {
    let along = |at: f64, count: usize| {
        let first = at.floor().clamp(0.0, count.saturating_sub(2) as f64);
        (first as usize, at - first - 0.5)
    };
    let (ix, s) = along((x - field.x0) / field.dx, field.nx);
    let (iy, t) = along((y - field.y0) / field.dy, field.ny);
    let middle = 1.0 - 2.0 * s.abs().max(t.abs());
    [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(i, j)| {
        let (right, up) = (2.0 * i as f64 - 1.0, 2.0 * j as f64 - 1.0);
        // The triangle that holds the place stands on the side of the cell that it is nearest to.
        let corner = if t.abs() >= s.abs() {
            (up * t > 0.0).then(|| t.abs() + right * s)
        } else {
            (right * s > 0.0).then(|| s.abs() + up * t)
        };
        (
            (iy + j) * field.nx + ix + i,
            middle / 4.0 + corner.unwrap_or(0.0),
        )
    })
}

/// What is filled of a floor.
struct Filled {
    /// Share of the filled area that hangs on each height, m².
    shares: Vec<f64>,
    /// m²
    area: f64,
    /// First moments of the filled area about the local origin, m³.
    moment: [f64; 2],
}

impl Filled {
    fn of(surface: &Surface, target: &Target, knots: &Knots) -> Self {
        let mut filled = Self {
            shares: vec![0.0; knots.u.len()],
            area: 0.0,
            moment: [0.0; 2],
        };
        if surface.triangles.is_empty() {
            let cell = surface.field.dx * surface.field.dy;
            for (node, position) in surface.field.measured() {
                if target.depth_over(position) > 0.0 {
                    filled.add(position, cell);
                    filled.shares[node] += cell;
                }
            }
        }
        for triangle in &surface.triangles {
            let depths = triangle.map(|corner| target.depth_over(corner));
            let shares = filled_shares(plan_area(triangle), depths);
            for (&corner, share) in triangle.iter().zip(shares) {
                filled.add(corner, share);
                let [x, y, _] = corner;
                knots.spread([x, y], |knot, part| filled.shares[knot] += part * share);
            }
        }
        filled
    }

    fn add(&mut self, [x, y, _]: [f64; 3], area: f64) {
        self.area += area;
        self.moment[0] += area * x;
        self.moment[1] += area * y;
    }
}

/// How much less is filled for each unit that one corner is raised, m²: the integral of its barycentric coordinate over
/// the part of a triangle of plan `area` with depth above 0. Their sum is that part's area.
fn filled_shares(area: f64, depths: [f64; 3]) -> [f64; 3] {
    let count = |wanted: fn(f64) -> bool| depths.iter().filter(|depth| wanted(**depth)).count();
    let whole = [area / 3.0; 3];
    match (count(|depth| depth > 0.0), count(|depth| depth < 0.0)) {
        (0, _) => [0.0; 3],
        (_, 0) => whole,
        (1, _) => tip_shares(area, depths),
        (_, _) => {
            let dry = tip_shares(area, depths.map(|depth| -depth));
            [0, 1, 2].map(|corner| whole[corner] - dry[corner])
        }
    }
}

/// The same where one corner alone lies deep: the zero line leaves it a triangle whose corners are itself and a share a
/// (or b) of the way to the others, so of area a b, over which a linear function is the mean of the three.
fn tip_shares(area: f64, depths: [f64; 3]) -> [f64; 3] {
    let tip = (0..3).fold(0, |tip, at| if depths[at] > depths[tip] { at } else { tip });
    let way = |to: usize| depths[tip] / (depths[tip] - depths[to]);
    let (q, r) = ((tip + 1) % 3, (tip + 2) % 3);
    let (a, b) = (way(q), way(r));
    let third = area * a * b / 3.0;
    let mut shares = [0.0; 3];
    shares[tip] = third * (3.0 - a - b);
    shares[q] = third * a;
    shares[r] = third * b;
    shares
}

#[cfg(test)]
mod tests;

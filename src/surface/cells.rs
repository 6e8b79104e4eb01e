//! Second look at a scan: the height of the floor in each small square.
//!
//! In: batches of points, and where the floor roughly is. Out: heights with their standard uncertainty on a lattice.
//! How: a point within the band about the floor's local plane adds its distance from that plane to its cell, in whole
//! tenths of micrometres, so that the order of points and files makes no difference. A cell's height is the plane at its
//! centre plus the mean distance of its points, without those far from their median (a truncated mean). Its standard
//! error is sqrt(s² / n), s² drawn towards the scatter of the whole scan where the cell has few points.
//! What stands on the floor leaves a hole: see `is_foot` and `is_edge`.

use rayon::prelude::*;

use super::floor::Floor;
use super::lattice::Lattice;
use super::sample::median;
use super::sheets::Plane;
use super::{HeightField, PointsByFate};
use crate::survey::Batch;

/// Unit of the sums, m.
const UNIT: f64 = 1e-7;
/// Bins of the band, by which the outliers of a cell are told.
const BINS: usize = 12;
/// Points that one core looks at at a time.
const PART: usize = 8192;
/// Side of a tile, cells. Memory is taken by tiles, where there is floor.
const TILE: usize = 64;
/// Up to this height above the floor, m, points tell of something that stands on the cell.
const FOOT: f64 = 0.3;
/// Up to this height, m, they tell that the cell lies at the edge of something.
const OVER: f64 = 2.0;
/// A cell keeps points within this many times the scatter from its median.
const KEPT: f64 = 4.0;
/// The scan's scatter counts as much as this many points of a cell.
const PRIOR: f64 = 10.0;
/// Scatter, m, below which a cell is never suspected.
const SMALLEST_SCATTER: f64 = 1e-3;

/// What the points of a cell add up to: 64 bytes, one line of the cache.
#[derive(Clone, Copy, Default)]
#[repr(align(64))]
struct Tally {
    sum: i64,
    squares: i64,
    /// Where the points lie from the cell's centre, added up.
    offset: [i64; 2],
    points: u32,
    bins: [u16; BINS],
    foot: u16,
    over: u16,
}

/// A point that tells of a cell.
struct Hit {
    tile: u32,
    /// Place of the cell in the tile.
    at: u16,
    kind: Kind,
    /// Height above the local plane, and place from the cell's centre, in `UNIT`.
    above: i32,
    offset: [i32; 2],
}

/// What a point tells of its cell.
enum Kind {
    /// It lies on the floor: in this bin of the band.
    Floor { bin: u8 },
    /// Something stands there.
    Foot,
    /// Something hangs over it.
    Over,
}

/// Height of the points of a cell above its plane.
struct Centre {
    mean: f64,
    variance: f64,
    points: f64,
    /// Points above and below that were left out of the mean.
    left_out: [u64; 2],
    /// Variance of all points in the band.
    spread: f64,
}

/// Points by cell.
pub struct Cells<'a> {
    floor: &'a Floor,
    lattice: Lattice,
    columns: [Vec<usize>; 2],
    inside: Option<Vec<bool>>,
    tiles: Vec<Option<Box<[Tally]>>>,
    fate: PointsByFate,
}

/// The cells, measured.
pub struct Measured {
    /// Heights in the survey's coordinates, with the lattice's first node at (0, 0).
    pub field: HeightField,
    /// What became of the points.
    pub points: PointsByFate,
    /// Scatter of the points within cells: one standard deviation, m.
    pub noise: Option<f64>,
}

impl<'a> Cells<'a> {
    /// Empty cells about a floor. `inside` says for each cell of the lattice whether it is within the outline.
    pub fn new(floor: &'a Floor, lattice: Lattice, inside: Option<Vec<bool>>) -> Self {
        let column = |axis: usize| {
            let number = |at| floor.column(axis, lattice.centre(axis, at));
            (0..lattice.count[axis]).map(number).collect()
        };
        let tiles = lattice.count[0].div_ceil(TILE) * lattice.count[1].div_ceil(TILE);
        Self {
            floor,
            lattice,
            columns: [column(0), column(1)],
            inside,
            tiles: vec![None; tiles],
            fate: PointsByFate::default(),
        }
    }

    /// Adds the points of a batch: all cores look at the points, then one adds them up.
    pub fn add(&mut self, batch: &Batch) {
        let parts: Vec<_> = (0..batch.len().div_ceil(PART))
            .into_par_iter()
            .map(|part| self.look_at(batch, part * PART))
            .collect();
        for (fate, hits) in parts {
            self.fate.above += fate.above;
            self.fate.below += fate.below;
            self.fate.outside += fate.outside;
            self.fate.sparse += fate.sparse;
            hits.into_iter().for_each(|hit| self.count(hit));
        }
    }

    /// What becomes of one part of a batch.
    fn look_at(&self, batch: &Batch, start: usize) -> (PointsByFate, Vec<Hit>) {
        let mut fate = PointsByFate::default();
        let mut hits = Vec::with_capacity(PART);
        let points = batch.points().skip(start).take(PART);
        for point in points.filter(|&point| super::columns::can_be_placed(point)) {
            hits.extend(self.look_at_point(point, &mut fate));
        }
        (fate, hits)
    }

    fn look_at_point(&self, [x, y, z]: [f64; 3], fate: &mut PointsByFate) -> Option<Hit> {
        let cell = self.lattice.find(0, x).zip(self.lattice.find(1, y));
        let outside = match (cell, &self.inside) {
            (None, inside) => inside.is_some(),
            (Some((ix, iy)), Some(inside)) => !inside[iy * self.lattice.count[0] + ix],
            (Some(_), None) => false,
        };
        if outside {
            fate.outside += 1;
            return None;
        }
        let plane =
            cell.and_then(|(ix, iy)| self.floor.plane(self.columns[0][ix], self.columns[1][iy]));
        let above = z - plane.unwrap_or(&self.floor.overall).height([x, y]);
        let band = self.floor.band;
        fate.below += u64::from(above < -band);
        fate.above += u64::from(above > band);
        let near = -band <= above && above <= OVER.max(band);
        let (Some((ix, iy)), true) = (cell.filter(|_| plane.is_some()), near) else {
            fate.sparse += u64::from(above.abs() <= band);
            return None;
        };
        let (tile, at) = self.place(ix, iy);
        let whole = |length: f64| (length / UNIT).round() as i32;
        let kind = if above > FOOT.max(2.0 * band) {
            Kind::Over
        } else if above > band {
            Kind::Foot
        } else {
            let bin = ((above / band + 1.0) * (BINS as f64 / 2.0)) as usize;
            Kind::Floor {
                bin: bin.min(BINS - 1) as u8,
            }
        };
        let offset = [
            x - self.lattice.centre(0, ix),
            y - self.lattice.centre(1, iy),
        ];
        Some(Hit {
            tile: tile as u32,
            at: at as u16,
            kind,
            above: whole(above),
            offset: offset.map(whole),
        })
    }

    fn count(&mut self, hit: Hit) {
        let fresh = || vec![Tally::default(); TILE * TILE].into_boxed_slice();
        let tile = self.tiles[hit.tile as usize].get_or_insert_with(fresh);
        let tally = &mut tile[usize::from(hit.at)];
        match hit.kind {
            Kind::Foot => tally.foot = tally.foot.saturating_add(1),
            Kind::Over => tally.over = tally.over.saturating_add(1),
            Kind::Floor { bin } => {
                let above = i64::from(hit.above);
                tally.points = tally.points.saturating_add(1);
                tally.sum = tally.sum.saturating_add(above);
                tally.squares = tally.squares.saturating_add(above * above);
                for (sum, offset) in tally.offset.iter_mut().zip(hit.offset) {
                    *sum = sum.saturating_add(i64::from(offset));
                }
                let count = &mut tally.bins[usize::from(bin)];
                *count = count.saturating_add(1);
            }
        }
    }

    fn place(&self, ix: usize, iy: usize) -> (usize, usize) {
        let across = self.lattice.count[0].div_ceil(TILE);
        (iy / TILE * across + ix / TILE, iy % TILE * TILE + ix % TILE)
    }

    fn get(&self, ix: usize, iy: usize) -> Option<&Tally> {
        let (tile, at) = self.place(ix, iy);
        self.tiles[tile]
            .as_ref()
            .map(|tile| &tile[at])
            .filter(|tally| tally.points > 0)
    }

    fn all(&self) -> impl Iterator<Item = [usize; 2]> + use<> {
        let [nx, ny] = self.lattice.count;
        (0..ny).flat_map(move |iy| (0..nx).map(move |ix| [ix, iy]))
    }

    /// The cells about a cell.
    fn around(&self, [ix, iy]: [usize; 2]) -> impl Iterator<Item = [usize; 2]> + use<> {
        let [nx, ny] = self.lattice.count;
        (iy.saturating_sub(1)..(iy + 2).min(ny))
            .flat_map(move |y| (ix.saturating_sub(1)..(ix + 2).min(nx)).map(move |x| [x, y]))
            .filter(move |&at| at != [ix, iy])
    }

    /// Scatter of the points within their cells: the median of the cells' variances. The median of s² of n points lies
    /// below the variance by the factor (1 - 2 / (9 (n - 1)))³ (Wilson and Hilferty 1931; from memory).
    fn noise(&self) -> Option<f64> {
        let variances = self.all().filter_map(|[ix, iy]| {
            let tally = self.get(ix, iy).filter(|tally| tally.points >= 5)?;
            let centre = self.centre(tally);
            let low = (1.0 - 2.0 / (9.0 * (centre.points - 1.0))).powi(3);
            (centre.points >= 4.0).then_some(centre.variance / low)
        });
        median(variances.collect()).map(f64::sqrt)
    }

    /// The truncated mean of a cell's points.
    fn centre(&self, tally: &Tally) -> Centre {
        let width = 2.0 * self.floor.band / BINS as f64;
        let middle = |bin: usize| (bin as f64 + 0.5) * width - self.floor.band;
        let counted: u64 = tally.bins.iter().map(|&count| u64::from(count)).sum();
        let mut passed = 0;
        let median = tally.bins.iter().position(|&count| {
            passed += u64::from(count);
            2 * passed >= counted
        });
        let median = middle(median.unwrap_or(BINS / 2));
        let reach = KEPT * self.floor.scatter + width;
        let (mut sum, mut squares) = (tally.sum as f64 * UNIT, tally.squares as f64 * UNIT * UNIT);
        let mut points = f64::from(tally.points);
        let spread = (squares / points - (sum / points).powi(2)).max(0.0);
        let mut left_out = [0, 0];
        for (bin, &count) in tally.bins.iter().enumerate() {
            let away = middle(bin) - median;
            if count > 0 && away.abs() > reach {
                left_out[usize::from(away < 0.0)] += u64::from(count);
                sum -= f64::from(count) * middle(bin);
                squares -= f64::from(count) * middle(bin).powi(2);
                points -= f64::from(count);
            }
        }
        let mean = sum / points;
        let variance = ((squares - points * mean * mean) / (points - 1.0).max(1.0)).max(0.0);
        Centre {
            mean,
            variance,
            points,
            left_out,
            spread,
        }
    }

    /// Whether something stands on the cell: too many points just above the floor for its points on the floor.
    fn is_foot(tally: &Tally) -> bool {
        u32::from(tally.foot) * 4 > tally.points
    }

    /// Whether the cell is only partly seen because it lies at the edge of something: points above it, and less than
    /// half of the points that its neighbours have.
    fn is_edge(&self, place: [usize; 2], tally: &Tally) -> bool {
        if tally.over == 0 && tally.foot == 0 {
            return false;
        }
        let near = self.around(place).filter_map(|[ix, iy]| self.get(ix, iy));
        let usual = median(near.map(|tally| f64::from(tally.points)).collect());
        usual.is_some_and(|usual| 2.0 * f64::from(tally.points) < usual)
    }

    /// What the mean of a cell owes to its points not lying about its centre, where the floor about it leans from the local
    /// plane, m.
    fn lean(&self, place: [usize; 2], plane: &Plane, tally: &Tally) -> f64 {
        let departure = |[ix, iy]: [usize; 2]| {
            let tally = self.get(ix, iy)?;
            let own = self.floor.plane(self.columns[0][ix], self.columns[1][iy])?;
            let points = f64::from(tally.points);
            let [dx, dy] = tally.offset.map(|sum| sum as f64 * UNIT / points);
            let at = [
                self.lattice.centre(0, ix) + dx,
                self.lattice.centre(1, iy) + dy,
            ];
            let height = own.height(at) + tally.sum as f64 * UNIT / points;
            Some([at[0], at[1], height - plane.height(at)])
        };
        let about: Vec<_> = self
            .around(place)
            .chain([place])
            .filter_map(departure)
            .collect();
        if about.len() < 6 {
            return 0.0;
        }
        let slope = Plane::through(&about).slope;
        let [dx, dy] = tally
            .offset
            .map(|sum| sum as f64 * UNIT / f64::from(tally.points));
        slope[0] * dx + slope[1] * dy
    }

    /// Turns the sums into heights. `least` is the fewest points of a cell, `u` what averaging cannot remove, m.
    pub fn measure(mut self, least: u32, u: f64) -> Measured {
        let noise = self.noise();
        let usual = noise.unwrap_or(0.0);
        let [nx, ny] = self.lattice.count;
        let start = [self.lattice.centre(0, 0), self.lattice.centre(1, 0)];
        let mut field = HeightField::unmeasured(start, [self.lattice.cell; 2], [nx, ny]);
        let mut suspect = Vec::new();
        let mut fate = self.fate;
        for [ix, iy] in self.all() {
            let Some(tally) = self.get(ix, iy) else {
                continue;
            };
            if tally.points < least || Self::is_foot(tally) || self.is_edge([ix, iy], tally) {
                continue;
            }
            let centre = self.centre(tally);
            let Some(plane) = self.floor.plane(self.columns[0][ix], self.columns[1][iy]) else {
                continue;
            };
            let own = (centre.points - 1.0) * centre.variance;
            let variance = (own + PRIOR * usual * usual) / (centre.points - 1.0 + PRIOR);
            let at = iy * nx + ix;
            field.z[at] =
                plane.height(field.position(at)) + centre.mean - self.lean([ix, iy], plane, tally);
            field.u[at] = (variance / centre.points + u * u).sqrt();
            if centre.spread.sqrt() > KEPT * usual.max(self.floor.scatter).max(SMALLEST_SCATTER) {
                suspect.push([ix, iy]);
            }
        }
        let at_hole = |&&[ix, iy]: &&[usize; 2]| {
            self.around([ix, iy])
                .any(|[x, y]| field.z[y * nx + x].is_nan())
        };
        let drop: Vec<_> = suspect.iter().filter(at_hole).copied().collect();
        for [ix, iy] in drop {
            field.z[iy * nx + ix] = f64::NAN;
            field.u[iy * nx + ix] = f64::NAN;
        }
        for [ix, iy] in self.all() {
            let Some(tally) = self.get(ix, iy) else {
                continue;
            };
            if field.z[iy * nx + ix].is_nan() {
                fate.sparse += u64::from(tally.points);
            } else {
                let [above, below] = self.centre(tally).left_out;
                fate.used += u64::from(tally.points) - above - below;
                fate.above += above;
                fate.below += below;
            }
        }
        self.tiles.clear();
        Measured {
            field,
            points: fate,
            noise,
        }
    }
}

//! Where the floor of a scan is, roughly.
//!
//! In: columns that hold floor, with its height. Out: a [`Floor`]: for each column of the plan a plane that the floor lies
//! close to, or nothing. It follows falls and undulation, and reaches one column beyond what was found.
//! Not here: which columns hold floor (see `storeys`), heights of cells (see `cells`).

use std::collections::{BTreeMap, BTreeSet};

use super::columns::{BIN, COLUMN, Columns, column_centre, column_of};
use super::sample::median;
use super::sheets::Plane;
use crate::error::{Error, Result};

/// Most columns of the rectangle about a floor: 280 m square.
const MOST_COLUMNS: usize = 2_000_000;

/// Where the floor is, roughly.
#[derive(Debug, Clone)]
pub struct Floor {
    scale: i32,
    first: [i32; 2],
    count: [usize; 2],
    planes: Vec<Option<Plane>>,
    held: BTreeSet<[i32; 2]>,
    /// Points on its ledges.
    pub points: u64,
    /// The plane through all of it.
    pub overall: Plane,
    /// A point this close to the local plane, m, belongs to the floor.
    pub band: f64,
    /// Scatter of the points, m, as far as known.
    pub scatter: f64,
}

/// Columns with a height, m.
pub type Heights = BTreeMap<[i32; 2], f64>;

impl Floor {
    /// The number of the column over a coordinate, counted from the floor's first; out of range where there is none.
    pub fn column(&self, axis: usize, x: f64) -> usize {
        let at = i64::from(column_of(x, self.scale)) - i64::from(self.first[axis]);
        usize::try_from(at).unwrap_or(usize::MAX)
    }

    /// The local plane of a column.
    pub fn plane(&self, ix: usize, iy: usize) -> Option<&Plane> {
        if ix >= self.count[0] || iy >= self.count[1] {
            return None;
        }
        self.planes.get(iy * self.count[0] + ix)?.as_ref()
    }

    /// The local plane at a place.
    pub fn plane_at(&self, [x, y]: [f64; 2]) -> Option<&Plane> {
        self.plane(self.column(0, x), self.column(1, y))
    }

    /// Least and greatest x, then y, of its columns, m.
    pub fn bounds(&self) -> [[f64; 2]; 2] {
        [0, 1].map(|axis| {
            let half = 0.5 * COLUMN * f64::from(self.scale);
            let last = self.first[axis] + self.count[axis] as i32 - 1;
            [
                column_centre(self.first[axis], self.scale) - half,
                column_centre(last, self.scale) + half,
            ]
        })
    }

    /// One plane for everything: a sheet of points that is all floor, however steep in places.
    ///
    /// # Errors
    /// [`Error::Floor`] when it spreads too wide.
    pub fn single(columns: &Columns, scale: i32) -> Result<Self> {
        let mut heights = Heights::new();
        let (mut lowest, mut highest) = (i32::MAX, i32::MIN);
        columns.each(scale, |place, bins| {
            let points: u64 = bins.iter().map(|level| level.points).sum();
            let sum: f64 = bins.iter().map(|level| level.sum).sum();
            heights.insert(place, sum / points.max(1) as f64);
            lowest = bins.first().map_or(lowest, |first| lowest.min(first.bin));
            highest = bins.last().map_or(highest, |last| highest.max(last.bin));
        });
        let mut floor = Self::about(&heights, scale)?;
        floor
            .planes
            .iter_mut()
            .flatten()
            .for_each(|plane| *plane = floor.overall);
        floor.band = (f64::from(highest) - f64::from(lowest) + 2.0) * BIN;
        Ok(floor)
    }

    /// Number of columns that hold floor, without their neighbours' edge.
    pub fn columns_held(&self) -> usize {
        self.held.len()
    }

    /// Floor points per m² as usual: half of the columns have fewer.
    pub fn density(&self, columns: &Columns) -> f64 {
        let side = COLUMN * f64::from(self.scale);
        let mut densities = Vec::new();
        columns.each(self.scale, |[x, y], heights| {
            let at = [column_centre(x, self.scale), column_centre(y, self.scale)];
            let Some(plane) = self.plane_at(at) else {
                return;
            };
            let reach = self.band + 0.5 * side * (plane.slope[0].abs() + plane.slope[1].abs());
            let near = |bin: i32| ((f64::from(bin) + 0.5) * BIN - plane.level).abs() <= reach;
            let points: u64 = heights
                .iter()
                .filter(|level| near(level.bin))
                .map(|level| level.points)
                .sum();
            if self.held.contains(&[x, y]) {
                densities.push(points as f64 / (side * side));
            }
        });
        median(densities).unwrap_or(0.0)
    }

    /// A local plane for every column of `heights` and for their neighbours.
    ///
    /// # Errors
    /// [`Error::Floor`] when they spread too wide.
    pub fn about(heights: &Heights, scale: i32) -> Result<Self> {
        let centre = |[x, y]: [i32; 2]| [column_centre(x, scale), column_centre(y, scale)];
        let spatial = |(&place, &z): (&[i32; 2], &f64)| {
            let [x, y] = centre(place);
            [x, y, z]
        };
        let overall = Plane::through(&heights.iter().map(spatial).collect::<Vec<_>>());
        let range = |axis: usize| {
            let least = heights.keys().map(|place| place[axis]).min().unwrap_or(0) - 1;
            let most = heights.keys().map(|place| place[axis]).max().unwrap_or(0) + 1;
            (least, (most - least + 1) as usize)
        };
        let ((x0, nx), (y0, ny)) = (range(0), range(1));
        if nx * ny > MOST_COLUMNS {
            let [width, depth] = [nx, ny].map(|count| count as f64 * COLUMN * f64::from(scale));
            return Err(Error::floor(
                format!("a floor that spreads over {width:.0} x {depth:.0} m"),
                "one hall or storey at a time: cut the scan, or give the room with --outline",
            ));
        }
        let mut planes = vec![None; nx * ny];
        for (at, plane) in planes.iter_mut().enumerate() {
            let place = [x0 + (at % nx) as i32, y0 + (at / nx) as i32];
            *plane = local_plane(heights, place, &overall, centre);
        }
        Ok(Self {
            scale,
            first: [x0, y0],
            count: [nx, ny],
            planes,
            held: heights.keys().copied().collect(),
            points: 0,
            overall,
            band: 0.0,
            scatter: 0.0,
        })
    }
}

/// The plane through a column and its neighbours, or None where neither it nor they are floor. Beyond the floor's edge,
/// or with few neighbours, it keeps the slope of the whole floor.
fn local_plane(
    heights: &Heights,
    [x, y]: [i32; 2],
    overall: &Plane,
    centre: impl Fn([i32; 2]) -> [f64; 2],
) -> Option<Plane> {
    let around = (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| [x + dx, y + dy]));
    let departures: Vec<[f64; 3]> = around
        .filter_map(|place| {
            let [px, py] = centre(place);
            heights
                .get(&place)
                .map(|z| [px, py, z - overall.height([px, py])])
        })
        .collect();
    if departures.is_empty() {
        return None;
    }
    let own = centre([x, y]);
    let fit = Plane::through(&departures);
    let slope = if departures.len() >= 6 {
        fit.slope
    } else {
        [0.0, 0.0]
    };
    let level = Plane { slope, ..fit }.height(own);
    Some(Plane {
        at: own,
        level: overall.height(own) + level,
        slope: [overall.slope[0] + slope[0], overall.slope[1] + slope[1]],
    })
}

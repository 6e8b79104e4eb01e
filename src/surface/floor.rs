//! Which of the level pieces of a scan is the floor.
//!
//! In: sheets (see `sheets`). Out: a [`Floor`]: for each column of the plan a plane that the floor lies close to, or
//! nothing. How: what counts is a sheet's area, not its points: a ceiling or a table may hold more points than the floor.
//! Of the large, near-level sheets the lowest is the floor; one that could be the floor of another storey makes the
//! choice the user's. Pieces of floor behind furniture or in the next room join it where they are at its height.
//! Not here: heights of cells (see `cells`). It cannot tell a floor from a table top where the floor was not seen.

use std::collections::{BTreeMap, BTreeSet};

use kiddo::{ImmutableKdTree, SquaredEuclidean};

use super::columns::{BIN, COLUMN, Columns, column_centre, column_of};
use super::sample::median;
use super::sheets::{Plane, Sheet};
use crate::error::{Error, Result};

/// Steepest a floor may lie as a whole: 1 in 10.
pub const STEEPEST: f64 = 0.1;
/// Smallest floor, m².
const SMALLEST: f64 = 1.0;
/// Fewest columns of a floor, whatever their size.
const FEWEST_COLUMNS: usize = 16;
/// A floor has at least this share of the area of the largest sheet.
const SHARE_OF_LARGEST: f64 = 0.25;
/// A floor lies under at least this share of the columns that hold points.
const SHARE_OF_PLAN: f64 = 0.06;
/// At least this share of a floor's columns lies in a full square of two by two: the contour lines of a slope do not.
const COMPACT: f64 = 0.3;
/// A floor has at least this share of the points per column of the densest large sheet: reflections are thinner.
const SHARE_OF_DENSITY: f64 = 0.05;
/// Least height of a storey, m.
const STOREY: f64 = 1.8;
/// Share of a storey's columns that have points above them.
const ROOFED: f64 = 0.3;
/// Most that a piece of floor beside the floor may differ from its height, m, and for each metre between them.
const JOINS: [f64; 2] = [0.015, 0.01];
/// How far away such a piece may lie, m, and no more columns away than it has, so that a speck must be close.
const JOINED_FROM: f64 = 2.0;
/// How far from `--floor` a sheet may lie, m.
const NEAR_CHOICE: f64 = 0.3;

/// A near-level sheet that could be the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Mean height, m.
    pub height: f64,
    /// Area, m².
    pub area: f64,
    /// Share of the points.
    pub share: f64,
}

impl std::fmt::Display for Candidate {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self {
            height,
            area,
            share,
        } = self;
        write!(
            f,
            "{height:.3} m ({area:.1} m², {:.1} % of the points)",
            share * 100.0
        )
    }
}

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
type Heights = BTreeMap<[i32; 2], f64>;

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
    pub fn single(columns: &Columns, scale: i32) -> Self {
        let mut heights = Heights::new();
        let (mut lowest, mut highest) = (i32::MAX, i32::MIN);
        columns.each(scale, |place, bins| {
            let points: u64 = bins.iter().map(|level| level.points).sum();
            let sum: f64 = bins.iter().map(|level| level.sum).sum();
            heights.insert(place, sum / points.max(1) as f64);
            lowest = bins.first().map_or(lowest, |first| lowest.min(first.bin));
            highest = bins.last().map_or(highest, |last| highest.max(last.bin));
        });
        let mut floor = Self::about(&heights, scale);
        floor
            .planes
            .iter_mut()
            .flatten()
            .for_each(|plane| *plane = floor.overall);
        floor.band = (f64::from(highest) - f64::from(lowest) + 2.0) * BIN;
        floor
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
    fn about(heights: &Heights, scale: i32) -> Self {
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
        let mut planes = vec![None; nx * ny];
        for (at, plane) in planes.iter_mut().enumerate() {
            let place = [x0 + (at % nx) as i32, y0 + (at / nx) as i32];
            *plane = local_plane(heights, place, &overall, centre);
        }
        Self {
            scale,
            first: [x0, y0],
            count: [nx, ny],
            planes,
            held: heights.keys().copied().collect(),
            points: 0,
            overall,
            band: 0.0,
            scatter: 0.0,
        }
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

/// Finds the floor among the sheets, or the one nearest to the height `chosen`; None when there is none that can be
/// believed.
///
/// # Errors
/// [`Error::Floor`] when there are several, [`Error::Argument`] when none lies at the height chosen.
pub fn find(
    columns: &Columns,
    sheets: &[Sheet],
    scale: i32,
    chosen: Option<f64>,
) -> Result<Option<Floor>> {
    let credible = credible(columns, sheets, scale);
    let describe = |sheet: &&Sheet| Candidate {
        height: sheet.plane.level,
        area: area(sheet, scale),
        share: sheet.points as f64 / columns.points.max(1) as f64,
    };
    let list = |sheets: &[&Sheet]| {
        let all: Vec<_> = sheets
            .iter()
            .map(describe)
            .map(|candidate| candidate.to_string())
            .collect();
        all.join(", ")
    };
    let floor = match chosen {
        Some(height) => {
            let near = |sheet: &&&Sheet| (sheet.plane.level - height).abs();
            let nearest = credible.iter().min_by(|a, b| near(a).total_cmp(&near(b)));
            *nearest
                .filter(|sheet| near(sheet) <= NEAR_CHOICE)
                .ok_or_else(|| {
                    Error::argument(
                        "--floor",
                        format!("{height:.3} m"),
                        format!("a height near one of {}", list(&credible)),
                    )
                })?
        }
        None => {
            let floors = storeys(columns, &credible, scale);
            match floors.as_slice() {
                [] => return Ok(None),
                [floor] => *floor,
                _ => {
                    return Err(Error::floor(
                        format!(
                            "{} floors one above the other: {}",
                            floors.len(),
                            list(&floors)
                        ),
                        "one floor: say which with --floor HEIGHT",
                    ));
                }
            }
        }
    };
    let mut heights = floor.ledges.clone();
    let points = floor.points + join(&mut heights, sheets, &floor.plane, scale);
    let floor = Floor {
        points,
        ..Floor::about(&heights, scale)
    };
    Ok((steepness(&heights, scale) <= STEEPEST).then_some(floor))
}

fn area(sheet: &Sheet, scale: i32) -> f64 {
    sheet.ledges.len() as f64 * (COLUMN * f64::from(scale)).powi(2)
}

/// The mean rise per metre from column to column. A plane laid through a strip along a slope would call it level.
fn steepness(heights: &Heights, scale: i32) -> f64 {
    let mean = |[dx, dy]: [i32; 2]| {
        let steps = heights
            .iter()
            .filter_map(|([x, y], z)| Some(heights.get(&[x + dx, y + dy])? - z));
        let (sum, count) = steps.fold((0.0, 0.0), |(sum, count), step| (sum + step, count + 1.0));
        sum / f64::max(count, 1.0)
    };
    mean([1, 0]).hypot(mean([0, 1])) / (COLUMN * f64::from(scale))
}

fn density(sheet: &Sheet) -> f64 {
    sheet.points as f64 / sheet.ledges.len() as f64
}

/// The sheets that are large, dense and level enough to be floors, from the lowest.
fn credible<'a>(columns: &Columns, sheets: &'a [Sheet], scale: i32) -> Vec<&'a Sheet> {
    let fewest = SHARE_OF_PLAN * columns.count(scale) as f64;
    let mut floors: Vec<_> = sheets
        .iter()
        .filter(|sheet| {
            area(sheet, scale) >= SMALLEST
                && steepness(&sheet.ledges, scale) <= STEEPEST
                && is_compact(sheet)
        })
        .filter(|sheet| sheet.ledges.len() >= FEWEST_COLUMNS && sheet.ledges.len() as f64 >= fewest)
        .collect();
    let largest = floors
        .iter()
        .map(|sheet| sheet.ledges.len())
        .max()
        .unwrap_or(0);
    floors.retain(|sheet| sheet.ledges.len() as f64 >= SHARE_OF_LARGEST * largest as f64);
    let densest = floors
        .iter()
        .map(|sheet| density(sheet))
        .fold(0.0, f64::max);
    floors.retain(|sheet| density(sheet) >= SHARE_OF_DENSITY * densest);
    floors.sort_by(|a, b| a.plane.level.total_cmp(&b.plane.level));
    floors
}

fn is_compact(sheet: &Sheet) -> bool {
    let held = |place: [i32; 2]| sheet.ledges.contains_key(&place);
    let in_square = |&&[x, y]: &&[i32; 2]| {
        [[-1, -1], [-1, 1], [1, -1], [1, 1]]
            .iter()
            .any(|[dx, dy]| held([x + dx, y]) && held([x, y + dy]) && held([x + dx, y + dy]))
    };
    let inner = sheet.ledges.keys().filter(in_square);
    inner.count() as f64 >= COMPACT * sheet.ledges.len() as f64
}

/// The lowest sheet, and those above it that have headroom and something over them, as a ceiling has not.
fn storeys<'a>(columns: &Columns, credible: &[&'a Sheet], scale: i32) -> Vec<&'a Sheet> {
    let Some((&lowest, above)) = credible.split_first() else {
        return Vec::new();
    };
    let mut floors = vec![lowest];
    for (at, &sheet) in above.iter().enumerate() {
        let level = sheet.plane.level;
        let under = floors.last().map_or(lowest, |under| *under).plane.level;
        let headroom = above
            .get(at + 1)
            .is_none_or(|next| next.plane.level - level >= STOREY);
        if level - under >= STOREY && headroom && roofed(columns, sheet, scale) >= ROOFED {
            floors.push(sheet);
        }
    }
    floors
}

/// The share of a sheet's columns that have points well above it.
fn roofed(columns: &Columns, sheet: &Sheet, scale: i32) -> f64 {
    let mut over = 0;
    columns.each(scale, |place, heights| {
        let own = sheet.ledges.get(&place);
        let above = |height: f64| {
            heights
                .last()
                .is_some_and(|top| f64::from(top.bin) * BIN > height + NEAR_CHOICE)
        };
        over += usize::from(own.is_some_and(|&height| above(height)));
    });
    over as f64 / sheet.ledges.len() as f64
}

/// Adds the pieces of floor that are at its height, nearest in plan by kiddo, until none is left. Returns their
/// points.
fn join(heights: &mut Heights, sheets: &[Sheet], overall: &Plane, scale: i32) -> u64 {
    let mut points = 0;
    let side = COLUMN * f64::from(scale);
    let mut waiting: Vec<&Sheet> = sheets.iter().collect();
    loop {
        let places: Vec<_> = heights.iter().map(|(&place, &z)| (place, z)).collect();
        let plan: Vec<_> = places
            .iter()
            .map(|([x, y], _)| [*x, *y].map(|at| column_centre(at, scale)))
            .collect();
        let Ok(tree) = ImmutableKdTree::<f64, 2>::new_from_slice(&plan) else {
            return points;
        };
        let belongs = |sheet: &Sheet| {
            let gaps = sheet.ledges.iter().filter_map(|(place, z)| {
                let at = place.map(|at| column_centre(at, scale));
                let near = tree
                    .query(&at)
                    .nearest_one::<SquaredEuclidean<f64>>()
                    .execute();
                let (beside, other) = places.get(near.item as usize)?;
                let beside = beside.map(|at| column_centre(at, scale));
                let step = z - other - overall.height(at) + overall.height(beside);
                Some((near.distance.sqrt(), step.abs()))
            });
            let closest = gaps.min_by(|a, b| a.partial_cmp(b).unwrap_or(std::cmp::Ordering::Equal));
            let near = JOINED_FROM.min(side * (sheet.ledges.len() + 1) as f64);
            closest.is_some_and(|(distance, step)| {
                distance > 0.0 && distance <= near && step <= JOINS[0] + JOINS[1] * distance
            })
        };
        let (joining, rest): (Vec<&Sheet>, Vec<&Sheet>) =
            waiting.iter().partition(|sheet| belongs(sheet));
        if joining.is_empty() {
            return points;
        }
        for sheet in joining {
            points += sheet.points;
            for (&place, &z) in &sheet.ledges {
                heights.entry(place).or_insert(z);
            }
        }
        waiting = rest;
    }
}

/// What was seen where no floor was found.
pub fn nothing_level(columns: &Columns, sheets: &[Sheet], scale: i32) -> Error {
    let [x, y, z] = columns.extent();
    let seen = match sheets.first() {
        Some(sheet) => format!(
            "the largest level piece is {:.1} m² at {:.3} m, falling {:.0} mm per m",
            area(sheet, scale),
            sheet.plane.level,
            steepness(&sheet.ledges, scale) * 1e3
        ),
        None => "no level piece at all".to_owned(),
    };
    Error::floor(
        format!(
            "no floor among {} points over {x:.1} x {y:.1} m, {z:.1} m high: {seen}",
            columns.points
        ),
        format!(
            "a surface of at least {SMALLEST} m² that falls less than 1 in {:.0}",
            1.0 / STEEPEST
        ),
    )
}

//! Which of the level pieces of a scan is the floor.
//!
//! In: sheets (see `sheets`). Out: a [`Floor`]. How: what counts is a sheet's area, not its points: a ceiling or a table may
//! hold more points than the floor. Of the large, near-level sheets the lowest is the floor; one that could be the
//! floor of another storey makes the choice the user's. Pieces of floor behind furniture or in the next room join it where
//! they are at its height.
//! Not here: it cannot tell a floor from a table top where the floor was not seen.

use kiddo::{ImmutableKdTree, SquaredEuclidean};

use super::columns::{BIN, COLUMN, Columns, Level, column_centre};
use super::floor::{Floor, Heights};
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
const SHARE_OF_DENSITY: f64 = 0.02;
/// Least height of a storey, m.
const STOREY: f64 = 1.8;
/// Share of a storey's columns that have points above them.
const ROOFED: f64 = 0.3;
/// Fewer points above a column than this share of what the sheet has on one are stray.
const STRAY: f64 = 0.1;
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
    let mut floor = Floor::about(&heights, scale)?;
    floor.points = points;
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

/// The share of a sheet's columns that have points well above it, more than stray ones.
fn roofed(columns: &Columns, sheet: &Sheet, scale: i32) -> f64 {
    let few = STRAY * density(sheet);
    let mut over = 0;
    columns.each(scale, |place, heights| {
        let above = |height: f64| -> u64 {
            let high = |level: &&Level| f64::from(level.bin) * BIN > height + NEAR_CHOICE;
            let from_top = heights.iter().rev().take_while(high);
            from_top.map(|level| level.points).sum()
        };
        let own = sheet.ledges.get(&place);
        over += usize::from(own.is_some_and(|&height| above(height) as f64 > few));
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

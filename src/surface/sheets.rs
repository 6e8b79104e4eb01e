//! Level pieces in a scan: everything that could be a floor, a table or a ceiling.
//!
//! In: heights by column (see `columns`). Out: [`Sheet`]s, largest first. How: over each column a height where points pile
//! up, with little above and below, is a ledge. Ledges of neighbouring columns at about the same height grow into sheets,
//! which follow falls and undulation.
//! Not here: which sheet is the floor (see `floor`).

use std::collections::BTreeMap;

use super::columns::{COLUMN, Columns, Heights, Level, column_centre};

/// Half the window, in bins, in which the points of a ledge pile up.
const WINDOW: i32 = 1;
/// How far above and below a ledge is looked for other points, in bins.
const AROUND: i32 = 15;
/// A ledge holds at least this many points.
const FEWEST: u64 = 3;
/// A ledge is at least this many times as dense as the space about it.
const PROMINENCE: u64 = 3;
/// Steepest a sheet may run from column to column, beside an allowance for noise.
const STEEPEST_STEP: f64 = 0.06;
/// What noise and the bins' width may add to a step, m.
const STEP_NOISE: f64 = 0.01;

/// Where points pile up over a column.
#[derive(Debug, Clone, Copy)]
pub struct Ledge {
    /// Height, m.
    pub height: f64,
    /// Points in its window.
    pub points: u64,
    /// Sheet it belongs to.
    sheet: Option<usize>,
}

/// Ledges that hang together.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// Column and height, m.
    pub ledges: BTreeMap<[i32; 2], f64>,
    /// Points in all windows.
    pub points: u64,
    /// The plane through it.
    pub plane: Plane,
}

/// A plane z = level + slope_x (x - x0) + slope_y (y - y0).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Plane {
    /// Where the level is taken, m.
    pub at: [f64; 2],
    /// Height there, m.
    pub level: f64,
    /// Rise per metre in x and y.
    pub slope: [f64; 2],
}

impl Plane {
    /// Height at a place, m.
    pub fn height(&self, [x, y]: [f64; 2]) -> f64 {
        self.level + self.slope[0] * (x - self.at[0]) + self.slope[1] * (y - self.at[1])
    }

    /// Rise per metre in the steepest direction.
    pub fn steepness(&self) -> f64 {
        self.slope[0].hypot(self.slope[1])
    }

    /// Least squares through points; level where they do not span a plane.
    pub fn through(points: &[[f64; 3]]) -> Self {
        let count = points.len().max(1) as f64;
        let mean = |axis: usize| points.iter().map(|point| point[axis]).sum::<f64>() / count;
        let (x0, y0, z0) = (mean(0), mean(1), mean(2));
        let (mut xx, mut xy, mut yy, mut xz, mut yz) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for [x, y, z] in points {
            let (x, y, z) = (x - x0, y - y0, z - z0);
            xx += x * x;
            xy += x * y;
            yy += y * y;
            xz += x * z;
            yz += y * z;
        }
        let span = xx * yy - xy * xy;
        let slope = if span > 1e-6 * (xx + yy).powi(2) {
            [(xz * yy - yz * xy) / span, (yz * xx - xz * xy) / span]
        } else {
            [0.0, 0.0]
        };
        Self {
            at: [x0, y0],
            level: z0,
            slope,
        }
    }
}

/// The heights of a column at which points pile up, from the lowest.
fn ledges(heights: &Heights) -> Vec<Ledge> {
    let within = |low: i32, high: i32| -> (u64, f64) {
        let from = heights.partition_point(|level| level.bin < low);
        let to = heights.partition_point(|level| level.bin <= high);
        let sum = |(points, sum), level: &Level| (points + level.points, sum + level.sum);
        heights[from..to].iter().fold((0, 0.0), sum)
    };
    let mass = |bin: i32| within(bin - WINDOW, bin + WINDOW).0;
    let mut found = Vec::new();
    for &Level { bin, .. } in heights {
        let (points, sum) = within(bin - WINDOW, bin + WINDOW);
        let rivals = heights
            .iter()
            .filter(|rival| rival.bin != bin && (rival.bin - bin).abs() <= 2 * WINDOW + 1);
        let beaten = |rival: &Level| mass(rival.bin) < points + u64::from(rival.bin > bin);
        if points < FEWEST || !{ rivals }.all(beaten) {
            continue;
        }
        let gap = 2 * WINDOW + 1;
        let around = within(bin - AROUND, bin - gap).0 + within(bin + gap, bin + AROUND).0;
        let windows = (2 * (AROUND - gap + 1) / (2 * WINDOW + 1)) as u64;
        if points * windows >= PROMINENCE * around {
            let height = sum / points as f64;
            found.push(Ledge {
                height,
                points,
                sheet: None,
            });
        }
    }
    found
}

/// Grows ledges into sheets, largest first.
pub fn sheets(columns: &Columns, scale: i32) -> Vec<Sheet> {
    let mut all: BTreeMap<[i32; 2], Vec<Ledge>> = BTreeMap::new();
    columns.each(scale, |place, heights| {
        let ledges = ledges(heights);
        if !ledges.is_empty() {
            all.insert(place, ledges);
        }
    });
    let mut seeds: Vec<_> = all
        .iter()
        .flat_map(|(&place, ledges)| {
            ledges
                .iter()
                .enumerate()
                .map(move |(at, ledge)| (ledge.points, place, at))
        })
        .collect();
    seeds.sort_by_key(|&(points, place, at)| (std::cmp::Reverse(points), place, at));
    let mut sheets: Vec<Sheet> = Vec::new();
    for (_, place, at) in seeds {
        if let Some(sheet) = grow(&mut all, place, at, sheets.len(), scale) {
            sheets.push(sheet);
        }
    }
    sheets.sort_by_key(|sheet| std::cmp::Reverse(sheet.ledges.len()));
    sheets
}

/// The sheet that holds one ledge, unless another sheet does already.
fn grow(
    all: &mut BTreeMap<[i32; 2], Vec<Ledge>>,
    seed: [i32; 2],
    at: usize,
    number: usize,
    scale: i32,
) -> Option<Sheet> {
    let step = STEEPEST_STEP * COLUMN * f64::from(scale) + STEP_NOISE;
    let first = all
        .get_mut(&seed)?
        .get_mut(at)
        .filter(|ledge| ledge.sheet.is_none())?;
    first.sheet = Some(number);
    let mut sheet = Sheet {
        ledges: BTreeMap::from([(seed, first.height)]),
        points: first.points,
        plane: Plane::default(),
    };
    let mut edge = std::collections::VecDeque::from([(seed, first.height)]);
    while let Some(([x, y], height)) = edge.pop_front() {
        for next in [[x - 1, y], [x + 1, y], [x, y - 1], [x, y + 1]] {
            if sheet.ledges.contains_key(&next) {
                continue;
            }
            let free = all
                .get_mut(&next)
                .into_iter()
                .flatten()
                .filter(|ledge| ledge.sheet.is_none());
            let nearest = free.min_by(|a, b| {
                (a.height - height)
                    .abs()
                    .total_cmp(&(b.height - height).abs())
            });
            if let Some(ledge) = nearest.filter(|ledge| (ledge.height - height).abs() <= step) {
                ledge.sheet = Some(number);
                sheet.ledges.insert(next, ledge.height);
                sheet.points += ledge.points;
                edge.push_back((next, ledge.height));
            }
        }
    }
    let points: Vec<_> = sheet
        .ledges
        .iter()
        .map(|(place, &z)| {
            [
                column_centre(place[0], scale),
                column_centre(place[1], scale),
                z,
            ]
        })
        .collect();
    sheet.plane = Plane::through(&points);
    Some(sheet)
}

//! From scanned points to a measured floor.
//!
//! In: readers of points, opened afresh for each of two passes, and what the user said. Out: a [`Surface`] of kind
//! [`Kind::Cells`]. First pass: heights by column (`columns`) and a small sample (`sample`), from which the floor is found
//! (`floor`). Second pass: cells about it (`cells`). Files are decoded side by side, each in a thread of its own, while
//! their points are counted here; all sums are of whole numbers, so the result is the same to the last bit whatever the
//! order of points and files.
//! Not here: decoding files (see `survey`), bridging holes.

use std::collections::VecDeque;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::sync::{Mutex, PoisonError};
use std::thread;

use geo::{BoundingRect, Contains, Intersects, Translate};

use super::cells::{Cells, Lattice, MOST_CELLS, Measured};
use super::columns::{COLUMN, Columns, column_centre};
use super::floor::{self, Floor};
use super::sample::{Grid, Sample, grid, median, scatter};
use super::sheets::{Sheet, sheets};
use super::{Kind, Outline, Surface};
use crate::error::{Error, Result, Warning};
use crate::survey::{Batch, LeftOut, PointReader, Up};

/// Sizes of cells that are proposed, m.
const CELLS: [f64; 7] = [0.025, 0.05, 0.1, 0.15, 0.2, 0.25, 0.5];
/// Points that a cell should hold where the floor is covered as usual: of random points one cell in 2000 then has fewer than
/// three (Poisson), so that a straightedge of eighty cells is seldom broken by chance.
const WANTED: f64 = 12.0;
/// Fewest points of a cell unless the user says otherwise.
const LEAST: u32 = 3;
/// The band about the floor: this much, m, for what the floor does within a column ...
const BAND: f64 = 0.015;
/// ... and this many times the scatter ...
const BAND_SCATTER: f64 = 3.0;
/// ... but no more than this, m.
const WIDEST_BAND: f64 = 0.06;
/// Scales at which the floor is looked for, in columns: sparse scans need wider ones.
const SCALES: [i32; 4] = [1, 2, 4, 8];
/// Points per column that are enough to look no wider.
const ENOUGH: u64 = 50;
/// How many times as many points a wider scale must find on the floor to be preferred.
const MORE: f64 = 1.3;

/// What the user said about a scan.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ScanSettings {
    /// `--cell`: side of a cell, m. None: as the density allows, from 25 mm.
    pub cell: Option<f64>,
    /// `--floor`: height of the floor to take where there are several, m.
    pub floor: Option<f64>,
    /// Fewest points that make a cell. None: three, or one where the points lie on a grid.
    pub least: Option<u32>,
    /// `--u`: standard uncertainty of a height that averaging cannot remove, m.
    pub u: f64,
    /// `--up`, as the readers apply it: only for the advice when no floor is found.
    pub up: Up,
}

/// Opens all files of a scan from the start.
pub type Open<'a> = &'a dyn Fn() -> Result<Vec<Box<dyn PointReader>>>;
/// Told how many points were just read, in both passes.
pub type Progress<'a> = &'a (dyn Fn(u64) + Sync);

/// Measures the floor of a scan. `open` is called once for each pass.
///
/// # Errors
/// What the readers say; [`Error::Floor`] when there is no floor that can be believed, or several;
/// [`Error::Argument`] for a cell size that cannot be used and a `--floor` where none is.
pub fn from_scan(
    open: Open,
    settings: &ScanSettings,
    outline: Option<&Outline>,
    progress: Progress,
) -> Result<Surface> {
    let (columns, sample) = look(open, Up::Z, progress)?;
    columns.check_extent()?;
    let mut warnings = Vec::new();
    let mut floor = match single_sheet(&columns, &sample, outline, settings, &mut warnings)? {
        Some(floor) => floor,
        None => match search(&columns, outline, settings.floor)? {
            Some(floor) => floor,
            None => return Err(no_floor(open, &columns, outline, settings)),
        },
    };
    let on_floor = points_on(&floor, &sample);
    let grid = grid(&on_floor);
    floor.scatter = scatter(&on_floor).unwrap_or(0.0);
    if floor.band == 0.0 {
        floor.band = (BAND + BAND_SCATTER * floor.scatter).min(WIDEST_BAND);
    }
    let lattice = lattice(&floor, &columns, grid, settings, outline)?;
    let least = settings.least.unwrap_or_else(|| fewest(grid, lattice.cell));
    drop(columns);
    let inside = outline.map(|outline| inside(outline, &lattice));
    let room = inside
        .as_ref()
        .map(|inside| inside.iter().filter(|inside| **inside).count());
    let mut cells = Cells::new(&floor, lattice, inside);
    let end = stream(open, progress, |batch| {
        cells.add(batch);
        Ok(())
    })?;
    warnings.extend(end.warnings);
    let mut measured = cells.measure(least, settings.u);
    measured.points.left_out += end.left_out;
    surface(measured, lattice, outline.zip(room), warnings)
}

/// First pass.
fn look(open: Open, up: Up, progress: Progress) -> Result<(Columns, Sample)> {
    let (mut columns, mut sample) = (Columns::default(), Sample::default());
    let mut turned = Batch::default();
    stream(open, progress, |batch| {
        let batch = if up == Up::Z {
            batch
        } else {
            turned.clear();
            batch.points().for_each(|point| turned.push(up.turn(point)));
            &turned
        };
        let (counted, ()) = rayon::join(|| columns.add(batch), || sample.add(batch));
        counted
    })?;
    if columns.points == 0 {
        return Err(Error::floor(
            "no point that can be placed",
            "scanned points of a floor",
        ));
    }
    Ok((columns, sample))
}

/// The sheets of a scan, as far as they are within the outline.
fn sheets_within(columns: &Columns, scale: i32, outline: Option<&Outline>) -> Vec<Sheet> {
    let mut sheets = sheets(columns, scale);
    if let Some(outline) = outline {
        let within = |place: [i32; 2]| {
            let [x, y] = place.map(|at| column_centre(at, scale));
            let half = 0.5 * COLUMN * f64::from(scale);
            geo::Rect::new((x - half, y - half), (x + half, y + half)).intersects(&outline.polygon)
        };
        for sheet in &mut sheets {
            sheet.ledges.retain(|&place, _| within(place));
        }
        sheets.retain(|sheet| !sheet.ledges.is_empty());
    }
    sheets
}

/// The floor at the finest scale that shows most of its points.
fn search(
    columns: &Columns,
    outline: Option<&Outline>,
    chosen: Option<f64>,
) -> Result<Option<Floor>> {
    let mut best: Option<Floor> = None;
    for scale in SCALES {
        let sheets = sheets_within(columns, scale, outline);
        let found = match floor::find(columns, &sheets, scale, chosen) {
            Err(error) if best.is_none() => return Err(error),
            found => found.ok().flatten(),
        };
        if let Some(floor) = found
            && best
                .as_ref()
                .is_none_or(|best| floor.points as f64 > MORE * best.points as f64)
        {
            best = Some(floor);
        }
        if columns.points >= ENOUGH * columns.count(scale) {
            break;
        }
    }
    Ok(best)
}

/// A point set with one height at each place of the plan, such as a gridded export, is the floor as it is, even where
/// it is too steep to be followed.
fn single_sheet(
    columns: &Columns,
    sample: &Sample,
    outline: Option<&Outline>,
    settings: &ScanSettings,
    warnings: &mut Vec<Warning>,
) -> Result<Option<Floor>> {
    if grid(&sample.on_floor(|_| true)).is_none() {
        return Ok(None);
    }
    let scale = 2;
    let found = floor::find(
        columns,
        &sheets_within(columns, scale, outline),
        scale,
        settings.floor,
    );
    if found
        .ok()
        .flatten()
        .is_some_and(|floor| 2 * floor.columns_held() as u64 > columns.count(scale))
    {
        return Ok(None);
    }
    let floor = Floor::single(columns, scale);
    if floor.overall.steepness() > floor::STEEPEST {
        return Ok(None);
    }
    warnings.push(Warning(format!(
        "the points have one height at each place, so all of them are taken as the floor, although their heights range \
         over {:.0} mm",
        (floor.band - 2.0 * super::columns::BIN) * 1e3
    )));
    Ok(Some(floor))
}

fn no_floor(
    open: Open,
    columns: &Columns,
    outline: Option<&Outline>,
    settings: &ScanSettings,
) -> Error {
    let seen = floor::nothing_level(columns, &sheets_within(columns, 1, outline), 1);
    if settings.up != Up::Z {
        return seen;
    }
    for (name, up) in [("y", Up::Y), ("x", Up::X)] {
        let other = look(open, up, &|_| {}).and_then(|(columns, _)| search(&columns, None, None));
        if !matches!(other, Ok(None))
            && let Error::Floor { found, .. } = seen
        {
            let wanted = format!(
                "height along z; there is a level surface across the {name} axis: say --up {name}, or --up -{name} if that \
                 turns the room upside down"
            );
            return Error::Floor { found, wanted };
        }
    }
    seen
}

/// The sampled points that lie near the floor.
fn points_on(floor: &Floor, sample: &Sample) -> Vec<[f64; 3]> {
    let band = if floor.band > 0.0 {
        floor.band
    } else {
        WIDEST_BAND
    };
    sample.on_floor(|[x, y, z]| {
        floor
            .plane_at([x, y])
            .is_some_and(|plane| (z - plane.height([x, y])).abs() <= band)
    })
}

/// Fewest points of a cell: points on a grid have been averaged already.
fn fewest(grid: Option<Grid>, cell: f64) -> u32 {
    match grid {
        Some(grid) if (cell / grid.pitch).powi(2) < f64::from(LEAST) => 1,
        _ => LEAST,
    }
}

/// Where the cells lie: as asked for, or as large as the density of the points needs. Points on a grid lie in the middle of
/// their cells, or evenly in them, never on a border.
fn lattice(
    floor: &Floor,
    columns: &Columns,
    grid: Option<Grid>,
    settings: &ScanSettings,
    outline: Option<&Outline>,
) -> Result<Lattice> {
    let bounds = match outline.and_then(|outline| outline.polygon.bounding_rect()) {
        Some(rect) => [[rect.min().x, rect.max().x], [rect.min().y, rect.max().y]],
        None => floor.bounds(),
    };
    let proposed = match grid {
        Some(grid) if grid.pitch > 0.5 * CELLS[0] => {
            vec![grid.pitch * (CELLS[0] / grid.pitch - 1e-6).ceil()]
        }
        _ => {
            let density = floor.density(columns);
            let least = CELLS
                .iter()
                .position(|cell| density * cell * cell >= WANTED);
            CELLS[least.unwrap_or(CELLS.len() - 1)..].to_vec()
        }
    };
    let sizes = settings.cell.map_or(proposed, |cell| vec![cell]);
    for &cell in &sizes {
        if !(cell.is_finite() && (1e-3..=5.0).contains(&cell)) {
            return Err(Error::argument(
                "--cell",
                format!("{cell} m"),
                "a length between 1mm and 5m",
            ));
        }
        let phase = phase(grid, cell);
        let range = |axis: usize| {
            let [low, high] = bounds[axis].map(|x| Lattice::index(cell, phase[axis], x));
            (low, usize::try_from(high - low + 1).unwrap_or(0))
        };
        let ((x0, nx), (y0, ny)) = (range(0), range(1));
        if nx.saturating_mul(ny) <= MOST_CELLS {
            return Ok(Lattice {
                cell,
                phase,
                first: [x0, y0],
                count: [nx, ny],
            });
        }
    }
    let [width, depth] = bounds.map(|[low, high]| high - low);
    Err(Error::argument(
        "--cell",
        format!("more than {MOST_CELLS} cells over {width:.0} x {depth:.0} m"),
        "a larger cell, or one room at a time (--outline)",
    ))
}

fn phase(grid: Option<Grid>, cell: f64) -> [f64; 2] {
    let Some(grid) = grid else { return [0.0; 2] };
    let times = (cell / grid.pitch).round();
    if times < 1.0 || (times * grid.pitch - cell).abs() > 1e-6 * cell {
        return [0.0; 2];
    }
    grid.phase.map(|phase| phase + 0.5 * (cell - grid.pitch))
}

/// For each cell of a lattice whether its centre is within the outline. A centre on the wall line counts on one side only,
/// hence the shift, m.
fn inside(outline: &Outline, lattice: &Lattice) -> Vec<bool> {
    let [nx, ny] = lattice.count;
    let shift = 1e-6;
    let xs: Vec<_> = (0..nx).map(|ix| lattice.centre(0, ix) + shift).collect();
    (0..ny)
        .flat_map(|iy| {
            let y = lattice.centre(1, iy) + shift;
            xs.iter()
                .map(move |&x| outline.polygon.contains(&geo::Point::new(x, y)))
        })
        .collect()
}

/// Moves the field to local coordinates and sums up. `room` is the outline and how many cells are within it.
fn surface(
    measured: Measured,
    lattice: Lattice,
    room: Option<(&Outline, usize)>,
    mut warnings: Vec<Warning>,
) -> Result<Surface> {
    let Measured {
        mut field,
        points,
        noise,
    } = measured;
    let heights: Vec<f64> = field.measured().map(|(_, [_, _, z])| z).collect();
    let cell_area = lattice.cell * lattice.cell;
    let cells = heights.len();
    let area = cells as f64 * cell_area;
    let Some(middle) = median(heights) else {
        return Err(Error::floor(
            format!("no cell of {:.0} mm with enough points", lattice.cell * 1e3),
            "a larger --cell, or a denser scan",
        ));
    };
    let origin = [field.x0.floor(), field.y0.floor(), middle.round()];
    field.x0 -= origin[0];
    field.y0 -= origin[1];
    field.z.iter_mut().for_each(|z| *z -= origin[2]);
    let missing = room.map_or_else(|| holes(&field), |(_, room)| room.saturating_sub(cells));
    let unmeasured = missing as f64 * cell_area;
    if unmeasured > 0.1 * (area + unmeasured) {
        warnings.push(Warning(format!(
            "{:.0} % of the floor was not measured",
            100.0 * unmeasured / (area + unmeasured)
        )));
    }
    if noise.is_none() {
        warnings.push(Warning(
            "the cells hold too few points to tell how far they scatter: say with --u how uncertain a height is".to_owned(),
        ));
    }
    let local = |outline: &Outline| Outline {
        polygon: outline.polygon.translate(-origin[0], -origin[1]),
    };
    Ok(Surface {
        kind: Kind::Cells,
        origin,
        field,
        triangles: Vec::new(),
        pins: Vec::new(),
        spacing: lattice.cell,
        outline: room.map(|(outline, _)| local(outline)),
        area,
        unmeasured,
        points,
        noise,
        warnings,
    })
}

/// Number of unmeasured cells that the measured ones enclose.
fn holes(field: &super::HeightField) -> usize {
    let (nx, ny) = (field.nx, field.ny);
    let mut open: Vec<bool> = field.z.iter().map(|z| z.is_finite()).collect();
    let rim = (0..nx)
        .flat_map(|ix| [ix, (ny - 1) * nx + ix])
        .chain((0..ny).flat_map(|iy| [iy * nx, iy * nx + nx - 1]));
    let mut edge: Vec<usize> = rim.collect();
    while let Some(at) = edge.pop() {
        if std::mem::replace(&mut open[at], true) {
            continue;
        }
        let (ix, iy) = (at % nx, at / nx);
        edge.extend((ix > 0).then(|| at - 1));
        edge.extend((ix + 1 < nx).then(|| at + 1));
        edge.extend((iy > 0).then(|| at - nx));
        edge.extend((iy + 1 < ny).then(|| at + nx));
    }
    open.iter().filter(|reached| !**reached).count()
}

/// What readers say at their end.
struct End {
    left_out: LeftOut,
    warnings: Vec<Warning>,
}

/// Reads all files, as many at a time as there are cores, and shows their batches while the next are decoded.
fn stream(
    open: Open,
    progress: Progress,
    mut show: impl FnMut(&Batch) -> Result<()>,
) -> Result<End> {
    let readers = open()?;
    let threads = thread::available_parallelism()
        .map_or(1, usize::from)
        .min(readers.len());
    let readers = Mutex::new(readers.into_iter().enumerate().collect::<VecDeque<_>>());
    let spare = Mutex::new(Vec::new());
    let ends = Mutex::new(Vec::new());
    let (sender, batches) = sync_channel(2 * threads + 2);
    thread::scope(|scope| {
        for _ in 0..threads {
            let sender = sender.clone();
            scope.spawn(|| {
                let sender = sender;
                while let Some((number, mut reader)) = lock(&readers).pop_front() {
                    if !read(reader.as_mut(), &sender, &spare) {
                        return;
                    }
                    lock(&ends).push((number, reader.left_out(), reader.warnings()));
                }
            });
        }
        drop(sender);
        let batches = batches;
        for batch in batches.iter() {
            let batch = batch?;
            show(&batch)?;
            progress(batch.len() as u64);
            lock(&spare).push(batch);
        }
        Ok(())
    })?;
    let mut ends = ends.into_inner().unwrap_or_else(PoisonError::into_inner);
    ends.sort_by_key(|end| end.0);
    let mut all = End {
        left_out: LeftOut::default(),
        warnings: Vec::new(),
    };
    for (_, left_out, warnings) in ends {
        all.left_out += left_out;
        all.warnings.extend(warnings);
    }
    Ok(all)
}

/// Sends all batches of a reader; false when nobody listens any more, or after an error.
fn read(
    reader: &mut dyn PointReader,
    sender: &SyncSender<Result<Batch>>,
    spare: &Mutex<Vec<Batch>>,
) -> bool {
    loop {
        let mut batch = lock(spare).pop().unwrap_or_default();
        match reader.next_batch(&mut batch) {
            Ok(true) if sender.send(Ok(batch)).is_ok() => {}
            Ok(true) => return false,
            Ok(false) => return true,
            Err(error) => {
                // When nobody listens, an earlier error has been reported already.
                let _ = sender.send(Err(error));
                return false;
            }
        }
    }
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests;

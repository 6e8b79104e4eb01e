//! From scanned points to a measured floor.
//!
//! In: readers of points, opened afresh for each of two passes, and what the user said. Out: a [`Surface`] of kind
//! [`Kind::Cells`]. First pass: heights by column (`columns`) and a small sample (`sample`), from which the floor is found
//! (`floor`). Second pass: cells about it (`cells`). Files are decoded side by side, each in a thread of its own, while
//! their points are counted here; all sums are of whole numbers, so the result is the same to the last bit whatever the
//! order of points and files.
//! Not here: decoding files (see `survey`), bridging holes.

use geo::{BoundingRect, Intersects, Translate};

use super::cells::{Cells, Measured};
use super::columns::{COLUMN, Columns, column_centre};
use super::floor::Floor;
use super::lattice::{fewest, inside, lattice};
use super::sample::{Sample, grid, median, scatter};
use super::sheets::{Sheet, sheets};
use super::storeys;
use super::stream::{Open, Progress, stream};
use super::{Kind, Outline, Shared, Surface};
use crate::error::{Error, Result, Warning};
use crate::survey::{Batch, Up};

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
    let room = outline.and_then(|outline| outline.polygon.bounding_rect());
    let bounds = room.map_or_else(
        || floor.bounds(),
        |room| [[room.min().x, room.max().x], [room.min().y, room.max().y]],
    );
    let lattice = lattice(bounds, floor.density(&columns), grid, settings.cell)?;
    let least = settings.least.unwrap_or_else(|| fewest(grid, lattice.cell));
    let far_away = columns.invalid;
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
    measured.points.left_out.invalid += far_away;
    let surface = surface(measured, lattice.cell, outline.zip(room), warnings)?;
    let shared = Shared {
        common: settings.u,
        ..surface.shared
    };
    Ok(Surface { shared, ..surface })
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
            "points with finite coordinates within 10,000 km of zero (is the unit right?)",
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
        let found = match storeys::find(columns, &sheets, scale, chosen) {
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
    let found = storeys::find(
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
    let floor = Floor::single(columns, scale)?;
    if floor.overall.steepness() > storeys::STEEPEST {
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
    let seen = storeys::nothing_level(columns, &sheets_within(columns, 1, outline), 1);
    if settings.up != Up::Z {
        return seen;
    }
    for (name, up) in [("y", Up::Y), ("x", Up::X)] {
        let turned = look(open, up, &|_| {});
        let lies_across =
            |(columns, _): (Columns, _)| !matches!(search(&columns, None, None), Ok(None));
        if turned.is_ok_and(lies_across)
            && let Error::Floor { found, .. } = &seen
        {
            let wanted = format!(
                "height along z; there is a level surface across the {name} axis: say --up {name}, or --up -{name} if that \
                 turns the room upside down"
            );
            return Error::floor(found, wanted);
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

/// Moves the field to local coordinates and sums up. `room` is the outline and how many cells are within it.
fn surface(
    measured: Measured,
    cell: f64,
    room: Option<(&Outline, usize)>,
    mut warnings: Vec<Warning>,
) -> Result<Surface> {
    let Measured {
        mut field,
        points,
        noise,
    } = measured;
    let heights: Vec<f64> = field.measured().map(|(_, [_, _, z])| z).collect();
    let cell_area = cell * cell;
    let cells = heights.len();
    let area = cells as f64 * cell_area;
    let Some(middle) = median(heights) else {
        return Err(Error::floor(
            format!("no cell of {:.0} mm with enough points", cell * 1e3),
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
        rows: Vec::new(),
        pins: Vec::new(),
        spacing: cell,
        shared: Shared::default(),
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

#[cfg(test)]
mod tests;

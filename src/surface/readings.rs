//! Readings become a floor: a grid stays a grid, anything else is triangulated.
//!
//! In: readings in the survey's coordinates, their standard uncertainty, the outline if there is one. Out: a
//! [`Surface`] of kind `Grid` or `Triangulated`. Definition 1 of the README, "readings".
//! The order of the readings does not matter. Positions are rounded to the micrometre once the origin is off, so that
//! the same floor in georeferenced coordinates, which carry rounding of their own, is joined by the same triangles.
//! An outline cuts the floor; readings outside it still shape the faces that reach over it, and count as outside.

use super::marks::{Mark, marks, name, plural, spread_out};
use super::{
    HeightField, Kind, Outline, Pin, PointsByFate, Shared, Surface, Triangle, clip, grid,
    plan_area, triangulation,
};
use crate::error::{Error, Result, Warning};
use crate::survey::Reading;
use crate::units::{MILLIMETRE, System};

/// Heights all farther from zero than this have whole metres subtracted, m.
const GREAT_HEIGHT: f64 = 1000.0;
/// No floor is wider than this, m: else a unit is wrong.
const WIDEST: f64 = 1500.0;
/// Hardly a floor is wider than this, m.
const WIDE: f64 = 300.0;
/// No floor is narrower than this both ways, m.
const NARROWEST: f64 = 0.1;
/// No floor has heights so far apart, m: else a unit is wrong.
const HIGHEST: f64 = 10.0;
/// Hardly a floor has heights so far apart, m.
const HIGH: f64 = 1.0;
/// From this share of the outline on, what was not measured is worth a warning.
const MUCH_UNMEASURED: f64 = 0.1;

/// Marks joined to a floor, before the outline is laid over it.
pub(super) struct Floor {
    pub kind: Kind,
    pub field: HeightField,
    pub triangles: Vec<Triangle>,
    /// Usual distance of neighbouring readings, m.
    pub spacing: f64,
    /// Plan area of the holes inside the floor, m².
    pub holes: f64,
    /// For each mark, whether it is part of the floor.
    pub joined: Vec<bool>,
    pub warnings: Vec<Warning>,
}

/// The floor that `readings` with standard uncertainty `u` (m) describe, cut to `outline` (survey coordinates).
///
/// # Errors
/// [`Error::Floor`] for fewer than three places, places on one line or far apart, positions or heights that are not
/// finite or of the wrong unit, and for an outline with no reading inside it.
pub fn from_readings(readings: &[Reading], u: f64, outline: Option<&Outline>) -> Result<Surface> {
    let extent = extent(readings)?;
    let mut warnings: Vec<Warning> = of_a_floor(extent)?.into_iter().collect();
    let origin = origin(readings, extent);
    let outline = outline.map(|outline| outline.shifted(origin));
    let marks = marks(readings, u, origin, &mut warnings);
    spread_out(&marks)?;
    let mut floor = match grid::recognise(&marks) {
        Some(floor) => floor,
        None => triangulation::floor(&marks)?,
    };
    warnings.append(&mut floor.warnings);
    let fates = fates(&marks, &floor.joined, outline.as_ref());
    let points = points(&marks, &fates);
    warnings.extend(left_out(points));
    if let Some(outline) = &outline {
        cut(&mut floor, outline);
        if points.used == 0 || floor.triangles.is_empty() {
            let wanted = "an outline in the survey's own coordinates, with readings inside it";
            return Err(Error::floor("no reading inside the outline", wanted));
        }
    }
    let area: f64 = floor.triangles.iter().map(plan_area).sum();
    let room = outline.as_ref().map(Outline::area);
    let unmeasured = room.map_or(floor.holes, |room| (room - area).max(0.0));
    warnings.extend(room.and_then(|room| gaps(room, unmeasured)));
    Ok(Surface {
        kind: floor.kind,
        origin,
        field: floor.field,
        triangles: floor.triangles,
        rows: Vec::new(),
        pins: pins(readings, &marks, &fates),
        spacing: floor.spacing,
        shared: Shared::default(),
        outline,
        area,
        unmeasured,
        points,
        noise: None,
        warnings,
    })
}

/// Least and greatest x, y and z, m.
type Extent = [[f64; 2]; 3];

fn extent(readings: &[Reading]) -> Result<Extent> {
    let mut extent = [[f64::INFINITY, f64::NEG_INFINITY]; 3];
    for (number, reading) in (1..).zip(readings) {
        for (value, [least, most]) in [reading.x, reading.y, reading.z].iter().zip(&mut extent) {
            if !value.is_finite() {
                let found = format!(
                    "reading {} without a place or height",
                    name(reading, number)
                );
                return Err(Error::floor(found, "finite numbers"));
            }
            *least = least.min(*value);
            *most = most.max(*value);
        }
    }
    Ok(extent)
}

/// Whether a floor can be so wide and so uneven, or a unit is wrong.
///
/// # Errors
/// [`Error::Floor`] for what no floor is.
fn of_a_floor(extent: Extent) -> Result<Option<Warning>> {
    let [width, depth, height] = extent.map(|[least, most]| most - least);
    let plan = width.max(depth);
    if plan > WIDEST {
        return Err(Error::floor(
            format!(
                "readings over {width:.0} x {depth:.0} m, as if millimetres were taken for metres"
            ),
            format!("a floor of {WIDEST} m at most (say the unit in the header, as in x_mm, y_mm)"),
        ));
    }
    if height > HIGHEST {
        return Err(Error::floor(
            format!("heights {height:.0} m apart, as if millimetres were taken for metres"),
            format!(
                "a floor, {HIGHEST} m high at most (say the unit in the header, as in z_mm or staff_mm)"
            ),
        ));
    }
    if plan > 0.0 && plan < NARROWEST {
        let [width, depth] = [width, depth].map(|metres| metres / MILLIMETRE);
        return Err(Error::floor(
            format!(
                "readings over {width:.1} x {depth:.1} mm, as if metres were taken for millimetres"
            ),
            format!(
                "a floor of {NARROWEST} m at least (say the unit in the header, as in x_m, y_m)"
            ),
        ));
    }
    let odd = match (plan > WIDE, height > HIGH) {
        (true, _) => format!("the readings lie over {width:.0} x {depth:.0} m"),
        (false, true) => format!("the heights are {height:.1} m apart"),
        (false, false) => return Ok(None),
    };
    Ok(Some(Warning(format!("{odd}: is the unit right?"))))
}

/// Whole metres to subtract: the least x and y, and heights only where all of them are great.
fn origin(readings: &[Reading], extent: Extent) -> [f64; 3] {
    if readings.is_empty() {
        return [0.0; 3];
    }
    let [x, y, z] = extent.map(|[least, _]| least);
    let great = extent[2].iter().all(|z| z.abs() > GREAT_HEIGHT);
    [x.floor(), y.floor(), if great { z.floor() } else { 0.0 }]
}

/// What becomes of a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fate {
    Used,
    Outside,
    Alone,
}

fn fates(marks: &[Mark], joined: &[bool], outline: Option<&Outline>) -> Vec<Fate> {
    let inside = |mark: &Mark| outline.is_none_or(|outline| outline.contains(mark.x, mark.y));
    marks
        .iter()
        .zip(joined)
        .map(|(mark, joined)| match (inside(mark), joined) {
            (false, _) => Fate::Outside,
            (true, false) => Fate::Alone,
            (true, true) => Fate::Used,
        })
        .collect()
}

fn points(marks: &[Mark], fates: &[Fate]) -> PointsByFate {
    let count = |wanted: Fate| {
        let of = marks.iter().zip(fates).filter(|(_, fate)| **fate == wanted);
        of.map(|(mark, _)| mark.count as u64).sum()
    };
    PointsByFate {
        used: count(Fate::Used),
        outside: count(Fate::Outside),
        sparse: count(Fate::Alone),
        ..PointsByFate::default()
    }
}

/// What the user should know about readings that were not used.
fn left_out(points: PointsByFate) -> Vec<Warning> {
    let mut warnings = Vec::new();
    if points.outside > 0 {
        warnings.push(Warning(format!(
            "{} outside the outline: they shape the floor up to it and count no further",
            plural(points.outside as usize, "reading"),
        )));
    }
    if points.sparse > 0 {
        warnings.push(Warning(format!(
            "{} too far from the others to be joined to the floor, and left out",
            plural(points.sparse as usize, "reading"),
        )));
    }
    warnings
}

/// Cuts the faces to the outline and takes the nodes outside it off the lattice.
fn cut(floor: &mut Floor, outline: &Outline) {
    floor.triangles = clip::clip(&floor.triangles, outline);
    let field = &mut floor.field;
    for node in 0..field.z.len() {
        let [x, y] = field.position(node);
        if field.z[node].is_finite() && !outline.contains(x, y) {
            (field.z[node], field.u[node]) = (f64::NAN, f64::NAN);
        }
    }
}

/// What the user should know about the part of the outline that was not measured.
fn gaps(room: f64, unmeasured: f64) -> Option<Warning> {
    (unmeasured > MUCH_UNMEASURED * room).then(|| {
        Warning(format!(
            "{:.0} % of the room ({}) was not measured: nothing is said about it",
            100.0 * unmeasured / room,
            System::Metric.area(unmeasured),
        ))
    })
}

/// The marks on the floor, in the order of the survey.
fn pins(readings: &[Reading], marks: &[Mark], fates: &[Fate]) -> Vec<Pin> {
    let mut used: Vec<&Mark> = marks
        .iter()
        .zip(fates)
        .filter(|(_, fate)| **fate == Fate::Used)
        .map(|(mark, _)| mark)
        .collect();
    used.sort_by_key(|mark| mark.first);
    used.iter()
        .map(|mark| Pin {
            name: name(&readings[mark.first], mark.first + 1),
            position: [mark.x, mark.y, mark.z],
            u: mark.u,
        })
        .collect()
}

/// The middle value (the lower of two), or none of none.
pub(super) fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len().checked_sub(1)? / 2).copied()
}

/// The pieces that are `missing` and cannot be reached from outside through missing ones: the holes in a floor.
/// `neighbours` of a piece: the pieces beyond its sides, none where that is outside.
pub fn enclosed(missing: &[bool], neighbours: impl Fn(usize) -> Vec<Option<usize>>) -> Vec<usize> {
    let mut closed = missing.to_vec();
    let at_the_border = |&piece: &usize| missing[piece] && neighbours(piece).contains(&None);
    let mut open: Vec<usize> = (0..missing.len()).filter(at_the_border).collect();
    while let Some(piece) = open.pop() {
        if std::mem::take(&mut closed[piece]) {
            open.extend(
                neighbours(piece)
                    .into_iter()
                    .flatten()
                    .filter(|&next| closed[next]),
            );
        }
    }
    (0..closed.len()).filter(|&piece| closed[piece]).collect()
}

#[cfg(test)]
mod tests {
    use geo::Polygon;

    use super::*;
    use crate::units::FOOT;

    fn readings(at: impl IntoIterator<Item = [f64; 3]>) -> Vec<Reading> {
        at.into_iter()
            .enumerate()
            .map(|(i, [x, y, z])| Reading {
                name: Some(format!("P{i}")),
                x,
                y,
                z,
                setup: None,
            })
            .collect()
    }

    /// A wavy floor, in millimetres of height.
    fn height(x: f64, y: f64) -> f64 {
        1e-3 * (4.0 * (1.3 * x).sin() + 3.0 * (0.9 * y + x).cos())
    }

    fn grid(nx: usize, ny: usize) -> impl Iterator<Item = [f64; 3]> {
        (0..nx * ny).map(move |i| {
            let (x, y) = ((i % nx) as f64 * 0.5, (i / nx) as f64 * 0.5);
            [x, y, height(x, y)]
        })
    }

    /// Off any grid, in an order without pattern.
    fn scattered() -> impl Iterator<Item = [f64; 3]> {
        grid(11, 9).enumerate().map(|(i, [x, y, _])| {
            let off = |k: usize| ((i * k) % 301) as f64 / 1000.0 - 0.15;
            let (x, y) = (x + off(7919), y + off(104_729));
            [x, y, height(x, y)]
        })
    }

    fn square(x: f64, y: f64, size: f64) -> geo::LineString {
        vec![(x, y), (x + size, y), (x + size, y + size), (x, y + size)].into()
    }

    fn volume(surface: &Surface) -> f64 {
        let prism = |t: &Triangle| plan_area(t) * (t[0][2] + t[1][2] + t[2][2]) / 3.0;
        surface.triangles.iter().map(prism).sum()
    }

    #[test]
    fn the_volume_of_a_grid_is_the_handbooks() {
        // One cell of 50 ft, corners at 87.6, 87.6, 87.6 and 88.6 ft, filled to 90 ft: 199 cubic yards (a published
        // exercise on the grid method); here the floor hangs below zero at 90 ft.
        let corner = |x: f64, y: f64, z: f64| [x * FOOT, y * FOOT, (z - 90.0) * FOOT];
        let cell = readings([
            corner(0.0, 0.0, 87.6),
            corner(50.0, 0.0, 87.6),
            corner(0.0, 50.0, 87.6),
            corner(50.0, 50.0, 88.6),
        ]);
        let yards = -volume(&from_readings(&cell, 1e-3, None).unwrap()) / (3.0 * FOOT).powi(3);
        assert!((yards - 50.0 * 50.0 * 2.15 / 27.0).abs() < 1e-9 && yards.round() == 199.0);

        // An L: V = (A/4)(sum h1 + 2 sum h2 + 3 sum h3 + 4 sum h4), h_n at nodes of n cells. The inner corner has 3.
        let l = |&[x, y, _]: &[f64; 3]| x < 1.1 || y < 1.1;
        let surface = from_readings(&readings(grid(7, 6).filter(l)), 1e-3, None).unwrap();
        let cell = |x: f64, y: f64| {
            let inside = (0.0..3.0).contains(&x) && (0.0..2.5).contains(&y) && (x < 1.0 || y < 1.0);
            f64::from(u8::from(inside))
        };
        let cells = |x: f64, y: f64| {
            let (e, w, n, s) = (x + 0.25, x - 0.25, y + 0.25, y - 0.25);
            cell(e, n) + cell(w, n) + cell(e, s) + cell(w, s)
        };
        let sum: f64 = grid(7, 6).filter(l).map(|[x, y, z]| cells(x, y) * z).sum();
        assert_eq!(surface.kind, Kind::Grid);
        assert!((surface.area - 4.5).abs() < 1e-12 && surface.unmeasured == 0.0);
        assert!((volume(&surface) - 0.25 / 4.0 * sum).abs() < 1e-15);
    }

    #[test]
    fn the_order_of_the_readings_does_not_matter() {
        for original in [readings(scattered()), readings(grid(6, 7))] {
            let mut shuffled = original.clone();
            shuffled.reverse();
            shuffled.rotate_left(17);
            shuffled.swap(3, 30);
            let [a, b] = [&original, &shuffled].map(|r| from_readings(r, 1e-3, None).unwrap());
            assert_eq!((a.kind, a.area, a.spacing), (b.kind, b.area, b.spacing));
            assert_eq!(a.triangles, b.triangles);
            let bits = |s: &Surface| s.field.z.iter().map(|z| z.to_bits()).collect::<Vec<_>>();
            assert_eq!(bits(&a), bits(&b));
            let pins = |s: &Surface| {
                let mut pins = s.pins.clone();
                pins.sort_by(|a, b| a.name.cmp(&b.name));
                pins
            };
            assert_eq!(pins(&a), pins(&b));
        }
    }

    #[test]
    fn georeferenced_readings_give_the_same_surface() {
        for here in [readings(scattered()), readings(grid(6, 7))] {
            let mut there = here.clone();
            for reading in &mut there {
                (reading.x, reading.y) = (reading.x + 5e5, reading.y + 5e6);
                reading.z += 2000.0;
            }
            let [a, b] = [&here, &there].map(|r| from_readings(r, 1e-3, None).unwrap());
            for (p, q) in a
                .triangles
                .iter()
                .flatten()
                .zip(b.triangles.iter().flatten())
            {
                let z = a.survey_z(p[2]) + 2000.0 - b.survey_z(q[2]);
                assert!((p[0] - q[0]).hypot(p[1] - q[1]) < 1e-9 && z.abs() < 1e-9);
            }
            assert_eq!(a.triangles.len(), b.triangles.len());
            assert_eq!((a.field.nx, a.field.ny), (b.field.nx, b.field.ny));
            assert_eq!(b.origin, [a.origin[0] + 5e5, a.origin[1] + 5e6, 1999.0]);
        }
    }

    #[test]
    fn an_outline_cuts_both_kinds() {
        let room = Polygon::new(square(0.3, 0.4, 3.1), vec![square(1.1, 1.2, 0.7)]);
        let outline = Outline { polygon: room };
        for (kind, survey) in [
            (Kind::Grid, readings(grid(11, 9))),
            (Kind::Triangulated, readings(scattered())),
        ] {
            let surface = from_readings(&survey, 1e-3, Some(&outline)).unwrap();
            assert_eq!(surface.kind, kind);
            assert!((surface.area - (3.1 * 3.1 - 0.49)).abs() < 1e-9);
            assert!(surface.unmeasured < 1e-9);
            let room = surface.outline.as_ref().unwrap();
            assert!(
                surface
                    .field
                    .measured()
                    .all(|(_, [x, y, _])| room.contains(x, y))
            );
            assert_eq!(surface.points.used as usize, surface.pins.len());
            assert_eq!(surface.points.used + surface.points.outside, 99);
            assert!(surface.points.outside > 30);
        }
        let elsewhere = outline.shifted([100.0, 0.0, 0.0]);
        let between_readings = Outline {
            polygon: Polygon::new(square(0.1, 0.1, 0.2), Vec::new()),
        };
        for outline in [elsewhere, between_readings] {
            assert!(from_readings(&readings(grid(11, 9)), 1e-3, Some(&outline)).is_err());
        }
    }

    #[test]
    fn what_was_not_measured_of_the_room_is_said() {
        let outline = Outline {
            polygon: Polygon::new(square(0.0, 0.0, 4.0), Vec::new()),
        };
        let surface = from_readings(&readings(grid(9, 5)), 1e-3, Some(&outline)).unwrap();
        assert!((surface.area - 8.0).abs() < 1e-12 && (surface.unmeasured - 8.0).abs() < 1e-12);
        let expected = "50 % of the room (8.0 m²) was not measured: nothing is said about it";
        assert_eq!(surface.warnings, [Warning(expected.to_owned())]);
    }

    #[test]
    fn readings_at_one_place_are_averaged() {
        let again = [
            [1.0, 1.0, height(1.0, 1.0) + 0.010],
            [0.5, 0.5004, height(0.5, 0.5)],
        ];
        let survey = readings(grid(5, 5).chain(again));
        let surface = from_readings(&survey, 1e-3, None).unwrap();
        let node = 2 * 5 + 2;
        assert!((surface.field.z[node] - height(1.0, 1.0) - 0.005).abs() < 1e-12);
        assert!((surface.field.u[node] - 1e-3 / 2f64.sqrt()).abs() < 1e-15);
        assert_eq!((surface.pins.len(), surface.points.used), (25, 27));
        assert_eq!(surface.warnings.len(), 1, "{:?}", surface.warnings);
        let warning = &surface.warnings[0].0;
        assert!(
            warning.contains("at 1 place") && warning.contains("10.0 mm"),
            "{warning}"
        );
    }

    #[test]
    fn what_is_no_floor() {
        let line = (0..9).map(|i| {
            [
                f64::from(i),
                0.5 * f64::from(i) + 0.004 * f64::from(i % 2),
                0.0,
            ]
        });
        let place = [[1.0, 1.0, 0.0]; 5];
        let wide = [[0.0, 0.0, 0.0], [4000.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let high = [[0.0, 0.0, 0.0], [4.0, 0.0, 14.0], [0.0, 1.0, 0.0]];
        let narrow = [[0.0, 0.0, 0.0], [0.004, 0.0, 0.0], [0.0, 0.003, 0.0]];
        let no_number = [[0.0, 0.0, 0.0], [1.0, f64::NAN, 0.0], [0.0, 1.0, 0.0]];
        for survey in [
            readings([]),
            readings(grid(2, 1)),
            readings(line),
            readings(place),
            readings(wide),
            readings(high),
            readings(narrow),
            readings(no_number),
        ] {
            assert!(matches!(
                from_readings(&survey, 1e-3, None),
                Err(Error::Floor { .. })
            ));
        }
        assert!(from_readings(&readings(grid(2, 2).take(3)), 1e-3, None).is_ok());
    }

    #[test]
    fn a_floor_that_can_hardly_be_is_doubted() {
        let odd = |[width, height]: [f64; 2]| {
            let corners = [
                [0.0, 0.0, 0.0],
                [width, 0.0, height],
                [0.0, 30.0, 0.0],
                [width, 30.0, 0.0],
            ];
            let surface = from_readings(&readings(corners), 1e-3, None).unwrap();
            surface
                .warnings
                .iter()
                .any(|Warning(text)| text.ends_with("is the unit right?"))
        };
        assert!(odd([400.0, 0.0]) && odd([4.0, 1.1]));
        assert!(!odd([299.0, 0.9]));
    }
}

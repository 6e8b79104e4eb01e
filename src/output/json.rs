//! The JSON documents: findings with the unit in every key.
//!
//! In: finished results. Out: one JSON document. Plan positions are metres in the survey's own coordinates, heights
//! millimetres from the survey's zero. A value that could not be determined is null, with its reason beside it.
//! Values are rounded to a ten-thousandth of their unit, far below any measurement, so that documents compare.
//! The schemas in `schema/` beside this file are generated from these types; `tests/golden` holds them together.

mod along_lines;
mod batches;
mod classes;
mod compare;
mod edge_book;
mod fixed;
mod handover;
mod house;
mod levels;
mod materials;
mod pour;
mod questions;
mod rest;

use schemars::JsonSchema;
use serde::Serialize;

use along_lines::{FNumbers, Waviness};
use classes::JudgedClass;

use super::words;
use crate::error::Warning;
use crate::findings::{Description, Findings, OnPlan, READING_U};
use crate::flatness::spots::SpotKind;
use crate::flatness::straightedge::Straightedge;
use crate::surface::{Kind, Surface};
use crate::units::{LITRE, MILLIMETRE};

pub use classes::{KnownClass, classes};
pub use compare::{Compare, compare};
pub use edge_book::edge_book;
pub use handover::{Handover, handover};
pub use house::{House, house};
pub use levels::{LevelCheck, level_check};
pub use pour::{Pour, pour};
pub use questions::{PourArea, pour_area, reach};
pub use rest::rest;

/// Rounds to a ten-thousandth; a minus zero becomes zero.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4 + 0.0
}

fn mm(metres: f64) -> f64 {
    rounded(metres / MILLIMETRE)
}

fn litres(cubic_metres: f64) -> f64 {
    rounded(cubic_metres / LITRE)
}

/// A local plan position in the survey's coordinates, m.
fn on_plan(surface: &Surface, local: [f64; 2]) -> [f64; 2] {
    surface.survey_xy(local).map(rounded)
}

/// A place on the plan, or on a line that has none there.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
enum Place {
    /// In the survey's coordinates.
    Plan { x_m: f64, y_m: f64 },
    /// So far along a line.
    Line { line: String, station_m: f64 },
}

impl Place {
    fn new(surface: &Surface, local: [f64; 2]) -> Self {
        if let Some((line, station)) = surface.line_at(local) {
            return Self::Line {
                line: line.to_owned(),
                station_m: rounded(station),
            };
        }
        let [x_m, y_m] = on_plan(surface, local);
        Self::Plan { x_m, y_m }
    }

    fn node(surface: &Surface, node: usize) -> Self {
        Self::new(surface, surface.field.position(node))
    }
}

/// A place with its height.
#[derive(Debug, Serialize, JsonSchema)]
struct Height {
    #[serde(flatten)]
    place: Place,
    z_mm: f64,
}

impl Height {
    fn new(surface: &Surface, [x, y, z]: [f64; 3]) -> Self {
        Self {
            place: Place::new(surface, [x, y]),
            z_mm: mm(surface.survey_z(z)),
        }
    }
}

#[derive(Debug, Serialize, JsonSchema)]
struct Input {
    file: String,
    sha256: String,
    format: String,
    points: u64,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Survey {
    /// "readings", "scan" or "straightedge book"
    kind: &'static str,
    points_used: u64,
    points_rejected: u64,
    /// Standard uncertainty of one height, or of one gap; null for a scan whose cells have each their own and no --u was given.
    reading_u_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    reading_u_mm_reason: Option<&'static str>,
    /// Standard uncertainty of the tilt of the plane that heights were measured from; null where --tilt does not say.
    tilt_u_mm_per_m: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tilt_u_mm_per_m_reason: Option<&'static str>,
    rejected: Rejected,
    /// Scatter of scanned points about the floor; null for readings.
    noise_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    noise_mm_reason: Option<&'static str>,
}

/// Points that were not used, by reason.
#[derive(Debug, Default, Serialize, JsonSchema)]
struct Rejected {
    withheld: u64,
    noise: u64,
    invalid: u64,
    above: u64,
    below: u64,
    outside: u64,
    sparse: u64,
}

#[derive(Debug, Serialize, JsonSchema)]
struct SurfaceFacts {
    /// "grid", "triangulated", "cells" or "lines"
    kind: &'static str,
    spacing_mm: f64,
    /// Null of lines without a place on the plan.
    area_m2: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    area_m2_reason: Option<&'static str>,
    unmeasured_m2: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    unmeasured_m2_reason: Option<&'static str>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Level {
    mean_mm: f64,
    range_mm: f64,
    /// Standard uncertainty of the range: of its two heights, and of the tilt over their distance.
    range_u_mm: f64,
    highest: Height,
    lowest: Height,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Planes {
    least_squares: LeastSquares,
    minimum_zone: MinimumZone,
}

#[derive(Debug, Serialize, JsonSchema)]
struct LeastSquares {
    slope_x_mm_per_m: f64,
    slope_y_mm_per_m: f64,
    fall_mm_per_m: f64,
    rms_mm: f64,
    above_mm: f64,
    below_mm: f64,
    u: LeastSquaresU,
}

/// Standard uncertainties.
#[derive(Debug, Serialize, JsonSchema)]
struct LeastSquaresU {
    slope_x_mm_per_m: f64,
    slope_y_mm_per_m: f64,
    fall_mm_per_m: f64,
}

#[derive(Debug, Serialize, JsonSchema)]
struct MinimumZone {
    slope_x_mm_per_m: f64,
    slope_y_mm_per_m: f64,
    width_mm: f64,
    /// Null where its contacts lie in line.
    u: Option<MinimumZoneU>,
    #[serde(skip_serializing_if = "Option::is_none")]
    u_reason: Option<&'static str>,
}

/// Standard uncertainties, from those of the four heights that the zone rests on. The width does not feel a tilt.
#[derive(Debug, Serialize, JsonSchema)]
struct MinimumZoneU {
    slope_x_mm_per_m: f64,
    slope_y_mm_per_m: f64,
    width_mm: f64,
}

#[derive(Debug, Serialize, JsonSchema)]
struct Edge {
    length_m: f64,
    worst_gap_mm: Option<f64>,
    gap_u_mm: Option<f64>,
    /// What the survey's own noise adds to the gap on average, by simulation on the smoothed floor.
    bias_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bias_mm_reason: Option<&'static str>,
    /// The gap that noise alone makes in one case in twenty: a gap is outside only if it is over the limit by more.
    noise_reach_mm: Option<f64>,
    from: Option<Place>,
    to: Option<Place>,
    at: Option<Place>,
    worst_departure_mm: Option<f64>,
    /// Standard uncertainty of the departure, from its three heights.
    departure_u_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    worst_departure_mm_reason: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    worst_gap_mm_reason: Option<&'static str>,
}

impl Edge {
    fn new(surface: &Surface, laid: &Straightedge) -> Self {
        let place = |node| Place::node(surface, node);
        Self {
            length_m: rounded(laid.length),
            worst_gap_mm: laid.worst.map(|contact| mm(contact.gap)),
            gap_u_mm: laid.worst.map(|contact| mm(contact.u)),
            bias_mm: laid.bias.map(|bias| mm(bias.mean)),
            bias_mm_reason: laid.bias.is_none().then_some(words::NO_LINE),
            noise_reach_mm: laid.bias.map(|bias| mm(bias.reach)),
            from: laid.worst.map(|contact| place(contact.a)),
            to: laid.worst.map(|contact| place(contact.b)),
            at: laid.worst.map(|contact| place(contact.c)),
            worst_departure_mm: laid.departure().map(mm),
            worst_departure_mm_reason: laid.departure().is_none().then_some(words::NO_LINE),
            departure_u_mm: laid.widest_departure().map(|widest| mm(widest.u)),
            worst_gap_mm_reason: laid.worst.is_none().then_some(words::NO_LINE),
        }
    }
}

#[derive(Debug, Serialize, JsonSchema)]
struct Spot {
    /// "high" or "low"
    kind: &'static str,
    x_m: f64,
    y_m: f64,
    area_m2: f64,
    extreme_mm: f64,
    volume_l: f64,
}

/// What `lowspot check --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Check {
    /// Version of lowspot.
    lowspot: &'static str,
    inputs: Vec<Input>,
    survey: Survey,
    /// Null of a straightedge book, as is the level.
    surface: Option<SurfaceFacts>,
    #[serde(skip_serializing_if = "Option::is_none")]
    surface_reason: Option<&'static str>,
    level: Option<Level>,
    #[serde(skip_serializing_if = "Option::is_none")]
    level_reason: Option<&'static str>,
    /// Null of a straightedge book, and of lines without a place on the plan.
    planes: Option<Planes>,
    #[serde(skip_serializing_if = "Option::is_none")]
    planes_reason: Option<&'static str>,
    straightedge: Vec<Edge>,
    /// The edges of a straightedge book, in its order; only of such a book.
    #[serde(skip_serializing_if = "Option::is_none")]
    edges: Option<Vec<edge_book::LaidEdge>>,
    /// Null where the readings or the floor do not meet the standard's minimum.
    f_numbers: Option<FNumbers>,
    #[serde(skip_serializing_if = "Option::is_none")]
    f_numbers_reason: Option<String>,
    /// Null where the readings do not meet the standard's minimum.
    waviness: Option<Waviness>,
    #[serde(skip_serializing_if = "Option::is_none")]
    waviness_reason: Option<String>,
    classes: Vec<JudgedClass>,
    /// What the spots stand out from; null of lines without a place on the plan.
    reference: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    reference_reason: Option<&'static str>,
    spots: Option<Vec<Spot>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    spots_reason: Option<&'static str>,
    warnings: Vec<String>,
    cautions: Vec<&'static str>,
}

/// The document of `check`.
pub fn check(findings: &Findings) -> Check {
    let surface = &findings.surface;
    let on_plan = findings.on_plan.as_ref();
    let no_plan = on_plan.is_none().then_some(words::NO_PLAN);
    Check {
        lowspot: env!("CARGO_PKG_VERSION"),
        inputs: inputs(&findings.inputs),
        survey: survey(surface, findings.given_u),
        surface: Some(surface_facts(surface)),
        surface_reason: None,
        level: Some(level(surface, &findings.level, findings.range_u)),
        level_reason: None,
        planes: on_plan.map(planes),
        planes_reason: no_plan,
        straightedge: findings
            .straightedges
            .iter()
            .map(|laid| Edge::new(surface, laid))
            .collect(),
        edges: None,
        f_numbers: findings.f_numbers.as_ref().ok().map(FNumbers::new),
        f_numbers_reason: findings.f_numbers.as_ref().err().cloned(),
        waviness: findings.waviness.as_ref().ok().map(Waviness::new),
        waviness_reason: findings.waviness.as_ref().err().cloned(),
        classes: findings
            .judged
            .iter()
            .map(|judged| JudgedClass::new(judged, &|node| Place::node(surface, node)))
            .collect(),
        reference: on_plan.map(|found| found.reference.title()),
        reference_reason: no_plan,
        spots: on_plan.map(|found| spots(surface, &found.spots)),
        spots_reason: no_plan,
        warnings: findings.warnings.iter().map(Warning::to_string).collect(),
        cautions: words::CHECK_CAUTIONS.to_vec(),
    }
}

fn planes(found: &OnPlan) -> Planes {
    let (squares, zone) = (&found.least_squares, &found.minimum_zone);
    Planes {
        least_squares: LeastSquares {
            slope_x_mm_per_m: mm(squares.plane.slope_x()),
            slope_y_mm_per_m: mm(squares.plane.slope_y()),
            fall_mm_per_m: mm(squares.plane.fall()),
            rms_mm: mm(squares.rms),
            above_mm: mm(squares.above),
            below_mm: mm(squares.below),
            u: LeastSquaresU {
                slope_x_mm_per_m: mm(found.least_squares_u.x),
                slope_y_mm_per_m: mm(found.least_squares_u.y),
                fall_mm_per_m: mm(found.least_squares_u.fall),
            },
        },
        minimum_zone: MinimumZone {
            slope_x_mm_per_m: mm(zone.plane.slope_x()),
            slope_y_mm_per_m: mm(zone.plane.slope_y()),
            width_mm: mm(zone.width),
            u: found.minimum_zone_u.map(|(slopes, width)| MinimumZoneU {
                slope_x_mm_per_m: mm(slopes.x),
                slope_y_mm_per_m: mm(slopes.y),
                width_mm: mm(width),
            }),
            u_reason: found
                .minimum_zone_u
                .is_none()
                .then_some(words::CONTACTS_IN_LINE),
        },
    }
}

fn inputs(inputs: &[crate::survey::Input]) -> Vec<Input> {
    let input = |input: &crate::survey::Input| Input {
        file: input.file.clone(),
        sha256: input.sha256.clone(),
        format: input.format.to_owned(),
        points: input.points,
    };
    inputs.iter().map(input).collect()
}

fn survey(surface: &Surface, given_u: Option<f64>) -> Survey {
    let points = surface.points;
    let scan = surface.kind == Kind::Cells;
    let tilt = Some(surface.shared.tilt).filter(|tilt| *tilt > 0.0);
    let reading_u = given_u.or((!scan).then_some(READING_U));
    Survey {
        kind: if scan { "scan" } else { "readings" },
        points_used: points.used,
        points_rejected: points.rejected(),
        reading_u_mm: reading_u.map(mm),
        reading_u_mm_reason: reading_u.is_none().then_some(words::CELLS_HAVE_THEIR_OWN_U),
        tilt_u_mm_per_m: tilt.map(mm),
        tilt_u_mm_per_m_reason: tilt.is_none().then_some(words::NO_TILT),
        rejected: Rejected {
            withheld: points.left_out.withheld,
            noise: points.left_out.noise,
            invalid: points.left_out.invalid,
            above: points.above,
            below: points.below,
            outside: points.outside,
            sparse: points.sparse,
        },
        noise_mm: surface.noise.map(mm),
        noise_mm_reason: surface.noise.is_none().then_some(words::NO_NOISE),
    }
}

fn surface_facts(surface: &Surface) -> SurfaceFacts {
    let lines = surface.kind == Kind::Lines;
    let area = |area: f64| (!lines).then(|| rounded(area));
    let reason = lines.then_some(words::NO_PLAN);
    SurfaceFacts {
        kind: match surface.kind {
            Kind::Grid => "grid",
            Kind::Triangulated => "triangulated",
            Kind::Cells => "cells",
            Kind::Lines => "lines",
        },
        spacing_mm: mm(surface.spacing),
        area_m2: area(surface.area),
        area_m2_reason: reason,
        unmeasured_m2: area(surface.unmeasured),
        unmeasured_m2_reason: reason,
    }
}

fn level(surface: &Surface, level: &crate::surface::Level, range_u: f64) -> Level {
    Level {
        mean_mm: mm(surface.survey_z(level.mean)),
        range_mm: mm(level.range()),
        range_u_mm: mm(range_u),
        highest: Height::new(surface, level.highest),
        lowest: Height::new(surface, level.lowest),
    }
}

fn spots(surface: &Surface, spots: &[crate::flatness::spots::Spot]) -> Vec<Spot> {
    let spot = |spot: &crate::flatness::spots::Spot| {
        let [x_m, y_m] = on_plan(surface, surface.field.position(spot.node));
        let kind = match spot.kind {
            SpotKind::High => "high",
            SpotKind::Low => "low",
        };
        let (area_m2, volume_l) = (rounded(spot.area), litres(spot.volume));
        Spot {
            kind,
            x_m,
            y_m,
            area_m2,
            extreme_mm: mm(spot.extreme),
            volume_l,
        }
    };
    spots.iter().map(spot).collect()
}

/// Least and greatest of a coordinate, m.
#[derive(Debug, Serialize, JsonSchema)]
struct Extent {
    x_m: [f64; 2],
    y_m: [f64; 2],
    z_m: [f64; 2],
}

/// What `lowspot describe --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Describe {
    /// Version of lowspot.
    lowspot: &'static str,
    inputs: Vec<Input>,
    /// Null for level books, profile lines without x and y, and straightedge books.
    extent: Option<Extent>,
    #[serde(skip_serializing_if = "Option::is_none")]
    extent_reason: Option<&'static str>,
    /// Level books, reduced.
    level_books: Vec<levels::LevelBook>,
    /// The edges of a straightedge book, in its order; only of such a book.
    #[serde(skip_serializing_if = "Option::is_none")]
    edges: Option<Vec<edge_book::LaidEdge>>,
    /// Null where the readings are from one set-up.
    setups: Option<levels::SetUps>,
    #[serde(skip_serializing_if = "Option::is_none")]
    setups_reason: Option<&'static str>,
    /// Null where no floor was found.
    survey: Option<Survey>,
    surface: Option<SurfaceFacts>,
    level: Option<Level>,
    #[serde(skip_serializing_if = "Option::is_none")]
    surface_reason: Option<String>,
    warnings: Vec<String>,
}

/// The document of `describe`.
pub fn describe(description: &Description) -> Describe {
    let floor = description.floor.as_ref().ok();
    let edges = description.edges.as_ref();
    let no_places = match (edges, description.books.as_slice()) {
        (Some(_), _) => words::NO_HEIGHTS,
        (None, []) => words::NO_PLAN,
        (None, [..]) => words::NO_PLACES,
    };
    Describe {
        lowspot: env!("CARGO_PKG_VERSION"),
        inputs: inputs(&description.inputs),
        extent: description.extent.map(|[x, y, z]| Extent {
            x_m: x.map(rounded),
            y_m: y.map(rounded),
            z_m: z.map(rounded),
        }),
        extent_reason: description.extent.is_none().then_some(no_places),
        level_books: description.books.iter().map(levels::book).collect(),
        edges: edges.map(edge_book::edges),
        setups: description.network.as_ref().map(levels::setups),
        setups_reason: description.network.is_none().then_some(words::ONE_SETUP),
        survey: floor
            .map(|floor| survey(&floor.surface, None))
            .or(edges.map(edge_book::survey)),
        surface: floor.map(|floor| surface_facts(&floor.surface)),
        level: floor.map(|floor| level(&floor.surface, &floor.level, floor.range_u)),
        surface_reason: description.floor.as_ref().err().cloned(),
        warnings: description
            .warnings
            .iter()
            .map(Warning::to_string)
            .collect(),
    }
}

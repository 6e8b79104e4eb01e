//! The whole pipeline on one screen: a [`Job`] goes in, [`Findings`] or a [`PourPlan`](crate::findings::PourPlan) come out. The first file to read.
//!
//! files -> survey -> surface -> planes, straightedges, spots, F-numbers -> verdicts; then `run/pour.rs`: target, volume, order.

use crate::error::{Error, Result, Warning};
use crate::findings::{
    Checked, Description, EdgeFindings, Findings, Floor, LevelCheck, OnPlan, READING_U, Reference,
    USUAL_EDGE,
};
use crate::flatness::along::Along;
use crate::flatness::by_hand::spanned;
use crate::flatness::instrument::{self, InstrumentLimit};
use crate::flatness::sample_lines::{self, SampleLine};
use crate::flatness::{f_numbers, spots, straightedge, verdict, waviness};
use crate::reference::{Plane, least_squares, least_squares_u, minimum_zone, minimum_zone_u};
use crate::surface::lines::from_lines;
use crate::surface::readings::from_readings;
use crate::surface::scan::{ScanSettings, from_scan};
use crate::surface::{Kind, Level, Outline, Surface};
use crate::survey::{self, Input, LaidEdge, Measured, ProfileLine, Source, Survey, two_peg};
use crate::tolerance::Class;
use crate::units::{LengthUnit, System};

mod aim;
mod compare;
mod pour;
mod questions;
mod rest;

pub use compare::{CompareJob, NotPoured, Zero, compare};
pub use pour::{Fall, Finish, Pins, PourJob, Shape, USUAL_PITCH, pour};
pub use questions::{pour_area, reach};
pub use rest::rest;

/// Told how many points have just been read, and how many there are to read in all if the files say so.
pub type Progress<'a> = dyn Fn(u64, Option<u64>) + Sync + 'a;

/// How often the points of a scan are read: once to find the floor, once to measure it.
const PASSES: u64 = 2;

/// The limit that spots are judged by where no class is asked for, m.
pub const USUAL_LIMIT: f64 = 0.003;

/// What is to be done with one floor.
#[derive(Debug, Clone, Default)]
pub struct Job {
    /// The survey's files, all of one floor.
    pub files: Vec<String>,
    /// How they are read.
    pub options: survey::Options,
    /// `--u`: standard uncertainty of one height, m.
    pub u: Option<f64>,
    /// `--tilt`: standard uncertainty of the tilt of the laser plane, m per m.
    pub tilt: Option<f64>,
    /// `--cell`: side of a scan's cells, m.
    pub cell: Option<f64>,
    /// `--floor`: which of several floors of a scan, m.
    pub floor: Option<f64>,
    /// `--outline`: file with the room's polygon.
    pub outline: Option<String>,
    /// Classes to judge by.
    pub classes: Vec<Class>,
    /// Straightedges to lay besides, m.
    pub straightedges: Vec<f64>,
    /// What deviations are measured from.
    pub reference: Reference,
    /// Units of the sentences that findings contain.
    pub units: System,
}

/// A two-peg test to work out.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelJob {
    /// The file with its readings.
    pub file: String,
    /// `--units`: the unit of staff readings where the file does not say.
    pub units: Option<LengthUnit>,
    /// `--u`: standard uncertainty of one reading, m.
    pub u: Option<f64>,
    /// `--limit`: how far the line of sight may be off, m per m.
    pub limit: Option<f64>,
}

/// What a survey shows, whether it holds heights or a straightedge book.
///
/// # Errors
/// As [`check`].
pub fn check_any(job: &Job, progress: &Progress) -> Result<Checked> {
    let survey = Survey::open(&job.files, &job.options)?;
    match &survey.measured {
        Measured::Edges(edges) => edge_book(job, &survey, edges).map(Checked::Edges),
        Measured::Readings { .. } | Measured::Lines { .. } | Measured::Scan => {
            let findings = check_survey(job, &survey, progress)?;
            Ok(Checked::Floor(Box::new(findings)))
        }
    }
}

/// One floor, measured: how flat, how level, which classes it meets.
///
/// # Errors
/// Whatever keeps the survey from being read, or the floor from being found in it: a straightedge book has no heights.
pub fn check(job: &Job, progress: &Progress) -> Result<Findings> {
    check_survey(job, &Survey::open(&job.files, &job.options)?, progress)
}

/// The same of a survey that is open already.
fn check_survey(job: &Job, survey: &Survey, progress: &Progress) -> Result<Findings> {
    let surface = surface(job, survey, progress).map_err(|error| survey.or_changed(error))?;
    let level = Level::of(&surface.heights()).ok_or_else(nothing_measured)?;
    let on_plan = match surface.kind {
        Kind::Grid | Kind::Triangulated | Kind::Cells => Some(on_plan(job, &surface, level)?),
        Kind::Lines => None,
    };
    let lines = sample_lines(job, survey, &surface);
    let section = section(survey, &surface);
    let straightedges: Vec<_> = job
        .edges()
        .into_iter()
        .map(|length| straightedge::lay(&surface.field, length).with_bias(&surface))
        .collect();
    let f_numbers = along(&lines, |lines| {
        f_numbers::measure(lines, section, job.units)
            .map(|found| found.with_tilt(job.tilt.unwrap_or(0.0)))
    });
    let waviness = along(&lines, |lines| waviness::measure(lines, job.units));
    let lines = lines.unwrap_or_default();
    let numbers = Along::of(&f_numbers, &waviness, &lines);
    let judged = verdict::judge_all(&job.classes, &straightedges, &numbers, &surface, job.units);
    Ok(Findings {
        inputs: survey.inputs()?,
        staff: survey.staff(),
        given_u: job.u,
        range_u: surface.range_u(&level),
        level,
        on_plan,
        straightedges,
        judged,
        f_numbers,
        waviness,
        sample_lines: lines,
        warnings: job
            .warnings(survey)
            .into_iter()
            .chain(surface.warnings.iter().cloned())
            .collect(),
        surface,
    })
}

/// Edges laid by hand: the widest gaps, and what they say about the classes.
fn edge_book(job: &Job, survey: &Survey, edges: &[LaidEdge]) -> Result<EdgeFindings> {
    let outline = job.outline()?;
    let on_floor = |edge: &&LaidEdge| {
        let [x, y] = edge.at;
        outline.as_ref().is_none_or(|room| room.contains(x, y))
    };
    let on_floor: Vec<_> = edges.iter().filter(on_floor).cloned().collect();
    if on_floor.is_empty() {
        return Err(Error::floor(
            "no edge inside the outline",
            "places and outline in the same coordinates",
        ));
    }
    let mut found = EdgeFindings {
        inputs: survey.inputs()?,
        given_u: job.u,
        outside: (edges.len() - on_floor.len()) as u64,
        area: outline
            .as_ref()
            .map_or_else(|| spanned(&on_floor), Outline::area),
        edges: on_floor,
        outline,
        of_length: Vec::new(),
        judged: Vec::new(),
        warnings: job.warnings(survey),
    };
    found.of_length = found.book().by_length(&job.straightedges);
    found.judged = found.book().judge_all(&job.classes, job.units);
    Ok(found)
}

/// Planes, and what stands out from the one asked for.
fn on_plan(job: &Job, surface: &Surface, level: Level) -> Result<OnPlan> {
    let (heights, u) = (surface.heights(), surface.uncertainties());
    let (least_squares, minimum_zone) =
        rayon::join(|| least_squares(&heights), || minimum_zone(&heights));
    let (least_squares, minimum_zone) = (least_squares?, minimum_zone?);
    let shared = surface.shared;
    let reference_plane = match job.reference {
        Reference::Plane => least_squares.plane,
        Reference::Zone => minimum_zone.plane,
        Reference::Level => Plane {
            a: level.mean,
            b: 0.0,
            c: 0.0,
        },
    };
    let deviations = surface
        .field
        .heights_over(|x, y| reference_plane.height(x, y));
    Ok(OnPlan {
        least_squares_u: least_squares_u(&heights, &u, shared, &least_squares.plane)?,
        least_squares,
        minimum_zone_u: minimum_zone_u(&heights, &u, shared, &minimum_zone),
        minimum_zone,
        reference: job.reference,
        reference_plane,
        spots: spots::spots(&surface.field, &deviations, job.spot_threshold()),
        deviations,
    })
}

/// Something measured, or the reason why it could not be.
type OrReason<T> = std::result::Result<T, String>;

/// The profile lines of the survey, or lines laid over its surface.
fn sample_lines(job: &Job, survey: &Survey, surface: &Surface) -> OrReason<Vec<SampleLine>> {
    let Measured::Lines { lines, .. } = &survey.measured else {
        return sample_lines::lay(surface, job.units);
    };
    let [x0, y0, z0] = surface.origin;
    let local = |&[x, y]: &[f64; 2]| [x - x0, y - y0];
    let line = |line: &ProfileLine| SampleLine {
        name: line.name.clone(),
        pitch: line.pitch,
        ends: line
            .places
            .as_ref()
            .and_then(|places| Some([local(places.first()?), local(places.last()?)])),
        heights: line.heights.iter().map(|z| z - z0).collect(),
        u: job.u.unwrap_or(READING_U),
    };
    Ok(lines.iter().map(line).collect())
}

/// What is measured along the lines, or why there are none.
fn along<T>(
    lines: &OrReason<Vec<SampleLine>>,
    measure: impl Fn(&[SampleLine]) -> OrReason<T>,
) -> OrReason<T> {
    lines.as_deref().map_err(Clone::clone).and_then(measure)
}

/// Area of the test section, m²: of the room, or of the floor that was measured; unknown of profile lines alone.
fn section(survey: &Survey, surface: &Surface) -> Option<f64> {
    let room = surface.outline.as_ref().map(Outline::area);
    match survey.measured {
        Measured::Lines { .. } | Measured::Edges(_) => room,
        Measured::Readings { .. } | Measured::Scan => room.or(Some(surface.area)),
    }
}

/// What is in the files, before trusting them: also where no floor is found in them.
///
/// # Errors
/// Whatever keeps the files from being read.
pub fn describe(job: &Job, progress: &Progress) -> Result<Description> {
    let survey = Survey::open(&job.files, &job.options)?;
    let floor = surface(job, &survey, progress).and_then(|surface| {
        has_plan(&surface)?;
        let heights = surface.heights();
        let level = Level::of(&heights).ok_or_else(nothing_measured)?;
        let plane = least_squares(&heights)?.plane;
        let deviations = surface.field.heights_over(|x, y| plane.height(x, y));
        Ok(Floor {
            range_u: surface.range_u(&level),
            surface,
            level,
            plane,
            deviations,
        })
    });
    let extent = survey.extent();
    let edges = match &survey.measured {
        Measured::Edges(edges) => Some(edge_book(job, &survey, edges)?),
        Measured::Readings { .. } | Measured::Lines { .. } | Measured::Scan => None,
    };
    if extent.is_none() && survey.books.is_empty() && survey.on_plan() && edges.is_none() {
        return Err(nothing_measured());
    }
    let mut warnings = job.warnings(&survey);
    warnings.extend(
        floor
            .iter()
            .flat_map(|floor| floor.surface.warnings.clone()),
    );
    Ok(Description {
        inputs: survey.inputs()?,
        scan: survey.measured == Measured::Scan,
        staff: survey.staff(),
        extent,
        books: survey.books,
        edges,
        network: survey.network,
        floor: floor.map_err(|error| error.to_string()),
        warnings,
    })
}

/// A two-peg test: by how much the instrument's line of sight is not level.
///
/// # Errors
/// Whatever keeps the file from being read as one.
pub fn level_check(job: &LevelJob) -> Result<LevelCheck> {
    let source = Source::new(&job.file)?;
    let test = two_peg::read(&source, job.units)?;
    let u = job.u.unwrap_or(READING_U);
    let own = job.limit.map(|rate| InstrumentLimit {
        title: "as asked",
        rate,
        source: "--limit",
    });
    let limits = own.into_iter().chain(instrument::LIMITS);
    Ok(LevelCheck {
        input: Input {
            file: source.name().to_owned(),
            sha256: source.sha256()?,
            format: "two-peg",
            points: 4,
        },
        asked: job.limit.is_some(),
        limits: limits
            .map(|limit| {
                let verdict = instrument::judge(&test, &limit, u);
                (limit, verdict)
            })
            .collect(),
        test,
        u,
    })
}

/// The measured floor: readings on their grid or triangulated, a scan's floor in cells. Errors name the files, since a
/// comparison has two surveys.
fn surface(job: &Job, survey: &Survey, progress: &Progress) -> Result<Surface> {
    let outline = job.outline()?;
    let u = job.u.unwrap_or(READING_U);
    let mut surface = match &survey.measured {
        Measured::Readings { readings, .. } => from_readings(readings, u, outline.as_ref()),
        Measured::Lines { lines, .. } if survey.on_plan() && lines.len() > 1 => {
            let readings: Vec<_> = lines.iter().flat_map(ProfileLine::readings).collect();
            from_readings(&readings, u, outline.as_ref())
        }
        Measured::Lines { lines, .. } => from_lines(lines, u),
        Measured::Edges(_) => Err(Error::floor(
            "a straightedge book: gaps, and no heights",
            "readings of height, or a scan",
        )),
        Measured::Scan => {
            let settings = ScanSettings {
                cell: job.cell,
                floor: job.floor,
                least: None,
                u: job.u.unwrap_or(0.0),
                up: job.options.up,
            };
            let of = survey.announced.map(|points| points.saturating_mul(PASSES));
            from_scan(
                &|| survey.open_points(),
                &settings,
                outline.as_ref(),
                &|points| progress(points, of),
            )
        }
    }
    .map_err(|error| error.measured_in(&job.files))?;
    match (surface.kind, job.tilt) {
        (_, None) => {}
        (Kind::Grid | Kind::Triangulated | Kind::Cells, Some(tilt)) => surface.shared.tilt = tilt,
        (Kind::Lines, Some(_)) => surface.warnings.push(Warning(
            "--tilt counts in FL only: the lines have no place on the plan".to_owned(),
        )),
    }
    Ok(surface)
}

/// # Errors
/// [`Error::Floor`] for lines without a place on the plan.
fn has_plan(surface: &Surface) -> Result<()> {
    match surface.kind {
        Kind::Grid | Kind::Triangulated | Kind::Cells => Ok(()),
        Kind::Lines => Err(Error::floor(
            "lines that span no floor on the plan",
            "at least two lines with x and y",
        )),
    }
}

fn nothing_measured() -> Error {
    Error::floor(
        "nothing measured",
        "at least three heights that do not lie in line",
    )
}

impl Job {
    /// The room, if there is a file of it.
    fn outline(&self) -> Result<Option<Outline>> {
        let file = self.outline.as_ref();
        file.map(|file| Outline::read(&Source::new(file)?))
            .transpose()
    }

    /// What the readers noticed, and what the ties between set-ups show.
    fn warnings(&self, survey: &Survey) -> Vec<Warning> {
        let u = self.u.unwrap_or(READING_U);
        let of_ties = survey
            .network
            .iter()
            .flat_map(|network| network.warnings(u));
        survey.warnings.iter().cloned().chain(of_ties).collect()
    }

    /// The straightedges to lay: those of the classes and those asked for, each once, the shortest first.
    fn edges(&self) -> Vec<f64> {
        let requirements = self.classes.iter().flat_map(|class| &class.requirements);
        let of_classes = requirements.filter_map(|requirement| requirement.rule.edge());
        let mut edges: Vec<f64> = of_classes
            .chain(self.straightedges.iter().copied())
            .collect();
        if edges.is_empty() {
            edges.push(USUAL_EDGE);
        }
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        edges
    }

    /// How far a spot stands out, m: half the tightest limit, so that a high and a low one side by side use it up.
    fn spot_threshold(&self) -> f64 {
        self.classes
            .iter()
            .filter_map(|class| class.flatness_limit(USUAL_EDGE))
            .min_by(f64::total_cmp)
            .unwrap_or(USUAL_LIMIT)
            / 2.0
    }
}

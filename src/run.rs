//! The whole pipeline on one screen: a [`Job`] goes in, [`Findings`] or a [`PourPlan`] come out. The first file to read.
//!
//! files -> survey -> surface -> planes, straightedges, spots, F-numbers -> verdicts; then `run/pour.rs`: target, volume, order.

use crate::error::{Error, Result, Warning};
use crate::findings::{Description, Findings, Floor, LevelCheck, OnPlan, READING_U, Reference};
use crate::flatness::along::Along;
use crate::flatness::instrument::{self, InstrumentLimit};
use crate::flatness::sample_lines::{self, SampleLine};
use crate::flatness::{f_numbers, spots, straightedge, verdict, waviness};
use crate::reference::{Plane, least_squares, minimum_zone};
use crate::surface::lines::from_lines;
use crate::surface::readings::from_readings;
use crate::surface::scan::{ScanSettings, from_scan};
use crate::surface::{Kind, Level, Outline, Surface};
use crate::survey::{self, Input, Measured, ProfileLine, Source, Survey, two_peg};
use crate::tolerance::Class;
use crate::units::{LengthUnit, System};

mod aim;
mod pour;

pub use pour::{Fall, Finish, PourJob, Shape, pour};

/// Told how many points have just been read, and how many there are to read in all if the files say so.
pub type Progress<'a> = dyn Fn(u64, Option<u64>) + Sync + 'a;

/// How often the points of a scan are read: once to find the floor, once to measure it.
const PASSES: u64 = 2;

/// The straightedge that is laid where neither a class nor a length is asked for, m.
pub const USUAL_EDGE: f64 = 2.0;

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

/// One floor, measured: how flat, how level, which classes it meets.
///
/// # Errors
/// Whatever keeps the survey from being read, or the floor from being found in it.
pub fn check(job: &Job, progress: &Progress) -> Result<Findings> {
    let survey = Survey::open(&job.files, &job.options)?;
    let surface = surface(job, &survey, progress)?;
    let level = Level::of(&surface.heights()).ok_or_else(nothing_measured)?;
    let on_plan = match surface.kind {
        Kind::Grid | Kind::Triangulated | Kind::Cells => Some(on_plan(job, &surface, level)?),
        Kind::Lines => None,
    };
    let lines = sample_lines(job, &survey, &surface);
    let section = section(&survey, &surface);
    let straightedges: Vec<_> = job
        .edges()
        .into_iter()
        .map(|length| straightedge::lay(&surface.field, length).with_bias(&surface))
        .collect();
    let f_numbers = along(&lines, |lines| {
        f_numbers::measure(lines, section, job.units)
    });
    let waviness = along(&lines, |lines| waviness::measure(lines, job.units));
    let lines = lines.unwrap_or_default();
    let numbers = Along::of(&f_numbers, &waviness, &lines);
    let judged = verdict::judge_all(&job.classes, &straightedges, &numbers, &surface, job.units);
    Ok(Findings {
        inputs: survey.inputs()?,
        staff: survey.staff(),
        given_u: job.u,
        level,
        on_plan,
        straightedges,
        judged,
        f_numbers,
        waviness,
        sample_lines: lines,
        warnings: job
            .warnings(&survey)
            .into_iter()
            .chain(surface.warnings.iter().cloned())
            .collect(),
        surface,
    })
}

/// Planes, and what stands out from the one asked for.
fn on_plan(job: &Job, surface: &Surface, level: Level) -> Result<OnPlan> {
    let heights = surface.heights();
    let (least_squares, minimum_zone) =
        rayon::join(|| least_squares(&heights), || minimum_zone(&heights));
    let (least_squares, minimum_zone) = (least_squares?, minimum_zone?);
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
        least_squares,
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
        Measured::Lines { .. } => room,
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
            surface,
            level,
            plane,
            deviations,
        })
    });
    let extent = survey.extent();
    if extent.is_none() && survey.books.is_empty() && survey.on_plan() {
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

/// The measured floor: readings on their grid or triangulated, a scan's floor in cells.
fn surface(job: &Job, survey: &Survey, progress: &Progress) -> Result<Surface> {
    let outline = job
        .outline
        .as_ref()
        .map(|file| Outline::read(&Source::new(file)?))
        .transpose()?;
    let u = job.u.unwrap_or(READING_U);
    match &survey.measured {
        Measured::Readings { readings, .. } => from_readings(readings, u, outline.as_ref()),
        Measured::Lines { lines, .. } if survey.on_plan() && lines.len() > 1 => {
            let readings: Vec<_> = lines.iter().flat_map(ProfileLine::readings).collect();
            from_readings(&readings, u, outline.as_ref())
        }
        Measured::Lines { lines, .. } => from_lines(lines, u),
        Measured::Scan => {
            let settings = ScanSettings {
                cell: job.cell,
                floor: job.floor,
                least: None,
                u: job.u.unwrap_or(0.0),
                up: job.options.up,
            };
            let of = survey.announced.map(|points| PASSES * points);
            from_scan(
                &|| survey.open_points(),
                &settings,
                outline.as_ref(),
                &|points| progress(points, of),
            )
        }
    }
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

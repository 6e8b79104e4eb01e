//! One floor before and after the pour: [`CompareJob`] -> [`Comparison`].
//!
//! Each survey is checked by itself; then what was not poured brings their zeros together, and the difference is what was laid.

use super::{Job, Progress, check_survey, has_plan, surface};
use crate::error::{Error, Result, Warning};
use crate::findings::{Comparison, Findings, READING_U};
use crate::pour::datum::{Datum, Fixed};
use crate::pour::laid::{Side, Used};
use crate::pour::{Compound, Laid, laid};
use crate::surface::{Kind, Outline, Surface, height_at};
use crate::survey::{Measured, Source, Survey};

/// A point that lies farther apart in the two surveys than this, m, is not one point.
const SAME_POINT: f64 = 0.1;

/// A floor before and after.
#[derive(Debug, Clone)]
pub struct CompareJob {
    /// The survey before, and what is asked of the floor.
    pub before: Job,
    /// The survey after.
    pub after: Job,
    /// What the two have in common.
    pub zero: Zero,
    /// The compound sheet's file.
    pub compound: Option<String>,
    /// `--bags-used`.
    pub bags_used: Option<f64>,
}

/// What brings the zeros of two surveys together.
#[derive(Debug, Clone, PartialEq)]
pub enum Zero {
    /// Nothing does.
    Unknown,
    /// A mark that stayed where it was: what each survey reads on it, m, a staff reading if the survey has those.
    Benchmark {
        /// Before.
        before: f64,
        /// After.
        after: f64,
    },
    /// Places where nothing was poured.
    NotPoured(Vec<NotPoured>),
}

/// A place where nothing was poured.
#[derive(Debug, Clone, PartialEq)]
pub enum NotPoured {
    /// Plan position in the surveys' coordinates, m.
    Place([f64; 2]),
    /// A point that both surveys read, by its name.
    Point(String),
}

impl NotPoured {
    /// Two numbers are a place, anything else is the name of a point.
    pub fn parse(text: &str) -> Self {
        let place = text.split_once(',').and_then(|(x, y)| {
            let number = |text: &str| text.trim().parse::<f64>().ok().filter(|at| at.is_finite());
            Some([number(x)?, number(y)?])
        });
        place.map_or_else(|| Self::Point(text.to_owned()), Self::Place)
    }
}

/// A survey with what was found in it.
struct Measurement<'a> {
    when: &'static str,
    job: &'a Job,
    survey: Survey,
    findings: Findings,
    /// Readings joined without regard to the outline, where there is one: what lies outside it may be what was not poured.
    uncut: Option<Surface>,
}

/// A floor before and after the pour: flatness of both, thickness laid, bags used.
///
/// # Errors
/// As [`super::check`] for either survey; a compound sheet that cannot be read; a place not poured that a survey has not
/// measured.
pub fn compare(job: &CompareJob, progress: &Progress) -> Result<Comparison> {
    let compound = job
        .compound
        .as_ref()
        .map(|sheet| Compound::read(&Source::new(sheet)?))
        .transpose()?;
    let before = measure("before", &job.before, progress)?;
    let after = measure("after", &job.after, progress)?;
    let fixed = fixed(&job.zero, &before, &after)?;
    let laid = Datum::new(fixed, job.before.units)
        .ok_or_else(|| NO_DATUM.to_owned())
        .and_then(|datum| thickness(&before, &after, datum, compound.as_ref()));
    Ok(Comparison {
        used: used(job.bags_used, compound.as_ref(), &laid),
        before: before.findings,
        after: after.findings,
        compound,
        laid,
    })
}

/// Why thickness is refused.
const NO_DATUM: &str = "nothing brings the zeros of the two surveys together: read a mark that stays both times \
     (--benchmark-before, --benchmark-after), or name places where nothing was poured (--not-poured)";

fn measure<'a>(when: &'static str, job: &'a Job, progress: &Progress) -> Result<Measurement<'a>> {
    let survey = Survey::open(&job.files, &job.options)?;
    let findings = check_survey(job, &survey, progress)?;
    let uncut = match findings.surface.kind {
        Kind::Grid | Kind::Triangulated if job.outline.is_some() => {
            let all = Job {
                outline: None,
                ..job.clone()
            };
            Some(surface(&all, &survey, progress)?)
        }
        Kind::Grid | Kind::Triangulated | Kind::Cells | Kind::Lines => None,
    };
    Ok(Measurement {
        when,
        job,
        survey,
        findings,
        uncut,
    })
}

/// The places that stayed as they were, as both surveys have them.
fn fixed(zero: &Zero, before: &Measurement, after: &Measurement) -> Result<Vec<Fixed>> {
    match zero {
        Zero::Unknown => Ok(Vec::new()),
        Zero::Benchmark {
            before: read_before,
            after: read_after,
        } => Ok(vec![Fixed {
            name: "the benchmark".to_owned(),
            at: None,
            before: before.read(*read_before),
            after: after.read(*read_after),
        }]),
        Zero::NotPoured(places) => places
            .iter()
            .map(|place| not_poured(place, before, after))
            .collect(),
    }
}

fn not_poured(place: &NotPoured, before: &Measurement, after: &Measurement) -> Result<Fixed> {
    match place {
        NotPoured::Place([x, y]) => Ok(Fixed {
            name: before.job.units.place(*x, *y),
            at: Some([*x, *y]),
            before: before.height_at([*x, *y])?,
            after: after.height_at([*x, *y])?,
        }),
        NotPoured::Point(name) => {
            let [(at, before), (there, after)] = [before.point(name)?, after.point(name)?];
            let apart = (there[0] - at[0]).hypot(there[1] - at[1]);
            if apart > SAME_POINT {
                let found = format!("{name}, which lies {apart:.2} m away in the other survey");
                return Err(Error::argument(
                    "--not-poured",
                    found,
                    "a point that is at one place in both",
                ));
            }
            Ok(Fixed {
                name: name.clone(),
                at: Some(at),
                before,
                after,
            })
        }
    }
}

fn thickness(
    before: &Measurement,
    after: &Measurement,
    datum: Datum,
    compound: Option<&Compound>,
) -> std::result::Result<Laid, String> {
    for side in [before, after] {
        has_plan(&side.findings.surface).map_err(|error| format!("{}: {error}", side.when))?;
    }
    let outlines = [before, after].map(|side| {
        let surface = &side.findings.surface;
        surface.outline.as_ref().map(|outline| {
            let [x, y, z] = surface.origin;
            outline.shifted([-x, -y, -z])
        })
    });
    let outline: Option<&Outline> = outlines.iter().flatten().next();
    let least_depth = compound
        .filter(|compound| !compound.feather_edge)
        .map(|compound| compound.least_depth);
    let sides = [before, after].map(Measurement::side);
    let mut found = laid(sides, datum, outline, least_depth, before.job.units)?;
    let inside = not_poured_inside(&found);
    found.datum.warnings.extend(inside);
    let tilted = before.job.tilt.or(after.job.tilt).is_some();
    if tilted && found.datum.middle().is_none() {
        found.datum.warnings.push(Warning(
            "where the benchmark stands is not known, so --tilt is not counted in thickness: bring the surveys together by \
             --not-poured to have it counted"
                .to_owned(),
        ));
    }
    Ok(found)
}

/// Places not poured that count as floor all the same.
fn not_poured_inside(laid: &Laid) -> Option<Warning> {
    let [x0, y0, _] = laid.surface.origin;
    let inside = |fixed: &&Fixed| {
        let at = fixed.at.map(|[x, y]| [x - x0, y - y0]);
        at.is_some_and(|at| height_at(&laid.surface, at).is_some())
    };
    let inside = laid.datum.fixed.iter().filter(inside);
    let names: Vec<_> = inside.map(|fixed| fixed.name.as_str()).collect();
    (!names.is_empty()).then(|| {
        Warning(format!(
            "nothing was poured at {}, yet the floor there is compared and counts as thin; give the outline of what was \
             poured (--outline)",
            names.join("; ")
        ))
    })
}

fn used(
    bags: Option<f64>,
    compound: Option<&Compound>,
    laid: &std::result::Result<Laid, String>,
) -> std::result::Result<Used, String> {
    let bags = bags.ok_or("how many bags were used is not known (--bags-used)")?;
    let compound = compound.ok_or("what a bag makes is not known (--compound)")?;
    let laid = laid.as_ref().map_err(Clone::clone)?;
    Ok(Used::new(bags, laid, compound))
}

impl Measurement<'_> {
    /// The floor for comparing: of readings all, of a scan what the outline leaves.
    fn surface(&self) -> &Surface {
        self.uncut.as_ref().unwrap_or(&self.findings.surface)
    }

    fn side(&self) -> Side<'_> {
        let (surface, found) = (self.surface(), &self.findings.surface);
        let common_u = match surface.kind {
            Kind::Cells => self.job.u.unwrap_or(0.0),
            Kind::Grid | Kind::Triangulated | Kind::Lines => 0.0,
        };
        Side {
            surface,
            cut: (surface.area - found.area).abs() > 1e-9 * surface.area,
            common_u,
        }
    }

    /// Standard uncertainty of one height read by itself, m.
    fn reading_u(&self) -> f64 {
        self.job.u.unwrap_or(READING_U)
    }

    /// What was read on a mark, as a height with its uncertainty, m.
    fn read(&self, value: f64) -> [f64; 2] {
        let height = if self.findings.staff { -value } else { value };
        [height, self.reading_u()]
    }

    /// Height and uncertainty at a place of the survey, m.
    fn height_at(&self, at: [f64; 2]) -> Result<[f64; 2]> {
        let surface = self.surface();
        let [x0, y0, _] = surface.origin;
        let found = height_at(surface, [at[0] - x0, at[1] - y0]);
        let [z, u] = found.ok_or_else(|| {
            let place = self.job.units.place(at[0], at[1]);
            Error::argument(
                "--not-poured",
                format!("{place}, where the survey {} has no height", self.when),
                "a place that both surveys measured",
            )
        })?;
        Ok([surface.survey_z(z), u])
    }

    /// Place, and height with its uncertainty, of a point of the survey by its name; the mean if it was read several times.
    fn point(&self, name: &str) -> Result<([f64; 2], [f64; 2])> {
        let readings = match &self.survey.measured {
            Measured::Readings { readings, .. } => readings.as_slice(),
            Measured::Lines { .. } | Measured::Scan | Measured::Edges(_) => &[],
        };
        let of_name: Vec<_> = readings
            .iter()
            .filter(|reading| reading.name.as_deref() == Some(name))
            .collect();
        let first = of_name.first().ok_or_else(|| {
            Error::argument(
                "--not-poured",
                format!("{name}, which the survey {} has no point of", self.when),
                "a place X,Y in metres, or the name of a point that both surveys read",
            )
        })?;
        let count = of_name.len() as f64;
        let mean = of_name.iter().map(|reading| reading.z).sum::<f64>() / count;
        Ok(([first.x, first.y], [mean, self.reading_u() / count.sqrt()]))
    }
}

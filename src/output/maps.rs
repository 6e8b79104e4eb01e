//! Which map each verb draws: what is coloured, what is marked, what stands in the title.
//!
//! In: finished results. Out: SVG text, drawn by [`super::map`].

mod batches;

use super::map::{MapPlan, Mark, Scale, SpotKind, svg};
use super::words;
use crate::error::{Error, Result};
use crate::findings::{Description, Findings, PourPlan};
use crate::flatness::measure::{Measurement, Place};
use crate::flatness::spots;
use crate::flatness::verdict::Judged;
use crate::surface::Surface;
use crate::units::{MILLIMETRE, System};

/// Files a title names before it only counts the rest.
const FILES_NAMED: usize = 2;

/// Deviations from the reference plane, spots and the worst straightedge.
///
/// # Errors
/// [`Error::Floor`] for lines without a place on the plan; as [`svg`].
pub fn check(findings: &Findings, units: System) -> Result<String> {
    let surface = &findings.surface;
    let on_plan = findings.on_plan.as_ref().ok_or_else(|| {
        let found = "lines that span no floor on the plan";
        Error::floor(found, "at least two lines with x and y for --map")
    })?;
    let verdicts: Vec<_> = findings
        .judged
        .iter()
        .map(|judged| format!("{}: {}", judged.class.name, judged.verdict().word()))
        .collect();
    let range = format!("range {}", units.height(findings.level.range()));
    svg(&MapPlan {
        title: title(findings.inputs.iter().map(|input| input.file.as_str())),
        subtitle: [verdicts, vec![range]].concat().join(" · "),
        quantity: format!("height above or below {}", on_plan.reference.title()),
        surface,
        values: &on_plan.deviations,
        scale: Scale::Diverging { limit: None },
        marks: sample_lines(findings)
            .chain(spot_marks(surface, &on_plan.spots))
            .chain(worst_edge(findings))
            .collect(),
        units,
        notes: Vec::new(),
    })
}

/// Depth of compound, with the depth at every reading; and where a way out is known, the batches of the topmost layer.
///
/// # Errors
/// As [`svg`].
pub fn pour(plan: &PourPlan, units: System) -> Result<String> {
    let surface = &plan.findings.surface;
    let volumes = &plan.pour.volumes;
    let depths: Vec<f64> = plan
        .depths
        .iter()
        .map(|&depth| if depth < 0.0 { f64::NAN } else { depth })
        .collect();
    let mut notes = Vec::new();
    if volumes.ground_area > 0.0 {
        notes.push(format!(
            "{} of floor stand above the finish and are left blank",
            units.area(volumes.ground_area)
        ));
    }
    let pins = surface
        .pins
        .iter()
        .zip(&plan.pour.pin_depths)
        .map(|(pin, &depth)| Mark::Pin {
            at: [pin.position[0], pin.position[1]],
            text: format!("{:.0}", depth / MILLIMETRE),
        });
    let (mut marks, left_out) = batches::apart(pins.collect(), surface, units);
    marks.extend(batches::marks(plan, units));
    notes.extend(left_out.into_iter().chain(batches::note(plan)));
    svg(&MapPlan {
        title: title(plan.findings.inputs.iter().map(|input| input.file.as_str())),
        subtitle: format!(
            "{} of {} · {} over {}",
            words::bags(plan.pour.bags()),
            words::listed(plan.orders().map(|(compound, _)| compound.name.as_str())),
            units.volume(volumes.fill),
            units.area(volumes.filled_area)
        ),
        quantity: "depth of compound".to_owned(),
        surface,
        values: &depths,
        scale: Scale::Depth,
        marks,
        units,
        notes,
    })
}

/// The floor that was found, about its best plane.
///
/// # Errors
/// [`Error::Floor`] where none was found; as [`svg`].
pub fn describe(description: &Description, units: System) -> Result<String> {
    let floor = description.floor.as_ref().map_err(|reason| {
        Error::floor(
            format!("no floor to draw ({reason})"),
            "a survey with a floor for --map",
        )
    })?;
    let points = floor.surface.points;
    svg(&MapPlan {
        title: title(description.inputs.iter().map(|input| input.file.as_str())),
        subtitle: format!("{} used, {} left out", points.used, points.rejected()),
        quantity: "height above or below the floor's best plane".to_owned(),
        surface: &floor.surface,
        values: &floor.deviations,
        scale: Scale::Diverging { limit: None },
        marks: Vec::new(),
        units,
        notes: Vec::new(),
    })
}

/// The files, by the names without their folders.
fn title<'a>(files: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<_> = files
        .map(|file| file.rsplit(['/', '\\']).next().unwrap_or(file))
        .collect();
    let shown = names[..names.len().min(FILES_NAMED)].join(", ");
    match names.len().saturating_sub(FILES_NAMED) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// The lines that F-numbers were measured along, if they were.
fn sample_lines(findings: &Findings) -> impl Iterator<Item = Mark> + '_ {
    let measured = findings.f_numbers.iter().flat_map(|found| &found.lines);
    measured.filter_map(|found| {
        let mut lines = findings.sample_lines.iter();
        let line = lines.find(|line| line.name == found.name)?;
        Some(Mark::SampleLine {
            name: line.name.clone(),
            ends: line.ends?,
        })
    })
}

fn spot_marks<'a>(
    surface: &'a Surface,
    spots: &'a [spots::Spot],
) -> impl Iterator<Item = Mark> + 'a {
    let (mut highs, mut lows) = (0, 0);
    spots.iter().map(move |spot| {
        let (kind, counter) = match spot.kind {
            spots::SpotKind::High => (SpotKind::High, &mut highs),
            spots::SpotKind::Low => (SpotKind::Low, &mut lows),
        };
        *counter += 1;
        Mark::Spot {
            number: *counter,
            kind,
            at: place(surface, spot.node),
            value: spot.extreme,
        }
    })
}

/// The edge of the requirement that is nearest to being missed or missed most, or else the shortest straightedge laid.
fn worst_edge(findings: &Findings) -> Option<Mark> {
    let at = |node| place(&findings.surface, node);
    let edge = |[a, b, c]: [usize; 3], length: f64, gap: f64| Mark::Edge {
        length,
        from: at(a),
        to: at(b),
        at: at(c),
        gap,
    };
    let chord = |measurement: &Measurement| match measurement.found?.place {
        Place::Chord { a, b, c } => {
            Some(([a, b, c], measurement.length?, measurement.found?.value))
        }
        Place::Pair { .. } | Place::Node(_) | Place::Lines => None,
    };
    let of_class = findings
        .judged
        .iter()
        .flat_map(Judged::requirements)
        .filter_map(|judged| {
            let (nodes, length, gap) = chord(&judged.measurement)?;
            let share = gap / judged.measurement.limit;
            Some((share, edge(nodes, length, gap), gap))
        })
        .max_by(|(a, ..), (b, ..)| a.total_cmp(b));
    if let Some((_, mark, gap)) = of_class {
        return (gap > 0.0).then_some(mark);
    }
    let laid = findings.straightedges.first()?;
    let contact = laid.worst.filter(|contact| contact.gap > 0.0)?;
    let nodes = [contact.a, contact.b, contact.c];
    Some(edge(nodes, laid.length, contact.gap))
}

fn place(surface: &Surface, node: usize) -> [f64; 2] {
    surface.field.position(node)
}

//! Which map each verb draws: what is coloured, what is marked, what stands in the title.
//!
//! In: finished results. Out: SVG text, drawn by [`super::map`].

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
/// As [`svg`].
pub fn check(findings: &Findings, units: System) -> Result<String> {
    let surface = &findings.surface;
    let verdicts: Vec<_> = findings
        .judged
        .iter()
        .map(|judged| format!("{}: {}", judged.class.name, judged.verdict().word()))
        .collect();
    let range = format!("range {}", units.height(findings.level.range()));
    svg(&MapPlan {
        title: title(findings.inputs.iter().map(|input| input.file.as_str())),
        subtitle: [verdicts, vec![range]].concat().join(" · "),
        quantity: format!("height above or below {}", findings.reference.title()),
        surface,
        values: &findings.deviations,
        scale: Scale::Diverging { limit: None },
        marks: spot_marks(findings).chain(worst_edge(findings)).collect(),
        units,
        notes: Vec::new(),
    })
}

/// Depth of compound, with the depth at every reading.
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
    svg(&MapPlan {
        title: title(plan.findings.inputs.iter().map(|input| input.file.as_str())),
        subtitle: format!(
            "{} of {} · {} over {}",
            words::bags(plan.pour.order.bags),
            plan.compound.name,
            units.volume(volumes.fill),
            units.area(volumes.filled_area)
        ),
        quantity: "depth of compound".to_owned(),
        surface,
        values: &depths,
        scale: Scale::Depth,
        marks: pins.collect(),
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

fn spot_marks(findings: &Findings) -> impl Iterator<Item = Mark> + '_ {
    let (mut highs, mut lows) = (0, 0);
    findings.spots.iter().map(move |spot| {
        let (kind, counter) = match spot.kind {
            spots::SpotKind::High => (SpotKind::High, &mut highs),
            spots::SpotKind::Low => (SpotKind::Low, &mut lows),
        };
        *counter += 1;
        Mark::Spot {
            number: *counter,
            kind,
            at: place(&findings.surface, spot.node),
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

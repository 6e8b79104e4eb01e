//! Which map each verb draws: what is coloured, what is marked, what stands in the title.
//!
//! In: finished results. Out: SVG text, drawn by [`super::map`].

mod batches;

use std::collections::BTreeSet;

use super::map::{Framed, MapPlan, Mark, Scale, SpotKind, Traced, framed, scale_end, svg, traced};
use super::words;
use crate::error::{Error, Result};
use crate::findings::{Comparison, Description, EdgeFindings, Findings, PourPlan};
use crate::flatness::measure::{Measurement, Place};
use crate::flatness::spots;
use crate::flatness::verdict::Judged;
use crate::surface::Surface;
use crate::units::System;

/// Files a title names before it only counts the rest.
const FILES_NAMED: usize = 2;

/// More values than this written at readings would hide the contours.
const PINS_SHOWN: usize = 200;

/// How a map of a report differs from one that stands alone.
#[derive(Debug, Clone, Default)]
pub struct Look {
    /// The heading; the names of the files where there is none.
    pub title: Option<String>,
    /// The end of the scale of deviations, m; from the values where there is none.
    pub limit: Option<f64>,
}

impl Look {
    /// The heading, or else the names of the files.
    fn title<'a>(&self, files: impl Iterator<Item = &'a str>) -> String {
        self.title.clone().unwrap_or_else(|| title(files))
    }
}

/// Deviations from the reference plane, spots and the worst straightedge.
///
/// # Errors
/// [`Error::Floor`] for lines without a place on the plan; as [`svg`].
pub fn check(findings: &Findings, units: System) -> Result<String> {
    Ok(check_as(findings, &Look::default(), units)?.svg)
}

/// One scale for the deviations of several findings of a floor, m; None where none has a plan.
pub fn common_limit<'a>(
    findings: impl Iterator<Item = &'a Findings>,
    units: System,
) -> Option<f64> {
    let scale = Scale::Diverging { limit: None };
    findings
        .filter_map(|one| Some(scale_end(scale, &one.on_plan.as_ref()?.deviations, units)))
        .max_by(f64::total_cmp)
}

/// [`check`], as it stands in a report.
///
/// # Errors
/// As [`check`].
pub fn check_as(findings: &Findings, look: &Look, units: System) -> Result<Framed> {
    let surface = &findings.surface;
    let on_plan = findings.on_plan.as_ref().ok_or_else(|| {
        let found = "lines that span no floor on the plan";
        Error::floor(found, "at least two lines with x and y for --map")
    })?;
    let verdicts = verdicts(&findings.judged);
    let range = format!("range {}", units.height(findings.level.range()));
    framed(&MapPlan {
        title: look.title(findings.inputs.iter().map(|input| input.file.as_str())),
        subtitle: [verdicts, vec![range]].concat().join(" · "),
        quantity: format!("height above or below {}", on_plan.reference.title()),
        surface,
        values: &on_plan.deviations,
        scale: Scale::Diverging { limit: look.limit },
        marks: sample_lines(findings)
            .chain(spot_marks(surface, &on_plan.spots))
            .chain(worst_edge(findings))
            .collect(),
        units,
        notes: Vec::new(),
    })
}

/// Each class with its verdict.
fn verdicts(judged: &[Judged]) -> Vec<String> {
    let verdict = |judged: &Judged| format!("{}: {}", judged.class.name, judged.verdict().word());
    judged.iter().map(verdict).collect()
}

/// The edges of a straightedge book where they lay, each with its gap and by its verdict, the worst first.
///
/// # Errors
/// As [`svg`].
pub fn edge_book(found: &EdgeFindings, units: System) -> Result<String> {
    let origin = found.edges.first().map_or([0.0; 2], |edge| edge.at);
    let local = |[x, y]: [f64; 2]| [x - origin[0], y - origin[1]];
    let mut edges: Vec<_> = found.edges.iter().enumerate().collect();
    edges.sort_by_cached_key(|(_, edge)| std::cmp::Reverse(found.verdict(edge)));
    let marks = edges.into_iter().map(|(index, edge)| Mark::Laid {
        name: words::edge_name(edge, index),
        length: edge.length,
        ends: edge.ends().map(local),
        at: local(edge.at),
        gap: edge.gap,
        verdict: found.verdict(edge),
    });
    let laid = format!("{} edges laid", found.edges.len());
    svg(&MapPlan {
        title: title(found.inputs.iter().map(|input| input.file.as_str())),
        subtitle: [verdicts(&found.judged), vec![laid]].concat().join(" · "),
        quantity: "gaps under edges laid by hand".to_owned(),
        surface: &Surface::without_heights(origin, found.outline.as_ref()),
        values: &[],
        scale: Scale::Depth,
        marks: marks.collect(),
        units,
        notes: Vec::new(),
    })
}

/// Depth of compound, with the depth at every pin; and where a way out is known, the batches of the topmost layer.
///
/// # Errors
/// As [`svg`].
pub fn pour(plan: &PourPlan, units: System) -> Result<String> {
    Ok(pour_as(plan, &Look::default(), units)?.svg)
}

/// [`pour`], as it stands in a report.
///
/// # Errors
/// As [`pour`].
pub fn pour_as(plan: &PourPlan, look: &Look, units: System) -> Result<Framed> {
    let surface = &plan.findings.surface;
    let volumes = &plan.pour.volumes;
    let depths = depths(plan);
    let mut notes = Vec::new();
    if volumes.ground_area > 0.0 {
        let area = units.area(volumes.ground_area);
        notes.push(if plan.grinding.is_some() {
            format!("{area} of floor come off before the pour")
        } else {
            format!("{area} of floor stand above the finish and are left blank")
        });
    }
    let pins = plan.pins.iter().map(|pin| Mark::Pin {
        at: [pin.position[0], pin.position[1]],
        text: words::whole_mm(pin.depth),
    });
    let (mut marks, left_out) = batches::apart(pins.collect(), surface, units);
    marks.extend(batches::marks(plan, units));
    marks.extend(batches::fixed(plan));
    notes.extend(left_out.into_iter().chain(batches::note(plan)));
    framed(&MapPlan {
        title: look.title(plan.findings.inputs.iter().map(|input| input.file.as_str())),
        subtitle: takes(plan, units),
        quantity: "depth of compound".to_owned(),
        surface,
        values: &depths,
        scale: Scale::Depth,
        marks,
        units,
        notes,
    })
}

/// What a pour takes, in a line.
fn takes(plan: &PourPlan, units: System) -> String {
    let volumes = &plan.pour.volumes;
    if plan.pour.bags() == 0 {
        return "no compound: nowhere is the floor below the finish".to_owned();
    }
    format!(
        "{} of {} · {} over {}",
        words::bags(plan.pour.bags()),
        words::listed(plan.orders().map(|(compound, _)| compound.name.as_str())),
        units.volume(volumes.fill),
        units.area(volumes.filled_area)
    )
}

/// Thickness laid, with its value at every reading where they are not too many.
///
/// # Errors
/// [`Error::Floor`] where thickness cannot be told; as [`svg`].
pub fn compare(found: &Comparison, units: System) -> Result<String> {
    Ok(compare_as(found, &Look::default(), units)?.svg)
}

/// [`compare`], as it stands in a report.
///
/// # Errors
/// As [`compare`].
pub fn compare_as(found: &Comparison, look: &Look, units: System) -> Result<Framed> {
    let laid = found.laid.as_ref().map_err(|reason| {
        Error::floor(
            format!("no thickness to draw: {reason}"),
            "surveys brought to one datum for --map",
        )
    })?;
    let surface = &laid.surface;
    let files = found.before.inputs.iter().chain(&found.after.inputs);
    let area = |area: f64| units.area(area);
    let thin = laid.thin.iter().filter(|thin| thin.area > 0.0).map(|thin| {
        let least = units.height(thin.least_depth);
        format!("Less than {least} over {}.", area(thin.area))
    });
    let lower = laid.lower.iter().map(|lower| {
        let lower = area(lower.area);
        format!("Lower than before, beyond doubt, over {lower}.")
    });
    let known = format!(
        "Known to {} on average, {} where it is least.",
        units.height(laid.mean_u),
        units.height(laid.least.u)
    );
    let few = surface.pins.len() <= PINS_SHOWN;
    let pins = surface.pins.iter().filter(|_| few).map(|pin| Mark::Pin {
        at: [pin.position[0], pin.position[1]],
        text: words::whole_mm(pin.position[2]),
    });
    framed(&MapPlan {
        title: look.title(files.map(|input| input.file.as_str())),
        subtitle: format!(
            "{} laid on average · {} over {}",
            units.height(laid.mean),
            units.volume(laid.volume),
            area(surface.area)
        ),
        quantity: "thickness laid".to_owned(),
        surface,
        values: &surface.field.z,
        scale: Scale::Depth,
        marks: pins.collect(),
        units,
        notes: thin.chain(lower).chain([known]).collect(),
    })
}

/// Contours of the depth of compound as [`pour`] draws them, and the edge of what was measured, in local plan metres.
///
/// # Errors
/// [`Error::Floor`] where the floor has no extent on the plan.
pub fn depth_contours(plan: &PourPlan) -> Result<Traced> {
    traced(&MapPlan {
        title: String::new(),
        subtitle: String::new(),
        quantity: String::new(),
        surface: &plan.findings.surface,
        values: &depths(plan),
        scale: Scale::Depth,
        marks: Vec::new(),
        units: System::Metric,
        notes: Vec::new(),
    })
}

/// Depth of compound over every node, m; NaN where there is none.
fn depths(plan: &PourPlan) -> Vec<f64> {
    plan.depths
        .iter()
        .map(|&depth| if depth < 0.0 { f64::NAN } else { depth })
        .collect()
}

/// The floor that was found, about its best plane.
///
/// # Errors
/// [`Error::Floor`] where none was found; as [`svg`].
pub fn describe(description: &Description, units: System) -> Result<String> {
    if let Some(edges) = &description.edges {
        return edge_book(edges, units);
    }
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

/// The lines that F-numbers and waviness were measured along, if they were.
fn sample_lines(findings: &Findings) -> impl Iterator<Item = Mark> + '_ {
    let flat = findings.f_numbers.iter().flat_map(|found| &found.lines);
    let wavy = findings.waviness.iter().flat_map(|found| &found.lines);
    let flat = flat.map(|line| &line.name);
    let measured: BTreeSet<&String> = flat.chain(wavy.map(|line| &line.name)).collect();
    let lines = findings.sample_lines.iter();
    lines
        .filter(move |line| measured.contains(&line.name))
        .filter_map(|line| {
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

fn worst_edge(findings: &Findings) -> Option<Mark> {
    let edge = worst_chord(findings)?;
    let [from, to, at] = edge.nodes.map(|node| place(&findings.surface, node));
    Some(Mark::Edge {
        length: edge.length,
        from,
        to,
        at,
        gap: edge.gap,
    })
}

/// A straightedge as it lies: nodes A, B and C, and the gap under it at C.
pub(super) struct WorstChord {
    pub nodes: [usize; 3],
    pub length: f64,
    pub gap: f64,
}

/// The edge of the requirement that is nearest to being missed or missed most, or else the shortest straightedge laid.
pub(super) fn worst_chord(findings: &Findings) -> Option<WorstChord> {
    let chord = |measurement: &Measurement| match measurement.found?.place {
        Place::Chord { a, b, c } => Some(WorstChord {
            nodes: [a, b, c],
            length: measurement.length?,
            gap: measurement.found?.value,
        }),
        Place::Pair { .. } | Place::Node(_) | Place::Lines => None,
    };
    let of_class = findings
        .judged
        .iter()
        .flat_map(Judged::requirements)
        .filter_map(|judged| {
            let chord = chord(&judged.measurement)?;
            Some((chord.gap / judged.measurement.limit, chord))
        })
        .max_by(|(a, _), (b, _)| a.total_cmp(b));
    if let Some((_, chord)) = of_class {
        return (chord.gap > 0.0).then_some(chord);
    }
    let laid = findings.straightedges.first()?;
    let contact = laid.worst.filter(|contact| contact.gap > 0.0)?;
    Some(WorstChord {
        nodes: [contact.a, contact.b, contact.c],
        length: laid.length,
        gap: contact.gap,
    })
}

fn place(surface: &Surface, node: usize) -> [f64; 2] {
    surface.field.position(node)
}

//! The drawings of one floor: maps on one scale, sections and histograms, and what can be read off the maps.

use super::{Made, Part};
use crate::error::Result;
use crate::findings::handover::AfterPour;
use crate::findings::{Findings, PourPlan};
use crate::output::maps::{self, Look};
use crate::output::pictures::{self, Picture};
use crate::output::report::document::{Drawing, Quantity, ReadOut};
use crate::surface::Surface;
use crate::units::System;

/// Nodes of a read-out along either side: closer ones would only make the file large.
const MOST_NODES: usize = 70;

/// Places named on a map: more would only make the file large.
const MOST_PLACES: usize = 400;

/// What the maps of a floor have in common.
pub(super) struct Looks {
    limit: Option<f64>,
    /// The read-out of the floor before.
    before: usize,
}

impl Looks {
    pub(super) fn of(made: &mut Made, part: &Part) -> Self {
        let found = [Some(part.before()), part.found_after()];
        let before = read_out(made, part.before(), Some(&part.floor.plan), part.units);
        Self {
            limit: maps::common_limit(found.into_iter().flatten(), part.units),
            before,
        }
    }

    fn titled(&self, part: &Part, what: &str) -> Look {
        Look {
            title: Some(format!("{}: {what}", part.floor.name)),
            limit: self.limit,
        }
    }
}

/// A file of this floor.
pub(super) fn file(part: &Part, what: &str) -> String {
    format!("{}-{what}", part.floor.short_name)
}

pub(super) fn before(made: &mut Made, part: &Part, looks: &Looks) -> Result<()> {
    floor(made, part, part.before(), "before", looks.before, looks)
}

/// The depth of compound as planned.
pub(super) fn depths(made: &mut Made, part: &Part, looks: &Looks) -> Result<()> {
    let map = maps::pour_as(
        &part.floor.plan,
        &looks.titled(part, "depth of compound"),
        part.units,
    )?;
    let caption = format!("{}: depth of compound as planned", part.floor.name);
    let drawing = Drawing::Map {
        map,
        reading: looks.before,
    };
    made.picture(file(part, "depths.svg"), drawing, caption);
    if let Some(chart) = pictures::cost_curve(&part.floor.plan, part.units).transpose()? {
        let caption = format!("{}. {}", part.floor.name, chart.caption);
        made.picture(file(part, "cost.svg"), Drawing::Chart(chart.svg), caption);
    }
    Ok(())
}

pub(super) fn after(made: &mut Made, part: &Part, after: &AfterPour, looks: &Looks) -> Result<()> {
    let found = &after.compared.after;
    let reading = read_out(made, found, None, part.units);
    floor(made, part, found, "after", reading, looks)?;
    if let Ok(laid) = &after.compared.laid {
        let thickness = Quantity {
            name: "thickness",
            values: laid.surface.field.z.clone(),
        };
        let places = laid.surface.pins.iter().map(|pin| {
            let [x, y, z] = pin.position;
            (
                [x, y],
                format!("{}: {} laid", pin.name, part.units.height(z)),
            )
        });
        let reading = added(made, &laid.surface, vec![thickness], places.collect());
        let map = maps::compare_as(
            &after.compared,
            &looks.titled(part, "thickness laid"),
            part.units,
        )?;
        let caption = format!("{}: thickness laid, by the two surveys", part.floor.name);
        made.picture(
            file(part, "laid.svg"),
            Drawing::Map { map, reading },
            caption,
        );
    }
    Ok(())
}

/// Section, histogram and map of a floor, before or after.
fn floor(
    made: &mut Made,
    part: &Part,
    findings: &Findings,
    when: &str,
    reading: usize,
    looks: &Looks,
) -> Result<()> {
    let name = &part.floor.name;
    let charts: [(&str, Option<Result<Picture>>); 2] = [
        ("section", pictures::section(findings, part.units)),
        ("histogram", pictures::histogram(findings, part.units)),
    ];
    for (what, chart) in charts {
        if let Some(chart) = chart.transpose()? {
            let caption = format!("{name} {when} the pour. {}", chart.caption);
            made.picture(
                file(part, &format!("{when}-{what}.svg")),
                Drawing::Chart(chart.svg),
                caption,
            );
        }
    }
    if let Some(on_plan) = &findings.on_plan {
        let map = maps::check_as(
            findings,
            &looks.titled(part, &format!("{when} the pour")),
            part.units,
        )?;
        let caption = format!(
            "{name} {when} the pour: height above or below {}; the colours are the same before and after",
            on_plan.reference.title()
        );
        made.picture(
            file(part, &format!("{when}.svg")),
            Drawing::Map { map, reading },
            caption,
        );
    }
    Ok(())
}

/// Adds what can be read off a floor as measured, and of its plan if there is one.
fn read_out(made: &mut Made, findings: &Findings, plan: Option<&PourPlan>, units: System) -> usize {
    let surface = &findings.surface;
    let quantity = |name, values: &Vec<f64>| Quantity {
        name,
        values: values.clone(),
    };
    let deviations = findings
        .on_plan
        .iter()
        .map(|found| quantity("deviation", &found.deviations));
    let depths = plan.into_iter().map(|plan| quantity("depth", &plan.depths));
    let quantities = deviations.chain(depths).collect();
    let off = |[x, y, z]: [f64; 3]| {
        findings.on_plan.as_ref().map_or(String::new(), |found| {
            let off = z - found.reference_plane.height(x, y);
            format!(
                ", {} from {}",
                units.signed_height(off),
                found.reference.title()
            )
        })
    };
    let place = |name: &str, position: [f64; 3], depth: Option<f64>| {
        let depth = depth.map_or(String::new(), |depth| {
            format!(", depth {}", units.height(depth))
        });
        (
            [position[0], position[1]],
            format!("{name}{}{depth}", off(position)),
        )
    };
    let places = match plan {
        Some(plan) => {
            let pins = plan.pins.iter();
            pins.map(|pin| place(&pin.name, pin.position, Some(pin.depth)))
                .collect()
        }
        None => {
            let readings = surface.pins.iter();
            readings
                .map(|reading| place(&reading.name, reading.position, None))
                .collect()
        }
    };
    added(made, surface, quantities, places)
}

/// Adds a read-out of the nodes, every second or third of them where they are many.
fn added(
    made: &mut Made,
    surface: &Surface,
    quantities: Vec<Quantity>,
    places: Vec<([f64; 2], String)>,
) -> usize {
    let field = &surface.field;
    let stride = field.nx.max(field.ny).div_ceil(MOST_NODES).max(1);
    let columns = field.nx.div_ceil(stride);
    let thinned = |values: &[f64]| {
        let rows = values.chunks(field.nx.max(1)).step_by(stride);
        rows.flat_map(|row| row.iter().step_by(stride).copied())
            .collect()
    };
    made.document.readings.push(ReadOut {
        low: surface.survey_xy([field.x0, field.y0]),
        step: [field.dx * stride as f64, field.dy * stride as f64],
        columns,
        quantities: quantities
            .into_iter()
            .map(|one| Quantity {
                values: thinned(&one.values),
                ..one
            })
            .collect(),
        places: places
            .into_iter()
            .take(MOST_PLACES)
            .map(|(at, said)| (surface.survey_xy(at), said))
            .collect(),
    });
    made.document.readings.len() - 1
}

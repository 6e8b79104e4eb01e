//! The setting-out table: how deep the compound is at every pin, as CSV.
//!
//! In: a pour plan. Out: CSV in the order of the plan's pins: plan metres, the heights of floor and finish in millimetres
//! from the survey's zero (upwards: below a line of sight they are negative) to the tenth, the depth in whole millimetres,
//! what is ground off before where anything is, to the tenth, and the batch where the pour is divided.

use crate::error::{Error, Result};
use crate::findings::PourPlan;
use crate::output::words::whole_mm;
use crate::units::MILLIMETRE;

/// One row a pin.
///
/// # Errors
/// [`Error::Floor`] where there are no pins.
pub fn pins(plan: &PourPlan) -> Result<Vec<u8>> {
    let surface = &plan.findings.surface;
    if plan.pins.is_empty() {
        let wanted = "pins to set: --pins 1m or --pins FILE.csv, in a job file pins = \"1m\"";
        return Err(Error::floor("no single readings", wanted));
    }
    let divided = plan.pins.iter().any(|pin| pin.batch.is_some());
    let mut table = csv::Writer::from_writer(Vec::new());
    let fail = |error: csv::Error| Error::Write {
        file: "the setting-out table".to_owned(),
        source: error.into(),
    };
    let mut header = vec!["point", "x_m", "y_m", "floor_mm", "finish_mm", "depth_mm"];
    let ground = plan.is_ground();
    header.extend(ground.then_some("grind_mm"));
    header.extend(divided.then_some("batch"));
    table.write_record(header).map_err(fail)?;
    for pin in &plan.pins {
        let [x, y, z] = pin.position;
        let [x, y] = surface.survey_xy([x, y]);
        let height = |local| format!("{:.1}", surface.survey_z(local) / MILLIMETRE);
        let mut row = vec![
            pin.name.clone(),
            format!("{x:.3}"),
            format!("{y:.3}"),
            height(z),
            height(pin.finish()),
            whole_mm(pin.depth),
        ];
        row.extend(ground.then(|| format!("{:.1}", pin.grind / MILLIMETRE)));
        row.extend(divided.then(|| pin.batch.map_or(String::new(), |batch| batch.to_string())));
        table.write_record(row).map_err(fail)?;
    }
    table
        .into_inner()
        .map_err(|error| fail(error.into_error().into()))
}

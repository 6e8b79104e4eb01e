//! The setting-out table: how deep the compound is at every reading, as CSV.
//!
//! In: a pour plan. Out: CSV with plan metres, the floor's height and the depth in millimetres, rounded to the tenth.

use crate::error::{Error, Result};
use crate::findings::PourPlan;
use crate::units::MILLIMETRE;

/// One row a reading, in the order of the survey.
///
/// # Errors
/// [`Error::Floor`] for a scan, which has no single readings.
pub fn pins(plan: &PourPlan) -> Result<Vec<u8>> {
    let surface = &plan.findings.surface;
    if surface.pins.is_empty() {
        return Err(Error::floor(
            "a scan, which has no single readings",
            "a survey of readings for --pins-out",
        ));
    }
    let mut table = csv::Writer::from_writer(Vec::new());
    let fail = |error: csv::Error| Error::Write {
        file: "the setting-out table".to_owned(),
        source: error.into(),
    };
    table
        .write_record(["point", "x_m", "y_m", "floor_mm", "depth_mm"])
        .map_err(fail)?;
    for (pin, depth) in surface.pins.iter().zip(&plan.pour.pin_depths) {
        let [x, y, z] = pin.position;
        let [x, y] = surface.survey_xy([x, y]);
        let (floor, depth) = (surface.survey_z(z) / MILLIMETRE, depth / MILLIMETRE);
        let row = [
            pin.name.clone(),
            format!("{x:.3}"),
            format!("{y:.3}"),
            format!("{floor:.1}"),
            format!("{depth:.1}"),
        ];
        table.write_record(row).map_err(fail)?;
    }
    table
        .into_inner()
        .map_err(|error| fail(error.into_error().into()))
}

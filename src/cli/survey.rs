//! The arguments that say which survey and how it is looked at, of every verb that reads one.

use std::path::{Path, PathBuf};

use clap::Args;

use super::values::{format_name, length, positive_length, positive_rate, reference, up};
use super::{own_classes, system};
use crate::error::{Error, Result};
use crate::findings::Reference;
use crate::run::Job;
use crate::survey::{Options, Up};
use crate::tolerance;
use crate::units::{LengthUnit, Rate, System};

#[derive(Args)]
pub(super) struct SurveyArgs {
    /// Files of one floor: readings, or a scan; - reads standard input
    #[arg(required = true, value_name = "SURVEY")]
    pub(super) files: Vec<String>,
    /// Class to judge by: a name of `lowspot classes`, or GAP@LENGTH such as 3mm@2m (repeatable)
    #[arg(long, value_name = "CLASS")]
    pub(super) class: Vec<String>,
    /// Your own classes, as the README describes
    #[arg(long, value_name = "FILE.toml")]
    pub(super) classes: Option<String>,
    /// Lay a straightedge of this length, without asking for a class (repeatable)
    #[arg(long, value_name = "LENGTH", value_parser = positive_length)]
    pub(super) straightedge: Vec<f64>,
    /// Standard uncertainty of one height
    #[arg(long, value_name = "LENGTH", value_parser = positive_length)]
    pub(super) u: Option<f64>,
    /// Standard uncertainty of the tilt of the laser plane, such as 0.1mm/m: counts in levels, falls and volumes, and in
    /// no gap
    #[arg(long, value_name = "RATE", value_parser = positive_rate)]
    pub(super) tilt: Option<f64>,
    /// Unit of heights and scanned points where the file does not say: mm, cm, m, in, ft, usft
    #[arg(long, value_name = "UNIT", value_parser = |text: &str| text.parse::<LengthUnit>())]
    pub(super) units: Option<LengthUnit>,
    /// Read as this format, whatever the content looks like
    #[arg(long, value_name = "FORMAT", value_parser = format_name)]
    pub(super) format: Option<&'static str>,
    /// Which axis of a scan points upwards: z, y, -y, x, -x, -z
    #[arg(long, value_name = "AXIS", allow_hyphen_values = true, value_parser = up)]
    pub(super) up: Option<Up>,
    /// Which of several floors of a scan: its height
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true, value_parser = length)]
    pub(super) floor: Option<f64>,
    /// Side of a scan's cells
    #[arg(long, value_name = "LENGTH", value_parser = positive_length)]
    pub(super) cell: Option<f64>,
    /// How much the instrument's line of sight rises, such as 0.05mm/m from `lowspot level-check`: corrects readings by
    /// their sight lengths
    #[arg(long, value_name = "RATE", allow_hyphen_values = true, value_parser = |text: &str| text.parse::<Rate>())]
    pub(super) collimation: Option<Rate>,
    /// Polygon of the room with holes for columns: CSV or GeoJSON
    #[arg(long, value_name = "FILE")]
    pub(super) outline: Option<String>,
    /// What deviations are measured from: plane (best fit), zone (minimum zone), level
    #[arg(long, value_name = "PLANE", default_value = "plane", value_parser = reference)]
    pub(super) reference: Reference,
    /// Show inches and feet
    #[arg(long)]
    pub(super) imperial: bool,
    /// Print one JSON document instead of the summary
    #[arg(long)]
    pub(super) json: bool,
    /// Write the map to this file
    #[arg(long, value_name = "FILE.svg")]
    pub(super) map: Option<PathBuf>,
}

impl SurveyArgs {
    /// # Errors
    /// A file of classes that cannot be read, a class that is not known.
    pub(super) fn job(&self) -> Result<Job> {
        let own = own_classes(self.classes.as_deref())?;
        let class = |text: &String| {
            tolerance::parse_class(text, &own)
                .map_err(|wanted| Error::argument("--class", format!("'{text}'"), wanted))
        };
        Ok(Job {
            files: self.files.clone(),
            options: Options {
                units: self.units,
                up: self.up.unwrap_or_default(),
                format: self.format,
                collimation: self.collimation.map(|Rate(rate)| rate),
            },
            u: self.u,
            tilt: self.tilt,
            cell: self.cell,
            floor: self.floor,
            outline: self.outline.clone(),
            classes: self.class.iter().map(class).collect::<Result<_>>()?,
            straightedges: self.straightedge.clone(),
            reference: self.reference,
            units: self.system(),
        })
    }

    pub(super) fn system(&self) -> System {
        system(self.imperial)
    }

    /// Files that must not be written over.
    pub(super) fn inputs(&self) -> impl Iterator<Item = &Path> {
        self.files
            .iter()
            .chain(&self.outline)
            .chain(&self.classes)
            .map(Path::new)
    }
}

//! Pictures beside the map: a section under the worst straightedge, how deviations are spread, what every height costs.
//!
//! In: findings, a plan. Out: SVG, drawn by plotters in shades that a grey printer keeps apart.

use plotters::prelude::*;

use crate::error::{Error, Result};

mod cost;
mod histogram;
mod section;

pub use cost::cost_curve;
pub use histogram::histogram;
pub use section::section;

/// A picture, and what is to be said under it.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// The drawing.
    pub svg: String,
    /// What it shows.
    pub caption: String,
}

/// Width and height of a picture in its own units: as wide as a page's column, letters a fiftieth of that.
const SIZE: (u32, u32) = (1000, 400);

/// Letters.
const LETTERS: u32 = 20;

/// The floor and the bars.
const FLOOR: RGBColor = RGBColor(140, 140, 140);

/// The straightedge, and what breaks a limit.
const EDGE: RGBColor = RGBColor(178, 60, 20);

/// Lines that only guide the eye.
const FAINT: RGBColor = RGBColor(215, 215, 215);

/// A drawing in memory has nothing to fail on; what plotters says all the same, as an error of ours.
fn drawn<T, E: std::fmt::Display>(done: std::result::Result<T, E>) -> Result<T> {
    done.map_err(|error| Error::Write {
        file: "a picture".to_owned(),
        source: std::io::Error::other(error.to_string()),
    })
}

/// A picture with a name for those who cannot see it, and free to be shown at any width.
fn picture(svg: &str, caption: String) -> Picture {
    let name = caption.replace('&', "&amp;").replace('<', "&lt;");
    let free = "<svg role=\"img\" style=\"max-width:100%;height:auto\" ";
    let named =
        svg.replacen("<svg ", free, 1)
            .replacen(">\n", &format!(">\n<title>{name}</title>\n"), 1);
    Picture {
        svg: named,
        caption,
    }
}

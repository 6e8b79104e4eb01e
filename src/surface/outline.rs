//! The room on the plan: a polygon with holes for columns and fixed units.
//!
//! In: a small CSV (x, y, and a ring number where there are holes) or GeoJSON. Out: a polygon in metres.

/// The room: its wall line, and what stands in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// The polygon, with its holes, m.
    pub polygon: geo::Polygon<f64>,
}

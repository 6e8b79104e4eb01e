//! How flat a floor is: the straightedge laid everywhere, other rules, spots, uncertainty, verdicts.
//!
//! In: a [`crate::surface::Surface`]. Out: gaps, spots and verdicts against the limits of `tolerance`.

pub mod along;
pub mod bias;
pub mod chords;
pub mod differences;
pub mod instrument;
pub mod levels;
pub mod measure;
mod reason;
mod smooth;
pub mod spots;
pub mod straightedge;
pub mod supports;
pub mod verdict;

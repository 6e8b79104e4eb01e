//! How flat a floor is: the straightedge laid everywhere, other rules, spots, uncertainty, verdicts.
//!
//! In: a [`crate::surface::Surface`]. Out: gaps, spots and verdicts against the limits of `tolerance`.

pub mod along;
pub mod chords;
pub mod differences;
pub mod levels;
pub mod measure;
mod reason;
pub mod spots;
pub mod straightedge;
pub mod supports;
pub mod verdict;

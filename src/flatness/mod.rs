//! How flat a floor is: the straightedge laid everywhere, other rules, F-numbers, waviness, spots, uncertainty,
//! verdicts.
//!
//! In: a [`crate::surface::Surface`]. Out: gaps, spots and verdicts against the limits of `tolerance`.

pub mod bias;
pub mod chords;
pub mod f_numbers;
pub mod instrument;
pub mod levels;
pub mod measure;
pub mod sample_lines;
mod smooth;
pub mod spots;
pub mod straightedge;
pub mod supports;
pub mod verdict;
pub mod waviness;

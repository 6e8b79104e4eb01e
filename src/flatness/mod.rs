//! How flat a floor is: the straightedge laid everywhere, other rules, F-numbers, waviness, spots, uncertainty,
//! verdicts.
//!
//! In: a [`crate::surface::Surface`], or a straightedge book. Out: gaps, spots and verdicts against the limits of `tolerance`.

pub mod along;
pub mod bias;
pub mod by_hand;
pub mod chords;
pub mod differences;
pub mod f_numbers;
pub mod instrument;
pub mod levels;
pub mod measure;
mod reason;
pub mod sample_lines;
mod smooth;
pub mod spots;
pub mod straightedge;
pub mod supports;
pub mod verdict;
pub mod waviness;

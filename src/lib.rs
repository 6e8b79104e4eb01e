//! lowspot: from a measured subfloor to a flat one.
//!
//! A floor layer measures a subfloor; lowspot says how far out it is and where, whether it meets the class that the
//! finish demands and whether the measurement even allows saying so, what level to finish at and how much compound that
//! takes. Read [`run`] first: the whole pipeline on one screen. Each module below uses only those above it in
//! the list of DEVELOPERS.md; a test holds that.
#![cfg_attr(
    not(test),
    warn(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo)
)]

pub mod cli;
pub mod error;
pub mod findings;
pub mod flatness;
pub mod handover;
pub mod job;
pub mod output;
pub mod page;
pub mod pour;
pub mod reference;
pub mod run;
pub mod surface;
pub mod survey;
pub mod tolerance;
pub mod units;
pub mod written;

//! lowspot: from a measured subfloor to a flat one.
#![cfg_attr(
    not(test),
    warn(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo)
)]

pub mod error;
pub mod output;
pub mod surface;
pub mod survey;
pub mod units;

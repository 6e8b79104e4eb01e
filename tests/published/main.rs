//! Worked examples and reference data, each with its source.
mod volumes;

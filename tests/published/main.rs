//! Worked examples and reference data that somebody published: each test names its source.

mod planes;
mod straightedge;
mod volumes;

//! Worked examples and reference data that somebody published: each test names its source.

mod din18202;
mod levelling;
mod planes;
mod straightedge;
mod volumes;

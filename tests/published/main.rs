//! Worked examples and reference data that somebody published: each test names its source.

mod din18202;
mod f_numbers;
mod levelling;
mod materials;
mod planes;
mod straightedge;
mod test_pad;
mod volumes;

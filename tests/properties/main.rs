//! What must hold for any floor, tried on random ones.

mod planes;
mod rules;
mod straightedge;
mod volumes;

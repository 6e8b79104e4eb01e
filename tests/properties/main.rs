//! What must hold for any floor, tried on random ones.

mod least;
mod planes;
mod rules;
mod straightedge;
mod volumes;

//! What must hold for any floor, tried on random ones.

mod least;
mod straightedge;
mod volumes;

//! What must hold for any floor, tried on random ones.

mod straightedge;
mod volumes;

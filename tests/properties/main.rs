//! What must hold for any floor, tried on random ones.

mod chords;
mod cost;
mod least;
mod network;
mod planes;
mod rules;
mod straightedge;
mod volumes;
mod whole;

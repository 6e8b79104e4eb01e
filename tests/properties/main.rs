//! What must hold for any floor, tried on random ones.

mod chords;
mod least;
mod network;
mod planes;
mod rules;
mod straightedge;
mod volumes;

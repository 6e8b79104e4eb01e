//! Finished results -> bytes: text for people, JSON for programs, SVG maps, tables and drawings to set out from.
//!
//! In: [`crate::findings`]. Out: strings; nothing here reads a file, measures or decides. Rounding happens here and
//! nowhere else.

pub mod bundle;
pub mod drawing;
mod dxf;
pub mod files;
pub mod folder;
pub mod json;
pub mod map;
pub mod maps;
pub mod pictures;
pub mod place;
pub mod report;
pub mod setting_out;
pub mod text;
pub mod words;

//! The report of a job: one document, set as a page of HTML and as a PDF.
//!
//! In: [`crate::findings::handover::Handover`]. Out: bytes, the same for the same job. [`content`] decides what it says,
//! [`html`] and [`pdf`] how it looks.

pub mod content;
pub mod document;
pub mod html;
pub mod pdf;
mod words;

pub use words::NO_BENCHMARK;

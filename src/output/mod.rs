//! What was found, as files people open.
//!
//! In: finished results. Out: bytes. Rounding happens here and nowhere else.

pub mod map;

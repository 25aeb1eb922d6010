//! Pictures, drawn once and kept as SVG or PNG.

pub mod charts;
pub mod days;
pub mod fill;
pub mod map;
pub mod picture;
pub mod profile;

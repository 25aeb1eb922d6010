//! Pictures, drawn once and kept as SVG or PNG.

mod axis;
pub mod charts;
pub mod days;
pub mod debrief;
pub mod fill;
pub mod map;
pub mod picture;
pub mod profile;
pub mod years;

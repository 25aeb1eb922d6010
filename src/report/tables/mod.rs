//! Tables in plain text, as a terminal shows them, and the same rows as CSV and GeoJSON.

pub mod aim;
pub mod clocks;
pub mod compare;
pub mod days;
pub mod debrief;
pub mod fill;
pub mod fill_rules;
pub mod follow;
pub mod forecast;
pub mod scores;
pub mod sites;
pub(super) mod why;
pub mod winds;
pub mod years;
pub mod zone;

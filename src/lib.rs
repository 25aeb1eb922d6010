//! Windfall: where a small high-altitude balloon will come down, and how sure that is.
//!
//! Data flows one way: plan and files, then wind and vehicle, then flight, spread, answer and report.
//! See DEVELOPERS.md for the floors.

pub mod atmosphere;
pub mod brief;
pub mod choice;
pub mod cli;
pub mod clock;
pub mod error;
pub mod fetch;
pub mod files;
pub mod fill;
pub mod flight;
pub mod geodesy;
pub mod ground;
pub mod plan;
pub mod random;
pub mod report;
pub mod sizing;
pub mod sources;
pub mod spread;
pub mod units;
pub mod vehicle;
pub mod wind;
pub mod zone;

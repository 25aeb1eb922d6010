//! Windfall: where a small high-altitude balloon will come down, and how sure that is.
//!
//! Data flows one way: plan and files, then wind and vehicle, then flight, spread and report.
//! See DEVELOPERS.md for the floors.

pub mod atmosphere;
pub mod cli;
pub mod error;
pub mod geodesy;
pub mod report;
pub mod sources;
pub mod units;
pub mod wind;

//! The commands, one file each.

pub mod fetch;
pub mod options;
mod output;
mod wind_files;
pub mod winds;
pub mod zone;

//! The commands, one file each.

pub mod brief;
pub mod compare;
pub mod days;
pub mod fetch;
pub mod fill;
pub mod follow;
pub mod instead;
pub mod new;
pub mod options;
mod output;
mod progress;
pub mod releases;
pub mod sites;
pub mod version;
pub mod wind_files;
pub mod winds;
pub mod zone;

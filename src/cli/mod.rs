//! The commands, one file each.

pub mod brief;
pub mod command;
pub mod compare;
pub mod cost;
pub mod days;
pub mod debrief;
pub mod desk;
pub mod fetch;
mod fetch_words;
pub mod fill;
pub mod follow;
pub mod help;
pub mod instead;
pub mod new;
pub mod options;
mod output;
pub mod plan_file;
mod progress;
pub mod releases;
pub mod show;
pub mod sites;
pub mod stop;
pub mod trackers;
pub mod version;
pub mod wind_files;
pub mod winds;
pub mod zone;

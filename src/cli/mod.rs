//! The commands, one file each.

pub mod options;
pub mod winds;
pub mod zone;

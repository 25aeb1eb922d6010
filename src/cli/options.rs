//! Options that several commands share.

use clap::ValueEnum;

use crate::units::UnitSystem;

/// The units a person reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Units {
    /// Metres and metres a second.
    Metric,
    /// Feet and miles.
    Us,
}

impl From<Units> for UnitSystem {
    fn from(units: Units) -> UnitSystem {
        match units {
            Units::Metric => UnitSystem::Metric,
            Units::Us => UnitSystem::Us,
        }
    }
}

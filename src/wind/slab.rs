//! What a forecast file holds, before anything of it is decoded.

use jiff::Timestamp;

/// What the values of a slab are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// Wind towards the east (or along the grid's x), m/s.
    EastWind,
    /// Wind towards the north (or along the grid's y), m/s.
    NorthWind,
    /// Geopotential height, geopotential m; at the ground the orography.
    Height,
    /// Temperature, K.
    Temperature,
    /// Relative humidity, a share of saturation over water.
    RelativeHumidity,
    /// Specific humidity, kg/kg.
    SpecificHumidity,
    /// Pressure, Pa.
    Pressure,
}

/// Where the values of a slab are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Surface {
    /// Where the pressure is so many Pa.
    Isobaric(u32),
    /// At the ground.
    Ground,
    /// So many metres above the ground.
    AboveGround(u16),
}

/// One quantity on one surface at one time, not yet decoded.
#[derive(Debug, Clone, PartialEq)]
pub struct Slab {
    /// What.
    pub quantity: Quantity,
    /// Where.
    pub surface: Surface,
    /// The time of the run (the analysis it starts from), if the file says.
    pub run: Option<Timestamp>,
    /// The time the values are for.
    pub valid: Timestamp,
    /// The number of the ensemble member, if it is one.
    pub member: Option<u32>,
    /// Which of the file's lattices.
    pub lattice: usize,
    /// Whether winds are along the grid's x and y, not towards true east and north.
    pub along_grid: bool,
}

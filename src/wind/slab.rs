//! What a forecast file holds, before anything of it is decoded.

use std::fmt;

use jiff::Timestamp;

/// What the values of a slab are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// Wind towards the east (or along the grid's x), m/s.
    EastWind,
    /// Wind towards the north (or along the grid's y), m/s.
    NorthWind,
    /// Speed of the wind, m/s.
    WindSpeed,
    /// The direction the wind blows from, degrees clockwise from true north.
    WindFrom,
    /// Gusts near the ground, m/s.
    Gust,
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
    /// Where the pressure is this many Pa.
    Isobaric(u32),
    /// At the ground.
    Ground,
    /// This many metres above the ground.
    AboveGround(u16),
}

/// Which time the values of a slab are of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Span {
    /// The moment they are for.
    #[default]
    Moment,
    /// So many seconds up to that moment; the largest values in them.
    Before(u32),
    /// The time since the model last wrote, of which the file tells no length; the largest values in it.
    SinceLast,
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
    /// Whether they are of that time alone.
    pub span: Span,
    /// The number of the ensemble member, if it is one.
    pub member: Option<u32>,
    /// Whether it is the one whose perturbation was taken away, of two members that may share a number.
    pub minus: bool,
    /// Which of the file's lattices.
    pub lattice: usize,
    /// Whether winds are along the grid's x and y, not towards true east and north.
    pub along_grid: bool,
}

/// What and where the height of the ground is.
pub const GROUND: (Quantity, Surface) = (Quantity::Height, Surface::Ground);

impl Slab {
    /// Whether it is the height of the ground.
    pub fn is_ground(&self) -> bool {
        (self.quantity, self.surface) == GROUND
    }
}

impl fmt::Display for Quantity {
    /// As people name it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Quantity::EastWind => "eastward wind",
            Quantity::NorthWind => "northward wind",
            Quantity::WindSpeed => "wind speed",
            Quantity::WindFrom => "wind direction",
            Quantity::Gust => "gusts",
            Quantity::Height => "height",
            Quantity::Temperature => "temperature",
            Quantity::RelativeHumidity => "relative humidity",
            Quantity::SpecificHumidity => "specific humidity",
            Quantity::Pressure => "pressure",
        })
    }
}

impl fmt::Display for Surface {
    /// As people name it: `500 hPa`, `the ground`, `10 m above the ground`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Surface::Isobaric(pa) => write!(f, "{} hPa", f64::from(*pa) / 100.0),
            Surface::Ground => f.write_str("the ground"),
            Surface::AboveGround(m) => write!(f, "{m} m above the ground"),
        }
    }
}

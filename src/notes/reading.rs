//! What readers of wind files take for granted, as data; its words are in the units of the files.

use std::fmt;

use jiff::Timestamp;
use serde::{Serialize, Serializer};

/// Something that a reader took for granted.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Reading {
    /// Times without an offset are UTC.
    TimesInUtc,
    /// What is called height is geometric, above mean sea level.
    GeometricHeight,
    /// Heights above the ellipsoid are taken for heights above mean sea level.
    HeightAboveEllipsoid,
    /// Columns have the units that are usual for such names.
    UsualUnits {
        /// Each with its unit, as in "hght in m".
        columns: Vec<String>,
    },
    /// Values whose unit is not given have the usual one.
    UsualUnit {
        /// The name of the values.
        name: String,
        /// The unit.
        unit: String,
    },
    /// A longitude without a letter is west.
    LongitudeWest,
    /// The latitude at which geopotential heights are converted, as the file has none.
    Latitude {
        /// The latitude.
        latitude_deg: f64,
    },
    /// The lowest pressure lies as high as in the standard atmosphere.
    LowestHeight {
        /// The pressure, Pa.
        pressure_pa: f64,
        /// Its height, m.
        height_m: f64,
    },
    /// Heights computed from pressure rest on temperatures of the standard atmosphere where there are none.
    StandardTemperatures,
    /// Directions run from -180 to 180 degrees.
    SignedDirections {
        /// How many are below 0.
        below_0: usize,
    },
    /// A number stands for values that are missing.
    MissingAs {
        /// The column that has it.
        column: String,
        /// The number, in the unit of the column.
        number: f64,
    },
    /// Commas or points in a column part thousands.
    Thousands {
        /// The column that has them.
        column: String,
    },
    /// Times beside which lead times stand are those of runs.
    TimesOfRuns,
    /// A point forecast does not name its run.
    NewestRun {
        /// The newest that was normally complete at the download.
        run: Timestamp,
    },
    /// What variables are is known from their names alone.
    ByName {
        /// What some of them are, as in "U is the eastward wind".
        variables: Vec<String>,
        /// How many more there are.
        more: usize,
    },
    /// Winds on a map are along the map's axes.
    AlongMap,
    /// The earth of a map is a sphere.
    SphericalMap {
        /// Its radius, m.
        radius_m: f64,
    },
    /// Where the distances between the points of a map are true lengths, if not at its standard parallels.
    LengthsOfMap {
        /// The latitude.
        latitude_deg: f64,
    },
    /// The map of a grid is inferred from the places of its points.
    InferredMap {
        /// The map, as PROJ writes it.
        definition: String,
    },
    /// Another forecast continues the winds above.
    ContinuedAbove {
        /// Up to where the lower one goes, as in "100 hPa".
        top: String,
        /// The files of the lower one.
        lower: Vec<String>,
        /// Those of the upper one.
        upper: Vec<String>,
        /// Region and spacing of the upper one.
        region: String,
    },
    /// The winds above are of one time.
    OneTimeAbove {
        /// The time.
        time: Timestamp,
        /// For how long they are used before and after, s.
        stands_s: f64,
    },
    /// Heights are computed, as the files give none.
    HeightsComputed {
        /// Of which levels.
        levels: String,
        /// From what.
        from: HeightsFrom,
    },
    /// What the run of the winds lacks is of another run for the same time.
    OfOtherRuns {
        /// How many fields.
        fields: usize,
        /// What they are.
        quantities: Vec<String>,
    },
    /// A forecast without a member's number counts as one more member of an ensemble.
    NumberlessMember {
        /// The first of its files.
        file: String,
    },
    /// Gusts are the strongest over some time.
    GustsOverTime {
        /// How long before each time, s; `None` where that is not known.
        before_s: Option<u32>,
    },
}

/// What heights of a forecast's levels are computed from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum HeightsFrom {
    /// Temperatures, and heights that are known below.
    Temperatures,
    /// Temperatures, and the standard atmosphere's height of the lowest level.
    TemperaturesAlone,
    /// The standard atmosphere.
    StandardAtmosphere,
}

/// In words: lists of what is in a file say it too.
impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Reading::TimesInUtc => f.write_str("times are UTC (the file gives no offset)"),
            Reading::GeometricHeight => f.write_str("\"height\" is geometric, above mean sea level (write \"geopotential height\" where it is not)"),
            Reading::HeightAboveEllipsoid => f.write_str("heights above the ellipsoid are taken for heights above mean sea level, from which they differ by up to 100 m"),
            Reading::UsualUnits { columns } => write!(f, "{}: as usual where these four-letter names stand", columns.join(", ")),
            Reading::UsualUnit { name, unit } => write!(f, "{name} in {unit}: no unit is given"),
            Reading::LongitudeWest => f.write_str("longitude without E or W is west, as in this format's North American files"),
            Reading::Latitude { latitude_deg } => write!(f, "latitude {latitude_deg} degrees for the conversion of geopotential heights (the file has none)"),
            Reading::LowestHeight { pressure_pa, height_m } => write!(f, "height of the lowest pressure, {:.1} hPa, as in the standard atmosphere: {height_m:.0} m", pressure_pa / 100.0),
            Reading::StandardTemperatures => f.write_str("temperatures of the standard atmosphere, in heights from pressure, where the file has none"),
            Reading::SignedDirections { below_0 } => write!(f, "directions run from -180 to 180 degrees: {below_0} below 0 are west of north"),
            Reading::MissingAs { column, number } => write!(f, "{number} in column \"{column}\" stands for a missing value, as what is above and below it is far from that"),
            Reading::Thousands { column } => write!(f, "commas or points in column \"{column}\" stand between thousands"),
            Reading::TimesOfRuns => f.write_str("the file's times are those of its runs, as it gives lead times beside them"),
            Reading::NewestRun { run } => write!(f, "the file does not name its run: taken as the newest that was normally complete when it was downloaded, {run}"),
            Reading::ByName { variables, more } => {
                write!(f, "by the names of variables alone, {}", variables.join(", "))?;
                match more {
                    0 => Ok(()),
                    more => write!(f, " and {more} more"),
                }
            }
            Reading::AlongMap => f.write_str("winds on a map projection are along the map's x and y (the file does not say)"),
            Reading::SphericalMap { radius_m } => write!(f, "the map's earth is a sphere of {radius_m} m (the file names none)"),
            Reading::LengthsOfMap { latitude_deg } => write!(f, "the distances between the points of the grid are those at the latitude that its file names for them, {latitude_deg} degrees, which is no standard parallel of its map"),
            Reading::InferredMap { definition } => write!(f, "the map of the grid is inferred from latitudes and longitudes, which it fits to a fiftieth of a cell ({definition})"),
            Reading::ContinuedAbove { top, lower, upper, region } => write!(
                f,
                "above {top} the winds of {} are continued by those of {} ({region}), joined over the 4.5 km below",
                lower.join(", "),
                upper.join(", ")
            ),
            Reading::OneTimeAbove { time, stands_s } => write!(f, "the winds above are of {time} alone, and are used for {:.0} h before and after", stands_s / 3_600.0),
            Reading::HeightsComputed { levels, from } => match from {
                HeightsFrom::Temperatures => write!(f, "the heights of {levels} are computed from the temperatures: the files give none"),
                HeightsFrom::TemperaturesAlone => write!(f, "the heights of {levels} are computed from the temperatures and the standard atmosphere's height of the lowest: the files give none"),
                HeightsFrom::StandardAtmosphere => write!(f, "the heights of {levels} are the standard atmosphere's: the files give neither heights nor temperatures (in winter some hundred metres too high, in summer too low)"),
            },
            Reading::OfOtherRuns { fields, quantities } => write!(f, "{fields} fields ({}) are of another run than the winds of their time, whose run lacks them", quantities.join(", ")),
            Reading::NumberlessMember { file } => write!(f, "the winds of {file} have no member's number, and count as one more member of the ensemble"),
            Reading::GustsOverTime { before_s } => {
                f.write_str("gusts are the strongest ")?;
                match before_s {
                    None => f.write_str("since the forecast's last time (it does not say which) before")?,
                    Some(s) if s % 3_600 == 0 => write!(f, "of the {} h before", s / 3_600)?,
                    Some(s) => write!(f, "of the {} min before", s / 60)?,
                }
                f.write_str(" each of its times, taken for every moment between")
            }
        }
    }
}

/// Writes each in words, for lists that have had nothing else.
///
/// # Errors
///
/// The serializer's own.
pub fn in_words<T: fmt::Display, S: Serializer>(all: &[T], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(all.iter().map(ToString::to_string))
}

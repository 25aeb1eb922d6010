//! What was given in place of what the plan says, as data.

use jiff::Timestamp;
use serde::Serialize;

/// Something that was given in place of what the plan says.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "option", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Replaced {
    /// The time of release.
    Release {
        /// The plan's.
        planned: ClockTime,
        /// The one that counts.
        given: ClockTime,
    },
    /// The lift at the neck.
    Lift {
        /// What the plan fills in.
        planned: PlannedFill,
        /// The lift that counts, kg.
        neck_lift_kg: f64,
    },
    /// The site.
    Site {
        /// Latitude and longitude of the plan's, degrees.
        planned_deg: [f64; 2],
        /// Those of the one that counts.
        given_deg: [f64; 2],
        /// From one to the other, m.
        moved_m: f64,
        /// Its elevation, where the plan's is another field's.
        elevation: Option<OtherElevation>,
    },
}

/// A time on the clocks of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct ClockTime {
    /// The time.
    pub time: Timestamp,
    /// How far those clocks are ahead of UTC then, s.
    pub offset_s: i32,
}

/// How much gas a plan fills in.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PlannedFill {
    /// Lift at the neck, kg.
    NeckLiftKg(f64),
    /// Free lift, kg.
    FreeLiftKg(f64),
    /// Volume of gas, m3.
    GasVolumeM3(f64),
    /// What cylinders hold.
    Cylinders,
    /// As much as a rate of ascent needs, m/s.
    AscentRateMS(f64),
    /// As much as a burst at an altitude needs, m.
    BurstAltitudeM(f64),
    /// As much as a time of flight needs, s.
    FlightTimeS(f64),
}

/// The elevation of a site in place of the plan's.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OtherElevation {
    /// Above mean sea level, m.
    pub elevation_m: f64,
    /// What tells it.
    pub from: OtherElevationFrom,
}

/// What tells the elevation of another site.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum OtherElevationFrom {
    /// An airport.
    Airport {
        /// Its code.
        code: String,
        /// From the site, m.
        distance_m: f64,
    },
    /// The plan's terrain.
    Terrain,
    /// Nothing: it is the plan's.
    Plan,
}

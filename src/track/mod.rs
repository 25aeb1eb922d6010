//! Position reports of trackers: read by content, and let through or refused.
//!
//! One file a format; [`reader`] tells them apart line by line. [`gate`] refuses what no balloon does.

// Numbers and lengths from outside are another kind until they were found to be ours.
#![cfg_attr(
    not(test),
    deny(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_sign_loss,
        clippy::indexing_slicing,
        clippy::string_slice
    )
)]

pub mod aprs;
mod delays;
pub mod fields;
pub mod gate;
pub mod geojson;
pub mod gpx;
pub mod json;
pub mod kiss;
pub mod logger;
pub mod nmea;
pub mod photo;
pub mod reader;
pub mod stamp;
pub mod table;

use jiff::Timestamp;
use serde::Serialize;

pub use self::stamp::Stamp;
use crate::geodesy::Position;

/// One position report, as it was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// The tracker's call sign or name; empty where the format has none.
    pub tracker: String,
    /// When it was there, by its own clock.
    pub stamp: Stamp,
    /// When it was heard, where the line itself says so.
    pub heard: Option<Timestamp>,
    /// Where it was.
    pub position: Position,
    /// Altitude above mean sea level, m.
    pub altitude_m: Option<f64>,
}

/// A report at a time that is known.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fix {
    /// The tracker.
    pub tracker: String,
    /// When it was there.
    pub time: Timestamp,
    /// Where it was.
    pub position: Position,
    /// Altitude above mean sea level, m.
    pub altitude_m: f64,
}

/// Why something that was heard does not move the balloon.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Refusal {
    /// Of a tracker that was not asked for.
    NotAsked,
    /// No report of a position: status, telemetry, talk of a server.
    NoPosition,
    /// The receiver says that it has no fix, or gives 0 N 0 E.
    NoFix,
    /// The digits that say where were left out on purpose.
    Vague,
    /// Damaged on the way: a checksum, a digit, an hour that there is not.
    Damaged,
    /// An object that was taken back.
    TakenBack,
    /// No height.
    NoHeight,
    /// No time of its own, and nobody knows when it was heard.
    NoTime,
    /// The same fix again.
    Duplicate,
    /// Heard long after its time.
    Late,
    /// Its time is ahead of when it was heard, or of what came after it.
    Ahead,
    /// Farther away, higher or lower than a balloon gets in that time.
    Jump,
    /// Of another balloon.
    OtherBalloon,
    /// The height stays the same while the place changes.
    StaleHeight,
    /// The height is at the limit of a receiver.
    HeightLimit,
    /// Nowhere a balloon is: below the ground or above 60 km.
    Impossible,
}

/// What came of something that was read.
pub type Outcome = Result<Report, Refusal>;

/// Metres a foot.
pub(crate) const FOOT_M: f64 = 0.3048;

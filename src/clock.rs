//! Times and seconds between them.

pub mod letters;
pub mod local;

use jiff::{SignedDuration, Timestamp};

/// A day, s.
pub const DAY_S: f64 = 86_400.0;

/// The time this many seconds after another; the same where there is no such time.
pub fn after(time: Timestamp, seconds: f64) -> Timestamp {
    SignedDuration::try_from_secs_f64(seconds)
        .ok()
        .and_then(|d| time.checked_add(d).ok())
        .unwrap_or(time)
}

/// Seconds from one time to another.
pub fn seconds_between(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64()
}

//! One ascent as a reader hands it over: cleaned levels and what was done to clean them.

use std::cmp::Ordering;

use jiff::Timestamp;
use serde::Serialize;

use crate::geodesy::Position;
use crate::notes::left_out::LeftOut;
use crate::notes::reading::{Reading, in_words};

/// A horizontal wind: where the air goes, not where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Wind {
    /// Component towards true east, m/s.
    pub east_m_s: f64,
    /// Component towards true north, m/s.
    pub north_m_s: f64,
}

impl Wind {
    /// From a speed and the direction the wind blows *from*, degrees clockwise from true north.
    ///
    /// # Examples
    ///
    /// ```
    /// use windfall::wind::sounding::Wind;
    /// let westerly = Wind::from_direction(10.0, 270.0);
    /// assert!((westerly.east_m_s - 10.0).abs() < 1e-12 && westerly.north_m_s.abs() < 1e-12);
    /// ```
    pub fn from_direction(speed_m_s: f64, from_deg: f64) -> Wind {
        let (s, c) = from_deg.to_radians().sin_cos();
        Wind {
            east_m_s: -speed_m_s * s,
            north_m_s: -speed_m_s * c,
        }
    }

    /// Speed, m/s.
    pub fn speed_m_s(self) -> f64 {
        self.east_m_s.hypot(self.north_m_s)
    }

    /// Direction the wind blows from, degrees clockwise from true north, above 0 up to 360; 0 when
    /// calm (WMO practice).
    pub fn from_deg(self) -> f64 {
        if self.east_m_s == 0.0 && self.north_m_s == 0.0 {
            return 0.0;
        }
        let from = (-self.east_m_s)
            .atan2(-self.north_m_s)
            .to_degrees()
            .rem_euclid(360.0);
        // A wind from the north is told as 360, as 0 stands for calm.
        if from == 0.0 { 360.0 } else { from }
    }
}

/// One level. What was not observed is `None`, never a filler.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Level {
    /// Geometric altitude above mean sea level, m.
    pub altitude_m: f64,
    /// Pressure, Pa.
    pub pressure_pa: Option<f64>,
    /// Temperature, K.
    pub temperature_k: Option<f64>,
    /// Partial pressure of water vapour, Pa.
    pub vapour_pressure_pa: Option<f64>,
    /// Wind.
    pub wind: Option<Wind>,
    /// From the release of the sonde until it was here, s, where the file says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after_s: Option<f64>,
    /// Where it was then, where the file says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Position>,
}

/// Where the levels' altitudes come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum HeightSource {
    /// The file gives geopotential heights; made geometric at the sounding's latitude.
    Geopotential,
    /// The file gives geometric heights.
    Geometric,
    /// The file gives pressures only; heights by the hypsometric equation.
    Hypsometric,
}

/// The model that computed a profile.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Model {
    /// As the file names it.
    pub name: String,
    /// From its run to the time of the profile, s, if known.
    pub lead_s: Option<f64>,
}

/// One ascent: at least two levels with wind, altitudes strictly rising.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sounding {
    /// The station or site, as the file names it; may be empty.
    pub name: String,
    /// When the sonde was released, UTC; else the nominal hour of the observation.
    pub time: Option<Timestamp>,
    /// Where.
    pub position: Option<Position>,
    /// The model that computed it; `None` for a measured one.
    pub model: Option<Model>,
    /// A model's own wind 10 m above its ground, which also stands among the levels.
    pub wind_at_10_m: Option<Wind>,
    /// Where the altitudes come from.
    pub heights: HeightSource,
    /// The levels, lowest first.
    pub levels: Vec<Level>,
    /// What was found wanting in the file and how it was handled.
    pub tally: Tally,
}

impl Sounding {
    /// From the run of the model behind it to its time, s: 0 for a measured one, without end where
    /// that is not known. Of two for the same time the one with less counts.
    pub fn lead_s(&self) -> f64 {
        let lead = |model: &Model| model.lead_s.unwrap_or(f64::INFINITY);
        self.model.as_ref().map_or(0.0, lead)
    }

    /// How high its winds go, m, and how many levels have one: of two of the same ascent, as where a first part is sent
    /// early, the one with more counts.
    pub fn reach(&self) -> (f64, usize) {
        let mut winds = self.levels.iter().filter(|level| level.wind.is_some());
        let count = winds.clone().count();
        let top_m = winds.next_back().map(|level| level.altitude_m);
        (top_m.unwrap_or(f64::NEG_INFINITY), count)
    }

    /// The other way round than [`Sounding::reach`], so that the fuller one comes first.
    pub fn fuller_first(&self, other: &Sounding) -> Ordering {
        let (ours, others) = (self.reach(), other.reach());
        others.0.total_cmp(&ours.0).then(others.1.cmp(&ours.1))
    }
}

/// What a reader found wanting, counted.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Tally {
    /// Lines or rows of levels read.
    pub rows: usize,
    /// Values that were fillers (9999, -9999, 99999, NaN, blank) and so are missing.
    pub fillers: usize,
    /// Values outside any physical range, or heights that the pressure beside them contradicts,
    /// taken as missing.
    pub out_of_range: usize,
    /// Rows dropped because they had neither height nor pressure, or nothing else.
    pub unusable: usize,
    /// Rows dropped because their height repeats another's.
    pub repeated: usize,
    /// Rows that were out of order and have been sorted.
    pub unsorted: usize,
    /// Rows dropped because they belong to a descent after the ascent.
    pub descent: usize,
    /// Calm winds without a direction, taken as calm.
    pub calm: usize,
    /// Levels whose height was computed from pressure.
    pub heights_computed: usize,
    /// Comment lines skipped.
    pub comments: usize,
    /// Whether a byte-order mark was skipped.
    pub byte_order_mark: bool,
    /// What was assumed in reading; in JSON in words.
    #[serde(serialize_with = "in_words")]
    pub assumed: Vec<Reading>,
    /// Columns or levels of the ascent that were left out, and why, in words.
    pub left_out: Vec<String>,
    /// Whole ascents of the file that were left out, and why: with the first that was not; in JSON in words.
    #[serde(serialize_with = "in_words")]
    pub lost: Vec<LeftOut>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn direction_is_where_the_wind_comes_from() {
        let north = Wind::from_direction(5.0, 360.0);
        assert!((north.north_m_s + 5.0).abs() < 1e-12);
        assert_eq!(
            Wind {
                east_m_s: 0.0,
                north_m_s: -5.0
            }
            .from_deg(),
            360.0
        );
        assert_eq!(
            Wind {
                east_m_s: 0.0,
                north_m_s: 0.0
            }
            .from_deg(),
            0.0
        );
        for from in [1.0, 90.0, 180.0, 225.0, 359.0] {
            let back = Wind::from_direction(7.0, from);
            assert!((back.from_deg() - from).abs() < 1e-9);
            assert!((back.speed_m_s() - 7.0).abs() < 1e-12);
        }
    }
}

//! What is kept of one release: a line of a part.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::choice::answer::{Day, ReleaseRow, Strains, Verdict};
use crate::choice::reason::Reason;
use crate::error::{Error, Missing};
use crate::geodesy::Position;
use crate::zone::releases::TriedRelease;

/// The limit that a release is beyond, or nearest to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Decides {
    /// How far it drifts.
    Drift,
    /// Wind or gusts at the ground.
    SurfaceWind,
    /// What is to be kept clear of.
    KeepOut,
    /// Landing in water.
    Water,
    /// Daylight after the landing.
    Daylight,
    /// A release in the dark.
    DarkRelease,
}

impl Decides {
    /// All of them.
    pub const ALL: [Decides; 6] = [
        Decides::Drift,
        Decides::SurfaceWind,
        Decides::KeepOut,
        Decides::Water,
        Decides::Daylight,
        Decides::DarkRelease,
    ];

    fn of(reason: &Reason) -> Option<Decides> {
        Some(match reason {
            Reason::Drift { .. } => Decides::Drift,
            Reason::SurfaceWind { .. } | Reason::Gusts { .. } => Decides::SurfaceWind,
            Reason::Hits { .. } | Reason::AllHits { .. } => Decides::KeepOut,
            Reason::Water { .. } => Decides::Water,
            Reason::Daylight { .. } | Reason::Dark { .. } => Decides::Daylight,
            Reason::DarkRelease { .. } => Decides::DarkRelease,
            _ => return None,
        })
    }

    /// The limits that a release is beyond.
    fn broken(strains: &Strains) -> Vec<Decides> {
        // One limit to those who count: of one thing or of all, whichever is worse.
        let hits = strains
            .hits
            .into_iter()
            .chain(strains.all_hits)
            .reduce(f64::max);
        let all = [
            strains.drift,
            strains.wind,
            hits,
            strains.water,
            strains.daylight,
            strains.dark_release,
        ];
        let numbered = Decides::ALL.into_iter().zip(all);
        let broken = numbered.filter(|(_, share)| share.is_some_and(|share| share > 1.0));
        broken.map(|(limit, _)| limit).collect()
    }
}

/// Why nothing is known of a release.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unknown {
    /// Flights left the region of the winds.
    LeftRegion,
    /// Flights left the hours of the winds, or these have none for the release.
    LeftHours,
    /// The sounding is too old.
    OldWinds,
    /// The sounding is too far away.
    DistantWinds,
    /// Too many flights came down where the ground was not read.
    OffMap,
    /// It could not be flown for another reason, as a balloon that does not burst.
    NotFlown,
}

impl Unknown {
    /// All of them.
    pub const ALL: [Unknown; 6] = [
        Unknown::LeftRegion,
        Unknown::LeftHours,
        Unknown::OldWinds,
        Unknown::DistantWinds,
        Unknown::OffMap,
        Unknown::NotFlown,
    ];
}

/// One release from one field. Lengths are rounded to metres, angles to tenths of a degree, shares to
/// what draws can tell: less than that differs from machine to machine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Release {
    /// The field, by its number.
    #[serde(rename = "f")]
    pub field: usize,
    /// When, s since 1970 in UTC.
    #[serde(rename = "t")]
    pub at_s: i64,
    /// What is thought of it.
    #[serde(rename = "v")]
    pub verdict: Verdict,
    /// The limit it is beyond, or nearest to.
    #[serde(rename = "by", default, skip_serializing_if = "Option::is_none")]
    pub decides: Option<Decides>,
    /// All limits that it is beyond.
    #[serde(rename = "beyond", default, skip_serializing_if = "Vec::is_empty")]
    pub broken: Vec<Decides>,
    /// Why nothing is known of it.
    #[serde(rename = "unknown", default, skip_serializing_if = "Option::is_none")]
    pub unknown: Option<Unknown>,
    /// Draws that came down.
    #[serde(rename = "n")]
    pub landed: u64,
    /// Draws that left the region of the winds.
    #[serde(rename = "nr", default, skip_serializing_if = "is_zero")]
    pub left_region: u64,
    /// Draws that left their hours.
    #[serde(rename = "nh", default, skip_serializing_if = "is_zero")]
    pub left_hours: u64,
    /// The numbers, if it came down at all.
    #[serde(rename = "d", default, skip_serializing_if = "Option::is_none")]
    pub numbers: Option<Numbers>,
}

/// Numbers of a release that was flown.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Numbers {
    /// Latitude and longitude of the centre of the landings, degrees.
    #[serde(rename = "at")]
    pub center: [f64; 2],
    /// From the field to it, m.
    #[serde(rename = "m")]
    pub drift_m: f64,
    /// In which direction, degrees clockwise from true north.
    #[serde(rename = "to")]
    pub azimuth_deg: f64,
    /// Area of the 90 % ellipse, km2.
    #[serde(rename = "km2", default, skip_serializing_if = "Option::is_none")]
    pub area_km2: Option<f64>,
    /// The strongest wind at the ground of the hour before the release, m/s.
    #[serde(rename = "w", default, skip_serializing_if = "Option::is_none")]
    pub surface_m_s: Option<f64>,
    /// Daylight after the landing, s.
    #[serde(rename = "light", default, skip_serializing_if = "Option::is_none")]
    pub daylight_s: Option<f64>,
    /// Share of the draws in the areas to land in, or in the target.
    #[serde(rename = "in", default, skip_serializing_if = "Option::is_none")]
    pub land_in: Option<f64>,
    /// Share of draws on each kind of thing, in the order of the plan's buffers; `None` where nothing is
    /// known of it.
    #[serde(rename = "hits")]
    pub hits: Vec<Option<f64>>,
    /// Share of draws on any thing to keep clear of.
    #[serde(rename = "any")]
    pub any: f64,
    /// Share of draws in water.
    #[serde(rename = "water")]
    pub water: f64,
}

fn is_zero(n: &u64) -> bool {
    *n == 0
}

/// To a number of decimals.
fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (value * scale).round() / scale
}

impl Numbers {
    fn of(day: &Day) -> Numbers {
        let share = |share: f64| rounded(share, 6);
        Numbers {
            center: [
                rounded(day.center.lat_deg, 5),
                rounded(day.center.lon_deg, 5),
            ],
            drift_m: rounded(day.distance_m, 0),
            azimuth_deg: rounded(day.azimuth_deg, 1),
            area_km2: day.area_m2.map(|m2| rounded(m2 / 1e6, 1)),
            surface_m_s: day.surface_m_s().map(|speed| rounded(speed, 2)),
            daylight_s: day.daylight_s.map(|s| rounded(s, 0)),
            land_in: day.land_in.map(share),
            hits: day.hazards.iter().map(|h| h.share.map(share)).collect(),
            any: share(day.all_hazards.share),
            water: share(day.water.any.share),
        }
    }

    /// The centre of the landings.
    pub fn center(&self) -> Position {
        let [lat_deg, lon_deg] = self.center;
        Position { lat_deg, lon_deg }
    }
}

impl Release {
    /// Of a release that was tried and judged; `draws` were to be flown.
    pub fn of(field: usize, tried: &TriedRelease, row: &ReleaseRow, draws: u64) -> Release {
        let (landed, left_region, left_hours) = match &tried.1 {
            Ok(flown) => (
                flown.landings.len() as u64,
                (flown.left - flown.left_hours) as u64,
                flown.left_hours as u64,
            ),
            // A release that lacks winds from the beginning counts with all its draws.
            Err(Error::NoWinds { missing, .. }) => match missing {
                Missing::Region => (0, draws, 0),
                Missing::Hours => (0, 0, draws),
            },
            Err(_) => (0, 0, 0),
        };
        Release {
            field,
            at_s: row.release.as_second(),
            verdict: row.verdict,
            decides: Decides::of(&row.reason),
            broken: Decides::broken(&row.strains),
            unknown: (row.verdict == Verdict::Unknown)
                .then(|| why_unknown(&row.reason, left_region, left_hours)),
            landed,
            left_region,
            left_hours,
            numbers: row.day.as_ref().map(Numbers::of),
        }
    }

    /// Of a release for which there are no winds at all.
    pub fn without_winds(field: usize, at: Timestamp, draws: u64) -> Release {
        Release {
            field,
            at_s: at.as_second(),
            verdict: Verdict::Unknown,
            decides: None,
            broken: Vec::new(),
            unknown: Some(Unknown::LeftHours),
            landed: 0,
            left_region: 0,
            left_hours: draws,
            numbers: None,
        }
    }

    /// When.
    pub fn at(&self) -> Timestamp {
        Timestamp::from_second(self.at_s).unwrap_or(Timestamp::UNIX_EPOCH)
    }

    /// Whether it is within all limits, be it near one.
    pub fn is_usable(&self) -> bool {
        matches!(self.verdict, Verdict::WithinLimits | Verdict::NearLimit)
    }

    /// Whether nothing is known of it.
    pub fn is_unknown(&self) -> bool {
        self.verdict == Verdict::Unknown
    }
}

fn why_unknown(reason: &Reason, left_region: u64, left_hours: u64) -> Unknown {
    match reason {
        Reason::OldWinds { .. } => Unknown::OldWinds,
        Reason::DistantWinds { .. } => Unknown::DistantWinds,
        Reason::OffMap { .. } => Unknown::OffMap,
        _ if left_region + left_hours == 0 => Unknown::NotFlown,
        // By what most draws lacked.
        _ if left_hours > left_region => Unknown::LeftHours,
        _ => Unknown::LeftRegion,
    }
}

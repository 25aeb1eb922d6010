//! What decides about a release or a site, as data.

use jiff::Timestamp;
use serde::Serialize;

use crate::ground::site::SiteFinding;

/// Water by what it belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum InWhat {
    /// The sea.
    Sea,
    /// Lakes.
    Lake,
    /// Rivers.
    River,
}

/// The one reason that decides.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Reason {
    /// The wind at the ground.
    SurfaceWind {
        /// The wind, m/s.
        speed_m_s: f64,
        /// Its limit, m/s.
        limit_m_s: f64,
    },
    /// Gusts at the ground, beyond what the limit of the wind allows for.
    Gusts {
        /// The gusts, m/s.
        gust_m_s: f64,
        /// One and a half times the limit of the wind, m/s.
        limit_m_s: f64,
    },
    /// How far the landings are.
    Drift {
        /// How far, m.
        distance_m: f64,
        /// The limit, m.
        limit_m: f64,
    },
    /// What the draws hit.
    Hits {
        /// The thing to keep clear of that most of them hit.
        hazard: String,
        /// The share that does.
        share: f64,
        /// The limit of that share.
        limit_share: f64,
    },
    /// What the draws hit of all the things to keep clear of.
    AllHits {
        /// The share that hits at least one.
        share: f64,
        /// The limit of that share.
        limit_share: f64,
    },
    /// The landings in water.
    Water {
        /// The water that most of them are in.
        kind: InWhat,
        /// The share in any.
        share: f64,
        /// The limit of that share.
        limit_share: f64,
    },
    /// The release is in the dark, and the plan does not allow that.
    DarkRelease {
        /// When it is.
        release: Timestamp,
        /// When the sun rises at the site that day.
        sunrise: Option<Timestamp>,
        /// When it sets.
        sunset: Option<Timestamp>,
    },
    /// The daylight left after the landing.
    Daylight {
        /// What is left, s.
        left_s: f64,
        /// The least wanted, s.
        limit_s: f64,
    },
    /// It is dark at the landing.
    Dark {
        /// When 95 % of the draws have landed.
        latest_landing: Timestamp,
        /// The least daylight wanted after it, s.
        limit_s: f64,
    },
    /// Too many draws leave the winds.
    LeavesWinds {
        /// The share that does.
        share: f64,
        /// The limit of that share.
        limit_share: f64,
    },
    /// The sounding is too old.
    OldWinds {
        /// How old it is at the release, s; less than 0 for one made after it.
        age_s: f64,
        /// How old one may be, s.
        limit_s: f64,
    },
    /// The sounding is too far away.
    DistantWinds {
        /// From the site to the nearest, m.
        distance_m: f64,
        /// How far one may be, m.
        limit_m: f64,
    },
    /// Too many draws come down where the ground was not read.
    OffMap {
        /// The share that does.
        share: f64,
        /// The limit of that share.
        limit_share: f64,
    },
    /// The release could not be flown.
    NotFlown {
        /// Whether for want of winds; else the stack or the site cannot do it.
        wants_winds: bool,
        /// Why not, as the error has it.
        why: String,
    },
    /// There is no place upwind of the target where one may launch.
    NoLaunchPlace,
    /// From every place where one may launch, no draw comes down in the target.
    TargetMissed,
    /// No release was tried.
    NothingTried,
    /// Something is nearer to the site than it should be.
    TooNearSite {
        /// What, and how near.
        finding: SiteFinding,
    },
}

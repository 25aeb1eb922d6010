//! What decides about a release or a site, as data.

use serde::Serialize;

use crate::ground::site::SiteFinding;

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
    /// The daylight left after the landing.
    Daylight {
        /// What is left, s.
        left_s: f64,
        /// The least wanted, s.
        limit_s: f64,
    },
    /// It is dark at the landing.
    Dark,
    /// Too many draws leave the winds.
    LeavesWinds {
        /// The share that does.
        share: f64,
    },
    /// The release could not be flown.
    NotFlown {
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

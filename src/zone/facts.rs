//! What people want to know about a landing zone besides the zone itself.

use jiff::Timestamp;
use serde::Serialize;

use crate::geodesy::Position;
use crate::notes::NoLanding;
use crate::numeric::Quantiles;
use crate::spread::members::MemberSpread;

/// The facts behind a landing zone: all decided, nothing left to compute.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Facts {
    /// The flight's name; may be empty.
    pub name: String,
    /// The filled balloon, when the plan describes one.
    pub balloon: Option<BalloonFacts>,
    /// Mean rate of ascent from release to burst, m/s.
    pub mean_rate_m_s: f64,
    /// Speed of fall at the landing, m/s.
    pub touchdown_speed_m_s: f64,
    /// Energy of the whole load at that speed, J, when the plan says what it weighs.
    pub touchdown_energy_j: Option<f64>,
    /// The winds used.
    pub wind: WindFacts,
    /// What the members of an ensemble differ by, if there is one.
    pub members: Option<MemberSpread>,
    /// Burst altitude that 5, 50 and 95 % of the draws stay below, m above mean sea level.
    pub burst_quantiles_m: Quantiles<f64>,
    /// Landing time that 5, 50 and 95 % of the draws come down before.
    pub landing_quantiles: Quantiles<Timestamp>,
    /// The balloons that burst early, if any of the draws does.
    pub early_bursts: Option<EarlyBursts>,
    /// Radius of the circle around the centre that holds half of the landings, m.
    pub half_circle_m: f64,
    /// What tells the height of the ground at the landings.
    pub landed_on: Vec<LandedOn>,
    /// Draws that came down.
    pub landed: usize,
    /// Draws that did not.
    pub missed: Vec<Missed>,
}

/// What tells the height of the ground at some of the landings; in JSON a list of both.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(into = "(Option<String>, f64)")]
pub struct LandedOn {
    /// The file, or the forecast's own ground; `None` is the elevation of the site.
    pub source: Option<String>,
    /// The share of the draws that land there.
    pub share: f64,
}

impl From<LandedOn> for (Option<String>, f64) {
    fn from(on: LandedOn) -> Self {
        (on.source, on.share)
    }
}

/// Draws that did not come down for one reason.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Missed {
    /// The reason.
    pub why: NoLanding,
    /// How many.
    pub draws: usize,
}

/// What becomes of the flights whose balloon bursts early.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EarlyBursts {
    /// Their share of the draws that came down.
    pub share: f64,
    /// The middle of their landings.
    pub center: Position,
    /// Radius of the circle around it that holds half of them, m.
    pub half_circle_m: f64,
    /// Burst altitude that 5, 50 and 95 % of them stay below, m above mean sea level.
    pub burst_quantiles_m: Quantiles<f64>,
    /// Landing time that 5, 50 and 95 % of them come down before.
    pub landing_quantiles: Quantiles<Timestamp>,
}

/// A filled balloon.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BalloonFacts {
    /// Mass of everything below the neck, kg.
    pub load_kg: f64,
    /// Lift at the neck, kg.
    pub neck_lift_kg: f64,
    /// Lift beyond the load, kg.
    pub free_lift_kg: f64,
    /// Volume of gas at the site, m3.
    pub volume_m3: f64,
    /// Diameter at release, m.
    pub release_diameter_m: f64,
    /// Diameter at the burst, m, if the burst goes by it.
    pub burst_diameter_m: Option<f64>,
}

/// The winds a zone was made with.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WindFacts {
    /// The files.
    pub files: Vec<String>,
    /// What is in them.
    pub source: WindSource,
    /// The altitudes with a wind.
    pub covered_m: Covered,
    /// How long the planned flight is above the highest wind, s.
    pub above_s: f64,
    /// How long it is below the lowest, s.
    pub below_s: f64,
    /// Standard deviation of each component of the wind's error by altitude; empty when the winds are taken as exact.
    pub sigma: Vec<SigmaAt>,
    /// The independent parts of that error.
    pub error_parts: Vec<ErrorPartFacts>,
    /// Standard deviation of each component of the landing's error by the wind alone, m.
    pub drift_sigma_m: f64,
    /// The same with a forecast of twelve hours in place of these winds, m.
    pub new_forecast_drift_sigma_m: f64,
}

/// Altitudes with a wind, m above mean sea level; in JSON a list of both.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(into = "[f64; 2]")]
pub struct Covered {
    /// The lowest.
    pub base_m: f64,
    /// The highest.
    pub top_m: f64,
}

impl From<Covered> for [f64; 2] {
    fn from(covered: Covered) -> Self {
        [covered.base_m, covered.top_m]
    }
}

/// How wrong the wind may be at an altitude; in JSON a list of both.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(into = "[f64; 2]")]
pub struct SigmaAt {
    /// Above mean sea level, m.
    pub altitude_m: f64,
    /// Standard deviation of each component, m/s.
    pub sigma_m_s: f64,
}

impl From<SigmaAt> for [f64; 2] {
    fn from(at: SigmaAt) -> Self {
        [at.altitude_m, at.sigma_m_s]
    }
}

/// One part of the wind's error.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ErrorPartFacts {
    /// How far it reaches in height, m.
    pub correlation_length_m: f64,
    /// What it alone moves each component of the landing by, one standard deviation, m.
    pub drift_sigma_m: f64,
}

/// The model behind a profile.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ModelFacts {
    /// As the file names it.
    pub name: String,
    /// The time of the run, if known.
    pub run: Option<Timestamp>,
    /// From the run to the time of the profile, s.
    pub lead_s: Option<f64>,
}

/// Where winds come from.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum WindSource {
    /// One sounding.
    Sounding {
        /// The station or site; may be empty.
        station: String,
        /// Where it was made.
        position: Option<Position>,
        /// When it was made.
        time: Option<Timestamp>,
        /// Its age at release, s; negative when made afterwards.
        age_s: Option<f64>,
        /// From the site, m.
        distance_m: Option<f64>,
        /// The model that computed it; `None` for a measured one.
        model: Option<ModelFacts>,
    },
    /// Several soundings.
    Soundings {
        /// From this many places.
        stations: usize,
        /// This many altogether.
        soundings: usize,
        /// The first.
        from: Option<Timestamp>,
        /// The last.
        to: Option<Timestamp>,
        /// Age of the one nearest to the release, s; negative when made afterwards.
        age_s: Option<f64>,
        /// From the site to the nearest, m.
        distance_m: Option<f64>,
        /// The model that computed the one nearest to the release; `None` for a measured one.
        model: Option<ModelFacts>,
    },
    /// A forecast, analysis or reanalysis on a grid.
    Forecast {
        /// The time of the run, if known.
        run: Option<Timestamp>,
        /// From the run to the release, s.
        lead_s: Option<f64>,
        /// The first time.
        from: Option<Timestamp>,
        /// The last time.
        to: Option<Timestamp>,
        /// How many times.
        steps: usize,
        /// Region and spacing, in words.
        region: String,
        /// How many levels.
        levels: usize,
        /// How many members; 0 where there is no ensemble.
        members: usize,
    },
}

impl WindSource {
    /// Whether the winds are of one time, so that nobody knows how they change.
    pub fn is_of_one_time(&self) -> bool {
        match self {
            WindSource::Sounding { .. } => true,
            WindSource::Soundings { from, to, .. } => from == to,
            WindSource::Forecast { steps, .. } => *steps == 1,
        }
    }

    /// Age of a sounding at release, s.
    pub fn age_s(&self) -> Option<f64> {
        match self {
            WindSource::Sounding { age_s, .. } | WindSource::Soundings { age_s, .. } => *age_s,
            WindSource::Forecast { .. } => None,
        }
    }

    /// From the run of a forecast to the release, s.
    pub fn lead_s(&self) -> Option<f64> {
        match self {
            WindSource::Forecast { lead_s, .. } => *lead_s,
            _ => Some(self.model()?.lead_s? + self.age_s()?),
        }
    }

    /// The model behind a profile; `None` for measured soundings, and for forecasts on a grid.
    pub fn model(&self) -> Option<&ModelFacts> {
        match self {
            WindSource::Sounding { model, .. } | WindSource::Soundings { model, .. } => {
                model.as_ref()
            }
            WindSource::Forecast { .. } => None,
        }
    }

    /// From the site to the sounding, or to the nearest of several, m.
    pub fn distance_m(&self) -> Option<f64> {
        match self {
            WindSource::Sounding { distance_m, .. } | WindSource::Soundings { distance_m, .. } => {
                *distance_m
            }
            WindSource::Forecast { .. } => None,
        }
    }
}

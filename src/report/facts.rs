//! What people want to know about a landing zone besides the zone itself.

use jiff::Timestamp;
use serde::Serialize;

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
    /// The winds used.
    pub wind: WindFacts,
    /// Burst altitude that 5, 50 and 95 % of the draws stay below, m above mean sea level.
    pub burst_quantiles_m: [f64; 3],
    /// Landing time that 5, 50 and 95 % of the draws come down before.
    pub landing_quantiles: [Timestamp; 3],
    /// Radius of the circle around the centre that holds half of the landings, m.
    pub half_circle_m: f64,
    /// Draws that came down.
    pub landed: usize,
    /// Draws that did not, with the reason.
    pub missed: Vec<(String, usize)>,
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
    /// The file.
    pub file: String,
    /// The station or site in it; may be empty.
    pub station: String,
    /// When they were measured.
    pub time: Option<Timestamp>,
    /// Their age at release, s; negative when measured afterwards.
    pub age_s: Option<f64>,
    /// Lowest and highest altitude with a wind, m above mean sea level.
    pub covered_m: (f64, f64),
    /// How long the planned flight is above the highest wind, s.
    pub above_s: f64,
    /// How long it is below the lowest, s.
    pub below_s: f64,
    /// Standard deviation of each component of the wind's error by altitude, m and m/s; empty
    /// when the winds are taken as exact.
    pub sigma: Vec<(f64, f64)>,
    /// How far errors reach in height, m.
    pub correlation_length_m: f64,
    /// Standard deviation of each component of the landing's error by the wind alone, m.
    pub drift_sigma_m: f64,
}

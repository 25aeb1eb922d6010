//! Verdicts on releases and sites, their reasons and their limits, in words.

use crate::choice::answer::{LaunchesIn, Verdict};
use crate::choice::reason::Reason;
use crate::choice::verdict::Limits;
use crate::ground::site::{SiteFinding, SiteVerdict};
use crate::units::{UnitSystem, duration};

/// A verdict in a word or two.
pub fn verdict_name(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fly => "fly",
        Verdict::Marginal => "marginal",
        Verdict::DoNot => "don't",
        Verdict::Unknown => "unknown",
    }
}

/// A sign for a verdict that reads without colour.
pub fn verdict_sign(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fly => "+",
        Verdict::Marginal => "~",
        Verdict::DoNot => "x",
        Verdict::Unknown => "?",
    }
}

/// The reason that decides.
pub fn reason(reason: &Reason, units: UnitSystem) -> String {
    match reason {
        Reason::SurfaceWind { speed_m_s, .. } => {
            format!("wind at the ground {}", units.speed(*speed_m_s))
        }
        Reason::Drift { distance_m, .. } => format!("drift {}", units.distance(*distance_m)),
        Reason::Hits { hazard, share, .. } => {
            format!("{hazard}: {:.1} % of the draws", 100.0 * share)
        }
        Reason::Daylight { left_s, .. } => format!("daylight left {}", duration(*left_s)),
        Reason::Dark => "dark at the landing".to_owned(),
        Reason::LeavesWinds { share } => {
            format!("{:.1} % of the draws leave the winds", 100.0 * share)
        }
        Reason::NotFlown { why } => why.clone(),
        Reason::NoLaunchPlace => {
            "there is no place upwind of the target where one may launch".to_owned()
        }
        Reason::TargetMissed => {
            "no draw from a place where one may launch comes down in the target".to_owned()
        }
        Reason::NothingTried => "no release was tried".to_owned(),
        Reason::TooNearSite { finding } => format!("site: {}", site_finding(finding, units)),
    }
}

/// A finding at a site, as in "small airport: 3.1 km away, 4.0 km wanted".
pub fn site_finding(finding: &SiteFinding, units: UnitSystem) -> String {
    let wanted = units.distance(finding.limit_m);
    match (finding.nearest_m, finding.verdict) {
        (Some(near), SiteVerdict::TooNear) => format!(
            "{}: {} away, {wanted} wanted ({})",
            finding.name,
            units.distance(near),
            finding.reason
        ),
        (Some(near), _) => format!("{}: {} away", finding.name, units.distance(near)),
        (None, _) => format!("{}: none in the region", finding.name),
    }
}

/// The limits that releases are judged by.
pub fn limits(limits: &Limits, units: UnitSystem) -> Vec<String> {
    let drift = limits.max_drift_m.map_or_else(
        || "drift not limited".to_owned(),
        |m| format!("drift at most {}", units.distance(m)),
    );
    vec![
        format!(
            "wind at the ground at most {}",
            units.speed(limits.surface_wind_m_s)
        ),
        drift,
        format!(
            "at most {:.1} % of the draws on any one thing to keep clear of",
            100.0 * limits.keep_out_probability
        ),
        format!(
            "at least {} of daylight after the landing",
            duration(limits.daylight_s)
        ),
    ]
}

/// Where launches were looked for.
pub fn launches(within: &LaunchesIn) -> &'static str {
    match within {
        LaunchesIn::Anywhere => "anywhere: whether one may launch there is not known",
        LaunchesIn::Areas => "within the areas given",
        LaunchesIn::Roads => "on roads",
        LaunchesIn::RoadsInAreas => "on roads within the areas given",
    }
}

//! From numbers and limits to a verdict with the one reason that decides.

use super::answer::{Day, Verdict};
use crate::ground::site::{SiteFinding, SiteVerdict};
use crate::notes::Assumption;
use crate::plan::LimitsPlan;
use crate::units::{UnitSystem, duration};

/// Limits to judge by; each a largest value, but daylight a least.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Wind at the ground, m/s.
    pub surface_wind_m_s: f64,
    /// Share of draws on any one thing to keep clear of.
    pub keep_out_probability: f64,
    /// Distance from the site to the centre of the landings, m, if limited.
    pub max_drift_m: Option<f64>,
    /// Daylight after the landing, s.
    pub daylight_s: f64,
}

/// Assumed where a plan gives nothing: wind and daylight by common practice (no source), the share
/// by judgement.
const ASSUMED: Limits = Limits {
    surface_wind_m_s: 4.0,
    keep_out_probability: 0.02,
    max_drift_m: None,
    daylight_s: 7_200.0,
};

impl Limits {
    /// The plan's, with what is assumed where it gives nothing.
    pub fn of(plan: &LimitsPlan, units: UnitSystem, assumed: &mut Vec<Assumption>) -> Limits {
        let mut limits = ASSUMED;
        match plan.surface_wind_m_s {
            Some(given) => limits.surface_wind_m_s = given,
            None => assumed.push(
                format!(
                    "limit of the wind at the ground: {}, assumed",
                    units.speed(limits.surface_wind_m_s)
                )
                .into(),
            ),
        }
        match plan.keep_out_probability {
            Some(given) => limits.keep_out_probability = given,
            None => assumed.push(format!(
                "limit of the share of draws on any one thing to keep clear of: {:.0} %, assumed",
                100.0 * limits.keep_out_probability
            ).into()),
        }
        match plan.daylight_after_landing_s {
            Some(given) => limits.daylight_s = given,
            None => assumed.push(
                format!(
                    "daylight wanted after the landing: {}, assumed",
                    duration(limits.daylight_s)
                )
                .into(),
            ),
        }
        limits.max_drift_m = plan.max_drift_m;
        limits
    }

    /// The limits in words.
    pub fn in_words(&self, units: UnitSystem) -> Vec<String> {
        let drift = self.max_drift_m.map_or_else(
            || "drift not limited".to_owned(),
            |m| format!("drift at most {}", units.distance(m)),
        );
        vec![
            format!(
                "wind at the ground at most {}",
                units.speed(self.surface_wind_m_s)
            ),
            drift,
            format!(
                "at most {:.1} % of the draws on any one thing to keep clear of",
                100.0 * self.keep_out_probability
            ),
            format!(
                "at least {} of daylight after the landing",
                duration(self.daylight_s)
            ),
        ]
    }
}

/// One number against its limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Strain {
    /// The number as a share of the limit: above 1 it is broken.
    pub share: f64,
    /// In words.
    pub reason: String,
}

/// Every number of a day against its limit, in the order wind, drift, hazard, daylight.
pub fn strains(day: &Day, limits: &Limits, units: UnitSystem) -> Vec<Strain> {
    let mut strains = Vec::new();
    if let Some(wind) = day.surface_m_s() {
        strains.push(Strain {
            share: wind / limits.surface_wind_m_s,
            reason: format!("wind at the ground {}", units.speed(wind)),
        });
    }
    if let Some(most) = limits.max_drift_m {
        strains.push(Strain {
            share: day.distance_m / most,
            reason: format!("drift {}", units.distance(day.distance_m)),
        });
    }
    if let Some(worst) = day.worst_hazard() {
        strains.push(Strain {
            share: worst.share / limits.keep_out_probability.max(1e-9),
            reason: format!("{}: {:.1} % of the draws", worst.name, 100.0 * worst.share),
        });
    }
    let (share, reason) = match day.daylight_s {
        Some(left) if left > 0.0 => (
            limits.daylight_s / left,
            format!("daylight left {}", duration(left)),
        ),
        _ => (f64::INFINITY, "dark at the landing".to_owned()),
    };
    strains.push(Strain { share, reason });
    strains
}

/// The verdict on a day: that of the number nearest to its limit, or farthest beyond it.
pub fn judge(strains: &[Strain]) -> (Verdict, String, f64) {
    let worst = strains.iter().max_by(|a, b| a.share.total_cmp(&b.share));
    let Some(worst) = worst else {
        return (
            Verdict::Unknown,
            "nothing to judge by".into(),
            f64::INFINITY,
        );
    };
    (
        Verdict::of_strain(worst.share),
        worst.reason.clone(),
        worst.share,
    )
}

/// A finding at a site, as in "small airport: 3.1 km away, 4.0 km wanted".
pub fn site_in_words(finding: &SiteFinding, units: UnitSystem) -> String {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn strain(share: f64) -> Strain {
        Strain {
            share,
            reason: format!("{share}"),
        }
    }

    #[test]
    fn the_worst_number_decides() {
        let verdict = |shares: &[f64]| {
            let strains: Vec<Strain> = shares.iter().map(|s| strain(*s)).collect();
            let (verdict, reason, _) = judge(&strains);
            (verdict, reason)
        };
        assert_eq!(verdict(&[0.1, 0.8]), (Verdict::Fly, "0.8".into()));
        assert_eq!(verdict(&[0.1, 0.81]), (Verdict::Marginal, "0.81".into()));
        assert_eq!(verdict(&[1.0, 0.2]), (Verdict::Marginal, "1".into()));
        assert_eq!(verdict(&[0.5, 1.01]), (Verdict::DoNot, "1.01".into()));
        assert_eq!(verdict(&[f64::INFINITY, 0.2]).0, Verdict::DoNot);
        assert_eq!(verdict(&[]).0, Verdict::Unknown);
    }
}

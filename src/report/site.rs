//! What a check of a site found, in words.

use serde::Serialize;

use crate::units::UnitSystem;

/// What follows from one limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SiteVerdict {
    /// Farther than the limit.
    FarEnough,
    /// Nearer than the limit.
    TooNear,
    /// No layer tells, or only a coarse one.
    Unknown,
}

/// One limit checked at a site.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SiteFinding {
    /// What.
    pub name: String,
    /// How far it should be, m.
    pub limit_m: f64,
    /// Why so far.
    pub reason: String,
    /// How far the nearest is, m, if there is one in the region.
    pub nearest_m: Option<f64>,
    /// What follows.
    pub verdict: SiteVerdict,
}

impl SiteFinding {
    /// As in "small airport: 3.1 km away, 4.0 km wanted".
    pub fn in_words(&self, units: UnitSystem) -> String {
        let wanted = units.distance(self.limit_m);
        match (self.nearest_m, self.verdict) {
            (Some(near), SiteVerdict::TooNear) => format!(
                "{}: {} away, {wanted} wanted ({})",
                self.name,
                units.distance(near),
                self.reason
            ),
            (Some(near), _) => format!("{}: {} away", self.name, units.distance(near)),
            (None, _) => format!("{}: none in the region", self.name),
        }
    }
}

/// The findings in lines: what is too near, what is far enough, what is not known.
pub fn lines(findings: &[SiteFinding], units: UnitSystem) -> Vec<String> {
    let of = |verdict: SiteVerdict| findings.iter().filter(move |f| f.verdict == verdict);
    let mut lines: Vec<String> = of(SiteVerdict::TooNear)
        .map(|f| format!("too near, {}", f.in_words(units)))
        .collect();
    let fine: Vec<String> = of(SiteVerdict::FarEnough)
        .map(|f| f.in_words(units))
        .collect();
    if !fine.is_empty() {
        lines.push(format!("far enough, {}", fine.join("; ")));
    }
    let unknown: Vec<&str> = of(SiteVerdict::Unknown).map(|f| f.name.as_str()).collect();
    if !unknown.is_empty() {
        lines.push(format!(
            "not known (no layer given, or only the coarse built-in map): {}. Look for yourself.",
            unknown.join(", ")
        ));
    }
    lines
        .push("The distances wanted are assumed: local rules and the authority decide.".to_owned());
    lines
}

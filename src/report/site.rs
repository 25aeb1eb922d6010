//! What a check of a site found, in words.

use super::reasons::site_finding;
use crate::ground::site::{SiteFinding, SiteVerdict};
use crate::units::UnitSystem;

/// The findings in lines: what is too near, what is far enough, what is not known.
pub fn lines(findings: &[SiteFinding], units: UnitSystem) -> Vec<String> {
    let of = |verdict: SiteVerdict| findings.iter().filter(move |f| f.verdict == verdict);
    let mut lines: Vec<String> = of(SiteVerdict::TooNear)
        .map(|f| format!("too near, {}", site_finding(f, units)))
        .collect();
    let fine: Vec<String> = of(SiteVerdict::FarEnough)
        .map(|f| site_finding(f, units))
        .collect();
    if !fine.is_empty() {
        lines.push(format!("far enough, {}", fine.join("; ")));
    }
    let unknown: Vec<&str> = of(SiteVerdict::Unknown).map(|f| f.name.as_str()).collect();
    if !unknown.is_empty() {
        lines.push(format!(
            "not known (no layer given, one that ends too near, or only the coarse built-in map): {}. Look for yourself.",
            unknown.join(", ")
        ));
    }
    lines
        .push("The distances wanted are assumed where the plan gives none: local rules and the authority decide.".to_owned());
    lines
}

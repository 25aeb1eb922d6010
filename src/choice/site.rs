//! A site against what should not be near it.

use super::ground::site_limits;
use crate::geodesy::Position;
use crate::ground::map::GroundMap;
use crate::ground::site::{Verdict, check};
use crate::plan::GroundPlan;
use crate::report::site::{SiteFinding, SiteVerdict};

/// The plan's limits, else the default ones, checked at a site.
pub fn checked(plan: &GroundPlan, map: &GroundMap, site: Position) -> Vec<SiteFinding> {
    let findings = check(map, site, &site_limits(plan));
    let told = findings.into_iter().map(|finding| SiteFinding {
        name: finding.limit.class.name(),
        limit_m: finding.limit.distance_m,
        reason: finding.limit.reason,
        nearest_m: finding.nearest_m,
        verdict: match finding.verdict {
            Verdict::Fine => SiteVerdict::FarEnough,
            Verdict::TooNear => SiteVerdict::TooNear,
            Verdict::Unknown => SiteVerdict::Unknown,
        },
    });
    told.collect()
}

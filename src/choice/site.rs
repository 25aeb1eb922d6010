//! A site against what should not be near it.

use crate::geodesy::Position;
use crate::ground::map::GroundMap;
use crate::ground::site::{Verdict, check, default_limits};
use crate::report::site::{SiteFinding, SiteVerdict};

/// The default limits checked at a site.
pub fn checked(map: &GroundMap, site: Position) -> Vec<SiteFinding> {
    let findings = check(map, site, &default_limits());
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

//! Why the best is before the second best: what differs, and whether that is more than chance.

use std::f64::consts::PI;

use jiff::Timestamp;
use serde::Serialize;

use super::answer::{ComparedSite, Day, DrawShare, ReleaseRow, Verdict};
use super::reason::Reason;

/// The best two of equal verdict, and what differs between them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WhyBest {
    /// What is thought of both.
    pub verdict: Verdict,
    /// The best: its site, where sites are compared, and its release.
    pub best: Compared,
    /// The second best.
    pub second: Compared,
    /// What differs, in the order of [`Compares`].
    pub differences: Vec<Difference>,
}

/// One of the two.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compared {
    /// The site, where sites are compared.
    pub site: Option<String>,
    /// The release.
    pub release: Timestamp,
    /// Its number that is nearest to a limit, or farthest beyond one: by this the two are ranked.
    pub nearest: Reason,
    /// That number as a share of its limit.
    pub strain: f64,
}

/// A number of two releases.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Difference {
    /// Which number.
    pub of: Compares,
    /// That of the best, in SI units.
    pub best: f64,
    /// That of the second best.
    pub second: f64,
    /// The sampling error of the difference, one standard deviation; 0 where no draws are behind it. The
    /// same draws fly in both, so it is rather less than this.
    pub standard_error: f64,
    /// Whether the difference is larger than twice that.
    pub is_sure: bool,
}

/// What is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Compares {
    /// The wind at the ground, m/s.
    SurfaceWindMS,
    /// The drift, m.
    DriftM,
    /// The share on the thing to keep clear of that most draws hit.
    HitShare,
    /// The share on any of them.
    AllHitsShare,
    /// The share in water.
    WaterShare,
    /// The daylight left, s.
    DaylightS,
    /// The area of the 90 % ellipse, m2.
    AreaM2,
}

/// Why the best release is before the second.
pub fn between_releases(rows: &[ReleaseRow], draws: u64) -> Option<WhyBest> {
    let at = |rank: usize| rows.iter().find(|row| row.rank == Some(rank));
    let (best, second) = (at(1)?, at(2)?);
    // Of different verdicts no number has to be compared: the verdict is why.
    if best.verdict != second.verdict {
        return None;
    }
    why([best, second].map(|row| (None, row)), best.verdict, draws)
}

/// Why the best site is before the second, by the best release from each.
pub fn between_sites(sites: &[ComparedSite], draws: u64) -> Option<WhyBest> {
    let at = |rank: usize| sites.iter().find(|site| site.rank == Some(rank));
    let (best, second) = (at(1)?, at(2)?);
    if best.verdict != second.verdict {
        return None;
    }
    let both = [
        (Some(best.name.clone()), best.best_row()?),
        (Some(second.name.clone()), second.best_row()?),
    ];
    why(both, best.verdict, draws)
}

fn why(both: [(Option<String>, &ReleaseRow); 2], verdict: Verdict, draws: u64) -> Option<WhyBest> {
    let days = [both[0].1.day.as_ref()?, both[1].1.day.as_ref()?];
    let [best, second] = both.map(|(site, row)| Compared {
        site,
        release: row.release,
        nearest: row.reason.clone(),
        strain: row.strain,
    });
    Some(WhyBest {
        verdict,
        best,
        second,
        differences: differences(days, draws),
    })
}

/// A number with its sampling error, one standard deviation.
type Sampled = (f64, f64);

fn differences(days: [&Day; 2], draws: u64) -> Vec<Difference> {
    let [best, second] = days.map(|day| numbers(day, draws));
    let both = best.into_iter().zip(second);
    let known = both.filter_map(|((of, best), (_, second))| Some((of, best?, second?)));
    // What is the same in both explains nothing.
    let differs = known.filter(|(_, best, second)| best.0 != second.0);
    differs
        .map(|(of, (best, of_best), (second, of_second))| {
            let standard_error = of_best.hypot(of_second);
            Difference {
                of,
                best,
                second,
                standard_error,
                is_sure: (best - second).abs() > 2.0 * standard_error,
            }
        })
        .collect()
}

/// What is compared of a release, where it is known.
fn numbers(day: &Day, draws: u64) -> [(Compares, Option<Sampled>); 7] {
    // Draws that left the winds tell nothing, so they do not count.
    let root = (draws as f64 * (1.0 - day.left)).max(1.0).sqrt();
    let hit = day.worst_hazard().map(|h| h.share);
    let of_share = |share: f64| (share, (share * (1.0 - share)).sqrt() / root);
    let given = |share: DrawShare| Some((share.share, share.standard_error));
    let late_s = OF_95_PERCENT * landing_sigma_s(day) / root;
    [
        // One wind for all draws: nothing of it is sampled.
        (Compares::SurfaceWindMS, day.surface_m_s().map(|v| (v, 0.0))),
        (
            Compares::DriftM,
            sigma_m(day).map(|sigma| (day.distance_m, sigma / root)),
        ),
        (Compares::HitShare, hit.map(of_share)),
        (Compares::AllHitsShare, given(day.all_hazards)),
        (Compares::WaterShare, given(day.water.any)),
        (Compares::DaylightS, day.daylight_s.map(|s| (s, late_s))),
        (Compares::AreaM2, day.area_m2.map(|m2| (m2, m2 / root))),
    ]
}

/// The standard deviation of the landings to one side, m: that of a round normal pattern whose 90 %
/// ellipse, of radius 2.146 standard deviations, has the same area. The area's own sampling error is
/// 1 / sqrt(n) of it (Anderson 2003, An Introduction to Multivariate Statistical Analysis, 7.5: ln det of a
/// covariance of two has the variance 4 / n, and the area goes with its square root; from memory).
fn sigma_m(day: &Day) -> Option<f64> {
    // 4.605 is 2.146 squared, or -2 ln 0.1.
    Some((day.area_m2? / (PI * 4.605)).sqrt())
}

/// The standard deviation of normal landing times, s, by the half and the 95 % that have come down.
fn landing_sigma_s(day: &Day) -> f64 {
    let apart = day.latest_landing.duration_since(day.landing);
    // The 95 % quantile of a normal, in standard deviations.
    apart.as_secs_f64() / 1.645
}

/// The standard error of the 95 % quantile of normal numbers is this many standard deviations by sqrt(n):
/// sqrt(p (1 - p)) / density.
const OF_95_PERCENT: f64 = 2.113;

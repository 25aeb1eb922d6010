//! Releases, sites and aims compared: everything decided, nothing left to compute.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::basis::Basis;
use super::reason::Reason;
use super::why::WhyBest;
use crate::geodesy::Position;
use crate::ground::site::SiteFinding;
use crate::spread::region::{GroundEllipse, GroundPolygon};
use crate::wind::near_ground::GroundWindFrom;

/// What is thought of a release; the best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within all limits.
    WithinLimits,
    /// Within all limits, but near one.
    NearLimit,
    /// Beyond a limit.
    BeyondLimit,
    /// The winds do not tell.
    Unknown,
}

/// From this share of a limit on a release is near it.
pub const NEAR_FROM: f64 = 0.8;

impl Verdict {
    /// As programs read it.
    pub fn code(self) -> &'static str {
        match self {
            Verdict::WithinLimits => "within_limits",
            Verdict::NearLimit => "near_limit",
            Verdict::BeyondLimit => "beyond_limit",
            Verdict::Unknown => "unknown",
        }
    }

    /// On a number that is so large a share of its limit.
    pub fn of_strain(share: f64) -> Verdict {
        if share > 1.0 {
            Verdict::BeyondLimit
        } else if share > NEAR_FROM {
            Verdict::NearLimit
        } else {
            Verdict::WithinLimits
        }
    }
}

/// Each number of a release as a share of its limit: above 1 it is beyond. None where there is no such
/// number, or no limit; [`DARK`](super::verdict::DARK) for a landing in the dark.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Strains {
    /// Wind at the ground.
    pub wind: Option<f64>,
    /// Drift.
    pub drift: Option<f64>,
    /// Draws on the thing to keep clear of that most of them hit.
    pub hits: Option<f64>,
    /// Draws on any of the things to keep clear of.
    pub all_hits: Option<f64>,
    /// Draws in water.
    pub water: Option<f64>,
    /// Daylight: what is wanted as a share of what is left.
    pub daylight: Option<f64>,
    /// 1 for a release in the dark that the plan does not allow: near the limit, and not beyond it.
    pub dark_release: Option<f64>,
}

/// One release.
#[derive(Debug, Clone, Serialize)]
pub struct ReleaseRow {
    /// When.
    pub release: Timestamp,
    /// What is thought of it.
    pub verdict: Verdict,
    /// The one reason that decides.
    pub reason: Reason,
    /// The deciding number as a share of its limit; infinite when unknown.
    #[serde(skip)]
    pub strain: f64,
    /// Each number as a share of its limit.
    pub strains: Strains,
    /// Its place among those that are known, 1 the best.
    pub rank: Option<usize>,
    /// The numbers, if it could be flown.
    pub day: Option<Day>,
}

/// The numbers of one release.
#[derive(Debug, Clone, Serialize)]
pub struct Day {
    /// From the forecast's run to the release, s, if known.
    pub lead_s: Option<f64>,
    /// Centre of the landings.
    pub center: Position,
    /// From the site to it, m.
    pub distance_m: f64,
    /// Clockwise from true north, degrees.
    pub azimuth_deg: f64,
    /// The named place nearest to it.
    pub place: Option<NearPlace>,
    /// When half of the draws have landed.
    pub landing: Timestamp,
    /// When 95 % have.
    pub latest_landing: Timestamp,
    /// Area of the 90 % ellipse, m2.
    pub area_m2: Option<f64>,
    /// The 90 % ellipse.
    #[serde(skip)]
    pub ellipse: Option<GroundEllipse>,
    /// When the sun rises at the site on the local day of the release.
    pub sunrise: Option<Timestamp>,
    /// When it sets there.
    pub sunset: Option<Timestamp>,
    /// Whether the sun is down at the site at the release.
    pub dark_release: bool,
    /// How old the sounding is at the release, s, where the winds are soundings.
    pub wind_age_s: Option<f64>,
    /// From the site to the nearest sounding, m.
    pub wind_distance_m: Option<f64>,
    /// The wind 10 m above the ground of the site, by hour around the release.
    pub surface: Vec<SurfaceWind>,
    /// What it is from.
    pub surface_from: Option<GroundWindFrom>,
    /// Daylight left after 95 % have landed, s.
    pub daylight_s: Option<f64>,
    /// Share of draws that left the winds.
    pub left: f64,
    /// Share of the draws that came down where the ground was not read.
    #[serde(skip)]
    pub off_map: f64,
    /// Share of draws in the areas to land in, if there are any.
    pub land_in: Option<f64>,
    /// How far 90 % of the landings are at most from a road one may drive on, m, if roads are known.
    pub walk_in_m: Option<f64>,
    /// What the draws hit.
    pub hazards: Vec<Hazard>,
    /// How many hit at least one of the things to keep clear of.
    pub all_hazards: DrawShare,
    /// How many come down in water.
    pub water: InWater,
    /// The air near airports that flights pass through, up or down.
    pub airspace: Vec<Passing>,
}

/// A share of the draws.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DrawShare {
    /// The share, 0 to 1.
    pub share: f64,
    /// Its sampling error, one standard deviation.
    pub standard_error: f64,
}

/// How many of the draws come down in water. Apart from the other hazards: it has a limit of its own.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct InWater {
    /// In any.
    #[serde(flatten)]
    pub any: DrawShare,
    /// The share in the sea.
    pub sea_share: f64,
    /// In lakes.
    pub lake_share: f64,
    /// In rivers so wide that they are areas.
    pub river_share: f64,
}

/// The wind at the ground at a time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SurfaceWind {
    /// When, s after the release.
    pub after_s: f64,
    /// The wind, m/s.
    pub speed_m_s: f64,
    /// Its gusts, m/s, where the winds tell them.
    pub gust_m_s: Option<f64>,
}

/// A named place and the way from it to the centre of the landings.
#[derive(Debug, Clone, Serialize, PartialEq)]
pub struct NearPlace {
    /// Its name.
    pub name: String,
    /// How far the centre is from it, m.
    pub distance_m: f64,
    /// In which direction from it, degrees clockwise from true north.
    pub azimuth_deg: f64,
}

/// How often flights pass near airports of a kind, low.
#[derive(Debug, Clone, Serialize)]
pub struct Passing {
    /// The kind of airport.
    pub airport: &'static str,
    /// How near counts, m.
    pub within_m: f64,
    /// Below which height above the airport, m.
    pub below_m: f64,
    /// The share of flights that pass at least one.
    pub share: f64,
    /// Its sampling error, one standard deviation.
    pub standard_error: f64,
}

/// How often the draws hit one kind of thing.
#[derive(Debug, Clone, Serialize)]
pub struct Hazard {
    /// What.
    pub name: String,
    /// How near counts, m; 0 means inside.
    pub within_m: f64,
    /// The share of draws; `None` when nothing is known of it.
    pub share: Option<f64>,
    /// Its sampling error, one standard deviation.
    pub standard_error: Option<f64>,
    /// Whether it is known from a coarse map only, or from one of only a part: the share is the least it may be.
    pub coarse: bool,
    /// Whether the limits on hits apply.
    pub to_keep_clear_of: bool,
}

/// The hazard that decides.
#[derive(Debug, Clone, PartialEq)]
pub struct WorstHazard {
    /// What.
    pub name: String,
    /// The share of draws.
    pub share: f64,
}

impl Day {
    /// The strongest wind at the ground from an hour before the release (filling) to the release,
    /// m/s.
    pub fn surface_m_s(&self) -> Option<f64> {
        let before = self.surface.iter().filter(|wind| wind.after_s <= 0.0);
        before.map(|wind| wind.speed_m_s).reduce(f64::max)
    }

    /// The strongest gusts in that hour, m/s, where the winds tell them.
    pub fn gust_m_s(&self) -> Option<f64> {
        let before = self.surface.iter().filter(|wind| wind.after_s <= 0.0);
        before.filter_map(|wind| wind.gust_m_s).reduce(f64::max)
    }

    /// The strongest of all hours looked at.
    pub fn strongest(&self) -> Option<SurfaceWind> {
        let all = self.surface.iter().copied();
        all.reduce(|a, b| if b.speed_m_s > a.speed_m_s { b } else { a })
    }

    /// The largest share of flights that pass low near airports of one kind.
    pub fn most_passed(&self) -> f64 {
        self.airspace.iter().map(|p| p.share).fold(0.0, f64::max)
    }

    /// The thing to keep clear of that most draws hit.
    pub fn worst_hazard(&self) -> Option<WorstHazard> {
        let known = self.hazards.iter().filter(|h| h.to_keep_clear_of);
        known
            .filter_map(|h| {
                Some(WorstHazard {
                    name: h.name.clone(),
                    share: h.share?,
                })
            })
            .reduce(|a, b| if b.share > a.share { b } else { a })
    }
}

/// Releases compared.
#[derive(Debug, Clone, Serialize)]
pub struct Days {
    /// What the comparison was made from.
    #[serde(flatten)]
    pub basis: Basis,
    /// Where the stack is released.
    pub site: Position,
    /// One row a release, in order of time.
    pub rows: Vec<ReleaseRow>,
    /// What the best two releases differ in, where their verdicts are equal.
    pub why_best: Option<WhyBest>,
    /// What is near the site.
    pub site_check: Vec<SiteFinding>,
}

/// Sites compared.
#[derive(Debug, Clone, Serialize)]
pub struct Sites {
    /// What the comparison was made from.
    #[serde(flatten)]
    pub basis: Basis,
    /// The sites, the best first.
    pub sites: Vec<ComparedSite>,
    /// What the best two sites differ in, by their best releases, where their verdicts are equal.
    pub why_best: Option<WhyBest>,
    /// How many release times each was flown at.
    pub releases: usize,
}

/// One site.
#[derive(Debug, Clone, Serialize)]
pub struct ComparedSite {
    /// What it is called.
    pub name: String,
    /// Where it is.
    pub position: Position,
    /// Its elevation above mean sea level, m, if its file gives it.
    pub elevation_m: Option<f64>,
    /// Its place among those that were flown and are known, 1 the best.
    pub rank: Option<usize>,
    /// What is thought of it.
    pub verdict: Verdict,
    /// The one reason that decides.
    pub reason: Reason,
    /// Whether it was flown itself; else what is said was carried over from the middle of all.
    pub flown: bool,
    /// Which of the rows is the best.
    pub best: Option<usize>,
    /// One row a release; the best only where the site was not flown itself.
    pub rows: Vec<ReleaseRow>,
    /// What is near it.
    pub check: Vec<SiteFinding>,
}

impl ComparedSite {
    /// The best release.
    pub fn best_row(&self) -> Option<&ReleaseRow> {
        self.rows.get(self.best?)
    }

    /// Its numbers, if it could be flown.
    pub fn best_day(&self) -> Option<&Day> {
        self.best_row()?.day.as_ref()
    }

    /// How many releases are within limits, near one, beyond one and unknown.
    pub fn counts(&self) -> [usize; 4] {
        let of = |v: Verdict| self.rows.iter().filter(|r| r.verdict == v).count();
        use Verdict::{BeyondLimit, NearLimit, Unknown, WithinLimits};
        [WithinLimits, NearLimit, BeyondLimit, Unknown].map(of)
    }
}

/// Releases that aim at a target.
#[derive(Debug, Clone, Serialize)]
pub struct Aim {
    /// What the comparison was made from.
    #[serde(flatten)]
    pub basis: Basis,
    /// The plan's own site.
    pub site: Position,
    /// The file of the target.
    pub target: String,
    /// Where launches were looked for.
    pub restricted: LaunchesIn,
    /// One row a release, in order of time.
    pub rows: Vec<AimRow>,
}

/// Where launches are looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum LaunchesIn {
    /// Anywhere: whether one may launch there is not known.
    Anywhere,
    /// Within the areas given.
    Areas,
    /// On the plan's roads.
    Roads,
    /// On the plan's roads within the areas given.
    RoadsInAreas,
}

/// One release.
#[derive(Debug, Clone, Serialize)]
pub struct AimRow {
    /// Its place by probability, 1 the highest, if it is known.
    pub rank: Option<usize>,
    /// The best place to launch from, flown itself; `None` where there is none.
    pub launch: Option<LaunchPlace>,
    /// Where else the probability is nearly as high.
    #[serde(skip)]
    pub regions: Vec<LaunchRegion>,
    /// The release from that place, judged.
    pub row: ReleaseRow,
}

impl AimRow {
    /// A release without a place to launch from.
    pub fn without(row: ReleaseRow) -> AimRow {
        AimRow {
            rank: None,
            launch: None,
            regions: Vec::new(),
            row,
        }
    }

    /// The share of draws that come down in the target; 0 without a place to launch from.
    pub fn probability(&self) -> f64 {
        self.launch.as_ref().map_or(0.0, |l| l.probability)
    }
}

/// A place to launch from.
#[derive(Debug, Clone, Serialize)]
pub struct LaunchPlace {
    /// Where.
    pub position: Position,
    /// The share of the draws flown from there that come down in the target.
    pub probability: f64,
    /// Its sampling error, one standard deviation.
    pub standard_error: f64,
    /// From the plan's own site, m.
    pub distance_m: f64,
    /// In which direction from it, degrees clockwise from true north.
    pub azimuth_deg: f64,
}

/// Places to launch from.
#[derive(Debug, Clone, PartialEq)]
pub struct LaunchRegion {
    /// The least share of draws that come down in the target.
    pub probability: f64,
    /// The region.
    pub polygons: Vec<GroundPolygon>,
}

//! What years of winds tell: everything decided, nothing left to compute.

use serde::Serialize;

use super::cells::Cell;
use super::release::{Decides, Unknown};
use crate::choice::basis::Basis;
use crate::geodesy::Position;

/// How many sectors a rose has.
pub const SECTORS: usize = 16;

/// A number that flights which left the winds bound from both sides.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bounds {
    /// It is at least so much: what is unknown counts against it ...
    pub at_least: f64,
    /// ... and at most so much: for it.
    pub at_most: f64,
}

/// How releases stand to the limits.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Counts {
    /// How many releases.
    pub releases: usize,
    /// Within all limits.
    pub within: usize,
    /// Within all limits, but near one.
    pub near: usize,
    /// Beyond one.
    pub beyond: usize,
    /// Of which nothing is known.
    pub unknown: usize,
    /// Of those beyond a limit, how many each limit decided (the one they are farthest beyond).
    pub decided: Vec<(Decides, usize)>,
    /// Of those beyond a limit, how many are beyond each.
    pub broken: Vec<(Decides, usize)>,
    /// Of those of which nothing is known, how many for each reason.
    pub why_unknown: Vec<(Unknown, usize)>,
}

/// Where flights go.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Drift {
    /// Releases of which it is known.
    pub known: usize,
    /// Half of these drift no farther, m.
    pub median_m: f64,
    /// 90 % of these drift no farther, m.
    pub most_m: f64,
    /// Half of all releases, those with unknown drift counted as near or as far: at most is `None` where
    /// too many are unknown.
    pub median_between_m: [Option<f64>; 2],
    /// The same for 90 %.
    pub most_between_m: [Option<f64>; 2],
    /// The direction of the mean landing place, degrees clockwise from true north.
    pub mean_azimuth_deg: f64,
    /// How far the mean landing place is, m.
    pub mean_m: f64,
    /// By sector from north on, clockwise.
    pub rose: Vec<Sector>,
}

/// A sector of a rose.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Sector {
    /// The share of known releases that drift this way.
    pub share: f64,
    /// The share that does and is within the limits.
    pub usable_share: f64,
    /// Half of these drift no farther, m.
    pub median_m: f64,
}

/// Days on which at least one release is within the limits, in a week.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Weeks {
    /// Whole weeks, from Monday.
    pub weeks: usize,
    /// The mean number of days.
    pub mean: Bounds,
    /// 10, 50 and 90 % of the weeks have no more; what is unknown counts against.
    pub spread: [f64; 3],
}

/// Of fewer years than these 9 of 10 are all of them.
pub const ENOUGH_YEARS: usize = 10;

/// How long one waits for a day within the limits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DaysToWait {
    /// Years that tell: those with nearly all the days that others have.
    pub years: usize,
    /// The longest wait that begins in this time of the year is no longer in 9 of 10 years (of fewer than ten
    /// full years it is the longest of all, be it of a year that is not full), days; 0 where the first day will do. At least: what is unknown counts as within the limits.
    pub longest_at_least: usize,
    /// At most: what is unknown counts as beyond.
    pub longest_at_most: usize,
    /// Whether a wait ran into the end of the record or a gap in it: it may be longer.
    pub cut_short: bool,
}

/// How sure a share is, by its years.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BetweenYears {
    /// The share in each year that has nearly all the days that others have: what is unknown counts against it.
    pub years: Vec<(i16, f64)>,
    /// One standard deviation between years.
    pub deviation: f64,
    /// 5 % of bootstrap samples of the years have a mean share below the first, with what is unknown counted
    /// against it; 5 % above the second, with that counted for it.
    pub interval: [f64; 2],
}

/// A time of the year, or all of it, for one field.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Season {
    /// The month, 1 to 12; `None` for the whole year.
    pub month: Option<i8>,
    /// Releases.
    pub counts: Counts,
    /// The share of releases within the limits.
    pub usable: Bounds,
    /// The share of days on which at least one is.
    pub usable_days: Bounds,
    /// How sure the share of releases is; `None` of fewer than three years.
    pub between_years: Option<BetweenYears>,
    /// By hour on the plan's clock.
    pub hours: Vec<Hour>,
    /// Where flights go; `None` where nothing is known.
    pub drift: Option<Drift>,
    /// Usable days in a week; `None` without a whole week.
    pub weeks: Option<Weeks>,
    /// How long one waits.
    pub wait: Option<DaysToWait>,
}

/// An hour of the day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hour {
    /// Since midnight on the plan's clock, s.
    pub at_s: i64,
    /// Releases.
    pub counts: Counts,
    /// The share within the limits.
    pub usable: Bounds,
}

/// How often flights come down on or near a kind of thing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HitShare {
    /// What.
    pub name: String,
    /// How near counts, m.
    pub within_m: f64,
    /// Whether it is known from a coarse map only, or from one of only a part.
    pub coarse: bool,
    /// Whether it is to be kept clear of.
    pub to_keep_clear_of: bool,
    /// The share of flights.
    pub share: Bounds,
}

/// A cell of the map.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CellShare {
    /// Which.
    pub cell: Cell,
    /// South, west, north, east, degrees.
    pub bounds_deg: [f64; 4],
    /// The share of all flights that come down in it, at least.
    pub share: f64,
    /// The share of the flights of releases within the limits.
    pub usable_share: f64,
}

/// One field.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FieldYears {
    /// What it is called.
    pub name: String,
    /// Where it is.
    pub position: Position,
    /// Its place, 1 the best.
    pub rank: usize,
    /// The whole year.
    pub year: Season,
    /// The months that the record has.
    pub months: Vec<Season>,
    /// Flights that were drawn.
    pub flights: u64,
    /// The share that left the region of the winds ...
    pub left_region: f64,
    /// ... and their hours.
    pub left_hours: f64,
    /// The share of flights in the target, or in the areas to land in.
    pub into: Option<Bounds>,
    /// The share of flights in water.
    pub water: Bounds,
    /// What flights hit.
    pub hits: Vec<HitShare>,
    /// Where they come down, the likeliest cell first.
    pub cells: Vec<CellShare>,
}

/// The whole answer.
#[derive(Debug, Clone, Serialize)]
pub struct Years {
    /// What it was made from.
    #[serde(flatten)]
    pub basis: Basis,
    /// What tells this work from other.
    pub work: String,
    /// The first and the last day.
    pub days: [jiff::civil::Date; 2],
    /// Days with releases.
    pub day_count: usize,
    /// Years with days, but for those that have far fewer than others.
    pub year_count: usize,
    /// Days of those that have far fewer.
    pub other_days: usize,
    /// Releases from each field.
    pub releases: usize,
    /// Whether the winds are soundings.
    pub of_soundings: bool,
    /// Files of the record.
    pub files: usize,
    /// Times in it.
    pub times: usize,
    /// The file of the target.
    pub into: Option<String>,
    /// The fields, the best first.
    pub fields: Vec<FieldYears>,
}

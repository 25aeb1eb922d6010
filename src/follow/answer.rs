//! How a flight stands: everything decided, nothing left to compute.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::Serialize;

use super::phase::Phase;
use crate::geodesy::Position;
use crate::numeric::Quantiles;
use crate::spread::region::{GroundContour, GroundEllipse};
use crate::track::Refusal;
use crate::zone::Mark;

/// How a flight stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Standing {
    /// The flight's name, as the plan has it.
    pub name: String,
    /// As of when, by the trackers' clock.
    pub time: Timestamp,
    /// What the balloon is doing.
    pub phase: Phase,
    /// The last good fix, and which tracker's it is.
    pub last: Option<Last>,
    /// Past the planned release: for how long nothing was heard, s, once it is quiet.
    pub silent_s: Option<f64>,
    /// Rate of rise over the last minute, less than 0 for a fall, m/s.
    pub rate_m_s: Option<f64>,
    /// When it left the ground, by its first fixes.
    pub released: Option<Timestamp>,
    /// Where it burst, by the fixes before and after.
    pub burst: Option<Mark>,
    /// The last fix beside the planned flight at that height.
    pub off_plan: Option<OffPlan>,
    /// Where and when it lands.
    pub landing: Option<Landing>,
    /// Where it is now, when it has not been heard for a while.
    pub now: Option<Whereabouts>,
    /// Where to look for it, once it is down or nearly.
    pub search: Option<Search>,
    /// Area of the 90 % ellipse before the release, m2.
    pub area_at_release_m2: Option<f64>,
    /// Direction and distance from the crew's car.
    pub from_car: Option<FromCar>,
    /// The fixes let through, thinned.
    pub track: Vec<Mark>,
    /// Reports let through.
    pub accepted: usize,
    /// Reports refused, by reason.
    pub refused: BTreeMap<Refusal, usize>,
    /// How many draws there are.
    pub draws: usize,
    /// The seed of the draws.
    pub seed: u64,
    /// What to know.
    pub notes: Vec<FollowNote>,
}

/// The last good fix.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Last {
    /// Where and when.
    pub mark: Mark,
    /// Which tracker, where it has a name.
    pub tracker: String,
    /// How long ago that was, s.
    pub age_s: f64,
    /// Height above the ground there, m; not less than 0.
    pub above_ground_m: f64,
    /// That the height of the ground is not known there: it is taken to be as high as the site.
    pub ground_assumed: bool,
}

/// A fix beside the planned flight at its height.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OffPlan {
    /// How far it is from there, m.
    pub distance_m: f64,
    /// In which direction, degrees from true north.
    pub azimuth_deg: f64,
    /// How much later than planned it got to that height, s.
    pub later_s: f64,
}

/// Where and when it lands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Landing {
    /// The middle of the landings.
    pub center: Position,
    /// Ellipses, smallest probability first.
    pub ellipses: Vec<GroundEllipse>,
    /// Contours, smallest probability first.
    pub contours: Vec<GroundContour>,
    /// Radius of the circle that holds half of the landings, m.
    pub half_circle_m: f64,
    /// Times that 5, 50 and 95 % come down before.
    pub times: Quantiles<Timestamp>,
    /// Altitudes that 5, 50 and 95 % burst below, m; `None` after the burst.
    pub burst_m: Option<Quantiles<f64>>,
    /// The speed it comes down with, m/s, the median.
    pub speed_m_s: Option<f64>,
    /// How much of the draws left the winds.
    pub left_share: f64,
}

impl Landing {
    /// The ellipse of 90 %.
    pub fn outer(&self) -> Option<&GroundEllipse> {
        let mut ellipses = self.ellipses.iter();
        ellipses.find(|e| crate::spread::region::is_outer(e.shape.probability))
    }
}

/// Where it is at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Whereabouts {
    /// The middle of the draws.
    pub center: Position,
    /// Radius of the circle that holds 90 % of them, m.
    pub radius_m: f64,
    /// Altitudes that 5, 50 and 95 % are below, m.
    pub altitude_m: Quantiles<f64>,
    /// The share of draws that have landed.
    pub landed_share: f64,
}

/// Where to look for a flight that was heard near the ground, or lying on it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Search {
    /// The last good fix.
    pub last: Mark,
    /// How high it was above the ground there, m.
    pub above_ground_m: f64,
    /// The middle of where it can have come down.
    pub center: Position,
    /// Radius of the ring around that which holds 95 % of the draws, m.
    pub radius_m: f64,
    /// The ring.
    pub ring: Vec<Position>,
    /// How it drifted from the last fix to the ground; `None` where it was heard lying there.
    pub drift: Option<Drift>,
}

/// The rest of a fall.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Drift {
    /// How long it took, s.
    pub seconds: f64,
    /// How far it went, m.
    pub distance_m: f64,
    /// In which direction, degrees from true north.
    pub azimuth_deg: f64,
}

impl Drift {
    /// The wind that carried it, m/s.
    pub fn wind_m_s(&self) -> f64 {
        self.distance_m / self.seconds.max(1.0)
    }
}

/// From the crew's car to where it lands.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FromCar {
    /// The car.
    pub car: Position,
    /// How far, m.
    pub distance_m: f64,
    /// In which direction, degrees from true north.
    pub azimuth_deg: f64,
}

/// What to know about a flight that is followed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum FollowNote {
    /// It neither rises nor sinks; no law for that is known here.
    Floats {
        /// How high, m.
        altitude_m: f64,
    },
    /// It rises much more slowly than planned.
    RisesSlowly {
        /// How fast, m/s.
        rate_m_s: f64,
        /// As planned, m/s.
        planned_m_s: f64,
    },
    /// It comes down much more slowly than planned: a leak, or a balloon that did not burst.
    FallsSlowly {
        /// How fast, m/s.
        rate_m_s: f64,
        /// As planned there, m/s.
        planned_m_s: f64,
    },
    /// It comes down much faster than planned.
    FallsFast {
        /// How fast, m/s.
        rate_m_s: f64,
        /// As planned there, m/s.
        planned_m_s: f64,
    },
    /// Hardly any draw bursts so high: from here on the burst is taken to come soon.
    HigherThanExpected {
        /// How high it is, m.
        altitude_m: f64,
    },
    /// It has not been heard.
    Quiet {
        /// For so long, s.
        for_s: f64,
    },
    /// By now it lies on the ground.
    PresumedDown {
        /// The last height it was heard from above the ground, m.
        heard_at_m: f64,
    },
    /// Its receiver goes on telling a place far above the ground.
    Stuck {
        /// For so long, s.
        for_s: f64,
        /// So high above the ground, m.
        above_m: f64,
    },
    /// This computer's clock is not the trackers'.
    ClockDiffers {
        /// By so much it is ahead of them, s.
        by_s: f64,
    },
    /// Reports had no time of their own.
    WithoutTime {
        /// How many.
        reports: usize,
    },
    /// It was released at another time than planned.
    ReleasedLater {
        /// By so much, s; less than 0 for earlier.
        by_s: f64,
        /// Whether it was predicted again for that.
        again: bool,
        /// Whether this is just what the plan's time zone is off UTC by: the times may be local ones.
        local: bool,
    },
    /// It lies far from the site and was not heard in the air.
    LiesElsewhere {
        /// So far away, m.
        away_m: f64,
    },
    /// It was released somewhere else.
    ReleasedElsewhere {
        /// So far away, m.
        away_m: f64,
        /// Whether the winds are those above the site for every place, and not a field of them.
        winds_of_site: bool,
    },
    /// The winds do not cover the time or the place it flies in: those of the plan's release stay.
    WindsOfPlan,
    /// Too few draws stay within the winds to tell where it lands.
    NoLanding,
    /// Nothing was heard past the planned release that tells whether it left the ground.
    LeftUnknown {
        /// For so long, s.
        for_s: f64,
    },
    /// The reports tell of other flights as well, whose fixes are left out.
    OtherFlights {
        /// How many flights.
        flights: usize,
        /// How many fixes are left out.
        fixes: usize,
    },
    /// It comes down where the height of the ground is not known: that of the site is taken.
    GroundAssumed,
    /// It falls on, lower than the ground is assumed to be.
    BelowAssumedGround {
        /// By so much, m.
        lower_m: f64,
    },
    /// More of the landings are in water than the plan allows.
    LandsInWater {
        /// Their share.
        share: f64,
    },
    /// Draws left the winds.
    DrawsLeft {
        /// Their share.
        share: f64,
    },
    /// It was heard first when it was in the air already.
    HeardLate {
        /// At this height above the site, m.
        above_m: f64,
        /// Whether enough of its rise was heard to work its release out.
        released: bool,
    },
}

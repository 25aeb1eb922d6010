//! What was assumed and what is to be known about a result, as data: each with a code and its numbers
//! in SI. The report has the words.

use serde::Serialize;

/// Something that nobody gave and that the result rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Assumption {
    // In words still.
    /// One that its maker has in words already.
    InWords {
        /// The words.
        words: String,
    },

    // Fill.
    /// The gas is pure.
    PureGas,
    /// The filler on the neck weighs nothing.
    WeightlessFiller,
    /// Parts of the load without a kind are packages.
    CountedAsPackages {
        /// Their names.
        names: Vec<String>,
    },
    /// Cylinders are as warm as the air.
    CylindersAsWarmAsAir {
        /// The air at the site, K.
        temperature_k: f64,
    },
    /// Cylinders of a usual size, where the plan has none.
    UsualCylinders {
        /// Volume of the water that one holds, m3.
        water_volume_m3: f64,
        /// Pressure on its gauge, Pa.
        gauge_pa: f64,
    },
    /// The ascent goes by the drag curve that was fitted, without wind up or down.
    FittedAscent,
    /// Some balloons burst early, which the deviation of the burst does not hold.
    EarlyBursts {
        /// The share that does.
        share: f64,
        /// From this share of the burst diameter ...
        least_diameter_share: f64,
        /// ... to this one.
        most_diameter_share: f64,
    },

    // Choice.
    /// The limit of the wind at the ground.
    SurfaceWindLimit {
        /// The limit, m/s.
        limit_m_s: f64,
    },
    /// The limit of the share of draws on any one thing to keep clear of.
    KeepOutLimit {
        /// The limit.
        limit_share: f64,
    },
    /// The daylight wanted after the landing.
    DaylightLimit {
        /// At least, s.
        limit_s: f64,
    },
    /// How near to something counts, where the plan does not say.
    HitDistances,
    /// Lakes, rivers and towns are those of a coarse map.
    CoarseGround,
    /// The air around airports stands in for controlled airspace.
    AirportsForAirspace,
    /// Candidates beyond the best are judged by flights carried over from the middle of all.
    CarriedOver {
        /// How many candidates there are.
        candidates: usize,
        /// How many of them were flown themselves.
        flown: usize,
    },
    /// Sites of unknown elevation lie as high as the plan's.
    ElevationAsPlanned,
    /// Neighbouring places of launch regions have the same drift.
    SameDriftNearby,
    /// An assumption that concerns one of several sites.
    OfSite {
        /// What the site is called.
        site: String,
        /// What is assumed there.
        assumption: Box<Assumption>,
    },

    // Brief.
    /// When filling begins.
    FillingBegins {
        /// How long before the release, s.
        before_release_s: f64,
    },
    /// The tracker is heard along a line of sight over an earth of 4/3 its radius.
    RadioLineOfSight {
        /// Whether hills count; else the ground is smooth.
        with_terrain: bool,
        /// The antenna's height above the ground, m.
        antenna_m: f64,
    },
    /// A quiet tracker was heard last on the planned flight, and nothing was learnt on the way.
    HeardOnPlannedFlight,
}

impl Assumption {
    /// One that its maker has in words already.
    pub fn in_words(words: impl Into<String>) -> Assumption {
        Assumption::InWords {
            words: words.into(),
        }
    }
}

/// Something to know about a result.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Note {
    // Fill.
    /// The plan states rates of ascent, which a fill does not go by.
    RatesOfPlanUnused,
    /// The plan states the burst altitude, which the gas does not change.
    BurstAltitudeOfPlan,
    /// No thresholds were asked for.
    NoThresholds,
}

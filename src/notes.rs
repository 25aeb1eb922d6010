//! What an answer rests on and what to know about it, as data: a code and the numbers, in SI.
//!
//! Whoever makes an answer says here what it assumed and noticed; `report::notes` puts it into words
//! and into a person's units.

pub mod left_out;
pub mod reading;
pub mod replaced;
pub mod warning;

use std::fmt;

use jiff::Timestamp;
use serde::Serialize;

use self::left_out::LeftOut;
use self::reading::Reading;
use self::replaced::Replaced;

/// Something that was assumed.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Assumption {
    // zone and winds: the stack
    /// The burst diameter, which the plan does not give, is that of a table.
    BurstDiameter {
        /// The diameter, m.
        diameter_m: f64,
        /// Mass of the balloon, kg.
        balloon_kg: f64,
        /// Which table, and how it was read.
        from: String,
    },
    /// The gas is pure.
    PureGas,
    /// The drag coefficient of the parachute, on its laid-out area.
    ParachuteDrag {
        /// The coefficient.
        coefficient: f64,
    },
    /// A parachute of which nothing tells the mass: it weighs nothing.
    NoParachuteMass,
    /// The parachute has a mass of its own, and a part of the load is called so: both are counted.
    ParachuteCountedTwice {
        /// The part's name.
        part: String,
    },
    /// Nothing of a balloon stays on the line: the plan describes none.
    NoRemnant,
    /// What stays on the line of the balloon that burst.
    Remnant {
        /// As a share of the balloon.
        share: f64,
        /// The same, kg.
        mass_kg: f64,
    },
    /// A stated rate of ascent varies as a balloon's would.
    StatedRateVaries,
    /// The ascent goes by a fitted drag curve.
    FittedDragCurve,
    /// How the drag area changes with the density of the air.
    ThinAir {
        /// The power of the density.
        exponent: f64,
        /// One standard deviation of it.
        sigma: f64,
    },

    // zone and winds: what varies
    /// How much something varies.
    Varies {
        /// What.
        what: Varying,
        /// One standard deviation, as a share.
        sigma: f64,
    },
    /// What the flights of a logbook teach.
    Learnt {
        /// Of what.
        what: LearntOf,
        /// Multiplies what the plan says.
        factor: f64,
        /// Multiplies how much it varies.
        wider: f64,
        /// From how many flights.
        flights: usize,
    },
    /// How often the canopy changes on the way down.
    CanopyChanges {
        /// The share of falls.
        share: f64,
    },
    /// How often a balloon bursts early.
    EarlyBurstsDrawn {
        /// The share of balloons.
        share: f64,
        /// From this share of the burst diameter ...
        least_diameter_share: f64,
        /// ... to this one.
        most_diameter_share: f64,
    },
    /// How late the release is.
    ReleaseDelay {
        /// Two thirds of the delays are shorter, s.
        two_thirds_below_s: f64,
    },

    // zone and winds: the site and the ground
    /// Elevation of the site.
    SiteElevation {
        /// Above mean sea level, m.
        elevation_m: f64,
        /// What tells the height of the ground; the lowest level of the winds where nothing does.
        from: Option<String>,
    },
    /// The site lies at sea level: nothing tells its elevation.
    SiteAtSeaLevel,
    /// Flights come down at the elevation of the site: no terrain is read.
    LandsAtSite,
    /// Some land where no terrain is known, at the elevation of the site.
    LandsWithoutTerrain {
        /// The share of the draws.
        share: f64,
    },
    /// Some land on terrain of the plan that is coarser than the ground of the forecast.
    LandsOnCoarseTerrain {
        /// The share of the draws.
        share: f64,
        /// The file.
        source: String,
        /// Distance between its heights, m.
        spacing_m: f64,
        /// That between the forecast's, m.
        forecast_m: f64,
    },
    /// Some land on the ground of the forecast.
    LandsOnForecastGround {
        /// The share of the draws.
        share: f64,
    },

    // zone and winds: the air and the winds
    /// The winds tell nothing of the air: it is that of the standard atmosphere.
    StandardAir,
    /// Without winds the air is that of the standard atmosphere.
    StandardAirWithoutWinds,
    /// Winds that were given and are left out.
    LeftOut(LeftOut),
    /// Several soundings make a field.
    SoundingsBlended {
        /// How many.
        soundings: usize,
        /// Of how many stations.
        stations: usize,
    },
    /// Soundings that end lower than others go on with the winds of the nearest that does not.
    SoundingsContinued {
        /// How many.
        soundings: usize,
        /// The lowest of their tops above mean sea level, m.
        lowest_top_m: f64,
    },
    /// The sounding nearest to the release stands for the whole flight.
    NearestSounding {
        /// Of how many.
        of: usize,
    },
    /// Nothing tells the run of a forecast: it is taken as an analysis.
    ForecastRunUnknown,
    /// Nothing tells the run behind a profile: it is taken as an analysis.
    ProfileRunUnknown,
    /// The plan names a run, and the winds were measured: it is not used.
    RunOfMeasured,
    /// Nothing tells the time of a profile.
    ProfileTimeUnknown {
        /// What kind of profile.
        profile: Profile,
    },
    /// Nothing tells the place of a profile: it is taken as made at the site.
    ProfilePlaceUnknown {
        /// What kind of profile.
        profile: Profile,
    },
    /// The plan's word for the wind's error is one for other winds: these are as wrong as such winds are.
    WindsMiscalled {
        /// Whether they are measured soundings; else a forecast.
        measured: bool,
    },
    /// Over what height errors of the wind that the plan gives hang together.
    WindErrorCorrelation {
        /// The height, m.
        length_m: f64,
    },
    /// The wind's error is that of an ensemble.
    EnsembleError {
        /// How many members.
        members: usize,
        /// From the run to the release, s.
        lead_s: f64,
    },
    /// The wind's error is that of a forecast.
    ForecastError {
        /// From the run to the release, s.
        lead_s: f64,
        /// One standard deviation of a component, m/s.
        sigma_m_s: f64,
        /// At this altitude, m above mean sea level.
        at_m: f64,
    },
    /// The wind's error is that of measured profiles of another time and place.
    SoundingError {
        /// Whether there are several, of which the nearest counts.
        several: bool,
        /// From the sounding to the release, s; negative when made afterwards.
        age_s: f64,
        /// From the site, m.
        distance_m: f64,
        /// One standard deviation of a component, m/s.
        sigma_m_s: f64,
        /// At this altitude, m above mean sea level.
        at_m: f64,
    },
    /// The wind's error is that of profiles of a model, of another time and place.
    ModelProfileError {
        /// The model.
        model: String,
        /// From the run to the time of the profile, s.
        lead_s: f64,
        /// From the profile to the release, s; negative when valid afterwards.
        age_s: f64,
        /// From the site, m.
        distance_m: f64,
        /// One standard deviation of a component, m/s.
        sigma_m_s: f64,
        /// At this altitude, m above mean sea level.
        at_m: f64,
    },

    /// The winds are of one time, and stand for a while before and after.
    OneTimeHeld {
        /// The time.
        time: Timestamp,
        /// For how long they stand, s.
        stands_s: f64,
    },
    /// The release is not on the ground.
    ReleaseOffGround(OffGround),

    // fill
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
    /// Cylinders named by their contents are full, with this on the gauge.
    ContentsAtPressure {
        /// The pressure, Pa.
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

    // choice
    /// An assumption that concerns one of several sites.
    OfSite {
        /// What the site is called.
        site: String,
        /// What is assumed there.
        assumption: Box<Assumption>,
    },
    /// An assumption that concerns some of several releases.
    OfSomeReleases {
        /// What is assumed of them.
        assumption: Box<Assumption>,
    },
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
    /// The limit of the share of draws on any of the things to keep clear of.
    AllHazardsLimit {
        /// The limit.
        limit_share: f64,
    },
    /// The limit of the share of draws in water.
    WaterLimit {
        /// The limit.
        limit_share: f64,
    },
    /// Winds at the ground are those with which measured soundings begin, taken as measured 10 m above the
    /// ground of their station.
    GroundWindAtStation {
        /// How far that is above or below the site at most, m.
        apart_m: f64,
    },
    /// Winds at the ground are those of the lowest level, brought down to 10 m by a logarithmic profile.
    GroundWindBroughtDown {
        /// How high above the site that level is at most, m.
        from_m: f64,
        /// Roughness of the ground, m.
        roughness_m: f64,
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
    /// Sites of unknown elevation lie as high as the forecast's own ground.
    ElevationOfForecast,
    /// Sites of unknown elevation lie as high as the plan's.
    ElevationAsPlanned,
    /// Neighbouring places of launch regions have the same drift.
    SameDriftNearby,

    // brief
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

    // the command line
    /// Something was given in place of what the plan says.
    Replaced(Replaced),
    /// Files outside of the plan's folder are read.
    ReadOutside {
        /// As the plan names them.
        files: Vec<String>,
    },

    /// What a reader of wind files took for granted.
    #[serde(untagged)]
    Read(Reading),
}

/// What varies from flight to flight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Varying {
    /// The lift.
    Lift,
    /// The drag of the balloon.
    BalloonDrag,
    /// The rate of ascent from height to height.
    AscentRate,
    /// The burst diameter.
    BurstDiameter,
    /// The drag area of the parachute.
    ParachuteDragArea,
    /// The drag area that a stated speed of fall stands for.
    StatedFallDragArea,
    /// The share of the balloon that is left on the line.
    Remnant,
}

/// What a logbook teaches something of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LearntOf {
    /// The rate of rise.
    Rate,
    /// The burst diameter.
    BurstDiameter,
    /// The speed of fall.
    Fall,
    /// How wrong the winds are.
    Winds,
}

/// How a profile of the wind came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Profile {
    /// It was measured.
    Sounding,
    /// A model computed it.
    Model,
}

/// A release above or below the ground.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OffGround {
    /// Altitude of the release, m above mean sea level.
    pub release_m: f64,
    /// How far it is above the ground, m; negative below.
    pub above_m: f64,
    /// Altitude of the ground, m above mean sea level.
    pub ground_m: f64,
    /// What tells it.
    pub from: String,
    /// Whether that is smoothed over the spacing of a forecast's points.
    pub smoothed: bool,
}

/// Something to know about an answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Note {
    // zone and winds: the ground
    /// The release is not on the ground.
    ReleaseOffGround(OffGround),

    // zone and winds: the winds
    /// Most of the zone's width is that of winds of another time or place.
    BetterWinds {
        /// Their time from the release, s, if that is far.
        away_s: Option<f64>,
        /// Their distance from the site, m, if that is far.
        away_m: Option<f64>,
        /// What they alone move the landing by, one standard deviation, m.
        drift_sigma_m: f64,
        /// The run of a new forecast would be as young as this, s.
        new_forecast_s: f64,
        /// What such a forecast would bring that to, m.
        new_forecast_drift_sigma_m: f64,
    },
    /// The winds are of another time than was ever compared.
    OldWinds {
        /// Their time from the release, s.
        away_s: f64,
        /// Errors were measured up to this, s.
        measured_s: f64,
    },
    /// The winds are of far away.
    DistantWinds {
        /// Their distance from the site, m.
        away_m: f64,
    },
    /// Reading left little of a sounding.
    Cleaned(Cleaning),
    /// The flight is higher than the winds for a while.
    AboveWinds {
        /// Their highest altitude, m above mean sea level.
        top_m: f64,
        /// For how long, s.
        for_s: f64,
    },
    /// The flight is lower than the winds for a while.
    BelowWinds {
        /// Their lowest altitude, m above mean sea level.
        base_m: f64,
        /// For how long, s.
        for_s: f64,
    },

    // zone: the site and the landing
    /// The site's elevation is not that of an airport nearby.
    ElevationOffAirport {
        /// Elevation of the site, m above mean sea level.
        site_m: f64,
        /// Elevation of the airport, m above mean sea level.
        airport_m: f64,
        /// Its code.
        airport: String,
        /// From the site, m.
        distance_m: f64,
    },
    /// The clocks of the plan's time zone are far from the sun's at the site.
    TimeZoneOff {
        /// The time zone.
        timezone: String,
        /// How far its clocks are ahead of the sun's at the site, s.
        ahead_s: f64,
    },
    /// A note that concerns one of several sites.
    OfSite {
        /// What the site is called.
        site: String,
        /// What is to be known of it.
        note: Box<Note>,
    },
    /// The load lands hard.
    HardLanding {
        /// Its speed, m/s.
        speed_m_s: f64,
        /// A landing faster than this is hard, m/s.
        hard_m_s: f64,
        /// Faster than this nobody should fly, m/s.
        dangerous_m_s: f64,
    },
    /// More draws come down in water than the plan allows.
    LandsInWater {
        /// The share of the draws.
        share: f64,
        /// The limit of that share.
        limit_share: f64,
        /// Whether the limit is assumed.
        limit_assumed: bool,
    },

    // zone and winds: the draws
    /// Draws left the winds.
    DrawsLeft {
        /// The share of the draws.
        share: f64,
        /// What region and hours the winds cover, in words.
        covered: String,
        /// Whether regions are given all the same.
        regions_given: bool,
    },
    /// Draws did not come down.
    DrawsMissing {
        /// How many.
        count: usize,
        /// Of how many.
        draws: u64,
        /// Why.
        why: NoLanding,
    },

    // zone and winds: the regions
    /// There are no contours: there are too few draws for a density.
    TooFewForContours {
        /// How many draws there are.
        draws: usize,
        /// How many are needed.
        needed: usize,
    },
    /// There are no contours: the draws lie on a point or a line.
    TooFlatForContours,
    /// There are no contours: a draw is not a finite number.
    NoContours,
    /// A contour is much smaller than the ellipse of the same probability.
    ContourSmaller {
        /// The probability of both.
        probability: f64,
        /// Area of the contour over that of the ellipse.
        ratio: f64,
    },
    /// A contour is in several pieces.
    ContourInPieces {
        /// The probability of the contour.
        probability: f64,
        /// How many pieces.
        count: usize,
    },

    // fill
    /// The plan states rates of ascent, which a fill does not go by.
    RatesOfPlanUnused,
    /// The plan states the burst altitude, which the gas does not change.
    BurstAltitudeOfPlan,
    /// No thresholds were asked for.
    NoThresholds,
}

/// Heights between which no wind is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Gap {
    /// The highest wind below, m above mean sea level.
    pub from_m: f64,
    /// The lowest wind above, m above mean sea level.
    pub to_m: f64,
}

/// What became of the rows of a sounding.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cleaning {
    /// The file it is from.
    pub file: String,
    /// Rows read, without those of a descent or repeated.
    pub rows: usize,
    /// Levels that have a wind.
    pub winds: usize,
    /// Values that cannot be, taken as missing.
    pub impossible: usize,
    /// Rows left out as they had no height or nothing else.
    pub unusable: usize,
    /// Gaps of more than [`GAP_M`](crate::wind::cleaning::GAP_M), the lowest first.
    pub gaps: Vec<Gap>,
}

/// Why a flight does not come down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NoLanding {
    /// The lift does not carry the load.
    Stalls,
    /// The balloon does not burst.
    NoBurst,
    /// The balloon bursts on the ground.
    BurstsOnGround,
    /// The flight leaves the region of the winds.
    LeavesRegion,
    /// The flight leaves the hours of the winds.
    LeavesHours,
}

/// In words: errors say it too.
impl fmt::Display for NoLanding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            NoLanding::Stalls => "the lift does not carry the load up to the burst",
            NoLanding::NoBurst => "the balloon does not burst below the highest layer",
            NoLanding::BurstsOnGround => "the balloon bursts on the ground",
            NoLanding::LeavesRegion => "the flight leaves the region where winds are known",
            NoLanding::LeavesHours => "the flight leaves the hours for which winds are known",
        })
    }
}

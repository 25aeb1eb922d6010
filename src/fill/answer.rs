//! A fill: everything decided, nothing left to compute.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;

use super::compared::Rules;
use super::findings::Finding;
use crate::notes::{Assumption, Note};
use crate::sizing::Flight;
use crate::vehicle::balloon::LiftingGas;
use crate::vehicle::cylinder::{Cylinders, CylindersAfter};

/// Everything about one fill.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fill {
    /// The flight's name; may be empty.
    pub name: String,
    /// The planned release.
    pub release: Timestamp,
    /// The zone of people's times.
    #[serde(skip)]
    pub timezone: TimeZone,
    /// What was known of the fill.
    pub solved_from: SolvedFrom,
    /// Whether any finding says not to fly.
    pub do_not_fly: bool,
    /// What to know before anything else.
    pub findings: Vec<Finding>,
    /// The air at the site.
    pub site: ReleaseAir,
    /// Everything that is lifted.
    pub ledger: Ledger,
    /// The balloon.
    pub balloon: BalloonAndGas,
    /// The gas in it.
    pub lift: Lift,
    /// The gas it is filled from.
    pub cylinders: CylinderUse,
    /// The flight, if there is one.
    pub flight: Option<FlightFacts>,
    /// What errors and changes cost; none without a flight.
    pub sensitivities: Option<Sensitivities>,
    /// The weight to hang on the filler.
    pub lift_test: LiftTest,
    /// The thresholds that were asked for.
    pub rules: Option<Rules>,
    /// Flights by neck lift: of the plan's balloon, then of the next lighter and heavier ones.
    pub curves: Vec<Curve>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
    /// What to know about the result.
    pub notes: Vec<Note>,
    /// The program's version.
    pub version: String,
}

/// What was known of the fill; everything else follows from it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SolvedFrom {
    /// What it is.
    #[serde(flatten)]
    pub known: KnownFill,
    /// Whether the plan says so; else it was given in place of that.
    pub by_plan: bool,
}

/// The one thing that is known of a fill.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum KnownFill {
    /// Lift at the neck.
    NeckLift {
        /// The lift, kg.
        neck_lift_kg: f64,
    },
    /// Lift beyond the load.
    FreeLift {
        /// The lift, kg.
        free_lift_kg: f64,
    },
    /// Volume at the temperature and pressure of the site.
    GasVolume {
        /// The volume, m3.
        volume_m3: f64,
    },
    /// The plan's cylinders, emptied.
    CylindersEmptied,
    /// How much gas.
    Amount {
        /// The gas, mol.
        amount_mol: f64,
    },
    /// Rate of ascent at release.
    AscentRate {
        /// The rate, m/s.
        rate_m_s: f64,
    },
    /// Altitude of the burst.
    BurstAltitude {
        /// The altitude, m above mean sea level.
        burst_m: f64,
    },
    /// From the release to the ground.
    FlightTime {
        /// The time, s.
        whole_s: f64,
    },
}

/// The air at the site.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReleaseAir {
    /// Altitude, m above mean sea level.
    pub altitude_m: f64,
    /// Temperature, K.
    pub temperature_k: f64,
    /// Pressure, Pa.
    pub pressure_pa: f64,
    /// The files it is from; none for the standard atmosphere.
    pub air_from: Vec<String>,
}

/// What is lifted, item by item.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ledger {
    /// Boxes, lines, reflector, parachute.
    pub items: Vec<LedgerItem>,
    /// All of them as flown, kg.
    pub load_kg: f64,
    /// All of them as planned, kg; what has no planned mass counts as measured.
    pub planned_kg: f64,
    /// How many have been measured.
    pub measured: usize,
}

/// One item.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LedgerItem {
    /// What it is.
    pub name: String,
    /// Mass as flown, kg: as measured, else as planned.
    pub mass_kg: f64,
    /// Mass as planned, kg, if given.
    pub planned_kg: Option<f64>,
    /// Whether it was measured.
    pub measured: bool,
    /// Length of a line, m, if known.
    pub length_m: Option<f64>,
    /// Strength of a line, N, if known.
    pub strength_n: Option<f64>,
    /// Mass by the area of the smallest face, kg/m2, if that is known.
    pub area_density_kg_m2: Option<f64>,
    /// Diameter of the parachute laid out, m.
    pub laid_out_m: Option<f64>,
    /// Energy at the touchdown, J, of a package.
    pub impact_j: Option<f64>,
}

/// The balloon and its gas.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BalloonAndGas {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Diameter at the burst, m, if the burst goes by it.
    pub burst_diameter_m: Option<f64>,
    /// The gas.
    pub gas: LiftingGas,
}

/// What is filled in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lift {
    /// Displaced air less gas, kg.
    pub gross_kg: f64,
    /// Lift at the neck, kg.
    pub neck_kg: f64,
    /// Lift beyond the load, kg.
    pub free_kg: f64,
    /// Volume at the temperature and pressure of the site, m3.
    pub volume_m3: f64,
    /// Volume at 15 C and 1,013.25 hPa, m3.
    pub standard_m3: f64,
    /// How much gas, mol.
    pub amount_mol: f64,
    /// Diameter at release, m.
    pub release_diameter_m: f64,
    /// Openings it has to fit in or through.
    pub openings: Vec<Opening>,
}

/// Something that the filled balloon has to fit in or through.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Opening {
    /// What it is.
    pub kind: OpeningKind,
    /// Its narrowest side, m.
    pub side_m: f64,
    /// Diameter of the balloon at the high bound of the lift, m.
    pub widest_m: f64,
    /// Room wanted beside it, m.
    pub margin_m: f64,
    /// Whether the balloon fits, with that room.
    pub fits: bool,
}

/// What has to be wide enough.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum OpeningKind {
    /// The balloon is filled in it.
    Shelter,
    /// It is carried through it.
    Door,
}

/// What a fill takes out of cylinders.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CylinderUse {
    /// Whether the plan names any.
    pub at_hand: bool,
    /// The plan's cylinders, in the order in which they are emptied.
    pub cylinders: Vec<Cylinders>,
    /// How many of the usual kinds the fill takes, where the plan names none.
    pub usual: Vec<UsualCylinders>,
    /// What all of them give, m3 at the site.
    pub give_m3: f64,
    /// How much less than the ideal gas law says, as a share.
    pub less_than_ideal: f64,
    /// What the fill leaves of them.
    pub emptied: CylindersAfter,
    /// What is left over, m3 at the site.
    pub left_m3: f64,
    /// What is missing, m3 at the site.
    pub short_m3: f64,
}

/// How many cylinders of a usual kind a fill takes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct UsualCylinders {
    /// The kind.
    #[serde(flatten)]
    pub kind: CylinderKind,
    /// How many, with a part of one.
    pub needed: f64,
}

/// A usual kind of cylinder.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "by", rename_all = "snake_case")]
pub enum CylinderKind {
    /// Named by the gas it gives at 70 F and 14.7 psi.
    Contents {
        /// That volume, m3.
        contents_m3: f64,
    },
    /// Named by its inner volume and the pressure when it is full.
    Pressure {
        /// The inner (water) volume, m3.
        water_volume_m3: f64,
        /// The pressure on the gauge, Pa.
        gauge_pa: f64,
    },
}

/// A flight without wind, as planned.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlightFacts {
    /// Rate of ascent at release, m/s.
    pub release_rate_m_s: f64,
    /// The rate at release with more and with less drag by `drag_share`, m/s: how sure it is for a
    /// lift that is known.
    pub release_rate_bounds_m_s: [f64; 2],
    /// One standard deviation of the drag at a known lift, as a share.
    pub drag_share: f64,
    /// Mean rate of ascent, m/s.
    pub mean_rate_m_s: f64,
    /// From release to 3,000 m above the site, s.
    pub low_climb_s: Option<f64>,
    /// From release to burst, s.
    pub rise_s: f64,
    /// Altitude of the burst, m above mean sea level.
    pub burst_m: f64,
    /// Its spread, one standard deviation, m.
    pub burst_sigma_m: f64,
    /// What that spread is of.
    pub burst_sigma_of: BurstSigma,
    /// From burst to landing, s.
    pub fall_s: f64,
    /// Speeds of fall, from the burst down.
    pub fall_speeds: Vec<SpeedAtHeight>,
    /// Speed at the touchdown at the site's altitude, m/s.
    pub touchdown_m_s: f64,
}

/// What the spread of a burst altitude is of.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum BurstSigma {
    /// Lift and burst diameter.
    LiftAndDiameter {
        /// One standard deviation of the lift, as a share.
        lift_share: f64,
        /// One standard deviation of the burst diameter, as a share.
        diameter_share: f64,
    },
    /// Lift, and the burst altitude itself.
    LiftAndAltitude {
        /// One standard deviation of the lift, as a share.
        lift_share: f64,
        /// One standard deviation of the burst altitude, m.
        altitude_sigma_m: f64,
    },
    /// A burst altitude that is stated.
    StatedAltitude {
        /// The altitude, m above mean sea level.
        burst_m: f64,
    },
    /// What the spread of a burst diameter would be at the stated altitude.
    DiameterAtStatedAltitude {
        /// One standard deviation of the burst diameter, as a share.
        diameter_share: f64,
    },
}

/// How fast the load falls at a height.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpeedAtHeight {
    /// The height, m above mean sea level.
    pub altitude_m: f64,
    /// The speed, m/s.
    pub speed_m_s: f64,
}

/// A flight in three numbers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FlightSummary {
    /// Rate at release, m/s.
    pub release_rate_m_s: f64,
    /// Altitude of the burst, m above mean sea level.
    pub burst_m: f64,
    /// From the release to the ground, s.
    pub whole_s: f64,
}

impl From<Flight> for FlightSummary {
    fn from(flight: Flight) -> FlightSummary {
        FlightSummary {
            release_rate_m_s: flight.release_rate_m_s,
            burst_m: flight.burst_m,
            whole_s: flight.whole_s(),
        }
    }
}

/// What a little more of something changes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sensitivities {
    /// More load with the same gas.
    pub load: CostPerKg,
    /// More load with more gas, so that the rate at release stays.
    pub load_at_rate: CostPerKg,
    /// More gas: lift.
    pub lift: CostPerKg,
    /// Metres of burst altitude for one percent of burst diameter.
    pub burst_m_a_percent: f64,
}

/// Changes by kilogram.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CostPerKg {
    /// Of the rate of ascent at release, m/s a kg.
    pub rate_m_s_kg: f64,
    /// Of the burst altitude, m a kg.
    pub burst_m_kg: f64,
    /// Of the gas at the site, m3 a kg.
    pub gas_m3_kg: f64,
}

/// The weight that the balloon just lifts, and what follows from others.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LiftTest {
    /// Mass of the filler on the neck, kg.
    pub filler_kg: f64,
    /// Whether that is known.
    pub filler_known: bool,
    /// To hang on the filler, kg.
    pub hang_kg: f64,
    /// With too little and too much gas by one standard deviation of the lift, kg.
    pub bounds_kg: [f64; 2],
    /// That standard deviation, as a share of the neck lift.
    pub bounds_share: f64,
    /// What follows when it just lifts other weights, by rising weight.
    pub rows: Vec<LiftRow>,
    /// What wind does to the test.
    pub wind: Vec<WindRow>,
}

/// What follows when the balloon just lifts a weight.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LiftRow {
    /// The weight hung on the filler, kg.
    pub hang_kg: f64,
    /// Lift at the neck: weight and filler, kg.
    pub neck_kg: f64,
    /// Lift beyond the load, kg.
    pub free_kg: f64,
    /// Gas at the site, m3.
    pub volume_m3: f64,
    /// The flight, if there is one.
    pub flight: Option<FlightSummary>,
    /// What the row is.
    pub which: LiftRowKind,
}

/// What a row of the lift test is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LiftRowKind {
    /// The target.
    Target,
    /// The low or high bound.
    Bound,
    /// Asked for.
    Asked,
    /// One of the others.
    Other,
}

/// A steady wind on the balloon while its lift is tested.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WindRow {
    /// The wind, m/s.
    pub wind_m_s: f64,
    /// What it pulls sideways, as the mass it would hold, kg.
    pub pull_kg: f64,
    /// How far the line leans from upright, degrees.
    pub lean_deg: f64,
    /// What a spring scale in the line reads too much, kg.
    pub too_much_kg: f64,
}

/// Flights of one balloon by neck lift.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Curve {
    /// Mass of the balloon, kg.
    pub balloon_kg: f64,
    /// Diameter at the burst, m.
    pub burst_diameter_m: Option<f64>,
    /// The points, by rising neck lift.
    pub points: Vec<CurvePoint>,
}

/// One fill of a balloon.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CurvePoint {
    /// Lift at the neck, kg.
    pub neck_kg: f64,
    /// Gas at the site, m3.
    pub volume_m3: f64,
    /// Diameter at release, m.
    pub diameter_m: f64,
    /// The flight, if there is one.
    pub flight: Option<FlightSummary>,
}

//! What flies, as the plan describes it: what hangs below, what carries it up, how it comes down.

use crate::flight::rates::RateTable;
use crate::sizing::Known;
use crate::vehicle::balloon::LiftingGas;
use crate::vehicle::burst::Burst;

/// Everything that flies.
#[derive(Debug, Clone, PartialEq)]
pub struct StackPlan {
    /// What hangs below, item by item; the parachute stands in the descent.
    pub load: Vec<LoadItem>,
    /// The way up.
    pub ascent: Ascent,
    /// The way down.
    pub descent: Descent,
    /// The gas at hand, in the order in which cylinders are emptied.
    pub cylinders: Vec<CylinderPlan>,
}

impl StackPlan {
    /// Mass of everything below the neck, kg: the load and the parachute.
    pub fn load_kg(&self) -> f64 {
        let items: f64 = self.load.iter().map(|item| item.mass_kg).sum();
        // Lifted as well where a stated speed of fall leaves it nothing to do.
        items + self.descent.parachute().map_or(0.0, |p| p.mass_kg)
    }

    /// Whether the balloon gets what is in the cylinders.
    pub fn filled_from_cylinders(&self) -> bool {
        let balloon = self.ascent.balloon();
        balloon.is_some_and(|balloon| balloon.fill == Known::Cylinders)
    }
}

/// Whether the name of a part of the load speaks of the parachute.
pub fn names_parachute(name: &str) -> bool {
    // The short form of the word counts as well.
    name.to_lowercase().contains("chute")
}

/// How a stack rises.
#[derive(Debug, Clone, PartialEq)]
pub enum Ascent {
    /// By the lift of a balloon, up to its burst.
    Balloon(BalloonPlan),
    /// At stated rates, up to the burst of a balloon.
    BalloonAtRates(BalloonPlan, RateTable),
    /// At stated rates, up to a stated altitude.
    Rates {
        /// The rates.
        rates: RateTable,
        /// The altitude, m above mean sea level.
        burst_altitude_m: f64,
    },
}

impl Ascent {
    /// The balloon, if the plan describes it.
    pub fn balloon(&self) -> Option<&BalloonPlan> {
        match self {
            Ascent::Balloon(balloon) | Ascent::BalloonAtRates(balloon, _) => Some(balloon),
            Ascent::Rates { .. } => None,
        }
    }

    /// The balloon, to be changed.
    pub fn balloon_mut(&mut self) -> Option<&mut BalloonPlan> {
        match self {
            Ascent::Balloon(balloon) | Ascent::BalloonAtRates(balloon, _) => Some(balloon),
            Ascent::Rates { .. } => None,
        }
    }

    /// The rates, if they are stated.
    pub fn rates(&self) -> Option<&RateTable> {
        match self {
            Ascent::Balloon(_) => None,
            Ascent::BalloonAtRates(_, rates) | Ascent::Rates { rates, .. } => Some(rates),
        }
    }

    /// The rates, to be changed.
    pub fn rates_mut(&mut self) -> Option<&mut RateTable> {
        match self {
            Ascent::Balloon(_) => None,
            Ascent::BalloonAtRates(_, rates) | Ascent::Rates { rates, .. } => Some(rates),
        }
    }

    /// The altitude of the burst, m above mean sea level, if it is stated.
    pub fn burst_altitude_m(&self) -> Option<f64> {
        match self {
            Ascent::Balloon(balloon) | Ascent::BalloonAtRates(balloon, _) => {
                balloon.burst.altitude_m()
            }
            Ascent::Rates {
                burst_altitude_m, ..
            } => Some(*burst_altitude_m),
        }
    }

    /// The same, to be changed.
    pub fn burst_altitude_mut(&mut self) -> Option<&mut f64> {
        match self {
            Ascent::Balloon(balloon) | Ascent::BalloonAtRates(balloon, _) => {
                balloon.burst.altitude_mut()
            }
            Ascent::Rates {
                burst_altitude_m, ..
            } => Some(burst_altitude_m),
        }
    }
}

/// The balloon of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct BalloonPlan {
    /// Mass, kg.
    pub mass_kg: f64,
    /// When it bursts.
    pub burst: Burst,
    /// Which table its burst diameter is from, where the plan does not give it.
    pub diameter_from: Option<String>,
    /// The gas; its purity is 1 where the plan does not say.
    pub gas: LiftingGas,
    /// Whether the plan gives the purity.
    pub purity_given: bool,
    /// How much gas.
    pub fill: Known,
    /// Mass of the filler that hangs on the neck while the lift is tested, kg, if given.
    pub filler_kg: Option<f64>,
}

/// How a stack comes down. Where its speed is stated, a parachute only weighs.
#[derive(Debug, Clone, PartialEq)]
pub enum Descent {
    /// As the parachute lets it.
    Parachute {
        /// The parachute.
        parachute: ParachutePlan,
        /// Share of the balloon that stays on the line after the burst, if the plan says.
        remnant: Option<f64>,
    },
    /// With a stated speed at the landing.
    LandingSpeed {
        /// At standard sea-level density, m/s.
        landing_speed_m_s: f64,
        /// The parachute, if the plan describes it.
        parachute: Option<ParachutePlan>,
    },
    /// At stated speeds.
    Rates {
        /// The speeds.
        rates: RateTable,
        /// The parachute, if the plan describes it.
        parachute: Option<ParachutePlan>,
    },
}

impl Descent {
    /// The parachute, if the plan describes it.
    pub fn parachute(&self) -> Option<&ParachutePlan> {
        match self {
            Descent::Parachute { parachute, .. } => Some(parachute),
            Descent::LandingSpeed { parachute, .. } | Descent::Rates { parachute, .. } => {
                parachute.as_ref()
            }
        }
    }
}

/// The parachute of a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ParachutePlan {
    /// Nominal (laid-out) diameter, m.
    pub diameter_m: f64,
    /// Drag coefficient on the nominal area, if given.
    pub drag_coefficient: Option<f64>,
    /// Mass that flies, kg: as measured, else as planned; 0 where it is among the load.
    pub mass_kg: f64,
    /// Mass as planned, kg, if given.
    pub planned_kg: Option<f64>,
    /// Whether the mass was measured.
    pub measured: bool,
}

/// One thing that hangs below.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadItem {
    /// What it is.
    pub name: String,
    /// Mass that flies, kg: as measured, else as planned.
    pub mass_kg: f64,
    /// Mass as planned, kg, if given.
    pub planned_kg: Option<f64>,
    /// Whether the mass was measured.
    pub measured: bool,
    /// What kind of thing it is, if given.
    pub kind: Option<LoadKind>,
    /// Sides of its smallest face, m, if given.
    pub smallest_face_m: Option<(f64, f64)>,
    /// Length of a line, m, if given.
    pub length_m: Option<f64>,
    /// Breaking strength of a line, N, if given.
    pub strength_n: Option<f64>,
}

/// Kinds of things that hang below.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadKind {
    /// A package, as rules call it.
    Box,
    /// A line that carries what is below it.
    Line,
    /// A radar reflector.
    Reflector,
    /// Anything else.
    Other,
}

impl LoadItem {
    /// Whether rules may count it as a package: a box, or a thing of which nothing is said.
    pub fn is_package(&self) -> bool {
        matches!(self.kind, None | Some(LoadKind::Box))
    }

    /// Whether the parachute may be in it, by its name: a line to the parachute is none, but what is called nothing
    /// else is one, even with a length.
    pub fn may_be_parachute(&self) -> bool {
        let one_word = !self.name.trim().contains(|c: char| !c.is_alphabetic());
        names_parachute(&self.name) && (one_word || self.kind != Some(LoadKind::Line))
    }
}

/// Cylinders of one kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CylinderPlan {
    /// How many.
    pub count: u32,
    /// What is in each.
    pub content: CylinderContent,
    /// Temperature, K; that of the air where the plan does not say.
    pub temperature_k: Option<f64>,
}

/// What is in a cylinder, as the plan tells it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CylinderContent {
    /// By its size and its gauge.
    Pressure {
        /// Inner volume, m3.
        water_volume_m3: f64,
        /// Pressure on the gauge, Pa above that of the air.
        gauge_pa: f64,
    },
    /// Full, by the volume of the gas that it gives at 70 F and 14.7 psi, m3.
    Contents(f64),
}

impl CylinderContent {
    /// Whether it is told by the gas that it gives.
    pub fn is_by_contents(self) -> bool {
        matches!(self, CylinderContent::Contents(_))
    }
}

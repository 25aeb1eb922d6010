//! What a fill of gas makes of a stack, and the fill that makes what is wanted of it.
//!
//! The way up and down is that of the flights of a landing zone: the same drag curve, gas
//! temperature, layers and integrator, without wind and without spread.

mod solve;

pub use self::solve::{Known, Unsolved, in_words as miss_in_words};
use std::sync::Arc;

use crate::atmosphere::{Air, AirProfile};
use crate::flight::layers::{LayerWinds, Layers, THICKNESS_M};
use crate::flight::model::{
    Departures, Fall, FlightModel, FlightWinds, Moment, Scratch, Variation,
};
use crate::flight::rise::{Miss, Rise, RisePlan, RiseSpread, RiseTable};
use crate::geodesy::{Compass, Position};
use crate::vehicle::ascent::{Climber, DragCurve, GasHeat};
use crate::vehicle::balloon::{Balloon, GasFill, LiftingGas, sphere_diameter_m, sphere_volume_m3};
use crate::vehicle::burst::Burst;
use crate::vehicle::cylinder::{Cylinders, all_give_mol};
use crate::wind::column::WindProfile;
use crate::wind::sounding::Wind;

/// Highest altitude flights are followed to, m; the highest balloons of rubber reach little more.
pub const CEILING_M: f64 = 50_000.0;

/// How high above the site the first part of the climb is timed, m.
pub const LOW_CLIMB_M: f64 = 3_000.0;

/// Everything about a stack but how much gas is in it.
#[derive(Debug, Clone)]
pub struct Stack {
    /// Mass of the empty balloon, kg.
    pub balloon_kg: f64,
    /// What lifts.
    pub gas: LiftingGas,
    /// Mass of all that hangs below the neck, kg.
    pub load_kg: f64,
    /// When the balloon bursts.
    pub burst: Burst,
    /// The gas at hand.
    pub cylinders: Vec<Cylinders>,
    /// The air above the site.
    pub air: AirProfile,
    /// Flights but for the rise.
    frame: FlightModel,
}

/// A stack with gas in it, on the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Filled {
    /// The gas.
    pub fill: GasFill,
    /// Displaced air less gas, kg.
    pub gross_lift_kg: f64,
    /// Lift at the neck, kg.
    pub neck_lift_kg: f64,
    /// Lift beyond the load, kg.
    pub free_lift_kg: f64,
    /// Volume of the gas at the temperature and pressure of the site, m3.
    pub volume_m3: f64,
    /// Diameter at release, m.
    pub diameter_m: f64,
}

/// The flight of a filled stack as planned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flight {
    /// Rate of ascent at release, m/s.
    pub release_rate_m_s: f64,
    /// Mean rate of ascent up to the burst, m/s.
    pub mean_rate_m_s: f64,
    /// From the release to [`LOW_CLIMB_M`] above the site, s; `None` where it bursts below.
    pub low_climb_s: Option<f64>,
    /// From the release to the burst, s.
    pub rise_s: f64,
    /// Altitude of the burst, m above mean sea level.
    pub burst_m: f64,
    /// From the burst to the ground, s.
    pub fall_s: f64,
}

impl Flight {
    /// From the release to the ground, s.
    pub fn whole_s(&self) -> f64 {
        self.rise_s + self.fall_s
    }
}

impl Stack {
    /// The layers that flights from a site at `site_m` above mean sea level go through.
    pub fn layers(site_m: f64) -> Layers {
        Layers::covering(site_m, CEILING_M, THICKNESS_M)
    }

    /// A stack to be filled at a site at `site_m` above mean sea level, which falls through
    /// [`Stack::layers`] as `fall` says.
    pub fn new(
        balloon: Balloon,
        gas: LiftingGas,
        load_kg: f64,
        air: AirProfile,
        site_m: f64,
        fall: Fall,
    ) -> Stack {
        let layers = Stack::layers(site_m);
        let calm = Wind::from_direction(0.0, 0.0);
        let winds = WindProfile::new(&[(site_m, calm)]);
        // Anywhere: there is no wind.
        let place = Position {
            lat_deg: 0.0,
            lon_deg: 0.0,
        };
        Stack {
            balloon_kg: balloon.mass_kg,
            gas,
            load_kg,
            burst: balloon.burst,
            cylinders: Vec::new(),
            air,
            frame: FlightModel {
                layers,
                release_layer: 0,
                ground: None,
                winds: FlightWinds::Column(LayerWinds::of_profile(&winds, &layers)),
                // Each fill puts in its own.
                rise: Rise::Stated {
                    seconds: Vec::new(),
                    burst_altitude_m: site_m,
                },
                fall,
                start: place.normal(),
                compass: Compass::at(place),
            },
        }
    }

    /// The same stack with another load, kg; its fall stays as it was.
    #[must_use]
    pub fn with_load(&self, load_kg: f64) -> Stack {
        Stack {
            load_kg,
            ..self.clone()
        }
    }

    /// The same stack with the diameter at the burst multiplied by a factor.
    #[must_use]
    pub fn with_wider_burst(&self, factor: f64) -> Stack {
        Stack {
            burst: self.burst.wider(factor),
            ..self.clone()
        }
    }

    /// Altitude of the site, m above mean sea level.
    pub fn site_m(&self) -> f64 {
        self.frame.layers.base_m
    }

    /// The air at the site.
    pub fn here(&self) -> Air {
        self.air.at(self.site_m())
    }

    /// Speed of fall in the layer at an altitude (m above mean sea level), m/s.
    pub fn fall_speed_m_s(&self, altitude_m: f64) -> f64 {
        let layers = &self.frame.layers;
        layers.thickness_m / self.frame.fall.seconds[layers.locate(altitude_m).0]
    }

    /// The stack with so much gas, mol.
    pub fn filled(&self, amount_mol: f64) -> Filled {
        let fill = GasFill {
            gas: self.gas,
            amount_mol,
        };
        let here = self.here();
        let volume_m3 = fill.volume_m3(here.temperature_k, here.pressure_pa);
        let gross_lift_kg = fill.gross_lift_kg(&here);
        Filled {
            fill,
            gross_lift_kg,
            neck_lift_kg: gross_lift_kg - self.balloon_kg,
            free_lift_kg: gross_lift_kg - self.balloon_kg - self.load_kg,
            volume_m3,
            diameter_m: sphere_diameter_m(volume_m3),
        }
    }

    /// The stack with gas for a lift at the neck, kg.
    pub fn with_neck_lift(&self, neck_lift_kg: f64) -> Filled {
        let gross_kg = neck_lift_kg + self.balloon_kg;
        self.filled(GasFill::of_gross_lift(self.gas, gross_kg, &self.here()).amount_mol)
    }

    /// Gas that fills the balloon to its burst diameter on the ground, mol, where that is known.
    pub fn bursting_mol(&self) -> Option<f64> {
        let volume_m3 = sphere_volume_m3(self.burst.diameter_m()?);
        Some(GasFill::of_volume(self.gas, volume_m3, &self.here()).amount_mol)
    }

    /// Gas that the cylinders give, mol; `None` where the equation of the gas does not reach.
    pub fn at_hand_mol(&self) -> Option<f64> {
        all_give_mol(&self.cylinders, self.gas.gas, self.here().pressure_pa)
    }

    /// How a filled stack rises.
    pub fn rise_plan(&self, filled: &Filled) -> RisePlan {
        RisePlan {
            climber: Climber {
                dead_mass_kg: self.balloon_kg + self.load_kg,
                fill: filled.fill,
                drag: DragCurve::FITTED,
                drag_factor: 1.0,
                heat: GasHeat::Convective,
            },
            balloon_kg: self.balloon_kg,
            gross_lift_kg: filled.gross_lift_kg,
        }
    }

    /// Rate of ascent of a filled stack at release, m/s; 0 where it does not rise.
    pub fn release_rate_m_s(&self, filled: &Filled) -> f64 {
        let climber = self.rise_plan(filled).climber;
        climber.rate_at(&self.air, self.site_m())
    }

    /// Rates of ascent at release with more and with less drag by a share, m/s.
    pub fn release_rate_bounds_m_s(&self, filled: &Filled, drag_share: f64) -> [f64; 2] {
        // More drag first, as it makes the low bound.
        [1.0 + drag_share, 1.0 - drag_share].map(|drag_factor| {
            let climber = Climber {
                drag_factor,
                ..self.rise_plan(filled).climber
            };
            climber.rate_at(&self.air, self.site_m())
        })
    }

    /// The flight of a filled stack.
    ///
    /// # Errors
    ///
    /// Why it does not come about.
    pub fn fly(&self, filled: &Filled) -> Result<Flight, Miss> {
        // Known without a climb, which solving for a fill makes many of.
        if filled.free_lift_kg <= 0.0 {
            return Err(Miss::Stalls);
        }
        let layers = &self.frame.layers;
        let exactly = RiseSpread {
            lift: 0.0,
            drag: 0.0,
            ln_re0: 0.0,
        };
        let table = RiseTable::new(&self.rise_plan(filled), exactly, &self.air, layers);
        let model = FlightModel {
            rise: Rise::Balloon {
                table: Arc::new(table),
                burst: self.burst,
            },
            ..self.frame.clone()
        };
        let mut low_climb_s = None;
        let mut look = |m: Moment| {
            // The first moment so high: the way down passes there once more.
            if low_climb_s.is_none() && m.altitude_m >= self.site_m() + LOW_CLIMB_M {
                low_climb_s = Some(m.time_s);
            }
        };
        let flown = model.fly(
            &Variation::NONE,
            Departures::NONE,
            &mut Scratch::default(),
            Some(&mut look),
        )?;
        let rise_s = flown.burst.time_s;
        Ok(Flight {
            release_rate_m_s: self.release_rate_m_s(filled),
            mean_rate_m_s: (flown.burst.altitude_m - self.site_m()) / rise_s,
            // Boundaries of layers lie at this height, so that the time there is exact; a burst
            // just below it is no passage.
            low_climb_s: low_climb_s.filter(|&s| s <= rise_s),
            rise_s,
            burst_m: flown.burst.altitude_m,
            fall_s: flown.landing.time_s - rise_s,
        })
    }
}

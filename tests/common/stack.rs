//! A stack of a usual size in the column of the Riverton sounding: 1,200 g balloon, 4.08 kg of load,
//! 6.8 kg of neck lift in helium, 5 m/s at the landing.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use std::sync::Arc;

use windfall::flight::layers::{LayerWinds, Layers};
use windfall::flight::model::{Fall, FlightModel, FlightWinds};
use windfall::flight::rates::RateTable;
use windfall::flight::rise::{Rise, RisePlan, RiseSpread, RiseTable, RiseVariation};
use windfall::geodesy::{Compass, Position};
use windfall::spread::draws::{FallingMass, Sampler, Spread};
use windfall::vehicle::ascent::{Climber, DragCurve, GasHeat};
use windfall::vehicle::balloon::{Gas, GasFill, LiftingGas};
use windfall::vehicle::burst::Burst;
use windfall::vehicle::descent::FallSpeed;
use windfall::wind::column::Column;
use windfall::wind::error::WindError;
use windfall::wind::error_process::WindErrorProcess;

use super::common::{MeasuredFlight, column};

pub const BURST_DIAMETER_M: f64 = 8.63;
const BALLOON_KG: f64 = 1.2;
const LOAD_KG: f64 = 4.08;
const NECK_LIFT_KG: f64 = 6.8;

pub struct Stack {
    pub column: Column,
    pub plan: RisePlan,
    pub site: Position,
    pub elevation_m: f64,
}

impl Stack {
    pub fn at_riverton() -> Stack {
        let flight = MeasuredFlight::read("riverton_2026-02-05");
        let rising = flight.rising();
        let column = column(&rising, flight.air());
        let elevation_m = rising[0].altitude_m;
        let gas = LiftingGas {
            gas: Gas::Helium,
            purity: 1.0,
        };
        let gross_lift_kg = NECK_LIFT_KG + BALLOON_KG;
        let plan = RisePlan {
            climber: Climber {
                dead_mass_kg: BALLOON_KG + LOAD_KG,
                fill: GasFill::of_gross_lift(gas, gross_lift_kg, &column.air.at(elevation_m)),
                drag: DragCurve::FITTED,
                drag_factor: 1.0,
                heat: GasHeat::Convective,
            },
            balloon_kg: BALLOON_KG,
            gross_lift_kg,
        };
        Stack {
            column,
            plan,
            site: rising[0].place,
            elevation_m,
        }
    }

    pub fn layers(&self, thickness_m: f64) -> Layers {
        Layers::covering(self.elevation_m, 40_000.0, thickness_m)
    }

    pub fn spread(&self) -> Spread {
        Spread::ASSUMED
    }

    pub fn rise_spread(&self) -> RiseSpread {
        let spread = self.spread();
        RiseSpread {
            lift: spread.lift,
            drag: spread.drag,
            ln_re0: spread.ln_re0,
        }
    }

    pub fn sampler(&self) -> Sampler {
        Sampler {
            seed: 1,
            spread: self.spread(),
            mass: FallingMass {
                load_kg: LOAD_KG,
                balloon_kg: BALLOON_KG,
                remnant: 0.3,
            },
            members: 1,
        }
    }

    /// A rise table of the stack with lift, drag and ln Re0 changed, and with a spread.
    pub fn rise(&self, plan: &RisePlan, spread: RiseSpread, thickness_m: f64) -> Rise {
        let layers = self.layers(thickness_m);
        Rise::Balloon {
            table: Arc::new(RiseTable::new(plan, spread, &self.column.air, &layers)),
            burst: Burst::Diameter {
                diameter_m: BURST_DIAMETER_M,
            },
        }
    }

    pub fn model(&self, rise: Rise, thickness_m: f64) -> FlightModel {
        let layers = self.layers(thickness_m);
        let fall = FallSpeed::landing_at(5.0);
        FlightModel {
            layers,
            winds: FlightWinds::Column(LayerWinds::of_profile(&self.column.winds, &layers)),
            rise,
            fall: Fall::at_speed(&fall, &self.column.air, &layers),
            start: self.site.normal(),
            compass: Compass::at(self.site),
            release_layer: 0,
            ground: None,
        }
    }

    pub fn balloon_model(&self, thickness_m: f64) -> FlightModel {
        let rise = self.rise(&self.plan, self.rise_spread(), thickness_m);
        self.model(rise, thickness_m)
    }

    /// The same with stated rates: 5 m/s to 10 km, 4.5 m/s above, burst at 29 km.
    pub fn stated_model(&self, thickness_m: f64) -> FlightModel {
        let rates = RateTable::new(vec![(0.0, 5.0), (10_000.0, 4.5)]).expect("rates");
        let rise = Rise::stated(&rates, 29_000.0, &self.layers(thickness_m));
        self.model(rise, thickness_m)
    }

    /// The error of a sounding six hours old over the planned flight.
    pub fn wind_error(&self, model: &FlightModel) -> WindErrorProcess {
        let latitude = self.column.position.map_or(45.0, |p| p.lat_deg);
        let error = WindError::of_sounding(&self.column.winds, latitude, 6.0 * 3_600.0, 0.0);
        self.process(model, &error)
    }

    /// An error of the winds over the planned flight.
    pub fn process(&self, model: &FlightModel, error: &WindError) -> WindErrorProcess {
        let layers = &model.layers;
        let heights: Vec<f64> = (0..layers.count).map(|k| layers.middle_m(k)).collect();
        let mut seconds = Vec::new();
        let burst_m = model
            .rise
            .of(layers, &RiseVariation::NONE, 1.0, 0.0, &mut seconds)
            .expect("it rises");
        let (last, share) = layers.locate(burst_m);
        seconds.resize(layers.count, 0.0);
        for (k, s) in seconds.iter_mut().enumerate() {
            *s += model.fall.seconds[k];
            *s *= match k.cmp(&last) {
                std::cmp::Ordering::Less => 1.0,
                std::cmp::Ordering::Equal => share,
                std::cmp::Ordering::Greater => 0.0,
            };
        }
        WindErrorProcess::new(error, &heights, &seconds)
    }
}

//! From a plan and a column of wind to a flight model and what varies about it.

use std::sync::Arc;

use super::stack::{self, FilledBalloon};
use super::terrain::layers_below;
use crate::atmosphere::{AirProfile, LARGEST_DENSITY_SCALE_HEIGHT_M};
use crate::error::{Error, Result};
use crate::flight::layers::{LayerWinds, Layers, STATED_THICKNESS_M, THICKNESS_M};
use crate::flight::model::{Fall, FlightModel, Winds};
use crate::flight::rise::{Rise, RiseSpread, RiseTable};
use crate::geodesy::Compass;
use crate::ground::terrain::Terrain;
use crate::plan::Plan;
use crate::sizing::CEILING_M;
use crate::spread::draws::{BurstSpread, FallingMass, Spread};
use crate::units::UnitSystem;
use crate::vehicle::ascent::STATED_RATE_ERROR;
use crate::vehicle::balloon::sphere_diameter_m;
use crate::vehicle::burst::EARLY_BURST_DIAMETER;
use crate::vehicle::descent::THIN_AIR_EXPONENT_SIGMA;
use crate::wind::column::Column;

/// Spread of the drag area where the landing speed was stated, one standard deviation (assumed).
const STATED_FALL_AREA: f64 = 0.10;

/// Spread of the drag behind a stated rate of ascent, one standard deviation (assumed).
const STATED_RATE_DRAG: f64 = 0.08;

/// A flight model with what varies about it.
#[derive(Debug, Clone)]
pub struct Setup {
    /// The model.
    pub model: FlightModel,
    /// What varies.
    pub spread: Spread,
    /// What falls.
    pub mass: FallingMass,
    /// The filled balloon, when the plan describes one.
    pub balloon: Option<FilledBalloon>,
}

impl Setup {
    /// Sets the plan up in a column of wind, above a site at `site_m`, to come down on `terrain`; for
    /// flights `through_field` the layers must not be thicker than its steps. Says what it assumes.
    ///
    /// # Errors
    ///
    /// [`Error::CannotDo`] when the stack cannot rise, bursts on the ground or never bursts.
    pub fn new(
        plan: &Plan,
        column: &Column,
        site_m: f64,
        terrain: Option<&Arc<Terrain>>,
        through_field: bool,
        units: UnitSystem,
        assumed: &mut Vec<String>,
    ) -> Result<Setup> {
        let balloon = match &plan.balloon {
            Some(b) => Some(stack::filled_balloon(plan, b, &column.air, site_m)?),
            None => None,
        };
        if let (Some(from), Some(b)) = (&plan.burst_assumed, &plan.balloon) {
            assumed.push(stack::burst_diameter_assumed(b, from, units));
        }
        if plan.balloon.is_some_and(|b| !b.purity_given) {
            assumed.push("pure gas (no gas_purity given), assumed".into());
        }
        if let Some(altitude) = plan.burst_altitude_m.filter(|z| *z <= site_m) {
            return Err(bursts_on_ground(format!(
                "the burst altitude of {} above sea level is not above the site at {}",
                units.height(altitude),
                units.height(site_m)
            )));
        }
        let (fall, mass) = stack::fall(plan, units, assumed);
        let mut spread = spread(plan, assumed);
        let planned_burst_m = planned_burst(plan, balloon.as_ref(), &column.air, site_m, units)?;
        let thickness_m = match plan.ascent_rates {
            Some(_) if !through_field && terrain.is_none() => STATED_THICKNESS_M,
            _ => THICKNESS_M,
        };
        let above_site = Layers::covering(site_m, top(planned_burst_m, &spread), thickness_m);
        let below = layers_below(terrain.map(AsRef::as_ref), site_m, thickness_m);
        let layers = above_site.lowered(below);

        let rise = match (&plan.ascent_rates, &balloon) {
            (Some(rates), _) => {
                spread.burst = by_altitude(spread.burst, &column.air, planned_burst_m, site_m);
                spread.ln_re0 = 0.0;
                assumed.push("a stated rate varies with the lift in proportion and with the root of the drag, assumed".into());
                Rise::stated(rates, planned_burst_m, &above_site)
            }
            (None, Some(balloon)) => {
                if plan.burst_altitude_m.is_some() {
                    spread.burst = by_altitude(spread.burst, &column.air, planned_burst_m, site_m);
                }
                assumed.push("ascent by a drag curve fitted to thirty flights, most of lighter stacks, and to rates at known lifts; its scatter is in the spread".into());
                balloon_rise(plan, balloon, &spread, &column.air, &above_site)
            }
            // The plan's check leaves no other case.
            (None, None) => {
                return Err(Error::CannotDo {
                    why: "the plan has neither a balloon nor a rate of ascent".into(),
                    remedy: "expected [balloon] or [ascent] rate".into(),
                });
            }
        };
        let start = plan.site.normal();
        let model = FlightModel {
            winds: Winds::Column(LayerWinds::of_profile(&column.winds, &layers)),
            fall: match &plan.descent_rates {
                Some(rates) => Fall::stated(rates, &layers),
                None => Fall::at_speed(&fall, &column.air, &layers),
            },
            rise,
            layers,
            start,
            compass: Compass::at(plan.site),
            release_layer: below,
            ground: terrain.cloned(),
        };
        if plan.descent_rates.is_some() {
            spread.fall_exponent = 0.0;
        } else {
            assumed.push(format!(
                "drag area goes with the density of the air to the power {:+.2} (sd {THIN_AIR_EXPONENT_SIGMA:.2}), that of measured falls with such a landing speed, assumed",
                -fall.thin_air_exponent
            ));
        }
        Ok(Setup {
            model,
            spread,
            mass,
            balloon,
        })
    }
}

fn bursts_on_ground(why: String) -> Error {
    Error::CannotDo {
        why,
        remedy:
            "expected a burst above the site: less gas, a larger balloon or a higher burst altitude"
                .into(),
    }
}

fn balloon_rise(
    plan: &Plan,
    balloon: &FilledBalloon,
    spread: &Spread,
    air: &AirProfile,
    layers: &Layers,
) -> Rise {
    let varied = RiseSpread {
        lift: spread.lift,
        drag: spread.drag,
        ln_re0: spread.ln_re0,
    };
    Rise::Balloon {
        table: Box::new(RiseTable::new(&balloon.rise, varied, air, layers)),
        burst_diameter_m: balloon.burst_diameter_m.unwrap_or(f64::INFINITY),
        burst_altitude_m: plan.burst_altitude_m,
    }
}

/// Altitude of the burst as planned, m.
fn planned_burst(
    plan: &Plan,
    balloon: Option<&FilledBalloon>,
    air: &AirProfile,
    site_m: f64,
    units: UnitSystem,
) -> Result<f64> {
    if let Some(altitude) = plan.burst_altitude_m {
        return Ok(altitude);
    }
    let Some((balloon, burst_diameter_m)) = balloon.and_then(|b| Some((b, b.burst_diameter_m?)))
    else {
        return Err(Error::CannotDo {
            why: "the plan has neither a burst diameter nor a burst altitude".into(),
            remedy: "expected [balloon] burst_diameter or [ascent] burst_altitude".into(),
        });
    };
    burst_by_diameter(balloon, burst_diameter_m, air, site_m, units)
}

fn burst_by_diameter(
    balloon: &FilledBalloon,
    burst_diameter_m: f64,
    air: &AirProfile,
    site_m: f64,
    units: UnitSystem,
) -> Result<f64> {
    let at_release = sphere_diameter_m(balloon.volume_m3);
    if at_release >= burst_diameter_m {
        return Err(bursts_on_ground(format!(
            "the gas fills a sphere of {} at the site, the balloon bursts at {}",
            units.size(at_release),
            units.size(burst_diameter_m)
        )));
    }
    let layers = Layers::covering(site_m, CEILING_M, THICKNESS_M);
    let climb = balloon
        .rise
        .climber
        .climb(air, site_m, layers.thickness_m, layers.count);
    let burst = climb
        .states
        .iter()
        .position(|state| state.diameter_m >= burst_diameter_m);
    let stall = climb.seconds.iter().position(|s| s.is_infinite());
    match (burst, stall) {
        (Some(k), None) => Ok(layers.altitude_m(k)),
        (Some(k), Some(stall)) if k <= stall => Ok(layers.altitude_m(k)),
        (_, Some(k)) => Err(Error::CannotDo {
            why: format!(
                "the balloon stops rising at {} above sea level without bursting: the gas grows colder than the air and the free lift is used up",
                units.height(layers.altitude_m(k))
            ),
            remedy: "expected more gas or less load".into(),
        }),
        (None, None) => Err(Error::CannotDo {
            why: format!(
                "the balloon has not reached its burst diameter of {} at {} above sea level",
                units.size(burst_diameter_m),
                units.height(CEILING_M)
            ),
            remedy: "expected a smaller burst diameter or more gas".into(),
        }),
    }
}

/// How high the layers must reach so that every draw bursts in them: with the gas at air
/// temperature the burst rises by 3 H ln(1 + x) for a diameter larger by x, and by H x for a
/// volume smaller by x, with the density scale height H.
fn top(planned_burst_m: f64, spread: &Spread) -> f64 {
    let higher = match spread.burst {
        BurstSpread::Diameter(sigma) => {
            3.0 * LARGEST_DENSITY_SCALE_HEIGHT_M * (1.0 + 4.0 * sigma).ln()
        }
        BurstSpread::AltitudeM { sigma_m, .. } => 4.0 * sigma_m,
    };
    (planned_burst_m + higher + LARGEST_DENSITY_SCALE_HEIGHT_M * 5.0 * spread.lift + 500.0)
        .min(CEILING_M)
}

/// The spread of a burst diameter as one of the burst altitude: dz = 3 H dD / D, with the density
/// scale height H of the air there. Early bursts lie 3 H ln x higher, x below 1; of a low burst they
/// stay at a tenth of its height above the site or more.
fn by_altitude(burst: BurstSpread, air: &AirProfile, burst_m: f64, site_m: f64) -> BurstSpread {
    let scale_m = air.density_scale_height_m(burst_m);
    BurstSpread::AltitudeM {
        sigma_m: match burst {
            BurstSpread::AltitudeM { sigma_m, .. } => sigma_m,
            BurstSpread::Diameter(sigma) => 3.0 * scale_m * sigma,
        },
        scale_m: Some(scale_m.min(0.3 * (burst_m - site_m) / -EARLY_BURST_DIAMETER[0].ln())),
    }
}

/// The spread of a plan, with what is assumed where it gives nothing.
fn spread(plan: &Plan, assumed: &mut Vec<String>) -> Spread {
    let s = &plan.spread;
    let mut spread = Spread::ASSUMED;
    if let Some(rates) = &plan.ascent_rates {
        spread.drag = STATED_RATE_DRAG;
        if rates.is_constant() {
            spread.rate_error = STATED_RATE_ERROR;
        }
    }
    let mut share = |to: &mut f64, given: Option<f64>, what: &str| match given {
        Some(given) => *to = given,
        None => assumed.push(format!(
            "{what} varies by {:.0} % (sd), assumed",
            100.0 * *to
        )),
    };
    share(&mut spread.lift, s.lift, "lift");
    share(&mut spread.drag, s.drag, "drag of the balloon");
    let what = "rate of ascent from height to height";
    share(&mut spread.rate_error, s.rate, what);
    match (s.burst_altitude_m, &mut spread.burst) {
        (Some(sigma_m), burst) => {
            *burst = BurstSpread::AltitudeM {
                sigma_m,
                scale_m: None,
            }
        }
        (None, BurstSpread::Diameter(sigma)) => share(sigma, s.burst_diameter, "burst diameter"),
        (None, BurstSpread::AltitudeM { .. }) => {}
    }
    let falls_by_mass = plan.landing_speed_m_s.is_none() && plan.descent_rates.is_none();
    if falls_by_mass {
        share(
            &mut spread.parachute,
            s.parachute,
            "drag area of the parachute",
        );
    } else {
        spread.parachute = STATED_FALL_AREA;
        let what = "drag area behind the stated speed of fall";
        share(&mut spread.parachute, s.parachute, what);
    }
    if falls_by_mass && plan.balloon.is_some() {
        let what = "share of the balloon left on the line";
        share(&mut spread.remnant, s.remnant, what);
    } else {
        spread.remnant = 0.0;
    }
    match s.canopy_changes {
        _ if plan.descent_rates.is_some() => spread.canopy_changes = 0.0,
        Some(given) => spread.canopy_changes = given,
        None => assumed.push(format!(
            "on {:.0} % of falls the canopy changes on the way to half or twice its drag area, assumed",
            100.0 * spread.canopy_changes
        )),
    }
    match s.early_bursts {
        Some(given) => spread.early_bursts = given,
        None => assumed.push(format!(
            "{:.0} % of balloons burst early, at {:.2} to {:.2} of their diameter, assumed",
            100.0 * spread.early_bursts,
            EARLY_BURST_DIAMETER[0],
            EARLY_BURST_DIAMETER[1]
        )),
    }
    match s.release_delay_s {
        Some(given) => spread.release_delay_s = given,
        None => assumed.push(
            "the release is late, never early: two thirds of the delays are under 10 min, assumed"
                .into(),
        ),
    }
    spread
}

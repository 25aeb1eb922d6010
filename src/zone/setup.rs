//! From a stack and a column of wind to a flight model and what varies about it.

use std::sync::Arc;

use super::learnt::{self, Learnt};
use super::stack::{self, FallLaw, FilledBalloon};
use super::terrain::layers_below;
use super::varied;
use crate::atmosphere::{AirProfile, LARGEST_DENSITY_SCALE_HEIGHT_M};
use crate::error::{Error, Result};
use crate::flight::layers::{LayerWinds, Layers, STATED_THICKNESS_M, THICKNESS_M};
use crate::flight::model::{FlightModel, FlightWinds};
use crate::flight::rates::RateTable;
use crate::flight::rise::{Rise, RiseSpread, RiseTable};
use crate::geodesy::{Compass, Position};
use crate::ground::terrain::Terrain;
use crate::notes::Assumption;
use crate::plan::{Ascent, BalloonPlan, Descent, Plan, SpreadPlan, StackPlan};
use crate::sizing::CEILING_M;
use crate::spread::draws::{BurstSpread, FallingMass, Spread};
use crate::units::in_both;
use crate::vehicle::balloon::sphere_diameter_m;
use crate::vehicle::burst::Burst;
use crate::wind::column::Column;

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
    /// What is assumed.
    pub assumptions: Vec<Assumption>,
}

/// Where a flight is set up: above and on what.
#[derive(Clone, Copy)]
pub struct Surroundings<'a> {
    /// The site.
    pub site: Position,
    /// Its altitude, m above mean sea level.
    pub site_m: f64,
    /// The air and the winds above it.
    pub column: &'a Column,
    /// Whether there are other winds elsewhere: then layers must not be thicker than the steps
    /// through them.
    pub through_field: bool,
    /// What flights come down on.
    pub terrain: Option<&'a Arc<Terrain>>,
}

/// What carries a stack up.
enum Lifter<'a> {
    Balloon(FilledBalloon),
    /// Stated rates, with the balloon if the plan describes it.
    Rates(&'a RateTable, Option<FilledBalloon>),
}

impl Lifter<'_> {
    fn rise(&self, spread: &Spread, air: &AirProfile, burst_m: f64, layers: &Layers) -> Rise {
        match self {
            Lifter::Rates(rates, _) => Rise::stated(rates, burst_m, layers),
            Lifter::Balloon(balloon) => balloon_rise(balloon, spread, air, layers),
        }
    }

    fn assumed(&self) -> Assumption {
        match self {
            Lifter::Rates(..) => Assumption::StatedRateVaries,
            Lifter::Balloon(_) => Assumption::FittedDragCurve,
        }
    }

    fn balloon(self) -> Option<FilledBalloon> {
        match self {
            Lifter::Balloon(balloon) => Some(balloon),
            Lifter::Rates(_, balloon) => balloon,
        }
    }
}

impl Setup {
    /// Sets a stack up at a place.
    ///
    /// # Errors
    ///
    /// [`Error::CannotDo`] when the stack cannot rise, bursts on the ground or never bursts.
    pub fn new(stack: &StackPlan, given: &SpreadPlan, place: Surroundings) -> Result<Setup> {
        let (air, site_m) = (&place.column.air, place.site_m);
        let mut assumptions = stack_assumed(stack);
        let mut fall = stack::fall(stack);
        assumptions.extend(fall.assumptions.iter().cloned());
        let mut spread = varied::spread(stack, given, &mut assumptions);
        // What is believed before any flight is the spread of the plan, so before it is widened.
        let learnt = given.logbook.as_ref().map_or(Learnt::default(), |book| {
            Learnt::of(book, stack, &spread, &fall.mass, air)
        });
        learnt.spread(&mut spread);
        fall.law = learnt.law(fall.law);
        assumptions.extend(learnt.assumptions());
        // From here on the stack is the one that is expected to fly.
        let (planned, stack) = (stack, &learnt.stack(stack, air));
        let (lifter, burst_m) = lifter(planned, stack, &learnt, air, site_m)?;
        // After the spread was widened: the highest draw has to burst within them.
        let layers = layers(&lifter, &place, top(burst_m, &spread));
        // At stated rates and to a stated altitude a flight bursts by metres, whatever its
        // diameter.
        if stack.ascent.rates().is_some() || stack.ascent.burst_altitude_m().is_some() {
            spread.burst = varied::by_altitude(spread.burst, air, burst_m, site_m);
        }
        let rise = lifter.rise(&spread, air, burst_m, &layers);
        assumptions.push(lifter.assumed());
        if planned.filled_from_cylinders() {
            assumptions.extend(stack::cylinders_assumed(planned, &air.at(site_m)));
        }
        assumptions.extend(fall.law.assumed());
        Ok(Setup {
            model: model(&place, layers, rise, &fall.law),
            spread,
            mass: fall.mass,
            balloon: lifter.balloon(),
            assumptions,
        })
    }
}

/// The model of flights that rise through layers above the site.
fn model(place: &Surroundings, above_site: Layers, rise: Rise, law: &FallLaw) -> FlightModel {
    let (column, terrain) = (place.column, place.terrain);
    let below = layers_below(
        terrain.map(AsRef::as_ref),
        place.site_m,
        above_site.thickness_m,
    );
    // Only now: the rise is tabulated from the site up, and knows nothing of layers below.
    let layers = above_site.lowered(below);
    FlightModel {
        winds: FlightWinds::Column(LayerWinds::of_profile(&column.winds, &layers)),
        fall: law.through(&column.air, &layers),
        rise,
        layers,
        start: place.site.normal(),
        compass: Compass::at(place.site),
        release_layer: below,
        ground: terrain.cloned(),
    }
}

/// What is assumed of a plan's stack whatever the winds, and what its logbook teaches; where that goes by
/// the air, by the standard one.
pub fn assumed_of(plan: &Plan) -> Vec<Assumption> {
    let Plan { stack, spread, .. } = plan;
    let fall = stack::fall(stack);
    let varied = varied::spread(stack, spread, &mut Vec::new());
    let mut all = stack_assumed(stack);
    if let Some(book) = &spread.logbook {
        let learnt = Learnt::of(book, stack, &varied, &fall.mass, &AirProfile::standard());
        all.extend(learnt.assumptions());
        all.extend(learnt::of_winds(book.winds()));
    }
    all.extend(fall.assumptions);
    if stack.filled_from_cylinders() {
        all.extend(stack::contents_assumed(stack));
    }
    all
}

/// What the plan leaves open about the balloon, if there is one, and the mass of the parachute.
fn stack_assumed(stack: &StackPlan) -> Vec<Assumption> {
    let balloon = stack.ascent.balloon();
    let diameter = balloon.and_then(stack::burst_diameter_assumed);
    let pure = balloon.and_then(|b| (!b.purity_given).then_some(Assumption::PureGas));
    // Stated rates hold whatever the stack weighs.
    let weighs = balloon.is_some() || matches!(stack.descent, Descent::Parachute { .. });
    let parachute = stack::parachute_mass(stack).filter(|_| weighs);
    [diameter, pure, parachute].into_iter().flatten().collect()
}

/// What carries a stack up from `site_m`, filled as `planned`, and the altitude of its burst as planned, m: of
/// a balloon that is flown to its diameter that of the layer boundary above, as it only says how far up layers are needed.
fn lifter<'a>(
    planned: &StackPlan,
    stack: &'a StackPlan,
    learnt: &Learnt,
    air: &AirProfile,
    site_m: f64,
) -> Result<(Lifter<'a>, f64)> {
    let filled = |plan: &BalloonPlan| {
        // Filled as the card says, which goes by the plan's own balloon; flown as flights taught.
        let own = planned.ascent.balloon().unwrap_or(plan);
        let mut balloon = learnt.rise(stack::filled_balloon(planned, own, air, site_m)?);
        balloon.burst = plan.burst;
        let burst = match plan.burst {
            Burst::Altitude { altitude_m, .. } => PlannedBurst {
                altitude_m,
                boundary_m: altitude_m,
            },
            Burst::Diameter { diameter_m } => burst_by_diameter(&balloon, diameter_m, air, site_m)?,
        };
        Ok::<_, Error>((balloon, burst))
    };
    let (lifter, burst_m) = match &stack.ascent {
        Ascent::Balloon(plan) => {
            let (balloon, burst) = filled(plan)?;
            (Lifter::Balloon(balloon), burst.boundary_m)
        }
        Ascent::BalloonAtRates(plan, rates) => {
            let (balloon, burst) = filled(plan)?;
            // Such a flight bursts at the altitude itself, so the boundary above would be too high.
            (Lifter::Rates(rates, Some(balloon)), burst.altitude_m)
        }
        Ascent::Rates {
            rates,
            burst_altitude_m,
        } => (Lifter::Rates(rates, None), *burst_altitude_m),
    };
    if burst_m <= site_m {
        return Err(bursts_on_ground(format!(
            "the burst altitude of {} above sea level is not above the site at {}",
            in_both(|units| units.height(burst_m)),
            in_both(|units| units.height(site_m))
        )));
    }
    Ok((lifter, burst_m))
}

/// The layers from the site up to `top_m`.
fn layers(lifter: &Lifter, place: &Surroundings, top_m: f64) -> Layers {
    let thickness_m = match lifter {
        // With stated rates only a field or the ground asks for thin layers.
        Lifter::Rates(..) if !place.through_field && place.terrain.is_none() => STATED_THICKNESS_M,
        _ => THICKNESS_M,
    };
    Layers::covering(place.site_m, top_m, thickness_m)
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
        table: Arc::new(RiseTable::new(&balloon.rise, varied, air, layers)),
        burst: balloon.burst,
    }
}

/// Where a balloon bursts as planned.
struct PlannedBurst {
    altitude_m: f64,
    /// The boundary of layers of [`THICKNESS_M`] above it.
    boundary_m: f64,
}

/// Where a balloon reaches its burst diameter.
fn burst_by_diameter(
    balloon: &FilledBalloon,
    burst_diameter_m: f64,
    air: &AirProfile,
    site_m: f64,
) -> Result<PlannedBurst> {
    let at_release = sphere_diameter_m(balloon.volume_m3);
    // Before the climb, which would begin with a balloon that is not there any more.
    if at_release >= burst_diameter_m {
        return Err(bursts_on_ground(format!(
            "the gas fills a sphere of {} at the site, the balloon bursts at {}",
            in_both(|units| units.size(at_release)),
            in_both(|units| units.size(burst_diameter_m))
        )));
    }
    // Up to the highest there are, as how high it bursts is what is asked.
    let layers = Layers::covering(site_m, CEILING_M, THICKNESS_M);
    let climb = balloon
        .rise
        .climber
        .climb(air, site_m, layers.thickness_m, layers.count);
    let burst = climb
        .states
        .iter()
        .position(|state| state.diameter_m >= burst_diameter_m);
    // Between two boundaries ln of the diameter is nearly straight, as density is.
    let within = |k: usize| {
        let [below, above] = [k.saturating_sub(1), k].map(|k| climb.states[k].diameter_m.ln());
        let share = match above > below {
            true => (burst_diameter_m.ln() - below) / (above - below),
            false => 1.0,
        };
        let boundary_m = layers.altitude_m(k);
        PlannedBurst {
            altitude_m: boundary_m - (1.0 - share) * layers.thickness_m,
            boundary_m,
        }
    };
    let stall = climb.seconds.iter().position(|s| s.is_infinite());
    match (burst, stall) {
        (Some(k), None) => Ok(within(k)),
        // A stall higher up than the burst never comes to be.
        (Some(k), Some(stall)) if k <= stall => Ok(within(k)),
        (_, Some(k)) => Err(stops_rising(layers.altitude_m(k))),
        (None, None) => Err(never_bursts(burst_diameter_m)),
    }
}

fn stops_rising(altitude_m: f64) -> Error {
    Error::CannotDo {
        why: format!(
            "the balloon stops rising at {} above sea level without bursting: the gas grows colder than the air and the free lift is used up",
            in_both(|units| units.height(altitude_m))
        ),
        remedy: "expected more gas or less load".into(),
    }
}

fn never_bursts(burst_diameter_m: f64) -> Error {
    Error::CannotDo {
        why: format!(
            "the balloon has not reached its burst diameter of {} at {} above sea level",
            in_both(|units| units.size(burst_diameter_m)),
            in_both(|units| units.height(CEILING_M))
        ),
        remedy: "expected a smaller burst diameter or more gas".into(),
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
        // Draws that would burst above it count as those that do not burst.
        .min(CEILING_M)
}

//! Sizing a flight: from a plan and the air above its site to masses, gas, lift and what follows.

pub mod answer;
pub mod checklist;
pub mod compared;
mod curves;
pub mod findings;
mod gas;
mod ledger;
mod lift_test;
pub mod rules;
mod sensitivity;

use serde::de::DeserializeOwned;

pub use self::answer::Fill;
use self::answer::{
    BalloonAndGas, FlightFacts, KnownFill, Lift, Opening, OpeningKind, ReleaseAir, SolvedFrom,
    SpeedAtHeight,
};
use self::findings::SizedStack;
use self::rules::{Numbers, Package, RuleSet};
use crate::atmosphere::{Air, P0_PA};
use crate::error::{Error, Fault, Result};
use crate::notes::{Assumption, Note};
use crate::plan::{BalloonPlan, LoadKind, Plan};
use crate::sizing::{Filled, Flight, Known, Stack};
use crate::spread::draws::{BurstSpread, Spread};
use crate::vehicle::ascent::DragCurve;
use crate::vehicle::balloon::sphere_volume_m3;
use crate::vehicle::burst::{Burst, EARLY_BURST_DIAMETER, EARLY_BURST_SHARE};
use crate::winds::Winds;
use crate::zone::site_air::{self, site_air};
use crate::zone::stack;

/// What is asked besides the plan.
#[derive(Debug, Clone, Copy)]
pub struct Options<'a> {
    /// What is known of the fill, in place of what the plan says.
    pub known: Option<Known>,
    /// A weight that the balloon just lifted, kg: another row of the lift test.
    pub lifted_kg: Option<f64>,
    /// The thresholds to compare with.
    pub rules: Option<&'a RuleSet>,
    /// The unit in which rows of the lift test are round, kg: a kilogram or a pound.
    pub round_in_kg: f64,
}

impl Default for Options<'_> {
    /// What the plan says, in kilograms.
    fn default() -> Self {
        Options {
            known: None,
            lifted_kg: None,
            rules: None,
            round_in_kg: 1.0,
        }
    }
}

/// Sizes the plan's flight in the air that `winds` tell, or in the standard atmosphere.
///
/// ```
/// use windfall::Plan;
/// use windfall::fill::{Options, size};
///
/// let plan = Plan::read("samples/high-plains/plan.toml")?;
/// let fill = size(&plan, None, Options::default())?;
/// // The plan fills to 6.8 kg at the neck; the weight to hang is less by the filler's.
/// let test = &fill.lift_test;
/// assert!((test.hang_kg + test.filler_kg - 6.8).abs() < 1e-6);
/// # Ok::<(), windfall::Error>(())
/// ```
///
/// # Errors
///
/// [`Error::CannotDo`] when the plan has no balloon, when the winds do not cover the site, or when
/// no fill makes what is wanted. A stack that should not fly is a result, not an error.
pub fn size(plan: &Plan, winds: Option<&Winds>, options: Options) -> Result<Fill> {
    let Some(balloon) = plan.stack.ascent.balloon() else {
        return Err(Error::CannotDo {
            why: "the plan has no balloon to fill".into(),
            remedy: "expected [balloon] with mass, gas and fill".into(),
        });
    };
    let site = site_air(plan, winds)?;
    // What stands in place of the plan's own words is told first.
    let mut assumed = [&plan.replaced[..], &site.assumptions].concat();
    let stack = stack::to_be_filled(&plan.stack, balloon, &site.air, site.site_m);
    let here = stack.here();
    assume(plan, balloon, &mut assumed);
    let known = options.known.unwrap_or(balloon.fill);
    let filled = stack.solve(known).map_err(|unsolved| Error::CannotDo {
        why: unsolved.to_string(),
        remedy: "expected another fill, balloon or load".into(),
    })?;
    // What makes no flight is sized all the same: what stops it is among the findings.
    let flown = stack.fly(&filled);
    let cylinders = gas::cylinder_use(&plan.stack, &stack, &filled, &mut assumed)?;
    let ledger = ledger::ledger(&plan.stack, &stack);
    let lift = lift(plan, &stack, &filled);
    let spread = (lift_spread(plan), burst_spread(plan));
    let drag = drag_spread(plan);
    let flight = flown
        .ok()
        .map(|f| flight_facts(&stack, &filled, &f, spread, drag, &mut assumed));
    // Without a flight there is no burst to be early.
    assumed.extend(flight.as_ref().and_then(|_| early_bursts(plan)));
    let lift_test = lift_test::lift_test(
        &stack,
        &filled,
        balloon.filler_kg,
        spread.0,
        options.lifted_kg,
        options.round_in_kg,
    );
    let sized = SizedStack {
        stack: &stack,
        known,
        filled: &filled,
        flown,
        cylinders: &cylinders,
        lift: &lift,
        lift_test: &lift_test,
    };
    let findings = sized.findings();
    let rules = options.rules.map(|rules| {
        let numbers = numbers(plan, &stack, &filled, flight.as_ref());
        rules.compare(&numbers)
    });
    Ok(Fill {
        name: plan.name.clone(),
        release: plan.release,
        timezone: plan.timezone.clone(),
        solved_from: SolvedFrom {
            known: known_fill(known),
            by_plan: options.known.is_none(),
        },
        do_not_fly: findings.iter().any(|f| f.stops),
        findings,
        site: site_facts(&site, &here),
        ledger,
        balloon: BalloonAndGas {
            mass_kg: balloon.mass_kg,
            burst_diameter_m: match balloon.burst {
                Burst::Diameter { diameter_m } => Some(diameter_m),
                Burst::Altitude { .. } => None,
            },
            gas: balloon.gas,
        },
        lift,
        cylinders,
        sensitivities: flown
            .ok()
            .and_then(|_| sensitivity::sensitivities(&stack, &filled)),
        flight,
        lift_test,
        rules,
        curves: curves::curves(plan, balloon, &stack, &filled),
        assumptions: assumed,
        notes: notes(plan, options.rules.is_some()),
        version: env!("CARGO_PKG_VERSION").into(),
    })
}

/// What the plan leaves open about the balloon.
fn assume(plan: &Plan, balloon: &BalloonPlan, assumed: &mut Vec<Assumption>) {
    assumed.extend(stack::burst_diameter_assumed(balloon));
    if !balloon.purity_given {
        assumed.push(Assumption::PureGas);
    }
    if balloon.filler_kg.is_none() {
        assumed.push(Assumption::WeightlessFiller);
    }
    assumed.extend(stack::parachute_mass(&plan.stack));
    // The fall says what it assumes; it was computed with the stack.
    assumed.extend(stack::fall(&plan.stack).assumptions);
    let unnamed = plan
        .stack
        .load
        .iter()
        .filter(|item| item.kind.is_none() && item.smallest_face_m.is_none());
    let names: Vec<String> = unnamed.map(|item| item.name.clone()).collect();
    if !names.is_empty() {
        assumed.push(Assumption::CountedAsPackages { names });
    }
}

fn notes(plan: &Plan, rules: bool) -> Vec<Note> {
    let ascent = &plan.stack.ascent;
    let rates = ascent.rates().map(|_| Note::RatesOfPlanUnused);
    let burst = ascent.burst_altitude_m().map(|_| Note::BurstAltitudeOfPlan);
    let none = (!rules).then_some(Note::NoThresholds);
    [rates, burst, none].into_iter().flatten().collect()
}

fn site_facts(site: &site_air::SiteAir, here: &Air) -> ReleaseAir {
    ReleaseAir {
        altitude_m: site.site_m,
        temperature_k: here.temperature_k,
        pressure_pa: here.pressure_pa,
        air_from: site.files.clone(),
    }
}

/// What was known of the fill.
fn known_fill(known: Known) -> KnownFill {
    match known {
        Known::NeckLift(neck_lift_kg) => KnownFill::NeckLift { neck_lift_kg },
        Known::FreeLift(free_lift_kg) => KnownFill::FreeLift { free_lift_kg },
        Known::GasVolume(volume_m3) => KnownFill::GasVolume { volume_m3 },
        Known::Cylinders => KnownFill::CylindersEmptied,
        Known::Amount(amount_mol) => KnownFill::Amount { amount_mol },
        Known::AscentRate(rate_m_s) => KnownFill::AscentRate { rate_m_s },
        Known::BurstAltitude(burst_m) => KnownFill::BurstAltitude { burst_m },
        Known::FlightTime(whole_s) => KnownFill::FlightTime { whole_s },
    }
}

/// One standard deviation of the drag at a known neck lift, as a share: the plan's, or what sources
/// of known lift disagree by.
fn drag_spread(plan: &Plan) -> f64 {
    plan.spread.drag.unwrap_or(DragCurve::DRAG_SIGMA)
}

/// One standard deviation of the neck lift, as a share: the plan's, or as zones assume it.
fn lift_spread(plan: &Plan) -> f64 {
    plan.spread.lift.unwrap_or(Spread::ASSUMED.lift)
}

/// How the burst varies: as the plan says, or as zones assume it.
fn burst_spread(plan: &Plan) -> BurstSpread {
    plan.spread.burst.unwrap_or(Spread::ASSUMED.burst)
}

/// How many balloons burst early, as the plan says or as is assumed, where there are any.
fn early_bursts(plan: &Plan) -> Option<Assumption> {
    let share = plan.spread.early_bursts.unwrap_or(EARLY_BURST_SHARE);
    let [least_diameter_share, most_diameter_share] = EARLY_BURST_DIAMETER;
    (share > 0.0).then_some(Assumption::EarlyBursts {
        share,
        least_diameter_share,
        most_diameter_share,
    })
}

/// Room that a filled balloon wants beside it in a shelter or a door, m (assumed).
const OPENING_MARGIN_M: f64 = 0.3;

fn lift(plan: &Plan, stack: &Stack, filled: &Filled) -> Lift {
    let standard = Air::dry(288.15, P0_PA);
    // The widest that it may be has to fit, not the one that is planned.
    let high_kg = (1.0 + lift_spread(plan)) * filled.neck_lift_kg;
    let widest_m = stack.with_neck_lift(high_kg).diameter_m;
    let openings = [
        (OpeningKind::Shelter, plan.site.shelter_m),
        (OpeningKind::Door, plan.site.door_m),
    ];
    Lift {
        gross_kg: filled.gross_lift_kg,
        neck_kg: filled.neck_lift_kg,
        free_kg: filled.free_lift_kg,
        volume_m3: filled.volume_m3,
        standard_m3: filled
            .fill
            .volume_m3(standard.temperature_k, standard.pressure_pa),
        amount_mol: filled.fill.amount_mol,
        release_diameter_m: filled.diameter_m,
        openings: openings
            .into_iter()
            .filter_map(|(kind, side_m)| {
                let side_m = side_m?;
                Some(Opening {
                    kind,
                    side_m,
                    widest_m,
                    margin_m: OPENING_MARGIN_M,
                    fits: widest_m + OPENING_MARGIN_M <= side_m,
                })
            })
            .collect(),
    }
}

fn flight_facts(
    stack: &Stack,
    filled: &Filled,
    flight: &Flight,
    (lift, burst): (f64, BurstSpread),
    drag: f64,
    assumed: &mut Vec<Assumption>,
) -> FlightFacts {
    let (burst_sigma_m, burst_sigma_of) =
        sensitivity::burst_sigma(stack, filled, flight.burst_m, lift, burst);
    assumed.push(Assumption::FittedAscent);
    // Speeds at round heights between the burst and the ground.
    let heights = [20_000.0, 10_000.0, 5_000.0];
    let on_the_way = heights
        .into_iter()
        // Nearer to the burst or the ground a row would only repeat theirs.
        .filter(|z| *z < flight.burst_m - 1_000.0 && *z > stack.site_m() + 1_000.0);
    let fall_speeds = std::iter::once(flight.burst_m)
        .chain(on_the_way)
        .map(|altitude_m| SpeedAtHeight {
            altitude_m,
            speed_m_s: stack.fall_speed_m_s(altitude_m),
        })
        .collect();
    FlightFacts {
        release_rate_m_s: flight.release_rate_m_s,
        release_rate_bounds_m_s: stack.release_rate_bounds_m_s(filled, drag),
        drag_share: drag,
        mean_rate_m_s: flight.mean_rate_m_s,
        low_climb_s: flight.low_climb_s,
        rise_s: flight.rise_s,
        burst_m: flight.burst_m,
        burst_sigma_m,
        burst_sigma_of,
        fall_s: flight.fall_s,
        fall_speeds,
        touchdown_m_s: stack.fall_speed_m_s(stack.site_m()),
    }
}

/// What rules look at.
fn numbers(plan: &Plan, stack: &Stack, filled: &Filled, flight: Option<&FlightFacts>) -> Numbers {
    let packages: Vec<Package> = plan
        .stack
        .load
        .iter()
        .filter(|item| item.is_package())
        .map(|item| Package {
            name: item.name.clone(),
            mass_kg: item.mass_kg,
            smallest_face_m2: item.smallest_face_m.map(|(a, b)| a * b),
        })
        .collect();
    let packages_kg: f64 = packages.iter().map(|p| p.mass_kg).sum();
    let lines = || {
        plan.stack
            .load
            .iter()
            .filter(|item| item.kind == Some(LoadKind::Line))
    };
    let burst_diameter_m = plan
        .stack
        .ascent
        .balloon()
        .and_then(|b| b.burst.diameter_m());
    Numbers {
        // The difference of two sums may come out a little below 0.
        other_kg: (stack.load_kg - packages_kg).max(0.0),
        packages,
        lines_n: lines().map(|l| l.strength_n).collect(),
        lines_m: lines().map(|l| l.length_m).collect(),
        capacity_m3: burst_diameter_m.map(sphere_volume_m3),
        release_m3: filled.volume_m3,
        burst_diameter_m,
        burst_m: flight.map(|f| f.burst_m),
    }
}

/// A TOML file of data, with the line of what is wrong.
fn toml_file<T: DeserializeOwned>(name: &str, text: &str, expected: &str) -> Result<T> {
    toml::from_str(text).map_err(|wrong| Fault::of_toml(name, text, &wrong, expected).into())
}

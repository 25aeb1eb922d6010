//! Sizing a flight: from a plan and the air above its site to masses, gas, lift and what follows.

pub mod checklist;
mod curves;
mod ledger;
mod lift_test;
pub mod rules;
mod sensitivity;

use serde::de::DeserializeOwned;

use self::rules::{Numbers, RuleSet};
use crate::atmosphere::{Air, P0_PA};
use crate::error::{Error, Fault, Result};
use crate::flight::rise::Miss;
use crate::plan::{BalloonPlan, FillPlan, LoadKind, Plan};
use crate::report::fill::{Balloon, CylinderUse, Fill, Finding, FlightFacts, Lift, Site};
use crate::sizing::{Filled, Flight, Known, Stack, miss_in_words};
use crate::spread::draws::{BurstSpread, Spread};
use crate::units::{UnitSystem, duration};
use crate::vehicle::balloon::{Fill as Gas, sphere_volume_m3};
use crate::vehicle::cylinder::{Cylinders, all_give_mol, empty};
use crate::zone::WindInput;
use crate::zone::site_air::{SiteAir, site_air};
use crate::zone::stack;

/// What is asked besides the plan.
#[derive(Debug, Clone, Copy, Default)]
pub struct Options<'a> {
    /// What is known of the fill, in place of what the plan says.
    pub known: Option<Known>,
    /// A weight that the balloon just lifted, kg: another row of the lift test.
    pub lifted_kg: Option<f64>,
    /// The thresholds to compare with.
    pub rules: Option<&'a RuleSet>,
    /// Units in which findings and assumptions are worded.
    pub units: UnitSystem,
}

/// Rate at release that a load is held against when its lift does not raise it, m/s (common
/// practice, no source).
const USUAL_RATE_M_S: f64 = 5.0;
/// Slower than this at release, a stack drifts far and may float, m/s (by judgement).
pub const SLOW_M_S: f64 = 3.0;
/// Faster than this at release, gas is wasted and the burst comes low, m/s (by judgement).
pub const FAST_M_S: f64 = 8.0;
/// A touchdown faster than this is hard, m/s (common practice is 5 to 6 m/s, no source).
const HARD_M_S: f64 = 7.0;
/// Cylinders that are assumed where the plan names none: 50 L at 200 bar (a supplier's list,
/// unigases.ae).
const USUAL_CYLINDER: (f64, f64) = (0.05, 2e7);

/// Sizes the plan's flight in the air that `winds` tell, or in the standard atmosphere.
///
/// # Errors
///
/// [`Error::CannotDo`] when the plan has no balloon, when the winds do not cover the site, or when
/// no fill makes what is wanted. A stack that should not fly is a result, not an error.
pub fn size(plan: &Plan, winds: Option<&WindInput>, options: Options) -> Result<Fill> {
    let units = options.units;
    let Some(balloon) = &plan.balloon else {
        return Err(Error::CannotDo {
            why: "the plan has no balloon to fill".into(),
            remedy: "expected [balloon] with mass, gas and fill".into(),
        });
    };
    let mut assumed = Vec::new();
    let site = site_air(plan, winds, units, &mut assumed)?;
    let stack = stack::to_be_filled(plan, balloon, &site.air, site.site_m);
    let here = stack.here();
    assume(plan, balloon, units, &mut assumed);
    let known = match options.known {
        Some(known) => known,
        None => stack::known(plan, balloon, &here)?,
    };
    let filled = stack.solve(known).map_err(|unsolved| Error::CannotDo {
        why: unsolved.in_words(units),
        remedy: "expected another fill, balloon or load".into(),
    })?;
    let flown = stack.fly(&filled);
    let cylinders = cylinder_use(plan, &stack, &filled, units, &mut assumed)?;
    let ledger = ledger::ledger(plan, &stack, units);
    let lift = lift(plan, &filled);
    let spread = (lift_spread(plan), burst_spread(plan));
    let flight = flown
        .ok()
        .map(|f| flight_facts(&stack, &filled, &f, spread, units, &mut assumed));
    let mut findings = Vec::new();
    find(
        &stack,
        &filled,
        flown,
        &cylinders,
        &lift,
        known,
        units,
        &mut findings,
    );
    if let Some(flight) = &flight {
        judge(flight, units, &mut findings);
    }
    let lift_test = lift_test::lift_test(
        &stack,
        &filled,
        balloon.filler_kg,
        spread.0,
        options.lifted_kg,
        units,
    );
    if lift_test.bounds_kg[0] + lift_test.filler_kg <= stack.load_kg && filled.free_lift_kg > 0.0 {
        findings.push(Finding {
            stops: true,
            text: format!(
                "with {:.0} % less lift, one standard deviation, the load would not rise: the low bound of the lift test lies below it",
                100.0 * lift_test.bounds_share
            ),
        });
    }
    let rules = options.rules.map(|rules| {
        let numbers = numbers(plan, &stack, &filled, flight.as_ref());
        rules.compare(&numbers, units)
    });
    Ok(Fill {
        name: plan.name.clone(),
        release: plan.release,
        timezone: plan.timezone.clone(),
        solved_from: solved_from(known, balloon, options.known.is_none(), units),
        do_not_fly: findings.iter().any(|f| f.stops),
        findings,
        site: site_facts(&site, &here),
        ledger,
        balloon: Balloon {
            mass_kg: balloon.mass_kg,
            burst_diameter_m: balloon
                .burst_diameter_m
                .filter(|_| plan.burst_altitude_m.is_none()),
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
fn assume(plan: &Plan, balloon: &BalloonPlan, units: UnitSystem, assumed: &mut Vec<String>) {
    if let Some(from) = &plan.burst_assumed {
        assumed.push(stack::burst_diameter_assumed(balloon, from, units));
    }
    if !balloon.purity_given {
        assumed.push("pure gas (no gas_purity given), assumed".into());
    }
    if balloon.filler_kg.is_none() {
        assumed.push("the filler on the neck weighs nothing, assumed: weigh it with what hangs on it of the hose, and give [balloon] filler; the weight to hang is less by it".into());
    }
    // The fall says what it assumes; it was computed with the stack.
    stack::fall(plan, units, assumed);
    let unnamed: Vec<&str> = plan
        .load
        .iter()
        .filter(|item| item.kind.is_none() && item.smallest_face_m.is_none())
        .map(|item| item.name.as_str())
        .collect();
    if !unnamed.is_empty() {
        assumed.push(format!(
            "without a kind, counted as packages, assumed: {}",
            unnamed.join(", ")
        ));
    }
}

fn notes(plan: &Plan, rules: bool) -> Vec<String> {
    let mut notes = Vec::new();
    if plan.ascent_rates.is_some() {
        notes.push("the plan states rates of ascent, which `windfall zone` flies with; here the rise is that of the gas".to_owned());
    }
    if plan.burst_altitude_m.is_some() {
        notes.push("the plan states the burst altitude: it does not depend on the gas here, nor in `windfall zone`".to_owned());
    }
    if !rules {
        notes.push("no thresholds were compared: --rules us, icao, uk or canada".to_owned());
    }
    notes
}

fn site_facts(site: &SiteAir, here: &Air) -> Site {
    Site {
        altitude_m: site.site_m,
        temperature_k: here.temperature_k,
        pressure_pa: here.pressure_pa,
        air_from: site.files.clone(),
    }
}

/// What was known, in words.
fn solved_from(known: Known, balloon: &BalloonPlan, by_plan: bool, units: UnitSystem) -> String {
    let what = match known {
        Known::NeckLift(kg) => format!("a neck lift of {}", units.mass(kg)),
        Known::FreeLift(kg) => format!("a free lift of {}", units.mass(kg)),
        Known::GasVolume(m3) => format!("a gas volume of {} at the site", units.volume(m3)),
        Known::Amount(_) if balloon.fill == FillPlan::Cylinders => "the cylinders, emptied".into(),
        Known::Amount(mol) => format!("{mol:.1} mol of gas"),
        Known::AscentRate(m_s) => {
            format!("an ascent of {} at release", units.vertical_speed(m_s))
        }
        Known::BurstAltitude(m) => format!("a burst at {} above sea level", units.height(m)),
        Known::FlightTime(s) => format!("a flight of {}", duration(s)),
    };
    match by_plan {
        true => format!("{what}, as the plan says"),
        false => format!("{what}, in place of the plan's fill"),
    }
}

/// One standard deviation of the neck lift, as a share: the plan's, or as zones assume it.
fn lift_spread(plan: &Plan) -> f64 {
    plan.spread.lift.unwrap_or(Spread::ASSUMED.lift)
}

/// How the burst varies: as the plan says, or as zones assume it.
fn burst_spread(plan: &Plan) -> BurstSpread {
    match (plan.spread.burst_altitude_m, plan.spread.burst_diameter) {
        (Some(sigma), _) => BurstSpread::AltitudeM(sigma),
        (None, Some(sigma)) => BurstSpread::Diameter(sigma),
        (None, None) => Spread::ASSUMED.burst,
    }
}

fn lift(plan: &Plan, filled: &Filled) -> Lift {
    let standard = Air::dry(288.15, P0_PA);
    let openings = [("shelter", plan.shelter_m), ("door", plan.door_m)];
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
            .filter_map(|(what, side)| {
                let side = side?;
                Some((what.to_owned(), side, filled.diameter_m < side))
            })
            .collect(),
    }
}

/// What the fill takes out of the plan's cylinders, or out of usual ones.
fn cylinder_use(
    plan: &Plan,
    stack: &Stack,
    filled: &Filled,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> Result<CylinderUse> {
    let here = stack.here();
    let gas = stack.gas.gas;
    let failed = || Error::CannotDo {
        why: "the content of the cylinders cannot be told".into(),
        remedy: "expected a temperature between 200 and 400 K and up to 450 bar".into(),
    };
    let needed_mol = filled.fill.amount_mol;
    let mut cylinders = stack::cylinders(plan, &here);
    let at_hand = !cylinders.is_empty();
    if at_hand && plan.cylinders.iter().any(|c| c.temperature_k.is_none()) {
        assumed.push(format!(
            "cylinders without a temperature have that of the air, {}, assumed: one that stood in the sun or in a cold van has another",
            units.temperature(here.temperature_k)
        ));
    }
    if !at_hand {
        let mut usual = Cylinders {
            count: 1,
            water_volume_m3: USUAL_CYLINDER.0,
            gauge_pa: USUAL_CYLINDER.1,
            temperature_k: here.temperature_k,
        };
        let one = usual.gives_mol(gas, here.pressure_pa).ok_or_else(failed)?;
        usual.count = (needed_mol / one).ceil().clamp(1.0, 1e6) as u32;
        cylinders.push(usual);
        assumed.push("the plan has no [[cylinders]]: told for such of 50 L at 200 bar on the gauge, at the temperature of the air, assumed".into());
    }
    let give_mol = all_give_mol(&cylinders, gas, here.pressure_pa).ok_or_else(failed)?;
    let emptied = empty(&cylinders, gas, here.pressure_pa, needed_mol).ok_or_else(failed)?;
    let ideal_mol: f64 = cylinders
        .iter()
        .map(|c| {
            let volume = f64::from(c.count) * c.water_volume_m3;
            let air = Air::dry(c.temperature_k, c.gauge_pa);
            Gas::of_volume(stack.gas, volume, &air).amount_mol
        })
        .sum();
    let m3 = |amount_mol: f64| stack.filled(amount_mol).volume_m3;
    Ok(CylinderUse {
        at_hand,
        give_m3: m3(give_mol),
        less_than_ideal: 1.0 - give_mol / ideal_mol,
        left_m3: m3(emptied.left_mol),
        short_m3: m3(emptied.short_mol),
        emptied,
        cylinders,
    })
}

fn flight_facts(
    stack: &Stack,
    filled: &Filled,
    flight: &Flight,
    (lift, burst): (f64, BurstSpread),
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> FlightFacts {
    let (burst_sigma_m, burst_sigma_of) =
        sensitivity::burst_sigma(stack, filled, flight.burst_m, lift, burst, units);
    assumed.push("ascent by a drag curve fitted to ten measured flights of lighter stacks; no wind up or down".into());
    // Speeds at round heights between the burst and the ground.
    let heights = [20_000.0, 10_000.0, 5_000.0];
    let on_the_way = heights
        .into_iter()
        .filter(|z| *z < flight.burst_m - 1_000.0 && *z > stack.site_m() + 1_000.0);
    let fall_speeds = std::iter::once(flight.burst_m)
        .chain(on_the_way)
        .map(|z| (z, stack.fall_speed_m_s(z)))
        .collect();
    FlightFacts {
        release_rate_m_s: flight.release_rate_m_s,
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

/// What the fill itself comes to.
#[allow(
    clippy::too_many_arguments,
    reason = "each is another thing that was found out"
)]
fn find(
    stack: &Stack,
    filled: &Filled,
    flown: std::result::Result<Flight, Miss>,
    cylinders: &CylinderUse,
    lift: &Lift,
    known: Known,
    units: UnitSystem,
    findings: &mut Vec<Finding>,
) {
    let mut stop = |text: String| findings.push(Finding { stops: true, text });
    let raises = filled.free_lift_kg > 0.0;
    if cylinders.at_hand && cylinders.emptied.short_mol > 0.0 {
        stop(shortage(stack, filled, cylinders, units));
    } else if !raises && matches!(known, Known::Amount(_)) && cylinders.at_hand {
        let wanted = stack.solve(Known::AscentRate(USUAL_RATE_M_S));
        if let Ok(wanted) = wanted {
            let mut missing = cylinders.clone();
            missing.short_m3 = wanted.volume_m3 - filled.volume_m3;
            stop(shortage(stack, &wanted, &missing, units));
        }
    }
    if !raises {
        stop(format!(
            "the neck lift of {} does not raise the load of {}: {} is missing",
            units.mass(filled.neck_lift_kg),
            units.mass(stack.load_kg),
            units.mass(-filled.free_lift_kg)
        ));
    } else if let Err(miss) = flown {
        stop(format!(
            "the stack makes no flight: {}",
            miss_in_words(miss)
        ));
    }
    for (what, side, fits) in &lift.openings {
        if !fits {
            stop(format!(
                "at release the balloon is {} across and does not fit the {what} of {}",
                units.size(lift.release_diameter_m),
                units.size(*side)
            ));
        }
    }
}

/// That the gas at hand does not do, with what it does.
fn shortage(stack: &Stack, wanted: &Filled, cylinders: &CylinderUse, units: UnitSystem) -> String {
    let count: u32 = cylinders.cylinders.iter().map(|c| c.count).sum();
    let these = match count {
        1 => "this cylinder gives".to_owned(),
        2 => "these two cylinders give".to_owned(),
        3 => "these three cylinders give".to_owned(),
        n => format!("these {n} cylinders give"),
    };
    let given = Gas::of_volume(stack.gas, cylinders.give_m3, &stack.here());
    format!(
        "{these} {} of neck lift; the load needs {} at {}: {} short",
        units.mass(stack.filled(given.amount_mol).neck_lift_kg),
        units.mass(wanted.neck_lift_kg),
        units.vertical_speed(stack.release_rate_m_s(wanted)),
        units.volume(cylinders.short_m3)
    )
}

/// What the flight comes to.
fn judge(flight: &FlightFacts, units: UnitSystem, findings: &mut Vec<Finding>) {
    let mut warn = |text: String| findings.push(Finding { stops: false, text });
    let rate = flight.release_rate_m_s;
    if rate < SLOW_M_S {
        warn(format!(
            "slow: {} at release, below {} (by judgement): it drifts far, and with a little less lift it may float for hours",
            units.vertical_speed(rate),
            units.vertical_speed(SLOW_M_S)
        ));
    }
    if rate > FAST_M_S {
        warn(format!(
            "fast: {} at release, above {} (by judgement): more gas than the flight needs, and a lower burst",
            units.vertical_speed(rate),
            units.vertical_speed(FAST_M_S)
        ));
    }
    if flight.touchdown_m_s > HARD_M_S {
        warn(format!(
            "hard: touches down at {}, common practice is 5 to 6 m/s ({} to {}; no source): a larger parachute or less load",
            units.vertical_speed(flight.touchdown_m_s),
            units.vertical_speed(5.0),
            units.vertical_speed(6.0)
        ));
    }
}

/// What rules look at.
fn numbers(plan: &Plan, stack: &Stack, filled: &Filled, flight: Option<&FlightFacts>) -> Numbers {
    let packages: Vec<_> = plan
        .load
        .iter()
        .filter(|item| item.is_package())
        .map(|item| {
            let area = item.smallest_face_m.map(|(a, b)| a * b);
            (item.name.clone(), item.mass_kg, area)
        })
        .collect();
    let packages_kg: f64 = packages.iter().map(|p| p.1).sum();
    let lines = || {
        plan.load
            .iter()
            .filter(|item| item.kind == Some(LoadKind::Line))
    };
    let burst_diameter_m = plan.balloon.and_then(|b| b.burst_diameter_m);
    Numbers {
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
    toml::from_str(text).map_err(|wrong| {
        let fault = Fault::new(name, wrong.message().to_owned(), expected);
        let fault = match wrong.span() {
            Some(span) => {
                let before = &text.as_bytes()[..span.start.min(text.len())];
                fault.at_line(1 + before.iter().filter(|&&b| b == b'\n').count())
            }
            None => fault,
        };
        fault.into()
    })
}

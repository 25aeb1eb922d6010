//! What a fill comes to: what says not to fly, and what to look at again.

use super::answer::{CylinderUse, Finding, Lift, LiftTest};
use crate::flight::rise::Miss;
use crate::sizing::{Filled, Flight, Known, Stack, miss_in_words};
use crate::units::UnitSystem;
use crate::vehicle::balloon::Fill;

/// Rate at release that a load is held against when its lift does not raise it, m/s (common
/// practice, no source).
const USUAL_RATE_M_S: f64 = 5.0;
/// Slower than this at release, a stack drifts far and may float, m/s (by judgement).
pub const SLOW_M_S: f64 = 3.0;
/// Faster than this at release, gas is wasted and the burst comes low, m/s (by judgement).
const FAST_M_S: f64 = 8.0;
/// A touchdown faster than this is hard, m/s (common practice is 5 to 6 m/s, no source).
const HARD_M_S: f64 = 7.0;

/// Everything that findings are made of.
pub struct Seen<'a> {
    /// The stack.
    pub stack: &'a Stack,
    /// What was known of its fill.
    pub known: Known,
    /// Its fill.
    pub filled: &'a Filled,
    /// Its flight.
    pub flown: Result<Flight, Miss>,
    /// The gas.
    pub cylinders: &'a CylinderUse,
    /// What it has to fit through.
    pub lift: &'a Lift,
    /// The bounds of the lift.
    pub lift_test: &'a LiftTest,
}

impl Seen<'_> {
    /// All findings: first those that say not to fly.
    pub fn findings(&self, units: UnitSystem) -> Vec<Finding> {
        let stops = [self.gas(units), self.flight(units), self.low_bound()];
        let stops = stops.into_iter().flatten().chain(self.openings(units));
        let looks = self.flown.iter().flat_map(|f| self.look_again(f, units));
        let finding = |stops| move |text| Finding { stops, text };
        stops
            .map(finding(true))
            .chain(looks.map(finding(false)))
            .collect()
    }

    /// Too little gas at hand: for the fill that is wanted, or for any that raises the load.
    fn gas(&self, units: UnitSystem) -> Option<String> {
        if !self.cylinders.at_hand {
            return None;
        }
        let short_m3 = self.cylinders.short_m3;
        if short_m3 > 0.0 {
            return Some(self.shortage(self.filled, short_m3, units));
        }
        let emptied = matches!(self.known, Known::Cylinders);
        if !emptied || self.filled.free_lift_kg > 0.0 {
            return None;
        }
        let wanted = self.stack.solve(Known::AscentRate(USUAL_RATE_M_S)).ok()?;
        let short_m3 = wanted.volume_m3 - self.filled.volume_m3;
        Some(self.shortage(&wanted, short_m3, units))
    }

    /// What the gas at hand gives, and what a fill needs.
    fn shortage(&self, wanted: &Filled, short_m3: f64, units: UnitSystem) -> String {
        let count: u32 = self.cylinders.cylinders.iter().map(|c| c.count).sum();
        let these = match count {
            1 => "this cylinder gives".to_owned(),
            2 => "these two cylinders give".to_owned(),
            3 => "these three cylinders give".to_owned(),
            n => format!("these {n} cylinders give"),
        };
        let stack = self.stack;
        let given = Fill::of_volume(stack.gas, self.cylinders.give_m3, &stack.here());
        format!(
            "{these} {} of neck lift; the load needs {} at {}: {} short",
            units.mass(stack.filled(given.amount_mol).neck_lift_kg),
            units.mass(wanted.neck_lift_kg),
            units.vertical_speed(stack.release_rate_m_s(wanted)),
            units.volume(short_m3)
        )
    }

    /// No flight at all.
    fn flight(&self, units: UnitSystem) -> Option<String> {
        let filled = self.filled;
        if filled.free_lift_kg <= 0.0 {
            return Some(format!(
                "the neck lift of {} does not raise the load of {}: {} is missing",
                units.mass(filled.neck_lift_kg),
                units.mass(self.stack.load_kg),
                units.mass(-filled.free_lift_kg)
            ));
        }
        let miss = self.flown.err()?;
        Some(format!(
            "the stack makes no flight: {}",
            miss_in_words(miss)
        ))
    }

    /// A flight only if the lift is not a little less.
    fn low_bound(&self) -> Option<String> {
        let test = self.lift_test;
        let low_kg = test.bounds_kg[0] + test.filler_kg;
        (self.flown.is_ok() && low_kg <= self.stack.load_kg).then(|| {
            format!(
                "with {:.0} % less lift, one standard deviation, the load would not rise",
                100.0 * test.bounds_share
            )
        })
    }

    /// What the filled balloon does not fit.
    fn openings(&self, units: UnitSystem) -> impl Iterator<Item = String> {
        let too_narrow = self.lift.openings.iter().filter(|(_, _, fits)| !fits);
        too_narrow.map(move |(what, side, _)| {
            format!(
                "at release the balloon is {} across and does not fit the {what} of {}",
                units.size(self.lift.release_diameter_m),
                units.size(*side)
            )
        })
    }

    /// What is unusual about a flight.
    fn look_again(&self, flight: &Flight, units: UnitSystem) -> Vec<String> {
        let rate = flight.release_rate_m_s;
        let touchdown = self.stack.fall_speed_m_s(self.stack.site_m());
        let speed = |m_s| units.vertical_speed(m_s);
        let mut looks = Vec::new();
        if rate < SLOW_M_S {
            looks.push(format!(
                "slow: {} at release, below {} (by judgement): it drifts far, and with a little less lift it may float for hours",
                speed(rate),
                speed(SLOW_M_S)
            ));
        }
        if rate > FAST_M_S {
            looks.push(format!(
                "fast: {} at release, above {} (by judgement): more gas than the flight needs, and a lower burst",
                speed(rate),
                speed(FAST_M_S)
            ));
        }
        if touchdown > HARD_M_S {
            looks.push(format!(
                "hard: touches down at {}, common practice is {} to {} (no source): a larger parachute or less load",
                speed(touchdown),
                speed(5.0),
                speed(6.0)
            ));
        }
        looks
    }
}

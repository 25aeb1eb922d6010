//! What the plan's logbook teaches of a stack: what it says is shifted, and how much it varies.

use super::stack::{FallLaw, FilledBalloon};
use crate::atmosphere::AirProfile;
use crate::logbook::{Logbook, Shift};
use crate::notes::{Assumption, LearntOf};
use crate::plan::{Ascent, StackPlan};
use crate::spread::draws::{BurstSpread, FallingMass, Spread};

/// Lift and drag vary by no more than this, as shares: four standard deviations stay above 0, where
/// something flies.
const WIDEST_LIFT: f64 = 0.2;
const WIDEST_DRAG: f64 = 0.24;
/// The same of the drag area of the fall, and of what stays on the line.
const WIDEST_FALL: f64 = 0.3;

/// The same of the burst diameter.
const WIDEST_BURST: f64 = 0.2;

/// A shift for each thing that is learnt.
#[derive(Debug, Clone, Copy, Default)]
pub struct Learnt {
    /// Of the rate of rise.
    pub rate: Option<Shift>,
    /// Of the burst diameter.
    pub burst: Option<Shift>,
    /// Of the speed of fall.
    pub fall: Option<Shift>,
}

impl Learnt {
    /// From a logbook: what is believed before any flight is the spread that the plan has.
    pub fn of(
        book: &Logbook,
        stack: &StackPlan,
        spread: &Spread,
        mass: &FallingMass,
        air: &AirProfile,
    ) -> Learnt {
        // The prior is what the plan believes of the diameter, in whichever way it says so.
        let burst = match (spread.burst, stack.ascent.burst_altitude_m()) {
            (BurstSpread::Diameter(sigma), _) => sigma,
            (BurstSpread::AltitudeM { sigma_m, .. }, burst_m) => {
                // A burst by altitude varies in metres, a logbook in diameters: 3 H of the ones to
                // one of the others.
                sigma_m / (3.0 * air.density_scale_height_m(burst_m.unwrap_or(30_000.0)))
            }
        };
        Learnt {
            // Scaled to the widest that is allowed, by whichever of the two gets there first.
            rate: book.rate(rate_sigma(stack, spread)).map(|rate| {
                rate.at_most(room(WIDEST_LIFT, spread.lift).min(room(WIDEST_DRAG, spread.drag)))
            }),
            burst: book
                .burst(burst)
                .map(|found| found.at_most(room(WIDEST_BURST, burst))),
            fall: book.fall(fall_sigma(spread, mass)).map(|fall| {
                // One factor for both, so the one that is nearer to its bound holds the other.
                fall.at_most(
                    room(WIDEST_FALL, spread.parachute).min(room(WIDEST_FALL, spread.remnant)),
                )
            }),
        }
    }

    /// The stack as it is expected to fly; what is not shifted here is by [`Learnt::rise`] and
    /// [`Learnt::law`].
    pub fn stack(&self, plan: &StackPlan, air: &AirProfile) -> StackPlan {
        let mut stack = plan.clone();
        if let (Some(rate), Some(rates)) = (self.rate, stack.ascent.rates_mut()) {
            *rates = rates.scaled(rate.factor);
        }
        let Some(burst) = self.burst else {
            return stack;
        };
        if let Some(altitude_m) = stack.ascent.burst_altitude_mut() {
            let scale_m = air.density_scale_height_m(*altitude_m);
            // The cube of the diameter grows as the air thins: dz = 3 H ln x.
            *altitude_m += 3.0 * scale_m * burst.factor.ln();
        } else if let Some(balloon) = stack.ascent.balloon_mut() {
            balloon.burst = balloon.burst.wider(burst.factor);
        }
        stack
    }

    /// A balloon that rises at its own rate: the drag goes with the rate to the power -2.
    pub fn rise(&self, mut balloon: FilledBalloon) -> FilledBalloon {
        if let Some(rate) = self.rate {
            balloon.rise.climber.drag_factor /= rate.factor * rate.factor;
        }
        balloon
    }

    /// The fall.
    pub fn law(&self, law: FallLaw) -> FallLaw {
        let factor = self.fall.map_or(1.0, |fall| fall.factor);
        match law {
            FallLaw::ByDensity(mut speed) => {
                speed.landing_speed_m_s *= factor;
                FallLaw::ByDensity(speed)
            }
            FallLaw::Rates(rates) => FallLaw::Rates(rates.scaled(factor)),
        }
    }

    /// How much it varies.
    pub fn spread(&self, spread: &mut Spread) {
        if let Some(rate) = self.rate {
            spread.lift *= rate.wider;
            spread.drag *= rate.wider;
        }
        if let Some(burst) = self.burst {
            match &mut spread.burst {
                BurstSpread::Diameter(sigma) => *sigma *= burst.wider,
                BurstSpread::AltitudeM { sigma_m, .. } => *sigma_m *= burst.wider,
            }
        }
        if let Some(fall) = self.fall {
            spread.parachute *= fall.wider;
            spread.remnant *= fall.wider;
        }
    }

    /// What to say of it.
    pub fn assumptions(&self) -> impl Iterator<Item = Assumption> {
        let all = [
            (LearntOf::Rate, self.rate),
            (LearntOf::BurstDiameter, self.burst),
            (LearntOf::Fall, self.fall),
        ];
        all.into_iter().filter_map(|(what, shift)| {
            shift.map(|shift| Assumption::Learnt {
                what,
                factor: shift.factor,
                wider: shift.wider,
                flights: shift.flights,
            })
        })
    }
}

/// By how much a spread may grow up to the widest: what the plan itself has wider stays as it is.
fn room(widest: f64, sigma: f64) -> f64 {
    (widest / sigma).max(1.0)
}

/// What to say of how wrong winds are, as flights taught: a factor, and how many.
pub fn of_winds(learnt: Option<(f64, usize)>) -> Option<Assumption> {
    learnt.map(|(wider, flights)| Assumption::Learnt {
        what: LearntOf::Winds,
        factor: 1.0,
        wider,
        flights,
    })
}

/// How much ln rate of rise varies: with the lift in proportion where the rate is stated, else with the root of
/// the free lift, which is about a third of the lift at the neck; with the root of the drag.
fn rate_sigma(stack: &StackPlan, spread: &Spread) -> f64 {
    let by_lift = match stack.ascent {
        Ascent::Balloon(_) => 1.5 * spread.lift,
        _ => spread.lift,
    };
    by_lift.hypot(0.5 * spread.drag)
}

/// How much ln speed of fall varies.
fn fall_sigma(spread: &Spread, mass: &FallingMass) -> f64 {
    let falling_kg = mass.load_kg + mass.balloon_kg * mass.remnant;
    let by_remnant = spread.remnant * mass.balloon_kg / falling_kg.max(1e-6);
    0.5 * spread.parachute.hypot(by_remnant)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Plan;
    use std::path::Path;

    const FALLS: &str = "[[flight]]\nname = \"a\"\nreleased = \"2024-05-03T14:03:33Z\"\nlat = 40.0\nlon = -87.0\nmiss_km = 4.0\nalong_km = 3.0\nacross_km = 2.0\nfall = 1.6\n";

    #[test]
    fn scatter_never_makes_the_spread_smaller_by_its_bound() {
        let text = std::fs::read_to_string("samples/high-plains/plan.toml").unwrap();
        let plan = Plan::parse("p.toml", &text, Path::new("samples/high-plains")).unwrap();
        let more = FALLS
            .replace("fall = 1.6", "fall = 0.6")
            .replace("-05-03", "-06-03");
        let book = Logbook::parse("f.toml", &[FALLS, &more].concat()).unwrap();
        let learnt = |remnant: f64| {
            let spread = Spread {
                remnant,
                ..Spread::ASSUMED
            };
            let mass = super::super::stack::fall(&plan.stack).mass;
            let air = AirProfile::standard();
            let fall = Learnt::of(&book, &plan.stack, &spread, &mass, &air).fall;
            fall.unwrap().wider
        };
        // The plan's 50 % is wider than all that is learnt may be: it stays.
        assert_eq!(learnt(0.5), 1.0);
        assert!(learnt(0.1) > 1.5, "{}", learnt(0.1));
    }
}

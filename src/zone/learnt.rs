//! What the plan's logbook teaches of a stack: what it says is shifted, and how much it varies.

use super::stack::{FallLaw, FilledBalloon};
use crate::atmosphere::AirProfile;
use crate::logbook::{Logbook, Shift};
use crate::notes::{Assumption, LearntOf};
use crate::plan::{Ascent, StackPlan};
use crate::spread::draws::{BurstSpread, FallingMass, Spread};

/// Lift and drag vary by no more than this, as shares: as far as a rise can be tabulated.
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
            // Scaled to the widest that a rise can be tabulated for, by whichever of the two gets
            // there first.
            rate: book.rate(rate_sigma(stack, spread)).map(|rate| {
                rate.at_most((WIDEST_LIFT / spread.lift).min(WIDEST_DRAG / spread.drag))
            }),
            burst: book
                .burst(burst)
                .map(|found| found.at_most(WIDEST_BURST / burst)),
            fall: book.fall(fall_sigma(spread, mass)).map(|fall| {
                // One factor for both, so the one that is nearer to its bound holds the other.
                fall.at_most((WIDEST_FALL / spread.parachute).min(WIDEST_FALL / spread.remnant))
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

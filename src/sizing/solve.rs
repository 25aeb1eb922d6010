//! The fill that makes what is wanted of a stack.

use std::fmt;

use super::{Filled, Stack};
use crate::flight::rise::Miss;
use crate::notes::NoLanding;
use crate::numeric::last_true;
use crate::units::{duration, in_both};
use crate::vehicle::balloon::GasFill;

/// The one thing that is known of a fill; everything else follows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// Lift at the neck, kg.
    NeckLift(f64),
    /// Lift beyond the load, kg.
    FreeLift(f64),
    /// Volume at the temperature and pressure of the site, m3.
    GasVolume(f64),
    /// How much gas, mol.
    Amount(f64),
    /// All of the cylinders at hand, emptied.
    Cylinders,
    /// Rate of ascent at release, m/s.
    AscentRate(f64),
    /// Altitude of the burst, m above mean sea level.
    BurstAltitude(f64),
    /// From the release to the ground, s.
    FlightTime(f64),
}

/// Why no fill makes what is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Unsolved {
    /// Not even the balloon filled to its burst diameter rises so fast.
    NotSoFast {
        /// The rate at release that is wanted, m/s.
        wanted_m_s: f64,
        /// The fastest there is, m/s.
        fastest_m_s: f64,
    },
    /// No fill bursts there.
    BurstBetween {
        /// The altitude that is wanted, m above mean sea level.
        wanted_m: f64,
        /// The lowest burst, m above mean sea level.
        lowest_m: f64,
        /// The highest burst, m above mean sea level.
        highest_m: f64,
    },
    /// No fill flies for so long, or for so short a time.
    TimeBetween {
        /// The time that is wanted, s.
        wanted_s: f64,
        /// The shortest flight, s.
        shortest_s: f64,
        /// The longest flight, s.
        longest_s: f64,
    },
    /// The burst altitude is stated and does not depend on the gas.
    BurstIsStated {
        /// The stated altitude, m above mean sea level.
        altitude_m: f64,
    },
    /// No fill makes a flight; the last try ended so.
    NeverFlies(Miss),
    /// Not a number that a fill can have.
    Unphysical,
}

/// In words, with the numbers in both systems of units: whoever reads it is not known here.
impl fmt::Display for Unsolved {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rate = |m_s: f64| in_both(|units| units.vertical_speed(m_s));
        let height = |m: f64| in_both(|units| units.height(m));
        match *self {
            Unsolved::NotSoFast {
                wanted_m_s,
                fastest_m_s,
            } => write!(
                f,
                "no fill makes this stack rise at {}: the fastest is {}",
                rate(wanted_m_s),
                rate(fastest_m_s)
            ),
            Unsolved::BurstBetween {
                wanted_m,
                lowest_m,
                highest_m,
            } => write!(
                f,
                "no fill of this balloon bursts at {} above sea level: with this load its bursts lie between {} and {}",
                height(wanted_m),
                height(lowest_m),
                height(highest_m)
            ),
            Unsolved::TimeBetween {
                wanted_s,
                shortest_s,
                longest_s,
            } => write!(
                f,
                "no fill of this balloon flies for {}: with this load it flies for {} to {}",
                duration(wanted_s),
                duration(shortest_s),
                duration(longest_s)
            ),
            Unsolved::BurstIsStated { altitude_m } => write!(
                f,
                "[ascent] burst_altitude states the burst at {} above sea level, whatever the gas",
                height(altitude_m)
            ),
            Unsolved::NeverFlies(miss) => {
                write!(f, "no fill makes a flight: {}", in_words(miss.into()))
            }
            Unsolved::Unphysical => f.write_str("not an amount of gas that can be filled in"),
        }
    }
}

impl std::error::Error for Unsolved {}

/// Why a stack makes no flight, in words.
pub fn in_words(miss: NoLanding) -> &'static str {
    match miss {
        NoLanding::Stalls => "the lift does not carry the stack up to the burst",
        NoLanding::NoBurst => "the balloon does not burst below 50 km",
        NoLanding::BurstsOnGround => {
            "the gas fills the balloon to its burst diameter on the ground"
        }
        NoLanding::LeavesRegion | NoLanding::LeavesHours => "the flight leaves the winds",
    }
}

/// Smallest free lift that is tried, kg.
const LEAST_FREE_LIFT_KG: f64 = 1e-3;
/// Slowest release of a flight that is solved for, m/s: with less, a breath of cold air stops it, and
/// burst and time no longer follow the gas in order.
const SLOWEST_M_S: f64 = 1.0;
/// Largest neck lift that is tried where the balloon's size sets no bound, kg.
const MOST_NECK_LIFT_KG: f64 = 200.0;

impl Stack {
    /// The fill of which `known` is true.
    ///
    /// # Errors
    ///
    /// When there is none.
    pub fn solve(&self, known: Known) -> Result<Filled, Unsolved> {
        let filled = match known {
            Known::NeckLift(kg) => self.with_neck_lift(kg),
            Known::FreeLift(kg) => self.with_neck_lift(kg + self.load_kg),
            Known::GasVolume(m3) => {
                self.filled(GasFill::of_volume(self.gas, m3, &self.here()).amount_mol)
            }
            Known::Amount(mol) => self.filled(mol),
            Known::Cylinders => self.filled(self.at_hand_mol().ok_or(Unsolved::Unphysical)?),
            Known::AscentRate(m_s) => self.for_rate(m_s)?,
            Known::BurstAltitude(m) => self.for_burst(m)?,
            Known::FlightTime(s) => self.for_time(s)?,
        };
        if filled.fill.amount_mol.is_finite() && filled.fill.amount_mol > 0.0 {
            Ok(filled)
        } else {
            Err(Unsolved::Unphysical)
        }
    }

    /// The rate at release grows with the gas.
    fn for_rate(&self, wanted_m_s: f64) -> Result<Filled, Unsolved> {
        // Not a number is no rate either.
        if wanted_m_s.is_nan() || wanted_m_s <= 0.0 {
            return Err(Unsolved::Unphysical);
        }
        let [low, high] = self.range_mol();
        let rate = |mol| self.release_rate_m_s(&self.filled(mol));
        let fastest_m_s = rate(high);
        if fastest_m_s < wanted_m_s {
            return Err(Unsolved::NotSoFast {
                wanted_m_s,
                fastest_m_s,
            });
        }
        Ok(self.filled(last_true(low, high, |mol| rate(mol) <= wanted_m_s)))
    }

    /// The burst comes lower with more gas.
    fn for_burst(&self, wanted_m: f64) -> Result<Filled, Unsolved> {
        if let Some(altitude_m) = self.burst.altitude_m() {
            return Err(Unsolved::BurstIsStated { altitude_m });
        }
        let burst = |mol: f64| self.fly(&self.filled(mol)).map(|f| f.burst_m);
        let [least, most] = self.flying_mol()?;
        let bounds = [burst(most), burst(least)].map(|b| b.map_err(Unsolved::NeverFlies));
        let [lowest_m, highest_m] = [bounds[0]?, bounds[1]?];
        if !(lowest_m..=highest_m).contains(&wanted_m) {
            return Err(Unsolved::BurstBetween {
                wanted_m,
                lowest_m,
                highest_m,
            });
        }
        // What makes no flight counts as too low, so that the search ends on a fill that flies.
        let higher = |mol| burst(mol).is_ok_and(|m| m >= wanted_m);
        Ok(self.filled(last_true(least, most, higher)))
    }

    /// The flight gets shorter with more gas: faster, and not so high.
    fn for_time(&self, wanted_s: f64) -> Result<Filled, Unsolved> {
        let time = |mol: f64| self.fly(&self.filled(mol)).map(|f| f.whole_s());
        let [least, most] = self.flying_mol()?;
        let bounds = [time(most), time(least)].map(|t| t.map_err(Unsolved::NeverFlies));
        let [shortest_s, longest_s] = [bounds[0]?, bounds[1]?];
        if !(shortest_s..=longest_s).contains(&wanted_s) {
            return Err(Unsolved::TimeBetween {
                wanted_s,
                shortest_s,
                longest_s,
            });
        }
        let longer = |mol| time(mol).is_ok_and(|s| s >= wanted_s);
        Ok(self.filled(last_true(least, most, longer)))
    }

    /// From next to no free lift to a balloon that bursts on the ground, mol.
    fn range_mol(&self) -> [f64; 2] {
        let least = self.with_neck_lift(self.load_kg + LEAST_FREE_LIFT_KG);
        let most = self.with_neck_lift(MOST_NECK_LIFT_KG + self.load_kg);
        let (least, most) = (least.fill.amount_mol, most.fill.amount_mol);
        let most = self.bursting_mol().map_or(most, |mol| mol.min(most));
        // Where the balloon bursts before it lifts the load, there is no range: both ends are the
        // least.
        [least, most.max(least)]
    }

    /// The least and the most gas, mol, with which the stack makes a flight: with less it is too
    /// slow or does not rise up to the burst, with more it bursts at once.
    pub fn flying_mol(&self) -> Result<[f64; 2], Unsolved> {
        let [_, high] = self.range_mol();
        let low = self.for_rate(SLOWEST_M_S)?.fill.amount_mol;
        let miss = |mol: f64| self.fly(&self.filled(mol)).err();
        let never = |mol| miss(mol).map_or(Unsolved::Unphysical, Unsolved::NeverFlies);
        // From the top down, in steps of a twentieth of the range, to something that flies.
        let flies = (1..=20)
            .map(|k| high + (low - high) * f64::from(k) / 20.0)
            .find(|&mol| miss(mol).is_none());
        let Some(flies) = flies else {
            return Err(never(high));
        };
        // With little gas a balloon may rise on beyond the highest layer and never burst.
        let too_little = |mol: f64| matches!(miss(mol), Some(Miss::Stalls | Miss::NoBurst));
        let least = if too_little(low) {
            let least = last_true(low, flies, too_little);
            // One step beyond the last that is too little.
            least * (1.0 + 1e-12)
        } else {
            low
        };
        let most = last_true(flies, high, |mol| miss(mol).is_none());
        Ok([least, most])
    }
}

//! What a fill comes to: what says not to fly, and what to look at again.

use std::ops::Range;

use serde::Serialize;

use super::answer::{CylinderUse, Lift, LiftRow, LiftRowKind, LiftTest, OpeningKind};
use crate::flight::rise::Miss;
use crate::notes::NoLanding;
use crate::sizing::{Filled, Flight, Known, Stack};
use crate::vehicle::balloon::GasFill;
use crate::zone::fits::{DANGEROUS_M_S, HARD_M_S};

/// Rate at release that a load is held against when its lift does not raise it, m/s (common
/// practice, no source).
const USUAL_RATE_M_S: f64 = 5.0;
/// Slower than this at release, a stack drifts far and may float, m/s (by judgement).
pub const SLOW_M_S: f64 = 3.0;
/// Faster than this at release, gas is wasted and the burst comes low, m/s (by judgement).
const FAST_M_S: f64 = 8.0;
/// Speeds of touchdown that are common practice, m/s (no source).
const USUAL_TOUCHDOWN_M_S: [f64; 2] = [5.0, 6.0];

/// Something to know before anything else.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Whether it says not to fly.
    pub stops: bool,
    /// What it is.
    #[serde(flatten)]
    pub concern: Concern,
}

/// What is wrong with a fill or unusual about it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Concern {
    /// The gas at hand is too little.
    GasShort {
        /// How many cylinders there are.
        cylinders: u32,
        /// The lift at the neck that they give, kg.
        gives_kg: f64,
        /// The lift at the neck that the load needs, kg ...
        needs_kg: f64,
        /// ... to rise at this rate at release, m/s.
        rate_m_s: f64,
        /// The gas that is missing, m3 at the site.
        short_m3: f64,
    },
    /// The lift does not raise the load.
    LoadNotRaised {
        /// Lift at the neck, kg.
        neck_lift_kg: f64,
        /// The load, kg.
        load_kg: f64,
    },
    /// The stack makes no flight.
    NoFlight {
        /// Why not.
        miss: NoLanding,
    },
    /// With a little less lift the load would not rise.
    LowLiftRaisesNothing {
        /// How much less, as a share: one standard deviation.
        less_share: f64,
    },
    /// The weight that the balloon was seen to lift is less than the load.
    LiftedTooLittle {
        /// Lift at the neck, kg.
        neck_lift_kg: f64,
        /// The load, kg.
        load_kg: f64,
    },
    /// The filled balloon is too wide for something.
    DoesNotFit {
        /// What that is.
        opening: OpeningKind,
        /// The balloon's diameter at release at the high bound of the lift, m.
        widest_m: f64,
        /// Room wanted beside it, m.
        margin_m: f64,
        /// The narrowest side, m.
        side_m: f64,
    },
    /// Slow at release.
    Slow {
        /// The rate, m/s.
        rate_m_s: f64,
        /// Slow is below this, m/s.
        limit_m_s: f64,
    },
    /// Fast at release.
    Fast {
        /// The rate, m/s.
        rate_m_s: f64,
        /// Fast is above this, m/s.
        limit_m_s: f64,
    },
    /// A hard touchdown.
    HardTouchdown {
        /// The speed, m/s.
        speed_m_s: f64,
        /// Usual speeds, m/s.
        usual_m_s: [f64; 2],
    },
}

/// Everything that findings are made of.
pub struct SizedStack<'a> {
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

impl SizedStack<'_> {
    /// All findings: first those that say not to fly.
    pub fn findings(&self) -> Vec<Finding> {
        // Too little gas first: that the load is not raised may only follow from it.
        let stops = [
            self.gas(),
            self.flight(),
            self.as_lifted(),
            self.low_bound(),
            self.touchdown(DANGEROUS_M_S..f64::INFINITY),
        ];
        let stops = stops.into_iter().flatten().chain(self.openings());
        let unusual = self.flown.iter().flat_map(|flight| self.unusual(flight));
        let finding = |stops| move |concern| Finding { stops, concern };
        stops
            .map(finding(true))
            .chain(unusual.map(finding(false)))
            .collect()
    }

    /// Too little gas at hand: for the fill that is wanted, or for any that raises the load.
    fn gas(&self) -> Option<Concern> {
        if !self.cylinders.at_hand {
            return None;
        }
        let short_m3 = self.cylinders.short_m3;
        if short_m3 > 0.0 {
            return Some(self.shortage(self.filled, short_m3));
        }
        // A fill of all there is uses just that, but may still not raise the load.
        let emptied = matches!(self.known, Known::Cylinders);
        if !emptied || self.filled.free_lift_kg > 0.0 {
            return None;
        }
        // How much is missing needs something to be missed for: a usual rate.
        let wanted = self.stack.solve(Known::AscentRate(USUAL_RATE_M_S)).ok()?;
        let short_m3 = wanted.volume_m3 - self.filled.volume_m3;
        Some(self.shortage(&wanted, short_m3))
    }

    /// What the gas at hand gives, and what a fill needs.
    fn shortage(&self, wanted: &Filled, short_m3: f64) -> Concern {
        let stack = self.stack;
        let given = GasFill::of_volume(stack.gas, self.cylinders.give_m3, &stack.here());
        Concern::GasShort {
            cylinders: self.cylinders.cylinders.iter().map(|c| c.count).sum(),
            gives_kg: stack.filled(given.amount_mol).neck_lift_kg,
            needs_kg: wanted.neck_lift_kg,
            rate_m_s: stack.release_rate_m_s(wanted),
            short_m3,
        }
    }

    /// No flight at all.
    fn flight(&self) -> Option<Concern> {
        if self.filled.free_lift_kg <= 0.0 {
            return Some(Concern::LoadNotRaised {
                neck_lift_kg: self.filled.neck_lift_kg,
                load_kg: self.stack.load_kg,
            });
        }
        let miss = self.flown.err()?;
        Some(Concern::NoFlight { miss: miss.into() })
    }

    /// A weight that was lifted, and is less than the load.
    fn as_lifted(&self) -> Option<Concern> {
        let asked = |row: &&LiftRow| row.which == LiftRowKind::Asked;
        let row = self.lift_test.rows.iter().find(asked)?;
        (row.free_kg <= 0.0).then_some(Concern::LiftedTooLittle {
            neck_lift_kg: row.neck_kg,
            load_kg: self.stack.load_kg,
        })
    }

    /// A touchdown that is hard in this way.
    fn touchdown(&self, speeds_m_s: Range<f64>) -> Option<Concern> {
        let speed_m_s = self.stack.fall_speed_m_s(self.stack.site_m());
        let hard = speeds_m_s.contains(&speed_m_s);
        hard.then_some(Concern::HardTouchdown {
            speed_m_s,
            usual_m_s: USUAL_TOUCHDOWN_M_S,
        })
    }

    /// A flight only if the lift is not a little less.
    fn low_bound(&self) -> Option<Concern> {
        let test = self.lift_test;
        let low_kg = test.bounds_kg[0] + test.filler_kg;
        // Where nothing flies as it is, that is told already.
        let fails = self.flown.is_ok() && low_kg <= self.stack.load_kg;
        fails.then_some(Concern::LowLiftRaisesNothing {
            less_share: test.bounds_share,
        })
    }

    /// What the filled balloon does not fit.
    fn openings(&self) -> impl Iterator<Item = Concern> {
        let too_narrow = self.lift.openings.iter().filter(|opening| !opening.fits);
        too_narrow.map(|opening| Concern::DoesNotFit {
            opening: opening.kind,
            widest_m: opening.widest_m,
            margin_m: opening.margin_m,
            side_m: opening.side_m,
        })
    }

    /// What is unusual about a flight.
    fn unusual(&self, flight: &Flight) -> impl Iterator<Item = Concern> {
        let rate_m_s = flight.release_rate_m_s;
        let slow = (rate_m_s < SLOW_M_S).then_some(Concern::Slow {
            rate_m_s,
            limit_m_s: SLOW_M_S,
        });
        let fast = (rate_m_s > FAST_M_S).then_some(Concern::Fast {
            rate_m_s,
            limit_m_s: FAST_M_S,
        });
        let hard = self.touchdown(HARD_M_S..DANGEROUS_M_S);
        [slow, fast, hard].into_iter().flatten()
    }
}

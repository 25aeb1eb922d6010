//! What varies from flight to flight, and how it is sampled.

use sobol_burley::sample_4d;

use crate::flight::model::Variation;
use crate::flight::rise::{RiseVariation, SIGMAS};
use crate::random::{SplitMix, normal_quantile};
use crate::vehicle::ascent::DragCurve;
use crate::vehicle::descent::THIN_AIR_EXPONENT_SIGMA;

/// How much each thing varies: one standard deviation each, 0 for what is certain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Of the neck lift, as a share.
    pub lift: f64,
    /// Of the drag coefficient of the balloon, as a share.
    pub drag: f64,
    /// Of ln Re0 of the drag curve: what the fit leaves between flights.
    pub ln_re0: f64,
    /// Of the ascent rate, in units of what the fit leaves between flights: 1 or 0.
    pub rise_residual: f64,
    /// Of the burst.
    pub burst: BurstSpread,
    /// Of the drag area of the parachute, as a share.
    pub parachute: f64,
    /// Of the share of the balloon that stays on the line after the burst.
    pub remnant: f64,
    /// Of the exponent of the fall speed in thin air.
    pub fall_exponent: f64,
    /// Of the delay of the release, s.
    pub release_delay_s: f64,
}

impl Spread {
    /// What is assumed of a balloon and a parachute where nothing is known.
    pub const ASSUMED: Spread = Spread {
        lift: 0.04,
        // The scatter of a manufacturer's own table.
        drag: 0.08,
        ln_re0: DragCurve::LN_RE0_SIGMA,
        rise_residual: 1.0,
        // 5 to 8 % by judgement: no peer-reviewed figure was found.
        burst: BurstSpread::Diameter(0.06),
        // Of a parachute taken from a catalogue.
        parachute: 0.15,
        remnant: 0.15,
        fall_exponent: THIN_AIR_EXPONENT_SIGMA,
        release_delay_s: 600.0,
    };
}

/// How the burst varies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BurstSpread {
    /// The burst diameter, as a share.
    Diameter(f64),
    /// The burst altitude, m.
    AltitudeM(f64),
}

/// What hangs under the parachute, as the variation of its mass needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FallingMass {
    /// Mass without the balloon's remnant, kg.
    pub load_kg: f64,
    /// Mass of the whole balloon, kg; 0 where the landing speed was stated.
    pub balloon_kg: f64,
    /// Share of the balloon that stays on the line, as planned.
    pub remnant: f64,
}

/// One draw: a flight's variation and the deviates of its wind error.
#[derive(Debug, Clone)]
pub struct Draw {
    /// The flight.
    pub variation: Variation,
    /// Deviates of the east and north components of the wind error's planned drift.
    pub wind: [f64; 2],
    /// The stream that the rest of the wind error comes from.
    pub stream: SplitMix,
}

/// Makes draw after draw: draw `i` depends on the seed and on `i` only.
///
/// Quasi-random: a Sobol sequence with Owen scrambling (B. Burley 2020, "Practical Hash-based Owen
/// Scrambling", JCGT 10(4)), one dimension for each thing that varies, turned into normal deviates
/// within four standard deviations.
#[derive(Debug, Clone, Copy)]
pub struct Sampler {
    /// The seed.
    pub seed: u64,
    /// What varies.
    pub spread: Spread,
    /// What falls.
    pub mass: FallingMass,
    /// How many members the winds have; each draw takes one.
    pub members: usize,
}

/// The sequence has so many points; the next block is scrambled anew.
const BLOCK: u64 = 1 << 16;

impl Sampler {
    /// Draw `index`.
    pub fn draw(&self, index: u64) -> Draw {
        let s = &self.spread;
        let scramble = SplitMix::stream(self.seed, index / BLOCK).next_u64() as u32;
        let set = |k| sample_4d((index % BLOCK) as u32, k, scramble).map(deviate);
        let [lift, drag, ln_re0, residual] = set(0);
        let [burst, parachute, remnant, exponent] = set(1);
        let last = sample_4d((index % BLOCK) as u32, 2, scramble);
        let [delay, east, north, _] = last.map(deviate);
        let members = self.members.max(1);
        let member = ((f64::from(last[3]) * members as f64) as usize).min(members - 1);
        let (burst_diameter, burst_higher_m) = match s.burst {
            BurstSpread::Diameter(sigma) => ((1.0 + sigma * burst).max(0.1), 0.0),
            BurstSpread::AltitudeM(sigma) => (1.0, sigma * burst),
        };
        Draw {
            variation: Variation {
                rise: RiseVariation {
                    lift: (1.0 + s.lift * lift).max(0.05),
                    drag: (1.0 + s.drag * drag).max(0.05),
                    ln_re0: s.ln_re0 * ln_re0,
                    residual: s.rise_residual * residual,
                },
                burst_diameter,
                burst_higher_m,
                fall_speed: self.fall_speed(parachute, remnant),
                fall_exponent: s.fall_exponent * exponent,
                delay_s: s.release_delay_s * delay,
                member,
            },
            wind: [east, north],
            stream: SplitMix::stream(self.seed, index),
        }
    }

    /// v / v planned = sqrt(m / m planned) / sqrt(Cd S / Cd S planned).
    fn fall_speed(&self, parachute: f64, remnant: f64) -> f64 {
        let m = &self.mass;
        let planned = m.load_kg + m.balloon_kg * m.remnant;
        let share = (m.remnant + self.spread.remnant * remnant).clamp(0.0, 1.0);
        let drawn = m.load_kg + m.balloon_kg * share;
        let area = (1.0 + self.spread.parachute * parachute).max(0.05);
        let ratio = if planned > 0.0 { drawn / planned } else { 1.0 };
        (ratio / area).sqrt()
    }
}

fn deviate(uniform: f32) -> f64 {
    // Samples are multiples of 2^-24; half a step keeps 0 away from the quantile.
    normal_quantile(f64::from(uniform) + 0.5 / f64::from(1u32 << 24)).clamp(-SIGMAS, SIGMAS)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sampler() -> Sampler {
        Sampler {
            seed: 5,
            spread: Spread {
                lift: 0.04,
                drag: 0.08,
                ln_re0: 0.2,
                rise_residual: 1.0,
                burst: BurstSpread::Diameter(0.06),
                parachute: 0.1,
                remnant: 0.0,
                fall_exponent: 0.1,
                release_delay_s: 600.0,
            },
            mass: FallingMass {
                load_kg: 4.0,
                balloon_kg: 1.2,
                remnant: 0.3,
            },
            members: 1,
        }
    }

    #[test]
    fn moments_of_a_quasi_random_sample_are_close() {
        let sampler = sampler();
        let n = 4096;
        let lifts: Vec<f64> = (0..n)
            .map(|i| sampler.draw(i).variation.rise.lift)
            .collect();
        let mean = lifts.iter().sum::<f64>() / n as f64;
        let sd = (lifts.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n as f64).sqrt();
        // A hundred times closer than the 0.04/64 of a random sample would need.
        assert!((mean - 1.0).abs() < 2e-5, "{mean}");
        assert!((sd - 0.04).abs() < 2e-4, "{sd}");
    }

    #[test]
    fn a_draw_depends_on_seed_and_index_only() {
        let (a, mut b) = (sampler(), sampler());
        assert_eq!(a.draw(17).variation, b.draw(17).variation);
        assert_ne!(a.draw(17).variation, a.draw(18).variation);
        assert_ne!(a.draw(17).variation, a.draw(17 + BLOCK).variation);
        b.seed = 6;
        assert_ne!(a.draw(17).variation, b.draw(17).variation);
    }

    #[test]
    fn more_remnant_falls_faster() {
        let mut sampler = sampler();
        sampler.spread.remnant = 0.15;
        assert!(sampler.fall_speed(0.0, 1.0) > 1.0 && sampler.fall_speed(0.0, -1.0) < 1.0);
        assert_eq!(sampler.fall_speed(0.0, 0.0), 1.0);
        assert!(sampler.fall_speed(1.0, 0.0) < 1.0);
    }

    #[test]
    fn members_are_drawn_evenly() {
        let mut sampler = sampler();
        sampler.members = 31;
        let mut counts = [0usize; 31];
        for i in 0..2_000 {
            counts[sampler.draw(i).variation.member] += 1;
        }
        // 2,000 / 31 = 64.5: a random sample would be off by 8 (sd).
        assert!(counts.iter().all(|&n| (62..=67).contains(&n)), "{counts:?}");
    }
}

//! What varies from flight to flight, and how it is sampled.

use sobol_burley::sample_4d;

use crate::flight::model::{CanopyChange, Variation};
use crate::flight::rise::RiseVariation;
use crate::random::{SplitMix, normal_quantile};
use crate::vehicle::ascent::{DragCurve, RATE_ERROR};
use crate::vehicle::burst::{BURST_DIAMETER_SIGMA, BurstDraw, EARLY_BURST_SHARE, burst_draw};
use crate::vehicle::descent::{CANOPY_CHANGE_AREA, CANOPY_CHANGE_SHARE, THIN_AIR_EXPONENT_SIGMA};

/// Flights are drawn within this many standard deviations.
pub const SIGMAS: f64 = 4.0;

/// How much each thing varies: one standard deviation each, 0 for what is certain, unless said
/// otherwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Of the neck lift, as a share.
    pub lift: f64,
    /// Of the drag coefficient of the balloon, as a share.
    pub drag: f64,
    /// Of ln Re0 of the drag curve: what the fit leaves between flights.
    pub ln_re0: f64,
    /// Of ln rate of ascent from height to height.
    pub rate_error: f64,
    /// Of the burst, where it is not early.
    pub burst: BurstSpread,
    /// The share of balloons that burst early.
    pub early_bursts: f64,
    /// Of the drag area of the parachute, as a share.
    pub parachute: f64,
    /// Of the share of the balloon that stays on the line after the burst.
    pub remnant: f64,
    /// Of the exponent of the fall speed in thin air.
    pub fall_exponent: f64,
    /// The share of falls on which the canopy changes on the way.
    pub canopy_changes: f64,
    /// Of the delay of the release, s. A release is late, never early: two thirds of the delays are
    /// shorter than this, 19 of 20 shorter than twice this.
    pub release_delay_s: f64,
}

impl Spread {
    /// What is assumed of a balloon and a parachute where nothing is known.
    pub const ASSUMED: Spread = Spread {
        lift: 0.04,
        drag: DragCurve::DRAG_SIGMA,
        ln_re0: DragCurve::LN_RE0_SIGMA,
        rate_error: RATE_ERROR,
        burst: BurstSpread::Diameter(BURST_DIAMETER_SIGMA),
        early_bursts: EARLY_BURST_SHARE,
        // Of a parachute taken from a catalogue.
        parachute: 0.15,
        remnant: 0.15,
        fall_exponent: THIN_AIR_EXPONENT_SIGMA,
        canopy_changes: CANOPY_CHANGE_SHARE,
        release_delay_s: 600.0,
    };

    /// Nothing varies.
    pub const NONE: Spread = Spread {
        lift: 0.0,
        drag: 0.0,
        ln_re0: 0.0,
        rate_error: 0.0,
        burst: BurstSpread::Diameter(0.0),
        early_bursts: 0.0,
        parachute: 0.0,
        remnant: 0.0,
        fall_exponent: 0.0,
        canopy_changes: 0.0,
        release_delay_s: 0.0,
    };
}

/// How the burst varies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BurstSpread {
    /// The burst diameter, as a share.
    Diameter(f64),
    /// The burst altitude, m.
    AltitudeM {
        /// One standard deviation, m.
        sigma_m: f64,
        /// Where the burst goes by an altitude alone, the scale height of the air's density there,
        /// m: a burst at a share x of the diameter is 3 H ln x higher.
        scale_m: Option<f64>,
    },
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
    /// Whether the balloon bursts early.
    pub bursts_early: bool,
    /// Normal deviates of the planned drift's wind error, east and north.
    pub wind: [f64; 2],
    /// What else is drawn of the flight.
    pub stream: SplitMix,
}

/// Makes draw after draw: draw `i` depends on the seed and on `i` only.
///
/// Quasi-random: a Sobol sequence with Owen scrambling (B. Burley 2020, "Practical Hash-based Owen
/// Scrambling", JCGT 10(4)), one dimension for each thing that varies, turned into deviates; normal
/// ones within four standard deviations.
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

/// The sequence has this many points; the next block is scrambled anew.
const BLOCK: u64 = 1 << 16;

impl Sampler {
    /// Draw `index`.
    pub fn draw(&self, index: u64) -> Draw {
        let s = &self.spread;
        // Beyond its last point the sequence would repeat itself.
        let scramble = SplitMix::stream(self.seed, index / BLOCK).next_u64() as u32;
        // Which dimension is whose is part of what a seed means.
        let set = |k| sample_4d((index % BLOCK) as u32, k, scramble).map(uniform);
        let mut stream = SplitMix::stream(self.seed, index);
        let [lift, drag, ln_re0, exponent] = set(0).map(deviate);
        let [burst, parachute, remnant, change] = set(1);
        let [delay, east, north, member] = set(2);
        let members = self.members.max(1);
        let burst = burst_draw(burst, s.early_bursts);
        let (burst_diameter, burst_higher_m) = s.burst.of(burst);
        Draw {
            variation: Variation {
                rise: RiseVariation {
                    // Four standard deviations of a wide spread may go below 0, where nothing
                    // flies.
                    lift: (1.0 + s.lift * lift).max(0.05),
                    drag: (1.0 + s.drag * drag).max(0.05),
                    ln_re0: s.ln_re0 * ln_re0,
                },
                burst_diameter,
                burst_higher_m,
                fall_speed: self.fall_speed(deviate(parachute), deviate(remnant)),
                fall_exponent: s.fall_exponent * exponent,
                canopy_change: s.canopy_change(change, &mut stream),
                // Half of a normal: never early.
                delay_s: s.release_delay_s * deviate(0.5 + 0.5 * delay),
                // From a dimension of its own: the members share the draws evenly.
                member: ((member * members as f64) as usize).min(members - 1),
            },
            bursts_early: matches!(burst, BurstDraw::Early(_)),
            wind: [deviate(east), deviate(north)],
            stream,
        }
    }

    /// v / v planned = sqrt(m / m planned) / sqrt(Cd S / Cd S planned).
    fn fall_speed(&self, parachute: f64, remnant: f64) -> f64 {
        let m = &self.mass;
        let planned = m.load_kg + m.balloon_kg * m.remnant;
        // No more of the balloon can hang there than there was, and no less than nothing.
        let share = (m.remnant + self.spread.remnant * remnant).clamp(0.0, 1.0);
        let drawn = m.load_kg + m.balloon_kg * share;
        let area = (1.0 + self.spread.parachute * parachute).max(0.05);
        let ratio = if planned > 0.0 { drawn / planned } else { 1.0 };
        (ratio / area).sqrt()
    }
}

impl Spread {
    /// Where the canopy changes on a fall of this rank among all; every height from the
    /// release's to the burst's is equally likely, and so are a larger and a smaller drag area.
    fn canopy_change(&self, rank: f64, stream: &mut SplitMix) -> Option<CanopyChange> {
        let mut next = || (stream.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
        // Drawn for every flight, so that the rest of its stream does not depend on the share of
        // changes.
        let (height, side) = (next(), next());
        let larger = if side < 0.5 {
            1.0 / CANOPY_CHANGE_AREA
        } else {
            CANOPY_CHANGE_AREA
        };
        (rank < self.canopy_changes).then(|| CanopyChange {
            from_share: height,
            speed_above: 1.0 / larger.sqrt(),
        })
    }
}

impl BurstSpread {
    /// Factor on the burst diameter and metres on the burst altitude of a balloon.
    fn of(&self, burst: BurstDraw) -> (f64, f64) {
        let within = |deviate: f64| deviate.clamp(-SIGMAS, SIGMAS);
        match (*self, burst) {
            (BurstSpread::Diameter(sigma), BurstDraw::Usual(deviate)) => {
                ((1.0 + sigma * within(deviate)).max(0.1), 0.0)
            }
            (BurstSpread::AltitudeM { sigma_m, .. }, BurstDraw::Usual(deviate)) => {
                (1.0, sigma_m * within(deviate))
            }
            (
                BurstSpread::AltitudeM {
                    scale_m: Some(h), ..
                },
                BurstDraw::Early(share),
            ) => (1.0, 3.0 * h * share.ln()),
            (_, BurstDraw::Early(share)) => (share, 0.0),
        }
    }
}

/// Samples are multiples of 2^-24; half a step keeps 0 away from the quantile.
fn uniform(sample: f32) -> f64 {
    f64::from(sample) + 0.5 / f64::from(1u32 << 24)
}

fn deviate(uniform: f64) -> f64 {
    normal_quantile(uniform).clamp(-SIGMAS, SIGMAS)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sampler() -> Sampler {
        Sampler {
            seed: 5,
            spread: Spread {
                remnant: 0.0,
                ..Spread::ASSUMED
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

    /// The core and the early ones: shares of all draws, the ranks of each even.
    #[test]
    fn bursts_are_a_mixture() {
        let (sampler, n) = (sampler(), 4_096);
        let draws: Vec<Draw> = (0..n).map(|i| sampler.draw(i)).collect();
        let (early, usual): (Vec<&Draw>, Vec<&Draw>) = draws.iter().partition(|d| d.bursts_early);
        let diameters = |draws: &[&Draw]| -> Vec<f64> {
            draws.iter().map(|d| d.variation.burst_diameter).collect()
        };
        assert!((early.len() as f64 / n as f64 - 0.1).abs() < 1e-3);
        assert!(diameters(&early).iter().all(|d| (0.65..=0.9).contains(d)));
        let usual = diameters(&usual);
        let mean = usual.iter().sum::<f64>() / usual.len() as f64;
        let square = usual.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / usual.len() as f64;
        assert!((mean - 1.0).abs() < 1e-3 && (square.sqrt() - 0.05).abs() < 1e-3);
        let by_altitude = BurstSpread::AltitudeM {
            sigma_m: 1_000.0,
            scale_m: Some(6_500.0),
        };
        let (factor, higher_m) = by_altitude.of(BurstDraw::Early(0.8));
        assert_eq!(factor, 1.0);
        assert!((higher_m - 3.0 * 6_500.0 * 0.8f64.ln()).abs() < 1e-9);
        assert_eq!(by_altitude.of(BurstDraw::Usual(-1.5)), (1.0, -1_500.0));
    }

    #[test]
    fn releases_are_late_and_never_early() {
        let (sampler, n) = (sampler(), 4_096);
        let delays: Vec<f64> = (0..n).map(|i| sampler.draw(i).variation.delay_s).collect();
        let share = |s: f64| delays.iter().filter(|d| **d <= s).count() as f64 / n as f64;
        assert!(delays.iter().all(|d| *d >= 0.0));
        assert!((share(600.0) - 0.683).abs() < 2e-3 && (share(1_200.0) - 0.954).abs() < 2e-3);
    }

    #[test]
    fn some_canopies_change_on_the_way() {
        let (sampler, n) = (sampler(), 8_192);
        let changes: Vec<CanopyChange> = (0..n)
            .filter_map(|i| sampler.draw(i).variation.canopy_change)
            .collect();
        let count = changes.len() as f64;
        assert!(
            (count / n as f64 - CANOPY_CHANGE_SHARE).abs() < 1e-3,
            "{count}"
        );
        let faster = changes.iter().filter(|c| c.speed_above > 1.0).count() as f64;
        // Four standard errors of a binomial share, and of the mean of even numbers.
        assert!((faster / count - 0.5).abs() < 2.0 / count.sqrt());
        let mean = changes.iter().map(|c| c.from_share).sum::<f64>() / count;
        assert!((mean - 0.5).abs() < 4.0 * 0.289 / count.sqrt(), "{mean}");
        let squares = changes.iter().map(|c| c.speed_above.powi(2));
        assert!(
            squares
                .clone()
                .all(|s| (s - 2.0).abs() < 1e-12 || (s - 0.5).abs() < 1e-12)
        );
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

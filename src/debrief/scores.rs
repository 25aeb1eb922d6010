//! How good the zones of a logbook's flights were, all together.

use serde::Serialize;

use super::score::{Calibration, Normal2, coverage_bounds};
use crate::logbook::{Flight, Logbook, Shift};
use crate::spread::draws::{BurstSpread, Spread};

/// Of fewer flights only whether they agree with their zones can be said.
pub const FEW: usize = 10;
/// Probabilities whose coverage is counted.
const COVERED: [f64; 3] = [0.5, 0.9, 0.95];
/// Bars of the picture of ranks.
pub const BARS: usize = 5;

/// What a logbook says of its flights' zones.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Scores {
    /// Flights in the logbook.
    pub flights: usize,
    /// Flights of which it is known where in their zone they came down.
    pub ranked: usize,
    /// Whether zones are as wide as they should be; `None` of no such flight.
    pub calibration: Option<Calibration>,
    /// What ten flights and more tell besides.
    pub many: Option<Many>,
    /// Misses along and across the drift, in standard deviations as forecast.
    pub misses: Option<Misses>,
    /// What the flights teach: rate of rise, burst diameter, fall.
    pub learnt: [Option<Shift>; 3],
    /// The factor on how wrong winds are said to be, and from how many flights.
    pub winds: Option<(f64, usize)>,
}

/// What only many flights tell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Many {
    /// Mean energy scores, km; `None` where flights have none.
    pub energy: Option<Energy>,
    /// How many flights regions held.
    pub coverage: [Coverage; 3],
    /// Flights by the share of draws nearer to the middle: of as many each if the zones are right.
    pub ranks: [usize; BARS],
    /// How many of them would be in each 19 times of 20.
    pub usual: [u32; 2],
}

/// Mean energy scores of the same flights, km.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Energy {
    /// Of how many flights.
    pub flights: usize,
    /// Of the zones.
    pub zones_km: f64,
    /// Of a circle around each planned landing, as wide as the misses of the other flights say.
    pub circle_km: f64,
    /// Of the planned landings alone: the mean miss.
    pub points_km: f64,
}

/// How many flights a region held.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Coverage {
    /// Its probability.
    pub probability: f64,
    /// Flights it held.
    pub held: usize,
    /// Between which numbers that is 19 times of 20 if it is right: the exact binomial.
    pub bounds: [u32; 2],
}

/// Misses in standard deviations as forecast: what is to be expected of the next one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Misses {
    /// From how many flights.
    pub flights: usize,
    /// Its mean, along the drift and to the right of it.
    pub mean: [f64; 2],
    /// Its standard deviations: 1 if the zones are right.
    pub sigmas: [f64; 2],
    /// How far it is from the mean with a probability of 90 %, as a share of what 90 % should be.
    pub outer: f64,
}

impl Scores {
    /// Of a logbook.
    pub fn of(book: &Logbook) -> Scores {
        let ranks: Vec<f64> = book.flights.iter().filter_map(|f| f.within).collect();
        let [rate, burst, fall] = sigmas();
        Scores {
            flights: book.flights.len(),
            ranked: ranks.len(),
            calibration: (!ranks.is_empty()).then(|| Calibration::of(&ranks)),
            many: (ranks.len() >= FEW).then(|| Many::of(&ranks, &book.flights)),
            misses: misses(book),
            learnt: [book.rate(rate), book.burst(burst), book.fall(fall)],
            winds: book.winds(),
        }
    }
}

/// How much the logarithms of rate, burst diameter and fall vary where a plan does not say.
pub fn sigmas() -> [f64; 3] {
    let spread = Spread::ASSUMED;
    let burst = match spread.burst {
        BurstSpread::Diameter(sigma) => sigma,
        BurstSpread::AltitudeM { .. } => 0.0,
    };
    [
        // As the root of the free lift, a third of that at the neck, and as the root of the drag.
        (1.5 * spread.lift).hypot(0.5 * spread.drag),
        burst,
        // As the root of the drag area.
        0.5 * spread.parachute,
    ]
}

impl Many {
    fn of(ranks: &[f64], flights: &[Flight]) -> Many {
        let n = ranks.len() as u32;
        let coverage = COVERED.map(|probability| Coverage {
            probability,
            held: ranks.iter().filter(|u| **u <= probability).count(),
            bounds: coverage_bounds(n, probability),
        });
        let mut bars = [0; BARS];
        for u in ranks {
            // A landing beyond all draws is in the last bar.
            bars[((u * BARS as f64) as usize).min(BARS - 1)] += 1;
        }
        Many {
            energy: energy(flights),
            coverage,
            ranks: bars,
            usual: coverage_bounds(n, 1.0 / BARS as f64),
        }
    }
}

/// Scores of the flights that have one, beside that of a round normal whose width the others' misses give.
fn energy(flights: &[Flight]) -> Option<Energy> {
    let scored: Vec<(f64, f64)> = flights
        .iter()
        .filter_map(|f| Some((f.energy_km?, f.miss_km)))
        .collect();
    let n = scored.len() as f64;
    if scored.len() < FEW {
        return None;
    }
    let squares: f64 = scored.iter().map(|(_, miss)| miss * miss).sum();
    let circle = |miss: f64| {
        // Of each flight only the others' misses are known; a square of them is two variances.
        let variance = ((squares - miss * miss) / (2.0 * (n - 1.0))).max(1e-12);
        let normal = Normal2 {
            mean: [0.0; 2],
            covariance: [[variance, 0.0], [0.0, variance]],
        };
        normal.energy_score([miss, 0.0])
    };
    let mean = |of: &dyn Fn(&(f64, f64)) -> f64| scored.iter().map(of).sum::<f64>() / n;
    Some(Energy {
        flights: scored.len(),
        zones_km: mean(&|(energy, _)| *energy),
        circle_km: mean(&|(_, miss)| circle(*miss)),
        points_km: mean(&|(_, miss)| *miss),
    })
}

fn misses(book: &Logbook) -> Option<Misses> {
    let (learnt, flights) = book.misses()?;
    let [[along, _], [_, across]] = learnt.covariance();
    let (_, [[a, b], [_, c]]) = learnt.next();
    // As large as its scale's ellipse, beside the radius that holds 90 % of a normal.
    let size = (a * c - b * b).max(0.0).powf(0.25);
    let right = (-2.0 * 0.1f64.ln()).sqrt();
    Some(Misses {
        flights,
        mean: learnt.mean,
        sigmas: [along.sqrt(), across.sqrt()],
        outer: size * learnt.squared_radius(0.9).sqrt() / right,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::SplitMix;

    /// Flights whose landings are normal, `wider` times as wide as their zones, which are 3 km and 2 km along and
    /// across.
    fn simulated(count: usize, wider: f64, seed: u64) -> Logbook {
        let mut stream = SplitMix::stream(15, seed);
        let zone = Normal2 {
            mean: [0.0; 2],
            covariance: [[9.0, 0.0], [0.0, 4.0]],
        };
        let mut flight = |day: usize| {
            let [a, b] = [0, 1].map(|_| wider * stream.next_normal());
            let miss = [3.0 * a, 2.0 * b];
            let text = format!(
                "[[flight]]\nname = \"{day}\"\nreleased = \"2026-01-{:02}T10:00:00Z\"\nlat = 40\nlon = -89\nmiss_km = {}\nalong_km = {}\nacross_km = {}\nwithin = {}\nenergy_km = {}\nalong_sigmas = {a}\nacross_sigmas = {b}\n",
                day % 28 + 1,
                miss[0].hypot(miss[1]),
                miss[0],
                miss[1],
                zone.within(miss),
                zone.energy_score(miss),
            );
            Logbook::parse("simulated", &text)
                .unwrap()
                .flights
                .remove(0)
        };
        Logbook {
            flights: (0..count).map(&mut flight).collect(),
        }
    }

    #[test]
    fn zones_too_narrow_are_recognised_and_right_ones_left_alone() {
        let found = |wider: f64, wanted: Calibration| {
            let of = |seed: &u64| Scores::of(&simulated(12, wider, *seed));
            let all = 0..100u64;
            all.filter(|s| of(s).calibration == Some(wanted)).count()
        };
        let narrow = found(2.0, Calibration::TooNarrow);
        let right = found(1.0, Calibration::Consistent);
        let wide = found(0.4, Calibration::TooWide);
        assert!(
            narrow >= 90 && right >= 90 && wide >= 90,
            "{narrow} {right} {wide} of 100"
        );
    }

    #[test]
    fn many_flights_tell_coverage_ranks_and_scores() {
        let scores = Scores::of(&simulated(400, 1.0, 3));
        let many = scores.many.unwrap();
        for c in many.coverage {
            let held = c.held as u32;
            assert!(c.bounds[0] <= held && held <= c.bounds[1], "{c:?}");
        }
        assert_eq!(many.ranks.iter().sum::<usize>(), 400);
        let usual = |n: &&usize| (many.usual[0]..=many.usual[1]).contains(&(**n as u32));
        assert!(many.ranks.iter().filter(usual).count() >= 4, "{many:?}");
        // The long zone that is right scores less than a circle of the same size, and both than a point.
        let energy = many.energy.unwrap();
        assert!(energy.zones_km < energy.circle_km, "{energy:?}");
        assert!(energy.circle_km < energy.points_km, "{energy:?}");
        let misses = scores.misses.unwrap();
        for side in 0..2 {
            assert!(misses.mean[side].abs() < 0.15, "{misses:?}");
            assert!((misses.sigmas[side] - 1.0).abs() < 0.1, "{misses:?}");
        }
        assert!((misses.outer - 1.0).abs() < 0.1, "{misses:?}");
        let wide = Scores::of(&simulated(400, 2.0, 3)).misses.unwrap();
        assert!((wide.outer - 2.0).abs() < 0.2, "{wide:?}");
    }

    #[test]
    fn few_flights_say_consistent_or_not_and_no_more() {
        let scores = Scores::of(&simulated(9, 1.0, 1));
        assert!(scores.many.is_none() && scores.calibration.is_some());
        let none = Scores::of(&Logbook { flights: vec![] });
        assert_eq!((none.calibration, none.misses), (None, None));
    }
}

//! One profile of wind and air, ready to be flown through.

use jiff::Timestamp;

use super::sounding::{Sounding, Wind};
use crate::atmosphere::{AirLevel, AirProfile};
use crate::geodesy::Position;
use crate::numeric::{between, bracket};

/// Wind and air by geometric altitude above one place at one time.
#[derive(Debug, Clone)]
pub struct Column {
    /// Where, if known.
    pub position: Option<Position>,
    /// When, if known.
    pub time: Option<Timestamp>,
    /// The air.
    pub air: AirProfile,
    /// The wind.
    pub winds: WindProfile,
}

impl Column {
    /// The column of a sounding.
    pub fn from_sounding(sounding: &Sounding) -> Column {
        let winds: Vec<(f64, Wind)> = sounding
            .levels
            .iter()
            .filter_map(|l| Some((l.altitude_m, l.wind?)))
            .collect();
        let air: Vec<AirLevel> = sounding
            .levels
            .iter()
            .filter_map(|l| {
                Some(AirLevel {
                    altitude_m: l.altitude_m,
                    temperature_k: l.temperature_k?,
                    pressure_pa: l.pressure_pa?,
                    vapour_pressure_pa: l.vapour_pressure_pa.unwrap_or(0.0),
                })
            })
            .collect();
        Column {
            position: sounding.position,
            time: sounding.time,
            air: AirProfile::from_levels(&air),
            winds: WindProfile::new(&winds),
        }
    }

    /// A column of winds by altitude (m, strictly rising); calm where there are none.
    pub fn from_winds(winds: &[(f64, Wind)], air: AirProfile) -> Column {
        Column {
            position: None,
            time: None,
            air,
            winds: WindProfile::new(winds),
        }
    }
}

/// A wind by geometric altitude.
///
/// It is linear in altitude between levels. Above the highest and below the lowest level
/// the nearest wind is held; [`WindProfile::base_m`] and [`WindProfile::top_m`] tell where that
/// begins.
#[derive(Debug, Clone, PartialEq)]
pub struct WindProfile {
    levels: Vec<WindLevel>,
    /// Up to where the wind is known, m: the highest level, but in a mean of profiles of which one ends
    /// lower.
    known_to_m: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct WindLevel {
    altitude_m: f64,
    wind: [f64; 2],
    /// Integral of the wind over altitude from the lowest level up to here, m2/s.
    integral: [f64; 2],
}

/// Profiles whose highest levels are no farther apart end alike, m: one pressure lies at different heights.
pub const ENDS_ALIKE_M: f64 = 1_000.0;

impl WindProfile {
    /// Winds by altitude (m, strictly rising); calm where there are none.
    pub fn new(winds: &[(f64, Wind)]) -> WindProfile {
        let mut levels: Vec<WindLevel> = Vec::with_capacity(winds.len().max(1));
        for &(altitude_m, wind) in winds {
            let wind = [wind.east_m_s, wind.north_m_s];
            let integral = levels.last().map_or([0.0; 2], |below| {
                let dz = altitude_m - below.altitude_m;
                // Linear between levels, so the trapezoid is exact; a mean over any layer is then
                // two look-ups.
                std::array::from_fn(|i| below.integral[i] + 0.5 * dz * (below.wind[i] + wind[i]))
            });
            levels.push(WindLevel {
                altitude_m,
                wind,
                integral,
            });
        }
        // One calm level, so that every altitude finds a level.
        if levels.is_empty() {
            levels.push(WindLevel {
                altitude_m: 0.0,
                wind: [0.0; 2],
                integral: [0.0; 2],
            });
        }
        let known_to_m = levels.last().map_or(0.0, |l| l.altitude_m);
        WindProfile { levels, known_to_m }
    }

    /// The weighted mean of profiles, each linear in its own altitudes; exact, as it has a level
    /// wherever one of them has.
    pub fn blend(parts: &[(f64, &WindProfile)]) -> WindProfile {
        let mut altitudes: Vec<f64> = parts
            .iter()
            .flat_map(|(_, p)| p.levels.iter().map(|l| l.altitude_m))
            .collect();
        altitudes.sort_by(f64::total_cmp);
        // Two levels at one altitude would leave nothing to divide by between them.
        altitudes.dedup();
        let blended = |z: f64| {
            let sum = |component: fn(Wind) -> f64| {
                let terms = parts.iter().map(|(w, p)| w * component(p.at(z)));
                terms.sum::<f64>()
            };
            (z, wind([sum(|w| w.east_m_s), sum(|w| w.north_m_s)]))
        };
        let winds: Vec<(f64, Wind)> = altitudes.into_iter().map(blended).collect();
        let all = WindProfile::new(&winds);
        let counting = parts.iter().filter(|part| part.0 > 0.0);
        let lowest_top_m = counting.map(|(_, p)| p.known_to_m);
        let lowest_top_m = lowest_top_m.fold(f64::INFINITY, f64::min);
        // What ends lower is held above its top, a guess like that of one profile alone.
        match all.known_to_m - lowest_top_m > ENDS_ALIKE_M {
            true => WindProfile {
                known_to_m: lowest_top_m,
                ..all
            },
            false => all,
        }
    }

    /// The mean of profiles that count alike, as of members.
    pub fn mean_of(profiles: &[WindProfile]) -> WindProfile {
        let share = 1.0 / profiles.len() as f64;
        let parts: Vec<(f64, &WindProfile)> = profiles.iter().map(|p| (share, p)).collect();
        WindProfile::blend(&parts)
    }

    /// Altitudes and speeds of the winds, lowest first, m and m/s.
    pub fn speeds(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.levels
            .iter()
            .map(|l| (l.altitude_m, l.wind[0].hypot(l.wind[1])))
    }

    /// Altitude of the lowest wind, m above mean sea level.
    pub fn base_m(&self) -> f64 {
        self.levels[0].altitude_m
    }

    /// Altitude of the lowest wind from an altitude on, m above mean sea level.
    pub fn lowest_from(&self, altitude_m: f64) -> Option<f64> {
        let first = self.levels.partition_point(|l| l.altitude_m < altitude_m);
        self.levels.get(first).map(|l| l.altitude_m)
    }

    /// Altitude of the highest wind, m above mean sea level.
    pub fn top_m(&self) -> f64 {
        self.known_to_m
    }

    /// The same with another's winds above its own highest.
    #[must_use]
    pub fn continued_by(&self, higher: &WindProfile) -> WindProfile {
        let above = |l: &&WindLevel| l.altitude_m > self.known_to_m;
        let own = self.levels.iter().filter(|l| !above(l));
        let all = own.chain(higher.levels.iter().filter(above));
        WindProfile::new(
            &all.map(|l| (l.altitude_m, wind(l.wind)))
                .collect::<Vec<_>>(),
        )
    }

    /// The wind at an altitude.
    pub fn at(&self, altitude_m: f64) -> Wind {
        let (below, f) = bracket(&self.levels, |l| l.altitude_m, altitude_m);
        let above = (below + 1).min(self.levels.len() - 1);
        wind(between(self.levels[below].wind, self.levels[above].wind, f))
    }

    /// The exact mean over altitude of the wind between two altitudes; where they are the same,
    /// the wind there.
    ///
    /// ```
    /// use windfall::wind::column::WindProfile;
    /// use windfall::wind::sounding::Wind;
    ///
    /// let west = |speed_m_s| Wind { east_m_s: speed_m_s, north_m_s: 0.0 };
    /// let winds = WindProfile::new(&[(0.0, west(0.0)), (1_000.0, west(10.0))]);
    /// assert_eq!(winds.mean(0.0, 1_000.0).east_m_s, 5.0);
    /// assert_eq!(winds.at(2_000.0).east_m_s, 10.0); // the last wind is held above it
    /// ```
    pub fn mean(&self, from_m: f64, to_m: f64) -> Wind {
        if from_m == to_m {
            return self.at(from_m);
        }
        let (low, high) = (self.integral_to(from_m), self.integral_to(to_m));
        wind(std::array::from_fn(|i| {
            (high[i] - low[i]) / (to_m - from_m)
        }))
    }

    /// The [`mean`](WindProfile::mean) between each of some rising altitudes and the next.
    pub fn means(
        &self,
        altitudes_m: impl Iterator<Item = f64> + Clone,
    ) -> impl Iterator<Item = Wind> {
        let mut low: Option<(f64, [f64; 2])> = None;
        let integrals = self.integrals(altitudes_m.clone());
        altitudes_m.zip(integrals).filter_map(move |(to_m, high)| {
            let (from_m, low) = low.replace((to_m, high))?;
            Some(wind([0, 1].map(|i| (high[i] - low[i]) / (to_m - from_m))))
        })
    }

    /// The integral of the wind over altitude from the lowest level up to each of some rising altitudes, m2/s.
    pub fn integrals(
        &self,
        altitudes_m: impl Iterator<Item = f64>,
    ) -> impl Iterator<Item = [f64; 2]> {
        let mut below = 0;
        altitudes_m.map(move |altitude_m| {
            // They rise, so the level is at most a few above the one before.
            let beyond = |level: &WindLevel| level.altitude_m <= altitude_m;
            while self.levels.get(below + 1).is_some_and(beyond) {
                below += 1;
            }
            self.integral_from(below, altitude_m)
        })
    }

    fn integral_to(&self, altitude_m: f64) -> [f64; 2] {
        let (below, _) = bracket(&self.levels, |l| l.altitude_m, altitude_m);
        self.integral_from(below, altitude_m)
    }

    /// The integral up to an altitude, of which the level below is known.
    fn integral_from(&self, below: usize, altitude_m: f64) -> [f64; 2] {
        let a = self.levels[below];
        let dz = altitude_m - a.altitude_m;
        let here = match self.levels.get(below + 1) {
            Some(b) if dz > 0.0 => between(a.wind, b.wind, dz / (b.altitude_m - a.altitude_m)),
            // Outside of all levels the nearest is held.
            _ => a.wind,
        };
        std::array::from_fn(|i| a.integral[i] + 0.5 * dz * (a.wind[i] + here[i]))
    }
}

fn wind([east_m_s, north_m_s]: [f64; 2]) -> Wind {
    Wind {
        east_m_s,
        north_m_s,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile() -> WindProfile {
        let w = |e, n| Wind {
            east_m_s: e,
            north_m_s: n,
        };
        WindProfile::new(&[
            (100.0, w(0.0, 2.0)),
            (1100.0, w(10.0, 2.0)),
            (2100.0, w(10.0, -2.0)),
        ])
    }

    /// A mean is known as far up as all of its parts that count.
    #[test]
    fn a_mean_ends_where_its_first_part_ends() {
        let to = |top_m: f64| {
            let wind = |e| Wind {
                east_m_s: e,
                north_m_s: 0.0,
            };
            WindProfile::new(&[(0.0, wind(0.0)), (top_m, wind(10.0))])
        };
        let top_m = |parts: &[(f64, &WindProfile)]| WindProfile::blend(parts).top_m();
        let (low, high, alike) = (to(12_000.0), to(30_000.0), to(29_500.0));
        assert_eq!(top_m(&[(0.5, &low), (0.5, &high)]), 12_000.0);
        assert_eq!(top_m(&[(0.0, &low), (1.0, &high)]), 30_000.0);
        assert_eq!(top_m(&[(0.5, &alike), (0.5, &high)]), 30_000.0);
        let continued = low.continued_by(&high);
        assert_eq!(continued.top_m(), 30_000.0);
        assert_eq!(continued.at(12_000.0).east_m_s, 10.0);
        assert_eq!(continued.at(6_000.0), low.at(6_000.0));
    }

    #[test]
    fn linear_between_levels_and_held_outside() {
        let c = profile();
        assert_eq!(c.at(600.0).east_m_s, 5.0);
        assert_eq!(c.at(1600.0).north_m_s, 0.0);
        assert_eq!(c.at(0.0).east_m_s, 0.0);
        assert_eq!(c.at(9000.0).north_m_s, -2.0);
        assert_eq!((c.base_m(), c.top_m()), (100.0, 2100.0));
    }

    #[test]
    fn means_are_exact() {
        let c = profile();
        assert!((c.mean(100.0, 2100.0).east_m_s - 7.5).abs() < 1e-12);
        assert!((c.mean(-900.0, 100.0).north_m_s - 2.0).abs() < 1e-12);
        assert!((c.mean(2100.0, 4100.0).north_m_s + 2.0).abs() < 1e-12);
        assert!((c.mean(-900.0, 1100.0).east_m_s - 2.5).abs() < 1e-12);
        assert!((c.mean(850.0, 350.0).east_m_s - c.mean(350.0, 850.0).east_m_s).abs() < 1e-12);
        assert_eq!(c.mean(600.0, 600.0), c.at(600.0));
        let altitudes = [-900.0, 100.0, 350.0, 2_100.0];
        let means: Vec<Wind> = c.means(altitudes.into_iter()).collect();
        let each = altitudes.windows(2).map(|w| c.mean(w[0], w[1]));
        assert_eq!(means, each.collect::<Vec<Wind>>());
    }

    #[test]
    fn a_blend_is_the_weighted_mean_everywhere() {
        let a = profile();
        let w = |e, n| Wind {
            east_m_s: e,
            north_m_s: n,
        };
        let b = WindProfile::new(&[(50.0, w(4.0, 0.0)), (1_700.0, w(-3.0, 8.0))]);
        let blend = WindProfile::blend(&[(0.25, &a), (0.75, &b)]);
        for z in [-10.0, 60.0, 333.0, 1_100.0, 1_650.0, 1_900.0, 5_000.0] {
            let expected = 0.25 * a.at(z).east_m_s + 0.75 * b.at(z).east_m_s;
            assert!((blend.at(z).east_m_s - expected).abs() < 1e-12, "{z}");
        }
    }
}

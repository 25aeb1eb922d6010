//! The air above one place: measured where it was, standard elsewhere, joined without a jump.

use super::{Air, Geopotential, R_DRY_J_KG_K, gravity_m_s2, standard};
use crate::numeric::{self, bracket};

/// One measured state of the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirLevel {
    /// Geometric altitude above mean sea level, m.
    pub altitude_m: f64,
    /// Temperature, K.
    pub temperature_k: f64,
    /// Pressure, Pa.
    pub pressure_pa: f64,
    /// Partial pressure of water vapour, Pa; 0 where unknown.
    pub vapour_pressure_pa: f64,
}

/// Spacing of the tabulated profile.
const STEP_M: f64 = 100.0;
/// Lowest altitude of the table: below any dry land (the Dead Sea shore is at -430 m).
const BOTTOM_M: f64 = -500.0;
/// Highest altitude of the table; latex balloons burst well below.
const TOP_M: f64 = 60_000.0;
/// Above the last measured level its departure from the standard temperature fades with this
/// scale (assumed).
const FADE_M: f64 = 5_000.0;

/// Temperature, pressure and density by geometric altitude, -500 m to 60 km.
#[derive(Debug, Clone)]
pub struct AirProfile {
    /// Temperature K, ln pressure (Pa), ln density (kg/m3) every [`STEP_M`] from [`BOTTOM_M`].
    nodes: Vec<[f64; 3]>,
    measured_m: Option<(f64, f64)>,
}

impl AirProfile {
    /// The U.S. Standard Atmosphere 1976.
    pub fn standard() -> AirProfile {
        let nodes = node_altitudes()
            .map(|z| node(standard(Geopotential::standard(z))))
            .collect();
        AirProfile {
            nodes,
            measured_m: None,
        }
    }

    /// From measured levels, lowest first, altitudes strictly rising; with fewer than two, the
    /// standard atmosphere.
    ///
    /// Between levels temperature, ln p and the vapour's share are linear in altitude; then the
    /// temperature is averaged over 500 m, as finer wiggles are noise to a balloon. Above and
    /// below, the temperature goes over to the standard one and the pressure follows from the
    /// hydrostatic equation, dp/dz = -rho g.
    pub fn from_levels(levels: &[AirLevel]) -> AirProfile {
        let [first, .., last] = levels else {
            return AirProfile::standard();
        };
        let nodes = node_altitudes()
            .map(|z| {
                node(if z < first.altitude_m {
                    // Down to the ground there is little left, so the day's warmth goes on without
                    // fading.
                    beyond(first, z, f64::INFINITY)
                } else if z > last.altitude_m {
                    beyond(last, z, FADE_M)
                } else {
                    between(levels, z)
                })
            })
            .collect();
        AirProfile {
            nodes: smoothed(nodes),
            measured_m: Some((first.altitude_m, last.altitude_m)),
        }
    }

    /// The weighted mean of the profiles that were measured, within what all of these measured; the
    /// standard atmosphere of none.
    pub fn blend(parts: &[(f64, &AirProfile)]) -> AirProfile {
        // The standard air of one that measured none would say something of the weather of the others.
        let measured = || parts.iter().filter(|(_, p)| p.measured_m.is_some());
        let total: f64 = measured().map(|(weight, _)| weight).sum();
        let ranges_m = measured().filter_map(|(_, p)| p.measured_m);
        let Some(range_m) = ranges_m.reduce(|a, b| (a.0.max(b.0), a.1.min(b.1))) else {
            return AirProfile::standard();
        };
        let mean = |i: usize| {
            let of = |k: usize| {
                measured()
                    .map(move |(w, p)| w / total * p.nodes[i][k])
                    .sum()
            };
            std::array::from_fn(of)
        };
        AirProfile {
            nodes: (0..node_altitudes().count()).map(mean).collect(),
            measured_m: Some(range_m),
        }
    }

    /// The air at a geometric altitude; outside the table, its end.
    pub fn at(&self, altitude_m: f64) -> Air {
        let x = ((altitude_m - BOTTOM_M) / STEP_M).clamp(0.0, (self.nodes.len() - 1) as f64);
        let i = (x as usize).min(self.nodes.len() - 2);
        let f = x - i as f64;
        let [a, b] = [self.nodes[i], self.nodes[i + 1]];
        let [temperature_k, ln_pressure, ln_density] = numeric::between(a, b, f);
        Air {
            temperature_k,
            pressure_pa: ln_pressure.exp(),
            density_kg_m3: ln_density.exp(),
        }
    }

    /// The density scale height -dz / d ln(rho) around an altitude, over 1 km, m.
    pub fn density_scale_height_m(&self, altitude_m: f64) -> f64 {
        let ln_density = |z: f64| self.at(z).density_kg_m3.ln();
        1_000.0 / (ln_density(altitude_m - 500.0) - ln_density(altitude_m + 500.0))
    }

    /// Between which altitudes (m) the air was measured; `None` for the standard atmosphere.
    pub fn measured_m(&self) -> Option<(f64, f64)> {
        self.measured_m
    }
}

fn node_altitudes() -> impl Iterator<Item = f64> {
    let count = ((TOP_M - BOTTOM_M) / STEP_M) as usize;
    (0..=count).map(|i| BOTTOM_M + STEP_M * i as f64)
}

fn node(air: Air) -> [f64; 3] {
    [
        air.temperature_k,
        air.pressure_pa.ln(),
        air.density_kg_m3.ln(),
    ]
}

/// Nodes on each side that a smoothed temperature is averaged over.
const SMOOTHED_OVER: usize = 2;

/// The nodes with their temperatures as running means, and densities to match.
fn smoothed(nodes: Vec<[f64; 3]>) -> Vec<[f64; 3]> {
    let mean = |i: usize| {
        // Fewer on both sides at the ends: a mean of one side only would shift the temperature.
        let over = SMOOTHED_OVER.min(i).min(nodes.len() - 1 - i);
        let part = &nodes[i - over..=i + over];
        part.iter().map(|n| n[0]).sum::<f64>() / part.len() as f64
    };
    let node = |(i, &[t, ln_p, ln_rho]): (usize, &[f64; 3])| {
        let smooth = mean(i);
        // The pressure is kept, so the density goes with 1 / T.
        [smooth, ln_p, ln_rho + (t / smooth).ln()]
    };
    nodes.iter().enumerate().map(node).collect()
}

fn between(levels: &[AirLevel], z: f64) -> Air {
    let (below, f) = bracket(levels, |l| l.altitude_m, z);
    let (a, b) = (&levels[below], &levels[(below + 1).min(levels.len() - 1)]);
    let pressure_pa = (a.pressure_pa.ln() * (1.0 - f) + b.pressure_pa.ln() * f).exp();
    let share =
        a.vapour_pressure_pa / a.pressure_pa * (1.0 - f) + b.vapour_pressure_pa / b.pressure_pa * f;
    Air::moist(
        a.temperature_k * (1.0 - f) + b.temperature_k * f,
        pressure_pa,
        share * pressure_pa,
    )
}

/// The air beyond the last measured level: standard temperature plus the level's departure from
/// it, which fades over `fade_m`.
fn beyond(level: &AirLevel, z: f64, fade_m: f64) -> Air {
    let standard_t = |z: f64| standard(Geopotential::standard(z)).temperature_k;
    let departure = level.temperature_k - standard_t(level.altitude_m);
    let temperature =
        |z: f64| standard_t(z) + departure * (-(z - level.altitude_m).abs() / fade_m).exp();
    // ln p2 - ln p1 = -integral of g / (R T) dz, by the midpoint rule in steps of at most 100 m.
    let steps = ((z - level.altitude_m).abs() / STEP_M).ceil().max(1.0);
    let dz = (z - level.altitude_m) / steps;
    let exponent: f64 = (0..steps as usize)
        .map(|i| {
            let middle = level.altitude_m + dz * (i as f64 + 0.5);
            gravity_m_s2(middle) / temperature(middle) * dz
        })
        .sum();
    Air::dry(
        temperature(z),
        level.pressure_pa * (-exponent / R_DRY_J_KG_K).exp(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(z: f64, warmer_k: f64) -> AirLevel {
        let air = standard(Geopotential::standard(z));
        AirLevel {
            altitude_m: z,
            temperature_k: air.temperature_k + warmer_k,
            pressure_pa: air.pressure_pa,
            vapour_pressure_pa: 0.0,
        }
    }

    #[test]
    fn standard_levels_give_the_standard_atmosphere() {
        let levels: Vec<_> = (0..=20)
            .map(|k| level(500.0 + 1000.0 * f64::from(k), 0.0))
            .collect();
        let profile = AirProfile::from_levels(&levels);
        for z in [0.0, 500.0, 12_345.0, 25_000.0, 35_000.0] {
            let want = standard(Geopotential::standard(z));
            let got = profile.at(z);
            assert!(
                (got.density_kg_m3 / want.density_kg_m3 - 1.0).abs() < 2e-3,
                "{z}"
            );
            assert!(
                (got.pressure_pa / want.pressure_pa - 1.0).abs() < 2e-3,
                "{z}"
            );
        }
    }

    #[test]
    fn no_jump_at_the_ends_of_the_measured_part() {
        let profile = AirProfile::from_levels(&[level(1_000.0, 8.0), level(15_000.0, 8.0)]);
        for z in [1_000.0, 15_000.0] {
            let (below, above) = (profile.at(z - 100.0), profile.at(z + 100.0));
            assert!((below.temperature_k - above.temperature_k).abs() < 1.5);
            assert!((below.pressure_pa / above.pressure_pa - 1.0).abs() < 0.04);
        }
        // Far above, the air is standard again.
        let far = profile.at(40_000.0).temperature_k;
        assert!((far - standard(Geopotential::standard(40_000.0)).temperature_k).abs() < 0.1);
        assert_eq!(profile.measured_m(), Some((1_000.0, 15_000.0)));
    }

    #[test]
    fn a_mean_is_of_the_measured_alone() {
        let warm = AirProfile::from_levels(&[level(1_000.0, 8.0), level(15_000.0, 8.0)]);
        let warmer = AirProfile::from_levels(&[level(2_000.0, 12.0), level(12_000.0, 12.0)]);
        let standard = AirProfile::standard();
        let mean = AirProfile::blend(&[(0.25, &warm), (0.25, &warmer), (0.5, &standard)]);
        let want = 0.5 * (warm.at(5_000.0).temperature_k + warmer.at(5_000.0).temperature_k);
        assert!((mean.at(5_000.0).temperature_k - want).abs() < 1e-9);
        assert_eq!(mean.measured_m(), Some((2_000.0, 12_000.0)));
        let of_none = AirProfile::blend(&[(1.0, &standard)]);
        assert_eq!(of_none.measured_m(), None);
        assert_eq!(of_none.at(5_000.0), standard.at(5_000.0));
    }
}

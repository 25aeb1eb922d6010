//! How fast the load falls after the burst.
//!
//! Terminal speed all the way: a 4.5 kg stack under 2.6 m2 of drag area that bursts at 30 km is
//! within 5 % of it after 8 s; leaving those seconds out shortens the fall by 1.7 s, some 50 m on
//! the ground in a 30 m/s wind.

use crate::atmosphere::RHO0_KG_M3;

/// The fall speed by air density: v = v0 (rho0 / rho)^((1 - a) / 2).
///
/// v0 is the speed at standard sea-level density. With a = 0 the drag area is constant; with
/// a > 0 it grows as the air thins, Cd S = Cd S0 (rho / rho0)^-a.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FallSpeed {
    /// v0, m/s.
    pub landing_speed_m_s: f64,
    /// a.
    pub thin_air_exponent: f64,
}

/// The exponent a of a canopy that lands at 8 m/s.
const EXPONENT_AT_8_M_S: f64 = 0.06;
/// How the exponent grows with the logarithm of the landing speed.
const EXPONENT_SLOPE: f64 = 0.25;
/// Landing speeds that the falls behind [`thin_air_exponent`] cover, m/s; beyond, the nearest counts.
const LANDING_SPEEDS_M_S: (f64, f64) = (3.0, 15.0);

/// How much the exponent a departs from [`thin_air_exponent`] from fall to fall, one standard
/// deviation: 0.08 in the falls behind it, 0.09 in those of `tests/data`; rounded up, as stacks of
/// another make differ by more (two kinds stand 0.2 off, on either side).
pub const THIN_AIR_EXPONENT_SIGMA: f64 = 0.10;

/// The share of falls whose drag area changes for good on the way down: a canopy that opens late or
/// fouls, a remnant that tears off. About 8 % of 39 falls elsewhere; 2 of 14 of `tests/data`.
pub const CANOPY_CHANGE_SHARE: f64 = 0.08;
/// What the drag area is multiplied or divided by at such a change. As often one as the other
/// (assumed): the two of `tests/data` are one of each, by 3.6 and by 4.6.
pub const CANOPY_CHANGE_AREA: f64 = 2.0;

/// The exponent a by the speed at standard sea-level density: a = 0.06 + 0.25 ln(v0 / 8 m/s), v0
/// taken as no less than 3 and no more than 15 m/s.
///
/// Slow, well-opened canopies lose drag area aloft, fast ones gain it. Fitted to 39 falls measured
/// elsewhere, of which only the line (0.07 + 0.28 ln) and its scatter are known, together with 13
/// of `tests/data`; `tests/fall_fit.rs` recomputes it.
///
/// # Examples
///
/// ```
/// use windfall::vehicle::descent::thin_air_exponent;
/// assert!((thin_air_exponent(8.0) - 0.06).abs() < 1e-12);
/// assert!(thin_air_exponent(5.0) < 0.0);
/// assert_eq!(thin_air_exponent(1.0), thin_air_exponent(3.0));
/// ```
pub fn thin_air_exponent(landing_speed_m_s: f64) -> f64 {
    let (slow, fast) = LANDING_SPEEDS_M_S;
    EXPONENT_AT_8_M_S + EXPONENT_SLOPE * (landing_speed_m_s.clamp(slow, fast) / 8.0).ln()
}

impl FallSpeed {
    /// A canopy that lands at v0 (m/s), with the exponent of its kind: [`thin_air_exponent`].
    pub fn landing_at(landing_speed_m_s: f64) -> FallSpeed {
        FallSpeed {
            landing_speed_m_s,
            thin_air_exponent: thin_air_exponent(landing_speed_m_s),
        }
    }

    /// Speed in m/s at an air density.
    pub fn at(&self, density_kg_m3: f64) -> f64 {
        self.landing_speed_m_s
            * (RHO0_KG_M3 / density_kg_m3).powf(0.5 * (1.0 - self.thin_air_exponent))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn falls_faster_in_thin_air() {
        let fall = FallSpeed {
            landing_speed_m_s: 5.0,
            thin_air_exponent: 0.0,
        };
        assert!((fall.at(RHO0_KG_M3) - 5.0).abs() < 1e-12);
        assert!((fall.at(RHO0_KG_M3 / 4.0) - 10.0).abs() < 1e-12);
    }

    #[test]
    fn every_landing_speed_falls_faster_in_thin_air() {
        for speed in [0.5, 3.0, 5.0, 8.0, 15.0, 60.0] {
            let fall = FallSpeed::landing_at(speed);
            assert!((fall.at(RHO0_KG_M3) - speed).abs() < 1e-12);
            // Two thirds of what a constant drag area makes of it at 30 km, at least.
            let ratio = fall.at(RHO0_KG_M3 / 66.0) / speed;
            assert!(
                (0.6..1.6).contains(&(ratio / 66f64.sqrt())),
                "{speed}: {ratio}"
            );
        }
    }
}

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

/// The exponent a used where nothing is known (assumed). One measured balloon fall asks for 0.36
/// +- 0.11, six dropsondes for -0.06 +- 0.03; usual hobby figures fit 0 to 0.08.
pub const THIN_AIR_EXPONENT: f64 = 0.10;
/// Its spread from flight to flight, one standard deviation (assumed).
pub const THIN_AIR_EXPONENT_SIGMA: f64 = 0.15;

/// Share of falls on which the canopy changes on the way.
pub const CANOPY_CHANGE_SHARE: f64 = 0.08;
/// Its drag area is then so many times larger or smaller above some height.
pub const CANOPY_CHANGE_AREA: f64 = 2.0;

impl FallSpeed {
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
}

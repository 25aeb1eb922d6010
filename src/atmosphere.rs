//! The air: U.S. Standard Atmosphere 1976, heights, moist air.
//!
//! # References
//!
//! *U.S. Standard Atmosphere, 1976*, NOAA/NASA/USAF, NOAA-S/T 76-1562: constants (Table 2),
//! layers (Table 4), equations 18 to 42 and 51. Below 32 km it equals ISO 2533:1975.

mod profile;

use serde::Serialize;

// R0_M as the equations of the standard atmosphere have it.
use crate::earth::{SEMI_MAJOR_M, STANDARD_ATMOSPHERE_RADIUS_M as R0_M};

pub use crate::earth::G0_M_S2;
pub use profile::{AirLevel, AirProfile};

/// Molar mass of dry air, kg/mol.
pub const MOLAR_MASS_AIR_KG_MOL: f64 = 0.028_964_4;
/// The gas constant as USSA 1976 has it (not CODATA), J/(mol K).
pub const GAS_CONSTANT_J_MOL_K: f64 = 8.314_32;
/// Specific gas constant of dry air, J/(kg K).
pub const R_DRY_J_KG_K: f64 = GAS_CONSTANT_J_MOL_K / MOLAR_MASS_AIR_KG_MOL;
/// Standard pressure at sea level, Pa.
pub const P0_PA: f64 = 101_325.0;
/// Standard density at sea level, kg/m3.
pub const RHO0_KG_M3: f64 = 1.224_999_2;
/// Density scale height -dz / d ln(rho) where latex balloons burst, m, for want of the air itself: the
/// standard atmosphere has 6,200 to 6,900 m from 11 to 40 km.
pub const DENSITY_SCALE_HEIGHT_M: f64 = 6_500.0;
/// Density scale height that the standard atmosphere stays below from 11 to 47 km, m.
pub const LARGEST_DENSITY_SCALE_HEIGHT_M: f64 = 8_000.0;

/// A geopotential height in (standard) geopotential metres. Never a geometric altitude: at 30 km
/// they differ by 140 m, which is 2 % in density.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
pub struct Geopotential(pub f64);

impl Geopotential {
    /// H = r0 Z / (r0 + Z) (USSA 1976, eq. 18) of a geometric altitude, as the standard
    /// atmosphere uses it.
    pub fn standard(altitude_m: f64) -> Geopotential {
        Geopotential(R0_M * altitude_m / (R0_M + altitude_m))
    }

    /// Z = r0 H / (r0 - H) (USSA 1976, eq. 19): the geometric altitude in metres.
    pub fn standard_altitude_m(self) -> f64 {
        R0_M * self.0 / (R0_M - self.0)
    }

    /// The geometric altitude in metres above mean sea level at a latitude.
    ///
    /// Z = R H / (G R - H), with G = gamma_s / g0 and R the effective radius, which depend on
    /// latitude.
    ///
    /// # References
    ///
    /// M. J. Mahoney, "A discussion of various measures of altitude" (2001), and WMO-No. 8, Guide
    /// to Instruments and Methods of Observation (both from memory; the tests hold that at 45.5
    /// degrees it equals USSA 1976).
    pub fn altitude_m(self, lat_deg: f64) -> f64 {
        let (g, radius_m) = gravity_and_radius(lat_deg);
        radius_m * self.0 / (g / G0_M_S2 * radius_m - self.0)
    }

    /// The geopotential height of a geometric altitude at a latitude: the inverse of
    /// [`Geopotential::altitude_m`].
    pub fn at_latitude(altitude_m: f64, lat_deg: f64) -> Geopotential {
        let (g, radius_m) = gravity_and_radius(lat_deg);
        Geopotential(g / G0_M_S2 * radius_m * altitude_m / (radius_m + altitude_m))
    }
}

/// Normal gravity at sea level (m/s2, Somigliana) and the effective radius (m) at a latitude.
// The coefficients are those of the reference, which belong together: 0.006_694_35 is its squared
// eccentricity, not that of WGS84 (0.006_694_38).
fn gravity_and_radius(lat_deg: f64) -> (f64, f64) {
    let s2 = lat_deg.to_radians().sin().powi(2);
    let gamma = 9.780_325 * (1.0 + 0.001_931_85 * s2) / (1.0 - 0.006_694_35 * s2).sqrt();
    (gamma, SEMI_MAJOR_M / (1.006_803 - 0.006_706 * s2))
}

/// Gravity at a geometric altitude: g = g0 (r0 / (r0 + Z))^2, m/s2 (USSA 1976, eq. 17).
pub fn gravity_m_s2(altitude_m: f64) -> f64 {
    let ratio = R0_M / (R0_M + altitude_m);
    G0_M_S2 * ratio * ratio
}

/// The state of the air at a point.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Air {
    /// Temperature, K.
    pub temperature_k: f64,
    /// Pressure, Pa.
    pub pressure_pa: f64,
    /// Density, kg/m3; of moist air where the humidity is known.
    pub density_kg_m3: f64,
}

impl Air {
    /// Dry air: rho = p / (R T).
    pub fn dry(temperature_k: f64, pressure_pa: f64) -> Air {
        Air::moist(temperature_k, pressure_pa, 0.0)
    }

    /// Moist air: rho = p / (R Tv), with the [`virtual_temperature_k`].
    pub fn moist(temperature_k: f64, pressure_pa: f64, vapour_pressure_pa: f64) -> Air {
        let tv = virtual_temperature_k(temperature_k, pressure_pa, vapour_pressure_pa);
        Air {
            temperature_k,
            pressure_pa,
            density_kg_m3: pressure_pa / (R_DRY_J_KG_K * tv),
        }
    }

    /// Dynamic viscosity, Pa s: mu = 1.458e-6 T^1.5 / (T + 110.4) (USSA 1976, eq. 51).
    pub fn viscosity_pa_s(&self) -> f64 {
        let t = self.temperature_k;
        1.458e-6 * t * t.sqrt() / (t + 110.4)
    }
}

/// One layer of the standard atmosphere: base (geopotential m), base temperature (K), lapse
/// (K/m), base pressure (Pa).
const LAYERS: [(f64, f64, f64, f64); 7] = [
    (0.0, 288.15, -0.0065, 101_325.0),
    (11_000.0, 216.65, 0.0, 22_632.06),
    (20_000.0, 216.65, 0.001, 5_474.889),
    (32_000.0, 228.65, 0.0028, 868.018_7),
    (47_000.0, 270.65, 0.0, 110.906_3),
    (51_000.0, 270.65, -0.0028, 66.938_87),
    (71_000.0, 214.65, -0.002, 3.956_420),
];

/// The U.S. Standard Atmosphere 1976 at a geopotential height, from -5 km to 84.852 km; outside,
/// the nearest layer goes on.
///
/// # Examples
///
/// ```
/// use windfall::atmosphere::{standard, Geopotential};
/// let air = standard(Geopotential(11_000.0));
/// assert_eq!(air.temperature_k, 216.65);
/// assert!((air.density_kg_m3 - 0.363918).abs() < 1e-6);
/// ```
pub fn standard(height: Geopotential) -> Air {
    let h = height.0;
    let layer = LAYERS.iter().rposition(|l| h >= l.0).unwrap_or(0);
    let (base, t0, lapse, p0) = LAYERS[layer];
    let t = t0 + lapse * (h - base);
    let g_over_r = G0_M_S2 / R_DRY_J_KG_K;
    let pressure_pa = if lapse == 0.0 {
        // eq. 33b
        p0 * (-g_over_r * (h - base) / t0).exp()
    } else {
        // eq. 33a
        p0 * (t0 / t).powf(g_over_r / lapse)
    };
    Air::dry(t, pressure_pa)
}

/// Virtual temperature: the temperature at which dry air would have the density of moist air.
///
/// Tv = T / (1 - 0.378 e / p), with e the vapour pressure (ideal gas mixture; 0.378 is one minus
/// the ratio of the molar masses of water and dry air).
pub fn virtual_temperature_k(t_k: f64, p_pa: f64, e_pa: f64) -> f64 {
    // More vapour than half the pressure is a fault of the input, at which this must not turn
    // negative.
    t_k / (1.0 - 0.378 * (e_pa / p_pa).clamp(0.0, 0.5))
}

/// Saturation vapour pressure over water, Pa.
///
/// es = 611.2 exp(17.62 t / (243.12 + t)), t in degrees Celsius (Magnus form of WMO-No. 8,
/// Annex 4.B; from memory).
pub fn saturation_vapour_pressure_pa(t_k: f64) -> f64 {
    // Well away from the pole of the formula at -243 degrees.
    let t = (t_k - crate::units::ZERO_CELSIUS_K).max(-100.0);
    611.2 * (17.62 * t / (243.12 + t)).exp()
}

/// Partial pressure of water vapour (Pa) of air with a specific humidity (kg/kg) at a pressure (Pa).
///
/// e = q p / (eps + (1 - eps) q), with eps = 0.622 the ratio of the molar masses of water and dry
/// air.
pub fn vapour_pressure_of_humidity_pa(specific: f64, p_pa: f64) -> f64 {
    specific * p_pa / (0.622 + 0.378 * specific)
}

/// The thickness of a layer between two pressures, in geopotential metres.
///
/// The hypsometric equation, H2 - H1 = (R / g0) Tv ln(p1 / p2), with the mean virtual temperature
/// of the layer.
pub fn hypsometric_thickness(p1_pa: f64, p2_pa: f64, mean_virtual_temperature_k: f64) -> f64 {
    R_DRY_J_KG_K / G0_M_S2 * mean_virtual_temperature_k * (p1_pa / p2_pa).ln()
}

/// The standard atmosphere's geopotential height of a pressure: eq. 33a and 33b solved for height, kept
/// between -5 and 84 km.
pub fn standard_height_of_pressure(p_pa: f64) -> Geopotential {
    // The layer whose base is the highest with at least this pressure; below sea level the lowest.
    let layer = LAYERS.iter().rposition(|l| p_pa <= l.3).unwrap_or(0);
    let (base, t0, lapse, p0) = LAYERS[layer];
    let r_over_g = R_DRY_J_KG_K / G0_M_S2;
    let above_base_m = if lapse == 0.0 {
        -r_over_g * t0 * (p_pa / p0).ln()
    } else {
        t0 / lapse * ((p_pa / p0).powf(-r_over_g * lapse) - 1.0)
    };
    Geopotential((base + above_base_m).clamp(-5_000.0, 84_000.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heights_there_and_back() {
        for z in [-100.0, 0.0, 5_000.0, 30_000.0] {
            assert!((Geopotential::standard(z).standard_altitude_m() - z).abs() < 1e-6);
            for lat in [-90.0, 0.0, 45.0] {
                let h = Geopotential::at_latitude(z, lat);
                assert!((h.altitude_m(lat) - z).abs() < 1e-6);
            }
        }
        // USSA 1976 is made for 45.5425 degrees.
        let z = Geopotential(30_000.0).altitude_m(45.5425);
        assert!((z - 30_142.25).abs() < 2.0, "{z}");
        // Gravity is weaker at the equator: the same geopotential lies higher.
        let spread =
            Geopotential(30_000.0).altitude_m(0.0) - Geopotential(30_000.0).altitude_m(90.0);
        assert!((140.0..180.0).contains(&spread), "{spread}");
    }

    #[test]
    fn moist_air_is_lighter() {
        let e = saturation_vapour_pressure_pa(303.15);
        assert!((e - 4_243.0).abs() < 10.0, "{e}");
        let dry = Air::dry(303.15, P0_PA).density_kg_m3;
        let moist = Air::moist(303.15, P0_PA, e).density_kg_m3;
        assert!((moist / dry - 0.9842).abs() < 1e-3);
    }

    #[test]
    fn pressure_gives_its_height_back() {
        for h in (-50..=840).map(|k| 100.0 * f64::from(k)) {
            let p = standard(Geopotential(h)).pressure_pa;
            let back = standard_height_of_pressure(p).0;
            // The bases' pressures are printed with seven digits.
            assert!((back - h).abs() < 5e-3, "{h} {back}");
        }
        assert_eq!(standard_height_of_pressure(1e6).0, -5_000.0);
        assert_eq!(standard_height_of_pressure(0.0).0, 84_000.0);
    }

    #[test]
    fn density_scale_heights_are_those_of_the_standard_atmosphere() {
        let air = AirProfile::standard();
        let scale_m = |km: i32| air.density_scale_height_m(1_000.0 * f64::from(km));
        assert!((12..=40).all(|km| (scale_m(km) - DENSITY_SCALE_HEIGHT_M).abs() < 450.0));
        assert!((12..=46).all(|km| scale_m(km) < LARGEST_DENSITY_SCALE_HEIGHT_M));
        assert!(
            scale_m(5) > LARGEST_DENSITY_SCALE_HEIGHT_M,
            "not near the ground"
        );
    }

    #[test]
    fn a_hypsometric_column_matches_the_standard_one() {
        // Isothermal layer 11 to 20 km.
        let thick = hypsometric_thickness(22_632.06, 5_474.889, 216.65);
        assert!((thick - 9_000.0).abs() < 0.01, "{thick}");
    }
}

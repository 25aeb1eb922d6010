//! The earth's numbers, each once.
//!
//! Not here: the radii that forecast files name in their tables (`sources::grid`), which belong to
//! the files, and the coefficients of one published formula, which stand with it.

/// Semi-major axis of WGS84, m (NGA.STND.0036, defining parameter).
pub const SEMI_MAJOR_M: f64 = 6_378_137.0;
/// Flattening of WGS84 (NGA.STND.0036, defining parameter).
pub const FLATTENING: f64 = 1.0 / 298.257_223_563;
/// First eccentricity squared of WGS84: f (2 - f).
pub const ECCENTRICITY_2: f64 = FLATTENING * (2.0 - FLATTENING);
/// Second eccentricity squared of WGS84.
pub const SECOND_ECCENTRICITY_2: f64 = ECCENTRICITY_2 / (1.0 - ECCENTRICITY_2);
/// Mean radius (2 a + b) / 3, m (Moritz 1980, Geodetic Reference System 1980): where a sphere will do.
pub const MEAN_RADIUS_M: f64 = 6_371_008.8;
/// A degree on the sphere of [`MEAN_RADIUS_M`], in whole metres.
pub const DEGREE_M: f64 = 111_195.0;
/// The shortest degree of latitude, that at the equator, in whole metres:
/// a (1 - e2) pi / 180 = 110,574.28 m, rounded down. This many degrees never reach less far than asked.
pub const SHORTEST_DEGREE_M: f64 = 110_574.0;
/// The earth's radius of the standard atmosphere, m (USSA 1976): with [`G0_M_S2`] it gives gravity and
/// geopotential at 45.5 degrees, so it is neither of the radii above.
pub const STANDARD_ATMOSPHERE_RADIUS_M: f64 = 6_356_766.0;
/// Standard acceleration of gravity, m/s2 (3rd CGPM, 1901; USSA 1976, Table 2).
pub const G0_M_S2: f64 = 9.806_65;

/// No dry ground lies lower than this, m above mean sea level: the shore of the Dead Sea is at -430 m.
pub const LOWEST_GROUND_M: f64 = -500.0;
/// No ground lies higher than this, m above mean sea level: Mount Everest has 8,849 m.
pub const HIGHEST_GROUND_M: f64 = 9_000.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounded_values_are_those_of_the_ellipsoid() {
        let mean_m = SEMI_MAJOR_M * (1.0 - FLATTENING / 3.0);
        assert!((MEAN_RADIUS_M - mean_m).abs() < 0.05, "{mean_m}");
        assert!((MEAN_RADIUS_M.to_radians() - DEGREE_M).abs() < 0.5);
        let shortest_m = (SEMI_MAJOR_M * (1.0 - ECCENTRICITY_2)).to_radians();
        assert!(
            (0.0..1.0).contains(&(shortest_m - SHORTEST_DEGREE_M)),
            "{shortest_m}"
        );
        assert!((ECCENTRICITY_2 - 0.006_694_379_990_14).abs() < 1e-14);
        assert!((SECOND_ECCENTRICITY_2 - 0.006_739_496_742_28).abs() < 1e-14);
    }
}

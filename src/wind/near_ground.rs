//! The wind where a balloon is filled: 10 m above the ground.

use serde::Serialize;

use super::column::WindProfile;
use super::sounding::Wind;

/// The height above the ground for which winds at the ground are told, m (WMO practice).
pub const TOLD_AT_M: f64 = 10.0;
/// Roughness of the ground, m: farmland with some hedges and houses (assumed).
pub const ROUGHNESS_M: f64 = 0.1;

/// Where a wind at the ground is from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum GroundWindFrom {
    /// The forecast's own wind at 10 m.
    TenMetres,
    /// Winds known below and above 10 m, or at it.
    Between,
    /// The lowest wind above the site, brought down to 10 m by a logarithmic profile.
    BroughtDown {
        /// How high above the site it is known, m.
        from_m: f64,
    },
}

/// The speed of the wind 10 m above the ground at a site (m/s), and what it is from. `own` is a
/// forecast's at 10 m above its own ground: where there is one it is taken, however high the site lies.
pub fn near_ground(winds: &WindProfile, site_m: f64, own: Option<Wind>) -> (f64, GroundWindFrom) {
    if let Some(own) = own {
        return (own.speed_m_s(), GroundWindFrom::TenMetres);
    }
    // Where all winds lie below the site the highest is held, as in the profile.
    let lowest_m = winds.lowest_from(site_m).unwrap_or(winds.top_m());
    let from_m = lowest_m - site_m;
    if from_m <= TOLD_AT_M {
        let there = winds.at(site_m + TOLD_AT_M);
        return (there.speed_m_s(), GroundWindFrom::Between);
    }
    let speed_m_s = winds.at(lowest_m).speed_m_s() * brought_down(from_m);
    (speed_m_s, GroundWindFrom::BroughtDown { from_m })
}

/// The wind 10 m above the ground as a share of that at a height above it, by the logarithmic profile of
/// neutral air over even ground: u(z) grows with ln(z / z0) (Stull 1988, An Introduction to Boundary
/// Layer Meteorology, chapter 9; from memory).
fn brought_down(from_m: f64) -> f64 {
    (TOLD_AT_M / ROUGHNESS_M).ln() / (from_m / ROUGHNESS_M).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn winds(levels: &[(f64, f64)]) -> WindProfile {
        let wind = |&(z, east_m_s): &(f64, f64)| {
            (
                z,
                Wind {
                    east_m_s,
                    north_m_s: 0.0,
                },
            )
        };
        WindProfile::new(&levels.iter().map(wind).collect::<Vec<_>>())
    }

    #[test]
    fn the_lowest_level_is_brought_down_to_ten_metres() {
        // A level below the site is inside the ground, and says nothing.
        let profile = winds(&[(50.0, 1.0), (200.0, 10.0), (400.0, 14.0)]);
        let (speed, from) = near_ground(&profile, 100.0, None);
        assert_eq!(from, GroundWindFrom::BroughtDown { from_m: 100.0 });
        // ln 100 / ln 1000 = 2 / 3.
        assert!((speed - 20.0 / 3.0).abs() < 1e-9, "{speed}");
    }

    #[test]
    fn a_forecasts_own_wind_at_ten_metres_goes_before() {
        let profile = winds(&[(200.0, 10.0)]);
        let own = Wind {
            east_m_s: 0.0,
            north_m_s: -3.0,
        };
        assert_eq!(
            near_ground(&profile, 150.0, Some(own)),
            (3.0, GroundWindFrom::TenMetres)
        );
    }

    #[test]
    fn winds_around_ten_metres_are_interpolated() {
        let profile = winds(&[(100.0, 2.0), (120.0, 4.0)]);
        assert_eq!(
            near_ground(&profile, 100.0, None),
            (3.0, GroundWindFrom::Between)
        );
    }
}

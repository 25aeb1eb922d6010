//! The wind where a balloon is filled: 10 m above the ground.

use serde::Serialize;

use super::column::WindProfile;
use super::sounding::{Sounding, Wind};

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
    /// That of the ground of stations, as soundings begin: measured 10 m above it.
    AtStation {
        /// How far that ground is above or below the site at most, m.
        apart_m: f64,
    },
    /// Winds known below and above 10 m, or at it.
    Between,
    /// The lowest wind above the site, brought down to 10 m by a logarithmic profile.
    BroughtDown {
        /// How high above the site it is known, m.
        from_m: f64,
    },
}

/// A wind that was told for 10 m above some ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TenMetreWind {
    /// The wind.
    pub wind: Wind,
    /// Between which altitudes the ground of the stations lies that measured it, m above mean sea level;
    /// `None` where it is a forecast's, above its own ground.
    pub stations_m: Option<[f64; 2]>,
}

/// The ground of a station farther above or below a site than this is another's, m (assumed).
const STATION_WITHIN_M: f64 = 300.0;

/// A site so far above its station may stand out of the calm air in which that lies, m (assumed).
const ON_HILL_M: f64 = 50.0;

impl TenMetreWind {
    /// A forecast's.
    pub fn of_forecast(wind: Wind) -> TenMetreWind {
        TenMetreWind {
            wind,
            stations_m: None,
        }
    }

    /// What a sounding tells: a model's profile its own, a measured one that with which it begins.
    pub fn of_sounding(sounding: &Sounding) -> Option<TenMetreWind> {
        if sounding.model.is_some() {
            return sounding.wind_at_10_m.map(TenMetreWind::of_forecast);
        }
        // Where the lowest level has no wind, the lowest wind is one aloft.
        let lowest = sounding.levels.first()?;
        Some(TenMetreWind {
            wind: lowest.wind?,
            stations_m: Some([lowest.altitude_m; 2]),
        })
    }

    /// The weighted mean; `None` of those of forecasts among those of stations, and of none.
    pub fn mean(parts: &[(f64, TenMetreWind)]) -> Option<TenMetreWind> {
        let is_measured = |part: &(f64, TenMetreWind)| part.1.stations_m.is_some();
        let first = is_measured(parts.first()?);
        if parts.iter().any(|part| is_measured(part) != first) {
            return None;
        }
        let mean = |component: fn(Wind) -> f64| {
            let terms = parts
                .iter()
                .map(|(weight, told)| weight * component(told.wind));
            terms.sum()
        };
        let grounds_m = parts.iter().filter_map(|(_, told)| told.stations_m);
        Some(TenMetreWind {
            wind: Wind {
                east_m_s: mean(|wind| wind.east_m_s),
                north_m_s: mean(|wind| wind.north_m_s),
            },
            stations_m: grounds_m.reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])]),
        })
    }

    /// What it is from at a site; `None` where the site lies too far above or below the stations, or on a hill so
    /// high above them that `winds` tell more of it.
    fn at(&self, site_m: f64, winds: &WindProfile) -> Option<GroundWindFrom> {
        let Some(stations_m) = self.stations_m else {
            // A forecast's ground is smooth: it stands for the site however high that lies.
            return Some(GroundWindFrom::TenMetres);
        };
        let on_hill = site_m - stations_m[1] > ON_HILL_M;
        let lowest_m = winds.lowest_from(site_m);
        if on_hill && lowest_m.is_some_and(|lowest_m| lowest_m - site_m <= ON_HILL_M) {
            return None;
        }
        let apart_m = stations_m.map(|z| (z - site_m).abs());
        let apart_m = apart_m[0].max(apart_m[1]);
        (apart_m <= STATION_WITHIN_M).then_some(GroundWindFrom::AtStation { apart_m })
    }
}

/// The speed of the wind 10 m above the ground at a site (m/s), and what it is from. `own` is what was told
/// for that height, if anything was.
pub fn near_ground(
    winds: &WindProfile,
    site_m: f64,
    own: Option<TenMetreWind>,
) -> (f64, GroundWindFrom) {
    if let Some((own, from)) = own.and_then(|own| Some((own, own.at(site_m, winds)?))) {
        return (own.wind.speed_m_s(), from);
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
            near_ground(&profile, 150.0, Some(TenMetreWind::of_forecast(own))),
            (3.0, GroundWindFrom::TenMetres)
        );
    }

    /// The wind at a station was measured 10 m above its ground: it is that of a field a little above or
    /// below, not one of so many metres aloft.
    #[test]
    fn a_station_tells_the_wind_at_the_ground_nearby() {
        let profile = winds(&[(100.0, 2.0), (700.0, 12.0)]);
        let station = TenMetreWind {
            wind: profile.at(100.0),
            stations_m: Some([100.0; 2]),
        };
        for (site_m, apart_m) in [(98.0, 2.0), (100.0, 0.0), (102.0, 2.0), (160.0, 60.0)] {
            assert_eq!(
                near_ground(&profile, site_m, Some(station)),
                (2.0, GroundWindFrom::AtStation { apart_m })
            );
        }
        // On a hill where the sounding knows the wind it is that which counts, not the calm of the valley.
        let inversion = winds(&[(100.0, 1.0), (380.0, 10.0), (390.0, 10.0), (400.0, 10.0)]);
        assert_eq!(
            near_ground(&inversion, 390.0, Some(station)),
            (10.0, GroundWindFrom::Between)
        );
        // On a higher one or in a valley it says nothing.
        let (_, from) = near_ground(&profile, 500.0, Some(station));
        assert_eq!(from, GroundWindFrom::BroughtDown { from_m: 200.0 });
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

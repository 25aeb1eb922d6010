//! The universal transverse Mercator grid, which maps on paper and rescue services use.
//!
//! # References
//!
//! NGA.STND.0037 (2014): zones, their exceptions around Norway and Svalbard, bands of latitude.

use super::Position;
use super::lattice::to_plane;

/// A place on the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Utm {
    /// The zone, 1 to 60.
    pub zone: u8,
    /// The band of latitude, C to X.
    pub band: char,
    /// East of the false origin, m.
    pub easting_m: f64,
    /// North of the false origin, m.
    pub northing_m: f64,
}

/// Letters of the bands, from 80 degrees south, 8 degrees each.
const BANDS: [char; 20] = [
    'C', 'D', 'E', 'F', 'G', 'H', 'J', 'K', 'L', 'M', 'N', 'P', 'Q', 'R', 'S', 'T', 'U', 'V', 'W',
    'X',
];

/// A place on the grid; none beyond 84 degrees north and 80 degrees south, where the grid ends.
///
/// # Examples
///
/// ```
/// use windfall::geodesy::{Position, utm::utm};
/// let paris = utm(Position::new(48.858, 2.2945).unwrap()).unwrap();
/// assert_eq!((paris.zone, paris.band), (31, 'U'));
/// ```
pub fn utm(place: Position) -> Option<Utm> {
    if !(-80.0..=84.0).contains(&place.lat_deg) {
        return None;
    }
    // The last band is half as high again.
    let band = (((place.lat_deg + 80.0) / 8.0) as usize).min(BANDS.len() - 1);
    let zone = zone(place, BANDS[band]);
    let south = if place.lat_deg < 0.0 { " +south" } else { "" };
    let definition = format!("+proj=utm +zone={zone}{south} +ellps=WGS84");
    let [easting_m, northing_m] = to_plane(&definition, place).ok()?;
    Some(Utm {
        zone,
        band: BANDS[band],
        easting_m,
        northing_m,
    })
}

/// The zone of six degrees, wider and narrower where Norway and Svalbard lie.
fn zone(place: Position, band: char) -> u8 {
    let lon = place.lon_deg;
    match band {
        'V' if (3.0..12.0).contains(&lon) => 32,
        'X' if (0.0..42.0).contains(&lon) => match lon {
            ..9.0 => 31,
            ..21.0 => 33,
            ..33.0 => 35,
            _ => 37,
        },
        // 180 degrees east is in the first zone, as 180 west is.
        _ => (((lon + 180.0) / 6.0).floor() as i64).rem_euclid(60) as u8 + 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(lat: f64, lon: f64) -> Utm {
        utm(Position::new(lat, lon).unwrap()).unwrap()
    }

    /// On the central meridian the northing is 0.9996 of the meridian's arc; by symmetry the easting
    /// is 500 km. The arc from the equator to 45 degrees is 4,984,944.378 m.
    #[test]
    fn the_grid_is_where_it_should_be() {
        let middle = of(45.0, 3.0);
        assert!((middle.easting_m - 500_000.0).abs() < 1e-3);
        assert!(
            (middle.northing_m - 0.9996 * 4_984_944.378).abs() < 2e-3,
            "{middle:?}"
        );
        let south = of(-45.0, 3.0);
        assert!((south.northing_m + middle.northing_m - 10_000_000.0).abs() < 1e-3);
        let (east, west) = (of(45.0, 5.0), of(45.0, 1.0));
        assert!((east.easting_m + west.easting_m - 1_000_000.0).abs() < 1e-3);
    }

    #[test]
    fn zones_and_bands_have_their_exceptions() {
        let name = |lat, lon| {
            let found = of(lat, lon);
            format!("{}{}", found.zone, found.band)
        };
        for (lat, lon, wanted) in [
            (60.4, 5.3, "32V"),
            (60.4, 2.0, "31V"),
            (78.2, 15.6, "33X"),
            (83.9, 20.9, "33X"),
            (-33.9, 151.2, "56H"),
            (0.0, 0.0, "31N"),
            (-0.1, -180.0, "1M"),
            (10.0, 180.0, "1P"),
            (39.75, -8.81, "29S"),
        ] {
            assert_eq!(name(lat, lon), wanted, "{lat} {lon}");
        }
        for lat in [84.1, -80.1] {
            assert!(utm(Position::new(lat, 10.0).unwrap()).is_none());
        }
    }
}

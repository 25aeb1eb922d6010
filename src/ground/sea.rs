//! Land or sea, by the built-in coast of the whole earth.

use std::sync::OnceLock;

use geojson::{FeatureCollection, GeometryValue};

use super::data;
use super::region::Region;
use crate::error::{Error, Result};
use crate::geodesy::Position;

/// One piece of the coast for each degree of longitude.
const STRIPS: usize = 360;

/// The antimeridian is taken as if it lay a little west, degrees.
const EASTERNMOST_DEG: f64 = 180.0 - 1e-9;

/// An edge of the coast: longitude and latitude of its ends, degrees.
type Edge = [[f64; 2]; 2];

/// The seas. True to about a kilometre, and islands smaller than a few are not on the map.
#[derive(Debug)]
pub struct Sea {
    /// The edges that a meridian of each degree of longitude may meet.
    strips: Vec<Vec<Edge>>,
}

/// The built-in seas.
///
/// # Errors
///
/// When the data in the program are damaged.
pub fn sea() -> Result<&'static Sea> {
    static SEA: OnceLock<Option<Sea>> = OnceLock::new();
    SEA.get_or_init(|| Sea::of(&data::coast().ok()?))
        .as_ref()
        .ok_or_else(|| Error::CannotDo {
            why: "the coasts inside the program are damaged".into(),
            remedy: "expected a complete program file; install it again".into(),
        })
}

impl Sea {
    /// Of coasts as lines of GeoJSON, whole all round the earth.
    fn of(text: &str) -> Option<Sea> {
        let all: FeatureCollection = serde_json::from_str(text).ok()?;
        let mut strips = vec![Vec::new(); STRIPS];
        let mut add = |line: &[geojson::Position]| {
            let point = |p: &geojson::Position| match p.as_slice() {
                [lon, lat, ..] => [*lon, *lat],
                _ => [f64::NAN; 2],
            };
            for pair in line.windows(2) {
                let edge = [point(&pair[0]), point(&pair[1])];
                let [west, east] = [edge[0][0].min(edge[1][0]), edge[0][0].max(edge[1][0])];
                for strip in &mut strips[strip(west)..=strip(east)] {
                    strip.push(edge);
                }
            }
        };
        for feature in &all.features {
            match &feature.geometry.as_ref()?.value {
                GeometryValue::LineString { coordinates } => add(coordinates),
                GeometryValue::MultiLineString { coordinates } => {
                    coordinates.iter().for_each(|line| add(line));
                }
                _ => return None,
            }
        }
        Some(Sea { strips })
    }

    /// Whether a place lies in the sea: from there to the north pole, which lies in one, a meridian
    /// crosses the coasts an even number of times.
    pub fn holds(&self, place: Position) -> bool {
        // The coasts end at the antimeridian, from both sides.
        let lon = place.lon_deg.min(EASTERNMOST_DEG);
        let crossed = self.strips[strip(lon)].iter().filter(|[a, b]| {
            // One side includes the meridian and the other does not: a corner on it is counted
            // once.
            let spans = (a[0] <= lon) != (b[0] <= lon);
            spans && a[1] + (lon - a[0]) / (b[0] - a[0]) * (b[1] - a[1]) > place.lat_deg
        });
        crossed.count() % 2 == 0
    }

    /// The edges of the coast that may touch a region, on its side of the antimeridian.
    pub(super) fn coast(&self, region: &Region) -> Vec<Edge> {
        let mut found = Vec::new();
        for (number, strip) in self.strips.iter().enumerate() {
            let first = |edge: &&Edge| {
                let west = edge[0][0].min(edge[1][0]);
                // An edge over several strips is taken from its first.
                self::strip(west) == number
            };
            for edge in strip.iter().filter(first) {
                found.extend(region.clip_line(edge).iter().filter_map(|run| {
                    let turned = region.turned_line(run);
                    Some([*turned.first()?, *turned.last()?])
                }));
            }
        }
        found
    }
}

/// The strip that holds a longitude of -180 to 180 degrees.
fn strip(lon_deg: f64) -> usize {
    // 180 degrees fall into the last strip.
    ((lon_deg + 180.0).clamp(0.0, 359.5)) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seas_and_lands_are_told_apart() {
        let in_sea = |lat: f64, lon: f64| sea().unwrap().holds(Position::new(lat, lon).unwrap());
        for (lat, lon) in [
            (45.0, -40.0),
            (39.0, -10.5),
            (43.0, 34.0),
            (-60.0, 10.0),
            (88.0, 0.0),
            (-30.0, 180.0),
            (-30.0, -179.99),
        ] {
            assert!(in_sea(lat, lon), "{lat} {lon}");
        }
        // A lake is no sea.
        for (lat, lon) in [
            (39.0, -98.0),
            (55.75, 37.6),
            (66.0, -175.0),
            (67.0, 179.0),
            (66.5, 180.0),
            (66.5, -180.0),
            (-85.0, 10.0),
            (-17.8, 178.0),
            (64.9, -18.5),
            (43.5, -87.0),
        ] {
            assert!(!in_sea(lat, lon), "{lat} {lon}");
        }
    }

    #[test]
    fn the_coast_of_a_region_lies_in_it() {
        let lisbon = Position::new(38.7, -9.1).unwrap();
        let region = Region::around(lisbon, 60_000.0);
        let coast = sea().unwrap().coast(&region);
        assert!((10..500).contains(&coast.len()), "{}", coast.len());
        let inland = Region::around(Position::new(43.0, -108.5).unwrap(), 60_000.0);
        assert!(sea().unwrap().coast(&inland).is_empty());
    }
}

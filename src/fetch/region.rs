//! The box of latitude and longitude that is asked of a service which cuts one out.

use serde::{Deserialize, Serialize};

use crate::earth::SHORTEST_DEGREE_M;
use crate::geodesy::{Position, wrap_longitude};
use crate::numeric::nearest_whole;

/// Poleward of this a region goes round the earth, degrees: meridians lie too close to count.
const POLAR_LAT_DEG: f64 = 85.0;

/// A region on the points of a forecast's grid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Region {
    /// Southern edge, degrees north.
    pub south: f64,
    /// Northern edge, degrees north.
    pub north: f64,
    /// Western edge, degrees east.
    pub west: f64,
    /// Eastern edge, degrees east: east of the western one, so it may be beyond 180.
    pub east: f64,
}

/// Which longitudes a service takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Default)]
pub enum Longitudes {
    /// Any; the eastern edge may be beyond 180.
    #[default]
    #[serde(rename = "any")]
    Any,
    /// From 0 up to 360: a region across Greenwich is two.
    #[serde(rename = "0 to 360")]
    FromGreenwich,
    /// From -180 up to 180: a region across the date line is two.
    #[serde(rename = "-180 to 180")]
    FromDateLine,
}

impl Region {
    /// What reaches this far from a place to all sides, outwards to points `spacing_deg` apart.
    /// Near a pole, and where it would be as wide as a circle, it goes round the earth.
    pub fn around(place: Position, reach_m: f64, spacing_deg: f64) -> Region {
        let down = |deg: f64| (deg / spacing_deg).floor() * spacing_deg;
        let up = |deg: f64| (deg / spacing_deg).ceil() * spacing_deg;
        let degrees = reach_m / SHORTEST_DEGREE_M;
        let farthest = place.lat_deg.abs() + degrees;
        // At the latitude farthest from the equator, where a degree of longitude is shortest.
        let half = degrees / farthest.min(POLAR_LAT_DEG).to_radians().cos();
        let lon = wrap_longitude(place.lon_deg);
        let (west, east) = (down(lon - half), up(lon + half));
        let round = farthest > POLAR_LAT_DEG || east - west >= 360.0 - spacing_deg;
        let (west, east) = match round {
            // The column after the last of a circle is its first again.
            true => (-180.0, 180.0 - spacing_deg),
            // Across the date line it is the eastern edge that goes beyond 180.
            false if west < -180.0 => (west + 360.0, east + 360.0),
            false => (west, east),
        };
        Region {
            south: down(place.lat_deg - degrees).max(-90.0),
            north: up(place.lat_deg + degrees).min(90.0),
            west,
            east,
        }
    }

    /// The same as a service takes it, from west to east: two where it crosses the seam.
    pub fn parts(self, longitudes: Longitudes, spacing_deg: f64) -> Vec<Region> {
        let (first, end) = match longitudes {
            Longitudes::Any => return vec![self],
            Longitudes::FromGreenwich => (0.0, 360.0),
            Longitudes::FromDateLine => (-180.0, 180.0),
        };
        let width = self.east - self.west;
        // A circle lacks the column that would be its first again; half of one is for rounding.
        if width >= 360.0 - 1.5 * spacing_deg {
            let (west, east) = (first, end - spacing_deg);
            return vec![Region { west, east, ..self }];
        }
        let west = (self.west - first).rem_euclid(360.0) + first;
        let east = west + width;
        // It ends before the seam; half a step is for rounding.
        if east < end - 0.5 * spacing_deg {
            return vec![Region { west, east, ..self }];
        }
        // Two columns at least on both sides: of one alone a file does not tell the spacing.
        let before = Region {
            west: west.min(end - 2.0 * spacing_deg),
            east: end - spacing_deg,
            ..self
        };
        let after = Region {
            west: first,
            east: (east - 360.0).max(first + spacing_deg),
            ..self
        };
        vec![before, after]
    }

    /// How many points it has.
    pub fn points(self, spacing_deg: f64) -> u64 {
        let along = |width: f64| {
            let steps = nearest_whole::<u64>(width / spacing_deg);
            steps.map_or(u64::MAX, |steps| steps + 1)
        };
        along(self.north - self.south).saturating_mul(along(self.east - self.west))
    }

    /// As people write it: `41 N to 51 N, 5 W to 9 E`.
    pub fn in_words(self) -> String {
        let lat = |deg: f64| {
            format!(
                "{} {}",
                number(deg.abs()),
                if deg < 0.0 { 'S' } else { 'N' }
            )
        };
        let lon = |deg: f64| {
            let deg = wrap_longitude(deg);
            format!(
                "{} {}",
                number(deg.abs()),
                if deg < 0.0 { 'W' } else { 'E' }
            )
        };
        format!(
            "{} to {}, {} to {}",
            lat(self.south),
            lat(self.north),
            lon(self.west),
            lon(self.east)
        )
    }
}

/// Degrees, as short as they can be told.
pub fn number(degrees: f64) -> String {
    let rounded = (degrees * 1e4).round() / 1e4;
    // No "-0".
    (rounded + 0.0).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(lat_deg: f64, lon_deg: f64) -> Position {
        Position { lat_deg, lon_deg }
    }

    fn edges(r: Region) -> [f64; 4] {
        [r.west, r.east, r.south, r.north]
    }

    #[test]
    fn a_region_reaches_as_far_as_asked_on_the_points_of_the_grid() {
        let r = Region::around(at(47.3, 8.6), 200_000.0, 0.25);
        // 200 km are 1.81 degrees of latitude and, at 49.1 N, 2.76 of longitude.
        assert_eq!(edges(r), [5.75, 11.5, 45.25, 49.25]);
        assert_eq!(r.points(0.25), 24 * 17);
        assert_eq!(r.in_words(), "45.25 N to 49.25 N, 5.75 E to 11.5 E");
    }

    #[test]
    fn a_region_across_the_seam_is_two_where_the_service_has_one() {
        let greenwich = Region::around(at(48.0, 0.1), 100_000.0, 0.5);
        assert_eq!(edges(greenwich), [-1.5, 1.5, 47.0, 49.0]);
        assert_eq!(greenwich.parts(Longitudes::Any, 0.5), [greenwich]);
        assert_eq!(greenwich.parts(Longitudes::FromDateLine, 0.5), [greenwich]);
        let two = greenwich.parts(Longitudes::FromGreenwich, 0.5);
        assert_eq!(two.len(), 2);
        assert_eq!(edges(two[0])[..2], [358.5, 359.5]);
        assert_eq!(edges(two[1])[..2], [0.0, 1.5]);
        let date_line = Region::around(at(-17.0, 179.9), 100_000.0, 0.5);
        assert_eq!(edges(date_line)[..2], [178.5, 181.0]);
        assert_eq!(date_line.in_words(), "18 S to 16 S, 178.5 E to 179 W");
        let one = date_line.parts(Longitudes::FromGreenwich, 0.5);
        assert_eq!(edges(one[0])[..2], [178.5, 181.0]);
        let two = date_line.parts(Longitudes::FromDateLine, 0.5);
        assert_eq!(edges(two[0])[..2], [178.5, 179.5]);
        assert_eq!(edges(two[1])[..2], [-180.0, -179.0]);
        // East of the line as well the western edge is the lower number, and not below -180.
        let east_of_it = Region::around(at(-17.0, -179.9), 100_000.0, 0.5);
        assert_eq!(edges(east_of_it)[..2], [179.0, 181.5]);
    }

    #[test]
    fn parts_of_one_column_are_two() {
        let region = |west: f64, east: f64| Region {
            south: 1.0,
            north: 2.0,
            west,
            east,
        };
        let two = region(-2.0, 0.0).parts(Longitudes::FromGreenwich, 0.5);
        assert_eq!(edges(two[1])[..2], [0.0, 0.5]);
        let two = region(-0.5, 2.0).parts(Longitudes::FromGreenwich, 0.5);
        assert_eq!(edges(two[0])[..2], [359.0, 359.5]);
        let one = region(0.0, 2.0).parts(Longitudes::FromGreenwich, 0.5);
        assert_eq!(edges(one[0])[..2], [0.0, 2.0]);
    }

    #[test]
    fn near_a_pole_it_goes_round_the_earth() {
        let r = Region::around(at(-82.0, 50.0), 500_000.0, 0.25);
        assert_eq!(edges(r), [-180.0, 179.75, -86.75, -77.25]);
        let all = r.parts(Longitudes::FromGreenwich, 0.25);
        assert_eq!(edges(all[0])[..2], [0.0, 359.75]);
        let pole = Region::around(at(89.9, 0.0), 500_000.0, 0.5);
        assert_eq!((pole.south, pole.north), (85.0, 90.0));
    }
}

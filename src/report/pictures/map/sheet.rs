//! The sheet a map is drawn on: a plane in metres, and where it is on paper.

use crate::geodesy::{Normal, Position};
use crate::ground::plane::Plane;
use crate::ground::region::Region;

/// Room around what must be seen, as a share of its larger side.
const MARGIN: f64 = 0.07;
/// The least a sheet shows, m: a zone of no size is still drawn.
const LEAST_M: f64 = 4_000.0;
/// Height over width, at least and at most.
const ASPECT: [f64; 2] = [0.8, 1.25];

/// A rectangle of the plane around the landing zone, north up.
#[derive(Debug, Clone, Copy)]
pub struct Sheet {
    plane: Plane,
    /// The upper left corner on the plane, m.
    corner_m: [f64; 2],
    /// Metres in a unit of the drawing.
    pub unit_m: f64,
    /// Width and height, units.
    pub size: [f64; 2],
}

impl Sheet {
    /// The sheet of that width which shows all `places`, on the plane around `center`.
    /// It is 4 km wide at the least.
    pub fn holding(center: Position, places: &[Position], width: f64) -> Sheet {
        let plane = Plane::new(center);
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        // With the centre there is always one place, and the bounds are numbers.
        for place in places.iter().chain([&center]) {
            let point = plane.to_plane(place.normal());
            for k in 0..2 {
                low[k] = low[k].min(point[k]);
                high[k] = high[k].max(point[k]);
            }
        }
        let needed = [0, 1].map(|k| high[k] - low[k]);
        let margin = MARGIN * needed[0].max(needed[1]);
        let needed = needed.map(|m| (m + 2.0 * margin).max(LEAST_M));
        let aspect = (needed[1] / needed[0]).clamp(ASPECT[0], ASPECT[1]);
        // Where the shape was clamped, the sheet grows the other way: no place is cut off.
        let wide_m = needed[0].max(needed[1] / aspect);
        let middle = [0, 1].map(|k| 0.5 * (low[k] + high[k]));
        Sheet {
            plane,
            corner_m: [middle[0] - 0.5 * wide_m, middle[1] + 0.5 * wide_m * aspect],
            unit_m: wide_m / width,
            size: [width, width * aspect],
        }
    }

    /// The square sheet of that width which reaches `half_m` to each side of `center`.
    pub fn around(center: Position, half_m: f64, width: f64) -> Sheet {
        Sheet {
            plane: Plane::new(center),
            corner_m: [-half_m, half_m],
            unit_m: 2.0 * half_m / width,
            size: [width, width],
        }
    }

    /// Where a place is on the sheet: to the right of and below its upper left corner, units.
    pub fn at(&self, place: Position) -> [f64; 2] {
        self.of_normal(place.normal())
    }

    /// The same of a normal.
    pub fn of_normal(&self, place: Normal) -> [f64; 2] {
        let [east, north] = self.plane.to_plane(place);
        [
            (east - self.corner_m[0]) / self.unit_m,
            (self.corner_m[1] - north) / self.unit_m,
        ]
    }

    /// Where a longitude and latitude are, degrees; on any turn of the earth.
    pub fn lon_lat(&self, [lon_deg, lat_deg]: [f64; 2]) -> [f64; 2] {
        self.at(Position { lat_deg, lon_deg })
    }

    /// The place at a point of the sheet.
    pub fn place(&self, [x, y]: [f64; 2]) -> Position {
        let east = self.corner_m[0] + x * self.unit_m;
        let north = self.corner_m[1] - y * self.unit_m;
        // On an azimuthal plane the geodesic from its centre leads back.
        let azimuth_deg = east.atan2(north).to_degrees();
        self.plane
            .center()
            .destination(azimuth_deg, east.hypot(north))
    }

    /// Whether a point is on the sheet, or at most this many units off it.
    pub fn shows(&self, [x, y]: [f64; 2], off: f64) -> bool {
        x >= -off && y >= -off && x <= self.size[0] + off && y <= self.size[1] + off
    }

    /// The region around the sheet.
    pub fn region(&self) -> Region {
        let middle = self.place([0.5 * self.size[0], 0.5 * self.size[1]]);
        let reach = 0.5 * self.size[0].hypot(self.size[1]) * self.unit_m;
        // A little more, as off its centre a plane is not quite true to distances.
        Region::around(middle, 1.02 * reach)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_on_the_sheet_is_found_again() {
        let center = Position::new(39.6, -8.5).unwrap();
        let far = center.destination(250.0, 40_000.0);
        let sheet = Sheet::holding(center, &[far], 720.0);
        assert!(sheet.shows(sheet.at(far), 0.0) && sheet.shows(sheet.at(center), 0.0));
        let back = sheet.place(sheet.at(far));
        assert!(back.distance_m(far) < 1.0, "{}", back.distance_m(far));
        // North is up, east to the right.
        let [x, y] = sheet.at(center);
        let [x2, y2] = sheet.at(center.destination(45.0, 1_000.0));
        assert!(x2 > x && y2 < y);
        assert!((sheet.unit_m * (x2 - x).hypot(y2 - y) - 1_000.0).abs() < 0.01);
    }

    #[test]
    fn one_place_makes_a_sheet_too() {
        let center = Position::new(-89.99, 0.0).unwrap();
        let sheet = Sheet::holding(center, &[center], 720.0);
        assert!(sheet.size[1] >= 0.8 * 720.0 && sheet.unit_m > 1.0);
    }
}

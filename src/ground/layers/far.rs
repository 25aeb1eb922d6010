//! How far a layer lies from the flights, and which slip of its maker would explain it.

use crate::earth::MEAN_RADIUS_M;
use crate::error::Fault;
use crate::geodesy::{Normal, Position, wrap_longitude};
use crate::ground::region::Region;

/// A layer wholly farther than this from where flights go, m, is a mistake (assumed): what is
/// drawn for a flight is drawn within a balloon's reach.
const FARTHEST_M: f64 = 300_000.0;

/// What goes wrong when coordinates are written down.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Slip {
    Exchanged,
    EastForWest,
    NorthForSouth,
}

impl Slip {
    const ALL: [Slip; 3] = [Slip::Exchanged, Slip::EastForWest, Slip::NorthForSouth];

    /// Longitude and latitude without the slip.
    fn mended(self, [lon, lat]: [f64; 2]) -> [f64; 2] {
        match self {
            Slip::Exchanged => [lat, lon],
            Slip::EastForWest => [-lon, lat],
            Slip::NorthForSouth => [lon, -lat],
        }
    }

    fn in_words(self) -> &'static str {
        match self {
            Slip::Exchanged => {
                "longitude and latitude seem to be exchanged (longitude comes first)"
            }
            Slip::EastForWest => "the sign of the longitudes seems to be wrong (west is negative)",
            Slip::NorthForSouth => {
                "the sign of the latitudes seems to be wrong (south is negative)"
            }
        }
    }
}

/// The nearest point of a layer to a region, as it stands and with each slip mended.
pub(super) struct Nearest<'a> {
    region: &'a Region,
    center: Normal,
    near: bool,
    /// Distance from the middle of the region, m, and longitude and latitude as they stand.
    as_written: (f64, [f64; 2]),
    mended_m: [f64; 3],
}

impl<'a> Nearest<'a> {
    pub fn new(region: &'a Region) -> Nearest<'a> {
        Nearest {
            region,
            center: region.plane.center().normal(),
            near: false,
            as_written: (f64::INFINITY, [0.0; 2]),
            mended_m: [f64::INFINITY; 3],
        }
    }

    /// Looks at the points of one shape, in degrees.
    pub fn look_at(&mut self, points: &[[f64; 2]]) {
        let Some(bounds) = bounds(points) else { return };
        // By its box, not its corners: an area around all flights may have no corner near them.
        self.near = self.near || self.region.touches_within(bounds, FARTHEST_M);
        for &point in points {
            let there_m = self.distance_m(point);
            if there_m < self.as_written.0 {
                self.as_written = (there_m, point);
            }
            for (slip, nearest_m) in Slip::ALL.iter().zip(&mut self.mended_m) {
                let there_m = from(self.center, slip.mended(point));
                *nearest_m = nearest_m.min(there_m);
            }
        }
    }

    /// The distance from the middle of the region to the nearest point, m.
    pub fn nearest_m(&self) -> f64 {
        self.as_written.0
    }

    /// The fault of a layer that lies nowhere near; `None` where it does, or has no point.
    pub fn fault(&self, file: &str, what: &str) -> Option<Fault> {
        let (away_m, [lon, lat]) = self.as_written;
        if self.near || away_m.is_infinite() {
            return None;
        }
        let point = Position {
            lat_deg: lat,
            lon_deg: wrap_longitude(lon),
        };
        let center = self.region.plane.center().text();
        let found = format!(
            "nothing within {:.0} km of the flights: the nearest point, {}, is {:.0} km from {center}",
            FARTHEST_M / 1_000.0,
            point.text(),
            away_m / 1_000.0,
        );
        let mut expected = format!("{what} where flights come down");
        if let Some(slip) = self.slip() {
            expected = format!("{expected}: {}", slip.in_words());
        }
        Some(Fault::new(file, found, expected))
    }

    /// What to say besides of a point that is on no earth.
    pub fn hint(&self, point: [f64; 2]) -> Option<&'static str> {
        let exchanged = Slip::Exchanged.mended(point);
        let there = exchanged[1].abs() <= 90.0 && exchanged[0].abs() <= 180.0;
        (there && self.reaches(from(self.center, exchanged))).then(|| Slip::Exchanged.in_words())
    }

    /// The slip that, mended, brings the layer nearest to the flights.
    fn slip(&self) -> Option<Slip> {
        let all = Slip::ALL.into_iter().zip(self.mended_m);
        all.filter(|&(_, m)| self.reaches(m))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(slip, _)| slip)
    }

    fn reaches(&self, from_center_m: f64) -> bool {
        from_center_m - self.region.reach_m <= FARTHEST_M
    }

    fn distance_m(&self, point: [f64; 2]) -> f64 {
        from(self.center, point)
    }
}

/// The distance to a point of degrees on a sphere, m; not-a-number's is infinite, and so is that of
/// a latitude beyond the poles.
fn from(center: Normal, [lon_deg, lat_deg]: [f64; 2]) -> f64 {
    if lat_deg.is_nan() || lat_deg.abs() > 90.0 {
        return f64::INFINITY;
    }
    // A sphere will do where hundreds of kilometres are told apart.
    let there = Position { lat_deg, lon_deg }.normal();
    let dot: f64 = center.0.iter().zip(there.0).map(|(a, b)| a * b).sum();
    // Rounding takes equal directions a little beyond 1, which no angle has for its cosine.
    MEAN_RADIUS_M * dot.clamp(-1.0, 1.0).acos()
}

/// West, south, east, north.
fn bounds(points: &[[f64; 2]]) -> Option<[f64; 4]> {
    let grown = |b: [f64; 4], p: &[f64; 2]| {
        [
            b[0].min(p[0]),
            b[1].min(p[1]),
            b[2].max(p[0]),
            b[3].max(p[1]),
        ]
    };
    let &[lon, lat] = points.first()?;
    Some(points.iter().fold([lon, lat, lon, lat], grown))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(points: &[[f64; 2]]) -> Option<String> {
        let region = Region::around(Position::new(39.4, -8.8)?, 60_000.0);
        let mut nearest = Nearest::new(&region);
        nearest.look_at(points);
        nearest.fault("f", "lakes").map(|f| f.to_string())
    }

    #[test]
    fn far_away_is_a_fault_that_names_the_slip() {
        for (point, says) in [
            ([39.4, -8.8], "exchanged"),
            ([8.8, 39.4], "longitudes"),
            ([-8.8, -39.4], "latitudes"),
            ([100.0, 10.0], "lakes where flights come down"),
        ] {
            let message = fault(&[point]).unwrap_or_default();
            assert!(message.contains(says), "{says}: {message}");
        }
        assert!(!fault(&[[100.0, 10.0]]).unwrap_or_default().contains("seem"));
    }

    #[test]
    fn what_lies_within_reach_is_none() {
        assert_eq!(fault(&[[-8.8, 42.5]]), None);
        assert!(fault(&[[-8.8, 43.0]]).is_some());
        // Both ends are far, what lies between is not.
        assert_eq!(fault(&[[-30.0, 39.4], [30.0, 39.4]]), None);
        assert_eq!(fault(&[]), None);
    }
}

//! The time zone of a place, without a network: tzf-dist's outlines, from OpenStreetMap.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use tzf_rs::EmbeddedFinder;

use crate::clock::local::ahead_of_sun_s;
use crate::geodesy::Position;

/// The time zone of a place by its outlines; on the open sea one by longitude. `None` where no
/// outline holds the place or the program does not know the zone.
pub fn time_zone(place: Position) -> Option<TimeZone> {
    let finder = EmbeddedFinder::new();
    TimeZone::get(finder.get_tz_name(place.lon_deg, place.lat_deg)).ok()
}

/// Poleward of this latitude people keep whatever clocks they like, degrees.
const POLAR_DEG: f64 = 80.0;

/// How far the clocks of a zone are ahead of the sun's at a place, s, if that is more than `most_s`
/// either way and the people there keep other clocks.
pub fn ahead_s(zone: &TimeZone, at: Timestamp, place: Position, most_s: f64) -> Option<f64> {
    let ahead_s = ahead_of_sun_s(zone, at, place.lon_deg);
    // The outlines are searched only for clocks that look wrong.
    if ahead_s.abs() <= most_s || place.lat_deg.abs() > POLAR_DEG {
        return None;
    }
    let there = time_zone(place).map(|there| there.to_offset(at));
    (there != Some(zone.to_offset(at))).then_some(ahead_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_have_the_zones_their_people_keep() {
        for (lat, lon, name) in [
            (43.02, -108.38, "America/Denver"),
            // Arizona without and the Navajo Nation with summer time.
            (33.45, -112.07, "America/Phoenix"),
            (36.15, -109.55, "America/Denver"),
            (38.72, -9.14, "Europe/Lisbon"),
            (37.74, -25.67, "Atlantic/Azores"),
            (-33.87, 151.21, "Australia/Sydney"),
            (-31.95, 141.45, "Australia/Broken_Hill"),
            (27.7, 85.32, "Asia/Kathmandu"),
            (-44.0, -176.5, "Pacific/Chatham"),
        ] {
            let zone = time_zone(Position::new(lat, lon).unwrap()).unwrap();
            assert_eq!(zone.iana_name(), Some(name), "{lat} {lon}");
        }
        let at = "2026-01-01T12:00:00Z".parse().unwrap();
        let ahead_h = |name: &str, lat: f64, lon: f64| {
            let zone = TimeZone::get(name).unwrap();
            let place = Position::new(lat, lon).unwrap();
            ahead_s(&zone, at, place, 7_200.0).map(|s| s / 3_600.0)
        };
        // The west of China keeps Beijing's clocks, Kazakhstan does not; a pole keeps any.
        assert_eq!(ahead_h("Asia/Shanghai", 32.5, 82.5), None);
        assert_eq!(ahead_h("Asia/Shanghai", 45.0, 75.0), Some(3.0));
        assert_eq!(ahead_h("America/Denver", -90.0, 75.0), None);
        let sea = time_zone(Position::new(-30.0, -130.0).unwrap()).unwrap();
        assert_eq!(sea.iana_name(), Some("Etc/GMT+9"));
    }
}

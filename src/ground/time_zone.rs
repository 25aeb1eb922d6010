//! The time zone of a place, without a network: tzf-dist's outlines, from OpenStreetMap.

use jiff::tz::TimeZone;
use tzf_rs::EmbeddedFinder;

use crate::geodesy::Position;

/// The time zone of a place by its outlines; on the open sea one by longitude. `None` where no
/// outline holds the place or the program does not know the zone.
pub fn time_zone(place: Position) -> Option<TimeZone> {
    let finder = EmbeddedFinder::new();
    TimeZone::get(finder.get_tz_name(place.lon_deg, place.lat_deg)).ok()
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
        let sea = time_zone(Position::new(-30.0, -130.0).unwrap()).unwrap();
        assert_eq!(sea.iana_name(), Some("Etc/GMT+9"));
    }
}

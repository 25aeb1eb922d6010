//! The files of a briefing, all of them.

use super::{calendar, geojson, gpx, kml, message, notice, zone_csv};
use crate::brief::Brief;
use crate::error::Result;
use crate::report::{pages, pictures::map};
use crate::units::UnitSystem;

/// Pixels of the map's picture for each of its units.
pub const PIXELS: f32 = 2.0;

/// The page that every briefing has, and nothing else.
pub const PAGE: &str = "brief.html";

/// Names of a briefing's files, in their order.
pub const FILES: [&str; 11] = [
    PAGE,
    "second-car.html",
    "message.txt",
    "notice.txt",
    "map.svg",
    "map.png",
    "zone.geojson",
    "zone.kml",
    "zone.gpx",
    "zone.csv",
    "timeline.ics",
];

/// The files of a briefing by name.
///
/// # Errors
///
/// A picture that cannot be drawn, or a table that cannot be written.
pub fn files(brief: &Brief, units: UnitSystem) -> Result<Vec<(&'static str, Vec<u8>)>> {
    let map = map::draw(brief, units);
    // Pages and picture need the same map, and nothing of each other.
    let ([page, second_car], png) = rayon::join(
        || {
            [
                pages::brief::text(brief, &map, units),
                pages::brief::second_car(brief, &map, units),
            ]
        },
        || map.scaled_png(PIXELS),
    );
    let contents: [Vec<u8>; FILES.len()] = [
        page.into_bytes(),
        second_car.into_bytes(),
        message::text(brief, units).into_bytes(),
        notice::text(brief, units).into_bytes(),
        map.svg().into_bytes(),
        png?,
        geojson::brief_text(brief, units).into_bytes(),
        kml::text(brief, units).into_bytes(),
        gpx::text(brief, units).into_bytes(),
        zone_csv::text(brief)?.into_bytes(),
        calendar::text(brief, units).into_bytes(),
    ];
    Ok(FILES.into_iter().zip(contents).collect())
}

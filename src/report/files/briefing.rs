//! The files of a briefing, all of them.

use super::{calendar, geojson, gpx, kml, message, notice, zone_csv};
use crate::brief::Brief;
use crate::error::Result;
use crate::report::{pages, pictures::map};
use crate::units::UnitSystem;

/// Pixels of the map's picture for each of its units.
pub const PIXELS: f32 = 2.0;

/// The files of a briefing by name.
///
/// # Errors
///
/// A picture that cannot be drawn, or a table that cannot be written.
pub fn files(brief: &Brief, units: UnitSystem) -> Result<Vec<(&'static str, Vec<u8>)>> {
    let map = map::draw(brief, units);
    let ([page, second_car], png) = rayon::join(
        || {
            [
                pages::brief::text(brief, &map, units),
                pages::brief::second_car(brief, &map, units),
            ]
        },
        || map.scaled_png(PIXELS),
    );
    Ok(vec![
        ("brief.html", page.into_bytes()),
        ("second-car.html", second_car.into_bytes()),
        ("message.txt", message::text(brief, units).into_bytes()),
        ("notice.txt", notice::text(brief, units).into_bytes()),
        ("map.svg", map.svg().into_bytes()),
        ("map.png", png?),
        (
            "zone.geojson",
            geojson::brief_text(brief, units).into_bytes(),
        ),
        ("zone.kml", kml::text(brief, units).into_bytes()),
        ("zone.gpx", gpx::text(brief, units).into_bytes()),
        ("zone.csv", zone_csv::text(brief)?.into_bytes()),
        ("timeline.ics", calendar::text(brief, units).into_bytes()),
    ])
}

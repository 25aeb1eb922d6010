//! Files for other programs: maps, receivers, calendars, spreadsheets.

pub mod antimeridian;
pub mod calendar;
pub mod coordinates;
pub mod geojson;
pub mod gpx;
pub mod kml;
mod xml;
pub mod plan;
pub mod zone_csv;

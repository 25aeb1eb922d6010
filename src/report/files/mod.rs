//! Files for other programs: maps, receivers, calendars, spreadsheets.

pub mod antimeridian;
pub mod batch;
pub mod briefing;
pub mod calendar;
pub mod clocks;
pub mod coordinates;
pub mod debrief;
pub mod follow;
pub mod geojson;
pub mod gpx;
pub mod kml;
pub mod live_folder;
pub mod message;
pub mod notice;
#[cfg(feature = "parquet")]
pub mod parquet;
pub mod plan;
mod xml;
pub mod zone_csv;

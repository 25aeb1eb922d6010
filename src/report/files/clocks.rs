//! What was lined up with a track: a logger's rows with places beside them, photos on a map.

use std::path::Path;

use geojson::Feature;
use serde_json::json;

use super::coordinates::{clock, lon_lat, metres};
use super::geojson::{gathered, mark_feature};
use super::kml;
use super::zone_csv::failed;
use crate::debrief::clocks::{Aligned, TrackPlaces};
use crate::error::Result;
use crate::report::extent::Extent;
use crate::track::logger::Logger;
use crate::track::photo::Photo;
use crate::units::UnitSystem;
use crate::zone::Mark;

/// Columns that are added to a logger's: empty where the track knows no place.
const ADDED: [&str; 4] = ["utc", "lat_deg", "lon_deg", "altitude_m"];

/// A logger's rows as they stand, each with its time, place and altitude above mean sea level beside it.
///
/// # Errors
///
/// None that memory does not give.
pub fn logger_csv(logger: &Logger, aligned: &Aligned, places: &TrackPlaces) -> Result<String> {
    // Rows may differ in length, and the columns that are added must stand below each other.
    let wide = logger.rows.iter().map(|r| r.cells.len()).max().unwrap_or(0);
    let wide = logger.names.as_ref().map_or(wide, |n| wide.max(n.len()));
    let mut table = csv::WriterBuilder::new()
        // As the file has it: what reads the one reads the other.
        .delimiter(u8::try_from(logger.separator).unwrap_or(b','))
        .from_writer(Vec::new());
    let full = |cells: &[String], more: [String; 4]| -> Vec<String> {
        let empty = std::iter::repeat_n(String::new(), wide - cells.len().min(wide));
        cells.iter().cloned().chain(empty).chain(more).collect()
    };
    if let Some(names) = &logger.names {
        let added = ADDED.map(str::to_owned);
        table.write_record(full(names, added)).map_err(failed)?;
    }
    for (i, row) in logger.rows.iter().enumerate() {
        let ours = (aligned.rows[0]..aligned.rows[1]).contains(&i);
        // Other rows are of another clock: a place beside them would be made up.
        let time = row.time_s.filter(|_| ours).map(|t| aligned.time(t));
        let mark = time.and_then(|t| places.at(t));
        let [lat, lon, altitude] = mark.map_or([const { String::new() }; 3], |m| {
            let at = lon_lat(m.position);
            [at.y, at.x, metres(m.altitude_m)].map(|v| v.to_string())
        });
        let time = time.map_or(String::new(), clock);
        table
            .write_record(full(&row.cells, [time, lat, lon, altitude]))
            .map_err(failed)?;
    }
    let bytes = table
        .into_inner()
        .map_err(|e| failed(e.into_error().into()))?;
    Ok(String::from_utf8(bytes).unwrap_or_default())
}

/// A photo's name, without its folder.
fn name(photo: &Photo) -> String {
    // Who is shown the map need not know where the photos lie.
    let name = photo.path.file_name().unwrap_or(photo.path.as_os_str());
    Path::new(name).display().to_string()
}

/// Photos as GeoJSON: points of the kind `photo` with their names, times and altitudes.
pub fn photos_geojson(photos: &[(Photo, Mark)]) -> String {
    let features: Vec<(Feature, Extent)> = photos
        .iter()
        .map(|(photo, mark)| {
            let (mut feature, extent) = mark_feature("photo", mark);
            if let Some(properties) = &mut feature.properties {
                properties.insert("name".into(), json!(name(photo)));
            }
            (feature, extent)
        })
        .collect();
    let version = ("version", json!(env!("CARGO_PKG_VERSION")));
    format!("{}\n", gathered(features, [version]))
}

/// Photos as KML.
pub fn photos_kml(title: &str, photos: &[(Photo, Mark)], units: UnitSystem) -> String {
    let mut doc = kml::begun(title, "Where photos were taken, by the track");
    for (photo, mark) in photos {
        kml::mark(&mut doc, &name(photo), mark, units);
    }
    doc.finish()
}

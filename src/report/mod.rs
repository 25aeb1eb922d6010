//! What people and other programs get to read: tables, pictures, files.

pub mod aim;
pub mod antimeridian;
pub mod brief;
pub mod brief_page;
pub mod calendar;
pub mod charts;
pub mod coordinates;
pub mod days;
pub mod days_picture;
mod extent;
pub mod facts;
pub mod forecast;
pub mod geojson;
pub mod gpx;
pub mod kml;
pub mod map;
mod markup;
pub mod picture;
pub mod profile_picture;
pub mod site;
pub mod sites;
pub mod winds;
mod words;
pub mod write_file;
pub mod zone;
pub mod zone_csv;
pub mod zone_table;

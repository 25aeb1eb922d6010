//! What people and other programs get to read: tables, pictures, files.

pub mod aim;
pub mod antimeridian;
pub mod days;
pub mod days_picture;
mod extent;
pub mod facts;
pub mod fill;
pub mod fill_card;
pub mod fill_picture;
pub mod fill_rules;
pub mod fill_table;
pub mod fill_words;
pub mod forecast;
pub mod geojson;
pub mod picture;
pub mod profile_picture;
pub mod site;
pub mod sites;
pub mod winds;
pub mod write_file;
pub mod zone;
pub mod zone_table;

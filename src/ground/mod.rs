//! The ground: how high it is, what lies on it, how often flights come down on that.
//!
//! [`terrain`] and [`touchdown`] know heights; [`layers`] reads what users give and [`data`] holds
//! what the program brings along; [`map`] puts both on a plane where they can be asked;
//! [`hits`], [`airspace`] and [`site`] count and judge; [`sun`] knows day and night.

pub mod airports;
pub mod airspace;
mod areas;
pub mod data;
pub mod globe;
pub mod hits;
pub mod layers;
mod lines;
pub mod map;
pub mod places;
pub mod plane;
pub mod projection;
pub mod region;
pub mod sea;
pub mod site;
pub mod sun;
pub mod terrain;
pub mod time_zone;
pub mod touchdown;
pub mod towns;
pub mod water;

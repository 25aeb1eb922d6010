//! One flight: up through the layers, burst, down again, carried by the wind.

pub mod field;
mod field_walk;
mod floor;
pub mod layers;
pub mod model;
pub mod onward;
mod passage;
pub mod rates;
pub mod rise;
mod walk;

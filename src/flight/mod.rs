//! One flight: up through the layers, burst, down again, carried by the wind.

pub mod layers;
pub mod model;
pub mod rates;
pub mod rise;

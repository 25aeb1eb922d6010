//! The moving air: what was read, one profile made of it, and how wrong it may be.

pub mod above;
pub mod cleaning;
pub mod column;
pub mod departure;
pub mod error;
pub mod error_process;
pub mod forecast_error;
pub mod grid;
pub mod members;
pub mod near_ground;
pub mod placing;
pub mod slab;
pub mod sounding;
pub mod way;

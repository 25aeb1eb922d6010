//! Results written down: what a zone holds, and the formats it is given out in.

pub mod antimeridian;
mod extent;
pub mod geojson;
pub mod zone;

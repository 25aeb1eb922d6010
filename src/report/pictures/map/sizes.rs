//! Sizes of the map's text. All that is measured by text (scale, key, heading) follows from these, so
//! that everything grows together.

/// Coordinates, marks of airfields, the scale.
pub const SMALL: f64 = 17.0;
/// The key, towns, marks along the track.
pub const TEXT: f64 = 18.0;
/// Release, burst, landing and where to wait.
pub const NAME: f64 = 22.0;
/// The flight's name.
pub const TITLE: f64 = 25.0;

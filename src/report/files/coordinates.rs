//! Coordinates as every file gives them: rounded alike, cut at the antimeridian.

use geo::{Coord, Polygon};
use jiff::{Timestamp, Unit};

use super::antimeridian::{CutPoint, cut_line, cut_rings};
use crate::clock::{self, seconds_between};
use crate::geodesy::Position;
use crate::spread::region::nest;
use crate::zone::Mark;

/// Decimals of longitude and latitude: about a centimetre.
const DEGREE_DECIMALS: i32 = 7;
/// Decimals of metres.
const METRE_DECIMALS: i32 = 1;

/// A point of the track on the map.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackPoint {
    /// Longitude and latitude, degrees.
    pub at: Coord,
    /// Altitude above mean sea level, m.
    pub altitude_m: f64,
    /// When.
    pub time: Timestamp,
}

/// The lines of a track: one, or more where it is cut at the antimeridian; none of fewer than two
/// marks.
pub fn track_lines(track: &[Mark]) -> Vec<Vec<TrackPoint>> {
    let positions: Vec<Position> = track.iter().map(|mark| mark.position).collect();
    cut_line(&positions)
        .iter()
        .filter(|piece| piece.len() > 1)
        .map(|piece| piece.iter().map(|point| mark_at(track, point)).collect())
        .collect()
}

/// Place, altitude and time of a point of the cut track, linear between its marks.
fn mark_at(track: &[Mark], point: &CutPoint) -> TrackPoint {
    // At a mark itself both are the same one, and nothing lies between.
    let (before, after) = (
        &track[point.index.floor() as usize],
        &track[point.index.ceil() as usize],
    );
    let t = point.index.fract();
    let since_s = t * seconds_between(before.time, after.time);
    TrackPoint {
        at: rounded(point.at),
        altitude_m: metres(before.altitude_m * (1.0 - t) + after.altitude_m * t),
        time: clock::after(before.time, since_s),
    }
}

/// Polygons on the map of polygons on the ground, each given as its outline and holes.
pub fn areas<'a, P>(polygons: impl IntoIterator<Item = P>) -> Vec<Polygon>
where
    P: IntoIterator<Item = &'a [Position]>,
{
    polygons
        .into_iter()
        .flat_map(|rings| nest(cut_rings(rings).into_iter().map(tidy).collect()))
        .collect()
}

/// A ring with rounded corners, none the same as the one before.
fn tidy(ring: Vec<Coord>) -> Vec<Coord> {
    let mut ring: Vec<Coord> = ring.into_iter().map(rounded).collect();
    // Corners less than a centimetre apart are one now, and some readers refuse one twice.
    ring.dedup();
    ring
}

/// RFC 3339, in UTC, to a millisecond.
pub fn clock(time: Timestamp) -> String {
    time.round(Unit::Millisecond).unwrap_or(time).to_string()
}

/// A place on the map, rounded.
pub fn lon_lat(position: Position) -> Coord {
    rounded(Coord {
        x: position.lon_deg,
        y: position.lat_deg,
    })
}

fn rounded(at: Coord) -> Coord {
    Coord {
        x: round(at.x, DEGREE_DECIMALS),
        y: round(at.y, DEGREE_DECIMALS),
    }
}

/// Metres, rounded.
pub fn metres(m: f64) -> f64 {
    round(m, METRE_DECIMALS)
}

/// Rounded to a number of decimals; adding 0 turns -0 into 0.
pub fn round(x: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (x * scale).round() / scale + 0.0
}

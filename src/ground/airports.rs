//! Airports of the world, built in, and the nearest ones.

use std::sync::OnceLock;

use super::data;
use super::globe::{Globe, Near};
use crate::error::{Error, Result};
use crate::geodesy::Position;
use crate::units::FOOT_M;

/// How big an airport is, as OurAirports sorts them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AirportKind {
    /// Airline flights of large aircraft.
    Large,
    /// Regional airline flights, or as large.
    Medium,
    /// All other airfields.
    Small,
    /// Water where seaplanes land.
    Seaplane,
}

impl AirportKind {
    /// All kinds, the largest first.
    pub const ALL: [AirportKind; 4] = [
        AirportKind::Large,
        AirportKind::Medium,
        AirportKind::Small,
        AirportKind::Seaplane,
    ];

    /// In words, as in "large airport".
    pub fn name(self) -> &'static str {
        match self {
            AirportKind::Large => "large airport",
            AirportKind::Medium => "medium airport",
            AirportKind::Small => "small airport",
            AirportKind::Seaplane => "seaplane base",
        }
    }
}

/// An airport.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Airport {
    /// Its code: that of ICAO where it has one.
    pub ident: &'static str,
    /// How big it is.
    pub kind: AirportKind,
    /// Whether people would know it as an airfield: any but a small one without a hard runway of 300 m and
    /// without one of 1,000 m on whatever ground.
    pub is_known: bool,
    /// Where its reference point is.
    pub position: Position,
    /// Its elevation above mean sea level, m, if it is known.
    pub elevation_m: Option<f64>,
}

/// All airports, decoded.
pub struct Airports {
    all: Vec<Airport>,
    by_kind: [OnceLock<Globe>; 4],
}

/// The built-in airports.
///
/// # Errors
///
/// When the data in the program are damaged.
pub fn airports() -> Result<&'static Airports> {
    static AIRPORTS: OnceLock<Option<Airports>> = OnceLock::new();
    // Kept as long as the program runs: airports borrow their codes from it.
    static TEXT: OnceLock<String> = OnceLock::new();
    let read = || {
        // Text that cannot be unpacked becomes empty: the next lines tell that from a list of
        // airports.
        let text = TEXT.get_or_init(|| data::text(data::AIRPORTS).unwrap_or_default());
        let all: Option<Vec<Airport>> = text.lines().map(airport).collect();
        let all = all.filter(|all| !all.is_empty())?;
        Some(Airports {
            all,
            by_kind: Default::default(),
        })
    };
    AIRPORTS
        .get_or_init(read)
        .as_ref()
        .ok_or_else(|| Error::CannotDo {
            why: "the airports inside the program are damaged".into(),
            remedy: "expected a complete program file; install it again".into(),
        })
}

/// One line: kind (`s`: a small one that few know), code, latitude, longitude, elevation in feet or nothing.
fn airport(line: &'static str) -> Option<Airport> {
    let mut fields = line.split(',');
    let letter = fields.next()?;
    let kind = match letter {
        "L" => AirportKind::Large,
        "M" => AirportKind::Medium,
        "S" | "s" => AirportKind::Small,
        "W" => AirportKind::Seaplane,
        _ => return None,
    };
    let ident = fields.next()?;
    let position = Position::new(fields.next()?.parse().ok()?, fields.next()?.parse().ok()?)?;
    // An empty field stands for an elevation that nobody knows.
    let elevation_m = fields.next()?.parse().ok().map(|feet: f64| feet * FOOT_M);
    Some(Airport {
        ident,
        kind,
        is_known: letter != "s",
        position,
        elevation_m,
    })
}

impl Airports {
    /// All of them.
    pub fn all(&self) -> &[Airport] {
        &self.all
    }

    /// The `count` nearest of a kind, the nearest first.
    pub fn nearest(&self, kind: AirportKind, from: Position, count: usize) -> Vec<Near<&Airport>> {
        let globe = self.by_kind[kind as usize].get_or_init(|| {
            let numbered = self.all.iter().enumerate().filter(|(_, a)| a.kind == kind);
            Globe::new(numbered.map(|(i, a)| (a.position, i as u32)))
        });
        let found = globe.nearest(from, count, |i| self.all[i as usize].position);
        let airport = |near: Near<u32>| Near {
            what: &self.all[near.what as usize],
            distance_m: near.distance_m,
            azimuth_deg: near.azimuth_deg,
        };
        found.into_iter().map(airport).collect()
    }
}

/// The elevation of an airport nearby.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearElevation {
    /// Its code.
    pub ident: &'static str,
    /// Its elevation, m above mean sea level.
    pub elevation_m: f64,
    /// How far it is, m.
    pub distance_m: f64,
}

/// An airport's elevation is that of the country around within this distance, m (assumed).
pub const AIRPORT_WITHIN_M: f64 = 10_000.0;
/// The same in degrees of latitude, and a little more.
const AIRPORT_WITHIN_DEG: f64 = 0.1;

/// The elevation of the nearest airport on land within [`AIRPORT_WITHIN_M`], if one is known there. One
/// place is looked at once: to go through all is less work than to sort them.
///
/// # Errors
///
/// When the airports inside the program are damaged.
pub fn nearest_elevation(place: Position) -> Result<Option<NearElevation>> {
    // Latitudes first: a difference leaves few airports for the geodesic.
    let near = airports()?.all().iter().filter(|airport| {
        let north_deg = airport.position.lat_deg - place.lat_deg;
        airport.kind != AirportKind::Seaplane && north_deg.abs() < AIRPORT_WITHIN_DEG
    });
    let known = near.filter_map(|airport| {
        Some(NearElevation {
            ident: airport.ident,
            elevation_m: airport.elevation_m?,
            distance_m: place.distance_m(airport.position),
        })
    });
    let within = known.filter(|near| near.distance_m <= AIRPORT_WITHIN_M);
    Ok(within.min_by(|a, b| a.distance_m.total_cmp(&b.distance_m)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_airstrip_is_not_known_and_a_paved_field_is() {
        let all = airports().unwrap().all();
        let of = |ident: &str| all.iter().find(|a| a.ident == ident).unwrap();
        // Riverton regional: 8,203 ft of asphalt. Arco-Butte county: 6,600 ft of asphalt.
        assert!(of("KRIW").is_known);
        assert!(of("KAOC").is_known && of("KAOC").kind == AirportKind::Small);
        // A strip of 2,500 ft of gravel in Alaska.
        assert!(!of("00AK").is_known);
    }

    #[test]
    fn the_nearest_is_the_nearest_of_all() {
        let airports = airports().unwrap();
        assert!(airports.all().len() > 45_000);
        for (lat, lon) in [(43.0, -108.4), (-89.0, 0.0), (-17.0, 179.99), (52.5, 13.4)] {
            let here = Position::new(lat, lon).unwrap();
            for kind in AirportKind::ALL {
                let near = airports.nearest(kind, here, 3);
                let mut all: Vec<f64> = airports
                    .all()
                    .iter()
                    .filter(|a| a.kind == kind)
                    .map(|a| here.distance_m(a.position))
                    .collect();
                all.sort_by(f64::total_cmp);
                let found: Vec<f64> = near.iter().map(|n| n.distance_m).collect();
                assert_eq!(found, all[..3]);
            }
        }
    }
}

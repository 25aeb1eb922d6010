//! Populated places, built in or given, and the nearest one.

use std::sync::OnceLock;

use super::data;
use super::globe::{Globe, Near};
use super::layers::Layer;
use crate::error::{Error, Result};
use crate::geodesy::Position;

/// A named place.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Its name, with the country where it is built in.
    pub name: String,
    /// Where.
    pub position: Position,
}

/// Named places that can be looked up.
#[derive(Debug)]
pub struct Places {
    all: Vec<Place>,
    globe: Globe,
}

/// The built-in places: the 1,249 towns of Natural Earth's map 1:50 million.
///
/// # Errors
///
/// When the data in the program are damaged.
pub fn places() -> Result<&'static Places> {
    static PLACES: OnceLock<Option<Places>> = OnceLock::new();
    let read = || {
        let text = data::text(data::PLACES).ok()?;
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(text.as_bytes());
        let rows = reader.records().map(|row| {
            let row = row.ok()?;
            let number = |i: usize| row.get(i)?.parse().ok();
            Some(Place {
                name: format!("{}, {}", row.get(0)?, row.get(1)?),
                position: Position::new(number(2)?, number(3)?)?,
            })
        });
        Some(Places::new(rows.collect::<Option<Vec<Place>>>()?))
    };
    PLACES
        .get_or_init(read)
        .as_ref()
        .ok_or_else(|| Error::CannotDo {
            why: "the places inside the program are damaged".into(),
            remedy: "expected a complete program file; install it again".into(),
        })
}

impl Places {
    /// Of a list.
    pub fn new(all: Vec<Place>) -> Places {
        let globe = Globe::new(all.iter().enumerate().map(|(i, p)| (p.position, i as u32)));
        Places { all, globe }
    }

    /// The named points of layers.
    pub fn of_layers<'a>(layers: impl IntoIterator<Item = &'a Layer>) -> Places {
        let spots = layers.into_iter().flat_map(|layer| &layer.spots);
        let named = spots
            .filter(|spot| !spot.name.is_empty())
            .filter_map(|spot| {
                Some(Place {
                    name: spot.name.clone(),
                    position: Position::new(
                        spot.at[1],
                        crate::geodesy::wrap_longitude(spot.at[0]),
                    )?,
                })
            });
        Places::new(named.collect())
    }

    /// All of them.
    pub fn all(&self) -> &[Place] {
        &self.all
    }

    /// The nearest one.
    pub fn nearest(&self, from: Position) -> Option<Near<&Place>> {
        let position = |i: u32| self.all[i as usize].position;
        let near = self.globe.nearest(from, 1, position).pop()?;
        Some(Near {
            what: &self.all[near.what as usize],
            distance_m: near.distance_m,
            azimuth_deg: near.azimuth_deg,
        })
    }
}

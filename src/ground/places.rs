//! Named places of the layers that were given, and the nearest one.

use super::globe::{Globe, Near};
use super::layers::Layer;
use crate::geodesy::Position;

/// A named place.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Its name.
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

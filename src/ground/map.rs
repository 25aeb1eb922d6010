//! All that lies on the ground of a region, on one plane, ready to be asked.

use std::sync::Arc;

use rayon::prelude::*;

use super::airports::{Airport, AirportKind, airports};
use super::areas::Areas;
use super::data::{World, world};
use super::globe::Near;
use super::layers::{Area, Kind, Layer, LayerNote, RoadClass};
use super::lines::{Lines, on_plane};
use super::places::{Place, Places};
use super::region::Region;
use super::towns::towns;
use crate::error::Result;
use crate::geodesy::{Normal, Position};

/// Something a flight may come down on or near.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Class {
    /// A road of a class.
    Road(RoadClass),
    /// An airport of a kind, as a point.
    Airport(AirportKind),
    /// Airfields that the user gives, as runways or grounds.
    Airfield,
    /// A power line.
    PowerLine,
    /// A built-up area.
    Urban,
    /// A river.
    River,
    /// A lake.
    Lake,
    /// Where the user wants none to come down.
    KeepOut,
    /// Where the user wants them to come down.
    LandIn,
}

impl Class {
    /// All classes, in the order of reports.
    pub fn all() -> impl Iterator<Item = Class> {
        let roads = RoadClass::ALL.into_iter().map(Class::Road);
        let airports = AirportKind::ALL.into_iter().map(Class::Airport);
        let others = [
            Class::Airfield,
            Class::PowerLine,
            Class::Urban,
            Class::River,
            Class::Lake,
            Class::KeepOut,
            Class::LandIn,
        ];
        roads.chain(airports).chain(others)
    }

    /// In words, as in "primary road".
    pub fn name(self) -> String {
        match self {
            Class::Road(RoadClass::Unknown) => "road of unknown class".to_owned(),
            Class::Road(class) => format!("{class} road"),
            Class::Airport(kind) => kind.name().to_owned(),
            Class::Airfield => "airfield".to_owned(),
            Class::PowerLine => "power line".to_owned(),
            Class::Urban => "built-up area".to_owned(),
            Class::River => "river".to_owned(),
            Class::Lake => "lake".to_owned(),
            Class::KeepOut => "keep-out area".to_owned(),
            Class::LandIn => "land-in area".to_owned(),
        }
    }
}

/// How well a class is known in the region.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Knowledge {
    /// From a layer that the user gave, or from the list of airports.
    Known,
    /// From the built-in map, which has only the largest and those to about a kilometre: what it
    /// does not show may be there.
    Coarse,
    /// No layer tells of it.
    Unknown,
}

/// Lines and areas of one kind.
#[derive(Debug, Clone, Default)]
pub(super) struct Things {
    lines: Lines,
    areas: Areas,
    names: Vec<String>,
}

impl Things {
    /// Of all layers.
    pub fn of(region: &Region, layers: &[&Layer]) -> Things {
        let areas: Vec<&Area> = layers.iter().flat_map(|layer| &layer.areas).collect();
        let numbered = areas.iter().enumerate();
        let names = numbered
            .map(|(i, area)| match area.name.as_str() {
                "" => format!("no. {}", i + 1),
                name => name.to_owned(),
            })
            .collect();
        let mut edges = Vec::new();
        for line in layers.iter().flat_map(|layer| &layer.lines) {
            let points = on_plane(region, &line.points);
            // One number for all: only areas are told apart by name.
            edges.extend(points.windows(2).map(|w| (w[0], w[1], 0)));
        }
        Things {
            lines: Lines::new(edges),
            areas: Areas::new(region, &areas),
            names,
        }
    }

    /// Whether an area holds a point of the plane.
    pub fn holds(&self, point: [f64; 2]) -> bool {
        self.areas.holding(point).next().is_some()
    }

    /// The names of the areas that hold a point of the plane.
    pub fn names_holding(&self, point: [f64; 2]) -> impl Iterator<Item = &str> {
        self.areas.holding(point).map(|i| self.names[i].as_str())
    }

    /// Whether the straight line between two points of the plane crosses the outline of an area.
    pub fn outlines_cross(&self, a: [f64; 2], b: [f64; 2]) -> bool {
        self.areas.outlines_cross(a, b)
    }

    fn distance_m(&self, point: [f64; 2]) -> Option<f64> {
        let line = self.lines.nearest(point).map(|nearest| nearest.0);
        let area = self.areas.distance_m(point);
        line.into_iter().chain(area).reduce(f64::min)
    }

    fn within(&self, point: [f64; 2], distance_m: f64) -> bool {
        self.areas.within(point, distance_m) || self.lines.within(point, distance_m, |_| true)
    }
}

/// The ground of a region. Shared between threads.
#[derive(Debug, Clone)]
pub struct GroundMap {
    region: Region,
    roads: Lines,
    /// Class and name of each road, by the number of its edges.
    road_of: Vec<(RoadClass, String)>,
    things: Vec<(Kind, Knowledge, Things)>,
    airports: [Lines; 4],
    near_airports: Vec<(Airport, [f64; 2])>,
    /// Named places of the layers.
    places: Arc<Places>,
    sources: Vec<String>,
    notes: Vec<LayerNote>,
}

impl GroundMap {
    /// The ground from layers; airports are built in, and so are lakes, rivers and built-up areas
    /// where no layer has them.
    ///
    /// A layer with nothing in the region may not cover it, so it does not make its kind known;
    /// but keep-out and land-in areas are what the user drew, and no more.
    ///
    /// # Errors
    ///
    /// When the data in the program are damaged.
    pub fn new(region: Region, layers: &[Layer]) -> Result<GroundMap> {
        let of = |kind: Kind| {
            let drawn = matches!(kind, Kind::KeepOut | Kind::LandIn);
            let tells = move |layer: &&Layer| layer.kind == kind && (drawn || !layer.is_empty());
            layers.iter().filter(tells)
        };
        let kinds = [
            (Kind::River, Some(World::Rivers)),
            (Kind::Lake, Some(World::Lakes)),
            (Kind::Urban, Some(World::Urban)),
            (Kind::PowerLine, None),
            (Kind::Airfield, None),
            (Kind::KeepOut, None),
            (Kind::LandIn, None),
        ];
        // Each built-in layer is decoded for the whole earth: beside each other.
        let built_in: Vec<Option<Layer>> = kinds
            .par_iter()
            .map(|&(kind, layer)| {
                let wanted = layer.filter(|_| of(kind).next().is_none());
                wanted.map(|layer| world(layer, &region)).transpose()
            })
            .collect::<Result<_>>()?;
        let things = kinds
            .iter()
            .zip(&built_in)
            .filter_map(|(&(kind, _), coarse)| {
                let given: Vec<&Layer> = of(kind).collect();
                match coarse {
                    Some(layer) => Some((kind, Knowledge::Coarse, Things::of(&region, &[layer]))),
                    // Neither given nor built in: the kind stays unknown.
                    None if given.is_empty() => None,
                    None => Some((kind, Knowledge::Known, Things::of(&region, &given))),
                }
            });
        let things = things.collect();
        let all_layers = layers.iter().chain(built_in.iter().flatten());
        let mut sources: Vec<String> = all_layers.map(|layer| layer.source.clone()).collect();
        let near_airports = nearby(&region)?;
        let airports = AirportKind::ALL.map(|kind| {
            let numbered = near_airports.iter().enumerate();
            let of_kind = numbered.filter(|(_, (airport, _))| airport.kind == kind);
            // A point is an edge without length: one kind of tree answers for all.
            Lines::new(of_kind.map(|(i, &(_, at))| (at, at, i as u32)).collect())
        });
        sources.sort();
        sources.dedup();
        let roads: Vec<&Layer> = of(Kind::Road).collect();
        let (roads, road_of) = all_roads(&region, &roads);
        Ok(GroundMap {
            region,
            roads,
            road_of,
            things,
            airports,
            near_airports,
            places: Arc::new(Places::of_layers(of(Kind::Place))),
            sources,
            notes: layers.iter().flat_map(|l| l.notes.clone()).collect(),
        })
    }

    /// The region it covers.
    pub fn region(&self) -> &Region {
        &self.region
    }

    /// Where its contents come from.
    pub fn sources(&self) -> &[String] {
        &self.sources
    }

    /// What the readers of the layers found that their user should know.
    pub fn notes(&self) -> &[LayerNote] {
        &self.notes
    }

    /// The airports in the region, each with its place on the plane.
    pub fn airports(&self) -> &[(Airport, [f64; 2])] {
        &self.near_airports
    }

    /// The nearest named place, of the layers or built in; its azimuth is seen from the place asked
    /// for.
    ///
    /// # Errors
    ///
    /// When the data in the program are damaged.
    pub fn nearest_place(&self, from: Position) -> Result<Option<Near<Place>>> {
        let given = self
            .places
            .nearest(from)
            .map(|near| near.of(near.what.clone()));
        let built_in = towns()?.nearest(from).map(|near| {
            near.of(Place {
                name: near.what.full_name(),
                position: near.what.position,
            })
        });
        // Of two that are as near, the user's own name for it.
        let nearer = |a: Near<_>, b: Near<_>| if b.distance_m < a.distance_m { b } else { a };
        Ok(given.into_iter().chain(built_in).reduce(nearer))
    }

    /// How well a class is known.
    pub fn knowledge(&self, class: Class) -> Knowledge {
        match class {
            // Roads without classes do not tell which of them are motorways.
            Class::Road(class) => {
                let tells =
                    |road: &RoadClass| class == RoadClass::Unknown || *road != RoadClass::Unknown;
                match self.road_of.iter().any(|(road, _)| tells(road)) {
                    true => Knowledge::Known,
                    false => Knowledge::Unknown,
                }
            }
            Class::Airport(_) => Knowledge::Known,
            _ => self
                .of_class(class)
                .map_or(Knowledge::Unknown, |thing| thing.1),
        }
    }

    /// The distance from a place to the nearest thing of a class, m, 0 inside an area; `None` when
    /// there is none in the region.
    pub fn distance_m(&self, class: Class, place: Normal) -> Option<f64> {
        let point = self.region.plane.to_plane(place);
        match class {
            Class::Road(class) => self.roads.nearest_of(point, |i| self.is_of(i, class)),
            Class::Airport(kind) => self.airports[kind as usize]
                .nearest(point)
                .map(|near| near.0),
            _ => self.of_class(class)?.2.distance_m(point),
        }
    }

    /// Whether something of a class is within a distance of a point of the plane.
    pub(super) fn within(&self, class: Class, point: [f64; 2], distance_m: f64) -> bool {
        match class {
            Class::Road(class) => self
                .roads
                .within(point, distance_m, |i| self.is_of(i, class)),
            Class::Airport(kind) => {
                self.airports[kind as usize].within(point, distance_m, |_| true)
            }
            _ => self
                .of_class(class)
                .is_some_and(|thing| thing.2.within(point, distance_m)),
        }
    }

    fn is_of(&self, number: u32, class: RoadClass) -> bool {
        self.road_of[number as usize].0 == class
    }

    /// The nearest road that one may drive on: its distance, m, its class and its name.
    pub fn nearest_road(&self, place: Normal) -> Option<(f64, RoadClass, &str)> {
        let (distance, number) = self.roads.nearest(self.region.plane.to_plane(place))?;
        let (class, name) = &self.road_of[number as usize];
        Some((distance, *class, name))
    }

    /// Whether something of a class holds a place.
    pub fn is_in(&self, class: Class, place: Normal) -> bool {
        self.within(class, self.region.plane.to_plane(place), 0.0)
    }

    /// The point of a road one may stop on, which is no motorway, that is nearest to a place, as distance,
    /// m, and azimuth, degrees clockwise from the north of the region's plane.
    pub fn way_to_road(&self, place: Normal) -> Option<(f64, f64)> {
        let [x, y] = self.region.plane.to_plane(place);
        let foot = self
            .roads
            .foot([x, y], |i| !self.is_of(i, RoadClass::Motorway))?;
        let (east, north) = (foot[0] - x, foot[1] - y);
        Some((east.hypot(north), east.atan2(north).to_degrees()))
    }

    /// The distance from a point of the plane to the nearest road, m.
    pub(super) fn road_m(&self, point: [f64; 2]) -> Option<f64> {
        self.roads.nearest(point).map(|near| near.0)
    }

    /// The names of the areas of a class that hold a place; an area without a name is numbered
    /// from 1, as in "no. 3".
    pub fn areas_holding(&self, class: Class, place: Normal) -> Vec<&str> {
        let Some((_, _, things)) = self.of_class(class) else {
            return Vec::new();
        };
        let point = self.region.plane.to_plane(place);
        things.names_holding(point).collect()
    }

    /// Whether an area of a kind holds a point of the plane.
    pub(super) fn is_in_area(&self, kind: Kind, point: [f64; 2]) -> bool {
        self.of_kind(kind).is_some_and(|t| t.2.holds(point))
    }

    /// Whether the straight line between two points of the plane crosses the outline of an area of a
    /// kind.
    pub(super) fn outlines_cross(&self, kind: Kind, a: [f64; 2], b: [f64; 2]) -> bool {
        self.of_kind(kind).is_some_and(|t| t.2.outlines_cross(a, b))
    }

    /// The numbers of the areas of a class that hold a point of the plane.
    pub(super) fn holding(&self, class: Class, point: [f64; 2]) -> Vec<usize> {
        self.of_class(class)
            .map_or_else(Vec::new, |t| t.2.areas.holding(point).collect())
    }

    /// The names of the areas of a class, by number.
    pub(super) fn area_names(&self, class: Class) -> &[String] {
        self.of_class(class).map_or(&[], |thing| &thing.2.names)
    }

    fn of_class(&self, class: Class) -> Option<&(Kind, Knowledge, Things)> {
        let kind = match class {
            Class::Road(_) | Class::Airport(_) => return None,
            Class::Airfield => Kind::Airfield,
            Class::PowerLine => Kind::PowerLine,
            Class::Urban => Kind::Urban,
            Class::River => Kind::River,
            Class::Lake => Kind::Lake,
            Class::KeepOut => Kind::KeepOut,
            Class::LandIn => Kind::LandIn,
        };
        self.of_kind(kind)
    }

    fn of_kind(&self, kind: Kind) -> Option<&(Kind, Knowledge, Things)> {
        self.things.iter().find(|thing| thing.0 == kind)
    }
}

/// The airports in a region.
fn nearby(region: &Region) -> Result<Vec<(Airport, [f64; 2])>> {
    let near = |airport: &Airport| {
        let at = airport.position;
        if !region.touches([at.lon_deg, at.lat_deg, at.lon_deg, at.lat_deg]) {
            return None;
        }
        Some((*airport, region.plane.to_plane(at.normal())))
    };
    Ok(airports()?.all().iter().filter_map(near).collect())
}

/// All roads, each edge with the number of its road.
fn all_roads(region: &Region, layers: &[&Layer]) -> (Lines, Vec<(RoadClass, String)>) {
    let mut edges = Vec::new();
    let mut road_of = Vec::new();
    for line in layers.iter().flat_map(|layer| &layer.lines) {
        let points = on_plane(region, &line.points);
        let number = road_of.len() as u32;
        road_of.push((line.class, line.name.clone()));
        edges.extend(points.windows(2).map(|w| (w[0], w[1], number)));
    }
    (Lines::new(edges), road_of)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::layers::Line;

    #[test]
    fn nobody_stops_on_a_motorway() {
        let place = Position::new(43.0, -108.0).unwrap();
        let mut roads = Layer::new(Kind::Road, "roads");
        let along = |lat: f64, class| Line {
            points: vec![[-108.1, lat], [-107.9, lat]],
            class,
            name: String::new(),
        };
        roads.lines.push(along(43.001, RoadClass::Motorway));
        let region = Region::around(place, 30_000.0);
        let way = |roads: &Layer| {
            let map = GroundMap::new(region, std::slice::from_ref(roads)).unwrap();
            map.way_to_road(place.normal())
        };
        assert_eq!(way(&roads), None);
        roads.lines.push(along(42.99, RoadClass::Secondary));
        let (away_m, azimuth_deg) = way(&roads).unwrap();
        assert!((away_m - 1_111.0).abs() < 2.0, "{away_m}");
        assert!((azimuth_deg.abs() - 180.0).abs() < 0.1, "{azimuth_deg}");
    }
}

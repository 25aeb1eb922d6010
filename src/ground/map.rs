//! All that lies on the ground of a region, on one plane, ready to be asked.

use std::collections::HashMap;
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
    /// From the built-in map, which has only the largest and those to about a kilometre, or from a layer of
    /// only a part: what they do not show may be there.
    Coarse,
    /// No layer tells of it.
    Unknown,
}

/// Lines and areas of one kind.
#[derive(Debug, Clone, Default)]
pub(super) struct Things {
    lines: Lines,
    areas: Areas,
    /// The names of areas, each once a layer.
    names: Vec<String>,
    /// Which of the names each area has.
    name_of: Vec<usize>,
}

impl Things {
    /// Of all layers.
    pub fn of(region: &Region, layers: &[&Layer]) -> Things {
        let areas: Vec<&Area> = layers.iter().flat_map(|layer| &layer.areas).collect();
        let (names, name_of) = names_of(layers);
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
            name_of,
        }
    }

    /// Whether an area holds a point of the plane.
    pub fn holds(&self, point: [f64; 2]) -> bool {
        self.areas.holding(point).next().is_some()
    }

    /// The names of the areas that hold a point of the plane.
    pub fn names_holding(&self, point: [f64; 2]) -> impl Iterator<Item = &str> {
        let numbers = self.holding(point).into_iter();
        numbers.map(|i| self.names[i].as_str())
    }

    /// The numbers of these names.
    fn holding(&self, point: [f64; 2]) -> Vec<usize> {
        let held = self.areas.holding(point);
        let mut numbers: Vec<usize> = held.map(|area| self.name_of[area]).collect();
        numbers.sort_unstable();
        numbers.dedup();
        numbers
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

/// The names of the areas of layers, and which of them each area has: what has several parts in a layer is one thing
/// to whoever named it, while each file may have a thing of the same name. What has no name is numbered.
fn names_of(layers: &[&Layer]) -> (Vec<String>, Vec<usize>) {
    let mut names: Vec<String> = Vec::new();
    let mut name_of = Vec::new();
    for layer in layers {
        let mut known: HashMap<&str, usize> = HashMap::new();
        for area in &layer.areas {
            let next = names.len();
            let (number, name) = match area.name.as_str() {
                "" => (next, format!("no. {}", name_of.len() + 1)),
                name => (*known.entry(name).or_insert(next), name.to_owned()),
            };
            if number == next {
                names.push(name);
            }
            name_of.push(number);
        }
    }
    (names, name_of)
}

/// What layers cover of a region: all of it, if `None`.
type Covers = Option<Areas>;

/// All that is known of one kind.
#[derive(Debug, Clone)]
struct OfKind {
    kind: Kind,
    given: Things,
    covers: Covers,
    /// What counts where no layer covers.
    built_in: Option<Things>,
}

/// The kinds of areas, and of lines that are no roads, with what is built in of them.
const KINDS: [(Kind, Option<World>); 7] = [
    (Kind::River, Some(World::Rivers)),
    (Kind::Lake, Some(World::Lakes)),
    (Kind::Urban, Some(World::Urban)),
    (Kind::PowerLine, None),
    (Kind::Airfield, None),
    (Kind::KeepOut, None),
    (Kind::LandIn, None),
];

/// The layers that tell of a kind: not those with nothing in the region, unless they are what a user drew, or others
/// have something: then there is nothing where they say that they cover.
fn telling(layers: &[Layer], kind: Kind) -> Vec<&Layer> {
    let drawn = matches!(kind, Kind::KeepOut | Kind::LandIn);
    let of_kind = || layers.iter().filter(|layer| layer.kind == kind);
    let any = of_kind().any(|layer| !layer.is_empty());
    let tells = |layer: &&Layer| drawn || !layer.is_empty() || any && layer.covers.is_some();
    of_kind().filter(tells).collect()
}

impl OfKind {
    /// From the layers that tell of a kind, and the built-in one if they do not cover all of the region.
    fn new(
        region: &Region,
        kind: Kind,
        layers: &[&Layer],
        built_in: Option<World>,
    ) -> Result<(OfKind, Option<Layer>)> {
        let covers = covers(region, layers);
        let wanted = built_in.filter(|_| covers.is_some());
        let built_in = wanted.map(|layer| world(layer, region)).transpose()?;
        let known = OfKind {
            kind,
            given: Things::of(region, layers),
            covers,
            built_in: built_in.as_ref().map(|layer| Things::of(region, &[layer])),
        };
        Ok((known, built_in))
    }

    /// The things that count at a point of the plane.
    fn at(&self, point: [f64; 2]) -> impl Iterator<Item = &Things> {
        let beyond = move |_: &&Things| !cover(&self.covers, point, 0.0);
        std::iter::once(&self.given).chain(self.built_in.iter().filter(beyond))
    }
}

/// What some layers of a kind cover, each all or a part of a region.
fn covers(region: &Region, layers: &[&Layer]) -> Covers {
    let parts: Option<Vec<&Area>> = match layers {
        [] => Some(Vec::new()),
        some if some.iter().any(|layer| layer.covers.is_none()) => None,
        some => Some(some.iter().filter_map(|l| l.covers.as_ref()).collect()),
    };
    parts.map(|parts| Areas::new(region, &parts))
}

/// Whether layers cover a point of the plane and all that is within a distance of it.
fn cover(covers: &Covers, point: [f64; 2], distance_m: f64) -> bool {
    covers
        .as_ref()
        .is_none_or(|parts| parts.hold_around(point, distance_m))
}

/// All roads.
#[derive(Debug, Clone)]
struct Roads {
    lines: Lines,
    /// Class and name of each road, by the number of its edges.
    named: Vec<(RoadClass, String)>,
    covers: Covers,
    /// Whether the class of any is known.
    have_classes: bool,
    /// Whether one may stop on any.
    have_stops: bool,
}

impl Roads {
    /// Of all layers.
    fn of(region: &Region, layers: &[&Layer]) -> Roads {
        let mut edges = Vec::new();
        let mut named = Vec::new();
        for line in layers.iter().flat_map(|layer| &layer.lines) {
            let points = on_plane(region, &line.points);
            let number = named.len() as u32;
            named.push((line.class, line.name.clone()));
            edges.extend(points.windows(2).map(|w| (w[0], w[1], number)));
        }
        let any = |counts: fn(RoadClass) -> bool| named.iter().any(|(class, _)| counts(*class));
        Roads {
            lines: Lines::new(edges),
            covers: covers(region, layers),
            have_classes: any(|class| class != RoadClass::Unknown),
            have_stops: any(may_stop_on),
            named,
        }
    }

    fn class(&self, number: u32) -> RoadClass {
        self.named[number as usize].0
    }

    /// Whether they tell of a class anywhere: without classes they do not tell which are motorways.
    fn tell_of(&self, class: RoadClass) -> bool {
        match class {
            RoadClass::Unknown => !self.named.is_empty(),
            _ => self.have_classes,
        }
    }
}

/// Whether one may stop on a road to walk from there.
fn may_stop_on(class: RoadClass) -> bool {
    class != RoadClass::Motorway
}

/// The ground of a region. Shared between threads.
#[derive(Debug, Clone)]
pub struct GroundMap {
    region: Region,
    roads: Roads,
    kinds: Vec<OfKind>,
    airports: [Lines; 4],
    near_airports: Vec<(Airport, [f64; 2])>,
    /// Named places of the layers.
    places: Arc<Places>,
    place_covers: Covers,
    sources: Vec<String>,
    notes: Vec<LayerNote>,
}

impl GroundMap {
    /// The ground from layers; airports are built in, and so are lakes, rivers and built-up areas
    /// where no layer tells of them.
    ///
    /// A layer with nothing in the region may not cover it, so it does not make its kind known;
    /// but keep-out and land-in areas are what the user drew, and no more.
    ///
    /// # Errors
    ///
    /// When the data in the program are damaged.
    pub fn new(region: Region, layers: &[Layer]) -> Result<GroundMap> {
        // Each built-in layer is decoded for the whole earth: beside each other.
        let known: Vec<(OfKind, Option<Layer>)> = KINDS
            .par_iter()
            .map(|&(kind, built_in)| OfKind::new(&region, kind, &telling(layers, kind), built_in))
            .collect::<Result<_>>()?;
        let (kinds, built_in): (Vec<OfKind>, Vec<Option<Layer>>) = known.into_iter().unzip();
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
        let places = telling(layers, Kind::Place);
        Ok(GroundMap {
            region,
            roads: Roads::of(&region, &telling(layers, Kind::Road)),
            kinds,
            airports,
            near_airports,
            place_covers: covers(&region, &places),
            places: Arc::new(Places::of_layers(places)),
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

    /// How well a class is known all over the region.
    pub fn knowledge(&self, class: Class) -> Knowledge {
        match self.covers(class) {
            Some(None) => Knowledge::Known,
            _ if self.of_class(class).is_some_and(|k| k.built_in.is_some()) => Knowledge::Coarse,
            _ => Knowledge::Unknown,
        }
    }

    /// Whether a layer tells of a class within a distance of a point of the plane.
    pub(super) fn tells_of(&self, class: Class, point: [f64; 2], distance_m: f64) -> bool {
        let covers = self.covers(class);
        covers.is_some_and(|covers| cover(covers, point, distance_m))
    }

    /// Where layers tell of a class; `None` of one that they tell of nowhere.
    fn covers(&self, class: Class) -> Option<&Covers> {
        match class {
            Class::Airport(_) => Some(&None),
            Class::Road(class) => self.roads.tell_of(class).then_some(&self.roads.covers),
            _ => self.of_class(class).map(|known| &known.covers),
        }
    }

    /// Whether a layer tells of named places at a place.
    pub fn tells_of_places(&self, place: Normal) -> bool {
        cover(&self.place_covers, self.region.plane.to_plane(place), 0.0)
    }

    /// What is built in of a kind, where layers do not cover all of the region.
    pub(super) fn built_in(&self, kind: Kind) -> Option<&Things> {
        self.of_kind(kind)?.built_in.as_ref()
    }

    /// The distance from a place to the nearest thing of a class, m, 0 inside an area; `None` when
    /// there is none in the region.
    pub fn distance_m(&self, class: Class, place: Normal) -> Option<f64> {
        let point = self.region.plane.to_plane(place);
        match class {
            Class::Road(class) => {
                let lines = &self.roads.lines;
                lines.nearest_of(point, |i| self.roads.class(i) == class)
            }
            Class::Airport(kind) => self.airports[kind as usize]
                .nearest(point)
                .map(|near| near.0),
            _ => {
                let things = self.of_class(class)?.at(point);
                things.filter_map(|t| t.distance_m(point)).reduce(f64::min)
            }
        }
    }

    /// Whether something of a class is within a distance of a point of the plane.
    pub(super) fn within(&self, class: Class, point: [f64; 2], distance_m: f64) -> bool {
        match class {
            Class::Road(class) => {
                let lines = &self.roads.lines;
                lines.within(point, distance_m, |i| self.roads.class(i) == class)
            }
            Class::Airport(kind) => {
                self.airports[kind as usize].within(point, distance_m, |_| true)
            }
            _ => self
                .of_class(class)
                .is_some_and(|known| known.at(point).any(|t| t.within(point, distance_m))),
        }
    }

    /// The nearest road that one may drive on: its distance, m, its class and its name.
    pub fn nearest_road(&self, place: Normal) -> Option<(f64, RoadClass, &str)> {
        let point = self.region.plane.to_plane(place);
        let (distance, number) = self.roads.lines.nearest(point)?;
        let (class, name) = &self.roads.named[number as usize];
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
        let lines = &self.roads.lines;
        let foot = lines.foot([x, y], |i| may_stop_on(self.roads.class(i)))?;
        let (east, north) = (foot[0] - x, foot[1] - y);
        Some((east.hypot(north), east.atan2(north).to_degrees()))
    }

    /// The distances from a point of the plane to the nearest road and to the nearest one may stop on, m.
    pub(super) fn roads_m(&self, point: [f64; 2]) -> [Option<f64>; 2] {
        let lines = &self.roads.lines;
        let Some((nearest_m, number)) = lines.nearest(point) else {
            return [None; 2];
        };
        let stops = |i: u32| may_stop_on(self.roads.class(i));
        let stop_m = match stops(number) {
            true => Some(nearest_m),
            // Among motorways alone the search would look at each.
            false if !self.roads.have_stops => None,
            false => lines.nearest_of(point, stops),
        };
        [Some(nearest_m), stop_m]
    }

    /// The names of the areas of a class that hold a place; an area without a name is numbered
    /// from 1, as in "no. 3".
    pub fn areas_holding(&self, class: Class, place: Normal) -> Vec<&str> {
        let Some(known) = self.of_class(class) else {
            return Vec::new();
        };
        let point = self.region.plane.to_plane(place);
        let things = known.at(point);
        things.flat_map(|t| t.names_holding(point)).collect()
    }

    /// What layers give of a kind.
    pub(super) fn given(&self, kind: Kind) -> Option<&Things> {
        self.of_kind(kind).map(|known| &known.given)
    }

    /// What of a built-in layer counts: all that has a corner beyond what layers of its kind cover.
    pub fn beyond_layers(&self, mut built_in: Layer) -> Layer {
        let covers = self.of_kind(built_in.kind).map(|known| &known.covers);
        let beyond = |&at: &[f64; 2]| {
            covers.is_none_or(|covers| !cover(covers, self.region.project(at), 0.0))
        };
        let corners = |area: &Area| area.rings.iter().flatten().any(beyond);
        built_in.areas.retain(corners);
        built_in.lines.retain(|line| line.points.iter().any(beyond));
        built_in
    }

    /// The numbers of the names of the given areas of a class that hold a point of the plane.
    pub(super) fn holding(&self, class: Class, point: [f64; 2]) -> Vec<usize> {
        self.of_class(class)
            .map_or_else(Vec::new, |known| known.given.holding(point))
    }

    /// The names of the given areas of a class, each once a layer.
    pub(super) fn area_names(&self, class: Class) -> &[String] {
        self.of_class(class).map_or(&[], |known| &known.given.names)
    }

    fn of_class(&self, class: Class) -> Option<&OfKind> {
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

    fn of_kind(&self, kind: Kind) -> Option<&OfKind> {
        self.kinds.iter().find(|known| known.kind == kind)
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

    /// Of a lake that a layer covers whole, its own outline counts alone.
    #[test]
    fn what_is_built_in_counts_beyond_layers_only() {
        let square = |lon: f64, half: f64| Area {
            rings: vec![vec![
                [lon - half, 43.0 - half],
                [lon + half, 43.0 - half],
                [lon + half, 43.0 + half],
                [lon - half, 43.0 + half],
            ]],
            name: format!("{lon}"),
        };
        let mut given = Layer::new(Kind::Lake, "extract");
        given.areas.push(square(-108.2, 0.05));
        given.covers = Some(square(-108.2, 0.2));
        let region = Region::around(Position::new(43.0, -108.0).unwrap(), 50_000.0);
        let map = GroundMap::new(region, &[given]).unwrap();
        let mut built_in = Layer::new(Kind::Lake, "built in");
        built_in.areas = [-108.2, -108.0, -107.7].map(|lon| square(lon, 0.05)).into();
        let names: Vec<String> = map
            .beyond_layers(built_in)
            .areas
            .into_iter()
            .map(|area| area.name)
            .collect();
        assert_eq!(names, ["-108", "-107.7"]);
    }
}

//! Checks features one by one and keeps what touches the region.

use std::collections::BTreeSet;

use super::class::RoadClass;
use super::crossing::crossing;
use super::far::Nearest;
use super::note::LayerFinding;
use super::osm_tags::road_name;
use super::{Area, Kind, Layer, LayerRequest, Line, Spot};
use crate::error::{Fault, Result};
use crate::geodesy::wrap_longitude;
use crate::ground::projection::ToDegrees;
use crate::ground::region::Region;
use crate::numeric::neighbours;

/// A shape in the file's own coordinates.
pub(super) enum Shape {
    /// A point.
    Point([f64; 2]),
    /// A line.
    Line(Vec<[f64; 2]>),
    /// Rings: inside is where an odd number overlap.
    Polygon(Vec<Vec<[f64; 2]>>),
}

/// The attributes of a feature: names and values, as text.
pub(super) type Attributes = Vec<(String, String)>;

/// The most names of attributes that a message lists.
const MOST_NAMES: usize = 20;

/// A layer being read.
pub(super) struct Collector<'a> {
    file: &'a str,
    wanted: &'a LayerRequest,
    region: &'a Region,
    to_degrees: ToDegrees,
    layer: Layer,
    features: usize,
    taken: usize,
    passed_over: usize,
    open_lines: usize,
    closed_lines: usize,
    no_area: usize,
    without_class: usize,
    not_for_cars: usize,
    class_seen: bool,
    crossed: usize,
    names: BTreeSet<String>,
    nearest: Nearest<'a>,
}

/// A layer that was read.
pub(super) struct Collected {
    pub layer: Layer,
    /// What is wrong with it when it lies nowhere near the flights.
    pub too_far: Option<Fault>,
}

/// Outlines that hold less than this, square degrees, hold nothing: a hundredth of a square metre,
/// which is what is left of a line by rounding.
const LEAST_AREA_DEG2: f64 = 1e-12;

impl<'a> Collector<'a> {
    pub fn new(
        file: &'a str,
        wanted: &'a LayerRequest,
        region: &'a Region,
        to_degrees: ToDegrees,
    ) -> Collector<'a> {
        Collector {
            file,
            wanted,
            region,
            to_degrees,
            layer: Layer::new(wanted.kind, file),
            features: 0,
            taken: 0,
            passed_over: 0,
            open_lines: 0,
            closed_lines: 0,
            no_area: 0,
            without_class: 0,
            not_for_cars: 0,
            class_seen: false,
            crossed: 0,
            names: BTreeSet::new(),
            nearest: Nearest::new(region),
        }
    }

    /// Takes the next feature of the file.
    pub fn feature(&mut self, attributes: &Attributes, shapes: Vec<Shape>) -> Result<()> {
        self.features += 1;
        // Names are for messages only, and every feature of a file may have names of its own.
        if self.names.len() < MOST_NAMES {
            self.names.extend(attributes.iter().map(|a| a.0.clone()));
        }
        let class = if self.wanted.kind == Kind::Road {
            match self.class_of(attributes) {
                Some(class) => class,
                None => {
                    let is_line = |shape: &&Shape| matches!(shape, Shape::Line(_));
                    self.not_for_cars += shapes.iter().filter(is_line).count();
                    return Ok(());
                }
            }
        } else {
            RoadClass::Unknown
        };
        let name = self.name_of(attributes);
        for shape in shapes {
            self.shape(shape, class, &name)?;
        }
        Ok(())
    }

    fn shape(&mut self, shape: Shape, class: RoadClass, name: &str) -> Result<()> {
        let kind = self.wanted.kind;
        match shape {
            Shape::Point(at) if kind == Kind::Place => {
                let at = self.degrees(at)?;
                self.taken += 1;
                let [lon, lat] = at;
                if self.region.touches([lon, lat, lon, lat]) {
                    let name = name.to_owned();
                    self.layer.spots.push(Spot { at, name });
                }
                self.look_how_far(&[at]);
            }
            // Of kinds that are both, as rivers, a line that is closed stays a line.
            Shape::Line(points) if kind.takes_lines() => {
                let points = self.all_degrees(&points)?;
                self.taken += 1;
                for points in self.region.clip_line(&points) {
                    let name = name.to_owned();
                    self.layer.lines.push(Line {
                        points,
                        class,
                        name,
                    });
                }
                self.look_how_far(&points);
            }
            Shape::Polygon(rings) if kind.takes_areas() => self.area(&rings, name)?,
            // Many draw an area as the line around it.
            Shape::Line(points) if kind.takes_areas() && is_closed(&points) => {
                self.closed_lines += 1;
                self.area(&[points], name)?;
            }
            Shape::Line(_) if kind.takes_areas() => self.open_lines += 1,
            _ => self.passed_over += 1,
        }
        Ok(())
    }

    fn area(&mut self, rings: &[Vec<[f64; 2]>], name: &str) -> Result<()> {
        let mut whole = Vec::new();
        for ring in rings {
            let mut ring = self.all_degrees(ring)?;
            // GeoJSON and Shapefiles repeat the first point at the end, which a ring here does not.
            if ring.len() > 1 && ring.first() == ring.last() {
                ring.pop();
            }
            whole.push(ring);
        }
        // Turned first: a ring across the antimeridian would seem to hold most of the earth.
        if !self.all_turned(&whole).iter().any(|ring| has_area(ring)) {
            self.no_area += 1;
            return Ok(());
        }
        self.taken += 1;
        let clipped: Vec<_> = whole
            .iter()
            .flat_map(|r| self.region.clip_ring(r))
            .collect();
        let decides = matches!(self.wanted.kind, Kind::KeepOut | Kind::LandIn);
        // Inside and outside must be certain where they decide; elsewhere odd and even will do.
        if (decides || !clipped.is_empty())
            && let Some([lon, lat]) = crossing(&self.all_turned(&whole))
        {
            let lon = wrap_longitude(lon);
            if decides {
                let found = format!("a polygon that crosses itself near {lat:.5}, {lon:.5}");
                let expected = "an outline that does not: mend it, or split it where it crosses";
                return Err(self.fault(found, expected).into());
            }
            self.crossed += 1;
        }
        if !clipped.is_empty() {
            self.layer.areas.push(Area {
                rings: clipped,
                name: name.to_owned(),
            });
        }
        whole.iter().for_each(|ring| self.look_how_far(ring));
        Ok(())
    }

    /// Only while nothing lies in the region does it matter how far the rest is.
    fn look_how_far(&mut self, points: &[[f64; 2]]) {
        if self.layer.is_empty() {
            self.nearest.look_at(points);
        }
    }

    fn all_turned(&self, rings: &[Vec<[f64; 2]>]) -> Vec<Vec<[f64; 2]>> {
        rings.iter().map(|ring| self.region.turned(ring)).collect()
    }

    fn all_degrees(&self, points: &[[f64; 2]]) -> Result<Vec<[f64; 2]>> {
        points.iter().map(|&p| self.degrees(p)).collect()
    }

    /// A point in degrees that are some.
    fn degrees(&self, point: [f64; 2]) -> Result<[f64; 2]> {
        let there = self.to_degrees.degrees(point);
        there
            // Files may count longitudes from 0 to 360, or go on beyond 180: the region turns them
            // back.
            .filter(|[lon, lat]| lat.abs() <= 90.0 && lon.abs() <= 360.0)
            .ok_or_else(|| {
                let found = format!("coordinates {}, {}", point[0], point[1]);
                let expected = "longitude and latitude in degrees on WGS84; are these metres of a \
                                map? ogr2ogr -t_srs EPSG:4326 makes degrees of them";
                match self.nearest.hint(point) {
                    Some(slip) => {
                        let expected = format!("longitude and latitude in degrees: {slip}");
                        self.fault(found, expected).into()
                    }
                    None => self.fault(found, expected).into(),
                }
            })
    }

    fn fault(&self, found: impl Into<String>, expected: impl Into<String>) -> Fault {
        Fault::new(self.file, found, expected).of_key(format!("feature {}", self.features))
    }

    /// The class of a road; `None` when it is no road for cars.
    fn class_of(&mut self, attributes: &Attributes) -> Option<RoadClass> {
        let named = self.wanted.class_attribute.as_deref();
        let value = value_of(attributes, named.unwrap_or("highway"));
        self.class_seen |= value.is_some();
        let class = match (named, value) {
            // What `highway` has besides words for roads is none.
            (None, Some(highway)) => RoadClass::of_highway(highway)?,
            // A named attribute holds a user's own words for roads, unless they are known for paths.
            (Some(_), word) => word.map_or(Some(RoadClass::Unknown), RoadClass::of_word)?,
            // So does that of the downloads of OpenStreetMap by country.
            (None, None) => value_of(attributes, "fclass")
                .map_or(Some(RoadClass::Unknown), RoadClass::of_word)?,
        };
        self.without_class += usize::from(class == RoadClass::Unknown);
        Some(class)
    }

    fn name_of(&self, attributes: &Attributes) -> String {
        let named = self.wanted.name_attribute.as_deref();
        let name = value_of(attributes, named.unwrap_or("name")).unwrap_or_default();
        // OpenStreetMap keeps a road's number apart from its name, and maps show the number.
        if self.wanted.kind == Kind::Road && named.is_none() {
            return road_name(value_of(attributes, "ref").unwrap_or_default(), name);
        }
        name.to_owned()
    }

    /// The layer, when the file had what was wanted.
    pub fn finish(mut self) -> Result<Collected> {
        let kind = self.wanted.kind;
        if self.features == 0 {
            let expected = format!("a file with {}", kind.name());
            return Err(Fault::new(self.file, "no feature at all", expected).into());
        }
        let given = [
            self.wanted
                .class_attribute
                .as_deref()
                .filter(|_| !self.class_seen),
            // When the list of names was cut short, a name that is not on it may be there all the
            // same.
            self.wanted.name_attribute.as_deref().filter(|n| {
                !self.names.iter().any(|name| name.eq_ignore_ascii_case(n))
                    && self.names.len() < MOST_NAMES
            }),
        ];
        if let Some(missing) = given.into_iter().flatten().next() {
            let names: Vec<String> = self.names.into_iter().collect();
            let expected = format!("one of the attributes {}", names.join(", "));
            return Err(Fault::new(self.file, "no such attribute", expected)
                .of_key(missing)
                .into());
        }
        if self.taken == 0 {
            return Err(self.nothing_taken().into());
        }
        self.note();
        let too_far = match self.layer.is_empty() {
            true => self.nearest.fault(self.file, kind.name()),
            false => None,
        };
        Ok(Collected {
            layer: self.layer,
            too_far,
        })
    }

    fn nothing_taken(&self) -> Fault {
        let kind = self.wanted.kind;
        let shapes = match self.not_for_cars {
            0 => kind.shapes(),
            _ => "roads for cars",
        };
        let mut found = format!("{} features, none of them {shapes}", self.features);
        if self.open_lines > 0 {
            found += &format!(", but {} lines whose ends do not meet", self.open_lines);
        }
        if self.no_area > 0 {
            found += &format!(", but {} outlines that hold no area", self.no_area);
        }
        let expected = format!("{} as {}", kind.name(), kind.shapes());
        Fault::new(self.file, found, expected)
    }

    fn note(&mut self) {
        let counted = [
            (
                self.passed_over,
                (|count| LayerFinding::WrongShapes { count }) as fn(usize) -> LayerFinding,
            ),
            (self.open_lines, |count| LayerFinding::OpenLines { count }),
            (self.closed_lines, |count| LayerFinding::ClosedLines {
                count,
            }),
            (self.no_area, |count| LayerFinding::NoArea { count }),
            (self.without_class, |count| LayerFinding::NoClass { count }),
            (self.not_for_cars, |count| LayerFinding::NotForCars {
                count,
            }),
            (self.crossed, |count| LayerFinding::Crossed { count }),
        ];
        for (count, finding) in counted {
            if count > 0 {
                self.layer.note(finding(count));
            }
        }
        if self.layer.is_empty() {
            self.layer.note(LayerFinding::NothingNear {
                center: self.region.plane.center(),
                reach_m: self.region.reach_m,
                nearest_m: self.nearest.nearest_m(),
            });
        }
    }
}

/// Whether a line comes back to where it began, round something.
fn is_closed(points: &[[f64; 2]]) -> bool {
    points.len() > 3 && points.first() == points.last()
}

/// Whether a ring of degrees holds an area: it need not be one with a sign, as of a bow tie.
fn has_area(ring: &[[f64; 2]]) -> bool {
    let Some(&[x0, y0]) = ring.first() else {
        return false;
    };
    // From the first corner: products of whole degrees would drown a small area in rounding.
    let doubled: f64 = neighbours(ring)
        .map(|(a, b)| (a[0] - x0) * (b[1] - y0) - (b[0] - x0) * (a[1] - y0))
        .map(f64::abs)
        .sum();
    0.5 * doubled > LEAST_AREA_DEG2
}

/// The value of an attribute, whatever the case of its name; `None` when it is empty.
fn value_of<'a>(attributes: &'a Attributes, name: &str) -> Option<&'a str> {
    attributes
        .iter()
        .find(|a| a.0.eq_ignore_ascii_case(name))
        .map(|a| a.1.trim())
        .filter(|value| !value.is_empty())
}

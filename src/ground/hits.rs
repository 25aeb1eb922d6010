//! How often flights come down on or near something.

use rayon::prelude::*;

use super::airports::AirportKind;
use super::layers::RoadClass;
use super::map::{Class, GroundMap, Knowledge};
use crate::geodesy::Normal;

/// A share of draws.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Share {
    /// How many draws.
    pub hits: usize,
    /// Of how many.
    pub draws: usize,
}

impl Share {
    /// The share, 0 to 1; 0 of no draws.
    pub fn share(self) -> f64 {
        self.hits as f64 / self.draws.max(1) as f64
    }

    /// Its sampling error, one standard deviation: that of a binomial, sqrt(p (1 - p) / n).
    /// Evenly spread draws do a little better than this.
    pub fn standard_error(self) -> f64 {
        let p = self.share();
        (p * (1.0 - p) / self.draws.max(1) as f64).sqrt()
    }

    /// The interval that holds the true share with 95 % confidence (Wilson 1927,
    /// doi:10.1080/01621459.1927.10502953): unlike the standard error it says something when none
    /// or all of the draws hit.
    pub fn interval_95(self) -> [f64; 2] {
        // The 97.5 % point of the normal distribution.
        const Z: f64 = 1.959_964;
        if self.draws == 0 {
            return [0.0, 1.0];
        }
        let (n, p) = (self.draws as f64, self.share());
        let scale = 1.0 / (1.0 + Z * Z / n);
        let middle = scale * (p + 0.5 * Z * Z / n);
        let half = scale * Z * (p * (1.0 - p) / n + 0.25 * Z * Z / (n * n)).sqrt();
        [(middle - half).max(0.0), (middle + half).min(1.0)]
    }
}

/// How near to something counts as a hit, or as too near for a site.
#[derive(Debug, Clone, PartialEq)]
pub struct Buffer {
    /// What.
    pub class: Class,
    /// How near, m; 0 for areas means inside.
    pub radius_m: f64,
    /// Why so near.
    pub reason: String,
}

impl Buffer {
    /// From a row of a table.
    pub(super) fn of((class, radius_m, reason): (Class, f64, &str)) -> Buffer {
        Buffer {
            class,
            radius_m,
            reason: reason.to_owned(),
        }
    }
}

/// Default buffers: class, metres, reason. All of them are judgement, to be changed where local
/// rules or sense say so.
const BUFFERS: [(Class, f64, &str); 18] = [
    (
        Class::Road(RoadClass::Motorway),
        100.0,
        "two carriageways and a stack 20 m long that drifts as it falls",
    ),
    (
        Class::Road(RoadClass::Trunk),
        75.0,
        "a wide road with fast traffic, and the stack's length",
    ),
    (
        Class::Road(RoadClass::Primary),
        50.0,
        "a road's width and the stack's length",
    ),
    (
        Class::Road(RoadClass::Secondary),
        50.0,
        "a road's width and the stack's length",
    ),
    (Class::Road(RoadClass::Tertiary), 30.0, "the stack's length"),
    (Class::Road(RoadClass::Local), 30.0, "the stack's length"),
    (
        Class::Road(RoadClass::Unknown),
        50.0,
        "taken as a primary road",
    ),
    (
        Class::Airport(AirportKind::Large),
        5_000.0,
        "runways and approaches around the reference point",
    ),
    (
        Class::Airport(AirportKind::Medium),
        3_000.0,
        "runways and approaches around the reference point",
    ),
    (
        Class::Airport(AirportKind::Small),
        1_000.0,
        "a runway around the reference point",
    ),
    (
        Class::Airport(AirportKind::Seaplane),
        1_000.0,
        "water runs around the reference point",
    ),
    (Class::Airfield, 500.0, "the ends of runways"),
    (
        Class::PowerLine,
        50.0,
        "the stack's length and the line's width",
    ),
    (Class::Urban, 0.0, "inside: people, roofs and traffic below"),
    (Class::River, 50.0, "half a river's width, given as a line"),
    (Class::Lake, 0.0, "inside: the payload is lost"),
    (Class::KeepOut, 0.0, "inside what was drawn"),
    (Class::LandIn, 0.0, "inside what was drawn"),
];

/// The default buffers, one for each class.
pub fn default_buffers() -> Vec<Buffer> {
    BUFFERS.map(Buffer::of).into()
}

/// What a share of draws above a limit decides about: people, traffic and power lines, and what was drawn
/// to be kept out of. Roads without fast traffic do not, as there are too many to miss, nor roads of
/// which nobody knows what they are; water is counted apart.
pub fn is_to_keep_clear_of(class: Class) -> bool {
    use RoadClass::{Motorway, Primary, Trunk};
    matches!(
        class,
        Class::Road(Motorway | Trunk | Primary)
            | Class::PowerLine
            | Class::Urban
            | Class::Airport(_)
            | Class::Airfield
            | Class::KeepOut
    )
}

/// How often one class was hit.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassHits {
    /// What and how near.
    pub buffer: Buffer,
    /// How well it is known. Where that is coarse, the share is a lower bound.
    pub knowledge: Knowledge,
    /// The share of draws; `None` when no layer tells.
    pub share: Option<Share>,
}

/// How often flights came down in one area.
#[derive(Debug, Clone, PartialEq)]
pub struct AreaHits {
    /// Keep-out or land-in.
    pub class: Class,
    /// The area's name.
    pub name: String,
    /// The share of draws.
    pub share: Share,
}

/// What a set of landings hits.
#[derive(Debug, Clone, PartialEq)]
pub struct Hits {
    /// Landings in the region; the shares are of these.
    pub draws: usize,
    /// Landings outside the region, of which nothing is known.
    pub outside: usize,
    /// One row for each buffer.
    pub classes: Vec<ClassHits>,
    /// The share that hits at least one of the things to keep clear of.
    pub any: Share,
    /// Keep-out and land-in areas that were hit, the most often hit first.
    pub areas: Vec<AreaHits>,
    /// Distances to the nearest road one may stop on, m, in ascending order; empty when no layer
    /// has roads where flights come down.
    pub to_road_m: Vec<f32>,
}

impl Hits {
    /// The distance to the nearest road one may stop on that a share `p` of the landings does not
    /// exceed, m, in a straight line: how far somebody has to walk in. `None` when no layer has roads
    /// there.
    pub fn walk_in_m(&self, p: f64) -> Option<f64> {
        let last = self.to_road_m.len().checked_sub(1)?;
        let at = p.clamp(0.0, 1.0) * last as f64;
        let low = at.floor() as usize;
        let [a, b] = [low, (low + 1).min(last)].map(|i| f64::from(self.to_road_m[i]));
        Some(a + (at - low as f64) * (b - a))
    }

    /// The share of all landings that lie outside the region, 0 to 1.
    pub fn share_outside(&self) -> f64 {
        let all = self.draws + self.outside;
        self.outside as f64 / all.max(1) as f64
    }

    /// The share of landings that hit a class; `None` when unknown.
    pub fn share(&self, class: Class) -> Option<Share> {
        self.classes
            .iter()
            .find(|row| row.buffer.class == class)?
            .share
    }
}

/// What some landings hit.
#[derive(Default, Clone)]
struct Counts {
    outside: usize,
    classes: Vec<usize>,
    /// Of each class, the landings where no layer tells of it.
    untold: Vec<usize>,
    untold_roads: usize,
    any: usize,
    areas: [Vec<usize>; 2],
    to_road_m: Vec<f32>,
}

/// The classes whose areas are counted one by one.
const BY_AREA: [Class; 2] = [Class::KeepOut, Class::LandIn];

/// Where more than this share of the landings lie beyond what layers cover, they tell at best how many hit at the
/// least; as many may leave the winds.
const UNTOLD_ALLOWED: f64 = 0.01;

/// Counts what landings hit, in parallel.
pub fn hits(map: &GroundMap, buffers: &[Buffer], landings: &[Normal]) -> Hits {
    let empty = || Counts {
        classes: vec![0; buffers.len()],
        untold: vec![0; buffers.len()],
        areas: BY_AREA.map(|class| vec![0; map.area_names(class).len()]),
        ..Counts::default()
    };
    let counts = landings
        .par_iter()
        .fold(empty, |mut counts, &landing| {
            counts.add(map, buffers, landing);
            counts
        })
        .reduce(empty, Counts::and);
    counts.told(map, buffers, landings.len())
}

impl Counts {
    fn add(&mut self, map: &GroundMap, buffers: &[Buffer], landing: Normal) {
        let point = map.region().plane.to_plane(landing);
        // Nothing was read for places outside: to find nothing there would say nothing.
        if point[0].hypot(point[1]) > map.region().reach_m {
            self.outside += 1;
            return;
        }
        let [to_road_m, to_stop_m] = map.roads_m(point);
        let mut any = false;
        self.untold_roads +=
            usize::from(!map.tells_of(Class::Road(RoadClass::Unknown), point, 0.0));
        let counts = self.classes.iter_mut().zip(&mut self.untold);
        for ((count, untold), buffer) in counts.zip(buffers) {
            *untold += usize::from(!map.tells_of(buffer.class, point, 0.0));
            // No road of any class is near: no need to look for each.
            let no_road = matches!(buffer.class, Class::Road(_))
                && to_road_m.is_none_or(|distance| distance > buffer.radius_m);
            let hit = !no_road && map.within(buffer.class, point, buffer.radius_m);
            *count += usize::from(hit);
            any |= hit && is_to_keep_clear_of(buffer.class);
        }
        self.any += usize::from(any);
        // Single precision holds these to a millimetre or two, in half the memory.
        self.to_road_m
            .extend(to_stop_m.map(|distance| distance as f32));
        for (counts, class) in self.areas.iter_mut().zip(BY_AREA) {
            for i in map.holding(class, point) {
                counts[i] += 1;
            }
        }
    }

    fn and(mut self, other: Counts) -> Counts {
        let add = |a: &mut Vec<usize>, b: &[usize]| a.iter_mut().zip(b).for_each(|(a, b)| *a += b);
        self.outside += other.outside;
        self.any += other.any;
        add(&mut self.classes, &other.classes);
        add(&mut self.untold, &other.untold);
        self.untold_roads += other.untold_roads;
        for (a, b) in self.areas.iter_mut().zip(&other.areas) {
            add(a, b);
        }
        self.to_road_m.extend(other.to_road_m);
        self
    }

    fn told(mut self, map: &GroundMap, buffers: &[Buffer], landings: usize) -> Hits {
        let draws = landings - self.outside;
        let told = |untold: usize| untold as f64 <= UNTOLD_ALLOWED * draws as f64;
        let classes = buffers
            .iter()
            .zip(self.classes.iter().zip(&self.untold))
            .map(|(buffer, (&hits, &untold))| {
                let knowledge = match map.knowledge(buffer.class) {
                    _ if draws > 0 && told(untold) => Knowledge::Known,
                    // What was hit was hit, whatever lies beyond what layers cover.
                    Knowledge::Unknown if hits > 0 => Knowledge::Coarse,
                    all_over => all_over,
                };
                ClassHits {
                    buffer: buffer.clone(),
                    knowledge,
                    share: (knowledge != Knowledge::Unknown).then_some(Share { hits, draws }),
                }
            })
            .collect();
        if !told(self.untold_roads) {
            self.to_road_m.clear();
        }
        self.to_road_m.sort_unstable_by(f32::total_cmp);
        Hits {
            draws,
            outside: self.outside,
            classes,
            any: Share {
                hits: self.any,
                draws,
            },
            areas: self.areas(map, draws),
            to_road_m: self.to_road_m,
        }
    }

    /// The areas that were hit, the most often hit first.
    fn areas(&self, map: &GroundMap, draws: usize) -> Vec<AreaHits> {
        let mut areas = Vec::new();
        for (counts, class) in self.areas.iter().zip(BY_AREA) {
            let named = counts.iter().zip(map.area_names(class));
            let hit = named.filter(|(hits, _)| **hits > 0);
            areas.extend(hit.map(|(&hits, name)| AreaHits {
                class,
                name: name.clone(),
                share: Share { hits, draws },
            }));
        }
        // The sort is stable: areas hit as often as each other stay in the order of the files.
        areas.sort_by_key(|area| std::cmp::Reverse(area.share.hits));
        areas
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_class_has_one_buffer() {
        let mut classes: Vec<Class> = default_buffers().iter().map(|b| b.class).collect();
        classes.sort();
        let mut all: Vec<Class> = Class::all().collect();
        all.sort();
        assert_eq!(classes, all);
    }

    #[test]
    fn fast_roads_and_power_lines_are_to_keep_clear_of() {
        let all: Vec<String> = Class::all()
            .filter(|class| is_to_keep_clear_of(*class))
            .map(Class::name)
            .collect();
        for wanted in ["motorway road", "trunk road", "power line", "keep-out area"] {
            assert!(all.iter().any(|name| name == wanted), "{wanted} in {all:?}");
        }
        // Water has a limit of its own, and small roads are everywhere.
        for not in ["lake", "river", "land-in area", "local road"] {
            assert!(all.iter().all(|name| name != not), "{not} in {all:?}");
        }
    }

    #[test]
    fn shares_know_their_error() {
        let share = Share {
            hits: 200,
            draws: 1000,
        };
        assert!((share.standard_error() - 0.012_649_11).abs() < 1e-8);
        // Computed from the formula by hand: 0.2 of 1000 gives 0.17638 to 0.22589.
        let [low, high] = share.interval_95();
        assert!(
            (low - 0.176_4).abs() < 1e-4 && (high - 0.225_9).abs() < 1e-4,
            "{low} {high}"
        );
        let none = Share {
            hits: 0,
            draws: 1000,
        };
        assert_eq!((none.share(), none.standard_error()), (0.0, 0.0));
        assert!(none.interval_95()[0] < 1e-12);
        // Zero of n: z^2 / (n + z^2).
        assert!((none.interval_95()[1] - 3.841_459 / 1_003.841_459).abs() < 1e-6);
        let nothing = Share { hits: 0, draws: 0 };
        assert_eq!((nothing.share(), nothing.interval_95()), (0.0, [0.0, 1.0]));
    }
}

//! What is near a launch site, against what should not be.

use super::airports::AirportKind;
use super::layers::RoadClass;
use super::map::{Class, GroundMap, Knowledge};
use crate::geodesy::Position;

/// How far something should be from a site.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// What.
    pub class: Class,
    /// How far, m.
    pub distance_m: f64,
    /// Why so far.
    pub reason: String,
}

/// Default limits: class, metres, reason. All of them are judgement.
const LIMITS: [(Class, f64, &str); 11] = [
    (
        Class::Airport(AirportKind::Large),
        15_000.0,
        "the rise begins slowly, among aircraft on approach",
    ),
    (
        Class::Airport(AirportKind::Medium),
        8_000.0,
        "the rise begins slowly, among aircraft on approach",
    ),
    (
        Class::Airport(AirportKind::Small),
        4_000.0,
        "aircraft in the circuit fly at 300 m",
    ),
    (
        Class::Airport(AirportKind::Seaplane),
        4_000.0,
        "aircraft in the circuit fly at 300 m",
    ),
    (
        Class::Airfield,
        4_000.0,
        "aircraft in the circuit fly at 300 m",
    ),
    (
        Class::Road(RoadClass::Motorway),
        500.0,
        "a balloon that gets away low drifts across",
    ),
    (
        Class::Road(RoadClass::Trunk),
        300.0,
        "a balloon that gets away low drifts across",
    ),
    (
        Class::PowerLine,
        300.0,
        "a slow rise in 5 m/s of wind is 60 m up after 60 m: five times that",
    ),
    (
        Class::Urban,
        500.0,
        "people below the first minute of the flight",
    ),
    (Class::River, 100.0, "a train that dips is lost"),
    (Class::Lake, 100.0, "a train that dips is lost"),
];

/// The default limits.
pub fn default_limits() -> Vec<Limit> {
    let limit = |&(class, distance_m, reason): &(Class, f64, &str)| Limit {
        class,
        distance_m,
        reason: reason.to_owned(),
    };
    LIMITS.iter().map(limit).collect()
}

/// What the check of one limit says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Far enough.
    Fine,
    /// Nearer than the limit.
    TooNear,
    /// No layer tells, or only the coarse built-in map, which does not show it.
    Unknown,
}

/// One limit, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// The limit.
    pub limit: Limit,
    /// The distance to the nearest, m; `None` when there is none in the map's region, or nothing
    /// is known.
    pub nearest_m: Option<f64>,
    /// How well the class is known there.
    pub knowledge: Knowledge,
    /// What follows.
    pub verdict: Verdict,
}

/// Checks a site against limits. What is unknown is told as unknown, never as fine.
pub fn check(map: &GroundMap, site: Position, limits: &[Limit]) -> Vec<Finding> {
    let place = site.normal();
    let from_center = map.region().plane.center().distance_m(site);
    let seen_m = map.region().reach_m - from_center;
    limits
        .iter()
        .map(|limit| {
            let knowledge = map.knowledge(limit.class);
            let nearest_m = map.distance_m(limit.class, place);
            let near = nearest_m.is_some_and(|d| d < limit.distance_m);
            let verdict = match knowledge {
                _ if near => Verdict::TooNear,
                // A region that ends before the limit cannot say that nothing is there.
                Knowledge::Known if seen_m >= limit.distance_m => Verdict::Fine,
                _ => Verdict::Unknown,
            };
            Finding {
                limit: limit.clone(),
                nearest_m,
                knowledge,
                verdict,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::layers::{Kind, Layer, Line};
    use crate::ground::region::Region;

    #[test]
    fn unknown_is_never_fine() {
        let site = Position::new(43.06, -108.48).unwrap();
        let region = Region::around(site, 30_000.0);
        let bare = GroundMap::new(region, &[]).unwrap();
        let found = check(&bare, site, &default_limits());
        let of = |found: &[Finding], class: Class| {
            found
                .iter()
                .find(|f| f.limit.class == class)
                .unwrap()
                .clone()
        };
        for class in [
            Class::PowerLine,
            Class::Airfield,
            Class::Road(RoadClass::Motorway),
        ] {
            assert_eq!(of(&found, class).verdict, Verdict::Unknown);
            assert_eq!(of(&found, class).nearest_m, None);
        }
        assert_eq!(of(&found, Class::Lake).verdict, Verdict::Unknown);
        assert_eq!(
            of(&found, Class::Airport(AirportKind::Large)).verdict,
            Verdict::Fine
        );
        // Riverton's own airport is 5 km off.
        assert_eq!(
            of(&found, Class::Airport(AirportKind::Medium)).verdict,
            Verdict::TooNear
        );

        let mut lines = Layer::new(Kind::PowerLine, "lines");
        lines.lines.push(Line {
            points: vec![[-108.48, 43.061], [-108.4, 43.061]],
            class: RoadClass::Unknown,
            name: String::new(),
        });
        let map = GroundMap::new(region, &[lines]).unwrap();
        let found = check(&map, site, &default_limits());
        assert_eq!(of(&found, Class::PowerLine).verdict, Verdict::TooNear);
        let d = of(&found, Class::PowerLine).nearest_m.unwrap();
        assert!((d - 111.1).abs() < 0.2, "{d}");
        let elsewhere = Layer::new(Kind::Airfield, "of another country");
        let map_elsewhere = GroundMap::new(region, &[elsewhere]).unwrap();
        let nothing = check(&map_elsewhere, site, &default_limits());
        assert_eq!(of(&nothing, Class::Airfield).verdict, Verdict::Unknown);
        let outside = check(&map, site.destination(0.0, 29_900.0), &default_limits());
        assert_eq!(of(&outside, Class::PowerLine).verdict, Verdict::Unknown);
    }
}

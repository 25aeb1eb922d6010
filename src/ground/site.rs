//! What is near a launch site, against what should not be.

use serde::Serialize;

use super::airports::AirportKind;
use super::hits::Buffer;
use super::layers::RoadClass;
use super::map::{Class, GroundMap};
use crate::geodesy::Position;

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
    (Class::River, 100.0, "a stack that dips into it is lost"),
    (Class::Lake, 100.0, "a stack that dips into it is lost"),
];

/// How far what should be from a site, where the plan does not say.
pub fn default_limits() -> Vec<Buffer> {
    LIMITS.map(Buffer::of).into()
}

/// What the check of one limit says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SiteVerdict {
    /// Farther than the limit.
    FarEnough,
    /// Nearer than the limit.
    TooNear,
    /// No layer tells, or only the coarse built-in map, which does not show it.
    Unknown,
}

/// One limit, checked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SiteFinding {
    /// What, by the name of its [`Class`].
    pub name: String,
    /// How far it should be, m.
    pub limit_m: f64,
    /// Why so far.
    pub reason: String,
    /// The distance to the nearest, m; `None` when there is none in the map's region, or nothing
    /// is known.
    pub nearest_m: Option<f64>,
    /// What follows.
    pub verdict: SiteVerdict,
}

/// Checks a site against limits. What is unknown is reported as unknown, never as fine.
pub fn check(map: &GroundMap, site: Position, limits: &[Buffer]) -> Vec<SiteFinding> {
    let place = site.normal();
    let point = map.region().plane.to_plane(place);
    let from_center = map.region().plane.center().distance_m(site);
    // A site beside the middle of the region sees less far on its near side.
    let seen_m = map.region().reach_m - from_center;
    limits
        .iter()
        .map(|limit| {
            let nearest_m = map.distance_m(limit.class, place);
            let near = nearest_m.is_some_and(|d| d < limit.radius_m);
            // A region that ends before the limit cannot say that nothing is there.
            let told = seen_m >= limit.radius_m && map.tells_of(limit.class, point, limit.radius_m);
            let verdict = match (near, told) {
                (true, _) => SiteVerdict::TooNear,
                (false, true) => SiteVerdict::FarEnough,
                (false, false) => SiteVerdict::Unknown,
            };
            SiteFinding {
                name: limit.class.name(),
                limit_m: limit.radius_m,
                reason: limit.reason.clone(),
                nearest_m,
                verdict,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::layers::{Area, Kind, Layer, Line};
    use crate::ground::region::Region;

    #[test]
    fn unknown_is_never_fine() {
        let site = Position::new(43.06, -108.48).unwrap();
        let region = Region::around(site, 30_000.0);
        let bare = GroundMap::new(region, &[]).unwrap();
        let found = check(&bare, site, &default_limits());
        let of = |found: &[SiteFinding], class: Class| {
            found
                .iter()
                .find(|f| f.name == class.name())
                .unwrap()
                .clone()
        };
        for class in [
            Class::PowerLine,
            Class::Airfield,
            Class::Road(RoadClass::Motorway),
        ] {
            assert_eq!(of(&found, class).verdict, SiteVerdict::Unknown);
            assert_eq!(of(&found, class).nearest_m, None);
        }
        assert_eq!(of(&found, Class::Lake).verdict, SiteVerdict::Unknown);
        assert_eq!(
            of(&found, Class::Airport(AirportKind::Large)).verdict,
            SiteVerdict::FarEnough
        );
        // Riverton's own airport is 5 km off.
        assert_eq!(
            of(&found, Class::Airport(AirportKind::Medium)).verdict,
            SiteVerdict::TooNear
        );

        let mut lines = Layer::new(Kind::PowerLine, "lines");
        lines.lines.push(Line {
            points: vec![[-108.48, 43.061], [-108.4, 43.061]],
            class: RoadClass::Unknown,
            name: String::new(),
        });
        let map = GroundMap::new(region, &[lines]).unwrap();
        let found = check(&map, site, &default_limits());
        assert_eq!(of(&found, Class::PowerLine).verdict, SiteVerdict::TooNear);
        let d = of(&found, Class::PowerLine).nearest_m.unwrap();
        assert!((d - 111.1).abs() < 0.2, "{d}");
        let elsewhere = Layer::new(Kind::Airfield, "of another country");
        let map_elsewhere = GroundMap::new(region, &[elsewhere]).unwrap();
        let nothing = check(&map_elsewhere, site, &default_limits());
        assert_eq!(of(&nothing, Class::Airfield).verdict, SiteVerdict::Unknown);
        let outside = check(&map, site.destination(0.0, 29_900.0), &default_limits());
        assert_eq!(of(&outside, Class::PowerLine).verdict, SiteVerdict::Unknown);
    }

    fn covered([west, east, south, north]: [f64; 4]) -> Option<Area> {
        Some(Area {
            rings: vec![vec![
                [west, south],
                [east, south],
                [east, north],
                [west, north],
            ]],
            name: String::new(),
        })
    }

    /// A power line and what its layer covers: from 108.3 W on.
    fn lines_in_the_east() -> Layer {
        let mut lines = Layer::new(Kind::PowerLine, "east of here");
        lines.lines.push(Line {
            points: vec![[-108.2, 43.0], [-108.2, 43.1]],
            class: RoadClass::Unknown,
            name: String::new(),
        });
        lines.covers = covered([-108.3, -107.9, 42.8, 43.3]);
        lines
    }

    /// What a check says of power lines at a longitude.
    fn verdict_of_lines(layers: &[Layer], lon_deg: f64) -> SiteVerdict {
        let center = Position::new(43.06, -108.48).unwrap();
        let map = GroundMap::new(Region::around(center, 30_000.0), layers).unwrap();
        let site = Position::new(43.06, lon_deg).unwrap();
        let found = check(&map, site, &default_limits());
        let name = Class::PowerLine.name();
        found.iter().find(|f| f.name == name).unwrap().verdict
    }

    #[test]
    fn beyond_what_a_layer_covers_nothing_is_far_enough() {
        let verdict = |lon_deg: f64| verdict_of_lines(&[lines_in_the_east()], lon_deg);
        assert_eq!(verdict(-108.25), SiteVerdict::FarEnough);
        assert_eq!(verdict(-108.48), SiteVerdict::Unknown);
        // The limit reaches beyond the edge, 160 m away.
        assert_eq!(verdict(-108.298), SiteVerdict::Unknown);
        assert_eq!(verdict(-108.2), SiteVerdict::TooNear);
    }

    #[test]
    fn a_layer_ends_nowhere_within_what_another_covers() {
        let mut around = lines_in_the_east();
        around.covers = covered([-108.7, -107.9, 42.8, 43.3]);
        let both = [lines_in_the_east(), around];
        assert_eq!(verdict_of_lines(&both, -108.298), SiteVerdict::FarEnough);
    }

    #[test]
    fn an_extract_without_any_tells_that_there_are_none_where_another_has_some() {
        let mut none = Layer::new(Kind::PowerLine, "west of here");
        none.covers = covered([-108.7, -108.3, 42.8, 43.3]);
        let both = [lines_in_the_east(), none.clone()];
        assert_eq!(verdict_of_lines(&both, -108.48), SiteVerdict::FarEnough);
        assert_eq!(verdict_of_lines(&[none], -108.48), SiteVerdict::Unknown);
    }
}

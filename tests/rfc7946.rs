//! The GeoJSON of a zone against RFC 7946 (August 2016): section 3.1.6 rings, 3.1.9 cutting at
//! the antimeridian with its example, 4 coordinate order, 5 bounding boxes.

#![allow(
    clippy::unwrap_used,
    reason = "helpers of tests fail by panicking, too"
)]

use jiff::Timestamp;
use proptest::prelude::*;
use serde_json::{Value, json};
use windfall::geodesy::{LocalFrame, Position};
use windfall::notes::Assumption;
use windfall::report::files::geojson::{collection, text};
use windfall::spread::region::{Ellipse, GroundContour, GroundPolygon};
use windfall::units::UnitSystem;
use windfall::zone::{Mark, Zone};

fn at(lat: f64, lon: f64) -> Position {
    Position::new(lat, lon).unwrap()
}

fn mark(lat: f64, lon: f64, altitude_m: f64, time: &str) -> Mark {
    Mark {
        position: at(lat, lon),
        altitude_m,
        time: time.parse::<Timestamp>().unwrap(),
    }
}

fn zone(center: Position) -> Zone {
    let mark = |altitude_m, time: &str| mark(center.lat_deg, center.lon_deg, altitude_m, time);
    let release = mark(38.04, "2022-10-14T10:30:00+01:00");
    let burst = mark(30_000.0, "2022-10-14T11:00:00.25Z");
    let landing = mark(12.0, "2022-10-14T11:40:00Z");
    Zone {
        release,
        burst,
        landing,
        track: vec![release, burst, landing],
        ellipses: Vec::new(),
        contours: Vec::new(),
        draws: None,
        draw_count: 2000,
        seed: 7,
        version: "0.0.0".into(),
        assumptions: vec![Assumption::PureGas],
        notes: Vec::new(),
    }
}

fn polygon(points: &[[f64; 2]]) -> GroundPolygon {
    GroundPolygon {
        exterior: points.iter().map(|p| at(p[1], p[0])).collect(),
        holes: Vec::new(),
    }
}

fn with_contour(polygons: Vec<GroundPolygon>) -> Value {
    let mut zone = zone(polygons[0].exterior[0]);
    zone.contours.push(GroundContour {
        probability: 0.9,
        held: 0.9005,
        area_m2: 2.5e6,
        pieces: 1,
        polygons,
    });
    serde_json::from_str(&text(&zone, UnitSystem::Metric)).unwrap()
}

fn of_kind<'a>(json: &'a Value, kind: &str) -> &'a Value {
    json["features"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["properties"]["kind"] == kind)
        .unwrap()
}

/// A closed ring turned so that it starts at the point that sorts first.
fn turned(ring: &Value) -> Vec<[f64; 2]> {
    let mut open = points(ring);
    assert_eq!(open.pop(), open.first().copied(), "not closed");
    let first = (0..open.len())
        .min_by(|a, b| open[*a].partial_cmp(&open[*b]).unwrap())
        .unwrap();
    open.rotate_left(first);
    open
}

fn points(ring: &Value) -> Vec<[f64; 2]> {
    ring.as_array()
        .unwrap()
        .iter()
        .map(|p| {
            assert_eq!(p.as_array().unwrap().len(), 2);
            [p[0].as_f64().unwrap(), p[1].as_f64().unwrap()]
        })
        .collect()
}

/// The polygons of a Polygon or MultiPolygon.
fn polygons(geometry: &Value) -> Vec<&Value> {
    match geometry["type"].as_str().unwrap() {
        "Polygon" => vec![&geometry["coordinates"]],
        "MultiPolygon" => geometry["coordinates"].as_array().unwrap().iter().collect(),
        other => panic!("{other}"),
    }
}

fn signed_area(ring: &[[f64; 2]]) -> f64 {
    // Around the first point: coordinates of seven decimals cancel badly otherwise.
    let o = ring[0];
    ring.windows(2)
        .map(|w| 0.5 * ((w[0][0] - o[0]) * (w[1][1] - o[1]) - (w[1][0] - o[0]) * (w[0][1] - o[1])))
        .sum()
}

/// Section 3.1.6: rings of four or more positions, closed, outlines counter-clockwise and holes
/// clockwise; and on the map.
fn check_area(geometry: &Value) -> Result<(), TestCaseError> {
    let polygons = polygons(geometry);
    prop_assert!(!polygons.is_empty());
    for polygon in polygons {
        for (i, ring) in polygon.as_array().unwrap().iter().enumerate() {
            let ring = points(ring);
            prop_assert!(ring.len() >= 4);
            prop_assert_eq!(ring.first(), ring.last());
            prop_assert_eq!(signed_area(&ring) > 0.0, i == 0);
            for [lon, lat] in &ring {
                prop_assert!(lon.abs() <= 180.0 && lat.abs() <= 90.0);
                prop_assert!((lon * 1e7 - (lon * 1e7).round()).abs() < 1e-4);
            }
            for edge in ring.windows(2) {
                let turn = (edge[1][0] - edge[0][0]).abs();
                let along_the_top = edge[0][1].abs() == 90.0 && edge[1][1].abs() == 90.0;
                prop_assert!(turn <= 180.0 || along_the_top, "an edge round the earth");
            }
        }
    }
    Ok(())
}

#[test]
fn the_rectangle_of_section_3_1_9() {
    let json = with_contour(vec![polygon(&[
        [170.0, 40.0],
        [-170.0, 40.0],
        [-170.0, 50.0],
        [170.0, 50.0],
    ])]);
    let contour = of_kind(&json, "contour");
    assert_eq!(contour["geometry"]["type"], "MultiPolygon");
    let expected = json!([
        [[
            [180.0, 40.0],
            [180.0, 50.0],
            [170.0, 50.0],
            [170.0, 40.0],
            [180.0, 40.0]
        ]],
        [[
            [-170.0, 40.0],
            [-170.0, 50.0],
            [-180.0, 50.0],
            [-180.0, 40.0],
            [-170.0, 40.0]
        ]]
    ]);
    let found = polygons(&contour["geometry"]);
    assert_eq!(found.len(), 2);
    for (found, expected) in found.into_iter().zip(expected.as_array().unwrap()) {
        assert_eq!(found.as_array().unwrap().len(), 1);
        assert_eq!(turned(&found[0]), turned(&expected[0]));
    }
    assert_eq!(contour["bbox"], json!([170.0, 40.0, -170.0, 50.0]));
    assert_eq!(json["bbox"], json!([170.0, 40.0, -170.0, 50.0]));
}

#[test]
fn a_polar_cap() {
    let json = with_contour(vec![polygon(&[
        [0.0, 80.0],
        [90.0, 80.0],
        [180.0, 80.0],
        [-90.0, 80.0],
    ])]);
    let contour = of_kind(&json, "contour");
    check_area(&contour["geometry"]).unwrap();
    assert_eq!(contour["geometry"]["type"], "Polygon");
    // Section 5.3: a box with the pole in it.
    assert_eq!(contour["bbox"], json!([-180.0, 80.0, 180.0, 90.0]));
}

#[test]
fn holes_and_pieces() {
    let mut with_hole = polygon(&[[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]]);
    with_hole.holes.push(
        [[1.0, 1.0], [1.0, 2.0], [2.0, 2.0], [2.0, 1.0]]
            .iter()
            .map(|p| at(p[1], p[0]))
            .collect(),
    );
    let json = with_contour(vec![with_hole.clone()]);
    let geometry = &of_kind(&json, "contour")["geometry"];
    assert_eq!(geometry["type"], "Polygon");
    assert_eq!(geometry["coordinates"].as_array().unwrap().len(), 2);
    check_area(geometry).unwrap();

    let apart = polygon(&[[10.0, 0.0], [11.0, 0.0], [11.0, 1.0]]);
    let json = with_contour(vec![with_hole, apart]);
    let contour = of_kind(&json, "contour");
    assert_eq!(contour["geometry"]["type"], "MultiPolygon");
    assert_eq!(contour["bbox"], json!([0.0, 0.0, 11.0, 4.0]));
    check_area(&contour["geometry"]).unwrap();
}

#[test]
fn a_hole_across_the_antimeridian_is_cut_with_its_outline() {
    let mut holed = polygon(&[[178.0, 0.0], [-178.0, 0.0], [-178.0, 4.0], [178.0, 4.0]]);
    holed.holes.push(
        [[179.0, 1.0], [179.0, 2.0], [-179.0, 2.0], [-179.0, 1.0]]
            .iter()
            .map(|p| at(p[1], p[0]))
            .collect(),
    );
    let json = with_contour(vec![holed]);
    let geometry = &of_kind(&json, "contour")["geometry"];
    check_area(geometry).unwrap();
    let total: f64 = polygons(geometry)
        .iter()
        .map(|p| signed_area(&points(&p[0])))
        .sum();
    assert_eq!(polygons(geometry).len(), 2);
    assert!((total - 14.0).abs() < 1e-9, "{total}");
}

#[test]
fn a_track_across_the_antimeridian() {
    let mut zone = zone(at(-16.0, 179.0));
    zone.track = vec![
        mark(-16.0, 179.0, 0.0, "2022-10-14T10:00:00Z"),
        mark(-16.2, -179.0, 1000.0, "2022-10-14T10:10:00Z"),
        mark(-16.4, -178.0, 0.0, "2022-10-14T10:20:00Z"),
    ];
    let json: Value = serde_json::from_str(&text(&zone, UnitSystem::Metric)).unwrap();
    let track = of_kind(&json, "track");
    assert_eq!(
        track["geometry"],
        json!({
            "type": "MultiLineString",
            "coordinates": [
                [[179.0, -16.0, 0.0], [180.0, -16.1, 500.0]],
                [[-180.0, -16.1, 500.0], [-179.0, -16.2, 1000.0], [-178.0, -16.4, 0.0]],
            ]
        })
    );
    assert_eq!(
        track["properties"]["times"],
        json!([
            ["2022-10-14T10:00:00Z", "2022-10-14T10:05:00Z"],
            [
                "2022-10-14T10:05:00Z",
                "2022-10-14T10:10:00Z",
                "2022-10-14T10:20:00Z"
            ],
        ])
    );
    assert_eq!(
        track["bbox"],
        json!([179.0, -16.4, 0.0, -178.0, -16.0, 1000.0])
    );
}

#[test]
fn the_members_of_a_collection() {
    let mut zone = zone(at(39.42, -8.83));
    let frame = LocalFrame::new(at(39.4, -8.8));
    zone.ellipses.push(
        Ellipse::from_moments([0.0, 0.0], [[25e6, 12e6], [12e6, 16e6]], 0.95)
            .unwrap()
            .on_ground(&frame)
            .unwrap(),
    );
    zone.draws = Some(vec![at(39.5, -8.7), at(39.3, -8.9)]);
    let json: Value = serde_json::from_str(&text(&zone, UnitSystem::Metric)).unwrap();
    assert_eq!(json["type"], "FeatureCollection");
    assert_eq!(json["seed"], 7);
    assert_eq!(json["version"], "0.0.0");
    assert_eq!(json["draws"], 2000);
    assert_eq!(
        json["assumptions"],
        json!([{"code": "pure_gas", "words": "pure gas (no gas_purity given), assumed"}])
    );
    for forbidden in ["coordinates", "geometry", "properties", "crs"] {
        assert!(json.get(forbidden).is_none(), "{forbidden}");
    }

    let release = of_kind(&json, "release");
    assert_eq!(
        release["geometry"],
        json!({"type": "Point", "coordinates": [-8.83, 39.42, 38.0]})
    );
    assert_eq!(release["properties"]["time"], "2022-10-14T09:30:00Z");
    let track = of_kind(&json, "track");
    assert_eq!(track["geometry"]["type"], "LineString");
    assert_eq!(track["properties"]["times"][1], "2022-10-14T11:00:00.25Z");

    let ellipse = of_kind(&json, "ellipse");
    check_area(&ellipse["geometry"]).unwrap();
    let p = &ellipse["properties"];
    assert_eq!(p["probability"], 0.95);
    assert_eq!(p["semi_major_m"], 14128.4);
    assert_eq!(p["semi_minor_m"], 6785.2);
    assert_eq!(p["area_km2"], 301.163856);
    assert_eq!(p["center"], json!([-8.8, 39.4]));
    assert!((p["azimuth_deg"].as_f64().unwrap() - 55.27802).abs() < 1e-5);
    assert!(p["held"].is_null());
    assert_eq!(
        of_kind(&json, "draws")["geometry"],
        json!({"type": "MultiPoint", "coordinates": [[-8.7, 39.5], [-8.9, 39.3]]})
    );
    // The same zone, the same bytes.
    assert_eq!(
        text(&zone, UnitSystem::Metric),
        text(&zone.clone(), UnitSystem::Metric)
    );
    assert_eq!(collection(&zone, UnitSystem::Metric).features.len(), 6);
}

#[test]
fn a_flight_without_spread_still_draws() {
    let center = at(39.42, -8.83);
    let frame = LocalFrame::new(center);
    let mut zone = zone(center);
    for points in [
        vec![[5.0, 5.0]; 30],
        (0..30).map(|i| [f64::from(i), 0.0]).collect(),
    ] {
        let ellipse = Ellipse::of(&points, 0.5).unwrap();
        zone.ellipses = vec![ellipse.on_ground(&frame).unwrap()];
        let json: Value = serde_json::from_str(&text(&zone, UnitSystem::Metric)).unwrap();
        check_area(&of_kind(&json, "ellipse")["geometry"]).unwrap();
    }
}

/// Latitudes and longitudes where maps break.
fn awkward_place() -> impl Strategy<Value = Position> {
    let lat = prop_oneof![
        Just(90.0),
        Just(-90.0),
        89.0..90.0,
        -90.0..-89.0,
        -90.0..90.0f64
    ];
    let lon = prop_oneof![Just(180.0), 179.0..180.0, -180.0..-179.0, -180.0..180.0f64];
    (lat, lon).prop_map(|(lat, lon)| at(lat, lon))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn ellipses_anywhere_are_valid(
        place in awkward_place(),
        offset in [-2e5..2e5f64, -2e5..2e5f64],
        major in prop_oneof![Just(0.0), 0.0..10.0, 0.0..1e5f64],
        flat in 0.0..1.0f64,
        azimuth in 0.0..180.0f64,
    ) {
        let ellipse = Ellipse {
            probability: 0.9,
            center_m: offset,
            semi_major_m: major,
            semi_minor_m: major * flat,
            azimuth_deg: azimuth,
            held: Some(0.9),
        };
        let frame = LocalFrame::new(place);
        let ground = ellipse.on_ground(&frame).unwrap();
        let mut zone = zone(place);
        zone.ellipses.push(ground.clone());
        let text = text(&zone, UnitSystem::Metric);
        prop_assert!(!text.contains("NaN") && !text.contains("inf"));
        let json: Value = serde_json::from_str(&text).unwrap();
        let feature = of_kind(&json, "ellipse");
        check_area(&feature["geometry"])?;
        let bbox: Vec<f64> = serde_json::from_value(feature["bbox"].clone()).unwrap();
        prop_assert!(bbox[1] <= bbox[3]);

        // A pole inside is in the box, one outside is not.
        for (pole, edge) in [(90.0, bbox[3]), (-90.0, bbox[1])] {
            let [x, y] = frame.to_plane(at(pole, 0.0));
            // Within a few metres of the edge, where corners stop being added, either may be.
            let scaled = |by: f64| {
                let mut other = ellipse;
                other.semi_major_m = (ellipse.semi_major_m + by).max(0.0);
                other.semi_minor_m = (ellipse.semi_minor_m + by).max(0.0);
                other
            };
            let margin = 20.0 + 0.01 * major;
            if ellipse.semi_minor_m > margin && scaled(-margin).contains([x, y]) {
                prop_assert_eq!(edge, pole);
                prop_assert_eq!((bbox[0], bbox[2]), (-180.0, 180.0));
            }
            if !scaled(margin).contains([x, y]) {
                prop_assert!(edge != pole);
            }
        }

        // The area on the ground, in thin trapezoids of latitude, is that of the ellipse.
        if major * flat > 100.0 {
            let area: f64 = polygons(&feature["geometry"])
                .iter()
                .map(|p| ground_area(&points(&p[0])))
                .sum();
            prop_assert!((area / ellipse.area_m2() - 1.0).abs() < 0.02, "{}", area / ellipse.area_m2());
        }
    }
}

/// Area of a ring on a sphere of WGS84's mean radius of the authalic sphere, m2:
/// the integral of sin(latitude) over longitude.
fn ground_area(ring: &[[f64; 2]]) -> f64 {
    let sines: f64 = ring
        .windows(2)
        .map(|w| {
            let middle = 0.5 * (w[0][1] + w[1][1]);
            -(w[1][0] - w[0][0]).to_radians() * middle.to_radians().sin()
        })
        .sum();
    sines.abs() * 6_371_007.18f64.powi(2)
}

//! Layers in all their formats, and what is said of bad ones.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/pbf.rs"]
mod pbf;

use std::fs;
use std::path::{Path, PathBuf};

use pbf::{Block, heading, heading_of};
use shapefile::dbase::{FieldValue, Record, TableWriterBuilder};
use shapefile::{Point, Polygon, PolygonRing, Polyline};
use windfall::geodesy::Position;
use windfall::ground::layers::{
    Kind, Layer, LayerFinding, LayerRequest, RoadClass, read, read_osm,
};
use windfall::ground::map::{Class, GroundMap};
use windfall::ground::region::Region;
use windfall::ground::site::{SiteVerdict, check, default_limits};
use windfall::report::input_notes;
use windfall::units::UnitSystem;

fn region() -> Region {
    Region::around(Position::new(43.6, -113.0).unwrap(), 60_000.0)
}

fn collection(features: &str) -> String {
    format!("{{\"type\":\"FeatureCollection\",\"features\":[{features}]}}")
}

fn feature(properties: &str, kind: &str, coordinates: &str) -> String {
    format!(
        "{{\"type\":\"Feature\",\"properties\":{{{properties}}},\
         \"geometry\":{{\"type\":\"{kind}\",\"coordinates\":{coordinates}}}}}"
    )
}

const LINE: &str = "[[-113.0,43.5],[-113.1,43.6]]";
const SQUARE: &str = "[[[-113,43],[-112,43],[-112,44],[-113,44],[-113,43]]]";
const BOW: &str = "[[[-113,43],[-112,44],[-112,43],[-113,44],[-113,43]]]";
const METRES: &str = "[[420000,4800000],[421000,4800500]]";

fn geojson(text: &str, wanted: &LayerRequest) -> Result<Layer, String> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("layer.geojson");
    fs::write(&path, text).unwrap();
    read(&path, wanted, &region()).map_err(|e| e.to_string())
}

fn of(kind: Kind) -> LayerRequest {
    LayerRequest::new(kind)
}

#[test]
fn geojson_roads_have_classes_and_names() {
    let text = collection(
        &[
            feature(
                "\"highway\":\"motorway\",\"name\":\"I 15\"",
                "LineString",
                LINE,
            ),
            feature("\"highway\":\"footway\"", "LineString", LINE),
            feature(
                "\"Type\":\"Secondary\"",
                "MultiLineString",
                &format!("[{LINE},{LINE}]"),
            ),
            feature("", "Point", "[-113,43.5]"),
        ]
        .join(","),
    );
    let layer = geojson(&text, &of(Kind::Road)).unwrap();
    let classes: Vec<RoadClass> = layer.lines.iter().map(|l| l.class).collect();
    assert_eq!(
        classes,
        [RoadClass::Motorway, RoadClass::Unknown, RoadClass::Unknown]
    );
    assert_eq!(layer.lines[0].name, "I 15");
    // A point, two lines without a class, a footway.
    assert_eq!(layer.notes.len(), 3, "{:?}", layer.notes);
    let by_type = LayerRequest {
        class_attribute: Some("type".into()),
        ..of(Kind::Road)
    };
    let layer = geojson(&text, &by_type).unwrap();
    assert_eq!(layer.lines[2].class, RoadClass::Secondary);
}

/// As the downloads of OpenStreetMap by country have them.
#[test]
fn roads_without_highway_have_their_class_from_fclass() {
    let road = |class: &str| feature(&format!("\"fclass\":\"{class}\""), "LineString", LINE);
    let all = [
        "motorway",
        "footway",
        "track_grade2",
        "primary_link",
        "residential",
    ]
    .map(road);
    let layer = geojson(&collection(&all.join(",")), &of(Kind::Road)).unwrap();
    let classes: Vec<RoadClass> = layer.lines.iter().map(|l| l.class).collect();
    assert_eq!(
        classes,
        [RoadClass::Motorway, RoadClass::Primary, RoadClass::Local]
    );
}

/// What stands before the features may have brackets of its own.
#[test]
fn features_may_stand_anywhere_in_a_collection() {
    let features = feature("\"name\":\"x\"", "Polygon", SQUARE);
    let plain = geojson(&collection(&features), &of(Kind::KeepOut)).unwrap();
    for before in [
        "\"bbox\":[-113,43,-112,44]",
        "\"name\":\"fields [2026]\"",
        "\"x\":{\"features\":[1]}",
    ] {
        let text = collection(&features).replacen('{', &format!("{{{before},"), 1);
        let layer = geojson(&text, &of(Kind::KeepOut)).unwrap();
        assert_eq!(layer.areas, plain.areas, "{before}");
    }
    let wrong = geojson(&collection(&format!("{features},7")), &of(Kind::KeepOut));
    let message = wrong.unwrap_err();
    assert!(message.contains("feature 2"), "{message}");
}

#[test]
fn geojson_need_not_be_a_collection() {
    let layer = geojson(
        &feature("\"name\":\"x\"", "Polygon", SQUARE),
        &of(Kind::LandIn),
    )
    .unwrap();
    assert_eq!(layer.areas[0].name, "x");
    let bare = format!("{{\"type\":\"Polygon\",\"coordinates\":{SQUARE}}}");
    assert_eq!(geojson(&bare, &of(Kind::KeepOut)).unwrap().areas.len(), 1);
}

fn found(layer: &Layer) -> Vec<LayerFinding> {
    layer.notes.iter().map(|note| note.found).collect()
}

#[test]
fn what_is_outside_the_region_is_not_kept_but_noted() {
    // A degree of latitude, 111.1 km, is within reach of the flights and outside the region.
    let text = collection(&feature("", "LineString", "[[-113,44.6],[-113,45]]"));
    let layer = geojson(&text, &of(Kind::Road)).unwrap();
    assert!(layer.is_empty());
    let LayerFinding::NothingNear { nearest_m, .. } = found(&layer)[1] else {
        panic!("{:?}", layer.notes)
    };
    assert!((nearest_m - 111_100.0).abs() < 300.0, "{nearest_m}");
}

/// Each gave a layer with nothing in it, and so "hits 0.0 %".
#[test]
fn a_layer_that_would_silently_do_nothing_is_refused() {
    let site = Region::around(Position::new(39.42, -8.83).unwrap(), 60_000.0);
    let refused = |features: &str, kind: Kind| {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("reservoir.geojson");
        fs::write(&path, collection(features)).unwrap();
        read(&path, &of(kind), &site).unwrap_err().to_string()
    };
    let square = |lon: f64, lat: f64| {
        let (w, e, s, n) = (lon - 0.1, lon + 0.1, lat - 0.1, lat + 0.1);
        format!("[[[{w},{s}],[{e},{s}],[{e},{n}],[{w},{n}],[{w},{s}]]]")
    };
    for (coordinates, says) in [
        (
            square(39.42, -8.83),
            "longitude and latitude seem to be exchanged",
        ),
        (square(8.83, 39.42), "sign of the longitudes"),
        (square(-8.83, -39.42), "sign of the latitudes"),
        (square(20.0, 60.0), "nothing within 300 km of the flights"),
        (
            "[[[-8,39],[-8,40]]]".to_owned(),
            "1 outlines that hold no area",
        ),
        (
            "[[[-8,39],[-8.5,39.5],[-9,40],[-8,39]]]".to_owned(),
            "hold no area",
        ),
        ("[]".to_owned(), "hold no area"),
    ] {
        for kind in [Kind::KeepOut, Kind::LandIn, Kind::Lake] {
            let message = refused(&feature("", "Polygon", &coordinates), kind);
            assert!(message.contains(says), "{says}: {message}");
            assert!(message.contains("reservoir.geojson"), "{message}");
        }
    }
    let open = feature("", "LineString", "[[-8.8,39.4],[-8.7,39.4],[-8.7,39.5]]");
    let message = refused(&open, Kind::KeepOut);
    assert!(
        message.contains("1 lines whose ends do not meet"),
        "{message}"
    );
    let road = feature("", "LineString", "[[39.4,-8.8],[39.5,-8.8]]");
    let message = refused(&road, Kind::Road);
    assert!(message.contains("exchanged"), "{message}");
    // Beyond the poles, and near when exchanged.
    let west = feature(
        "",
        "Polygon",
        "[[[43.5,-113],[43.6,-113],[43.6,-113.1],[43.5,-113]]]",
    );
    let message = geojson(&collection(&west), &of(Kind::KeepOut)).unwrap_err();
    assert!(message.contains("seem to be exchanged"), "{message}");
}

#[test]
fn a_closed_line_in_a_file_of_areas_is_an_area_and_noted() {
    let ring = "[[-113,43.5],[-112.9,43.5],[-112.9,43.6],[-113,43.5]]";
    let text = collection(&feature("\"name\":\"reservoir\"", "LineString", ring));
    for kind in [Kind::KeepOut, Kind::LandIn, Kind::Lake, Kind::Urban] {
        let layer = geojson(&text, &of(kind)).unwrap();
        assert_eq!(layer.areas[0].name, "reservoir");
        assert_eq!(found(&layer), [LayerFinding::ClosedLines { count: 1 }]);
        let inside = Position::new(43.52, -112.92).unwrap().normal();
        let map = GroundMap::new(region(), &[layer]).unwrap();
        let class = match kind {
            Kind::KeepOut => Class::KeepOut,
            Kind::LandIn => Class::LandIn,
            Kind::Lake => Class::Lake,
            _ => Class::Urban,
        };
        assert!(map.is_in(class, inside));
        assert_eq!(map.notes().len(), 1);
    }
    // Of a river it is a line that comes back.
    let river = geojson(&text, &of(Kind::River)).unwrap();
    assert_eq!((river.lines.len(), river.areas.len()), (1, 0));
}

#[test]
fn bad_geojson_is_explained() {
    let one = |kind: &str, coordinates: &str| collection(&feature("\"a\":1", kind, coordinates));
    let old = |crs: &str| {
        let crs = format!(",\"crs\":{{\"type\":\"name\",\"properties\":{{\"name\":\"{crs}\"}}}}}}");
        one("LineString", METRES)
            .strip_suffix('}')
            .unwrap()
            .to_owned()
            + &crs
    };
    let named = LayerRequest {
        class_attribute: Some("klass".into()),
        ..of(Kind::Road)
    };
    for (text, wanted, says) in [
        (
            collection(""),
            of(Kind::Road),
            "found no feature at all; expected a file with roads",
        ),
        (
            one("LineString", METRES),
            of(Kind::Road),
            "feature 1: found coordinates 420000, 4800000",
        ),
        (
            one("LineString", METRES),
            of(Kind::Road),
            "metres of a map?",
        ),
        (
            one("Polygon", BOW),
            of(Kind::KeepOut),
            "crosses itself near 43.50000, -112.50000",
        ),
        (
            one("Point", "[-113,43]"),
            of(Kind::Lake),
            "1 features, none of them polygons",
        ),
        (
            one("LineString", LINE),
            named,
            "klass: found no such attribute; expected one of the attributes a",
        ),
        (
            "{\"type\":\"FeatureCollection\",\"features\":[".into(),
            of(Kind::Road),
            "line 1",
        ),
        (
            old("urn:ogc:def:crs:EPSG::26712"),
            of(Kind::Road),
            "crs: found EPSG:26712",
        ),
        (old("nonsense"), of(Kind::Road), "crs: found"),
        (
            one("LineString", "[[-113],[2]]"),
            of(Kind::Road),
            "feature 1",
        ),
        ("[]".into(), of(Kind::Road), "GeoJSON"),
    ] {
        let message = geojson(&text, &wanted).unwrap_err();
        assert!(message.contains(says), "{says}: {message}");
        assert!(message.contains("layer.geojson"), "{message}");
    }
    // Lakes are counted by odd and even; only areas that decide must be sound.
    let lake = geojson(&one("Polygon", BOW), &of(Kind::Lake)).unwrap();
    assert_eq!(found(&lake), [LayerFinding::Crossed { count: 1 }]);
    // A projection that is named is read.
    let road = geojson(&old("urn:ogc:def:crs:EPSG::26912"), &of(Kind::Road)).unwrap();
    let LayerFinding::NothingNear { nearest_m, .. } = found(&road)[1] else {
        panic!("{road:?}")
    };
    // From 43.6 N, 113 W to UTM_PLACE.
    assert!((nearest_m - 86_000.0).abs() < 1_500.0, "{nearest_m}");
}

/// A download of OpenStreetMap as Shapefiles has its classes under another name, paths and tracks among them.
#[test]
fn paths_are_no_roads_whatever_the_attribute_is_called() {
    let wanted = LayerRequest {
        class_attribute: Some("fclass".into()),
        ..of(Kind::Road)
    };
    let all = |words: &[&str]| {
        let one = |word: &&str| feature(&format!("\"fclass\":\"{word}\""), "LineString", LINE);
        let features: Vec<String> = words.iter().map(one).collect();
        geojson(&collection(&features.join(",")), &wanted)
    };
    let layer = all(&["primary", "footway", "track_grade2", "B 27"]).unwrap();
    let classes: Vec<RoadClass> = layer.lines.iter().map(|line| line.class).collect();
    assert_eq!(classes, [RoadClass::Primary, RoadClass::Unknown]);
    let found: Vec<LayerFinding> = layer.notes.iter().map(|note| note.found).collect();
    let [no_class, no_cars] = [
        LayerFinding::NoClass { count: 1 },
        LayerFinding::NotForCars { count: 2 },
    ];
    assert_eq!(found, [no_class, no_cars]);
    let message = all(&["steps", "path"]).unwrap_err();
    assert!(
        message.contains("2 features, none of them roads for cars"),
        "{message}"
    );
}

#[test]
fn unknown_formats_and_missing_files_are_told() {
    for (name, says) in [
        ("x.kml", "osm.pbf"),
        ("none.geojson", "cannot read"),
        ("none.shp", "cannot read"),
        ("none.fgb", "cannot read"),
        ("none.pbf", "cannot read"),
    ] {
        let message = read(Path::new(name), &of(Kind::Road), &region())
            .unwrap_err()
            .to_string();
        assert!(message.contains(says), "{message}");
    }
}

/// tests/data/ground/*.fgb: written by GDAL.
fn flatgeobuf(name: &str) -> PathBuf {
    Path::new("tests/data/ground").join(name)
}

#[test]
fn flatgeobuf_is_read_in_degrees_and_metres() {
    let layer = read(&flatgeobuf("road.fgb"), &of(Kind::Road), &region()).unwrap();
    assert_eq!(layer.lines[0].points, [[-113.0, 43.5], [-113.1, 43.6]]);
    assert_eq!(
        (layer.lines[0].class, layer.lines[0].name.as_str()),
        (RoadClass::Trunk, "US 20")
    );
    let layer = read(&flatgeobuf("lake.fgb"), &of(Kind::Lake), &region()).unwrap();
    assert_eq!(layer.areas[0].rings.len(), 2);
    let wide = Region::around(Position::new(43.6, -112.5).unwrap(), 100_000.0);
    let layer = read(&flatgeobuf("utm.fgb"), &of(Kind::River), &wide).unwrap();
    // By pyproj 3.7.2: 26912 to 4326.
    let [lon, lat] = layer.lines[0].points[0];
    assert!(
        (lon - UTM_PLACE[0]).abs() < 1e-7 && (lat - UTM_PLACE[1]).abs() < 1e-7,
        "{lon} {lat}"
    );
    let message = read(&flatgeobuf("bare.fgb"), &of(Kind::River), &wide)
        .unwrap_err()
        .to_string();
    assert!(message.contains("metres of a map?"), "{message}");
}

/// 420000, 4800000 in UTM zone 12 on NAD83, by pyproj 3.7.2.
const UTM_PLACE: [f64; 2] = [-111.987_090_166_421_18, 43.348_595_708_584_23];
const UTM_12: &str = r#"PROJCS["NAD_1983_UTM_Zone_12N",GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",500000.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-111.0],PARAMETER["Scale_Factor",0.9996],PARAMETER["Latitude_Of_Origin",0.0],UNIT["Meter",1.0]]"#;

fn shapefile_of<S: shapefile::record::EsriShape>(folder: &Path, shape: &S) -> PathBuf {
    let path = folder.join("layer.shp");
    let table = TableWriterBuilder::new()
        .add_character_field("name".try_into().unwrap(), 20)
        .add_character_field("class".try_into().unwrap(), 20);
    let mut writer = shapefile::Writer::from_path(&path, table).unwrap();
    let mut record = Record::default();
    let text = |t: &str| FieldValue::Character(Some(t.to_owned()));
    record.insert("name".to_owned(), text("Snake"));
    record.insert("class".to_owned(), text("tertiary"));
    writer.write_shape_and_record(shape, &record).unwrap();
    path
}

#[test]
fn shapefiles_are_read_with_their_projection() {
    let folder = tempfile::tempdir().unwrap();
    let line = Polyline::new(vec![Point::new(-113.0, 43.5), Point::new(-113.1, 43.6)]);
    let path = shapefile_of(folder.path(), &line);
    let wanted = LayerRequest {
        class_attribute: Some("CLASS".into()),
        ..of(Kind::Road)
    };
    let layer = read(&path, &wanted, &region()).unwrap();
    assert_eq!(
        (layer.lines[0].class, layer.lines[0].name.as_str()),
        (RoadClass::Tertiary, "Snake")
    );

    let metres = Polyline::new(vec![
        Point::new(420_000.0, 4.8e6),
        Point::new(421_000.0, 4.8e6),
    ]);
    let path = shapefile_of(folder.path(), &metres);
    let message = read(&path, &wanted, &region()).unwrap_err().to_string();
    assert!(message.contains("metres of a map?"), "{message}");
    fs::write(folder.path().join("layer.prj"), UTM_12).unwrap();
    let wide = Region::around(Position::new(43.6, -112.5).unwrap(), 100_000.0);
    let layer = read(&path, &wanted, &wide).unwrap();
    let [lon, lat] = layer.lines[0].points[0];
    assert!((lon - UTM_PLACE[0]).abs() < 1e-7 && (lat - UTM_PLACE[1]).abs() < 1e-7);
    fs::remove_file(folder.path().join("layer.prj")).unwrap();

    let ring = |w: f64, s: f64, side: f64| {
        [[0.0, 0.0], [0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]]
            .map(|[x, y]| Point::new(w + side * x, s + side * y))
            .to_vec()
    };
    let polygon = Polygon::with_rings(vec![
        PolygonRing::Outer(ring(-113.2, 43.2, 0.4)),
        PolygonRing::Inner(ring(-113.1, 43.3, 0.2)),
    ]);
    let path = shapefile_of(folder.path(), &polygon);
    let layer = read(&path, &of(Kind::KeepOut), &region()).unwrap();
    let map = GroundMap::new(region(), &[layer]).unwrap();
    let at = |lat: f64, lon: f64| Position::new(lat, lon).unwrap().normal();
    assert_eq!(
        map.areas_holding(Class::KeepOut, at(43.25, -113.15)),
        ["Snake"]
    );
    assert!(
        map.areas_holding(Class::KeepOut, at(43.4, -113.0))
            .is_empty()
    );
}

/// As from a card or a program that knew capitals only.
#[test]
fn what_belongs_to_a_shapefile_may_have_its_name_in_capitals() {
    let folder = tempfile::tempdir().unwrap();
    let line = Polyline::new(vec![
        Point::new(420_000.0, 4.8e6),
        Point::new(421_000.0, 4.8e6),
    ]);
    let path = shapefile_of(folder.path(), &line);
    fs::write(folder.path().join("layer.prj"), UTM_12).unwrap();
    for extension in ["shp", "dbf", "prj"] {
        let capitals = path.with_extension(extension.to_uppercase());
        fs::rename(path.with_extension(extension), capitals).unwrap();
    }
    let wide = Region::around(Position::new(43.6, -112.5).unwrap(), 100_000.0);
    let layer = read(&path.with_extension("SHP"), &of(Kind::River), &wide).unwrap();
    assert_eq!(layer.lines[0].name, "Snake");
}

/// The mark of a table tells how its letters are written; a file beside it tells better.
#[test]
fn names_of_a_shapefile_keep_their_letters() {
    let folder = tempfile::tempdir().unwrap();
    let line = Polyline::new(vec![Point::new(-113.0, 43.5), Point::new(-113.1, 43.6)]);
    let path = shapefile_of(folder.path(), &line);
    let table = path.with_extension("dbf");
    let whole = fs::read(&table).unwrap();
    let at = whole.windows(5).position(|five| five == b"Snake").unwrap();
    let (latin, utf8) = (&b"\xc5pl\xe4n"[..], "Å".as_bytes());
    for (mark, beside, bytes, name) in [
        (0x57, None, latin, "Åplän"),
        (0x03, None, latin, "Åplän"),
        (0x00, Some("ISO-8859-1"), latin, "Åplän"),
        (0x00, None, utf8, "Åake"),
        (0x57, Some("UTF-8"), utf8, "Åake"),
        (0x57, Some("UTF8"), utf8, "Åake"),
        (0x00, Some("LATIN1"), latin, "Åplän"),
        (0x00, Some("ANSI 1252"), latin, "Åplän"),
        (0x00, Some("Windows-1252"), latin, "Åplän"),
        (0x57, Some("CP65001"), utf8, "Åake"),
        // A page of DOS costs the names their letters, not the layer its lines.
        (0x02, None, &b"\x8fake"[..], "\u{fffd}akee"),
    ] {
        let mut changed = whole.clone();
        changed[29] = mark;
        changed[at..at + bytes.len()].copy_from_slice(bytes);
        fs::write(&table, changed).unwrap();
        let page = path.with_extension("cpg");
        match beside {
            Some(text) => fs::write(page, text).unwrap(),
            None => drop(fs::remove_file(page)),
        }
        let layer = read(&path, &of(Kind::River), &region()).unwrap();
        assert_eq!(layer.lines[0].name, name, "{mark:#x} {beside:?}");
    }
}

/// A row that is marked as deleted still has its shape, which goes with it.
#[test]
fn deleted_rows_of_a_shapefile_take_their_shapes_with_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("layer.shp");
    let table = TableWriterBuilder::new().add_character_field("name".try_into().unwrap(), 20);
    let mut writer = shapefile::Writer::from_path(&path, table).unwrap();
    for (k, name) in ["One", "Two", "Three"].into_iter().enumerate() {
        let lat = 43.5 + 0.1 * k as f64;
        let line = Polyline::new(vec![Point::new(-113.0, lat), Point::new(-113.1, lat)]);
        let mut record = Record::default();
        let text = FieldValue::Character(Some(name.to_owned()));
        record.insert("name".to_owned(), text);
        writer.write_shape_and_record(&line, &record).unwrap();
    }
    drop(writer);
    let rows = folder.path().join("layer.dbf");
    let mut bytes = fs::read(&rows).unwrap();
    let [heading, row] = [8, 10].map(|i| usize::from(u16::from_le_bytes([bytes[i], bytes[i + 1]])));
    bytes[heading + row] = b'*';
    fs::write(&rows, bytes).unwrap();
    let layer = read(&path, &of(Kind::River), &region()).unwrap();
    let lines: Vec<(&str, f64)> = layer
        .lines
        .iter()
        .map(|line| (line.name.as_str(), line.points[0][1]))
        .collect();
    assert_eq!(lines, [("One", 43.5), ("Three", 43.7)]);
}

/// A lake whose outline is two ways, with an island, a road that leaves the extract, a power line,
/// a town.
fn extract(folder: &Path) -> PathBuf {
    let path = folder.join("x.osm.pbf");
    let none = &[][..];
    let nodes = [
        (1, -113.2, 43.4, none),
        (2, -113.0, 43.4, none),
        (3, -113.0, 43.6, none),
        (4, -113.2, 43.6, none),
        (5, -113.15, 43.45, none),
        (6, -113.05, 43.45, none),
        (7, -113.1, 43.55, none),
        (8, -112.9, 43.5, &[("place", "town"), ("name", "Arco")]),
        (9, -112.8, 43.5, none),
        (20, 10.0, 50.0, none),
    ];
    let block = Block::new()
        .nodes(&nodes)
        .way(100, &[1, 2, 3], &[])
        .way(101, &[1, 4, 3], &[])
        .way(102, &[5, 6, 7, 5], &[])
        .way(
            103,
            &[8, 9, 999],
            &[("highway", "primary_link"), ("name", "US 20")],
        )
        .way(104, &[1, 9], &[("power", "line")])
        .way(105, &[8, 9], &[("highway", "footway")])
        .way(106, &[20, 20], &[("highway", "motorway")])
        .relation(
            200,
            &[100, 101, 102],
            &[
                ("type", "multipolygon"),
                ("natural", "water"),
                ("name", "Mud Lake"),
            ],
        );
    fs::write(&path, [heading(), block.blob()].concat()).unwrap();
    path
}

/// Its nodes end at 43.4 N and 113.2 W; one far away in the north-east hides that most end there, too.
#[test]
fn an_extract_that_does_not_hold_the_region_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = extract(folder.path());
    let found = |lat: f64, lon: f64, reach_m: f64| {
        let region = Region::around(Position::new(lat, lon).unwrap(), reach_m);
        let layers = read_osm(&path, &region).unwrap();
        let notes: Vec<_> = layers.into_iter().flat_map(|layer| layer.notes).collect();
        input_notes::of_layers(&notes, UnitSystem::Metric)
    };
    assert_eq!(
        found(43.5, -113.0, 30_000.0),
        ["x.osm.pbf, all kinds: the file ends at 43.40 N and 113.20 W: beyond, it tells nothing"]
    );
    let region = Region::around(Position::new(43.5, -113.0).unwrap(), 30_000.0);
    let map = GroundMap::new(region, &read_osm(&path, &region).unwrap()).unwrap();
    let verdict = |lat: f64| {
        let found = check(&map, Position::new(lat, -113.0).unwrap(), &default_limits());
        let name = Class::PowerLine.name();
        found.iter().find(|f| f.name == name).unwrap().verdict
    };
    assert_eq!(verdict(43.42), SiteVerdict::FarEnough);
    assert_eq!(verdict(43.35), SiteVerdict::Unknown);
    assert!(found(43.5, -113.0, 5_000.0).is_empty());
    let near = found(42.5, -113.0, 50_000.0);
    assert!(
        near[0].contains("all kinds: nothing within 50.0 km"),
        "{near:?}"
    );
    assert_eq!(near.len(), 1);
}

#[test]
fn an_extract_of_many_kinds_says_where_it_has_none_of_another() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("z.osm.pbf");
    let nodes = [
        (1, -112.9, 43.4, &[][..]),
        (2, -112.9, 43.6, &[][..]),
        (3, -112.8, 43.5, &[("place", "town"), ("name", "Arco")][..]),
    ];
    let block = Block::new()
        .nodes(&nodes)
        .way(4, &[1, 2], &[("power", "line")])
        .way(5, &[2, 3], &[("highway", "primary")]);
    let heading = heading_of([-114.0, -112.0, 44.0, 43.0]);
    fs::write(&path, [heading, block.blob()].concat()).unwrap();
    let region = Region::around(Position::new(43.5, -113.0).unwrap(), 30_000.0);
    for layer in read_osm(&path, &region).unwrap() {
        assert_eq!(layer.covers.is_some(), layer.is_empty(), "{:?}", layer.kind);
    }
}

/// At a coast, or in a file of few features, nodes end long before the extract does: its heading tells better.
#[test]
fn an_extract_holds_what_its_heading_says() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("y.osm.pbf");
    let nodes = [(1, -112.9, 43.4, &[][..]), (2, -112.9, 43.6, &[][..])];
    let block = Block::new()
        .nodes(&nodes)
        .way(3, &[1, 2], &[("power", "line")]);
    let layers = |sides: [f64; 4], lat: f64, lon: f64| {
        fs::write(&path, [heading_of(sides), block.blob()].concat()).unwrap();
        let region = Region::around(Position::new(lat, lon).unwrap(), 30_000.0);
        (region, read_osm(&path, &region).unwrap())
    };
    let notes = |layers: Vec<Layer>| {
        let notes: Vec<_> = layers.into_iter().flat_map(|layer| layer.notes).collect();
        input_notes::of_layers(&notes, UnitSystem::Metric)
    };
    let (region, whole) = layers([-114.0, -112.0, 44.0, 43.0], 43.5, -113.0);
    let map = GroundMap::new(region, &whole).unwrap();
    let west = check(
        &map,
        Position::new(43.5, -113.2).unwrap(),
        &default_limits(),
    );
    let lines = west.iter().find(|f| f.name == Class::PowerLine.name());
    assert_eq!(lines.unwrap().verdict, SiteVerdict::FarEnough);
    // It may have been filtered to power lines, and says of nothing else that there is none.
    assert!(whole.iter().all(|layer| layer.covers.is_none()));
    assert!(notes(whole).is_empty());
    let (_, part) = layers([-113.0, -112.0, 44.0, 43.0], 43.5, -113.0);
    assert_eq!(notes(part).len(), 1);
    // On the other turn of the earth, across the antimeridian, and all round it.
    for sides in [
        [246.0, 248.0, 44.0, 43.0],
        [170.0, -110.0, 44.0, 43.0],
        [-180.0, 180.0, 90.0, -90.0],
    ] {
        assert!(notes(layers(sides, 43.5, -113.0).1).is_empty(), "{sides:?}");
    }
    // What is no box says nothing.
    let covers =
        |layers: &[Layer]| format!("{:?}", layers.iter().map(|l| &l.covers).collect::<Vec<_>>());
    let (region, odd) = layers([0.0; 4], 43.5, -113.0);
    fs::write(&path, [heading(), block.blob()].concat()).unwrap();
    assert_eq!(covers(&odd), covers(&read_osm(&path, &region).unwrap()));
}

#[test]
fn openstreetmap_extracts_give_all_kinds() {
    let folder = tempfile::tempdir().unwrap();
    let path = extract(folder.path());
    let layers = read_osm(&path, &region()).unwrap();
    let of_kind = |kind: Kind| layers.iter().find(|l| l.kind == kind).unwrap();
    let road = &of_kind(Kind::Road).lines;
    assert_eq!(
        (road.len(), road[0].class, road[0].name.as_str()),
        (1, RoadClass::Primary, "US 20")
    );
    assert_eq!(road[0].points, [[-112.9, 43.5], [-112.8, 43.5]]);
    assert_eq!(of_kind(Kind::PowerLine).lines.len(), 1);
    assert_eq!(of_kind(Kind::Place).spots[0].name, "Arco");
    let lake = &of_kind(Kind::Lake).areas;
    assert_eq!(
        (lake.len(), lake[0].rings.len(), lake[0].name.as_str()),
        (1, 2, "Mud Lake")
    );
    let map = GroundMap::new(region(), &layers).unwrap();
    let at = |lat: f64, lon: f64| Position::new(lat, lon).unwrap().normal();
    assert_eq!(
        map.areas_holding(Class::Lake, at(43.42, -113.1)),
        ["Mud Lake"]
    );
    assert!(
        map.areas_holding(Class::Lake, at(43.5, -113.1)).is_empty(),
        "the island"
    );
    let only = read(&path, &of(Kind::Road), &region()).unwrap();
    assert_eq!(&only.lines, road);
    let message = read(&path, &of(Kind::KeepOut), &region())
        .unwrap_err()
        .to_string();
    assert!(message.contains("all sorts of things"), "{message}");
}

/// The region lies wholly in a lake, and no node of its shore in the region; another lake lies beside it.
#[test]
fn a_lake_around_the_whole_region_counts() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.osm.pbf");
    let none = &[][..];
    let corners = |first: i64, lon: f64, half_lon: f64, half_lat: f64| {
        let signs = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
        (first..)
            .zip(signs)
            .map(move |(id, (x, y))| (id, lon + x * half_lon, 43.6 + y * half_lat, none))
    };
    // Around the region, around its middle with a shore of two ways, and only east of it.
    let nodes: Vec<_> = corners(1, -113.0, 0.3, 0.2)
        .chain(corners(11, -113.0, 0.25, 0.15))
        .chain(corners(21, -112.7, 0.1, 0.2))
        .collect();
    let water = &[("natural", "water"), ("name", "Lake of Nothing")][..];
    let block = Block::new()
        .nodes(&nodes)
        .way(100, &[1, 2, 3, 4, 1], water)
        .way(101, &[11, 12, 13], &[])
        .way(102, &[13, 14, 11], &[])
        .way(103, &[21, 22, 23, 24, 21], water)
        .relation(
            200,
            &[101, 102],
            &[
                ("type", "multipolygon"),
                ("natural", "water"),
                ("name", "Two"),
            ],
        );
    fs::write(&path, [heading(), block.blob()].concat()).unwrap();
    let center = Position::new(43.6, -113.0).unwrap();
    let small = Region::around(center, 5_000.0);
    let layers = read_osm(&path, &small).unwrap();
    let lakes = layers.iter().find(|l| l.kind == Kind::Lake).unwrap();
    let names: Vec<&str> = lakes.areas.iter().map(|a| a.name.as_str()).collect();
    assert_eq!(names, ["Lake of Nothing", "Two"]);
    assert!(found(lakes).is_empty(), "{:?}", found(lakes));
    let map = GroundMap::new(small, &layers).unwrap();
    assert_eq!(map.areas_holding(Class::Lake, center.normal()).len(), 2);
}

#[test]
fn damaged_files_end_in_errors_or_layers() {
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("road.fgb");
    fs::copy(flatgeobuf("road.fgb"), &copy).unwrap();
    let line = Polyline::new(vec![Point::new(-113.0, 43.5), Point::new(-113.1, 43.6)]);
    for path in [
        extract(folder.path()),
        copy,
        shapefile_of(folder.path(), &line),
    ] {
        let whole = fs::read(&path).unwrap();
        for k in 0..300_usize {
            let mut bytes = whole.clone();
            let i = k * 7919 % bytes.len();
            bytes[i] ^= 1 << (k % 8);
            if k % 3 == 0 {
                bytes.truncate(i);
            }
            fs::write(&path, &bytes).unwrap();
            let _ = read(&path, &of(Kind::Road), &region());
        }
    }
}

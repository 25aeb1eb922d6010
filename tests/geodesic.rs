//! Distances and directions on WGS84, and the local plane, against published solutions.
//!
//! - Karney 2013, "Algorithms for geodesics", J. Geodesy 87, 43-55,
//!   doi:10.1007/s00190-012-0578-z: direct and inverse examples.
//! - geographiclib-python, documentation examples and test set (commit 045fa3d0).
//! - Geocentric Datum of Australia technical manual: Flinders Peak to Buninyong.
//! - Short lines computed outside this project with GeographicLib.

#![allow(
    clippy::unwrap_used,
    reason = "helpers of tests fail by panicking, too"
)]

#[path = "common/normals.rs"]
mod normals;

use normals::Normals;
use windfall::geodesy::{LocalFrame, Position, wrap_longitude};

fn at(lat: f64, lon: f64) -> Position {
    Position::new(lat, wrap_longitude(lon)).unwrap()
}

fn dms(degrees: f64, minutes: f64, seconds: f64) -> f64 {
    degrees + minutes / 60.0 + seconds / 3600.0
}

fn close(found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{found} is not {expected}"
    );
}

fn same_place(found: Position, expected: Position, tolerance_deg: f64) {
    close(found.lat_deg, expected.lat_deg, tolerance_deg);
    let turn = wrap_longitude(found.lon_deg - expected.lon_deg);
    close(turn, 0.0, tolerance_deg);
}

/// Azimuth at which a geodesic arrives: the reverse of the way back.
fn arrival(from: Position, to: Position) -> f64 {
    (to.azimuth_deg(from) + 180.0).rem_euclid(360.0)
}

#[test]
fn karney_2013() {
    let start = at(40.0, 0.0);
    let end = start.destination(30.0, 10_000_000.0);
    same_place(end, at(41.79331020506, 137.84490004377), 1e-11);
    close(arrival(start, end), 149.09016931807, 1e-10);

    // Nearly antipodal: where simpler methods fail to converge.
    let (a, b) = (at(-30.0, 0.0), at(29.9, 179.8));
    close(a.distance_m(b), 19_989_832.827_61, 1e-5);
    close(a.azimuth_deg(b), 161.89052473633, 1e-10);
    close(arrival(a, b), 18.09073724574, 1e-10);
}

#[test]
fn geographiclib_examples() {
    close(
        at(-41.32, 174.81).distance_m(at(40.96, -5.50)),
        19_959_679.267,
        1e-3,
    );
    same_place(
        at(-32.06, 115.74).destination(225.0, 20_000_000.0),
        at(32.11195529, -63.95925278),
        1e-8,
    );
    for (a, b, azimuths, distance_m) in [
        (
            at(35.60777, -139.44815),
            at(-11.17491, -69.95921),
            Some([111.098_748_429_560, 129.289_270_889_709]),
            8_935_244.560_481_83,
        ),
        (
            at(55.52454, 106.05087),
            at(77.03196, 197.18234),
            Some([22.020_059_880_983, 109.112_041_110_672]),
            4_105_086.171_392_44,
        ),
        (
            at(-25.72959, -144.90758),
            at(-57.70581, -269.17879),
            None,
            9_413_446.745_245_31,
        ),
    ] {
        close(a.distance_m(b), distance_m, 1e-5);
        if let Some([leaving, arriving]) = azimuths {
            close(a.azimuth_deg(b), leaving, 1e-9);
            close(arrival(a, b), arriving, 1e-9);
            same_place(a.destination(leaving, distance_m), b, 1e-9);
        }
    }
}

#[test]
fn flinders_peak_to_buninyong() {
    // The manual uses GRS80, whose flattening differs in the ninth digit: below 0.1 mm here. The
    // manual gives millimetres and hundredths of a second.
    let flinders = at(-dms(37.0, 57.0, 3.72030), dms(144.0, 25.0, 29.52440));
    let buninyong = at(-dms(37.0, 39.0, 10.15610), dms(143.0, 55.0, 35.38390));
    close(flinders.distance_m(buninyong), 54_972.271, 6e-4);
    let second = 1.0 / 3600.0;
    close(
        flinders.azimuth_deg(buninyong),
        dms(306.0, 52.0, 5.37),
        0.006 * second,
    );
    close(
        buninyong.azimuth_deg(flinders),
        dms(127.0, 10.0, 25.07),
        0.006 * second,
    );
}

#[test]
fn short_lines() {
    close(at(0.0, 0.0).distance_m(at(0.0, 1.0)), 111_319.490793, 1e-6);
    close(at(0.0, 0.0).distance_m(at(1.0, 0.0)), 110_574.388558, 1e-6);
    close(
        at(45.0, 0.0).distance_m(at(46.0, 0.0)),
        111_141.548474,
        1e-6,
    );
    close(at(52.0, 0.0).distance_m(at(52.0, 1.0)), 68_677.474790, 1e-6);
    close(at(52.0, 0.0).azimuth_deg(at(52.0, 1.0)), 89.605991, 1e-6);
    // The quarter meridian.
    close(
        at(0.0, 0.0).distance_m(at(90.0, 0.0)),
        10_001_965.729313,
        1e-6,
    );
    close(at(3.0, 4.0).distance_m(at(3.0, 4.0)), 0.0, 0.0);
}

#[test]
fn across_the_antimeridian() {
    same_place(
        at(-16.5, 179.5).destination(80.0, 120_000.0),
        at(-16.308784402, -179.394179802),
        1e-9,
    );
    close(
        at(-16.5, 179.5).distance_m(at(-16.3, -179.4)),
        119_566.808651,
        1e-6,
    );
}

#[test]
fn the_local_plane_against_geodesics() {
    // From the centre every distance and direction is true; between two points at distances r
    // the plane is off by up to a share of about r^2 / 6 R^2: 4e-5 within 100 km.
    let mut normals = Normals::new(8);
    for center in [
        at(39.42, -8.83),
        at(-89.7, 100.0),
        at(0.0, 180.0),
        at(71.0, -179.9),
    ] {
        let frame = LocalFrame::new(center);
        let pairs = normals.points(100, [0.0, 0.0], [[1.0, 0.0], [0.0, 1.0]]);
        for pair in pairs.chunks(2) {
            let place = |[u, v]: [f64; 2]| {
                let azimuth = v.atan2(u).to_degrees().rem_euclid(360.0);
                center.destination(azimuth, (30_000.0 * u.hypot(v)).min(100_000.0))
            };
            let (a, b) = (place(pair[0]), place(pair[1]));
            let (p, q) = (frame.to_plane(a), frame.to_plane(b));
            close(p[0].hypot(p[1]), center.distance_m(a), 1e-3);
            let azimuth = p[0].atan2(p[1]).to_degrees();
            close(wrap_longitude(azimuth - center.azimuth_deg(a)), 0.0, 1e-6);
            let planar = (p[0] - q[0]).hypot(p[1] - q[1]);
            close(planar / a.distance_m(b), 1.0, 5e-5);
        }
    }
}

//! A briefing as GPX 1.1: waypoints, the regions as routes, the flight as a track.

use geo::Coord;
use jiff::Timestamp;

use super::coordinates::{areas, clock, lon_lat, metres, track_lines};
use super::kml::marks;
use super::xml::Xml;
use crate::brief::Brief;
use crate::report::words::{self, region_name};
use crate::spread::region::GroundEllipse;
use crate::units::UnitSystem;

/// The briefing as GPX text.
pub fn text(brief: &Brief, units: UnitSystem) -> String {
    let mut gpx = Xml::new();
    let creator = format!("windfall {}", brief.zone.version);
    gpx.open(
        "gpx",
        &[
            ("xmlns", "http://www.topografix.com/GPX/1/1"),
            ("version", "1.1"),
            ("creator", &creator),
        ],
    );
    gpx.open("metadata", &[]);
    gpx.text("name", &words::title(brief));
    gpx.text("desc", &words::headline(brief, units));
    gpx.text("time", &clock(brief.made));
    gpx.close();
    waypoints(&mut gpx, brief, units);
    brief.zone.ellipses.iter().for_each(|e| route(&mut gpx, e));
    gpx.open("trk", &[]);
    gpx.text("name", "flight as planned");
    for piece in track_lines(&brief.zone.track) {
        // A segment for each side of the antimeridian: programs draw straight across their map.
        gpx.open("trkseg", &[]);
        for p in piece {
            let altitude_m = Some(p.altitude_m);
            point(&mut gpx, "trkpt", p.at, altitude_m, Some(p.time), None);
        }
        gpx.close();
    }
    gpx.finish()
}

/// Release, burst, landing and the points to wait at.
fn waypoints(gpx: &mut Xml, brief: &Brief, units: UnitSystem) {
    for (name, mark) in marks(brief) {
        let height = format!("{} above sea level", units.height(mark.altitude_m));
        let at = lon_lat(mark.position);
        let altitude_m = Some(metres(mark.altitude_m));
        let said = Some((name, height.as_str()));
        point(gpx, "wpt", at, altitude_m, Some(mark.time), said);
    }
    for waiting in &brief.wait.points {
        let name = words::waiting_name(waiting);
        let at = lon_lat(waiting.position);
        let why = words::why_there(waiting, units);
        point(gpx, "wpt", at, None, None, Some((&name, &why)));
    }
}

/// An ellipse as a closed route: GPX has no areas.
fn route(gpx: &mut Xml, ellipse: &GroundEllipse) {
    let name = region_name("ellipse", ellipse.shape.probability);
    // In pieces where the antimeridian cuts it, each a route of its own.
    for polygon in areas([[ellipse.ring.as_slice()]]) {
        gpx.open("rte", &[]);
        gpx.text("name", &name);
        for corner in &polygon.exterior().0 {
            point(gpx, "rtept", *corner, None, None, None);
        }
        gpx.close();
    }
}

/// The last longitude of seven decimals, a centimetre short of the antimeridian.
const BELOW_180_DEG: f64 = 179.999_999_9;

/// A point, its parts in the order of the schema.
fn point(
    gpx: &mut Xml,
    kind: &'static str,
    at: Coord,
    altitude_m: Option<f64>,
    time: Option<Timestamp>,
    name: Option<(&str, &str)>,
) {
    // The schema has longitudes from -180 up to but not including 180.
    // Not -180: a line that was cut at the antimeridian would jump round the earth.
    let lon = at.x.min(BELOW_180_DEG);
    gpx.open(
        kind,
        &[("lat", &at.y.to_string()), ("lon", &lon.to_string())],
    );
    if let Some(altitude_m) = altitude_m {
        gpx.text("ele", &altitude_m.to_string());
    }
    if let Some(time) = time {
        gpx.text("time", &clock(time));
    }
    if let Some((name, said)) = name {
        gpx.text("name", name);
        gpx.text("desc", said);
    }
    gpx.close();
}

//! A briefing as KML 2.2 (OGC 07-147r2), which every program that reads KML reads: a track is a line
//! with altitudes, with points at times beside it. What lies on the ground is clamped to it: heights
//! of ours and of a globe differ, and a landing would float or be buried.

use std::fmt::Write as _;

use geo::{Coord, LineString, Polygon};
use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::coordinates::{areas, clock, lon_lat, metres, track_lines};
use super::xml::Xml;
use crate::brief::Brief;
use crate::brief::answer::WaitingPoint;
use crate::clock::seconds_between;
use crate::report::palette::{Colour, GLOBE_AREA, GLOBE_CONTOUR, GLOBE_ELLIPSE, GLOBE_TRACK};
use crate::report::words::{self, region_name};
use crate::spread::region::{GroundContour, GroundEllipse};
use crate::units::UnitSystem;
use crate::zone::Mark;

/// Minutes between the timed points of the track.
const POINT_EVERY_MIN: i64 = 10;

/// The briefing as KML text.
pub fn text(brief: &Brief, units: UnitSystem) -> String {
    let said = format!(
        "{} {}",
        words::headline(brief, units),
        words::provenance(brief)
    );
    let mut kml = begun(&words::title(brief), &said);
    folder(&mut kml, "Flight as planned", |kml| {
        track(kml, &brief.zone.track);
        for (name, mark) in marks(brief) {
            let height = match name {
                "burst" => Height::Flown,
                // Release and landing are on the ground, wherever a globe has that.
                _ => Height::OnGround,
            };
            point_at(kml, name, mark, height, units);
        }
    });
    folder(&mut kml, "Positions by time", |kml| {
        for mark in timed(&brief.zone.track, &brief.timezone) {
            let name = words::clock_time(mark.time, &brief.timezone);
            point_at(kml, &name, &mark, Height::Flown, units);
        }
    });
    folder(&mut kml, "Landing zone", |kml| {
        brief.zone.ellipses.iter().for_each(|e| ellipse(kml, e));
        brief.zone.contours.iter().for_each(|c| contour(kml, c));
    });
    folder(&mut kml, "Where to wait", |kml| {
        brief
            .wait
            .points
            .iter()
            .for_each(|w| waiting(kml, w, units));
    });
    kml.finish()
}

/// A document with its name, its description and the styles of track and areas.
pub(super) fn begun(name: &str, said: &str) -> Xml {
    let mut kml = Xml::new();
    kml.open("kml", &[("xmlns", "http://www.opengis.net/kml/2.2")]);
    kml.open("Document", &[]);
    kml.text("name", name);
    kml.text("description", said);
    line_style(&mut kml, "track", &kml_colour(GLOBE_TRACK, 0xff), 3.0);
    for (name, line, area, opacity, width) in [
        // So faint that the ground stays to be seen, also where the ellipses overlap.
        ("inner", GLOBE_ELLIPSE, GLOBE_AREA, 0x18, 2.0),
        ("outer", GLOBE_ELLIPSE, GLOBE_AREA, 0x10, 4.0),
        ("contour", GLOBE_CONTOUR, GLOBE_CONTOUR, 0, 2.0),
    ] {
        let line = kml_colour(line, 0xff);
        area_style(&mut kml, name, &line, &kml_colour(area, opacity), width);
    }
    kml
}

/// A mark at its height.
pub(super) fn mark(kml: &mut Xml, name: &str, mark: &Mark, units: UnitSystem) {
    point_at(kml, name, mark, Height::Flown, units);
}

/// A place on the ground.
pub(super) fn spot(kml: &mut Xml, name: &str, said: &str, at: Coord) {
    point(kml, name, said, None, Height::OnGround, &tuple(at, None));
}

/// The three marks with their names.
pub fn marks(brief: &Brief) -> [(&'static str, &Mark); 3] {
    [
        ("release", &brief.zone.release),
        ("burst", &brief.zone.burst),
        ("landing", &brief.zone.landing),
    ]
}

/// Where a track is at every whole ten minutes of a clock.
pub fn timed(track: &[Mark], clock: &TimeZone) -> Vec<Mark> {
    let Some(first) = track.first() else {
        return Vec::new();
    };
    // Clocks differ from UTC by whole minutes, but not all by whole ten.
    // That at the release does for all: a change of clocks is by whole half hours.
    let offset_s = i64::from(clock.to_offset(first.time).seconds());
    let step_s = 60 * POINT_EVERY_MIN;
    let local_s = first.time.as_second() + offset_s;
    // The first after the release, which has a point of its own.
    let mut second = (local_s.div_euclid(step_s) + 1) * step_s - offset_s;
    let mut found = Vec::new();
    for leg in track.windows(2) {
        while let Ok(time) = Timestamp::from_second(second)
            && time <= leg[1].time
        {
            found.extend(on_leg(&leg[0], &leg[1], time));
            second += step_s;
        }
    }
    found
}

/// The place between two marks at a time.
fn on_leg(a: &Mark, b: &Mark, time: Timestamp) -> Option<Mark> {
    let whole_s = seconds_between(a.time, b.time);
    // Marks of one moment have no time between them to be a share of.
    if whole_s <= 0.0 {
        return None;
    }
    let share = seconds_between(a.time, time) / whole_s;
    // Along the geodesic: degrees in between are not linear beside a pole or the antimeridian.
    let way_m = share * a.position.distance_m(b.position);
    Some(Mark {
        position: a
            .position
            .destination(a.position.azimuth_deg(b.position), way_m),
        altitude_m: a.altitude_m + share * (b.altitude_m - a.altitude_m),
        time,
    })
}

fn folder(kml: &mut Xml, name: &str, fill: impl FnOnce(&mut Xml)) {
    kml.open("Folder", &[]);
    kml.text("name", name);
    fill(kml);
    kml.close();
}

/// A colour as KML writes it, aabbggrr.
fn kml_colour(colour: Colour, opacity: u8) -> String {
    let [red, green, blue] = colour.channels();
    format!("{opacity:02x}{blue:02x}{green:02x}{red:02x}")
}

fn line_style(kml: &mut Xml, id: &str, color: &str, width: f64) {
    kml.open("Style", &[("id", id)]);
    line(kml, color, width);
    kml.close();
}

fn area_style(kml: &mut Xml, id: &str, color: &str, fill: &str, width: f64) {
    kml.open("Style", &[("id", id)]);
    line(kml, color, width);
    kml.open("PolyStyle", &[]);
    kml.text("color", fill);
    kml.close();
    kml.close();
}

fn line(kml: &mut Xml, color: &str, width: f64) {
    kml.open("LineStyle", &[]);
    kml.text("color", color);
    kml.text("width", &width.to_string());
    kml.close();
}

pub(super) fn track(kml: &mut Xml, track: &[Mark]) {
    for piece in track_lines(track) {
        kml.open("Placemark", &[]);
        kml.text("name", "track");
        if let (Some(first), Some(last)) = (piece.first(), piece.last()) {
            kml.open("TimeSpan", &[]);
            kml.text("begin", &clock(first.time));
            kml.text("end", &clock(last.time));
            kml.close();
        }
        kml.text("styleUrl", "#track");
        kml.open("LineString", &[]);
        // Above sea level, as the heights of a track are.
        kml.text("altitudeMode", "absolute");
        let points = piece.iter().map(|p| tuple(p.at, Some(p.altitude_m)));
        kml.text("coordinates", &points.collect::<Vec<_>>().join(" "));
        kml.close();
        kml.close();
    }
}

/// What a point's height means to a globe.
#[derive(Clone, Copy)]
enum Height {
    /// It flies there.
    Flown,
    /// It lies on the ground, wherever the globe has that.
    OnGround,
}

impl Height {
    fn mode(self) -> &'static str {
        match self {
            Height::Flown => "absolute",
            Height::OnGround => "clampToGround",
        }
    }
}

fn point_at(kml: &mut Xml, name: &str, mark: &Mark, height: Height, units: UnitSystem) {
    let said = format!(
        "{} above sea level, {}",
        units.height(mark.altitude_m),
        words::utc_clock(mark.time)
    );
    let at = tuple(lon_lat(mark.position), Some(metres(mark.altitude_m)));
    point(kml, name, &said, Some(mark.time), height, &at);
}

pub(super) fn waiting(kml: &mut Xml, point_: &WaitingPoint, units: UnitSystem) {
    let name = words::waiting_name(point_);
    let why = words::why_there(point_, units);
    let at = tuple(lon_lat(point_.position), None);
    point(kml, &name, &why, None, Height::OnGround, &at);
}

fn point(kml: &mut Xml, name: &str, said: &str, time: Option<Timestamp>, height: Height, at: &str) {
    kml.open("Placemark", &[]);
    kml.text("name", name);
    kml.text("description", said);
    if let Some(time) = time {
        kml.open("TimeStamp", &[]);
        kml.text("when", &clock(time));
        kml.close();
    }
    kml.open("Point", &[]);
    kml.text("altitudeMode", height.mode());
    kml.text("coordinates", at);
    kml.close();
    kml.close();
}

pub(super) fn ellipse(kml: &mut Xml, ellipse: &GroundEllipse) {
    let p = ellipse.shape.probability;
    let style = if p > 0.5 { "#outer" } else { "#inner" };
    let name = region_name("ellipse", p);
    area(kml, &name, style, &areas([[ellipse.ring.as_slice()]]));
}

pub(super) fn contour(kml: &mut Xml, contour: &GroundContour) {
    let rings = contour.polygons.iter().map(|polygon| {
        std::iter::once(&polygon.exterior)
            .chain(&polygon.holes)
            .map(Vec::as_slice)
    });
    let name = region_name("contour", contour.probability);
    area(kml, &name, "#contour", &areas(rings));
}

fn area(kml: &mut Xml, name: &str, style: &str, polygons: &[Polygon]) {
    kml.open("Placemark", &[]);
    kml.text("name", name);
    kml.text("styleUrl", style);
    // One entry in a viewer's list, also where the antimeridian cuts a region in two.
    kml.open("MultiGeometry", &[]);
    for polygon in polygons {
        kml.open("Polygon", &[]);
        // Else the straight edge between two corners would dive under a hill.
        kml.text("tessellate", "1");
        kml.text("altitudeMode", "clampToGround");
        boundary(kml, "outerBoundaryIs", polygon.exterior());
        for hole in polygon.interiors() {
            boundary(kml, "innerBoundaryIs", hole);
        }
        kml.close();
    }
    kml.close();
    kml.close();
}

fn boundary(kml: &mut Xml, name: &'static str, ring: &LineString) {
    kml.open(name, &[]);
    kml.open("LinearRing", &[]);
    let points: Vec<String> = ring.0.iter().map(|&c| tuple(c, None)).collect();
    kml.text("coordinates", &points.join(" "));
    kml.close();
    kml.close();
}

/// Longitude, latitude and, if there is one, altitude in metres.
fn tuple(at: Coord, altitude_m: Option<f64>) -> String {
    let mut text = format!("{},{}", at.x, at.y);
    if let Some(altitude_m) = altitude_m {
        let _ = write!(text, ",{altitude_m}");
    }
    text
}

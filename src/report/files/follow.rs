//! A flight that is followed, for maps: GeoJSON, and KML with a link that viewers load again and again.

use geojson::Feature;
use serde_json::json;

use super::coordinates::{clock, lon_lat, metres, round};
use super::geojson::{
    ellipse_with, gathered, mark_feature, polygons_feature, spot_feature, track_feature,
};
use super::kml;
use super::xml::Xml;
use crate::brief::answer::WaitingPoint;
use crate::follow::answer::Standing;
use crate::report::extent::Extent;
use crate::report::follow_words::{doing, note};
use crate::report::tables;
use crate::spread::region::GroundPolygon;
use crate::units::UnitSystem;
use jiff::tz::TimeZone;

/// How a flight stands as GeoJSON: the track so far, the last fix, where it lands with ellipses and contours, where
/// it may be now; besides the words of the notes.
pub fn geojson(standing: &Standing, units: UnitSystem) -> String {
    let mut features: Vec<(Feature, Extent)> = Vec::new();
    features.extend(track_feature(&standing.track));
    features.extend(
        standing
            .last
            .as_ref()
            .map(|l| mark_feature("last", &l.mark)),
    );
    features.extend(standing.burst.as_ref().map(|m| mark_feature("burst", m)));
    if let Some(landing) = &standing.landing {
        let [early, middle, late] = <[_; 3]>::from(landing.times).map(|t| json!(clock(t)));
        features.push(spot_feature(
            "landing",
            landing.center,
            [("time", middle), ("earliest", early), ("latest", late)],
        ));
        features.extend(landing.ellipses.iter().map(|e| ellipse_with(e, [])));
        features.extend(landing.contours.iter().map(|c| {
            let properties = [
                ("probability", json!(c.probability)),
                ("held", json!(round(c.held, 6))),
                ("area_km2", json!(round(c.area_m2 / 1e6, 6))),
            ];
            polygons_feature("contour", &c.polygons, properties)
        }));
    }
    if let Some(now) = &standing.now {
        let radius = ("radius_m", json!(metres(now.radius_m)));
        features.push(spot_feature("now", now.center, [radius]));
    }
    if let Some(search) = &standing.search {
        let center = lon_lat(search.center);
        let ring = GroundPolygon {
            exterior: search.ring.clone(),
            holes: Vec::new(),
        };
        let properties = [
            ("radius_m", json!(metres(search.radius_m))),
            ("center", json!([center.x, center.y])),
        ];
        features.push(polygons_feature("search", &[ring], properties));
    }
    let notes: Vec<String> = standing.notes.iter().map(|n| note(n, units)).collect();
    let collection = gathered(
        features,
        [
            ("seed", json!(standing.seed)),
            ("version", json!(env!("CARGO_PKG_VERSION"))),
            ("draws", json!(standing.draws)),
            ("time", json!(clock(standing.time))),
            ("phase", json!(doing(standing))),
            ("assumptions", json!([])),
            ("notes", json!(notes)),
        ],
    );
    format!("{collection}\n")
}

/// KML that only says where the zone is: viewers load that file again every few seconds.
pub fn kml_link(file: &str) -> String {
    let mut kml = Xml::new();
    kml.open("kml", &[("xmlns", "http://www.opengis.net/kml/2.2")]);
    kml.open("NetworkLink", &[]);
    kml.text("name", "Flight that is followed");
    kml.open("Link", &[]);
    kml.text("href", file);
    kml.text("refreshMode", "onInterval");
    // As often as the page of the flight.
    kml.text("refreshInterval", "10");
    kml.finish()
}

/// How a flight stands as KML.
pub fn kml(
    standing: &Standing,
    waiting: &[WaitingPoint],
    zone: &TimeZone,
    units: UnitSystem,
) -> String {
    let said = tables::follow::view(standing, waiting, zone, units);
    let mut doc = kml::begun(&standing.name, &said);
    kml::track(&mut doc, &standing.track);
    if let Some(last) = &standing.last {
        let name = format!("last heard, {}", units.height(last.mark.altitude_m));
        kml::mark(&mut doc, &name, &last.mark, units);
    }
    if let Some(landing) = &standing.landing {
        let at = lon_lat(landing.center);
        kml::spot(
            &mut doc,
            "landing",
            &tables::follow::line(standing, zone, units),
            at,
        );
        landing
            .ellipses
            .iter()
            .for_each(|e| kml::ellipse(&mut doc, e));
        landing
            .contours
            .iter()
            .for_each(|c| kml::contour(&mut doc, c));
    }
    if let Some(search) = &standing.search {
        let said = tables::follow::searched(search, units);
        kml::spot(&mut doc, "search", &said, lon_lat(search.center));
    }
    for point in waiting {
        kml::waiting(&mut doc, point, units);
    }
    doc.finish()
}

//! A flight beside its prediction, for the club's records (CSV) and for maps (GeoJSON).

use geojson::Feature;
use serde_json::json;

use super::coordinates::{clock, metres, round};
use super::geojson::{ellipse_with, gathered, mark_feature, polygons_feature, track_feature};
use super::zone_csv::failed;
use crate::clock::seconds_between;
use crate::debrief::Debrief;
use crate::debrief::replay::Cause;
use crate::error::Result;
use crate::report::extent::Extent;
use crate::report::plain;

/// Names and values of a flight's row: SI units, degrees, ratios measured over planned; empty where not known.
pub(in crate::report) fn record(d: &Debrief) -> Vec<(String, String)> {
    let row = d.row();
    // Adding 0 turns -0 into 0.
    let number =
        |x: f64, decimals: usize| format!("{:.decimals$}", round(x, decimals as i32) + 0.0);
    let maybe = |x: Option<f64>, decimals| x.map_or(String::new(), |x| number(x, decimals));
    let degrees = |x: f64| number(x, 5);
    let m = |x: f64| number(x, 0);
    let held = d.held.as_ref();
    let (planned, landing) = (d.planned_landing.position, d.landing.position);
    let mut cells: Vec<(String, String)> = [
        ("name", plain::cell(&d.name).into_owned()),
        ("released_utc", clock(d.measured.released)),
        (
            "release_later_s",
            m(seconds_between(d.planned_release.time, d.measured.released)),
        ),
        ("planned_landing_lat_deg", degrees(planned.lat_deg)),
        ("planned_landing_lon_deg", degrees(planned.lon_deg)),
        ("landing_lat_deg", degrees(landing.lat_deg)),
        ("landing_lon_deg", degrees(landing.lon_deg)),
        ("landing_utc", clock(d.landing.time)),
        ("landing_heard", d.measured.landed.to_string()),
        ("drift_m", m(d.drift_m)),
        ("miss_m", m(d.miss_m)),
        ("miss_azimuth_deg", m(d.miss_azimuth_deg)),
        ("along_m", m(d.along_across_m[0])),
        ("across_right_m", m(d.along_across_m[1])),
        ("ellipse", maybe(held.and_then(|h| h.ellipse), 2)),
        ("contour", maybe(held.and_then(|h| h.contour), 2)),
        ("nearer_share", maybe(held.map(|h| h.nearer_share), 3)),
        ("energy_score_m", maybe(held.map(|h| h.energy_m.fair), 0)),
        ("mean_rise_m_s", number(d.next.mean_rate_m_s, 2)),
        ("rise_ratio", maybe(row.rate, 3)),
        (
            "burst_altitude_m",
            maybe(d.measured.burst.map(|b| b.altitude_m), 0),
        ),
        ("planned_burst_altitude_m", m(d.planned_burst.altitude_m)),
        ("burst_diameter_ratio", maybe(row.burst_diameter, 3)),
        ("landing_speed_m_s", maybe(d.next.landing_speed_m_s, 2)),
        ("fall_ratio", maybe(row.fall, 3)),
    ]
    .map(|(name, value)| (name.to_owned(), value))
    .to_vec();
    for (name, cause) in [
        ("release", Cause::Release),
        ("rise", Cause::Rise),
        ("burst", Cause::Burst),
        ("fall", Cause::Fall),
        ("winds", Cause::Winds),
    ] {
        let part = d.causes.iter().find(|p| p.cause == cause);
        for (k, side) in ["along_m", "across_right_m"].into_iter().enumerate() {
            let value = maybe(part.map(|p| p.along_across_m[k]), 0);
            cells.push((format!("{name}_{side}"), value));
        }
    }
    cells
}

/// The row with its line of names (RFC 4180).
///
/// # Errors
///
/// None that memory does not give.
pub fn csv(d: &Debrief) -> Result<String> {
    let (names, values): (Vec<String>, Vec<String>) = record(d).into_iter().unzip();
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record(names).map_err(failed)?;
    table.write_record(values).map_err(failed)?;
    let bytes = table
        .into_inner()
        .map_err(|e| failed(e.into_error().into()))?;
    Ok(String::from_utf8(bytes).unwrap_or_default())
}

/// Both flights and the zone as GeoJSON: what was flown has the kinds `flown`, `flown_burst` and `flown_landing`.
pub fn geojson(d: &Debrief) -> String {
    let mut features: Vec<(Feature, Extent)> = vec![
        mark_feature("release", &d.planned_release),
        mark_feature("burst", &d.planned_burst),
        mark_feature("landing", &d.planned_landing),
    ];
    let burst = d.measured.burst.as_ref();
    features.extend(burst.map(|burst| mark_feature("flown_burst", burst)));
    features.push(mark_feature("flown_landing", &d.landing));
    features.extend(track_feature(&d.zone.track));
    features.extend(
        track_feature(&d.measured.track).map(|(mut feature, extent)| {
            if let Some(properties) = &mut feature.properties {
                // Both tracks are made alike, so only their kinds tell them apart.
                properties.insert("kind".into(), json!("flown"));
            }
            (feature, extent)
        }),
    );
    features.extend(d.zone.ellipses.iter().map(|e| ellipse_with(e, [])));
    features.extend(d.zone.contours.iter().map(|c| {
        let properties = [
            ("probability", json!(c.probability)),
            ("held", json!(round(c.held, 6))),
            ("area_km2", json!(round(c.area_m2 / 1e6, 6))),
        ];
        polygons_feature("contour", &c.polygons, properties)
    }));
    let collection = gathered(
        features,
        [
            ("seed", json!(d.zone.seed)),
            ("version", json!(d.zone.version)),
            ("draws", json!(d.draws)),
            ("miss_m", json!(metres(d.miss_m))),
        ],
    );
    format!("{collection}\n")
}

//! GeoJSON: lines with altitudes and `times` beside them, as this program writes them, and points with a
//! `time`.

use serde_json::Value;

use super::fields::{What, report};
use super::{Outcome, Refusal};

/// Whether a value is GeoJSON.
pub fn is_one(value: &Value) -> bool {
    matches!(
        value.get("type").and_then(Value::as_str),
        Some("FeatureCollection" | "Feature")
    )
}

/// The reports of a document. Where features say their `kind`, only those of a track count.
pub fn read(value: &Value) -> Vec<Outcome> {
    if let Some(features) = value.get("features").and_then(Value::as_array) {
        let is_track = |f: &&Value| kind(f).is_none_or(|k| k == "track" || k == "fix");
        return features.iter().filter(is_track).flat_map(read).collect();
    }
    let geometry = value.get("geometry");
    let coordinates = geometry.and_then(|g| g.get("coordinates"));
    // The second name is that of converters from GPX.
    let times = member(value, "times").or_else(|| member(value, "coordTimes"));
    match (
        geometry.and_then(|g| g.get("type")).and_then(Value::as_str),
        coordinates,
    ) {
        (Some("Point"), Some(point)) => {
            vec![one(point, member(value, "time"), member(value, "tracker"))]
        }
        (Some("LineString"), Some(line)) => points(line, times),
        (Some("MultiLineString"), Some(Value::Array(lines))) => lines
            .iter()
            .enumerate()
            .flat_map(|(i, line)| points(line, times.and_then(|t| t.get(i))))
            .collect(),
        _ => Vec::new(),
    }
}

fn kind(feature: &Value) -> Option<&str> {
    member(feature, "kind")?.as_str()
}

fn member<'a>(feature: &'a Value, name: &str) -> Option<&'a Value> {
    feature.get("properties")?.get(name)
}

fn points(line: &Value, times: Option<&Value>) -> Vec<Outcome> {
    let Some(points) = line.as_array() else {
        return vec![Err(Refusal::Damaged)];
    };
    let numbered = points.iter().enumerate();
    numbered
        .map(|(i, point)| one(point, times.and_then(|t| t.get(i)), None))
        .collect()
}

fn one(point: &Value, time: Option<&Value>, tracker: Option<&Value>) -> Outcome {
    let text = |value: &Value| match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    };
    report(|asked| {
        let found = match asked {
            What::Longitude => point.get(0),
            What::Latitude => point.get(1),
            What::Altitude => point.get(2),
            What::Time => time,
            What::Tracker => tracker,
            _ => None,
        };
        Some((text(found?)?, 1.0))
    })
}

//! Soundings in JSON: lists of levels, each with its values by name, or a list of values for each name.
//!
//! There is no one form. Whatever holds names of a height or a pressure and of a wind is a sounding;
//! what stands around it tells station, place and time. Some servers write NaN, which JSON has not.

use serde_json::{Map, Value};

use super::around::Around;
use super::clean::Raw;
use super::columns::Columns;
use super::heading::{self, Heading, Quantity};
use super::table::Table;
use crate::error::{Fault, Result};
use crate::wind::sounding::Tally;

/// Deeper than this nothing is looked for.
const DEEPEST: usize = 12;

pub(super) fn looks_like(text: &str) -> bool {
    // Damaged or not: a message on what is wrong with it says more than that it is no format.
    let mut signs = text.chars().filter(|c| !c.is_whitespace());
    match (signs.next(), signs.next()) {
        (Some('{'), Some(next)) => matches!(next, '"' | '}'),
        (Some('['), Some(next)) => matches!(next, '{' | '[' | ']' | '"'),
        _ => false,
    }
}

/// Takes the soundings of a text apart.
pub(super) fn read(file: &str, text: &str, columns: &Columns) -> Vec<Result<Raw>> {
    let value = match value(file, text) {
        Ok(value) => value,
        Err(fault) => return vec![Err(fault)],
    };
    let mut tables = Vec::new();
    find(&value, &Around::default(), columns, DEEPEST, &mut tables);
    if tables.is_empty() {
        let expected = "levels with names of a height or a pressure and of a wind, as in \
                        {\"pressure_hPa\": 850, \"height_m\": 1470, \"wind_kt\": 21, \"wind_dir\": 230}";
        return vec![Err(
            Fault::new(file, "JSON without a sounding", expected).into()
        )];
    }
    let read = tables
        .into_iter()
        .flat_map(|table| table.read(file, columns));
    read.collect()
}

/// The value in a text; of several after each other, as with one a line, all as a list.
fn value(file: &str, text: &str) -> Result<Value> {
    let plain = without_nan(text);
    let values = serde_json::Deserializer::from_str(&plain).into_iter();
    let values: std::result::Result<Vec<Value>, _> = values.collect();
    let mut values = values.map_err(|wrong| {
        let expected = "JSON; is the file complete?";
        Fault::new(file, wrong.to_string(), expected).at_line(wrong.line())
    })?;
    Ok(match values.len() {
        1 => values.remove(0),
        _ => Value::Array(values),
    })
}

/// The text with `null` for the words that stand for no number, outside strings.
fn without_nan(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let (mut inside, mut escaped) = (false, false);
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let mut words = ["NaN", "-Infinity", "Infinity"].iter();
        let behind = words.find_map(|word| rest.strip_prefix(word).filter(|_| !inside));
        if let Some(behind) = behind {
            plain.push_str("null");
            rest = behind;
            continue;
        }
        inside ^= c == '"' && !escaped;
        escaped = inside && c == '\\' && !escaped;
        plain.push(c);
        rest = rest.split_at(c.len_utf8()).1;
    }
    plain
}

/// Finds tables in a value and what it holds, to a depth.
fn find(value: &Value, around: &Around, columns: &Columns, depth: usize, into: &mut Vec<Table>) {
    if depth == 0 {
        return;
    }
    match value {
        Value::Array(items) => match levels(items, columns) {
            Some(found) => into.push(table(found, around)),
            None => items
                .iter()
                .for_each(|item| find(item, around, columns, depth - 1, into)),
        },
        Value::Object(names) => {
            let mut here = Around::default();
            names
                .iter()
                .for_each(|(name, value)| learn(&mut here, name, value));
            let here = here.or(around);
            match lists(names, columns) {
                Some(found) => into.push(table(found, &here)),
                None => names
                    .values()
                    .for_each(|value| find(value, &here, columns, depth - 1, into)),
            }
        }
        _ => {}
    }
}

fn learn(around: &mut Around, name: &str, value: &Value) {
    match value {
        Value::String(text) => around.take(name, text),
        Value::Number(number) => around.take(name, &number.to_string()),
        // A place and the like of its own.
        Value::Object(inner) if !is_units(name) && !is_listener(name) => {
            inner
                .iter()
                // No deeper: what lies there is of something else.
                .filter(|(_, value)| !value.is_object())
                .for_each(|(name, value)| learn(around, name, value));
        }
        _ => {}
    }
}

/// Headings, their units and rows.
type Found = (Vec<String>, Vec<String>, Vec<Vec<String>>);

fn table((headings, units, rows): Found, around: &Around) -> Table {
    Table {
        line: 1,
        headings,
        units,
        rows: rows.into_iter().map(|row| (1, row)).collect(),
        headed: Vec::new(),
        decimal_comma: false,
        around: around.clone(),
        tally: Tally::default(),
    }
}

/// A list of levels, each with its values by name.
fn levels(items: &[Value], columns: &Columns) -> Option<Found> {
    let flat: Vec<Map<String, Value>> = items.iter().map(flat).collect::<Option<_>>()?;
    let mut names: Vec<String> = Vec::new();
    for name in flat.iter().flat_map(Map::keys) {
        // A few dozen names; a list of dictionaries is none.
        if !names.contains(name) {
            if names.len() > 200 {
                return None;
            }
            names.push(name.clone());
        }
    }
    if !is_sounding(&names, columns) {
        return None;
    }
    let row = |level: &Map<String, Value>| {
        let cell = |name: &String| level.get(name).map_or_else(String::new, cell);
        names.iter().map(cell).collect()
    };
    let rows = flat.iter().map(row).collect();
    Some((names, Vec::new(), rows))
}

/// A level's values, those one step down among them, as in the `properties` of a GeoJSON feature; of a value
/// with its unit, both.
fn flat(item: &Value) -> Option<Map<String, Value>> {
    let mut flat = Map::new();
    for (name, value) in item.as_object()? {
        match value {
            Value::Object(inner) if inner.contains_key("value") => {
                let unit = inner.iter().find(|(name, _)| is_units(name));
                let unit = unit.and_then(|unit| unit.1.as_str()).unwrap_or("");
                flat.insert(
                    format!("{name} {unit}").trim().to_owned(),
                    inner["value"].clone(),
                );
            }
            Value::Object(inner) => flat.extend(inner.clone()),
            _ => _ = flat.insert(name.clone(), value.clone()),
        }
    }
    flat.retain(|_, value| !value.is_array() && !value.is_object());
    Some(flat)
}

/// A list of values for each name, all equally long; lists of names that mean nothing here may be of any length.
fn lists(names: &Map<String, Value>, columns: &Columns) -> Option<Found> {
    let is_list = |list: &&Vec<Value>| list.iter().all(|v| !v.is_array() && !v.is_object());
    let lists: Vec<(&String, &Vec<Value>)> = names
        .iter()
        .filter_map(|(name, value)| Some((name, value.as_array().filter(is_list)?)))
        .collect();
    let means = |place: usize, name: &str| quantity(name, place, columns).is_some();
    let known = lists
        .iter()
        .enumerate()
        .find(|(i, (name, _))| means(*i, name));
    // The first list that means something says how long all such lists have to be.
    let length = known?.1.1.len();
    let lists: Vec<(&String, &Vec<Value>)> = lists
        .iter()
        .enumerate()
        .filter(|(i, (name, list))| list.len() == length || means(*i, name))
        .map(|(_, list)| *list)
        .collect();
    let headings: Vec<String> = lists.iter().map(|(name, _)| (*name).clone()).collect();
    if !is_sounding(&headings, columns) || lists.iter().any(|(_, list)| list.len() != length) {
        return None;
    }
    let units = names.iter().find(|(name, _)| is_units(name)).map(|u| u.1);
    let unit = |name: &String| {
        let unit = units.and_then(|units| units.get(name)?.as_str());
        unit.unwrap_or("").to_owned()
    };
    let row = |i: usize| {
        lists
            .iter()
            .filter_map(move |(_, list)| list.get(i).map(cell))
    };
    let rows = (0..length).map(|i| row(i).collect());
    let units = headings.iter().map(unit).collect();
    Some((headings.clone(), units, rows.collect()))
}

/// Whether a name is of who heard the sonde: what stands there is not of the sounding.
fn is_listener(name: &str) -> bool {
    const LISTENERS: [&str; 6] = [
        "receiver", "uploader", "listener", "observer", "antenna", "gateway",
    ];
    LISTENERS.contains(&name.to_ascii_lowercase().as_str())
}

fn is_units(name: &str) -> bool {
    ["units", "unit"].contains(&name.to_ascii_lowercase().as_str())
}

fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// What a name stands for: as it was told, else as it reads.
fn quantity(name: &str, place: usize, columns: &Columns) -> Option<Quantity> {
    match columns.of(name, place) {
        Some(told) => told.map(|(quantity, _)| quantity),
        None => match heading::read(name) {
            Heading::Known(quantity, _) | Heading::NoUnit(quantity) => Some(quantity),
            _ => None,
        },
    }
}

/// Whether some names are those of a wind and of its height, with or without their units.
fn is_sounding(names: &[String], columns: &Columns) -> bool {
    let quantities: Vec<Quantity> = names
        .iter()
        .enumerate()
        .filter_map(|(place, name)| quantity(name, place, columns))
        .collect();
    let any = |wanted: &[Quantity]| quantities.iter().any(|q| wanted.contains(q));
    any(&[Quantity::Speed, Quantity::East])
        && any(&[
            Quantity::Pressure,
            Quantity::Altitude,
            Quantity::Geopotential,
            Quantity::Height,
        ])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;
    use crate::notes::reading::Reading;
    use crate::sources::clean::clean;
    use crate::wind::sounding::Sounding;

    fn soundings(text: &str) -> Vec<Sounding> {
        let all = read("f", text, &Columns::default()).into_iter();
        all.map(|raw| clean(raw.unwrap()).unwrap()).collect()
    }

    fn message(text: &str) -> String {
        let read = read("f", text, &Columns::default()).remove(0);
        read.err().unwrap().to_string()
    }

    #[test]
    fn levels_with_their_values_by_name() {
        let text = r#"{"profiles": [{"station": "K\"NaN", "valid": "2011-04-14T18:00:00Z", "profile": [
            {"pres": 1000.0, "hght": 29.0, "tmpc": NaN, "drct": NaN, "sknt": NaN},
            {"pres": 963.0, "hght": 362.0, "tmpc": 27.2, "drct": 185.0, "sknt": 13.0},
            {"pres": 925.0, "hght": 697.0, "tmpc": 21.4, "drct": 195.0, "sknt": 24.0}]}]}"#;
        assert!(looks_like(text));
        let s = &soundings(text)[0];
        assert_eq!(s.name, "K\"NaN");
        assert_eq!(s.time.unwrap().to_string(), "2011-04-14T18:00:00Z");
        assert_eq!(s.levels.len(), 2);
        assert!((s.levels[1].wind.unwrap().speed_m_s() - 24.0 * 1852.0 / 3600.0).abs() < 1e-9);
        assert!(
            matches!(&s.tally.assumed[..], [Reading::UsualUnits { columns }, ..] if columns.iter().any(|c| c == "hght in m")),
            "{:?}",
            s.tally
        );
    }

    #[test]
    fn lists_with_units_beside_them_and_a_place_of_its_own() {
        let text = r#"{"location": {"latitude": 39.42, "longitude": -8.83}, "launch_time": "2022-10-14T12:00:00Z",
            "data": {"units": {"height": "m", "wind_speed": "km/h"},
            "height": [100, 500], "wind_speed": [36, 72], "wind_direction": [270, null]}}"#;
        let message = message(
            &text
                .replace("null", "280")
                .replace("\"wind_speed\": \"km/h\"", "\"x\": \"y\""),
        );
        assert!(
            message.contains("--columns \"wind_speed=wind speed m/s\""),
            "{message}"
        );
        let s = &soundings(&text.replace("null", "280"))[0];
        assert_eq!(s.position, Position::new(39.42, -8.83));
        assert!((s.levels[0].wind.unwrap().east_m_s - 10.0).abs() < 1e-9);
    }

    #[test]
    fn the_place_of_a_receiver_is_not_that_of_the_sounding() {
        let text = r#"{"receiver": {"name": "garden", "lat": 40.9, "lon": -7.1},
            "site": {"name": "Lisboa", "lat": 38.76, "lon": -9.13}, "levels": [
            {"altitude_m": 110, "u_m_s": 5, "v_m_s": 0}, {"altitude_m": 9000, "u_m_s": 25, "v_m_s": 0}]}"#;
        let s = &soundings(text)[0];
        assert_eq!(
            (s.name.as_str(), s.position),
            ("Lisboa", Position::new(38.76, -9.13))
        );
        let alone = text.replace("site", "antenna");
        assert_eq!(soundings(&alone)[0].position, None);
    }

    #[test]
    fn a_short_list_of_something_else_hinders_nothing_and_one_of_the_wind_does() {
        let text = r#"{"tags": ["a"], "height_m": [100, 500], "wind_speed_m_s": [10, 20], "wind_direction_deg": [270, 280]}"#;
        assert_eq!(soundings(text)[0].levels.len(), 2);
        let cut = text.replace("[10, 20]", "[10]");
        assert!(message(&cut).contains("JSON without a sounding"));
    }

    #[test]
    fn two_hours_in_one_list_are_two_ascents() {
        let level = |day: u32, z: u32| {
            format!(
                r#"{{"station": "KRIW", "valid": "2026-02-0{day}T00:00Z", "height_m": {z}, "u_m_s": {day}, "v_m_s": 0}}"#
            )
        };
        let of = |day| (0..20).map(move |i| level(day, 500 * i));
        let all: Vec<String> = of(5).chain(of(6)).collect();
        let found = soundings(&format!("[{}]", all.join(",")));
        let of = |s: &Sounding| {
            (
                s.time.unwrap().to_string(),
                s.levels[0].wind.unwrap().east_m_s,
            )
        };
        let told: Vec<_> = found.iter().map(of).collect();
        let at = |day: u32| (format!("2026-02-0{day}T00:00:00Z"), f64::from(day));
        assert_eq!(told, [at(5), at(6)]);
    }

    #[test]
    fn a_time_in_utc_stays_one_beside_the_zone_of_the_site() {
        let text = r#"{"timezone": "America/Denver", "launch_time_utc": "2026-02-05T12:00:00", "levels": [
            {"altitude_m": 110, "u_m_s": 5, "v_m_s": 0}, {"altitude_m": 9000, "u_m_s": 25, "v_m_s": 0}]}"#;
        let s = &soundings(text)[0];
        assert_eq!(s.time.unwrap().to_string(), "2026-02-05T12:00:00Z");
        assert!(!s.tally.assumed.contains(&Reading::TimesInUtc));
    }

    #[test]
    fn a_model_is_named() {
        let text = r#"{"model": "gfs_seamless", "levels": [{"altitude_m": 100, "u_m_s": 1, "v_m_s": 2},
            {"altitude_m": 200, "u_m_s": 3, "v_m_s": 4}]}"#;
        assert_eq!(soundings(text)[0].model.as_ref().unwrap().name, "GFS");
        let measured = text.replace("gfs_seamless", "RS41");
        assert!(soundings(&measured)[0].model.is_none());
    }

    #[test]
    fn levels_as_features() {
        let text = r#"[{"type": "Feature", "geometry": {"type": "Point", "coordinates": [1, 2, 3]},
            "properties": {"altitude_m": 100, "u_m_s": 1, "v_m_s": 2}},
            {"type": "Feature", "properties": {"altitude_m": 200, "u_m_s": 3, "v_m_s": 4}}]"#;
        let s = &soundings(text)[0];
        assert_eq!(s.levels[1].wind.unwrap().north_m_s, 4.0);
    }

    #[test]
    fn values_with_units_of_their_own_and_one_level_a_line() {
        let level = |z: u32| {
            format!(
                r#"{{"height": {{"value": {z}, "unit": "ft"}}, "windSpeed": {{"value": 10, "units": "kt"}}, "windDirection": {{"value": 270}}}}"#
            )
        };
        let s = &soundings(&format!("{}\n{}\n", level(1_000), level(2_000)))[0];
        assert!((s.levels[1].altitude_m - 609.6).abs() < 1e-9);
        assert!((s.levels[0].wind.unwrap().east_m_s - 18_520.0 / 3_600.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_sounding_is_told() {
        assert!(message("{\"a\": [1, 2]}").contains("JSON without a sounding"));
        assert!(!looks_like("[m] height") && !looks_like("{x} of y"));
        assert!(message("[{\"a\": 1").contains("is the file complete"));
        let deep = "[".repeat(100_000);
        assert!(
            message(&deep).contains("expected JSON"),
            "{}",
            message(&deep)
        );
    }
}

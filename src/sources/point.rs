//! Point forecasts in JSON: lists of values by the hour, above one place.
//!
//! Which key holds what is data: tables of keys in `point.toml` beside this file, and the one that
//! `windfall fetch` writes into what it saves. A profile for each time; a model computed them.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own rows"
)]

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::clean::{Raw, Row};
use super::text::date_time;
use crate::error::{Error, Fault, Result};
use crate::geodesy::Position;
use crate::notes::reading::Reading;
use crate::numeric::nearest_whole;
use crate::units::{Dimension, parse};
use crate::wind::sounding::{HeightSource, Model, Tally};

const BUILT_IN: &str = include_str!("point.toml");

/// Times that are read at most: a year of hours.
const MOST_TIMES: usize = 9_000;
/// Levels that are read at most.
const MOST_LEVELS: usize = 200;
/// The winds at the ground are at this height, m.
const WIND_M: f64 = 10.0;
/// Stands for the pressure in keys of levels.
const HPA: &str = "{hpa}";

/// Where the values of a point forecast stand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PointKeys {
    /// What to call it.
    pub model: String,
    /// Degrees north.
    pub latitude: String,
    /// Degrees east.
    pub longitude: String,
    /// Elevation of the ground, m.
    pub elevation: Option<String>,
    /// The list of times.
    pub times: String,
    /// Seconds east of UTC of times that do not say.
    pub offset: Option<String>,
    /// Units by the last name of a value's key.
    pub units: Option<String>,
    /// Wind speed on a level.
    pub speed: Values,
    /// Where the wind on a level comes from.
    pub from: Values,
    /// Geopotential height of a level.
    pub height: Option<Values>,
    /// Temperature on a level.
    pub temperature: Option<Values>,
    /// Relative humidity on a level.
    pub humidity: Option<Values>,
    /// Wind speed at 10 m.
    pub ground_speed: Option<Values>,
    /// Where the wind at 10 m comes from.
    pub ground_from: Option<Values>,
    /// Temperature at 2 m.
    pub ground_temperature: Option<Values>,
    /// Pressure at the ground.
    pub ground_pressure: Option<Values>,
}

/// Where the values of one quantity stand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Values {
    /// The key, with `{hpa}` for the level if there are levels.
    pub key: String,
    /// The unit where the answer tells none.
    pub unit: String,
}

impl PointKeys {
    /// Checks that keys and units can be what they should.
    ///
    /// # Errors
    ///
    /// What is wrong, and what would be right.
    pub fn check(&self) -> std::result::Result<(), (String, String)> {
        let levels = [Some(&self.speed), Some(&self.from)].into_iter();
        let more = [&self.height, &self.temperature, &self.humidity];
        for values in levels.chain(more.map(Option::as_ref)).flatten() {
            if values.key.matches(HPA).count() != 1 {
                let expected = format!("a key with one {HPA}");
                return Err((format!("\"{}\"", values.key), expected));
            }
        }
        let all = [
            (Some(&self.speed), Dimension::Speed),
            (self.height.as_ref(), Dimension::Length),
            (self.temperature.as_ref(), Dimension::Temperature),
            (self.humidity.as_ref(), Dimension::Ratio),
            (self.ground_speed.as_ref(), Dimension::Speed),
            (self.ground_temperature.as_ref(), Dimension::Temperature),
            (self.ground_pressure.as_ref(), Dimension::Pressure),
        ];
        for (values, dimension) in all {
            let wrong = values.filter(|v| Scale::of(&v.unit, dimension).is_none());
            if let Some(values) = wrong {
                let expected = format!("a unit, as \"{}\"", dimension.si_symbol());
                return Err((format!("\"{}\"", values.unit), expected));
            }
        }
        Ok(())
    }
}

/// What `windfall fetch` saves: the answer as it came, and how to read it.
#[derive(Deserialize)]
struct Saved {
    keys: PointKeys,
    /// The run it is taken to be of: it does not tell.
    #[serde(default)]
    run_assumed: Option<Timestamp>,
    forecast: Value,
}

/// An answer with its keys and the run it is taken to be of, as text to be saved.
///
/// # Errors
///
/// The answer is no JSON.
pub fn with_keys(
    name: &str,
    answer: &[u8],
    keys: &PointKeys,
    run_assumed: Timestamp,
) -> Result<String> {
    let wrong = |cause: serde_json::Error| {
        Error::from(Fault::new(
            name,
            cause.to_string(),
            "a point forecast in JSON",
        ))
    };
    let forecast: Value = serde_json::from_slice(answer).map_err(wrong)?;
    let saved = serde_json::json!({
        "keys": keys, "run_assumed": run_assumed, "forecast": forecast,
    });
    serde_json::to_string(&saved).map_err(wrong)
}

/// A text, taken apart.
struct Opened {
    places: Vec<Value>,
    keys: PointKeys,
    run_assumed: Option<Timestamp>,
}

/// The places of a text, and the keys that fit them.
fn opened(text: &str) -> Option<Opened> {
    // Every text is asked whether it is one, and most are told by this.
    if !text.trim_start().starts_with(['{', '[']) {
        return None;
    }
    // What fetch has saved brings its keys; an answer as it came is tried with those built in.
    let (forecast, known, run_assumed) = match serde_json::from_str::<Saved>(text) {
        Ok(saved) => (saved.forecast, vec![saved.keys], saved.run_assumed),
        Err(_) => {
            let tables = toml::from_str::<BTreeMap<String, PointKeys>>(BUILT_IN).ok()?;
            let known = tables.into_values().collect();
            (serde_json::from_str(text).ok()?, known, None)
        }
    };
    let places = match forecast {
        Value::Array(places) => places,
        one => vec![one],
    };
    let fits = |keys: &PointKeys| {
        let fits = |place: &Value| {
            at(place, &keys.times).is_some_and(Value::is_array) && !levels(place, keys).is_empty()
        };
        !places.is_empty() && places.iter().all(fits)
    };
    let keys = known.into_iter().find(fits)?;
    Some(Opened {
        places,
        keys,
        run_assumed,
    })
}

pub(super) fn looks_like(text: &str) -> bool {
    opened(text).is_some()
}

/// Takes a file apart into profiles, one for each place and time.
pub(super) fn read(file: &str, text: &str) -> Result<Vec<Raw>> {
    let opened = opened(text).ok_or_else(|| {
        let expected = "lists of times and of winds by pressure level, under the keys of point.toml \
                        or of the feed they were fetched from";
        Fault::new(file, "JSON that is no point forecast", expected)
    })?;
    let mut profiles = Vec::new();
    for place in &opened.places {
        let mut column = Column::of(file, place, &opened.keys)?;
        if let Some(run) = opened.run_assumed {
            column.tally.assumed.push(Reading::NewestRun { run });
        }
        profiles.extend(column.profiles(opened.run_assumed)?);
    }
    Ok(profiles)
}

/// What stands under names with dots between.
fn at<'v>(value: &'v Value, path: &str) -> Option<&'v Value> {
    path.split('.')
        .try_fold(value, |value, name| value.get(name))
}

fn number_at(value: &Value, path: &str) -> Option<f64> {
    at(value, path)?.as_f64()
}

/// Pressures, hPa as written, on which there are wind speeds; falling.
fn levels(place: &Value, keys: &PointKeys) -> Vec<String> {
    // Levels differ in the last name of a key only; those before it lead to one place.
    let (folder, name) = keys
        .speed
        .key
        .rsplit_once('.')
        .unwrap_or(("", &keys.speed.key));
    let Some((before, after)) = name.split_once(HPA) else {
        return Vec::new();
    };
    let folder = match folder {
        "" => Some(place),
        folder => at(place, folder),
    };
    let names = folder.and_then(Value::as_object).into_iter().flatten();
    // As written, as other keys are made of them.
    let written = names.filter_map(|(name, _)| name.strip_prefix(before)?.strip_suffix(after));
    let pressure = |text: &str| {
        text.parse()
            .ok()
            .filter(|hpa: &f64| *hpa > 0.0 && *hpa < 1_100.0)
    };
    let mut found: Vec<(f64, &str)> = written
        .filter_map(|text| Some((pressure(text)?, text)))
        .take(MOST_LEVELS)
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.into_iter().map(|(_, text)| text.to_owned()).collect()
}

/// A unit as a line: so much for 0, so much more for each 1.
#[derive(Clone, Copy)]
struct Scale {
    zero: f64,
    one: f64,
}

impl Scale {
    fn of(unit: &str, dimension: Dimension) -> Option<Scale> {
        let unit = unit.trim().trim_start_matches('\u{b0}');
        let si = |number: &str| parse(&format!("{number} {unit}"), dimension).ok();
        Some(Scale {
            // Read once for each list: reading a unit for every value would be slow.
            zero: si("0")?,
            one: si("1")?,
        })
    }

    fn si(self, value: f64) -> f64 {
        self.zero + (self.one - self.zero) * value
    }
}

/// A place with its times.
struct Column<'a> {
    file: &'a str,
    place: &'a Value,
    keys: &'a PointKeys,
    position: Position,
    elevation_m: Option<f64>,
    times: Vec<Timestamp>,
    tally: Tally,
}

impl<'a> Column<'a> {
    fn of(file: &'a str, place: &'a Value, keys: &'a PointKeys) -> Result<Column<'a>> {
        let wrong = |key: &str, found: String, expected: &str| {
            Error::from(Fault::new(file, found, expected).of_key(key))
        };
        let degrees = |key: &str| {
            number_at(place, key).ok_or_else(|| {
                let found = at(place, key).map_or("nothing".into(), Value::to_string);
                wrong(key, found, "degrees")
            })
        };
        let (lat, lon) = (degrees(&keys.latitude)?, degrees(&keys.longitude)?);
        let position = Position::new(lat, lon)
            .ok_or_else(|| wrong(&keys.latitude, format!("{lat}, {lon}"), "a place"))?;
        let offset_s = keys.offset.as_ref().and_then(|key| number_at(place, key));
        let mut tally = Tally::default();
        let mut times = Vec::new();
        let listed = at(place, &keys.times).and_then(Value::as_array);
        let count = listed.map_or(0, Vec::len);
        if count > MOST_TIMES {
            let expected = format!("at most {MOST_TIMES}: ask for fewer days");
            return Err(wrong(&keys.times, format!("{count} times"), &expected));
        }
        for value in listed.into_iter().flatten() {
            let (time, in_utc) = time_of(value, offset_s).ok_or_else(|| {
                wrong(
                    &keys.times,
                    value.to_string(),
                    "a time, as 2026-11-25T12:00, or seconds since 1970",
                )
            })?;
            if !in_utc && times.is_empty() {
                tally.assumed.push(Reading::TimesInUtc);
            }
            times.push(time);
        }
        Ok(Column {
            file,
            place,
            keys,
            position,
            elevation_m: keys
                .elevation
                .as_ref()
                .and_then(|key| number_at(place, key)),
            times,
            tally,
        })
    }

    /// A quantity by time, in SI; `None` where it is not given.
    fn list(
        &mut self,
        values: &Values,
        hpa: &str,
        dimension: Dimension,
    ) -> Result<Option<Vec<Option<f64>>>> {
        let key = values.key.replace(HPA, hpa);
        let wrong = |found: String, expected: String| {
            Err(Error::from(
                Fault::new(self.file, found, expected).of_key(&key),
            ))
        };
        let Some(list) = at(self.place, &key) else {
            return Ok(None);
        };
        let list = list.as_array().map_or(&[][..], Vec::as_slice);
        if list.len() != self.times.len() {
            let expected = format!("{}, as many as times", self.times.len());
            return wrong(format!("a list of {} values", list.len()), expected);
        }
        let told = self.keys.units.as_ref().and_then(|units| {
            let name = key.rsplit('.').next().unwrap_or(&key);
            at(self.place, units)?.get(name)?.as_str()
        });
        let unit = told.unwrap_or(&values.unit);
        let Some(scale) = Scale::of(unit, dimension) else {
            let expected = format!("a unit, as \"{}\"", dimension.si_symbol());
            return wrong(format!("the unit \"{unit}\""), expected);
        };
        if told.is_none() {
            let said = Reading::UsualUnit {
                name: values.key.to_string(),
                unit: unit.to_string(),
            };
            if !self.tally.assumed.contains(&said) {
                self.tally.assumed.push(said);
            }
        }
        let value = |v: &Value| v.as_f64().map(|v| scale.si(v));
        Ok(Some(list.iter().map(value).collect()))
    }

    /// Directions need no unit but degrees.
    fn directions(&mut self, values: &Values, hpa: &str) -> Result<Option<Vec<Option<f64>>>> {
        let key = values.key.replace(HPA, hpa);
        let Some(list) = at(self.place, &key).and_then(Value::as_array) else {
            return Ok(None);
        };
        if list.len() != self.times.len() {
            let found = format!("a list of {} values", list.len());
            let expected = format!("{}, as many as times", self.times.len());
            return Err(Fault::new(self.file, found, expected).of_key(key).into());
        }
        Ok(Some(list.iter().map(Value::as_f64).collect()))
    }

    fn maybe(
        &mut self,
        values: Option<&Values>,
        hpa: &str,
        dimension: Dimension,
    ) -> Result<Option<Vec<Option<f64>>>> {
        match values {
            Some(values) => self.list(values, hpa, dimension),
            None => Ok(None),
        }
    }

    fn profiles(mut self, run_assumed: Option<Timestamp>) -> Result<Vec<Raw>> {
        let keys = self.keys;
        let lead_s = |time: Timestamp| {
            let run = run_assumed?;
            // The run is a guess, and the answer may begin before it.
            Some((time.as_second() - run.as_second()).max(0) as f64)
        };
        let mut rows: Vec<Vec<Row>> = vec![Vec::new(); self.times.len()];
        for hpa in levels(self.place, keys) {
            for (rows, row) in rows.iter_mut().zip(self.level(&hpa)?) {
                // Below the ground the model only goes on as it thinks fit.
                let ground = row.height_m.zip(self.elevation_m);
                if ground.is_none_or(|(height_m, ground_m)| height_m >= ground_m) {
                    rows.push(row);
                }
            }
        }
        if let Some(elevation_m) = self.elevation_m {
            for (i, row) in self.near_ground(elevation_m)? {
                // Below the levels, which run upwards.
                rows[i].insert(0, row);
            }
        }
        let profiles = self.times.iter().zip(rows).map(|(time, rows)| Raw {
            file: self.file.to_owned(),
            line: 1,
            name: keys.model.clone(),
            time: Some(*time),
            position: Some(self.position),
            model: Some(Model {
                name: keys.model.clone(),
                lead_s: lead_s(*time),
            }),
            heights: HeightSource::Geopotential,
            in_time_order: false,
            rows,
            tally: self.tally.clone(),
        });
        Ok(profiles.collect())
    }

    /// A level, time by time.
    fn level(&mut self, hpa: &str) -> Result<Vec<Row>> {
        let keys = self.keys;
        let speed = self.list(&keys.speed, hpa, Dimension::Speed)?;
        let from = self.directions(&keys.from, hpa)?;
        let height = self.maybe(keys.height.as_ref(), hpa, Dimension::Length)?;
        let temperature = self.maybe(keys.temperature.as_ref(), hpa, Dimension::Temperature)?;
        let humidity = self.maybe(keys.humidity.as_ref(), hpa, Dimension::Ratio)?;
        let pressure_pa = hpa.parse().ok().map(|hpa: f64| 100.0 * hpa);
        let row = |i: usize| Row {
            pressure_pa,
            height_m: value(&height, i),
            temperature_k: value(&temperature, i),
            relative_humidity: value(&humidity, i),
            speed_m_s: value(&speed, i),
            from_deg: value(&from, i),
            ..Row::default()
        };
        Ok((0..self.times.len()).map(row).collect())
    }

    /// The wind at 10 m, with the air near it.
    fn near_ground(&mut self, elevation_m: f64) -> Result<Vec<(usize, Row)>> {
        let keys = self.keys;
        let speed = self.maybe(keys.ground_speed.as_ref(), "", Dimension::Speed)?;
        let from = match &keys.ground_from {
            Some(values) => self.directions(values, "")?,
            None => None,
        };
        let temperature =
            self.maybe(keys.ground_temperature.as_ref(), "", Dimension::Temperature)?;
        let pressure = self.maybe(keys.ground_pressure.as_ref(), "", Dimension::Pressure)?;
        let row = |i: usize| {
            let row = Row {
                height_m: Some(elevation_m + WIND_M),
                pressure_pa: value(&pressure, i),
                temperature_k: value(&temperature, i),
                speed_m_s: Some(value(&speed, i)?),
                from_deg: Some(value(&from, i)?),
                at_10_m: true,
                ..Row::default()
            };
            Some((i, row))
        };
        Ok((0..self.times.len()).filter_map(row).collect())
    }
}

fn value(list: &Option<Vec<Option<f64>>>, i: usize) -> Option<f64> {
    *list.as_ref()?.get(i)?
}

/// A time, and whether the answer says of which clock it is.
fn time_of(value: &Value, offset_s: Option<f64>) -> Option<(Timestamp, bool)> {
    if let Some(seconds) = value.as_i64() {
        return Some((Timestamp::from_second(seconds).ok()?, true));
    }
    let (time, no_offset) = date_time(value.as_str()?)?;
    match (no_offset, offset_s) {
        (true, Some(offset_s)) => {
            let second = time.as_second().checked_sub(nearest_whole(offset_s)?)?;
            Some((Timestamp::from_second(second).ok()?, true))
        }
        _ => Some((time, !no_offset)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_programs_own_tables_are_right() {
        let tables: BTreeMap<String, PointKeys> = toml::from_str(BUILT_IN).unwrap();
        assert_eq!(tables.len(), 1);
        assert!(tables.values().all(|keys| keys.check().is_ok()));
    }

    #[test]
    fn units_are_lines() {
        let si = |value, unit, dimension| Scale::of(unit, dimension).unwrap().si(value);
        assert!((si(36.0, "km/h", Dimension::Speed) - 10.0).abs() < 1e-12);
        assert!((si(10.0, "kn", Dimension::Speed) - 5.144).abs() < 1e-3);
        assert!((si(-10.0, "\u{b0}C", Dimension::Temperature) - 263.15).abs() < 1e-9);
        assert!((si(50.0, "%", Dimension::Ratio) - 0.5).abs() < 1e-12);
        assert!(Scale::of("parsec", Dimension::Length).is_none());
    }

    #[test]
    fn times_in_all_their_forms() {
        let read = |text: &str, offset| {
            let value: Value = serde_json::from_str(text).unwrap();
            time_of(&value, offset).map(|(t, sure)| (t.to_string(), sure))
        };
        let noon = |sure| Some(("2026-11-25T12:00:00Z".to_owned(), sure));
        assert_eq!(read("\"2026-11-25T12:00\"", None), noon(false));
        assert_eq!(read("\"2026-11-25T12:00\"", Some(0.0)), noon(true));
        assert_eq!(read("\"2026-11-25T13:00\"", Some(3600.0)), noon(true));
        assert_eq!(read("\"2026-11-25T13:00+01:00\"", Some(7200.0)), noon(true));
        assert_eq!(read("1795608000", Some(3600.0)), noon(true));
        for wrong in ["null", "\"noon\"", "1e99", "[]"] {
            assert_eq!(read(wrong, None), None, "{wrong}");
        }
    }
}

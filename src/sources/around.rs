//! What the lines around a table say of it: the station, its place, the time.

use jiff::Timestamp;

use super::heading::is_in_utc;
use super::model;
use super::text::{date_time, short_time};
use super::zones::is_of_a_zone;
use crate::geodesy::Position;
use crate::geodesy::reading::read_position;
use crate::numeric::neighbours;
use crate::wind::sounding::Model;

/// What is known of a table beside its columns.
#[derive(Debug, Default, Clone)]
pub(super) struct Around {
    pub station: String,
    /// The time of release, and whether it came without an offset.
    pub time: Option<(Timestamp, bool)>,
    /// Whether that was said to be the time of release.
    is_of_release: bool,
    /// Whether times without an offset are those of another zone than UTC.
    pub is_local: bool,
    /// The model that computed the table.
    pub model: Option<Model>,
    lat_deg: Option<f64>,
    lon_deg: Option<f64>,
    position: Option<Position>,
}

/// The names that are understood, in lower case; the first that fits counts.
const STATION: [&str; 5] = ["station", "station name", "site", "stid", "name"];
const LATITUDE: [&str; 4] = ["latitude", "lat", "slat", "station latitude"];
const LONGITUDE: [&str; 5] = ["longitude", "lon", "long", "slon", "station longitude"];
const POSITION: [&str; 5] = ["position", "location", "coordinates", "lat/lon", "lat lon"];
const MODEL: [&str; 2] = ["model", "model name"];
const RELEASE: [&str; 6] = [
    "launch time",
    "release time",
    "launch",
    "release",
    "released",
    "start time",
];
/// These count where none of those stands, before or behind: a date may be that of the day alone.
const TIME: [&str; 8] = [
    "time",
    "valid",
    "valid time",
    "date",
    "datetime",
    "date time",
    "observation time",
    "date/time",
];
const ZONE: [&str; 4] = ["time zone", "timezone", "utc offset", "gmt offset"];

impl Around {
    /// Learns from a line of names and values, as in `Latitude: 39.4` or `SLAT = 45.45 SLON = -98.42`.
    /// What is known already stays.
    pub(super) fn learn(&mut self, line: &str) {
        let line = line.trim_start_matches(['#', '%', '!', ' ']);
        self.model = self.model.take().or_else(|| model::named(line));
        for (name, value) in pairs(line) {
            self.take(&name, value);
        }
    }

    /// Takes a value by its name, if it is one of those that are understood.
    pub(super) fn take(&mut self, name: &str, value: &str) {
        let bracket = name.split_once(['(', '[']).map_or("", |(_, behind)| behind);
        let value = value.trim().trim_matches('"').trim();
        // Of the name as it stands: units in its brackets may say it.
        let time = || {
            let (time, is_assumed) = time(value, bracket)?;
            Some((time, is_assumed && !is_in_utc(name)))
        };
        let name = plain(name);
        let is = |names: &[&str]| names.contains(&name.as_str());
        if is(&LATITUDE) {
            self.lat_deg = self.lat_deg.or_else(|| degrees(value, bracket, 'S'));
        } else if is(&LONGITUDE) {
            self.lon_deg = self.lon_deg.or_else(|| degrees(value, bracket, 'W'));
        } else if is(&POSITION) {
            self.position = self.position.or_else(|| read_position(value));
        } else if is(&RELEASE) {
            let told = time().filter(|_| !self.is_of_release);
            self.is_of_release |= told.is_some();
            self.time = told.or(self.time);
        } else if is(&TIME) {
            self.time = self.time.or_else(time);
        } else if is(&ZONE) {
            // An offset may stand there without what it is from.
            self.is_local |= is_of_a_zone(value) || is_of_a_zone(&format!("UTC{value}"));
        } else if is(&MODEL) {
            let named = || model::named(&format!("model {value}"));
            self.model = self.model.take().or_else(named);
        } else if is(&STATION) && self.station.is_empty() {
            self.station = value.chars().take(60).collect();
        }
    }

    /// What is known here, and what is not from what stands around it.
    pub(super) fn or(self, outer: &Around) -> Around {
        let place = self.position().or(outer.position());
        Around {
            station: match self.station.is_empty() {
                true => outer.station.clone(),
                false => self.station,
            },
            is_of_release: self
                .time
                .map_or(outer.is_of_release, |_| self.is_of_release),
            is_local: self.is_local || outer.is_local,
            time: self.time.or(outer.time),
            model: self.model.or_else(|| outer.model.clone()),
            // In `position` by now: half a pair from here must not meet half of another.
            lat_deg: None,
            lon_deg: None,
            position: place,
        }
    }

    pub(super) fn position(&self) -> Option<Position> {
        let pair = self.lat_deg.zip(self.lon_deg);
        pair.and_then(|(lat, lon)| Position::new(lat, lon))
            .or(self.position)
            .filter(|place| !is_unset(place))
    }
}

/// Whether a place is that of a receiver which has none yet.
pub(super) fn is_unset(place: &Position) -> bool {
    place.lat_deg == 0.0 && place.lon_deg == 0.0
}

/// A time with its offset, or without one unless its name's brackets or words behind it tell of a zone.
fn time(value: &str, bracket: &str) -> Option<(Timestamp, bool)> {
    let short = || Some((short_time(value)?, false));
    let is_local = is_of_a_zone(bracket) || is_of_a_zone(value);
    match date_time(value) {
        Some((_, true)) if is_local => None,
        None if is_local => None,
        told => told.or_else(short),
    }
}

/// Names and values of a line: with signs of equality as many as there are, else one, divided by a colon
/// or by what separates the cells of a table.
fn pairs(line: &str) -> Vec<(String, &str)> {
    if line.contains('=') {
        return equalities(line);
    }
    // Behind a separator a colon belongs to the value, as in a time of the day.
    // One in brackets belongs to the name, as in "time (UTC+00:00): 12:00".
    let mut depth = 0_i32;
    let outer = |c: char| {
        depth += i32::from(matches!(c, '(' | '[')) - i32::from(matches!(c, ')' | ']'));
        c == ':' && depth <= 0
    };
    let by_colon = line
        .split_once(outer)
        .filter(|p| !p.0.contains([';', '\t']));
    let pair = by_colon.or_else(|| line.split_once([';', '\t', ',']));
    pair.map(|(name, value)| (name.to_owned(), value.trim_end_matches([';', ',', '\t'])))
        .into_iter()
        .collect()
}

/// `A = 1 B = 2 3`: a name is the word before a sign, its value what follows up to the next name.
fn equalities(line: &str) -> Vec<(String, &str)> {
    let parts: Vec<&str> = line.split('=').collect();
    let name = |part: &str| {
        part.split([',', ';', ' ', '\t'])
            .rfind(|w| !w.is_empty())
            .map(str::to_owned)
    };
    let pairs = neighbours(&parts).enumerate().map(|(i, (before, behind))| {
        // The first part is a name as a whole: "Launch time = ...".
        let named = match i {
            0 => Some(before.trim().to_owned()),
            _ => name(before),
        };
        let is_last = i + 2 == parts.len();
        let next = if is_last { None } else { name(behind) };
        let value = behind.trim();
        let value = next.map_or(value, |next| value.strip_suffix(&next).unwrap_or(value));
        (
            named.unwrap_or_default(),
            value.trim_matches([' ', ',', ';', '\t']),
        )
    });
    pairs.collect()
}

/// A name in lower case, without units in brackets and underscores.
fn plain(name: &str) -> String {
    let bare = name.split(['(', '[']).next().unwrap_or("");
    let lower = bare.to_lowercase().replace('_', " ");
    let lower = lower.trim_matches(['"', ' ', '*', '-', '.']);
    let lower = lower.strip_suffix(" utc").unwrap_or(lower);
    lower.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Degrees with a sign, or with a letter behind or in the brackets of their name; `turned` is the letter of those
/// below 0.
fn degrees(text: &str, bracket: &str, turned: char) -> Option<f64> {
    // Of degrees, and what is typed for it.
    const SIGNS: [char; 4] = ['\u{b0}', '\u{ba}', ' ', '.'];
    let number = text.trim_end_matches(|c: char| c.is_alphabetic() || SIGNS.contains(&c));
    let value: f64 = number.trim().replace(',', ".").parse().ok()?;
    let words = text.split_at(number.len()).1.split(SIGNS);
    let words: Vec<String> = words.filter_map(of_a_half).collect();
    // The letter below 0 of the pair of halves that they tell of, and whether it is that half.
    let (of, is_turned) = match words.join(" ").as_str() {
        "" => (turned, is_named(bracket, turned)),
        // An O alone is west in some languages and east in others.
        "N" | "NORTH" | "NORD" | "NORTE" => ('S', false),
        "S" | "SOUTH" | "SUD" | "SUR" | "SUL" => ('S', true),
        "E" | "EAST" | "EST" | "ESTE" | "LESTE" | "OST" => ('W', false),
        "W" | "WEST" | "OESTE" | "OUEST" => ('W', true),
        _ => return None,
    };
    (of == turned).then(|| if is_turned { -value.abs() } else { value })
}

/// What a word behind a number of degrees says besides that it is one, if anything.
fn of_a_half(word: &str) -> Option<String> {
    // "Degrees" end with the letter of the south, which stands alone or is a capital.
    let word = word
        .replace("degs", "")
        .replace("Degs", "")
        .to_ascii_uppercase();
    let bare = word.replace("DEGREES", "").replace("DEGREE", "");
    let bare = bare.replace("DECIMAL", "").replace("DEG", "");
    let is_axis = bare.starts_with("LAT") || bare.starts_with("LON");
    let is_none = is_axis || ["", "DEC", "GRAD"].contains(&bare.as_str());
    (!is_none).then_some(bare)
}

/// Whether the brackets of a name, as in "longitude (deg W)", name a half of the earth, and not both or its sign.
fn is_named(bracket: &str, half: char) -> bool {
    let names: [&str; 4] = match half {
        'S' => ["S", "SOUTH", "DEGS", "DEGREES_SOUTH"],
        _ => ["W", "WEST", "DEGW", "DEGREES_WEST"],
    };
    let upper = bracket.to_ascii_uppercase().replace("(S)", "");
    let mut words = upper.split(|c: char| !c.is_alphanumeric() && c != '_' && c != '-' && c != '+');
    let others = ["E", "EAST", "N", "NORTH"];
    let other =
        |word: &str| word.contains(['-', '+']) || word.starts_with("NEG") || others.contains(&word);
    words.clone().any(|word| names.contains(&word)) && !words.any(other)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn learnt(lines: &[&str]) -> Around {
        let mut around = Around::default();
        lines.iter().for_each(|line| around.learn(line));
        around
    }

    #[test]
    fn lines_of_many_kinds() {
        let place = Position::new(39.42, -8.83);
        for lines in [
            &["Latitude: 39.42", "Longitude: -8.83"][..],
            &["# latitude (deg): 39.42 N", "# longitude (deg): 8.83 W"],
            &["Lat;39,42;;", "Lon;-8,83;;"],
            &["STID = X SLAT = 39.42 SLON = -8.83"],
            &["Position: 39.42, -8.83"],
            &["\"Latitude\",39.42", "\"Longitude\",-8.83"],
            &["Latitude: 39.42 degs", "Longitude: -8.83 degs"],
        ] {
            assert_eq!(learnt(lines).position(), place, "{lines:?}");
        }
        assert_eq!(learnt(&["Latitude: about forty"]).position(), None);
    }

    #[test]
    fn halves_of_the_earth_in_brackets() {
        let place = Position::new(-33.9, -1.3);
        for lines in [
            &["# Station latitude (S): 33.9", "# longitude (deg W): 1.30"][..],
            &[
                "Latitude [degrees South]: 33.9",
                "Longitude (\u{b0}W): -1.3",
            ],
            &["lat (deg) = -33.9", "lon (deg W, negative) = -1.3"],
            &["lat (N): 33.9 S", "lon (degrees_west): 1.3"],
            &["lat (degree(s)): -33.9", "lon (+E, -W): -1.3"],
            &["Latitude: 33.9 degS", "Longitude: 1.3 degW"],
            &["lat (S..N): -33.9", "lon (deg W/E): 1.3 W"],
        ] {
            assert_eq!(learnt(lines).position(), place, "{lines:?}");
        }
        for west in [
            "1.3 W",
            "1.3 Oeste",
            "1,3 OUEST",
            "1.3\u{b0} W",
            "1.3 degrees west",
            "1.3 \u{ba} W",
            "1.3\u{ba}W",
            "1.3 Grad W",
            "1.3 deg. W",
            "1.3 W Lon.",
            "1.3 West Longitude",
            "-1.3 dec deg",
            "-1.3 decimal degrees",
            "-1.3 \u{ba}",
        ] {
            let lines = ["lat: -33.9", &format!("lon: {west}")];
            assert_eq!(learnt(&lines).position(), place, "{west}");
        }
        // West in Spanish, east in German; and what is no half of this kind.
        for unclear in [
            "1.3 O",
            "1.3 N",
            "1.3 X",
            "1.3 Grad O",
            "1.3 W E",
            "1.3 \u{437}.\u{434}.",
        ] {
            let lines = ["lat: -33.9", &format!("lon: {unclear}")];
            assert_eq!(learnt(&lines).position(), None, "{unclear}");
        }
        let north = &["lat (degree(s)): 33.9", "lon (+E -W): 1.3"];
        assert_eq!(learnt(north).position(), Position::new(33.9, 1.3));
    }

    #[test]
    fn the_time_of_release_counts_more_than_a_date() {
        let (day, launch) = ("Date: 2026-02-05T00:00Z", "Launch time: 2026-02-05T11:15Z");
        let later = "Release: 2026-02-05T12:00Z";
        let time = |lines: &[&str]| learnt(lines).time.map(|(t, _)| t.to_string());
        let quarter = Some("2026-02-05T11:15:00Z".to_owned());
        for lines in [&[day, launch][..], &[launch, day], &[day, launch, later]] {
            assert_eq!(time(lines), quarter, "{lines:?}");
        }
        assert_eq!(time(&[day, "Launch: from the beach"]), time(&[day]));
    }

    #[test]
    fn times_and_stations() {
        let time = |line: &str| learnt(&[line]).time.map(|(t, _)| t.to_string());
        let noon = Some("2022-10-14T12:00:00Z".to_owned());
        assert_eq!(time("Launch time: 2022-10-14 12:00"), noon);
        assert_eq!(time("MEM = X TIME = 221014/1200"), noon);
        assert_eq!(time("Date/time (UTC); 2022-10-14T12:00:00Z"), noon);
        assert_eq!(time("Printed: 2022-10-14 12:00"), None);
        assert_eq!(time("Launch time (local): 2022-10-14T13:00+01:00"), noon);
        for local in [
            "Launch time (MDT): 2022-10-14 06:00",
            "Launch time (UTC-6): 2022-10-14 06:00",
            "Launch time (Europe/Lisbon): 2022-10-14 13:00",
            "Launch time: 221014/0600 MDT",
            "Launch time (mst): 2022-10-14 05:00",
            "Launch time (UTC -7): 2022-10-14 05:00",
            "Launch time (UTC - 7): 2022-10-14 05:00",
            "Launch time (Mountain Standard Time): 2022-10-14 05:00",
            "Launch time (Ortszeit): 2022-10-14 05:00",
            "Launch time (heure locale): 2022-10-14 05:00",
            "Launch time (COT): 2022-10-14 07:00",
        ] {
            assert_eq!(time(local), None, "{local}");
        }
        for utc in [
            "UTC+0",
            "GMT+0",
            "UTC+00:00",
            "UTC-0",
            "Etc/UTC",
            "Etc/GMT",
            "West Texas",
        ] {
            let line = format!("Launch time ({utc}): 2022-10-14 12:00");
            assert_eq!(time(&line), noon, "{line}");
        }
        for (line, is_local) in [
            ("Time zone: MST (UTC-7)", true),
            ("Timezone: America/Denver", true),
            ("UTC offset: -7", true),
            ("Time zone: UTC", false),
            ("UTC offset: 0", false),
        ] {
            assert_eq!(learnt(&[line]).is_local, is_local, "{line}");
        }
        // A line of the zone is of times that do not say theirs.
        let zone = "Timezone: America/Denver";
        for (name, is_assumed) in [
            ("Launch time (UTC)", false),
            ("launch_time_utc", false),
            ("Launch time", true),
        ] {
            let told = learnt(&[zone, &format!("{name}: 2022-10-14 12:00")]).time;
            assert_eq!(told.map(|(_, assumed)| assumed), Some(is_assumed), "{name}");
        }
        assert_eq!(learnt(&["Station: 08579 Lisboa"]).station, "08579 Lisboa");
        assert_eq!(learnt(&["STID = ABR SLAT = 45.45"]).station, "ABR");
    }
}

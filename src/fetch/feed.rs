//! A public forecast: where its files are, when its runs are there, and what a flight needs of it.
//!
//! Feeds are data: those the program knows stand in `feeds.toml` beside this file, and a user's own
//! file of the same form adds to them or replaces them.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::field::{Level, WantedField};
use super::region::Longitudes;
use super::service::{Format, Service};
use super::template::Template;
use crate::error::{Error, Fault, Result};
use crate::geodesy::Position;
use crate::numeric::nearest_whole;
use crate::sources::point::PointKeys;
use crate::units::{Dimension, parse};

const BUILT_IN: &str = include_str!("feeds.toml");

/// Steps a feed may have at most; a stride of an hour reaches 41 days.
const MOST_STEPS: usize = 1000;

/// Files that are got whole are not said to be longer, bytes.
const LONGEST_WHOLE: u64 = 100_000_000;

/// A public forecast.
#[derive(Debug, Clone, PartialEq)]
pub struct Feed {
    /// Its short name, as on the command line and in file names.
    pub name: String,
    /// What it is, for people.
    pub title: String,
    /// Under which terms its data may be used.
    pub licence: String,
    /// Whom to name.
    pub attribution: String,
    /// The files that together hold one step.
    pub urls: Vec<Template>,
    /// How one finds out what is in a file.
    pub inventory: InventoryKind,
    /// Time from the hour of a run until all of it is normally there, s.
    pub complete_after_s: i64,
    /// Its runs.
    pub runs: Vec<Runs>,
    /// Names of its members; none if it is one forecast.
    pub members: Vec<String>,
    /// What it covers; `None` for the whole globe.
    pub area: Option<FeedArea>,
    /// Every field that a flight needs of a step.
    pub wanted: Vec<WantedField>,
    /// About how many bytes a file has, where each is got whole: it is small, and may be packed.
    pub whole_bytes: Option<u64>,
    /// The service that cuts a region out, if it is one.
    pub service: Option<Service>,
    /// Where what stands in its answers, if it is a forecast for points in JSON.
    pub point: Option<PointKeys>,
    /// Requests in a minute at most, where its keepers ask for that.
    pub a_minute: Option<u32>,
    /// What of the table nobody has tried, in words.
    pub untried: Option<String>,
}

/// How one finds out what is in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum InventoryKind {
    /// Text beside the file, at its URL and `.idx`.
    Idx,
    /// JSON lines beside the file, with `.index` for the last extension.
    Index,
    /// From the headers of its messages.
    None,
}

impl InventoryKind {
    /// Where the inventory of a file is.
    /// `None` where there is none beside it.
    pub fn url(self, file: &str) -> Option<String> {
        // The ending belongs to the path: keys and the like may follow as parameters.
        let path = file.find('?').unwrap_or(file.len());
        let (file, parameters) = file.split_at(path);
        match self {
            InventoryKind::Idx => Some(format!("{file}.idx{parameters}")),
            InventoryKind::Index => {
                // A dot in the name of a folder begins no extension.
                let bare = match file.rsplit_once('.') {
                    Some((bare, ending)) if !ending.contains('/') => bare,
                    _ => file,
                };
                Some(format!("{bare}.index{parameters}"))
            }
            InventoryKind::None => None,
        }
    }
}

/// Runs that have the same steps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Runs {
    /// Hours of the day, UTC.
    pub hours: Vec<u8>,
    /// Steps, hours after the run, rising.
    pub steps: Vec<u32>,
}

/// A box of latitude and longitude.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FeedArea {
    /// Southern edge, degrees north.
    pub south: f64,
    /// Northern edge, degrees north.
    pub north: f64,
    /// Western edge, degrees east.
    pub west: f64,
    /// Eastern edge, degrees east; west of the western one if the box spans the antimeridian.
    pub east: f64,
}

impl FeedArea {
    /// Whether a place is inside.
    pub fn holds(&self, place: Position) -> bool {
        // Counted from the western edge, across the antimeridian where it lies between.
        let east_of_west = |lon: f64| (lon - self.west).rem_euclid(360.0);
        // Of a circle both edges are the same meridian, which would leave nothing.
        let all_around = self.east - self.west >= 360.0;
        (self.south..=self.north).contains(&place.lat_deg)
            && (all_around || east_of_west(place.lon_deg) <= east_of_west(self.east))
    }
}

impl Feed {
    /// Fails for a site that the feed does not cover.
    ///
    /// # Errors
    ///
    /// Says what it does cover.
    pub fn check_site(&self, site: Position) -> Result<()> {
        match self.area {
            Some(a) if !a.holds(site) => Err(Error::CannotDo {
                why: format!(
                    "the site at {:.2}, {:.2} is outside of {}, which covers {} to {} degrees north and {} to {} degrees east",
                    site.lat_deg, site.lon_deg, self.name, a.south, a.north, a.west, a.east
                ),
                remedy: "expected a feed that covers it, as --feed gfs does".into(),
            }),
            _ => Ok(()),
        }
    }

    /// Whether the files of its members are different ones.
    pub fn member_in_url(&self) -> bool {
        self.urls.iter().any(Template::has_member)
    }
}

/// The feeds that are known, by name.
#[derive(Debug, Clone, PartialEq)]
pub struct Feeds {
    all: BTreeMap<String, Feed>,
}

impl Feeds {
    /// Those of the program.
    ///
    /// # Errors
    ///
    /// None, as long as the program's own table is right; a test holds that.
    pub fn built_in() -> Result<Feeds> {
        Ok(Feeds {
            all: read("feeds.toml", BUILT_IN)?,
        })
    }

    /// The same with those of a user's file, which is called `name`; one of the same name replaces.
    ///
    /// # Errors
    ///
    /// [`Error::Faults`] with all that is wrong in the text.
    pub fn extended(mut self, name: &str, text: &str) -> Result<Feeds> {
        // The user's own comes last: who writes a feed knows where his files are.
        self.all.extend(read(name, text)?);
        Ok(self)
    }

    /// The feed of a name.
    ///
    /// # Errors
    ///
    /// Names those there are.
    pub fn get(&self, name: &str) -> Result<&Feed> {
        self.all.get(name).ok_or_else(|| {
            let known: Vec<&str> = self.all.keys().map(String::as_str).collect();
            let expected = format!("one of {}", known.join(", "));
            Fault::new("--feed", format!("\"{name}\""), expected).into()
        })
    }

    /// All of them, by name.
    pub fn iter(&self) -> impl Iterator<Item = &Feed> {
        self.all.values()
    }
}

/// A feed as written in TOML.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    title: String,
    licence: String,
    attribution: String,
    urls: Vec<String>,
    #[serde(default = "no_inventory")]
    inventory: InventoryKind,
    #[serde(default = "at_once")]
    complete_after: String,
    runs: Vec<RunsTable>,
    #[serde(default)]
    members: Vec<String>,
    area: Option<FeedArea>,
    #[serde(default)]
    levels: Vec<f64>,
    #[serde(default)]
    variables: Vec<Variable>,
    #[serde(default)]
    surface: Vec<Single>,
    whole_bytes: Option<u64>,
    service: Option<Service>,
    point: Option<PointKeys>,
    requests_a_minute: Option<u32>,
    untried: Option<String>,
}

fn no_inventory() -> InventoryKind {
    InventoryKind::None
}

fn at_once() -> String {
    "0 h".to_owned()
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RunsTable {
    hours: Vec<u8>,
    steps: Vec<[u32; 3]>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Variable {
    name: String,
    code: [u8; 3],
    levels: Option<Vec<f64>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Single {
    name: String,
    at: String,
    code: [u8; 3],
}

fn read(file: &str, text: &str) -> Result<BTreeMap<String, Feed>> {
    // Some editors put this mark before a text, and TOML knows none.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let tables: BTreeMap<String, Table> = toml::from_str(text).map_err(|wrong| {
        Fault::of_toml(file, text, &wrong, "a table of feeds, as in feeds.toml")
    })?;
    let mut feeds = BTreeMap::new();
    let mut faults = Vec::new();
    for (name, table) in tables {
        let mut notes = Notes {
            file,
            feed: &name,
            faults: &mut faults,
        };
        let feed = check(&name, table, &mut notes);
        feeds.insert(name, feed);
    }
    if faults.is_empty() {
        Ok(feeds)
    } else {
        Err(Error::Faults(faults))
    }
}

/// Where faults of one feed go.
struct Notes<'a> {
    file: &'a str,
    feed: &'a str,
    faults: &'a mut Vec<Fault>,
}

impl Notes<'_> {
    fn note(&mut self, key: &str, found: impl Into<String>, expected: &str) {
        let key = format!("[{}] {key}", self.feed);
        self.faults
            .push(Fault::new(self.file, found, expected).of_key(key));
    }

    fn unless(&mut self, right: bool, key: &str, found: impl Into<String>, expected: &str) {
        if !right {
            self.note(key, found, expected);
        }
    }
}

/// What may stand in a file name on every system.
fn is_plain(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_+".contains(c);
    !name.is_empty() && name.len() <= 40 && name.chars().all(plain)
}

/// A table as a feed; what is wrong with it goes to `notes`.
fn check(name: &str, table: Table, notes: &mut Notes) -> Feed {
    let plain = "letters, digits, - and _";
    // Names become parts of file names, on any system.
    notes.unless(is_plain(name), "name", format!("\"{name}\""), plain);
    for member in table.members.iter().filter(|m| !is_plain(m)) {
        notes.note("members", format!("\"{member}\""), plain);
    }
    let urls = urls(&table, notes);
    let hours = "hours, as in \"5 h\", of 10 days at most";
    let complete_after_s = parse(&table.complete_after, Dimension::Time).ok();
    let complete_after_s = complete_after_s.filter(|s| (0.0..=864_000.0).contains(s));
    let found = || format!("\"{}\"", table.complete_after);
    notes.unless(complete_after_s.is_some(), "complete_after", found(), hours);
    let runs = runs(&table, notes);
    if let Some(a) = table.area {
        let latitudes = a.south < a.north && a.south >= -90.0 && a.north <= 90.0;
        let longitudes = [a.west, a.east]
            .iter()
            .all(|l| (-180.0..=360.0).contains(l));
        let expected = "south below north, all in degrees";
        notes.unless(latitudes && longitudes, "area", format!("{a:?}"), expected);
    }
    let wanted = match &table.point {
        None => wanted(&table, notes),
        Some(keys) => {
            check_point(keys, &table, &urls, notes);
            Vec::new()
        }
    };
    check_service(&table, &urls, notes);
    let sized = table
        .whole_bytes
        .is_none_or(|bytes| (1..=LONGEST_WHOLE).contains(&bytes));
    let expected = "1 to 100,000,000: larger files are read in parts";
    notes.unless(sized, "whole_bytes", "another number", expected);
    let alone = table.service.is_none() && table.point.is_none();
    let plain = table.inventory == InventoryKind::None && alone;
    let expected = "inventory = \"none\", and neither service nor point";
    notes.unless(
        table.whole_bytes.is_none() || plain,
        "whole_bytes",
        "more ways to ask",
        expected,
    );
    let paced = table.requests_a_minute != Some(0);
    notes.unless(paced, "requests_a_minute", "0", "1 or more");
    // Of whatever there is: where a fault was noted, nobody gets it.
    Feed {
        name: name.to_owned(),
        title: table.title,
        licence: table.licence,
        attribution: table.attribution,
        urls,
        inventory: table.inventory,
        complete_after_s: complete_after_s.and_then(nearest_whole).unwrap_or_default(),
        runs,
        members: table.members,
        area: table.area,
        wanted,
        whole_bytes: table.whole_bytes,
        service: table.service,
        point: table.point,
        a_minute: table.requests_a_minute,
        untried: table.untried,
    }
}

/// A point forecast is one answer, and its keys have a meaning.
fn check_point(keys: &PointKeys, table: &Table, urls: &[Template], notes: &mut Notes) {
    if let Err((found, expected)) = keys.check() {
        notes.note("point", found, &expected);
    }
    let alone = table.service.is_none() && table.members.is_empty();
    notes.unless(
        alone,
        "point",
        "a service or members",
        "a point forecast alone",
    );
    let one = urls.len() == 1 && urls.iter().all(Template::has_place);
    let found = table.urls.join(" ");
    notes.unless(one, "urls", found, "one with {lat} and {lon}");
}

/// A table of a service and the addresses of one belong together.
fn check_service(table: &Table, urls: &[Template], notes: &mut Notes) {
    let Some(service) = &table.service else {
        let plain = |url: &Template| url.has_region() == Some(false) && !url.has_selection();
        for url in urls.iter().filter(|url| !plain(url)) {
            let expected = "service = { ... } beside {west}, {variables} and the like";
            notes.note("urls", url.text(), expected);
        }
        return;
    };
    for url in urls.iter().filter(|url| url.has_region() != Some(true)) {
        let expected = "{west}, {east}, {south} and {north}, as the feed is a service";
        notes.note("urls", url.text(), expected);
    }
    let none = table.inventory == InventoryKind::None;
    let found = format!("{:?}", table.inventory);
    notes.unless(
        none,
        "inventory",
        found,
        "\"none\", as the feed is a service",
    );
    let spacing = service.spacing > 0.001 && service.spacing <= 10.0;
    let found = service.spacing.to_string();
    notes.unless(spacing, "service spacing", found, "degrees, 0.001 to 10");
    let bits = service.value_bits > 0.0 && service.value_bits <= 64.0;
    let found = service.value_bits.to_string();
    notes.unless(bits, "service value_bits", found, "bits, 64 at most");
    let joined = service.format == Format::Grib || service.longitudes == Longitudes::Any;
    let expected = "\"any\" where the format is \"netcdf\": two NetCDF files are not joined";
    notes.unless(joined, "service longitudes", "a seam", expected);
}

fn urls(table: &Table, notes: &mut Notes) -> Vec<Template> {
    notes.unless(!table.urls.is_empty(), "urls", "none", "at least one");
    let mut urls = Vec::new();
    for url in &table
        .urls
        .iter()
        .flat_map(|url| of_each_field(url, table))
        .collect::<Vec<_>>()
    {
        match Template::parse(url) {
            Ok(template) if template.has_member() && table.members.is_empty() => {
                notes.note(
                    "urls",
                    format!("{{member}} in {url}, but no members"),
                    "members = [...]",
                );
                urls.push(template);
            }
            Ok(template) => urls.push(template),
            Err((found, expected)) => notes.note("urls", found, expected),
        }
    }
    urls
}

/// The addresses that one stands for: where it has `{name}`, a file for every variable on every level.
fn of_each_field(url: &str, table: &Table) -> Vec<String> {
    if !url.contains("{name") {
        return vec![url.to_owned()];
    }
    let fields = table.variables.iter().flat_map(|variable| {
        let levels = variable.levels.as_ref().unwrap_or(&table.levels);
        levels
            .iter()
            .map(|level| (&variable.name, level.to_string()))
    });
    fields
        .map(|(name, level)| {
            url.replace("{name}", name)
                .replace("{name:small}", &name.to_lowercase())
                .replace("{level}", &level)
        })
        .collect()
}

fn runs(table: &Table, notes: &mut Notes) -> Vec<Runs> {
    notes.unless(!table.runs.is_empty(), "runs", "none", "at least one");
    let mut all = Vec::new();
    for runs in &table.runs {
        let hours = !runs.hours.is_empty() && runs.hours.iter().all(|h| *h < 24);
        let found = format!("{:?}", runs.hours);
        notes.unless(hours, "runs hours", found, "hours of the day, 0 to 23");
        all.push(Runs {
            hours: runs.hours.clone(),
            steps: steps(&runs.steps, notes),
        });
    }
    all
}

/// Steps written as first, last and stride, all in hours.
fn steps(ranges: &[[u32; 3]], notes: &mut Notes) -> Vec<u32> {
    let mut steps: Vec<u32> = Vec::new();
    let right = ranges.iter().all(|&[first, last, stride]| {
        let in_order = first <= last && stride > 0 && last <= 10_000;
        if in_order && steps.last().is_none_or(|before| *before < first) {
            // One more than there may be tells that they are too many, without making all of them.
            let room = (MOST_STEPS + 1).saturating_sub(steps.len());
            steps.extend((first..=last).step_by(stride as usize).take(room));
            true
        } else {
            false
        }
    });
    let right = right && !steps.is_empty() && steps.len() <= MOST_STEPS;
    let expected = "[first, last, stride] in hours, rising, 1,000 steps at most";
    notes.unless(right, "runs steps", format!("{ranges:?}"), expected);
    steps
}

fn wanted(table: &Table, notes: &mut Notes) -> Vec<WantedField> {
    let mut wanted = Vec::new();
    for variable in &table.variables {
        for &hpa in variable.levels.as_ref().unwrap_or(&table.levels) {
            let right = hpa > 0.0 && hpa < 1100.0;
            notes.unless(right, "levels", hpa.to_string(), "a pressure in hPa");
            wanted.push(WantedField {
                name: variable.name.clone(),
                code: variable.code,
                level: Level::Pressure(hpa),
            });
        }
    }
    for single in &table.surface {
        let level = Level::parse(&single.at);
        let right = matches!(level, Level::Surface | Level::AboveGround(_));
        let expected = "\"surface\" or a height, as in \"10 m above ground\"";
        notes.unless(right, "surface at", format!("\"{}\"", single.at), expected);
        wanted.push(WantedField {
            name: single.name.clone(),
            code: single.code,
            level,
        });
    }
    let both = [WantedField::EASTWARD, WantedField::NORTHWARD]
        .iter()
        .all(|wind| wanted.iter().any(|w| w.is_aloft() && w.code == *wind));
    let expected = "levels, and variables of both winds: codes [0, 2, 2] and [0, 2, 3]";
    notes.unless(both, "variables", "no winds on pressure levels", expected);
    let heights = wanted.iter().any(WantedField::is_height);
    let expected = "a variable of heights: code [0, 3, 5], or [0, 3, 4] for geopotential";
    notes.unless(
        heights,
        "variables",
        "no heights of pressure levels",
        expected,
    );
    wanted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_programs_own_table_is_right() {
        let feeds = Feeds::built_in().unwrap();
        let names: Vec<&str> = feeds.iter().map(|f| f.name.as_str()).collect();
        assert_eq!(
            names,
            [
                "ecmwf",
                "ecmwf-ai",
                "ecmwf-ens",
                "gdps",
                "gefs",
                "gefs-bucket",
                "gfs",
                "gfs-bucket",
                "gfs-half",
                "gfs-thredds",
                "hrrr",
                "hrrr-filter",
                "icon-eu",
                "point",
                "rap",
                "rrfs"
            ]
        );
        let gfs = feeds.get("gfs").unwrap();
        assert_eq!(gfs.wanted.len(), 33 * 4 + 13 + 6);
        assert_eq!(gfs.runs[0].steps.len(), 121 + 88);
        assert_eq!(gfs.complete_after_s, 18_000);
        assert!(feeds.get("gefs").unwrap().member_in_url());
        assert!(!feeds.get("ecmwf-ens").unwrap().member_in_url());
        assert!(
            feeds
                .get("nosuch")
                .unwrap_err()
                .to_string()
                .contains("gfs-half")
        );
    }

    #[test]
    fn all_faults_of_a_feed_at_once() {
        let text = r#"
            [a]
            title = ""
            licence = ""
            attribution = ""
            urls = ["ftp://x/{day}", "http://x/{member}"]
            inventory = "idx"
            complete_after = "5 kg"
            runs = [{ hours = [24], steps = [[6, 0, 1]] }]
            area = { south = 3, north = 1, west = 0, east = 1 }
            levels = [-5]
            variables = [{ name = "UGRD", code = [0, 2, 2] }]
            surface = [{ name = "T", at = "the moon", code = [0, 0, 0] }]
        "#;
        let wrong = Feeds::built_in()
            .unwrap()
            .extended("my.toml", text)
            .unwrap_err()
            .to_string();
        assert_eq!(wrong.lines().count(), 10, "{wrong}");
        for key in [
            "urls",
            "complete_after",
            "hours",
            "steps",
            "area",
            "levels",
            "moon",
            "both winds",
            "a variable of heights",
        ] {
            assert!(wrong.contains(key), "{key} in {wrong}");
        }
        let wrong = Feeds::built_in()
            .unwrap()
            .extended("my.toml", "[a]\ntitel = 1")
            .unwrap_err();
        assert!(
            wrong
                .to_string()
                .starts_with("my.toml, line 2: found unknown field"),
            "{wrong}"
        );
    }

    #[test]
    fn faults_of_services_and_point_forecasts() {
        let feed = |more: &str| {
            format!(
                "[a]\ntitle = \"\"\nlicence = \"\"\nattribution = \"\"\n\
                 runs = [{{ hours = [0], steps = [[0, 6, 1]] }}]\nlevels = [500]\n\
                 variables = [{{ name = \"u\", code = [0, 2, 2] }}, {{ name = \"v\", code = [0, 2, 3] }}, \
                 {{ name = \"z\", code = [0, 3, 5] }}]\n{more}"
            )
        };
        let wrong = |more: &str| {
            let feeds = Feeds::built_in().unwrap().extended("my.toml", &feed(more));
            feeds.map(|_| ()).map_err(|e| e.to_string())
        };
        let edges = "{west}/{east}/{south}/{north}";
        let service = "service = { variable = \"{name}\", spacing = 0.5";
        let right = format!("urls = [\"https://h/{edges}\"]\n{service} }}");
        assert_eq!(wrong(&right), Ok(()));
        for (more, words) in [
            (format!("urls = [\"https://h/{edges}\"]"), "service = { ... }"),
            (format!("urls = [\"https://h/{{west}}\"]\n{service} }}"), "{south} and {north}"),
            (format!("{right}\ninventory = \"idx\""), "as the feed is a service"),
            (right.replace("0.5", "0"), "service spacing"),
            (format!("{right}\nrequests_a_minute = 0"), "1 or more"),
            (
                right.replace(" }", ", format = \"netcdf\", longitudes = \"0 to 360\" }"),
                "two NetCDF files are not joined",
            ),
            (right.replace(" }", ", value_bits = 0 }"), "64 at most"),
            ("urls = [\"https://h/\"]\npoint = { model = \"m\" }".to_owned(), "missing field"),
            (
                "urls = [\"https://h/\"]\npoint = { model = \"m\", latitude = \"a\", longitude = \"b\", \
                 times = \"t\", speed = { key = \"s\", unit = \"m/s\" }, from = { key = \"f{hpa}\", \
                 unit = \"deg\" } }"
                    .to_owned(),
                "a key with one {hpa}",
            ),
        ] {
            let message = wrong(&more).unwrap_err();
            assert!(message.contains(words), "{words}: {message}");
        }
    }

    #[test]
    fn inventories_stand_beside_the_file() {
        let file = "https://a.b/c/d.grib2";
        assert_eq!(
            InventoryKind::Idx.url(file).unwrap(),
            "https://a.b/c/d.grib2.idx"
        );
        assert_eq!(
            InventoryKind::Index.url(file).unwrap(),
            "https://a.b/c/d.index"
        );
        assert_eq!(
            InventoryKind::Index.url("https://a.b/c").unwrap(),
            "https://a.b/c.index"
        );
        assert_eq!(
            InventoryKind::Idx.url("https://a.b/c.d?key=e.f").unwrap(),
            "https://a.b/c.d.idx?key=e.f"
        );
        assert_eq!(InventoryKind::None.url(file), None);
    }

    #[test]
    fn areas_may_span_the_antimeridian() {
        let place = |lat_deg, lon_deg| Position { lat_deg, lon_deg };
        let area = FeedArea {
            south: -20.0,
            north: 10.0,
            west: 170.0,
            east: -160.0,
        };
        assert!(area.holds(place(0.0, 180.0)) && area.holds(place(0.0, -170.0)));
        assert!(!area.holds(place(0.0, 160.0)) && !area.holds(place(20.0, 175.0)));
        let box_around = Feeds::built_in()
            .unwrap()
            .get("hrrr")
            .unwrap()
            .area
            .unwrap();
        assert!(box_around.holds(place(43.0, -108.0)) && !box_around.holds(place(43.0, 10.0)));
    }
}

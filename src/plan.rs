//! The plan file: what will be flown, from where, when, and how sure each number is.
//!
//! [`Plan::read`] checks everything and reports all faults at once; what it returns is in SI and
//! within physical range.

// Numbers and lengths from outside are another kind until they were found to be ours.
#![cfg_attr(
    not(test),
    deny(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_sign_loss,
        clippy::indexing_slicing,
        clippy::string_slice
    )
)]

mod document;
pub mod edit;
mod filling;
mod named_files;
mod read;
mod release;
mod stack;

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use jiff::tz::TimeZone;
use toml::de::DeTable;

use self::document::{Faults, Section, quantity};
use self::named_files::Files;
pub use self::stack::{
    Ascent, BalloonPlan, CylinderContent, CylinderPlan, Descent, LoadItem, LoadKind, ParachutePlan,
    StackPlan, names_parachute,
};
use crate::atmosphere::standard_height_of_pressure;
use crate::error::{Error, Fault, Result};
use crate::files::{is_regular, read_text};
use crate::geodesy::Position;
use crate::ground::map::Class;
use crate::logbook::Logbook;
use crate::notes::Assumption;
use crate::numeric::neighbours;
use crate::sources::Columns;
use crate::spread::draws::BurstSpread;
use crate::units::{Dimension, parse};
use crate::vehicle::latex::LatexTable;

/// A checked plan.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The plan's file as the user named it, for messages.
    pub file: String,
    /// The flight's name; may be empty.
    pub name: String,
    /// The planned release.
    pub release: Timestamp,
    /// The zone of people's times.
    pub timezone: TimeZone,
    /// Whether its people read US units, if the plan says.
    pub us_units: Option<bool>,
    /// Every file that it names, as seen from the current folder.
    pub files: Vec<PathBuf>,
    /// Files that it names outside of its own folder, as they are written there.
    pub outside: Vec<String>,
    /// What was put in place of what the file says.
    pub replaced: Vec<Assumption>,
    /// Where the stack is released.
    pub site: Site,
    /// Wind files, as seen from the current folder.
    pub wind_files: Vec<PathBuf>,
    /// The time of the run, for forecasts whose files do not say.
    pub wind_issued: Option<Timestamp>,
    /// Whether each wind file is a member of an ensemble.
    pub member_per_file: bool,
    /// What columns of tables hold, where their headings do not say.
    pub wind_columns: Columns,
    /// What flies.
    pub stack: StackPlan,
    /// Latex balloons by mass: the program's tables, with the plan's own before them.
    pub balloons: LatexTable,
    /// One standard deviation each.
    pub spread: SpreadPlan,
    /// Files about the ground.
    pub ground: GroundPlan,
    /// Limits for the choice of a day and a site.
    pub limits: LimitsPlan,
    /// What the crew's briefing says besides.
    pub brief: BriefPlan,
}

/// Where the stack is released.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Site {
    /// Where that is.
    pub position: Position,
    /// Elevation above mean sea level, m, if the plan gives it.
    pub elevation_m: Option<f64>,
    /// The narrowest side of the shelter the balloon is filled in, m, if given.
    pub shelter_m: Option<f64>,
    /// The narrowest side of the door it is carried through, m, if given.
    pub door_m: Option<f64>,
}

/// What the crew's briefing says besides the flight.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BriefPlan {
    /// Whom to call, a line each.
    pub contacts: Vec<String>,
    /// Free text.
    pub notes: String,
    /// How long before the release the filling begins, s, if the plan says.
    pub filling_s: Option<f64>,
}

/// Files about the ground, as seen from the current folder.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct GroundPlan {
    /// Heights.
    pub terrain: Vec<PathBuf>,
    /// Areas to come down outside of.
    pub keep_out: Vec<PathBuf>,
    /// Areas to come down in.
    pub land_in: Vec<PathBuf>,
    /// Roads.
    pub roads: Vec<PathBuf>,
    /// The attribute of the roads that holds their class.
    pub road_class: Option<String>,
    /// Power lines.
    pub power_lines: Vec<PathBuf>,
    /// OpenStreetMap extracts, with roads, water, built-up areas and power lines.
    pub osm: Vec<PathBuf>,
    /// How near a landing counts as a hit, m, where the defaults are not wanted.
    pub buffers: Vec<(Class, f64)>,
    /// How far a site should be from something, m, where the defaults are not wanted.
    pub site_limits: Vec<(Class, f64)>,
}

impl GroundPlan {
    /// Every file it names.
    pub fn files(&self) -> impl Iterator<Item = &PathBuf> {
        let named = [
            &self.terrain,
            &self.keep_out,
            &self.land_in,
            &self.roads,
            &self.power_lines,
            &self.osm,
        ];
        named.into_iter().flatten()
    }
}

/// Limits of a flight, where the plan gives them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LimitsPlan {
    /// Wind at the ground when the balloon is filled and released, m/s.
    pub surface_wind_m_s: Option<f64>,
    /// Share of draws that come down where they should not.
    pub keep_out_probability: Option<f64>,
    /// Distance from the site to the landings' centre, m.
    pub max_drift_m: Option<f64>,
    /// Share of draws that come down on or near any of the things to keep clear of.
    pub all_hazards_probability: Option<f64>,
    /// Share of draws that come down in water.
    pub water_probability: Option<f64>,
    /// Daylight left after the landing, s.
    pub daylight_after_landing_s: Option<f64>,
    /// Whether the balloon may be filled and released in the dark.
    pub dark_release: bool,
}

/// One standard deviation of each thing that varies, where the plan gives it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SpreadPlan {
    /// Of the neck lift, as a share.
    pub lift: Option<f64>,
    /// Of the burst, where it is not early.
    pub burst: Option<BurstSpread>,
    /// The share of balloons that burst early.
    pub early_bursts: Option<f64>,
    /// Of the drag coefficient of the balloon, as a share.
    pub drag: Option<f64>,
    /// Of the rate of ascent from height to height, as a share.
    pub rate: Option<f64>,
    /// The share of falls on which the canopy changes on the way.
    pub canopy_changes: Option<f64>,
    /// Of the drag area of the parachute, as a share.
    pub parachute: Option<f64>,
    /// Of the share of the balloon that stays on the line.
    pub remnant: Option<f64>,
    /// Of the delay of the release, s: two thirds of the delays are shorter.
    pub release_delay_s: Option<f64>,
    /// Of the wind.
    pub wind: Option<WindSpread>,
    /// Flights that it is learnt from.
    pub logbook: Option<Logbook>,
}

/// How wrong the winds may be.
#[derive(Debug, Clone, PartialEq)]
pub enum WindSpread {
    /// As wrong as soundings of such an age, if that is what the winds are; else as such winds are.
    Sounding,
    /// As wrong as a forecast of such a lead time, if that is what the winds are; else as such winds are.
    Forecast,
    /// Exact.
    None,
    /// Standard deviation of each component (m/s) by altitude (m above mean sea level).
    Table(Vec<(f64, f64)>),
}

const KG: Dimension = Dimension::Mass;
const M: Dimension = Dimension::Length;
const M_S: Dimension = Dimension::Speed;
const SHARE: Dimension = Dimension::Ratio;

/// Elevations that a launch site can have, m above mean sea level: from the shore of the Dead Sea to the highest
/// inhabited places.
pub const SITE_ELEVATIONS_M: std::ops::RangeInclusive<f64> = -430.0..=6_000.0;

/// Every section a plan may have.
const SECTIONS: [&str; 13] = [
    "flight",
    "site",
    "wind",
    "balloon",
    "cylinders",
    "load",
    "parachute",
    "ascent",
    "descent",
    "spread",
    "ground",
    "limits",
    "brief",
];

impl Plan {
    /// Reads and checks a plan file. Its wind files are taken relative to it.
    ///
    /// # Errors
    ///
    /// [`Error::File`] when it cannot be read; [`Error::Faults`] with every fault found in it.
    pub fn read(path: impl AsRef<Path>) -> Result<Plan> {
        Plan::of_file(path.as_ref(), false)
    }

    /// The same, but no file outside of the plan's folder is opened: a plan that names one is refused.
    ///
    /// # Errors
    ///
    /// As [`Plan::read`], and [`Error::CannotDo`] with the files outside.
    pub fn read_within_folder(path: impl AsRef<Path>) -> Result<Plan> {
        Plan::of_file(path.as_ref(), true)
    }

    fn of_file(path: &Path, closed: bool) -> Result<Plan> {
        let text = read_text(path, "a plan in TOML")?;
        let name = path.display().to_string();
        // A plan that comes through a pipe has no folder.
        let folder = match is_regular(path) {
            true => path.parent().unwrap_or(Path::new("")),
            false => Path::new(""),
        };
        Plan::of_text(&name, &text, folder, closed)
    }

    /// Checks the text of a plan called `name`, with wind files relative to `folder`.
    ///
    /// ```
    /// use std::path::Path;
    /// use windfall::Plan;
    ///
    /// let text = std::fs::read_to_string("samples/high-plains/plan.toml").expect("the sample");
    /// let plan = Plan::parse("plan.toml", &text, Path::new("samples/high-plains"))?;
    /// assert_eq!(plan.site.elevation_m, Some(1_640.0));
    /// assert!((plan.stack.load_kg() - 4.30).abs() < 1e-9);
    ///
    /// // Every fault at once, each with its line, its key, and what would be right.
    /// let text = text.replace("0.95 kg", "0.95").replace("\"helium\"", "\"air\"");
    /// let faults = Plan::parse("plan.toml", &text, Path::new("")).unwrap_err().to_string();
    /// assert!(faults.contains("mass") && faults.contains("gas"));
    /// # Ok::<(), windfall::Error>(())
    /// ```
    ///
    /// # Errors
    ///
    /// [`Error::Faults`] with every fault found.
    pub fn parse(name: &str, text: &str, folder: &Path) -> Result<Plan> {
        Plan::of_text(name, text, folder, false)
    }

    fn of_text(name: &str, text: &str, folder: &Path, closed: bool) -> Result<Plan> {
        // Some editors begin a file with a byte order mark.
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut faults = Faults::new(name, text);
        let root = DeTable::parse(text)
            .map_err(|wrong| Fault::of_toml(name, text, &wrong, "a plan in valid TOML"))?;
        let root = root.get_ref();
        if root.is_empty() {
            let fault = Fault::new(name, "no section at all", "a plan with [flight] and [site]");
            return Err(fault.into());
        }
        for key in root.keys() {
            if !SECTIONS.iter().any(|s| s == key.get_ref()) {
                let names = SECTIONS.join(", ");
                let at = Some(key.span().start);
                faults.note(
                    at,
                    key.get_ref(),
                    "an unknown section",
                    format!("one of {names}"),
                );
            }
        }
        let mut files = Files::below(folder, closed);
        let plan = read_sections(root, &mut files, &mut faults);
        // Before any fault: what was not opened may be all that is missing.
        if files.unopened {
            return Err(outside_of_folder(name, &files.outside));
        }
        let faults = faults.into_sorted();
        match plan {
            Some(_) if faults.is_empty() && closed && !files.outside.is_empty() => {
                Err(outside_of_folder(name, &files.outside))
            }
            // A plan may be whole and at fault, as by a key that nobody knows.
            Some(plan) if faults.is_empty() => Ok(plan),
            _ => Err(Error::Faults(faults)),
        }
    }
}

/// That a plan names files outside of its folder, which is closed.
fn outside_of_folder(name: &str, outside: &[String]) -> Error {
    let names = outside.join(", ");
    Error::CannotDo {
        why: format!("{name}: found files outside of the plan's folder: {names}"),
        remedy: "expected files below it; if the plan is yours or you trust it, --outside reads these, too"
            .into(),
    }
}

/// The sections of a plan, read one by one; `None` where what is missing leaves no plan.
fn read_sections<'a>(
    root: &'a DeTable<'a>,
    files: &mut Files,
    faults: &mut Faults,
) -> Option<Plan> {
    let flight_section = Section::of(root, "flight", faults);
    let (name, release, timezone) = flight(&flight_section, faults);
    let us_units = release::us_units(&flight_section, faults);
    let site = site(&Section::of(root, "site", faults), faults);
    if let (Some(release), Some(site)) = (release, &site) {
        release::clocks_fit(&flight_section, (release, &timezone), site.position, faults);
    }
    let wind = Section::of(root, "wind", faults);
    wind.allow(&["files", "issued", "member_per_file", "columns"], faults);
    let issued =
        "the date and time of the forecast's run with its offset, as in 2026-02-05T00:00:00Z";
    let wind_issued = time(&wind, "issued", issued, faults);
    let member_per_file = wind.flag("member_per_file", faults).unwrap_or(false);
    let wind_columns = columns(&wind, faults);
    let wind_files = files.of(&wind, "files", faults);
    let (stack, balloons) = read::stack(root, files, faults);
    let spread_section = Section::of(root, "spread", faults);
    let spread = spread(&spread_section, files, faults);
    if let Some(stack) = &stack {
        read::check_spread(&spread_section, &spread, stack, faults);
    }
    let ground = ground(&Section::of(root, "ground", faults), files, faults);
    // Before the first `?`: all faults of a plan are told at once.
    let limits = limits(&Section::of(root, "limits", faults), faults);
    let brief = brief(&Section::of(root, "brief", faults), faults);
    Some(Plan {
        file: faults.file().to_owned(),
        name,
        release: release?,
        timezone,
        us_units,
        files: files.all.clone(),
        outside: files.outside.clone(),
        replaced: Vec::new(),
        site: site?,
        wind_files,
        wind_issued,
        member_per_file,
        wind_columns,
        stack: stack?,
        balloons: balloons?,
        spread,
        ground,
        limits,
        brief,
    })
}

fn flight(s: &Section, faults: &mut Faults) -> (String, Option<Timestamp>, TimeZone) {
    s.allow(&["name", "release", "timezone", "units"], faults);
    let name = s.text("name", "a name in quotes", faults).unwrap_or("");
    let timezone = s
        .text("timezone", "an IANA time zone name", faults)
        .and_then(|name| {
            let zone = TimeZone::get(name);
            if zone.is_err() {
                let expected = "an IANA time zone, as in \"America/Denver\"";
                faults.note(
                    s.span("timezone"),
                    &s.path("timezone"),
                    format!("\"{name}\""),
                    expected,
                );
            }
            zone.ok()
        });
    let release = release::release(s, timezone.as_ref(), faults);
    // A plan needs no zone where its release has an offset: times are shown in UTC then.
    (name.to_owned(), release, timezone.unwrap_or(TimeZone::UTC))
}

/// A date and time with its offset.
fn time(s: &Section, key: &'static str, expected: &str, faults: &mut Faults) -> Option<Timestamp> {
    let written = s.date_time(key, expected, faults)?;
    let time = written.parse::<Timestamp>();
    if time.is_err() {
        faults.note(s.span(key), &s.path(key), written, expected);
    }
    time.ok()
}

fn columns(s: &Section, faults: &mut Faults) -> Columns {
    let expected = "what columns hold, as in \"P=pressure hPa, Z=height m\"";
    let Some(text) = s.text("columns", expected, faults) else {
        return Columns::default();
    };
    text.parse().unwrap_or_else(|wrong: String| {
        faults.note(s.span("columns"), &s.path("columns"), text, &wrong);
        Columns::default()
    })
}

fn site(s: &Section, faults: &mut Faults) -> Option<Site> {
    s.allow(&["lat", "lon", "elevation", "shelter", "door"], faults);
    for (key, what) in [
        ("lat", "degrees north, as in 43.06"),
        ("lon", "degrees east, as in -108.48"),
    ] {
        if !s.has(key) {
            s.missing(key, what, faults);
        }
    }
    let lat = s.number("lat", "degrees north", -90.0..=90.0, faults);
    // Some maps count all the way round to the east.
    let lon = s.number("lon", "degrees east", -180.0..=360.0, faults);
    let elevation_m = s.quantity("elevation", M, SITE_ELEVATIONS_M, faults);
    let [shelter_m, door_m] = ["shelter", "door"].map(|key| filling::narrowest(s, key, faults));
    Some(Site {
        position: Position::new(lat?, lon?)?,
        elevation_m,
        shelter_m,
        door_m,
    })
}

fn spread(s: &Section, files: &mut Files, faults: &mut Faults) -> SpreadPlan {
    let known = [
        "lift",
        "burst_diameter",
        "burst_altitude",
        "early_bursts",
        "drag",
        "rate",
        "parachute",
        "canopy_changes",
        "remnant",
        "release_delay",
        "wind",
        "logbook",
    ];
    s.allow(&known, faults);
    s.only_one(&["burst_diameter", "burst_altitude"], faults);
    let diameter = s.quantity("burst_diameter", SHARE, 0.0..=0.2, faults);
    let altitude_m = s.quantity("burst_altitude", M, 0.0..=8_000.0, faults);
    let by_altitude = altitude_m.map(|sigma_m| BurstSpread::AltitudeM {
        sigma_m,
        // Filled in when the flight is set up: what the air is like there is not known yet.
        scale_m: None,
    });
    SpreadPlan {
        // Lift and drag vary by no more than a rise can be tabulated for.
        lift: s.quantity("lift", SHARE, 0.0..=0.2, faults),
        burst: by_altitude.or(diameter.map(BurstSpread::Diameter)),
        early_bursts: s.quantity("early_bursts", SHARE, 0.0..=0.9, faults),
        drag: s.quantity("drag", SHARE, 0.0..=0.24, faults),
        rate: s.quantity("rate", SHARE, 0.0..=0.3, faults),
        canopy_changes: s.quantity("canopy_changes", SHARE, 0.0..=1.0, faults),
        parachute: s.quantity("parachute", SHARE, 0.0..=0.2, faults),
        remnant: s.quantity("remnant", SHARE, 0.0..=0.5, faults),
        release_delay_s: s.quantity("release_delay", Dimension::Time, 0.0..=86_400.0, faults),
        wind: wind_spread(s, faults),
        logbook: logbook(s, files, faults),
    }
}

/// The flights of the logbook that is named.
fn logbook(s: &Section, files: &mut Files, faults: &mut Faults) -> Option<Logbook> {
    let path = files.one_of(s, "logbook", "the name of a logbook's file", faults)?;
    let read = Logbook::read(&path);
    read.map_err(|error| faults.note_error(s.span("logbook"), &s.path("logbook"), error))
        .ok()
}

fn ground(s: &Section, files: &mut Files, faults: &mut Faults) -> GroundPlan {
    let known = [
        "terrain",
        "keep_out",
        "land_in",
        "roads",
        "road_class",
        "power_lines",
        "osm",
        "buffers",
        "site_limits",
    ];
    s.allow(&known, faults);
    let (buffers, site_limits) = (
        class_distances(s, "buffers", faults),
        class_distances(s, "site_limits", faults),
    );
    let mut files = |key| files.of(s, key, faults);
    GroundPlan {
        terrain: files("terrain"),
        keep_out: files("keep_out"),
        land_in: files("land_in"),
        roads: files("roads"),
        power_lines: files("power_lines"),
        osm: files("osm"),
        buffers,
        site_limits,
        road_class: s
            .text("road_class", "the name of an attribute", faults)
            .map(str::to_owned),
    }
}

/// Pairs of a class of things on the ground and a distance.
fn class_distances(s: &Section, key: &'static str, faults: &mut Faults) -> Vec<(Class, f64)> {
    if !s.has(key) {
        return Vec::new();
    }
    let names: Vec<String> = Class::all().map(Class::name).collect();
    let expected = format!(
        "pairs of a thing and a distance, as in [[\"motorway road\", \"200 m\"]]; things are {}",
        names.join(", ")
    );
    let pairs = s.pairs(key, &expected, faults, |thing, distance, path, faults| {
        let name = thing.get_ref().as_str().unwrap_or("");
        let class = Class::all().find(|class| class.name() == name);
        if class.is_none() {
            let found = format!("\"{name}\"");
            faults.note(Some(thing.span().start), path, found, expected.as_str());
        }
        // Both are read before they are joined, so that both may be told to be at fault.
        class.zip(quantity(distance, path, M, 0.0..=15_000.0, faults))
    });
    pairs.unwrap_or_default()
}

fn limits(s: &Section, faults: &mut Faults) -> LimitsPlan {
    let known = [
        "surface_wind",
        "keep_out_probability",
        "all_hazards_probability",
        "water_probability",
        "max_drift",
        "daylight_after_landing",
        "dark_release",
    ];
    s.allow(&known, faults);
    let share = "a share of the draws";
    LimitsPlan {
        surface_wind_m_s: s.quantity("surface_wind", M_S, 0.1..=30.0, faults),
        keep_out_probability: s.number("keep_out_probability", share, 0.0..=1.0, faults),
        all_hazards_probability: s.number("all_hazards_probability", share, 0.0..=1.0, faults),
        water_probability: s.number("water_probability", share, 0.0..=1.0, faults),
        max_drift_m: s.quantity("max_drift", M, 100.0..=2_000_000.0, faults),
        daylight_after_landing_s: s.quantity(
            "daylight_after_landing",
            Dimension::Time,
            0.0..=86_400.0,
            faults,
        ),
        dark_release: s.flag("dark_release", faults).unwrap_or(false),
    }
}

fn brief(s: &Section, faults: &mut Faults) -> BriefPlan {
    s.allow(&["contacts", "notes", "filling"], faults);
    let contacts = s.texts("contacts", "an array of texts, a contact each", faults);
    let notes = s.text("notes", "a text in quotes", faults).unwrap_or("");
    BriefPlan {
        contacts: contacts.into_iter().map(str::to_owned).collect(),
        notes: notes.to_owned(),
        filling_s: s.quantity("filling", Dimension::Time, 0.0..=86_400.0, faults),
    }
}

fn wind_spread(s: &Section, faults: &mut Faults) -> Option<WindSpread> {
    let expected = "\"sounding\", \"forecast\", \"none\", or pairs of level and standard deviation, as in [[\"1 km\", \"2 m/s\"], [\"250 hPa\", \"3.5 m/s\"]]";
    if s.is_array("wind") {
        let rows = s.pairs("wind", expected, faults, |level, sigma, path, faults| {
            let sigma = quantity(sigma, path, M_S, 0.0..=50.0, faults);
            let text = level.get_ref().as_str().unwrap_or("");
            // Only one of both has a unit of pressure, so the unit tells which it is.
            let altitude = match parse(text, Dimension::Pressure) {
                // No height has a pressure of nothing: read as a length it is told as a fault.
                Ok(p) if p > 0.0 => Some(standard_height_of_pressure(p).standard_altitude_m()),
                _ => quantity(level, path, M, -500.0..=60_000.0, faults),
            };
            altitude.zip(sigma)
        })?;
        let mut rows: Vec<(f64, f64)> = rows;
        // People may list them from the top down.
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Which of two deviations counts at a level would be a guess.
        if neighbours(&rows).any(|(a, b)| a.0 == b.0) {
            faults.note(
                s.span("wind"),
                &s.path("wind"),
                "a level that stands twice",
                expected,
            );
            return None;
        }
        return Some(WindSpread::Table(rows));
    }
    match s.text("wind", expected, faults)? {
        "sounding" => Some(WindSpread::Sounding),
        "forecast" => Some(WindSpread::Forecast),
        "none" => Some(WindSpread::None),
        other => {
            faults.note(
                s.span("wind"),
                &s.path("wind"),
                format!("\"{other}\""),
                expected,
            );
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sample's plan with another elevation; its faults in words.
    fn with(elevation: &str) -> std::result::Result<Option<f64>, String> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/high-plains");
        let text = std::fs::read_to_string(folder.join("plan.toml")).unwrap();
        assert!(text.contains("\"1640 m\""));
        let plan = Plan::parse(
            "f",
            &text.replace("\"1640 m\"", &format!("\"{elevation}\"")),
            &folder,
        );
        plan.map(|plan| plan.site.elevation_m)
            .map_err(|fault| fault.to_string())
    }

    #[test]
    fn a_point_in_an_elevation_is_not_guessed() {
        let message = with("1.640 m").unwrap_err();
        assert!(
            message.contains("\"1640 m\" if the point stands between thousands"),
            "{message}"
        );
        assert!(with("5.380 ft").is_err());
        assert_eq!(with("1.64 km"), Ok(Some(1_640.0)));
        assert_eq!(with("12.5 m"), Ok(Some(12.5)));
        // 187,250 m is no elevation of a site.
        assert_eq!(with("187.250 m"), Ok(Some(187.25)));
    }

    #[test]
    fn a_point_in_other_masses_and_heights_is_not_guessed_either() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/high-plains");
        let sample = std::fs::read_to_string(folder.join("plan.toml")).unwrap();
        let parsed = |old: &str, new: &str| {
            assert!(sample.contains(old), "{old}");
            Plan::parse("f", &sample.replace(old, new), &folder)
        };
        let camera = "mass = \"1.35 kg\"";
        let gas = "gas = \"helium\"";
        for (old, new) in [
            (camera, "mass = \"1.350 g\""),
            (camera, "measured = \"1.350 g\""),
            (gas, "gas = \"helium\"\nfiller = \"1.200 g\""),
            ("mass = \"0.35 kg\"", "mass = \"1.350 g\""),
            (
                "[spread]",
                "[ascent]\nrates = [[\"10.000 m\", \"5 m/s\"]]\n[spread]",
            ),
            (
                "[spread]",
                "[descent]\nrates = [[\"10.000 ft\", \"9 m/s\"]]\n[spread]",
            ),
            ("burst_diameter = \"5 %\"", "burst_altitude = \"1.200 m\""),
            ("wind = \"sounding\"", "wind = [[\"10.000 m\", \"3 m/s\"]]"),
            (
                "[spread]",
                "[ground]\nbuffers = [[\"motorway road\", \"1.500 m\"]]\n[spread]",
            ),
        ] {
            let message = parsed(old, new).unwrap_err().to_string();
            assert!(message.contains("between thousands"), "{new}: {message}");
        }
        for (old, new) in [
            (camera, "mass = \"1.350 kg\""),
            (camera, "mass = \"35.5 g\""),
            // Eighths of an ounce, and ways that nobody has by thousands.
            (camera, "mass = \"1.375 oz\""),
            ("[spread]", "[limits]\nmax_drift = \"1.500 km\"\n[spread]"),
            (
                camera,
                "length = \"3.000 ft\"\nmass_per_length = \"5.125 g/m\"",
            ),
            ("diameter = \"2.1 m\"", "diameter = \"2.100 m\""),
        ] {
            let plan = parsed(old, new);
            assert!(plan.is_ok(), "{new}: {}", plan.unwrap_err());
        }
    }
}

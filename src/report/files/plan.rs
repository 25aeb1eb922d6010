//! The text of a plan that was begun from answers.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::clock::local::{read_time, signed};
use crate::draft::{Answers, Elevation, ElevationFrom};
use crate::plan::names_parachute;
use crate::units::UnitSystem;

/// A plan that was begun.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draft {
    /// The plan.
    pub text: String,
    /// What was looked up or assumed, a line each.
    pub assumed: Vec<String>,
}

/// Writes a plan. What the answers leave open is assumed, and said in the plan and beside it.
pub fn draft(answers: &Answers) -> Draft {
    let mut assumed = Vec::new();
    let sections = [
        flight(answers),
        site(answers, &mut assumed),
        WIND.to_owned(),
        balloon(answers, &mut assumed),
        load(answers),
        parachute(answers, &mut assumed),
        ground(answers),
        LIMITS.to_owned(),
    ];
    Draft {
        text: sections.concat(),
        assumed,
    }
}

/// How to get winds.
const WIND: &str = "\
[wind]
# Winds are given when a command runs (--wind FILE...), or here, as seen from this file:
# files = [\"winds/forecast.grib2\"]
# `windfall fetch` downloads the part of a public forecast that this plan needs. By hand: the newest
# sounding of the nearest upper-air station (its page lists pressure, height, temperature, wind), or
# a forecast of a weather service as GRIB2 or netCDF with wind and geopotential height on pressure
# levels, from the ground to above the burst, from the release to the landing.

";

const LIMITS: &str = "\
[limits]                              # for `windfall days` and `sites`; yours may be stricter
# surface_wind = \"4 m/s\"
# max_drift = \"80 km\"
# daylight_after_landing = \"2 h\"
";

/// A text in quotes, as TOML has it.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            // TOML has no such characters in a text.
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A key with its value, and a remark where there is one.
fn line(key: &str, value: &str, remark: &str) -> String {
    let set = format!("{key} = {value}");
    match remark {
        "" => format!("{set}\n"),
        // In one column with the remarks of the sections that are fixed.
        remark => format!("{set:<37} # {remark}\n"),
    }
}

/// A key that may be set, as a remark.
fn aside(example: &str, remark: &str) -> String {
    format!("# {example:<35} # {remark}\n")
}

fn flight(answers: &Answers) -> String {
    let zone = &answers.timezone;
    let units = match answers.us_units {
        false => "metric",
        true => "us",
    };
    let zone_name = zone.iana_name().unwrap_or("UTC");
    [
        "# A plan for windfall, begun by `windfall new`. Check every number before you fly.\n\n[flight]\n",
        &line("name", &quoted(&answers.name), ""),
        &line(
            "release",
            &quoted(&release_text(answers.release, zone)),
            "on the clocks of timezone",
        ),
        &line("timezone", &quoted(zone_name), ""),
        &line("units", &quoted(units), "that you read; --units overrides it"),
        "\n",
    ]
    .concat()
}

/// The release on the clocks of the zone, with its offset only where the clocks show it twice.
pub fn release_text(time: Timestamp, zone: &TimeZone) -> String {
    let clock = zone.to_datetime(time);
    // Seconds only where they say something: plans are read by people.
    let format = match clock.second() {
        0 => "%Y-%m-%d %H:%M",
        _ => "%Y-%m-%d %H:%M:%S",
    };
    let shown = clock.strftime(format).to_string();
    // Read as a plan will be: where the clocks show a time twice it may come back as the other one.
    match read_time(&shown, Some(zone)) {
        Ok(same) if same == time => shown,
        _ => shown + &signed(zone.to_offset(time)),
    }
}

fn site(answers: &Answers, assumed: &mut Vec<String>) -> String {
    let site = &answers.site;
    let mut out = String::from("[site]\n");
    let remark = match &site.town {
        Some(town) => {
            let name = town.full_name();
            assumed.push(format!(
                "the site is the middle of {name}: put the coordinates of your field in its place"
            ));
            format!("the middle of {name}: put your field here")
        }
        None => "degrees north".to_owned(),
    };
    out += &line("lat", &degrees(site.position.lat_deg), &remark);
    out += &line(
        "lon",
        &degrees(site.position.lon_deg),
        "degrees east, so west is negative",
    );
    match &answers.elevation {
        Some(elevation) => out += &elevation_line(elevation, answers.us_units, assumed),
        None => {
            assumed.push(
                "the elevation of the site is not known: look it up on a map, or give terrain"
                    .into(),
            );
            out += &aside(
                "elevation = \"38 m\"",
                "above sea level, from a map; else from [ground] terrain",
            );
        }
    }
    out + "\n"
}

/// Degrees to a tenth of a metre or so, always with a point.
pub fn degrees(value: f64) -> String {
    let text = format!("{value:.6}");
    // A number in TOML does not end in a point, and one without a point is a whole number.
    let text = text.trim_end_matches('0');
    match text.strip_suffix('.') {
        Some(whole) => format!("{whole}.0"),
        None => text.to_owned(),
    }
}

fn elevation_line(elevation: &Elevation, us_units: bool, assumed: &mut Vec<String>) -> String {
    let units = UnitSystem::of(us_units);
    let height = units.height(elevation.elevation_m);
    let written = match &elevation.from {
        // As it was typed: in another unit it would not be the person's own number.
        ElevationFrom::Given(written) => written,
        ElevationFrom::Terrain(file) => {
            assumed.push(format!("the site lies at {height}, by {file}"));
            &height
        }
        ElevationFrom::Airport(code, distance_m) => {
            let away = units.distance(*distance_m);
            assumed.push(format!(
                "the site lies as high as the airport {code}, {away} away: {height}; a map knows better"
            ));
            &height
        }
    };
    line(
        "elevation",
        &quoted(written),
        &elevation_remark(&elevation.from, units),
    )
}

/// What a plan says beside an elevation that was looked up.
pub fn elevation_remark(from: &ElevationFrom, units: UnitSystem) -> String {
    match from {
        ElevationFrom::Given(_) => String::new(),
        ElevationFrom::Terrain(file) => format!("above sea level, by {}", one_line(file)),
        ElevationFrom::Airport(code, distance_m) => {
            let away = units.distance(*distance_m);
            format!("that of the airport {code}, {away} away; assumed")
        }
    }
}

fn one_line(text: &str) -> String {
    text.replace(char::is_control, " ")
}

fn balloon(answers: &Answers, assumed: &mut Vec<String>) -> String {
    let mut out = String::from("[balloon]\n");
    out += &line("mass", &quoted(&answers.balloon), "of the empty balloon");
    match &answers.burst_diameter {
        Some(diameter) => out += &line("burst_diameter", &quoted(diameter), ""),
        None => {
            assumed.push("the balloon bursts at the diameter of the program's tables".into());
            out += &aside(
                "burst_diameter = \"8.63 m\"",
                "from the maker's sheet; else from the program's tables",
            );
        }
    }
    let (gas, remark) = match &answers.gas {
        Some(gas) => (gas.as_str(), ""),
        None => {
            assumed.push("the gas is helium".into());
            ("helium", "or \"hydrogen\"; assumed")
        }
    };
    out += &line("gas", &quoted(gas), remark);
    // As round in either: 1,000 ft/min are 5.08 m/s.
    let usual = match answers.us_units {
        false => "5 m/s",
        true => "1000 ft/min",
    };
    let (rate, remark) = match &answers.ascent_rate {
        Some(rate) => (rate.as_str(), "at release"),
        None => {
            assumed.push(format!(
                "the balloon is filled to rise at {usual} at release"
            ));
            (usual, "at release; assumed")
        }
    };
    out += &line("ascent_rate", &quoted(rate), remark);
    out + "# In place of ascent_rate, once you have decided: neck_lift, free_lift or gas_volume.\n\n"
}

fn load(answers: &Answers) -> String {
    let item = |(name, mass): &(String, String)| {
        let (name, mass) = (quoted(name), quoted(mass));
        [
            "[[load]]\n",
            &line("name", &name, ""),
            &line(
                "mass",
                &mass,
                "as planned; add measured = once it was on the scales",
            ),
            "\n",
        ]
        .concat()
    };
    answers.load.iter().map(item).collect()
}

fn parachute(answers: &Answers, assumed: &mut Vec<String>) -> String {
    let among_load = answers.load.iter().any(|(name, _)| names_parachute(name));
    let (said, remark) = match among_load {
        true => (
            "the mass of the parachute and of all lines is among the load",
            "where it is not among the load",
        ),
        false => (
            "the parachute weighs nothing, as no part of the load is called so: give [parachute] mass",
            "taken as nothing until it is given",
        ),
    };
    assumed.push(said.into());
    [
        "[parachute]\n",
        &line("diameter", &quoted(&answers.parachute), "laid out flat"),
        &aside("mass = \"0.3 kg\"", remark),
        "\n",
    ]
    .concat()
}

fn ground(answers: &Answers) -> String {
    let names: Vec<String> = answers
        .terrain
        .iter()
        .map(|path| quoted(&path.display().to_string()))
        .collect();
    let terrain = match names.as_slice() {
        [] => aside("terrain = [\"N43W109.hgt\"]", "heights of the ground"),
        names => line("terrain", &format!("[{}]", names.join(", ")), ""),
    };
    format!(
        "[ground]\n{terrain}# roads = [\"roads.geojson\"]\n# keep_out = [\"reservoir.geojson\"]\n\n"
    )
}

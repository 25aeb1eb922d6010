//! The parts of a plan about gas, masses and lines: what a fill is made of.

use std::ops::RangeInclusive;
use std::path::Path;

use toml::de::DeTable;

use super::document::{Faults, Section};
use super::named_files::Files;
use super::{CylinderContent, CylinderPlan, KG, LoadKind, M, M_S};
use crate::error::Result;
use crate::files::read_text;
use crate::numeric::nearest_whole;
use crate::sizing::Known;
use crate::units::{Dimension, parse};
use crate::vehicle::latex::LatexTable;

/// The ways to give a fill, of which a plan has exactly one.
pub const FILLS: [&str; 7] = [
    "neck_lift",
    "free_lift",
    "gas_volume",
    "cylinders",
    "ascent_rate",
    "burst_altitude",
    "flight_time",
];

/// The one way in which the fill is given.
pub fn fill(s: &Section, faults: &mut Faults) -> Option<Known> {
    let volume = Dimension::Volume;
    match s.only_one(&FILLS, faults) {
        None => {
            let expected = format!("exactly one of {}", FILLS.join(", "));
            s.missing("neck_lift", &expected, faults);
            None
        }
        // Read with the cylinders at hand, as both are the same tables.
        Some("cylinders") => Some(Known::Cylinders),
        Some("neck_lift") => s
            .quantity("neck_lift", KG, 0.005..=100.0, faults)
            .map(Known::NeckLift),
        Some("free_lift") => s
            .quantity("free_lift", KG, 0.005..=100.0, faults)
            .map(Known::FreeLift),
        Some("gas_volume") => s
            .quantity("gas_volume", volume, 0.01..=200.0, faults)
            .map(Known::GasVolume),
        Some("burst_altitude") => s
            .quantity("burst_altitude", M, 100.0..=50_000.0, faults)
            .map(Known::BurstAltitude),
        Some("flight_time") => s
            .quantity("flight_time", Dimension::Time, 300.0..=172_800.0, faults)
            .map(Known::FlightTime),
        Some(_) => s
            .quantity("ascent_rate", M_S, 0.5..=15.0, faults)
            .map(Known::AscentRate),
    }
}

/// The cylinders: those of `[balloon] cylinders`, which are emptied, or the `[[cylinders]]` at
/// hand.
pub fn cylinders<'a>(
    root: &'a DeTable<'a>,
    balloon: &Section<'a>,
    faults: &mut Faults,
) -> Vec<CylinderPlan> {
    let at_hand = Section::all_of(root, "cylinders", faults);
    let emptied = balloon.tables_under("cylinders", faults);
    // Which of the two would count is a guess that decides how much gas there is.
    if let (Some(first), false) = (at_hand.first(), emptied.is_empty()) {
        first.contradiction(
            "the gas at hand together with [balloon] cylinders",
            "[[cylinders]] or [balloon] cylinders, not both",
            faults,
        );
    }
    let all = at_hand.iter().chain(&emptied);
    all.filter_map(|s| one_kind(s, faults)).collect()
}

fn one_kind(s: &Section, faults: &mut Faults) -> Option<CylinderPlan> {
    let keys = [
        "count",
        "contents",
        "water_volume",
        "pressure",
        "temperature",
    ];
    s.allow(&keys, faults);
    let count = match s.has("count") {
        true => {
            let what = "how many, a whole number";
            let count = s.number("count", what, 1.0..=1_000.0, faults)?;
            // Noted, and read on: what else is wrong with the cylinders is to be told as well.
            if count.fract() != 0.0 {
                s.wrong("count", count.to_string(), what, faults);
            }
            nearest_whole(count)?
        }
        // A table is one cylinder unless it says more.
        false => 1,
    };
    let temperature_k = s.quantity("temperature", Dimension::Temperature, 220.0..=340.0, faults);
    if s.has("contents") && s.has("temperature") {
        let found = "a temperature together with contents";
        let expected =
            "temperature beside pressure alone: contents are what comes out at 70 F (21 C)";
        s.wrong("temperature", found, expected, faults);
    }
    Some(CylinderPlan {
        count,
        content: content(s, faults)?,
        temperature_k,
    })
}

/// What is in one: its contents, or its inner volume and the pressure on its gauge.
fn content(s: &Section, faults: &mut Faults) -> Option<CylinderContent> {
    if s.has("contents") {
        // Two pairs, as a size and a gauge belong together.
        s.only_one(&["contents", "water_volume"], faults);
        s.only_one(&["contents", "pressure"], faults);
        let contents_m3 = s.quantity("contents", Dimension::Volume, 0.01..=1_000.0, faults)?;
        return Some(CylinderContent::Contents(contents_m3));
    }
    for (key, expected) in [
        (
            "water_volume",
            "the inner volume of one, as in \"50 L\"; or contents, as in \"244 ft3\"",
        ),
        (
            "pressure",
            "the pressure on its gauge, as in \"200 bar\" or \"2400 psi\"",
        ),
    ] {
        if !s.has(key) {
            s.missing(key, expected, faults);
        }
    }
    // Both are read before either is missed, so that faults of both are told.
    let volume = s.quantity("water_volume", Dimension::Volume, 1e-4..=5.0, faults);
    let gauge = s.quantity("pressure", Dimension::Pressure, 1e4..=4.5e7, faults);
    Some(CylinderContent::Pressure {
        water_volume_m3: volume?,
        gauge_pa: gauge?,
    })
}

/// The program's tables of balloons, with the plan's own before them. `None` (and noted) where a
/// table cannot be read.
pub fn balloon_table(s: &Section, files: &mut Files, faults: &mut Faults) -> Option<LatexTable> {
    let own = files.one_of(s, "table", "the name of a file of balloons", faults);
    let tables = LatexTable::built_in().and_then(|tables| match own {
        Some(own) => with_file(tables, &own),
        None => Ok(tables),
    });
    tables
        .map_err(|error| faults.note_error(s.span("table"), &s.path("table"), error))
        .ok()
}

fn with_file(tables: LatexTable, path: &Path) -> Result<LatexTable> {
    let text = read_text(path, "balloons in TOML")?;
    tables.with(&path.display().to_string(), &text)
}

/// Mass as planned, kg: as it is given, or length times mass by length.
pub fn planned_mass(s: &Section, length_m: Option<f64>, faults: &mut Faults) -> Option<f64> {
    s.only_one(&["mass", "mass_per_length"], faults);
    let mass_kg = s.quantity("mass", KG, 0.0..=100.0, faults);
    let by_length = s.quantity(
        "mass_per_length",
        Dimension::MassPerLength,
        0.0..=10.0,
        faults,
    );
    if s.has("mass_per_length") && !s.has("length") {
        s.missing("length", "the length of the line, as in \"6 m\"", faults);
    }
    mass_kg.or_else(|| Some(by_length? * length_m?))
}

/// The kind of an item.
pub fn kind(s: &Section, faults: &mut Faults) -> Option<LoadKind> {
    let expected = "\"box\", \"line\", \"reflector\" or \"other\"";
    match s.text("kind", expected, faults)? {
        "box" => Some(LoadKind::Box),
        "line" => Some(LoadKind::Line),
        "reflector" => Some(LoadKind::Reflector),
        "other" => Some(LoadKind::Other),
        other => {
            let found = format!("\"{other}\"");
            s.wrong("kind", found, expected, faults);
            None
        }
    }
}

/// Lengths with an x between them, m.
pub fn sides(
    s: &Section,
    key: &str,
    expected: &str,
    count: RangeInclusive<usize>,
    faults: &mut Faults,
) -> Option<Vec<f64>> {
    let text = s.text(key, expected, faults)?;
    let side = |t: &str| parse(t, M).ok().filter(|v| *v > 0.0 && *v < 100.0);
    let sides: Option<Vec<f64>> = text.split('x').map(side).collect();
    let sides = sides.filter(|sides| count.contains(&sides.len()));
    if sides.is_none() {
        s.wrong(key, format!("\"{text}\""), expected, faults);
    }
    sides
}

/// The narrowest side of an opening or a room, m.
pub fn narrowest(s: &Section, key: &str, faults: &mut Faults) -> Option<f64> {
    let expected = "its sides, as in \"2.4 m x 2.1 m\"";
    let sides = sides(s, key, expected, 1..=3, faults)?;
    sides.into_iter().reduce(f64::min)
}

//! What is in a sounding, as text.

use std::fmt::Write as _;

use crate::geodesy::Position;
use crate::units::{UnitSystem, ZERO_CELSIUS_K};
use crate::wind::cleaning::{GAP_M, gaps};
use crate::wind::sounding::{HeightSource, Level, Sounding};

/// Lines in the table of levels unless all are asked for.
const LINES: usize = 30;
/// Gaps that are listed one by one.
const GAP_LINES: usize = 4;
/// Width of the names before the values.
const NAME_WIDTH: usize = 10;

/// Heights between which there is no wind over more than 1.5 km, lowest first.
pub fn wind_gaps(sounding: &Sounding) -> Vec<(f64, f64)> {
    let heights: Vec<f64> = with_wind(sounding).map(|level| level.altitude_m).collect();
    gaps(&heights).iter().map(|g| (g.from_m, g.to_m)).collect()
}

fn with_wind(sounding: &Sounding) -> impl Iterator<Item = &Level> {
    sounding.levels.iter().filter(|level| level.wind.is_some())
}

/// The whole report on one ascent: what it is, what was done to it, and its levels (about thirty,
/// or all).
pub fn report(sounding: &Sounding, units: UnitSystem, all: bool) -> String {
    let mut text = summary(sounding, units);
    text.push('\n');
    text.push_str(&level_table(sounding, units, all));
    text
}

fn summary(sounding: &Sounding, units: UnitSystem) -> String {
    let mut text = String::new();
    let mut line = |name: &str, value: &str| {
        let _ = writeln!(text, "{name:NAME_WIDTH$}{value}");
    };
    let tally = &sounding.tally;
    if !sounding.name.is_empty() {
        line("station", &sounding.name);
    }
    if let Some(model) = &sounding.model {
        line("model", &format!("{}: computed, not measured", model.name));
    }
    line("time", &time_text(sounding));
    line("place", &place_text(sounding));
    let winds = with_wind(sounding).count();
    line(
        "levels",
        &format!(
            "{}, of which {winds} with wind ({} rows read)",
            sounding.levels.len(),
            tally.rows
        ),
    );
    line("winds", &height_range(sounding, units));
    line("heights", height_source(sounding.heights));
    for (name, said) in gap_lines(sounding, units) {
        line(name, &said);
    }
    for (count, what) in counts(sounding) {
        if count > 0 {
            line("cleaned", &format!("{what}: {count}"));
        }
    }
    if tally.byte_order_mark {
        line("cleaned", "a byte-order mark skipped");
    }
    for what in &tally.left_out {
        line("left out", what);
    }
    for what in &tally.assumed {
        line("assumed", what);
    }
    text
}

/// What is said of gaps between winds.
fn gap_lines(sounding: &Sounding, units: UnitSystem) -> Vec<(&'static str, String)> {
    let gaps = wind_gaps(sounding);
    if gaps.is_empty() {
        let none = format!("none over {} between winds", units.distance(GAP_M));
        return vec![("gaps", none)];
    }
    let first = gaps.iter().take(GAP_LINES).map(|(low, high)| {
        let [low, high] = [*low, *high].map(|m| units.height(m));
        ("gap", format!("no wind between {low} and {high}"))
    });
    let mut lines: Vec<(&str, String)> = first.collect();
    if let Some((_, top)) = gaps.get(GAP_LINES..).and_then(<[_]>::last) {
        let more = gaps.len() - GAP_LINES;
        lines.push(("gaps", format!("{more} more, up to {}", units.height(*top))));
    }
    lines
}

/// The time of an ascent for people, UTC.
pub fn time_text(sounding: &Sounding) -> String {
    sounding.time.map_or("not in the file".to_owned(), |time| {
        time.strftime("%Y-%m-%d %H:%M UTC").to_string()
    })
}

/// The place of an ascent for people.
pub fn place_text(sounding: &Sounding) -> String {
    sounding
        .position
        .map_or("not in the file".to_owned(), Position::text)
}

fn height_range(sounding: &Sounding, units: UnitSystem) -> String {
    let mut heights = with_wind(sounding).map(|level| level.altitude_m);
    let low = heights.next().unwrap_or(f64::NAN);
    let high = heights.last().unwrap_or(low);
    format!(
        "{} to {} above sea level",
        units.height(low),
        units.height(high)
    )
}

fn height_source(source: HeightSource) -> &'static str {
    match source {
        HeightSource::Geopotential => "geopotential in the file, made geometric here",
        HeightSource::Geometric => "geometric in the file",
        HeightSource::Hypsometric => "none in the file, computed from pressure and temperature",
    }
}

/// The counts of a tally in words.
fn counts(sounding: &Sounding) -> [(usize, &'static str); 9] {
    let tally = &sounding.tally;
    [
        (tally.fillers, "missing values (blanks and fillers)"),
        (tally.out_of_range, "impossible values, taken as missing"),
        (tally.unusable, "rows dropped that hold nothing usable"),
        (
            tally.repeated,
            "rows joined to an earlier one of the same height",
        ),
        (tally.unsorted, "rows out of order, sorted"),
        (tally.descent, "rows of a descent dropped"),
        (tally.calm, "calm winds without a direction"),
        (tally.heights_computed, "heights computed from pressure"),
        (tally.comments, "comment lines skipped"),
    ]
}

fn level_table(sounding: &Sounding, units: UnitSystem, all: bool) -> String {
    let levels: Vec<&Level> = if all {
        sounding.levels.iter().collect()
    } else {
        thinned(with_wind(sounding).collect(), LINES)
    };
    let mut text = format!(
        "{:>12}{:>12}{:>8}{:>16}{:>12}\n{:>12}{:>12}{:>8}{:>16}{:>12}\n",
        "height",
        "pressure",
        "air",
        "wind from",
        "wind",
        "above sea",
        "hPa",
        "",
        "deg true",
        "speed"
    );
    for level in &levels {
        let _ = writeln!(text, "{}", level_line(level, units));
    }
    if levels.len() < sounding.levels.len() {
        let _ = writeln!(
            text,
            "({} of {} levels; --all shows every one)",
            levels.len(),
            sounding.levels.len()
        );
    }
    text
}

fn level_line(level: &Level, units: UnitSystem) -> String {
    let dash = || "-".to_owned();
    let pressure = level
        .pressure_pa
        .map_or_else(dash, |p| format!("{:.1}", p / 100.0));
    let air = level
        .temperature_k
        .map_or_else(dash, |t| temperature(t, units));
    let from = level.wind.map_or_else(dash, |wind| {
        let from = wind.from_deg();
        if wind.speed_m_s() == 0.0 {
            "calm".to_owned()
        } else {
            format!("{:>3} {from:3.0}", compass_point(from))
        }
    });
    let speed = level
        .wind
        .map_or_else(dash, |wind| units.speed(wind.speed_m_s()));
    let height = units.height(level.altitude_m);
    format!("{height:>12}{pressure:>12}{air:>8}{from:>16}{speed:>12}")
}

fn temperature(t_k: f64, units: UnitSystem) -> String {
    let celsius = t_k - ZERO_CELSIUS_K;
    match units {
        UnitSystem::Metric => format!("{celsius:.0} C"),
        UnitSystem::Us => format!("{:.0} F", celsius * 1.8 + 32.0),
    }
}

/// The nearest of the sixteen points of the compass.
fn compass_point(from_deg: f64) -> &'static str {
    const POINTS: [&str; 16] = [
        "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW",
        "NW", "NNW",
    ];
    POINTS[(from_deg / 22.5).round() as usize % POINTS.len()]
}

/// About `count` levels, evenly spread over the heights, the lowest and the highest among them.
fn thinned(levels: Vec<&Level>, count: usize) -> Vec<&Level> {
    let (Some(first), Some(last)) = (levels.first(), levels.last()) else {
        return levels;
    };
    if levels.len() <= count {
        return levels;
    }
    let (first, top) = (first.altitude_m, last.altitude_m);
    let step = (top - first) / (count - 1) as f64;
    let mut next = first;
    levels
        .into_iter()
        .filter(|level| {
            let due = level.altitude_m >= next || level.altitude_m == top;
            while due && next <= level.altitude_m {
                next += step;
            }
            due
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sources;

    fn sounding(rows: usize) -> Sounding {
        let rows: String = (0..rows)
            .map(|i| format!("{},{},270\n", 100 * i, i % 40))
            .collect();
        let text = format!("altitude_m,wind_speed_m/s,wind_dir\n{rows}20000,5,90\n");
        sources::parse("f", &text, None).unwrap().remove(0)
    }

    #[test]
    fn gaps_are_found() {
        assert_eq!(wind_gaps(&sounding(100)), [(9_900.0, 20_000.0)]);
        let text = report(&sounding(100), UnitSystem::Metric, false);
        assert!(
            text.contains("no wind between 9,900 m and 20,000 m"),
            "{text}"
        );
    }

    #[test]
    fn long_tables_are_thinned() {
        let s = sounding(190);
        let lines = thinned(s.levels.iter().collect(), 30);
        assert!((28..=31).contains(&lines.len()), "{}", lines.len());
        assert_eq!(lines[lines.len() - 1].altitude_m, 20_000.0);
        let all = report(&s, UnitSystem::Us, true);
        assert!(all.lines().count() > 190);
        assert!(all.contains("65,620 ft"));
    }

    #[test]
    fn compass_points() {
        for (deg, point) in [
            (0.0, "N"),
            (360.0, "N"),
            (350.0, "N"),
            (225.0, "SW"),
            (95.0, "E"),
        ] {
            assert_eq!(compass_point(deg), point);
        }
    }
}

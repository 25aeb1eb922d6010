//! What is in a sounding, as text.

use std::collections::HashMap;
use std::fmt::Write as _;

use crate::geodesy::Position;
use crate::notes::reading::Reading;
use crate::sources::FileAscent;
use crate::units::{UnitSystem, ZERO_CELSIUS_K, counted, duration};
use crate::wind::cleaning::{gaps, least_gap_m};
use crate::wind::sounding::{HeightSource, Level, Model, Sounding, Tally, Wind};

/// Lines in the table of levels unless all are asked for.
const LINES: usize = 30;
/// Gaps that are listed one by one.
const GAP_LINES: usize = 4;
/// Width of the names before the values.
const NAME_WIDTH: usize = 10;

/// Heights far apart between which there is no wind, lowest first.
pub fn wind_gaps(sounding: &Sounding) -> Vec<(f64, f64)> {
    let heights: Vec<f64> = with_wind(sounding).map(|level| level.altitude_m).collect();
    let gaps = gaps(&heights, least_gap_m(sounding));
    gaps.iter().map(|g| (g.from_m, g.to_m)).collect()
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

/// Lines in a list of ascents, and how many of them at its start: the newest ones stand last.
const LISTED: usize = 200;
const FIRST_LISTED: usize = 10;

/// Many ascents, a line each, with what was left out and assumed said once.
pub fn list(ascents: &[FileAscent], units: UnitSystem) -> String {
    let mut text = format!(
        "{:<20} {:<26}{:>4}{:>11}{:>10}{:>13}  {}\n",
        "time", "station", "n", "from", "to", "strongest", "forecast"
    );
    let passed = ascents.len().saturating_sub(LISTED);
    for (i, ascent) in ascents.iter().enumerate() {
        if i == FIRST_LISTED && passed > 0 {
            let _ = writeln!(text, "... {passed} more ...");
        }
        if i < FIRST_LISTED || i >= FIRST_LISTED + passed {
            let _ = writeln!(text, "{}", list_line(&ascent.sounding, units));
        }
    }
    text.push('\n');
    let tallies = || ascents.iter().map(|a| &a.sounding.tally);
    let lost: Vec<String> = tallies().flat_map(left_out).collect();
    let left_out = unique(lost.iter()).map(|(words, count)| ("left out", words, count));
    let assumed: Vec<String> = tallies()
        .flat_map(|t| &t.assumed)
        .map(ToString::to_string)
        .collect();
    let assumed = unique(assumed.iter());
    for (name, words, count) in left_out.chain(assumed.map(|(w, c)| ("assumed", w, c))) {
        let times = match count {
            1 => String::new(),
            n => format!(" ({n} ascents)"),
        };
        let _ = writeln!(text, "{name:NAME_WIDTH$}{words}{times}");
    }
    for (file, count) in unique(ascents.iter().map(|a| &a.file)) {
        let ascents = counted(count, "ascent", "ascents");
        let _ = writeln!(text, "{:NAME_WIDTH$}{file}: {ascents}", "file");
    }
    text.push_str(
        "--at TIME shows the levels of the ascent nearest in time, --all those of every ascent.\n",
    );
    text
}

/// Ascents and parts of one that were left out, in words.
fn left_out(tally: &Tally) -> Vec<String> {
    let lost = tally.lost.iter().map(ToString::to_string);
    lost.chain(tally.left_out.iter().cloned()).collect()
}

/// Texts in the order in which each comes first, with how often it comes.
fn unique<'a>(texts: impl Iterator<Item = &'a String>) -> std::vec::IntoIter<(&'a str, usize)> {
    let mut found: Vec<(&str, usize)> = Vec::new();
    // Only to find a text again, as lists may have thousands of ascents; the order is the vector's.
    let mut places: HashMap<&str, usize> = HashMap::new();
    for text in texts {
        let place = *places.entry(text).or_insert(found.len());
        match found.get_mut(place) {
            Some((_, count)) => *count += 1,
            None => found.push((text, 1)),
        }
    }
    found.into_iter()
}

fn list_line(sounding: &Sounding, units: UnitSystem) -> String {
    let levels = || with_wind(sounding);
    let height =
        |level: Option<&Level>| level.map_or_else(String::new, |l| units.height(l.altitude_m));
    let speeds = levels().filter_map(|l| l.wind).map(Wind::speed_m_s);
    let name: String = sounding.name.chars().take(25).collect();
    let forecast = match &sounding.model {
        Some(Model {
            lead_s: Some(lead), ..
        }) => format!("+ {}", duration(*lead)),
        Some(_) => "yes".to_owned(),
        None => String::new(),
    };
    let line = format!(
        "{:<20} {name:<26}{:>4}{:>11}{:>10}{:>13}  {forecast}",
        time_text(sounding),
        levels().count(),
        height(levels().next()),
        height(levels().last()),
        units.speed(speeds.fold(0.0, f64::max)),
    );
    line.trim_end().to_owned()
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
    let read = match tally.rows {
        // A column between others, of which none was read itself.
        0 => String::new(),
        rows => format!(" ({} read)", counted(rows, "row", "rows")),
    };
    let levels = sounding.levels.len();
    line(
        "levels",
        &format!("{levels}, of which {winds} with wind{read}"),
    );
    line("winds", &height_range(sounding, units));
    if let Some(drift) = drift(sounding, units) {
        line("drift", &drift);
    }
    line("heights", height_source(sounding));
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
    for what in left_out(tally) {
        line("left out", &what);
    }
    for what in &tally.assumed {
        line("assumed", &what.to_string());
    }
    text
}

/// What is said of gaps between winds.
fn gap_lines(sounding: &Sounding, units: UnitSystem) -> Vec<(&'static str, String)> {
    let gaps = wind_gaps(sounding);
    if gaps.is_empty() {
        let none = format!(
            "none over {} between winds",
            units.distance(least_gap_m(sounding))
        );
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
    // A single level is the lowest and the highest: the first is taken out by then.
    let high = heights.last().unwrap_or(low);
    format!(
        "{} to {} above sea level",
        units.height(low),
        units.height(high)
    )
}

/// How far and how long the sonde went, where the file tells it: up to the last known place, else time.
fn drift(sounding: &Sounding, units: UnitSystem) -> Option<String> {
    let levels = &sounding.levels;
    let placed = |l: &&Level| l.place.is_some();
    let timed = |l: &&Level| l.after_s.is_some();
    let last = levels.iter().rfind(placed).or(levels.iter().rfind(timed))?;
    let from = levels.iter().find_map(|l| l.place);
    let went = from.zip(last.place).map(|(from, to)| {
        let towards = compass_point(from.azimuth_deg(to));
        format!("{} towards {towards}", units.distance(from.distance_m(to)))
    });
    let begun = levels.iter().find_map(|l| l.after_s);
    let times = begun.zip(last.after_s);
    let took = times.map(|(from, to)| format!("in {}", duration((to - from).abs())));
    let said: Vec<String> = went.into_iter().chain(took).collect();
    let up_to = units.height(last.altitude_m);
    Some(format!("the sonde's, up to {up_to}: {}", said.join(" ")))
}

fn height_source(sounding: &Sounding) -> &'static str {
    let assumed = &sounding.tally.assumed;
    let is_standard = || !sounding.levels.iter().any(|l| l.temperature_k.is_some());
    match sounding.heights {
        HeightSource::Geopotential => "geopotential in the file, made geometric here",
        HeightSource::Geometric => "geometric in the file",
        HeightSource::Hypsometric
            if is_standard() && assumed.contains(&Reading::StandardTemperatures) =>
        {
            "none in the file, computed from pressure and the standard atmosphere's temperatures"
        }
        HeightSource::Hypsometric => "none in the file, computed from pressure and temperature",
    }
}

/// The counts of a tally in words.
fn counts(sounding: &Sounding) -> [(usize, &'static str); 9] {
    let tally = &sounding.tally;
    [
        (tally.fillers, "missing values (blanks and fillers)"),
        (tally.out_of_range, "impossible values, taken as missing"),
        (tally.unusable, "rows dropped that have nothing usable"),
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
        // A few lines are better spent on levels that carry a flight.
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
    let (degrees, unit) = match units {
        UnitSystem::Metric => (celsius, "C"),
        UnitSystem::Us => (celsius * 1.8 + 32.0, "F"),
    };
    // Rounded as it is written, so that 0 loses its sign: nobody knows what "-0" is.
    format!("{:.0} {unit}", degrees.round_ties_even() + 0.0)
}

/// The nearest of the sixteen points of the compass.
fn compass_point(from_deg: f64) -> &'static str {
    const POINTS: [&str; 16] = [
        "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW",
        "NW", "NNW",
    ];
    // What is nearly a whole turn comes to the sixteenth point, north again.
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
            // The top is one of these very numbers, so it may be asked for exactly.
            let due = level.altitude_m >= next || level.altitude_m == top;
            // Several steps over a gap, or every level behind it would be due.
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
    fn no_sign_before_0_and_no_temperatures_that_are_not_there() {
        assert_eq!(temperature(ZERO_CELSIUS_K - 0.3, UnitSystem::Metric), "0 C");
        assert_eq!(temperature(ZERO_CELSIUS_K - 18.0, UnitSystem::Us), "0 F");
        let text = "pressure_hPa,u_m_s,v_m_s\n955,2,3\n899,5,6\n";
        let s = sources::parse("f", text, None).unwrap().remove(0);
        let said = report(&s, UnitSystem::Metric, false);
        assert!(
            said.contains("the standard atmosphere's temperatures"),
            "{said}"
        );
        assert!(said.contains("(2 rows read)"), "{said}");
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

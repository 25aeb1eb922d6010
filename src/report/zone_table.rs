//! A landing zone as a table for people.

use std::fmt::Write as _;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::clock::seconds_between;
use crate::geodesy::Position;
use crate::report::input_notes;
use crate::spread::members::MemberSpread;
use crate::units::{UnitSystem, duration};
use crate::zone::Zone;
use crate::zone::facts::{BalloonFacts, Facts, ModelFacts, WindFacts, WindSource};

/// What everybody who flies has to keep in mind.
pub(super) const CAUTIONS: [&str; 6] = [
    "This is a planning aid. It does not say that a flight is safe or permitted: read the rules in force where you fly, and ask the authority and the owners of the land.",
    "A falling load can hurt people and damage property: if the zone touches roads, houses, an airfield or the sea, choose another day or another site.",
    "Keep balloon, lines and people well clear of power lines, when filling and when recovering.",
    "Gas cylinders hold great pressure, helium can suffocate in closed rooms, hydrogen burns: follow the supplier's instructions.",
    "Whoever drives does nothing else: a second person reads the map.",
    "Repeat the prediction with the newest winds shortly before the release.",
];

/// The whole table, times in `zone_of_time`.
pub fn table(zone: &Zone, facts: &Facts, zone_of_time: &TimeZone, units: UnitSystem) -> String {
    let mut text = String::new();
    text.push_str(&title(facts));
    text.push_str(&marks(zone, zone_of_time, units));
    text.push_str(&in_short(zone, facts, zone_of_time, units));
    text.push_str(&regions(zone, units));
    if let Some(balloon) = &facts.balloon {
        text.push_str(&balloon_lines(balloon, units));
    }
    text.push_str(&wind_lines(&facts.wind, zone_of_time, units));
    text.push_str(&ground_lines(&facts.landed_on));
    if let Some(members) = &facts.members {
        text.push_str(&member_lines(members, units));
    }
    let mut notes = input_notes::of_cleaning(&facts.wind.cleaning, units);
    notes.extend(zone.notes.iter().cloned());
    text.push_str(&list("Notes", &notes));
    text.push_str(&list("Assumed", &zone.assumptions));
    text.push_str(&list("Cautions", &CAUTIONS));
    let _ = writeln!(
        text,
        "\n{} draws, seed {}, windfall {}",
        zone.draw_count, zone.seed, zone.version
    );
    text
}

fn title(facts: &Facts) -> String {
    match facts.name.as_str() {
        "" => "Landing zone\n\n".to_owned(),
        name => format!("Landing zone: {name}\n\n"),
    }
}

fn marks(zone: &Zone, zone_of_time: &TimeZone, units: UnitSystem) -> String {
    let mut text = format!(
        "{:9}{:24}{:>9}  {:24}{:>12}  {}\n",
        "", "time", "flown", "place", "height*", "from release, true bearing"
    );
    for (name, mark) in [
        ("release", &zone.release),
        ("burst", &zone.burst),
        ("landing", &zone.landing),
    ] {
        let flown = seconds_between(zone.release.time, mark.time);
        let way = if name == "release" {
            String::new()
        } else {
            way(zone.release.position, mark.position, units)
        };
        let line = format!(
            "{name:9}{:24}{:>9}  {:24}{:>12}  {way}",
            time(mark.time, zone_of_time),
            clock(flown),
            mark.position.text(),
            units.height(mark.altitude_m),
        );
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text + "* above mean sea level\n\n"
}

fn in_short(zone: &Zone, facts: &Facts, zone_of_time: &TimeZone, units: UnitSystem) -> String {
    let mut text = String::new();
    let flown = seconds_between(zone.release.time, zone.landing.time);
    let _ = writeln!(
        text,
        "In the air for {}; rises at {} on average, touches down at {}.",
        duration(flown),
        units.vertical_speed(facts.mean_rate_m_s),
        units.vertical_speed(facts.touchdown_speed_m_s)
    );
    let [early, _, late] = facts.landing_quantiles;
    let [low, _, high] = facts.burst_quantiles_m;
    let _ = writeln!(
        text,
        "9 of 10 draws{} land between {} and {}, and burst between {} and {} above sea level.",
        if facts.missed.is_empty() {
            ""
        } else {
            " that came down"
        },
        short_time(early, zone_of_time),
        short_time(late, zone_of_time),
        units.height(low),
        units.height(high)
    );
    if let Some(outer) = zone.ellipses.iter().find(|e| e.shape.probability == 0.9) {
        let _ = writeln!(
            text,
            "The 90 % ellipse is centred {}, at {}.",
            way(zone.release.position, outer.center, units) + " of the release",
            outer.center.text()
        );
    }
    if let Some(said) = early_bursts(facts, zone.release.position, zone_of_time, units) {
        for line in wrapped(&said, 100) {
            let _ = writeln!(text, "{line}");
        }
    }
    text + "\n"
}

/// Where and when those come down whose balloon bursts early, if any does.
pub(super) fn early_bursts(
    facts: &Facts,
    release: Position,
    zone_of_time: &TimeZone,
    units: UnitSystem,
) -> Option<String> {
    let early = facts.early_bursts.as_ref()?;
    let [from, _, to] = early.landing_quantiles;
    Some(format!(
        "About 1 flight in {:.0} bursts early: those land around {} of the release, half of them within {}, between {} and {}.",
        1.0 / early.share,
        way(release, early.center, units),
        units.distance(early.half_circle_m),
        short_time(from, zone_of_time),
        short_time(to, zone_of_time)
    ))
}

fn regions(zone: &Zone, units: UnitSystem) -> String {
    if zone.ellipses.is_empty() && zone.contours.is_empty() {
        return "No region is given: see the notes.\n".to_owned();
    }
    let mut text = format!(
        "{:16}{:>7}{:>22}{:>14}{:>14}\n",
        "region", "holds", "half axes", "long axis", "area"
    );
    for e in &zone.ellipses {
        let s = &e.shape;
        let axes = format!(
            "{} x {}",
            units.distance(s.semi_major_m),
            units.distance(s.semi_minor_m)
        );
        let _ = writeln!(
            text,
            "{:16}{:>7}{axes:>22}{:>14}{:>14}",
            format!("ellipse {:.0} %", 100.0 * s.probability),
            s.held.map_or_else(|| "-".into(), share),
            format!("{:03.0} deg", e.azimuth_deg.rem_euclid(180.0)),
            units.area(s.area_m2())
        );
    }
    for c in &zone.contours {
        let pieces = match c.pieces {
            0 | 1 => String::new(),
            n => format!("in {n} pieces"),
        };
        let _ = writeln!(
            text,
            "{:16}{:>7}{pieces:>22}{:>14}{:>14}",
            format!("contour {:.0} %", 100.0 * c.probability),
            share(c.held),
            "",
            units.area(c.area_m2)
        );
    }
    text + "\"Holds\" is the share of the draws inside; the long axis is clockwise from true north.\n"
}

fn balloon_lines(b: &BalloonFacts, units: UnitSystem) -> String {
    let burst = b.burst_diameter_m.map_or_else(String::new, |d| {
        format!(", bursts at {} across", units.size(d))
    });
    format!(
        "\nBalloon  lifts {} at the neck: the load of {} and {} of free lift.\n         {} of gas at the site, {} across at release{burst}.\n",
        units.mass(b.neck_lift_kg),
        units.mass(b.load_kg),
        units.mass(b.free_lift_kg),
        units.volume(b.volume_m3),
        units.size(b.release_diameter_m)
    )
}

/// What tells the heights of the landings, where that is not the site alone.
fn ground_lines(landed_on: &[(Option<String>, f64)]) -> String {
    if landed_on.iter().all(|(source, _)| source.is_none()) {
        return String::new();
    }
    let told = landed_on.iter().map(|(source, part)| {
        let source = source.as_deref().unwrap_or("the elevation of the site");
        format!("{source}, {} of the draws", share(*part))
    });
    let told: Vec<String> = told.collect();
    let mut text = String::new();
    for (i, line) in wrapped(&format!("landings on {}", told.join("; ")), 94)
        .iter()
        .enumerate()
    {
        let head = if i == 0 { "\nGround" } else { "" };
        let width = if i == 0 { 10 } else { 9 };
        let _ = writeln!(text, "{head:width$}{line}");
    }
    text
}

fn wind_lines(wind: &WindFacts, zone_of_time: &TimeZone, units: UnitSystem) -> String {
    let mut text = String::new();
    let files = wind.files.join(", ");
    for (i, line) in wrapped(&files, 86).iter().enumerate() {
        let head = if i == 0 { "\nWind" } else { "" };
        let width = if i == 0 { 10 } else { 9 };
        let _ = writeln!(text, "{head:width$}{line}");
    }
    let source = format!(
        "{}; from {} to {} above sea level",
        source_words(&wind.source, zone_of_time),
        units.height(wind.covered_m.0),
        units.height(wind.covered_m.1)
    );
    for line in wrapped(&source, 94) {
        let _ = writeln!(text, "         {line}");
    }
    if wind.sigma.is_empty() && wind.drift_sigma_m > 0.0 {
        return text;
    }
    if wind.sigma.is_empty() {
        return text + "         taken as exact\n";
    }
    let sigma: Vec<String> = wind
        .sigma
        .iter()
        .map(|(z, s)| format!("{} at {}", units.speed(*s), units.height(*z)))
        .collect();
    let error = format!(
        "error of each component (sd) {}; it alone moves the landing by {} (sd) east-west and north-south",
        sigma.join(", "),
        units.distance(wind.drift_sigma_m)
    );
    for line in wrapped(&error, 86) {
        let _ = writeln!(text, "         {line}");
    }
    text
}

pub(super) fn source_words(source: &WindSource, zone_of_time: &TimeZone) -> String {
    let at = |t: &Option<Timestamp>| t.map_or_else(|| "?".into(), |t| time(t, zone_of_time));
    let relative = |seconds: f64| {
        if seconds >= 0.0 {
            format!("{} before the release", duration(seconds))
        } else {
            format!("{} after the release", duration(-seconds))
        }
    };
    match source {
        WindSource::Sounding {
            station,
            time: of,
            age_s,
            model,
            ..
        } => {
            let station = match station.as_str() {
                "" => String::new(),
                name => format!("{name}, "),
            };
            let made = made_words(model.as_ref(), zone_of_time);
            match (of, age_s) {
                (Some(_), Some(age)) => {
                    format!("{station}{made} {}, {}", at(of), relative(*age))
                }
                _ => format!("{station}{made} at an unknown time"),
            }
        }
        WindSource::Soundings {
            stations,
            soundings,
            from,
            to,
            age_s,
            model,
            ..
        } => format!(
            "{soundings} {} of {}, from {} to {}{}",
            match model {
                None => "soundings".to_owned(),
                Some(model) => format!("forecast profiles ({})", model.name),
            },
            match stations {
                1 => "one station".to_owned(),
                n => format!("{n} stations"),
            },
            at(from),
            at(to),
            age_s.map_or_else(String::new, |age| format!(
                "; the nearest in time {}",
                relative(age)
            ))
        ),
        WindSource::Forecast {
            run,
            lead_s,
            from,
            to,
            steps,
            region,
            levels,
            members,
        } => {
            let run = match (run, lead_s) {
                (Some(_), Some(lead)) => format!("run of {}, {}", at(run), relative(*lead)),
                _ => "run unknown".into(),
            };
            let times = match steps {
                1 => at(from),
                n => format!("{n} times from {} to {}", at(from), at(to)),
            };
            let ensemble = match members {
                0 => String::new(),
                n => format!(", {n} members"),
            };
            format!("forecast, {run}; {times}; {region}, {levels} levels{ensemble}")
        }
    }
}

/// How a profile came about, up to the word before its time.
fn made_words(model: Option<&ModelFacts>, zone_of_time: &TimeZone) -> String {
    match model {
        None => "measured".into(),
        Some(ModelFacts {
            name, run: None, ..
        }) => format!("{name} profile, run unknown, valid"),
        Some(ModelFacts {
            name,
            run: Some(run),
            ..
        }) => {
            format!("{name} profile, run of {}, valid", time(*run, zone_of_time))
        }
    }
}

fn member_lines(members: &MemberSpread, units: UnitSystem) -> String {
    format!(
        "Members  {}: their mean landings differ by {} (sd) east-west and north-south,\n         the landings within one by {}\n",
        members.count,
        units.distance(members.between_m),
        units.distance(members.within_m)
    )
}

/// A heading with its lines, wrapped; nothing where there are none.
pub(super) fn list<S: AsRef<str>>(heading: &str, lines: &[S]) -> String {
    if lines.is_empty() {
        return String::new();
    }
    let mut text = format!("\n{heading}\n");
    for line in lines {
        for (i, part) in wrapped(line.as_ref(), 94).iter().enumerate() {
            let _ = writeln!(text, "{} {part}", if i == 0 { "-" } else { " " });
        }
    }
    text
}

/// A text in lines of at most `width` characters, cut between words.
pub(super) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

fn share(held: f64) -> String {
    format!("{:.1} %", 100.0 * held)
}

fn time(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone())
        .strftime("%Y-%m-%d %H:%M %Z")
        .to_string()
}

fn short_time(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone())
        .strftime("%H:%M %Z")
        .to_string()
}

fn clock(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round() as i64;
    format!("+{}:{:02}", minutes / 60, minutes % 60)
}

fn way(from: Position, to: Position, units: UnitSystem) -> String {
    format!(
        "{} at {:03.0} deg",
        units.distance(from.distance_m(to)),
        from.azimuth_deg(to)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_wrapped_whole() {
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(wrapped("", 7), Vec::<String>::new());
        assert_eq!(wrapped("unbreakable", 3), ["unbreakable"]);
    }

    #[test]
    fn flown_time_is_a_clock() {
        assert_eq!(clock(7_620.0), "+2:07");
    }
}

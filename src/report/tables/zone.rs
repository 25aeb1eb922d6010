//! A landing zone as a table for people.

use std::fmt::Write as _;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::brief::Wait;
use crate::clock::seconds_between;
use crate::geodesy::Position;
use crate::report::cautions::FLYING;
use crate::report::input_notes;
use crate::report::layout::{list, wrapped};
use crate::report::notes;
use crate::report::warnings;
use crate::report::words::{self, clock_with_zone};
use crate::spread::members::MemberSpread;
use crate::units::{UnitSystem, duration};
use crate::zone::Zone;
use crate::zone::facts::{BalloonFacts, Facts, LandedOn, ModelFacts, WindFacts, WindSource};

/// The whole table, times in `zone_of_time`.
pub fn table(
    zone: &Zone,
    facts: &Facts,
    wait: &Wait,
    zone_of_time: &TimeZone,
    units: UnitSystem,
) -> String {
    let mut text = String::new();
    text.push_str(&title(facts));
    // Before any number: what could change the decision is read even by who reads no further.
    text.push_str(&warnings::block(&warnings::of_zone(zone), units));
    text.push_str(&what_to_do(zone, facts, wait, zone_of_time, units));
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
    let mut found = notes::notes(&zone.notes, units);
    found.extend(input_notes::of_layers(&wait.layer_notes, units));
    text.push_str(&list("Notes", &found));
    text.push_str(&list(
        "Assumed",
        &notes::assumptions(&zone.assumptions, units),
    ));
    // Last, where a reader of the whole table ends, and in every table alike.
    text.push_str(&list("Cautions", &FLYING));
    let _ = writeln!(
        text,
        "\n{} draws (simulated flights, each a little different), seed {}, windfall {}",
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

/// Where the crew waits and from when, or why no place is given.
fn what_to_do(
    zone: &Zone,
    facts: &Facts,
    wait: &Wait,
    zone_of_time: &TimeZone,
    units: UnitSystem,
) -> String {
    let said = match wait.points.first() {
        None => words::nowhere_to_wait(zone).to_owned(),
        Some(point) => {
            let said = words::wait_here(point, wait.from, facts, zone_of_time, units);
            format!("Wait here: {said}.")
        }
    };
    let mut text = wrapped(&said, 100).join("\n") + "\n";
    if let Some(point) = wait.points.first() {
        let _ = writeln!(text, "           {}", point.position.text());
    }
    text + "\n"
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
        // From itself it lies nowhere.
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
        "In the air for {}; rises at {} on average, {}.",
        duration(flown),
        units.vertical_speed(facts.mean_rate_m_s),
        words::touchdown(facts, units)
    );
    let (lands, bursts_m) = (facts.landing_quantiles, facts.burst_quantiles_m);
    let _ = writeln!(
        text,
        "9 of 10 draws{} land between {} and {}, and burst between {} and {} above sea level.",
        // Those that never landed have no time, so the nine in ten are of the others.
        if facts.missed.is_empty() {
            ""
        } else {
            " that came down"
        },
        clock_with_zone(lands.low, zone_of_time),
        clock_with_zone(lands.high, zone_of_time),
        units.height(bursts_m.low),
        units.height(bursts_m.high)
    );
    if let Some(outer) = zone.outer() {
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
pub(in crate::report) fn early_bursts(
    facts: &Facts,
    release: Position,
    zone_of_time: &TimeZone,
    units: UnitSystem,
) -> Option<String> {
    let early = facts.early_bursts.as_ref()?;
    let lands = early.landing_quantiles;
    Some(format!(
        "About {}: those land around {} of the release, half of them within {}, between {} and {}.",
        words::bursts_early(early.share, "flight"),
        way(release, early.center, units),
        units.distance(early.half_circle_m),
        clock_with_zone(lands.low, zone_of_time),
        clock_with_zone(lands.high, zone_of_time)
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
            // An axis points both ways: of its two bearings the smaller one is told.
            format!("{:03.0} deg", e.azimuth_deg.rem_euclid(180.0)),
            units.area(s.area_m2())
        );
    }
    for c in &zone.contours {
        let pieces = match c.pieces {
            // One piece is what everybody expects.
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
    text + "\"Holds\" is the share of the draws inside; half axes are half the length and half the width;\nthe long axis points clockwise from true north.\n"
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
fn ground_lines(landed_on: &[LandedOn]) -> String {
    // That flights end at the height of the site is among the assumptions already.
    if landed_on.iter().all(|on| on.source.is_none()) {
        return String::new();
    }
    let told = landed_on.iter().map(|on| {
        let source = on.source.as_deref();
        let source = source.unwrap_or("the elevation of the site");
        format!("{source}, {} of the draws", share(on.share))
    });
    let told: Vec<String> = told.collect();
    beside("Ground", &format!("landings on {}", told.join("; ")), 94)
}

/// A paragraph with its name before the first line.
fn beside(name: &str, text: &str, width: usize) -> String {
    let mut lines = "\n".to_owned();
    for (i, line) in wrapped(text, width).iter().enumerate() {
        let name = if i == 0 { name } else { "" };
        let _ = writeln!(lines, "{name:9}{line}");
    }
    lines
}

fn wind_lines(wind: &WindFacts, zone_of_time: &TimeZone, units: UnitSystem) -> String {
    let mut text = beside("Wind", &wind.files.join(", "), 86);
    let source = format!(
        "{}; from {} to {} above sea level",
        source_words(&wind.source, zone_of_time),
        units.height(wind.covered_m.base_m),
        units.height(wind.covered_m.top_m)
    );
    for line in wrapped(&source, 94) {
        let _ = writeln!(text, "         {line}");
    }
    // Members that differ are the error: there is no table of one to show beside them.
    if wind.sigma.is_empty() && wind.drift_sigma_m > 0.0 {
        return text;
    }
    if wind.sigma.is_empty() {
        // No table of an error, and nothing that it would move.
        return text + "         taken as exact\n";
    }
    let sigma: Vec<String> = wind
        .sigma
        .iter()
        .map(|at| {
            let speed = units.speed(at.sigma_m_s);
            format!("{speed} at {}", units.height(at.altitude_m))
        })
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

pub(in crate::report) fn source_words(source: &WindSource, zone_of_time: &TimeZone) -> String {
    let at = |t: &Option<Timestamp>| t.map_or_else(|| "?".into(), |t| time(t, zone_of_time));
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
        } => {
            let counted = counted(*soundings, *stations, model.as_ref());
            let (from, to) = (at(from), at(to));
            let nearest = match age_s {
                // Between soundings before and after it the release is no time away from the winds.
                Some(0.0) => "; linear in time to the release".to_owned(),
                Some(age) => format!("; the nearest in time {}", relative(*age)),
                None => String::new(),
            };
            format!("{counted}, from {from} to {to}{nearest}")
        }
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
            let run = run_words(*run, *lead_s, zone_of_time);
            let times = match steps {
                1 => at(from),
                n => format!("{n} times from {} to {}", at(from), at(to)),
            };
            let ensemble = match members {
                0 => String::new(),
                1 => ", 1 member".to_owned(),
                n => format!(", {n} members"),
            };
            format!("forecast, {run}; {times}; {region}, {levels} levels{ensemble}")
        }
    }
}

/// The run of a forecast, and how long before the release it was made.
fn run_words(run: Option<Timestamp>, lead_s: Option<f64>, zone_of_time: &TimeZone) -> String {
    match run.zip(lead_s) {
        Some((run, lead_s)) => {
            let made = time(run, zone_of_time);
            format!("run of {made}, {}", relative(lead_s))
        }
        None => "run unknown".into(),
    }
}

/// Several soundings or forecast profiles of some stations.
fn counted(soundings: usize, stations: usize, model: Option<&ModelFacts>) -> String {
    let what = model.map_or_else(
        || "soundings".into(),
        |m| format!("forecast profiles ({})", m.name),
    );
    let stations = match stations {
        1 => "one station".to_owned(),
        n => format!("{n} stations"),
    };
    format!("{soundings} {what} of {stations}")
}

/// A time before the release, or after it where negative.
fn relative(seconds: f64) -> String {
    let side = if seconds >= 0.0 { "before" } else { "after" };
    format!("{} {side} the release", duration(seconds.abs()))
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

fn share(held: f64) -> String {
    format!("{:.1} %", 100.0 * held)
}

fn time(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone())
        .strftime("%Y-%m-%d %H:%M %Z")
        .to_string()
}

fn clock(seconds: f64) -> String {
    // Rounded before it is taken apart, or 1:59.9 would become 1:60.
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
    fn flown_time_is_a_clock() {
        assert_eq!(clock(7_620.0), "+2:07");
    }
}

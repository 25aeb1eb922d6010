//! The facts that an authority's notice form asks for, with blanks where the plan says nothing.

use std::fmt::Write as _;

use crate::brief::Brief;
use crate::brief::answer::{EventKind, HeightRow};
use crate::report::cautions::{AID, NOTICE};
use crate::report::layout::wrapped;
use crate::report::{places, plain, words};
use crate::units::{UnitSystem, duration};
use crate::zone::Mark;

/// Where somebody writes.
const BLANK: &str = "________________________";
/// Characters of a line.
const WIDE: usize = 76;
/// Characters of the names of facts.
const NAMES: usize = 24;

/// The facts, a line or a few each.
pub fn text(brief: &Brief, units: UnitSystem) -> String {
    let mut text = "FACTS FOR A NOTICE OF AN UNMANNED FREE BALLOON\n\n".to_owned();
    let groups = [
        ("Who", who(brief)),
        ("What", what(brief, units)),
        ("Where and when", where_and_when(brief, units)),
        ("Heights", heights(brief, units)),
        ("Drift and landing", drift(brief, units)),
    ];
    for (heading, facts) in groups {
        let _ = writeln!(text, "{heading}");
        for (name, said) in facts {
            // The rest of a line, behind two blanks and the name.
            let lines = wrapped(&said, WIDE - NAMES - 2);
            for (i, line) in lines.iter().enumerate() {
                let name = if i == 0 { name } else { "" };
                let _ = writeln!(text, "  {name:<NAMES$}{line}");
            }
        }
        text.push('\n');
    }
    for line in wrapped(&format!("{NOTICE} {AID}"), WIDE) {
        let _ = writeln!(text, "{line}");
    }
    let by = format!(
        "{} by windfall {}",
        words::utc(brief.made),
        brief.zone.version
    );
    let _ = writeln!(text, "Made {by}.");
    plain::text(&text).into_owned()
}

type Facts = Vec<(&'static str, String)>;

fn or_blank(said: Option<String>) -> String {
    // A text of blanks says no more than none.
    said.filter(|said| !said.trim().is_empty())
        .unwrap_or_else(|| BLANK.to_owned())
}

fn who(brief: &Brief) -> Facts {
    let mut facts = vec![
        (
            "Identification",
            or_blank(Some(one_line(&brief.facts.name))),
        ),
        ("Operator", BLANK.to_owned()),
    ];
    // A line to write on, as for all that the plan does not say.
    if brief.contacts.is_empty() {
        facts.push(("Contact during flight", BLANK.to_owned()));
    }
    for (i, line) in brief.contacts.iter().enumerate() {
        let name = if i == 0 { "Contact during flight" } else { "" };
        facts.push((name, one_line(line)));
    }
    facts
}

/// A text of the plan without breaks of lines.
fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn what(brief: &Brief, units: UnitSystem) -> Facts {
    let balloon = brief.facts.balloon.as_ref();
    let across = balloon.map(|balloon| {
        let burst = balloon
            .burst_diameter_m
            .map_or_else(String::new, |m| format!(", {} at the burst", units.size(m)));
        format!(
            "{} across at release{burst}",
            units.size(balloon.release_diameter_m)
        )
    });
    vec![
        ("Number of balloons", "1".to_owned()),
        ("Balloon", or_blank(across)),
        ("Colour", BLANK.to_owned()),
        (
            "Mass below the balloon",
            or_blank(brief.load_kg.map(|kg| units.mass(kg))),
        ),
        (
            "Length of suspension",
            or_blank(brief.suspension_m.map(|m| units.size(m))),
        ),
        ("Tracker, transponder", BLANK.to_owned()),
    ]
}

fn where_and_when(brief: &Brief, units: UnitSystem) -> Facts {
    let release = &brief.zone.release;
    let mut facts = vec![("Release", both_clocks(brief, release))];
    let mut events = brief.timeline.iter();
    // Without a delay there is nothing to tell but the planned time.
    let window = events.find(|e| e.kind == EventKind::Release && e.to > e.from);
    facts.extend(window.map(|e| {
        (
            "",
            format!("9 in 10 chances {}", words::event(e, &brief.timezone)),
        )
    }));
    // Named once: what follows are other forms of the same place.
    let mut name = "Place";
    for (form, said) in places::forms(release.position) {
        facts.push((name, format!("{said} ({form})")));
        name = "";
    }
    let height = format!("{} above mean sea level", units.height(release.altitude_m));
    facts.push(("Elevation", height));
    let in_the_air = release.time.duration_until(brief.zone.landing.time);
    facts.push(("In the air", duration(in_the_air.as_secs_f64())));
    facts
}

fn heights(brief: &Brief, units: UnitSystem) -> Facts {
    let bursts_m = brief.facts.burst_quantiles_m;
    let burst = &brief.zone.burst;
    let mut facts = vec![
        (
            "Greatest height",
            format!(
                "{} as planned; {} between {} and {}",
                units.height(burst.altitude_m),
                words::of_which(&brief.zone),
                units.height(bursts_m.low),
                units.height(bursts_m.high)
            ),
        ),
        ("", both_clocks(brief, burst)),
        (
            "Rate of ascent",
            format!(
                "{} on average",
                units.vertical_speed(brief.facts.mean_rate_m_s)
            ),
        ),
        (
            "Speed at the landing",
            units.vertical_speed(brief.facts.touchdown_speed_m_s),
        ),
    ];
    let passes = brief.heights.iter().map(|row| passes(brief, row, units));
    facts.extend(
        passes
            .enumerate()
            .map(|(i, said)| (if i == 0 { "Passes, UTC" } else { "" }, said)),
    );
    facts
}

fn passes(brief: &Brief, row: &HeightRow, units: UnitSystem) -> String {
    let release = brief.zone.release.position;
    let pass = |way: &str, mark: &Option<Mark>| {
        mark.as_ref().map(|mark| {
            let far = words::far(release.distance_m(mark.position), units);
            let bearing = release.azimuth_deg(mark.position);
            // In UTC, as the name of these rows says.
            let clock = mark.time.strftime("%H:%M");
            format!("{way} {clock}, {far} at {bearing:03.0}\u{b0}")
        })
    };
    let ways = [pass("up", &row.up), pass("down", &row.down)];
    let ways: Vec<String> = ways.into_iter().flatten().collect();
    format!("{}: {}", units.height(row.height_m), ways.join("; "))
}

fn drift(brief: &Brief, units: UnitSystem) -> Facts {
    let release = brief.zone.release.position;
    let landing = &brief.zone.landing;
    let mut facts = vec![
        (
            "Drift as planned",
            format!(
                "{} at {:03.0}\u{b0} true from the release",
                words::way(release, landing.position, units),
                release.azimuth_deg(landing.position)
            ),
        ),
        ("Landing as planned", both_clocks(brief, landing)),
        ("", landing.position.text()),
    ];
    if let Some(outer) = brief.zone.outer() {
        facts.push((
            "9 in 10 chances",
            format!(
                "ellipse of {} around {}, {}",
                words::across(
                    2.0 * outer.shape.semi_major_m,
                    2.0 * outer.shape.semi_minor_m,
                    units
                ),
                outer.center.text(),
                words::landing_times(&brief.facts, &brief.timezone)
            ),
        ));
    }
    facts
}

fn both_clocks(brief: &Brief, mark: &Mark) -> String {
    let local = words::clock_with_zone(mark.time, &brief.timezone);
    format!("{} ({local})", words::utc(mark.time))
}

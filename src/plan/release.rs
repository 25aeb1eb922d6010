//! What a plan's people read: the time of release, with an offset or as the clocks of the plan's time
//! zone show it, and units.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::document::{Faults, Section};
use crate::clock::local::read_time;
use crate::geodesy::Position;
use crate::ground::time_zone::{ahead_s, time_zone};
use crate::units::duration;

/// The release time of `[flight]`; `zone` where the plan names one that exists.
pub fn release(s: &Section, zone: Option<&TimeZone>, faults: &mut Faults) -> Option<Timestamp> {
    let expected = "a date and time, as in 2026-02-05 16:30 (on the clocks of timezone) or \
                    2026-02-05T16:30:00-07:00";
    if !s.has("release") {
        s.missing("release", expected, faults);
    }
    let written = s.written_time("release", expected, faults)?;
    match read_time(&written, zone) {
        Ok(time) => Some(time),
        // Of a zone that was not understood nothing more is said.
        Err(_) if zone.is_none() && s.has("timezone") => None,
        Err(wrong) => {
            let at = s.span("release");
            faults.note(at, &s.path("release"), wrong.found, wrong.expected);
            None
        }
    }
}

/// Whether the plan's people read US units.
pub fn us_units(s: &Section, faults: &mut Faults) -> Option<bool> {
    let expected = "\"metric\" or \"us\"";
    match s.text("units", expected, faults)? {
        "metric" => Some(false),
        "us" => Some(true),
        other => {
            let found = format!("\"{other}\"");
            s.wrong("units", found, expected, faults);
            None
        }
    }
}

/// Clocks farther from the sun's than this are of another place, s.
const FARTHEST_CLOCKS_S: f64 = 4.0 * 3_600.0;

/// Notes a time zone that cannot be the site's: its clocks are hours from the sun's there, and other
/// than those that its people keep.
pub fn clocks_fit(
    s: &Section,
    (release, zone): (Timestamp, &TimeZone),
    site: Position,
    faults: &mut Faults,
) {
    let Some(ahead_s) = ahead_s(zone, release, site, FARTHEST_CLOCKS_S) else {
        return;
    };
    let name = |zone: &TimeZone| zone.iana_name().unwrap_or("UTC").to_owned();
    let found = format!(
        "\"{}\", whose clocks are {} {} the sun's at {}",
        name(zone),
        duration(ahead_s.abs()),
        if ahead_s > 0.0 { "ahead of" } else { "behind" },
        site.text()
    );
    let right = time_zone(site).map_or_else(String::new, |there| format!("\"{}\", ", name(&there)));
    let expected = format!("the time zone of the site, {right}or its right latitude and longitude");
    s.wrong("timezone", found, expected, faults);
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use crate::plan::Plan;

    fn read(release: &str, timezone: &str) -> Result<String, String> {
        let text = format!(
            "[flight]\n{release}\n{timezone}\n[site]\nlat = 43.0\nlon = -108.4\n\
             [ascent]\nrate = \"5 m/s\"\nburst_altitude = \"100,000 ft\"\n\
             [descent]\nlanding_speed = \"5 m/s\"\n"
        );
        let plan = Plan::parse("p.toml", &text, Path::new(""));
        plan.map(|plan| plan.release.to_string())
            .map_err(|error| error.to_string())
    }

    #[test]
    fn release_is_read_as_people_write_it() {
        let denver = "timezone = \"America/Denver\"";
        for release in [
            "release = \"2026-05-01 09:00\"",
            "release = \"2026-05-01 9:00 am\"",
            "release = 2026-05-01 09:00:00",
            "release = 2026-05-01T09:00:00-06:00",
            "release = 2026-05-01T15:00:00Z",
        ] {
            assert_eq!(read(release, denver).unwrap(), "2026-05-01T15:00:00Z");
        }
        for (release, timezone, words) in [
            (
                "release = 2026-05-01T09:00:00-07:00",
                denver,
                "expected -06:00",
            ),
            ("release = 2026-11-01 01:30:00", denver, "show twice"),
            ("release = 2026-05-01", denver, "as in 2026-05-01 09:00"),
            ("release = 900", denver, "found 900"),
            ("", denver, "found nothing"),
            (
                "release = 2026-05-01 09:00:00",
                "",
                "[flight] timezone, as in",
            ),
        ] {
            let error = read(release, timezone).unwrap_err();
            assert!(error.contains(words), "{error}");
            assert!(error.starts_with("p.toml, line "), "{error}");
        }
        // A site in Wyoming.
        let error = read(
            "release = 2026-05-01T09:00:00Z",
            "timezone = \"Europe/Lisbon\"",
        );
        let error = error.unwrap_err();
        assert!(error.contains("ahead of the sun's at 43"), "{error}");
        assert!(error.contains("\"America/Denver\""), "{error}");
        assert!(read("release = 2026-05-01T09:00:00Z", "timezone = \"UTC\"").is_ok());
        // One fault for one mistake.
        let error = read("release = 2026-05-01 09:00:00", "timezone = \"Denver\"").unwrap_err();
        assert_eq!(error.lines().count(), 1, "{error}");
    }
}

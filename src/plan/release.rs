//! What a plan's people read: the time of release, with an offset or as the clocks of the plan's time
//! zone show it, and units.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::document::{Faults, Section};
use crate::clock::local::read_time;

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
            faults.note(s.span("units"), &s.path("units"), found, expected);
            None
        }
    }
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
        // One fault for one mistake.
        let error = read("release = 2026-05-01 09:00:00", "timezone = \"Denver\"").unwrap_err();
        assert_eq!(error.lines().count(), 1, "{error}");
    }
}

//! The timeline of a briefing as a calendar (RFC 5545).

use jiff::Timestamp;
use sha2::{Digest, Sha256};

use crate::brief::Brief;
use crate::brief::answer::{EventKind, TimelineEvent};
use crate::report::markup::without_controls;
use crate::report::words;
use crate::units::UnitSystem;

/// Octets in a line of content, without its end (section 3.1).
const LINE_OCTETS: usize = 75;

/// The alarm before filling begins (assumed: time to reach the site).
const ALARM: &str = "-PT1H";
/// Where the count of versions begins, s since 1970: the start of 2020, so that it stays below 2^31.
const FIRST_VERSION_S: i64 = 1_577_836_800;

/// The timeline as an iCalendar object, one event each.
pub fn text(brief: &Brief, units: UnitSystem) -> String {
    let mut calendar = String::new();
    let mut line = |name: &str, value: &str| push_line(&mut calendar, name, value);
    line("BEGIN", "VCALENDAR");
    line("VERSION", "2.0");
    let product = format!("-//Windfall//windfall {}//EN", brief.zone.version);
    line("PRODID", &product);
    line("CALSCALE", "GREGORIAN");
    for event in &brief.timeline {
        line("BEGIN", "VEVENT");
        line("UID", &identity(brief, event));
        line("DTSTAMP", &stamp(brief.made));
        line("SEQUENCE", &sequence(brief.made).to_string());
        // The stack is let go at one time; the hours within which are in the text.
        let at_once = event.kind == EventKind::Release;
        let start = if at_once { event.at } else { event.from };
        line("DTSTART", &stamp(start));
        // An end must be later than its start (section 3.8.2.2); without one an event is a moment.
        if event.to > event.from && !at_once {
            line("DTEND", &stamp(event.to));
        }
        let summary = format!("{}: {}", words::title(brief), words::event_name(event.kind));
        line("SUMMARY", &escaped(&summary));
        let planned = match at_once {
            false => String::new(),
            // Without a delay there is one time to tell, which follows.
            true if event.from == event.to => "Planned at ".to_owned(),
            true => {
                let at = words::clock_with_zone(event.at, &brief.timezone);
                format!("Planned at {at}; 9 in 10 chances from ")
            }
        };
        let said = format!(
            "{planned}{} {} {}",
            words::event(event, &brief.timezone),
            words::event_note(event.kind, &brief.zone),
            words::headline(brief, units)
        );
        line("DESCRIPTION", &escaped(&said));
        let at = event.place;
        line("LOCATION", &escaped(&at.text()));
        // Latitude first, as the property wants it (section 3.8.1.6).
        line("GEO", &format!("{:.6};{:.6}", at.lat_deg, at.lon_deg));
        // The flight in a crew's calendar shall not make anybody busy.
        line("TRANSP", "TRANSPARENT");
        if event.kind == EventKind::Filling {
            line("BEGIN", "VALARM");
            line("ACTION", "DISPLAY");
            line("TRIGGER", ALARM);
            // An alarm that is displayed needs a text of its own (section 3.6.6).
            line("DESCRIPTION", &escaped(&summary));
            line("END", "VALARM");
        }
        line("END", "VEVENT");
    }
    line("END", "VCALENDAR");
    calendar
}

/// The same for the same event of the same flight, also when its release moves, so that a calendar
/// that is imported again replaces the events of the time before. A flight without a name is told from
/// others of its site by its day.
fn identity(brief: &Brief, event: &TimelineEvent) -> String {
    let release = brief.zone.release;
    let flight = match brief.facts.name.as_str() {
        "" => words::date(release.time, &brief.timezone),
        name => name.to_owned(),
    };
    let whole = format!("{flight}|{}", release.position.text());
    let digest = Sha256::digest(whole.as_bytes());
    // 96 bits: no two flights of a calendar come to the same.
    let hex: String = digest.iter().take(12).map(|b| format!("{b:02x}")).collect();
    // A name that no host will ever have (RFC 2606), as the identity is not that of a computer.
    format!("{hex}-{}@windfall.invalid", words::event_name(event.kind))
}

/// The version of an event (section 3.8.7.4): what is made later counts more.
fn sequence(made: Timestamp) -> i64 {
    // A computer whose clock is years behind makes version 0: less is not allowed.
    (made.as_second() - FIRST_VERSION_S).max(0)
}

/// A time in UTC (section 3.3.5, form 2).
fn stamp(time: Timestamp) -> String {
    time.strftime("%Y%m%dT%H%M%SZ").to_string()
}

/// A text (section 3.3.11).
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in without_controls(text).chars() {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            other => out.push(other),
        }
    }
    out
}

/// A line of content, folded where it is too long and never within a character (section 3.1).
fn push_line(to: &mut String, name: &str, value: &str) {
    let mut octets = 0;
    for c in name.chars().chain([':']).chain(value.chars()) {
        if octets + c.len_utf8() > LINE_OCTETS {
            to.push_str("\r\n ");
            // The space that begins a line that is folded counts as one of its octets.
            octets = 1;
        }
        to.push(c);
        octets += c.len_utf8();
    }
    to.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_folded_between_characters() {
        let mut text = String::new();
        let value = "é🎈".repeat(60);
        push_line(&mut text, "SUMMARY", &value);
        assert!(text.ends_with("\r\n"));
        for line in text.split_terminator("\r\n") {
            assert!(line.len() <= LINE_OCTETS, "{}", line.len());
        }
        assert_eq!(text.replace("\r\n ", ""), format!("SUMMARY:{value}\r\n"));
    }

    #[test]
    fn text_is_escaped() {
        assert_eq!(escaped("a,b;c\\d\ne\u{1}\r"), "a\\,b\\;c\\\\d\\ne");
    }
}

//! Published thresholds beside the numbers of a stack.

use std::fmt::Write as _;

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use crate::fill::compared::{Compared, Rules};
use crate::report::layout::wrapped;

/// The lines as text, times of notice in a zone.
pub fn text(rules: &Rules, release: Timestamp, zone: &TimeZone) -> String {
    let mut text = format!("\nThresholds: {}\n", rules.title);
    for line in &rules.lines {
        for (i, part) in wrapped(&sentence(line, release, zone), 94)
            .iter()
            .enumerate()
        {
            let _ = writeln!(text, "{} {part}", if i == 0 { "-" } else { " " });
        }
    }
    text + "  Numbers beside published texts, no judgement.\n"
}

/// One line in a sentence or two.
pub fn sentence(line: &Compared, release: Timestamp, zone: &TimeZone) -> String {
    let mut text = format!("{}: {}", line.verdict.name(), line.what);
    if let Some(number) = &line.number {
        let _ = write!(text, ", {number}");
    }
    if let Some(window) = notice(line, release, zone) {
        let _ = write!(text, ", {window}");
    }
    if !line.remark.is_empty() {
        let _ = write!(text, " ({})", line.remark);
    }
    if let Some(threshold) = &line.threshold {
        let _ = write!(text, "; threshold {threshold}");
    }
    let what_if = match line.notice_s[1] {
        Some(_) => "",
        None => "if crossed: ",
    };
    let unverified = if line.unverified { ", unverified" } else { "" };
    let _ = write!(
        text,
        "; {what_if}{}. As published in {} (read: {}; {}{unverified}), check the current text and ask the authority.",
        line.means, line.citation, line.source, line.date
    );
    text
}

/// When notice is due, in people's time.
fn notice(line: &Compared, release: Timestamp, zone: &TimeZone) -> Option<String> {
    let at = |before_s: f64| {
        let before = SignedDuration::from_secs(before_s as i64);
        let time = release.checked_sub(before).unwrap_or(release);
        let local = time.to_zoned_datetime(zone.clone());
        local.strftime("%Y-%m-%d %H:%M %Z").to_string()
    };
    match line.notice_s {
        [Some(from), Some(until)] => Some(format!("between {} and {}", at(from), at(until))),
        [None, Some(until)] => Some(format!("by {}", at(until))),
        _ => None,
    }
}

//! What the crew is told in a chat: three lines to paste.

use std::fmt::Write as _;

use crate::brief::Brief;
use crate::report::places::map_link;
use crate::report::{plain, words};
use crate::units::UnitSystem;

/// Characters of a flight's name in a message.
const NAME: usize = 60;

/// Where, when, a link; each a line.
pub fn text(brief: &Brief, units: UnitSystem) -> String {
    let name: String = words::title(brief).chars().take(NAME).collect();
    // A name that breaks its line would break that of the message.
    let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
    let (place, at) = match brief.wait.points.first() {
        Some(point) => {
            let place = words::waiting_place(point, units);
            (format!("wait at {place}"), point.position)
        }
        None => ("centre of the landings".to_owned(), brief.zone.center()),
    };
    let mut text = String::new();
    let _ = writeln!(text, "{name}: {place} ({})", at.text());
    // The crew's day is that of the wait: a flight at night may come down on the next one.
    let zone = &brief.timezone;
    let lands = brief.facts.landing_quantiles;
    let [day, landing_day] = [brief.wait.from, lands.low].map(|t| words::date(t, zone));
    let next_day = match day == landing_day {
        true => String::new(),
        false => format!(" on {landing_day}"),
    };
    let _ = writeln!(
        text,
        "{day}: be there from {}, landing {}{next_day} (9 in 10)",
        words::clock_before(brief.wait.from, lands.high, zone),
        words::landing_times(&brief.facts, zone)
    );
    let _ = writeln!(text, "{}", map_link(at));
    plain::text(&text).into_owned()
}

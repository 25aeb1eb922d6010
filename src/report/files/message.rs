//! What the crew is told in a chat: three lines to paste, and one more where too many landings are in water.

use std::fmt::Write as _;

use crate::brief::Brief;
use crate::notes::Note;
use crate::report::places::map_link;
use crate::report::reasons::percent;
use crate::report::{plain, words};
use crate::units::UnitSystem;

/// Characters of a flight's name in a message.
const NAME: usize = 60;

/// Where, when, a link; each a line. Too many landings in water have a line of their own.
pub fn text(brief: &Brief, units: UnitSystem) -> String {
    let name: String = words::title(brief).chars().take(NAME).collect();
    // A name that breaks its line would break that of the message.
    let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
    let (what_to_do, link) = match brief.wait.points.first() {
        Some(point) => {
            let (place, at) = (words::waiting_place(point, units), point.position);
            (format!("wait at {place} ({})", at.text()), map_link(at))
        }
        // Nobody is sent to landings that no car gets to.
        None => {
            let link = map_link(brief.zone.release.position);
            let why = words::nowhere_to_wait(&brief.zone).to_owned();
            (why, format!("release {link}"))
        }
    };
    let mut text = format!("{name}: {what_to_do}\n");
    if let Some(share) = in_water(brief) {
        let share = percent(share);
        let _ = writeln!(
            text,
            "{share} chance of coming down in water: think again before you release"
        );
    }
    let _ = writeln!(text, "{}\n{link}", when(brief));
    plain::text(&text).into_owned()
}

/// The share of the draws that come down in water, where that is too many.
fn in_water(brief: &Brief) -> Option<f64> {
    brief.zone.notes.iter().find_map(|note| match note {
        Note::LandsInWater { share, .. } => Some(*share),
        _ => None,
    })
}

/// When to be there, and when it comes down.
fn when(brief: &Brief) -> String {
    let (zone, lands) = (&brief.timezone, brief.facts.landing_quantiles);
    let [day, landing_day] = [brief.wait.from, lands.low].map(|t| words::date(t, zone));
    let landing = words::landing_times(&brief.facts, zone);
    let sure = words::of_which(&brief.zone);
    if brief.wait.points.is_empty() {
        return format!("{landing_day}: landing {landing} ({sure})");
    }
    // The crew's day is that of the wait: a flight at night may come down on the next one.
    let next_day = match day == landing_day {
        true => String::new(),
        false => format!(" on {landing_day}"),
    };
    format!(
        "{day}: be there from {}, landing {landing}{next_day} ({sure})",
        words::clock_before(brief.wait.from, lands.high, zone)
    )
}

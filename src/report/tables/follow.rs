//! A flight that is followed, as a line and as a view of a screen.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

use crate::brief::answer::WaitingPoint;
use crate::follow::answer::{FollowNote, Landing, Last, Search, Standing};
use crate::follow::phase::Phase;
use crate::report::cautions::AID;
use crate::report::follow_words::{ago, doing, note, refusal, shrunk};
use crate::report::layout::wrapped;
use crate::report::words::{clock_time, clock_with_zone, far, share, waiting_place, way_of};
use crate::track::gate::Refused;
use crate::units::UnitSystem;

/// One line: time, what it does, how high, where and when it lands, how sure that is.
pub fn line(standing: &Standing, zone: &TimeZone, units: UnitSystem) -> String {
    let mut text = format!(
        "{}  {:13}",
        clock_time(standing.time, zone),
        doing(standing)
    );
    if let Some(last) = &standing.last {
        let _ = write!(text, " {:>9}", units.height(last.mark.altitude_m));
        // On the ground it would be the noise of the receiver.
        if standing.phase != Phase::Landed && standing.phase != Phase::OnGround {
            let rate = standing.rate_m_s.map(|r| units.vertical_speed(r));
            let _ = write!(text, " {:>9}", rate.unwrap_or_default());
        }
        // What was heard just now needs no word.
        if last.age_s > 1.0 {
            let _ = write!(text, "  heard {} ago", ago(last.age_s));
        }
    }
    match (&standing.landing, &standing.last) {
        (Some(landing), _) => {
            let _ = write!(text, "  {}", lands(landing, zone, units));
            if let Some(shrunk) = shrunk(standing) {
                let _ = write!(text, " ({} of before)", share(shrunk));
            }
        }
        // Nothing is predicted any more: where it lies is what the line is read for.
        (None, Some(last)) if standing.phase == Phase::Landed => {
            let _ = write!(text, "  lies at {}", last.mark.position.text());
        }
        _ => {}
    }
    if let Some(car) = &standing.from_car {
        let _ = write!(
            text,
            "  from the car {}",
            way_of(car.distance_m, car.azimuth_deg, units)
        );
    }
    text + "\n"
}

fn lands(landing: &Landing, zone: &TimeZone, units: UnitSystem) -> String {
    let [early, middle, late] = <[_; 3]>::from(landing.times).map(|t| clock_time(t, zone));
    let area = landing.outer().map(|e| units.area(e.shape.area_m2()));
    format!(
        "lands {middle} ({early} to {late}) near {}, 9 in 10 within {}",
        landing.center.text(),
        area.unwrap_or_default()
    )
}

/// The whole view, with the points to wait at, if any were found.
pub fn view(
    standing: &Standing,
    waiting: &[WaitingPoint],
    zone: &TimeZone,
    units: UnitSystem,
) -> String {
    let mut text = String::new();
    for (name, value) in rows(standing, waiting, zone, units) {
        let _ = writeln!(text, "{name:18} {value}");
    }
    for said in &standing.notes {
        for (i, part) in wrapped(&note(said, units), 90).iter().enumerate() {
            let _ = writeln!(text, "{} {part}", if i == 0 { "!" } else { " " });
        }
    }
    let _ = writeln!(text, "{AID}");
    text
}

/// The rows of the view: a name, which is empty where the row goes on with the one before, and what is said.
pub(in crate::report) fn rows(
    standing: &Standing,
    waiting: &[WaitingPoint],
    zone: &TimeZone,
    units: UnitSystem,
) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    let mut row = |name: &str, value: String| rows.push((name.to_owned(), value));
    let title = match standing.name.as_str() {
        "" => "Flight".to_owned(),
        name => name.to_owned(),
    };
    row(
        &title,
        format!(
            "{}, {}",
            doing(standing),
            clock_with_zone(standing.time, zone)
        ),
    );
    if let Some(last) = &standing.last {
        rows_of_last(last, standing, zone, units, &mut row);
    }
    if let Some(burst) = &standing.burst {
        let at = format!(
            "{} at {}",
            units.height(burst.altitude_m),
            clock_time(burst.time, zone)
        );
        row("Burst", at);
    }
    match &standing.landing {
        Some(landing) => rows_of_landing(landing, standing, zone, units, &mut row),
        // Else an empty place would look as if the answer were missing.
        None if standing.phase == Phase::OnGround => {
            row("Landing", not_left(standing, units));
        }
        None => {}
    }
    if let Some(best) = waiting.first() {
        let place = format!("{} ({})", waiting_place(best, units), best.position.text());
        row("Wait at", place);
        row(
            "",
            format!(
                "half of all within {} of there",
                far(best.half_within_m, units)
            ),
        );
        if let Some(car) = &standing.from_car {
            let way = way_of(
                car.car.distance_m(best.position),
                car.car.azimuth_deg(best.position),
                units,
            );
            row("", format!("{way} of the car"));
        }
    }
    // A quiet tracker: where the stack is by now is a guess that grows, and is named so.
    if let Some(now) = &standing.now {
        let heights = now.altitude_m.map(|m| units.height(m));
        row(
            "Now, silent",
            format!(
                "within {} of {}, {} to {} above sea level",
                far(now.radius_m, units),
                now.center.text(),
                heights.low,
                heights.high
            ),
        );
    }
    if let Some(search) = &standing.search {
        row("Search", searched(search, units));
        if let Some(drift) = fallen(search, units) {
            row("", drift);
        }
    }
    if let Some(car) = &standing.from_car {
        let way = way_of(car.distance_m, car.azimuth_deg, units);
        row(
            "From the car",
            format!("{way}, bearing {:.0} degrees true", car.azimuth_deg),
        );
    }
    row("Reports", reports(standing));
    rows
}

/// Why no landing is told of what was not heard in the air.
fn not_left(standing: &Standing, units: UnitSystem) -> String {
    let away_m = standing.notes.iter().find_map(|note| match note {
        FollowNote::LiesElsewhere { away_m } => Some(*away_m),
        _ => None,
    });
    if let Some(away_m) = away_m {
        let far = far(away_m, units);
        return format!(
            "not known: it is on the ground {far} from the site, flown or carried there"
        );
    }
    let said = match (&standing.last, standing.silent_s) {
        (_, Some(_)) => "not known: nothing was heard that tells whether it has left the ground",
        (None, None) => "nothing was heard yet",
        (Some(_), None) => "it has not left the ground yet",
    };
    said.to_owned()
}

/// The ring to search, in words.
pub fn searched(search: &Search, units: UnitSystem) -> String {
    format!(
        "within {} of {}",
        far(search.radius_m, units),
        search.center.text()
    )
}

/// How it came there from the last fix; nothing where it was heard lying.
pub fn fallen(search: &Search, units: UnitSystem) -> Option<String> {
    let drift = search.drift?;
    Some(format!(
        "from its last fix, {} above the ground, {} more of fall and {} in a wind of {}: 19 of 20 within that ring",
        units.height(search.above_ground_m),
        ago(drift.seconds),
        way_of(drift.distance_m, drift.azimuth_deg, units),
        units.speed(drift.wind_m_s())
    ))
}

fn rows_of_last(
    last: &Last,
    standing: &Standing,
    zone: &TimeZone,
    units: UnitSystem,
    row: &mut impl FnMut(&str, String),
) {
    let tracker = match last.tracker.as_str() {
        "" => String::new(),
        name => format!(" from {name}"),
    };
    let heard = format!(
        "{} ago{tracker}, {}",
        ago(last.age_s),
        clock_time(last.mark.time, zone)
    );
    row("Heard last", heard);
    row(
        "At",
        format!(
            "{}, {} above sea level, {} above the ground{}",
            last.mark.position.text(),
            units.height(last.mark.altitude_m),
            units.height(last.above_ground_m),
            if last.ground_assumed {
                " (as high as the site, assumed)"
            } else {
                ""
            }
        ),
    );
    if let Some(rate) = standing
        .rate_m_s
        // Of what lies still it would be the noise of the receiver.
        .filter(|_| standing.phase != Phase::Landed)
    {
        row("Rate", units.vertical_speed(rate));
    }
    if let Some(off) = &standing.off_plan {
        let late = match off.later_s {
            // Trackers report about once a minute: less is not known.
            s if s.abs() < 60.0 => "on time".to_owned(),
            s if s > 0.0 => format!("{} later", ago(s)),
            s => format!("{} earlier", ago(-s)),
        };
        row(
            "Beside the plan",
            format!("{}, {late}", way_of(off.distance_m, off.azimuth_deg, units)),
        );
    }
    if standing.phase == Phase::Landed {
        row(
            "Lies at",
            format!("{} (the last good fix)", last.mark.position.text()),
        );
    }
}

fn rows_of_landing(
    landing: &Landing,
    standing: &Standing,
    zone: &TimeZone,
    units: UnitSystem,
    row: &mut impl FnMut(&str, String),
) {
    let [early, middle, late] = <[_; 3]>::from(landing.times).map(|t| clock_time(t, zone));
    row("Lands at", landing.center.text());
    row(
        "Lands",
        format!("{middle}, 9 in 10 between {early} and {late}"),
    );
    if let Some(outer) = landing.outer() {
        let shrunk =
            shrunk(standing).map(|s| format!(", {} of the zone before the release", share(s)));
        row(
            "90 % zone",
            format!(
                "{}{}",
                units.area(outer.shape.area_m2()),
                shrunk.unwrap_or_default()
            ),
        );
    }
    row(
        "Half of all",
        format!("within {} of there", far(landing.half_circle_m, units)),
    );
    if let Some(bursts_m) = landing.burst_m {
        row(
            "Burst",
            format!(
                "between {} and {}",
                units.height(bursts_m.low),
                units.height(bursts_m.high)
            ),
        );
    }
    if let Some(speed) = landing.speed_m_s {
        row("Comes down at", units.landing_speed(speed));
    }
}

/// How many reports were let through and refused.
pub fn reports(standing: &Standing) -> String {
    let refused: usize = standing.refused.values().sum();
    format!("{} accepted, {refused} refused", standing.accepted)
}

/// What was refused, by reason, and each report that was.
pub fn refused<'a>(
    standing: &Standing,
    all: impl Iterator<Item = &'a Refused>,
    zone: &TimeZone,
) -> String {
    let mut text = "Not let through:\n".to_owned();
    for (why, count) in &standing.refused {
        let _ = writeln!(text, "{count:7} {}", refusal(*why));
    }
    for one in all {
        // By the tracker's own clock; where it has none, by when it was heard.
        let time = one.fix.as_ref().map(|f| f.time).or(one.heard);
        let when = time.map_or("-".to_owned(), |t| clock_time(t, zone));
        let _ = write!(text, "{when:>9}  {}", refusal(one.why));
        if let Some(fix) = &one.fix {
            let _ = write!(
                text,
                ": {} {} {:.0} m",
                fix.tracker,
                fix.position.text(),
                fix.altitude_m
            );
        }
        text.push('\n');
    }
    text
}

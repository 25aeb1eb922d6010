//! Sentences and names that several reports of a briefing share.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::brief::Brief;
use crate::brief::answer::{
    ChangeBy, ChangeKind, EventKind, NotMoved, Road, TimelineEvent, WaitingPoint, WaitingReason,
};
use crate::geodesy::Position;
use crate::ground::layers::RoadClass;
use crate::report::cautions::AID;
use crate::units::{FOOT_M, MILE_M, UnitSystem, duration};
use crate::zone::{Facts, Zone};

/// What heads a briefing.
pub fn title(brief: &Brief) -> String {
    match brief.facts.name.as_str() {
        "" => "Chase briefing".to_owned(),
        name => name.to_owned(),
    }
}

/// The one sentence that matters: when, where, how sure.
pub fn headline(brief: &Brief, units: UnitSystem) -> String {
    let when = when_it_lands(&brief.zone, &brief.facts, &brief.timezone);
    let Some(outer) = brief.zone.outer() else {
        return format!(
            "{when}; no zone is given, because too many flights leave the winds. The flight as planned lands {} of the release.",
            way(
                brief.zone.release.position,
                brief.zone.landing.position,
                units
            )
        );
    };
    format!(
        "{when}; 9 in 10 chances inside the outer line, an ellipse of {}, its centre {} of the release.",
        across(
            2.0 * outer.shape.semi_major_m,
            2.0 * outer.shape.semi_minor_m,
            units
        ),
        way(brief.zone.release.position, outer.center, units)
    )
}

/// When it comes down and how surely, as the beginning of a sentence.
pub fn when_it_lands(zone: &Zone, facts: &Facts, timezone: &TimeZone) -> String {
    let lands = facts.landing_quantiles;
    let chances = match zone.outer() {
        Some(_) => "9 in 10 chances to",
        // Of the others no time is known.
        None => "Of the flights that stay in the winds, 9 in 10",
    };
    format!(
        "{chances} land between {} and {} on {}",
        clock_before(lands.low, lands.high, timezone),
        clock_with_zone(lands.high, timezone),
        date(lands.low, timezone)
    )
}

/// Of which flights times and heights hold, as in "9 in 10".
pub fn of_which(zone: &Zone) -> &'static str {
    match zone.outer() {
        Some(_) => "9 in 10",
        None => "9 in 10 of the flights that stay in the winds",
    }
}

/// What [`Zone::center`] is.
pub fn center_name(zone: &Zone) -> &'static str {
    match zone.outer() {
        Some(_) => "centre of the zone",
        None => "planned landing",
    }
}

/// What the briefing was made from, when and by what.
pub fn provenance(brief: &Brief) -> String {
    format!(
        "Made {} by windfall {} from {} draws, seed {}. {AID}",
        utc(brief.made),
        brief.zone.version,
        brief.zone.draw_count,
        brief.zone.seed
    )
}

/// What to do, before all else: where to wait, from when, and when it comes down.
pub fn wait_here(
    point: &WaitingPoint,
    from: Timestamp,
    facts: &Facts,
    timezone: &TimeZone,
    units: UnitSystem,
) -> String {
    format!(
        "{}, from {}, landing {}",
        waiting_place(point, units),
        clock_before(from, facts.landing_quantiles.high, timezone),
        landing_times(facts, timezone)
    )
}

/// How the load comes down, as in "touches down at 4.3 m/s, with 35 J in all".
pub fn touchdown(facts: &Facts, units: UnitSystem) -> String {
    let energy = facts.touchdown_energy_j.map_or_else(String::new, |j| {
        format!(", the whole load with {}", units.energy(j))
    });
    let speed = units.landing_speed(facts.touchdown_speed_m_s);
    format!("touches down at {speed}{energy}")
}

/// Why no place to wait is given.
pub fn nowhere_to_wait(zone: &Zone) -> &'static str {
    match zone.outer() {
        None => "No zone is given, so there is no point to wait at: follow the tracker.",
        Some(_) => {
            "No dry place to wait is known near the landings: they lie in water, or on another shore. Think again before you release."
        }
    }
}

/// When 9 in 10 land, as in "12:04 to 12:39 WEST".
pub fn landing_times(facts: &Facts, timezone: &TimeZone) -> String {
    let lands = facts.landing_quantiles;
    format!(
        "{} to {}",
        clock_before(lands.low, lands.high, timezone),
        clock_with_zone(lands.high, timezone)
    )
}

/// Where a waiting point is for who knows the country: its road, and its way from a town.
pub fn waiting_place(point: &WaitingPoint, units: UnitSystem) -> String {
    let road = point.road.as_ref().map(|on| shortened(&road(on)));
    let near = point.near.as_ref().map(|near| {
        let way = way_of(near.distance_m, near.azimuth_deg, units);
        format!("{way} of {}", shortened(&near.name))
    });
    match (road, near) {
        // A road alone is long, a town alone is wide: together they are found on any map.
        (Some(road), Some(near)) => format!("{road}, {near}"),
        (Some(only), None) | (None, Some(only)) => only,
        (None, None) => point.position.text(),
    }
}

/// Characters that a name from a map's data may have.
const LONGEST: usize = 100;

/// A name from a map's data, cut where it is very long.
pub fn shortened(name: &str) -> String {
    // By characters: a cut within one would be no text any more.
    match name.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}\u{2026}", &name[..end]),
        None => name.to_owned(),
    }
}

/// A region's name, as in "ellipse 90 %".
pub fn region_name(kind: &str, probability: f64) -> String {
    format!("{kind} {:.0} %", 100.0 * probability)
}

/// A waiting point's name, as in "wait A".
pub fn waiting_name(point: &WaitingPoint) -> String {
    format!("wait {}", point.name)
}

/// The road a waiting point lies on.
pub fn road(road: &Road) -> String {
    let class = match road.class {
        RoadClass::Unknown => "road".to_owned(),
        class => format!("{class} road"),
    };
    match road.name.as_str() {
        // Many roads of map data have no name.
        "" => class,
        name => format!("{name} ({class})"),
    }
}

/// Why to wait there, and how far the landings are.
pub fn why_there(point: &WaitingPoint, units: UnitSystem) -> String {
    let why = match point.why {
        WaitingReason::ShortestWay => {
            "the point on a known road with the shortest straight way to the landings on average"
        }
        WaitingReason::SecondCar => {
            "for a second car: with it, the straight ways are shortest on average"
        }
        WaitingReason::Middle => {
            "no roads are known: the place on land with the shortest straight way to the landings on average. Find a place to stop near it"
        }
    };
    format!(
        "{why}: half of the landings are within {}, 9 in 10 within {}",
        units.distance(point.half_within_m),
        units.distance(point.most_within_m)
    )
}

/// An event in a word or two.
pub fn event_name(kind: EventKind) -> &'static str {
    match kind {
        EventKind::Filling => "filling",
        EventKind::Release => "release",
        EventKind::Burst => "burst",
        EventKind::Landing => "landing",
        EventKind::Sunset => "sunset",
        EventKind::Dark => "dark",
    }
}

/// What to know about an event of a flight with this zone.
pub fn event_note(kind: EventKind, zone: &Zone) -> String {
    let note = match kind {
        EventKind::Filling => "Calm air needed; keep clear of power lines.",
        EventKind::Release => "Write down the exact time: the whole prediction moves with it.",
        EventKind::Burst | EventKind::Landing => {
            return format!("{} between these times.", of_which(zone));
        }
        EventKind::Sunset => "Where it lands, at sea level with a free horizon.",
        EventKind::Dark => "End of civil twilight: too dark to search without lamps.",
    };
    note.to_owned()
}

/// What is changed, in two words.
pub fn change_name(kind: ChangeKind) -> &'static str {
    match kind {
        ChangeKind::LateBurst => "late burst",
        ChangeKind::EarlyBurst => "early burst",
        ChangeKind::LowLift => "low lift",
        ChangeKind::HighLift => "high lift",
        ChangeKind::LateRelease => "late release",
    }
}

/// By how much it is changed.
pub fn change_by(by: ChangeBy, units: UnitSystem) -> String {
    match by {
        ChangeBy::BurstAltitude(m) => {
            let side = if m > 0.0 { "higher" } else { "lower" };
            format!("{} {side}", units.height(m.abs()))
        }
        ChangeBy::BurstDiameter(share) => format!("{:+.0} % of burst diameter", 100.0 * share),
        ChangeBy::AscentRate(share) => format!("{:+.0} % of the rate of ascent", 100.0 * share),
        ChangeBy::NeckLift(share) => format!("{:+.0} % at the neck", 100.0 * share),
        ChangeBy::Release(s) => duration(s),
    }
}

/// Why a change moves no centre.
pub fn not_moved(why: &NotMoved) -> &str {
    match why {
        NotMoved::WindsOfOneTime => "the winds are of one time",
        NotMoved::LeaveWinds => "too many of the flights then leave the winds",
        NotMoved::NotFlown(why) => why,
    }
}

/// An event with its times, in local time and UTC.
pub fn event(event: &TimelineEvent, zone: &TimeZone) -> String {
    if event.from == event.to {
        return format!(
            "{} ({}).",
            clock_with_zone(event.at, zone),
            utc_clock(event.at)
        );
    }
    format!(
        "{} to {} ({} to {}).",
        clock_before(event.from, event.to, zone),
        clock_with_zone(event.to, zone),
        utc_clock(event.from),
        utc_clock(event.to)
    )
}

/// Distance and direction, as in "42 km east-north-east".
pub fn way(from: Position, to: Position, units: UnitSystem) -> String {
    way_of(from.distance_m(to), from.azimuth_deg(to), units)
}

/// A distance and an azimuth in words.
pub fn way_of(distance_m: f64, azimuth_deg: f64, units: UnitSystem) -> String {
    format!("{} {}", far(distance_m, units), compass(azimuth_deg))
}

/// A distance to two or three digits, as in "42 km" or "8.3 km"; below a kilometre (or a fifth of a
/// mile) in metres or feet.
pub fn far(m: f64, units: UnitSystem) -> String {
    let (value, unit) = match units {
        UnitSystem::Metric if m < 1_000.0 => return format!("{:.0} m", (m / 10.0).round() * 10.0),
        // A tenth of a mile is 160 m: too coarse for what is walked.
        UnitSystem::Us if m < 0.2 * MILE_M => {
            return format!("{:.0} ft", (m / FOOT_M / 10.0).round() * 10.0);
        }
        UnitSystem::Metric => (m / 1_000.0, "km"),
        UnitSystem::Us => (m / MILE_M, "mi"),
    };
    format!("{} {unit}", two_digits(value))
}

/// Two lengths, as in "14 by 8.2 km".
pub fn across(a_m: f64, b_m: f64, units: UnitSystem) -> String {
    let (scale, unit) = match units {
        UnitSystem::Metric => (1_000.0, "km"),
        UnitSystem::Us => (MILE_M, "mi"),
    };
    let [a, b] = [a_m, b_m].map(|v| two_digits(v / scale));
    format!("{a} by {b} {unit}")
}

fn two_digits(value: f64) -> String {
    // From here on a decimal would make 10.0 of it.
    if value < 9.95 {
        format!("{value:.1}")
    } else {
        format!("{value:.0}")
    }
}

/// The points of the compass, from north clockwise.
const WINDS: [&str; 16] = [
    "north",
    "north-north-east",
    "north-east",
    "east-north-east",
    "east",
    "east-south-east",
    "south-east",
    "south-south-east",
    "south",
    "south-south-west",
    "south-west",
    "west-south-west",
    "west",
    "west-north-west",
    "north-west",
    "north-north-west",
];

/// The nearest of sixteen points of the compass.
pub fn compass(azimuth_deg: f64) -> &'static str {
    let point = (azimuth_deg.rem_euclid(360.0) / 22.5).round() as usize;
    // What is nearly a whole turn is rounded to the sixteenth point, which is north again.
    WINDS[point % WINDS.len()]
}

/// A share of the draws in percent.
/// Small ones are told to a tenth, and none as 0 that is not.
pub fn share(p: f64) -> String {
    if p <= 0.0 {
        return "0 %".to_owned();
    }
    // From 0.95 % on whole percents do: with a tenth it would be 1.0.
    if p < 0.0095 {
        return format!("{:.1} %", (100.0 * p).max(0.1));
    }
    format!("{:.0} %", 100.0 * p)
}

/// That a share of some things bursts early, as in "1 flight in 10 bursts early": in percent where one in so
/// many would be off by more than a tenth.
pub fn bursts_early(p: f64, what: &str) -> String {
    let one_in = (1.0 / p).round();
    match (one_in * p - 1.0).abs() <= 0.1 && one_in > 1.0 {
        true => format!("1 {what} in {one_in:.0} bursts early"),
        false => format!("{} of {what}s burst early", share(p)),
    }
}

/// Hours and minutes of a time zone.
pub fn clock_time(at: Timestamp, zone: &TimeZone) -> String {
    local(at, zone, "%H:%M")
}

/// Hours and minutes of a time zone under a heading that names a day and the zone as it is at a time; with
/// what is another.
pub fn clock_under(at: Timestamp, zone: &TimeZone, day: Date, heading: Timestamp) -> String {
    let same_day = at.to_zoned_datetime(zone.clone()).date() == day;
    let form = match (same_day, zone.to_offset(at) == zone.to_offset(heading)) {
        (true, true) => "%H:%M",
        (true, false) => "%H:%M %Z",
        (false, true) => "%H:%M (%-d %b)",
        (false, false) => "%H:%M %Z (%-d %b)",
    };
    local(at, zone, form)
}

/// Hours and minutes before a later time that names its zone: with its own where the clocks change in between.
pub fn clock_before(at: Timestamp, later: Timestamp, zone: &TimeZone) -> String {
    match zone.to_offset(at) == zone.to_offset(later) {
        true => clock_time(at, zone),
        false => clock_with_zone(at, zone),
    }
}

/// Hours and minutes with the name of the time zone.
pub fn clock_with_zone(at: Timestamp, zone: &TimeZone) -> String {
    local(at, zone, "%H:%M %Z")
}

/// The day, as in "Thursday 12 October 2023".
pub fn date(at: Timestamp, zone: &TimeZone) -> String {
    local(at, zone, "%A %-d %B %Y")
}

fn local(at: Timestamp, zone: &TimeZone, form: &str) -> String {
    at.to_zoned_datetime(zone.clone())
        .strftime(form)
        .to_string()
}

/// Day and time in UTC.
pub fn utc(at: Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M UTC").to_string()
}

/// Hours and minutes in UTC.
pub fn utc_clock(at: Timestamp) -> String {
    at.strftime("%H:%M UTC").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_in_so_many_is_told_where_it_is_near() {
        let told = [0.1, 0.34, 0.4, 0.9].map(|p| bursts_early(p, "flight"));
        assert_eq!(
            told,
            [
                "1 flight in 10 bursts early",
                "1 flight in 3 bursts early",
                "40 % of flights burst early",
                "90 % of flights burst early",
            ]
        );
    }

    #[test]
    fn distances_have_two_digits() {
        let m = UnitSystem::Metric;
        assert_eq!(far(42_300.0, m), "42 km");
        assert_eq!(far(8_260.0, m), "8.3 km");
        assert_eq!(far(347.0, m), "350 m");
        assert_eq!(far(42_300.0, UnitSystem::Us), "26 mi");
        assert_eq!(far(100.0, UnitSystem::Us), "330 ft");
        assert_eq!(across(14_200.0, 8_000.0, m), "14 by 8.0 km");
    }

    #[test]
    fn the_compass_has_sixteen_points() {
        assert_eq!(compass(67.0), "east-north-east");
        assert_eq!(compass(359.0), "north");
        assert_eq!(compass(-90.0), "west");
    }
}

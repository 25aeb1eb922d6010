//! The sections of the page, in the order in which the crew needs them.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::html::{
    contact, forms, links, list, pair, paragraph, place, plain, table, terms, unbroken, user_text,
    with_note,
};
use super::qr;
use crate::brief::Brief;
use crate::brief::answer::{Change, QuietZone, TimelineEvent, WaitingPoint};
use crate::choice::answer::Hazard;
use crate::report::basis::ground_sources;
use crate::report::cautions::{FLYING, LINE_OF_SIGHT, NOTICE, WAITING};
use crate::report::files::message;
use crate::report::input_notes;
use crate::report::notes;
use crate::report::pictures::charts;
use crate::report::pictures::picture::Picture;
use crate::report::tables::zone::{early_bursts, source_words};
use crate::report::words;
use crate::units::{UnitSystem, duration};
use crate::zone::Mark;

/// A section of the page.
#[derive(Clone, Copy)]
pub struct Section {
    /// Its name within the page.
    pub id: &'static str,
    /// Its name in the list of contents.
    pub short: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// What stands below it.
    pub content: fn(&Brief, UnitSystem) -> Markup,
}

const fn section(
    id: &'static str,
    short: &'static str,
    title: &'static str,
    content: fn(&Brief, UnitSystem) -> Markup,
) -> Section {
    Section {
        id,
        short,
        title,
        content,
    }
}

/// All sections after the map.
pub const SECTIONS: [Section; 12] = [
    section("places", "Places", "Places to open and to copy", places),
    section("times", "Times", "Times", times),
    section("wait", "Where to wait", "Where to wait, and why", waiting),
    section(
        "changes",
        "What changes it",
        "What changes the answer",
        changes,
    ),
    section("hazards", "Hazards", "What lies in the zone", hazards),
    section(
        "heights",
        "Heights",
        "Heights and times for the notice",
        heights,
    ),
    section("radio", "Radio", "How long the tracker is heard", radio),
    section("quiet", "Quiet tracker", "If the tracker goes quiet", quiet),
    section("message", "Message", "Message to the crew", message),
    section("contacts", "Contacts", "Contacts and notes", contacts),
    section("cautions", "Cautions", "Cautions", cautions),
    section("data", "Data", "What this was made from", data),
];

fn chart(id: &str, title: &str, said: &str, picture: &Picture) -> Markup {
    html! {
        figure.chart { "\n"
            (picture.described(id, title, said))
            figcaption { (title) } "\n"
        } "\n"
    }
}

fn times(brief: &Brief, _: UnitSystem) -> Markup {
    let zone = &brief.timezone;
    // An evening in the Americas is the next day in UTC.
    let release = brief.zone.release.time;
    let day = release.to_zoned_datetime(zone.clone()).date();
    let rows: Vec<Vec<Markup>> = brief
        .timeline
        .iter()
        .map(|event| {
            vec![
                with_note(
                    words::event_name(event.kind),
                    &words::event_note(event.kind, &brief.zone),
                ),
                from_to(event, |t| words::clock_under(t, zone, day, release)),
                from_to(event, |t| {
                    words::clock_under(t, &TimeZone::UTC, day, release)
                }),
            ]
        })
        .collect();
    // At the release, as the name of a zone may change with the season.
    let local = words::clock_with_zone(brief.zone.release.time, zone);
    let local = format!(
        "local time ({})",
        local.split_once(' ').map_or("UTC", |(_, name)| name)
    );
    let day = words::date(brief.zone.release.time, zone);
    let sure = words::of_which(&brief.zone);
    let caption = format!("{day}; {sure} lie between two times.");
    let lands = brief.facts.landing_quantiles;
    let [early, middle, late] = <[_; 3]>::from(lands).map(|t| words::clock_time(t, zone));
    let said = format!(
        "Of the draws, 5 % have landed by {early}, half by {middle}, 95 % by {late}, local time."
    );
    pair(
        table(&caption, &["what", &local, "UTC"], &rows),
        chart(
            "landing-times",
            "When the draws land",
            &said,
            &charts::landing_times(brief),
        ),
    )
}

/// When an event happens, on one clock.
fn from_to(event: &TimelineEvent, clock: impl Fn(Timestamp) -> String) -> Markup {
    let [from, to] = [event.from, event.to].map(&clock);
    if event.from == event.to {
        return unbroken(&from);
    }
    // With a day behind each clock both are too long for one line of a phone.
    let range = match from.contains(' ') || to.contains(' ') {
        true => html! { (unbroken(&from)) " to " (unbroken(&to)) },
        false => unbroken(&format!("{from} to {to}")),
    };
    html! {
        (range)
        @if event.at != event.from { br; small { "planned " (unbroken(&clock(event.at))) } }
    }
}

/// Every place in every form.
fn places(brief: &Brief, _: UnitSystem) -> Markup {
    let marks = [
        (
            words::center_name(&brief.zone).to_owned(),
            brief.zone.center(),
        ),
        ("release".to_owned(), brief.zone.release.position),
    ];
    // The places to drive to come first.
    let waiting = brief.wait.points.iter();
    let waiting = waiting.map(|point| (words::waiting_name(point), point.position));
    let rows: Vec<Vec<Markup>> = waiting
        .chain(marks)
        .map(|(name, at)| vec![html! { (name) span.taps { (links(at)) } }, forms(at)])
        .collect();
    table(
        "Tap to open in a map program, or on the web where there is signal; copy what a device takes. All on WGS 84.",
        &["place, to open", "to copy"],
        &rows,
    )
}

/// What to do, and how the places are opened.
pub fn waiting(brief: &Brief, units: UnitSystem) -> Markup {
    // Of a single point the share would always be all.
    let shared = brief.wait.points.len() > 1;
    html! {
        @if brief.wait.points.is_empty() {
            (paragraph(words::nowhere_to_wait(&brief.zone)))
        } @else {
            ul { "\n"
                @for point in &brief.wait.points {
                    (waiting_point(brief, point, shared, units)) "\n"
                }
            } "\n"
        }
        (paragraph(WAITING))
    }
}

fn waiting_point(brief: &Brief, point: &WaitingPoint, shared: bool, units: UnitSystem) -> Markup {
    let release = brief.zone.release.position;
    html! {
        li {
            strong { (words::waiting_name(point)) } ": " (place(point.position)) ", "
            (user_text(&words::waiting_place(point, units)))
            @match point.ground_m {
                Some(m) => { ", ground " (units.height(m)) " above sea level, " }
                None => { ", height of the ground not known, " }
            }
            (words::way(release, point.position, units)) " of the release. "
            (capital(&words::why_there(point, units))) "."
            @if shared {
                " It is the nearest of the points for " (words::share(point.nearest_share))
                " of the landings."
            }
        }
    }
}

/// The message as text and as a code that another phone reads.
fn message(brief: &Brief, units: UnitSystem) -> Markup {
    let text = message::text(brief, units);
    html! {
        div.beside { "\n"
            p.message dir="auto" { (text.trim_end()) } "\n"
            @if let Some(code) = qr::code("message-code", "The message as a QR code", &text) {
                figure.code { "\n" (code) figcaption { "To another phone: point its camera here." } "\n" } "\n"
            }
        } "\n"
    }
}

/// A text with a capital letter.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + chars.as_str()
    })
}

fn changes(brief: &Brief, units: UnitSystem) -> Markup {
    let mut rows: Vec<Vec<Markup>> = brief.changes.iter().map(|c| change(c, units)).collect();
    rows.extend(wind_change(brief, units));
    let said: Vec<String> = brief
        .changes
        .iter()
        .filter_map(|c| {
            let moved = c.outcome.as_ref().ok()?;
            let way = words::way_of(moved.distance_m, moved.azimuth_deg, units);
            Some(format!("{} {}", words::change_name(c.kind), way))
        })
        .collect();
    let said = format!("The centre moves: {}.", said.join("; "));
    let release = brief.zone.release.position;
    let early = early_bursts(&brief.facts, release, &brief.timezone, units);
    let moves = table(
        "How the centre of the zone moves when one thing is off by one standard deviation, or by as much as is said. Flights differ by more than that one time in three.",
        &["what", "by", "centre moves", "landing"],
        &rows,
    );
    let chart = chart(
        "changes-map",
        "How the centre moves with each change",
        &said,
        &charts::changes(brief, units),
    );
    html! {
        @if let Some(early) = early { (paragraph(&early)) }
        (pair(moves, chart))
    }
}

/// The row of one change.
fn change(change: &Change, units: UnitSystem) -> Vec<Markup> {
    let [way, later] = match &change.outcome {
        Ok(moved) => {
            let later = match moved.later_s {
                // Less is rounded to no minute.
                s if s.abs() < 30.0 => "same time".to_owned(),
                s if s > 0.0 => format!("{} later", duration(s)),
                s => format!("{} earlier", duration(-s)),
            };
            let way = match moved.distance_m {
                // Beside a zone of kilometres that is nothing, and its bearing is chance.
                m if m < 50.0 => "hardly at all".to_owned(),
                m => words::way_of(m, moved.azimuth_deg, units),
            };
            [plain(way), plain(later)]
        }
        Err(why) => [
            html! { "not known: " (user_text(words::not_moved(why))) },
            plain("-"),
        ],
    };
    vec![
        plain(words::change_name(change.kind)),
        plain(words::change_by(change.by, units)),
        way,
        later,
    ]
}

/// The row of the wind: its error, or what an ensemble's members differ by.
fn wind_change(brief: &Brief, units: UnitSystem) -> Option<Vec<Markup>> {
    let wind_m = brief.facts.wind.drift_sigma_m;
    let (by, far_m) = match &brief.facts.members {
        _ if wind_m > 0.0 => ("one standard deviation".to_owned(), wind_m),
        // Members that have no error of their own: what they differ by stands for it.
        Some(members) => (
            format!("between {} members (sd)", members.count),
            members.between_m,
        ),
        None => return None,
    };
    let way = format!("{} any way", words::far(far_m, units));
    Some(vec![
        plain("wind error"),
        plain(by),
        plain(way),
        plain("same time"),
    ])
}

fn hazards(brief: &Brief, units: UnitSystem) -> Markup {
    let rows: Vec<Vec<Markup>> = brief.hazards.iter().filter_map(|h| hit(h, units)).collect();
    let names = |wanted: &dyn Fn(&Hazard) -> bool| -> String {
        let hazards = brief.hazards.iter().filter(|h| wanted(h));
        let names: Vec<&str> = hazards.map(|h| h.name.as_str()).collect();
        names.join(", ")
    };
    // None by a coarse map is not none, and not known is neither.
    let rest = [
        (
            "None of the draws: ",
            names(&|h| h.share == Some(0.0) && !h.coarse),
        ),
        (
            "None of the draws by a coarse map, which does not show the small ones: ",
            names(&|h| h.share == Some(0.0) && h.coarse),
        ),
        (
            "Not known, as no layer has all of it: ",
            names(&|h| h.share.is_none()),
        ),
    ];
    let of = match brief.zone.outer() {
        Some(_) => "Share of all draws that come down on or near each.",
        None => "Share on or near each of the draws that stay in the winds.",
    };
    html! {
        @if rows.is_empty() {
            (paragraph("No draw comes down on anything that is known."))
        } @else {
            (table(
                &format!("{of} The distances are assumed where the plan gives none."),
                &["what", "how near", "share of draws"],
                &rows,
            ))
        }
        @for (said, names) in rest.iter().filter(|(_, names)| !names.is_empty()) {
            p { (said) (user_text(names)) "." } "\n"
        }
    }
}

/// The row of a hazard that is hit.
fn hit(hazard: &Hazard, units: UnitSystem) -> Option<Vec<Markup>> {
    // Those that no draw hits are listed below the table.
    let share = hazard.share.filter(|share| *share > 0.0)?;
    // A coarse map lacks the small ones: what it counts is a bound from below.
    let least = if hazard.coarse { "at least " } else { "" };
    let within = match hazard.within_m {
        m if m > 0.0 => format!("within {}", words::far(m, units)),
        _ => "inside".to_owned(),
    };
    Some(vec![
        user_text(&words::shortened(&hazard.name)),
        unbroken(&within),
        unbroken(&format!("{least}{}", words::share(share))),
    ])
}

fn heights(brief: &Brief, units: UnitSystem) -> Markup {
    let zone = &brief.zone;
    let said = format!(
        "Release {}, burst at {} at {}, landing {}, UTC.",
        zone.release.time.strftime("%H:%M"),
        units.height(zone.burst.altitude_m),
        zone.burst.time.strftime("%H:%M"),
        zone.landing.time.strftime("%H:%M")
    );
    let heights = chart(
        "height-chart",
        "Height of the planned flight by time",
        &said,
        &charts::heights(brief, units),
    );
    let winds = chart(
        "wind-chart",
        "Winds that the planned flight meets: dashed on the way up, solid on the way down",
        "Speed on the left, the direction the wind comes from on the right, by height; dashed on the way up, solid on the way down.",
        &charts::winds(brief, units),
    );
    html! {
        (pair(
            html! { div { "\n" (terms(&notice(brief, units))) (paragraph(NOTICE)) } "\n" },
            html! { div { "\n" (passes(brief, units)) } "\n" },
        ))
        (pair(heights, winds))
    }
}

/// What a notice asks for.
fn notice(brief: &Brief, units: UnitSystem) -> Vec<(&'static str, Markup)> {
    let (zone, facts) = (&brief.zone, &brief.facts);
    let utc = |mark: &Mark| format!("{} UTC", mark.time.strftime("%Y-%m-%d %H:%M"));
    let bursts_m = facts.burst_quantiles_m;
    let release = format!(
        "{}, {}, {} above sea level",
        utc(&zone.release),
        zone.release.position.text(),
        units.height(zone.release.altitude_m)
    );
    let greatest = format!(
        "{} above sea level as planned; {} between {} and {}",
        units.height(zone.burst.altitude_m),
        words::of_which(zone),
        units.height(bursts_m.low),
        units.height(bursts_m.high)
    );
    let landing = format!(
        "{}, {} as planned",
        utc(&zone.landing),
        zone.landing.position.text()
    );
    let in_the_air = zone.landing.time.duration_since(zone.release.time);
    let rates = format!(
        "rises at {} on average, {}",
        units.vertical_speed(facts.mean_rate_m_s),
        words::touchdown(facts, units)
    );
    let mut rows = vec![
        ("Release", plain(release)),
        ("Greatest height", plain(greatest)),
        ("Landing", plain(landing)),
        ("In the air", plain(duration(in_the_air.as_secs_f64()))),
        ("Rates", plain(rates)),
    ];
    if let Some(balloon) = &facts.balloon {
        let burst = balloon
            .burst_diameter_m
            .map_or_else(String::new, |d| format!(", {} at burst", units.size(d)));
        let said = format!(
            "{} below the neck; {} of gas, {} across at release{burst}",
            units.mass(balloon.load_kg),
            units.volume(balloon.volume_m3),
            units.size(balloon.release_diameter_m)
        );
        rows.push(("Load and balloon", plain(said)));
    }
    rows
}

/// When and where the planned flight passes heights.
fn passes(brief: &Brief, units: UnitSystem) -> Markup {
    let release = brief.zone.release.position;
    let pass = |mark: &Option<Mark>| match mark {
        Some(mark) => with_note(
            &mark.time.strftime("%H:%M").to_string(),
            &format!(
                "{} at {:03.0}\u{b0}",
                words::far(release.distance_m(mark.position), units),
                release.azimuth_deg(mark.position)
            ),
        ),
        None => plain("-"),
    };
    let rows: Vec<Vec<Markup>> = brief
        .heights
        .iter()
        .map(|row| {
            vec![
                plain(units.height(row.height_m)),
                pass(&row.up),
                pass(&row.down),
            ]
        })
        .collect();
    table(
        "When the planned flight passes each height, UTC, and where: distance and true bearing from the release.",
        &["height above sea level", "on the way up", "on the way down"],
        &rows,
    )
}

fn radio(brief: &Brief, units: UnitSystem) -> Markup {
    if brief.wait.points.is_empty() {
        return paragraph(words::nowhere_to_wait(&brief.zone));
    }
    let row = |point: &WaitingPoint| {
        let h = &point.hearing;
        let until = h.until_m.map_or_else(
            || plain("not heard"),
            |m| {
                let note = format!(
                    "{} above the ground there, {} away",
                    units.height((m - h.ground_m).max(0.0)),
                    words::far(h.last_distance_m, units)
                );
                with_note(&units.height(m), &note)
            },
        );
        let from = h
            .from_m
            .map_or_else(|| "not heard".to_owned(), |m| units.height(m));
        vec![plain(words::waiting_name(point)), plain(from), until]
    };
    let rows: Vec<Vec<Markup>> = brief.wait.points.iter().map(row).collect();
    // One speaks for all: every point is reckoned with the same ground.
    let terrain = match brief.wait.points.first().map(|p| p.hearing.with_terrain) {
        Some(true) => "with hills and valleys as the terrain says",
        _ => "over smooth ground: hills are not known and hide the tracker earlier",
    };
    let heard = table(
        "Between which heights above sea level each waiting point hears the planned flight.",
        &["from", "first heard at", "heard down to"],
        &rows,
    );
    let said = format!("Line of sight over an earth of 4/3 its radius, {terrain}. {LINE_OF_SIGHT}");
    html! { (heard) (paragraph(&said)) }
}

fn quiet(brief: &Brief, units: UnitSystem) -> Markup {
    if brief.quiet.is_empty() {
        return paragraph(match brief.zone.outer() {
            None => "No zone is given: too many flights leave the winds.",
            Some(_) => "The flight is too low for the heights of this table: search the zone.",
        });
    }
    let rows: Vec<Vec<Markup>> = brief
        .quiet
        .iter()
        .map(|zone| remains(zone, brief, units))
        .collect();
    let how = paragraph(
        "Take the last position that was heard, and whether it rose or fell. From there go the way in the row of that height: that is the centre of what remains, with 9 in 10 chances inside an ellipse of that size. Bearings are from true north. On the way up the balloon may have burst since: then the rows of the way down count from there.",
    );
    let rows = table(
        "What remains of the zone when the tracker was last heard at a height above sea level; times are local.",
        &[
            "last heard at",
            "centre from there",
            "9 in 10 inside",
            "landing",
        ],
        &rows,
    );
    html! { (how) (rows) }
}

/// The row of what remains when the tracker falls silent at a height.
fn remains(q: &QuietZone, brief: &Brief, units: UnitSystem) -> Vec<Markup> {
    let zone = &brief.timezone;
    let way = if q.rising { "rising" } else { "falling" };
    let heard = format!("{way}, {}", words::clock_time(q.last.time, zone));
    let center = format!(
        "{} at {:03.0}\u{b0}",
        words::far(q.distance_m, units),
        q.azimuth_deg
    );
    let shape = &q.ellipse.shape;
    let across = words::across(2.0 * shape.semi_major_m, 2.0 * shape.semi_minor_m, units);
    // A side points both ways, and is told by the bearing below 180 degrees.
    let sides = format!(
        "long side {:03.0}\u{b0}; half within {}",
        q.ellipse.azimuth_deg.rem_euclid(180.0),
        words::far(q.half_circle_m, units)
    );
    // Both name their zone where the clocks change in between.
    let early = words::clock_before(q.landing.low, q.landing.high, zone);
    let late = words::clock_before(q.landing.high, q.landing.low, zone);
    vec![
        with_note(&units.height(q.last.altitude_m), &heard),
        plain(center),
        with_note(&across, &sides),
        plain(format!("{early} to {late}")),
    ]
}

fn contacts(brief: &Brief, _: UnitSystem) -> Markup {
    let remarks = brief.remarks.trim();
    html! {
        @if brief.contacts.is_empty() {
            (paragraph("The plan names no contacts: write them here."))
            p { "________________________ \u{a0} ________________________" } "\n"
        } @else {
            ul { "\n"
                @for line in &brief.contacts { li { (contact(line)) } "\n" }
            } "\n"
        }
        @if !remarks.is_empty() { p.remarks dir="auto" { (remarks) } "\n" }
        p { "Exact time of release: ____________ \u{a0} last position heard: ________________________" } "\n"
    }
}

fn cautions(_: &Brief, _: UnitSystem) -> Markup {
    html! { div.flow { "\n" (list(&FLYING)) } "\n" }
}

fn data(brief: &Brief, units: UnitSystem) -> Markup {
    let (zone, facts) = (&brief.zone, &brief.facts);
    let wind = &facts.wind;
    let winds = html! {
        (user_text(&wind.files.join(", "))) ": "
        (user_text(&source_words(&wind.source, &brief.timezone)))
        "; from " (units.height(wind.covered_m.base_m)) " to " (units.height(wind.covered_m.top_m))
        " above sea level"
    };
    let by = format!(
        "windfall {}, {} draws, seed {}; {} came down",
        zone.version, zone.draw_count, zone.seed, facts.landed
    );
    let rows = [
        ("Winds", winds),
        ("Made", plain(words::utc(brief.made))),
        ("By", plain(by)),
    ];
    let mut found = notes::notes(&zone.notes, units);
    found.extend(input_notes::of_layers(&brief.wait.layer_notes, units));
    let assumed = notes::assumptions(&zone.assumptions, units);
    let sources = ground_sources(&brief.sources);
    let lists = [
        ("Notes", &found),
        ("Assumed", &assumed),
        ("Sources of the ground", &sources),
    ];
    html! {
        (terms(&rows))
        @for (heading, lines) in lists.iter().filter(|(_, lines)| !lines.is_empty()) {
            h3 { (heading) } "\n"
            div.flow.small { "\n" (list(lines)) } "\n"
        }
    }
}

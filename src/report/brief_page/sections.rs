//! The sections of the page, in the order in which the crew needs them.

use super::html::{escaped, list, paragraph, place, table, terms, user_text};
use crate::brief::Brief;
use crate::brief::answer::{Change, Event, QuietZone, WaitingPoint};
use crate::choice::answer::Hazard;
use crate::report::charts;
use crate::report::input_notes;
use crate::report::words;
use crate::report::zone_table::{CAUTIONS, early_bursts, source_words};
use crate::units::{UnitSystem, duration};
use crate::zone::Mark;

/// A section of the page.
pub struct Section {
    /// Its name within the page.
    pub id: &'static str,
    /// Its name in the list of contents.
    pub short: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// Its content as HTML.
    pub text: fn(&Brief, UnitSystem) -> String,
}

const fn section(
    id: &'static str,
    short: &'static str,
    title: &'static str,
    text: fn(&Brief, UnitSystem) -> String,
) -> Section {
    Section {
        id,
        short,
        title,
        text,
    }
}

/// All sections after the map.
pub const SECTIONS: [Section; 10] = [
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
    section("contacts", "Contacts", "Contacts and notes", contacts),
    section("cautions", "Cautions", "Cautions", cautions),
    section("data", "Data", "What this was made from", data),
];

fn chart(id: &str, title: &str, said: &str, picture: &crate::report::picture::Picture) -> String {
    format!(
        "<figure class=\"chart\">\n{}<figcaption>{}</figcaption>\n</figure>\n",
        picture.described_svg(id, title, said),
        escaped(title)
    )
}

fn times(brief: &Brief, _: UnitSystem) -> String {
    let zone = &brief.timezone;
    let row = |event: &Event| {
        let name = format!(
            "{}<br><small>{}</small>",
            event.kind.name(),
            escaped(&event.note)
        );
        let both = |from: String, to: String, at: String| {
            let planned = format!("<br><small>planned {at}</small>");
            let (times, planned) = if event.from == event.to {
                (from, String::new())
            } else if event.at == event.from {
                (format!("{from} to {to}"), String::new())
            } else {
                (format!("{from} to {to}"), planned)
            };
            format!("<span class=\"clock\">{times}</span>{planned}")
        };
        let local = |t| words::clock_time(t, zone);
        let utc = |t: jiff::Timestamp| t.strftime("%H:%M").to_string();
        vec![
            name,
            both(local(event.from), local(event.to), local(event.at)),
            both(utc(event.from), utc(event.to), utc(event.at)),
        ]
    };
    let rows: Vec<Vec<String>> = brief.timeline.iter().map(row).collect();
    let local = words::clock_with_zone(brief.zone.release.time, zone);
    let local = format!(
        "local time ({})",
        local.split_once(' ').map_or("UTC", |(_, name)| name)
    );
    let day = words::date(brief.zone.release.time, zone);
    let caption = format!("{day}; 9 in 10 chances lie between two times.");
    let [early, middle, late] = brief
        .facts
        .landing_quantiles
        .map(|t| words::clock_time(t, zone));
    let said = format!(
        "Of the draws, 5 % have landed by {early}, half by {middle}, 95 % by {late}, local time."
    );
    format!(
        "<div class=\"pair\">\n{}{}</div>\n",
        table(&caption, &["what", &local, "UTC"], &rows),
        chart(
            "landing-times",
            "When the draws land",
            &said,
            &charts::landing_times(brief)
        )
    )
}

fn waiting(brief: &Brief, units: UnitSystem) -> String {
    let one = |point: &WaitingPoint| {
        let road = point.road.as_ref().map_or_else(String::new, |road| {
            format!(", on {}", user_text(&shortened(road)))
        });
        let share = if brief.waiting.len() > 1 {
            format!(
                " It is the nearest of the points for {} of the landings.",
                words::share(point.nearest_share)
            )
        } else {
            String::new()
        };
        format!(
            "<li><strong>{}</strong>: {}{road}, ground {} above sea level, {} of the release. {}.{share}</li>\n",
            escaped(&words::waiting_name(point)),
            place(point.position),
            units.height(point.ground_m),
            words::way(brief.zone.release.position, point.position, units),
            escaped(&capital(&point.why)),
        )
    };
    let items: String = brief.waiting.iter().map(one).collect();
    let list = match items.as_str() {
        "" => paragraph("No zone is given, so there is no point to wait at: follow the tracker."),
        items => format!("<ul>\n{items}</ul>\n"),
    };
    list + &paragraph(
        "Straight distances, not ways by road: look at the map before you choose. Stop where it is allowed and safe, off the carriageway; stay in the car or under a roof when the load is near.",
    )
}

/// Characters that the name of a road or an area may have on the page.
const LONGEST: usize = 100;

/// A name from a map's data, cut where it is very long.
fn shortened(name: &str) -> String {
    match name.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}\u{2026}", &name[..end]),
        None => name.to_owned(),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + chars.as_str()
    })
}

fn changes(brief: &Brief, units: UnitSystem) -> String {
    let row = |change: &Change| {
        let name = escaped(&change.name);
        let by = escaped(&change.by);
        match &change.outcome {
            Ok(moved) => {
                let later = match moved.later_s {
                    s if s.abs() < 30.0 => "same time".to_owned(),
                    s if s > 0.0 => format!("{} later", duration(s)),
                    s => format!("{} earlier", duration(-s)),
                };
                let way = match moved.distance_m {
                    m if m < 50.0 => "hardly at all".to_owned(),
                    m => words::way_of(m, moved.azimuth_deg, units),
                };
                vec![name, by, way, later]
            }
            Err(why) => vec![
                name,
                by,
                format!("not known: {}", user_text(why)),
                "-".into(),
            ],
        }
    };
    let mut rows: Vec<Vec<String>> = brief.changes.iter().map(row).collect();
    let wind_m = brief.facts.wind.drift_sigma_m;
    let members = brief.facts.members.as_ref();
    if wind_m > 0.0 {
        rows.push(vec![
            "wind error".into(),
            "one standard deviation".into(),
            format!("{} any way", words::far(wind_m, units)),
            "same time".into(),
        ]);
    } else if let Some(members) = members {
        rows.push(vec![
            "wind error".into(),
            format!("between {} members (sd)", members.count),
            format!("{} any way", words::far(members.between_m, units)),
            "same time".into(),
        ]);
    }
    let said: Vec<String> = brief
        .changes
        .iter()
        .filter_map(|c| {
            let moved = c.outcome.as_ref().ok()?;
            let way = words::way_of(moved.distance_m, moved.azimuth_deg, units);
            Some(format!("{} {}", c.name, way))
        })
        .collect();
    let said = format!("The centre moves: {}.", said.join("; "));
    let release = brief.zone.release.position;
    let early = early_bursts(&brief.facts, release, &brief.timezone, units);
    let early = early.map_or_else(String::new, |said| paragraph(&said));
    format!(
        "{early}<div class=\"pair\">\n{}{}</div>\n",
        table(
            "How the centre of the zone moves when one thing is off by one standard deviation, or by as much as is said. Flights differ by more than that one time in three.",
            &["what", "by", "centre moves", "landing"],
            &rows
        ),
        chart(
            "changes-map",
            "How the centre moves with each change",
            &said,
            &charts::changes(brief, units)
        )
    )
}

fn hazards(brief: &Brief, units: UnitSystem) -> String {
    let within = |hazard: &Hazard| match hazard.within_m {
        m if m > 0.0 => format!("within {}", words::far(m, units)),
        _ => "inside".to_owned(),
    };
    let rows: Vec<Vec<String>> = brief
        .hazards
        .iter()
        .filter_map(|hazard| {
            let share = hazard.share.filter(|s| *s > 0.0)?;
            let least = if hazard.coarse { "at least " } else { "" };
            Some(vec![
                user_text(&shortened(&hazard.name)),
                format!("<span class=\"clock\">{}</span>", within(hazard)),
                format!(
                    "<span class=\"clock\">{least}{}</span>",
                    words::share(share)
                ),
            ])
        })
        .collect();
    let names = |wanted: &dyn Fn(&Hazard) -> bool| -> String {
        let names: Vec<String> = brief
            .hazards
            .iter()
            .filter(|h| wanted(h))
            .map(|h| h.name.clone())
            .collect();
        names.join(", ")
    };
    let none = names(&|h| h.share == Some(0.0) && !h.coarse);
    let coarse = names(&|h| h.share == Some(0.0) && h.coarse);
    let unknown = names(&|h| h.share.is_none());
    let mut text = String::new();
    if rows.is_empty() {
        text.push_str(&paragraph("No draw comes down on anything that is known."));
    } else {
        let caption =
            "Share of all draws that come down on or near each. The distances are assumed.";
        text.push_str(&table(
            caption,
            &["what", "how near", "share of draws"],
            &rows,
        ));
    }
    for (said, names) in [
        ("None of the draws: ", none),
        (
            "None of the draws by a coarse map, which does not show the small ones: ",
            coarse,
        ),
        ("Not known, no layer tells of it: ", unknown),
    ] {
        if !names.is_empty() {
            text.push_str(&format!("<p>{said}{}.</p>\n", user_text(&names)));
        }
    }
    text
}

fn heights(brief: &Brief, units: UnitSystem) -> String {
    let zone = &brief.zone;
    let facts = &brief.facts;
    let utc = |mark: &Mark| format!("{} UTC", mark.time.strftime("%Y-%m-%d %H:%M"));
    let [low, _, high] = facts.burst_quantiles_m;
    let mut rows = vec![
        (
            "Release",
            format!(
                "{}, {}, {} above sea level",
                utc(&zone.release),
                zone.release.position.text(),
                units.height(zone.release.altitude_m)
            ),
        ),
        (
            "Greatest height",
            format!(
                "{} above sea level as planned; 9 in 10 between {} and {}",
                units.height(zone.burst.altitude_m),
                units.height(low),
                units.height(high)
            ),
        ),
        (
            "Landing",
            format!(
                "{}, {} as planned",
                utc(&zone.landing),
                zone.landing.position.text()
            ),
        ),
        (
            "In the air",
            duration(
                zone.landing
                    .time
                    .duration_since(zone.release.time)
                    .as_secs_f64(),
            ),
        ),
        (
            "Rates",
            format!(
                "rises at {} on average, touches down at {}",
                units.vertical_speed(facts.mean_rate_m_s),
                units.vertical_speed(facts.touchdown_speed_m_s)
            ),
        ),
    ];
    if let Some(balloon) = &facts.balloon {
        let burst = balloon
            .burst_diameter_m
            .map_or_else(String::new, |d| format!(", {} at burst", units.size(d)));
        rows.push((
            "Load and balloon",
            format!(
                "{} below the neck; {} of gas, {} across at release{burst}",
                units.mass(balloon.load_kg),
                units.volume(balloon.volume_m3),
                units.size(balloon.release_diameter_m)
            ),
        ));
    }
    let pass = |mark: &Option<Mark>| match mark {
        Some(mark) => format!(
            "{}<br><small>{} at {:03.0}\u{b0}</small>",
            mark.time.strftime("%H:%M"),
            words::far(zone.release.position.distance_m(mark.position), units),
            zone.release.position.azimuth_deg(mark.position)
        ),
        None => "-".to_owned(),
    };
    let table_rows: Vec<Vec<String>> = brief
        .heights
        .iter()
        .map(|row| vec![units.height(row.height_m), pass(&row.up), pass(&row.down)])
        .collect();
    let said = format!(
        "Release {}, burst at {} at {}, landing {}, UTC.",
        zone.release.time.strftime("%H:%M"),
        units.height(zone.burst.altitude_m),
        zone.burst.time.strftime("%H:%M"),
        zone.landing.time.strftime("%H:%M")
    );
    let passes = table(
        "When the planned flight passes each height, UTC, and where: distance and true bearing from the release.",
        &["height above sea level", "on the way up", "on the way down"],
        &table_rows,
    );
    let drawn = charts::heights(brief, units);
    let chart = chart(
        "height-chart",
        "Height of the planned flight by time",
        &said,
        &drawn,
    );
    format!(
        "<div class=\"pair\">\n<div>\n{}{}</div>\n<div>\n{passes}</div>\n</div>\n<div class=\"pair\">\n{chart}{}</div>\n",
        terms(&rows),
        paragraph(
            "Geometric heights above mean sea level, not pressure altitudes. Which notice is due, when and to whom, the authority says."
        ),
        wind_chart(brief, units)
    )
}

fn wind_chart(brief: &Brief, units: UnitSystem) -> String {
    let said = "Speed on the left, the direction the wind comes from on the right, by height; dashed on the way up, solid on the way down.";
    chart(
        "wind-chart",
        "Winds that the planned flight meets: dashed on the way up, solid on the way down",
        said,
        &charts::winds(brief, units),
    )
}

fn radio(brief: &Brief, units: UnitSystem) -> String {
    let row = |point: &WaitingPoint| {
        let h = &point.hearing;
        let until = h.until_m.map_or_else(
            || "not heard".to_owned(),
            |m| {
                format!(
                    "{}<br><small>{} above the ground there, {} away</small>",
                    units.height(m),
                    units.height((m - h.ground_m).max(0.0)),
                    words::far(h.last_distance_m, units)
                )
            },
        );
        let from = h
            .from_m
            .map_or_else(|| "not heard".to_owned(), |m| units.height(m));
        vec![escaped(&words::waiting_name(point)), from, until]
    };
    let rows: Vec<Vec<String>> = brief.waiting.iter().map(row).collect();
    let terrain = match brief.waiting.first().map(|p| p.hearing.with_terrain) {
        Some(true) => "with hills and valleys as the terrain says",
        _ => "over smooth ground: hills are not known and hide the tracker earlier",
    };
    let said = format!(
        "Line of sight over an earth of 4/3 its radius, {terrain}. Trees, houses and a weak transmitter hide it earlier, too: when it is lost, drive to higher ground, nearer to the last position."
    );
    if rows.is_empty() {
        return paragraph("No zone is given, so there is no point to listen from.");
    }
    table(
        "Between which heights above sea level each waiting point hears the planned flight.",
        &["from", "first heard at", "heard down to"],
        &rows,
    ) + &paragraph(&said)
}

fn quiet(brief: &Brief, units: UnitSystem) -> String {
    if brief.quiet.is_empty() {
        return paragraph("No zone is given: too many flights leave the winds.");
    }
    let zone = &brief.timezone;
    let row = |q: &QuietZone| {
        let way = if q.rising { "rising" } else { "falling" };
        let shape = &q.ellipse.shape;
        let [early, _, late] = q.landing.map(|t| words::clock_time(t, zone));
        vec![
            format!(
                "{}<br><small>{way}, {}</small>",
                units.height(q.last.altitude_m),
                words::clock_time(q.last.time, zone)
            ),
            format!(
                "{} at {:03.0}\u{b0}",
                words::far(q.distance_m, units),
                q.azimuth_deg
            ),
            format!(
                "{}<br><small>long side {:03.0}\u{b0}; half within {}</small>",
                words::across(2.0 * shape.semi_major_m, 2.0 * shape.semi_minor_m, units),
                q.ellipse.azimuth_deg.rem_euclid(180.0),
                words::far(q.half_circle_m, units)
            ),
            format!("{early} to {late}"),
        ]
    };
    let rows: Vec<Vec<String>> = brief.quiet.iter().map(row).collect();
    paragraph(
        "Take the last position that was heard, and whether it rose or fell. From there go the way in the row of that height: that is the centre of what remains, with 9 in 10 chances inside an ellipse of that size. Bearings are from true north. On the way up the balloon may have burst since: then the rows of the way down count from there.",
    ) + &table(
        "What remains of the zone when the tracker was last heard at a height above sea level; times are local.",
        &[
            "last heard at",
            "centre from there",
            "9 in 10 inside",
            "landing",
        ],
        &rows,
    )
}

fn contacts(brief: &Brief, _: UnitSystem) -> String {
    let mut text = String::new();
    if brief.contacts.is_empty() {
        text.push_str(&paragraph("The plan names no contacts: write them here."));
        text.push_str("<p>________________________ &nbsp; ________________________</p>\n");
    } else {
        text.push_str(&list(&brief.contacts));
    }
    if !brief.remarks.trim().is_empty() {
        text.push_str(&format!(
            "<p class=\"remarks\" dir=\"auto\">{}</p>\n",
            escaped(brief.remarks.trim())
        ));
    }
    text.push_str("<p>Exact time of release: ____________ &nbsp; last position heard: ________________________</p>\n");
    text
}

fn cautions(_: &Brief, _: UnitSystem) -> String {
    format!("<div class=\"flow\">\n{}</div>\n", list(&CAUTIONS))
}

fn data(brief: &Brief, units: UnitSystem) -> String {
    let (zone, facts) = (&brief.zone, &brief.facts);
    let wind = &facts.wind;
    let rows = [
        (
            "Winds",
            format!(
                "{}: {}; from {} to {} above sea level",
                user_text(&wind.files.join(", ")),
                user_text(&source_words(&wind.source, &brief.timezone)),
                units.height(wind.covered_m.0),
                units.height(wind.covered_m.1)
            ),
        ),
        ("Made", escaped(&words::utc(brief.made))),
        (
            "By",
            escaped(&format!(
                "windfall {}, {} draws, seed {}; {} came down",
                zone.version, zone.draw_count, zone.seed, facts.landed
            )),
        ),
    ];
    let mut text = terms(&rows);
    let mut notes = input_notes::of_cleaning(&facts.wind.cleaning, units);
    notes.extend(zone.notes.iter().cloned());
    notes.extend(input_notes::of_layers(&brief.layer_notes, units));
    for (heading, lines) in [
        ("Notes", &notes),
        ("Assumed", &zone.assumptions),
        ("Sources of the ground", &brief.sources),
    ] {
        if !lines.is_empty() {
            text.push_str(&format!(
                "<h3>{heading}</h3>\n<div class=\"flow small\">\n{}</div>\n",
                list(lines)
            ));
        }
    }
    text
}

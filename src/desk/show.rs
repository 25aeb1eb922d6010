//! Answers as parts of the page. The numbers come from the answers, their words from `report`.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::flight::{Debriefed, Followed};
use super::folder::folder_of;
use super::made::Looked;
use super::words;
use crate::brief::Wait;
use crate::choice::answer::{Aim, ComparedSite, Days, ReleaseRow, Sites, Verdict};
use crate::clock::seconds_between;
use crate::error::Error;
use crate::fill::Fill;
use crate::fill::findings::SLOW_M_S;
use crate::geodesy::Position;
use crate::plan::Plan;
use crate::report::fill_words::{cylinders_used, heading, weight_to_hang};
use crate::report::findings::concern;
use crate::report::follow_words;
use crate::report::markup::{self, cell};
use crate::report::pages;
use crate::report::pictures;
use crate::report::reasons::{percent, reason, verdict_name, verdict_sign};
use crate::report::tables;
use crate::report::{input_notes, notes, warnings, words as said};
use crate::units::{UnitSystem, duration};
use crate::wind::sounding::Sounding;
use crate::winds::Winds;
use crate::zone::{Mark, Prediction, Zone};

/// Soundings told one by one at most.
const MOST_SOUNDINGS: usize = 3;

/// What went wrong.
pub fn error(error: &Error) -> Markup {
    html! {
        div.wrong role="note" {
            @for line in error.to_string().lines() { p { (line) } }
        }
    }
}

/// The whole answer as the command prints it, folded away.
fn as_text(text: &str) -> Markup {
    html! {
        details {
            summary { (words::AS_TEXT) }
            pre tabindex="0" { (text) }
        }
    }
}

/// A table that can be moved sideways where it is wider than the page.
fn table(caption: &str, heads: &[&str], rows: &[Vec<Markup>]) -> Markup {
    html! {
        div.wide tabindex="0" role="region" aria-label=(caption) { (markup::table(caption, heads, rows)) }
    }
}

/// A picture: it fits its room, and tells who does not see it what it shows.
fn picture(
    picture: &pictures::picture::Picture,
    id: &str,
    title: &str,
    description: &str,
) -> Markup {
    html! { figure.picture { (picture.described(id, title, description)) } }
}

/// A fill.
pub fn fill(fill: &Fill, units: UnitSystem) -> Markup {
    let [low, target, high] = weight_to_hang(&fill.lift_test, units);
    let mut rows = vec![
        vec![cell(words::told::HANG_ON_THE_FILLER), cell(target)],
        vec![
            cell(words::told::TOO_LITTLE_TOO_MUCH),
            cell(format!("{low} to {high}")),
        ],
        vec![
            cell(words::told::GAS_AT_THE_SITE),
            cell(units.volume(fill.lift.volume_m3)),
        ],
        vec![
            cell(words::told::CYLINDERS),
            cell(cylinders_used(&fill.cylinders, units)),
        ],
        vec![
            cell(words::told::LOAD),
            cell(units.mass(fill.ledger.load_kg)),
        ],
        vec![
            cell(words::told::LIFT_AT_THE_NECK),
            cell(units.mass(fill.lift.neck_kg)),
        ],
    ];
    if let Some(flight) = &fill.flight {
        rows.extend([
            vec![
                cell(words::told::RISES_AT),
                cell(units.vertical_speed(flight.release_rate_m_s)),
            ],
            vec![
                cell(words::told::BURSTS_AT),
                cell(units.height(flight.burst_m)),
            ],
            vec![
                cell(words::told::IN_THE_AIR),
                cell(duration(flight.rise_s + flight.fall_s)),
            ],
            vec![
                cell(words::told::LANDS_AT),
                cell(units.landing_speed(flight.touchdown_m_s)),
            ],
        ]);
    }
    let title = words::told::MORE_OR_LESS_GAS;
    let description =
        words::told::RATE_OF_ASCENT_BURST_ALTITUDE_TIME_OF_FLIGHT_AND_GAS_BY_THE_LIFT_AT_THE_NECK;
    html! {
        @for finding in &fill.findings {
            p.finding { strong { (heading(finding)) } ": " (concern(&finding.concern, units)) }
        }
        (table(words::FILLED_IN, &["", ""], &rows))
        details {
            summary { (title) }
            (picture(&pictures::fill::draw(fill, SLOW_M_S, units), "fill-picture", title, description))
        }
        (as_text(&tables::fill::table(fill, units)))
    }
}

/// The winds of a plan.
pub fn winds(winds: &Winds, plan: &Plan, units: UnitSystem) -> Markup {
    match winds {
        Winds::Soundings(ascents) => {
            let nearest = ascents.iter().min_by(|a, b| {
                let far = |s: &Sounding| {
                    let apart = s.time.map(|time| seconds_between(time, plan.release).abs());
                    // One without a time counts only where none has any.
                    apart.unwrap_or(f64::INFINITY)
                };
                far(&a.sounding).total_cmp(&far(&b.sounding))
            });
            let told: Vec<String> = ascents
                .iter()
                .take(MOST_SOUNDINGS)
                .map(|a| tables::winds::report(&a.sounding, units, false))
                .collect();
            let rows: Vec<Vec<Markup>> = ascents
                .iter()
                .take(20)
                .map(|a| {
                    vec![
                        cell(tables::winds::place_text(&a.sounding)),
                        cell(tables::winds::time_text(&a.sounding)),
                    ]
                })
                .collect();
            html! {
                (table(words::COVERED, &[words::told::SOUNDING, words::told::TIME], &rows))
                @if let Some(nearest) = nearest { (profile(&nearest.sounding, units)) }
                (as_text(&told.join("\n")))
            }
        }
        Winds::Forecast(archive) => {
            let contents = tables::forecast::Contents::of(archive);
            let column = archive.profile(plan.site.position, plan.release);
            html! {
                p { (words::COVERED) ": " (archive.covered()) "." }
                @match &column {
                    Ok(column) => (profile(column, units)),
                    Err(wrong) => (error(wrong)),
                }
                (as_text(&tables::forecast::report(&contents)))
            }
        }
    }
}

fn profile(sounding: &Sounding, units: UnitSystem) -> Markup {
    let drawn = pictures::profile::draw(sounding, words::PROFILE, units);
    let description =
        words::told::WIND_SPEED_AND_DIRECTION_BY_HEIGHT_THE_TEXT_BELOW_HAS_THE_NUMBERS;
    html! {
        details open {
            summary { (words::PROFILE) }
            (picture(&drawn, "profile", words::PROFILE, description))
        }
    }
}

/// When and how surely a zone is landed in, in a sentence.
fn in_short(prediction: &Prediction, timezone: &TimeZone, units: UnitSystem) -> String {
    let (zone, facts) = (&prediction.zone, &prediction.facts);
    let when = said::when_it_lands(zone, facts, timezone);
    match zone.outer() {
        None => format!("{when}. No zone is given: too many flights leave the winds."),
        Some(outer) => format!(
            "{when}; 9 in 10 inside an ellipse of {}, its centre {} of the release.",
            said::across(
                2.0 * outer.shape.semi_major_m,
                2.0 * outer.shape.semi_minor_m,
                units
            ),
            said::way(zone.release.position, outer.center, units)
        ),
    }
}

/// What a zone comes to: when, where, how sure, where to wait.
pub fn zone_in_short(
    prediction: &Prediction,
    wait: &Wait,
    timezone: &TimeZone,
    units: UnitSystem,
) -> Markup {
    let Prediction { zone, facts } = prediction;
    let warned = warnings::lines(&warnings::of_zone(zone), units);
    html! {
        p.lead { (in_short(prediction, timezone, units)) }
        @if !warned.is_empty() {
            ul.warnings aria-label=(words::told::WARNINGS) { @for line in &warned { li { (line) } } }
        }
        p {
            @match wait.points.first() {
                Some(point) => {
                    strong { (words::told::WAIT_HERE) }
                    (said::wait_here(point, wait.from, facts, timezone, units)) ". "
                    (point.position.text())
                }
                None => (said::nowhere_to_wait(zone)),
            }
        }
    }
}

/// The numbers of a zone, and what they rest on.
pub fn zone(
    prediction: &Prediction,
    wait: &Wait,
    timezone: &TimeZone,
    units: UnitSystem,
) -> Markup {
    let Prediction { zone, facts } = prediction;
    let marks: Vec<Vec<Markup>> = [
        (words::told::RELEASE, &zone.release),
        (words::told::BURST, &zone.burst),
        (words::told::LANDING, &zone.landing),
    ]
    .into_iter()
    .map(|(name, mark)| {
        vec![
            cell(name),
            cell(said::clock_with_zone(mark.time, timezone)),
            cell(mark.position.text()),
            cell(units.height(mark.altitude_m)),
        ]
    })
    .collect();
    let regions = zone.ellipses.iter().map(|e| {
        vec![
            cell(said::region_name("ellipse", e.shape.probability)),
            cell(said::across(
                2.0 * e.shape.semi_major_m,
                2.0 * e.shape.semi_minor_m,
                units,
            )),
            cell(units.area(e.shape.area_m2())),
        ]
    });
    let regions: Vec<Vec<Markup>> = regions.collect();
    html! {
        (table(words::told::THE_FLIGHT_AS_PLANNED, &["", words::told::TIME, words::told::PLACE, words::told::ABOVE_SEA_LEVEL], &marks))
        @if !regions.is_empty() {
            (table(words::told::HOW_SURE_THAT_IS, &[words::told::REGION, words::told::ACROSS, words::told::AREA], &regions))
        }
        details {
            summary { (words::told::NOTES_AND_ASSUMPTIONS) }
            ul {
                @for line in notes::notes(&zone.notes, units) { li { (line) } }
                @for line in input_notes::of_layers(&wait.layer_notes, units) { li { (line) } }
            }
            ul { @for line in notes::assumptions(&zone.assumptions, units) { li { (line) } } }
        }
        (as_text(&tables::zone::table(zone, facts, wait, timezone, units)))
    }
}

/// What the map shows, for who does not see it.
pub fn map_label(prediction: &Prediction, timezone: &TimeZone, units: UnitSystem) -> String {
    let zone = &prediction.zone;
    format!(
        "Map. {} Release at {}, burst above {}, landing as planned at {}.",
        in_short(prediction, timezone, units),
        zone.release.position.text(),
        zone.burst.position.text(),
        zone.landing.position.text()
    )
}

/// What the map of a site without a flight shows.
pub fn site_label(site: Position) -> String {
    format!("Map around the release at {}.", site.text())
}

/// A moment of the flight in words.
pub fn moment(mark: &Mark, zone: &Zone, timezone: &TimeZone, units: UnitSystem) -> String {
    let way = match mark.time < zone.burst.time {
        true => words::told::RISING,
        false => words::told::FALLING,
    };
    format!(
        "{}, {} above sea level, {way}, {}",
        said::clock_with_zone(mark.time, timezone),
        units.height(mark.altitude_m),
        said::way(zone.release.position, mark.position, units)
    )
}

/// When a release is, where another day's may stand beside it.
fn day_and_clock(at: Timestamp, zone: &TimeZone) -> String {
    format!(
        "{} {}",
        said::date(at, zone),
        said::clock_with_zone(at, zone)
    )
}

/// A button that takes something into the plan.
pub struct Take<'a> {
    /// The plan's name.
    pub plan: &'a str,
    /// The number of the step that the page shows.
    pub step: u64,
}

impl Take<'_> {
    /// A way to the zone of another release beside that of the plan's.
    fn beside(&self, release: &str, label: &str) -> Markup {
        let plan = encoded(self.plan);
        let address = format!(
            "/compare?old={plan}&new={plan}&release={}",
            encoded(release)
        );
        html! { a href=(address) aria-label={ (words::BESIDE) ": " (label) } { (words::BESIDE) } }
    }

    fn button(&self, taken: &[(&str, String)], label: &str) -> Markup {
        html! {
            form method="post" action="/plan/take" {
                input type="hidden" name="name" value=(self.plan);
                input type="hidden" name="step" value=(self.step);
                @for (what, value) in taken { input type="hidden" name=(what) value=(value); }
                button aria-label=(label) { (words::TAKE) }
            }
        }
    }
}

fn verdict(row: Verdict) -> Markup {
    let class = row.code().replace('_', "-");
    html! { span class={ "verdict " (class) } { (verdict_sign(row)) " " (verdict_name(row)) } }
}

fn rank(rank: Option<usize>) -> Markup {
    html! { @if let Some(rank) = rank { (rank) } @else { "-" } }
}

/// Releases compared.
pub fn days(days: &Days, take: &Take, units: UnitSystem) -> Markup {
    let zone = &days.basis.timezone;
    let clock = |row: &ReleaseRow| {
        let at = row.release.to_zoned_datetime(zone.clone());
        at.strftime("%a %-d %b %H:%M %Z").to_string()
    };
    let rows = days.rows.iter().map(|row| {
        let at = clock(row);
        // What is taken into the plan is exact, unlike what people read.
        let exact = row.release.to_string();
        let drift = row
            .day
            .as_ref()
            .map(|day| said::way_of(day.distance_m, day.azimuth_deg, units));
        let surface = row.day.as_ref().and_then(|day| day.surface_m_s());
        vec![
            cell(&at),
            verdict(row.verdict),
            rank(row.rank),
            cell(drift.unwrap_or_default()),
            cell(surface.map_or(String::new(), |v| units.speed(v))),
            cell(reason(&row.reason, units, zone)),
            html! {
                (take.button(&[("release", exact.clone())], &format!("{} {at}", words::TAKE)))
                @if row.day.is_some() { (take.beside(&exact, &at)) }
            },
        ]
    });
    let rows: Vec<Vec<Markup>> = rows.collect();
    let heads = [
        words::told::RELEASE,
        words::told::VERDICT,
        words::told::RANK,
        words::told::DRIFT,
        words::told::WIND_AT_THE_GROUND,
        words::told::WHAT_DECIDES,
        "",
    ];
    let drawn = pictures::days::draw(days, units);
    html! {
        (table(words::told::RELEASE_TIMES_COMPARED, &heads, &rows))
        (picture(&drawn, "days-picture", words::told::RELEASE_TIMES_COMPARED, words::told::THE_TABLE_ABOVE_HAS_THE_SAME_NUMBERS))
        (as_text(&tables::days::table(days, units)))
    }
}

/// Sites compared.
pub fn sites(sites: &Sites, take: &Take, units: UnitSystem) -> Markup {
    let zone = &sites.basis.timezone;
    let shown = sites.sites.iter().take(60);
    let rows: Vec<_> = shown
        .map(|site| site_row(site, take, units, zone))
        .collect();
    let heads = [
        words::told::SITE,
        words::told::VERDICT,
        words::told::RANK,
        words::told::PLACE,
        words::told::BEST_AT,
        words::told::WHAT_DECIDES,
        "",
    ];
    html! {
        (table(words::told::SITES_COMPARED, &heads, &rows))
        (as_text(&tables::sites::table(sites, units)))
    }
}

fn site_row(site: &ComparedSite, take: &Take, units: UnitSystem, zone: &TimeZone) -> Vec<Markup> {
    // All digits: the plan gets the very place that was compared.
    let exact = format!("{},{}", site.position.lat_deg, site.position.lon_deg);
    let best = site.best_row();
    // The site's verdict is that of its best release: the plan gets both.
    let release = best.map(|row| ("release", row.release.to_string()));
    let height = site.elevation_m.map(|m| ("elevation", m.to_string()));
    let taken: Vec<_> = [("site", exact)]
        .into_iter()
        .chain(height)
        .chain(release)
        .collect();
    let best = best.map(|row| day_and_clock(row.release, zone));
    let best = best.unwrap_or_default();
    vec![
        cell(&site.name),
        verdict(site.verdict),
        rank(site.rank),
        cell(site.position.text()),
        cell(&best),
        cell(reason(&site.reason, units, zone)),
        take.button(
            &taken,
            format!("{} {} {best}", words::TAKE, site.name).trim_end(),
        ),
    ]
}

/// Where to launch for a target.
pub fn aim(aim: &Aim, take: &Take, units: UnitSystem) -> Markup {
    let zone = &aim.basis.timezone;
    let rows = aim.rows.iter().map(|row| {
        let at = day_and_clock(row.row.release, zone);
        let place = row.launch.as_ref().map(|l| l.position);
        let exact = place.map(|p| {
            let release = row.row.release.to_string();
            let site = format!("{},{}", p.lat_deg, p.lon_deg);
            [("site", site), ("release", release)]
        });
        vec![
            cell(&at),
            verdict(row.row.verdict),
            rank(row.rank),
            cell(percent(row.probability())),
            cell(place.map_or(String::new(), |p| p.text())),
            cell(reason(&row.row.reason, units, zone)),
            match exact {
                Some(exact) => take.button(&exact, &format!("{} {at}", words::TAKE)),
                None => html! {},
            },
        ]
    });
    let rows: Vec<Vec<Markup>> = rows.collect();
    let heads = [
        words::told::RELEASE,
        words::told::VERDICT,
        words::told::RANK,
        words::told::IN_THE_TARGET,
        words::told::LAUNCH_FROM,
        words::told::WHAT_DECIDES,
        "",
    ];
    html! {
        (table(words::told::WHERE_TO_LAUNCH_FOR_THE_TARGET, &heads, &rows))
        (as_text(&tables::aim::table(aim, units)))
    }
}

/// What there is to download, and the button that does it.
pub fn looked(looked: &Looked, plan: &str) -> Markup {
    html! {
        p { (words::to_download(looked.files, looked.bytes as f64 / 1e6, &looked.run)) }
        p { small { (looked.attribution) } }
        form method="post" action="/job" data-job="" {
            input type="hidden" name="name" value=(plan);
            input type="hidden" name="what" value="fetch";
            input type="hidden" name="feed" value=(looked.feed);
            input type="hidden" name="from" value=(looked.from);
            input type="hidden" name="to" value=(looked.to);
            button { (words::DOWNLOAD) }
        }
    }
}

/// A briefing that was written: shown, and its files.
pub fn written(files: &[String], plan: &str) -> Markup {
    let address = |name: &str| format!("/file?name={}", encoded(name));
    let page = files.iter().find(|name| name.ends_with("/brief.html"));
    let folder = page.map_or("", |page| folder_of(page.as_str()));
    html! {
        p { (words::BRIEF_IN) " " strong { (folder) } "." }
        form method="post" action="/folder/open" {
            input type="hidden" name="name" value=(plan);
            input type="hidden" name="folder" value=(folder);
            button { (words::OPEN_FOLDER) }
        }
        @if let Some(page) = page {
            p { a href=(address(page)) target="_blank" { (words::BRIEF_OPEN) } }
        }
        ul.files { @for name in files { li { a href=(address(name)) { (name) } } } }
        @if let Some(page) = page {
            iframe src=(address(page)) title=(words::told::THE_BRIEFING) loading="lazy" {}
        }
    }
}

/// A flight that is followed.
pub fn followed(followed: &Followed, timezone: &TimeZone, units: UnitSystem) -> Markup {
    let Followed {
        standing, waiting, ..
    } = followed;
    html! {
        @if let Some(said) = &followed.said { p { (follow_words::said(said)) } }
        div.standing { (pages::follow::standing_now(standing, waiting, timezone, units)) }
        p { (words::FLYING_IN) " " strong { (followed.folder) } "." }
        @if let Some(log) = &followed.earlier { p { (words::EARLIER) " " strong { (log) } "." } }
    }
}

/// A flight looked back on.
pub fn debriefed(debriefed: &Debriefed, plan: &Plan, units: UnitSystem) -> Markup {
    let debrief = &debriefed.debrief;
    let map = pictures::map::debrief::draw(debrief, &debriefed.ground, &plan.timezone, units);
    let table = tables::debrief::table(debrief, plan, units);
    html! {
        (picture(&map, "debrief-map", words::AFTER_MAP, words::told::THE_TEXT_BELOW_HAS_THE_NUMBERS))
        pre tabindex="0" { (table) }
        @match &debriefed.written {
            Some(Ok(true)) => p { (words::LOGGED) },
            Some(Ok(false)) => p { (words::LOGGED_BEFORE) },
            Some(Err(why)) => { p.wrong role="note" { (words::NOT_LOGGED) " " (why) } }
            None => {}
        }
    }
}

/// A text as a part of an address.
pub fn encoded(text: &str) -> String {
    // What RFC 3986 calls unreserved (section 2.3) stays as it is.
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~".contains(&b);
    text.bytes()
        .map(|b| match plain(b) {
            true => char::from(b).to_string(),
            false => format!("%{b:02X}"),
        })
        .collect()
}

/// Two zones in words.
pub fn compared(table: &str) -> Markup {
    html! { pre.words tabindex="0" { (table) } }
}

//! The briefing as one page: everything in it, nothing fetched. It reads on a phone without signal
//! and on paper, and is whole without its script.

mod html;
mod qr;
mod sections;

use std::fmt::Write as _;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use self::html::{links, list, place, user_text};
use self::sections::{SECTIONS, Section, capital};
use crate::brief::Brief;
use crate::brief::answer::WaitingPoint;
use crate::report::markup::document;
use crate::report::palette;
use crate::report::pictures::picture::Picture;
use crate::report::warnings;
use crate::report::words;
use crate::units::UnitSystem;

/// The style of pages.
pub(in crate::report) const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("pan_zoom.js");
/// What the widest line of the map says.
const OUTER_LINE: &str = "The outer line is the ellipse of 90 %: if the numbers behind it are right, 9 in 10 flights come down inside.";
/// Titles of more characters than this are set smaller.
const LONG_TITLE: usize = 80;
/// Nothing may be loaded from anywhere; what is in the page may run.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'";

/// The page as HTML, with the map as it was drawn.
pub fn text(brief: &Brief, map: &Picture, units: UnitSystem) -> String {
    let title = words::title(brief);
    let lead = match brief.wait.points.first() {
        Some(point) => wait_here(brief, point, units),
        None => html! { strong { (words::nowhere_to_wait(&brief.zone)) } },
    };
    let map = map_section(brief, map, units);
    page(brief, &title, lead, map, &SECTIONS, units)
}

/// The page of a second car: its own place to wait, and what it needs when it is alone.
pub fn second_car(brief: &Brief, map: &Picture, units: UnitSystem) -> String {
    let title = format!("Second car: {}", words::title(brief));
    let lead = match brief.wait.points.get(1) {
        Some(point) => wait_here(brief, point, units),
        None if brief.wait.points.is_empty() => {
            html! { strong { (words::nowhere_to_wait(&brief.zone)) } }
        }
        None => html! { strong { "No second place to wait is known: stay with the first car." } },
    };
    let map = map_section(brief, map, units);
    // Contacts and cautions stand on the sheet of the map, which is smaller here: two sheets in all.
    let alone = [
        "places", "contacts", "cautions", "times", "wait", "radio", "quiet",
    ];
    let sections = alone
        .iter()
        .filter_map(|id| SECTIONS.iter().find(|s| s.id == *id));
    let sections: Vec<Section> = sections.copied().collect();
    let map = html! { div.alone { (map) } };
    page(brief, &title, lead, map, &sections, units)
}

fn page(
    brief: &Brief,
    title: &str,
    lead: Markup,
    map: Markup,
    sections: &[Section],
    units: UnitSystem,
) -> String {
    document(html! {
        (DOCTYPE) "\n"
        html lang="en" { "\n"
            (head(&format!("{title}: chase briefing"))) "\n"
            body { "\n"
                (header(title, lead, brief, units)) "\n"
                (contents(sections)) "\n"
                main { "\n"
                    (map) "\n"
                    @for section in sections {
                        section aria-labelledby=(section.id) { "\n"
                            h2 id=(section.id) { (section.title) } "\n"
                            ((section.content)(brief, units))
                        } "\n"
                    }
                } "\n"
                script { "\n" (PreEscaped(SCRIPT)) } "\n"
            } "\n"
        } "\n"
    })
}

/// What to do, in one sentence, and the place to tap.
fn wait_here(brief: &Brief, point: &WaitingPoint, units: UnitSystem) -> Markup {
    let said = words::wait_here(point, brief.wait.from, &brief.facts, &brief.timezone, units);
    html! {
        strong { "Wait here: " } (user_text(&said)) "."
        span.taps { (links(point.position)) }
    }
}

fn head(title: &str) -> Markup {
    html! {
        head { "\n"
            meta charset="utf-8"; "\n"
            meta name="viewport" content="width=device-width, initial-scale=1"; "\n"
            meta http-equiv="Content-Security-Policy" content=(POLICY); "\n"
            title { (title) } "\n"
            link rel="icon" href="data:,"; "\n"
            style { "\n" (PreEscaped(palette::page_style())) (PreEscaped(STYLE)) } "\n"
        }
    }
}

fn header(title: &str, lead: Markup, brief: &Brief, units: UnitSystem) -> Markup {
    let long = title.chars().count() > LONG_TITLE;
    html! {
        header { "\n"
            h1 dir="auto" class=[long.then_some("long")] { (user_text(title)) } "\n"
            (warnings_first(brief, units))
            p.lead { (lead) } "\n"
            p { (words::headline(brief, units)) } "\n"
            (where_from(brief, units)) "\n"
        }
    }
}

/// What decides whether the page can be trusted; nothing where nothing warns.
fn warnings_first(brief: &Brief, units: UnitSystem) -> Markup {
    let lines = warnings::lines(&warnings::of_zone(&brief.zone), units);
    html! {
        @if !lines.is_empty() {
            div.warnings role="note" aria-label="Warnings" { "\n" (list(&lines)) } "\n"
        }
    }
}

/// The place of release and of the centre of the zone, or of the planned landing, for who types them into a device.
fn where_from(brief: &Brief, units: UnitSystem) -> Markup {
    let release = &brief.zone.release;
    html! {
        p {
            (capital(words::center_name(&brief.zone))) ": " strong { (place(brief.zone.center())) }
            @if let Some(near) = &brief.near {
                ", " (words::way_of(near.distance_m, near.azimuth_deg, units))
                " of " (user_text(&near.name))
            }
            ". Release: " strong { (place(release.position)) } ", "
            (units.height(release.altitude_m)) " above sea level, "
            (words::date(release.time, &brief.timezone)) " "
            (words::clock_with_zone(release.time, &brief.timezone))
            " (" (words::utc_clock(release.time)) ")."
        }
    }
}

fn contents(sections: &[Section]) -> Markup {
    html! {
        nav aria-label="Contents" { "\n"
            ul { "\n"
                @for section in sections {
                    li { a href={ "#" (section.id) } { (section.short) } } "\n"
                }
            } "\n"
        }
    }
}

fn map_section(brief: &Brief, map: &Picture, units: UnitSystem) -> Markup {
    let description = map_in_words(brief, units);
    let outer = match brief.zone.outer() {
        Some(_) => OUTER_LINE,
        None => "No zone is given, because too many flights leave the winds.",
    };
    html! {
        section aria-labelledby="map-heading" { "\n"
            h2 id="map-heading" { "Map" } "\n"
            figure { "\n"
                div.map id="map-view" { "\n"
                    (map.described("map", "Map of the landing zone", &description))
                } "\n"
                figcaption {
                    "North is up, true. " (outer)
                } "\n"
            } "\n"
        }
    }
}

/// What the map shows, for who does not see it.
fn map_in_words(brief: &Brief, units: UnitSystem) -> String {
    let mut said = words::headline(brief, units);
    for (name, mark) in crate::report::files::kml::marks(brief) {
        let _ = write!(said, " {name} at {},", mark.position.text());
    }
    for point in &brief.wait.points {
        let _ = write!(
            said,
            " {} at {},",
            words::waiting_name(point),
            point.position.text()
        );
    }
    said.trim_end_matches(',').to_owned() + "."
}

//! The briefing as one page: everything in it, nothing fetched. It reads on a phone without signal
//! and on paper, and is whole without its script.

mod html;
mod sections;

use std::fmt::Write as _;

use self::html::{escaped, user_text};
use self::sections::SECTIONS;
use crate::brief::Brief;
use crate::report::pictures::map;
use crate::report::words;
use crate::units::UnitSystem;

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("pan_zoom.js");
/// Titles of more characters than this are set smaller.
const LONG_TITLE: usize = 80;
/// Nothing may be loaded from anywhere; what is in the page may run.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'";

/// The page as HTML.
pub fn text(brief: &Brief, units: UnitSystem) -> String {
    let title = words::title(brief);
    let mut page = String::new();
    let _ = write!(
        page,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">\n\
         <title>{}</title>\n<link rel=\"icon\" href=\"data:,\">\n<style>\n{STYLE}</style>\n</head>\n<body>\n",
        escaped(&format!("{title}: chase briefing"))
    );
    let _ = write!(
        page,
        "<header>\n<h1 dir=\"auto\"{}>{}</h1>\n<p class=\"lead\">{}</p>\n{}</header>\n",
        if title.chars().count() > LONG_TITLE {
            " class=\"long\""
        } else {
            ""
        },
        user_text(&title),
        escaped(&words::headline(brief, units)),
        where_from(brief, units)
    );
    page.push_str(&contents());
    page.push_str("<main>\n");
    page.push_str(&map_section(brief, units));
    for section in &SECTIONS {
        let _ = write!(
            page,
            "<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{}</h2>\n{}</section>\n",
            escaped(section.title),
            (section.text)(brief, units),
            id = section.id,
        );
    }
    let _ = write!(
        page,
        "</main>\n<script>\n{SCRIPT}</script>\n</body>\n</html>\n"
    );
    page
}

/// The place of release and of the centre, for who types them into a device.
fn where_from(brief: &Brief, units: UnitSystem) -> String {
    let release = &brief.zone.release;
    let near = brief.near.as_ref().map_or_else(String::new, |near| {
        format!(
            ", {} of {}",
            words::way_of(near.distance_m, near.azimuth_deg, units),
            user_text(&near.name)
        )
    });
    format!(
        "<p>Centre of the zone: <strong>{}</strong>{near}. Release: <strong>{}</strong>, {} above sea level, {}.</p>\n",
        html::place(brief.zone.center()),
        html::place(release.position),
        units.height(release.altitude_m),
        escaped(&format!(
            "{} {} ({})",
            words::date(release.time, &brief.timezone),
            words::clock_with_zone(release.time, &brief.timezone),
            words::utc_clock(release.time)
        )),
    )
}

fn contents() -> String {
    let items: String = SECTIONS
        .iter()
        .map(|s| format!("<li><a href=\"#{}\">{}</a></li>\n", s.id, escaped(s.short)))
        .collect();
    format!("<nav aria-label=\"Contents\">\n<ul>\n{items}</ul>\n</nav>\n")
}

fn map_section(brief: &Brief, units: UnitSystem) -> String {
    let description = map_in_words(brief, units);
    let svg = map::draw(brief, units).described_svg("map", "Map of the landing zone", &description);
    format!(
        "<section aria-labelledby=\"map-heading\">\n<h2 id=\"map-heading\">Map</h2>\n\
         <figure>\n<div class=\"map\" id=\"map-view\">\n{svg}</div>\n\
         <figcaption>{}</figcaption>\n</figure>\n</section>\n",
        escaped(
            "North is up, true. The outer line is the ellipse of 90 %: if the numbers behind it are right, 9 in 10 flights come down inside."
        )
    )
}

/// What the map shows, for who does not see it.
fn map_in_words(brief: &Brief, units: UnitSystem) -> String {
    let mut said = words::headline(brief, units);
    for (name, mark) in crate::report::files::kml::marks(brief) {
        let _ = write!(said, " {name} at {},", mark.position.text());
    }
    for point in &brief.waiting {
        let _ = write!(
            said,
            " {} at {},",
            words::waiting_name(point),
            point.position.text()
        );
    }
    said.trim_end_matches(',').to_owned() + "."
}

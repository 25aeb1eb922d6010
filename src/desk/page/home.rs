//! The page of the folder.

use maud::{Markup, html};

use super::boxed::Boxed;
use super::frame::{address, document};
use crate::desk::begin;
use crate::desk::fields::Values;
use crate::desk::state::View;
use crate::desk::words;
use crate::report::pictures::map::layered;

/// The page of the folder: its plans, a new one, two compared.
pub struct Home<'a> {
    /// The folder.
    pub folder: String,
    /// Its plans, and what there is to know of each.
    pub plans: Vec<(String, Option<&'static str>)>,
    /// Whether the folder has more files than are listed.
    pub cut: bool,
    /// Files that are not listed for their names.
    pub odd: &'a [String],
    /// What can be compared.
    pub zones: Vec<String>,
    /// What was typed for a new plan.
    pub given: &'a Values,
    /// What is wrong with it.
    pub faults: Vec<(String, String)>,
    /// The coasts of the earth.
    pub world: Markup,
}

/// The page of the folder.
pub fn home(home: &Home, view: View) -> Markup {
    let body = html! {
        main #main {
            h1 { (words::PLANS) }
            p { (words::FOLDER) ": " code { (home.folder) } }
            @if home.plans.is_empty() { p { (words::NO_PLANS) } }
            @if home.cut { p { (words::MORE_FILES) } }
            @if !home.odd.is_empty() { p { (words::odd_names(home.odd)) } }
            ul.plans {
                @for (name, known) in &home.plans {
                    li {
                        a href=(address(name, None)) { (name) }
                        @if let Some(known) = known { " " small { (known) } }
                    }
                }
            }
            section aria-labelledby="begin" {
                h2 id="begin" { (words::BEGIN) }
                p { (words::BEGIN_LEAD) }
                (begin_form(home))
            }
            @if home.zones.len() > 1 {
                section aria-labelledby="compare" {
                    h2 id="compare" { (words::COMPARE) }
                    (compare_form(&home.zones, ["", ""]))
                }
            }
        }
    };
    document(words::DESK, view, "/", body)
}

fn begin_form(home: &Home) -> Markup {
    let words_of = |id: &str| match id {
        "file" => [words::FILE_NAME, words::FILE_NAME_HINT],
        "place" => [words::PLACE, words::PLACE_HINT],
        "release" => [words::field("flight.release")[0], words::RELEASE_HINT],
        "balloon" => words::field("balloon.mass"),
        "load" => [words::LOAD_ALL, words::LOAD_ALL_HINT],
        _ => words::field("parachute.diameter"),
    };
    html! {
        div.begin {
            form method="post" action="/new" #begin-form {
                @if !home.faults.is_empty() {
                    div.wrong.summary role="alert" tabindex="-1" data-focus="" {
                        p { (words::MISSING) }
                        ul {
                            @for (id, wrong) in &home.faults {
                                li { a href={ "#" (id) } { (words_of(id)[0]) } ": " (wrong) }
                            }
                        }
                    }
                }
                @for id in begin::FIELDS {
                    @let [label, hint] = words_of(id);
                    @let wrong = home.faults.iter().filter(|(of, _)| of == id).map(|(_, w)| w.as_str()).collect();
                    (Boxed { id, label, hint, wrong }.line(home.given.get(id).map_or("", String::as_str)))
                }
                button.main { (words::BEGIN_BUTTON) }
            }
            figure.scripted #world {
                svg viewBox={ "0 0 " (360.0 * layered::WORLD_UNIT) " " (180.0 * layered::WORLD_UNIT) }
                    role="img" aria-label=(words::WORLD) { g data-part="below" { (home.world) } g data-part="own" {} }
                figcaption { (words::WORLD) }
                button type="button" data-world="" { (words::WHOLE) }
            }
        }
    }
}

/// The form that compares two zones.
pub fn compare_form(zones: &[String], chosen: [&str; 2]) -> Markup {
    let select = |id: &str, label: &str, now: &str| {
        html! {
            div.field {
                label for=(id) { (label) }
                select id=(id) name=(id) {
                    @for zone in zones { option selected[zone == now] { (zone) } }
                }
            }
        }
    };
    html! {
        p { (words::COMPARE_LEAD) }
        form method="get" action="/compare" {
            (select("old", words::OLD, chosen[0]))
            (select("new", words::NEW, chosen[1]))
            button.main { (words::COMPARE_BUTTON) }
        }
    }
}

/// Two zones compared.
pub fn compared(zones: &[String], chosen: [&str; 2], result: Markup, view: View) -> Markup {
    let body = html! {
        main #main {
            h1 { (words::COMPARE) }
            (compare_form(zones, chosen))
            (result)
        }
    };
    document(words::COMPARE, view, "/", body)
}

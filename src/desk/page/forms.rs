//! Forms that start long work, move the site or bring files.

use maud::{Markup, html};

use super::boxed::{Boxed, small_field};
use super::shown::PlanPage;
use crate::desk::folder::{FLIGHT, PLACES, REPORTS};
use crate::desk::words;

/// The forecast that is offered first.
const USUAL_FEED: &str = "gfs";

/// Moves the site.
pub fn place_form(page: &PlanPage) -> Markup {
    let (label, hint, wrong) = (words::MOVE_TO, words::MOVE_TO_HINT, Vec::new());
    let boxed = Boxed {
        id: "place",
        label,
        hint,
        wrong,
    };
    html! {
        form.inline method="post" action="/plan/place" {
            input type="hidden" name="name" value=(page.name);
            (boxed.line(""))
            button { (words::MOVE) }
        }
    }
}

/// Brings files of winds.
pub fn drop_form(page: &PlanPage) -> Markup {
    html! {
        form #drop method="post" action="/winds/drop" enctype="multipart/form-data" {
            input type="hidden" name="name" value=(page.name);
            div.field {
                label for="dropped" { (words::DROP) }
                input id="dropped" type="file" name="file" multiple aria-describedby="dropped-hint";
                small.hint id="dropped-hint" { (words::DROP_HINT) }
            }
            button { (words::DROP_BUTTON) }
        }
    }
}

/// A form that starts a job.
pub fn work_form(page: &PlanPage, what: &str, button: &str, fields: Markup) -> Markup {
    html! {
        form.work method="post" action="/job" data-job="" {
            input type="hidden" name="name" value=(page.name);
            input type="hidden" name="what" value=(what);
            (fields)
            button.main { (button) }
        }
    }
}

/// Fetches a forecast.
pub fn fetch_form(page: &PlanPage) -> Markup {
    let fields = html! {
        div.fields {
            div.field {
                label for="feed" { (words::FEED) }
                select id="feed" name="feed" {
                    @for (name, title) in &page.feeds { option value=(name) selected[name == USUAL_FEED] { (title) } }
                }
            }
            (small_field("fetch-from", "from", [words::FROM, words::FROM_HINT], ""))
            (small_field("fetch-to", "to", [words::TO, words::TO_HINT], ""))
        }
    };
    html! {
        details.fetch {
            summary { (words::FETCH) }
            p { (words::FETCH_LEAD) }
            (work_form(page, "look", words::LOOK, fields))
        }
    }
}

fn times(of: &str) -> Markup {
    let id = |what: &str| format!("{of}-{what}");
    html! {
        (small_field(&id("from"), "from", [words::FROM, words::DAYS_FROM_HINT], ""))
        (small_field(&id("to"), "to", [words::TO, words::DAYS_TO_HINT], ""))
        (small_field(&id("every"), "every", [words::EVERY, words::EVERY_HINT], "1 h"))
        (small_field(&id("hours"), "hours", [words::HOURS, words::HOURS_HINT], "05:00-11:00"))
    }
}

/// Compares releases.
pub fn days_form(page: &PlanPage) -> Markup {
    work_form(
        page,
        "days",
        words::DAYS_BUTTON,
        html! { div.fields { (times("days")) } },
    )
}

/// The forms for candidates and for a target.
pub fn sites_form(page: &PlanPage) -> Markup {
    let files: Vec<&str> = page.files_ending_in(&PLACES).collect();
    let select = |id: &str, label: &str, hint: &str, areas: bool| {
        let fits = |name: &&&str| !areas || !name.ends_with(".csv");
        html! {
            div.field {
                label for=(id) { (label) }
                select id=(id) name="file" aria-describedby={ (id) "-hint" } {
                    @for name in files.iter().filter(fits) { option { (name) } }
                }
                small.hint id={ (id) "-hint" } { (hint) }
            }
        }
    };
    if files.is_empty() {
        return html! { p { (words::CANDIDATES) ": " (words::NO_FILES) " " (words::CANDIDATES_HINT) } };
    }
    let candidates = html! {
        div.fields {
            (select("candidates", words::CANDIDATES, words::CANDIDATES_HINT, false))
            (small_field("spacing", "spacing", [words::SPACING, words::SPACING_HINT], "5 km"))
            (times("sites"))
        }
    };
    let target = html! {
        div.fields {
            (select("target", words::INTO, words::INTO_HINT, true))
            (times("aim"))
        }
        label.tick { input type="checkbox" name="on_roads" value="yes"; " " (words::ON_ROADS) }
    };
    html! {
        details { summary { (words::SITES_BUTTON) } (work_form(page, "sites", words::SITES_BUTTON, candidates)) }
        details { summary { (words::INTO) } (work_form(page, "aim", words::INTO_BUTTON, target)) }
    }
}

/// Files of the plan's folder that may hold reports of trackers.
fn reports<'a>(page: &'a PlanPage) -> Vec<&'a str> {
    page.files_ending_in(&REPORTS)
        // Of a flight that was followed, the log is all that was heard of it.
        .filter(|name| !page.is_made(name, FLIGHT) || name.ends_with(".log"))
        .collect()
}

/// Follows a flight.
pub fn follow_form(page: &PlanPage) -> Markup {
    let fields = html! {
        div.fields {
            div.field {
                label for="reports" { (words::REPORTS) }
                select id="reports" name="file" aria-describedby="reports-hint" {
                    option value="" { (words::NO_REPORTS) }
                    @for name in reports(page) { option value=(name) { (name) } }
                }
                small.hint id="reports-hint" { (words::REPORTS_HINT) }
            }
            (small_field("address", "address", [words::ADDRESS, words::ADDRESS_HINT], ""))
            (small_field("call", "call", [words::CALL, words::CALL_HINT], ""))
            (small_field("columns", "columns", [words::COLUMNS, words::COLUMNS_HINT], ""))
            (small_field("me", "me", [words::CAR, words::CAR_HINT], ""))
        }
        label.tick { input type="checkbox" name="grows" value="yes"; " " (words::GROWS) }
    };
    work_form(page, "follow", words::FOLLOW_BUTTON, fields)
}

/// Looks back on a flight.
pub fn debrief_form(page: &PlanPage) -> Markup {
    let files = reports(page);
    let fields = html! {
        fieldset aria-describedby="tracks-hint" {
            legend { (words::TRACKS) }
            small.hint id="tracks-hint" { (words::TRACKS_HINT) }
            @if files.is_empty() { p { (words::NO_FILES) } }
            @for name in files {
                label.tick { input type="checkbox" name="file" value=(name); " " (name) }
            }
        }
        div.fields {
            (small_field("after-call", "call", [words::CALL, words::CALL_HINT], ""))
            (small_field("after-columns", "columns", [words::COLUMNS, words::COLUMNS_HINT], ""))
        }
        label.tick { input type="checkbox" name="logbook" value="yes"; " " (words::IN_LOGBOOK) }
    };
    work_form(page, "debrief", words::AFTER_BUTTON, fields)
}

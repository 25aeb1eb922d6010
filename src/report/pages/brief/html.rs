//! Pieces of HTML. A line break follows each block, so that the source of a page can be read too.

use maud::{Markup, html};

use crate::geodesy::Position;
use crate::report::places;

pub use crate::report::markup::{cell as plain, table};

/// A text of the plan or of a file, which may run from right to left.
pub fn user_text(text: &str) -> Markup {
    html! { bdi { (text) } }
}

/// A text that no line break may tear.
pub fn unbroken(text: &str) -> Markup {
    html! { span.clock { (text) } }
}

/// A text, and below it in small what is said of it.
pub fn with_note(text: &str, note: &str) -> Markup {
    html! { (text) br; small { (note) } }
}

/// A place as a link that map programs open without a network.
pub fn place(at: Position) -> Markup {
    html! { a href=(places::geo_link(at)) { (at.text()) } }
}

/// The ways to open a place, each a large target.
pub fn links(at: Position) -> Markup {
    html! {
        a.tap href=(places::geo_link(at)) { "map program" } " "
        a.tap href=(places::map_link(at)) target="_blank" rel="noopener noreferrer" { "web map" }
    }
}

/// A place in every form, each named; a tap selects one whole.
pub fn forms(at: Position) -> Markup {
    html! {
        @for (name, text) in places::forms(at) {
            span.form { small { (name) } " " span.copy { (text) } } " "
        }
    }
}

/// A line of contacts, its number to be dialled by a tap.
pub fn contact(line: &str) -> Markup {
    let Some((found, link)) = places::telephone(line) else {
        return user_text(line);
    };
    html! {
        bdi { (line[..found.start]) a.tap href=(link) { (line[found.clone()]) } (line[found.end..]) }
    }
}

/// A list of texts of the plan, of files or of our own.
pub fn list<S: AsRef<str>>(items: &[S]) -> Markup {
    html! {
        ul { "\n"
            @for item in items { li { (user_text(item.as_ref())) } "\n" }
        } "\n"
    }
}

/// Terms and what they stand for.
pub fn terms(rows: &[(&str, Markup)]) -> Markup {
    html! {
        dl { "\n"
            @for (term, said) in rows { dt { (term) } dd { (said) } "\n" }
        } "\n"
    }
}

/// A paragraph of plain text.
pub fn paragraph(text: &str) -> Markup {
    html! { p { (text) } "\n" }
}

/// Two things side by side where there is room.
pub fn pair(one: Markup, other: Markup) -> Markup {
    html! { div.pair { "\n" (one) (other) } "\n" }
}

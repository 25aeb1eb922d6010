//! Labelled boxes.

use maud::{Markup, html};

/// A labelled box with its hint and what is wrong with it.
pub struct Boxed<'a> {
    pub id: &'a str,
    pub label: &'a str,
    pub hint: &'a str,
    pub wrong: Vec<&'a str>,
}

impl Boxed<'_> {
    pub fn around(&self, input: Markup) -> Markup {
        html! {
            div.field {
                label for=(self.id) { (self.label) }
                (input)
                @if !self.hint.is_empty() { small.hint id={ (self.id) "-hint" } { (self.hint) } }
                p.wrong id={ (self.id) "-wrong" } data-wrong=(self.id) {
                    @for line in &self.wrong { (line) br; }
                }
            }
        }
    }

    pub fn described(&self) -> String {
        match self.hint {
            // Also where nothing is wrong yet: the script fills that place while somebody types.
            "" => format!("{}-wrong", self.id),
            _ => format!("{0}-hint {0}-wrong", self.id),
        }
    }

    pub fn invalid(&self) -> Option<&'static str> {
        (!self.wrong.is_empty()).then_some("true")
    }

    pub fn line(&self, value: &str) -> Markup {
        self.around(html! {
            input id=(self.id) name=(self.id) value=(value) autocomplete="off"
                aria-describedby=(self.described()) aria-invalid=[self.invalid()];
        })
    }
}

/// A box with its label and hint, which is never wrong.
pub fn small_field(id: &str, name: &str, [label, hint]: [&str; 2], value: &str) -> Markup {
    html! {
        div.field {
            label for=(id) { (label) }
            input id=(id) name=(name) value=(value) autocomplete="off" aria-describedby={ (id) "-hint" };
            small.hint id={ (id) "-hint" } { (hint) }
        }
    }
}

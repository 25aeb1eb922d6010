//! Boxes of a plan's fields.

use maud::{Markup, html};

use super::boxed::Boxed;
use super::shown::{PlanPage, beside};
use crate::desk::fields::{FIELDS, FieldKind, FormField, LOAD, Values, WIND_FILES, is_beyond};
use crate::desk::folder::{FLIGHT, WINDS};
use crate::desk::words::{self, Station};
use crate::plan::edit::PlanText;

/// The boxes of a station, those that are seldom needed folded away.
pub fn inputs(page: &PlanPage, station: Station) -> Markup {
    let of = |seldom: bool| {
        let all = FIELDS.iter();
        all.filter(move |f| f.station == station && f.seldom == seldom)
    };
    let heading = match station {
        Station::Zone => words::SPREAD,
        Station::Site => words::GROUND,
        _ => words::SELDOM,
    };
    html! {
        @match &page.values {
            None => p { (words::NOT_TOML) },
            Some((doc, values)) => {
                div.fields { @for field in of(false) { (input(page, field, doc, values)) } }
                @if of(true).next().is_some() {
                    details.seldom {
                        summary { (heading) }
                        div.fields { @for field in of(true) { (input(page, field, doc, values)) } }
                    }
                }
                button.apply form="plan-form" { (words::APPLY) }
            }
        }
    }
}

fn wrong<'a>(page: &'a PlanPage, id: &str) -> Vec<&'a str> {
    let of = page
        .faults
        .iter()
        .filter(|(field, _)| field.as_deref() == Some(id));
    of.map(|(_, wrong)| wrong.as_str()).collect()
}

fn input(page: &PlanPage, field: &FormField, doc: &PlanText, values: &Values) -> Markup {
    let [label, hint] = words::field(field.id);
    let value = values.get(field.id).map_or("", String::as_str);
    let beyond = is_beyond(doc, field.id);
    let boxed = Boxed {
        id: field.id,
        label,
        hint: if beyond { words::BEYOND_BOX } else { hint },
        wrong: wrong(page, field.id),
    };
    let choices = |all: &[&str]| {
        // What no list has is chosen all the same: another edit shall not change it.
        let other = !all.contains(&value);
        html! {
            select id=(field.id) name=(field.id) form="plan-form"
                aria-describedby=(boxed.described()) aria-invalid=[boxed.invalid()] {
                @for choice in all {
                    option value=(choice) selected[*choice == value] { (words::choice(field.id, choice)) }
                }
                @if other { option value=(value) selected { (value) } }
            }
        }
    };
    let lines = |rows: &str| {
        html! {
            textarea id=(field.id) name=(field.id) form="plan-form" rows=(rows) readonly[beyond]
                aria-describedby=(boxed.described()) aria-invalid=[boxed.invalid()] { "\n" (value) }
        }
    };
    match field.kind {
        FieldKind::Choice(all) => boxed.around(choices(all)),
        FieldKind::Flag => boxed.around(choices(&["", "yes", "no"])),
        FieldKind::Lines => boxed.around(lines("2")),
        FieldKind::Long => boxed.around(lines("4")),
        FieldKind::Files => wind_files(page, &boxed, value),
        // A box of one line would drop the ends of these, and send that as an edit.
        FieldKind::Text if value.contains('\n') => boxed.around(lines("3")),
        FieldKind::Text | FieldKind::Number => boxed.around(html! {
            input id=(field.id) name=(field.id) value=(value) form="plan-form" autocomplete="off"
                readonly[beyond] aria-describedby=(boxed.described()) aria-invalid=[boxed.invalid()];
        }),
    }
}

/// Files that may hold winds, ticked where the plan has them.
fn wind_files(page: &PlanPage, boxed: &Boxed, value: &str) -> Markup {
    let ticked: Vec<&str> = value.lines().collect();
    let folder = beside(page.name);
    // What was written of a flight that was followed holds no winds.
    let there = page.files_ending_in(&WINDS);
    let there = there.filter(|name| !page.is_made(name, FLIGHT));
    let there = there.filter_map(|name| name.strip_prefix(folder));
    // The plan's own first and in its order, also those that are not there.
    let mut all: Vec<&str> = ticked.clone();
    all.extend(there.filter(|name| !ticked.contains(name)));
    html! {
        fieldset id=(WIND_FILES) aria-describedby=(boxed.described()) {
            legend { (boxed.label) }
            small.hint id={ (boxed.id) "-hint" } { (boxed.hint) }
            input type="hidden" name=(WIND_FILES) value="" form="plan-form";
            @if all.is_empty() { p { (words::NO_FILES) } }
            @if page.files.cut { p { (words::MORE_FILES) } }
            @if !page.files.odd.is_empty() { p { (words::odd_names(&page.files.odd)) } }
            @for name in all {
                label.tick {
                    input type="checkbox" name=(WIND_FILES) value=(name) form="plan-form"
                        checked[ticked.contains(&name)];
                    " " (name)
                }
            }
            p.wrong id={ (boxed.id) "-wrong" } data-wrong=(boxed.id) {
                @for line in &boxed.wrong { (line) br; }
            }
        }
    }
}

/// What hangs below, row by row.
pub fn load(page: &PlanPage) -> Markup {
    let Some((doc, values)) = &page.values else {
        return html! {};
    };
    let rows = doc.tables("load");
    html! {
        fieldset #load {
            legend { (words::LOAD) }
            @for row in 0..rows {
                div.row role="group" aria-label={ (words::LOAD) " " (row + 1) } {
                    @for key in LOAD {
                        @let id = format!("load.{row}.{key}");
                        @let [label, hint] = words::field(&id);
                        @let boxed = Boxed { id: &id, label, hint, wrong: wrong(page, &id) };
                        @let value = values.get(&id).map_or("", String::as_str);
                        (boxed.around(html! {
                            @if value.contains('\n') {
                                textarea id=(id) name=(id) form="plan-form" rows="3" aria-describedby=(boxed.described())
                                    aria-invalid=[boxed.invalid()] { "\n" (value) }
                            } @else {
                                input id=(id) name=(id) value=(value) form="plan-form" autocomplete="off"
                                    aria-describedby=(boxed.described()) aria-invalid=[boxed.invalid()];
                            }
                        }))
                    }
                    form method="post" action="/plan/row" {
                        input type="hidden" name="name" value=(page.name);
                        input type="hidden" name="step" value=(page.step);
                        input type="hidden" name="remove" value=(row);
                        button aria-label={ (words::REMOVE) " " (row + 1) } { (words::REMOVE) }
                    }
                }
            }
            form method="post" action="/plan/row" {
                input type="hidden" name="name" value=(page.name);
                button { (words::ADD) }
            }
        }
    }
}

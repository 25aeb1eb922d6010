//! Changes of a plan, each of which can be undone.

use axum::Json;
use axum::extract::{Form, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Redirect, Response};

use super::plan::Now;
use super::reply::{Given, Shared, of, refused, stale, values, wants_json};
use crate::desk::drafts::Draft;
use crate::desk::fields::{apply, is_same_row, set};
use crate::desk::folder::{beside, is_plan};
use crate::desk::state::Desk;
use crate::desk::words::Station;
use crate::desk::{no_toml, page, words};
use crate::error::{Error, Fault, Result};
use crate::plan::edit::PlanText;

/// Changes a plan and answers with how it is then.
fn changed(
    desk: &Desk,
    headers: &HeaderMap,
    at: (&str, Option<Station>),
    change: impl FnOnce(&mut Draft) -> Result<()>,
) -> Response {
    changed_and_told(desk, headers, at, |draft| {
        change(draft).map(|()| Vec::new())
    })
}

/// Changes a plan and answers with how it is then, and with what the change brought along.
pub fn changed_and_told(
    desk: &Desk,
    headers: &HeaderMap,
    at: (&str, Option<Station>),
    change: impl FnOnce(&mut Draft) -> Result<Vec<String>>,
) -> Response {
    answered(desk, headers, at, |draft| {
        let taken_over = takes_over(draft)?.then(|| words::TAKEN_OVER.to_owned());
        let told = change(draft)?;
        Ok(taken_over.into_iter().chain(told).collect())
    })
}

/// Takes over what was changed by hand, if nothing here is unsaved; whether there was such a change.
fn takes_over(draft: &mut Draft) -> Result<bool> {
    let was = draft.number();
    draft.look()?;
    Ok(draft.number() != was)
}

/// Goes a step back, or forward again.
fn stepped(desk: &Desk, headers: &HeaderMap, given: &Given, back: bool) -> Response {
    answered(desk, headers, (of(given, "name"), None), |draft| {
        // A file that was just taken over is shown first: whoever asked for the step had not seen it.
        if !takes_over(draft)? {
            draft.step(back)?;
        }
        Ok(Vec::new())
    })
}

fn answered(
    desk: &Desk,
    headers: &HeaderMap,
    (name, station): (&str, Option<Station>),
    change: impl FnOnce(&mut Draft) -> Result<Vec<String>>,
) -> Response {
    let back = page::address(name, station);
    let now = desk.with_draft(name, |draft| {
        let told = change(draft)?;
        let mut now = Now::of(draft)?;
        now.told = told;
        Ok(now)
    });
    match now {
        Err(error) => refused(desk, headers, &error, &back),
        Ok(now) if wants_json(headers) => Json(now.json()).into_response(),
        Ok(_) => Redirect::to(&back).into_response(),
    }
}

/// What a plan's text was when a page showed it.
fn was_shown(draft: &Draft, step: &str) -> Result<PlanText> {
    // Of a step that is forgotten nobody can tell what the page has changed.
    let text = step.parse().ok().and_then(|step| draft.text_at(step));
    text.and_then(PlanText::read).ok_or_else(stale)
}

/// Changes the document of a plan.
pub fn edited<T>(
    draft: &mut Draft,
    field: &str,
    change: impl FnOnce(&mut PlanText) -> Result<T>,
) -> Result<T> {
    let mut doc = PlanText::read(draft.text()).ok_or_else(no_toml)?;
    let done = change(&mut doc)?;
    draft.edit(doc.text(), field)?;
    Ok(done)
}

pub async fn edit(
    State(desk): Shared,
    headers: HeaderMap,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Response {
    let given = values(pairs);
    let name = of(&given, "name").to_owned();
    changed(&desk, &headers, (&name, None), |draft| {
        let was = was_shown(draft, of(&given, "step"))?;
        // Into the plan as it is now: what others changed meanwhile in other fields stays.
        let mut doc = PlanText::read(draft.text()).ok_or_else(stale)?;
        let ids = apply(&mut doc, &was, &given).ok_or_else(stale)?;
        // Only what is typed into one single field goes on as the same step.
        let field = match &ids[..] {
            [one] => one.as_str(),
            _ => "",
        };
        draft.edit(doc.text(), field)
    })
}

pub async fn undo(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    stepped(&desk, &headers, &given, true)
}

pub async fn redo(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    stepped(&desk, &headers, &given, false)
}

pub async fn save(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    changed(&desk, &headers, (of(&given, "name"), None), Draft::save)
}

pub async fn take_file(
    State(desk): Shared,
    headers: HeaderMap,
    Form(given): Form<Given>,
) -> Response {
    changed(
        &desk,
        &headers,
        (of(&given, "name"), None),
        Draft::take_file,
    )
}

pub async fn save_as(
    State(desk): Shared,
    headers: HeaderMap,
    Form(given): Form<Given>,
) -> Response {
    let (name, file) = (of(&given, "name"), of(&given, "file").trim());
    let file = format!("{}.toml", file.trim_end_matches(".toml"));
    let wanted = is_plan(&file).then_some(()).ok_or_else(|| {
        let found = format!("\"{file}\"");
        Error::from(Fault::new(words::FILE_NAME, found, words::NO_PLANS_NAME))
    });
    // Beside the plan, whose files it names as seen from there.
    let file = beside(name, &file);
    let saved = wanted
        .and_then(|()| desk.folder.path(&file))
        .and_then(|path| desk.with_draft(name, |draft| draft.save_as(&path)));
    match saved {
        Ok(()) => Redirect::to(&page::address(&file, None)).into_response(),
        Err(error) => refused(&desk, &headers, &error, &page::address(name, None)),
    }
}

pub async fn row(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let at = (of(&given, "name"), Some(Station::Stack));
    let remove = given.get("remove").and_then(|row| row.parse().ok());
    changed(&desk, &headers, at, |draft| {
        let was = remove.map(|_| was_shown(draft, of(&given, "step")));
        let was = was.transpose()?;
        edited(draft, "", |doc| {
            match remove {
                // By its number alone the row after it would go, once it is gone itself.
                Some(row) if was.is_some_and(|was| !is_same_row(doc, &was, row)) => {
                    return Err(stale());
                }
                Some(row) => doc.remove_table("load", row),
                None => {
                    doc.add_table("load");
                    let last = doc.tables("load").saturating_sub(1);
                    set(doc, &format!("load.{last}.name"), words::NEW_THING);
                }
            }
            Ok(())
        })
    })
}

pub async fn text(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let at = (of(&given, "name"), Some(Station::Text));
    changed(&desk, &headers, at, |draft| {
        // Somebody else's step must not be lost under an older text.
        match of(&given, "step").parse() == Ok(draft.number()) {
            true => draft.edit(of(&given, "text").replace("\r\n", "\n"), ""),
            false => Err(stale()),
        }
    })
}

//! Changes of a plan, each of which can be undone.

use axum::Json;
use axum::extract::{Form, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::Timestamp;

use super::map::place_on;
use super::plan::{Now, units};
use super::reply::{Given, Shared, of, refused, stale, values, wants_json};
use crate::clock::local::read_time;
use crate::desk::drafts::Draft;
use crate::desk::fields::{apply, is_same_row, key, set, shown, value};
use crate::desk::folder::{beside, is_plan};
use crate::desk::live::{parsed, site};
use crate::desk::state::Desk;
use crate::desk::words::Station;
use crate::desk::{begin, page, words};
use crate::draft::elevation;
use crate::error::{Error, Fault, Result};
use crate::geodesy::Position;
use crate::geodesy::reading::{EXPECTED, read_position};
use crate::plan::edit::PlanText;
use crate::report::files::plan::{degrees, release_text};

/// The plan's elevation stands for a site moved by less than this, m.
const SAME_GROUND_M: f64 = 200.0;

/// Changes a plan and answers with how it is then.
fn changed(
    desk: &Desk,
    headers: &HeaderMap,
    (name, station): (&str, Option<Station>),
    change: impl FnOnce(&mut Draft) -> Result<()>,
) -> Response {
    let back = page::address(name, station);
    let now = desk.with_draft(name, |draft| {
        // What was changed by hand is taken over first, if nothing here is unsaved.
        draft.look()?;
        change(draft)?;
        Now::of(draft)
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
fn edited(
    draft: &mut Draft,
    field: &str,
    change: impl FnOnce(&mut PlanText) -> Result<()>,
) -> Result<()> {
    let mut doc = PlanText::read(draft.text()).ok_or_else(|| Error::CannotDo {
        why: words::NOT_TOML.into(),
        remedy: words::LOOK_AGAIN.into(),
    })?;
    change(&mut doc)?;
    draft.edit(doc.text(), field)
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
    changed(&desk, &headers, (of(&given, "name"), None), |draft| {
        draft.step(true)
    })
}

pub async fn redo(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    changed(&desk, &headers, (of(&given, "name"), None), |draft| {
        draft.step(false)
    })
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

/// Where a plan's elevation was given: the site of the first step that has it, however often that was moved since.
fn given_at(draft: &Draft) -> Option<Position> {
    let elevation = |doc: &PlanText| value(doc, "site.elevation");
    let mut steps = draft.back().map_while(PlanText::read).peekable();
    let now = elevation(steps.peek()?);
    let same = steps.take_while(|doc| elevation(doc) == now);
    site(&same.last()?)
}

/// Moves the site of a plan, and looks its elevation up where that was given for another place.
fn move_site(
    desk: &Desk,
    name: &str,
    doc: &mut PlanText,
    to: Position,
    given_at: Option<Position>,
) -> Result<()> {
    let moved_m = given_at.map_or(f64::INFINITY, |from| from.distance_m(to));
    set(doc, "site.lat", &degrees(to.lat_deg));
    set(doc, "site.lon", &degrees(to.lon_deg));
    if moved_m > SAME_GROUND_M {
        // The elevation of another field is not this one's.
        let terrain = parsed(desk, name, &doc.text()).map(|plan| plan.ground.terrain);
        // A plan that is at fault elsewhere can be moved all the same.
        let known = elevation(to, &terrain.unwrap_or_default())?;
        let units = units(desk.view(), &doc.text());
        // Where none is known the key goes: that of the old place would be wrong.
        let text = known.map_or_else(String::new, |known| units.height(known.elevation_m));
        set(doc, "site.elevation", &text);
        // What stood beside them was said of the other field.
        for id in ["site.lat", "site.lon", "site.elevation"] {
            if let Some(key) = key(id) {
                doc.forget_remark(key);
            }
        }
    }
    Ok(())
}

pub async fn place(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name");
    changed(&desk, &headers, (name, Some(Station::Flight)), |draft| {
        let to = begin::place(of(&given, "place"))?;
        let from = given_at(draft);
        edited(draft, "", |doc| move_site(&desk, name, doc, to, from))
    })
}

pub async fn point(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name");
    changed(&desk, &headers, (name, Some(Station::Site)), |draft| {
        let to = place_on(&given, "x", "y")?;
        let from = given_at(draft);
        edited(draft, "", |doc| move_site(&desk, name, doc, to, from))
    })
}

pub async fn take(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name");
    let station = match given.contains_key("site") {
        true => Station::Site,
        false => Station::Days,
    };
    changed(&desk, &headers, (name, Some(station)), |draft| {
        let from = given_at(draft);
        edited(draft, "", |doc| {
            if let Some(text) = given.get("site") {
                let to = read_position(text).ok_or_else(|| Fault::new("site", text, EXPECTED))?;
                move_site(&desk, name, doc, to, from)?;
            }
            if let Some(text) = given.get("release") {
                let wrong = || Fault::new("release", text, "a time, as in 2026-05-01T09:00:00Z");
                let time: Timestamp = text.parse().map_err(|_| wrong())?;
                let zone = jiff::tz::TimeZone::get(&shown(doc)["flight.timezone"]);
                let written = release_text(time, &zone.unwrap_or(jiff::tz::TimeZone::UTC));
                // Without a zone of its own a plan's release needs an offset.
                let alone =
                    read_time(&written, None).is_err() && shown(doc)["flight.timezone"].is_empty();
                set(
                    doc,
                    "flight.release",
                    &if alone { time.to_string() } else { written },
                );
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

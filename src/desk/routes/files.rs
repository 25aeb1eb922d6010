//! Files of the folder, and those that are dropped on the page.

use std::fs;
use std::io::Write as _;

use axum::Json;
use axum::extract::{Form, Multipart, Query, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Redirect, Response};
use serde_json::json;
use tempfile::NamedTempFile;

use super::not_found;
use super::reply::{Given, Shared, alone, aside, of, refused, wants_json};
use crate::desk::fields::key;
use crate::desk::folder::{beside, plain_name};
use crate::desk::state::Desk;
use crate::desk::words::Station;
use crate::desk::work::{add_winds, free_name};
use crate::desk::{page, words};
use crate::error::{Error, Fault, Result};
use crate::files::for_new_files;
use crate::files::shown::show;
use crate::plan::edit::{PlanText, Written};
use crate::sources::{Columns, Hints};
use crate::winds::files::WindFiles;

/// What a file of the folder is sent as.
fn kind_of(name: &str) -> Option<&'static str> {
    Some(match name.rsplit_once('.')?.1 {
        "html" => "text/html; charset=utf-8",
        "txt" | "csv" => "text/plain; charset=utf-8",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "geojson" | "json" => "application/geo+json",
        "kml" => "application/vnd.google-earth.kml+xml",
        "gpx" => "application/gpx+xml",
        "ics" => "text/calendar; charset=utf-8",
        // Whatever else lies in the folder is none of the page's business.
        _ => return None,
    })
}

pub async fn file(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let name = of(&given, "name");
    let found = desk
        .folder
        .path(name)
        .and_then(|path| fs::read(&path).map_err(|cause| Error::file(&path, "read", cause)));
    match (found, kind_of(name)) {
        (Ok(bytes), Some(kind)) => alone(bytes, kind),
        (Err(error), Some(_)) => refused(&desk, &headers, &error, "/"),
        (_, None) => not_found(State(desk)).await,
    }
}

/// Shows a folder inside the desk's in the program that the system has for folders.
pub async fn open_folder(
    State(desk): Shared,
    headers: HeaderMap,
    Form(given): Form<Given>,
) -> Response {
    let back = page::address(of(&given, "name"), Some(Station::Brief));
    let found = desk.folder.path(of(&given, "folder"));
    let opened = match found {
        Ok(path) if path.is_dir() => {
            let shown = aside(move || show(path.as_os_str())).await;
            let no = |why| Error::CannotDo {
                why,
                remedy: words::OPEN_FOLDER_REMEDY.into(),
            };
            shown.and_then(|shown| shown.map_err(no))
        }
        Ok(path) => Err(Error::file(
            &path,
            "open",
            std::io::ErrorKind::NotADirectory.into(),
        )),
        Err(error) => Err(error),
    };
    match opened {
        Ok(()) => Redirect::to(&back).into_response(),
        Err(error) => refused(&desk, &headers, &error, &back),
    }
}

pub async fn drop_winds(State(desk): Shared, headers: HeaderMap, mut parts: Multipart) -> Response {
    let mut name = String::new();
    let kept = keep_files(&desk, &mut parts, &mut name).await;
    let back = page::address(&name, Some(Station::Winds));
    let kept = match kept {
        Ok(kept) => kept,
        Err(error) => return refused(&desk, &headers, &error, &back),
    };
    let (worker, plan) = (desk.clone(), name.clone());
    let added = aside(move || take_winds(&worker, &plan, kept)).await;
    match added.and_then(|added| added) {
        Ok(()) if wants_json(&headers) => Json(json!({})).into_response(),
        Ok(()) => Redirect::to(&back).into_response(),
        Err(error) => refused(&desk, &headers, &error, &back),
    }
}

/// Writes the files that a form brings under temporary names.
async fn keep_files(
    desk: &Desk,
    parts: &mut Multipart,
    name: &mut String,
) -> Result<Vec<(String, NamedTempFile)>> {
    let broken = |cause: axum::extract::multipart::MultipartError| Error::CannotDo {
        why: format!("the files did not arrive: {}", cause.body_text()),
        remedy: "send them again".into(),
    };
    let mut kept = Vec::new();
    while let Some(mut part) = parts.next_field().await.map_err(broken)? {
        // It may stand behind the files: nothing gets its name before all has arrived.
        if part.name() == Some("name") {
            *name = part.text().await.map_err(broken)?;
            continue;
        }
        let file = part.file_name().unwrap_or_default().to_owned();
        if file.is_empty() {
            continue;
        }
        // In this folder and not the system's: a file cannot get its name across two disks.
        let root = desk.folder.root();
        let failed = |cause| Error::file(root, "write into", cause);
        let mut builder = tempfile::Builder::new();
        for_new_files(&mut builder);
        let mut written = builder.tempfile_in(root).map_err(failed)?;
        while let Some(bytes) = part.chunk().await.map_err(broken)? {
            written.write_all(&bytes).map_err(failed)?;
        }
        kept.push((file, written));
    }
    Ok(kept)
}

/// Reads files as winds, gives them their names, and puts them into the plan: all of them or none.
fn take_winds(desk: &Desk, plan: &str, kept: Vec<(String, NamedTempFile)>) -> Result<()> {
    let hints = Hints {
        columns: columns_of(desk, plan)?,
        ..Hints::default()
    };
    for (file, written) in &kept {
        // What cannot be read as winds is not kept.
        WindFiles::read(&[written.path().to_owned()], &hints, false)
            .map_err(|error| renamed(error, file))?;
    }
    let mut names = Vec::new();
    let named = kept.into_iter().try_for_each(|(file, written)| {
        names.push(name_file(desk, plan, &file, written)?);
        Ok(())
    });
    let taken = named.and_then(|()| add_winds(desk, plan, &names, false));
    if taken.is_err() {
        for path in names.iter().filter_map(|name| desk.folder.path(name).ok()) {
            // What went wrong is told, and not that this went wrong after it.
            let _ = fs::remove_file(path);
        }
    }
    taken
}

/// What a plan says of the columns of its winds. A plan that is at fault elsewhere says it all the same.
fn columns_of(desk: &Desk, plan: &str) -> Result<Columns> {
    let (text, _) = desk.text_now(plan)?;
    let written = PlanText::read(&text).zip(key("wind.columns"));
    match written.map(|(doc, key)| doc.get(key)) {
        Some(Written::Text(columns)) => columns.parse().map_err(|wrong: String| {
            let fault = Fault::new(plan, format!("\"{columns}\""), wrong);
            fault.of_key("[wind] columns").into()
        }),
        _ => Ok(Columns::default()),
    }
}

/// Gives a file its name among the winds of a plan.
fn name_file(desk: &Desk, plan: &str, file: &str, written: NamedTempFile) -> Result<String> {
    let folder = beside(plan, "winds");
    let path = desk.folder.path(&folder)?;
    fs::create_dir_all(&path).map_err(|cause| Error::file(&path, "make", cause))?;
    let (name, path) = free_name(desk, &folder, &plain_name(file))?;
    let failed = |cause| Error::file(&path, "write", cause);
    // Its name was free a moment ago: what has taken it since is not overwritten.
    written
        .persist_noclobber(&path)
        .map_err(|e| failed(e.error))?;
    Ok(name)
}

/// A fault of a file that had a temporary name, under its own.
fn renamed(error: Error, file: &str) -> Error {
    match error {
        Error::Faults(faults) => Error::Faults(
            faults
                .into_iter()
                .map(|fault| Fault {
                    // What to do instead may name it, too.
                    expected: fault.expected.replace(&fault.file, file),
                    file: file.to_owned(),
                    ..fault
                })
                .collect(),
        ),
        other => other,
    }
}

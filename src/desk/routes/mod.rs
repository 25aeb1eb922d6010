//! What is answered: which address goes where. Answers lie in the files below, `reply` below them all.

mod compare;
mod edits;
mod files;
mod home;
mod map;
mod moves;
mod plan;
mod reply;
mod results;

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_TYPE, HeaderValue};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use maud::html;
use tokio_stream::wrappers::WatchStream;
use tokio_stream::{Stream, StreamExt};

use self::reply::{Shared, sent};
use crate::desk::server::FILE_BYTES;
use crate::desk::state::Desk;
use crate::desk::{page, words};
use crate::report::palette::desk_style;

const SCRIPT: &str = include_str!("../desk.js");

const STYLE: &str = include_str!("../desk.css");

/// What is answered to forms and for pages.
pub fn forms() -> Router<Arc<Desk>> {
    Router::new()
        .route("/", get(home::home))
        .route("/desk.css", get(style))
        .route("/desk.js", get(script))
        .route("/alive", get(|| async { StatusCode::NO_CONTENT }))
        .route("/pulse", get(pulse))
        .route("/view", post(home::view))
        .route("/close", post(home::close))
        .route("/new", post(home::new))
        .route("/plan/edit", post(edits::edit))
        .route("/plan/undo", post(edits::undo))
        .route("/plan/redo", post(edits::redo))
        .route("/plan/save", post(edits::save))
        .route("/plan/take-file", post(edits::take_file))
        .route("/plan/save-as", post(edits::save_as))
        .route("/plan/row", post(edits::row))
        .route("/plan/place", post(moves::place))
        .route("/plan/point", post(moves::point))
        .route("/plan/take", post(moves::take))
        .route("/plan/text", post(edits::text))
        .route("/plan/state", get(plan::state))
        .route("/map/ground", get(map::ground))
        .route("/map/measure", get(map::measure))
        .route("/map/target", post(map::target))
        .route("/job", post(results::job))
        .route("/job/stop", post(results::stop_job))
        .route("/result", get(results::result))
        .route("/file", get(files::file))
        .route("/folder/open", post(files::open_folder))
}

/// What is worked out from winds for an answer.
pub fn slow() -> Router<Arc<Desk>> {
    Router::new()
        .route("/plan", get(plan::plan))
        .route("/live", get(plan::live_now))
        .route("/card", get(results::card))
        .route("/compare", get(compare::compare))
}

/// What is answered to who brings files.
pub fn files() -> Router<Arc<Desk>> {
    let route = Router::new().route("/winds/drop", post(files::drop_winds));
    // Without this the framework's own limit for forms, which is far lower, would come first.
    route.layer(DefaultBodyLimit::max(FILE_BYTES))
}

/// There is nothing else.
pub async fn not_found(State(desk): Shared) -> Response {
    let said = html! { p { (words::NOT_FOUND) } };
    let page = page::note(words::NOT_FOUND, desk.view(), said, Some("/"));
    (StatusCode::NOT_FOUND, sent(page)).into_response()
}

async fn style() -> Response {
    let kind = HeaderValue::from_static("text/css; charset=utf-8");
    ([(CONTENT_TYPE, kind)], desk_style() + STYLE).into_response()
}

async fn script() -> Response {
    let kind = HeaderValue::from_static("text/javascript; charset=utf-8");
    ([(CONTENT_TYPE, kind)], SCRIPT).into_response()
}

/// What happens, as it happens.
async fn pulse(
    State(desk): Shared,
) -> Sse<impl Stream<Item = std::result::Result<Event, Infallible>>> {
    // The state as it is comes first: a page that listens late misses nothing.
    let told = WatchStream::new(desk.jobs.listen()).map(|pulse| {
        let text = serde_json::to_string(&pulse).unwrap_or_default();
        Ok(Event::default().data(text))
    });
    // Also to find out that a page is gone, which else would keep the desk open.
    Sse::new(told).keep_alive(KeepAlive::new().interval(Duration::from_secs(30)))
}

//! What all answers have in common: what a form says, how a page is sent, what is refused.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use axum::Json;
use axum::extract::State;
use axum::http::header::{ACCEPT, CONTENT_SECURITY_POLICY, CONTENT_TYPE, X_FRAME_OPTIONS};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use maud::Markup;
use serde_json::json;

use crate::desk::fields::Values;
use crate::desk::state::Desk;
use crate::desk::{page, show, words};
use crate::error::{Error, Result};
use crate::report::markup;

pub type Shared = State<Arc<Desk>>;

pub type Given = BTreeMap<String, String>;

/// A page as it is sent.
pub fn sent(page: Markup) -> Html<String> {
    Html(markup::document(page))
}

/// Work that takes longer than a moment, apart from the thread that answers.
pub async fn aside<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T> {
    // It fails only where the work panicked.
    let done = tokio::task::spawn_blocking(work).await;
    done.map_err(|_| Error::CannotDo {
        why: words::BROKEN.into(),
        remedy: words::BROKEN_REMEDY.into(),
    })
}

/// Somebody who waits for an answer: gone with this, and then the work for it is to end at its next step.
#[derive(Default)]
pub struct Waits(Arc<AtomicBool>);

impl Waits {
    /// Whether nobody waits any more.
    pub fn over(&self) -> impl Fn() -> bool + Send + Sync + use<> {
        let gone = self.0.clone();
        move || gone.load(Ordering::Relaxed)
    }
}

impl Drop for Waits {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

pub fn wants_json(headers: &HeaderMap) -> bool {
    let accept = headers.get(ACCEPT).and_then(|v| v.to_str().ok());
    accept.is_some_and(|accept| accept.contains("application/json"))
}

/// What could not be done, as a page or for the script.
pub fn refused(desk: &Desk, headers: &HeaderMap, error: &Error, back: &str) -> Response {
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    match wants_json(headers) {
        true => (status, Json(json!({ "error": error.to_string() }))).into_response(),
        false => {
            let said = show::error(error);
            let page = page::note(words::REFUSED, desk.view(), said, Some(back));
            (status, sent(page)).into_response()
        }
    }
}

/// What a form is about.
pub fn of<'a>(given: &'a Given, id: &str) -> &'a str {
    given.get(id).map_or("", String::as_str)
}

/// Pairs as a form sends them; what comes several times is joined, a line each.
pub fn values(pairs: Vec<(String, String)>) -> Values {
    let mut values = Values::new();
    for (id, value) in pairs {
        let all = values.entry(id).or_default();
        // Boxes to tick come with an empty value besides, for when none is ticked: it is no line.
        if !all.is_empty() && !value.is_empty() {
            all.push('\n');
        }
        all.push_str(&value);
    }
    values
}

pub fn stale() -> Error {
    Error::CannotDo {
        why: words::STALE.into(),
        remedy: words::LOOK_AGAIN.into(),
    }
}

/// A page of its own: whatever its script does, it has nothing to do with the desk.
pub fn alone(bytes: Vec<u8>, kind: &'static str) -> Response {
    // Without `allow-same-origin` its script reaches neither the cookie nor the desk.
    let policy = "sandbox allow-scripts allow-popups; default-src 'none'; style-src 'unsafe-inline'; \
                  script-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'";
    let headers = [
        (CONTENT_TYPE, kind),
        (CONTENT_SECURITY_POLICY, policy),
        // Unlike the desk itself it is shown in a frame: on the page that made it.
        (X_FRAME_OPTIONS, "SAMEORIGIN"),
    ];
    (headers, bytes).into_response()
}

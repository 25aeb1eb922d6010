//! What every request has to pass before anything is done for it.
//!
//! The page may change files and start work, and a web page of somebody else can send requests to this
//! computer. So: the address that was asked for must be the one that is listened to (a name that was
//! pointed here is not), the key of this run must come along in the cookie, and what changes something must
//! come from our own page.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Instant;

use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, COOKIE, HOST, HeaderName, HeaderValue, LOCATION,
    ORIGIN, REFERRER_POLICY, SET_COOKIE, X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::key::DeskKey;
use super::state::Desk;
use super::words;

/// What the page may load and do: only from here, and no script but ours.
/// The icon is an empty data address, and a briefing that was made is shown in a frame.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
     connect-src 'self'; frame-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

/// Headers of every answer.
const HEADERS: [(HeaderName, &str); 7] = [
    (CONTENT_SECURITY_POLICY, POLICY),
    (CACHE_CONTROL, "no-store"),
    (X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (X_FRAME_OPTIONS, "DENY"),
    // Not "no-referrer": a form would then name no origin, and be refused.
    (REFERRER_POLICY, "same-origin"),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
];

const SEC_FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// Who is let in.
pub struct Door {
    /// The hosts that are listened to, as browsers name them.
    hosts: Vec<String>,
    /// The cookie's name: cookies know no ports, so two desks need two names.
    cookie: String,
    key: DeskKey,
}

impl Door {
    /// The door of these addresses.
    pub fn new(addresses: &[SocketAddr], key: DeskKey) -> Door {
        let port = addresses.first().map_or(0, SocketAddr::port);
        Door {
            hosts: addresses.iter().map(SocketAddr::to_string).collect(),
            cookie: format!("windfall-desk-{port}"),
            key,
        }
    }

    /// The address to open, with the key.
    pub fn address(&self) -> String {
        // The older kind of address comes first, as it is listened to in any case.
        let host = self.hosts.first().map_or("", String::as_str);
        format!("http://{host}/?key={}", self.key.text())
    }

    /// The host that is asked for, if it is one of ours.
    fn host<'a>(&self, request: &'a Request) -> Option<&'a str> {
        // None or several of these are no honest request (RFC 9112, section 3.2).
        let named: Vec<&HeaderValue> = request.headers().get_all(HOST).iter().collect();
        let [one] = named[..] else {
            return None;
        };
        let host = one.to_str().ok()?;
        // A whole address in place of a path is for proxies.
        let to_us = request.uri().authority().is_none() && self.hosts.iter().any(|h| h == host);
        to_us.then_some(host)
    }

    /// Whether the cookie holds the key.
    fn knows(&self, headers: &HeaderMap) -> bool {
        let texts = headers
            .get_all(COOKIE)
            .iter()
            .filter_map(|v| v.to_str().ok());
        texts
            .flat_map(|text| text.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .any(|(name, value)| name == self.cookie && self.key.is(value))
    }

    /// The answer to who brings the key in the address: a cookie, and the address without it.
    fn let_in(&self) -> Response {
        let cookie = format!(
            // Strict: a link on a page of somebody else brings no key along.
            "{}={}; HttpOnly; SameSite=Strict; Path=/",
            self.cookie,
            self.key.text()
        );
        // At once to an address without the key, as addresses stay in histories and on screens.
        let headers = [(SET_COOKIE, cookie), (LOCATION, "/".to_owned())];
        (StatusCode::SEE_OTHER, headers).into_response()
    }

    /// The answer to what is not let in; `None` for what is.
    fn refusal(&self, request: &Request) -> Option<Response> {
        let refused = |status: StatusCode, why: &'static str| Some((status, why).into_response());
        // Before the key: a name that was pointed here learns not even whether its key is wrong.
        let Some(host) = self.host(request) else {
            return refused(StatusCode::MISDIRECTED_REQUEST, words::WRONG_HOST);
        };
        if request.method() == Method::GET
            && request.uri().path() == "/"
            && let Some(key) = request.uri().query().and_then(|q| q.strip_prefix("key="))
        {
            return match self.key.is(key) {
                true => Some(self.let_in()),
                false => refused(StatusCode::UNAUTHORIZED, words::NO_KEY),
            };
        }
        if !self.knows(request.headers()) {
            return refused(StatusCode::UNAUTHORIZED, words::NO_KEY);
        }
        match *request.method() {
            Method::GET | Method::HEAD => None,
            Method::POST if is_ours(request.headers(), host) => None,
            Method::POST => refused(StatusCode::FORBIDDEN, words::NOT_OURS),
            _ => refused(StatusCode::METHOD_NOT_ALLOWED, words::NOT_OURS),
        }
    }
}

/// Whether the browser says that a request comes from our own page: all that it says must say so, and
/// it must say something.
fn is_ours(headers: &HeaderMap, host: &str) -> bool {
    let all = |name: HeaderName, right: &str| -> Option<bool> {
        let mut values = headers.get_all(name).iter().peekable();
        values.peek()?;
        Some(values.all(|value| value.as_bytes() == right.as_bytes()))
    };
    // One of the two is enough, as older browsers send no second one; no script can set either.
    let origin = all(ORIGIN, &format!("http://{host}"));
    let site = all(SEC_FETCH_SITE, "same-origin");
    origin.or(site).is_some() && origin.unwrap_or(true) && site.unwrap_or(true)
}

/// Lets a request in or refuses it, and puts the headers on every answer.
pub async fn pass(State(desk): State<Arc<Desk>>, request: Request, next: Next) -> Response {
    let mut answer = match desk.door.refusal(&request) {
        Some(refused) => refused,
        None => {
            // Only who is let in counts: strangers who knock do not keep the desk open.
            desk.seen(Instant::now());
            next.run(request).await
        }
    };
    for (name, value) in HEADERS {
        // What an answer says of itself counts, as that of a page in a sandbox.
        let given = answer.headers_mut().entry(name);
        given.or_insert(HeaderValue::from_static(value));
    }
    answer
}

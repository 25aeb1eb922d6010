//! How objects are asked for: with the program's own patience, certificates and bounds.

use std::collections::VecDeque;
use std::fmt;
use std::ops::Range;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use object_store::ClientOptions;
use object_store::client::{
    HttpClient, HttpConnector, HttpError, HttpErrorKind, HttpRequest, HttpResponse, HttpService,
};
use ureq::http::{Request, Response, StatusCode, header};
use zarrs::storage::Bytes;

use crate::error::Error;
use crate::files::http::{Asked, Client, Patience};

/// The most bytes of an answer for which nothing else is said: lists, and keys for a while.
const USUAL: u64 = 4 << 20;
/// The most bytes of whole objects that are kept where a server gives no parts.
const KEPT: usize = 64 << 20;

/// Bytes that came over the network so far.
static FETCHED: AtomicU64 = AtomicU64::new(0);

/// Whether some store did not answer.
static CUT_OFF: AtomicBool = AtomicBool::new(false);

/// Whether a store at an address did not answer, which may be another time.
pub fn may_answer_later() -> bool {
    CUT_OFF.load(Ordering::Relaxed)
}

/// How many bytes of stores at addresses came over the network since the program began.
pub fn bytes_fetched() -> u64 {
    FETCHED.load(Ordering::Relaxed)
}

/// The most bytes of an answer, as it goes along with a request.
#[derive(Debug, Clone, Copy)]
pub(super) struct Most(pub u64);

/// Why there is no answer, in words.
#[derive(Debug)]
pub(super) struct Told {
    pub words: String,
    /// Whether the server does not let us.
    pub is_not_allowed: bool,
}

impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.words)
    }
}

impl std::error::Error for Told {}

/// Asks for the objects of one store.
#[derive(Clone)]
pub(super) struct Transport(Arc<Asking>);

struct Asking {
    client: Client,
    redirects: u32,
    /// Whole objects by their addresses, of a server that gives no parts.
    wholes: Mutex<VecDeque<(String, Bytes)>>,
}

impl fmt::Debug for Transport {
    // A client holds no words for people.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Transport")
    }
}

impl HttpConnector for Transport {
    fn connect(&self, _: &ClientOptions) -> object_store::Result<HttpClient> {
        Ok(HttpClient::new(self.clone()))
    }
}

#[async_trait::async_trait]
impl HttpService for Transport {
    // It waits for the answer: the thread that asks has nothing else to do.
    async fn call(&self, request: HttpRequest) -> Result<HttpResponse, HttpError> {
        let answer = self.0.answer(request);
        answer.map_err(|told| HttpError::new(HttpErrorKind::Unknown, told))
    }
}

impl Transport {
    pub fn new(patience: Patience, redirects: u32) -> Transport {
        Transport(Arc::new(Asking {
            client: Client::new(patience),
            redirects,
            wholes: Mutex::default(),
        }))
    }
}

impl Asking {
    fn answer(&self, request: HttpRequest) -> Result<HttpResponse, Told> {
        let most = request.extensions().get::<Most>();
        let most = most.map_or(USUAL, |most| most.0);
        let (head, body) = request.into_parts();
        let url = head.uri.to_string();
        let range = head.headers.get(header::RANGE);
        let range = range.and_then(|range| Some(range.to_str().ok()?.to_owned()));
        if let (Some(range), Some(whole)) = (&range, self.kept(&url)) {
            return part(&whole, range, most);
        }
        let body = body.as_bytes().map(|bytes| bytes.to_vec());
        let request = Request::from_parts(head, body.unwrap_or_default());
        let answer = self.asked(request, most)?;
        match (answer.status(), range) {
            (StatusCode::OK, Some(range)) => {
                let whole = Bytes::from(answer.into_body());
                self.keep(url, whole.clone());
                part(&whole, &range, most)
            }
            _ => Ok(as_it_is(answer)),
        }
    }

    /// The answer over the network, unless the server does not let us.
    fn asked(&self, request: Request<Vec<u8>>, most: u64) -> Result<Response<Vec<u8>>, Told> {
        let answer = self.client.exchange(&Asked {
            request,
            most,
            redirects: self.redirects,
        });
        CUT_OFF.fetch_or(self.client.may_pass(), Ordering::Relaxed);
        let answer = answer.map_err(told)?;
        FETCHED.fetch_add(answer.body().len() as u64, Ordering::Relaxed);
        match answer.status() {
            StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN => Err(Told {
                words: format!("status {}", answer.status()),
                is_not_allowed: true,
            }),
            _ => Ok(answer),
        }
    }

    fn kept(&self, url: &str) -> Option<Bytes> {
        let wholes = self.wholes.lock().unwrap_or_else(PoisonError::into_inner);
        let known = wholes.iter().find(|(of, _)| of == url);
        known.map(|(_, whole)| whole.clone())
    }

    fn keep(&self, url: String, whole: Bytes) {
        let mut wholes = self.wholes.lock().unwrap_or_else(PoisonError::into_inner);
        wholes.push_back((url, whole));
        while wholes.len() > 1 && wholes.iter().map(|(_, whole)| whole.len()).sum::<usize>() > KEPT
        {
            wholes.pop_front();
        }
    }
}

/// What the client says, without the address, which is said elsewhere.
fn told(error: Error) -> Told {
    let words = match error {
        Error::Faults(faults) => {
            let each = faults
                .iter()
                .map(|f| format!("{} (expected {})", f.found, f.expected));
            each.collect::<Vec<_>>().join("; ")
        }
        other => other.to_string(),
    };
    Told {
        words,
        is_not_allowed: false,
    }
}

/// An answer, with what of its head is needed. Its length is that of what came.
fn as_it_is(answer: Response<Vec<u8>>) -> HttpResponse {
    let (mut head, body) = answer.into_parts();
    head.headers
        .insert(header::CONTENT_LENGTH, body.len().into());
    // A date in another form than the usual one would be an error, and is of no use here.
    let is_date = |text: &str| jiff::fmt::rfc2822::parse(text).is_ok();
    let date = head.headers.get(header::LAST_MODIFIED);
    if !date
        .and_then(|date| date.to_str().ok())
        .is_some_and(is_date)
    {
        head.headers.remove(header::LAST_MODIFIED);
    }
    HttpResponse::from_parts(head, body.into())
}

/// A part of a whole object, answered as by a server that gives parts.
fn part(whole: &Bytes, range: &str, most: u64) -> Result<HttpResponse, Told> {
    let failed = |words: String| Told {
        words,
        is_not_allowed: false,
    };
    let bytes = bytes_of(range, whole.len());
    let bytes = bytes.filter(|bytes| bytes.len() as u64 <= most);
    let bytes = bytes.ok_or_else(|| failed(format!("{} bytes, too few", whole.len())))?;
    let content_range = format!("bytes {}-{}/{}", bytes.start, bytes.end - 1, whole.len());
    let body = whole.slice(bytes);
    let answer = Response::builder()
        .status(StatusCode::PARTIAL_CONTENT)
        .header(header::CONTENT_LENGTH, body.len())
        .header(header::CONTENT_RANGE, content_range)
        // Stores of Google have both in every answer.
        .header(header::ETAG, "none")
        .header(header::LAST_MODIFIED, "Thu, 01 Jan 1970 00:00:00 +0000")
        .body(body.into());
    answer.map_err(|cause| failed(cause.to_string()))
}

/// The bytes that a header asks for, of so many: "bytes=2-5", "bytes=2-" or "bytes=-3".
fn bytes_of(range: &str, length: usize) -> Option<Range<usize>> {
    let (first, last) = range.strip_prefix("bytes=")?.split_once('-')?;
    let bytes = match (first, last) {
        ("", many) => length.saturating_sub(many.parse().ok()?)..length,
        (first, "") => first.parse().ok()?..length,
        (first, last) => {
            first.parse().ok()?..last.parse::<usize>().ok()?.checked_add(1)?.min(length)
        }
    };
    (bytes.start < bytes.end).then_some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_a_whole() {
        assert_eq!(bytes_of("bytes=2-5", 10), Some(2..6));
        assert_eq!(bytes_of("bytes=2-50", 10), Some(2..10));
        assert_eq!(bytes_of("bytes=2-", 10), Some(2..10));
        assert_eq!(bytes_of("bytes=-3", 10), Some(7..10));
        assert_eq!(bytes_of("bytes=-30", 10), Some(0..10));
        for wrong in [
            "bytes=10-12",
            "bytes=5-2",
            "bytes=-0",
            "lines=1-2",
            "bytes=a-b",
        ] {
            assert_eq!(bytes_of(wrong, 10), None, "{wrong}");
        }
    }
}

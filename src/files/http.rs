//! Questions to a server, asked again while there is hope.
//!
//! A trouble that may pass (a cut connection, a server that is slow or busy) is waited out, each
//! time twice as long, or as long as the server asks for; one that lasts (no such file, the wrong
//! bytes, a certificate that is not trusted) is reported at once.

use std::collections::BTreeSet;
use std::io::{self, Read};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use jiff::Timestamp;
use jiff::fmt::rfc2822;
use serde::{Deserialize, Serialize};
use ureq::http::{Request, Response, StatusCode, header};
use ureq::tls::TlsConfig;
use ureq::{Agent, Body, ResponseExt};

use super::address::{cause_shown, host, may_be_plain, place, shown};
use super::pace::Pace;
use super::trust;
use crate::error::{Error, Fault, Result};

/// A file this small may be read from its beginning where a server cannot give a part of it, bytes.
const MODEST: u64 = 64 << 20;
/// The longest inventory that is read, bytes.
const LONGEST_TEXT: u64 = 64 << 20;

/// Bytes of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ByteSpan {
    /// The first byte.
    pub start: u64,
    /// How many; at least 1.
    pub length: u64,
}

impl ByteSpan {
    /// Bytes of a file, if there can be such.
    pub fn new(start: u64, length: u64) -> Option<ByteSpan> {
        start.checked_add(length)?;
        (length > 0).then_some(ByteSpan { start, length })
    }

    /// These bytes among those of the file from `start` on, if all of them are there.
    pub fn within(self, start: u64, bytes: &[u8]) -> Option<&[u8]> {
        let at = usize::try_from(self.start.checked_sub(start)?).ok()?;
        let length = usize::try_from(self.length).ok()?;
        bytes.get(at..at.checked_add(length)?)
    }

    /// The byte after the last.
    pub fn end(self) -> u64 {
        self.start.saturating_add(self.length)
    }
}

/// How long a server is waited for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// To connect.
    pub connect: Duration,
    /// For the next bytes.
    pub read: Duration,
    /// For one whole answer.
    pub answer: Duration,
    /// How often a question is asked.
    pub tries: u32,
    /// Before the second try; doubled before each later one.
    pub pause: Duration,
    /// Longest time that a server may ask to be left alone.
    pub longest: Duration,
    /// The time in which a feed has so many requests at most.
    pub minute: Duration,
}

impl Default for Patience {
    fn default() -> Patience {
        Patience {
            connect: Duration::from_secs(15),
            read: Duration::from_secs(30),
            answer: Duration::from_secs(600),
            tries: 5,
            pause: Duration::from_secs(1),
            longest: Duration::from_secs(600),
            minute: Duration::from_secs(60),
        }
    }
}

/// Part of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// What was asked for, or less where the file ends.
    pub bytes: Vec<u8>,
    /// Length of the whole file in bytes, where the server tells it.
    pub of: Option<u64>,
}

/// Says something to the person, from any thread.
pub type Voice = Box<dyn Fn(&str) + Send + Sync>;

/// One that asks servers.
pub struct Client {
    /// Goes from https to https only.
    secure: Agent,
    plain: Agent,
    patience: Patience,
    pace: Pace,
    voice: Voice,
    redirects: Mutex<BTreeSet<String>>,
    gave_up: AtomicBool,
    may_pass: AtomicBool,
}

/// Why there is no answer.
pub(crate) enum Trouble {
    /// It may be better the next time, which is not to come before this much time has passed.
    Passing(String, Option<Duration>),
    /// It will not: what was found, what would be right.
    Lasting(String, String),
}

impl Trouble {
    /// One that may be better the next time.
    pub(crate) fn passing(found: String) -> Trouble {
        Trouble::Passing(found, None)
    }
}

pub(crate) type Tried<T> = std::result::Result<T, Trouble>;

fn agent(patience: Patience, https_only: bool, tls: &TlsConfig) -> Agent {
    let config = Agent::config_builder()
        // A status is an answer: what it means is judged here.
        .http_status_as_error(false)
        .https_only(https_only)
        .tls_config(tls.clone())
        .timeout_connect(Some(patience.connect))
        // Bytes may come slowly for long, but some have to come.
        .timeout_recv_response(Some(patience.read))
        .timeout_per_read(Some(patience.read))
        .timeout_global(Some(patience.answer))
        .user_agent(concat!("windfall/", env!("CARGO_PKG_VERSION")))
        // Places in a file are those of the file as it is.
        .accept_encoding("identity")
        .build();
    config.into()
}

impl Client {
    /// A client of such patience, which says nothing.
    pub fn new(patience: Patience) -> Client {
        let tls = TlsConfig::builder().root_certs(trust::roots()).build();
        Client {
            secure: agent(patience, true, &tls),
            plain: agent(patience, false, &tls),
            patience,
            pace: Pace::new(None, patience.minute),
            voice: Box::new(|_| {}),
            redirects: Mutex::default(),
            gave_up: AtomicBool::new(false),
            may_pass: AtomicBool::new(false),
        }
    }

    /// The same, with this many requests a minute at most.
    #[must_use]
    pub fn paced(mut self, a_minute: Option<u32>) -> Client {
        self.pace = Pace::new(a_minute, self.patience.minute);
        self
    }

    /// The same, saying why it waits and where it is sent.
    #[must_use]
    pub fn saying(mut self, voice: Voice) -> Client {
        self.voice = voice;
        self
    }

    /// The hosts that sent it to others so far, as in "a.example to b.example".
    pub fn redirects(&self) -> Vec<String> {
        let met = self
            .redirects
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        met.iter().cloned().collect()
    }

    /// Whether a question was given up because the network or the server failed.
    pub fn gave_up(&self) -> bool {
        self.gave_up.load(Ordering::Relaxed)
    }

    /// Whether a question was given up that may be answered when it is asked later.
    pub fn may_pass(&self) -> bool {
        self.may_pass.load(Ordering::Relaxed)
    }

    /// A short file as a whole; `None` if there is none.
    ///
    /// # Errors
    ///
    /// The server cannot be reached, refuses, or sends too much.
    pub fn whole(&self, url: &str) -> Result<Option<Vec<u8>>> {
        self.patiently(url, || self.ask_whole(url))
    }

    /// Part of a file; `None` if there is no such file.
    ///
    /// # Errors
    ///
    /// The server cannot be reached, refuses, or sends something else.
    pub fn piece(&self, url: &str, span: ByteSpan) -> Result<Option<Piece>> {
        self.patiently(url, || self.ask_piece(url, span))
    }

    /// A whole answer to a request with headers of its own, which goes to plain http on this machine only and
    /// follows so many redirects. It has `most` bytes at most; where the server gives a whole file for a
    /// part of it, as many as a modest file. Besides success "not there" is an answer, and "not allowed".
    ///
    /// # Errors
    ///
    /// As [`Client::whole`], naming host and path alone; an answer of more bytes.
    pub fn exchange(&self, asked: &Asked) -> Result<Response<Vec<u8>>> {
        let url = asked.request.uri().to_string();
        self.patiently(&place(&url), || self.exchange_once(asked))
    }

    fn exchange_once(&self, asked: &Asked) -> Tried<Response<Vec<u8>>> {
        let (mut request, mut left) = (asked.request.clone(), asked.redirects);
        let response = loop {
            let url = request.uri().to_string();
            let response = self.send(&url, request.clone())?;
            let Some(next) = redirected(&url, &response).filter(|_| left > 0) else {
                break response;
            };
            left -= 1;
            let elsewhere =
                || Trouble::Lasting("a redirect to nowhere".into(), "an address".into());
            if url.starts_with("https://") && !next.starts_with("https://") {
                return Err(to_plain());
            }
            *request.uri_mut() = next.parse().map_err(|_| elsewhere())?;
            // What proves who asks is for the first alone.
            request.headers_mut().remove(header::AUTHORIZATION);
        };
        let status = response.status();
        let not_allowed = [StatusCode::UNAUTHORIZED, StatusCode::FORBIDDEN].contains(&status);
        if is_missing(status) || not_allowed {
            return Ok(response.map(|_| Vec::new()));
        }
        let of_part = request.headers().contains_key(header::RANGE);
        match status {
            StatusCode::OK if of_part => whole_for_part(response),
            StatusCode::OK | StatusCode::PARTIAL_CONTENT => whole_body(response, asked.most),
            _ => Err(refused(&response)),
        }
    }

    /// Sends a request where nobody can read along; a redirect is an answer.
    fn send(&self, url: &str, request: Request<Vec<u8>>) -> Tried<Response<Body>> {
        let agent = match url.starts_with("https://") {
            true => &self.secure,
            false if may_be_plain(url) => &self.plain,
            false => {
                let expected =
                    "an address that begins with https:// (http:// on this machine only)";
                let found = format!("{} without encryption", host(url));
                return Err(Trouble::Lasting(found, expected.into()));
            }
        };
        let answer = match request.body().is_empty() {
            // Without any body: some methods must not have one, not even of no length.
            true => {
                let config = agent.configure_request(request.map(|_| ()));
                agent.run(config.max_redirects(0).build())
            }
            false => agent.run(agent.configure_request(request).max_redirects(0).build()),
        };
        answer.map_err(|cause| no_answer(without_secrets(url, &cause), &cause))
    }

    pub(crate) fn patiently<T>(&self, url: &str, ask: impl Fn() -> Tried<T>) -> Result<T> {
        let mut pause = self.patience.pause;
        let mut tried = 1;
        loop {
            // Before every try, not every question: servers count them all.
            self.pace.wait();
            let (found, expected) = match ask() {
                Ok(answer) => return Ok(answer),
                Err(Trouble::Lasting(found, expected)) => (found, expected),
                Err(Trouble::Passing(found, _)) if tried >= self.patience.tries => {
                    self.may_pass.store(true, Ordering::Relaxed);
                    let found = format!("{found}, {tried} times");
                    (found, "an answer; try again later".to_owned())
                }
                Err(Trouble::Passing(_, asked)) => {
                    self.hold(url, pause, asked);
                    pause = pause.saturating_mul(2);
                    tried += 1;
                    continue;
                }
            };
            self.gave_up.store(true, Ordering::Relaxed);
            return Err(Fault::new(shown(url), found, expected).into());
        }
    }

    /// Lets time pass before the next question: the pause, or what the server asked for.
    fn hold(&self, url: &str, pause: Duration, asked: Option<Duration>) {
        let Some(asked) = asked.filter(|asked| *asked > pause) else {
            // A pause of one's own holds up this thread alone, a server's wish all of them.
            std::thread::sleep(pause);
            return;
        };
        let longest = self.patience.longest;
        let instead = match asked > longest {
            true => format!("; {} at most are waited", in_words(longest)),
            false => String::new(),
        };
        let asked_for = in_words(asked);
        (self.voice)(&format!("{} asks to wait {asked_for}{instead}", host(url)));
        self.pace.hold(asked.min(longest));
    }

    /// Asks once. Being sent to another host is said and kept.
    pub(crate) fn get(&self, url: &str, range: Option<String>) -> Tried<Response<Body>> {
        let agent = match url.starts_with("https://") {
            true => &self.secure,
            false => &self.plain,
        };
        let mut request = agent.get(url);
        if let Some(range) = range {
            request = request.header(header::RANGE, range);
        }
        let response = request.call();
        let response = response.map_err(|cause| no_answer(cause_shown(url, &cause), &cause))?;
        // Hosts alone: the rest of an address is another for every file.
        let (from, to) = (host(url), host(&response.get_uri().to_string()));
        if from != to {
            let sent = format!("{from} to {to}");
            let mut met = self
                .redirects
                .lock()
                .unwrap_or_else(PoisonError::into_inner);
            if met.insert(sent.clone()) {
                (self.voice)(&format!("sent from {sent}"));
            }
        }
        Ok(response)
    }

    fn ask_whole(&self, url: &str) -> Tried<Option<Vec<u8>>> {
        let response = self.get(url, None)?;
        if is_missing(response.status()) {
            return Ok(None);
        }
        if response.status() != StatusCode::OK {
            return Err(refused(&response));
        }
        let bytes = read_most(response, LONGEST_TEXT).map_err(cut_short)?;
        if bytes.len() as u64 > LONGEST_TEXT {
            let found = format!("more than {LONGEST_TEXT} bytes");
            return Err(Trouble::Lasting(found, "an inventory".into()));
        }
        Ok(Some(bytes))
    }

    fn ask_piece(&self, url: &str, span: ByteSpan) -> Tried<Option<Piece>> {
        let range = format!("bytes={}-{}", span.start, span.end() - 1);
        let response = self.get(url, Some(range))?;
        match response.status() {
            StatusCode::PARTIAL_CONTENT => partial(response, span).map(Some),
            StatusCode::OK => from_whole(response, span).map(Some),
            StatusCode::RANGE_NOT_SATISFIABLE => Err(Trouble::Lasting(
                format!("no byte {}: the file is shorter", span.start),
                "the file that its inventory describes".into(),
            )),
            status if is_missing(status) => Ok(None),
            _ => Err(refused(&response)),
        }
    }
}

/// What went wrong, without parameters of an address: of these, too, some are keys.
fn without_secrets(url: &str, cause: &ureq::Error) -> String {
    match cause {
        // They name an address, maybe that of a redirect.
        ureq::Error::BadUri(_) | ureq::Error::Http(_) => "an address that cannot be asked".into(),
        other => other.to_string().replace(url, &place(url)),
    }
}

/// A request of which the answer is wanted whole.
pub struct Asked {
    /// Method, address, headers and body.
    pub request: Request<Vec<u8>>,
    /// The most bytes of an answer.
    pub most: u64,
    /// How many redirects are followed.
    pub redirects: u32,
}

/// Where an answer sends who asks.
fn redirected(url: &str, response: &Response<Body>) -> Option<String> {
    let to = text_header(response, header::LOCATION);
    if !response.status().is_redirection() || to.is_empty() {
        return None;
    }
    let (scheme, rest) = url.split_once("://")?;
    let authority = rest.split(['/', '?']).next()?;
    Some(match to {
        to if to.contains("://") => to,
        to if to.starts_with("//") => format!("{scheme}:{to}"),
        to if to.starts_with('/') => format!("{scheme}://{authority}{to}"),
        to => {
            let path = rest.split('?').next()?;
            let folder = path.rsplit_once('/').map_or(path, |(folder, _)| folder);
            format!("{scheme}://{folder}/{to}")
        }
    })
}

fn to_plain() -> Trouble {
    Trouble::Lasting(
        "a redirect from https to http".into(),
        "an address that stays encrypted".into(),
    )
}

/// A whole file for a part of it, if it is modest.
fn whole_for_part(response: Response<Body>) -> Tried<Response<Vec<u8>>> {
    match response.body().content_length() {
        Some(of) if of > MODEST => Err(no_parts(Some(of))),
        _ => whole_body(response, MODEST),
    }
}

/// An answer with all its bytes. It is looked at how many it says to have before they are read.
fn whole_body(response: Response<Body>, most: u64) -> Tried<Response<Vec<u8>>> {
    let says = response.body().content_length();
    let too_many = |bytes: u64| {
        Trouble::Lasting(
            format!("{bytes} bytes or more"),
            format!("{most} bytes at most"),
        )
    };
    if let Some(says) = says.filter(|says| *says > most) {
        return Err(too_many(says));
    }
    let (head, body) = response.into_parts();
    let bytes = read_most(Response::new(body), most).map_err(cut_short)?;
    match (bytes.len() as u64, says) {
        (got, _) if got > most => Err(too_many(got)),
        (got, Some(says)) if got != says => {
            Err(Trouble::passing(format!("only {got} of {says} bytes")))
        }
        _ => Ok(Response::from_parts(head, bytes)),
    }
}

/// A time for people.
fn in_words(time: Duration) -> String {
    match time.as_secs() {
        seconds @ 0..120 => format!("{seconds} s"),
        seconds => format!("{} min", seconds.div_ceil(60)),
    }
}

/// The bytes of an answer, and one more at most than `most`.
pub(crate) fn read_most(response: Response<Body>, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let reader = response.into_body().into_reader();
    reader.take(most + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Not there, or no longer.
pub(crate) fn is_missing(status: StatusCode) -> bool {
    matches!(status, StatusCode::NOT_FOUND | StatusCode::GONE)
}

fn refused(response: &Response<Body>) -> Trouble {
    let wait = text_header(response, header::RETRY_AFTER);
    // A store of Amazon says so when it is asked in the wrong place.
    let region = text_header(
        response,
        header::HeaderName::from_static("x-amz-bucket-region"),
    );
    let text = match region.as_str() {
        "" => String::new(),
        region => format!("AWS_REGION is to be {region}"),
    };
    refusal(response.status(), &wait, &text)
}

/// A status that is no answer, with what the server says besides: how long to wait, and why.
pub(crate) fn refusal(status: StatusCode, retry_after: &str, text: &str) -> Trouble {
    let says = match text {
        "" => String::new(),
        text => format!(": \"{text}\""),
    };
    let found = format!("status {status}{says}");
    let busy = [
        StatusCode::REQUEST_TIMEOUT,
        StatusCode::TOO_EARLY,
        StatusCode::TOO_MANY_REQUESTS,
    ];
    if status.is_server_error() || busy.contains(&status) {
        Trouble::Passing(found, wait_for(retry_after, Timestamp::now()))
    } else {
        Trouble::Lasting(found, "status 200 or 206".into())
    }
}

/// The time a Retry-After asks for: seconds, or a date.
fn wait_for(retry_after: &str, now: Timestamp) -> Option<Duration> {
    let text = retry_after.trim();
    if let Ok(seconds) = text.parse() {
        return Some(Duration::from_secs(seconds));
    }
    let until = rfc2822::parse(text).ok()?.timestamp();
    let seconds = until.as_second().checked_sub(now.as_second())?;
    u64::try_from(seconds).ok().map(Duration::from_secs)
}

fn no_answer(words: String, cause: &ureq::Error) -> Trouble {
    match cause {
        ureq::Error::RequireHttpsOnly(_) => to_plain(),
        ureq::Error::BadUri(_)
        | ureq::Error::Http(_)
        | ureq::Error::TooManyRedirects
        | ureq::Error::LargeResponseHeader(..) => {
            Trouble::Lasting(words, "a URL that leads to a file".into())
        }
        _ if trust::is_distrust(cause) => Trouble::Lasting(
            format!("a certificate that is not trusted ({words})"),
            "one that this computer trusts; in a school or office network its own root certificate \
             has to be among the system's (or in the file that SSL_CERT_FILE names), and the clock \
             has to be right"
                .into(),
        ),
        _ => Trouble::passing(format!("no answer ({words})")),
    }
}

pub(crate) fn cut_short(cause: io::Error) -> Trouble {
    Trouble::passing(format!("an answer that broke off ({cause})"))
}

/// The answer of a server that gives parts: exactly the bytes it says.
fn partial(response: Response<Body>, asked: ByteSpan) -> Tried<Piece> {
    let told = text_header(&response, header::CONTENT_RANGE);
    let (given, of) = content_range(&told)
        .filter(|(given, of)| answers(*given, *of, asked))
        .ok_or_else(|| {
            let found = format!("Content-Range \"{told}\"");
            let expected = format!("bytes {}-{}", asked.start, asked.end() - 1);
            Trouble::Lasting(found, expected)
        })?;
    let mut bytes = Vec::new();
    let reader = response.into_body().into_reader();
    // One byte more tells a server that sends more than it said.
    let read = reader.take(given.length + 1).read_to_end(&mut bytes);
    read.map_err(cut_short)?;
    exactly(bytes, given.length).map(|bytes| Piece { bytes, of })
}

/// Whether a part is what was asked for: all of it, or less where the file ends.
fn answers(given: ByteSpan, of: Option<u64>, asked: ByteSpan) -> bool {
    given.start == asked.start
        && given.length <= asked.length
        && (given.length == asked.length || of == Some(given.end()))
        && of.is_none_or(|of| given.end() <= of)
}

/// The answer of a server that gives no parts: the file from its beginning, if it is modest.
fn from_whole(response: Response<Body>, asked: ByteSpan) -> Tried<Piece> {
    let kind = text_header(&response, header::CONTENT_TYPE);
    // Networks that want a login answer anything with a page and status 200.
    if kind.starts_with("text/html") {
        let found = format!("a web page ({kind})");
        return Err(Trouble::Lasting(found, "a GRIB file".into()));
    }
    let of = response.body().content_length();
    // Of an unknown length it may be modest, as an answer in chunks is.
    if of.is_some_and(|of| of > MODEST) || asked.end() > MODEST {
        return Err(no_parts(of));
    }
    let mut reader = response.into_body().into_reader();
    let skipped = io::copy(&mut reader.by_ref().take(asked.start), &mut io::sink());
    skipped.map_err(cut_short)?;
    let length = asked
        .end()
        .min(of.unwrap_or(MODEST))
        .saturating_sub(asked.start);
    let mut bytes = Vec::new();
    let read = reader.take(length).read_to_end(&mut bytes);
    read.map_err(cut_short)?;
    exactly(bytes, length).map(|bytes| Piece { bytes, of })
}

fn no_parts(of: Option<u64>) -> Trouble {
    let size = of.map_or("of unknown length".to_owned(), |of| {
        format!("of {of} bytes")
    });
    Trouble::Lasting(
        format!("a server that gives no parts of files, and a file {size}"),
        format!("a server that answers range requests, or a file of {MODEST} bytes at most"),
    )
}

fn exactly(bytes: Vec<u8>, length: u64) -> Tried<Vec<u8>> {
    match bytes.len() as u64 {
        got if got == length => Ok(bytes),
        got if got < length => Err(Trouble::passing(format!("only {got} of {length} bytes"))),
        _ => Err(Trouble::Lasting(
            format!("more than {length} bytes"),
            "as many as the answer's Content-Range says".into(),
        )),
    }
}

pub(crate) fn text_header(response: &Response<Body>, name: header::HeaderName) -> String {
    let value = response.headers().get(name).and_then(|v| v.to_str().ok());
    value.unwrap_or("").to_owned()
}

/// Takes "bytes 0-99/1234" or "bytes 0-99/*" apart.
fn content_range(text: &str) -> Option<(ByteSpan, Option<u64>)> {
    let (range, of) = text.strip_prefix("bytes ")?.split_once('/')?;
    let (first, last) = range.split_once('-')?;
    let (first, last): (u64, u64) = (first.parse().ok()?, last.parse().ok()?);
    let length = last.checked_sub(first)?.checked_add(1)?;
    let of = match of {
        "*" => None,
        of => Some(of.parse().ok()?),
    };
    Some((ByteSpan::new(first, length)?, of))
}

/// The fault of a file that was there a moment ago.
pub(crate) fn vanished(url: &str) -> Error {
    let expected = "the file that its inventory describes";
    Fault::new(shown(url), "no such file any more", expected).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn content_ranges() {
        let span = ByteSpan {
            start: 5,
            length: 10,
        };
        assert_eq!(content_range("bytes 5-14/100"), Some((span, Some(100))));
        assert_eq!(content_range("bytes 5-14/*"), Some((span, None)));
        for wrong in [
            "",
            "bytes */100",
            "bytes 14-5/100",
            "bytes 0-18446744073709551615/1",
            "bytes 5-14",
        ] {
            assert_eq!(content_range(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn redirects_are_from_where_one_is() {
        let from = "https://a.b:1/c/d?e=/f";
        for (to, right) in [
            ("http://x/y", "http://x/y"),
            ("//x/y", "https://x/y"),
            ("/y", "https://a.b:1/y"),
            ("y", "https://a.b:1/c/y"),
        ] {
            let response = Response::builder().status(307).header("location", to);
            let response = response.body(Body::builder().data("")).unwrap();
            assert_eq!(redirected(from, &response).as_deref(), Some(right));
        }
        let none = Response::builder()
            .status(301)
            .body(Body::builder().data(""));
        assert_eq!(redirected(from, &none.unwrap()), None);
    }

    #[test]
    fn a_server_says_when_to_come_again() {
        let now: Timestamp = "2015-10-21T07:27:00Z".parse().unwrap();
        let seconds = |text: &str| wait_for(text, now).map(|d| d.as_secs());
        assert_eq!(seconds("120"), Some(120));
        // The example of RFC 9110, 10.2.3 and 5.6.7.
        assert_eq!(seconds("Wed, 21 Oct 2015 07:28:00 GMT"), Some(60));
        for none in ["", "soon", "-5", "Wed, 21 Oct 2015 07:26:00 GMT"] {
            assert_eq!(seconds(none), None, "{none}");
        }
    }

    #[test]
    fn a_shorter_part_is_right_only_where_the_file_ends() {
        let asked = ByteSpan {
            start: 5,
            length: 10,
        };
        let shorter = ByteSpan {
            start: 5,
            length: 3,
        };
        assert!(answers(asked, Some(100), asked) && answers(asked, None, asked));
        assert!(answers(shorter, Some(8), asked));
        assert!(!answers(shorter, Some(100), asked) && !answers(shorter, None, asked));
        assert!(!answers(
            ByteSpan {
                start: 6,
                length: 10
            },
            Some(100),
            asked
        ));
        assert!(!answers(asked, Some(12), asked));
    }
}

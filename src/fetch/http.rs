//! Questions to a server, asked again while there is hope.
//!
//! A trouble that may pass (a cut connection, a server that is slow or busy) is waited out, each
//! time twice as long; one that lasts (no such file, the wrong bytes) is reported at once.

use std::io::{self, Read};
use std::thread;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use ureq::http::{Response, StatusCode, header};
use ureq::{Agent, Body};

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

    /// The byte after the last.
    pub fn end(self) -> u64 {
        self.start + self.length
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
}

impl Default for Patience {
    fn default() -> Patience {
        Patience {
            connect: Duration::from_secs(15),
            read: Duration::from_secs(30),
            answer: Duration::from_secs(600),
            tries: 5,
            pause: Duration::from_secs(1),
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

/// One that asks servers.
#[derive(Debug)]
pub struct Client {
    agent: Agent,
    patience: Patience,
}

/// Why there is no answer.
enum Trouble {
    /// It may be better the next time.
    Passing(String),
    /// It will not: what was found, what would be right.
    Lasting(String, String),
}

type Tried<T> = std::result::Result<T, Trouble>;

impl Client {
    /// A client of such patience.
    pub fn new(patience: Patience) -> Client {
        let config = Agent::config_builder()
            .http_status_as_error(false)
            .timeout_connect(Some(patience.connect))
            .timeout_recv_response(Some(patience.read))
            .timeout_per_read(Some(patience.read))
            .timeout_global(Some(patience.answer))
            .user_agent(concat!("windfall/", env!("CARGO_PKG_VERSION")))
            // Places in a file are those of the file as it is.
            .accept_encoding("identity")
            .build();
        Client {
            agent: config.into(),
            patience,
        }
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

    fn patiently<T>(&self, url: &str, ask: impl Fn() -> Tried<T>) -> Result<T> {
        let mut pause = self.patience.pause;
        let mut tried = 1;
        loop {
            match ask() {
                Ok(answer) => return Ok(answer),
                Err(Trouble::Lasting(found, expected)) => {
                    return Err(Fault::new(url, found, expected).into());
                }
                Err(Trouble::Passing(found)) if tried >= self.patience.tries => {
                    let found = format!("{found}, {tried} times");
                    return Err(Fault::new(url, found, "an answer; try again later").into());
                }
                Err(Trouble::Passing(_)) => {
                    thread::sleep(pause);
                    pause = pause.saturating_mul(2);
                    tried += 1;
                }
            }
        }
    }

    fn ask_whole(&self, url: &str) -> Tried<Option<Vec<u8>>> {
        let response = self.agent.get(url).call().map_err(no_answer)?;
        if is_missing(response.status()) {
            return Ok(None);
        }
        if response.status() != StatusCode::OK {
            return Err(refusal(response.status()));
        }
        let mut bytes = Vec::new();
        let reader = response.into_body().into_reader();
        let read = reader.take(LONGEST_TEXT + 1).read_to_end(&mut bytes);
        read.map_err(cut_short)?;
        if bytes.len() as u64 > LONGEST_TEXT {
            let found = format!("more than {LONGEST_TEXT} bytes");
            return Err(Trouble::Lasting(found, "an inventory".into()));
        }
        Ok(Some(bytes))
    }

    fn ask_piece(&self, url: &str, span: ByteSpan) -> Tried<Option<Piece>> {
        let range = format!("bytes={}-{}", span.start, span.end() - 1);
        let request = self.agent.get(url).header(header::RANGE, range);
        let response = request.call().map_err(no_answer)?;
        match response.status() {
            StatusCode::PARTIAL_CONTENT => partial(response, span).map(Some),
            StatusCode::OK => from_whole(response, span).map(Some),
            StatusCode::RANGE_NOT_SATISFIABLE => Err(Trouble::Lasting(
                format!("no byte {}: the file is shorter", span.start),
                "the file that its inventory describes".into(),
            )),
            status if is_missing(status) => Ok(None),
            status => Err(refusal(status)),
        }
    }
}

/// Not there, or no longer.
fn is_missing(status: StatusCode) -> bool {
    matches!(status, StatusCode::NOT_FOUND | StatusCode::GONE)
}

fn refusal(status: StatusCode) -> Trouble {
    let found = format!("status {status}");
    let busy = [
        StatusCode::REQUEST_TIMEOUT,
        StatusCode::TOO_EARLY,
        StatusCode::TOO_MANY_REQUESTS,
    ];
    if status.is_server_error() || busy.contains(&status) {
        Trouble::Passing(found)
    } else {
        Trouble::Lasting(found, "status 200 or 206".into())
    }
}

fn no_answer(cause: ureq::Error) -> Trouble {
    match cause {
        ureq::Error::BadUri(_)
        | ureq::Error::Http(_)
        | ureq::Error::TooManyRedirects
        | ureq::Error::LargeResponseHeader(..) => {
            Trouble::Lasting(cause.to_string(), "a URL that leads to a file".into())
        }
        _ => Trouble::Passing(format!("no answer ({cause})")),
    }
}

fn cut_short(cause: io::Error) -> Trouble {
    Trouble::Passing(format!("an answer that broke off ({cause})"))
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
    if kind.starts_with("text/html") {
        let found = format!("a web page ({kind})");
        return Err(Trouble::Lasting(found, "a GRIB file".into()));
    }
    let of = response.body().content_length();
    if of.is_none_or(|of| of > MODEST) {
        let size = of.map_or("of unknown length".to_owned(), |of| {
            format!("of {of} bytes")
        });
        return Err(Trouble::Lasting(
            format!("a server that gives no parts of files, and a file {size}"),
            format!("a server that answers range requests, or a file of {MODEST} bytes at most"),
        ));
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

fn exactly(bytes: Vec<u8>, length: u64) -> Tried<Vec<u8>> {
    match bytes.len() as u64 {
        got if got == length => Ok(bytes),
        got if got < length => Err(Trouble::Passing(format!("only {got} of {length} bytes"))),
        _ => Err(Trouble::Lasting(
            format!("more than {length} bytes"),
            "as many as the answer's Content-Range says".into(),
        )),
    }
}

fn text_header(response: &Response<Body>, name: header::HeaderName) -> String {
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
pub(super) fn vanished(url: &str) -> Error {
    let expected = "the file that its inventory describes";
    Fault::new(url, "no such file any more", expected).into()
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

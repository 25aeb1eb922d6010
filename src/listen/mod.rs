//! Where reports come from: a file or the standard input, also one that grows, a TCP server, an APRS server,
//! a page that is asked again and again, a serial device, and where it is built with them the topics of an MQTT
//! broker. Each is listened to on a thread of its own.
//!
//! Nothing is ever sent but what a server must be asked: the login of an APRS server, which only receives, and
//! requests for pages.

// Numbers and lengths from outside are another kind until they were found to be ours.
#![cfg_attr(
    not(test),
    deny(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_sign_loss,
        clippy::indexing_slicing,
        clippy::string_slice
    )
)]

mod file;
pub mod listening;
#[cfg(feature = "mqtt")]
pub mod mqtt;
mod page;
mod serial;
pub mod source;
mod stream;

use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

pub use self::source::ReportSource;
use crate::error::Result;

/// Something from a source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// Bytes as they came.
    Bytes(Vec<u8>),
    /// A whole document.
    Whole(Vec<u8>),
    /// The connection was cut or the file begun anew: what is unfinished stays so.
    Cut,
    /// Something for the crew to know.
    Said(Said),
    /// There is no more.
    End,
}

impl Event {
    /// The first bytes of a buffer, so many as were read into it.
    fn read(buffer: &[u8], count: usize) -> Event {
        Event::Bytes(buffer.get(..count).unwrap_or(buffer).to_vec())
    }
}

/// What happens to a source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// The connection stands.
    Connected(String),
    /// It does not, and why; the next try is after so long.
    Lost(String, Duration),
    /// It could not be read to its end, and why; there is no other try.
    Ended(String),
    /// Nothing came for so long: connected anew.
    Silent(Duration),
    /// A file is begun anew.
    BegunAnew(String),
}

/// How long is waited.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Waiting {
    /// To connect.
    pub connect: Duration,
    /// Before the second try; doubled before each later one, up to `longest`.
    pub pause: Duration,
    /// The longest pause.
    pub longest: Duration,
    /// Without a byte, before a connection is taken for dead.
    pub silent: Duration,
    /// Between two looks at a file that grows.
    pub look: Duration,
    /// Between two requests for a page.
    pub ask: Duration,
}

impl Default for Waiting {
    fn default() -> Waiting {
        Waiting {
            connect: Duration::from_secs(15),
            pause: Duration::from_secs(1),
            longest: Duration::from_secs(60),
            silent: Duration::from_secs(180),
            look: Duration::from_secs(1),
            ask: Duration::from_secs(30),
        }
    }
}

/// Events that wait to be taken; a source that is faster waits itself.
const ROOM: usize = 256;

/// Listens to a source; with `grows` a file or the standard input is waited at its end for more.
///
/// # Errors
///
/// When a file cannot be opened.
pub fn listen(source: &ReportSource, grows: bool, waiting: Waiting) -> Result<Receiver<Event>> {
    let (to, from) = sync_channel(ROOM);
    match source {
        ReportSource::StandardInput => spawn(move || file::standard_input(&to)),
        ReportSource::File(path) => {
            let file = file::Growing::open(path)?;
            spawn(move || file.read(grows, waiting, &to));
        }
        ReportSource::Tcp(server) => {
            let server = server.clone();
            spawn(move || stream::listen(&server, None, waiting, &to));
        }
        ReportSource::Aprs { server, login } => {
            let (server, login) = (server.clone(), login.clone());
            spawn(move || stream::listen(&server, Some(&login), waiting, &to));
        }
        ReportSource::Serial { device, baud } => {
            let (device, baud) = (device.clone(), *baud);
            spawn(move || serial::listen(&device, baud, waiting, &to));
        }
        #[cfg(feature = "mqtt")]
        ReportSource::Mqtt(topic) => {
            let topic = topic.clone();
            spawn(move || mqtt::listen(&topic, waiting, &to));
        }
        ReportSource::Page(url) => {
            let url = url.clone();
            spawn(move || page::ask(&url, waiting, &to));
        }
    }
    Ok(from)
}

fn spawn(run: impl FnOnce() + Send + 'static) {
    // Nobody waits for it: it ends by itself when nobody takes its events any more.
    thread::spawn(run);
}

/// Whether nobody takes events any more.
fn gone(to: &SyncSender<Event>, event: Event) -> bool {
    to.send(event).is_err()
}

/// Waits before another try, each time twice as long.
struct Backoff {
    waiting: Waiting,
    pause: Duration,
}

impl Backoff {
    fn new(waiting: Waiting) -> Backoff {
        Backoff {
            pause: waiting.pause,
            waiting,
        }
    }

    fn worked(&mut self) {
        self.pause = self.waiting.pause;
    }

    /// Told of a connection that has something to say: it worked if it has stood for as long as the longest pause.
    /// One that is cut off after its greeting, again and again, would be made every second for ever.
    fn lasted(&mut self, since: Instant) {
        if since.elapsed() >= self.waiting.longest {
            self.worked();
        }
    }

    /// Tells why and waits; false where nobody listens any more.
    fn wait(&mut self, why: String, to: &SyncSender<Event>) -> bool {
        let pause = self.pause;
        self.pause = (2 * pause).min(self.waiting.longest);
        if gone(to, Event::Said(Said::Lost(why, pause))) {
            return false;
        }
        thread::sleep(pause);
        true
    }
}

//! A TCP server, connected to again and again.

use std::io::{ErrorKind, Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::sync::mpsc::SyncSender;
use std::time::{Duration, Instant};

use super::{Backoff, Event, Said, Waiting, gone};

/// How often a connection is looked at, at least.
const LOOK: Duration = Duration::from_secs(1);

/// Listens until nobody takes events any more.
pub fn listen(server: &str, login: Option<&str>, waiting: Waiting, to: &SyncSender<Event>) {
    let mut backoff = Backoff::new(waiting);
    loop {
        let why = match connect(server, login, waiting) {
            Ok(stream) => {
                if gone(to, Event::Said(Said::Connected(server.to_owned()))) {
                    return;
                }
                match receive(stream, waiting, to, &mut backoff) {
                    Ended::NobodyListens => return,
                    Ended::Silent => {
                        if gone(to, Event::Cut)
                            || gone(to, Event::Said(Said::Silent(waiting.silent)))
                        {
                            return;
                        }
                        // At once: the server can be reached, it only had nothing to say.
                        continue;
                    }
                    Ended::Lost(why) => why,
                }
            }
            Err(cause) => format!("{server}: {cause}"),
        };
        if gone(to, Event::Cut) || !backoff.wait(why, to) {
            return;
        }
    }
}

fn connect(server: &str, login: Option<&str>, waiting: Waiting) -> std::io::Result<TcpStream> {
    let mut failed = std::io::Error::from(ErrorKind::AddrNotAvailable);
    // Looked up for each try, and all of them tried: a name may move, or have one that is silent.
    for address in server.to_socket_addrs()? {
        match TcpStream::connect_timeout(&address, waiting.connect) {
            Ok(mut stream) => {
                stream.set_nodelay(true)?;
                // No longer than the silence that is waited for, or its end would be noticed late.
                stream.set_read_timeout(Some(LOOK.min(waiting.silent)))?;
                stream.set_write_timeout(Some(waiting.connect))?;
                if let Some(login) = login {
                    stream.write_all(login.as_bytes())?;
                }
                return Ok(stream);
            }
            Err(cause) => failed = cause,
        }
    }
    Err(failed)
}

enum Ended {
    NobodyListens,
    Silent,
    Lost(String),
}

fn receive(
    mut stream: TcpStream,
    waiting: Waiting,
    to: &SyncSender<Event>,
    backoff: &mut Backoff,
) -> Ended {
    let mut buffer = vec![0; 1 << 16];
    let begun = Instant::now();
    let mut heard = begun;
    loop {
        match stream.read(&mut buffer) {
            Ok(0) => return Ended::Lost("the server has closed the connection".into()),
            Ok(count) => {
                heard = Instant::now();
                backoff.lasted(begun);
                if gone(to, Event::read(&buffer, count)) {
                    return Ended::NobodyListens;
                }
            }
            Err(cause) if matches!(cause.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {
                if heard.elapsed() >= waiting.silent {
                    return Ended::Silent;
                }
                if gone(to, Event::Bytes(Vec::new())) {
                    return Ended::NobodyListens;
                }
            }
            Err(cause) if cause.kind() == ErrorKind::Interrupted => {}
            Err(cause) => return Ended::Lost(cause.to_string()),
        }
    }
}

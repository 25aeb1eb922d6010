//! A small web server on this machine, which can be told to misbehave.

use std::collections::HashMap;
use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// A request as it came in.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Request {
    pub method: String,
    pub path: String,
    /// First and last byte asked for.
    pub range: Option<(usize, usize)>,
    /// What proves who asks.
    pub authorization: Option<String>,
}

/// What to do with a request.
pub enum Answer {
    /// As a good server does.
    Well,
    /// With this status and text.
    Status(u16, &'static str),
    /// These bytes as they are, headers too; then the connection is closed.
    Raw(Vec<u8>),
    /// Nothing for so long; then as a good server does.
    After(Duration),
    /// The whole file, whatever part was asked for.
    Whole,
}

type Manners = dyn Fn(&Request, usize) -> Answer + Send + Sync;

/// Files at their paths.
pub type Files = HashMap<String, Vec<u8>>;

pub struct Server {
    address: SocketAddr,
    seen: Arc<Mutex<Vec<Request>>>,
    stopped: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Server {
    pub fn good(files: Files) -> Server {
        Server::start(files, |_, _| Answer::Well)
    }

    /// A server with such manners: they are asked for each request, and told how many such there
    /// were before.
    pub fn start(
        files: Files,
        manners: impl Fn(&Request, usize) -> Answer + Send + Sync + 'static,
    ) -> Server {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let seen = Arc::new(Mutex::new(Vec::new()));
        let stopped = Arc::new(AtomicBool::new(false));
        let shared = Arc::new((files, Box::new(manners) as Box<Manners>));
        let (log, stop) = (seen.clone(), stopped.clone());
        let thread = thread::spawn(move || {
            for stream in listener.incoming() {
                if stop.load(Ordering::SeqCst) {
                    break;
                }
                let (shared, log) = (shared.clone(), log.clone());
                // A client that goes away is no failure of the server.
                thread::spawn(move || stream.and_then(|s| serve(&s, &shared.0, &*shared.1, &log)));
            }
        });
        Server {
            address,
            seen,
            stopped,
            thread: Some(thread),
        }
    }

    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// The requests so far.
    pub fn seen(&self) -> Vec<Request> {
        self.seen.lock().unwrap().clone()
    }

    /// The requests for data so far, those with a range.
    pub fn ranges(&self) -> Vec<Request> {
        let mut seen = self.seen();
        seen.retain(|r| r.range.is_some());
        seen
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.stopped.store(true, Ordering::SeqCst);
        let _ = TcpStream::connect(self.address);
        let _ = self.thread.take().unwrap().join();
    }
}

fn serve(
    stream: &TcpStream,
    files: &Files,
    manners: &Manners,
    log: &Mutex<Vec<Request>>,
) -> std::io::Result<()> {
    stream.set_read_timeout(Some(Duration::from_secs(10)))?;
    let Some(request) = read_request(stream, files)? else {
        return Ok(());
    };
    let before = {
        let mut log = log.lock().unwrap();
        let before = log.iter().filter(|r| **r == request).count();
        log.push(request.clone());
        before
    };
    let file = files.get(&request.path);
    let bytes = match manners(&request, before) {
        Answer::Well => well(&request, file),
        Answer::Status(status, text) => response(status, &[], text.as_bytes()),
        Answer::Raw(bytes) => bytes,
        Answer::After(time) => {
            thread::sleep(time);
            well(&request, file)
        }
        Answer::Whole => well(
            &Request {
                range: None,
                ..request
            },
            file,
        ),
    };
    let mut stream = stream;
    stream.write_all(&bytes)
}

fn read_request(stream: &TcpStream, files: &Files) -> std::io::Result<Option<Request>> {
    let mut lines = BufReader::new(stream).lines();
    let Some(first) = lines.next().transpose()? else {
        return Ok(None);
    };
    let mut words = first.split(' ').map(str::to_owned);
    let mut request = Request {
        method: words.next().unwrap_or_default(),
        path: words.next().unwrap_or_default(),
        range: None,
        authorization: None,
    };
    for line in lines {
        let line = line?;
        if line.is_empty() {
            break;
        }
        if let Some((name, value)) = line.split_once(": ")
            && name.eq_ignore_ascii_case("authorization")
        {
            request.authorization = Some(value.to_owned());
        }
        if let Some(range) = line.to_ascii_lowercase().strip_prefix("range: bytes=") {
            let (first, last) = range.split_once('-').unwrap();
            let last: usize = last.parse().unwrap();
            request.range = Some(match (first, files.get(&request.path)) {
                // So many at the end.
                ("", file) => {
                    let length = file.map_or(last, Vec::len);
                    (length - last.min(length), length - 1)
                }
                (first, _) => (first.parse().unwrap(), last),
            });
        }
    }
    Ok(Some(request))
}

fn well(request: &Request, file: Option<&Vec<u8>>) -> Vec<u8> {
    let Some(file) = file else {
        return response(404, &[], b"no such file");
    };
    let mut bytes = match request.range {
        None => response(200, &[], file),
        Some((first, _)) if first >= file.len() => response(
            416,
            &[("Content-Range", format!("bytes */{}", file.len()))],
            b"",
        ),
        Some((first, last)) => {
            let last = last.min(file.len() - 1);
            part(
                file,
                first,
                last,
                &format!("bytes {first}-{last}/{}", file.len()),
            )
        }
    };
    if request.method == "HEAD" {
        let end = bytes.windows(4).position(|w| w == b"\r\n\r\n").unwrap();
        bytes.truncate(end + 4);
    }
    bytes
}

/// An answer with part of a file, and what it says of itself.
pub fn part(file: &[u8], first: usize, last: usize, content_range: &str) -> Vec<u8> {
    let headers = [("Content-Range", content_range.to_owned())];
    response(206, &headers, &file[first..=last])
}

pub fn response(status: u16, headers: &[(&str, String)], body: &[u8]) -> Vec<u8> {
    let mut head = format!("HTTP/1.1 {status} Whatever\r\nConnection: close\r\n");
    head += &format!("Content-Length: {}\r\n", body.len());
    for (name, value) in headers {
        head += &format!("{name}: {value}\r\n");
    }
    [head.as_bytes(), b"\r\n", body].concat()
}

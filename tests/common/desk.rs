//! A desk that runs, and a client that says exactly what it is told to.

#![allow(dead_code, reason = "each test uses some of it")]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

pub struct Desk {
    child: Child,
    /// As in "127.0.0.1:40123".
    pub host: String,
    pub key: String,
    /// What the cookie is: name and value.
    pub cookie: String,
}

/// The files of a sample: its plan and its sounding.
const SAMPLE: [&str; 2] = ["plan.toml", "riverton-2026-02-05.csv"];

/// A folder with the sample and its sounding, and a desk over it.
pub fn over_the_sample() -> (tempfile::TempDir, Desk) {
    let folder = tempfile::tempdir().unwrap();
    for file in SAMPLE {
        let from = Path::new("samples/high-plains").join(file);
        std::fs::copy(from, folder.path().join(file)).unwrap();
    }
    let desk = Desk::open(folder.path(), &[]);
    (folder, desk)
}

impl Desk {
    /// Over a folder, with more arguments.
    pub fn open(folder: &Path, more: &[&str]) -> Desk {
        Desk::open_with(folder, more, &[])
    }

    /// The same, with some of its environment.
    pub fn open_with(folder: &Path, more: &[&str], environment: &[(&str, &str)]) -> Desk {
        let mut child = Command::new(env!("CARGO_BIN_EXE_windfall"))
            .envs(environment.iter().copied())
            .arg("desk")
            .arg(folder)
            .arg("--no-browser")
            .args(more)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        let mut out = BufReader::new(child.stdout.take().unwrap());
        out.read_line(&mut line).unwrap();
        let address = line.trim().rsplit_once(' ').unwrap().1;
        let rest = address.strip_prefix("http://").unwrap();
        let (host, key) = rest.split_once("/?key=").unwrap();
        let port = host.rsplit_once(':').unwrap().1;
        Desk {
            child,
            host: host.to_owned(),
            key: key.to_owned(),
            cookie: format!("windfall-desk-{port}={key}"),
        }
    }

    /// The address to open in a browser.
    pub fn address(&self) -> String {
        format!("http://{}/?key={}", self.host, self.key)
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Kills it as a crash would.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Whether it ended by itself, and well, within some seconds.
    pub fn ends(&mut self) -> bool {
        for _ in 0..200 {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.success();
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        false
    }

    /// The answer to bytes as they are.
    pub fn raw(&self, bytes: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        stream
            .set_read_timeout(Some(Duration::from_secs(60)))
            .unwrap();
        // A refused body may close the connection while it is still being sent.
        let _ = stream.write_all(bytes);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        Answer::of(&answer)
    }

    /// The answer to our own page.
    pub fn get(&self, path: &str) -> Answer {
        self.raw(self.head("GET", path, &[]).as_bytes())
    }

    /// The answer to a form of our own page.
    pub fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.post_as(path, fields, &[])
    }

    /// The answer to our own script.
    pub fn ask(&self, path: &str, fields: &[(&str, &str)]) -> serde_json::Value {
        let answer = self.post_as(path, fields, &["Accept: application/json"]);
        serde_json::from_str(&answer.body).unwrap_or_else(|_| panic!("{path}: {answer:?}"))
    }

    fn post_as(&self, path: &str, fields: &[(&str, &str)], more: &[&str]) -> Answer {
        let body: Vec<String> = fields
            .iter()
            .map(|(id, value)| format!("{}={}", encoded(id), encoded(value)))
            .collect();
        let body = body.join("&");
        let origin = format!("Origin: http://{}", self.host);
        let length = format!("Content-Length: {}", body.len());
        let kind = "Content-Type: application/x-www-form-urlencoded";
        let mut lines = vec![origin.as_str(), &length, kind];
        lines.extend(more);
        self.raw((self.head("POST", path, &lines) + &body).as_bytes())
    }

    fn head(&self, method: &str, path: &str, more: &[&str]) -> String {
        let mut head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nConnection: close\r\n",
            self.host, self.cookie
        );
        for line in more {
            head += &format!("{line}\r\n");
        }
        head + "\r\n"
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[derive(Debug)]
pub struct Answer {
    /// 0 where the connection was closed without one.
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    fn of(bytes: &[u8]) -> Answer {
        let text = String::from_utf8_lossy(bytes);
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok());
        Answer {
            status: status.unwrap_or(0),
            head: head.to_owned(),
            body: body.to_owned(),
        }
    }

    /// The value of a header.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|line| {
            let (is, value) = line.split_once(':')?;
            is.eq_ignore_ascii_case(name).then_some(value.trim())
        })
    }
}

/// A text as a part of an address.
pub fn encoded(text: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~".contains(&b);
    text.bytes()
        .map(|b| match plain(b) {
            true => char::from(b).to_string(),
            false => format!("%{b:02X}"),
        })
        .collect()
}

//! `windfall fetch` against a server on this machine: a good one, and all kinds of bad ones.
//!
//! The files are real (tests/data/grids, tests/data/inventories); the addresses of the program's own
//! feeds are not tried, since tests use no network.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/feed.rs"]
mod feed;
#[path = "common/program.rs"]
mod program;
#[path = "common/server.rs"]
mod server;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use proptest::prelude::*;
use windfall::error::Result;
use windfall::fetch::download::download;
use windfall::fetch::feed::Feeds;
use windfall::fetch::field::{Level, WantedQuantity};
use windfall::fetch::http::{Client, Patience};
use windfall::fetch::inventory::{Message, idx, json_lines, walk};
use windfall::fetch::manifest::Manifest;
use windfall::fetch::runs::Period;
use windfall::fetch::survey::{Order, survey};
use windfall::geodesy::Position;

use feed::{PLAN, feed_text, patience};
use program::{stderr, stdout, windfall};
use server::{Answer, Files, Request, Server, part, response};

const GRID: &[u8] = include_bytes!("data/grids/gefs_mean_0p5_20200815_06z_f006.grib2");
const MEMBER: &[u8] = include_bytes!("data/grids/gefs_member08_20200825_00z_f012.grib2");
const TWO_FIELDS: &[u8] = include_bytes!("data/grids/gfs_2p5_first4_20110110_12z_f120.grib2");

/// Step files of the run of 2020-08-15 06 UTC that the test's server has.
const STEPS: [u32; 3] = [0, 6, 12];

/// One message of a file: its place, and its line in an inventory.
struct Line {
    start: usize,
    length: usize,
    name: &'static str,
    level: String,
}

/// The messages of the real file, taken apart here and not by the program: in each, section 4
/// begins at byte 109.
fn lines() -> Vec<Line> {
    let mut lines = Vec::new();
    let mut start = 0;
    while start < GRID.len() {
        let message = &GRID[start..];
        let length = u64::from_be_bytes(message[8..16].try_into().unwrap()) as usize;
        let product = &message[109..];
        assert_eq!(product[4], 4);
        let name = match (product[9], product[10]) {
            (3, 5) => "HGT",
            (0, 0) => "TMP",
            (1, 1) => "RH",
            (2, 2) => "UGRD",
            (2, 3) => "VGRD",
            _ => "OTHER",
        };
        assert!(product[22] != 100 || product[23] == 0, "a scaled pressure");
        let value = u32::from_be_bytes(product[24..28].try_into().unwrap());
        let level = match product[22] {
            100 => format!("{} mb", value / 100),
            1 => "surface".to_owned(),
            other => format!("level type {other}"),
        };
        lines.push(Line {
            start,
            length,
            name,
            level,
        });
        start += length;
    }
    assert_eq!(lines.len(), 85);
    lines
}

fn is_wanted(line: &Line) -> bool {
    ["HGT", "UGRD", "VGRD", "TMP"].contains(&line.name) && line.level.ends_with(" mb")
}

/// The real file as of another run of that day and another step: the hour stands in octet 17 of section
/// 1, the forecast time in octets 19 to 22 of section 4 (WMO-No. 306, volume I.2).
fn grid_of(hour: u8, step: u32) -> Vec<u8> {
    let mut grid = GRID.to_vec();
    for line in lines() {
        let message = &mut grid[line.start..];
        message[32] = hour;
        message[109 + 18..109 + 22].copy_from_slice(&step.to_be_bytes());
    }
    grid
}

/// What a download of the given steps must hold.
fn right_bytes(hour: u8, steps: &[u32]) -> Vec<u8> {
    let all = lines();
    let mut right = Vec::new();
    for step in steps {
        let grid = grid_of(hour, *step);
        for line in all.iter().filter(|l| is_wanted(l)) {
            right.extend(&grid[line.start..line.start + line.length]);
        }
    }
    let count = right.windows(4).filter(|w| w == b"GRIB").count();
    assert_eq!(count, 45 * steps.len());
    right
}

fn idx_text(run: &str) -> String {
    let rows = lines().into_iter().enumerate();
    let rows = rows.map(|(i, l)| {
        format!(
            "{}:{}:d={run}:{}:{}:6 hour fcst:\n",
            i + 1,
            l.start,
            l.name,
            l.level
        )
    });
    rows.collect()
}

fn index_text(run: &str) -> String {
    let rows = lines().into_iter().map(|l| {
        let level = l.level.strip_suffix(" mb").map(|p| format!("\"levtype\": \"pl\", \"levelist\": \"{p}\""));
        let level = level.unwrap_or("\"levtype\": \"sfc\"".to_owned());
        let (date, hour) = run.split_at(8);
        format!(
            "{{\"domain\": \"g\", \"date\": \"{date}\", \"time\": \"{hour}00\", \"step\": \"6\", {level}, \"param\": \"{}\", \"_offset\": {}, \"_length\": {}}}\n",
            l.name, l.start, l.length
        )
    });
    rows.collect()
}

/// A run as the server has it; no inventory if there is no text.
fn files(date: &str, hour: &str, ending: &str, inventory: &str) -> Files {
    let mut files = Files::new();
    for step in STEPS {
        let path = format!("/{date}/{hour}/f{step:03}");
        files.insert(
            format!("{path}.grib2"),
            grid_of(hour.parse().unwrap(), step),
        );
        if !inventory.is_empty() {
            files.insert(format!("{path}{ending}"), inventory.as_bytes().to_vec());
        }
    }
    files
}

fn good_files() -> Files {
    files("20200815", "06", ".grib2.idx", &idx_text("2020081506"))
}

fn time(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// A folder to download into, and what was said meanwhile.
struct Place {
    folder: tempfile::TempDir,
    said: Arc<Mutex<Vec<String>>>,
}

impl Place {
    fn new() -> Place {
        Place {
            folder: tempfile::tempdir().unwrap(),
            said: Arc::default(),
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Fetches steps 0, 6 and 12 as the program does, by one connection.
    fn fetch(&self, server: &Server, inventory: &str, patience: Patience) -> Result<Manifest> {
        let feeds =
            Feeds::built_in()?.extended("test.toml", &feed_text(&server.url(), inventory))?;
        let order = Order {
            feed: feeds.get("test")?,
            site: Position {
                lat_deg: 48.0,
                lon_deg: 2.0,
            },
            reach_m: 1e5,
            probe: true,
            period: Period {
                from: time("2020-08-15T11:00:00Z"),
                to: time("2020-08-15T18:00:00Z"),
            },
            now: time("2020-08-15T11:00:00Z"),
            run: None,
            members: Vec::new(),
            folder: self.path("winds"),
            connections: 1,
        };
        let (said, also_said) = (self.said.clone(), self.said.clone());
        let voice = move |text: &str| said.lock().unwrap().push(text.to_owned());
        let client = Client::new(patience).saying(Box::new(voice));
        let say = move |text: &str| also_said.lock().unwrap().push(text.to_owned());
        let found = survey(&client, &order, &say)?;
        assert_eq!(found.files.len(), 1);
        let arrived = AtomicUsize::new(0);
        let count = |bytes: u64| {
            arrived.fetch_add(bytes as usize, Ordering::SeqCst);
        };
        let manifest = download(&client, &order, &found, &found.files[0], &say, &count)?;
        assert!(found.files[0].there.is_some() || arrived.into_inner() as u64 == manifest.bytes);
        Ok(manifest)
    }

    fn said(&self) -> String {
        self.said.lock().unwrap().join("\n")
    }

    fn downloaded(&self) -> Vec<u8> {
        fs::read(self.path("winds").join("test-20200815-06z-f000-f012.grib2")).unwrap()
    }

    /// Fetches, and has the right bytes and nothing else.
    fn succeeds(&self, server: &Server, inventory: &str, patience: Patience) {
        self.fetch(server, inventory, patience)
            .unwrap_or_else(|e| panic!("{e}"));
        assert!(self.downloaded() == right_bytes(6, &STEPS), "wrong bytes");
        assert_eq!(
            names(&self.path("winds")).len(),
            2,
            "{:?}",
            names(&self.path("winds"))
        );
    }

    /// Does not fetch, has no file of the final name, and tells why.
    fn fails(&self, server: &Server, inventory: &str, patience: Patience) -> String {
        let message = self
            .fetch(server, inventory, patience)
            .unwrap_err()
            .to_string();
        let finished = names(&self.path("winds"));
        assert!(
            !finished.iter().any(|n| n.ends_with(".grib2")),
            "{finished:?}"
        );
        assert!(message.contains("expected"), "{message}");
        message
    }
}

/// The files in a folder, but for the one whose lock stands for it.
fn names(folder: &Path) -> Vec<String> {
    let Ok(entries) = fs::read_dir(folder) else {
        return Vec::new();
    };
    entries
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| name != ".fetch.lock")
        .collect()
}

fn is_data(request: &Request) -> bool {
    request.path.ends_with(".grib2")
}

// What works.

#[test]
fn near_messages_are_fetched_together_from_each_step() {
    let server = Server::good(good_files());
    let place = Place::new();
    let manifest = place.fetch(&server, "idx", patience()).unwrap();
    assert!(place.downloaded() == right_bytes(6, &STEPS));
    assert_eq!(manifest.steps, STEPS);
    assert_eq!(manifest.bytes, right_bytes(6, &STEPS).len() as u64);
    assert_eq!(manifest.sources.len(), 3);
    assert_eq!(manifest.sources[0].messages.len(), 45);
    assert_eq!(
        (manifest.licence.as_str(), manifest.run),
        ("public domain", Some(time("2020-08-15T06:00:00Z")))
    );
    // One request for each inventory, one for the near messages of each step.
    assert_eq!((server.seen().len(), server.ranges().len()), (6, 3));
    assert!(place.said().contains("TMP at 300 hPa"), "{}", place.said());
}

#[test]
fn what_is_there_is_not_fetched_again_unless_it_has_changed() {
    let server = Server::good(good_files());
    let place = Place::new();
    let first = place.fetch(&server, "idx", patience()).unwrap();
    let requests = server.seen().len();
    assert_eq!(place.fetch(&server, "idx", patience()).unwrap(), first);
    assert_eq!(server.seen().len(), requests);
    let path = place.path("winds/test-20200815-06z-f000-f012.grib2");
    let mut bytes = fs::read(&path).unwrap();
    bytes[500] ^= 1;
    fs::write(&path, bytes).unwrap();
    place.succeeds(&server, "idx", patience());
    assert_eq!(server.seen().len(), 2 * requests);
}

#[test]
fn json_lines_lead_to_the_same_bytes() {
    let server = Server::good(files("20200815", "06", ".index", &index_text("2020081506")));
    Place::new().succeeds(&server, "index", patience());
}

#[test]
fn a_file_without_inventory_is_walked() {
    let server = Server::good(files("20200815", "06", "", ""));
    Place::new().succeeds(&server, "none", patience());
    // One question a message at most, and one for the wanted messages of each step.
    assert!(server.ranges().len() <= 3 * (85 + 1));
    assert!(server.seen().iter().all(is_data));
}

#[test]
fn a_missing_inventory_is_made_good_aloud() {
    let server = Server::good(files("20200815", "06", "", ""));
    let place = Place::new();
    place.succeeds(&server, "idx", patience());
    assert!(
        place
            .said()
            .contains("f006.grib2.idx is not there; the headers of its 85 messages"),
        "{}",
        place.said()
    );
}

#[test]
fn an_inventory_that_is_none_is_made_good_aloud() {
    let server = Server::good(files("20200815", "06", ".grib2.idx", "<html>Sorry</html>"));
    let place = Place::new();
    place.succeeds(&server, "idx", patience());
    assert!(
        place.said().contains("line 1: found \"<html>"),
        "{}",
        place.said()
    );
}

#[test]
fn the_length_of_the_last_message_is_asked_for() {
    let last = lines().iter().rposition(is_wanted).unwrap();
    let text: String = idx_text("2020081506")
        .split_inclusive('\n')
        .take(last + 1)
        .collect();
    let server = Server::good(files("20200815", "06", ".grib2.idx", &text));
    Place::new().succeeds(&server, "idx", patience());
    assert_eq!(server.ranges().len(), 6);
}

#[test]
fn a_server_that_gives_no_parts_is_read_from_the_beginning() {
    let whole = |r: &Request, _| {
        if is_data(r) {
            Answer::Whole
        } else {
            Answer::Well
        }
    };
    Place::new().succeeds(&Server::start(good_files(), whole), "idx", patience());
}

#[test]
fn but_not_if_its_file_is_large() {
    let large = move |r: &Request, _| {
        let length = "Content-Length: 99999999999";
        let head = format!("HTTP/1.1 200 OK\r\nConnection: close\r\n{length}\r\n\r\nGRIB");
        if is_data(r) {
            Answer::Raw(head.into_bytes())
        } else {
            Answer::Well
        }
    };
    let message = Place::new().fails(&Server::start(good_files(), large), "idx", patience());
    assert!(message.contains("gives no parts of files"), "{message}");
}

/// An answer in chunks, as a server sends that does not know the length.
fn in_chunks(status: &str, headers: &str, body: &[u8]) -> Vec<u8> {
    let head = format!(
        "HTTP/1.1 {status}\r\nConnection: close\r\nTransfer-Encoding: chunked\r\n{headers}\r\n"
    );
    let mut answer = head.into_bytes();
    for piece in body.chunks(1000) {
        answer.extend(format!("{:x}\r\n", piece.len()).into_bytes());
        answer.extend(piece);
        answer.extend(b"\r\n");
    }
    answer.extend(b"0\r\n\r\n");
    answer
}

#[test]
fn answers_in_chunks_are_whole_or_tried_again() {
    let files = good_files();
    let known = files.clone();
    let chunked = move |r: &Request, _| {
        let file = &known[&r.path];
        Answer::Raw(match r.range {
            None => in_chunks("200 OK", "", file),
            Some((first, last)) => {
                let headers = format!("Content-Range: bytes {first}-{last}/{}\r\n", file.len());
                in_chunks("206 Partial", &headers, &file[first..=last])
            }
        })
    };
    Place::new().succeeds(&Server::start(files.clone(), chunked), "idx", patience());
    // A server that gives no parts and does not know the length either; cut off the first time.
    let known = files.clone();
    let whole = move |r: &Request, before| {
        let mut answer = in_chunks("200 OK", "", &known[&r.path]);
        if is_data(r) && before == 0 {
            answer.truncate(answer.len() / 2);
        }
        Answer::Raw(answer)
    };
    Place::new().succeeds(&Server::start(files, whole), "idx", patience());
}

// What goes wrong.

#[test]
fn a_cut_connection_is_tried_again() {
    let cut = |r: &Request, before| match r.range {
        Some((first, last)) if before == 0 => {
            let range = format!("bytes {first}-{last}/{}", GRID.len());
            let mut answer = part(GRID, first, last, &range);
            answer.truncate(answer.len() / 2);
            Answer::Raw(answer)
        }
        _ => Answer::Well,
    };
    let server = Server::start(good_files(), cut);
    Place::new().succeeds(&server, "idx", patience());
    assert_eq!(server.ranges().len(), 6);
}

#[test]
fn a_connection_that_is_cut_each_time_is_an_error() {
    let cut = |r: &Request, _| {
        if is_data(r) {
            Answer::Raw(Vec::new())
        } else {
            Answer::Well
        }
    };
    let server = Server::start(good_files(), cut);
    let message = Place::new().fails(&server, "idx", patience());
    assert!(message.contains("3 times"), "{message}");
    assert_eq!(server.ranges().len(), 3);
}

#[test]
fn a_busy_server_is_asked_again() {
    let busy = |_: &Request, before| {
        if before < 2 {
            Answer::Status(503, "busy")
        } else {
            Answer::Well
        }
    };
    let server = Server::start(good_files(), busy);
    Place::new().succeeds(&server, "idx", patience());
    assert_eq!(server.seen().len(), 18);
}

#[test]
fn a_server_that_refuses_is_not() {
    let server = Server::start(good_files(), |_, _| Answer::Status(403, "no"));
    let message = Place::new().fails(&server, "idx", patience());
    assert!(message.contains("403"), "{message}");
    assert_eq!(server.seen().len(), 1);
}

#[test]
fn wrong_lengths_are_found_out() {
    let lie = |range: fn(usize, usize) -> String, cut: usize| {
        move |r: &Request, _| match r.range {
            Some((first, last)) => Answer::Raw(part(GRID, first, last - cut, &range(first, last))),
            None => Answer::Well,
        }
    };
    let honest: fn(usize, usize) -> String = |a, b| format!("bytes {a}-{b}/{}", GRID.len());
    let elsewhere: fn(usize, usize) -> String =
        |a, b| format!("bytes {}-{}/{}", a + 1, b + 1, GRID.len());
    let shorter: fn(usize, usize) -> String = |a, b| format!("bytes {a}-{}/{}", b - 9, GRID.len());
    let other_file: fn(usize, usize) -> String = |a, b| format!("bytes {a}-{}/{}", b - 9, b - 8);
    for (range, cut, found) in [
        (honest, 9, "bytes, 3 times"),
        (elsewhere, 0, "Content-Range"),
        (shorter, 9, "Content-Range"),
        (|_, _| "nonsense".to_owned(), 0, "Content-Range"),
        (other_file, 0, "more than"),
        (other_file, 9, "its end at byte"),
    ] {
        let server = Server::start(good_files(), lie(range, cut));
        let message = Place::new().fails(&server, "idx", patience());
        assert!(message.contains(found), "{found}: {message}");
    }
}

#[test]
fn a_file_that_is_not_the_inventorys_is_refused() {
    let mut files = good_files();
    for step in STEPS {
        let path = format!("/20200815/06/f{step:03}.grib2");
        files.insert(path, [&b"XX"[..], GRID].concat());
    }
    let message = Place::new().fails(&Server::good(files), "idx", patience());
    assert!(
        message.contains("byte ") && message.contains("\"GRIB\""),
        "{message}"
    );
    let other_run = files_of_other_run();
    let message = Place::new().fails(&Server::good(other_run), "idx", patience());
    assert!(
        message.contains("fields of the run 2020081500"),
        "{message}"
    );
}

fn files_of_other_run() -> Files {
    files("20200815", "06", ".grib2.idx", &idx_text("2020081500"))
}

#[test]
fn a_web_page_instead_of_grib_is_refused() {
    const PAGE: &str = "<!DOCTYPE html><title>Please log in</title>";
    let login = |r: &Request, _| {
        let headers = [("Content-Type", "text/html".to_owned())];
        if is_data(r) {
            Answer::Raw(response(200, &headers, PAGE.as_bytes()))
        } else {
            Answer::Well
        }
    };
    let message = Place::new().fails(&Server::start(good_files(), login), "idx", patience());
    assert!(message.contains("a web page (text/html)"), "{message}");
    // A page that calls itself a part of the file.
    let disguised = |r: &Request, _| match r.range {
        Some((first, last)) => {
            let page = PAGE.repeat(2000);
            let range = format!("bytes {first}-{last}/{}", GRID.len());
            Answer::Raw(part(page.as_bytes(), 0, last - first, &range))
        }
        None => Answer::Well,
    };
    let message = Place::new().fails(&Server::start(good_files(), disguised), "idx", patience());
    assert!(message.contains("looks like a web page"), "{message}");
    // Nothing but pages, for the inventory as well.
    let page = |_: &Request, _| Answer::Status(200, PAGE);
    let message = Place::new().fails(&Server::start(good_files(), page), "idx", patience());
    assert!(
        message.contains("beginning with \"<!DOCTYPE html>"),
        "{message}"
    );
}

#[test]
fn a_slow_server_is_not_waited_for_without_end() {
    let slow = |r: &Request, before| {
        if is_data(r) && before == 0 {
            Answer::After(Duration::from_secs(3))
        } else {
            Answer::Well
        }
    };
    let quick = Patience {
        read: Duration::from_millis(400),
        ..patience()
    };
    Place::new().succeeds(&Server::start(good_files(), slow), "idx", quick);
    let never = |r: &Request, _| {
        if is_data(r) {
            Answer::After(Duration::from_secs(3))
        } else {
            Answer::Well
        }
    };
    let message = Place::new().fails(&Server::start(good_files(), never), "idx", quick);
    assert!(
        message.contains("timeout") && message.contains("3 times"),
        "{message}"
    );
}

#[test]
fn nobody_listening_is_an_error() {
    let server = Server::good(good_files());
    let port_of_nobody = server.url();
    drop(server);
    let message = Client::new(patience())
        .whole(&port_of_nobody)
        .unwrap_err()
        .to_string();
    assert!(message.contains("no answer"), "{message}");
}

#[test]
fn an_interrupted_download_goes_on_where_it_was() {
    let home = Arc::new(AtomicBool::new(true));
    let gone = home.clone();
    let interrupted = move |r: &Request, _| {
        let later = is_data(r) && !r.path.contains("f000");
        if later && gone.load(Ordering::SeqCst) {
            Answer::Status(503, "")
        } else {
            Answer::Well
        }
    };
    let server = Server::start(good_files(), interrupted);
    let place = Place::new();
    place.fails(&server, "idx", patience());
    let mut left = names(&place.path("winds"));
    left.sort();
    let part = "test-20200815-06z-f000-f012.grib2.part";
    assert_eq!(left, [part.to_owned(), format!("{part}.journal")]);
    let before = server.ranges().len();
    home.store(false, Ordering::SeqCst);
    place.succeeds(&server, "idx", patience());
    let asked: Vec<String> = server
        .ranges()
        .into_iter()
        .skip(before)
        .map(|r| r.path)
        .collect();
    assert_eq!(
        asked,
        ["/20200815/06/f006.grib2", "/20200815/06/f012.grib2"]
    );
    assert!(
        place.said().contains("bytes are here from before"),
        "{}",
        place.said()
    );
}

#[test]
fn a_server_says_when_to_come_again() {
    assert_eq!(Patience::default().longest, Duration::from_secs(600));
    for (asked, longest) in [("1", false), ("86400", true)] {
        let busy = move |r: &Request, before| match is_data(r) && before == 0 {
            true => {
                let headers = [("Retry-After", asked.to_owned())];
                Answer::Raw(response(503, &headers, b"busy"))
            }
            false => Answer::Well,
        };
        let server = Server::start(good_files(), busy);
        let place = Place::new();
        let begun = Instant::now();
        let longest_wait = Duration::from_millis(if longest { 200 } else { 1500 });
        let patient = Patience {
            longest: longest_wait,
            ..patience()
        };
        place.succeeds(&server, "idx", patient);
        // Once for each of the three files.
        let least = 3 * longest_wait.min(Duration::from_secs(1));
        assert!(begun.elapsed() >= least, "{:?}", begun.elapsed());
        let said = place.said();
        let words = match longest {
            false => "127.0.0.1 asks to wait 1 s",
            true => "127.0.0.1 asks to wait 1440 min; 0 s at most are waited",
        };
        assert!(said.contains(words), "{said}");
    }
}

#[test]
fn a_server_that_sends_one_step_for_all_is_not_believed() {
    let mut files = good_files();
    for step in STEPS {
        files.insert(format!("/20200815/06/f{step:03}.grib2"), GRID.to_vec());
    }
    let message = Place::new().fails(&Server::good(files), "idx", patience());
    assert!(
        message.contains("f000.grib2: found fields for 2020-08-15T12:00:00Z"),
        "{message}"
    );
    // Of another run, though the inventory says otherwise.
    let mut files = good_files();
    files.insert("/20200815/06/f012.grib2".into(), grid_of(12, 6));
    let message = Place::new().fails(&Server::good(files), "idx", patience());
    assert!(
        message.contains("f012.grib2: found fields of the run 2020-08-15T12:00:00Z"),
        "{message}"
    );
}

#[test]
fn heights_are_needed_as_winds_are() {
    // A height that was renamed in the inventory.
    let renamed = idx_text("2020081506").replace(":HGT:", ":GEOP:");
    let server = Server::good(files("20200815", "06", ".grib2.idx", &renamed));
    let message = Place::new().fails(&server, "idx", patience());
    assert!(
        message.contains("pressure levels, with their heights on 0"),
        "{message}"
    );
    assert!(server.ranges().is_empty());
    // Heights by the inventory that are something else in the file: what `winds` would refuse.
    let mut files = good_files();
    for step in STEPS {
        let mut grid = grid_of(6, step);
        for line in lines().iter().filter(|l| l.name == "HGT") {
            // Octet 11 of section 4: the number of the parameter.
            grid[line.start + 109 + 10] = 9;
        }
        files.insert(format!("/20200815/06/f{step:03}.grib2"), grid);
    }
    let place = Place::new();
    let message = place.fails(&Server::good(files), "idx", patience());
    assert!(message.contains("height"), "{message}");
}

#[test]
fn two_downloads_into_one_folder_wait_for_each_other() {
    let slow = |r: &Request, _| match is_data(r) {
        true => Answer::After(Duration::from_millis(300)),
        false => Answer::Well,
    };
    let server = Server::start(good_files(), slow);
    let bench = Bench::new(&server);
    let outcomes: Vec<_> = std::thread::scope(|scope| {
        let both = [(); 2].map(|()| scope.spawn(|| bench.run(&[])));
        both.into_iter().map(|one| one.join().unwrap()).collect()
    });
    for (code, _, err) in &outcomes {
        assert_eq!(*code, Some(0), "{err}");
    }
    assert!(fs::read(bench.path(RESULT)).unwrap() == right_bytes(6, &STEPS));
    let waited = outcomes.iter().filter(|o| o.2.contains("is at work"));
    assert_eq!(waited.count(), 1, "{outcomes:?}");
    // The one that waited did not fetch it again.
    assert_eq!(server.ranges().len(), 3);
}

#[test]
fn redirects_to_another_host_are_told_and_kept() {
    let files = Server::good(good_files());
    let elsewhere = files.url().replace("127.0.0.1", "localhost");
    let moved = move |r: &Request, _| {
        let to = [("Location", format!("{elsewhere}{}", r.path))];
        Answer::Raw(response(302, &to, b""))
    };
    let server = Server::start(Files::new(), moved);
    let place = Place::new();
    place.succeeds(&server, "idx", patience());
    let manifest = place.fetch(&server, "idx", patience()).unwrap();
    assert_eq!(manifest.redirects, ["127.0.0.1 to localhost"]);
    let said = place.said();
    assert_eq!(said.matches("sent from 127.0.0.1 to localhost").count(), 1);
}

#[test]
fn users_passwords_and_keys_are_in_no_message_and_no_manifest() {
    let server = Server::good(good_files());
    let bench = Bench::new(&server);
    let secret = server.url().replace("http://", "http://user:hunter2@");
    let feed = feed_text(&secret, "idx");
    fs::write(bench.path("feeds.toml"), &feed).unwrap();
    let never = |text: &str| {
        assert!(
            !text.contains("hunter2") && !text.contains("user:"),
            "{text}"
        )
    };
    let (code, out, err) = bench.run(&["--dry-run"]);
    assert_eq!(code, Some(0), "{err}");
    never(&(out + &err));
    let (code, out, err) = bench.run(&[]);
    assert_eq!(code, Some(0), "{err}");
    never(&(out + &err));
    let manifest = Manifest::path(Path::new(&bench.path(RESULT)));
    never(&fs::read_to_string(manifest).unwrap());
    // A key among the parameters, and an address at which nothing is.
    let keyed = feed.replace("f{step:3}.grib2", "f{step:3}.grib2?apikey=hunter2");
    fs::write(bench.path("feeds.toml"), keyed).unwrap();
    let (code, out, err) = bench.run(&["--out", &bench.path("other")]);
    assert_eq!(code, Some(1), "{err}");
    assert!(err.contains("has none of the runs"), "{err}");
    never(&(out + &err));
}

#[test]
fn when_the_network_fails_one_is_told_what_to_get_by_hand() {
    let server = Server::start(good_files(), |_, _| Answer::Status(403, "no"));
    let bench = Bench::new(&server);
    let (code, out, err) = bench.run(&[]);
    assert_eq!((code, out.as_str()), (Some(1), ""), "{err}");
    for words in [
        "To get winds by hand",
        "levels of pressure from 1000 to 10 hPa",
        "from 2020-08-15T11:00:00Z to 2020-08-15T18:00:00Z",
        "--wind FILE",
    ] {
        assert!(err.contains(words), "{words}: {err}");
    }
    // Not where the network is well.
    let (_, _, err) = bench.run(&["--members", "3"]);
    assert!(!err.contains("by hand"), "{err}");
}

#[test]
fn much_is_not_downloaded_unasked() {
    let text = idx_text("2020081506");
    // The same file, said to be far longer.
    let longer = text.lines().map(|line| {
        let mut parts: Vec<String> = line.split(':').map(str::to_owned).collect();
        parts[1] = (parts[1].parse::<u64>().unwrap() * 2000).to_string();
        parts.join(":") + "\n"
    });
    let longer: String = longer.collect();
    let mut all = files("20200815", "06", ".grib2.idx", &longer);
    for step in STEPS {
        let path = format!("/20200815/06/f{step:03}.grib2");
        all.insert(path, b"GRIB\0\0\0\x02\0\0\0\0\0\0\0\x20".repeat(999));
    }
    let server = Server::good(all);
    let bench = Bench::new(&server);
    let (code, out, err) = bench.run(&[]);
    assert_eq!((code, out.as_str()), (Some(1), ""), "{err}");
    assert!(err.contains(" requests, 2"), "{err}");
    assert!(
        err.contains("are more than 200.0 MB and there is no terminal to ask at; expected --yes"),
        "{err}"
    );
    assert!(
        server
            .ranges()
            .iter()
            .all(|r| r.range.unwrap().1 - r.range.unwrap().0 < 16)
    );
    let (code, _, err) = bench.run(&["--yes"]);
    assert_eq!(code, Some(1), "{err}");
    assert!(!err.contains("no terminal"), "{err}");
    assert!(!server.ranges().is_empty(), "{err}");
}

#[test]
fn a_folder_that_cannot_be_made_is_an_error() {
    let server = Server::good(good_files());
    let place = Place::new();
    fs::write(place.path("winds"), "a file").unwrap();
    let message = place
        .fetch(&server, "idx", patience())
        .unwrap_err()
        .to_string();
    assert!(message.contains("winds"), "{message}");
}

// The program itself.

/// A plan and a feed in a folder, and the program run on them.
struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new(server: &Server) -> Bench {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("plan.toml"), PLAN).unwrap();
        fs::write(
            folder.path().join("feeds.toml"),
            feed_text(&server.url(), "idx"),
        )
        .unwrap();
        Bench { folder }
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    fn run(&self, more: &[&str]) -> (Option<i32>, String, String) {
        let (plan, feeds) = (self.path("plan.toml"), self.path("feeds.toml"));
        let feed: &[&str] = if more.contains(&"--feed") {
            &[]
        } else {
            &["--feed", "test"]
        };
        let args = [&[plan.as_str(), "--feeds", &feeds], feed].concat();
        let output = windfall("fetch", &[&args[..], more].concat());
        (output.status.code(), stdout(&output), stderr(&output))
    }
}

const RESULT: &str = "winds/test-20200815-06z-f000-f012.grib2";

#[test]
fn a_new_feed_is_data_and_the_program_says_how_to_use_what_it_wrote() {
    let server = Server::good(good_files());
    let bench = Bench::new(&server);
    let (code, out, err) = bench.run(&[]);
    assert_eq!(code, Some(0), "{err}");
    assert!(fs::read(bench.path(RESULT)).unwrap() == right_bytes(6, &STEPS));
    for line in [
        format!("file      {}, ", bench.path(RESULT)),
        "run       2020-08-15 06:00 UTC".to_owned(),
        "covers    2020-08-15 06:00 UTC to 2020-08-15 18:00 UTC, 3 times".to_owned(),
        format!("use       [wind] files = [\"{RESULT}\"]"),
        "source    NOAA/NCEP (public domain)".to_owned(),
    ] {
        assert!(out.contains(&line), "{line}\n{out}");
    }
    let manifest = Manifest::of_whole(Path::new(&bench.path(RESULT))).unwrap();
    assert_eq!(
        manifest.sources[1].url,
        format!("{}/20200815/06/f006.grib2", server.url())
    );
    let (code, again, err) = bench.run(&[]);
    assert_eq!((code, again), (Some(0), out));
    assert!(err.contains("is there already, whole"), "{err}");
    assert_eq!(server.ranges().len(), 3);
}

#[test]
fn a_plan_opens_nothing_outside_of_its_folder_unasked() {
    let server = Server::good(good_files());
    let bench = Bench::new(&server);
    let text = fs::read_to_string(bench.path("plan.toml")).unwrap();
    let table = "[balloon]\ntable = \"../none.toml\"\n";
    fs::write(bench.path("plan.toml"), text + table).unwrap();
    let (code, _, err) = bench.run(&["--dry-run"]);
    assert_eq!(code, Some(1));
    assert!(err.contains("outside of the plan's folder"), "{err}");
    let (_, _, err) = bench.run(&["--dry-run", "--outside"]);
    assert!(err.contains("cannot read"), "{err}");
}

#[test]
fn a_dry_run_reads_inventories_and_writes_nothing() {
    let server = Server::good(good_files());
    let bench = Bench::new(&server);
    let (code, out, err) = bench.run(&["--dry-run"]);
    assert_eq!(code, Some(0), "{err}");
    assert!(err.contains("no data is downloaded"), "{err}");
    assert!(
        out.contains(&format!(
            "  {}/20200815/06/f006.grib2 bytes=0-",
            server.url()
        )),
        "{out}"
    );
    assert!(out.contains("3 requests, "), "{out}");
    assert!(server.seen().iter().all(|r| r.path.ends_with(".idx")));
    let mut left = names(bench.folder.path());
    left.sort();
    assert_eq!(left, ["feeds.toml", "plan.toml"]);
}

#[test]
fn the_run_before_is_taken_aloud_if_the_newest_is_not_there() {
    let mut all = files("20200815", "00", ".grib2.idx", &idx_text("2020081500"));
    let at_18 = "/20200815/00/f018.grib2";
    all.insert(at_18.to_owned(), grid_of(0, 18));
    all.insert(format!("{at_18}.idx"), idx_text("2020081500").into_bytes());
    // Of the newest run only the first step has arrived.
    for ending in [".grib2", ".grib2.idx"] {
        let first = all[&format!("/20200815/00/f006{ending}")].clone();
        all.insert(format!("/20200815/06/f000{ending}"), first);
    }
    let server = Server::good(all);
    let bench = Bench::new(&server);
    let (code, out, err) = bench.run(&[]);
    assert_eq!(code, Some(0), "{err}");
    assert!(
        err.contains("the run 2020-08-15T06:00:00Z is not there"),
        "{err}"
    );
    assert!(
        err.contains("trying the one before, 2020-08-15T00:00:00Z"),
        "{err}"
    );
    assert!(out.contains("run       2020-08-15 00:00 UTC"), "{out}");
    let written = fs::read(bench.path("winds/test-20200815-00z-f006-f018.grib2")).unwrap();
    assert!(written == right_bytes(0, &[6, 12, 18]));
    // A run that was asked for is not replaced by another.
    let (code, out, err) = bench.run(&["--run", "2020-08-15T06:00:00Z"]);
    assert_eq!((code, out.as_str()), (Some(1), ""), "{err}");
    assert!(
        err.contains("has none of the runs 2020-08-15T06:00:00Z"),
        "{err}"
    );
}

#[test]
fn options_choose_times_and_the_folder() {
    let server = Server::good(good_files());
    let bench = Bench::new(&server);
    let folder = bench.path("elsewhere");
    let times = [
        "--from",
        "2020-08-15T12:00:00Z",
        "--to",
        "2020-08-15T13:00:00+01:00",
    ];
    let (code, out, err) = bench.run(&[&times[..], &["--out", &folder]].concat());
    assert_eq!(code, Some(0), "{err}");
    // The run of 12 UTC is not there: the one step of the run before.
    let name = "elsewhere/test-20200815-06z-f006-f006.grib2";
    assert!(out.contains(&format!("[\"{name}\"]")), "{out}{err}");
    assert!(fs::read(bench.path(name)).unwrap() == right_bytes(6, &[6]));
}

/// Every other message of the real file, as a file with an inventory of its own.
fn every_other_message(step: u32) -> (Vec<u8>, String) {
    let (mut bytes, mut text) = (Vec::new(), String::new());
    let grid = grid_of(6, step);
    for line in lines().iter().step_by(2) {
        let start = bytes.len();
        text += &format!("1:{start}:d=2020081506:{}:{}:anl:\n", line.name, line.level);
        bytes.extend(&grid[line.start..line.start + line.length]);
    }
    (bytes, text)
}

/// The wanted messages of the real file: those in the file above, or those that are not.
fn wanted_of_half(step: u32, first: usize) -> Vec<u8> {
    let (all, grid) = (lines(), grid_of(6, step));
    let half = all.iter().skip(first).step_by(2).filter(|l| is_wanted(l));
    half.flat_map(|l| grid[l.start..l.start + l.length].to_vec())
        .collect()
}

#[test]
fn members_and_steps_split_over_two_files_have_each_field_once() {
    let mut files = Files::new();
    for step in STEPS {
        let (half, half_text) = every_other_message(step);
        for member in ["c00", "p01", "p02"] {
            let (a, b) = (
                format!("/a/{member}.f{step}"),
                format!("/b/{member}.f{step}"),
            );
            files.insert(a.clone() + ".idx", half_text.clone().into_bytes());
            files.insert(a, half.clone());
            files.insert(b.clone() + ".idx", idx_text("2020081506").into_bytes());
            files.insert(b, grid_of(6, step));
        }
    }
    let server = Server::good(files);
    let bench = Bench::new(&server);
    let url = server.url();
    let one = format!("\"{url}/{{date}}/{{hour}}/f{{step:3}}.grib2\"");
    let two = ["a", "b"].map(|part| format!("\"{url}/{part}/{{member}}.f{{step}}\""));
    let members = "members = [\"c00\", \"p01\", \"p02\"]\nlevels =";
    let feed = feed_text(&url, "idx")
        .replace(&one, &two.join(", "))
        .replace("levels =", members);
    fs::write(bench.path("feeds.toml"), feed).unwrap();
    let (code, out, err) = bench.run(&["--run", "2020-08-15T06:00:00Z", "--members", "p01", "2"]);
    assert_eq!(code, Some(0), "{err}");
    let halves = STEPS.map(|step| [wanted_of_half(step, 0), wanted_of_half(step, 1)].concat());
    let right = halves.concat();
    assert_eq!(right.len(), right_bytes(6, &STEPS).len());
    for member in ["p01", "p02"] {
        let name = format!("winds/test-20200815-06z-{member}-f000-f012.grib2");
        assert!(out.contains(&format!("\"{name}\"")), "{out}");
        assert!(fs::read(bench.path(&name)).unwrap() == right, "{member}");
        let manifest = Manifest::of_whole(Path::new(&bench.path(&name))).unwrap();
        assert_eq!(manifest.member.as_deref(), Some(member));
    }
    assert!(server.seen().iter().all(|r| !r.path.contains("c00")));
}

/// An invented server folder in which every field is a file of its own, without inventories.
#[test]
fn one_field_a_file_makes_a_forecast() {
    let (names, levels) = (["HGT", "UGRD", "VGRD", "TMP"], [850, 500, 100]);
    let (mut files, mut right) = (Files::new(), Vec::<u8>::new());
    for step in STEPS {
        let grid = grid_of(6, step);
        for (name, level) in names
            .iter()
            .flat_map(|name| levels.map(|level| (name, level)))
        {
            let is_it = |l: &&Line| l.name == *name && l.level == format!("{level} mb");
            let all = lines();
            let line = all.iter().find(is_it).unwrap();
            let field = grid[line.start..line.start + line.length].to_vec();
            right.extend(&field);
            let path = format!("/20200815/06/M_{name}_ISBL_{level}_P{step:03}.grib2");
            files.insert(path, field);
        }
    }
    let server = Server::good(files.clone());
    let bench = Bench::new(&server);
    let feed = feed_text(&server.url(), "none")
        .replace("f{step:3}.grib2", "M_{name}_ISBL_{level}_P{step:3}.grib2")
        .replace(
            "[10, 50, 100, 200, 250, 300, 400, 500, 700, 850, 925, 1000]",
            "[850, 500, 100]",
        );
    fs::write(bench.path("feeds.toml"), &feed).unwrap();
    let (code, out, err) = bench.run(&["--run", "2020-08-15T06:00:00Z"]);
    assert_eq!(code, Some(0), "{out}{err}");
    assert!(fs::read(bench.path(RESULT)).unwrap() == right);

    // A field that the server lacks is told, not left out.
    files.remove("/20200815/06/M_UGRD_ISBL_500_P006.grib2");
    let server = Server::good(files);
    let bench = Bench::new(&server);
    let feed = feed.replace(
        &feed[feed.find("http").unwrap()..feed.find("/{date}").unwrap()],
        &server.url(),
    );
    fs::write(bench.path("feeds.toml"), feed).unwrap();
    let (code, _, err) = bench.run(&["--run", "2020-08-15T06:00:00Z"]);
    assert_eq!(code, Some(1), "{err}");
    assert!(err.contains("UGRD_ISBL_500"), "{err}");
}

#[test]
fn what_cannot_be_fetched_is_refused_before_anything_is_asked() {
    let server = Server::good(good_files());
    let bench = Bench::new(&server);
    let refused = |more: &[&str], why: &str| {
        let (code, out, err) = bench.run(more);
        assert_eq!((code, out.as_str()), (Some(1), ""), "{err}");
        assert!(
            err.contains(why) && err.contains("expected"),
            "{why}: {err}"
        );
    };
    refused(&["--from", "2020-08-16", "--to", "2020-08-15"], "is after");
    refused(&["--to", "2020-08-30"], "no run of test");
    refused(&["--members", "3"], "not an ensemble");
    refused(
        &["--run", "2020-08-15T07:00:00Z"],
        "no run 2020-08-15T07:00:00Z",
    );
    refused(&["--feed", "nosuch"], "gfs-half");
    let plan = PLAN.replace("lat = 48", "lat = 68");
    fs::write(bench.path("plan.toml"), plan).unwrap();
    refused(&[], "outside of test");
    fs::write(bench.path("feeds.toml"), "[test]\ntitle = 1").unwrap();
    refused(&[], "line 2");
    assert!(server.seen().is_empty());
    for wrong in [
        ["--from", "today"],
        ["--connections", "0"],
        ["--run", "noon"],
    ] {
        assert_eq!(bench.run(&wrong).0, Some(2), "{wrong:?}");
    }
}

// Inventories.

fn inventory(name: &str) -> Vec<Message> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/inventories")
        .join(name);
    idx::parse(name, &fs::read_to_string(path).unwrap()).unwrap()
}

#[test]
fn real_inventories_are_read_whole() {
    let known = [
        ("arwen_gfs.t12z.pgrb2.0p25.f000.idx", 696),
        ("kerchunk_gfs.t00z.pgrb2.0p25.f000.idx", 696),
        ("kerchunk_gfs.t00z.pgrb2.0p25.f006.test-limit-100.idx", 100),
        ("kerchunk_gfs.t00z.pgrb2.0p25.f021.idx", 743),
        ("kerchunk_hrrr.t01z.wrfsfcf00.grib2.idx", 170),
        ("kerchunk_hrrr.t01z.wrfsfcf05.grib2.idx", 173),
        ("kerchunk_hrrr.t01z.wrfsubhf00.grib2.idx", 49),
    ];
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/inventories");
    let mut there = names(&folder);
    there.retain(|name| name != "README.md");
    there.sort();
    assert_eq!(there, known.map(|(name, _)| name));
    for (name, count) in known {
        let messages = inventory(name);
        let fields: usize = messages.iter().map(|m| m.fields.len()).sum();
        assert_eq!(fields, count, "{name}");
        let ends = messages.iter().map(|m| m.length.map(|l| m.start + l));
        let starts = messages.iter().skip(1).map(|m| Some(m.start)).chain([None]);
        assert!(ends.eq(starts), "{name}");
    }
}

#[test]
fn entries_of_real_inventories() {
    let gfs = inventory("kerchunk_gfs.t00z.pgrb2.0p25.f021.idx");
    let wind = gfs.iter().find(|m| m.start == 349_038_531).unwrap();
    assert_eq!(wind.fields[0].quantity, WantedQuantity::Name("UGRD".into()));
    assert_eq!(wind.fields[0].level, Level::Pressure(850.0));
    assert_eq!(wind.fields[0].run, "2023110400");
    assert!(wind.fields[0].of_a_moment);
    let hrrr = inventory("kerchunk_hrrr.t01z.wrfsfcf05.grib2.idx");
    let odd = hrrr.iter().find(|m| m.start == 650_542).unwrap();
    let name = "var discipline=0 center=7 local_table=1 parmcat=16 parm=201";
    assert_eq!(odd.fields[0].quantity, WantedQuantity::Name(name.into()));
    let sums = inventory("kerchunk_gfs.t00z.pgrb2.0p25.f006.test-limit-100.idx");
    let rain = sums.iter().find(|m| m.start == 426_809_619).unwrap();
    assert_eq!(
        (&rain.fields[0].level, rain.fields[0].of_a_moment),
        (&Level::Surface, false)
    );
}

#[test]
fn the_programs_gfs_wants_nothing_that_real_inventories_do_not_have() {
    let feeds = Feeds::built_in().unwrap();
    for name in [
        "arwen_gfs.t12z.pgrb2.0p25.f000.idx",
        "kerchunk_gfs.t00z.pgrb2.0p25.f021.idx",
    ] {
        let fields: Vec<_> = inventory(name).into_iter().flat_map(|m| m.fields).collect();
        for wanted in &feeds.get("gfs").unwrap().wanted {
            let times = fields.iter().filter(|f| wanted.is_met_by(f)).count();
            assert_eq!(times, 1, "{wanted:?} in {name}");
        }
    }
}

#[test]
fn the_headers_of_real_messages_say_what_they_hold() {
    let file = |name: &str, bytes: &[u8]| (name.to_owned(), bytes.to_vec());
    let files = [
        file("/two", TWO_FIELDS),
        file("/member", MEMBER),
        file("/short", &TWO_FIELDS[..30_000]),
    ];
    let server = Server::good(files.into_iter().collect());
    let client = Client::new(patience());
    let walked = |path: &str| walk::messages(&client, &format!("{}{path}", server.url()));
    let two = walked("/two").unwrap().unwrap();
    let places: Vec<_> = two
        .iter()
        .map(|m| (m.start, m.length, m.fields.len()))
        .collect();
    // Read from the files with a few lines of Python.
    let expected = [
        (0, 16_299, 1),
        (16_299, 7_183, 1),
        (23_482, 2_493, 1),
        (25_975, 16_341, 2),
    ];
    assert_eq!(
        places,
        expected.map(|(start, length, fields)| (start, Some(length), fields))
    );
    let quantities: Vec<_> = two[3].fields.iter().map(|f| f.quantity.clone()).collect();
    assert_eq!(quantities[0], WantedQuantity::Code([0, 2, 2]));
    assert_eq!(quantities[1], WantedQuantity::Code([0, 2, 3]));
    assert_eq!(
        (&two[3].fields[1].level, two[3].fields[1].run.as_str()),
        (&Level::Pressure(10.0), "2011011012")
    );
    let member = walked("/member").unwrap().unwrap();
    assert_eq!(member[0].fields[0].member.as_deref(), Some("8"));
    assert!(member[0].fields[0].of_a_moment && !member[1].fields[0].of_a_moment);
    let message = walked("/short").unwrap_err().to_string();
    assert!(
        message.contains("byte 25975: found a message of 16341 bytes"),
        "{message}"
    );
    assert_eq!(walked("/nothing").unwrap(), None);
}

const REAL: [&str; 2] = [
    include_str!("data/inventories/kerchunk_gfs.t00z.pgrb2.0p25.f006.test-limit-100.idx"),
    include_str!("data/inventories/kerchunk_hrrr.t01z.wrfsubhf00.grib2.idx"),
];

/// Whatever is read is in order, and does not overlap unless the list says so.
fn read_both_ways(text: &str) {
    for read in [idx::parse, json_lines::parse] {
        match read("f", text) {
            Ok(messages) => {
                assert!(messages.windows(2).all(|w| w[0].start < w[1].start));
                assert!(
                    messages
                        .iter()
                        .all(|m| m.length != Some(0) && !m.fields.is_empty())
                );
            }
            Err(error) => assert!(error.to_string().contains("expected")),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn changed_inventories_do_no_harm(
        which in 0..3usize,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..3u8), 1..30),
    ) {
        let json = index_text("2020081506");
        let mut bytes = [REAL[0], REAL[1], &json][which].as_bytes().to_vec();
        bytes.truncate(4000);
        for (at, byte, how) in changes {
            let at = at.index(bytes.len());
            match how {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                _ => { bytes.remove(at); }
            }
        }
        read_both_ways(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn any_text_does_no_harm(text in "\\PC{0,200}") {
        read_both_ways(&text);
    }

    #[test]
    fn changed_files_are_walked_without_harm(
        changes in prop::collection::vec((0..1100usize, any::<u8>()), 1..6),
    ) {
        let mut bytes = MEMBER.to_vec();
        for (at, byte) in changes {
            bytes[at] = byte;
        }
        let server = Server::good([("/f".to_owned(), bytes)].into_iter().collect());
        let _ = walk::messages(&Client::new(patience()), &format!("{}/f", server.url()));
    }

    #[test]
    fn any_text_of_feeds_does_no_harm(text in "[a-z\\[\\]{}=\"0-9,.\n ]{0,200}") {
        let _ = Feeds::built_in().unwrap().extended("f", &text);
    }
}

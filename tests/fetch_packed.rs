//! `windfall fetch` from servers that have one packed field a file, on this machine: the fields of a real
//! forecast (tests/data/grids), packed with bzip2.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/feed.rs"]
mod feed;
#[allow(dead_code)]
#[path = "common/server.rs"]
mod server;

use std::fs;
use std::io::Write;
use std::path::Path;

use bzip2::Compression;
use bzip2::write::BzEncoder;
use windfall::error::Result;
use windfall::fetch::download::download;
use windfall::fetch::feed::Feeds;
use windfall::fetch::http::Client;
use windfall::fetch::runs::Period;
use windfall::fetch::survey::{Order, survey};
use windfall::geodesy::Position;

use feed::{feed_text, patience};
use server::{Answer, Files, Request, Server, response};

const GRID: &[u8] = include_bytes!("data/grids/gefs_mean_0p5_20200815_06z_f006.grib2");
const LEVELS: [u32; 3] = [850, 500, 100];
/// Names with the number of their quantity in its category, of GRIB 2 (0,3,5), (0,2,2), (0,2,3), (0,0,0).
const NAMES: [(&str, [u8; 2]); 4] = [
    ("HGT", [3, 5]),
    ("UGRD", [2, 2]),
    ("VGRD", [2, 3]),
    ("TMP", [0, 0]),
];

fn bz2(bytes: &[u8]) -> Vec<u8> {
    let mut packed = BzEncoder::new(Vec::new(), Compression::best());
    packed.write_all(bytes).unwrap();
    packed.finish().unwrap()
}

/// The message of a quantity and a level, taken out here and not by the program: in each, section 4
/// begins at byte 109.
fn message([category, number]: [u8; 2], hpa: u32) -> Vec<u8> {
    let mut rest = GRID;
    loop {
        let length = u64::from_be_bytes(rest[8..16].try_into().unwrap()) as usize;
        let product = &rest[109..];
        let pa = u32::from_be_bytes(product[24..28].try_into().unwrap());
        let scale = product[23];
        let is_it = product[9..11] == [category, number]
            && product[22] == 100
            && f64::from(pa) / 10_f64.powi(i32::from(scale)) == 100.0 * f64::from(hpa);
        if is_it {
            return rest[..length].to_vec();
        }
        rest = &rest[length..];
    }
}

fn path(name: &str, hpa: u32) -> String {
    let small = name.to_lowercase();
    format!("/06/{small}/M_2020081506_006_{hpa}_{name}.grib2.bz2")
}

fn files() -> Files {
    let all = NAMES
        .iter()
        .flat_map(|named| LEVELS.map(|hpa| (named, hpa)));
    all.map(|((name, code), hpa)| (path(name, hpa), bz2(&message(*code, hpa))))
        .collect()
}

fn right() -> Vec<u8> {
    let all = NAMES
        .iter()
        .flat_map(|(_, code)| LEVELS.map(|hpa| message(*code, hpa)));
    all.collect::<Vec<_>>().concat()
}

/// Fetches step 6 into a folder; the bytes of the file.
fn fetch(server: &Server, folder: &Path) -> Result<Vec<u8>> {
    let table = feed_text(&server.url(), "none")
        .replace(
            "{date}/{hour}/f{step:3}.grib2",
            "{hour}/{name:small}/M_{date}{hour}_{step:3}_{level}_{name}.grib2.bz2",
        )
        .replace(
            "[10, 50, 100, 200, 250, 300, 400, 500, 700, 850, 925, 1000]",
            "[850, 500, 100]",
        )
        .replace("inventory =", "whole_bytes = 5000\ninventory =");
    let feeds = Feeds::built_in()?.extended("test.toml", &table)?;
    let noon = "2020-08-15T12:00:00Z".parse().unwrap();
    let order = Order {
        feed: feeds.get("test")?,
        site: Position::new(48.0, 2.0).unwrap(),
        reach_m: 1e5,
        probe: true,
        period: Period {
            from: noon,
            to: noon,
        },
        now: noon,
        run: Some("2020-08-15T06:00:00Z".parse().unwrap()),
        members: Vec::new(),
        folder: folder.to_owned(),
        connections: 2,
    };
    let client = Client::new(patience());
    let found = survey(&client, &order, &|_| ())?;
    assert_eq!(found.requests(), (12, 60_000));
    let manifest = download(&client, &order, &found, &found.files[0], &|_| (), &|_| ())?;
    let bytes = fs::read(&found.files[0].path).unwrap();
    assert_eq!(manifest.bytes, bytes.len() as u64);
    assert!(
        found.files[0]
            .path
            .ends_with("test-20200815-06z-f006-f006.grib2")
    );
    Ok(bytes)
}

/// Does not fetch, leaves no file, and tells why, naming the file.
fn fails(server: &Server) -> String {
    let folder = tempfile::tempdir().unwrap();
    let message = fetch(server, folder.path()).unwrap_err().to_string();
    let left = fs::read_dir(folder.path()).unwrap();
    let left: Vec<_> = left.map(|e| e.unwrap().file_name()).collect();
    assert!(left.iter().all(|name| name == ".fetch.lock"), "{left:?}");
    assert!(message.contains("UGRD.grib2.bz2"), "{message}");
    message
}

/// A server that gives this for the wind at 500 hPa.
fn with(bytes: Vec<u8>) -> Server {
    let mut files = files();
    files.insert(path("UGRD", 500), bytes);
    Server::good(files)
}

#[test]
fn packed_fields_are_unpacked_and_put_together() {
    let server = Server::good(files());
    let folder = tempfile::tempdir().unwrap();
    assert!(fetch(&server, folder.path()).unwrap() == right());
    // Each field once, and the beginning of the last, to know that the run is there.
    assert_eq!((server.seen().len(), server.ranges().len()), (13, 1));
    // Not packed after all, or twice.
    let wind = message([2, 2], 500);
    for bytes in [bz2(&bz2(&wind)), wind] {
        let folder = tempfile::tempdir().unwrap();
        assert!(fetch(&with(bytes), folder.path()).unwrap() == right());
    }
}

#[test]
fn a_field_that_is_cut_short_is_asked_for_again() {
    let wind = path("UGRD", 500);
    let whole = files()[&wind].clone();
    let cut = response(200, &[], &whole[..whole.len() - 20]);
    let manners = move |request: &Request, before: usize| match request.path == wind && before == 0
    {
        true => Answer::Raw(cut.clone()),
        false => Answer::Well,
    };
    let server = Server::start(files(), manners);
    let folder = tempfile::tempdir().unwrap();
    assert!(fetch(&server, folder.path()).unwrap() == right());
    let told = fails(&with(whole[..whole.len() - 20].to_vec()));
    assert!(told.contains("ends too early"), "{told}");
}

#[test]
fn what_is_in_a_packed_file_is_checked() {
    let wind = message([2, 2], 500);
    let mut of_other_run = wind.clone();
    // The hour of the run: octet 17 of section 1, which begins at byte 16.
    of_other_run[16 + 16] = 0;
    for (bytes, found) in [
        (bz2(&of_other_run), "fields for 2020-08-15T06:00:00Z"),
        (bz2(&wind[..wind.len() - 30]), "only"),
        (
            bz2(b"<html><body>Maintenance today</body></html>"),
            "Maintenance today",
        ),
        (bz2(b""), "an empty answer"),
        (b"PK\x03\x04....".to_vec(), "a zip archive"),
    ] {
        let told = fails(&with(bytes));
        assert!(told.contains(found), "{found}: {told}");
    }
}

#[test]
fn a_file_that_would_fill_the_memory_is_refused() {
    // A kilobyte for each gigabyte: a stream of a megabyte of nothing, 300 times.
    let bomb = bz2(&vec![0; 1 << 20]).repeat(300);
    assert!(bomb.len() < 20_000);
    let told = fails(&with(bomb));
    assert!(told.contains("more than 256 MB when unpacked"), "{told}");
}

#[test]
fn a_run_that_is_not_there_is_known_by_its_last_field() {
    let server = Server::good(Files::new());
    let folder = tempfile::tempdir().unwrap();
    let message = fetch(&server, folder.path()).unwrap_err().to_string();
    assert!(message.contains("none of the runs"), "{message}");
    assert_eq!(server.seen().len(), 1);
    // One field less is no forecast.
    let mut files = files();
    files.remove(&path("UGRD", 500));
    let told = fails(&Server::good(files));
    assert!(told.contains("no such file"), "{told}");
}

#[test]
fn two_ways_to_ask_are_one_too_many() {
    let table =
        feed_text("http://127.0.0.1:9", "idx").replace("inventory", "whole_bytes = 5\ninventory");
    let refused = Feeds::built_in().unwrap().extended("test.toml", &table);
    let message = refused.unwrap_err().to_string();
    assert!(message.contains("whole_bytes"), "{message}");
}

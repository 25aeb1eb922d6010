//! `windfall fetch` from services that cut a region out, on this machine: the program's own feeds with
//! the test's server for their host, and a real forecast behind it (tests/data/grids).

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/feed.rs"]
mod feed;
#[path = "common/filter.rs"]
mod filter;
#[path = "common/program.rs"]
mod program;
#[allow(dead_code)]
#[path = "common/server.rs"]
mod server;

use std::fs;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use proptest::prelude::*;
use windfall::error::Result;
use windfall::fetch::download::download;
use windfall::fetch::feed::{Feed, Feeds};
use windfall::fetch::http::Client;
use windfall::fetch::manifest::Manifest;
use windfall::fetch::runs::Period;
use windfall::fetch::survey::{Order, survey};
use windfall::geodesy::Position;
use windfall::sources::grid::GridFile;

use feed::patience;
use filter::{Filter, Query, messages};
use program::{stderr, stdout, windfall};
use server::{Answer, Files, Request, Server, response};

const TABLE: &str = include_str!("../src/fetch/feeds.toml");
const EUROPE: Filter = Filter { shifted: 0.0 };
/// The same forecast across the date line: 175 E to 171 W.
const PACIFIC: Filter = Filter { shifted: 180.0 };

const PLAN: &str = r#"
[flight]
name = "test"
release = 2020-03-14T06:30:00Z
timezone = "UTC"
[site]
lat = 46.1
lon = 2.1
elevation = "100 m"
[ascent]
rate = "5 m/s"
burst_altitude = "30 km"
[descent]
landing_speed = "5 m/s"
"#;

/// The filter as a server: `/cgi-bin/...` answered with the length told.
fn served(filter: Filter) -> impl Fn(&Request, usize) -> Answer + Send + Sync + Clone {
    move |request: &Request, _| Answer::Raw(response(200, &[], &answer(filter, request)))
}

fn answer(filter: Filter, request: &Request) -> Vec<u8> {
    filter.answer(&Query::of(&request.path))
}

/// An answer that ends when the connection does.
fn without_length(body: &[u8]) -> Answer {
    let head = b"HTTP/1.1 200 OK\r\nConnection: close\r\n\r\n";
    Answer::Raw([&head[..], body].concat())
}

/// The program's table with this server in place of the real ones.
fn table(server: &Server) -> String {
    let url = server.url();
    TABLE
        .replace("https://nomads.ncep.noaa.gov", &url)
        .replace("https://thredds.ucar.edu", &url)
}

/// The same with the filter's longitudes as given.
fn with_seam(server: &Server, longitudes: &str) -> String {
    let spacing = format!("spacing = 0.25, longitudes = \"{longitudes}\", ");
    table(server).replace(
        "spacing = 0.25, value_bits = 10",
        &(spacing + "value_bits = 10"),
    )
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

    /// Fetches from a feed of this table, for two hours in the morning of the 14th.
    fn fetch(&self, table: &str, lon_deg: f64, hours: [&str; 2]) -> Result<(Vec<u8>, Manifest)> {
        let feeds = Feeds::built_in()?.extended("test.toml", table)?;
        let feed = feeds.get("gfs")?;
        let order = order(
            feed,
            Position {
                lat_deg: 46.1,
                lon_deg,
            },
            hours,
        );
        let order = Order {
            folder: self.folder.path().to_owned(),
            ..order
        };
        let said = self.said.clone();
        let voice = move |text: &str| said.lock().unwrap().push(text.to_owned());
        let client = Client::new(patience())
            .paced(feed.a_minute)
            .saying(Box::new(voice));
        let said = self.said.clone();
        let say = move |text: &str| said.lock().unwrap().push(text.to_owned());
        let found = survey(&client, &order, &say)?;
        let manifest = download(&client, &order, &found, &found.files[0], &say, &|_| ())?;
        Ok((fs::read(&found.files[0].path).unwrap(), manifest))
    }

    fn said(&self) -> String {
        self.said.lock().unwrap().join("\n")
    }

    /// Does not fetch, leaves no file, and tells why.
    fn fails(&self, table: &str) -> String {
        let message = self.fetch(table, 2.1, MORNING).unwrap_err().to_string();
        assert!(message.contains("expected"), "{message}");
        let left = fs::read_dir(self.folder.path()).unwrap();
        let left: Vec<_> = left.map(|e| e.unwrap().file_name()).collect();
        assert!(left.iter().all(|name| name == ".fetch.lock"), "{left:?}");
        message
    }
}

const MORNING: [&str; 2] = ["2020-03-14T06:00:00Z", "2020-03-14T07:00:00Z"];

fn order<'a>(feed: &'a Feed, site: Position, hours: [&str; 2]) -> Order<'a> {
    Order {
        feed,
        site,
        reach_m: 200_000.0,
        period: Period {
            from: time(hours[0]),
            to: time(hours[1]),
        },
        now: time(hours[0]),
        run: Some(time("2020-03-14T00:00:00Z")),
        members: Vec::new(),
        folder: Path::new("nowhere").to_owned(),
        connections: 2,
        probe: true,
    }
}

#[test]
fn a_plan_gets_the_region_it_needs_and_can_use_it() {
    let server = Server::start(Files::new(), served(EUROPE));
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    fs::write(path("plan.toml"), PLAN).unwrap();
    fs::write(path("feeds.toml"), table(&server)).unwrap();
    let (plan, feeds) = (path("plan.toml"), path("feeds.toml"));
    let run = ["--run", "2020-03-14T00:00:00Z", "--reach", "300 km"];
    let args = [&[plan.as_str(), "--feeds", &feeds], &run[..]].concat();

    let dry = windfall("fetch", &[&args[..], &["--dry-run"]].concat());
    assert_eq!(dry.status.code(), Some(0), "{}", stderr(&dry));
    assert!(server.seen().is_empty());
    assert!(
        stdout(&dry).contains("9 requests, about "),
        "{}",
        stdout(&dry)
    );

    let output = windfall("fetch", &args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    // 300 km are 2.71 degrees of latitude and, at 48.8 N, 4.12 of longitude.
    assert!(
        stderr(&output)
            .contains("region: 43.25 N to 49 N, 2.25 W to 6.25 E, 300 km around the site"),
        "{}",
        stderr(&output)
    );
    assert!(
        stderr(&output).contains("9 requests, about "),
        "{}",
        stderr(&output)
    );

    // One small question whether the run is there, then one a step.
    let seen = server.seen();
    assert_eq!(seen.len(), 10);
    let probe = Query::of(&seen[0].path);
    assert_eq!(probe.step(), 13);
    assert!(probe.number("rightlon") - probe.number("leftlon") <= 0.5);
    let mut steps: Vec<u32> = seen[1..]
        .iter()
        .map(|r| Query::of(&r.path).step())
        .collect();
    steps.sort();
    assert_eq!(steps, (5..=13).collect::<Vec<_>>());
    for request in &seen[1..] {
        let query = Query::of(&request.path);
        let edges = ["leftlon", "rightlon", "bottomlat", "toplat"].map(|e| query.number(e));
        assert_eq!(edges, [-2.25, 6.25, 43.25, 49.0]);
        assert_eq!(query.parameters["dir"], "%2Fgfs.20200314%2F00%2Fatmos");
    }
    let file = path("winds/gfs-20200314-00z-46.1n2.1e-f005-f013.grib2");
    let right: Vec<u8> = (5..=13)
        .flat_map(|step| {
            let of_step = |r: &&Request| Query::of(&r.path).step() == step;
            answer(EUROPE, seen[1..].iter().find(of_step).unwrap())
        })
        .collect();
    assert!(fs::read(&file).unwrap() == right);
    let manifest = Manifest::of_whole(Path::new(&file)).unwrap();
    assert_eq!(
        manifest.region.unwrap().in_words(),
        "43.25 N to 49 N, 2.25 W to 6.25 E"
    );
    assert_eq!(manifest.sources.len(), 9);

    // What is there is not fetched again; but for another region it is.
    let again = windfall("fetch", &args);
    assert!(
        stderr(&again).contains("is there already, whole"),
        "{}",
        stderr(&again)
    );
    assert_eq!(server.seen().len(), 10);

    let zone = windfall("zone", &[&plan, "--wind", &file, "--draws", "64"]);
    assert_eq!(zone.status.code(), Some(0), "{}", stderr(&zone));
}

#[test]
fn without_reach_there_is_room_for_a_strong_wind() {
    let server = Server::start(Files::new(), served(EUROPE));
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    fs::write(path("plan.toml"), PLAN).unwrap();
    fs::write(path("feeds.toml"), table(&server)).unwrap();
    let (plan, feeds) = (path("plan.toml"), path("feeds.toml"));
    let dry = windfall("fetch", &[&plan, "--feeds", &feeds, "--dry-run"]);
    let said = stderr(&dry);
    assert!(
        said.contains("h aloft in a mean wind of 40 m/s (assumed) and 100 km"),
        "{said}"
    );
    // 30 km at 5 m/s are 6,000 s, and a fall of 5 m/s at the ground from there takes some 2,900 s.
    let words: Vec<&str> = said.split_whitespace().collect();
    let at = words.iter().position(|w| *w == "around").unwrap();
    let far_km: f64 = words[at - 2].parse().unwrap();
    assert!((430.0..=500.0).contains(&far_km), "{said}");
}

#[test]
fn a_page_instead_of_a_file_is_quoted() {
    let page = "<!DOCTYPE html><html><head><title>Over Rate Limit</title><style>p { x: y }</style>\
                </head><body><p>Access is <b>denied</b> for an hour.</p></body></html>";
    for status in [200, 403] {
        let denied = move |_: &Request, _| {
            let headers = [("Content-Type", "text/html".to_owned())];
            Answer::Raw(response(status, &headers, page.as_bytes()))
        };
        let server = Server::start(Files::new(), denied);
        let message = Place::new().fails(&table(&server));
        assert!(
            message.contains("\"Over Rate Limit Access is denied for an hour.\""),
            "{message}"
        );
        assert_eq!(server.seen().len(), 1);
    }
}

#[test]
fn a_run_that_is_not_there_is_one_that_the_service_says_so_of() {
    let says: [fn(&Request, usize) -> Answer; 2] = [
        |_, _| Answer::Status(404, "no"),
        |_, _| Answer::Status(200, "<h1>data file is not present: /a/b</h1>"),
    ];
    for says in says {
        let server = Server::start(Files::new(), says);
        let place = Place::new();
        let message = place.fails(&table(&server));
        assert!(
            message.contains("none of the runs 2020-03-14T00:00:00Z"),
            "{message}"
        );
        assert!(
            place.said().contains("is not there (no http://127.0.0.1"),
            "{}",
            place.said()
        );
    }
}

#[test]
fn an_answer_needs_no_length_but_its_end() {
    let bare = |r: &Request, _| without_length(&answer(EUROPE, r));
    let server = Server::start(Files::new(), bare);
    let (right, _) = Place::new().fetch(&table(&server), 2.1, MORNING).unwrap();
    assert!(messages(&right).len() > 2 * 100);
    // Cut off, or empty, the first time: within a message, and between two.
    for cut in [0, 2, 3] {
        let torn = move |r: &Request, before| {
            let whole = answer(EUROPE, r);
            let end = whole.len().checked_div(cut).unwrap_or(0);
            without_length(if before == 0 { &whole[..end] } else { &whole })
        };
        let server = Server::start(Files::new(), torn);
        let (bytes, _) = Place::new().fetch(&table(&server), 2.1, MORNING).unwrap();
        assert!(bytes == right, "cut {cut}");
    }
    // Each time; with the length told, too.
    let torn = |r: &Request, _| {
        let whole = answer(EUROPE, r);
        without_length(&whole[..whole.len() - 5])
    };
    let message = Place::new().fails(&table(&Server::start(Files::new(), torn)));
    assert!(
        message.contains("only ") && message.contains(" bytes, 3 times"),
        "{message}"
    );
    let torn = |r: &Request, _| {
        let mut whole = response(200, &[], &answer(EUROPE, r));
        whole.truncate(whole.len() - 5);
        Answer::Raw(whole)
    };
    let message = Place::new().fails(&table(&Server::start(Files::new(), torn)));
    assert!(
        message.contains("broke off") && message.contains("3 times"),
        "{message}"
    );
}

#[test]
fn damaged_and_wrong_answers_are_refused() {
    let spoilt = |spoil: fn(&mut Vec<u8>)| {
        move |r: &Request, _| {
            let mut bytes = answer(EUROPE, r);
            spoil(&mut bytes);
            without_length(&bytes)
        }
    };
    for (spoil, found) in [
        (
            (|bytes| {
                let end = bytes.len();
                bytes[end - 1] = b'8';
            }) as fn(&mut Vec<u8>),
            "does not end with \"7777\"",
        ),
        (|bytes| bytes.extend(b"<html>"), "only "),
        (|bytes| bytes.extend([0; 99]), "no GRIB message at byte"),
        // The hour of the run, in octet 17 of section 1, of the first message.
        (|bytes| bytes[32] = 6, "found fields for 2020-03-14T"),
    ] {
        let server = Server::start(Files::new(), spoilt(spoil));
        let message = Place::new().fails(&table(&server));
        assert!(message.contains(found), "{found}: {message}");
    }
    // One step for all.
    let one_step = |r: &Request, _| {
        let mut query = Query::of(&r.path);
        let file = "gfs.t00z.pgrb2.0p25.f007".to_owned();
        query.parameters.insert("file".into(), file);
        without_length(&EUROPE.answer(&query))
    };
    let message = Place::new().fails(&table(&Server::start(Files::new(), one_step)));
    assert!(
        message
            .contains("found fields for 2020-03-14T07:00:00Z; expected 2020-03-14T06:00:00Z, 6 h"),
        "{message}"
    );
    // No heights, as if their name had changed.
    let no_heights = |r: &Request, _| {
        let mut query = Query::of(&r.path);
        query.parameters.remove("var_HGT");
        without_length(&EUROPE.answer(&query))
    };
    let message = Place::new().fails(&table(&Server::start(Files::new(), no_heights)));
    assert!(message.contains("height"), "{message}");
    // Another region: the site is not in it.
    let elsewhere = |r: &Request, _| {
        let mut query = Query::of(&r.path);
        for (edge, value) in [("leftlon", "6"), ("rightlon", "9")] {
            query.parameters.insert(edge.into(), value.into());
        }
        without_length(&EUROPE.answer(&query))
    };
    let message = Place::new().fails(&table(&Server::start(Files::new(), elsewhere)));
    assert!(
        message.contains("a region that has the site in it"),
        "{message}"
    );
}

/// Every field decoded, by quantity, level and time.
fn fields(bytes: &[u8]) -> Vec<(String, ndarray::Array2<f32>)> {
    let file = GridFile::from_bytes("f", bytes.to_vec()).unwrap();
    let slabs = file.slabs.iter().enumerate();
    let mut all: Vec<_> = slabs
        .map(|(i, slab)| {
            let name = format!("{:?} {} {}", slab.quantity, slab.surface, slab.valid);
            (
                name,
                file.read(i, file.lattices[slab.lattice].whole()).unwrap(),
            )
        })
        .collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

#[test]
fn a_region_across_the_seam_is_asked_for_twice_and_joined() {
    for (filter, lon_deg, longitudes, seam) in [
        (EUROPE, 0.6, "0 to 360", [359.75, 0.0]),
        (PACIFIC, -179.4, "-180 to 180", [179.75, -180.0]),
    ] {
        let server = Server::start(Files::new(), served(filter));
        let (whole, _) = Place::new()
            .fetch(&table(&server), lon_deg, MORNING)
            .unwrap();
        let before = server.seen().len();
        let place = Place::new();
        let (joined, manifest) = place
            .fetch(&with_seam(&server, longitudes), lon_deg, MORNING)
            .unwrap();
        let asked = &server.seen()[before + 1..];
        assert_eq!(asked.len(), 4);
        assert_eq!(manifest.sources.len(), 4);
        for request in asked {
            let query = Query::of(&request.path);
            let (left, right) = (query.number("leftlon"), query.number("rightlon"));
            assert!(
                left < right && (right == seam[0] || left == seam[1]),
                "{left} {right}"
            );
        }
        let (whole, joined) = (fields(&whole), fields(&joined));
        assert_eq!(whole.len(), joined.len());
        for ((name, a), (other, b)) in whole.iter().zip(&joined) {
            assert_eq!(name, other);
            assert_eq!(a.dim(), b.dim(), "{name}");
            let most = a
                .iter()
                .zip(b)
                .map(|(a, b)| (a - b).abs())
                .fold(0.0, f32::max);
            // An eighth of a tenth of a unit at most, and less for winds: 1/80 m, 1/80 K, 1/80 m/s.
            assert!(most <= 0.0126, "{name} {most}");
        }
    }
}

#[test]
fn halves_that_do_not_belong_together_are_not_joined() {
    let wrong = |r: &Request, _| {
        let mut query = Query::of(&r.path);
        if query.number("leftlon") == 0.0 {
            query.parameters.insert("leftlon".into(), "0.5".into());
        }
        without_length(&EUROPE.answer(&query))
    };
    let server = Server::start(Files::new(), wrong);
    let table = with_seam(&server, "0 to 360");
    let message = Place::new()
        .fetch(&table, 0.6, MORNING)
        .unwrap_err()
        .to_string();
    assert!(
        message.contains(
            "message 1: found a part that ends at 359.75 degrees east beside one that begins at 0.5"
        ),
        "{message}"
    );
}

#[test]
fn the_run_before_is_taken_where_the_newest_is_not_complete() {
    let late = |r: &Request, _| match r.path.contains("%2F06%2Fatmos") {
        true => Answer::Status(404, "not yet"),
        false => Answer::Raw(response(200, &[], &answer(EUROPE, r))),
    };
    let server = Server::start(Files::new(), late);
    let feeds = Feeds::built_in()
        .unwrap()
        .extended("t", &table(&server))
        .unwrap();
    let feed = feeds.get("gfs").unwrap();
    let site = Position {
        lat_deg: 46.1,
        lon_deg: 2.1,
    };
    let order = Order {
        now: time("2020-03-14T11:30:00Z"),
        run: None,
        ..order(feed, site, ["2020-03-14T12:00:00Z", "2020-03-14T13:00:00Z"])
    };
    let said = std::cell::RefCell::new(String::new());
    let say = |text: &str| said.borrow_mut().push_str(text);
    let found = survey(&Client::new(patience()), &order, &say).unwrap();
    assert_eq!(found.choice.run, time("2020-03-14T00:00:00Z"));
    assert_eq!(found.choice.steps, [12, 13]);
    let said = said.into_inner();
    assert!(
        said.contains("the run 2020-03-14T06:00:00Z is not there"),
        "{said}"
    );
    assert!(
        said.contains("trying the one before, 2020-03-14T00:00:00Z"),
        "{said}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn changed_answers_on_both_sides_of_a_seam_do_no_harm(
        changes in prop::collection::vec((any::<bool>(), 0..700usize, any::<u8>()), 1..6),
    ) {
        let query = |left: f64, right: f64| {
            let path = format!(
                "/?file=gfs.t00z.pgrb2.0p25.f006&leftlon={left}&rightlon={right}&bottomlat=45&toplat=47\
                 &var_UGRD=on&var_VGRD=on&var_HGT=on&lev_500_mb=on&lev_300_mb=on"
            );
            EUROPE.answer(&Query::of(&path))
        };
        let mut halves = [query(359.0, 359.75), query(0.0, 2.0)];
        for (east, at, byte) in changes {
            halves[usize::from(east)][at] = byte;
        }
        let sent = move |r: &Request, _| {
            let east = Query::of(&r.path).number("leftlon") < 180.0;
            without_length(&halves[usize::from(east)])
        };
        let server = Server::start(Files::new(), sent);
        let hours = ["2020-03-14T06:00:00Z"; 2];
        if let Err(why) = Place::new().fetch(&with_seam(&server, "0 to 360"), 0.6, hours) {
            let why = why.to_string();
            prop_assert!(why.contains("expected"), "{}", why);
        }
    }
}

#[test]
fn a_feed_is_asked_no_more_often_than_its_keepers_want() {
    let server = Server::start(Files::new(), served(EUROPE));
    let slow = table(&server).replace("requests_a_minute = 100", "requests_a_minute = 3");
    let begun = Instant::now();
    let hours = ["2020-03-14T05:00:00Z", "2020-03-14T11:00:00Z"];
    Place::new().fetch(&slow, 2.1, hours).unwrap();
    // Eight requests, three in any 300 ms, which stand for a minute here.
    assert_eq!(server.seen().len(), 8);
    assert!(
        begun.elapsed() >= Duration::from_millis(600),
        "{:?}",
        begun.elapsed()
    );
}

/// A real answer of such a server, a step of NetCDF 4.
const NETCDF: &[u8] = include_bytes!("data/grids/gfs_1p0_north_america_20101026_12z.nc");

#[test]
fn netcdf_comes_a_file_a_step() {
    for cut in [
        None,
        Some(NETCDF.len() / 2),
        Some(NETCDF.len() - 1),
        Some(40),
    ] {
        let sent = move |_: &Request, _| without_length(&NETCDF[..cut.unwrap_or(NETCDF.len())]);
        let server = Server::start(Files::new(), sent);
        let feeds = Feeds::built_in()
            .unwrap()
            .extended("t", &table(&server))
            .unwrap();
        let feed = feeds.get("gfs-thredds").unwrap();
        let site = Position {
            lat_deg: 43.1,
            lon_deg: -108.4,
        };
        let hours = ["2010-10-26T12:00:00Z"; 2];
        let folder = tempfile::tempdir().unwrap();
        let order = Order {
            run: Some(time(hours[0])),
            folder: folder.path().to_owned(),
            ..order(feed, site, hours)
        };
        let client = Client::new(patience());
        let found = survey(&client, &order, &|_| ());
        let Some(at) = cut else {
            let found = found.unwrap();
            let [file] = &found.files[..] else {
                panic!("{:?}", found.files);
            };
            assert!(
                file.path
                    .ends_with("gfs-thredds-20101026-12z-43.1n108.4w-f000-f000.nc")
            );
            let manifest = download(&client, &order, &found, file, &|_| (), &|_| ()).unwrap();
            assert_eq!(manifest.bytes, NETCDF.len() as u64);
            assert!(fs::read(&file.path).unwrap() == NETCDF);
            let asked = &server.seen()[1].path;
            assert!(
                asked.contains("?var=Geopotential_height_isobaric&var=u-component"),
                "{asked}"
            );
            assert!(asked.contains("&time=2010-10-26T12:00:00Z&"), "{asked}");
            continue;
        };
        let message = found.unwrap_err().to_string();
        assert!(message.contains("3 times"), "{at}: {message}");
    }
}

#[test]
fn the_names_asked_of_such_a_server_are_those_of_a_real_answer() {
    let feeds = Feeds::built_in().unwrap();
    for wanted in &feeds.get("gfs-thredds").unwrap().wanted {
        let name = wanted.name.as_bytes();
        assert!(
            NETCDF.windows(name.len()).any(|w| w == name),
            "{}",
            wanted.name
        );
    }
}

/// A model on a Lambert cone, as the filter cuts it out: a real message file stands for the answer. The
/// region asked for is in degrees, what comes is a part of the model's own map.
#[test]
fn a_region_of_a_map_that_is_no_grid_of_degrees() {
    const NAM: &[u8] = include_bytes!("data/grids/nam_lambert_20180917_00z.grib2");
    let send = |_: &Request, _| Answer::Raw(without_length_of(NAM));
    for (name, script) in [
        ("hrrr-filter", "filter_hrrr_3d.pl"),
        ("rap", "filter_rap.pl"),
    ] {
        let server = Server::start(Files::new(), send);
        let feeds = Feeds::built_in().unwrap();
        let feeds = feeds.extended("test.toml", &table(&server)).unwrap();
        let midnight = "2018-09-17T00:00:00Z";
        let place = Place::new();
        let site = Position::new(41.3, -96.4).unwrap();
        let order = Order {
            run: Some(time(midnight)),
            folder: place.folder.path().to_owned(),
            ..order(feeds.get(name).unwrap(), site, [midnight; 2])
        };
        let client = Client::new(patience());
        let found = survey(&client, &order, &|_| ()).unwrap();
        download(&client, &order, &found, &found.files[0], &|_| (), &|_| ()).unwrap();
        let asked = server.seen().last().unwrap().path.clone();
        assert!(asked.starts_with(&format!("/cgi-bin/{script}?")), "{asked}");
        // 200 km are 1.8 degrees of latitude, rounded outwards to the feed's spacing.
        for edge in [
            "toplat=43.",
            "bottomlat=39.",
            "leftlon=-98.",
            "rightlon=-93.",
        ] {
            assert!(asked.contains(edge), "{edge}: {asked}");
        }
        let bytes = fs::read(&found.files[0].path).unwrap();
        assert!(bytes == NAM, "{name}");
        let file = GridFile::from_bytes(name, bytes).unwrap();
        let plane = format!("{:?}", file.lattices[0].plane);
        assert!(plane.contains("+proj=lcc"), "{plane}");
    }
}

fn without_length_of(body: &[u8]) -> Vec<u8> {
    let Answer::Raw(answer) = without_length(body) else {
        unreachable!();
    };
    answer
}

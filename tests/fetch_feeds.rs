//! The program's table of feeds: every address of it written out, and how many bytes a flight takes.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/program.rs"]
mod program;

use std::fs;
use std::path::Path;

use jiff::Timestamp;
use windfall::fetch::feed::{Feed, Feeds};
use windfall::fetch::field::Level;
use windfall::fetch::inventory::{Message, idx};
use windfall::fetch::region::Region;
use windfall::fetch::runs::{Period, candidates};
use windfall::fetch::survey::{Order, addresses, members};
use windfall::geodesy::Position;

use program::{stderr, stdout, windfall};

fn time(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// A flight with a place on the map of every feed: now, site and release.
struct Flight {
    now: &'static str,
    site: Position,
    release: &'static str,
}

/// A morning in winter with the clocks of UTC, a day ahead; over the plains.
const WINTER: Flight = Flight {
    now: "2026-01-14T16:10:00Z",
    site: Position {
        lat_deg: 41.3,
        lon_deg: -96.4,
    },
    release: "2026-01-15T15:00:00Z",
};

/// An evening in summer, hours ahead and over the end of a day of UTC.
const SUMMER: Flight = Flight {
    now: "2026-07-01T20:40:00Z",
    site: Position {
        lat_deg: 39.75,
        lon_deg: -104.9,
    },
    release: "2026-07-02T00:30:00Z",
};

/// The run that is taken, and the addresses of its first step, of the last member.
fn written_out(feed: &Feed, flight: &Flight) -> String {
    let release = time(flight.release);
    let hours = |h: i64| release + jiff::SignedDuration::from_hours(h);
    let period = Period {
        from: hours(-1),
        to: hours(6),
    };
    let now = time(flight.now);
    let choice = match candidates(feed, period, now) {
        Ok(choices) => choices[0].clone(),
        Err(why) => return format!("  {why}\n"),
    };
    let order = Order {
        feed,
        site: flight.site,
        reach_m: 500_000.0,
        period,
        now,
        run: None,
        members: members(feed, &[]).unwrap(),
        folder: Path::new("winds").to_owned(),
        connections: 1,
        probe: false,
    };
    let member = feed.members.last().cloned();
    let steps = (choice.steps[0], choice.steps.last().unwrap());
    let mut text = format!("  run {}, steps {} to {}\n", choice.run, steps.0, steps.1);
    for url in addresses(&order, &choice, steps.0, &member) {
        text += &format!("  {url}\n");
    }
    text
}

#[test]
fn every_address_of_the_table() {
    let feeds = Feeds::built_in().unwrap();
    let mut text = String::new();
    for feed in feeds.iter() {
        text += &format!("{}\n", feed.name);
        text += &written_out(feed, &WINTER);
        text += &written_out(feed, &SUMMER);
    }
    insta::assert_snapshot!("every_address_of_the_table", text);
}

#[test]
fn no_address_is_without_encryption_and_every_service_is_paced() {
    let feeds = Feeds::built_in().unwrap();
    for feed in feeds.iter() {
        let secure = |text: &str| text.starts_with("https://");
        assert!(
            feed.urls.iter().all(|url| secure(url.text())),
            "{}",
            feed.name
        );
        // NCEP asks for 120 requests a minute at most (Service Change Notice 21-32).
        let of_ncep = feed
            .urls
            .iter()
            .any(|url| url.text().contains("nomads.ncep"));
        assert!(!of_ncep || feed.a_minute.is_some_and(|a_minute| a_minute < 120));
        // Files of one field each are many requests.
        let many = feed.urls.len() > 10;
        let made_for_us = feed.service.is_some() || feed.point.is_some();
        assert_eq!(
            made_for_us || many,
            feed.a_minute.is_some(),
            "{}",
            feed.name
        );
    }
}

/// What keepers changed since 2024, as public downloaders and inventories of 2024 to 2026 have it.
#[test]
fn feeds_are_of_today() {
    let feeds = Feeds::built_in().unwrap();
    let reach = |name: &str, hour: u8| {
        let runs = &feeds.get(name).unwrap().runs;
        let of_hour = runs.iter().find(|r| r.hours.contains(&hour));
        *of_hour.unwrap().steps.last().unwrap()
    };
    let levels = |name: &str| {
        let wanted = &feeds.get(name).unwrap().wanted;
        let winds = wanted.iter().filter(|w| w.code == [0, 2, 2]);
        let hpa = winds.filter_map(|w| match w.level {
            Level::Pressure(hpa) => Some(hpa),
            _ => None,
        });
        hpa.collect::<Vec<f64>>()
    };
    for name in ["ecmwf", "ecmwf-ens"] {
        let reaches = [0, 6, 12, 18].map(|hour| reach(name, hour));
        assert_eq!(reaches, [360, 144, 360, 144], "{name}");
        assert!(levels(name).ends_with(&[10.0]), "{name}");
    }
    let complete_s = feeds.get("ecmwf-ens").unwrap().complete_after_s;
    assert!((31_200..=34_000).contains(&complete_s), "8 h 40 min or so");
    let ai = feeds.get("ecmwf-ai").unwrap();
    assert!(ai.urls[0].text().contains("/aifs-single/0p25/oper/"));
    let heights = ai.wanted.iter().find(|w| w.name == "z").unwrap();
    assert_eq!(heights.code, [0, 3, 4]);
    let all = [0, 6, 12, 18].map(|hour| reach("ecmwf-ai", hour));
    assert_eq!(all, [360; 4]);
    assert!(ai.runs[0].steps.windows(2).all(|s| s[1] - s[0] == 6));
    assert_eq!(levels("ecmwf-ai").len(), 13);
    let successor = feeds.get("rrfs").unwrap();
    assert!(successor.urls[0].text().contains("noaa-rrfs-ops-pds"));
    assert_eq!(levels("rrfs").len(), 45);
    assert_eq!(levels("rrfs").last(), Some(&2.0));
    for name in [
        "rrfs",
        "ecmwf-ai",
        "icon-eu",
        "gdps",
        "hrrr-filter",
        "rap",
        "point",
    ] {
        assert!(feeds.get(name).unwrap().untried.is_some(), "{name}");
    }
}

const PLAN: &str = r#"
[flight]
name = "test"
release = 2026-01-15T15:00:00Z
timezone = "UTC"
[site]
lat = LAT
lon = 8.2
elevation = "300 m"
[ascent]
rate = "5 m/s"
burst_altitude = "33 km"
[descent]
landing_speed = "5 m/s"
"#;

/// Megabytes and requests that a dry run tells; without a network.
fn dry_run(lat: &str, more: &[&str]) -> (f64, usize) {
    let folder = tempfile::tempdir().unwrap();
    let plan = folder.path().join("plan.toml");
    fs::write(&plan, PLAN.replace("LAT", lat)).unwrap();
    let args = [&[plan.to_str().unwrap(), "--dry-run"], more].concat();
    let output = windfall("fetch", &args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let text = stdout(&output);
    let last = text.lines().last().unwrap();
    let words: Vec<&str> = last.split(' ').collect();
    let ["requests,", "about", mb, "MB", "to", "download"] = words[1..] else {
        panic!("{last}");
    };
    (mb.parse().unwrap(), words[0].parse().unwrap())
}

#[test]
fn a_flight_takes_few_bytes() {
    // gfs is the default; the run is the newest now, and steps may be an hour or three apart.
    let run = ["--run", "2026-01-15T00:00:00Z"];
    for lat in ["0.1", "47.3", "-39.9", "62.5"] {
        let (mb, requests) = dry_run(lat, &run);
        println!("gfs at {lat}: {mb} MB, {requests} requests");
        assert!(mb > 1.0 && mb < 10.0, "{lat}: {mb} MB");
        assert_eq!(requests, 8);
        let all = ["--feed", "gefs", "--members", "all"];
        let (mb, requests) = dry_run(lat, &[&run[..], &all].concat());
        println!("gefs at {lat}: {mb} MB, {requests} requests");
        assert!(mb > 3.0 && mb < 30.0, "{lat}: {mb} MB");
        // 12, 15, 18 and 21 UTC, two files each, of 31 members.
        assert_eq!(requests, 4 * 2 * 31);
    }
}

fn inventory(name: &str) -> Vec<Message> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/inventories");
    idx::parse(name, &fs::read_to_string(folder.join(name)).unwrap()).unwrap()
}

#[test]
fn the_estimate_counts_the_fields_of_a_real_inventory() {
    let feeds = Feeds::built_in().unwrap();
    let gfs = feeds.get("gfs").unwrap();
    let service = gfs.service.as_ref().unwrap();
    let (variables, levels) = (service.variables(&gfs.wanted), service.levels(&gfs.wanted));
    let name = "kerchunk_gfs.t00z.pgrb2.0p25.f021.idx";
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/inventories");
    let text = fs::read_to_string(folder.join(name)).unwrap();
    // What the service would choose: every variable asked for on every level asked for.
    let chosen = text.lines().filter(|line| {
        let parts: Vec<&str> = line.split(':').collect();
        let level = parts[4].replace(' ', "_");
        variables.contains(&format!("&var_{}=on", parts[3]))
            && levels.contains(&format!("&lev_{level}=on"))
    });
    let chosen = chosen.count() as f64;
    let counted = service.fields(&gfs.wanted) as f64;
    println!("{chosen} fields by the inventory, {counted} by the estimate");
    assert!((counted / chosen - 1.0).abs() < 0.1, "{counted} {chosen}");
    // A whole file of this step, for comparison with a region of it.
    let whole: u64 = inventory(name).iter().filter_map(|m| m.length).sum();
    let region = Region::around(WINTER.site, 500_000.0, 0.25);
    assert!(service.estimate(&gfs.wanted, region) * 300 < whole);
}

#[test]
fn the_estimate_is_near_a_real_cut() {
    // 41 to 51 N, 5 W to 9 E of the feed's model, as NCEP's service sent it.
    const CUT: &[u8] = include_bytes!("data/grids/gfs_0p25_western_europe_20200314_00z.grib2");
    let feeds = Feeds::built_in().unwrap();
    let gfs = feeds.get("gfs").unwrap();
    let service = gfs.service.as_ref().unwrap();
    let region = Region {
        south: 41.0,
        north: 51.0,
        west: -5.0,
        east: 9.0,
    };
    assert_eq!(region.points(0.25), 57 * 41);
    let (mut count, mut bytes, mut at) = (0, 0, 0);
    while at < CUT.len() {
        let message = &CUT[at..];
        let length = u64::from_be_bytes(message[8..16].try_into().unwrap());
        // Section 4 stands behind sections 0, 1 (21 bytes) and 3 (72 bytes).
        let product = &message[16 + 21 + 72..];
        let parameter = (message[6], product[9], product[10]);
        let wanted = gfs
            .wanted
            .iter()
            .any(|w| w.is_aloft() && parameter == w.code.into());
        if wanted && product[22] == 100 {
            count += 1;
            bytes += length;
        }
        at += length as usize;
    }
    let a_field = service.estimate(&gfs.wanted, region) / service.fields(&gfs.wanted);
    let ratio = a_field as f64 / (bytes as f64 / count as f64);
    println!(
        "{count} real fields of {} bytes, estimated {a_field}",
        bytes / count
    );
    assert!((0.9..1.1).contains(&ratio), "{ratio}");
}

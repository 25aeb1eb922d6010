//! Zarr stores at addresses: a small server on this machine has the stores of tests/data/grids/zarr, and is
//! good, bad, or plays a bucket of S3. What is read must be what the folders hold.

#![cfg(feature = "buckets")]
// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/packed.rs"]
mod packed;
#[path = "common/server.rs"]
mod server;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use serde_json::{Value, json};
use server::{Answer, Files, Request, Server, response};
use windfall::files::http::Patience;
use windfall::geodesy::lattice::Window;
use windfall::sources::grid::GridFile;
use windfall::wind::slab::{Quantity, Slab, Surface};

const STORES: [&str; 4] = [
    "era5_v2_blosc",
    "era5_v3_sharded",
    "invented_v2_zlib",
    "invented_v3_shards",
];

fn folder(store: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    root.join("tests/data/grids/zarr").join(store)
}

/// All files of a folder by their keys.
fn keys(folder: &Path, before: &str, into: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        let key = format!("{before}{}", entry.file_name().to_str().unwrap());
        match entry.path().is_dir() {
            true => keys(&entry.path(), &format!("{key}/"), into),
            false => drop(into.insert(key, fs::read(entry.path()).unwrap())),
        }
    }
}

/// A store with consolidated metadata, as `zarr.consolidate_metadata` writes them.
fn consolidated(store: &str) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    keys(&folder(store), "", &mut files);
    let parsed = |bytes: &[u8]| serde_json::from_slice::<Value>(bytes).unwrap();
    let mut inside = serde_json::Map::new();
    for (key, bytes) in &files {
        if let Some(name) = key.strip_suffix("/zarr.json") {
            inside.insert(name.to_owned(), parsed(bytes));
        } else if [".zarray", ".zattrs", ".zgroup"]
            .iter()
            .any(|end| key.ends_with(end))
        {
            inside.insert(key.clone(), parsed(bytes));
        }
    }
    let (key, all) = match files.get("zarr.json") {
        None => (
            ".zmetadata",
            json!({"metadata": inside, "zarr_consolidated_format": 1}),
        ),
        Some(bytes) => {
            let mut root = parsed(bytes);
            root["consolidated_metadata"] =
                json!({"kind": "inline", "must_understand": false, "metadata": inside});
            ("zarr.json", root)
        }
    };
    files.insert(key.to_owned(), all.to_string().into_bytes());
    files
}

fn at(path: &str, files: BTreeMap<String, Vec<u8>>) -> Files {
    let each = files.into_iter();
    each.map(|(key, bytes)| (format!("{path}/{key}"), bytes))
        .collect()
}

fn served(store: &str) -> Files {
    at("/a/store", consolidated(store))
}

fn quick() -> Patience {
    Patience {
        connect: Duration::from_secs(5),
        read: Duration::from_millis(700),
        answer: Duration::from_secs(20),
        tries: 4,
        pause: Duration::from_millis(5),
        longest: Duration::from_millis(50),
        minute: Duration::from_secs(60),
    }
}

fn open(server: &Server) -> Result<GridFile, String> {
    GridFile::open_address(&format!("{}/a/store", server.url()), quick()).map_err(|e| e.to_string())
}

fn whole(file: &GridFile, slab: usize) -> Result<Vec<u32>, String> {
    let lattice = &file.lattices[file.slabs[slab].lattice];
    let values = file
        .read(slab, lattice.whole())
        .map_err(|e| e.to_string())?;
    Ok(values.iter().map(|v| v.to_bits()).collect())
}

fn place(slab: &Slab) -> (Quantity, Surface, Timestamp) {
    (slab.quantity, slab.surface, slab.valid)
}

/// Everything is bit for bit that of the folder. What is not stored is told by a folder and asked for at
/// an address, where it is missing.
fn same_as_folder(store: &str, file: &GridFile) {
    let here = GridFile::open(&folder(store)).unwrap();
    let numbered = here.slabs.iter().enumerate();
    let of_folder: BTreeMap<_, usize> = numbered.map(|(i, slab)| (place(slab), i)).collect();
    let mut met = 0;
    for (index, slab) in file.slabs.iter().enumerate() {
        let values = whole(file, index).unwrap();
        match of_folder.get(&place(slab)) {
            Some(same) => {
                assert_eq!(values, whole(&here, *same).unwrap(), "{store}: {slab:?}");
                met += 1;
            }
            None => assert!(
                values.iter().all(|v| f32::from_bits(*v).is_nan()),
                "{slab:?}"
            ),
        }
    }
    assert_eq!(met, here.slabs.len(), "{store}");
}

#[test]
fn values_are_those_of_the_folder_with_ranges_and_without() {
    for store in STORES {
        let server = Server::good(served(store));
        same_as_folder(store, &open(&server).unwrap());
        assert_eq!(server.ranges().is_empty(), store.contains("v2"), "{store}");
        let wholes = Server::start(served(store), |_, _| Answer::Whole);
        same_as_folder(store, &open(&wholes).unwrap());
    }
}

/// What was asked for since, by key, with the length of a range.
fn asked(server: &Server, since: usize) -> Vec<(String, Option<usize>)> {
    let seen = server.seen();
    let each = seen[since..].iter().map(|r| {
        let inside = r.path.strip_prefix("/a/store/");
        let inside = inside.or_else(|| r.path.strip_prefix("/a/era5_v2_blosc/"));
        let key = inside.unwrap_or(&r.path);
        (
            key.to_owned(),
            r.range.map(|(first, last)| last - first + 1),
        )
    });
    each.collect()
}

/// The slab of a quantity on a level, that many hours after the first.
fn slab_at(file: &GridFile, quantity: Quantity, pa: u32, hours: i64) -> usize {
    let first = file.slabs.iter().map(|slab| slab.valid).min().unwrap();
    let wanted = |slab: &Slab| {
        let late = slab.valid.duration_since(first).as_hours();
        slab.quantity == quantity && slab.surface == Surface::Isobaric(pa) && late == hours
    };
    file.slabs.iter().position(wanted).unwrap()
}

#[test]
fn only_the_chunks_that_are_needed_are_asked_for_and_once() {
    let server = Server::good(served("era5_v2_blosc"));
    let file = open(&server).unwrap();
    let mut before = asked(&server, 0);
    // By order of arrays, which is that of their names.
    before.sort();
    let keys = [
        ".zmetadata",
        "latitude/0",
        "longitude/0",
        "pressure_level/0",
        "valid_time/0",
        "zarr.json",
    ];
    let expected = keys.map(|key| (key.to_owned(), None));
    before.dedup();
    assert_eq!(before, expected);
    let since = server.seen().len();
    // Rows from the south: the chunk of three rows is in the north.
    let south = Window {
        row: 0,
        column: 0,
        rows: 2,
        columns: 5,
    };
    for (pa, hours) in [(50_000, 7), (85_000, 27)] {
        file.read(slab_at(&file, Quantity::EastWind, pa, hours), south)
            .unwrap();
    }
    assert_eq!(asked(&server, since), [("u/1.0.1.0".to_owned(), None)]);

    let server = Server::good(served("era5_v3_sharded"));
    let file = open(&server).unwrap();
    let since = server.seen().len();
    for pa in [50_000, 85_000] {
        whole(&file, slab_at(&file, Quantity::NorthWind, pa, 5)).unwrap();
    }
    let asked = asked(&server, since);
    let shard = fs::metadata(folder("era5_v3_sharded/v/c/1/0/0/0"))
        .unwrap()
        .len() as usize;
    assert_eq!(asked.len(), 2, "{asked:?}");
    // The list of four chunks, 16 bytes each, with its checksum; and one chunk of the four.
    assert_eq!(asked[0], ("v/c/1/0/0/0".to_owned(), Some(4 * 16 + 4)));
    assert_eq!(asked[1].0, "v/c/1/0/0/0");
    assert!(
        (1..shard / 2).contains(&asked[1].1.unwrap()),
        "{asked:?} of {shard}"
    );
}

#[test]
fn trouble_that_passes_is_waited_out() {
    let troubles: [fn(&Request) -> Answer; 5] = [
        |_| Answer::Status(500, "oh"),
        |_| Answer::Raw(response(429, &[("Retry-After", "1".into())], b"")),
        |_| Answer::Status(503, "busy"),
        // Cut off before anything, and in the middle; the latter says less than the most that is allowed.
        |_| Answer::Raw(Vec::new()),
        |request| match request.path.contains("/u/") {
            true => Answer::Raw(b"HTTP/1.1 200 OK\r\nContent-Length: 5000\r\n\r\nhalf".to_vec()),
            false => Answer::Well,
        },
    ];
    for trouble in troubles {
        let server = Server::start(
            served("era5_v2_blosc"),
            move |request, before| match before {
                0 => trouble(request),
                _ => Answer::Well,
            },
        );
        same_as_folder("era5_v2_blosc", &open(&server).unwrap());
    }
}

/// What is told of a store behind a server of such manners: where it is opened, or where it is read.
fn told(
    store: &str,
    manners: impl Fn(&Request, usize) -> Answer + Send + Sync + 'static,
) -> String {
    let server = Server::start(served(store), manners);
    let told = open(&server)
        .and_then(|file| (0..file.slabs.len()).try_for_each(|i| whole(&file, i).map(drop)));
    told.expect_err("nothing is told")
}

#[test]
fn trouble_that_lasts_is_told() {
    let begun = Instant::now();
    for (status, words) in [
        (404, "nothing of a Zarr store"),
        (403, "status 403"),
        (401, "status 401"),
        (500, "4 times"),
        (400, "status 400"),
    ] {
        let told = told("era5_v2_blosc", move |_, _| Answer::Status(status, "no"));
        assert!(told.contains(words), "{status}: {told}");
    }
    let of_chunk = |answer: fn() -> Answer| {
        told("era5_v2_blosc", move |request, _| {
            match request.path.contains("/u/") {
                true => answer(),
                false => Answer::Well,
            }
        })
    };
    for (told, words) in [
        (
            of_chunk(|| Answer::Status(403, "no")),
            "u/0.0.0.0: status 403",
        ),
        (of_chunk(|| Answer::Status(502, "no")), "4 times"),
        (
            of_chunk(|| Answer::After(Duration::from_secs(3))),
            "no answer",
        ),
        (
            of_chunk(|| Answer::Raw(response(200, &[], b"<html>log in</html>"))),
            "a chunk that unpacks to more",
        ),
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let page = told("era5_v2_blosc", |_, _| {
        Answer::Raw(response(200, &[], b"<html>log in</html>"))
    });
    assert!(page.contains("zarr.json that is not JSON"), "{page}");
    assert!(begun.elapsed() < Duration::from_secs(60));
}

#[test]
fn more_than_the_budget_is_refused_by_its_size() {
    let lie = |most: &'static str| {
        move |request: &Request, _: usize| match request.path.contains("/u/") {
            true => Answer::Raw(
                format!("HTTP/1.1 200 OK\r\nContent-Length: {most}\r\n\r\nx").into_bytes(),
            ),
            false => Answer::Well,
        }
    };
    for bytes in ["999999999999999", "300000000"] {
        let told = told("era5_v2_blosc", lie(bytes));
        assert!(told.contains(&format!("{bytes} bytes or more")), "{told}");
    }
    // One that does not say how long it is.
    let endless = told("era5_v2_blosc", |request, _| {
        match request.path.contains("/u/") {
            true => {
                Answer::Raw([b"HTTP/1.1 200 OK\r\n\r\n".as_slice(), &vec![0; 8 << 20]].concat())
            }
            false => Answer::Well,
        }
    });
    assert!(endless.contains("bytes or more"), "{endless}");
    // A chunk of zeros, 100 MB of them in 100 kB.
    let bomb = packed::zeros(100 << 20);
    let told = told("invented_v2_zlib", move |request, _| {
        match request.path.contains("/u/0") {
            true => Answer::Raw(response(200, &[], &bomb)),
            false => Answer::Well,
        }
    });
    assert!(
        told.contains("bytes or more") || told.contains("unpacks to more"),
        "{told}"
    );
}

#[test]
fn redirects_are_followed_but_not_to_others_without_encryption() {
    let to = |location: &'static str| {
        move |request: &Request, _: usize| match request.path.strip_prefix("/a/store/") {
            Some(key) => {
                let location = format!("{location}{key}");
                Answer::Raw(response(302, &[("Location", location)], b""))
            }
            None => Answer::Well,
        }
    };
    let moved = Server::start(at("/b", consolidated("era5_v3_sharded")), to("/b/"));
    same_as_folder("era5_v3_sharded", &open(&moved).unwrap());
    for (location, words) in [
        ("http://192.0.2.1/b/", "192.0.2.1 without encryption"),
        ("/a/store/", "status 302"),
    ] {
        let told = told("era5_v2_blosc", to(location));
        assert!(told.contains(words), "{told}");
    }
}

#[test]
fn without_a_list_of_its_arrays_a_store_says_what_is_missing() {
    for (store, root) in [
        ("era5_v2_blosc", ".zgroup"),
        ("era5_v3_sharded", "zarr.json"),
    ] {
        let mut files = BTreeMap::new();
        keys(&folder(store), "", &mut files);
        let told = open(&Server::good(at("/a/store", files))).err().unwrap();
        assert!(
            told.contains(&format!("{root} alone")) && told.contains("consolidate_metadata"),
            "{told}"
        );
    }
    let array = at("/a/store", {
        let mut files = BTreeMap::new();
        keys(&folder("era5_v2_blosc/u"), "", &mut files);
        files
    });
    let told = open(&Server::good(array)).err().unwrap();
    assert!(told.contains("a single array"), "{told}");
}

const PLAN: &str = r#"
[flight]
name = "At an address"
release = 2022-10-13T11:00:00Z
timezone = "Europe/Lisbon"
[site]
lat = 39.5
lon = -8.5
elevation = "100 m"
[ascent]
rate = "5 m/s"
burst_altitude = "9 km"
[descent]
landing_speed = "6 m/s"
"#;

/// The program in a folder of its own, without credentials and proxies of whoever runs this.
fn windfall(folder: &Path, environment: &[(&str, &str)], args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_windfall"));
    for (name, _) in
        std::env::vars().filter(|(name, _)| name.starts_with("AWS_") || name.ends_with("_proxy"))
    {
        command.env_remove(name);
    }
    command
        .current_dir(folder)
        .args(args)
        .envs(environment.iter().copied())
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn good(output: &Output) -> String {
    assert!(output.status.success(), "{}", text(&output.stderr));
    text(&output.stdout)
}

fn with_plan() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("plan.toml"), PLAN).unwrap();
    folder
}

#[test]
fn the_program_flies_as_from_the_folder() {
    // Results call winds by their last name.
    let server = Server::good(at("/a/era5_v2_blosc", consolidated("era5_v2_blosc")));
    let address = format!("{}/a/era5_v2_blosc", server.url());
    let here = folder("era5_v2_blosc").display().to_string();
    let work = with_plan();
    let zone = |wind: &str, out: &str| {
        let args = [
            "zone",
            "plan.toml",
            "--wind",
            wind,
            "--draws",
            "200",
            "--out",
            out,
        ];
        let made = ["--made", "2022-10-13T00:00:00Z", "--json"];
        let printed = good(&windfall(work.path(), &[], &[&args[..], &made].concat()));
        let file = fs::read_to_string(work.path().join(out)).unwrap();
        [printed, file].map(|text| text.replace(wind, "WIND"))
    };
    assert_eq!(zone(&address, "a.geojson"), zone(&here, "b.geojson"));
    let asked = asked(&server, 0);
    let chunks = asked
        .iter()
        .filter(|(key, _)| key.contains('.') && !key.starts_with('.') && key != "zarr.json");
    // Of four variables those of the first six of the twelve hours, north and south.
    let chunks: Vec<_> = chunks.collect();
    assert_eq!(chunks.len(), 4 * 2, "{chunks:?}");
    let mut once = chunks.clone();
    once.sort();
    once.dedup();
    assert_eq!(once.len(), chunks.len(), "asked for twice: {chunks:?}");

    let years = |wind: &str| {
        let args = [
            "years",
            "plan.toml",
            "--wind",
            wind,
            "--draws",
            "50",
            "--hours",
            "11:00-14:00",
            "--json",
        ];
        let printed = good(&windfall(work.path(), &[], &args));
        let mut printed: Value = serde_json::from_str(&printed.replace(wind, "WIND")).unwrap();
        // The digest is also of what files hold, which of an address is not read for it.
        assert!(printed.as_object_mut().unwrap().remove("work").is_some());
        printed
    };
    assert_eq!(years(&address), years(&here));
}

/// What a bucket of S3 answers when it is asked for names.
fn list(request: &Request) -> Option<Vec<u8>> {
    let (_, query) = request.path.split_once("?")?;
    assert!(
        query.contains("prefix=c%2Fera5.zarr%2F") && query.contains("delimiter=%2F"),
        "{query}"
    );
    let names = [
        "latitude",
        "longitude",
        "pressure_level",
        "t",
        "u",
        "v",
        "valid_time",
        "z",
    ];
    let each = names
        .map(|n| format!("<CommonPrefixes><Prefix>c/era5.zarr/{n}/</Prefix></CommonPrefixes>"));
    let all = each.concat();
    let text =
        format!("<ListBucketResult><Name>b</Name><KeyCount>8</KeyCount>{all}</ListBucketResult>");
    Some(response(200, &[], text.as_bytes()))
}

#[test]
fn a_bucket_of_s3_is_read_with_settings_of_the_environment() {
    let here = folder("era5_v3_sharded").display().to_string();
    let work = with_plan();
    let of = |wind: &str, environment: &[(&str, &str)]| {
        let output = windfall(
            work.path(),
            environment,
            &["winds", wind, "--place", "39.5,-8.5", "--json"],
        );
        good(&output).replace(wind, "WIND")
    };
    let local = of(&here, &[]);
    let wind = "s3://b/c/era5.zarr";
    let consolidated = Server::good(at("/b/c/era5.zarr", consolidated("era5_v3_sharded")));
    let url = consolidated.url();
    assert_eq!(
        of(
            wind,
            &[("AWS_ENDPOINT_URL", &url), ("AWS_REGION", "eu-west-1")]
        ),
        local
    );
    assert!(
        consolidated
            .seen()
            .iter()
            .all(|r| r.authorization.is_none())
    );
    let signed = [
        ("AWS_ENDPOINT_URL", url.as_str()),
        ("AWS_ACCESS_KEY_ID", "MYKEYID"),
        ("AWS_SECRET_ACCESS_KEY", "geheim"),
    ];
    let since = consolidated.seen().len();
    assert_eq!(of(wind, &signed), local);
    let seen = consolidated.seen();
    let all_signed = seen[since..].iter().all(|r| {
        let proof = r.authorization.as_deref().unwrap_or_default();
        proof.starts_with("AWS4-HMAC-SHA256 Credential=MYKEYID/") && !proof.contains("geheim")
    });
    assert!(all_signed && seen.len() > since, "{seen:?}");
    // Names are listed where metadata are not in one place.
    let mut files = BTreeMap::new();
    keys(&folder("era5_v3_sharded"), "", &mut files);
    let listed = Server::start(at("/b/c/era5.zarr", files), |request, _| {
        match list(request) {
            Some(names) => Answer::Raw(names),
            None => Answer::Well,
        }
    });
    assert_eq!(of(wind, &[("AWS_ENDPOINT_URL", &listed.url())]), local);
}

/// A path without its escapes.
fn plain(path: &str) -> String {
    [("%2F", "/"), ("%2E", "."), ("%5F", "_")]
        .iter()
        .fold(path.to_owned(), |path, (from, to)| path.replace(from, to))
}

#[test]
fn a_bucket_of_google_is_read() {
    let here = folder("era5_v2_blosc").display().to_string();
    let work = with_plan();
    let wind = "gs://b/c/era5.zarr";
    // Google's answers have a tag and a date.
    let files = at("/b/c/era5.zarr", consolidated("era5_v2_blosc"));
    let server = Server::start(files.clone(), move |request, _| {
        match files.get(&plain(&request.path)) {
            Some(file) => {
                let date = "Thu, 13 Oct 2022 00:00:00 GMT".to_owned();
                let headers = [("ETag", "\"x\"".to_owned()), ("Last-Modified", date)];
                Answer::Raw(response(200, &headers, file))
            }
            None => Answer::Well,
        }
    });
    let key = json!({"gcs_base_url": server.url(), "disable_oauth": true, "client_email": "", "private_key": "",
                     "private_key_id": ""});
    let args = |wind| ["winds", wind, "--place", "39.5,-8.5", "--json"];
    let key = key.to_string();
    let environment = [("GOOGLE_SERVICE_ACCOUNT_KEY", key.as_str())];
    let there = good(&windfall(work.path(), &environment, &args(wind))).replace(wind, "WIND");
    let local = good(&windfall(work.path(), &[], &args(&here))).replace(&here, "WIND");
    assert_eq!(there, local);
}

#[test]
fn no_secret_of_an_address_is_seen_anywhere() {
    let files = served("era5_v2_blosc");
    let server = Server::start(files.clone(), move |request, _| {
        let path = request.path.split('?').next().unwrap();
        match files.get(path) {
            Some(file) => Answer::Raw(response(200, &[], file)),
            None => Answer::Status(404, "no"),
        }
    });
    let bare = server.url().replace("http://", "");
    let address = |path: &str| format!("http://me:geheim1@{bare}{path}?X-Sig=geheim2&part=geheim3");
    let work = with_plan();
    let made = [
        "--out",
        "zone.geojson",
        "--out",
        "page.html",
        "--draws",
        "50",
    ];
    for (path, works) in [("/a/store", true), ("/none", false)] {
        let wind = address(path);
        let args = [&["zone", "plan.toml", "--wind", wind.as_str()][..], &made].concat();
        let output = windfall(work.path(), &[], &args);
        assert_eq!(output.status.success(), works, "{}", text(&output.stderr));
        let mut all = text(&output.stdout) + &text(&output.stderr);
        assert!(all.contains(&format!("{bare}{path}")), "{all}");
        for entry in fs::read_dir(work.path()).unwrap() {
            all += &text(&fs::read(entry.unwrap().path()).unwrap());
        }
        assert!(!all.contains("geheim"), "{all}");
    }
    let seen = server.seen();
    let proven = |r: &Request| {
        // me:geheim1
        r.authorization.as_deref() == Some("Basic bWU6Z2VoZWltMQ==")
            && r.path.contains("X-Sig=geheim2")
    };
    assert!(seen.iter().all(proven), "{seen:?}");
    let script = [
        "years",
        "plan.toml",
        "--out",
        "o",
        "--script",
        "slurm",
        "--wind",
        &address("/a/store"),
    ];
    let output = windfall(work.path(), &[], &script);
    let all = text(&output.stdout) + &text(&output.stderr);
    assert!(
        !output.status.success() && all.contains("a batch file") && !all.contains("geheim"),
        "{all}"
    );
}

/// A plan may come from anybody.
#[test]
fn a_plan_asks_nobody() {
    let server = Server::good(served("era5_v2_blosc"));
    let work = with_plan();
    let plan = format!("{PLAN}[wind]\nfiles = [\"{}/a/store\"]\n", server.url());
    fs::write(work.path().join("plan.toml"), plan).unwrap();
    for args in [
        &["zone", "plan.toml"][..],
        &["zone", "plan.toml", "--outside"],
    ] {
        assert!(!windfall(work.path(), &[], args).status.success());
    }
    assert!(server.seen().is_empty());
}

/// A record of very many hours, of which only some are there: winds of (hour of the record / 10) m/s.
fn long_record() -> Files {
    const HOURS: usize = 60_000;
    const LEVELS: [f32; 12] = [
        1_000.0, 925.0, 850.0, 700.0, 600.0, 500.0, 400.0, 300.0, 250.0, 200.0, 100.0, 50.0,
    ];
    let mut metadata = serde_json::Map::new();
    let mut files = BTreeMap::new();
    let mut array = |name: &str,
                     shape: &[usize],
                     chunks: &[usize],
                     kind: &str,
                     attributes: Value| {
        let about = json!({"zarr_format": 2, "shape": shape, "chunks": chunks, "dtype": kind, "order": "C",
            "fill_value": null, "filters": null, "compressor": null});
        metadata.insert(format!("{name}/.zarray"), about);
        metadata.insert(format!("{name}/.zattrs"), attributes);
    };
    let axis = |standard: &str, units: &str, name: &str| json!({"standard_name": standard, "units": units, "_ARRAY_DIMENSIONS": [name]});
    array(
        "time",
        &[HOURS],
        &[HOURS],
        "<i4",
        axis("time", "hours since 2018-01-01", "time"),
    );
    array(
        "level",
        &[12],
        &[12],
        "<f4",
        axis("air_pressure", "hPa", "level"),
    );
    array(
        "lat",
        &[3],
        &[3],
        "<f4",
        axis("latitude", "degrees_north", "lat"),
    );
    array(
        "lon",
        &[3],
        &[3],
        "<f4",
        axis("longitude", "degrees_east", "lon"),
    );
    let bytes = |values: &[f32]| {
        values
            .iter()
            .flat_map(|v| v.to_le_bytes())
            .collect::<Vec<u8>>()
    };
    let hours = (0..HOURS as i32)
        .flat_map(i32::to_le_bytes)
        .collect::<Vec<u8>>();
    files.insert("time/0".to_owned(), hours);
    files.insert("level/0".to_owned(), bytes(&LEVELS));
    files.insert("lat/0".to_owned(), bytes(&[41.0, 39.5, 38.0]));
    files.insert("lon/0".to_owned(), bytes(&[-10.0, -8.5, -7.0]));
    for (name, standard, units) in [
        ("u", "eastward_wind", "m s-1"),
        ("v", "northward_wind", "m s-1"),
        ("z", "geopotential_height", "m"),
    ] {
        let dimensions = ["time", "level", "lat", "lon"];
        let attributes =
            json!({"standard_name": standard, "units": units, "_ARRAY_DIMENSIONS": dimensions});
        array(name, &[HOURS, 12, 3, 3], &[1, 12, 3, 3], "<f4", attributes);
        for hour in 41_880..41_976_usize {
            let value = |level: f32| match name {
                "z" => 7_400.0 * (1_013.0 / level).ln(),
                _ => (hour % 24) as f32 / 10.0,
            };
            let all: Vec<f32> = LEVELS.iter().flat_map(|level| [value(*level); 9]).collect();
            files.insert(format!("{name}/{hour}.0.0.0"), bytes(&all));
        }
    }
    let all = json!({"metadata": metadata, "zarr_consolidated_format": 1});
    files.insert(".zmetadata".to_owned(), all.to_string().into_bytes());
    at("/a/store", files)
}

#[test]
fn of_a_record_of_very_many_hours_those_of_the_flight_are_read() {
    let server = Server::good(long_record());
    let address = format!("{}/a/store", server.url());
    let work = with_plan();
    // Hour 41,880 of the record is 2022-10-12T00:00Z, so the plan's day is the second of four.
    let args = ["zone", "plan.toml", "--wind", &address, "--draws", "100"];
    let printed = good(&windfall(work.path(), &[], &args));
    assert!(printed.contains("2022-10-13"), "{printed}");
    let asked_for = asked(&server, 0);
    assert!(asked_for.len() < 40, "{}: {asked_for:?}", asked_for.len());
    let since = server.seen().len();
    let args = [
        "years",
        "plan.toml",
        "--wind",
        &address,
        "--from",
        "2022-10-13",
        "--to",
        "2022-10-14",
        "--hours",
        "06:00-06:00",
        "--draws",
        "20",
        "--json",
    ];
    let printed: Value = serde_json::from_str(&good(&windfall(work.path(), &[], &args))).unwrap();
    assert!(printed.to_string().contains("2022"), "{printed}");
    let chunks = asked(&server, since)
        .into_iter()
        .filter(|(key, _)| key.contains(".0.0.0"));
    assert!(chunks.count() < 120);
}

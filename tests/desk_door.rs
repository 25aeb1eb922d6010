//! Hostile requests to the desk over real sockets: another user of the computer, a page of somebody else, a name
//! that was pointed here. The table is that of the rules in `src/desk/door.rs`.

#![allow(
    clippy::unwrap_used,
    reason = "helpers of tests fail by panicking, too"
)]

#[path = "common/desk.rs"]
mod desk;

use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use desk::Desk;

fn opened() -> (tempfile::TempDir, Desk) {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(
        "samples/high-plains/plan.toml",
        folder.path().join("plan.toml"),
    )
    .unwrap();
    let desk = Desk::open(folder.path(), &[]);
    (folder, desk)
}

/// A request of these lines, each ended as HTTP wants it.
fn lines(all: &[&str]) -> Vec<u8> {
    (all.join("\r\n") + "\r\n\r\n").into_bytes()
}

#[test]
fn the_key_opens_the_door_once_and_leaves_the_address() {
    let (_folder, desk) = opened();
    let host = format!("Host: {}", desk.host);
    let get = |path: &str, more: &[&str]| {
        let first = format!("GET {path} HTTP/1.1");
        let mut all = vec![first.as_str(), &host, "Connection: close"];
        all.extend(more);
        desk.raw(&lines(&all))
    };
    let with_key = get(&format!("/?key={}", desk.key), &[]);
    assert_eq!(
        (with_key.status, with_key.header("location")),
        (303, Some("/"))
    );
    let cookie = with_key.header("set-cookie").unwrap();
    assert!(cookie.starts_with(&desk.cookie), "{cookie}");
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
    let wrong = "0".repeat(32);
    for path in [
        "/",
        "/plan?name=plan.toml",
        "/desk.js",
        "/pulse",
        "/file?name=plan.toml",
    ] {
        assert_eq!(get(path, &[]).status, 401, "{path} without a key");
    }
    for query in [
        wrong.as_str(),
        "",
        &desk.key[..31],
        &format!("{}x", desk.key),
    ] {
        assert_eq!(get(&format!("/?key={query}"), &[]).status, 401, "{query}");
    }
    let port = desk.host.rsplit_once(':').unwrap().1;
    for cookie in [
        format!("Cookie: windfall-desk-{port}={wrong}"),
        format!("Cookie: other={}", desk.key),
        format!("Cookie: windfall-desk-1={}", desk.key),
    ] {
        assert_eq!(get("/", &[&cookie]).status, 401, "{cookie}");
    }
    let cookie = format!("Cookie: a=b; {}; c=d", desk.cookie);
    assert_eq!(get("/", &[&cookie]).status, 200);
    // Nothing of a refused answer tells what is here.
    let refused = get("/plan?name=plan.toml", &[]);
    assert!(!refused.body.contains("plan.toml") && refused.header("set-cookie").is_none());
}

#[test]
fn only_the_address_that_is_listened_to_is_answered() {
    let (_folder, desk) = opened();
    let port = desk.host.rsplit_once(':').unwrap().1;
    let cookie = format!("Cookie: {}", desk.cookie);
    let status = |first: &str, hosts: &[&str]| {
        let mut all = vec![first, &cookie, "Connection: close"];
        all.extend(hosts);
        desk.raw(&lines(&all)).status
    };
    let get = "GET / HTTP/1.1";
    let right = format!("Host: {}", desk.host);
    assert_eq!(status(get, &[&right]), 200);
    assert_eq!(
        status(get, &[&format!("Host: [::1]:{port}")]),
        if six(port) { 200 } else { 421 }
    );
    for host in [
        "Host: evil.example".to_owned(),
        format!("Host: evil.example:{port}"),
        format!("Host: localhost:{port}"),
        format!("Host: 127.0.0.1.evil.example:{port}"),
        format!("Host: 127.1:{port}"),
        "Host: 127.0.0.1".to_owned(),
        "Host: 127.0.0.1:1".to_owned(),
        format!("Host: user@127.0.0.1:{port}"),
        "Host:".to_owned(),
    ] {
        let got = status(get, &[&host]);
        assert!([400, 421].contains(&got), "{host}: {got}");
    }
    assert_eq!(status(get, &[&right, "Host: evil.example"]), 421);
    assert_eq!(status(get, &[&right, &right]), 421);
    assert_eq!(status(get, &[]), 421);
    assert_eq!(status("GET / HTTP/1.0", &[]), 421);
    assert_eq!(status("GET http://evil.example/ HTTP/1.1", &[&right]), 421);
    let whole = format!("GET http://{}/ HTTP/1.1", desk.host);
    assert_eq!(status(&whole, &[&right]), 421);
    // The key is of no use under another name.
    let with_key = format!("GET /?key={} HTTP/1.1", desk.key);
    let answer = desk.raw(&lines(&[
        &with_key,
        "Host: evil.example",
        "Connection: close",
    ]));
    assert_eq!(answer.status, 421);
    assert!(answer.header("set-cookie").is_none());
}

/// Whether the other kind of address is listened to.
fn six(port: &str) -> bool {
    TcpStream::connect(format!("[::1]:{port}")).is_ok()
}

#[test]
fn what_changes_something_comes_from_our_own_page() {
    let (_folder, desk) = opened();
    let (host, cookie) = (
        format!("Host: {}", desk.host),
        format!("Cookie: {}", desk.cookie),
    );
    let origin = format!("Origin: http://{}", desk.host);
    let status = |method: &str, more: &[&str]| {
        let first = format!("{method} /view HTTP/1.1");
        let mut all = vec![
            first.as_str(),
            &host,
            &cookie,
            "Connection: close",
            "Content-Type: application/x-www-form-urlencoded",
            "Content-Length: 0",
        ];
        all.extend(more);
        desk.raw(&lines(&all)).status
    };
    let port = desk.host.rsplit_once(':').unwrap().1;
    for foreign in [
        &["Origin: https://evil.example"][..],
        &["Origin: null"],
        &["Origin: http://127.0.0.1"],
        &["Origin: http://127.0.0.1:1"],
        &[&format!("Origin: http://localhost:{port}")],
        &[&format!("Origin: https://{}", desk.host)],
        &["Sec-Fetch-Site: cross-site"],
        &["Sec-Fetch-Site: same-site"],
        &["Sec-Fetch-Site: none"],
        &[&origin, "Sec-Fetch-Site: cross-site"],
        &[&origin, "Origin: https://evil.example"],
        &[
            "Origin: https://evil.example",
            "Sec-Fetch-Site: same-origin",
        ],
        // A browser says one or the other.
        &[],
    ] {
        assert_eq!(status("POST", foreign), 403, "{foreign:?}");
    }
    assert_eq!(status("POST", &[&origin]), 303);
    assert_eq!(status("POST", &["Sec-Fetch-Site: same-origin"]), 303);
    assert_eq!(
        status("POST", &[&origin, "Sec-Fetch-Site: same-origin"]),
        303
    );
    for method in ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"] {
        let got = status(method, &[&origin]);
        assert!([400, 405, 421].contains(&got), "{method}: {got}");
    }
    // What changes something is no GET.
    for path in [
        "/close",
        "/plan/save",
        "/job",
        "/plan/edit",
        "/view",
        "/new",
    ] {
        assert_eq!(desk.get(path).status, 405, "{path}");
    }
}

#[test]
fn bodies_heads_and_connections_have_limits() {
    let (_folder, desk) = opened();
    let head = |length: usize| {
        lines(&[
            "POST /plan/edit HTTP/1.1",
            &format!("Host: {}", desk.host),
            &format!("Cookie: {}", desk.cookie),
            &format!("Origin: http://{}", desk.host),
            "Content-Type: application/x-www-form-urlencoded",
            "Connection: close",
            &format!("Content-Length: {length}"),
        ])
    };
    let mut large = head(2 << 20);
    large.extend(vec![b'a'; 2 << 20]);
    assert_eq!(desk.raw(&large).status, 413);
    // Told to be large is enough.
    assert_eq!(desk.raw(&head(1 << 40)).status, 413);
    let mut chunked = String::from_utf8(head(0)).unwrap();
    chunked = chunked.replace("Content-Length: 0", "Transfer-Encoding: chunked");
    let mut bytes = chunked.into_bytes();
    for _ in 0..40 {
        bytes.extend(b"10000\r\n");
        bytes.extend(vec![b'a'; 0x10000]);
        bytes.extend(b"\r\n");
    }
    bytes.extend(b"0\r\n\r\n");
    let got = desk.raw(&bytes).status;
    assert!([413, 422].contains(&got), "{got}");
    // Heads without end, and none at all.
    let long = format!("GET /{} HTTP/1.1", "a".repeat(1 << 20));
    let got = desk.raw(&lines(&[&long])).status;
    assert!([0, 400, 414, 431].contains(&got), "{got}");
    assert!([0, 400].contains(&desk.raw(b"\x16\x03\x01\x02\x00\x01\x00").status));
    // Connections that say nothing: no more than a number of them is held, and none for long.
    let since = Instant::now();
    let mut idle: Vec<TcpStream> = (0..100)
        .map(|_| TcpStream::connect(&desk.host).unwrap())
        .collect();
    let mut closed = 0;
    for stream in &mut idle {
        stream
            .set_read_timeout(Some(Duration::from_secs(20)))
            .unwrap();
        let _ = stream.write_all(b"GET / HTTP/1.1\r\n");
        let mut some = [0; 64];
        closed += usize::from(
            !matches!(stream.read(&mut some), Err(e) if e.kind() == std::io::ErrorKind::WouldBlock),
        );
    }
    assert_eq!(closed, 100);
    assert!(
        since.elapsed() < Duration::from_secs(40),
        "{:?}",
        since.elapsed()
    );
    assert_eq!(desk.get("/").status, 200);
}

#[test]
fn files_stay_inside_the_folder() {
    let outer = tempfile::tempdir().unwrap();
    let folder = outer.path().join("plans");
    fs::create_dir(&folder).unwrap();
    fs::write(outer.path().join("secret.txt"), "the secret").unwrap();
    fs::write(outer.path().join("secret.toml"), "name = \"the secret\"").unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink(outer.path().join("secret.toml"), folder.join("link.toml")).unwrap();
    // Plans that name files elsewhere, the balloon's table among them, which is read with the plan.
    let sample = fs::read_to_string("samples/high-plains/plan.toml").unwrap();
    for (name, file) in [("up.toml", "../secret.txt"), ("abs.toml", "/etc/passwd")] {
        let text = sample.replace("\"riverton-2026-02-05.csv\"", &format!("{file:?}"));
        assert_ne!(text, sample);
        fs::write(folder.join(name), text).unwrap();
        let table = sample.replace("[balloon]", &format!("[balloon]\ntable = {file:?}"));
        fs::write(folder.join(format!("table-{name}")), table).unwrap();
        let learnt = sample.replace("[spread]", &format!("[spread]\nlogbook = {file:?}"));
        assert_ne!(learnt, sample);
        fs::write(folder.join(format!("logbook-{name}")), learnt).unwrap();
    }
    let desk = Desk::open(&folder, &[]);
    for name in [
        "../secret.txt",
        "..%2Fsecret.txt",
        "%2e%2e%2fsecret.txt",
        "..%5Csecret.txt",
        "%2Fetc%2Fpasswd",
        "/etc/passwd",
        "link.toml",
        "a%00.txt",
        ".",
        "",
    ] {
        for route in ["file", "plan", "card"] {
            let answer = desk.get(&format!("/{route}?name={name}"));
            assert!(
                [404, 422].contains(&answer.status),
                "{route} {name}: {answer:?}"
            );
            assert!(
                !answer.body.contains("the secret") && !answer.body.contains("root:"),
                "{name}"
            );
        }
    }
    for name in [
        "up.toml",
        "abs.toml",
        "table-up.toml",
        "table-abs.toml",
        "logbook-up.toml",
        "logbook-abs.toml",
    ] {
        let answer = desk.get(&format!("/plan?name={name}"));
        assert_eq!(answer.status, 200, "{name}");
        assert!(answer.body.contains("outside of the folder"), "{name}");
        assert!(
            !answer.body.contains("the secret") && !answer.body.contains("root:"),
            "{name}"
        );
    }
    for file in ["../new", "/tmp/new", "a/../../new", "..", "link"] {
        let fields = [("name", "up.toml"), ("file", file)];
        let answer = desk.post("/plan/save-as", &fields);
        assert_eq!(answer.status, 422, "{file}: {answer:?}");
    }
    let names: Vec<_> = fs::read_dir(outer.path()).unwrap().collect();
    assert_eq!(names.len(), 3, "{names:?}");
    // Nowhere else to be sent to, either.
    for here in [
        "https://evil.example/",
        "//evil.example/",
        "/\\evil.example",
        "javascript:alert(1)",
    ] {
        let answer = desk.post("/view", &[("here", here)]);
        assert_eq!(answer.header("location"), Some("/"), "{here}");
    }
}

#[test]
fn every_answer_says_what_it_may_do() {
    let (folder, desk) = opened();
    for path in [
        "/",
        "/plan?name=plan.toml",
        "/desk.js",
        "/none",
        "/plan?name=none.toml",
    ] {
        let answer = desk.get(path);
        let policy = answer.header("content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'none'"), "{path}: {policy}");
        assert!(
            !policy.contains("unsafe") && policy.contains("frame-ancestors 'none'"),
            "{path}"
        );
        assert_eq!(answer.header("cache-control"), Some("no-store"), "{path}");
        assert_eq!(
            answer.header("x-content-type-options"),
            Some("nosniff"),
            "{path}"
        );
        assert_eq!(
            answer.header("cross-origin-resource-policy"),
            Some("same-origin"),
            "{path}"
        );
        assert!(
            answer.header("access-control-allow-origin").is_none(),
            "{path}"
        );
        for inline in ["<script>", "onclick=", "style=\"", "javascript:"] {
            assert!(
                !answer.body.contains(inline) || path == "/desk.js",
                "{path}: {inline}"
            );
        }
    }
    // A page of the folder runs apart from the desk.
    fs::write(folder.path().join("page.html"), "<script>alert(1)</script>").unwrap();
    let page = desk.get("/file?name=page.html");
    let policy = page.header("content-security-policy").unwrap();
    assert!(policy.starts_with("sandbox allow-scripts") && !policy.contains("allow-same-origin"));
    assert!(policy.contains("default-src 'none'"));
}

#[test]
fn texts_of_plans_stay_texts_and_the_desk_can_be_closed() {
    let (folder, mut desk) = opened();
    let evil = "</textarea></script><img src=x onerror=alert(1)>";
    let name = "a<b>.toml";
    let text = format!("[flight]\nname = '{evil}'\n[site]\nlat = \"{evil}\"\n");
    fs::write(folder.path().join("evil.toml"), &text).unwrap();
    for path in [
        "/plan?name=evil.toml".to_owned(),
        format!("/plan?name={}", desk::encoded(name)),
    ] {
        let page = desk.get(&path);
        assert!(!page.body.contains("<img src=x"), "{path}");
    }
    let live: serde_json::Value =
        serde_json::from_str(&desk.get("/live?name=evil.toml&n=1").body).unwrap();
    assert!(!live["faults"].as_str().unwrap().contains("<img"), "{live}");
    assert_eq!(desk.post("/close", &[]).status, 200);
    assert!(desk.ends(), "the desk is still there");
}

//! `windfall fetch` and certificates: a server on this machine whose certificate is signed by an
//! authority that is among the system's, or not.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/feed.rs"]
mod feed;

use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};

use feed::PLAN;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/tls")
        .join(name)
}

/// A server that answers every question alike. It lives as long as the test.
fn server(answer: String) -> (String, Arc<AtomicUsize>) {
    let certificate = CertificateDer::from_pem_file(data("server.pem")).unwrap();
    let key = PrivateKeyDer::from_pem_file(data("server.key")).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![certificate], key)
        .unwrap();
    let config = Arc::new(config);
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!(
        "https://localhost:{}",
        listener.local_addr().unwrap().port()
    );
    let met = Arc::new(AtomicUsize::new(0));
    let count = met.clone();
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            count.fetch_add(1, Ordering::SeqCst);
            let connection = ServerConnection::new(config.clone()).unwrap();
            let mut stream = StreamOwned::new(connection, stream);
            let mut lines = BufReader::new(&mut stream).lines();
            while lines.next().is_some_and(|l| l.is_ok_and(|l| !l.is_empty())) {}
            // A client that goes away is no failure of the server.
            let _ = stream.write_all(answer.as_bytes());
            stream.conn.send_close_notify();
            let _ = stream.flush();
        }
    });
    (url, met)
}

/// The program asking the server for its one run, with these authorities for the system's.
fn fetch(url: &str, authorities: &Path) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    std::fs::write(path("plan.toml"), PLAN).unwrap();
    let feed = format!(
        r#"
        [test]
        title = "A test"
        licence = ""
        attribution = ""
        urls = ["{url}/f{{step}}"]
        inventory = "idx"
        complete_after = "5 h"
        runs = [{{ hours = [6], steps = [[0, 24, 6]] }}]
        levels = [500]
        variables = [
            {{ name = "HGT", code = [0, 3, 5] }},
            {{ name = "UGRD", code = [0, 2, 2] }},
            {{ name = "VGRD", code = [0, 2, 3] }},
        ]
        "#
    );
    std::fs::write(path("feeds.toml"), feed).unwrap();
    Command::new(env!("CARGO_BIN_EXE_windfall"))
        .env("SSL_CERT_FILE", authorities)
        .env_remove("SSL_CERT_DIR")
        .arg("fetch")
        .arg(path("plan.toml"))
        .args(["--feed", "test", "--run", "2020-08-15T06:00:00Z", "--feeds"])
        .arg(path("feeds.toml"))
        .output()
        .unwrap()
}

const NOTHING: &str = "HTTP/1.1 404 Not Found\r\nConnection: close\r\nContent-Length: 0\r\n\r\n";

#[test]
fn a_certificate_that_nobody_vouches_for_is_told_at_once() {
    let (url, met) = server(NOTHING.into());
    // Another file of certificates: the system has some, but not this one.
    let folder = tempfile::tempdir().unwrap();
    let none = folder.path().join("none.pem");
    std::fs::write(&none, "").unwrap();
    let output = fetch(&url, &none);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(
        said.contains("found a certificate that is not trusted"),
        "{said}"
    );
    assert!(
        said.contains("SSL_CERT_FILE") && said.contains("by hand"),
        "{said}"
    );
    // Each of the four threads may have begun; none asked again.
    assert!(met.load(Ordering::SeqCst) <= 4, "{met:?}");
}

#[test]
fn the_systems_authorities_are_trusted_beside_the_programs() {
    let (url, met) = server(NOTHING.into());
    let output = fetch(&url, &data("authority.pem"));
    let said = String::from_utf8(output.stderr).unwrap();
    // The server was believed: it has no such run.
    assert!(
        said.contains("has none of the runs 2020-08-15T06:00:00Z"),
        "{said}"
    );
    assert!(met.load(Ordering::SeqCst) > 0);
}

#[test]
fn nobody_is_sent_from_https_to_http() {
    let plain = TcpListener::bind("127.0.0.1:0").unwrap();
    let to = format!("http://{}", plain.local_addr().unwrap());
    let moved = format!(
        "HTTP/1.1 302 Found\r\nConnection: close\r\nLocation: {to}/f\r\nContent-Length: 0\r\n\r\n"
    );
    let (url, _) = server(moved);
    let output = fetch(&url, &data("authority.pem"));
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(
        said.contains("found a redirect from https to http"),
        "{said}"
    );
    plain.set_nonblocking(true).unwrap();
    assert!(plain.accept().is_err(), "it was asked");
}

/// The same of a store at an address, in a program that reads such.
#[cfg(feature = "buckets")]
#[test]
fn a_store_is_asked_for_of_whom_one_trusts_and_stays_encrypted() {
    let plain = TcpListener::bind("127.0.0.1:0").unwrap();
    let to = format!("http://{}", plain.local_addr().unwrap());
    let moved = format!(
        "HTTP/1.1 302 Found\r\nConnection: close\r\nLocation: {to}/f\r\nContent-Length: 0\r\n\r\n"
    );
    let folder = tempfile::tempdir().unwrap();
    let none = folder.path().join("none.pem");
    std::fs::write(&none, "").unwrap();
    for (answer, authorities, words) in [
        (
            moved.as_str(),
            data("authority.pem"),
            "a redirect from https to http",
        ),
        (NOTHING, data("authority.pem"), "nothing of a Zarr store"),
        (NOTHING, none, "a certificate that is not trusted"),
    ] {
        let (url, _) = server(answer.into());
        let output = Command::new(env!("CARGO_BIN_EXE_windfall"))
            .env("SSL_CERT_FILE", authorities)
            .env_remove("SSL_CERT_DIR")
            .args(["winds", &format!("{url}/a/store")])
            .output()
            .unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(1), "{said}");
        assert!(said.contains(words), "{said}");
    }
    plain.set_nonblocking(true).unwrap();
    assert!(plain.accept().is_err(), "it was asked");
}

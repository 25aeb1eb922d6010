//! Listening on this computer only, and stopping when nobody looks any more.

use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::http::StatusCode;
use axum::middleware::from_fn_with_state;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::sync::Semaphore;
use tower_http::limit::RequestBodyLimitLayer;
use tower_http::timeout::TimeoutLayer;

use super::door::{Door, pass};
use super::key::DeskKey;
use super::routes;
use super::state::{Desk, Settings};
use crate::error::{Error, Result};

/// Connections open at the same time.
const CONNECTIONS: usize = 64;
/// How long a connection may take over the head of a request.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// How long an answer may take to begin.
const ANSWER_TIME: Duration = Duration::from_secs(60);
/// The same of what is worked out from winds, of which an ensemble may have many.
pub const SLOW_TIME: Duration = Duration::from_secs(1_800);
/// The body of a form at most, bytes.
pub const FORM_BYTES: usize = 1 << 20;
/// The body of a request that brings files at most, bytes,
pub const FILE_BYTES: usize = 2 << 30;
/// and how long it may take.
const FILE_TIME: Duration = Duration::from_secs(1_800);
/// How often a port is tried that both kinds of address have free.
const PORT_TRIES: usize = 8;

/// A desk that listens, and does not answer yet.
pub struct Bound {
    desk: Arc<Desk>,
    listeners: Vec<TcpListener>,
}

/// Listens on a free port of this computer: 127.0.0.1, and ::1 where there is one.
///
/// # Errors
///
/// The folder is none, or no port can be listened to.
pub fn bind(settings: Settings) -> Result<Bound> {
    let failed = |cause| Error::file(Path::new("127.0.0.1"), "listen on", cause);
    let listeners = listen().map_err(failed)?;
    let addresses: Vec<SocketAddr> = listeners
        .iter()
        .map(TcpListener::local_addr)
        .collect::<std::io::Result<_>>()
        .map_err(failed)?;
    let desk = Desk::new(settings, Door::new(&addresses, DeskKey::new()?))?;
    Ok(Bound {
        desk: Arc::new(desk),
        listeners,
    })
}

/// Listeners of both kinds of address on one port; of the older kind alone where the other is missing.
fn listen() -> std::io::Result<Vec<TcpListener>> {
    for _ in 0..PORT_TRIES {
        let four = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        match TcpListener::bind((Ipv6Addr::LOCALHOST, four.local_addr()?.port())) {
            Ok(six) => return Ok(vec![four, six]),
            // Free for one kind of address does not mean free for the other.
            Err(taken) if taken.kind() == std::io::ErrorKind::AddrInUse => {}
            Err(_) => return Ok(vec![four]),
        }
    }
    // Ports that are only half free shall keep nobody out.
    Ok(vec![TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?])
}

impl Bound {
    /// The address to open in a browser, with the key.
    pub fn address(&self) -> String {
        self.desk.door.address()
    }

    /// Answers until it is stopped or nobody has looked for a while.
    ///
    /// # Errors
    ///
    /// The system does not let it listen.
    pub fn serve(self) -> Result<()> {
        let failed = |cause| Error::file(Path::new("127.0.0.1"), "listen on", cause);
        // One thread is enough to answer: whatever takes long is done on others.
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(failed)?;
        let desk = self.desk;
        let served = runtime.block_on(async {
            let router = router(&desk, ANSWER_TIME);
            let slots = Arc::new(Semaphore::new(CONNECTIONS));
            for listener in self.listeners {
                // Tokio takes over only listeners that wait for nobody.
                listener.set_nonblocking(true)?;
                let listener = tokio::net::TcpListener::from_std(listener)?;
                tokio::spawn(accept(listener, router.clone(), slots.clone()));
            }
            desk.until_stopped().await;
            Ok(())
        });
        // Nobody sees its end any more: a download, say, shall not go on.
        desk.jobs.stop();
        // What still reads a slow connection is not waited for.
        runtime.shutdown_background();
        served.map_err(failed)
    }
}

/// All that is answered, within its limits.
fn router(desk: &Arc<Desk>, answer_time: Duration) -> Router {
    let timeout = |time| TimeoutLayer::with_status_code(StatusCode::REQUEST_TIMEOUT, time);
    let forms = routes::forms()
        .layer(RequestBodyLimitLayer::new(FORM_BYTES))
        .layer(timeout(answer_time));
    let slow = routes::slow().layer(timeout(SLOW_TIME));
    let files = routes::files()
        .layer(RequestBodyLimitLayer::new(FILE_BYTES))
        .layer(timeout(FILE_TIME));
    forms
        .merge(slow)
        .merge(files)
        .fallback(routes::not_found)
        // Outermost: without the key not even what is missing can be told from what is there.
        .layer(from_fn_with_state(desk.clone(), pass))
        .with_state(desk.clone())
}

/// Serves connections, at most as many as there are slots; more are closed at once.
async fn accept(listener: tokio::net::TcpListener, router: Router, slots: Arc<Semaphore>) {
    loop {
        let Ok((stream, _)) = listener.accept().await else {
            // As when no more files can be opened: to try at once would only keep a processor busy.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        let Ok(slot) = slots.clone().try_acquire_owned() else {
            continue;
        };
        let service = TowerToHyperService::new(router.clone());
        tokio::spawn(async move {
            let mut connection = http1::Builder::new();
            connection
                .timer(TokioTimer::new())
                .header_read_timeout(HEAD_TIME);
            // How a connection ends is its own affair.
            let _ = connection
                .serve_connection(TokioIo::new(stream), service)
                .await;
            drop(slot);
        });
    }
}

#[cfg(test)]
mod tests {
    use axum::body::Body;
    use axum::http::Request;
    use hyper::service::Service;

    use super::*;
    use crate::fetch::feed::Feeds;

    /// What is worked out from winds may take longer than other answers: an ensemble would never be shown.
    #[test]
    fn what_takes_long_is_waited_for() {
        let folder = tempfile::tempdir().unwrap();
        for file in ["plan.toml", "riverton-2026-02-05.csv"] {
            let from = Path::new("samples/high-plains").join(file);
            std::fs::copy(from, folder.path().join(file)).unwrap();
        }
        let settings = Settings {
            folder: folder.path().to_owned(),
            feeds: Feeds::built_in().unwrap(),
            idle: ANSWER_TIME,
        };
        let door = Door::new(&["127.0.0.1:1".parse().unwrap()], DeskKey::new().unwrap());
        let key = door.address().split("key=").nth(1).unwrap().to_owned();
        let desk = Arc::new(Desk::new(settings, door).unwrap());
        // All others have no time at all here.
        let service = TowerToHyperService::new(router(&desk, Duration::ZERO));
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        let ask = |path: &str| {
            let request = Request::get(path)
                .header("host", "127.0.0.1:1")
                .header("cookie", format!("windfall-desk-1={key}"))
                .body(Body::empty());
            let answer = runtime.block_on(service.call(request.unwrap()));
            answer.unwrap().status()
        };
        let ground = ask("/map/ground?name=plan.toml&frame=43.0000,-108.0000,60000");
        assert_eq!(ground, StatusCode::REQUEST_TIMEOUT);
        for path in [
            "/live?name=plan.toml&n=1",
            "/compare?old=plan.toml&new=plan.toml",
            "/card?name=plan.toml",
            "/plan?name=plan.toml",
        ] {
            assert_eq!(ask(path), StatusCode::OK, "{path}");
        }
    }
}

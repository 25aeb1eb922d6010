//! Sources that misbehave, on this machine alone: connections that are cut, half lines, garbage, a server that
//! goes silent, files that grow and are begun anew, clocks that change.

#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "the numbers are for --nocapture")]

#[allow(dead_code, reason = "of the server only a part is used")]
#[path = "common/server.rs"]
mod server;

use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::mpsc::Receiver;
use std::thread;
use std::time::{Duration, Instant};

use jiff::Timestamp;
use server::Server;
use windfall::geodesy::Position;
use windfall::listen::listening::Listening;
use windfall::listen::{Event, ReportSource, Said, Waiting, listen};
use windfall::track::fields::Fields;
use windfall::track::gate::Gate;
use windfall::track::reader::Reader;
use windfall::track::{Refusal, Report};

const GOOD: &str = "N0CALL-11>APRS:/123519h4903.50N/07201.75WO088/036/A=001234";

fn quick() -> Waiting {
    Waiting {
        connect: Duration::from_secs(2),
        pause: Duration::from_millis(20),
        longest: Duration::from_millis(80),
        silent: Duration::from_millis(300),
        look: Duration::from_millis(20),
        ask: Duration::from_millis(50),
    }
}

/// What is told until something holds, without the beats of nothing; at most ten seconds.
fn until(events: &Receiver<Event>, enough: impl Fn(&[Event]) -> bool) -> Vec<Event> {
    let (begin, mut all) = (Instant::now(), Vec::new());
    while begin.elapsed() < Duration::from_secs(10) {
        match events.recv_timeout(Duration::from_secs(10)) {
            Ok(Event::Bytes(bytes)) if bytes.is_empty() => {}
            Ok(event) => all.push(event),
            Err(_) => break,
        }
        if enough(&all) {
            return all;
        }
    }
    panic!("never: {all:?}");
}

/// A server that treats its n-th guest as it is told.
fn serve(guests: usize, treat: impl Fn(usize, TcpStream) + Send + 'static) -> ReportSource {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    thread::spawn(move || {
        for guest in 0..guests {
            let (stream, _) = listener.accept().unwrap();
            treat(guest, stream);
        }
        thread::sleep(Duration::from_secs(20));
    });
    ReportSource::Tcp(address.to_string())
}

fn reports(events: &[Event]) -> Vec<Report> {
    let (mut reader, mut all) = (Reader::new(Fields::default(), &[]).streaming(), Vec::new());
    for event in events {
        match event {
            Event::Bytes(bytes) => reader.bytes(bytes, &mut |h| all.extend(h.outcomes)),
            Event::Whole(bytes) => reader.whole(bytes, &mut |h| all.extend(h.outcomes)),
            Event::Cut => reader.cut(),
            _ => {}
        }
    }
    all.into_iter().flatten().collect()
}

#[test]
fn a_connection_that_is_cut_is_made_again_and_half_a_line_is_no_report() {
    let source = serve(3, |guest, mut stream| {
        let half = &GOOD[..GOOD.len() - 7];
        match guest {
            // Half a line, then nothing: the rest of it would be another report.
            0 => stream.write_all(half.as_bytes()).unwrap(),
            1 => stream
                .write_all(format!("\u{1}\u{2}\u{ff}garbage\n{GOOD}\r\n").as_bytes())
                .unwrap(),
            _ => stream.write_all(format!("{GOOD}\n").as_bytes()).unwrap(),
        }
    });
    let events = listen(&source, false, quick()).unwrap();
    let connected = |all: &[Event]| {
        all.iter()
            .filter(|e| matches!(e, Event::Said(Said::Connected(_))))
            .count()
    };
    let all = until(&events, |all| {
        connected(all) == 3 && matches!(all.last(), Some(Event::Bytes(_)))
    });
    let cuts = all.iter().filter(|e| **e == Event::Cut).count();
    assert_eq!(cuts, 2, "{all:?}");
    let found = reports(&all);
    assert_eq!(found.len(), 2, "{all:?}");
    assert!(found.iter().all(|r| r.altitude_m == Some(1_234.0 * 0.3048)));
}

/// The pauses before each new try, ms.
fn pauses(events: &[Event]) -> Vec<u128> {
    let lost = events.iter().filter_map(|e| match e {
        Event::Said(Said::Lost(_, pause)) => Some(pause.as_millis()),
        _ => None,
    });
    lost.collect()
}

#[test]
fn a_server_that_is_not_there_is_tried_more_and_more_rarely() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap().to_string();
    drop(listener);
    let events = listen(&ReportSource::Tcp(address), false, quick()).unwrap();
    let all = until(&events, |all| pauses(all).len() == 4);
    assert_eq!(pauses(&all), [20, 40, 80, 80]);
}

#[test]
fn a_silent_server_is_connected_to_anew() {
    let source = serve(2, |guest, mut stream| {
        if guest == 1 {
            stream.write_all(format!("{GOOD}\n").as_bytes()).unwrap();
        }
        // Open, and nothing said.
        thread::spawn(move || {
            thread::sleep(Duration::from_secs(5));
            drop(stream);
        });
    });
    let events = listen(&source, false, quick()).unwrap();
    let all = until(&events, |all| matches!(all.last(), Some(Event::Bytes(_))));
    assert!(
        all.contains(&Event::Said(Said::Silent(Duration::from_millis(300)))),
        "{all:?}"
    );
    assert_eq!(reports(&all).len(), 1);
}

#[test]
fn an_aprs_server_is_told_who_receives_and_nothing_else() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let text = format!("aprs://127.0.0.1:{port}?call=n0call&filter=b/N0CALL-11");
    let events = listen(&ReportSource::parse(&text).unwrap(), false, quick()).unwrap();
    let (mut stream, _) = listener.accept().unwrap();
    stream
        .write_all(format!("# a server\r\n{GOOD}\r\n").as_bytes())
        .unwrap();
    let mut login = String::new();
    BufReader::new(stream.try_clone().unwrap())
        .read_line(&mut login)
        .unwrap();
    assert_eq!(
        login,
        format!(
            "user N0CALL pass -1 vers windfall {} filter b/N0CALL-11\r\n",
            env!("CARGO_PKG_VERSION")
        )
    );
    let all = until(&events, |all| matches!(all.last(), Some(Event::Bytes(_))));
    assert_eq!(reports(&all).len(), 1);
}

#[test]
fn a_page_is_asked_again_and_told_when_it_changes() {
    let page =
        br#"[{"call":"A","time":"2024-04-05T15:19:33Z","lat":40.5,"lon":-89.25,"alt":3048}]"#;
    let files = [("/now.json".to_owned(), page.to_vec())]
        .into_iter()
        .collect();
    let server = Server::good(files);
    let source = ReportSource::parse(&format!("{}/now.json", server.url())).unwrap();
    let events = listen(&source, false, quick()).unwrap();
    let all = until(&events, |all| matches!(all.last(), Some(Event::Whole(_))));
    assert_eq!(reports(&all).len(), 1);
}

#[test]
fn a_file_that_grows_is_read_on_and_a_new_one_from_its_beginning() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.txt");
    std::fs::write(&path, format!("{GOOD}\n{}", &GOOD[..20])).unwrap();
    let events = listen(&ReportSource::File(path.clone()), true, quick()).unwrap();
    let bytes = |all: &[Event]| -> usize {
        let lengths = all.iter().map(|e| match e {
            Event::Bytes(bytes) => bytes.len(),
            _ => 0,
        });
        lengths.sum()
    };
    let mut all = until(&events, |all| bytes(all) == GOOD.len() + 21);
    let mut file = std::fs::OpenOptions::new()
        .append(true)
        .open(&path)
        .unwrap();
    file.write_all(format!("{}\n", &GOOD[20..]).as_bytes())
        .unwrap();
    all.extend(until(&events, |all| bytes(all) == GOOD.len() - 19));
    assert_eq!(reports(&all).len(), 2);
    // Begun anew, and shorter.
    std::fs::write(&path, format!("{GOOD}\n")).unwrap();
    all.extend(until(&events, |all| bytes(all) == GOOD.len() + 1));
    assert!(all.contains(&Event::Cut));
    assert_eq!(reports(&all).len(), 3);
}

/// The night on which clocks in Illinois went back, as a database there writes it.
#[test]
fn clocks_that_go_back_during_a_flight_change_nothing() {
    let mut gate = Gate::new(
        Position::new(40.5, -89.0).unwrap(),
        "2024-11-03T06:30:00Z".parse().unwrap(),
    );
    let mut reader = Reader::new(Fields::default(), &[]);
    for minute in 0..60 {
        let (hour, zone) = if minute < 30 { (1, "CDT") } else { (1, "CST") };
        let clock = if minute < 30 {
            minute + 30
        } else {
            minute - 30
        };
        let utc = 6 * 60 + 30 + minute;
        let line = format!(
            "2024-11-03 {hour:02}:{clock:02}:05 {zone}: N0CALL>APRS:/{:02}{:02}00h4030.00N/0890{}.{:02}WO000/000/A={:06}",
            utc / 60,
            utc % 60,
            minute / 30,
            99 - (minute % 30) * 3,
            1_000 + 900 * minute
        );
        for outcome in reader.read(line.as_bytes()) {
            gate.offer(outcome, None);
        }
    }
    assert_eq!(gate.fixes().len(), 60, "{:?}", gate.counts());
    assert_eq!(gate.fixes()[59].time.to_string(), "2024-11-03T07:29:00Z");
    assert!((gate.usual_delay_s().unwrap() - 5.0).abs() < 1.0);
}

/// Ten seconds of 10,000 lines a second from other stations, with ours among them.
#[test]
fn crowds_of_other_stations_are_passed_over() {
    let ours = ["N0CALL-11".to_owned()];
    let mut reader = Reader::new(Fields::default(), &ours).streaming();
    let mut gate = Gate::new(
        Position::new(49.0, -72.0).unwrap(),
        "2024-04-05T12:30:00Z".parse().unwrap(),
    );
    let heard: Timestamp = "2024-04-05T12:35:20Z".parse().unwrap();
    let mut text = String::new();
    for k in 0..100_000 {
        text += &format!(
            "OTHER{}>APRS,WIDE1-1:!4903.50N/07201.75W-/A=00{:04}\r\n",
            k % 900,
            k % 9_999
        );
        if k % 10_000 == 0 {
            text += &format!(
                "N0CALL-11>APRS:/1235{:02}h4903.50N/07201.75WO088/036/A=001234\r\n",
                k / 10_000
            );
        }
    }
    let begin = Instant::now();
    let mut offer = |outcomes: Vec<Result<Report, Refusal>>| {
        for outcome in outcomes {
            gate.offer(outcome, Some(heard));
        }
    };
    for chunk in text.as_bytes().chunks(1_000) {
        reader.bytes(chunk, &mut |h| offer(h.outcomes));
    }
    println!("100,000 lines in {:.2} s", begin.elapsed().as_secs_f64());
    assert_eq!(gate.counts()[&Refusal::NotAsked], 100_000);
    assert_eq!(gate.fixes().len(), 10);
    assert_eq!(gate.refused().count(), 0);
}

/// A pseudo-terminal stands in for a receiver: lines with a right checksum, the port closed and opened again.
#[cfg(target_os = "linux")]
#[test]
fn a_serial_device_is_listened_to_and_opened_again() {
    use std::os::fd::AsRawFd;
    let (receiver, port) = serial2::SerialPort::pair().unwrap();
    let device = std::fs::read_link(format!("/proc/self/fd/{}", port.as_raw_fd())).unwrap();
    assert!(device.starts_with("/dev/pts"), "{}", device.display());
    let source = ReportSource::parse(&format!("serial://{}?baud=9600", device.display())).unwrap();
    assert!(source.is_live());
    let events = listen(&source, false, quick()).unwrap();
    until(&events, |all| {
        matches!(all.last(), Some(Event::Said(Said::Connected(_))))
    });
    const GGA: &str = "$GPGGA,102705,5157.9762,N,00029.3256,W,1,04,2.0,75.7,M,47.6,M,,*62\r\n";
    receiver.write_all(GGA.as_bytes()).unwrap();
    receiver
        .write_all(format!("{GOOD}\r\n").as_bytes())
        .unwrap();
    let heights = |all: &[Event]| -> Vec<f64> {
        let all = reports(all).into_iter().filter_map(|r| r.altitude_m);
        all.map(f64::round).collect()
    };
    // The sentence and the packet, however the bytes come.
    until(&events, |all| {
        [76.0, 376.0].iter().all(|h| heights(all).contains(h))
    });
    // Unplugged: the other end is gone.
    drop((receiver, port));
    let lost = |all: &[Event]| {
        let lost = all
            .iter()
            .filter(|e| matches!(e, Event::Said(Said::Lost(..))));
        lost.count() >= 2
    };
    let all = until(&events, lost);
    assert!(all.contains(&Event::Cut), "{all:?}");
}

/// A fake broker that speaks as much of MQTT 3.1.1 as is needed: CONNACK, SUBACK, and one message.
#[cfg(feature = "mqtt")]
#[test]
fn a_topic_of_a_broker_is_listened_to() {
    use std::io::Read;
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        let mut packet = || {
            let mut head = [0; 2];
            stream.read_exact(&mut head).unwrap();
            let mut rest = vec![0; usize::from(head[1])];
            stream.read_exact(&mut rest).unwrap();
            (head[0], rest, stream.try_clone().unwrap())
        };
        let (kind, _, mut out) = packet();
        assert_eq!(kind, 0x10);
        out.write_all(&[0x20, 2, 0, 0]).unwrap();
        let (kind, rest, mut out) = packet();
        assert_eq!((kind, &rest[4..11]), (0x82, &b"flights"[..]));
        out.write_all(&[0x90, 3, rest[0], rest[1], 0]).unwrap();
        let body = br#"{"time":"2024-04-05T15:19:33Z","lat":40.5,"lon":-89.0,"alt":1234.5}"#;
        let mut message = vec![0x30, (2 + 9 + body.len()) as u8, 0, 9];
        message.extend(b"flights/1");
        message.extend(body);
        out.write_all(&message).unwrap();
        thread::sleep(Duration::from_secs(20));
    });
    let source = ReportSource::parse(&format!("mqtt://{address}/flights/%2B")).unwrap();
    let events = listen(&source, false, quick()).unwrap();
    let all = until(&events, |all| !reports(all).is_empty());
    assert_eq!(reports(&all)[0].altitude_m, Some(1_234.5));
}

/// A server that greets and closes at once, again and again, is asked more and more rarely.
#[test]
fn a_server_that_only_greets_is_tried_more_and_more_rarely() {
    let source = serve(6, |_, mut stream| stream.write_all(b"# hello\r\n").unwrap());
    let waiting = Waiting {
        longest: Duration::from_millis(160),
        ..quick()
    };
    let events = listen(&source, false, waiting).unwrap();
    let all = until(&events, |all| pauses(all).len() == 4);
    assert_eq!(pauses(&all), [20, 40, 80, 160]);
}

/// What a page with a key in its address tells of itself has no key; what it told before is not told again.
#[test]
fn a_pages_key_is_not_told_and_what_grows_is_told_once() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    thread::spawn(move || {
        for guest in 0.. {
            let (mut stream, _) = listener.accept().unwrap();
            let mut lines = BufReader::new(stream.try_clone().unwrap()).lines();
            while lines.next().is_some_and(|line| !line.unwrap().is_empty()) {}
            let rows: Vec<String> = (0..=guest.min(3))
                .map(|k| format!("{{\"lat\":40.5,\"lon\":-89.25,\"alt\":{}}}", 1_000 + k))
                .collect();
            let (status, body) = match guest {
                4 => ("403 Forbidden", String::new()),
                _ => ("200 OK", format!("[{}]", rows.join(","))),
            };
            let head = format!("HTTP/1.1 {status}\r\nContent-Length: {}\r\n", body.len());
            let _ = write!(stream, "{head}Connection: close\r\n\r\n{body}");
        }
    });
    let source = ReportSource::parse(&format!("http://me:pass@{address}/a?token=SECRET&b=1"));
    let reader = Reader::new(Fields::default(), &[]);
    let mut listening = Listening::new(&source.unwrap(), reader, false, quick()).unwrap();
    let (mut heard, mut said) = (Vec::new(), Vec::new());
    let begin = Instant::now();
    while said.len() < 2 && begin.elapsed() < Duration::from_secs(10) {
        let batch = listening.hear();
        heard.extend(batch.heard);
        said.extend(batch.said);
    }
    let words = format!("{said:?}");
    assert!(
        words.contains("token=...&b=1") && words.contains("403"),
        "{words}"
    );
    assert!(
        !words.contains("SECRET") && !words.contains("pass"),
        "{words}"
    );
    let raw: Vec<String> = heard
        .iter()
        .map(|h| String::from_utf8_lossy(&h.raw).into_owned())
        .collect();
    assert_eq!(heard.len(), 4, "{raw:?}");
    assert!(
        (0..4).all(|k| raw[k].contains(&(1_000 + k).to_string())),
        "{raw:?}"
    );
}

/// A session that joins late: what the file had before was heard at another time, what comes now is heard now.
#[test]
fn what_a_growing_file_had_before_was_not_heard_now() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("growing.log");
    std::fs::write(&path, format!("{GOOD}\n").repeat(3)).unwrap();
    let source = ReportSource::File(path.clone());
    let reader = Reader::new(Fields::default(), &[]);
    let mut listening = Listening::new(&source, reader, true, quick()).unwrap();
    let mut next = || {
        let begin = Instant::now();
        while begin.elapsed() < Duration::from_secs(10) {
            let batch = listening.hear();
            if !batch.heard.is_empty() {
                return (batch.was_there, batch.heard.len());
            }
        }
        panic!("nothing heard");
    };
    assert_eq!(next(), (true, 3));
    // Its end is told after a while only, as it is looked at again and again.
    thread::sleep(Duration::from_millis(200));
    let mut file = std::fs::OpenOptions::new()
        .append(true)
        .open(&path)
        .unwrap();
    file.write_all(format!("{GOOD}\n").as_bytes()).unwrap();
    assert_eq!(next(), (false, 1));
}

/// A page that lists the newest report first is heard in the order of time, in whichever order its dates are written.
#[test]
fn a_page_of_the_newest_first_is_turned_round() {
    newest_first_is_turned_round("2026-05-01T09:", ":00Z");
    newest_first_is_turned_round("26-05-01 09:", ":00");
}

fn newest_first_is_turned_round(hour: &'static str, end: &'static str) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    thread::spawn(move || {
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            let mut lines = BufReader::new(stream.try_clone().unwrap()).lines();
            while lines.next().is_some_and(|line| !line.unwrap().is_empty()) {}
            let row = |minute: u32| {
                format!(
                    "{{\"time\":\"{hour}{minute:02}{end}\",\"lat\":40.5,\"lon\":-89.25,\"alt\":{minute}}}"
                )
            };
            let rows: Vec<String> = (10..20).rev().map(row).collect();
            let body = format!("[{}]", rows.join(","));
            let head = format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n", body.len());
            let _ = write!(stream, "{head}Connection: close\r\n\r\n{body}");
        }
    });
    let source = ReportSource::parse(&format!("http://{address}/a")).unwrap();
    let reader = Reader::new(Fields::default(), &[]);
    let mut listening = Listening::new(&source, reader, false, quick()).unwrap();
    let begin = Instant::now();
    let batch = loop {
        let batch = listening.hear();
        if !batch.heard.is_empty() || begin.elapsed() > Duration::from_secs(10) {
            break batch;
        }
    };
    assert!(batch.was_there);
    let heights = batch
        .heard
        .iter()
        .map(|h| h.outcomes[0].as_ref().unwrap().altitude_m);
    let heights: Vec<f64> = heights.flatten().collect();
    assert_eq!(heights.len(), 10);
    assert!(heights.is_sorted(), "{heights:?}");
}

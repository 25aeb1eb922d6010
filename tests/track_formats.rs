//! Position reports read by content. Values: the examples of the APRS Protocol Reference 1.0.1 (TAPR,
//! 29 Aug 2000), decoded with aprslib 0.7.2 (Python), which agree with the specification's own
//! arithmetic; NMEA sentences with pynmea2 1.19.0; frames with ax253 (Python).

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

use proptest::prelude::*;
use serde_json::Value;
use windfall::geodesy::Position;
use windfall::track::fields::Fields;
use windfall::track::reader::{Heard, Reader, log_line};
use windfall::track::{Outcome, Refusal, Report, Stamp};

fn tracks() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/tracks")
}

fn reader() -> Reader {
    Reader::new(Fields::default(), &[])
}

fn one(line: &[u8]) -> Outcome {
    let mut outcomes = reader().read(line);
    assert_eq!(outcomes.len(), 1, "{}", String::from_utf8_lossy(line));
    outcomes.remove(0)
}

fn packet(information: &str) -> Outcome {
    one(format!("N0CALL>APRS:{information}").as_bytes())
}

fn assert_at(report: &Report, lat: f64, lon: f64, altitude_m: Option<f64>, what: &str) {
    let Position { lat_deg, lon_deg } = report.position;
    assert!((lat_deg - lat).abs() < 6e-7, "{what}: {lat_deg}");
    assert!((lon_deg - lon).abs() < 6e-7, "{what}: {lon_deg}");
    match (report.altitude_m, altitude_m) {
        (None, None) => {}
        (Some(found), Some(wanted)) => assert!((found - wanted).abs() < 6e-4, "{what}: {found}"),
        other => panic!("{what}: {other:?}"),
    }
}

#[test]
fn the_examples_of_the_specification_are_read() {
    let fixes: [(&str, f64, f64, Option<f64>, Stamp); 8] = [
        (
            "!4903.50N/07201.75W-Test /A=001234",
            49.058333,
            -72.029167,
            Some(376.1232),
            Stamp::Unknown,
        ),
        (
            "/092345z4903.50N/07201.75W>Test1234",
            49.058333,
            -72.029167,
            None,
            Stamp::OfMonth(9, 85_500.0),
        ),
        (
            "@234517h4903.50N/07201.75W>088/036",
            49.058333,
            -72.029167,
            None,
            Stamp::OfDay(85_517.0),
        ),
        ("=/5L!!<*e7>7P[", 49.5, -72.750004, None, Stamp::Unknown),
        (
            "=/5L!!<*e7OS]S",
            49.5,
            -72.750004,
            Some(3_049.378),
            Stamp::Unknown,
        ),
        (
            "@092345z/5L!!<*e7>{?!",
            49.5,
            -72.750004,
            None,
            Stamp::OfMonth(9, 85_500.0),
        ),
        (
            "!4903.50N/07201.75W-/A=-00079",
            49.058333,
            -72.029167,
            Some(-24.0792),
            Stamp::Unknown,
        ),
        (
            "/123519h4903.50N/07201.75WO088/036/A=098425!W52!",
            49.0584167,
            -72.0292,
            Some(29_999.94),
            Stamp::OfDay(45_319.0),
        ),
    ];
    for (text, lat, lon, altitude_m, stamp) in fixes {
        let report = packet(text).unwrap_or_else(|why| panic!("{text}: {why:?}"));
        assert_at(&report, lat, lon, altitude_m, text);
        assert_eq!(report.stamp, stamp, "{text}");
        assert_eq!(report.tracker, "N0CALL");
    }
    let object = packet(";LEADER   *092345z4903.50N/07201.75W>088/036/A=012345").unwrap();
    assert_at(&object, 49.058333, -72.029167, Some(3_762.756), "object");
    assert_eq!(object.tracker, "LEADER");
    for (text, why) in [
        (";LEADER   _092345z4903.50N/07201.75W>", Refusal::TakenBack),
        ("!4903.  N/07201.  WO", Refusal::Vague),
        ("!0000.00N\\00000.00W.", Refusal::NoFix),
        (">status", Refusal::NoPosition),
        ("T#005,199,000,255,073,123,01101001", Refusal::NoPosition),
    ] {
        assert_eq!(packet(text), Err(why), "{text}");
    }
    let item = packet(")AID #2!4903.50N/07201.75WA/A=001000").unwrap();
    assert_eq!(
        (item.tracker.as_str(), item.altitude_m),
        ("AID #2", Some(304.8))
    );
    let inner =
        one(b"GATE>APRS:}N0CALL-11>APRS,TCPIP,GATE*:!4903.50N/07201.75W-/A=001234").unwrap();
    assert_eq!(inner.tracker, "N0CALL-11");
}

#[test]
fn mic_e_is_read() {
    let near = one(b"N0CALL>S32U6T:`(_fn\"Oj/\"4T}").unwrap();
    assert_at(&near, 33.427333, -12.129, Some(61.0), "near");
    let high = one(b"N0CALL>T2SP0W:`c.l!g>O/\"%lT}").unwrap();
    assert_at(&high, 42.501167, -71.313333, Some(30_000.0), "high");
}

/// Several `!w..!` in one comment are telemetry, and move nothing.
#[test]
fn telemetry_in_the_form_of_an_offset_moves_nothing() {
    let text = "/135815h4029.06N/08858.46WO223/001/A=000809 016TxC !wS'! !wR&! !wG/!";
    let report = packet(text).unwrap();
    assert_at(
        &report,
        40.0 + 29.06 / 60.0,
        -88.0 - 58.46 / 60.0,
        Some(246.5832),
        text,
    );
}

#[test]
fn lines_that_were_damaged_on_the_air_are_refused() {
    let head = "KD9ZSY-12>APLIGA,WIDE1-1,qAR,K9GCP:";
    for text in [
        "/175947h,038.09N/08837.71WO069/099/A=028692 039TxC  29.50C  308.02hPa  4.41V 12S    nanC",
        "/175947h4078.09N/08837.71WO069/099/A=028692",
        "/175947h4038.09N/08867.71WO069/099/A=028692",
        "/754234h4046.36N/08813.26WO134/005/A=0Y2902 174TxC  24.60C    9.93hPa  5.61V 08S -18.47C",
    ] {
        assert_eq!(
            one(format!("{head}{text}").as_bytes()),
            Err(Refusal::Damaged),
            "{text}"
        );
    }
}

/// 237 lines with the values of aprslib 0.7.2 and a verdict each.
#[test]
fn the_golden_lines_are_judged_as_they_should_be() {
    let text = std::fs::read_to_string(tracks().join("aprs_golden.jsonl")).unwrap();
    let (mut fixes, mut refused) = (0, 0);
    for line in text.lines() {
        let golden: Value = serde_json::from_str(line).unwrap();
        let raw = golden["raw"].as_str().unwrap();
        let latin: Vec<u8> = match golden["encoding"].as_str() {
            Some("latin-1") => raw.chars().map(|c| c as u8).collect(),
            _ => raw.as_bytes().to_vec(),
        };
        let outcome = one(&latin);
        let verdict = golden["verdict"].as_str().unwrap();
        let vague = golden["ambiguity"].as_u64().is_some_and(|a| a > 0);
        let dead = golden["alive"].as_bool() == Some(false);
        match verdict {
            "fix" if !vague && !dead => {
                let report = outcome.unwrap_or_else(|why| panic!("{raw}: {why:?}"));
                let (lat, lon) = (
                    golden["lat"].as_f64().unwrap(),
                    golden["lon"].as_f64().unwrap(),
                );
                let at = Position::new(lat, lon).unwrap();
                // An offset that one decoder takes and another does not is at most 18 m in each direction.
                assert!(at.distance_m(report.position) < 27.0, "{raw}");
                let altitude_m = golden["altitude_m"].as_f64().unwrap();
                assert!(
                    (report.altitude_m.unwrap() - altitude_m).abs() < 0.01,
                    "{raw}"
                );
                fixes += 1;
            }
            "place without altitude" => {
                if let Ok(report) = outcome {
                    assert_eq!(report.altitude_m, None, "{raw}");
                }
            }
            v if v.starts_with("refuse") => {
                assert_eq!(outcome, Err(Refusal::Damaged), "{raw}");
                refused += 1;
            }
            // Of some, aprslib knows the form and this program knows more: items.
            _ => assert!(
                outcome.is_err() || raw.contains(":)") || outcome.unwrap().altitude_m.is_none(),
                "{raw}"
            ),
        }
    }
    assert!(fixes > 100 && refused == 2, "{fixes} {refused}");
}

fn heard(bytes: &[u8]) -> Vec<Heard> {
    let (mut reader, mut all) = (reader(), Vec::new());
    reader.bytes(bytes, &mut |h| all.push(h));
    reader.end(&mut |h| all.push(h));
    all
}

fn reports(bytes: &[u8]) -> Vec<Report> {
    heard(bytes)
        .into_iter()
        .flat_map(|h| h.outcomes)
        .flatten()
        .collect()
}

#[test]
fn frames_of_a_modem_are_packets() {
    let bytes = std::fs::read(tracks().join("kiss_two_frames.bin")).unwrap();
    let all = heard(&bytes);
    assert_eq!(all.len(), 2);
    assert_eq!(
        String::from_utf8_lossy(&all[0].raw),
        "N0CALL-11>APRS,WIDE1-1,WIDE2-1:/123519h4903.50N/07201.75WO088/036/A=001234"
    );
    let first = all[0].outcomes[0].clone().unwrap();
    assert_at(&first, 49.058333, -72.029167, Some(376.1232), "first");
    assert_eq!(first.tracker, "N0CALL-11");
    let second = all[1].outcomes[0].clone().unwrap();
    assert_at(&second, 33.427333, -12.129, Some(61.0), "second");
    assert!(all[1].raw.ends_with(b"}\xc0\xdbend"), "{:?}", all[1].raw);
    // Byte by byte, and with a frame cut in front, it is the same.
    let mut cut = vec![0xc0, 0x00, 0x82];
    cut.extend(&bytes);
    assert_eq!(reports(&cut).len(), 2);
}

#[test]
fn sentences_of_a_receiver_are_read_with_their_checksum() {
    let gga = one(b"$GPGGA,102705,5157.9762,N,00029.3256,W,1,04,2.0,75.7,M,47.6,M,,*62").unwrap();
    let Position { lat_deg, lon_deg } = gga.position;
    assert!((lat_deg - 51.966270).abs() < 1e-6 && (lon_deg + 0.488760).abs() < 1e-6);
    assert!((gga.altitude_m.unwrap() - 75.7).abs() < 1e-4);
    assert_eq!(gga.stamp, Stamp::OfDay(37_625.0));
    let refused = [
        (
            &b"$GPGGA,102705,5157.9762,N,00029.3256,W,1,04,2.0,75.7,M,47.6,M,,*63"[..],
            Refusal::Damaged,
        ),
        (b"$GPGGA,235948.000,,,,,0,00,,,M,,M,,*79", Refusal::NoFix),
        (
            b"$GPRMC,235947.799,V,,,,,0.00,0.00,050180,,,N*48",
            Refusal::NoPosition,
        ),
        // Two that ran together.
        (
            b"$GPRMC,235947.000,V,,,,,0.00,0.00,$GPGGA,235947.599,,,,,0,00,,,M,,M,,*73",
            Refusal::NoFix,
        ),
    ];
    for (line, why) in refused {
        assert_eq!(one(line), Err(why), "{}", String::from_utf8_lossy(line));
    }
    // A piece is missing and the checksum is right by chance: no report comes of it.
    assert!(one(b"$GPRMC,144638.400,A,3546.0548,N,078.89,116.3,M,-33.0,M,0000,0000*55").is_err());
    // Before a sentence there may be something else.
    assert!(
        one(b"12:00 $GPGGA,102705,5157.9762,N,00029.3256,W,1,04,2.0,75.7,M,47.6,M,,*62").is_ok()
    );
}

fn summed(body: &str) -> String {
    let sum = body.bytes().fold(0u8, |sum, b| sum ^ b);
    format!("${body}*{sum:02X}\r\n")
}

#[test]
fn the_date_of_one_sentence_is_that_of_the_next() {
    let log = summed("GNRMC,235959.00,A,4000.0,N,08900.0,W,10.0,90.0,310524,,,A")
        + &summed("GNGGA,235959.00,4000.0,N,08900.0,W,1,08,1.0,1000.0,M,-33.0,M,,")
        + &summed("GNGGA,000001.00,4000.0,N,08900.0,W,1,08,1.0,1010.0,M,-33.0,M,,");
    let times: Vec<String> = reports(log.as_bytes())
        .iter()
        .map(|r| match r.stamp {
            Stamp::At(time) => time.to_string(),
            other => format!("{other:?}"),
        })
        .collect();
    assert_eq!(times, ["2024-05-31T23:59:59Z", "2024-06-01T00:00:01Z"]);
}

#[test]
fn tables_are_read_by_the_names_of_their_columns() {
    let wanted = |table: &str| {
        let found = reports(table.as_bytes());
        assert_eq!(found.len(), 1, "{table}");
        let report = &found[0];
        assert_at(report, 40.5, -89.25, Some(3_048.0), table);
        assert_eq!(
            report.stamp,
            windfall::track::stamp::read("2024-04-05T15:19:33Z"),
            "{table}"
        );
    };
    for table in [
        "time,lat,lon,alt\n2024-04-05T15:19:33Z,40.5,-89.25,3048\n",
        "Timestamp;Latitude;Longitude;Altitude (ft)\r\n2024-04-05 15:19:33;40,5;-89,25;10000\r\n",
        "id\ttime\tlng\tlat\talt_ft\nA\t1712330373\t-89.25\t40.5\t10000\n",
        "\u{feff}Date,Time,LAT,LON,GPS Altitude [m]\n2024-04-05,15:19:33,40.5 N,89.25 W,3048",
        "# made by us\n\ntime,latitude_deg,longitude_deg,altitude_m,pressure_hPa\n2024-04-05T15:19:33Z,40.5,-89.25,3048.0,\n",
        "unix,latitude_i,longitude_i,altitude\n1712330373000,405000000,-892500000,3048\n",
        // Degrees and minutes with a sign, as loggers copy them from NMEA.
        "time,lat,lon,alt\n2024-04-05T15:19:33Z,4030.000,-8915.000,3048\n",
        "call,time (UTC),lat,lon,height_km\nX,2024-04-05 10:19:33 CDT,40.5,-89.25,3.048\n",
    ] {
        wanted(table);
    }
    let numbered =
        "id,callsign,time,lat,lon,alt\n17,KITE-11,2024-04-05T15:19:33Z,40.5,-89.25,3048\n";
    assert_eq!(reports(numbered.as_bytes())[0].tracker, "KITE-11");
    let holes = "time,lat,lon,alt\n2024-04-05T15:19:33Z,,,\n2024-04-05T15:19:34Z,40.5\n,40.5,-89.25,nan\n2024,95,0,1\n2024-04-05T15:19:33Z,4075.0,-8915.0,3048\n";
    let outcomes: Vec<Outcome> = heard(holes.as_bytes())
        .into_iter()
        .flat_map(|h| h.outcomes)
        .skip(1)
        .collect();
    assert_eq!(outcomes[0], Err(Refusal::NoFix));
    assert_eq!(outcomes[1], Err(Refusal::Damaged));
    assert_eq!(outcomes[2].as_ref().unwrap().altitude_m, None);
    // 95 degrees north and 75 minutes are none.
    assert_eq!(outcomes[3], Err(Refusal::Damaged));
    assert_eq!(outcomes[4], Err(Refusal::Damaged));
}

fn with_fields(fields: &str, text: &str) -> Vec<Report> {
    let (mut reader, mut all) = (Reader::new(Fields::parse(fields).unwrap(), &[]), Vec::new());
    let mut keep = |h: Heard| all.extend(h.outcomes.into_iter().flatten());
    reader.bytes(text.as_bytes(), &mut keep);
    reader.end(&mut keep);
    all
}

#[test]
fn the_user_may_name_columns_members_and_units() {
    let table = with_fields(
        "time=1,lat=3,lon=4,alt=5:ft",
        "2024-04-05T15:19:33Z,x,40.5,-89.25,10000\n",
    );
    assert_at(&table[0], 40.5, -89.25, Some(3_048.0), "numbers");
    let named = with_fields(
        "lat=y,lon=x,alt=h:km,time=when",
        "when,x,y,h\n2024-04-05T15:19:33Z,-89.25,40.5,3.048\n",
    );
    assert_at(&named[0], 40.5, -89.25, Some(3_048.0), "names");
    let text = r#"{"uplink_message":{"decoded_payload":{"latitude":40.5,"longitude":-89.25,"alt_cm":3048}},"received_at":"2024-04-05T15:19:33.5Z"}"#;
    let fields = "lat=uplink_message.decoded_payload.latitude,lon=uplink_message.decoded_payload.longitude,\
                  alt=uplink_message.decoded_payload.alt_cm:m,time=received_at";
    let json = with_fields(fields, text);
    assert_at(&json[0], 40.5, -89.25, Some(3_048.0), "paths");
    for wrong in ["lat", "lat=", "speed=x", "alt=h:stone", "lat=a..b"] {
        let message = Fields::parse(wrong).unwrap_err().to_string();
        assert!(message.starts_with("--fields"), "{message}");
    }
}

/// The moments of a tracker by their times, the trackers of a network by their calls, and a number beside a call.
#[test]
fn objects_within_objects_are_reports_each_where_they_have_their_times() {
    let moment = |call: &str, minute: u32| {
        format!(
            r#"{{"id":{minute},"payload_callsign":"{call}","datetime":"2026-02-05T23:{minute}:00Z","lat":43.02,"lon":-108.35,"alt":{}}}"#,
            1_640 + 300 * minute
        )
    };
    let (first, second) = (moment("HAB1", 50), moment("HAB1", 51));
    let by_time = format!(r#"{{"HAB1":{{"a":{first},"b":{second}}}}}"#);
    let heights = |text: &str| -> Vec<f64> {
        let found = reports(text.as_bytes());
        found.iter().map(|r| r.altitude_m.unwrap()).collect()
    };
    assert_eq!(heights(&by_time), [16_640.0, 16_940.0]);
    let by_call = format!(r#"{{"HAB0":{},"HAB1":{second}}}"#, moment("HAB0", 49));
    let mut asked = Reader::new(Fields::default(), &["HAB1".to_owned()]);
    let found: Vec<Report> = asked
        .read(by_call.as_bytes())
        .into_iter()
        .flatten()
        .collect();
    assert_eq!((found.len(), found[0].tracker.as_str()), (1, "HAB1"));
    // What only has a place beside one that is a report is none.
    let with_site = format!(r#"{{"a":{first},"b":{{"lat":40.0,"lon":-100.0}}}}"#);
    assert_eq!(heights(&with_site), [16_640.0]);
}

/// A page whose list stands in an object tells each member of it by itself, as one that is a list does.
#[test]
fn the_members_of_a_list_in_an_object_are_heard_each() {
    let entry = |k: u32| {
        format!(r#"{{"time":"2026-02-05T23:{k}:00Z","lat":43.02,"lng":-108.35,"altitude":{k}00}}"#)
    };
    let point = |k: u32| {
        format!(
            r#"{{"type":"Feature","geometry":{{"type":"Point","coordinates":[-108.35,43.02,{k}00]}},"properties":{{"time":"2026-02-05T23:{k}:00Z"}}}}"#
        )
    };
    let listed =
        |of: &dyn Fn(u32) -> String, upto: u32| (20..upto).map(of).collect::<Vec<_>>().join(",");
    for (page, of) in [
        (
            r#"{"result":"ok","found":9,"entries":["#,
            &entry as &dyn Fn(u32) -> String,
        ),
        (r#"{"type":"FeatureCollection","features":["#, &point),
    ] {
        let heard = |upto: u32| {
            let mut all = Vec::new();
            let text = format!("{page}{}]}}", listed(of, upto));
            reader().whole(text.as_bytes(), &mut |h| all.push(h));
            all
        };
        let (before, now) = (heard(25), heard(26));
        assert_eq!((before.len(), now.len()), (5, 6), "{page}");
        assert_eq!(now[..5], before, "{page}");
        assert!(now[5].outcomes[0].is_ok());
        // A log of it gives it back.
        assert_eq!(reports(&now[5].raw).len(), 1);
    }
}

#[test]
fn a_loudness_in_front_and_halves_of_the_day_are_read() {
    let loud = b"[0.3] N0CALL-11>APRS,WIDE2-1:/235000h4301.20N/10821.00WO000/000/A=005380";
    assert_eq!(one(loud).unwrap().tracker, "N0CALL-11");
    let table = "time,lat,lon,alt\n02/25/2026 11:50:00 PM,43.02,-108.35,1640\n02/26/2026 12:01:00 AM,43.02,-108.35,1700\n";
    let times: Vec<Stamp> = reports(table.as_bytes()).iter().map(|r| r.stamp).collect();
    let at = |text: &str| Stamp::At(text.parse().unwrap());
    assert_eq!(
        times,
        [at("2026-02-25T23:50:00Z"), at("2026-02-26T00:01:00Z")]
    );
}

#[test]
fn json_is_read_by_names_and_a_networks_guess_is_no_fix() {
    let nested = r#"{"type":"position","from":12,"payload":{"latitude_i":405000000,"longitude_i":-892500000,"altitude":3048,"time":1712330373}}"#;
    let found = reports(nested.as_bytes());
    assert_at(&found[0], 40.5, -89.25, Some(3_048.0), nested);
    let array = r#"[{"lat":40.5,"lon":-89.25,"alt":3048,"at":"2024-04-05T15:19:33Z"},{"lat":40.6,"lng":-89.25,"alt_ft":10000}]"#;
    assert_eq!(reports(array.as_bytes()).len(), 2);
    let listed = r#"{"result":"ok","found":2,"entries":[{"lat":40.5,"lng":-89.25,"altitude":3048},{"lat":"40.6","lng":"-89.25","altitude":3100}]}"#;
    assert_eq!(reports(listed.as_bytes()).len(), 2);
    assert_eq!(
        one(br#"{"result":"ok","entries":[{"battery":3}]}"#),
        Err(Refusal::NoPosition)
    );
    let guess = r#"{"imei":"300","iridium_latitude":40.5,"iridium_longitude":-89.2,"iridium_cep":8,"transmit_time":"21-10-31 10:41:50"}"#;
    assert!(reports(guess.as_bytes()).is_empty());
    for torn in [&b"{\"lat\":1,\"lo"[..], b"{]", b"[1,2"] {
        assert_eq!(one(torn), Err(Refusal::Damaged));
    }
}

#[test]
fn documents_are_read_when_they_are_whole() {
    let gpx = "<?xml version=\"1.0\"?>\n<gpx version=\"1.1\"><trk><trkseg>\n<trkpt lat=\"40.5\" lon=\"-89.25\">\n<ele>3048</ele>\n<time>2024-04-05T15:19:33Z</time></trkpt>\n<trkpt lat=\"40.6\" lon=\"-89\"/></trkseg></trk></gpx>";
    let found = reports(gpx.as_bytes());
    assert_at(&found[0], 40.5, -89.25, Some(3_048.0), "gpx");
    assert_eq!(found[1].altitude_m, None);
    let geojson = r#"{
      "type": "FeatureCollection", "features": [
      {"type":"Feature","geometry":{"type":"LineString","coordinates":[[-89.25,40.5,3048],[-89.2,40.6,3100]]},
       "properties":{"kind":"track","times":["2024-04-05T15:19:33Z","2024-04-05T15:20:33Z"]}},
      {"type":"Feature","geometry":{"type":"Point","coordinates":[-89,41,5]},"properties":{"kind":"landing"}}]}"#;
    let found = reports(geojson.as_bytes());
    assert_eq!(found.len(), 2);
    assert_at(&found[0], 40.5, -89.25, Some(3_048.0), "geojson");
    let torn = &gpx[..gpx.len() / 2];
    assert!(
        heard(torn.as_bytes())
            .iter()
            .any(|h| h.outcomes.contains(&Err(Refusal::Damaged)))
            || reports(torn.as_bytes()).len() < 2
    );
}

#[test]
fn our_own_log_gives_back_what_was_heard() {
    let at: jiff::Timestamp = "2024-04-05T15:19:40Z".parse().unwrap();
    let lines: [&[u8]; 4] = [
        b"N0CALL>T2SP0W:`c.l!g>O/\"%lT}\x1c\xff",
        b"time,lat,lon,alt",
        b"2024-04-05T15:19:33Z,40.5,-89.25,3048",
        b"{\"lat\":40.5,\"lon\":-89.25,\"alt\":3048}",
    ];
    let log: String = lines.iter().map(|l| log_line(at, l)).collect();
    assert!(log.is_ascii() || log.contains('\u{ff}'));
    let found = reports(log.as_bytes());
    assert_eq!(found.len(), 3);
    assert!(found.iter().all(|r| r.heard == Some(at)));
    let direct = one(lines[0]).unwrap();
    assert_eq!(
        Report {
            heard: Some(at),
            ..direct
        },
        found[0]
    );
    // A log within a log is none.
    let twice = log_line(at, log_line(at, lines[0]).trim_end().as_bytes());
    assert_eq!(one(twice.trim_end().as_bytes()), Err(Refusal::Damaged));
}

#[test]
fn only_the_trackers_asked_for_count() {
    let mut reader = Reader::new(Fields::default(), &["n0call-11".to_owned()]);
    let mut read = |line: &str| reader.read(line.as_bytes()).remove(0);
    assert!(read("N0CALL-11>APRS:!4903.50N/07201.75W-/A=001234").is_ok());
    assert_eq!(
        read("N0CALL-12>APRS:!4903.50N/07201.75W-/A=001234"),
        Err(Refusal::NotAsked)
    );
    assert_eq!(
        read("GATE>APRS:;OTHER    *092345z4903.50N/07201.75W>"),
        Err(Refusal::NotAsked)
    );
    assert!(read("GATE>APRS:;N0CALL-11*092345z4903.50N/07201.75W>").is_ok());
    assert!(reader.read(b"# the server says hello").is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    /// Whatever comes, nothing panics.
    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        heard(&bytes);
    }

    /// Nor packets, sentences, tables and JSON with something wrong in them.
    #[test]
    fn no_damaged_report_panics(at in 0usize..90, byte in any::<u8>(), cut in 0usize..120, which in 0usize..9) {
        let lines: [&[u8]; 9] = [
            b"N0CALL-11>APRS,WIDE1-1:/123519h4903.50N/07201.75WO088/036/A=098425!W52!",
            b"N0CALL>T2SP0W:`c.l!g>O/\"%lT}",
            b"2024-04-05 10:19:33 CDT: N0CALL>APRS:=/5L!!<*e7OS]S /A=001000 [x]",
            b"GATE>APRS:}N0CALL-11>APRS,TCPIP,GATE*:;LEADER   *092345z4903.50N/07201.75W>",
            b"$GPGGA,102705,5157.9762,N,00029.3256,W,1,04,2.0,75.7,M,47.6,M,,*62",
            b"time,lat,lon,alt\n2024-04-05T15:19:33Z,40.5,-89.25,3048",
            b"{\"heard\":\"2024-04-05T15:19:33Z\",\"raw\":\"N0CALL>APRS:!4903.50N/07201.75W-\"}",
            b"<gpx><trkpt lat=\"1\" lon=\"2\"><ele>3</ele><time>2024-04-05T15:19:33Z</time></trkpt></gpx>",
            b"\xc0\x00\x82\xa0\xa4\xa6@@\xe0\x9c`\x86\x82\x98\x98v\xae\x92\x88\x8ab@c\x03\xf0/123519h4903.50N\xc0",
        ];
        let mut line = lines[which].to_vec();
        if let Some(b) = line.get_mut(at) {
            *b = byte;
        }
        line.truncate(cut.max(1));
        heard(&line);
    }
}

/// A document on one line longer than any line of reports; what is too long for a stream is counted.
#[test]
fn documents_on_one_long_line_are_read_and_lines_that_are_too_long_are_counted() {
    let padding = "x".repeat(1 << 20);
    let point = "<trkpt lat=\"40.5\" lon=\"-89.25\"><ele>3048</ele></trkpt>";
    let gpx = format!("<gpx><trk><trkseg>{point}<!-- {padding} -->{point}</trkseg></trk></gpx>\n");
    assert_eq!(reports(gpx.as_bytes()).len(), 2);
    let later = format!("<?xml version=\"1.0\"?>\n{gpx}");
    assert_eq!(reports(later.as_bytes()).len(), 2);
    let json = format!(
        "[{{\"lat\":40.5,\"lon\":-89.25,\"raw\":\"{padding}\"}},{{\"lat\":40.6,\"lon\":-89.25}}]"
    );
    assert_eq!(reports(json.as_bytes()).len(), 2);
    for (whole, mut reader) in [(json, reader().streaming()), (padding.repeat(2), reader())] {
        let mut all = Vec::new();
        let line = "N0CALL-11>APRS:!4903.50N/07201.75W-/A=001234";
        reader.bytes(format!("{whole}\n{line}\n").as_bytes(), &mut |h| {
            all.extend(h.outcomes)
        });
        assert_eq!(all.len(), 2);
        assert_eq!(all[0], Err(Refusal::Damaged));
        assert!(all[1].is_ok());
    }
}

/// A page that is asked again and again gives GPX, too, point by point, and the log of each gives it back.
#[test]
fn a_page_of_gpx_is_read_and_its_log_gives_it_back() {
    let gpx = "\u{feff}<?xml version=\"1.0\"?>\n<x:gpx xmlns:x=\"a\"><x:trk>\n<x:trkpt lat=\"40.5\" lon=\"-89.25\">\n<x:ele>3048</x:ele><x:time>2024-04-05T15:19:33Z</x:time></x:trkpt>\n<wpt lat=\"40.6\" lon=\"-89\"/></x:trk></x:gpx>";
    let (mut reader, mut all) = (reader().streaming(), Vec::new());
    reader.whole(gpx.as_bytes(), &mut |h| all.push(h));
    assert_eq!(all.len(), 2);
    assert_at(
        all[0].outcomes[0].as_ref().unwrap(),
        40.5,
        -89.25,
        Some(3_048.0),
        "page",
    );
    let at: jiff::Timestamp = "2024-04-05T15:19:40Z".parse().unwrap();
    let log: String = all.iter().map(|h| log_line(at, &h.raw)).collect();
    for (report, heard) in reports(log.as_bytes()).into_iter().zip(&all) {
        let direct = heard.outcomes[0].clone().unwrap();
        assert_eq!(
            report,
            Report {
                heard: Some(at),
                ..direct
            }
        );
    }
    assert_eq!(reports(log.as_bytes()).len(), 2);
    // A page of something else is none.
    let mut none = Vec::new();
    reader.whole(b"<html><body>Not found</body></html>", &mut |h| {
        none.extend(h.outcomes)
    });
    assert!(none.iter().all(Result::is_err));
}

/// Heard from the middle of a frame on, and behind noise.
#[test]
fn frames_are_found_from_the_middle_of_one_on() {
    let address = |name: &str, last: u8| {
        let mut bytes: Vec<u8> = format!("{name:6}").bytes().map(|b| b << 1).collect();
        bytes.push(0x60 | last);
        bytes
    };
    let packet = b"/151933h4903.50N/07201.75WO/A=001234";
    let mut frame = vec![0xc0, 0];
    frame.extend(address("APRS", 0));
    frame.extend(address("N0CALL", 1));
    frame.extend([0x03, 0xf0]);
    frame.extend(packet);
    frame.push(0xc0);
    for from in 0..frame.len() {
        let stream = [&frame[from..], &frame, &frame, &frame].concat();
        // Joined in the words of one, the first sign of an end may pass for a letter.
        let expected = if from == 0 { 4 } else { 3 };
        let found = reports(&stream);
        assert!(found.len() >= expected - 1, "{from}: {}", found.len());
        assert!(found.iter().all(|r| r.tracker == "N0CALL"), "{from}");
    }
    let line = "N0CALL-11>APRS:!4903.50N/07201.75W-/A=001234\n";
    // Noise with such a sign in it before lines of text.
    let noisy = format!("{}{}", "\u{1}", line.repeat(80));
    let noisy = [&[1, 2, 0xc0, 7][..], noisy.as_bytes()].concat();
    assert!(reports(&noisy).len() > 20, "{}", reports(&noisy).len());
    // In a line that is text it is a letter.
    let latin = [
        b"N0CALL-11>APRS:!4903.50N/07201.75W-/A=001234 \xc0 \xe9t\xe9\n",
        line.as_bytes(),
    ]
    .concat();
    assert_eq!(reports(&latin).len(), 2);
}

#[test]
fn heights_with_commas_and_units_in_cells_are_heights() {
    let found = reports(
        b"time,lat,lon,alt_ft\n2026-02-06T00:00:00Z,43.02,-108.35,\"5,381\"\n2026-02-06T00:01:00Z,43.02,-108.35,\"5381 ft\"\n2026-02-06T00:02:00Z,43.02,-108.35,5381\n",
    );
    let heights: Vec<f64> = found.iter().map(|r| r.altitude_m.unwrap()).collect();
    assert_eq!(heights.len(), 3);
    assert!(
        heights.iter().all(|h| (h - 5_381.0 * 0.3048).abs() < 1e-6),
        "{heights:?}"
    );
    let south = reports(b"lat,lon,alt\n-33.8650 S,151.2094 E,100\n");
    assert_at(&south[0], -33.865, 151.2094, Some(100.0), "south");
}

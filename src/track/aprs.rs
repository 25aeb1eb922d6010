//! APRS packets as text (APRS Protocol Reference 1.0.1, TAPR 2000, chapters 5 to 11): decoded by the
//! crate aprs-decode, judged here.
//!
//! `SOURCE>DEST[,PATH]:INFORMATION`, also as databases list them, with the time of hearing in front
//! and a remark in brackets behind.

use aprs_decode::{AprsData, AprsPacket, CompressedCs, Precision, Symbol, Timestamp as Given};

use super::stamp::{self, Stamp, second_of_day};
use super::{FOOT_M, Outcome, Refusal, Report, nmea};
use crate::geodesy::Position;

/// Whether a line is a packet, with or without a time in front.
pub fn looks_like(line: &[u8]) -> bool {
    packet(line).is_some()
}

/// The packet of a line and what stands in front of it.
fn packet(line: &[u8]) -> Option<(&[u8], &[u8])> {
    let (front, rest) = split_before(line, b'>')?;
    let in_call = |b: &u8| b.is_ascii_alphanumeric() || *b == b'-';
    // Backwards from the sign: the call ends there, and what a database put in front may be
    // longer or shorter.
    let length = front.iter().rev().take_while(|b| in_call(b)).count();
    let start = front.len() - length;
    let (before, call) = front.split_at(start);
    let has_letter = call.iter().any(u8::is_ascii_alphabetic);
    let (path, _) = split_before(rest, b':')?;
    let header = path.len() > 1 && path.iter().all(u8::is_ascii_graphic);
    // Nothing but a time or a loudness may stand in front: other texts have the sign in them, too.
    let clock = before
        .iter()
        .all(|b| !b.is_ascii() || b.is_ascii_alphanumeric() || b" :-/.+[]".contains(b));
    // Nine signs: six of the call, a hyphen and a number of up to two digits.
    ((1..=9).contains(&length) && has_letter && header && clock && start < 64)
        .then(|| (line.split_at(start).1, before))
}

/// What stands before the first such byte, and what begins with it.
fn split_before(bytes: &[u8], byte: u8) -> Option<(&[u8], &[u8])> {
    let at = bytes.iter().position(|&b| b == byte)?;
    bytes.split_at_checked(at)
}

/// The call sign that a line is from, without decoding it.
pub fn source(line: &[u8]) -> Option<&str> {
    let (packet, _) = packet(line)?;
    let (call, _) = split_before(packet, b'>')?;
    std::str::from_utf8(call).ok()
}

/// A report from a line.
/// What a database lists in front of the packet is taken for when it was heard.
pub fn read(line: &[u8]) -> Outcome {
    let (packet, before) = packet(line).ok_or(Refusal::NoPosition)?;
    let packet = without_remark(packet, !before.is_empty());
    let whole = without_false_offsets(packet);
    let mut report = match item(&whole) {
        Some((_, false, _)) => return Err(Refusal::TakenBack),
        Some((name, true, alone)) => Report {
            tracker: name,
            ..of_packet(&decode(&alone)?, packet, 0)?
        },
        None => of_packet(&decode(&whole)?, packet, 0)?,
    };
    let before = String::from_utf8_lossy(before);
    // A whole moment only: nothing here tells the day of a bare time.
    if let Stamp::At(heard) = stamp::read(before.trim().trim_end_matches(':')) {
        report.heard = Some(heard);
    }
    Ok(report)
}

/// Decodes a packet without its path, which says nothing of the place and is often damaged.
fn decode(packet: &[u8]) -> Result<AprsPacket, Refusal> {
    let (header, information) = split_before(packet, b':').ok_or(Refusal::NoPosition)?;
    let (call, rest) = split_before(header, b'>').ok_or(Refusal::NoPosition)?;
    let mut to = rest.split(|&b| b == b',' || b == b'*');
    let bare = [call, to.next().unwrap_or(rest), information].concat();
    AprsPacket::decode_textual(&bare).map_err(|_| {
        // A packet of a kind that has no position is not a damaged one.
        match information.get(1) {
            Some(b'!' | b'=' | b'/' | b'@' | b'`' | b'\'' | b';' | b')' | b'}' | 0x1c | 0x1d) => {
                Refusal::Damaged
            }
            _ => Refusal::NoPosition,
        }
    })
}

/// An item's name, whether it is there still, and the packet with its position alone. Chapter 11: a name
/// of 3 to 9 characters, then `!` or, for one that was taken back, `_`.
fn item(packet: &[u8]) -> Option<(String, bool, Vec<u8>)> {
    let (header, information) = split_before(packet, b':')?;
    let info = information.strip_prefix(b":)")?;
    let end = info.iter().position(|&b| b == b'!' || b == b'_')?;
    let (name, rest) = info.split_at_checked(end)?;
    let (mark, place) = rest.split_first()?;
    let name = String::from_utf8_lossy(name).trim().to_owned();
    let alone = [header, b":!", place].concat();
    (3..=9)
        .contains(&end)
        .then_some((name, *mark == b'!', alone))
}

/// Cuts a remark in brackets that a database adds.
fn without_remark(packet: &[u8], from_database: bool) -> &[u8] {
    let remark = packet.windows(2).rposition(|w| w == b" [");
    match remark {
        Some(at) if from_database && packet.ends_with(b"]") => packet.split_at(at).0,
        _ => packet,
    }
}

/// A packet may add to its place by one `!Wxy!`, up to 18 m. Some trackers have several of that form in
/// their telemetry: then none of them is meant so.
fn without_false_offsets(packet: &[u8]) -> Vec<u8> {
    let is_one = |w: &[u8]| matches!(w, [b'!', b'w' | b'W', _, _, b'!']);
    if packet.windows(5).filter(|w| is_one(w)).count() < 2 {
        return packet.to_vec();
    }
    let mut left = Vec::with_capacity(packet.len());
    let mut rest = packet;
    while let Some((&first, next)) = rest.split_first() {
        rest = match rest.split_at_checked(5) {
            Some((w, behind)) if is_one(w) => behind,
            _ => {
                left.push(first);
                next
            }
        };
    }
    left
}

/// What a packet's parts come to, in the words of all kinds.
struct Parts<'a> {
    name: Option<&'a [u8]>,
    live: bool,
    stamp: Stamp,
    lat_deg: f64,
    lon_deg: f64,
    exact: bool,
    symbol: Option<Symbol>,
    compressed: bool,
    altitude_m: Option<f64>,
}

fn of_packet(packet: &AprsPacket, raw: &[u8], depth: u8) -> Outcome {
    let parts = match &packet.data {
        AprsData::Position(p) => of_position(&p.position, given(p.timestamp.as_ref())?),
        AprsData::Object(o) => Parts {
            name: Some(&o.name),
            live: o.live,
            ..of_position(&o.position, given(Some(&o.timestamp))?)
        },
        AprsData::MicE(m) => Parts {
            name: None,
            live: true,
            stamp: Stamp::Unknown,
            lat_deg: m.latitude.value(),
            lon_deg: m.longitude.value(),
            exact: m.precision == Precision::HundredthMinute,
            symbol: None,
            compressed: false,
            altitude_m: m.altitude_m,
        },
        // Passed on twice is enough: packets could lie in packets without end.
        AprsData::ThirdParty(inner) if depth < 2 => return of_packet(&inner.inner, raw, depth + 1),
        AprsData::Nmea(sentence) => {
            let mut text = b"$".to_vec();
            text.extend_from_slice(sentence.data.strip_prefix(b"$").unwrap_or(&sentence.data));
            // A pairing of its own: the date of another packet may be another tracker's.
            let outcome = nmea::Pairing::default().read(&text);
            return outcome.map(|r| Report {
                tracker: packet.from.to_string(),
                ..r
            });
        }
        _ => return Err(Refusal::NoPosition),
    };
    judged(parts, packet, raw)
}

fn of_position(position: &aprs_decode::Position, stamp: Stamp) -> Parts<'static> {
    let coded = match &position.compressed_cs {
        Some(CompressedCs::Altitude(altitude, _)) => Some(altitude.meters()),
        _ => None,
    };
    Parts {
        name: None,
        live: true,
        stamp,
        lat_deg: position.latitude.value(),
        lon_deg: position.longitude.value(),
        exact: position.precision == Precision::HundredthMinute,
        symbol: Some(position.symbol),
        compressed: position.compressed_cs.is_some(),
        altitude_m: coded,
    }
}

fn judged(parts: Parts, packet: &AprsPacket, raw: &[u8]) -> Outcome {
    if !parts.live {
        return Err(Refusal::TakenBack);
    }
    // Chapter 9: the first byte of a compressed report is a table or an overlay a to j or A to Z; a
    // digit lost on the air is neither.
    let table = parts.symbol.map_or('/', |s| s.table);
    if parts.compressed && !(matches!(table, '/' | '\\' | 'a'..='j' | 'A'..='Z' | '0'..='9')) {
        return Err(Refusal::Damaged);
    }
    if !parts.compressed && has_false_minutes(raw) {
        return Err(Refusal::Damaged);
    }
    if !parts.exact {
        return Err(Refusal::Vague);
    }
    // What trackers send that have no fix.
    if parts.lat_deg == 0.0 && parts.lon_deg == 0.0 {
        return Err(Refusal::NoFix);
    }
    let position = Position::new(parts.lat_deg, parts.lon_deg).ok_or(Refusal::Damaged)?;
    // Before the compressed one, which has steps of 0.2 % (1.002^cs feet, chapter 9).
    let altitude_m = match in_comment(raw)? {
        Some(feet) => Some(feet * FOOT_M),
        None => parts.altitude_m,
    };
    let tracker = match parts.name {
        Some(name) => String::from_utf8_lossy(name).trim().to_owned(),
        None => packet.from.to_string(),
    };
    Ok(Report {
        tracker,
        stamp: parts.stamp,
        heard: None,
        position,
        altitude_m,
    })
}

/// Whether a place as text, `ddmm.hhN` and `dddmm.hhW`, has sixty minutes or more.
fn has_false_minutes(raw: &[u8]) -> bool {
    let mut tens = raw.windows(18).filter_map(|w| match w {
        [
            _,
            _,
            lat,
            _,
            b'.',
            _,
            _,
            b'N' | b'S',
            _,
            _,
            _,
            _,
            lon,
            _,
            b'.',
            _,
            _,
            b'E' | b'W',
        ] => Some([lat, lon]),
        _ => None,
    });
    // The first only: a comment behind the place may have such digits for something else.
    let of_place = tens.next();
    of_place.is_some_and(|tens| tens.iter().any(|t| (b'6'..=b'9').contains(t)))
}

/// The time that a packet gives. An hour that there is not means that it is damaged; a sender's local
/// time says nothing.
fn given(time: Option<&Given>) -> Result<Stamp, Refusal> {
    let damaged = |second: Option<f64>| second.ok_or(Refusal::Damaged);
    Ok(match time {
        None | Some(Given::Unsupported(_)) => Stamp::Unknown,
        Some(&Given::Hhmmss(h, m, s)) => {
            Stamp::OfDay(damaged(second_of_day(h.into(), m.into(), s.into()))?)
        }
        Some(&Given::Ddhhmm(d, h, m)) => {
            let day = i8::try_from(d).map_err(|_| Refusal::Damaged)?;
            Stamp::OfMonth(day, damaged(second_of_day(h.into(), m.into(), 0.0))?)
        }
    })
}

/// Feet of `/A=`: six digits, or a minus and five. What stands there and is neither is damaged.
fn in_comment(raw: &[u8]) -> Result<Option<f64>, Refusal> {
    let Some(at) = raw.windows(3).position(|w| w == b"/A=") else {
        return Ok(None);
    };
    let digits = raw.get(at + 3..at + 9).ok_or(Refusal::Damaged)?;
    let all_digits = |text: &[u8]| text.iter().all(u8::is_ascii_digit);
    let is_number = all_digits(digits.strip_prefix(b"-").unwrap_or(digits));
    let text = std::str::from_utf8(digits).map_err(|_| Refusal::Damaged)?;
    match text.parse::<f64>() {
        Ok(feet) if is_number => Ok(Some(feet)),
        _ => Err(Refusal::Damaged),
    }
}

//! Soundings in the WMO's binary form BUFR (FM 94): the templates of TEMP and PILOT, one message or many
//! in a file, each an ascent or several.
//!
//! No decoder that could be used was found: the one on the registry that is kept stops at operators
//! these messages have (texts between, quality after the values) and at texts that are not UTF-8.
//! So only what these templates need is read here; what is not in the tables is refused by its number.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2, FM 94 BUFR, editions 2 to 4: sections 0 to 5; templates
//! 309007, 309050 to 309053 and 309055 to 309057.

mod decode;
mod tables;

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use self::decode::{Event, subsets};
use self::tables::Descriptor;
use super::clean::{Raw, Row};
use crate::earth::G0_M_S2;
use crate::error::{Fault, Result};
use crate::geodesy::Position;
use crate::numeric::nearest_whole;
use crate::wind::sounding::{HeightSource, Tally};

/// A message may stand behind the heading of a bulletin.
const FIRST_BYTES: usize = 1024;

/// Whether bytes begin as a BUFR file does.
pub(super) fn looks_like(bytes: &[u8]) -> bool {
    let start = bytes.get(..FIRST_BYTES).unwrap_or(bytes);
    let mut heads = start.windows(8);
    heads.any(|w| matches!(w, [b'B', b'U', b'F', b'R', _, _, _, 2..=4]))
}

/// Reads every ascent, or says what is wrong with it.
pub(super) fn read(name: &str, bytes: &[u8]) -> Result<Vec<Result<Raw>>> {
    let mut ascents = Vec::new();
    let (mut rest, mut number) = (bytes, 0);
    while let Some(start) = rest.windows(4).position(|w| w == b"BUFR") {
        number += 1;
        let fault = |found: String| {
            let expected = "a complete BUFR message with a sounding (TEMP or PILOT)";
            Fault::new(name, found, expected).of_key(format!("message {number}"))
        };
        rest = rest.split_at(start).1;
        let length = rest.get(4..7).map_or(0, number_of);
        match rest
            .split_at_checked(length)
            .filter(|(message, _)| message.ends_with(b"7777"))
        {
            Some((message, after)) => {
                match of_message(name, message) {
                    Ok(all) => ascents.extend(all.into_iter().map(Ok)),
                    Err(found) => ascents.push(Err(fault(found).into())),
                }
                rest = after;
            }
            None => {
                ascents.push(Err(fault("a message that is cut short".into()).into()));
                // Past the word alone: its length cannot be believed, and another
                // message may begin within it.
                rest = rest.split_at(4).1;
            }
        }
    }
    Ok(ascents)
}

/// A whole number of some bytes, the highest first.
fn number_of(bytes: &[u8]) -> usize {
    bytes.iter().fold(0, |n, &b| n << 8 | usize::from(b))
}

/// The section at the start of bytes, and what follows it.
fn section(bytes: &[u8]) -> std::result::Result<(&[u8], &[u8]), String> {
    let length = bytes.get(..3).map_or(0, number_of);
    let parts = bytes.split_at_checked(length).filter(|_| length >= 4);
    parts.ok_or_else(|| "a section that is cut short".into())
}

/// The ascents of a message; or what is wrong with it.
fn of_message(name: &str, message: &[u8]) -> std::result::Result<Vec<Raw>, String> {
    const HAS_SECTION_2: u8 = 0x80;
    let edition = message.get(7).copied().unwrap_or_default();
    // Octets of section 1: flags and category.
    let (flags, category) = match edition {
        2 | 3 => (8, 9),
        4 => (10, 11),
        other => return Err(format!("BUFR edition {other}")),
    };
    let (first, mut rest) = section(message.get(8..).unwrap_or_default())?;
    let octet = |n: usize| first.get(n - 1).copied().unwrap_or(0);
    let category = octet(category);
    if category != 2 {
        return Err(format!("data of category {category}, not soundings"));
    }
    if octet(flags) & HAS_SECTION_2 != 0 {
        rest = section(rest)?.1;
    }
    let (third, rest) = section(rest)?;
    let [_, _, _, _, high, low, flags, codes @ ..] = third else {
        return Err("a description that is cut short".into());
    };
    let (codes, _) = codes.as_chunks::<2>();
    let descriptors: Vec<Descriptor> = codes.iter().copied().map(descriptor).collect();
    let count = number_of(&[*high, *low]);
    let data = section(rest)?.0;
    // Behind the length and a reserved octet.
    let data = data.get(4..).unwrap_or_default();
    let subsets = subsets(data, &descriptors, count, flags & 0x40 != 0)?;
    Ok(subsets.iter().map(|events| ascent(name, events)).collect())
}

/// Two bits, six and eight: F, X and Y.
fn descriptor(octets: [u8; 2]) -> Descriptor {
    let [first, y] = octets.map(u32::from);
    (first >> 6) * 100_000 + (first & 0x3f) * 1_000 + y
}

fn ascent(name: &str, events: &[Event]) -> Raw {
    let (mut header, mut rows) = (Header::default(), Vec::new());
    let mut open: Vec<Row> = Vec::new();
    for event in events {
        match event {
            Event::Item => open.push(Row::default()),
            Event::ItemEnd => {
                let mut row = open.pop().unwrap_or_default();
                let [lat, lon] = header.place;
                // Levels give displacements from the release (005015, 006015).
                row.lat_deg = row.lat_deg.zip(lat).map(|(moved, from)| from + moved);
                row.lon_deg = row.lon_deg.zip(lon).map(|(moved, from)| from + moved);
                // Shears of the wind, and levels of nothing.
                let known = [row.temperature_k, row.speed_m_s, row.east_m_s];
                if known.iter().any(Option::is_some) {
                    rows.push(row);
                }
            }
            // Within a repetition it is of a level, outside of the whole ascent.
            Event::Number(number, Some(value)) => match open.last_mut() {
                Some(row) => set(row, *number, *value),
                None => header.take(*number, *value),
            },
            Event::Text(1_011 | 1_015, Some(text)) if header.name.is_empty() => {
                header.name.clone_from(text);
            }
            Event::Number(_, None) | Event::Text(..) => {}
        }
    }
    Raw {
        file: name.to_owned(),
        line: 1,
        name: header.station(),
        time: header.time(),
        position: header.position(),
        model: None,
        heights: HeightSource::Geopotential,
        // Levels of wind alone may stand behind the others.
        in_time_order: false,
        rows,
        tally: Tally::default(),
    }
}

fn set(row: &mut Row, number: Descriptor, value: f64) {
    let (slot, unit) = match number {
        7_004 => (&mut row.pressure_pa, 1.0),
        7_009 | 10_009 => (&mut row.height_m, 1.0),
        10_003 | 10_008 => (&mut row.height_m, G0_M_S2),
        12_001 | 12_101 => (&mut row.temperature_k, 1.0),
        12_003 | 12_103 => (&mut row.dew_point_k, 1.0),
        13_009 => (&mut row.relative_humidity, 100.0),
        11_001 => (&mut row.from_deg, 1.0),
        11_002 => (&mut row.speed_m_s, 1.0),
        11_003 => (&mut row.east_m_s, 1.0),
        11_004 => (&mut row.north_m_s, 1.0),
        // From the release.
        4_086 => (&mut row.after_s, 1.0),
        5_015 => (&mut row.lat_deg, 1.0),
        6_015 => (&mut row.lon_deg, 1.0),
        _ => return,
    };
    *slot = Some(value / unit);
}

/// What stands before the levels. The first of several counts.
#[derive(Default)]
struct Header {
    name: String,
    /// Block and station.
    station: [Option<f64>; 2],
    /// Year, month, day, hour, minute, second.
    time: [Option<f64>; 6],
    /// Latitude and longitude, degrees.
    place: [Option<f64>; 2],
}

impl Header {
    fn take(&mut self, number: Descriptor, value: f64) {
        let slot = match number {
            1_001 => &mut self.station[0],
            1_002 => &mut self.station[1],
            4_001..=4_006 => match self.time.get_mut(number as usize - 4_001) {
                Some(slot) => slot,
                None => return,
            },
            5_001 | 5_002 => &mut self.place[0],
            6_001 | 6_002 => &mut self.place[1],
            _ => return,
        };
        slot.get_or_insert(value);
    }

    fn station(&self) -> String {
        match self.station {
            [Some(block), Some(station)] => {
                let number = format!("{block:02.0}{station:03.0}");
                [number, self.name.clone()].join(" ").trim().to_owned()
            }
            _ => self.name.clone(),
        }
    }

    fn time(&self) -> Option<Timestamp> {
        let [year, month, day, hour, minute, second] = self.time;
        let date_time = DateTime::new(
            nearest_whole(year?)?,
            nearest_whole(month?)?,
            nearest_whole(day?)?,
            nearest_whole(hour?)?,
            nearest_whole(minute.unwrap_or(0.0))?,
            // Rounded, 59.5 would be a second that no minute has.
            nearest_whole(second.unwrap_or(0.0).trunc())?,
            0,
        );
        TimeZone::UTC.to_timestamp(date_time.ok()?).ok()
    }

    fn position(&self) -> Option<Position> {
        Position::new(self.place[0]?, self.place[1]?)
    }
}

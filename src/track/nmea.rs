//! NMEA 0183: GGA for place and height, RMC for the date; sentences by the crate nmea, which holds their
//! checksums.

use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::Offset;
use nmea::sentences::rmc::RmcStatusOfFix;
use nmea::{ParseResult, parse_bytes, sentences::FixType};

use super::stamp::Stamp;
use super::{Outcome, Refusal, Report};
use crate::clock::after;
use crate::geodesy::Position;

/// GGA has no date and RMC no height: the date of one is remembered for the other.
#[derive(Debug, Clone, Default)]
pub struct Pairing {
    /// The last fix that an RMC dated.
    dated: Option<Timestamp>,
}

/// A sentence is at most 82 characters; some receivers write longer ones (from memory).
const LONGEST: usize = 120;

/// Whether a line holds a sentence of a satellite receiver.
pub fn looks_like(line: &[u8]) -> bool {
    sentence(line).is_some()
}

/// The last sentence of a line: sentences that ran together are cut off.
fn sentence(line: &[u8]) -> Option<&[u8]> {
    let dollar = line.iter().rposition(|&b| b == b'$')?;
    let text = line.get(dollar..)?.trim_ascii_end();
    let kind = text.get(1..6).filter(|_| text.get(6) == Some(&b','));
    let is_one = kind.is_some_and(|kind| kind.iter().all(u8::is_ascii_uppercase));
    (is_one && text.len() <= LONGEST).then_some(text)
}

impl Pairing {
    /// A report from a line.
    /// GGA alone gives one; RMC is kept for its date.
    pub fn read(&mut self, line: &[u8]) -> Outcome {
        let text = sentence(line).ok_or(Refusal::NoPosition)?;
        match parse_bytes(text) {
            Ok(ParseResult::GGA(gga)) => {
                if matches!(gga.fix_type, None | Some(FixType::Invalid)) {
                    return Err(Refusal::NoFix);
                }
                let (Some(lat), Some(lon)) = (gga.latitude, gga.longitude) else {
                    return Err(Refusal::NoFix);
                };
                Ok(Report {
                    tracker: String::new(),
                    stamp: gga
                        .fix_time
                        .map_or(Stamp::Unknown, |t| self.dated(second(&t))),
                    heard: None,
                    position: Position::new(lat, lon).ok_or(Refusal::Damaged)?,
                    altitude_m: gga.altitude.map(f64::from),
                })
            }
            Ok(ParseResult::RMC(rmc)) => {
                if rmc.status_of_fix != RmcStatusOfFix::Invalid
                    && let (Some(date), Some(time)) = (rmc.fix_date, rmc.fix_time)
                {
                    self.dated = moment(&date, second(&time));
                }
                // The place is taken from GGA, which has its height as well.
                Err(Refusal::NoPosition)
            }
            Ok(_) | Err(nmea::Error::DisabledSentence | nmea::Error::Unsupported(_)) => {
                Err(Refusal::NoPosition)
            }
            // Of sentences that are not needed it does not matter whether they can be taken apart.
            Err(_) if is_other(text) => Err(Refusal::NoPosition),
            Err(_) => Err(Refusal::Damaged),
        }
    }

    /// The moment of a second of the day, near to the last that had a date.
    fn dated(&self, second: f64) -> Stamp {
        let near = self.dated.and_then(|near| Stamp::OfDay(second).near(near));
        near.map_or(Stamp::OfDay(second), Stamp::At)
    }
}

/// Whether a sentence is of a kind that is not read here.
fn is_other(text: &[u8]) -> bool {
    !matches!(text.get(3..6), Some(b"GGA" | b"RMC"))
}

fn second(time: &impl ToString) -> f64 {
    // The crate's own type of time writes itself as 10:27:05.25.
    match super::stamp::read(&time.to_string()) {
        Stamp::OfDay(second) => second,
        _ => 0.0,
    }
}

fn moment(date: &impl ToString, second: f64) -> Option<Timestamp> {
    let date: Date = date.to_string().parse().ok()?;
    let midnight = date.to_datetime(Time::midnight());
    Some(after(Offset::UTC.to_timestamp(midnight).ok()?, second))
}

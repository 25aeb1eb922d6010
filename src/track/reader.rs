//! Bytes to reports, whatever their format: each line is told by its content; frames by their first
//! byte; documents, which have many lines, are read when they are whole.

use jiff::Timestamp;
use serde_json::Value;

use super::fields::Fields;
use super::table::ReportTable;
use super::{Outcome, Refusal, Report, Stamp, aprs, geojson, gpx, json, kiss, nmea};

/// Longer lines are dropped, bytes.
pub const LONGEST_LINE: usize = 1 << 20;
/// Longer documents are not read, bytes.
pub const LONGEST_DOCUMENT: usize = 64 << 20;

/// What is kept from line to line.
#[derive(Debug, Clone, Default)]
pub struct Reader {
    fields: Fields,
    calls: Vec<String>,
    streaming: bool,
    table: Option<ReportTable>,
    receiver: nmea::Pairing,
    document: Vec<u8>,
    too_long: bool,
    unwrapping: kiss::Unwrapping,
    framed: Option<bool>,
    /// Bytes since the last sign that ends a frame.
    since_end: usize,
    line: Vec<u8>,
    dropping: bool,
}

/// A line or frame with what it says.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// The line, or a frame as text.
    pub raw: Vec<u8>,
    /// What came of it.
    pub outcomes: Vec<Outcome>,
}

/// What some systems begin a text with.
const BOM: &[u8] = b"\xef\xbb\xbf";
/// The members of a line of our own log.
const HEARD: &str = "heard";
const RAW: &str = "raw";

impl Reader {
    /// A reader with the user's fields; of packets it reads only those from `calls`, if there are any.
    pub fn new(fields: Fields, calls: &[String]) -> Reader {
        Reader {
            fields,
            calls: calls
                .iter()
                .map(|c| c.trim().to_ascii_uppercase())
                .collect(),
            ..Reader::default()
        }
    }

    /// The same for lines that never end: no documents, so that a torn line hides none that follow.
    #[must_use]
    pub fn streaming(self) -> Reader {
        Reader {
            streaming: true,
            ..self
        }
    }

    /// Takes bytes as they come and calls `heard` for each line or frame that they end.
    /// Lines or frames, the beginning of a connection tells.
    pub fn bytes(&mut self, bytes: &[u8], heard: &mut impl FnMut(Heard)) {
        for &byte in bytes {
            if self.framed.is_none() && kiss::looks_like(&[byte]) && !is_text(&self.line) {
                // What came before is the rest of a frame, as a connection may begin in the middle of one.
                self.framed = Some(true);
                self.line.clear();
                self.dropping = false;
            }
            if self.framed == Some(true) {
                if let Some(frame) = self.unwrapping.push(byte) {
                    heard(self.frame(&frame));
                }
                self.give_up_frames(byte);
            } else if byte == b'\n' {
                heard(self.end_of_line());
            } else if self.line.len() < LONGEST_LINE || self.line.len() < self.longest() {
                self.line.push(byte);
            } else {
                self.line = Vec::new();
                self.dropping = true;
            }
        }
    }

    /// No frame is so long: what was taken for the end of one was noise before lines of text.
    fn give_up_frames(&mut self, byte: u8) {
        let ends = kiss::looks_like(&[byte]);
        self.since_end = if ends { 0 } else { self.since_end + 1 };
        if self.since_end > 2 * kiss::LONGEST {
            self.cut();
            // The line that is on its way has lost its beginning.
            self.dropping = true;
        }
    }

    /// The longest line, bytes: documents in files may stand on one.
    fn longest(&self) -> usize {
        let begin = self.line.get(..64).unwrap_or(&self.line);
        let begin = begin.strip_prefix(BOM).unwrap_or(begin).trim_ascii_start();
        let is_document =
            !self.document.is_empty() || matches!(begin.first(), Some(b'<' | b'{' | b'['));
        match is_document && !self.streaming {
            true => LONGEST_DOCUMENT,
            false => LONGEST_LINE,
        }
    }

    fn end_of_line(&mut self) -> Heard {
        let line = std::mem::take(&mut self.line);
        if std::mem::take(&mut self.dropping) {
            return too_long();
        }
        let heard = self.whole_line(line);
        let is_read = |outcome: &Outcome| matches!(outcome, Ok(_) | Err(Refusal::NotAsked));
        if heard.outcomes.iter().any(is_read) {
            self.framed = Some(false);
        }
        heard
    }

    /// What was begun and not ended is left: a line without its end may be half a report.
    pub fn cut(&mut self) {
        self.line.clear();
        self.dropping = false;
        self.framed = None;
        self.since_end = 0;
        self.unwrapping = kiss::Unwrapping::default();
    }

    /// The end of a file: its last line counts without a line's end, and documents are read.
    pub fn end(&mut self, heard: &mut impl FnMut(Heard)) {
        if !self.line.is_empty() || self.dropping {
            heard(self.end_of_line());
        }
        self.cut();
        let document = std::mem::take(&mut self.document);
        if std::mem::take(&mut self.too_long) {
            heard(too_long());
        } else if !document.is_empty() {
            let outcomes = self.document(&document);
            heard(Heard {
                raw: document,
                outcomes,
            });
        }
    }

    /// A whole document or table at once, as an answer to a request is; what has several parts is heard part by
    /// part.
    pub fn whole(&mut self, bytes: &[u8], heard: &mut impl FnMut(Heard)) {
        let bytes = bytes.strip_prefix(BOM).unwrap_or(bytes);
        // As one first: a reader of streams gathers no documents from lines.
        match serde_json::from_slice::<Value>(bytes) {
            Ok(Value::Array(parts)) if !parts.is_empty() && parts.iter().all(Value::is_object) => {
                parts.iter().for_each(|part| heard(self.part(part)));
                return;
            }
            Ok(value) => {
                let outcomes = self.value(&value);
                if let Some(parts) = self.same_in_parts(&value, &outcomes) {
                    parts.into_iter().for_each(heard);
                    return;
                }
                let raw = bytes.to_vec();
                heard(Heard { raw, outcomes });
                return;
            }
            Err(_) => {}
        }
        let text = String::from_utf8_lossy(bytes);
        if gpx::looks_like(&text) {
            for (outcome, point) in gpx::points(&text) {
                let outcomes = vec![self.asked(outcome)];
                let raw = gpx::document(point).into_bytes();
                heard(Heard { raw, outcomes });
            }
            return;
        }
        self.bytes(bytes, heard);
        self.end(heard);
    }

    /// One part of a page, by itself.
    fn part(&mut self, part: &Value) -> Heard {
        Heard {
            outcomes: self.value(part),
            raw: part.to_string().into_bytes(),
        }
    }

    /// The members of a list in an object, each by itself, if they tell all that the object does: of a page that
    /// grows only the new ones are then heard.
    fn same_in_parts(&mut self, value: &Value, whole: &[Outcome]) -> Option<Vec<Heard>> {
        let members = value.as_object()?.values();
        let lists = members.filter_map(Value::as_array);
        let list = lists
            .max_by_key(|list| list.len())
            .filter(|l| l.len() > 1)?;
        let parts: Vec<Heard> = list
            .iter()
            .map(|part| self.part(part))
            .filter(|part| !part.outcomes.is_empty())
            .collect();
        let told = parts.iter().flat_map(|part| &part.outcomes);
        told.eq(whole).then_some(parts)
    }

    fn whole_line(&mut self, raw: Vec<u8>) -> Heard {
        let outcomes = self.read(&raw);
        Heard { raw, outcomes }
    }

    /// The reports of one line.
    /// Of a line that a document goes on with there are none: they come at its end.
    pub fn read(&mut self, line: &[u8]) -> Vec<Outcome> {
        let line = line.strip_prefix(BOM).unwrap_or(line).trim_ascii();
        if !self.document.is_empty() {
            self.gather(line);
            return Vec::new();
        }
        if matches!(line.first(), None | Some(b'#')) {
            return Vec::new();
        }
        if line.starts_with(b"<") {
            if !self.streaming {
                self.gather(line);
            }
            return Vec::new();
        }
        let is_json = line.starts_with(b"{") || line.starts_with(b"[");
        // Modems tell in brackets how loud a packet was.
        if is_json && !aprs::looks_like(line) {
            return match serde_json::from_slice::<Value>(line) {
                Ok(value) => self.value(&value),
                Err(wrong) if wrong.is_eof() && self.begins_document(line) => {
                    self.gather(line);
                    Vec::new()
                }
                Err(_) => vec![Err(Refusal::Damaged)],
            };
        }
        vec![self.of_text(line)]
    }

    /// Whether a line of JSON that is not whole goes on in the next one.
    fn begins_document(&self, line: &[u8]) -> bool {
        // A line that was torn ends anywhere, one that goes on ends so.
        !self.streaming && matches!(line.last(), Some(b'{' | b'[' | b','))
    }

    fn of_text(&mut self, line: &[u8]) -> Outcome {
        // Before sentences of receivers: a packet may carry one, and tells whose it is.
        if aprs::looks_like(line) {
            let source = aprs::source(line);
            if !self.is_wanted(source.unwrap_or_default(), line) {
                return Err(Refusal::NotAsked);
            }
            return self.asked(aprs::read(line));
        }
        if nmea::looks_like(line) {
            return self.receiver.read(line);
        }
        let text = String::from_utf8_lossy(line);
        // Before the table that is known: another line of names begins another one.
        if let Some(table) = ReportTable::of_names(&text, &self.fields) {
            self.table = Some(table);
            return Err(Refusal::NoPosition);
        }
        if self.table.is_none() {
            self.table = ReportTable::of_numbers(&text, &self.fields);
        }
        match &self.table {
            Some(table) => self.asked(table.read(&text)),
            None => Err(Refusal::NoPosition),
        }
    }

    /// Whether a packet may be of an asked tracker: an object or what is passed on is told by its name
    /// only when it is decoded.
    fn is_wanted(&self, source: &str, line: &[u8]) -> bool {
        let passed_on = line.windows(2).any(|w| matches!(w, b":;" | b":)" | b":}"));
        self.calls.is_empty() || passed_on || self.is_asked(source)
    }

    fn is_asked(&self, tracker: &str) -> bool {
        let upper = tracker.to_ascii_uppercase();
        self.calls.is_empty() || self.calls.contains(&upper)
    }

    /// Keeps what is of an asked tracker. A report without a name is of the only one.
    fn asked(&self, outcome: Outcome) -> Outcome {
        match outcome {
            Ok(report) if !report.tracker.is_empty() && !self.is_asked(&report.tracker) => {
                Err(Refusal::NotAsked)
            }
            other => other,
        }
    }

    fn frame(&mut self, frame: &[u8]) -> Heard {
        let raw = kiss::as_text(frame);
        let outcomes = vec![self.of_text(&raw)];
        Heard { raw, outcomes }
    }

    fn gather(&mut self, line: &[u8]) {
        if self.document.len() + line.len() > LONGEST_DOCUMENT {
            self.too_long = true;
            return;
        }
        self.document.extend_from_slice(line);
        self.document.push(b'\n');
    }

    fn document(&mut self, bytes: &[u8]) -> Vec<Outcome> {
        if bytes.first() == Some(&b'<') {
            let text = String::from_utf8_lossy(bytes);
            return gpx::read(&text)
                .into_iter()
                .map(|o| self.asked(o))
                .collect();
        }
        match serde_json::from_slice::<Value>(bytes) {
            Ok(value) => self.value(&value),
            Err(_) => vec![Err(Refusal::Damaged)],
        }
    }

    fn value(&mut self, value: &Value) -> Vec<Outcome> {
        if let Some((heard, raw)) = of_log(value) {
            let heard_then = |outcome: Outcome| {
                outcome.map(|report: Report| Report {
                    heard: report.heard.or(heard),
                    ..report
                })
            };
            // A line of a log holds a line of something else, never of a log.
            if serde_json::from_slice::<Value>(&raw).is_ok_and(|inner| of_log(&inner).is_some()) {
                return vec![Err(Refusal::Damaged)];
            }
            if raw.starts_with(b"<") {
                let outcomes = self.document(&raw);
                return outcomes.into_iter().map(heard_then).collect();
            }
            // What the line holds is by itself: it must not be gathered with what came before.
            let before = std::mem::take(&mut self.document);
            let mut outcomes = self.read(&raw);
            let document = std::mem::replace(&mut self.document, before);
            if !document.is_empty() {
                outcomes.extend(self.document(&raw));
            }
            return outcomes.into_iter().map(heard_then).collect();
        }
        let outcomes = match geojson::is_one(value) {
            true => geojson::read(value),
            false => json::read(value, &self.fields),
        };
        outcomes.into_iter().map(|o| self.asked(o)).collect()
    }
}

/// Whether what came of a line is text: frames have a byte of 0 or 3 before their words.
fn is_text(line: &[u8]) -> bool {
    let is_control = |b: &u8| b.is_ascii_control() && !matches!(b, b'\t' | b'\r');
    !line.is_empty() && !line.iter().any(is_control)
}

/// What is told of a line or a document that is too long.
fn too_long() -> Heard {
    Heard {
        raw: Vec::new(),
        outcomes: vec![Err(Refusal::Damaged)],
    }
}

/// The time and the bytes that a line of our own log holds.
fn of_log(value: &Value) -> Option<(Option<Timestamp>, Vec<u8>)> {
    let members = value.as_object().filter(|m| m.len() == 2)?;
    let heard = members.get(HEARD)?.as_str()?;
    let raw = members.get(RAW)?.as_str()?;
    let bytes: Option<Vec<u8>> = raw
        .chars()
        .map(|c| u8::try_from(u32::from(c)).ok())
        .collect();
    let heard = match super::stamp::read(heard) {
        Stamp::At(heard) => Some(heard),
        _ => None,
    };
    Some((heard, bytes?))
}

/// A line of our own log: when something was heard (empty where that is not known) and its bytes, each as the
/// character of its number.
pub fn log_line(heard: impl Into<Option<Timestamp>>, raw: &[u8]) -> String {
    let heard = heard.into().map_or(String::new(), |at| at.to_string());
    let text: String = raw.iter().map(|&b| char::from(b)).collect();
    let quoted = Value::String(text).to_string();
    format!("{{\"{HEARD}\":\"{heard}\",\"{RAW}\":{quoted}}}\n")
}

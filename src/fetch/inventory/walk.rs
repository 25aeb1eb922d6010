//! The inventory of a file that has none: the headers of its messages, read one after the other.
//!
//! A message says how long it is, and so do its sections; a thousand bytes of each are enough to
//! know what it holds. What the sections say is left to the GRIB reader.

use grib_reader::indicator::Indicator;
use grib_reader::{Identification, ProductDefinition, ProductDefinitionTemplate as Template};

use super::{MOST_FIELDS, Message};
use crate::error::{Error, Fault, Result};
use crate::fetch::address::shown;
use crate::fetch::check;
use crate::fetch::field::{Field, Level, WantedQuantity};
use crate::fetch::http::{ByteSpan, Client, Piece, vanished};

/// Bytes fetched at a time: the sections before the data of most messages.
const HEADER: u64 = 1024;
/// Sections that are read are at most this long, bytes.
const LONGEST_SECTION: u64 = 64 << 10;
/// Length of a message's first and last section, bytes.
const FIRST: u64 = 16;
const LAST: u64 = 4;

/// The messages of a file on a server; `None` if there is no such file.
///
/// # Errors
///
/// The server's, or a file that is not GRIB edition 2.
pub fn messages(client: &Client, url: &str) -> Result<Option<Vec<Message>>> {
    messages_of(url, &|span| client.piece(url, span))
}

/// Gives a part of a file; `None` if there is no such file.
type Ask<'a> = &'a dyn Fn(ByteSpan) -> Result<Option<Piece>>;

/// [`messages`] of a file whose parts are got in any way.
///
/// # Errors
///
/// As [`messages`].
pub fn messages_of(url: &str, ask: Ask) -> Result<Option<Vec<Message>>> {
    let start = ByteSpan {
        start: 0,
        length: HEADER,
    };
    let Some(beginning) = ask(start)? else {
        return Ok(None);
    };
    let length = beginning.of.ok_or_else(|| {
        let expected = "Content-Range with the length, to find the messages by";
        Error::from(Fault::new(
            shown(url),
            "a server that does not tell the file's length",
            expected,
        ))
    })?;
    let mut file = Remote {
        ask,
        url,
        length,
        start: 0,
        bytes: beginning.bytes,
    };
    let mut messages = Vec::new();
    let mut at = 0;
    let mut fields = 0;
    while at < length && fields < MOST_FIELDS {
        let message = read_message(&mut file, at)?;
        at += message.length.unwrap_or(length);
        // Messages without fields count as well, or a file of them would be walked without end.
        fields += message.fields.len().max(1);
        messages.push(message);
    }
    Ok(Some(messages))
}

/// How long the message at a place of a file says it is, bytes.
///
/// # Errors
///
/// The server's, or no GRIB message there.
pub fn message_length(client: &Client, url: &str, start: u64) -> Result<u64> {
    let span = ByteSpan::new(start, FIRST).ok_or_else(|| vanished(url))?;
    let piece = client.piece(url, span)?.ok_or_else(|| vanished(url))?;
    let length = Indicator::parse(&piece.bytes).map(|i| i.total_length);
    length.ok_or_else(|| check::not_grib(url, start, &piece.bytes))
}

/// A file on a server, and the part of it that was read last.
struct Remote<'a> {
    ask: Ask<'a>,
    url: &'a str,
    length: u64,
    start: u64,
    bytes: Vec<u8>,
}

impl Remote<'_> {
    /// Some bytes; fetched, with those after them, unless they are here.
    fn bytes(&mut self, at: u64, length: u64) -> Result<&[u8]> {
        if at.checked_add(length).is_none_or(|end| end > self.length) {
            return Err(self.wrong(at, "the end of the file", "the rest of a message"));
        }
        if at < self.start || at + length > self.start + self.bytes.len() as u64 {
            let rest = self.length - at;
            let span = ByteSpan {
                start: at,
                // More than asked for: the heads of the next sections are mostly within it.
                length: length.max(HEADER).min(rest),
            };
            let piece = (self.ask)(span)?;
            self.bytes = piece.ok_or_else(|| vanished(self.url))?.bytes;
            self.start = at;
        }
        let found = ByteSpan { start: at, length }.within(self.start, &self.bytes);
        found.ok_or_else(|| self.wrong(at, "the end of the file", "the rest of a message"))
    }

    fn wrong(&self, at: u64, found: impl Into<String>, expected: &str) -> Error {
        let fault = Fault::new(shown(self.url), found, expected);
        fault.of_key(format!("byte {at}")).into()
    }
}

fn read_message(file: &mut Remote, start: u64) -> Result<Message> {
    let first = file.bytes(start, FIRST.min(file.length - start))?;
    let indicator = Indicator::parse(first);
    let Some(indicator) = indicator else {
        let first = first.to_vec();
        return Err(check::not_grib(file.url, start, &first));
    };
    if indicator.edition != 2 {
        let found = format!("GRIB edition {}", indicator.edition);
        return Err(file.wrong(start, found, "edition 2, or an inventory beside the file"));
    }
    let length = indicator.total_length;
    let end = start.checked_add(length).filter(|end| *end <= file.length);
    let Some(end) = end.filter(|_| length > FIRST + LAST) else {
        let found = format!("a message of {length} bytes");
        return Err(file.wrong(start, found, "one that ends within the file"));
    };
    Ok(Message {
        start,
        length: Some(length),
        fields: read_sections(file, start + FIRST, end - LAST, indicator.discipline)?,
    })
}

/// The fields of a message whose sections are between two places.
fn read_sections(file: &mut Remote, from: u64, end: u64, discipline: u8) -> Result<Vec<Field>> {
    let mut at = from;
    let mut run = String::new();
    let mut fields = Vec::new();
    // Each may cost a request: a damaged message must not make them without end.
    while at < end && fields.len() < 1000 {
        let &[a, b, c, d, number] = file.bytes(at, 5)? else {
            return Err(file.wrong(at, "less than was asked for", "the head of a section"));
        };
        let length = u64::from(u32::from_be_bytes([a, b, c, d]));
        if length < 5 || length > end - at || !(1..=7).contains(&number) {
            let found = format!("section {number} of {length} bytes");
            return Err(file.wrong(at, found, "sections that fill the message"));
        }
        // The run and the product; the others are passed over by their lengths.
        if number == 1 || number == 4 {
            if length > LONGEST_SECTION {
                let found = format!("section {number} of {length} bytes");
                return Err(file.wrong(at, found, "a shorter one"));
            }
            let bytes = file.bytes(at, length)?.to_vec();
            if number == 1 {
                run = read_run(&bytes).map_err(|found| file.wrong(at, found, "a date"))?;
            } else {
                let field = read_field(&bytes, discipline, &run);
                fields.push(field.map_err(|found| file.wrong(at, found, "a product"))?);
            }
        }
        at += length;
    }
    Ok(fields)
}

fn read_run(section: &[u8]) -> std::result::Result<String, String> {
    let id = Identification::parse(section).map_err(|e| e.to_string())?;
    Ok(format!(
        "{:04}{:02}{:02}{:02}",
        id.reference_year, id.reference_month, id.reference_day, id.reference_hour
    ))
}

fn read_field(section: &[u8], discipline: u8, run: &str) -> std::result::Result<Field, String> {
    let product = ProductDefinition::parse(section).map_err(|e| e.to_string())?;
    let surface = product.first_surface();
    let value = surface.and_then(|s| s.scaled_value_f64());
    // WMO code table 4.5.
    let level = match (surface.map(|s| s.surface_type), value) {
        (Some(1), _) => Level::Surface,
        (Some(100), Some(pa)) => Level::Pressure(pa / 100.0),
        (Some(103), Some(m)) => Level::AboveGround(m),
        _ => Level::Other,
    };
    let (of_a_moment, member) = match &product.template {
        Template::AnalysisOrForecast(_) | Template::DerivedForecast(_) => (true, None),
        Template::IndividualEnsembleForecast(one) => (true, Some(one.perturbation_number)),
        _ => (false, None),
    };
    Ok(Field {
        quantity: WantedQuantity::Code([
            discipline,
            product.parameter_category,
            product.parameter_number,
        ]),
        level,
        run: run.to_owned(),
        member: member.map(|m| m.to_string()),
        of_a_moment,
    })
}

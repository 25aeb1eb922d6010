//! Two parts of a forecast, side by side, made into one: for services that do not cut across
//! their seam of longitudes.
//!
//! Fields are unpacked, their rows set end to end and packed anew as simply as GRIB does, with an
//! eighth of the step that the western part was packed with.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2: grid definition template 3.0, data representation
//! template 5.0, flag table 3.4, regulation 92.9.4 (value = (R + X 2^E) / 10^D).

#![allow(
    clippy::indexing_slicing,
    reason = "places in templates: Sections::of has checked how long these are"
)]

use grib_reader::{GribFile, Message};

use super::address::shown;
use crate::error::{Error, Fault, Result};
use crate::numeric::{nearest_whole, single};

/// Degrees in the units of the grid definition.
const MICRO: f64 = 1e-6;
/// Bits that a packed value may have.
const MOST_BITS: u32 = 31;

/// The western and the eastern part of the same fields, as one.
///
/// # Errors
///
/// They are not the same fields, not side by side, or on a grid that is not of latitude and
/// longitude; `url` is that of the western part.
pub fn halves(url: &str, west: &[u8], east: &[u8]) -> Result<Vec<u8>> {
    let open = |bytes: &[u8]| {
        GribFile::from_bytes(bytes.to_vec()).map_err(|cause| wrong(url, 0, &cause.to_string()))
    };
    let (west, east) = (open(west)?, open(east)?);
    if west.message_count() != east.message_count() {
        let found = format!(
            "{} fields west of the seam and {} east of it",
            west.message_count(),
            east.message_count()
        );
        return Err(wrong(url, 0, &found));
    }
    let mut joined = Vec::new();
    for (i, (west, east)) in west.messages().zip(east.messages()).enumerate() {
        let message = join(&west, &east).map_err(|found| wrong(url, i + 1, &found))?;
        joined.extend(message);
    }
    Ok(joined)
}

fn wrong(url: &str, message: usize, found: &str) -> Error {
    let expected =
        "the same fields on both sides, one beside the other, on a grid of latitude and longitude";
    let fault = Fault::new(shown(url), found, expected);
    match message {
        0 => fault.into(),
        number => fault.of_key(format!("message {number}")).into(),
    }
}

type Joined<T> = std::result::Result<T, String>;

fn join(west: &Message<'_>, east: &Message<'_>) -> Joined<Vec<u8>> {
    let (left, right) = (
        Sections::of(west.raw_bytes())?,
        Sections::of(east.raw_bytes())?,
    );
    if left.identification != right.identification || left.product != right.product {
        return Err("another field east of the seam".into());
    }
    let (a, b) = (Grid::of(left.grid)?, Grid::of(right.grid)?);
    let grid = a.beside(&b)?;
    let values = |message: &Message<'_>| {
        message
            .read_flat_data_as_f64()
            .map_err(|cause| cause.to_string())
    };
    let (first, second) = (values(west)?, values(east)?);
    let rows = first.chunks(a.columns as usize);
    let rows = rows.zip(second.chunks(b.columns as usize));
    let all: Vec<f64> = rows.flat_map(|(a, b)| a.iter().chain(b).copied()).collect();
    let packed = Packed::of(&all, left.representation)?;
    let points = u32::try_from(all.len()).map_err(|_| format!("{} points", all.len()))?;
    left.with(&grid.written(left.grid, points), points, &packed)
}

/// The sections of a message with one field.
struct Sections<'a> {
    indicator: &'a [u8],
    identification: &'a [u8],
    /// The local section, if any.
    local: &'a [u8],
    grid: &'a [u8],
    product: &'a [u8],
    representation: &'a [u8],
}

impl<'a> Sections<'a> {
    fn of(message: &'a [u8]) -> Joined<Sections<'a>> {
        let mut found: [&[u8]; 8] = [&[]; 8];
        found[0] = message.get(..16).ok_or("a message that is cut short")?;
        let mut at = 16;
        while let Some(head) = message.get(at..at + 5).filter(|h| !h.starts_with(b"7777")) {
            let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
            let section = message
                .get(at..at.saturating_add(length))
                .filter(|s| s.len() >= 5);
            let section = section.ok_or("sections that do not fit the message")?;
            // A section that comes again begins another field.
            let place = found.get_mut(usize::from(head[4])).filter(|s| s.is_empty());
            *place.ok_or("a message of several fields")? = section;
            at += length;
        }
        let [
            indicator,
            identification,
            local,
            grid,
            product,
            representation,
            _,
            _,
        ] = found;
        if grid.len() < 72 || representation.len() < 20 {
            return Err("a message without grid or packing".into());
        }
        Ok(Sections {
            indicator,
            identification,
            local,
            grid,
            product,
            representation,
        })
    }

    /// The message of the same field with another grid and other values.
    fn with(&self, grid: &[u8], points: u32, packed: &Packed) -> Joined<Vec<u8>> {
        let mut representation = Vec::new();
        representation.extend(points.to_be_bytes());
        representation.extend([0, 0]); // template 5.0
        representation.extend(packed.reference.to_be_bytes());
        representation.extend(sign_and_size(packed.binary));
        representation.extend(sign_and_size(packed.decimal));
        representation.extend([packed.bits, 0]);
        let body = [
            self.identification.to_vec(),
            self.local.to_vec(),
            grid.to_vec(),
            self.product.to_vec(),
            section(5, &representation)?,
            section(6, &[255])?, // no bitmap
            section(7, &packed.bytes)?,
            b"7777".to_vec(),
        ]
        .concat();
        let mut message = self.indicator.to_vec();
        let length = (message.len() + body.len()) as u64;
        message[8..16].copy_from_slice(&length.to_be_bytes());
        message.extend(body);
        Ok(message)
    }
}

fn section(number: u8, content: &[u8]) -> Joined<Vec<u8>> {
    let length = u32::try_from(content.len() + 5).map_err(|_| "more than a section holds")?;
    Ok([&length.to_be_bytes()[..], &[number], content].concat())
}

/// A number as GRIB writes it: the sign in the first bit.
fn sign_and_size(value: i16) -> [u8; 2] {
    let sign = if value < 0 { 0x8000 } else { 0 };
    (value.unsigned_abs() | sign).to_be_bytes()
}

fn signed(bytes: [u8; 2]) -> i16 {
    let word = u16::from_be_bytes(bytes);
    let size = (word & 0x7fff).cast_signed();
    if word & 0x8000 == 0 { size } else { -size }
}

/// What matters of grid definition template 3.0 with rows from west to east.
struct Grid {
    columns: u32,
    /// Number of rows, first and last latitude, step and scanning: the same on both sides.
    rows: Vec<u8>,
    first_lon: f64,
    last_lon: f64,
    step: f64,
}

impl Grid {
    fn of(section: &[u8]) -> Joined<Grid> {
        let word = |at: usize| {
            let bytes = [
                section[at],
                section[at + 1],
                section[at + 2],
                section[at + 3],
            ];
            u32::from_be_bytes(bytes)
        };
        // Octets 39 to 42: a basic angle of its own would make them other than
        // millionths of a degree.
        let regular = section[12..14] == [0, 0] && matches!(word(38), 0 | u32::MAX);
        // Rows one after the other, from west to east, none turned round: flag table 3.4.
        if !regular || section[71] & 0b1011_0000 != 0 {
            return Err("a grid or an order of points that is not joined".into());
        }
        let longitude = |at: usize| {
            let size = f64::from(word(at) & 0x7fff_ffff) * MICRO;
            if word(at) & 0x8000_0000 == 0 {
                size
            } else {
                -size
            }
        };
        let columns = word(30);
        if columns < 2 {
            return Err(format!("{columns} column"));
        }
        let (first_lon, last_lon) = (longitude(50), longitude(59));
        Ok(Grid {
            columns,
            rows: [
                &section[34..38],
                &section[46..50],
                &section[55..59],
                &section[67..72],
            ]
            .concat(),
            first_lon,
            last_lon,
            step: (last_lon - first_lon).rem_euclid(360.0) / f64::from(columns - 1),
        })
    }

    /// This grid with another one that begins where it ends.
    fn beside(&self, east: &Grid) -> Joined<Grid> {
        // Edges are rounded by far less; a column too many or too few is off by a whole step.
        let near = |a: f64, b: f64| (a - b).abs() < 0.01 * self.step;
        let gap = (east.first_lon - self.last_lon).rem_euclid(360.0);
        if self.rows != east.rows || !near(self.step, east.step) || !near(gap, self.step) {
            return Err(format!(
                "a part that ends at {} degrees east beside one that begins at {}",
                self.last_lon, east.first_lon
            ));
        }
        Ok(Grid {
            columns: self.columns.saturating_add(east.columns),
            rows: self.rows.clone(),
            last_lon: east.last_lon,
            ..*self
        })
    }

    /// The section of the western part, with the columns of both.
    fn written(&self, west: &[u8], points: u32) -> Vec<u8> {
        let mut section = west.to_vec();
        section[6..10].copy_from_slice(&points.to_be_bytes());
        section[30..34].copy_from_slice(&self.columns.to_be_bytes());
        // As GRIB 2 has longitudes: from 0 to 360, without a sign.
        let last: Option<u32> = nearest_whole(self.last_lon.rem_euclid(360.0) / MICRO);
        let last = last.unwrap_or_default();
        section[59..63].copy_from_slice(&last.to_be_bytes());
        section
    }
}

/// Values packed simply.
struct Packed {
    reference: f32,
    binary: i16,
    decimal: i16,
    bits: u8,
    bytes: Vec<u8>,
}

impl Packed {
    /// Packs values about as finely as they were, as `representation` says.
    fn of(values: &[f64], representation: &[u8]) -> Joined<Packed> {
        if values.is_empty() || !values.iter().all(|v| v.is_finite()) {
            return Err("values that are missing".into());
        }
        let was = signed([representation[15], representation[16]]);
        let decimal = signed([representation[17], representation[18]]);
        let tens = 10f64.powi(i32::from(decimal));
        let scaled = || values.iter().map(|v| v * tens);
        let least = scaled().fold(f64::INFINITY, f64::min);
        let most = scaled().fold(f64::NEG_INFINITY, f64::max);
        // Not above the least: what is packed counts up from it.
        let nearest = single(least);
        let reference = if f64::from(nearest) > least {
            nearest.next_down()
        } else {
            nearest
        };
        let range = most - f64::from(reference);
        if !range.is_finite() {
            return Err(format!(
                "values from {least} to {most} after packing with D = {decimal}"
            ));
        }
        // An eighth of the step they were packed with, so that rounding once more hardly shows.
        let mut binary = was.saturating_sub(3).clamp(-60, 60);
        let steps = |binary: i16| range / 2f64.powi(i32::from(binary));
        // A wide range takes coarser steps, or its numbers would not fit.
        while steps(binary) >= f64::from((1u32 << MOST_BITS) - 1) {
            binary += 1;
        }
        let step = 2f64.powi(i32::from(binary));
        // All within MOST_BITS.
        let whole = |v: f64| nearest_whole::<u64>(v).unwrap_or_default();
        let bits = u64::BITS - whole(steps(binary)).leading_zeros();
        let bits = u8::try_from(bits).map_err(|_| format!("{bits} bits"))?;
        let all = scaled().map(|v| whole((v - f64::from(reference)) / step));
        Ok(Packed {
            reference,
            binary,
            decimal,
            bits,
            bytes: end_to_end(all, bits),
        })
    }
}

/// Whole numbers of so many bits, one after the other.
fn end_to_end(values: impl Iterator<Item = u64>, bits: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    let (mut held, mut count) = (0u64, 0);
    for value in values {
        held = (held << bits) | value;
        count += bits;
        while count >= 8 {
            count -= 8;
            bytes.push((held >> count).to_le_bytes()[0]);
        }
        held &= (1 << count) - 1;
    }
    if count > 0 {
        bytes.push((held << (8 - count)).to_le_bytes()[0]);
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_go_end_to_end() {
        assert_eq!(
            end_to_end([1, 2, 3].into_iter(), 3),
            [0b0010_1001, 0b1000_0000]
        );
        assert_eq!(
            end_to_end([0xabcd, 0x1234].into_iter(), 16),
            [0xab, 0xcd, 0x12, 0x34]
        );
        assert!(end_to_end([0, 0].into_iter(), 0).is_empty());
        let wide = (1u64 << 31) - 1;
        assert_eq!(end_to_end([wide].into_iter(), 31), [0xff, 0xff, 0xff, 0xfe]);
    }

    #[test]
    fn signs_stand_in_the_first_bit() {
        for value in [0, 1, -1, 300, -300] {
            assert_eq!(signed(sign_and_size(value)), value);
        }
        assert_eq!(sign_and_size(-2), [0x80, 2]);
    }
}

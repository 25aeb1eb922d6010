//! Fields packed as JPEG 2000 images, unpacked by a decoder in safe Rust.
//!
//! The usual decoder, OpenJPEG, is in C, and what it decodes was downloaded. The numbers of 83 fields of
//! four centres are the same by both, bit for bit.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2: data representation templates 5.0 and 5.40. ISO/IEC
//! 15444-1, A.5.1: the marker SIZ.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "places in sections whose lengths are checked"
)]

use hayro_jpeg2000::{DecodeSettings, DecoderContext, Image};

use super::MOST_POINTS;
use super::grib_mended::sections;
use crate::numeric::nearest_whole;

/// A whole number of more bits is not held exactly by the decoder, which calculates in single precision
/// and adds up some four of them on the way.
const MOST_BITS: u8 = 20;
/// The most tiles that an image can number.
const MOST_TILES: u64 = 65_535;
/// Length of section 5 for simple packing.
const SIMPLE: u32 = 21;

/// A message of which field `index` is packed simply instead, in 32 bits a value: what the crate reads.
pub(super) fn unpacked(message: &[u8], index: usize) -> Result<Vec<u8>, String> {
    let damaged = || "a message without the sections of its image".to_owned();
    let (mut packing, mut data) = (None, None);
    let mut fields = 0;
    for (number, start) in sections(message) {
        match number {
            5 => packing = Some(start),
            7 if fields == index => {
                data = Some(start);
                break;
            }
            7 => fields += 1,
            _ => {}
        }
    }
    let (packing, data) = packing.zip(data).ok_or_else(damaged)?;
    let section = |start: usize| {
        let length = number(message, start)? as usize;
        message.get(start..start.checked_add(length)?)
    };
    let head = section(packing).filter(|s| s.len() >= SIMPLE as usize);
    let head = head.ok_or_else(damaged)?;
    let image = section(data).ok_or_else(damaged)?;
    let count = number(head, 5).ok_or_else(damaged)?;
    // A field of one value has no image.
    // Others are written in 32 bits, whatever width their image had.
    let (bits, values) = match head[19] {
        0 => (0, Vec::new()),
        _ => (32, samples(&image[5..], count as usize)?),
    };

    let mut copy = message[..packing].to_vec();
    copy.extend(SIMPLE.to_be_bytes());
    copy.push(5);
    copy.extend(count.to_be_bytes());
    copy.extend([0, 0]);
    // The reference value and the two scales stand in the same places in both.
    copy.extend(&head[11..19]);
    copy.extend([bits, head[20]]);
    copy.extend(&message[packing + head.len()..data]);
    let length = u32::try_from(5 + 4 * values.len()).map_err(|_| damaged())?;
    copy.extend(length.to_be_bytes());
    copy.push(7);
    values
        .iter()
        .for_each(|value| copy.extend(value.to_be_bytes()));
    copy.extend(&message[data + image.len()..]);
    let length = copy.len() as u64;
    copy[8..16].copy_from_slice(&length.to_be_bytes());
    Ok(copy)
}

/// The samples of a picture of one component of whole numbers from 0 on, as many as expected.
fn samples(image: &[u8], count: usize) -> Result<Vec<u32>, String> {
    check(image, count)?;
    let wrong = |cause: &dyn std::fmt::Display| format!("a JPEG 2000 image: {cause}");
    let settings = DecodeSettings {
        strict: true,
        ..DecodeSettings::default()
    };
    let decoded = Image::new(image, &settings).map_err(|e| wrong(&e))?;
    let mut context = DecoderContext::default();
    let decoded = decoded.decode(&mut context).map_err(|e| wrong(&e))?;
    let samples = decoded.components().first().map(|c| c.samples());
    let samples = samples.filter(|s| s.len() == count);
    let samples = samples.ok_or_else(|| wrong(&"not as many samples as the field has values"))?;
    let whole = |v: &f32| nearest_whole(f64::from(v.max(0.0)));
    let whole = samples.iter().map(whole).collect::<Option<_>>();
    whole.ok_or_else(|| wrong(&"a sample that is no whole number"))
}

/// What the image says of itself, before anything is reserved for it.
fn check(image: &[u8], count: usize) -> Result<(), String> {
    let cut = || "a JPEG 2000 image that is cut short".to_owned();
    if !image.starts_with(b"\xff\x4f\xff\x51") {
        return Err("no JPEG 2000 codestream where one should be".into());
    }
    let at = |offset: usize| number(image, offset).map(u64::from).ok_or_else(cut);
    let side = |k: usize| -> Result<(u64, u64), String> {
        let (end, begin) = (at(8 + 4 * k)?, at(16 + 4 * k)?);
        let (tile, first) = (at(24 + 4 * k)?, at(32 + 4 * k)?);
        let tiles = end.saturating_sub(first).div_ceil(tile.max(1));
        Ok((end.saturating_sub(begin), tiles))
    };
    let ((width, across), (height, down)) = (side(0)?, side(1)?);
    // One component, as many samples as points: Csiz, Ssiz, XRsiz and YRsiz.
    let &[0, 1, bits, 1, 1, ..] = image.get(40..).ok_or_else(cut)? else {
        return Err("a JPEG 2000 image of more than one component".into());
    };
    if width.checked_mul(height) != Some(count as u64) || count > MOST_POINTS {
        return Err(format!(
            "a JPEG 2000 image of {width} by {height} for {count} values"
        ));
    }
    if across.saturating_mul(down) > MOST_TILES {
        return Err(format!("a JPEG 2000 image of {across} by {down} tiles"));
    }
    // Ssiz: the first bit is a sign, the others are one less than the bits of a sample.
    match bits & 0x80 {
        0 if bits < MOST_BITS => Ok(()),
        0 => Err(format!(
            "a JPEG 2000 image of {} bits a value; {MOST_BITS} can be unpacked exactly",
            bits + 1
        )),
        _ => Err("a JPEG 2000 image of numbers with a sign".into()),
    }
}

/// Four bytes as a number, the high one first.
fn number(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes(four.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first image of a real field.
    fn image() -> Vec<u8> {
        let path = "tests/data/grids/gfs_z500_packing_5_40.grib2";
        let message = std::fs::read(path).unwrap();
        let data = sections(&message).find(|(number, _)| *number == 7).unwrap();
        let length = number(&message, data.1).unwrap() as usize;
        message[data.1 + 5..data.1 + length].to_vec()
    }

    #[test]
    fn images_that_lie_are_refused_before_they_are_decoded() {
        let image = image();
        let count = (number(&image, 8).unwrap() * number(&image, 12).unwrap()) as usize;
        assert!(check(&image, count).is_ok());
        let refused = |at: usize, with: &[u8]| {
            let mut image = image.clone();
            image[at..at + with.len()].copy_from_slice(with);
            check(&image, count).unwrap_err()
        };
        assert!(refused(8, &[255; 4]).contains("values"));
        assert!(refused(24, &[0, 0, 0, 1, 0, 0, 0, 1]).contains("tiles"));
        assert!(refused(40, &[0, 3]).contains("component"));
        assert!(refused(42, &[0x8f]).contains("sign"));
        assert!(refused(42, &[23]).contains("24 bits"));
        assert!(check(&image[..30], count).is_err() && check(b"", 1).is_err());
        assert!(samples(&image[..image.len() / 2], count).is_err());
    }
}

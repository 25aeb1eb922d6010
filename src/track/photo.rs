//! When a photo was taken, by its camera's clock: EXIF, read by a library.

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use exif::{DateTime, Exif, In, Tag, Value};
use jiff::civil;
use jiff::tz::Offset;

use crate::error::{Error, Fault, Result};
use crate::files::{guarded, read_bytes};

/// A photo with a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Photo {
    /// Its file.
    pub path: PathBuf,
    /// By its camera's clock, s since 1970 as if that were UTC.
    pub clock_s: f64,
    /// How finely the time is told, s.
    pub step_s: f64,
    /// What its camera takes its clock to be ahead of UTC, s, where it says.
    pub zone_s: Option<f64>,
}

/// Larger files are no photos.
const LARGEST: u64 = 256 << 20;
const EXPECTED: &str = "a photo with an EXIF time of its making (DateTimeOriginal)";
/// Endings of photos.
const ENDINGS: [&str; 9] = [
    "jpg", "jpeg", "tif", "tiff", "heic", "heif", "png", "webp", "dng",
];

impl Photo {
    /// Reads when a photo was taken.
    ///
    /// # Errors
    ///
    /// A file that cannot be read, or has no such time.
    pub fn read(path: &Path) -> Result<Photo> {
        let failed = |cause| Error::file(path, "read", cause);
        let size = fs::metadata(path).map_err(failed)?.len();
        let name = path.display().to_string();
        if size > LARGEST {
            return Err(Fault::new(name, format!("{size} bytes"), EXPECTED).into());
        }
        let bytes = read_bytes(path)?;
        let exif = guarded(&name, "EXIF", || {
            let reader = exif::Reader::new();
            let read = reader.read_from_container(&mut Cursor::new(&bytes));
            read.map_err(|e| Fault::new(&name, format!("no EXIF ({e})"), EXPECTED).into())
        })?;
        let taken = time(&exif).ok_or_else(|| {
            let found = "no DateTimeOriginal, or one that was never set";
            Error::from(Fault::new(&name, found, EXPECTED))
        })?;
        Ok(Photo {
            path: path.to_owned(),
            ..taken
        })
    }

    /// The photos of a folder that have a time, by their names, and how many have none.
    ///
    /// # Errors
    ///
    /// A folder that cannot be read.
    pub fn all_in(folder: &Path) -> Result<(Vec<Photo>, usize)> {
        let failed = |cause| Error::file(folder, "read", cause);
        let mut paths = Vec::new();
        for entry in fs::read_dir(folder).map_err(failed)? {
            let path = entry.map_err(failed)?.path();
            let ending = path.extension().and_then(|e| e.to_str());
            let ending = ending.map(str::to_ascii_lowercase);
            if ending.is_some_and(|e| ENDINGS.contains(&e.as_str())) && path.is_file() {
                paths.push(path);
            }
        }
        paths.sort();
        let all = paths.len();
        let photos: Vec<Photo> = paths.iter().filter_map(|p| Photo::read(p).ok()).collect();
        let without = all - photos.len();
        Ok((photos, without))
    }
}

fn text(exif: &Exif, tag: Tag) -> Option<&[u8]> {
    match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(lines) => lines.first().map(Vec::as_slice),
        _ => None,
    }
}

fn time(exif: &Exif) -> Option<Photo> {
    let of = |tag| text(exif, tag);
    let original = of(Tag::DateTimeOriginal).or(of(Tag::DateTimeDigitized))?;
    let mut time = DateTime::from_ascii(original).ok()?;
    let parts = of(Tag::SubSecTimeOriginal).or(of(Tag::SubSecTimeDigitized));
    let finer = parts.is_some_and(|p| time.parse_subsec(p).is_ok()) && time.nanosecond.is_some();
    if let Some(offset) = of(Tag::OffsetTimeOriginal) {
        // What cannot be read is not told.
        let _ = time.parse_offset(offset);
    }
    // Clocks that were never set say less.
    let year = i16::try_from(time.year).ok().filter(|y| *y >= 1980)?;
    let small = |n: u8| i8::try_from(n).ok();
    let date = civil::Date::new(year, small(time.month)?, small(time.day)?).ok()?;
    // A leap second is no time of day to the library.
    let second = small(time.second)?.min(59);
    let clock = civil::Time::new(small(time.hour)?, small(time.minute)?, second, 0).ok()?;
    let clock = Offset::UTC.to_timestamp(date.to_datetime(clock)).ok()?;
    let step_s = match parts.map_or(0, <[u8]>::len) {
        0 | 1 => 0.1,
        2 => 0.01,
        _ => 0.001,
    };
    Some(Photo {
        path: PathBuf::new(),
        clock_s: clock.as_second() as f64 + 1e-9 * f64::from(time.nanosecond.unwrap_or(0)),
        step_s: if finer { step_s } else { 1.0 },
        zone_s: time.offset.map(|minutes| 60.0 * f64::from(minutes)),
    })
}

//! Files that may be packed with gzip or bzip2: opened through, known by their first bytes.

use std::fs::File;
use std::io::{BufRead, BufReader, ErrorKind, Read};
use std::path::Path;

use bzip2::bufread::MultiBzDecoder;
use flate2::bufread::MultiGzDecoder;

use super::input::{is_regular, read_bytes, shown};
use crate::error::{Error, Fault, Result};

/// Nothing is unpacked beyond this, bytes: a small file could fill the memory.
const MOST_UNPACKED: u64 = 512 << 20;
/// Nor more often than this.
const DEEPEST: usize = 4;

/// The content of a file, unpacked where it is packed.
///
/// # Errors
///
/// The file cannot be read, is packed and damaged or cut short, holds more than 512 MB, or is an
/// archive of several files.
pub fn read(path: &Path) -> Result<Vec<u8>> {
    match unpacked(path)? {
        Some(bytes) => Ok(bytes),
        None => read_bytes(path),
    }
}

/// The content of a file that is packed, or of a pipe, which gives it once only; `None` of others.
///
/// # Errors
///
/// As [`read`].
pub fn unpacked(path: &Path) -> Result<Option<Vec<u8>>> {
    let name = shown(path);
    // What gives its bytes once cannot be looked at first and read afterwards.
    if !is_regular(path) {
        return opened(&name, read_bytes(path)?, MOST_UNPACKED).map(Some);
    }
    let no_file = |cause| Error::file(path, "read", cause);
    let open = || File::open(path).map_err(no_file);
    let mut first = Vec::new();
    // As long as the longest of the marks below.
    open()?.take(6).read_to_end(&mut first).map_err(no_file)?;
    let through = through(&name, &first, BufReader::new(open()?))?;
    let unpacked = through.map(|through| bounded(&name, through, MOST_UNPACKED));
    let unpacked = unpacked.transpose()?;
    unpacked
        .map(|bytes| opened(&name, bytes, MOST_UNPACKED))
        .transpose()
}

/// Bytes that arrived, unpacked where they are packed, up to `most` bytes.
///
/// # Errors
///
/// They are packed and damaged, cut short or more than that, or are an archive of several files.
pub fn opened(name: &str, mut bytes: Vec<u8>, most: u64) -> Result<Vec<u8>> {
    // What is packed may be packed again on its way.
    for _ in 0..DEEPEST {
        let through = through(name, &bytes, bytes.as_slice())?;
        match through.map(|all| bounded(name, all, most)).transpose()? {
            Some(unpacked) => bytes = unpacked,
            None => return Ok(bytes),
        }
    }
    let expected = "the file that is in it";
    Err(Fault::new(
        name,
        format!("a file packed {DEEPEST} times or more"),
        expected,
    )
    .into())
}

/// What unpacks a file that begins with `first`; `None` where it is not packed.
fn through<'a>(
    name: &str,
    first: &[u8],
    file: impl BufRead + 'a,
) -> Result<Option<Box<dyn Read + 'a>>> {
    match first {
        [0x1f, 0x8b, ..] => Ok(Some(Box::new(MultiGzDecoder::new(file)))),
        [b'B', b'Z', b'h', b'1'..=b'9', ..] => Ok(Some(Box::new(MultiBzDecoder::new(file)))),
        _ => not_opened(name, first).map(|()| None),
    }
}

/// All there is to read, if it is no more than `most` bytes.
fn bounded(name: &str, through: impl Read, most: u64) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let read = through.take(most + 1).read_to_end(&mut bytes);
    read.map_err(|cause| damaged(name, &cause))?;
    if bytes.len() as u64 > most {
        let found = format!("more than {} MB when unpacked", most >> 20);
        return Err(Fault::new(name, found, "less; or the file unpacked").into());
    }
    Ok(bytes)
}

/// Archives that have to be unpacked by hand are told.
fn not_opened(name: &str, first: &[u8]) -> Result<()> {
    let kind = match first {
        [b'P', b'K', 3, 4, ..] => "a zip archive",
        [0xfd, b'7', b'z', b'X', b'Z', 0] => "a file packed with xz",
        [0x28, 0xb5, 0x2f, 0xfd, ..] => "a file packed with zstd",
        [b'7', b'z', 0xbc, 0xaf, ..] => "a 7z archive",
        _ => return Ok(()),
    };
    let expected = "the file that is in it, unpacked (.gz and .bz2 are opened through)";
    Err(Fault::new(name, kind, expected).into())
}

fn damaged(name: &str, cause: &std::io::Error) -> Fault {
    let found = match cause.kind() {
        ErrorKind::UnexpectedEof => "a packed file that ends too early".to_owned(),
        _ => format!("a packed file that is damaged ({cause})"),
    };
    Fault::new(name, found, "the whole file; get it once more")
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use bzip2::write::BzEncoder;
    use flate2::write::GzEncoder;

    use super::*;

    fn gz(bytes: &[u8]) -> Vec<u8> {
        let mut packed = GzEncoder::new(Vec::new(), flate2::Compression::fast());
        packed.write_all(bytes).unwrap();
        packed.finish().unwrap()
    }

    fn bz2(bytes: &[u8]) -> Vec<u8> {
        let mut packed = BzEncoder::new(Vec::new(), bzip2::Compression::fast());
        packed.write_all(bytes).unwrap();
        packed.finish().unwrap()
    }

    #[test]
    fn packed_files_are_opened_through() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plain.txt");
        let read_back = |bytes: &[u8]| {
            std::fs::write(&path, bytes).unwrap();
            read(&path)
        };
        let text = b"altitude_m,u_kt,v_kt\n".repeat(1_000);
        assert_eq!(read_back(&text).unwrap(), text);
        for pack in [gz, bz2] {
            let packed = pack(&text);
            assert!(packed.len() < text.len() / 2);
            assert_eq!(read_back(&packed).unwrap(), text);
            // Two after each other are one.
            assert_eq!(
                read_back(&[packed.clone(), packed.clone()].concat())
                    .unwrap()
                    .len(),
                2 * text.len()
            );
            assert_eq!(read_back(&gz(&bz2(&packed))).unwrap(), text);
            let deep = read_back(&gz(&gz(&gz(&gz(&packed)))))
                .unwrap_err()
                .to_string();
            assert!(deep.contains("packed 4 times or more"), "{deep}");
            let cut = read_back(&packed[..packed.len() - 12])
                .unwrap_err()
                .to_string();
            assert!(cut.contains("packed file that"), "{cut}");
            let mut changed = packed.clone();
            let middle = changed.len() / 2;
            changed[middle] ^= 0xff;
            assert!(read_back(&changed).is_err());
        }
        let zip = read_back(b"PK\x03\x04....").unwrap_err().to_string();
        assert!(
            zip.contains("a zip archive") && zip.contains("unpacked"),
            "{zip}"
        );
        assert_eq!(read_back(b"").unwrap(), b"");
    }

    #[test]
    fn a_file_that_would_fill_the_memory_is_refused() {
        let packed = bz2(&vec![0; 3 << 20]);
        assert!(packed.len() < 1_000);
        let through = || MultiBzDecoder::new(packed.as_slice());
        assert_eq!(bounded("f", through(), 3 << 20).unwrap().len(), 3 << 20);
        let message = bounded("f", through(), 2 << 20).unwrap_err().to_string();
        assert!(
            message.contains("more than 2 MB when unpacked"),
            "{message}"
        );
    }
}

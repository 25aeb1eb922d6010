//! Files read once: a pipe gives its bytes to the first reader only.

use std::fs::{File, FileType};
use std::io::{ErrorKind, Read};
use std::path::Path;
use std::sync::mpsc;
use std::time::Duration;

use super::address::place;
use crate::error::{Error, Fault, Result};

/// The name that stands for standard input.
pub const STDIN: &str = "-";

/// A file as messages name it, an address without its secrets.
pub fn shown(path: &Path) -> String {
    match path {
        path if path == Path::new(STDIN) => "standard input".to_owned(),
        path if is_url(path) => place(&path.to_string_lossy()),
        path => path.display().to_string(),
    }
}

/// The most that is read through a pipe or from a device, bytes. The whole record of a station of
/// many years is larger, but nobody types or pipes it.
const MOST_STREAMED: u64 = 64 << 20;
/// How long somebody may take to begin to write into a pipe.
const PATIENCE: Duration = Duration::from_secs(10);

/// Whether a path is a file that can be read more than once, and from any place on.
pub fn is_regular(path: &Path) -> bool {
    path != Path::new(STDIN) && std::fs::metadata(path).is_ok_and(|there| there.is_file())
}

/// Whether a name is an address on the network.
pub fn is_url(path: &Path) -> bool {
    let text = path.to_string_lossy();
    let scheme = text.split_once("://").map_or("", |(scheme, _)| scheme);
    let letter = |c: char| c.is_ascii_alphanumeric() || matches!(c, '+' | '-' | '.');
    !scheme.is_empty() && scheme.chars().all(letter)
}

/// A file that is read from any place on; `what` it is to be is for the message, as in "a GeoTIFF".
///
/// # Errors
///
/// The file cannot be read, or is a pipe, a device or a folder.
pub fn open_regular(path: &Path, what: &str) -> Result<File> {
    let refused = |cause| Error::file(path, "read", cause);
    if is_url(path) {
        let expected = format!("{what} in a file: download it first");
        return Err(Fault::new(shown(path), "an address on the network", expected).into());
    }
    // Before it is opened, which would wait for the other end of a pipe.
    let kind = std::fs::metadata(path).map_err(refused)?.file_type();
    if kind.is_dir() {
        return Err(refused(ErrorKind::IsADirectory.into()));
    }
    if !kind.is_file() {
        let expected = format!("{what} in a file: only texts can be read from pipes");
        return Err(Fault::new(shown(path), "a pipe or a device", expected).into());
    }
    File::open(path).map_err(refused)
}

/// All bytes of a file, of a pipe, or of standard input, for which "-" stands.
///
/// # Errors
///
/// The file cannot be read; a pipe into which nobody writes; more from a pipe or a device than 64 MB.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>> {
    let refused = |cause| Error::file(path, "read", cause);
    if path == Path::new(STDIN) {
        return streamed(std::io::stdin().lock(), path);
    }
    if is_url(path) {
        let expected = "a file: `windfall fetch` downloads forecasts";
        return Err(Fault::new(shown(path), "an address on the network", expected).into());
    }
    let kind = std::fs::metadata(path).map_err(refused)?.file_type();
    // A folder fails here as well, in the words of the system.
    if kind.is_file() || kind.is_dir() {
        return std::fs::read(path).map_err(refused);
    }
    streamed(open_stream(path, kind)?, path)
}

/// The text of a file that people write, without a byte-order mark; `what` it is to be is for the
/// message, as in "a plan in TOML".
///
/// # Errors
///
/// The file cannot be read, or is not UTF-8.
pub fn read_text(path: &Path, what: &str) -> Result<String> {
    let text = String::from_utf8(read_bytes(path)?)
        .map_err(|_| Fault::new(shown(path), "bytes that are not UTF-8 text", what))?;
    Ok(match text.strip_prefix('\u{feff}') {
        Some(rest) => rest.to_owned(),
        None => text,
    })
}

fn streamed(source: impl Read, path: &Path) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let read = source.take(MOST_STREAMED + 1).read_to_end(&mut bytes);
    let count = read.map_err(|cause| Error::file(path, "read", cause))?;
    if count as u64 > MOST_STREAMED {
        let found = format!("more than {} MB that have no end yet", MOST_STREAMED >> 20);
        let expected = "a text that ends; a larger one in a file";
        return Err(Fault::new(shown(path), found, expected).into());
    }
    Ok(bytes)
}

/// Opens what is no file. A pipe opens only when somebody writes into it, and that may be never.
fn open_stream(path: &Path, kind: FileType) -> Result<File> {
    let opened = match is_pipe(kind) {
        false => File::open(path),
        true => {
            let (give, take) = mpsc::channel();
            let pipe = path.to_owned();
            // Where nobody writes, this thread waits until the program ends.
            std::thread::spawn(move || give.send(File::open(pipe)));
            take.recv_timeout(PATIENCE).map_err(|_| {
                let found = format!(
                    "a pipe into which nobody has written for {} s",
                    PATIENCE.as_secs()
                );
                Fault::new(shown(path), found, "a text written into it")
            })?
        }
    };
    opened.map_err(|cause| Error::file(path, "read", cause))
}

#[cfg(unix)]
fn is_pipe(kind: FileType) -> bool {
    use std::os::unix::fs::FileTypeExt;
    kind.is_fifo()
}

#[cfg(not(unix))]
fn is_pipe(_: FileType) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_read_without_their_mark_and_others_are_told() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.toml");
        std::fs::write(&path, "\u{feff}a = 1").unwrap();
        assert_eq!(read_text(&path, "data in TOML").unwrap(), "a = 1");
        std::fs::write(&path, [0xff, 0xfe, 0x00]).unwrap();
        let message = read_text(&path, "data in TOML").unwrap_err().to_string();
        assert!(message.contains("a.toml: found bytes that are not UTF-8 text"));
        assert!(message.ends_with("expected data in TOML"), "{message}");
        let missing = read_text(&folder.path().join("none"), "data in TOML");
        assert!(missing.unwrap_err().to_string().contains("cannot read"));
    }

    #[test]
    fn what_never_ends_is_bounded() {
        let message = streamed(std::io::repeat(b'1'), Path::new("endless")).unwrap_err();
        assert!(
            message
                .to_string()
                .starts_with("endless: found more than 64 MB")
        );
        assert_eq!(streamed(&b"12"[..], Path::new("short")).unwrap(), b"12");
    }

    #[cfg(unix)]
    #[test]
    fn devices_are_no_files() {
        let null = Path::new("/dev/null");
        assert!(!is_regular(null));
        assert_eq!(read_bytes(null).unwrap(), b"");
        let message = open_regular(null, "a GeoTIFF").unwrap_err().to_string();
        assert!(message.contains("found a pipe or a device; expected a GeoTIFF in a file"));
        assert!(read_bytes(Path::new("/dev/zero")).is_err());
    }
}

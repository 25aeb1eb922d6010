//! A file, also one that grows, and the standard input.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::mpsc::SyncSender;
use std::thread;

use super::{Event, Said, Waiting, gone};
use crate::error::{Error, Result};

/// Bytes that are read at once.
const CHUNK: usize = 1 << 16;

/// A file that may grow.
pub struct Growing {
    path: PathBuf,
    file: File,
    read: u64,
}

impl Growing {
    /// Opens it at its beginning.
    pub fn open(path: &Path) -> Result<Growing> {
        let failed = |cause| Error::file(path, "read", cause);
        let file = File::open(path).map_err(failed)?;
        if file.metadata().map_err(failed)?.is_dir() {
            return Err(failed(std::io::ErrorKind::IsADirectory.into()));
        }
        Ok(Growing {
            path: path.to_owned(),
            file,
            read: 0,
        })
    }

    /// Reads to its end, and with `grows` goes on as it grows.
    pub fn read(mut self, grows: bool, waiting: Waiting, to: &SyncSender<Event>) {
        let mut buffer = vec![0; CHUNK];
        loop {
            match self.file.read(&mut buffer) {
                Ok(0) if !grows => break,
                Ok(0) => {
                    // Nothing is sent to find out whether anybody still listens.
                    if gone(to, Event::Bytes(Vec::new())) {
                        return;
                    }
                    thread::sleep(waiting.look);
                    if self.begins_anew() {
                        let path = self.path.display().to_string();
                        if gone(to, Event::Cut) || gone(to, Event::Said(Said::BegunAnew(path))) {
                            return;
                        }
                    }
                }
                Ok(count) => {
                    self.read += count as u64;
                    if gone(to, Event::read(&buffer, count)) {
                        return;
                    }
                }
                Err(cause) if cause.kind() == std::io::ErrorKind::Interrupted => {}
                Err(cause) => {
                    let why = format!("{}: {cause}", self.path.display());
                    if !grows {
                        gone(to, Event::Said(Said::Ended(why)));
                        break;
                    }
                    if gone(to, Event::Said(Said::Lost(why, waiting.look))) {
                        break;
                    }
                    thread::sleep(waiting.look);
                }
            }
        }
        gone(to, Event::End);
    }

    /// Whether the file is another by now, or shorter than what was read; then it is read from its beginning.
    fn begins_anew(&mut self) -> bool {
        let Ok(there) = std::fs::metadata(&self.path) else {
            return false;
        };
        // A device has no length.
        if !there.is_file() {
            return false;
        }
        // Before lengths are compared: another file may be longer already than what was read.
        let another = !self
            .file
            .metadata()
            .is_ok_and(|ours| is_same(&ours, &there));
        if another && let Ok(file) = File::open(&self.path) {
            self.file = file;
            self.read = 0;
            return true;
        }
        let shorter = there.len() < self.read && self.file.seek(SeekFrom::Start(0)).is_ok();
        if shorter {
            self.read = 0;
        }
        shorter
    }
}

#[cfg(unix)]
fn is_same(a: &std::fs::Metadata, b: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    (a.dev(), a.ino()) == (b.dev(), b.ino())
}

#[cfg(not(unix))]
// No number of a file is told here: that one was replaced is known by its length alone.
fn is_same(_: &std::fs::Metadata, _: &std::fs::Metadata) -> bool {
    true
}

/// Reads the standard input to its end.
pub fn standard_input(to: &SyncSender<Event>) {
    read_to_end(std::io::stdin().lock(), to);
}

fn read_to_end(mut input: impl Read, to: &SyncSender<Event>) {
    let mut buffer = vec![0; CHUNK];
    loop {
        match input.read(&mut buffer) {
            Ok(0) => break,
            Ok(count) => {
                if gone(to, Event::read(&buffer, count)) {
                    return;
                }
            }
            Err(cause) if cause.kind() == std::io::ErrorKind::Interrupted => {}
            Err(cause) => {
                gone(
                    to,
                    Event::Said(Said::Ended(format!("standard input: {cause}"))),
                );
                break;
            }
        }
    }
    gone(to, Event::End);
}

#[cfg(test)]
mod tests {
    use std::io;
    use std::sync::mpsc::sync_channel;

    use super::*;

    struct Breaks(bool);

    impl Read for Breaks {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            if std::mem::replace(&mut self.0, true) {
                return Err(io::Error::other("unplugged"));
            }
            into[..2].copy_from_slice(b"ab");
            Ok(2)
        }
    }

    #[test]
    fn an_input_that_breaks_off_is_told() {
        let (to, events) = sync_channel(9);
        read_to_end(Breaks(false), &to);
        drop(to);
        let all: Vec<Event> = events.iter().collect();
        let ended = Said::Ended("standard input: unplugged".into());
        assert_eq!(
            all,
            [Event::Bytes(b"ab".to_vec()), Event::Said(ended), Event::End]
        );
    }
}

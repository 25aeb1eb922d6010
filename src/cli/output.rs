//! What commands print and write.

use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;

use windfall::error::{Error, Result};
use windfall::files::{UnfinishedFile, finish_all};
use windfall::report::{digits, plain};

/// A value as indented JSON with ten digits a number, ending in a newline.
pub fn json(value: &impl Serialize) -> Result<String> {
    digits::json(value).map_err(|cause| Error::file(Path::new("JSON"), "write", cause.into()))
}

/// Prints a text to a stream of that name, without anything that a terminal would obey.
pub fn print(to: &mut impl Write, name: &'static str, text: &str) -> Result<()> {
    to.write_all(plain::text(text).as_bytes())
        .and_then(|()| to.flush())
        .map_err(|cause| Error::file(Path::new(name), "write to", cause))
}

/// What a path ends in, in small letters: the kind of file it asks for.
pub fn extension(path: &Path) -> Option<String> {
    Some(path.extension()?.to_str()?.to_ascii_lowercase())
}

/// A path that ends in one of some kinds of file.
pub fn path_of_kind(text: &str, kinds: &[&str]) -> std::result::Result<PathBuf, String> {
    let path = PathBuf::from(text);
    match extension(&path) {
        Some(kind) if kinds.contains(&kind.as_str()) => Ok(path),
        _ => Err(format!(
            "expected a path that ends in one of {}",
            kinds.join(", ")
        )),
    }
}

/// Files that a command makes.
pub struct Outputs(Vec<UnfinishedFile>);

impl Outputs {
    /// Begins all the files that are asked for, so that a place that cannot be written to is reported
    /// first; none may be a file that the command reads.
    ///
    /// # Errors
    ///
    /// A place that cannot be written to, or where an input stands.
    pub fn begin(paths: &[PathBuf], inputs: &[PathBuf]) -> Result<Outputs> {
        for path in paths {
            keep_apart(path, inputs)?;
        }
        let begun = paths.iter().map(|path| UnfinishedFile::begin(path));
        Ok(Outputs(begun.collect::<Result<_>>()?))
    }

    /// These and others.
    pub fn and(mut self, others: Outputs) -> Outputs {
        self.0.extend(others.0);
        self
    }

    /// Writes each file what `make` makes for its path; none has its name yet.
    ///
    /// # Errors
    ///
    /// Those of `make`, and a full disk.
    pub fn write(&mut self, mut make: impl FnMut(&Path) -> Result<Vec<u8>>) -> Result<()> {
        self.0.iter_mut().try_for_each(|file| {
            let bytes = make(file.path())?;
            file.write(&bytes)
        })
    }

    /// Prints, and then gives the files their names: where the text cannot be printed, as on a full
    /// disk, there are no files, either. Whoever reads it may stop when they have seen enough.
    ///
    /// # Errors
    ///
    /// What is printed or named cannot be.
    pub fn finish(self, print: impl FnOnce() -> Result<()>) -> Result<()> {
        name_if(print(), || finish_all(self.0))
    }
}

/// Gives files their names with `name` once a text was printed, as [`Outputs::finish`] does.
///
/// # Errors
///
/// What is printed or named cannot be.
pub fn name_if(printed: Result<()>, name: impl FnOnce() -> Result<()>) -> Result<()> {
    match &printed {
        Err(Error::File { cause, .. }) if cause.kind() == ErrorKind::BrokenPipe => {}
        Err(_) => return printed,
        Ok(()) => {}
    }
    // Whoever closed the pipe wanted no more text; that says nothing of the files.
    name()?;
    printed
}

/// Refuses a place where a file stands that the command reads.
pub fn keep_apart(path: &Path, inputs: &[PathBuf]) -> Result<()> {
    match inputs.iter().find(|input| are_one(path, input)) {
        None => Ok(()),
        Some(input) => Err(Error::CannotDo {
            why: format!(
                "{} would be written over {}, which is read",
                path.display(),
                input.display()
            ),
            remedy: "expected another name".into(),
        }),
    }
}

/// Whether two names are of one file.
#[cfg(unix)]
fn are_one(a: &Path, b: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    // By device and number, which all names and links of a file share.
    let of = |path: &Path| {
        std::fs::metadata(path)
            .ok()
            // Only files: a device such as /dev/null may be read and written.
            .filter(std::fs::Metadata::is_file)
    };
    matches!((of(a), of(b)), (Some(a), Some(b)) if (a.dev(), a.ino()) == (b.dev(), b.ino()))
}

#[cfg(not(unix))]
fn are_one(a: &Path, b: &Path) -> bool {
    matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

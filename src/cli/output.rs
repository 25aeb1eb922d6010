//! What commands print.

use std::io::Write;
use std::path::{Path, PathBuf};

use serde::Serialize;

use windfall::error::{Error, Result};
use windfall::files::UnfinishedFile;

/// A value as indented JSON, ending in a newline.
pub fn json(value: &impl Serialize) -> Result<String> {
    serde_json::to_string_pretty(value)
        .map(|text| text + "\n")
        .map_err(|cause| Error::file(Path::new("JSON"), "write", cause.into()))
}

/// Prints a text to a stream of that name.
pub fn print(to: &mut impl Write, name: &'static str, text: &str) -> Result<()> {
    to.write_all(text.as_bytes())
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

/// Begins all the files that are asked for, so that a place that cannot be written to is reported first.
pub fn begin(paths: &[PathBuf]) -> Result<Vec<(UnfinishedFile, &PathBuf)>> {
    let begun = paths.iter();
    begun
        .map(|path| Ok((UnfinishedFile::begin(path)?, path)))
        .collect()
}

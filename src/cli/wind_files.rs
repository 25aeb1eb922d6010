//! The ascents in the wind files a command is given.

use std::path::PathBuf;

use jiff::Timestamp;
use serde::Serialize;

use crate::error::{Error, Result};
use crate::sources::{self, Format};
use crate::wind::sounding::Sounding;

/// An ascent with the file it comes from.
#[derive(Debug, Serialize)]
pub struct Ascent {
    /// The file, as the user named it.
    pub file: String,
    /// The ascent.
    pub sounding: Sounding,
}

/// The ascents of all files, or the faults of all.
pub fn read_all(files: &[PathBuf], format: Option<Format>) -> Result<Vec<Ascent>> {
    let mut ascents = Vec::new();
    let mut faults = Vec::new();
    for path in files {
        match sources::read_soundings(path, format) {
            Ok(soundings) => {
                let file = path.display().to_string();
                ascents.extend(soundings.into_iter().map(|sounding| Ascent {
                    file: file.clone(),
                    sounding,
                }));
            }
            Err(Error::Faults(more)) => faults.extend(more),
            Err(other) => return Err(other),
        }
    }
    if faults.is_empty() {
        Ok(ascents)
    } else {
        Err(Error::Faults(faults))
    }
}

/// The ascent nearest to a time.
pub fn nearest(mut ascents: Vec<Ascent>, time: Timestamp) -> Result<Ascent> {
    let which = sources::nearest(ascents.iter().map(|a| &a.sounding), time)?;
    Ok(ascents.swap_remove(which))
}

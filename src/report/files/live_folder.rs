//! The folder of a flight that is followed: a log of all reports, to which is only added; zone, map file and
//! page, written anew with each view.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use super::follow::{geojson, kml, kml_link};
use crate::brief::answer::WaitingPoint;
use crate::error::{Error, Result};
use crate::files::write_atomically;
use crate::follow::answer::Standing;
use crate::plan::Plan;
use crate::report::pages;
use crate::units::UnitSystem;

/// The log.
const LOG: &str = "reports.log";
/// What the map file that is opened loads again and again.
const KML_NOW: &str = "zone-now.kml";

/// The folder that is written into.
pub struct LiveFolder {
    path: PathBuf,
    log: File,
}

impl LiveFolder {
    /// Opens a folder, which is made if it is not there.
    ///
    /// # Errors
    ///
    /// When it cannot be written into.
    pub fn open(path: &Path) -> Result<LiveFolder> {
        fs::create_dir_all(path).map_err(|cause| Error::file(path, "make", cause))?;
        let log = path.join(LOG);
        let failed = |cause| Error::file(&log, "write", cause);
        let file = OpenOptions::new()
            .create(true)
            // What a run before this one heard of the flight stays.
            .append(true)
            .open(&log)
            .map_err(failed)?;
        // Once is enough: it only names the file that is written anew.
        write_atomically(&path.join("zone.kml"), kml_link(KML_NOW).as_bytes())?;
        Ok(LiveFolder {
            path: path.to_owned(),
            log: file,
        })
    }

    /// Whether a file is the log itself.
    pub fn is_log(&self, path: &Path) -> bool {
        // One file may have several names, by links and by ways through other folders.
        let real = |p: &Path| fs::canonicalize(p).ok();
        real(path).is_some_and(|p| real(&self.path.join(LOG)) == Some(p))
    }

    /// Appends lines to the log, and waits until the disk has them.
    ///
    /// # Errors
    ///
    /// When they cannot be written.
    pub fn keep(&mut self, lines: &str) -> Result<()> {
        if lines.is_empty() {
            return Ok(());
        }
        let path = self.path.join(LOG);
        let failed = |cause| Error::file(&path, "write", cause);
        self.log.write_all(lines.as_bytes()).map_err(failed)?;
        self.log.sync_data().map_err(failed)
    }

    /// Writes how the flight stands.
    ///
    /// # Errors
    ///
    /// When a file cannot be written.
    pub fn write(
        &self,
        standing: &Standing,
        waiting: &[WaitingPoint],
        plan: &Plan,
        units: UnitSystem,
    ) -> Result<()> {
        let zone = &plan.timezone;
        let write =
            |name: &str, text: String| write_atomically(&self.path.join(name), text.as_bytes());
        write("zone.geojson", geojson(standing, units))?;
        write(KML_NOW, kml(standing, waiting, zone, units))?;
        write(
            "page.html",
            pages::follow::text(standing, waiting, zone, units),
        )
    }
}

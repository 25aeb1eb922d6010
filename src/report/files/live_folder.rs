//! The folder of a flight that is followed: a log of all reports, to which is only added; zone, map file and
//! page, written anew with each view. Another flight begins with none of these.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::follow::{geojson, kml, kml_link};
use crate::brief::answer::WaitingPoint;
use crate::clock::seconds_between;
use crate::error::{Error, Result};
use crate::files::{check_is_free, write_atomically};
use crate::follow::answer::Standing;
use crate::listen::ReportSource;
use crate::plan::Plan;
use crate::report::pages;
use crate::units::UnitSystem;

/// The log.
const LOG: &str = "reports.log";
/// The zone as it stands.
const ZONE: &str = "zone.geojson";
/// What the map file that is opened loads again and again.
const KML_NOW: &str = "zone-now.kml";

/// What is written anew with each view.
const VIEWS: [&str; 3] = [ZONE, KML_NOW, "page.html"];
/// When the flight that the folder is about is released.
const RELEASE: &str = "release.txt";
/// What tells that a flight was followed into a folder.
const LIVE: [&str; 2] = [RELEASE, LOG];
const WHAT: &str = "a flight that is followed";
/// The file that viewers open once.
const KML: &str = "zone.kml";
/// A release that is moved by less is that of the same flight, late or early, s.
const SAME_FLIGHT_S: f64 = 3_600.0;

/// Refuses the folder of a flight that is followed to `what`, which would write over its zone and map file.
///
/// # Errors
///
/// Such a folder.
pub fn refuse_followed(folder: &Path, what: &str) -> Result<()> {
    // One of them alone may be a tracker's log or of whatever else.
    let followed = LIVE.iter().all(|name| folder.join(name).exists());
    match followed {
        true => check_is_free(folder, &[ZONE, KML], &[], what),
        false => Ok(()),
    }
}

/// The folder that is written into.
pub struct LiveFolder {
    path: PathBuf,
    log: File,
    earlier: Option<PathBuf>,
}

impl LiveFolder {
    /// Opens a folder for the flight of a release; it is made if it is not there. What it has of another flight goes:
    /// its log gets another name, and what was shown of it is removed. `goes_on` says that the flight is that of the
    /// folder's log, whenever it is released.
    ///
    /// # Errors
    ///
    /// When it cannot be written into.
    pub fn open(path: &Path, release: Timestamp, goes_on: bool) -> Result<LiveFolder> {
        fs::create_dir_all(path).map_err(|cause| Error::file(path, "make", cause))?;
        let earlier = match goes_on {
            true => None,
            false => {
                // As a briefing's map, which would be lost.
                check_is_free(path, &[VIEWS.as_slice(), &[KML]].concat(), &LIVE, WHAT)?;
                set_aside(path, release)?
            }
        };
        // After what was there is out of the way: stopped before, it is still the other flight's.
        write_atomically(&path.join(RELEASE), format!("{release}\n").as_bytes())?;
        let log = path.join(LOG);
        let failed = |cause| Error::file(&log, "write", cause);
        let file = OpenOptions::new()
            .create(true)
            // What a run before this one heard of the flight stays.
            .append(true)
            .open(&log)
            .map_err(failed)?;
        // Once is enough: it only names the file that is written anew.
        write_atomically(&path.join(KML), kml_link(KML_NOW).as_bytes())?;
        Ok(LiveFolder {
            path: path.to_owned(),
            log: file,
            earlier,
        })
    }

    /// Where the log of an earlier flight is now, if there was one.
    pub fn earlier(&self) -> Option<&Path> {
        self.earlier.as_deref()
    }

    /// Whether a file is the log of a folder.
    pub fn is_log_in(folder: &Path, source: &ReportSource) -> bool {
        let ReportSource::File(file) = source else {
            return false;
        };
        // One file may have several names, by links and by ways through other folders.
        let real = |p: &Path| fs::canonicalize(p).ok();
        real(file).is_some_and(|file| real(&folder.join(LOG)) == Some(file))
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
        // What was heard is not sent again, so it must outlast a loss of power.
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
        // Each is whole at any moment: viewers load them while they are written.
        let write =
            |name: &str, text: String| write_atomically(&self.path.join(name), text.as_bytes());
        let [map, map_file, page] = VIEWS;
        write(map, geojson(standing, units))?;
        write(map_file, kml(standing, waiting, zone, units))?;
        write(page, pages::follow::text(standing, waiting, zone, units))
    }
}

/// Takes what a folder has of a flight with another release out of the way of the new one; where its log is then.
fn set_aside(folder: &Path, release: Timestamp) -> Result<Option<PathBuf>> {
    let had = fs::read_to_string(folder.join(RELEASE)).ok();
    // What cannot be read is no release: then all that lies there is of another flight.
    let had: Option<Timestamp> = had.and_then(|text| text.trim().parse().ok());
    if had.is_some_and(|had| seconds_between(had, release).abs() < SAME_FLIGHT_S) {
        return Ok(None);
    }
    let log = folder.join(LOG);
    let mut earlier = None;
    // An empty log has nothing to keep.
    if fs::metadata(&log).is_ok_and(|data| data.len() > 0) {
        let stem = match had {
            Some(had) => format!("reports-{}", had.strftime("%Y-%m-%d-%H%MZ")),
            None => "reports-earlier".to_owned(),
        };
        let (mut free, mut k) = (folder.join(format!("{stem}.log")), 2);
        // Nothing that was heard is ever written over.
        while free.exists() {
            free = folder.join(format!("{stem}-{k}.log"));
            k += 1;
        }
        fs::rename(&log, &free).map_err(|cause| Error::file(&log, "rename", cause))?;
        earlier = Some(free);
    }
    // What was shown of another flight must not pass for this one's.
    for name in VIEWS {
        let path = folder.join(name);
        match fs::remove_file(&path) {
            Err(cause) if cause.kind() != ErrorKind::NotFound => {
                return Err(Error::file(&path, "remove", cause));
            }
            _ => {}
        }
    }
    Ok(earlier)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A briefing's map is not written over.
    #[test]
    fn what_is_of_no_followed_flight_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        let release = "2026-05-01T15:00:00Z".parse().unwrap();
        for name in [ZONE, KML] {
            fs::write(path.join(name), "of a briefing").unwrap();
            let refused = LiveFolder::open(path, release, false).err().unwrap();
            assert!(
                refused.to_string().contains("a folder of its own"),
                "{refused}"
            );
            assert_eq!(
                fs::read_to_string(path.join(name)).unwrap(),
                "of a briefing"
            );
            fs::remove_file(path.join(name)).unwrap();
        }
        assert!(LiveFolder::open(path, release, false).is_ok());
    }

    /// A flight goes on where its release is late; another one begins with nothing of the one before.
    #[test]
    fn another_flight_begins_a_log_of_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        let open = |release: &str, line: &str, goes_on: bool| {
            let mut live = LiveFolder::open(path, release.parse().unwrap(), goes_on).unwrap();
            live.keep(line).unwrap();
            live.earlier().is_some()
        };
        let read = |name: &str| fs::read_to_string(path.join(name)).unwrap();
        assert!(!open("2026-05-01T15:00:00Z", "one\n", false));
        for name in VIEWS {
            fs::write(path.join(name), "of the first").unwrap();
        }
        assert!(!open("2026-05-01T15:25:00Z", "two\n", false));
        assert_eq!(read(LOG), "one\ntwo\n");
        assert_eq!(read("page.html"), "of the first");
        assert!(open("2026-05-08T15:00:00Z", "three\n", false));
        assert_eq!(read(LOG), "three\n");
        assert_eq!(read("reports-2026-05-01-1525Z.log"), "one\ntwo\n");
        assert!(VIEWS.iter().all(|name| !path.join(name).exists()));
        // Who reads the log itself goes on with its flight.
        assert!(!open("2026-05-10T15:00:00Z", "four\n", true));
        assert_eq!(read(LOG), "three\nfour\n");
        // Of a log without a release nobody knows whose it is.
        fs::remove_file(path.join(RELEASE)).unwrap();
        assert!(open("2026-05-10T15:00:00Z", "five\n", false));
        assert_eq!(read(LOG), "five\n");
        assert_eq!(read("reports-earlier.log"), "three\nfour\n");
    }
}

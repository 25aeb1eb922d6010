//! The folder that the desk was started with: files are read and written inside of it and nowhere else.

use std::fs;
use std::path::{Component, Path, PathBuf};

use crate::error::{Error, Fault, Result};

/// Folders inside folders that are looked into.
const DEPTH: usize = 3;
/// Files listed at most.
const MOST: usize = 2_000;
/// Characters of a name at most.
const LONGEST: usize = 200;

/// Endings of files that winds come in.
pub const WINDS: [&str; 23] = [
    "csv", "txt", "dat", "grib", "grib2", "grb", "grb2", "nc", "nc4", "cdf", "gsd", "gsl", "buf",
    "bufr", "bfr", "lst", "list", "html", "htm", "json", "zip", "gz", "bz2",
];
/// Endings of files that may hold reports of trackers.
pub const REPORTS: [&str; 9] = [
    "csv", "geojson", "gpx", "json", "jsonl", "kiss", "log", "nmea", "txt",
];
/// Endings of files that hold places or areas.
pub const PLACES: [&str; 3] = ["csv", "geojson", "json"];
/// Endings of plans and of what is kept beside them.
const PLANS: [&str; 2] = ["toml", "draft"];

/// What no name on Windows may hold: a colon names a drive or a stream there.
const ODD: [char; 7] = [':', '*', '?', '"', '<', '>', '|'];

/// What the folder of a plan's briefing is called, after the plan itself.
pub const BRIEFING: &str = "-briefing";
/// What the folder of its flights is called.
pub const FLIGHT: &str = "-flight";

/// The logbook that flights are written into, beside the plan.
pub const LOGBOOK: &str = "flights.toml";
/// Files in TOML that may lie beside plans and are none.
const OTHER: [&str; 3] = ["feeds.toml", "Cargo.toml", LOGBOOK];

/// Whether a name is that of a plan.
pub fn is_plan(name: &str) -> bool {
    let file = file_of(name);
    // Some systems take capitals for the same file.
    file.ends_with(".toml") && !OTHER.iter().any(|other| file.eq_ignore_ascii_case(other))
}

/// A folder with everything in it.
pub struct Folder {
    root: PathBuf,
}

/// Files of the folder.
#[derive(Debug, Clone, Default)]
pub struct Listing {
    /// Their names as seen from the folder, with `/` between their parts.
    pub names: Vec<String>,
    /// Whether there are more.
    pub cut: bool,
    /// Names of files and folders that are left out, as some systems have no such names.
    pub odd: Vec<String>,
}

/// Whether a file's name ends in one of these, in capitals or not.
pub fn ends_in(name: &str, endings: &[&str]) -> bool {
    let ending = name
        .rsplit_once('.')
        .map(|(_, ending)| ending.to_ascii_lowercase());
    ending.is_some_and(|ending| endings.contains(&ending.as_str()))
}

/// Whether some list of the page may have a file; photos, of which there may be thousands, are in none.
fn is_of_use(name: &str) -> bool {
    let lists = [&PLANS[..], &WINDS, &REPORTS, &PLACES];
    lists.iter().any(|endings| ends_in(name, endings))
}

/// A name without its folders.
pub fn file_of(name: &str) -> &str {
    name.rsplit_once('/').map_or(name, |(_, file)| file)
}

/// The folder that a name lies in; empty for the desk's own.
pub fn folder_of(name: &str) -> &str {
    name.rsplit_once('/').map_or("", |(folder, _)| folder)
}

/// The folder that is made for a plan beside it, as [`BRIEFING`] or [`FLIGHT`].
pub fn made_for(plan: &str, ending: &str) -> String {
    format!("{}{ending}", plan.strip_suffix(".toml").unwrap_or(plan))
}

/// The name of what lies beside a plan, seen from the folder.
pub fn beside(plan: &str, file: &str) -> String {
    match folder_of(plan) {
        "" => file.to_owned(),
        folder => format!("{folder}/{file}"),
    }
}

impl Folder {
    /// The folder at a path.
    ///
    /// # Errors
    ///
    /// There is none.
    pub fn open(path: &Path) -> Result<Folder> {
        let failed = |cause| Error::file(path, "open the folder", cause);
        // By its real name, so that `holds` can tell what lies inside by how it begins.
        let root = fs::canonicalize(path).map_err(failed)?;
        match root.is_dir() {
            true => Ok(Folder { root }),
            false => Err(failed(std::io::ErrorKind::NotADirectory.into())),
        }
    }

    /// Where it is.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The path of a name inside the folder, whether there is such a file yet or not.
    ///
    /// # Errors
    ///
    /// A name that leads out of the folder, through a link, or that no file should have.
    pub fn path(&self, name: &str) -> Result<PathBuf> {
        let wrong = || {
            let expected = "the name of a file inside the folder that the desk was started with, one that every system can have";
            Error::from(Fault::new("desk", format!("{name:?}"), expected))
        };
        if is_too_long(name) || !name.split('/').all(is_plain) {
            return Err(wrong());
        }
        let mut path = self.root.clone();
        for part in name.split('/') {
            path.push(part);
            // A link may lead anywhere.
            if fs::symlink_metadata(&path).is_ok_and(|found| found.is_symlink()) {
                return Err(wrong());
            }
        }
        match self.holds(&path) {
            true => Ok(path),
            false => Err(wrong()),
        }
    }

    /// The name of a path inside the folder.
    pub fn name(&self, path: &Path) -> Option<String> {
        let parts = path.strip_prefix(&self.root).ok()?.components();
        let parts: Option<Vec<&str>> = parts
            .map(|part| match part {
                Component::Normal(part) => part.to_str(),
                _ => None,
            })
            .collect();
        Some(parts?.join("/"))
    }

    /// Whether a path leads to something inside the folder, all links followed; where there is nothing
    /// yet, whether the folder above it does.
    pub fn holds(&self, path: &Path) -> bool {
        let mut there = path;
        loop {
            match (fs::canonicalize(there), there.parent()) {
                (Ok(whole), _) => return whole.starts_with(&self.root),
                // What comes after a missing part may not climb back.
                (Err(_), Some(parent)) if there.file_name().is_some() => there = parent,
                _ => return false,
            }
        }
    }

    /// The files in it and in folders inside of it that a page may list, by name. Links and hidden files are not
    /// among them. At most 2,000 of them, three folders deep, those nearest first.
    pub fn files(&self) -> Listing {
        let mut found = Listing::default();
        self.list(&self.root, DEPTH, &mut found);
        found.names.sort();
        found.odd.sort();
        found
    }

    fn list(&self, folder: &Path, depth: usize, found: &mut Listing) {
        let Ok(entries) = fs::read_dir(folder) else {
            return;
        };
        let (mut files, mut folders) = (Vec::new(), Vec::new());
        for entry in entries.flatten() {
            // The kind of the entry itself: a link is neither a file nor a folder here.
            let (Ok(kind), Some(name)) = (entry.file_type(), self.name(&entry.path())) else {
                continue;
            };
            let plain = name.split('/').all(is_plain);
            if kind.is_dir() && plain && depth > 0 {
                folders.push(entry.path());
            } else if kind.is_file() && plain && is_of_use(&name) {
                files.push(name);
            } else if !plain && !is_hidden(&name) && (kind.is_dir() || is_of_use(&name)) {
                found.odd.push(name);
            }
        }
        // Every system lists folders in an order of its own.
        files.sort();
        folders.sort();
        let room = MOST.saturating_sub(found.names.len());
        found.cut |= files.len() > room;
        found.names.extend(files.into_iter().take(room));
        for folder in folders {
            self.list(&folder, depth - 1, found);
        }
    }
}

/// Whether a file may be called like this, wherever in the folder it lies.
pub fn is_name(file: &str) -> bool {
    is_plain(file) && !is_too_long(file)
}

/// A name with what some systems cannot have in one replaced.
pub fn plain_name(file: &str) -> String {
    file.trim_end_matches([' ', '.']).replace(ODD, "-")
}

fn is_too_long(name: &str) -> bool {
    name.chars().count() > LONGEST
}

fn is_hidden(name: &str) -> bool {
    name.split('/').any(|part| part.starts_with('.'))
}

/// Whether a part of a name is one on every system, and stays where it is.
fn is_plain(part: &str) -> bool {
    // Slashes of either kind part folders.
    let odd = |c: char| c.is_control() || ODD.contains(&c) || "\\/".contains(c);
    // Windows drops blanks and points at the end: two names would be one file.
    let whole = !part.is_empty() && !part.starts_with('.') && !part.ends_with([' ', '.']);
    whole && !part.contains(odd) && !is_device(part)
}

/// Whether Windows takes a name for one of its devices, whatever its ending.
fn is_device(part: &str) -> bool {
    // Windows passes over blanks before the ending as well.
    let stem = part.split('.').next().unwrap_or(part).trim_end();
    let stem = stem.to_ascii_uppercase();
    let numbered = |port: &str| {
        let number = stem.strip_prefix(port);
        number.is_some_and(|n| n.len() == 1 && n.starts_with(|c: char| c.is_ascii_digit()))
    };
    ["CON", "PRN", "AUX", "NUL"].contains(&stem.as_str()) || numbered("COM") || numbered("LPT")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stay_inside() {
        let outer = tempfile::tempdir().unwrap();
        let inner = outer.path().join("desk");
        fs::create_dir_all(inner.join("winds")).unwrap();
        fs::write(outer.path().join("secret.txt"), "s").unwrap();
        fs::write(inner.join("winds/a.csv"), "a").unwrap();
        fs::write(inner.join(".hidden"), "h").unwrap();
        let folder = Folder::open(&inner).unwrap();
        for right in ["a.toml", "winds/a.csv", "winds/new.csv", "new/a.toml"] {
            let path = folder.path(right).unwrap();
            assert_eq!(folder.name(&path).as_deref(), Some(right));
        }
        let long = "a".repeat(201);
        for wrong in [
            "NUL",
            "winds/con.csv",
            "Com1 .toml",
            "../secret.txt",
            "winds/../../secret.txt",
            "/etc/passwd",
            "winds//a.csv",
            "winds/",
            "",
            ".",
            "..",
            ".hidden",
            "a\0b",
            "a\nb",
            "..\\secret.txt",
            "C:secret.txt",
            &long,
        ] {
            let error = folder.path(wrong).unwrap_err().to_string();
            assert!(error.contains("inside the folder"), "{wrong:?}: {error}");
        }
        assert_eq!(folder.files().names, ["winds/a.csv"]);
        assert!(Folder::open(&inner.join("winds/a.csv")).is_err());
        assert!(!folder.holds(&inner.join("winds/../../secret.txt")));
        assert!(!folder.holds(&inner.join("none/../../secret.txt")));
        assert!(folder.holds(&inner.join("winds/../winds/a.csv")));
    }

    #[test]
    fn many_other_files_hide_no_plan() {
        let outer = tempfile::tempdir().unwrap();
        let put = |name: &str| fs::write(outer.path().join(name), "").unwrap();
        for inside in ["a", "a/photos"] {
            fs::create_dir(outer.path().join(inside)).unwrap();
        }
        for k in 0..=MOST {
            put(&format!("a/photos/{k}.JPG"));
        }
        put("z.toml");
        let folder = Folder::open(outer.path()).unwrap();
        let listed = folder.files();
        assert_eq!(
            (&listed.names[..], listed.cut),
            (&["z.toml".to_owned()][..], false)
        );
        for k in 0..=MOST {
            put(&format!("a/{k}.csv"));
        }
        let listed = folder.files();
        assert!(listed.cut && listed.names.len() == MOST);
        assert!(listed.names.contains(&"z.toml".to_owned()));
    }

    #[cfg(unix)]
    #[test]
    fn links_are_refused() {
        use std::os::unix::fs::symlink;
        let outer = tempfile::tempdir().unwrap();
        let inner = outer.path().join("desk");
        fs::create_dir(&inner).unwrap();
        fs::write(outer.path().join("secret.toml"), "s").unwrap();
        symlink(outer.path().join("secret.toml"), inner.join("plan.toml")).unwrap();
        symlink(outer.path(), inner.join("up")).unwrap();
        symlink(inner.join("nowhere"), inner.join("broken.toml")).unwrap();
        let folder = Folder::open(&inner).unwrap();
        for wrong in ["plan.toml", "up/secret.toml", "up/new.toml", "broken.toml"] {
            assert!(folder.path(wrong).is_err(), "{wrong}");
        }
        assert!(folder.files().names.is_empty());
        assert!(!folder.holds(&inner.join("plan.toml")));
    }
}

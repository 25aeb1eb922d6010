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

/// The logbook that flights are written into, beside the plan.
pub const LOGBOOK: &str = "flights.toml";
/// Files in TOML that may lie beside plans and are none.
const OTHER: [&str; 3] = ["feeds.toml", "Cargo.toml", LOGBOOK];

/// Whether a name is that of a plan.
pub fn is_plan(name: &str) -> bool {
    let file = name.rsplit_once('/').map_or(name, |(_, file)| file);
    // Some systems take capitals for the same file.
    file.ends_with(".toml") && !OTHER.iter().any(|other| file.eq_ignore_ascii_case(other))
}

/// A folder with everything in it.
pub struct Folder {
    root: PathBuf,
}

/// A file of the folder.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Entry {
    /// Its name as seen from the folder, with `/` between its parts.
    pub name: String,
    /// Its length.
    pub bytes: u64,
}

/// The name of what lies beside a plan, seen from the folder.
pub fn beside(plan: &str, file: &str) -> String {
    match plan.rsplit_once('/') {
        Some((folder, _)) => format!("{folder}/{file}"),
        None => file.to_owned(),
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
            let expected = "the name of a file inside the folder that the desk was started with";
            Error::from(Fault::new("desk", format!("{name:?}"), expected))
        };
        if name.chars().count() > LONGEST || !name.split('/').all(is_plain) {
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

    /// The files in it and in folders inside of it, by name. Links and hidden files are not among them.
    /// At most 2,000 of them, three folders deep.
    pub fn files(&self) -> Vec<Entry> {
        let mut found = Vec::new();
        self.list(&self.root, DEPTH, &mut found);
        // Every system lists folders in an order of its own.
        found.sort();
        found
    }

    fn list(&self, folder: &Path, depth: usize, found: &mut Vec<Entry>) {
        let Ok(entries) = fs::read_dir(folder) else {
            return;
        };
        for entry in entries.flatten() {
            // The kind of the entry itself: a link is neither a file nor a folder here.
            let (Ok(kind), Some(name)) = (entry.file_type(), self.name(&entry.path())) else {
                continue;
            };
            let plain = name.split('/').all(is_plain);
            if kind.is_dir() && plain && depth > 0 {
                self.list(&entry.path(), depth - 1, found);
            } else if kind.is_file() && plain && found.len() < MOST {
                let bytes = entry.metadata().map_or(0, |data| data.len());
                found.push(Entry { name, bytes });
            }
        }
    }
}

/// Whether a part of a name is one on every system, and stays where it is.
fn is_plain(part: &str) -> bool {
    // A colon names a drive or a stream on Windows, and a backslash parts folders there.
    let odd = |c: char| c.is_control() || "\\/:*?\"<>|".contains(c);
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
        let names = |folder: &Folder| {
            folder
                .files()
                .into_iter()
                .map(|e| e.name)
                .collect::<Vec<_>>()
        };
        assert_eq!(names(&folder), ["winds/a.csv"]);
        assert!(Folder::open(&inner.join("winds/a.csv")).is_err());
        assert!(!folder.holds(&inner.join("winds/../../secret.txt")));
        assert!(!folder.holds(&inner.join("none/../../secret.txt")));
        assert!(folder.holds(&inner.join("winds/../winds/a.csv")));
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
        assert!(folder.files().is_empty());
        assert!(!folder.holds(&inner.join("plan.toml")));
    }
}

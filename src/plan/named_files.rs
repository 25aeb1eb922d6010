//! The files that a plan names.

use std::path::{Component, Path, PathBuf};

use super::document::{Faults, Section};
use crate::files::is_url;

/// What files are written as in a plan, and as they are found.
pub struct Files<'a> {
    folder: &'a Path,
    /// Whether those outside of it are not to be opened.
    closed: bool,
    /// Whether one of them would have been, to know the plan.
    pub unopened: bool,
    /// Those outside of the plan's folder, as they are written.
    pub outside: Vec<String>,
    /// All, as they are found.
    pub all: Vec<PathBuf>,
}

impl<'a> Files<'a> {
    /// Files relative to a folder; where it is closed, those outside of it are only listed.
    pub fn below(folder: &'a Path, closed: bool) -> Files<'a> {
        Files {
            folder,
            closed,
            unopened: false,
            outside: Vec::new(),
            all: Vec::new(),
        }
    }

    /// The files in an array of names.
    pub fn of(&mut self, s: &Section, key: &str, faults: &mut Faults) -> Vec<PathBuf> {
        let names = s.texts(key, "an array of file names", faults);
        let files = names
            .iter()
            .filter_map(|name| self.file(s, key, name, faults));
        files.collect()
    }

    /// The file of one name, to be opened at once; `None` also where it may not be.
    pub fn one_of(
        &mut self,
        s: &Section,
        key: &str,
        expected: &str,
        faults: &mut Faults,
    ) -> Option<PathBuf> {
        let name = s.text(key, expected, faults)?;
        let path = self.file(s, key, name, faults)?;
        // Before it is opened: what lies there may be a pipe that nobody writes to.
        let unopened = self.closed && is_outside(Path::new(name));
        self.unopened |= unopened;
        (!unopened).then_some(path)
    }

    fn file(&mut self, s: &Section, key: &str, name: &str, faults: &mut Faults) -> Option<PathBuf> {
        if is_url(Path::new(name)) {
            let expected = "a file: a plan downloads nothing, `windfall fetch` does";
            s.wrong(key, format!("the address \"{name}\""), expected, faults);
            return None;
        }
        if is_outside(Path::new(name)) {
            self.outside.push(name.to_owned());
        }
        // A name from the root replaces the folder, as it would in a shell.
        let path = self.folder.join(name);
        self.all.push(path.clone());
        Some(path)
    }
}

/// Whether a name leads out of the folder that it is written in.
fn is_outside(name: &Path) -> bool {
    // By its name alone: links inside the folder are the user's own.
    let mut depth = 0_usize;
    for part in name.components() {
        match part {
            Component::Normal(_) => depth += 1,
            Component::CurDir => {}
            Component::ParentDir => match depth.checked_sub(1) {
                Some(up) => depth = up,
                None => return true,
            },
            Component::RootDir | Component::Prefix(_) => return true,
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_lead_out_are_known() {
        for inside in [
            "a.csv",
            "./a.csv",
            "winds/a.csv",
            "winds/../a.csv",
            "..a.csv",
        ] {
            assert!(!is_outside(Path::new(inside)), "{inside}");
        }
        for outside in ["../a.csv", "/etc/passwd", "winds/../../a.csv"] {
            assert!(is_outside(Path::new(outside)), "{outside}");
        }
    }
}

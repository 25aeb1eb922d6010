//! Files that are written whole or not at all.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use tempfile::{Builder, NamedTempFile};

use super::unfinished::{forget, note};
use crate::error::{Error, Result};

/// A file that is being made: it has a temporary name until it is [finished](Self::finish), and
/// vanishes if it never is. So nobody ever sees half a file, an old one stays whole when the disk
/// is full, and a place that cannot be written to is found out before the work is done.
///
/// A link is followed to the file it stands for. A file that is replaced keeps its owner and who may
/// read it. What is no file (a pipe, a device) is written to, and never replaced.
#[derive(Debug)]
pub struct UnfinishedFile {
    place: Place,
    path: PathBuf,
}

/// Where the bytes go.
#[derive(Debug)]
enum Place {
    /// A file of a temporary name beside the one it is to be.
    Beside(Option<NamedTempFile>, PathBuf),
    /// A pipe or a device, and what it is to be given at the end.
    Stream(File, Vec<u8>),
}

impl UnfinishedFile {
    /// Begins a file beside its final place.
    ///
    /// # Errors
    ///
    /// The folder is missing or cannot be written to, the file there cannot, or the place is a folder
    /// or a link to nothing.
    pub fn begin(path: &Path) -> Result<UnfinishedFile> {
        let failed = |cause| Error::file(path, "write", cause);
        let place = match fs::metadata(path) {
            Ok(old) if old.is_dir() => return Err(failed(ErrorKind::IsADirectory.into())),
            Ok(old) if old.is_file() => Place::replacing(path, &old).map_err(failed)?,
            Ok(_) => {
                let stream = OpenOptions::new().write(true).open(path).map_err(failed)?;
                Place::Stream(stream, Vec::new())
            }
            // What it should become would be a guess.
            Err(_) if path.is_symlink() => {
                return Err(Error::CannotDo {
                    why: format!("{} is a link to a file that is not there", path.display()),
                    remedy: "expected the name of a file, or a link to one".into(),
                });
            }
            Err(_) => Place::new(path).map_err(failed)?,
        };
        Ok(UnfinishedFile {
            place,
            path: path.to_owned(),
        })
    }

    /// The file's name, as it was given.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes the whole content; it still has no name.
    ///
    /// # Errors
    ///
    /// The disk is full.
    pub fn write(&mut self, bytes: &[u8]) -> Result<()> {
        match &mut self.place {
            Place::Beside(Some(file), _) => file
                .write_all(bytes)
                .map_err(|cause| Error::file(&self.path, "write", cause)),
            Place::Beside(None, _) => Ok(()),
            Place::Stream(_, kept) => {
                // Not yet: what went into a pipe cannot be taken back.
                bytes.clone_into(kept);
                Ok(())
            }
        }
    }

    /// Gives the file its name.
    ///
    /// # Errors
    ///
    /// The name cannot be given, or what is no file does not take the bytes.
    pub fn name(mut self) -> Result<()> {
        let failed = |cause| Error::file(&self.path, "write", cause);
        match &mut self.place {
            Place::Beside(file, target) => {
                if let Some(file) = file.take() {
                    let temporary = file.path().to_owned();
                    let named = file.persist(target).map_err(|e| failed(e.error));
                    // In any case: without its name it goes with the error.
                    forget(&temporary);
                    named?;
                }
                Ok(())
            }
            Place::Stream(stream, bytes) => stream.write_all(bytes).map_err(failed),
        }
    }

    /// [`UnfinishedFile::finish`], and it is on the disk when this returns: what has its name is whole
    /// even after the machine lost its power.
    ///
    /// # Errors
    ///
    /// The disk is full, or the name cannot be given.
    pub fn finish_on_disk(mut self, bytes: &[u8]) -> Result<()> {
        let path = self.path.clone();
        let failed = |cause| Error::file(&path, "write", cause);
        self.write(bytes)?;
        if let Place::Beside(Some(file), _) = &self.place {
            file.as_file().sync_all().map_err(failed)?;
        }
        self.name()?;
        of_folder(&path).map_err(failed)
    }

    /// Writes the whole content and gives the file its name.
    ///
    /// # Errors
    ///
    /// The disk is full, or the name cannot be given.
    pub fn finish(mut self, bytes: &[u8]) -> Result<()> {
        self.write(bytes)?;
        self.name()
    }
}

impl Drop for UnfinishedFile {
    fn drop(&mut self) {
        if let Place::Beside(Some(file), _) = &self.place {
            forget(file.path());
        }
    }
}

impl Place {
    /// A new file, which may be read by whom the system lets read new files.
    fn new(path: &Path) -> std::io::Result<Place> {
        let mut builder = Builder::new();
        for_new_files(&mut builder);
        Place::beside(&builder, path.to_owned())
    }

    /// A file in place of one that is there.
    fn replacing(path: &Path, old: &fs::Metadata) -> std::io::Result<Place> {
        // Renaming needs no leave of the file itself.
        OpenOptions::new().write(true).open(path)?;
        // Beside the file itself, not beside a link to it.
        let place = Place::beside(&Builder::new(), path.canonicalize()?)?;
        if let Place::Beside(Some(file), _) = &place {
            as_before(file.as_file(), old)?;
        }
        Ok(place)
    }

    fn beside(builder: &Builder, target: PathBuf) -> std::io::Result<Place> {
        let folder = match target.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        let file = builder.tempfile_in(folder).map_err(without_path)?;
        note(file.path());
        Ok(Place::Beside(Some(file), target))
    }
}

/// The failure alone: the name that it tells of is one that nobody has given.
fn without_path(failed: std::io::Error) -> std::io::Error {
    let within = failed.get_ref().and_then(|wrapped| wrapped.source());
    let code = within.and_then(|cause| cause.downcast_ref::<std::io::Error>()?.raw_os_error());
    code.map_or(failed, std::io::Error::from_raw_os_error)
}

/// What the user's umask leaves of "everybody may read and write".
#[cfg(unix)]
pub(crate) fn for_new_files(builder: &mut Builder) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(fs::Permissions::from_mode(0o666));
}

#[cfg(not(unix))]
pub(crate) fn for_new_files(_: &mut Builder) {}

/// Gives a file the owner and the mode of an old one.
#[cfg(unix)]
fn as_before(file: &File, old: &fs::Metadata) -> std::io::Result<()> {
    use std::os::unix::fs::{MetadataExt, fchown};
    // Only the system's administrator can give files away; for all others they stay their own.
    let _ = fchown(file, Some(old.uid()), Some(old.gid()));
    file.set_permissions(old.permissions())
}

#[cfg(not(unix))]
fn as_before(file: &File, old: &fs::Metadata) -> std::io::Result<()> {
    file.set_permissions(old.permissions())
}

/// Brings the names in a file's folder to the disk.
#[cfg(unix)]
fn of_folder(path: &Path) -> std::io::Result<()> {
    // A new name is on the disk when its folder is.
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
}

#[cfg(not(unix))]
fn of_folder(_: &Path) -> std::io::Result<()> {
    Ok(())
}

/// Gives all files their names, once the bytes of all are written.
///
/// # Errors
///
/// The first name that cannot be given.
pub fn finish_all(files: Vec<UnfinishedFile>) -> Result<()> {
    files.into_iter().try_for_each(UnfinishedFile::name)
}

/// Writes a file whole, in one go; see [`UnfinishedFile`].
///
/// # Errors
///
/// As [`UnfinishedFile`].
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<()> {
    UnfinishedFile::begin(path)?.finish(bytes)
}

/// A folder of files that are all there or none of them. One that had to be made vanishes if it is
/// never finished.
#[derive(Debug)]
pub struct UnfinishedFolder {
    files: Vec<UnfinishedFile>,
    /// The folders that had to be made, the outermost first.
    made: Vec<PathBuf>,
}

impl UnfinishedFolder {
    /// Begins all files of a folder.
    ///
    /// # Errors
    ///
    /// The folder cannot be made or written to, or is none.
    pub fn begin(folder: &Path, names: &[&str]) -> Result<UnfinishedFolder> {
        if folder.exists() && !folder.is_dir() {
            let cause = ErrorKind::NotADirectory.into();
            return Err(Error::file(folder, "make", cause));
        }
        let missing = folder.ancestors().take_while(|f| {
            let here = f.as_os_str().is_empty();
            !here && !f.exists()
        });
        let mut missing: Vec<PathBuf> = missing.map(Path::to_owned).collect();
        missing.reverse();
        // Before anything is made, so that a failure on the way takes back what was.
        let mut begun = UnfinishedFolder {
            files: Vec::new(),
            made: Vec::new(),
        };
        for folder in missing {
            fs::create_dir(&folder).map_err(|cause| Error::file(&folder, "make", cause))?;
            note(&folder);
            begun.made.push(folder);
        }
        for name in names {
            begun.files.push(UnfinishedFile::begin(&folder.join(name))?);
        }
        Ok(begun)
    }

    /// Writes the content of all files, in the order of their names.
    ///
    /// # Errors
    ///
    /// The disk is full.
    pub fn write<'a>(&mut self, contents: impl IntoIterator<Item = &'a [u8]>) -> Result<()> {
        let mut both = self.files.iter_mut().zip(contents);
        both.try_for_each(|(file, bytes)| file.write(bytes))
    }

    /// Gives all files their names.
    ///
    /// # Errors
    ///
    /// The first name that cannot be given.
    pub fn name(mut self) -> Result<()> {
        finish_all(std::mem::take(&mut self.files))?;
        for folder in self.made.drain(..) {
            forget(&folder);
        }
        Ok(())
    }
}

impl Drop for UnfinishedFolder {
    fn drop(&mut self) {
        // Files first: a folder goes only when it is empty.
        self.files.clear();
        for folder in self.made.drain(..).rev() {
            // One that somebody else has put something into stays.
            let _ = fs::remove_dir(&folder);
            forget(&folder);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> usize {
        fs::read_dir(folder).unwrap().count()
    }

    #[test]
    fn a_file_is_replaced_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        write_atomically(&path, b"one").unwrap();
        write_atomically(&path, b"two").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(names(folder.path()), 1);
        let missing = folder.path().join("no/such/a.txt");
        assert!(write_atomically(&missing, b"x").is_err());
        drop(UnfinishedFile::begin(&path).unwrap());
        assert_eq!(names(folder.path()), 1);
    }

    #[test]
    fn a_folder_is_there_whole_or_not_at_all() {
        let top = tempfile::tempdir().unwrap();
        let folder = top.path().join("new/folder");
        let begun = UnfinishedFolder::begin(&folder, &["a", "b"]).unwrap();
        assert_eq!(names(&folder), 2);
        drop(begun);
        assert_eq!(names(top.path()), 0);
        let mut begun = UnfinishedFolder::begin(&folder, &["a", "b"]).unwrap();
        begun.write([&b"1"[..], b"2"]).unwrap();
        assert!(!folder.join("a").exists());
        begun.name().unwrap();
        assert_eq!(fs::read(folder.join("b")).unwrap(), b"2");
        assert_eq!(names(&folder), 2);
        // What was there before stays.
        drop(UnfinishedFolder::begin(&folder, &["a", "c"]).unwrap());
        assert_eq!(names(&folder), 2);
        // A file in the place of a folder.
        let message = UnfinishedFolder::begin(&folder.join("a"), &["x"]).unwrap_err();
        assert!(message.to_string().starts_with("cannot make "));
    }

    #[cfg(unix)]
    #[test]
    fn modes_are_kept_links_followed_and_pipes_written_to() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o7777;
        fs::write(at("private"), "old").unwrap();
        fs::set_permissions(at("private"), fs::Permissions::from_mode(0o600)).unwrap();
        symlink("private", at("link")).unwrap();
        write_atomically(&at("link"), b"new").unwrap();
        assert_eq!(fs::read(at("private")).unwrap(), b"new");
        assert_eq!(mode(&at("private")), 0o600);
        assert!(at("link").is_symlink());
        // What a new file may be is what the system makes of one.
        fs::write(at("usual"), "").unwrap();
        write_atomically(&at("fresh"), b"").unwrap();
        assert_eq!(mode(&at("fresh")), mode(&at("usual")));
        symlink("nothing", at("dangling")).unwrap();
        let message = write_atomically(&at("dangling"), b"").unwrap_err();
        assert!(
            message
                .to_string()
                .contains("link to a file that is not there")
        );
        assert!(at("dangling").is_symlink());
        symlink("/dev/null", at("null")).unwrap();
        write_atomically(&at("null"), b"gone").unwrap();
        assert!(!fs::metadata("/dev/null").unwrap().is_file());
        assert_eq!(names(folder.path()), 6);
    }
}

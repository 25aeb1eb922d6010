//! A long record of winds: which files there are, and what times each holds. They are opened for the days
//! that need them, and closed again.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use rayon::prelude::*;

use super::digest::{Digest, entries};
use super::known_files::{KnownFiles, Times};
use crate::error::{Error, Fault, Result, all_or_faults};
use crate::files::{is_url, name_of, shown};
use crate::plan::Plan;
use crate::sources::grid::GridFile;
use crate::sources::grid::archive::{Archive, Joining};
use crate::sources::grid::kept::Kept;
use crate::sources::{FileAscent, Hints};
use crate::wind::slab::Slab;
use crate::winds::Winds;
use crate::winds::files::WindFiles;

/// Files of these endings are taken from a folder.
const ENDINGS: [&str; 19] = [
    "nc", "nc4", "cdf", "grib", "grib1", "grib2", "grb", "grb1", "grb2", "gz", "bz2", "zip", "csv",
    "txt", "bufr", "buf", "gsl", "json", "tar",
];
/// A folder with one of these is a store of its own, and not looked into.
const OF_STORES: [&str; 4] = ["zarr.json", ".zgroup", ".zmetadata", ".zarray"];
/// Soundings are blended within 48 h of a release; this is a little more, h.
const SOUNDINGS_WITHIN_H: i64 = 50;

/// Which winds there are.
pub struct LongRecord {
    kind: Kind,
    hints: Hints,
    how: Joining,
    /// Of all files.
    pub digest: Digest,
    /// The length of all files, bytes, but for stores at addresses, which do not tell theirs.
    pub bytes: u64,
    /// How many files there are.
    pub files: usize,
    /// How many of them are stores at addresses.
    pub at_addresses: usize,
}

enum Kind {
    Grids(Vec<Dated>),
    /// In order of time; those without are left out.
    Soundings(Vec<FileAscent>),
}

/// A file of grids.
struct Dated {
    path: PathBuf,
    /// Whether it is a part of its file, which has too many times to be opened as a whole.
    is_part: bool,
    times: Times,
}

impl Dated {
    /// Whether it is of use for some hours.
    fn serves(&self, [from, to]: [Timestamp; 2]) -> bool {
        self.times.of_ground || (self.times.first <= to && self.times.last >= from)
    }
}

/// Winds that are open.
pub struct Opened {
    /// The winds.
    pub winds: Winds,
    files: Vec<usize>,
    /// How many values were decoded from files that are closed by now.
    before: u64,
}

impl Opened {
    /// How many values were decoded from files so far.
    pub fn values_decoded(&self) -> u64 {
        match &self.winds {
            Winds::Forecast(archive) => self.before + archive.values_decoded(),
            Winds::Soundings(_) => 0,
        }
    }
}

/// The files of an archive: those given, and of folders those that lie in them and end as winds do, in
/// the order of their names.
///
/// # Errors
///
/// When a folder cannot be read or has none.
pub fn listed(given: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut all = Vec::new();
    for path in given {
        if !path.is_dir() || is_store(path) {
            all.push(path.clone());
            continue;
        }
        let before = all.len();
        of_folder(path, &mut all)?;
        if all.len() == before {
            let expected = format!("files that end in one of {}", ENDINGS.join(", "));
            let name = path.display().to_string();
            return Err(Fault::new(name, "a folder without winds", expected).into());
        }
    }
    Ok(all)
}

/// Whether a folder is what a reader of grids opens whole.
fn is_store(folder: &Path) -> bool {
    OF_STORES.iter().any(|name| folder.join(name).exists())
}

fn of_folder(folder: &Path, all: &mut Vec<PathBuf>) -> Result<()> {
    for path in entries(folder)? {
        let ending = path.extension().and_then(|e| e.to_str());
        let ending = ending.map(str::to_ascii_lowercase).unwrap_or_default();
        match path.is_dir() {
            true if !is_store(&path) => of_folder(&path, all)?,
            // A store is one thing, whatever lies in it.
            true => all.push(path),
            false if ENDINGS.contains(&ending.as_str()) => all.push(path),
            false => {}
        }
    }
    Ok(())
}

impl LongRecord {
    /// Looks through an archive: of each file the catalogue is read, and closed again. What is found is kept
    /// in the folder `kept`, if there is one, and not looked for again.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with the files, soundings together with grids, and no times at all.
    pub fn survey(
        plan: &Plan,
        given: &[PathBuf],
        hints: &Hints,
        kept: Option<&Path>,
    ) -> Result<LongRecord> {
        let mut known = KnownFiles::of(kept);
        let paths = listed(given)?;
        let mut hints = hints.clone();
        if hints.columns.is_empty() {
            // What is given with the command counts before the plan.
            hints.columns.clone_from(&plan.wind_columns);
        }
        let looked = paths
            .par_iter()
            .map(|path| look(path, &hints, &known))
            .collect();
        let looked: Vec<Looked> = all_or_faults(looked)?;
        let (mut grids, mut soundings) = (Vec::new(), Vec::new());
        for (path, looked) in paths.iter().zip(looked) {
            match looked {
                Looked::Grid(times) => {
                    known.add(path, times);
                    grids.push(Dated {
                        path: path.clone(),
                        is_part: false,
                        times,
                    });
                }
                Looked::Months(months) => grids.extend(months),
                // Not noted as known: they are kept in memory, so their files are read anyway.
                Looked::Soundings(ascents) => soundings.extend(ascents),
            }
        }
        if let (Some(grid), Some(sounding)) = (grids.first(), soundings.first()) {
            let found = format!("a sounding together with {}, a grid", shown(&grid.path));
            let expected = "soundings or grids, not both";
            return Err(Fault::new(&sounding.file, found, expected).into());
        }
        known.keep();
        // A sounding without a time is of no day.
        soundings.retain(|ascent| ascent.sounding.time.is_some());
        soundings.sort_by_key(|ascent| ascent.sounding.time);
        if grids.is_empty() && soundings.is_empty() {
            return Err(Error::CannotDo {
                why: "the winds name no times".into(),
                remedy: "expected a record of winds with dates".into(),
            });
        }
        // Read in another way the same files have other winds.
        let mut digest = Digest::default().with(&format!("{hints:?}"));
        let mut bytes = 0;
        for path in paths.iter().filter(|path| !is_url(path)) {
            digest = digest.with_file(path)?;
            bytes += length(path)?;
        }
        grids.sort_by_key(|file| (file.times.first, file.times.last));
        for grid in grids.iter().filter(|grid| is_url(&grid.path)) {
            // What is there is not read for it; where the store grows, its times do.
            digest = digest.with(&format!(
                "{} {} {} {}",
                name_of(shown(&grid.path)),
                grid.times.first,
                grid.times.last,
                grid.times.count
            ));
        }
        Ok(LongRecord {
            kind: match grids.is_empty() {
                true => Kind::Soundings(soundings),
                false => Kind::Grids(grids),
            },
            hints,
            how: Joining {
                issued: plan.wind_issued,
                // Files of a record are its times, not its members.
                member_per_file: false,
            },
            digest,
            bytes,
            files: paths.len(),
            at_addresses: paths.iter().filter(|path| is_url(path)).count(),
        })
    }

    /// The first and the last time.
    pub fn covers(&self) -> Option<[Timestamp; 2]> {
        match &self.kind {
            Kind::Grids(files) => {
                let first = of_winds(files).map(|times| times.first).min()?;
                Some([first, of_winds(files).map(|times| times.last).max()?])
            }
            Kind::Soundings(ascents) => {
                let time = |ascent: Option<&FileAscent>| ascent?.sounding.time;
                Some([time(ascents.first())?, time(ascents.last())?])
            }
        }
    }

    /// How many times grids have, or how many soundings there are.
    pub fn times(&self) -> usize {
        match &self.kind {
            Kind::Grids(files) => of_winds(files).map(|times| times.count).sum(),
            Kind::Soundings(ascents) => ascents.len(),
        }
    }

    /// Whether it is made of soundings.
    pub fn is_of_soundings(&self) -> bool {
        matches!(self.kind, Kind::Soundings(_))
    }

    /// The winds of a span of time; `None` where there are none. What was open before is used again as
    /// far as it serves, and closed else: grids stay open for `files` (a longer span, as a month),
    /// soundings are those near the span.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with the files.
    pub fn open(
        &self,
        span: [Timestamp; 2],
        files: [Timestamp; 2],
        before: Option<Opened>,
    ) -> Result<Option<Opened>> {
        match &self.kind {
            Kind::Soundings(ascents) => {
                let near = near(ascents, span);
                Ok((!near.is_empty()).then(|| Opened {
                    winds: Winds::Soundings(near.to_vec()),
                    files: Vec::new(),
                    before: 0,
                }))
            }
            Kind::Grids(dated) => {
                let numbered = dated.iter().enumerate();
                let needed = numbered
                    .filter(|(_, file)| file.serves(files))
                    .map(|(i, _)| i)
                    .collect();
                self.open_grids(dated, needed, before)
            }
        }
    }

    fn open_grids(
        &self,
        dated: &[Dated],
        needed: Vec<usize>,
        before: Option<Opened>,
    ) -> Result<Option<Opened>> {
        if needed.iter().all(|&i| dated[i].times.of_ground) {
            return Ok(None);
        }
        // From day to day of a month the files stay the same.
        if before.as_ref().is_some_and(|opened| opened.files == needed) {
            return Ok(before);
        }
        let Closing {
            mut open,
            kept,
            decoded,
        } = close(before, &needed);
        let missing: Vec<usize> = needed
            .iter()
            .copied()
            .filter(|i| open.iter().all(|(j, _)| j != i))
            .collect();
        let (parts, missing): (Vec<usize>, Vec<usize>) =
            missing.into_iter().partition(|&i| dated[i].is_part);
        let paths: Vec<PathBuf> = missing.iter().map(|&i| dated[i].path.clone()).collect();
        if !paths.is_empty() {
            let WindFiles::Grids { files, .. } = WindFiles::read(&paths, &self.hints, false)?
            else {
                return Err(changed(&paths));
            };
            open.extend(missing.into_iter().zip(files));
        }
        for i in parts {
            let hours = [dated[i].times.first, dated[i].times.last];
            open.push((i, GridFile::open_hours(&dated[i].path, hours)?));
        }
        // Sorted as when all are opened anew: what is joined must not depend on what was open.
        open.sort_by_key(|(i, _)| *i);
        // What open files have decoded already is still in their own counts.
        let already: u64 = open.iter().map(|(_, file)| file.values_decoded()).sum();
        let files = open.into_iter().map(|(_, file)| file).collect();
        let mut archive = Archive::join_all(files, self.how)?;
        archive.give_kept(kept);
        Ok(Some(Opened {
            winds: Winds::Forecast(Box::new(archive)),
            files: needed,
            before: decoded - already,
        }))
    }
}

/// The times of the files that have winds.
fn of_winds(files: &[Dated]) -> impl Iterator<Item = Times> {
    let times = files.iter().map(|file| file.times);
    times.filter(|times| !times.of_ground)
}

/// What remains of winds that were open.
struct Closing {
    /// Files that are needed again.
    open: Vec<(usize, GridFile)>,
    kept: Option<Kept>,
    /// How many values were decoded.
    decoded: u64,
}

fn close(before: Option<Opened>, needed: &[usize]) -> Closing {
    let nothing = Closing {
        open: Vec::new(),
        kept: None,
        decoded: 0,
    };
    let Some(opened) = before else {
        return nothing;
    };
    let decoded = opened.values_decoded();
    let Winds::Forecast(mut archive) = opened.winds else {
        return nothing;
    };
    let kept = archive.take_kept();
    // Where one grid continues another the files are not in their order any more, and of an ensemble they may
    // be numbered anew, or lack that of the mean: all are opened again.
    let is_plain = !archive.is_continued() && archive.members == [None];
    let files = match is_plain {
        true => archive.into_files(),
        false => Vec::new(),
    };
    let numbered = opened.files.into_iter().zip(files);
    Closing {
        open: numbered.filter(|(i, _)| needed.contains(i)).collect(),
        kept,
        decoded,
    }
}

/// The soundings near a span of time, with the last before it and the first after it.
fn near(ascents: &[FileAscent], [from, to]: [Timestamp; 2]) -> &[FileAscent] {
    let far = |time: Timestamp, hours: i64| {
        let moved = time.checked_add(SignedDuration::from_hours(hours));
        moved.unwrap_or(time)
    };
    let (early, late) = (far(from, -SOUNDINGS_WITHIN_H), far(to, SOUNDINGS_WITHIN_H));
    let first = ascents.partition_point(|a| a.sounding.time < Some(early));
    let end = ascents.partition_point(|a| a.sounding.time <= Some(late));
    // One more on each side: the nearest sounding may be older than those that are blended.
    &ascents[first.saturating_sub(1)..(end + 1).min(ascents.len())]
}

fn changed(paths: &[PathBuf]) -> Error {
    let names: Vec<String> = paths.iter().map(|path| shown(path)).collect();
    Error::CannotDo {
        why: format!("{}: no grids any more", names.join(", ")),
        remedy: "expected files that stay as they are while they are read".into(),
    }
}

/// What a file holds.
enum Looked {
    Grid(Times),
    /// Of a store with very many times, a month each.
    Months(Vec<Dated>),
    Soundings(Vec<FileAscent>),
}

/// The months of a store.
fn months(path: &Path, times: &BTreeSet<Timestamp>) -> Looked {
    let month = |time: &Timestamp| TimeZone::UTC.to_datetime(*time).date().first_of_month();
    let mut months: Vec<(Date, Dated)> = Vec::new();
    for time in times {
        match months.last_mut() {
            Some((known, dated)) if *known == month(time) => {
                dated.times.last = *time;
                dated.times.count += 1;
            }
            _ => {
                let dated = Dated {
                    path: path.to_owned(),
                    is_part: true,
                    times: Times {
                        first: *time,
                        last: *time,
                        count: 1,
                        of_ground: false,
                    },
                };
                months.push((month(time), dated));
            }
        }
    }
    Looked::Months(months.into_iter().map(|(_, dated)| dated).collect())
}

fn look(path: &Path, hints: &Hints, known: &KnownFiles) -> Result<Looked> {
    if let Some(times) = known.find(path) {
        return Ok(Looked::Grid(times));
    }
    if let Some(times) = GridFile::many_times(path)? {
        return Ok(months(path, &times));
    }
    match WindFiles::read(&[path.to_owned()], hints, false)? {
        WindFiles::Soundings(ascents) => Ok(Looked::Soundings(ascents)),
        WindFiles::Grids { files, .. } => {
            let slabs = || files.iter().flat_map(|file| &file.slabs);
            let times: BTreeSet<Timestamp> = slabs().map(|slab| slab.valid).collect();
            match (times.first(), times.last()) {
                (Some(&first), Some(&last)) => Ok(Looked::Grid(Times {
                    first,
                    last,
                    count: times.len(),
                    of_ground: slabs().all(Slab::is_ground),
                })),
                _ => Err(Fault::new(shown(path), "no times", "winds with times").into()),
            }
        }
    }
}

fn length(path: &Path) -> Result<u64> {
    if path.is_dir() {
        // A store is a folder of many files.
        return entries(path)?.iter().map(|inside| length(inside)).sum();
    }
    let about = std::fs::metadata(path).map_err(|cause| Error::file(path, "read", cause))?;
    Ok(about.len())
}

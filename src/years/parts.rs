//! Parts of the work as files: lines of JSON, whole or not there.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::ops::Range;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::cells::{Cell, CellCounts, Count};
use super::job::Job;
use super::release::Release;
use crate::error::{Error, Fault, Result};
use crate::files::{UnfinishedFile, read_text};

/// What came of a run of units.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Part {
    /// That of the work it belongs to.
    pub digest: String,
    /// Which units.
    pub units: Range<usize>,
    /// The releases, in the order of the units.
    pub releases: Vec<Release>,
    /// Where they came down.
    pub cells: CellCounts,
    /// How many values were decoded for it; not written.
    pub values_decoded: u64,
}

/// The first line of a part.
#[derive(Debug, Serialize, Deserialize)]
struct Head {
    windfall_years: u32,
    work: String,
    from: usize,
    to: usize,
}

/// Every other line.
#[derive(Debug, Serialize, Deserialize)]
#[serde(untagged)]
enum Line {
    Release(Release),
    Cell {
        cell: (usize, Cell),
        #[serde(flatten)]
        count: Count,
    },
    /// The last one: how many lines are before it.
    End {
        end: usize,
    },
}

/// Parts that are named where some are missing.
const MOST_NAMED: usize = 40;
/// The form of parts that is written and read.
const FORM: u32 = 1;

impl Part {
    /// Of units that are not done yet.
    pub fn empty(digest: &str, units: Range<usize>) -> Part {
        Part {
            digest: digest.to_owned(),
            units,
            ..Part::default()
        }
    }

    /// As text.
    ///
    /// # Errors
    ///
    /// When it cannot be made, which does not happen in memory.
    pub fn text(&self) -> Result<String> {
        let head = Head {
            windfall_years: FORM,
            work: self.digest.clone(),
            from: self.units.start,
            to: self.units.end,
        };
        let mut text = line(&head)?;
        for release in &self.releases {
            text += &line(release)?;
        }
        for (&cell, &count) in &self.cells.0 {
            text += &line(&Line::Cell { cell, count })?;
        }
        let end = 1 + self.releases.len() + self.cells.0.len();
        Ok(text + &line(&Line::End { end })?)
    }

    /// Reads a text.
    ///
    /// # Errors
    ///
    /// A fault at its line.
    pub fn parse(name: &str, text: &str) -> Result<Part> {
        let wrong = |number: usize, found: &str| {
            let found: String = found.chars().take(60).collect();
            Fault::new(name, found, "a whole part, as --shard writes it").at_line(number + 1)
        };
        let mut lines = text.lines().enumerate();
        let (_, first) = lines.next().ok_or_else(|| wrong(0, "an empty file"))?;
        let head: Head = serde_json::from_str(first).map_err(|_| wrong(0, first))?;
        if head.windfall_years != FORM || head.from > head.to {
            return Err(wrong(0, first).into());
        }
        let mut part = Part::empty(&head.work, head.from..head.to);
        for (number, text) in lines {
            match serde_json::from_str(text).map_err(|_| wrong(number, text))? {
                Line::Release(release) => part.releases.push(release),
                Line::Cell { cell, count } => {
                    part.cells.0.insert(cell, count);
                }
                // A part is whole when it is written, but may be cut short or joined when it is
                // copied.
                Line::End { end } if end == number => return Ok(part),
                Line::End { .. } => return Err(wrong(number, text).into()),
            }
        }
        Err(wrong(text.lines().count(), "its end is missing").into())
    }

    /// Adds the next part.
    #[must_use]
    pub fn with(mut self, next: Part) -> Part {
        self.units.end = next.units.end;
        self.releases.extend(next.releases);
        self.cells = self.cells.with(next.cells);
        self.values_decoded += next.values_decoded;
        self
    }
}

fn line(value: &impl Serialize) -> Result<String> {
    let text = serde_json::to_string(value);
    text.map(|text| text + "\n")
        .map_err(|cause| Error::file(Path::new("JSON"), "write", cause.into()))
}

/// Whether a file of this name is a part, or what is kept beside parts.
pub fn is_of_work(name: &str) -> bool {
    name.starts_with("part-") || name == super::known_files::NAME
}

/// The name of a part.
pub fn path_of(folder: &Path, k: usize, n: usize) -> PathBuf {
    folder.join(format!("part-{k}-of-{n}"))
}

/// Writes shard `k` of `n` into a folder, which is made if need be: whole and on the disk, or not at all.
///
/// # Errors
///
/// When it cannot be written.
pub fn write(folder: &Path, k: usize, n: usize, part: &Part) -> Result<()> {
    fs::create_dir_all(folder).map_err(|cause| Error::file(folder, "make", cause))?;
    UnfinishedFile::begin(&path_of(folder, k, n))?.finish_on_disk(part.text()?.as_bytes())
}

/// Shard `k` of `n` of this work, if it is done; `None` where it is not there.
///
/// # Errors
///
/// When it cannot be read, is damaged, or belongs to other work.
pub fn done(job: &Job, folder: &Path, k: usize, n: usize) -> Result<Option<Part>> {
    let path = path_of(folder, k, n);
    // A folder that cannot be looked into must not pass for a part that is not done.
    let there = path.try_exists();
    if !there.map_err(|cause| Error::file(&path, "read", cause))? {
        return Ok(None);
    }
    let text = read_text(&path, "a part, as --shard writes it")?;
    let name = path.display().to_string();
    let part = Part::parse(&name, &text)?;
    if part.digest != job.digest {
        let found = format!("a part of other work ({})", part.digest);
        let expected = format!(
            "one of this plan, these winds, fields and options ({}): another folder, or remove it",
            job.digest
        );
        return Err(Fault::new(name, found, expected).at_line(1).into());
    }
    if part.units != job.shard(k, n) {
        let found = format!("units {} to {}", part.units.start, part.units.end);
        return Err(Fault::new(name, found, "those of its name")
            .at_line(1)
            .into());
    }
    Ok(Some(part))
}

/// All parts in a folder, joined in their order.
///
/// # Errors
///
/// When some are missing or of other work, when there are several cuts, and whatever is wrong with one.
pub fn gather(job: &Job, folder: &Path) -> Result<Part> {
    let (n, there) = cut(folder)?;
    let mut whole = Part::empty(&job.digest, 0..0);
    for &k in &there {
        let part = done(job, folder, k, n)?;
        whole = part.into_iter().fold(whole, Part::with);
    }
    // After all that are there were read: what is wrong with one is told before what is missing.
    let missing = n - there.len();
    if missing == 0 {
        return Ok(whole);
    }
    let first = (1..=n).filter(|k| !there.contains(k)).take(MOST_NAMED);
    let named: Vec<String> = first.map(|k| k.to_string()).collect();
    let more = if missing > MOST_NAMED { " ..." } else { "" };
    Err(Error::CannotDo {
        why: format!(
            "{}: {missing} of {n} parts are missing: {}{more}",
            folder.display(),
            named.join(", ")
        ),
        remedy: "expected all of them: run their shards again".into(),
    })
}

/// Into how many parts the work in a folder was cut, and which are there. A name may say any number.
fn cut(folder: &Path) -> Result<(usize, BTreeSet<usize>)> {
    let failed = |cause| Error::file(folder, "read", cause);
    let mut cuts: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for entry in fs::read_dir(folder).map_err(failed)? {
        let name = entry.map_err(failed)?.file_name();
        let name = name.to_string_lossy();
        let cut = name
            .strip_prefix("part-")
            .and_then(|rest| rest.split_once("-of-"));
        let (Some(k), Some(n)) = cut
            .map(|(k, n)| (k.parse().ok(), n.parse().ok()))
            .unwrap_or_default()
        else {
            continue;
        };
        // A file of such a name that no shard writes is somebody else's.
        if (1..=n).contains(&k) {
            cuts.entry(n).or_default().insert(k);
        }
    }
    let all = cuts.len();
    match cuts.pop_first() {
        Some(only) if all == 1 => Ok(only),
        None => Err(Fault::new(
            folder.display().to_string(),
            "no part",
            "part-1-of-N and so on",
        )
        .into()),
        _ => {
            let found = format!("parts of {all} different cuts");
            let expected = "one: remove those that are not wanted";
            Err(Fault::new(folder.display().to_string(), found, expected).into())
        }
    }
}

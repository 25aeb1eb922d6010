//! Plans that are being worked on: every step kept beside the file, so that nothing unsaved is lost and every
//! edit can be undone; the file itself is written only when it is as it was when the work began.

use std::collections::VecDeque;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::error::{Error, Fault, Result};
use crate::files::{read_bytes, read_text, write_atomically};

/// Steps kept at most; of more, the oldest are forgotten.
const MOST_STEPS: usize = 200;
/// What is typed into one field without a longer pause is one step.
const ONE_STEP: Duration = Duration::from_secs(4);
/// Steps that were replaced by what was typed next, and may still be shown by a page, kept at most.
const MOST_REPLACED: usize = 20;
/// What a file of steps ends in, after the plan's own name.
const ENDING: &str = "draft";
/// The longest plan that is taken, bytes.
pub const LONGEST: usize = 200_000;

/// A plan as it was after an edit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Step {
    /// Numbers grow from step to step, and are never used again.
    number: u64,
    text: String,
}

/// What is kept beside the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Steps {
    /// The digest of the file that the work began from, or that was saved last.
    file_was: String,
    steps: Vec<Step>,
    /// Which of the steps counts.
    at: usize,
    next: u64,
}

/// How the file stands to the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileIs {
    /// As it was: it can be written.
    AsItWas,
    /// Changed by somebody else, and taken over, as nothing here was unsaved.
    TakenOver,
    /// Changed by somebody else while there is unsaved work here.
    Changed,
    /// Gone.
    Gone,
}

/// A plan that is being worked on.
#[derive(Debug)]
pub struct Draft {
    path: PathBuf,
    kept: Steps,
    /// Steps that were replaced a moment ago: a page may have sent something before it heard of that.
    replaced: VecDeque<Step>,
    /// The field that was edited last, and when.
    last: Option<(String, Instant)>,
    /// Whether the newest step is a file that somebody else changed.
    taken_over: bool,
}

impl Draft {
    /// Takes up the work on a plan: where it was left, else at the file.
    ///
    /// # Errors
    ///
    /// The plan cannot be read, or is too long to be one.
    pub fn open(path: &Path) -> Result<Draft> {
        // Before the plan itself: work on a file that is gone is still there.
        let kept = match kept(path) {
            Some(kept) => kept,
            None => Steps::new(short(path, read_text(path, "a plan in TOML")?)?),
        };
        Ok(Draft {
            path: path.to_owned(),
            kept,
            replaced: VecDeque::new(),
            last: None,
            taken_over: false,
        })
    }

    /// The plan as it is now.
    pub fn text(&self) -> &str {
        self.kept.steps.get(self.kept.at).map_or("", |s| &s.text)
    }

    /// The number of the step that counts.
    pub fn number(&self) -> u64 {
        self.kept.steps.get(self.kept.at).map_or(0, |s| s.number)
    }

    /// The plan as it was at a step, if that is still known.
    pub fn text_at(&self, number: u64) -> Option<&str> {
        let mut known = self.kept.steps.iter().chain(&self.replaced);
        let step = known.find(|s| s.number == number);
        step.map(|s| s.text.as_str())
    }

    /// The plan as it is now, and as it was at each step before, the nearest first.
    pub fn back(&self) -> impl Iterator<Item = &str> {
        let steps = self.kept.steps.iter().take(self.kept.at + 1);
        steps.rev().map(|step| step.text.as_str())
    }

    /// Whether there is something that the file does not have.
    pub fn unsaved(&self) -> bool {
        digest(self.text()) != self.kept.file_was
    }

    /// Whether there is a step before this one, and one after it.
    pub fn can(&self) -> [bool; 2] {
        [self.kept.at > 0, self.kept.at + 1 < self.kept.steps.len()]
    }

    /// Makes a step, and keeps it beside the plan. What follows soon in the same field belongs to it.
    ///
    /// # Errors
    ///
    /// The folder cannot be written to, or the text is too long.
    pub fn edit(&mut self, text: String, field: &str) -> Result<()> {
        // Pages send all their fields each time: what changes nothing is no step.
        if text == self.text() {
            return Ok(());
        }
        let text = short(&self.path, text)?;
        let now = Instant::now();
        let goes_on = self.last.as_ref().is_some_and(|(last, at)| {
            last == field && !field.is_empty() && now.duration_since(*at) < ONE_STEP
        });
        // The step before is replaced, so that one step back leads to before both.
        if goes_on && self.kept.at > 0 {
            self.kept.at -= 1;
            self.replaced.extend(self.kept.steps.pop());
            let over = self.replaced.len().saturating_sub(MOST_REPLACED);
            self.replaced.drain(..over);
        }
        self.kept.push(text);
        self.last = Some((field.to_owned(), now));
        self.keep()
    }

    /// Takes a step back, or forward again.
    ///
    /// # Errors
    ///
    /// The folder cannot be written to.
    pub fn step(&mut self, back: bool) -> Result<()> {
        let [before, after] = self.can();
        match back {
            true if before => self.kept.at -= 1,
            false if after => self.kept.at += 1,
            _ => return Ok(()),
        }
        // A step that was gone back to has a new number: pages that show another one are told.
        let number = self.kept.next;
        self.kept.next += 1;
        if let Some(step) = self.kept.steps.get_mut(self.kept.at) {
            step.number = number;
        }
        self.last = None;
        self.keep()
    }

    /// Looks at the file: whether somebody else changed it.
    ///
    /// # Errors
    ///
    /// It cannot be read.
    pub fn look(&mut self) -> Result<FileIs> {
        let text = match self.file()? {
            None => return Ok(FileIs::Gone),
            Some(text) => text,
        };
        // By what is in it: who saves a file as it was has changed nothing.
        let is = digest(&text);
        if is == self.kept.file_was {
            // Until something is done here: it may have been found by work, and is to be told on the page.
            return Ok(match self.taken_over {
                true => FileIs::TakenOver,
                false => FileIs::AsItWas,
            });
        }
        // Both sides may have come to the same text: there is nothing to lose then.
        let same = text == self.text();
        if self.unsaved() && !same {
            return Ok(FileIs::Changed);
        }
        self.take(text)?;
        self.taken_over = !same;
        Ok(match same {
            true => FileIs::AsItWas,
            false => FileIs::TakenOver,
        })
    }

    /// Takes the file as it is; what was here before is a step back.
    ///
    /// # Errors
    ///
    /// It cannot be read, or the folder cannot be written to.
    pub fn take_file(&mut self) -> Result<()> {
        let text = read_text(&self.path, "a plan in TOML")?;
        self.take(text)
    }

    /// Writes the file, if it is as it was.
    ///
    /// # Errors
    ///
    /// Somebody else changed it meanwhile, or it cannot be written.
    pub fn save(&mut self) -> Result<()> {
        match self.look()? {
            FileIs::Changed => Err(Error::CannotDo {
                why: format!("{} was changed by somebody else", name(&self.path)),
                remedy: "take that file, or save this under another name".into(),
            }),
            // Also where it is gone: to save it brings it back.
            _ => self.written(&self.path.clone()),
        }
    }

    /// Writes a new file, and leaves this one as it is.
    ///
    /// # Errors
    ///
    /// There is such a file or unsaved work of that name, or it cannot be written.
    pub fn save_as(&self, path: &Path) -> Result<()> {
        if path.exists() {
            return Err(Error::CannotDo {
                why: format!("{} is there already", name(path)),
                remedy: "give the name of a new file: plans are never overwritten".into(),
            });
        }
        // The new file would be taken for a change of that plan.
        if path != self.path && has_work(path) {
            return Err(Error::CannotDo {
                why: format!("there is unsaved work on a plan named {}", name(path)),
                remedy: "give another name, or open that plan from the list of plans".into(),
            });
        }
        write_atomically(path, self.text().as_bytes())
    }

    fn written(&mut self, path: &Path) -> Result<()> {
        write_atomically(path, self.text().as_bytes())?;
        self.kept.file_was = digest(self.text());
        // What is typed next is a step of its own: undo comes back to what was saved.
        self.last = None;
        self.keep()
    }

    fn take(&mut self, text: String) -> Result<()> {
        let text = short(&self.path, text)?;
        self.kept.file_was = digest(&text);
        if text != self.text() {
            self.kept.bury_undone();
            self.kept.push(text);
        }
        self.last = None;
        self.keep()
    }

    fn file(&self) -> Result<Option<String>> {
        match read_text(&self.path, "a plan in TOML") {
            Ok(text) => Ok(Some(text)),
            Err(Error::File { cause, .. }) if cause.kind() == ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    /// Writes the steps beside the plan; where the file has all, there is nothing to keep.
    fn keep(&mut self) -> Result<()> {
        // Whatever is done here comes after it.
        self.taken_over = false;
        let path = beside(&self.path);
        // The steps stay in memory, so what was saved can still be undone.
        if !self.unsaved() {
            // It may not be there.
            let _ = fs::remove_file(&path);
            return Ok(());
        }
        let bytes = serde_json::to_vec(&self.kept)
            .map_err(|cause| Error::file(&path, "write", cause.into()))?;
        write_atomically(&path, &bytes)
    }
}

impl Steps {
    fn new(text: String) -> Steps {
        // Numbers that an earlier run may have used are not used again.
        let first = std::time::SystemTime::now()
            .duration_since(std::time::UNIX_EPOCH)
            .map_or(1, |since| since.as_millis() as u64);
        Steps {
            file_was: digest(&text),
            steps: vec![Step {
                number: first,
                text,
            }],
            at: 0,
            next: first + 1,
        }
    }

    /// Puts what was undone before the step that counts: whoever comes to the next one by no doing of their own can
    /// still go back to it.
    fn bury_undone(&mut self) {
        let counts = self
            .steps
            .get(self.at)
            .filter(|_| self.at + 1 < self.steps.len());
        if let Some(text) = counts.map(|step| step.text.clone()) {
            self.at = self.steps.len() - 1;
            self.push(text);
        }
    }

    /// A step after the one that counts; those that were undone are gone.
    fn push(&mut self, text: String) {
        self.steps.truncate(self.at + 1);
        let number = self.next;
        self.next += 1;
        self.steps.push(Step { number, text });
        let over = self.steps.len().saturating_sub(MOST_STEPS);
        self.steps.drain(..over);
        self.at = self.steps.len() - 1;
    }
}

/// Whether there is work on a plan that its file does not have; the file itself may be gone.
pub fn has_work(path: &Path) -> bool {
    kept(path).is_some()
}

/// The work that is kept beside a plan. A file of steps that was damaged is as good as none.
fn kept(path: &Path) -> Option<Steps> {
    let bytes = read_bytes(&beside(path)).ok()?;
    let kept: Steps = serde_json::from_slice(&bytes).ok()?;
    (kept.at < kept.steps.len()).then_some(kept)
}

/// Where the steps of a plan are kept.
fn beside(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    // After the ending, not in place of it: no two files share their steps.
    name.push(".");
    name.push(ENDING);
    PathBuf::from(name)
}

fn short(path: &Path, text: String) -> Result<String> {
    match text.len() <= LONGEST {
        true => Ok(text),
        false => {
            let found = format!("{} bytes", text.len());
            let expected = format!("a plan of at most {LONGEST} bytes");
            Err(Fault::new(name(path), found, expected).into())
        }
    }
}

fn name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

fn digest(text: &str) -> String {
    let digest = Sha256::digest(text.as_bytes());
    digest.iter().map(|b| format!("{b:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.toml");
        fs::write(&path, "one").unwrap();
        (folder, path)
    }

    #[test]
    fn every_edit_can_be_undone_and_outlives_a_crash() {
        let (_folder, path) = plan();
        let mut draft = Draft::open(&path).unwrap();
        assert!(!draft.unsaved());
        draft.edit("two".into(), "").unwrap();
        draft.edit("three".into(), "").unwrap();
        drop(draft);
        let mut draft = Draft::open(&path).unwrap();
        assert_eq!((draft.text(), draft.unsaved()), ("three", true));
        draft.step(true).unwrap();
        draft.step(true).unwrap();
        draft.step(true).unwrap();
        assert_eq!((draft.text(), draft.can()), ("one", [false, true]));
        // The file has it: nothing is kept.
        assert!(!beside(&path).exists());
        draft.step(false).unwrap();
        assert_eq!(draft.text(), "two");
        draft.edit("four".into(), "").unwrap();
        assert_eq!(draft.can(), [true, false]);
        draft.save().unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "four");
        assert!(!beside(&path).exists());
        draft.step(true).unwrap();
        assert_eq!((draft.text(), draft.unsaved()), ("two", true));
    }

    #[test]
    fn typing_in_one_field_is_one_step() {
        let (_folder, path) = plan();
        let mut draft = Draft::open(&path).unwrap();
        for text in ["o", "of", "off"] {
            draft.edit(text.into(), "site.lat").unwrap();
        }
        draft.edit("off2".into(), "site.lon").unwrap();
        draft.step(true).unwrap();
        assert_eq!(draft.text(), "off");
        draft.step(true).unwrap();
        assert_eq!(draft.text(), "one");
    }

    #[test]
    fn a_file_changed_by_hand_is_never_overwritten() {
        let (_folder, path) = plan();
        let mut draft = Draft::open(&path).unwrap();
        // Nothing unsaved: the new file is taken, and what was there is a step back.
        fs::write(&path, "by hand").unwrap();
        assert_eq!(draft.look().unwrap(), FileIs::TakenOver);
        assert_eq!(draft.text(), "by hand");
        draft.step(true).unwrap();
        assert_eq!(draft.text(), "one");
        // Something unsaved: both stay.
        fs::write(&path, "by hand again").unwrap();
        assert_eq!(draft.look().unwrap(), FileIs::Changed);
        let error = draft.save().unwrap_err().to_string();
        assert!(error.contains("a.toml was changed"), "{error}");
        assert_eq!(fs::read_to_string(&path).unwrap(), "by hand again");
        let other = path.with_file_name("b.toml");
        draft.save_as(&other).unwrap();
        assert_eq!(fs::read_to_string(&other).unwrap(), "one");
        assert!(draft.save_as(&path).is_err());
        draft.take_file().unwrap();
        assert_eq!((draft.text(), draft.unsaved()), ("by hand again", false));
        fs::remove_file(&path).unwrap();
        assert_eq!(draft.look().unwrap(), FileIs::Gone);
        draft.save().unwrap();
        assert!(path.exists());
    }

    /// Undone as far as the file was, the work gives way to what somebody else wrote there, but is not lost.
    #[test]
    fn what_was_undone_outlives_a_file_that_is_taken_over() {
        let (_folder, path) = plan();
        let mut draft = Draft::open(&path).unwrap();
        draft.edit("mine".into(), "").unwrap();
        fs::write(&path, "by hand").unwrap();
        assert_eq!(draft.look().unwrap(), FileIs::Changed);
        draft.step(true).unwrap();
        assert_eq!(draft.look().unwrap(), FileIs::TakenOver);
        let mut seen = vec![draft.text().to_owned()];
        while draft.can()[0] {
            draft.step(true).unwrap();
            seen.push(draft.text().to_owned());
        }
        assert_eq!(seen, ["by hand", "one", "mine", "one"]);
    }

    #[test]
    fn a_broken_draft_is_passed_over_and_steps_are_bounded() {
        let (_folder, path) = plan();
        for broken in ["{", "{}", r#"{"file_was":"","steps":[],"at":3,"next":1}"#] {
            fs::write(beside(&path), broken).unwrap();
            assert_eq!(Draft::open(&path).unwrap().text(), "one", "{broken}");
        }
        let mut draft = Draft::open(&path).unwrap();
        for k in 0..(MOST_STEPS + 20) {
            draft.edit(format!("step {k}"), "").unwrap();
        }
        assert_eq!(draft.kept.steps.len(), MOST_STEPS);
        assert!(draft.edit("x".repeat(LONGEST + 1), "").is_err());
        assert!(draft.text_at(draft.number()).is_some());
        assert!(draft.text_at(0).is_none());
    }
}

//! What can go wrong, in words that say how to mend it.
//!
//! Two levels of failure: the small `Copy` enums of the hot loop live beside the code that
//! returns them; everything a person has to read is an [`Error`] from here.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// The result of anything that can fail with an [`Error`].
pub type Result<T> = std::result::Result<T, Error>;

/// Something that could not be done, with the context a person needs to mend it.
#[derive(Debug)]
#[non_exhaustive]
pub enum Error {
    /// The operating system refused a file.
    File {
        /// The file in question.
        path: PathBuf,
        /// What was being done, as in "read" or "write".
        doing: &'static str,
        /// The system's reason.
        cause: io::Error,
    },
    /// One or more faults in what the user wrote or gave, all that were found.
    Faults(Vec<Fault>),
    /// A flight needs winds that there are none of.
    NoWinds {
        /// In which respect.
        missing: Missing,
        /// What was needed.
        why: String,
        /// What would be right.
        remedy: String,
    },
    /// Something else stands in the way, as a stack that does not make a flight.
    CannotDo {
        /// Why not, with the numbers.
        why: String,
        /// What would be right.
        remedy: String,
    },
}

/// In which respect winds do not suffice for a flight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Missing {
    /// It leaves their region.
    Region,
    /// It leaves their hours.
    Hours,
}

/// One fault in an input: where it is, what was found, what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The file's name as the user gave it.
    pub file: String,
    /// The line, counted from 1, where one can be named.
    pub line: Option<usize>,
    /// The key, column or field, where one can be named.
    pub key: Option<String>,
    /// What stands there.
    pub found: String,
    /// What would be right.
    pub expected: String,
}

impl Fault {
    /// A fault of a whole file.
    pub fn new(
        file: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Self {
        Fault {
            file: file.into(),
            line: None,
            key: None,
            found: found.into(),
            expected: expected.into(),
        }
    }

    /// What is wrong with a text as TOML, at its line.
    pub fn of_toml(
        file: &str,
        text: &str,
        wrong: &toml::de::Error,
        expected: impl Into<String>,
    ) -> Self {
        let found = wrong.message().trim().replace('\n', ", ");
        let fault = Fault::new(file, found, expected);
        match wrong.span() {
            Some(span) => {
                // An end that comes too soon may be told of a place behind the text.
                let before = &text.as_bytes()[..span.start.min(text.len())];
                fault.at_line(1 + before.iter().filter(|&&b| b == b'\n').count())
            }
            None => fault,
        }
    }

    /// What is wrong with a text as JSON, at its line.
    pub fn of_json(
        file: impl Into<String>,
        wrong: &serde_json::Error,
        expected: impl Into<String>,
    ) -> Self {
        let text = wrong.to_string();
        // The parser's own words end in line and column, of which the line is told by itself.
        let found = match text.rsplit_once(" at line ") {
            _ if wrong.is_eof() => "its end too soon",
            _ if wrong.is_syntax() => "a text that is no JSON",
            Some((found, _)) => found,
            None => &text,
        };
        // The parser counts from 1 and says 0 where it has no place to name.
        Fault::new(file, found, expected).at_line(wrong.line().max(1))
    }

    /// The same fault, at a line counted from 1.
    #[must_use]
    pub fn at_line(mut self, line: usize) -> Self {
        self.line = Some(line);
        self
    }

    /// The same fault, of a key, column or field.
    #[must_use]
    pub fn of_key(mut self, key: impl Into<String>) -> Self {
        self.key = Some(key.into());
        self
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        if let Some(key) = &self.key {
            write!(f, ", {key}")?;
        }
        // Messages of other libraries begin so, too.
        let found = self.found.strip_prefix("found ").unwrap_or(&self.found);
        write!(f, ": found {found}; expected {}", self.expected)
    }
}

impl From<Fault> for Error {
    fn from(fault: Fault) -> Self {
        Error::Faults(vec![fault])
    }
}

impl Error {
    /// An [`Error::File`] for `path`.
    pub fn file(path: &Path, doing: &'static str, cause: io::Error) -> Self {
        Error::File {
            path: path.to_owned(),
            doing,
            cause,
        }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Error::File { path, doing, cause } => {
                write!(f, "cannot {doing} {}: {cause}", path.display())
            }
            Error::Faults(faults) => {
                for (i, fault) in faults.iter().enumerate() {
                    if i > 0 {
                        writeln!(f)?;
                    }
                    write!(f, "{fault}")?;
                }
                Ok(())
            }
            Error::NoWinds { why, remedy, .. } | Error::CannotDo { why, remedy } => {
                write!(f, "{why}; {remedy}")
            }
        }
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Error::File { cause, .. } => Some(cause),
            _ => None,
        }
    }
}

/// All values, or the faults of all that failed.
///
/// # Errors
///
/// Those faults; or the first other error.
pub fn all_or_faults<T>(results: Vec<Result<T>>) -> Result<Vec<T>> {
    let (mut values, mut faults) = (Vec::new(), Vec::new());
    for result in results {
        match result {
            Ok(value) => values.push(value),
            Err(Error::Faults(more)) => faults.extend(more),
            // What the system refuses is no fault in what was written, and would drown among these.
            Err(other) => return Err(other),
        }
    }
    match faults.is_empty() {
        true => Ok(values),
        false => Err(Error::Faults(faults)),
    }
}

//! What long work made, kept as answers so that it can be shown in other units at any time.

use super::flight::{Debriefed, Followed};
use crate::choice::answer::{Aim, Days, Sites};

/// What was made, and of which plan.
pub struct Made {
    /// The text of the plan it was made of.
    pub of: String,
    /// The answer.
    pub answer: Answer,
}

/// An answer.
pub enum Answer {
    /// Releases compared.
    Days(Box<Days>),
    /// Sites compared.
    Sites(Box<Sites>),
    /// Where to launch for a target.
    Aim(Box<Aim>),
    /// What there is to download: of which forecast, and how much.
    Looked(Looked),
    /// Files of winds that were downloaded, by their names in the folder.
    Fetched(Vec<String>),
    /// A flight that is followed, as it stands.
    Followed(Box<Followed>),
    /// A flight looked back on.
    Debriefed(Box<Debriefed>),
    /// Files of a briefing that were written, by their names in the folder.
    Written(Vec<String>),
}

/// What there is to download.
#[derive(Debug, Clone)]
pub struct Looked {
    /// The feed.
    pub feed: String,
    /// The first day that was asked for; may be empty.
    pub from: String,
    /// The last.
    pub to: String,
    /// The run.
    pub run: String,
    /// How many files.
    pub files: usize,
    /// How many bytes they have together.
    pub bytes: u64,
    /// Whom to name.
    pub attribution: String,
}

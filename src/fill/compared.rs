//! Published thresholds and the numbers of a stack, compared.

use serde::Serialize;

/// What is thought of a number. Never that something is allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The threshold is crossed.
    Above,
    /// It is not.
    Below,
    /// The plan, or the text, does not say enough.
    NotEnoughInformation,
}

impl Verdict {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Above => "above",
            Verdict::Below => "below",
            Verdict::NotEnoughInformation => "not enough information",
        }
    }
}

/// The thresholds of one body of rules.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rules {
    /// What they are.
    pub title: String,
    /// One line a threshold.
    pub lines: Vec<Compared>,
}

/// One threshold and the stack's number.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compared {
    /// What is compared.
    pub what: String,
    /// What is thought of it.
    pub verdict: Verdict,
    /// The number in SI, if known.
    pub number_si: Option<f64>,
    /// The number in people's units, if known.
    pub number: Option<String>,
    /// The threshold as published and in people's units.
    pub threshold: Option<String>,
    /// Of a notice: from and until when before the release, s.
    pub notice_s: [Option<f64>; 2],
    /// A word on the number; may be empty.
    pub remark: String,
    /// What the text says follows.
    pub means: String,
    /// Where it stands.
    pub citation: String,
    /// Where that was read.
    pub source: String,
    /// Of when.
    pub date: String,
    /// Whether the text itself was not read there.
    pub unverified: bool,
}

//! The winds that were read last: reading them anew for each key that is pressed would be waste.

use std::fs;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::SystemTime;

use jiff::Timestamp;

use super::state::locked;
use crate::error::Result;
use crate::plan::Plan;
use crate::winds::Winds;

/// A file as it is now: when it was written last, and how long it is.
pub type Stamped = (PathBuf, Option<(SystemTime, u64)>);

/// Files as they are now.
pub fn stamped<'a>(files: impl IntoIterator<Item = &'a PathBuf>) -> Vec<Stamped> {
    let now = |path: &PathBuf| {
        let data = fs::metadata(path).ok()?;
        Some((data.modified().ok()?, data.len()))
    };
    let files = files.into_iter();
    files.map(|path| (path.clone(), now(path))).collect()
}

/// What decides whether winds that were read are still those of a plan.
#[derive(Debug, Clone, PartialEq)]
struct Of {
    files: Vec<Stamped>,
    issued: Option<Timestamp>,
    member_per_file: bool,
}

/// The winds that were read last.
#[derive(Default)]
pub struct Air(Mutex<Option<(Of, Arc<Winds>)>>);

impl Air {
    /// The winds of a plan.
    ///
    /// # Errors
    ///
    /// As [`Winds::of_plan`].
    pub fn of(&self, plan: &Plan) -> Result<Arc<Winds>> {
        let of = Of {
            files: stamped(&plan.wind_files),
            issued: plan.wind_issued,
            member_per_file: plan.member_per_file,
        };
        if let Some((had, winds)) = &*locked(&self.0)
            && *had == of
        {
            return Ok(winds.clone());
        }
        let winds = Arc::new(Winds::of_plan(plan)?);
        *locked(&self.0) = Some((of, winds.clone()));
        Ok(winds)
    }
}

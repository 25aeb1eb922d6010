//! The plan of a command, and what it may read.

use std::path::{Path, PathBuf};

use clap::Args;

use windfall::error::Result;
use windfall::notes::Assumption;
use windfall::plan::Plan;

/// What a plan may read.
#[derive(Debug, Args)]
pub struct PlanFiles {
    /// Also reads files that the plan names outside its own folder.
    #[arg(long)]
    pub outside: bool,
}

impl PlanFiles {
    /// Reads a plan. A plan may come from anybody, so the files that it names are those below its own
    /// folder, unless more is allowed; then it is said which.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with the plan, and files outside of its folder where they are not allowed.
    pub fn read(&self, path: &Path) -> Result<Plan> {
        if !self.outside {
            return Plan::read_within_folder(path);
        }
        let mut plan = Plan::read(path)?;
        if plan.outside.is_empty() {
            return Ok(plan);
        }
        let files = plan.outside.clone();
        // Told like what options replace: the answer rests on files that the plan alone chose.
        plan.replaced.push(Assumption::ReadOutside { files });
        Ok(plan)
    }
}

/// Every file that a plan names, and the plan.
pub fn inputs(path: &Path, plan: &Plan) -> Vec<PathBuf> {
    let named = plan.files.iter().cloned();
    std::iter::once(path.to_owned()).chain(named).collect()
}

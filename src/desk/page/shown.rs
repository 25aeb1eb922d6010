//! What the page of a plan shows.

use std::sync::Arc;

use maud::Markup;

use crate::desk::drafts::FileIs;
use crate::desk::fields::Values;
use crate::desk::folder::{BRIEFING, Listing, ends_in};
use crate::desk::jobs::JobNow;
use crate::desk::live::{FieldFault, Live};
use crate::desk::made::Made;
use crate::desk::show::Take;
use crate::desk::state::View;
use crate::desk::words::Station;
use crate::plan::edit::PlanText;
use crate::units::UnitSystem;

/// Everything that the page of a plan shows.
pub struct PlanPage<'a> {
    /// The plan's name.
    pub name: &'a str,
    /// Its text.
    pub text: &'a str,
    /// The number of its step.
    pub step: u64,
    /// How its file stands to it.
    pub file: FileIs,
    /// Whether there is something unsaved.
    pub unsaved: bool,
    /// Whether there is a step back, and one forward.
    pub can: [bool; 2],
    /// What its fields show; none where it cannot be read.
    pub values: Option<(PlanText, Values)>,
    /// What is wrong with it.
    pub faults: Vec<FieldFault>,
    /// What follows from it; none where it takes longer.
    pub live: Option<Live>,
    /// The ground of the map; none where it takes longer.
    pub below: Option<Markup>,
    /// What long work made of it.
    pub made: Vec<(Station, Arc<Made>)>,
    /// The job that runs, or ran last.
    pub job: Option<JobNow>,
    /// Files of the folder.
    pub files: Listing,
    /// Names of forecasts, and what they are.
    pub feeds: Vec<(String, String)>,
    /// Units of the plan's page.
    pub units: UnitSystem,
    /// What its people read times and numbers in.
    pub view: View,
}

impl PlanPage<'_> {
    /// What buttons on it take into the plan.
    pub fn take(&self) -> Take<'_> {
        Take {
            plan: self.name,
            step: self.step,
        }
    }

    /// Files of the plan's folder with such an ending, but for those that a briefing wrote.
    pub fn files_ending_in(&self, endings: &[&str]) -> impl Iterator<Item = &str> {
        let folder = beside(self.name);
        let names = self.files.names.iter().map(String::as_str);
        names.filter(move |name| {
            name.starts_with(folder) && ends_in(name, endings) && !self.is_made(name, BRIEFING)
        })
    }

    /// Whether a file lies in the folder that the desk made for a plan, with this at the end of its name. Other folders
    /// may be called like it: the plan has to be there, too.
    pub fn is_made(&self, name: &str, ending: &str) -> bool {
        // Not those that the plan of this page is in itself.
        let own = beside(self.name).len();
        let folders = name.match_indices('/').filter(|(end, _)| *end >= own);
        let mut folders = folders.filter_map(|(end, _)| name.get(..end));
        folders.any(|folder| {
            let plan = folder
                .strip_suffix(ending)
                .map(|stem| format!("{stem}.toml"));
            plan.is_some_and(|plan| self.files.names.contains(&plan))
        })
    }
}

/// The folder of a plan, with its slash.
pub fn beside(name: &str) -> &str {
    name.rfind('/').map_or("", |at| &name[..=at])
}

//! What the desk knows while it runs.

use std::collections::{BTreeMap, HashMap};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use jiff::tz::TimeZone;
use tokio::sync::Notify;

use super::air::Air;
use super::door::Door;
use super::drafts::Draft;
use super::folder::Folder;
use super::jobs::Jobs;
use super::land::Land;
use super::made::Made;
use super::words::Station;
use crate::error::Result;
use crate::fetch::feed::Feeds;
use crate::plan::Plan;
use crate::units::UnitSystem;

/// Pages whose live results are told apart at most.
const MOST_PAGES: usize = 256;

/// How a desk is set up.
pub struct Settings {
    /// The folder with the plans.
    pub folder: PathBuf,
    /// Forecasts that can be downloaded.
    pub feeds: Feeds,
    /// How long it waits without a page before it stops.
    pub idle: Duration,
}

/// What people read times and numbers in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct View {
    /// Units in place of the plan's.
    pub units: Option<UnitSystem>,
    /// Times in UTC in place of the plan's time zone.
    pub utc: bool,
}

impl View {
    /// The units of a plan's page.
    pub fn units_of(self, plan: &Plan) -> UnitSystem {
        let planned = UnitSystem::of(plan.us_units.unwrap_or(false));
        self.units.unwrap_or(planned)
    }

    /// The clocks that times are shown by. Whatever is computed, read or written for others keeps the plan's own.
    pub fn clocks(self, own: &TimeZone) -> TimeZone {
        match self.utc {
            true => TimeZone::UTC,
            false => own.clone(),
        }
    }
}

/// A desk.
pub struct Desk {
    /// Who is let in.
    pub door: Door,
    /// The files.
    pub folder: Folder,
    /// Forecasts that can be downloaded.
    pub feeds: Feeds,
    /// Long work.
    pub jobs: Jobs,
    /// The winds that were read last.
    pub air: Air,
    /// The ground that was drawn last.
    pub land: Land,
    view: Mutex<View>,
    drafts: Mutex<BTreeMap<String, Draft>>,
    made: Mutex<HashMap<(String, Station), Arc<Made>>>,
    newest: Mutex<HashMap<String, Arc<AtomicU64>>>,
    idle: Duration,
    looked: Mutex<Instant>,
    closed: AtomicBool,
    close: Notify,
}

/// What a lock guards, also after somebody unwound with it: it is whole after each statement.
pub fn locked<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The number of a page's newest question, kept for as many pages as may be.
fn of_page(newest: &mut HashMap<String, Arc<AtomicU64>>, page: &str) -> Arc<AtomicU64> {
    if newest.len() >= MOST_PAGES && !newest.contains_key(page) {
        // Pages that are closed tell nobody. Where a question is worked on its number stays, or a newer one
        // could not make it idle.
        newest.retain(|_, number| Arc::strong_count(number) > 1);
    }
    newest.entry(page.to_owned()).or_default().clone()
}

impl Desk {
    /// A desk over a folder.
    ///
    /// # Errors
    ///
    /// There is no such folder.
    pub fn new(settings: Settings, door: Door) -> Result<Desk> {
        Ok(Desk {
            door,
            folder: Folder::open(&settings.folder)?,
            feeds: settings.feeds,
            jobs: Jobs::default(),
            air: Air::default(),
            land: Land::default(),
            view: Mutex::default(),
            drafts: Mutex::default(),
            made: Mutex::default(),
            newest: Mutex::default(),
            idle: settings.idle,
            looked: Mutex::new(Instant::now()),
            closed: AtomicBool::new(false),
            close: Notify::new(),
        })
    }

    /// How things are shown.
    pub fn view(&self) -> View {
        *locked(&self.view)
    }

    /// Shows things otherwise from now on.
    pub fn set_view(&self, view: View) {
        *locked(&self.view) = view;
    }

    /// Does something with the draft of a plan of the folder.
    ///
    /// # Errors
    ///
    /// There is no such plan, or what `with` gives.
    pub fn with_draft<T>(
        &self,
        name: &str,
        with: impl FnOnce(&mut Draft) -> Result<T>,
    ) -> Result<T> {
        let path = self.folder.path(name)?;
        // Held while files are read and written, too, so that two steps of a plan never cross.
        let mut drafts = locked(&self.drafts);
        if !drafts.contains_key(name) {
            drafts.insert(name.to_owned(), Draft::open(&path)?);
        }
        let draft = drafts.get_mut(name).ok_or_else(super::gone)?;
        let done = with(draft);
        // Whether it worked or not: to look at the file may have made a step already.
        self.jobs.plan_is_at(name, draft.number());
        done
    }

    /// The text of a plan as it is now and the number of its step; what was changed by hand is taken over first.
    ///
    /// # Errors
    ///
    /// There is no such plan, or its file cannot be read.
    pub fn text_now(&self, name: &str) -> Result<(String, u64)> {
        self.with_draft(name, |draft| {
            draft.look()?;
            Ok((draft.text().to_owned(), draft.number()))
        })
    }

    /// What was made of a plan at a station.
    pub fn made(&self, plan: &str, station: Station) -> Option<Arc<Made>> {
        locked(&self.made).get(&(plan.to_owned(), station)).cloned()
    }

    /// Keeps what was made of a plan at a station.
    pub fn keep(&self, plan: &str, station: Station, made: Made) {
        let key = (plan.to_owned(), station);
        locked(&self.made).insert(key, Arc::new(made));
    }

    /// Whether a newer question of the same page makes this one idle; called again and again while it is worked
    /// on.
    pub fn asked(&self, page: &str, number: u64) -> impl Fn() -> bool + Send + Sync + use<> {
        let of_page = of_page(&mut locked(&self.newest), page);
        // Questions may arrive in another order than they were asked in.
        of_page.fetch_max(number, Ordering::Relaxed);
        move || of_page.load(Ordering::Relaxed) > number
    }

    /// Somebody looks.
    pub fn seen(&self, now: Instant) {
        *locked(&self.looked) = now;
    }

    /// Closes the desk.
    pub fn close(&self) {
        self.closed.store(true, Ordering::Relaxed);
        // Kept for whoever waits next, where nobody waits just now.
        self.close.notify_one();
    }

    /// Waits until the desk is closed, or nobody has looked for long.
    pub async fn until_stopped(&self) {
        loop {
            let unseen = locked(&self.looked).elapsed();
            let left = self.idle.saturating_sub(unseen);
            let busy = self.jobs.heard() || self.jobs.runs();
            let wait = match (left.is_zero(), busy) {
                (true, false) => return,
                // A page that listens, or work that goes on: look again later.
                (true, true) => self.idle,
                _ => left,
            };
            let closed = tokio::time::timeout(wait, self.close.notified()).await;
            if closed.is_ok() && self.closed.load(Ordering::Relaxed) {
                // The answer to who closed it goes out first.
                tokio::time::sleep(Duration::from_millis(300)).await;
                return;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_question_that_is_worked_on_hears_of_newer_ones_of_its_page() {
        let mut newest = HashMap::new();
        let worked_on = of_page(&mut newest, "open");
        for k in 0..3 * MOST_PAGES {
            of_page(&mut newest, &format!("closed {k}"));
        }
        assert!(newest.len() <= MOST_PAGES, "{}", newest.len());
        of_page(&mut newest, "open").fetch_max(2, Ordering::Relaxed);
        assert_eq!(worked_on.load(Ordering::Relaxed), 2);
    }
}

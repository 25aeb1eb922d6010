//! When the view of a flight that is followed is due again.

use std::time::{Duration, Instant};

/// Time between two views where nothing is heard.
const EVERY: Duration = Duration::from_secs(10);
/// Time between two views at least.
const AT_MOST: Duration = Duration::from_secs(1);

/// Views of a flight: soon where something is new, and now and then where nothing is.
#[derive(Debug, Default)]
pub struct Views {
    last: Option<Instant>,
    news: bool,
}

impl Views {
    /// Something new was heard, or nothing.
    pub fn heard(&mut self, news: bool) {
        self.news |= news;
    }

    /// Whether a view is due.
    pub fn are_due(&self) -> bool {
        let since = self.last.map_or(EVERY, |at| at.elapsed());
        since >= EVERY || (self.news && since >= AT_MOST)
    }

    /// A view is shown now; whether there is something new in it.
    pub fn show(&mut self) -> bool {
        self.last = Some(Instant::now());
        std::mem::take(&mut self.news)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn news_are_shown_after_a_second_and_nothing_after_ten() {
        let ago = |s| Instant::now().checked_sub(Duration::from_secs(s));
        let mut views = Views::default();
        assert!(views.are_due());
        views.heard(true);
        views.heard(false);
        assert!(views.show());
        views.heard(true);
        assert!(!views.are_due());
        views.last = ago(2);
        assert!(views.are_due());
        assert!(views.show() && !views.show());
        views.last = ago(2);
        assert!(!views.are_due());
        views.last = ago(11);
        assert!(views.are_due());
    }
}

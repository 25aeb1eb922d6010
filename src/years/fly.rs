//! The work itself: day after day, each in winds that are decoded once for all fields and draws.

use std::ops::Range;

use jiff::{SignedDuration, Timestamp};
use rayon::prelude::*;

use super::cells::CellCounts;
use super::job::{DayReleases, Job, LaunchField};
use super::long_record::Opened;
use super::parts::Part;
use super::release::Release;
use crate::choice::judge::Judge;
use crate::clock::after;
use crate::clock::local::day_begins;
use crate::error::Result;
use crate::geodesy::lattice::Window;
use crate::sources::grid::archive::Archive;
use crate::winds::Winds;
use crate::zone::releases::{FlownIn, TriedRelease, fly_releases};

/// A region of no more points than these is decoded whole.
const FEW_POINTS: usize = 4_096;
/// Flights begin to need winds so long before a release, h ...
const BEFORE_H: i64 = 2;
/// ... and the winds at the ground are looked at so long after it, h.
const AFTER_H: i64 = 3;
/// Files are held open for a month, and for those hours before and after it that its first and last
/// releases may need: a gap between times is never longer than the first.
const EARLY_H: i64 = 9;
const LATE_H: i64 = 36;

/// What came of a day from a field.
type OfField = (Vec<Release>, CellCounts);

impl Job {
    /// Does a run of units. `done` is called after each unit, with the number of its releases.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with the files of the winds; what is wrong with one release is kept with it.
    pub fn fly(&self, units: Range<usize>, done: impl Fn(usize) + Sync) -> Result<Part> {
        let judges = self.judges()?;
        let fields = self.fields.len();
        let mut part = Part::empty(&self.digest, units.clone());
        let mut opened: Option<Opened> = None;
        let mut at = units.start;
        while at < units.end {
            let (day, first) = (at / fields, at % fields);
            // A run of units may begin and end within a day.
            let last = (units.end - day * fields).min(fields);
            // What was open the day before is handed on: most of its files serve again.
            opened = self.open(&self.days[day], opened.take())?;
            let flown: Vec<Result<OfField>> = (first..last)
                .into_par_iter()
                .map(|field| {
                    let flown = self.fly_day(&judges, field, &self.days[day], opened.as_ref());
                    done(self.days[day].times.len());
                    flown
                })
                .collect();
            for flown in flown {
                let (releases, cells) = flown?;
                part.releases.extend(releases);
                // In the order of the fields, whichever was done first.
                part.cells = std::mem::take(&mut part.cells).with(cells);
            }
            at = day * fields + last;
        }
        part.values_decoded = opened.map_or(0, |opened| opened.values_decoded());
        Ok(part)
    }

    /// One for each of the grounds.
    fn judges(&self) -> Result<Vec<Judge<'_>>> {
        // The fields differ in their sites alone, which are given release by release.
        let plan = &self.fields[0].plan;
        let judges = self.grounds.iter().map(|ground| {
            let judge = Judge::new(plan, &ground.map, &[], self.limits)?;
            Ok(judge.without_names())
        });
        judges.collect()
    }

    /// The winds of a day, with what its flights need decoded.
    fn open(&self, day: &DayReleases, before: Option<Opened>) -> Result<Option<Opened>> {
        let (first, last) = (day.times[0], day.times[day.times.len() - 1]);
        let span = [hours_after(first, -BEFORE_H), hours_after(last, AFTER_H)];
        let month = [day.date.first_of_month(), day.date.last_of_month()];
        let zone = &self.fields[0].plan.timezone;
        let moment = |date: jiff::civil::Date, hours: i64, otherwise: Timestamp| {
            let midnight = day_begins(date, zone);
            midnight.map_or(otherwise, |midnight| hours_after(midnight, hours))
        };
        let files = [
            moment(month[0], -EARLY_H, span[0]).min(span[0]),
            moment(month[1], 24 + LATE_H, span[1]).max(span[1]),
        ];
        let mut opened = self.record.open(span, files, before)?;
        if let Some(Opened {
            winds: Winds::Forecast(archive),
            ..
        }) = &mut opened
        {
            let to = after(last, self.around.late_s).max(span[1]);
            let steps = archive.steps_around(span[0], to);
            let window = self.window(archive)?;
            // Once for all fields and draws; what the next day needs, too, is handed on.
            archive.keep(window, steps)?;
        }
        Ok(opened)
    }

    /// What is decoded of each time: all of a small region, else as far as flights go.
    fn window(&self, archive: &Archive) -> Result<Window> {
        let whole = archive.lattice.whole();
        match whole.rows * whole.columns <= FEW_POINTS {
            true => Ok(whole),
            false => archive
                .lattice
                .around(self.around.middle, self.around.reach_m),
        }
    }

    fn fly_day(
        &self,
        judges: &[Judge],
        field: usize,
        day: &DayReleases,
        opened: Option<&Opened>,
    ) -> Result<OfField> {
        let options = self.asked.options;
        let mut cells = CellCounts::default();
        let Some(opened) = opened else {
            // A day without winds keeps its releases: they count as unknown, not as if they were
            // none.
            let none = |&at: &Timestamp| Release::without_winds(field, at, options.draws);
            return Ok((day.times.iter().map(none).collect(), cells));
        };
        let LaunchField { plan, ground, .. } = &self.fields[field];
        let (judge, ground) = (&judges[*ground], &self.grounds[*ground]);
        let flown_in = FlownIn {
            winds: &opened.winds,
            ground: ground.heights.as_ref(),
            low_m: ground.low_m,
        };
        let all = fly_releases(plan, flown_in, &day.times, options, || {})?;
        let judged = all.iter().map(|tried: &TriedRelease| {
            let row = judge.row(plan.site.position, tried)?;
            let release = Release::of(field, tried, &row, options.draws);
            if let Ok(flown) = &tried.1 {
                cells.add(&self.grid, field, &flown.landings, release.is_usable());
            }
            Ok(release)
        });
        let releases = judged.collect::<Result<Vec<Release>>>()?;
        Ok((releases, cells))
    }
}

fn hours_after(time: Timestamp, hours: i64) -> Timestamp {
    time.checked_add(SignedDuration::from_hours(hours))
        .unwrap_or(time)
}

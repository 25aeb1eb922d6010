//! From releases to the answer: counted by month and hour, bounded by what is unknown.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::answer::{
    BetweenYears, Bounds, CellShare, Counts, Drift, FieldYears, HitShare, Hour, SECTORS, Season,
    Sector, Years,
};
use super::cells::CellCounts;
use super::full::full_years;
use super::job::Job;
use super::parts::Part;
use super::release::{Decides, Numbers, Release, Unknown};
use super::waits::{DayState, OfDay, wait, weeks};
use crate::choice::answer::Verdict;
use crate::choice::ground::buffers;
use crate::choice::judge::hazards;
use crate::files::name_of;
use crate::ground::hits::hits;
use crate::numeric::quantile;
use crate::random::SplitMix;

/// Samples of the years.
const SAMPLES: u64 = 2_000;
/// Fewer years than these tell nothing of what lies between them.
const LEAST_YEARS: usize = 3;

/// A release with its time on the plan's clock.
#[derive(Clone, Copy)]
struct Dated<'a> {
    release: &'a Release,
    date: Date,
    clock_s: i64,
}

/// The answer from all releases of a work.
pub fn years(job: &Job, whole: &Part) -> Years {
    let zone = &job.basis.timezone;
    let mut of_field: Vec<Vec<Dated>> = job.fields.iter().map(|_| Vec::new()).collect();
    for release in &whole.releases {
        let local = zone.to_datetime(release.at());
        let clock_s = i64::from(local.hour()) * 3_600 + i64::from(local.minute()) * 60;
        // Parts are read from files, which may name a field that there is not.
        if let Some(all) = of_field.get_mut(release.field) {
            all.push(Dated {
                release,
                date: local.date(),
                clock_s,
            });
        }
    }
    let mut fields: Vec<FieldYears> = of_field
        .iter()
        .enumerate()
        .map(|(number, all)| field(job, number, all, &whole.cells))
        .collect();
    rank(&mut fields, job.asked.into.is_some());
    let dates: BTreeSet<Date> = job.days.iter().map(|day| day.date).collect();
    let full = full_years(dates.iter().copied());
    let none = Date::constant(1970, 1, 1);
    Years {
        basis: job.basis.clone(),
        work: job.digest.clone(),
        days: [dates.first(), dates.last()].map(|date| date.copied().unwrap_or(none)),
        day_count: job.days.len(),
        year_count: full.len(),
        other_days: dates.iter().filter(|d| !full.contains(&d.year())).count(),
        releases: job.releases(),
        of_soundings: job.record.is_of_soundings(),
        files: job.record.files,
        times: job.record.times(),
        into: job.asked.into.as_ref().map(name_of),
        fields,
    }
}

/// The best first: with a target by how often flights come down in it, else by how many days are within
/// the limits; what is unknown counts against a field.
fn rank(fields: &mut [FieldYears], has_target: bool) {
    let key = |field: &FieldYears| match (has_target, field.into) {
        (true, Some(into)) => into.at_least,
        _ => field.year.usable_days.at_least,
    };
    let second = |field: &FieldYears| field.year.usable.at_least;
    fields.sort_by(|a, b| {
        key(b)
            .total_cmp(&key(a))
            .then(second(b).total_cmp(&second(a)))
    });
    for (place, field) in fields.iter_mut().enumerate() {
        field.rank = place + 1;
    }
}

fn field(job: &Job, number: usize, all: &[Dated], cells: &CellCounts) -> FieldYears {
    let draws = job.asked.options.draws;
    let flights = draws.saturating_mul(all.len() as u64);
    let of_flights = |count: u64| count as f64 / flights.max(1) as f64;
    let sum = |of: fn(&Release) -> u64| {
        let each = all.iter().map(|d| of(d.release));
        each.fold(0, u64::saturating_add)
    };
    let share = |of: &dyn Fn(&Numbers) -> Option<f64>| {
        let told = all.iter().map(|d| {
            let share = d.release.numbers.as_ref().and_then(of);
            (share, d.release.landed)
        });
        share_of(told, flights)
    };
    let is_known = |of: &dyn Fn(&Numbers) -> Option<f64>| {
        let numbers = |d: &Dated| d.release.numbers.as_ref().and_then(of);
        all.iter().any(|d| numbers(d).is_some())
    };
    // Of no landings: only for names, distances and what is known of each.
    let known_hazards = hazards(&hits(
        &job.grounds[job.fields[number].ground].map,
        &buffers(&job.fields[number].plan.ground),
        &[],
    ));
    let numbered = known_hazards.into_iter().enumerate();
    let of_hazard = numbered.filter_map(|(i, hazard)| {
        let of = move |n: &Numbers| n.hits.get(i).copied().flatten();
        is_known(&of).then(|| HitShare {
            share: share(&of),
            name: hazard.name,
            within_m: hazard.within_m,
            coarse: hazard.coarse,
            to_keep_clear_of: hazard.to_keep_clear_of,
        })
    });
    let months: BTreeSet<i8> = all.iter().map(|d| d.date.month()).collect();
    let of_month = |month: i8| {
        let these: Vec<Dated> = all
            .iter()
            .copied()
            .filter(|d| d.date.month() == month)
            .collect();
        season(job, Some(month), &these, all)
    };
    FieldYears {
        name: job.fields[number].name.clone(),
        position: job.fields[number].plan.site.position,
        rank: 0,
        year: season(job, None, all, all),
        months: months.into_iter().map(of_month).collect(),
        flights,
        left_region: of_flights(sum(|r| r.left_region)),
        left_hours: of_flights(sum(|r| r.left_hours)),
        into: is_known(&|n| n.land_in).then(|| share(&|n| n.land_in)),
        water: share(&|n| Some(n.water)),
        hits: of_hazard.collect(),
        cells: cell_shares(job, number, all, cells),
    }
}

/// A month's releases, or all; waits and weeks look at the days of all.
fn season(job: &Job, month: Option<i8>, these: &[Dated], all: &[Dated]) -> Season {
    let counts = counts(these);
    let days = days(all);
    let of_month = |day: &&OfDay| month.is_none_or(|month| day.date.month() == month);
    let here: Vec<&OfDay> = days.iter().filter(of_month).collect();
    let hours: BTreeSet<i64> = these.iter().map(|d| d.clock_s).collect();
    let hour = |at_s: i64| {
        let then: Vec<Dated> = these
            .iter()
            .copied()
            .filter(|d| d.clock_s == at_s)
            .collect();
        let counts = self::counts(&then);
        Hour {
            at_s,
            usable: usable(&counts),
            counts,
        }
    };
    let state = |state: DayState| here.iter().filter(|day| day.state == state).count();
    let of_days = |count: usize| count as f64 / here.len().max(1) as f64;
    let sure = state(DayState::Usable);
    Season {
        month,
        usable: usable(&counts),
        counts,
        usable_days: Bounds {
            at_least: of_days(sure),
            at_most: of_days(sure + state(DayState::Unknown)),
        },
        between_years: between_years(job.asked.options.seed, month, these),
        hours: hours.into_iter().map(hour).collect(),
        drift: drift(these),
        weeks: weeks(&days, month),
        wait: wait(&days, month),
    }
}

/// Each day by its best release.
fn days(all: &[Dated]) -> Vec<OfDay> {
    let mut days: BTreeMap<Date, DayState> = BTreeMap::new();
    for dated in all {
        let state = days.entry(dated.date).or_insert(DayState::Beyond);
        if dated.release.is_usable() {
            *state = DayState::Usable;
        } else if dated.release.is_unknown() && *state == DayState::Beyond {
            *state = DayState::Unknown;
        }
    }
    let of_day = |(date, state)| OfDay { date, state };
    days.into_iter().map(of_day).collect()
}

fn counts(these: &[Dated]) -> Counts {
    let all = || these.iter().map(|d| d.release);
    let of = |verdict: Verdict| all().filter(|r| r.verdict == verdict).count();
    let is_beyond = |r: &&Release| r.verdict == Verdict::BeyondLimit;
    let some = |count: usize| count > 0;
    let decided = Decides::ALL.map(|limit| {
        let decided = |r: &&Release| r.decides == Some(limit);
        (limit, all().filter(is_beyond).filter(decided).count())
    });
    let broken = Decides::ALL.map(|limit| {
        let broken = |r: &&Release| r.broken.contains(&limit);
        (limit, all().filter(is_beyond).filter(broken).count())
    });
    let unknown = Unknown::ALL.map(|why| (why, all().filter(|r| r.unknown == Some(why)).count()));
    Counts {
        releases: these.len(),
        within: of(Verdict::WithinLimits),
        near: of(Verdict::NearLimit),
        beyond: of(Verdict::BeyondLimit),
        unknown: of(Verdict::Unknown),
        decided: decided.into_iter().filter(|d| some(d.1)).collect(),
        broken: broken.into_iter().filter(|b| some(b.1)).collect(),
        why_unknown: unknown.into_iter().filter(|u| some(u.1)).collect(),
    }
}

fn usable(counts: &Counts) -> Bounds {
    let of_all = |count: usize| count as f64 / counts.releases.max(1) as f64;
    let sure = counts.within + counts.near;
    Bounds {
        at_least: of_all(sure),
        at_most: of_all(sure + counts.unknown),
    }
}

/// The share of flights of which releases tell a share each, with how many of theirs came down.
fn share_of(told: impl Iterator<Item = (Option<f64>, u64)>, flights: u64) -> Bounds {
    let (mut hits, mut known) = (0.0, 0_u64);
    for (share, landed) in told {
        let Some(share) = share else { continue };
        // Shares are of the draws that came down, so each release counts by these.
        hits += share * landed as f64;
        known = known.saturating_add(landed);
    }
    let of = flights.max(1) as f64;
    // Parts are files, which may say that more came down than were flown.
    let missing = flights - known.min(flights);
    Bounds {
        at_least: hits / of,
        // What did not come down, or where nothing is known, might have hit all the same.
        at_most: ((hits + missing as f64) / of).min(1.0),
    }
}

/// Releases of a year.
#[derive(Clone, Copy, Default)]
struct OfYear {
    usable: usize,
    unknown: usize,
    all: usize,
}

impl OfYear {
    fn with(self, other: OfYear) -> OfYear {
        OfYear {
            usable: self.usable + other.usable,
            unknown: self.unknown + other.unknown,
            all: self.all + other.all,
        }
    }

    /// The share within the limits, at least and at most.
    fn shares(self) -> [f64; 2] {
        [self.usable, self.usable + self.unknown].map(|count| count as f64 / self.all.max(1) as f64)
    }
}

/// The share of each full year, and what other years might have given: years are drawn with replacement
/// (bootstrap, Efron 1979, doi:10.1214/aos/1176344552), whole, because days of a year are alike.
fn between_years(seed: u64, month: Option<i8>, these: &[Dated]) -> Option<BetweenYears> {
    let of_year = by_year(these);
    let shares = |(year, n): (&i16, &OfYear)| (*year, n.shares()[0]);
    let years: Vec<(i16, f64)> = of_year.iter().map(shares).collect();
    if years.len() < LEAST_YEARS {
        return None;
    }
    let count = years.len();
    let mean = years.iter().map(|y| y.1).sum::<f64>() / count as f64;
    let squares: f64 = years.iter().map(|y| (y.1 - mean).powi(2)).sum();
    let numbers: Vec<OfYear> = of_year.into_values().collect();
    let sample = |index: u64| {
        // Room for twelve months and the year: no two of them draw the same samples.
        let mut stream = SplitMix::stream(seed, index * 16 + month.unwrap_or(0) as u64);
        // The remainder of 64 bits favours no year by more than a part in 10^17.
        let drawn = (0..count).map(|_| numbers[(stream.next_u64() % count as u64) as usize]);
        drawn.fold(OfYear::default(), OfYear::with).shares()
    };
    let samples: Vec<[f64; 2]> = (0..SAMPLES).map(sample).collect();
    let bound = |which: usize, p: f64| {
        let mut all: Vec<f64> = samples.iter().map(|shares| shares[which]).collect();
        all.sort_by(f64::total_cmp);
        quantile(&all, p).unwrap_or(0.0)
    };
    Some(BetweenYears {
        // One less, as the mean is of the same years.
        deviation: (squares / (count - 1) as f64).sqrt(),
        // What is unknown widens it to both sides.
        interval: [bound(0, 0.05), bound(1, 0.95)],
        years,
    })
}

/// The releases of each full year.
fn by_year(these: &[Dated]) -> BTreeMap<i16, OfYear> {
    let full = full_years(these.iter().map(|d| d.date));
    let mut of_year: BTreeMap<i16, OfYear> = BTreeMap::new();
    for dated in these.iter().filter(|d| full.contains(&d.date.year())) {
        let so_far = of_year.entry(dated.date.year()).or_default();
        *so_far = so_far.with(OfYear {
            usable: usize::from(dated.release.is_usable()),
            unknown: usize::from(dated.release.is_unknown()),
            all: 1,
        });
    }
    of_year
}

fn drift(these: &[Dated]) -> Option<Drift> {
    // Without releases of which too many draws left the winds: those drifts may be longer than told.
    let sure = these.iter().filter(|d| !d.release.is_unknown());
    let known: Vec<(Numbers, bool)> = sure
        .filter_map(|d| Some((d.release.numbers.clone()?, d.release.is_usable())))
        .collect();
    if known.is_empty() {
        return None;
    }
    let mut drifts: Vec<f64> = known.iter().map(|(n, _)| n.drift_m).collect();
    drifts.sort_by(f64::total_cmp);
    let unknown = these.iter().filter(|d| d.release.is_unknown()).count();
    let far = |p: f64| quantile(&drifts, p).unwrap_or(0.0);
    // What is unknown stands before all that is known, or after it.
    let between = |p: f64| {
        let at = (p * (these.len() - 1) as f64).round() as usize;
        let low = at
            .checked_sub(unknown)
            .map_or(Some(0.0), |i| drifts.get(i).copied());
        [low, drifts.get(at).copied()]
    };
    let (mut east_m, mut north_m) = (0.0, 0.0);
    for (n, _) in &known {
        let azimuth = n.azimuth_deg.to_radians();
        east_m += n.drift_m * azimuth.sin() / known.len() as f64;
        north_m += n.drift_m * azimuth.cos() / known.len() as f64;
    }
    Some(Drift {
        known: known.len(),
        median_m: far(0.5),
        most_m: far(0.9),
        median_between_m: between(0.5),
        most_between_m: between(0.9),
        mean_azimuth_deg: f64::atan2(east_m, north_m).to_degrees().rem_euclid(360.0),
        mean_m: east_m.hypot(north_m),
        rose: rose(&known),
    })
}

/// The sector of a direction, from north on.
fn sector(azimuth_deg: f64) -> usize {
    (azimuth_deg / (360.0 / SECTORS as f64)).round() as usize % SECTORS
}

fn rose(known: &[(Numbers, bool)]) -> Vec<Sector> {
    let of_all = |count: usize| count as f64 / known.len() as f64;
    let sectors = (0..SECTORS).map(|number| {
        let there = || {
            known
                .iter()
                .filter(|(n, _)| sector(n.azimuth_deg) == number)
        };
        let mut drifts: Vec<f64> = there().map(|(n, _)| n.drift_m).collect();
        drifts.sort_by(f64::total_cmp);
        Sector {
            share: of_all(drifts.len()),
            usable_share: of_all(there().filter(|(_, usable)| *usable).count()),
            median_m: quantile(&drifts, 0.5).unwrap_or(0.0),
        }
    });
    sectors.collect()
}

fn cell_shares(job: &Job, field: usize, all: &[Dated], cells: &CellCounts) -> Vec<CellShare> {
    let draws = job.asked.options.draws;
    let usable = all.iter().filter(|d| d.release.is_usable()).count() as u64;
    let of = |count: u64, releases: u64| count as f64 / (releases * draws).max(1) as f64;
    let here = cells
        .0
        // Cells are ordered by field first, so those of one lie together.
        .range((field, [i32::MIN; 2])..=(field, [i32::MAX; 2]));
    let mut shares: Vec<CellShare> = here
        .map(|(&(_, cell), count)| CellShare {
            cell,
            bounds_deg: job.grid.bounds(cell),
            share: of(count.all, all.len() as u64),
            usable_share: of(count.usable, usable),
        })
        .collect();
    shares.sort_by(|a, b| b.share.total_cmp(&a.share).then(a.cell.cmp(&b.cell)));
    shares
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::{Timestamp, ToSpan};

    /// The interval of a release a day of some years, of which so many days there are.
    fn interval(release: &Release, years: &[(i16, usize)]) -> Option<[f64; 2]> {
        let dates = years.iter().flat_map(|&(year, days)| {
            let all = Date::constant(year, 1, 1).series(1.day());
            all.take(days)
        });
        let these: Vec<Dated> = dates
            .map(|date| Dated {
                release,
                date,
                clock_s: 0,
            })
            .collect();
        Some(between_years(1, None, &these)?.interval)
    }

    #[test]
    fn two_years_and_a_day_are_no_three_years() {
        let unknown = Release::without_winds(0, Timestamp::UNIX_EPOCH, 10);
        let two = [(2018, 365), (2019, 365), (2020, 1)];
        assert_eq!(interval(&unknown, &two), None);
        let three = [(2017, 300), (2018, 365), (2019, 365), (2020, 1)];
        // Of what is unknown nothing is sure: neither that it was within the limits nor that it was not.
        assert_eq!(interval(&unknown, &three), Some([0.0, 1.0]));
    }

    #[test]
    fn flights_of_which_nothing_is_known_may_have_hit() {
        // A tenth of 100 hit; of 100 nothing is known; 50 did not come down.
        let told = [(Some(0.1), 100), (None, 100), (None, 0)];
        let bounds = share_of(told.into_iter(), 250);
        assert_eq!([bounds.at_least, bounds.at_most], [0.04, 0.64]);
    }
}

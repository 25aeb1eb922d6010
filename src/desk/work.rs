//! Long work of the page: days, sites, targets, downloads, the briefing.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use jiff::{Timestamp, civil};

use super::fields::Values;
use super::flight::{debrief, follow};
use super::folder::{BRIEFING, beside, folder_of, made_for};
use super::jobs::Work;
use super::live::parsed;
use super::made::{Answer, Looked, Made};
use super::state::Desk;
use super::words::{self, Station};
use crate::brief::brief;
use crate::choice::aim::{Allowed, aim};
use crate::choice::candidates;
use crate::choice::days::days;
use crate::choice::sites::sites;
use crate::choice::times::{at_most, read_step, release_times};
use crate::clock::local::{day_begins, day_ends, read_hours, to_the_minute};
use crate::error::{Error, Fault, Result};
use crate::fetch::download::download;
use crate::fetch::http::{Client, Patience};
use crate::fetch::runs::Period;
use crate::fetch::survey::{Order, Planned, Survey, members, survey};
use crate::files::UnfinishedFolder;
use crate::plan::Plan;
use crate::plan::edit::{Key, PlanText, Written};
use crate::report::files::briefing::{FILES, files};
use crate::report::round_heights::round_heights;
use crate::units::{Dimension, parse};
use crate::winds::Winds;
use crate::zone::Options;
use crate::zone::duration::TimeAloft;

/// Flights for each release that is compared.
const DRAWS: u64 = 1_000;
/// Releases that are compared at most: of more, most likely a day was mistyped.
const MOST_RELEASES: f64 = 5_000.0;
/// Candidates that are flown themselves.
const FULLY: usize = 20;
/// Requests at the same time.
const CONNECTIONS: usize = 4;

/// The station that a kind of work belongs to.
pub fn station(what: &str) -> Option<Station> {
    Some(match what {
        "days" => Station::Days,
        "sites" | "aim" => Station::Site,
        "look" | "fetch" => Station::Winds,
        "brief" => Station::Brief,
        "follow" => Station::Follow,
        "debrief" => Station::After,
        _ => return None,
    })
}

/// Does the work for a plan, as the form asks for it.
///
/// # Errors
///
/// Whatever is wrong with the plan, its files or the form.
pub fn work(desk: &Desk, name: &str, text: &str, given: &Values, work: &Work) -> Result<Made> {
    let what = given.get("what").map_or("", String::as_str);
    let plan = parsed(desk, name, text)?;
    let asked = DeskRequest {
        desk,
        name,
        text,
        plan: &plan,
        given,
        work,
    };
    // Winds are read first, which may take long before any part of the work is done.
    work.begin(words::doing(""), 0);
    let answer = match what {
        "days" => asked.days(&*desk.air.of(&plan)?)?,
        "sites" => asked.sites(&*desk.air.of(&plan)?)?,
        "aim" => asked.aim(&*desk.air.of(&plan)?)?,
        "brief" => asked.brief(&*desk.air.of(&plan)?)?,
        "follow" => follow(&asked, &*desk.air.of(&plan)?)?,
        "debrief" => debrief(&asked, &*desk.air.of(&plan)?)?,
        "look" => asked.look()?,
        "fetch" => asked.fetch()?,
        other => return Err(Fault::new("what", format!("{other:?}"), "some work").into()),
    };
    let of = text.to_owned();
    Ok(Made { of, answer })
}

/// What is asked for.
pub struct DeskRequest<'a> {
    /// The desk.
    pub desk: &'a Desk,
    /// The plan's name.
    pub name: &'a str,
    /// Its text.
    pub text: &'a str,
    /// The plan.
    pub plan: &'a Plan,
    given: &'a Values,
    /// The job.
    pub work: &'a Work,
}

impl DeskRequest<'_> {
    /// What the form has in a field; several answers are a line each.
    pub fn typed(&self, id: &str) -> &str {
        self.given.get(id).map_or("", |text| text.trim())
    }

    fn options() -> Options {
        Options {
            draws: DRAWS,
            ..Options::default()
        }
    }

    /// Between which times the form asks for releases.
    fn between(&self, winds: &Winds) -> Result<[Timestamp; 2]> {
        let zone = &self.plan.timezone;
        // Told only where it is needed: winds without times do for days that are given.
        let covered = winds.covers().ok_or_else(|| Error::CannotDo {
            why: "the winds name no times".into(),
            remedy: "give the first and the last day".into(),
        });
        let from = match day(self.typed("from"), words::FROM)? {
            Some(day) => day_begins(day, zone).ok_or_else(|| unknown(words::FROM, day))?,
            None => covered?[0],
        };
        let to = match day(self.typed("to"), words::TO)? {
            Some(day) => day_ends(day, zone).ok_or_else(|| unknown(words::TO, day))?,
            None => winds.covers().map_or(from, |[_, last]| last),
        };
        Ok([from, to])
    }

    /// The release times that the form asks for.
    fn times(&self, winds: &Winds) -> Result<Vec<Timestamp>> {
        let zone = &self.plan.timezone;
        let between = self.between(winds)?;
        let (every_s, hours) = (self.step_s()?, self.hours_s()?);
        // As the clocks show it that the days are read by.
        let [from, to] = between.map(|time| to_the_minute(time, zone));
        let many = at_most(between, every_s, hours);
        if many > MOST_RELEASES {
            let why =
                format!("up to {many} releases from {from} to {to}, more than {MOST_RELEASES}");
            return Err(Error::CannotDo {
                why,
                remedy: words::TOO_MANY_RELEASES.into(),
            });
        }
        let times = release_times(between, every_s, hours, zone);
        match times.is_empty() {
            false => Ok(times),
            true => Err(Error::CannotDo {
                why: format!("there is no release time from {from} to {to} within these hours"),
                remedy: "give other days or hours".into(),
            }),
        }
    }

    /// From one release to the next, s.
    fn step_s(&self) -> Result<i64> {
        match self.typed("every") {
            "" => Ok(3_600),
            text => {
                read_step(text).map_err(|w| Fault::new(words::EVERY, w.found, w.expected).into())
            }
        }
    }

    /// The hours of the day for releases, s since midnight.
    fn hours_s(&self) -> Result<[i64; 2]> {
        match self.typed("hours") {
            "" => Ok([5 * 3_600, 11 * 3_600]),
            text => read_hours(text).ok_or_else(|| {
                let found = format!("\"{text}\"");
                Fault::new(words::HOURS, found, words::HOURS_HINT).into()
            }),
        }
    }

    fn days(&self, winds: &Winds) -> Result<Answer> {
        let times = self.times(winds)?;
        self.work.begin(words::doing("days"), times.len() as u64);
        let step = || self.work.step(1);
        let found = days(self.plan, winds, &times, Self::options(), step)?;
        Ok(Answer::Days(Box::new(found)))
    }

    fn sites(&self, winds: &Winds) -> Result<Answer> {
        let file = self.desk.folder.path(self.typed("file"))?;
        let spacing_m = match self.typed("spacing") {
            "" => 5_000.0,
            text => quantity(text, Dimension::Length, 10.0..=500_000.0, words::SPACING)?,
        };
        let candidates = candidates::read(&file, spacing_m)?;
        let times = self.times(winds)?;
        let fully = FULLY.min(candidates.len());
        self.work.begin(words::doing("sites"), fully as u64);
        let step = || self.work.step(1);
        let options = Self::options();
        let found = sites(self.plan, winds, &candidates, &times, fully, options, step)?;
        Ok(Answer::Sites(Box::new(found)))
    }

    fn aim(&self, winds: &Winds) -> Result<Answer> {
        let target = self.desk.folder.path(self.typed("file"))?;
        let times = self.times(winds)?;
        let allowed = Allowed {
            launch_in: Vec::new(),
            on_roads: self.typed("on_roads") == "yes",
        };
        self.work.begin(words::doing("aim"), times.len() as u64);
        let step = || self.work.step(1);
        let options = Self::options();
        let found = aim(self.plan, winds, &target, &allowed, &times, options, step)?;
        Ok(Answer::Aim(Box::new(found)))
    }

    fn brief(&self, winds: &Winds) -> Result<Answer> {
        // As many draws as the commands make: this is what the crew takes along.
        let options = Options::default();
        let units = self.desk.view().units_of(self.plan);
        self.work.begin(words::doing("brief"), options.draws);
        let heights = round_heights(units);
        let step = || self.work.step(1);
        let folder = made_for(self.name, BRIEFING);
        let names = FILES.map(|file| format!("{folder}/{file}"));
        for name in &names {
            // A link that lies there may lead out of the folder.
            self.desk.folder.path(name)?;
        }
        // Before the flights: a folder that cannot be written to is told without waiting.
        let mut begun = UnfinishedFolder::begin(&self.desk.folder.path(&folder)?, &FILES)?;
        let made = brief(self.plan, winds, options, &heights, Timestamp::now(), step)?;
        let files = files(&made, units)?;
        begun.write(files.iter().map(|(_, bytes)| bytes.as_slice()))?;
        begun.name()?;
        Ok(Answer::Written(names.into()))
    }

    /// Where downloads go: beside the plan.
    fn winds_folder(&self) -> Result<PathBuf> {
        self.desk.folder.path(&beside(self.name, "winds"))
    }

    fn order(&self) -> Result<Order<'_>> {
        let (plan, zone) = (self.plan, &self.plan.timezone);
        let aloft = TimeAloft::of(plan);
        let around = Period::around(plan.release, aloft.seconds);
        let from = match day(self.typed("from"), words::FROM)? {
            Some(day) => day_begins(day, zone).ok_or_else(|| unknown(words::FROM, day))?,
            None => around.from,
        };
        let to = match day(self.typed("to"), words::TO)? {
            Some(day) => day_ends(day, zone).ok_or_else(|| unknown(words::TO, day))?,
            None => around.to,
        };
        let feed = self.desk.feeds.get(self.typed("feed"))?;
        Ok(Order {
            feed,
            site: plan.site.position,
            reach_m: aloft.reach_m(),
            period: Period { from, to },
            now: Timestamp::now(),
            run: None,
            members: members(feed, &[])?,
            folder: self.winds_folder()?,
            connections: CONNECTIONS,
            probe: true,
        })
    }

    fn surveyed(&self, client: &Client, order: &Order) -> Result<Survey> {
        self.work.begin(words::doing("look"), 0);
        // No part is done by it, but this is where a survey ends when it is stopped.
        let listen = |_: &str| self.work.step(0);
        survey(client, order, &listen)
    }

    fn look(&self) -> Result<Answer> {
        let order = self.order()?;
        let client = Client::new(Patience::default()).paced(order.feed.a_minute);
        let found = self.surveyed(&client, &order)?;
        let open = found.files.iter().filter(|file| file.there.is_none());
        Ok(Answer::Looked(Looked {
            // With what was typed: the download that may follow asks for the same.
            feed: order.feed.name.clone(),
            from: self.typed("from").to_owned(),
            to: self.typed("to").to_owned(),
            run: found.choice.run.strftime("%Y-%m-%d %H:%M UTC").to_string(),
            files: found.files.len(),
            bytes: open.map(Planned::bytes).sum(),
            attribution: format!("{} ({})", order.feed.attribution, order.feed.licence),
        }))
    }

    fn fetch(&self) -> Result<Answer> {
        let order = self.order()?;
        let client = Client::new(Patience::default()).paced(order.feed.a_minute);
        // Anew, though somebody looked before: a newer run may have come since.
        let found = self.surveyed(&client, &order)?;
        let open: Vec<&Planned> = found.files.iter().filter(|f| f.there.is_none()).collect();
        let bytes = open.iter().map(|file| file.bytes()).sum();
        self.work.begin(words::doing("fetch"), bytes);
        let arrived = |bytes| self.work.step(bytes);
        for file in open {
            download(&client, &order, &found, file, &|_| (), &arrived)?;
        }
        let names = found
            .files
            .iter()
            .filter_map(|f| self.desk.folder.name(&f.path));
        let names: Vec<String> = names.collect();
        // In place of those it had: soundings and a forecast do not go together.
        add_winds(self.desk, self.name, &names, true)?;
        Ok(Answer::Fetched(names))
    }
}

/// Puts wind files of the folder into a plan, after those it has, or in their place.
///
/// # Errors
///
/// The plan cannot be edited.
pub fn add_winds(desk: &Desk, name: &str, files: &[String], alone: bool) -> Result<()> {
    let beside = folder_of(name);
    // A plan names files as seen from its own folder, the desk from the one it was started with.
    let seen_from_plan = |file: &String| match file.strip_prefix(beside) {
        Some(inside) if !beside.is_empty() => inside.trim_start_matches('/').to_owned(),
        _ => file.clone(),
    };
    desk.with_draft(name, |draft| {
        // A download may have taken long.
        draft.look()?;
        let Some(mut plan) = PlanText::read(draft.text()) else {
            return Err(super::no_toml());
        };
        let key = Key {
            section: "wind",
            table: None,
            name: "files",
        };
        let mut all = match plan.get(key) {
            Written::Texts(had) if !alone => had,
            _ => Vec::new(),
        };
        for file in files.iter().map(seen_from_plan) {
            if !all.contains(&file) {
                all.push(file);
            }
        }
        plan.set(key, Written::Texts(all));
        draft.edit(plan.text(), "")
    })
}

/// A name that no file has yet, like this one.
pub fn free_name(desk: &Desk, folder: &str, wanted: &str) -> Result<(String, PathBuf)> {
    let (stem, ending) = match wanted.rsplit_once('.') {
        Some((stem, ending)) if !stem.is_empty() => (stem, format!(".{ending}")),
        _ => (wanted, String::new()),
    };
    let prefix = match folder {
        "" => String::new(),
        folder => format!("{folder}/"),
    };
    for k in 1..1_000 {
        let name = match k {
            1 => format!("{prefix}{stem}{ending}"),
            k => format!("{prefix}{stem}-{k}{ending}"),
        };
        let path = desk.folder.path(&name)?;
        if !Path::exists(&path) {
            return Ok((name, path));
        }
    }
    Err(Fault::new(wanted, "a thousand files of this name", "another name").into())
}

/// A day, or nothing where nothing is typed.
fn day(text: &str, what: &str) -> Result<Option<civil::Date>> {
    if text.is_empty() {
        return Ok(None);
    }
    let wrong = || Fault::new(what, format!("\"{text}\""), "a day, as in 2026-05-01");
    let day = text.parse().map_err(|_| wrong())?;
    Ok(Some(day))
}

fn unknown(what: &str, day: civil::Date) -> Error {
    let expected = "a day that the plan's time zone has";
    Fault::new(what, day.to_string(), expected).into()
}

fn quantity(
    text: &str,
    dimension: Dimension,
    range: std::ops::RangeInclusive<f64>,
    what: &str,
) -> Result<f64> {
    let value = parse(text, dimension).map_err(|w| Fault::new(what, w.found, w.expected))?;
    match range.contains(&value) {
        true => Ok(value),
        false => {
            let unit = dimension.si_symbol();
            let expected = format!("from {} to {} {unit}", range.start(), range.end());
            Err(Fault::new(what, format!("\"{text}\""), expected).into())
        }
    }
}

/// Starts the work that a form asks for.
///
/// # Errors
///
/// Other work is going on, or there is no such plan or work.
pub fn start_work(desk: &Arc<Desk>, name: &str, given: Values) -> Result<Station> {
    let what = given.get("what").cloned().unwrap_or_default();
    let Some(station) = station(&what) else {
        return Err(Fault::new("what", format!("{what:?}"), "some work").into());
    };
    // As it is now: what is typed while the work goes on changes nothing of it.
    let (text, _) = desk.text_now(name)?;
    let (worker, keeper) = (desk.clone(), desk.clone());
    let (plan, plan_too) = (name.to_owned(), name.to_owned());
    desk.jobs.start(
        (name, station.id()),
        move |job| work(&worker, &plan, &text, &given, job),
        move |made| keeper.keep(&plan_too, station, made),
    )?;
    Ok(station)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_and_days_are_read_as_commands_read_them() {
        assert_eq!(read_hours("05:00-11:30"), Some([18_000, 41_400]));
        for wrong in ["11:00-05:00", "5-11", "05:60-11:00", "", "05:00-24:01"] {
            assert_eq!(read_hours(wrong), None, "{wrong}");
        }
        assert!(day("", "x").unwrap().is_none());
        assert!(day("2026-02-30", "x").is_err());
        assert_eq!(day("2026-02-28", "x").unwrap().unwrap().day(), 28);
    }
}

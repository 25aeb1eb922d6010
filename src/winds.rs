//! The winds that a plan is flown in: its files read, soundings or a forecast.

pub mod files;
pub mod stations;

use std::mem::discriminant;
use std::path::PathBuf;

use jiff::Timestamp;

use self::files::WindFiles;
use crate::clock::after;
use crate::error::{Fault, Result};
use crate::notes::Assumption;
use crate::notes::left_out::LeftOut;
use crate::notes::reading::Reading;
use crate::plan::Plan;
use crate::sources::grid::archive::{Archive, Joining};
use crate::sources::{FileAscent, Hints};
use crate::wind::placing::ONE_TIME_STANDS_S;

/// The winds of a plan.
pub enum Winds {
    /// Soundings, of all files.
    Soundings(Vec<FileAscent>),
    /// Forecast files, joined.
    Forecast(Box<Archive>),
}

impl Winds {
    /// The winds in the plan's own files.
    ///
    /// ```
    /// use windfall::{Plan, Winds};
    ///
    /// let plan = Plan::read("samples/lake-shore/plan.toml")?;
    /// let winds = Winds::of_plan(&plan)?;
    /// let [from, to] = winds.covers().expect("a forecast has hours");
    /// assert!(from <= plan.release && plan.release <= to);
    /// # Ok::<(), windfall::Error>(())
    /// ```
    ///
    /// # Errors
    ///
    /// When the plan names no file, and whatever is wrong with those it names.
    pub fn of_plan(plan: &Plan) -> Result<Winds> {
        Winds::of_files(plan, &plan.wind_files, &Hints::default())
    }

    /// The winds in other files, for the same plan; `hints` say what is not recognised in them. The
    /// plan may still say when a forecast was issued, whether each file is a member, and what columns
    /// hold.
    ///
    /// # Errors
    ///
    /// When there is no file, and whatever is wrong with those there are.
    pub fn of_files(plan: &Plan, files: &[PathBuf], hints: &Hints) -> Result<Winds> {
        if files.is_empty() {
            let expected = format!(
                "[wind] files = [\"sounding.csv\"] in the plan, or --wind FILE. To get winds: \
                 `windfall fetch {}` downloads a forecast for the plan; by hand, look for the open \
                 data of a weather service (\"global model GRIB2 download\": wind, temperature and \
                 height on pressure levels, for the hours of the flight) or a page of soundings \
                 (\"radiosonde upper air\": the station nearest to the site, as a text list)",
                plan.file
            );
            let fault = Fault::new(&plan.file, "no wind file", expected);
            return Err(fault.of_key("[wind] files").into());
        }
        let mut hints = hints.clone();
        // What is said of these files counts before what the plan says of its own.
        if hints.columns.is_empty() {
            hints.columns.clone_from(&plan.wind_columns);
        }
        Ok(
            match WindFiles::read(files, &hints, plan.member_per_file)? {
                WindFiles::Soundings(ascents) => Winds::Soundings(ascents),
                WindFiles::Grids { files, damaged } => {
                    let how = Joining {
                        issued: plan.wind_issued,
                        member_per_file: plan.member_per_file,
                    };
                    let mut archive = Archive::join_all(files, how)?;
                    archive.left_out.extend(damaged);
                    Winds::Forecast(Box::new(archive))
                }
            },
        )
    }

    /// The region and the hours of a forecast, in words.
    pub fn covered(&self) -> Option<String> {
        match self {
            Winds::Soundings(_) => None,
            Winds::Forecast(archive) => Some(archive.covered()),
        }
    }

    /// What is assumed of the winds of all files, and what was left out of them.
    pub fn assumed(&self) -> Vec<Assumption> {
        let left_out = |all: &[LeftOut]| {
            let each = all.iter().cloned();
            each.map(Assumption::LeftOut).collect::<Vec<_>>()
        };
        let (in_reading, lost) = match self {
            Winds::Soundings(ascents) => {
                let tallies = || ascents.iter().map(|ascent| &ascent.sounding.tally);
                let lost = tallies().flat_map(|tally| left_out(&tally.lost));
                let read = tallies().flat_map(|tally| &tally.assumed);
                (each_once(read), lost.collect())
            }
            Winds::Forecast(archive) => (archive.assumed.clone(), left_out(&archive.left_out)),
        };
        let in_reading = in_reading.into_iter().map(Assumption::Read);
        let held = self.one_time_held().into_iter();
        held.chain(in_reading).chain(lost).collect()
    }

    /// Whether of some time of a forecast it is not known of which run it is.
    pub fn some_run_unknown(&self) -> bool {
        match self {
            Winds::Soundings(_) => false,
            Winds::Forecast(archive) => archive.steps.iter().any(|step| step.run.is_none()),
        }
    }

    /// That the winds are a forecast of one time, held for hours, where they are.
    fn one_time_held(&self) -> Option<Assumption> {
        let Winds::Forecast(archive) = self else {
            return None;
        };
        let [only] = &archive.steps[..] else {
            return None;
        };
        Some(Assumption::OneTimeHeld {
            time: only.valid,
            stands_s: ONE_TIME_STANDS_S,
        })
    }

    /// The first and the last time of the winds, if they name any; of a forecast of one time those
    /// for which it stands.
    pub fn covers(&self) -> Option<[Timestamp; 2]> {
        let times: Vec<Timestamp> = match self {
            Winds::Soundings(ascents) => ascents.iter().filter_map(|a| a.sounding.time).collect(),
            Winds::Forecast(archive) => archive.steps.iter().map(|s| s.valid).collect(),
        };
        let (first, last) = (*times.iter().min()?, *times.iter().max()?);
        Some(match self {
            Winds::Forecast(_) if first == last => {
                [-ONE_TIME_STANDS_S, ONE_TIME_STANDS_S].map(|s| after(first, s))
            }
            _ => [first, last],
        })
    }
}

/// What reading soundings took for granted, once where it is the same but for a number of each.
pub fn each_once<'a>(all: impl IntoIterator<Item = &'a Reading>) -> Vec<Reading> {
    let mut found: Vec<Reading> = Vec::new();
    for reading in all {
        let is_counted = matches!(
            reading,
            Reading::Latitude { .. }
                | Reading::LowestHeight { .. }
                | Reading::SignedDirections { .. }
        );
        let said = |known: &Reading| {
            known == reading || is_counted && discriminant(known) == discriminant(reading)
        };
        if !found.iter().any(said) {
            found.push(reading.clone());
        }
    }
    found
}

//! What several forecast files hold together: one lattice, one axis of time, levels, members.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "files, lattices, slabs and steps are numbered by ourselves"
)]

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::Timestamp;

use super::ensemble::{number_apart, without_means};
use super::kept::Kept;
use super::reckoned::Reckoned;
use super::{GridFile, WAY_OUT};
use crate::error::{Error, Fault, Result};
use crate::geodesy::lattice::Lattice;
use crate::notes::left_out::{Component, LeftOut, Level, NoField, NoMember};
use crate::notes::reading::Reading;
use crate::wind::grid::{Step, steps_around};
use crate::wind::slab::{GROUND, Quantity, Slab, Span, Surface};

/// Forecast files joined.
pub struct Archive {
    pub(super) files: Vec<GridFile>,
    /// The points they all give.
    pub lattice: Lattice,
    /// Their times, rising; of two runs for one time, the newer.
    pub steps: Vec<Step>,
    /// Pressures of the levels on which heights and winds are complete, Pa, falling.
    pub levels_pa: Vec<u32>,
    /// The members' numbers, rising; one `None` where there is no ensemble.
    pub members: Vec<Option<u32>>,
    /// What was left out in joining.
    pub left_out: Vec<LeftOut>,
    /// What was assumed in reading and joining.
    pub assumed: Vec<Reading>,
    /// The forecast that continues this one above its highest level.
    pub(super) above: Option<Box<Archive>>,
    pub(super) reckoned: Reckoned,
    pub(super) index: Index,
    /// What is decoded already.
    pub(super) kept: Option<Kept>,
}

/// How files are to be joined.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Joining {
    /// The time of the run, for files that do not say.
    pub issued: Option<Timestamp>,
    /// Whether each file is a member of an ensemble.
    pub member_per_file: bool,
}

/// Where a slab is: which file, which of its slabs.
pub(super) type Where = (usize, usize);
/// What is looked up: member and step by their place in the archive.
pub(super) type Key = (usize, usize, Quantity, Surface);
pub(super) type Index = HashMap<Key, Where>;

/// A member at a time.
type Moment = (Option<u32>, Timestamp);
/// The slabs of one member at one time.
// Ordered, so that what is told of levels and times comes in the same order in every run.
type Slabs = BTreeMap<(Quantity, Surface), Where>;

impl Archive {
    /// Joins files that give winds and heights on levels of pressure.
    ///
    /// # Errors
    ///
    /// Faults that name file and message: no winds, one component of the wind without the other,
    /// no heights, levels missing at one time, files for different grids.
    pub fn join(files: Vec<GridFile>, how: Joining) -> Result<Archive> {
        let mut left_out = Vec::new();
        let mut files = without_means(files, how, &mut left_out);
        number_apart(&mut files);
        let lattice = common_lattice(&files)?;
        let (mut moments, other_runs) = moments(&files, &lattice, how, &mut left_out);
        // Before times without an eastward wind go: a lone northward one would go with them unsaid.
        left_out.extend(check_components(&files, &moments)?);
        check_directions(&files, &moments)?;
        // Before times and members without winds go: the ground may be among what they have.
        share_ground(&mut moments);
        left_out.extend(drop_windless(&mut moments));
        let reckoned = Reckoned::of(moments.values());
        left_out.extend(without_height(&moments, &reckoned));
        let times: BTreeSet<Timestamp> = moments.keys().map(|m| m.1).collect();
        let of_member = levels_of_members(&files, &moments, &reckoned, &mut left_out)?;
        let levels = common_levels(&of_member);
        let members = whole_members(&of_member, &levels, &mut left_out);
        // Without a level or a member a flight would be made in calm air.
        if members.is_empty() || levels.is_empty() {
            return Err(nothing_common(&files, &left_out).into());
        }
        let mut archive = Archive {
            lattice,
            steps: times
                .iter()
                .map(|&valid| Step {
                    valid,
                    run: run_at(&files, &moments, valid, how),
                })
                .collect(),
            // Falling, as heights rise.
            levels_pa: levels.into_iter().rev().collect(),
            members,
            left_out,
            assumed: assumed_of_all(&files)
                .into_iter()
                .chain(other_runs)
                .chain(reckoned.assumed())
                .collect(),
            above: None,
            reckoned,
            index: Index::new(),
            kept: None,
            files,
        };
        archive.index = archive.indexed(moments);
        let numberless = archive.numberless_member();
        let over_time = archive.gusts_over_time();
        archive
            .assumed
            .extend(numberless.into_iter().chain(over_time));
        Ok(archive)
    }

    /// The names of the files, those that continue it above last.
    pub fn names(&self) -> Vec<String> {
        let own = self.files.iter().map(|f| f.name.clone());
        own.chain(self.above.iter().flat_map(|above| above.names()))
            .collect()
    }

    /// Pressures of all levels with winds, those that continue it above included, Pa, falling.
    pub fn all_levels_pa(&self) -> Vec<u32> {
        let top = self.levels_pa.last().copied().unwrap_or(u32::MAX);
        let above = self.above.iter().flat_map(|above| above.all_levels_pa());
        let own = self.levels_pa.iter().copied();
        own.chain(above.filter(|pa| *pa < top)).collect()
    }

    /// Region and spacing in words, those of what continues it above included.
    pub fn describe(&self) -> String {
        let own = self.lattice.describe();
        match (&self.above, self.levels_pa.last()) {
            (Some(above), Some(top)) => {
                let top = Surface::Isobaric(*top);
                format!("{own}; above {top} {}", above.describe())
            }
            _ => own,
        }
    }

    /// The steps from the last one before `from` to the first one after `to` ([`steps_around`]).
    pub fn steps_around(&self, from: Timestamp, to: Timestamp) -> std::ops::Range<usize> {
        steps_around(&self.steps, from, to)
    }

    /// What there is besides height and wind on the levels, in words.
    pub fn also(&self) -> Vec<String> {
        let quantities = [
            (Quantity::Temperature, None, "temperature"),
            (Quantity::RelativeHumidity, None, "relative humidity"),
            (Quantity::SpecificHumidity, None, "specific humidity"),
            (Quantity::Height, Some(Surface::Ground), "orography"),
            (
                Quantity::Pressure,
                Some(Surface::Ground),
                "surface pressure",
            ),
            (
                Quantity::EastWind,
                Some(Surface::AboveGround(10)),
                "wind at 10 m",
            ),
            (Quantity::Gust, Some(Surface::Ground), "gusts"),
            (
                Quantity::Temperature,
                Some(Surface::AboveGround(2)),
                "temperature at 2 m",
            ),
        ];
        let there = |quantity: Quantity, at: Option<Surface>| {
            self.index.keys().any(|key| {
                let surface = match at {
                    Some(at) => key.3 == at,
                    None => matches!(key.3, Surface::Isobaric(_)),
                };
                key.2 == quantity && surface
            })
        };
        quantities
            .into_iter()
            .filter(|&(quantity, at, _)| there(quantity, at))
            .map(|(_, _, name)| name.to_owned())
            .collect()
    }

    /// What was left out in reading and in joining, in words.
    pub fn left_out_of_all(&self) -> Vec<String> {
        let of_files = self.files.iter().flat_map(|f| {
            f.left_out.iter().map(move |what| match self.files.len() {
                1 => what.clone(),
                _ => format!("{}: {what}", f.name),
            })
        });
        let of_above = self.above.iter().flat_map(|above| {
            let of_files = above.files.iter().flat_map(|f| &f.left_out);
            of_files.cloned()
        });
        of_files
            .chain(self.left_out.iter().map(ToString::to_string))
            .chain(of_above)
            .collect()
    }

    /// That a forecast without a member's number counts as one more member.
    fn numberless_member(&self) -> Option<Reading> {
        let number = self.members.iter().position(Option::is_none)?;
        let of_it = self.index.iter().filter(|(key, _)| key.0 == number);
        let file = of_it.map(|(_, at)| at.0).min()?;
        (self.members.len() > 1).then(|| Reading::NumberlessMember {
            file: self.files[file].name.clone(),
        })
    }

    /// That gusts are the strongest over some time, each span once.
    fn gusts_over_time(&self) -> Vec<Reading> {
        let of_gusts = self.index.iter().filter(|(key, _)| key.2 == Quantity::Gust);
        let spans = of_gusts.map(|(_, &(file, slab))| self.files[file].slabs[slab].span);
        let before_s = |span| match span {
            Span::Moment => None,
            Span::Before(s) => Some(Some(s)),
            Span::SinceLast => Some(None),
        };
        // The index has no order; what is said of it must have one.
        let spans: BTreeSet<Option<u32>> = spans.filter_map(before_s).collect();
        let said = |before_s| Reading::GustsOverTime { before_s };
        spans.into_iter().map(said).collect()
    }

    /// Whether some members have times that others lack.
    pub fn is_uneven(&self) -> bool {
        let has = |step| (0..self.members.len()).all(|member| self.has(member, step));
        !(0..self.steps.len()).all(has)
    }

    /// Whether a member has winds for a step.
    pub(super) fn has(&self, member: usize, step: usize) -> bool {
        // A member has all levels at all its times (`levels_of_members`), so one level tells.
        self.levels_pa.first().is_some_and(|&pa| {
            let wind = (member, step, Quantity::EastWind, Surface::Isobaric(pa));
            self.index.contains_key(&wind)
        })
    }

    fn indexed(&self, moments: BTreeMap<Moment, Slabs>) -> Index {
        let mut index = Index::new();
        for ((member, valid), slabs) in moments {
            let member = self.members.binary_search(&member);
            let step = self.steps.binary_search_by_key(&valid, |s| s.valid);
            let (Ok(member), Ok(step)) = (member, step) else {
                continue;
            };
            for ((quantity, surface), at) in slabs {
                index.insert((member, step, quantity, surface), at);
            }
        }
        index
    }
}

/// Whether a slab is the wind a flight needs.
pub(super) fn is_wind(slab: &Slab) -> bool {
    let wind = matches!(slab.quantity, Quantity::EastWind | Quantity::NorthWind);
    wind && matches!(slab.surface, Surface::Isobaric(_))
}

/// The lattice on which all files give their winds.
fn common_lattice(files: &[GridFile]) -> Result<Lattice> {
    let mut found: Option<(&str, &Lattice)> = None;
    for file in files {
        for slab in file.slabs.iter().filter(|s| is_wind(s)) {
            let lattice = &file.lattices[slab.lattice];
            match found {
                None => found = Some((&file.name, lattice)),
                Some((other, first)) if !first.same_as(lattice) => {
                    return Err(Fault::new(
                        &file.name,
                        format!("winds for {}", lattice.describe()),
                        format!(
                            "the region and spacing of {other}, {}: one forecast at a time",
                            first.describe()
                        ),
                    )
                    .into());
                }
                Some(_) => {}
            }
        }
    }
    match found {
        Some((_, lattice)) => Ok(lattice.clone()),
        None => Err(Error::Faults(
            files
                .iter()
                .map(|f| {
                    let instead = f.left_out.iter().find(|why| why.contains(WAY_OUT));
                    let found = match instead {
                        Some(why) => format!("no wind on levels of pressure, but {why}"),
                        None => "no wind on levels of pressure".to_owned(),
                    };
                    let expected = "u and v (eastward and northward wind) on levels of pressure";
                    Fault::new(&f.name, found, expected)
                })
                .collect(),
        )),
    }
}

/// The slabs on the lattice by member and time: all of the newest run that has winds then, and what that
/// run lacks besides winds of the newest that has it, which is told.
fn moments(
    files: &[GridFile],
    lattice: &Lattice,
    how: Joining,
    left_out: &mut Vec<LeftOut>,
) -> (BTreeMap<Moment, Slabs>, Option<Reading>) {
    let newest = runs_of_winds(files, how);
    // Once for each grid of a file: there may be a million slabs, but few grids.
    let on_it: Vec<Vec<bool>> = files
        .iter()
        .map(|f| f.lattices.iter().map(|l| l.same_as(lattice)).collect())
        .collect();
    let mut joined = Joined::default();
    let mut of_others = Vec::new();
    for (place, slab) in all_slabs(files) {
        let at = moment(how, place.0, slab);
        let run = slab.run.or(how.issued);
        if !on_it[place.0][slab.lattice] {
            joined.elsewhere += 1;
        } else if newest.get(&at).is_some_and(|newest| run != *newest) {
            of_others.push((at, run, place, slab));
        } else {
            joined.take(at, place, slab);
        }
    }
    // The newest first; of one run in the order of the files.
    of_others.sort_by_key(|(_, run, ..)| std::cmp::Reverse(*run));
    for (at, run, place, slab) in of_others {
        let is_older = newest.get(&at).is_some_and(|newest| run < *newest);
        joined.take_if_lacking(at, place, slab, is_older);
    }
    left_out.extend(joined.left_out());
    (joined.moments, joined.used.told())
}

/// All slabs of all files.
fn all_slabs(files: &[GridFile]) -> impl Iterator<Item = (Where, &Slab)> {
    files.iter().enumerate().flat_map(|(f, file)| {
        let slabs = file.slabs.iter().enumerate();
        slabs.map(move |(s, slab)| ((f, s), slab))
    })
}

/// Member and time of a slab of a file.
fn moment(how: Joining, file: usize, slab: &Slab) -> Moment {
    let number = || u32::try_from(file).unwrap_or(u32::MAX);
    // A number in the file itself counts more than its place among the files.
    let member = slab.member.or_else(|| how.member_per_file.then(number));
    (member, slab.valid)
}

/// The newest run that has winds, by the winds alone: a newer run that has none for a time must not push
/// out one that has.
fn runs_of_winds(files: &[GridFile], how: Joining) -> BTreeMap<Moment, Option<Timestamp>> {
    let mut newest: BTreeMap<Moment, Option<Timestamp>> = BTreeMap::new();
    for ((file, _), slab) in all_slabs(files).filter(|(_, slab)| is_wind(slab)) {
        let known = newest.entry(moment(how, file, slab)).or_default();
        *known = (*known).max(slab.run.or(how.issued));
    }
    newest
}

/// What is joined so far, and how many fields are not.
#[derive(Default)]
struct Joined {
    moments: BTreeMap<Moment, Slabs>,
    used: OtherRuns,
    elsewhere: usize,
    older: usize,
    newer: usize,
    repeated: usize,
}

impl Joined {
    /// A slab of the run of its winds.
    fn take(&mut self, at: Moment, place: Where, slab: &Slab) {
        match self.moments.entry(at).or_default().entry(key(slab)) {
            Entry::Vacant(free) => {
                free.insert(place);
            }
            Entry::Occupied(_) => self.repeated += 1,
        }
    }

    /// A slab of another run than the winds of its time.
    fn take_if_lacking(&mut self, at: Moment, place: Where, slab: &Slab, is_older: bool) {
        let slabs = self.moments.entry(at).or_default();
        // Without a wind beside it a level is of no use.
        let of_use = match slab.surface {
            Surface::Isobaric(_) => slabs.contains_key(&(Quantity::EastWind, slab.surface)),
            _ => true,
        };
        match slabs.entry(key(slab)) {
            Entry::Vacant(free) if of_use && fits_any_run(slab.quantity) => {
                free.insert(place);
                self.used.count(slab);
            }
            _ if is_older => self.older += 1,
            _ => self.newer += 1,
        }
    }

    fn left_out(&self) -> impl Iterator<Item = LeftOut> {
        let counts = [
            (self.elsewhere, NoField::OtherGrid),
            (self.older, NoField::OlderRun),
            (self.newer, NoField::NewerRun),
            (self.repeated, NoField::Repeated),
        ];
        let told = counts.map(|(count, why)| LeftOut::fields(count, why));
        told.into_iter().flatten()
    }
}

/// A model's ground is the same at all times and in all members: those that lack it get that of the first
/// that has it.
fn share_ground(moments: &mut BTreeMap<Moment, Slabs>) {
    let mut all = moments.values();
    let Some(ground) = all.find_map(|slabs| slabs.get(&GROUND).copied()) else {
        return;
    };
    for slabs in moments.values_mut() {
        slabs.entry(GROUND).or_insert(ground);
    }
}

/// Leaves out times and members that have no wind on a level of pressure: they are no steps, as a flight would
/// find no wind aloft there.
fn drop_windless(moments: &mut BTreeMap<Moment, Slabs>) -> Option<LeftOut> {
    let is_aloft = |(quantity, surface): &(Quantity, Surface)| {
        *quantity == Quantity::EastWind && matches!(surface, Surface::Isobaric(_))
    };
    let mut count = 0;
    moments.retain(|_, slabs| {
        let is_step = slabs.keys().any(is_aloft);
        // The ground is not lost: all others have it, too.
        let lost = slabs.keys().filter(|key| **key != GROUND).count();
        count += if is_step { 0 } else { lost };
        is_step
    });
    LeftOut::fields(count, NoField::NoWindAloft)
}

/// What a slab is of those of its time.
fn key(slab: &Slab) -> (Quantity, Surface) {
    (slab.quantity, slab.surface)
}

/// Whether a quantity differs so little from run to run that one may stand in for another: winds do not
/// go together then.
fn fits_any_run(quantity: Quantity) -> bool {
    !matches!(
        quantity,
        Quantity::EastWind
            | Quantity::NorthWind
            | Quantity::WindSpeed
            | Quantity::WindFrom
            | Quantity::Gust
    )
}

/// Fields that are of other runs than the winds of their time.
#[derive(Default)]
struct OtherRuns {
    fields: usize,
    quantities: BTreeSet<Quantity>,
}

impl OtherRuns {
    fn count(&mut self, slab: &Slab) {
        // The ground of a model is the same in all its runs.
        if !slab.is_ground() {
            self.fields += 1;
            self.quantities.insert(slab.quantity);
        }
    }

    fn told(self) -> Option<Reading> {
        let quantities = self.quantities.iter().map(ToString::to_string).collect();
        (self.fields > 0).then_some(Reading::OfOtherRuns {
            fields: self.fields,
            quantities,
        })
    }
}

/// Winds on levels of pressure are all along the grid, or all towards the east and the north: they are turned together.
fn check_directions(files: &[GridFile], moments: &BTreeMap<Moment, Slabs>) -> Result<()> {
    let mut first = None;
    for (&(quantity, surface), &(file, slab)) in moments.values().flatten() {
        let file = &files[file];
        let slab = &file.slabs[slab];
        if !is_wind(slab) {
            continue;
        }
        let along = slab.along_grid;
        if *first.get_or_insert(along) != along {
            let ways = ["towards true east and north", "along the grid"];
            let [this, other] = [along, !along].map(|along| ways[usize::from(along)]);
            let found = format!("the {quantity} at {surface} {this}, beside winds {other}");
            let expected = "winds of one forecast that are all along the grid, or all towards true east and north";
            return Err(Fault::new(&file.name, found, expected).into());
        }
    }
    Ok(())
}

/// No component of the wind without the other: levels that lack one are left out; where all do, the
/// first is the fault.
fn check_components(files: &[GridFile], moments: &BTreeMap<Moment, Slabs>) -> Result<Vec<LeftOut>> {
    let mut lone: BTreeMap<(Surface, Quantity), Where> = BTreeMap::new();
    let mut paired = false;
    for slabs in moments.values() {
        for (&(quantity, surface), &at) in slabs {
            let other = match quantity {
                Quantity::EastWind => Quantity::NorthWind,
                Quantity::NorthWind => Quantity::EastWind,
                _ => continue,
            };
            if slabs.contains_key(&(other, surface)) {
                // A whole wind at 10 m does not make up for levels of which all lack a component.
                paired |= matches!(surface, Surface::Isobaric(_));
            } else {
                lone.entry((surface, quantity)).or_insert(at);
            }
        }
    }
    if let (false, Some((&(surface, quantity), &(file, slab)))) = (paired, lone.first_key_value()) {
        let file = &files[file];
        let valid = file.slabs[slab].valid;
        return Err(Fault::new(
            &file.name,
            format!("the {quantity} at {surface} for {valid} without the other component"),
            "both components of the wind, u and v",
        )
        .of_key(file.label(slab))
        .into());
    }
    let left_out = lone
        .keys()
        .map(|(surface, quantity)| LeftOut::LoneComponent {
            component: match quantity {
                Quantity::NorthWind => Component::North,
                _ => Component::East,
            },
            level: match *surface {
                Surface::Isobaric(pa) => Level::PressurePa(pa),
                Surface::Ground => Level::Ground,
                Surface::AboveGround(m) => Level::AboveGroundM(m),
            },
        });
    Ok(left_out.collect())
}

/// Levels on which both components are there, and the height or what it is reckoned from.
fn complete_levels(slabs: &Slabs, reckoned: &Reckoned) -> BTreeSet<u32> {
    let has = |quantity, pa| slabs.contains_key(&(quantity, Surface::Isobaric(pa)));
    let has_height = |pa: u32| match reckoned.levels.contains(&pa) {
        // Those of the standard atmosphere need no temperature.
        true => reckoned.standard || has(Quantity::Temperature, pa),
        false => has(Quantity::Height, pa),
    };
    slabs
        .keys()
        .filter_map(|&(quantity, surface)| match (quantity, surface) {
            (Quantity::EastWind, Surface::Isobaric(pa)) => Some(pa),
            _ => None,
        })
        .filter(|&pa| has(Quantity::NorthWind, pa) && has_height(pa))
        .collect()
}

/// Levels that have a wind but never a height.
fn without_height(moments: &BTreeMap<Moment, Slabs>, reckoned: &Reckoned) -> Option<LeftOut> {
    let complete = |slabs| complete_levels(slabs, reckoned);
    let complete: BTreeSet<u32> = moments.values().flat_map(complete).collect();
    let winds = moments.values().flat_map(|slabs| slabs.keys());
    let levels: BTreeSet<u32> = winds
        .filter_map(|key| match key {
            (Quantity::EastWind, Surface::Isobaric(pa)) if !complete.contains(pa) => Some(*pa),
            _ => None,
        })
        .collect();
    (!levels.is_empty()).then(|| LeftOut::WithoutHeight {
        levels_pa: levels.into_iter().collect(),
    })
}

/// What was assumed in reading the files, each thing once.
fn assumed_of_all(files: &[GridFile]) -> Vec<Reading> {
    let mut assumed: Vec<Reading> = Vec::new();
    for what in files.iter().flat_map(|file| &file.assumed) {
        if !assumed.contains(what) {
            assumed.push(what.clone());
        }
    }
    assumed
}

fn nothing_common(files: &[GridFile], left_out: &[LeftOut]) -> Fault {
    let why: Vec<String> = left_out.iter().map(ToString::to_string).collect();
    let names: Vec<&str> = files.iter().map(|f| f.name.as_str()).collect();
    Fault::new(
        names.join(", "),
        format!(
            "no member with the levels that most have: {}",
            why.join("; ")
        ),
        "members with height and wind on the same levels",
    )
}

/// The complete levels of each member; they are the same at all times that it has. A member of an
/// ensemble may lack times altogether, and one whose levels differ from time to time is left out;
/// the only one there is must be whole.
fn levels_of_members(
    files: &[GridFile],
    moments: &BTreeMap<Moment, Slabs>,
    reckoned: &Reckoned,
    left_out: &mut Vec<LeftOut>,
) -> Result<BTreeMap<Option<u32>, BTreeSet<u32>>> {
    let times: BTreeSet<Timestamp> = moments.keys().map(|m| m.1).collect();
    let complete = |slabs| complete_levels(slabs, reckoned);
    let mut of_member: BTreeMap<Option<u32>, BTreeSet<u32>> = BTreeMap::new();
    for ((member, _), slabs) in moments {
        let levels = of_member.entry(*member).or_default();
        levels.extend(complete(slabs));
    }
    let ensemble = of_member.len() > 1;
    let mut damaged = BTreeSet::new();
    for (member, levels) in &of_member {
        for time in &times {
            let slabs = moments.get(&(*member, *time));
            let here = slabs.map(complete).unwrap_or_default();
            let missing_pa: Vec<u32> = levels.difference(&here).copied().collect();
            if missing_pa.is_empty() || (ensemble && here.is_empty()) {
                continue;
            }
            let (member, time) = (*member, *time);
            let why = NoMember::LevelsAt { time, missing_pa };
            if ensemble {
                left_out.push(LeftOut::Member { member, why });
                damaged.insert(member);
                break;
            }
            let file = slabs
                .and_then(|s| s.values().next())
                .map_or_else(|| files[0].name.clone(), |&(f, _)| files[f].name.clone());
            let expected =
                "the same levels at all times: leave the file of that time out, or get it whole";
            return Err(Fault::new(file, why.to_string(), expected).into());
        }
    }
    of_member.retain(|member, _| !damaged.contains(member));
    Ok(of_member)
}

/// The levels that at least half of the members have, rising pressure.
fn common_levels(of_member: &BTreeMap<Option<u32>, BTreeSet<u32>>) -> BTreeSet<u32> {
    let mut counts: BTreeMap<u32, usize> = BTreeMap::new();
    for pa in of_member.values().flatten() {
        *counts.entry(*pa).or_default() += 1;
    }
    // Not those of all: one member that was cut short would take its levels from the others.
    counts.retain(|_, count| 2 * *count >= of_member.len());
    counts.into_keys().collect()
}

/// The members that have all the levels; tells of the others, and of levels of some only.
fn whole_members(
    of_member: &BTreeMap<Option<u32>, BTreeSet<u32>>,
    levels: &BTreeSet<u32>,
    left_out: &mut Vec<LeftOut>,
) -> Vec<Option<u32>> {
    let mut members = Vec::new();
    let mut beyond: BTreeSet<u32> = BTreeSet::new();
    for (member, has) in of_member {
        beyond.extend(has.difference(levels));
        let missing_pa: Vec<u32> = levels.difference(has).copied().collect();
        if missing_pa.is_empty() {
            members.push(*member);
        } else {
            left_out.push(LeftOut::Member {
                member: *member,
                why: NoMember::Levels { missing_pa },
            });
        }
    }
    if !beyond.is_empty() {
        left_out.push(LeftOut::OfFewMembers {
            levels_pa: beyond.into_iter().collect(),
        });
    }
    members
}

fn run_at(
    files: &[GridFile],
    moments: &BTreeMap<Moment, Slabs>,
    valid: Timestamp,
    how: Joining,
) -> Option<Timestamp> {
    moments
        .iter()
        .filter(|((_, time), _)| *time == valid)
        .flat_map(|(_, slabs)| slabs.iter())
        .filter(|((quantity, _), _)| *quantity == Quantity::EastWind)
        .filter_map(|(_, &(f, s))| files[f].slabs[s].run.or(how.issued))
        .max()
}

//! Coordinates that belong to a NetCDF variable without being its dimensions: those of a single value, and a
//! list of the times that values are for. With them, which of all times are those of runs.

use jiff::Timestamp;
use netcdf_reader::NcVariable;

use super::data_set::DataSet;
use super::netcdf_axes::{Coordinate, No, coordinate};
use super::netcdf_meaning::text;
use super::netcdf_time::is_since;

/// Why a variable is left out whose times contradict each other.
const MORE_TIMES: &str = "with more than one time";

/// The coordinates of a variable beside its dimensions.
pub(super) struct Beside {
    /// Those of a single value.
    pub singles: Vec<Coordinate>,
    /// The times that values are for, along the dimension with this number, which counts something else.
    pub valid: Option<(usize, Coordinate)>,
    /// Whether what is called a time is assumed to be that of the run.
    pub of_runs: bool,
}

/// The coordinates of a variable beside its dimensions; what of both is the time of a run becomes that.
pub(super) fn beside(
    name: &str,
    file: &DataSet,
    variable: &NcVariable,
    dimensions: &mut [Coordinate],
) -> std::result::Result<Beside, No> {
    let mut singles = singles(name, file, variable)?;
    let mut all = dimensions.iter().chain(&singles);
    // Where run and lead are told nothing else is needed.
    let is_told = all.clone().any(|c| matches!(c, Coordinate::Run(_)))
        && all.any(|c| matches!(c, Coordinate::Lead(_)));
    let list = match is_told {
        true => None,
        false => list_of_times(name, file, variable)?,
    };
    let (valid, of_runs) = match list {
        // The dimension counts these very times.
        Some((number, times))
            if dimensions.get(number) == Some(&Coordinate::Valid(times.clone())) =>
        {
            (None, false)
        }
        Some((number, times)) => {
            take_for_runs(dimensions, &mut singles, number, &times)?;
            (Some((number, Coordinate::Valid(times))), false)
        }
        None => {
            let of_runs = times_are_of_runs(file, variable, dimensions, &singles);
            if of_runs {
                dimensions.iter_mut().chain(&mut singles).for_each(of_run);
            }
            (None, of_runs)
        }
    };
    Ok(Beside {
        singles,
        valid,
        of_runs,
    })
}

/// The names of the coordinates that a variable lists.
fn listed(variable: &NcVariable) -> Vec<String> {
    let names = text(variable, "coordinates").unwrap_or_default();
    names.split_whitespace().map(str::to_owned).collect()
}

fn of_name<'a>(file: &'a DataSet, name: &str) -> Option<&'a NcVariable> {
    file.variables().iter().find(|v| v.name() == name)
}

/// Whether what a coordinate is called says that values are for it.
fn says_for(name: &str, coordinate: Option<&NcVariable>) -> bool {
    let long = coordinate.and_then(|v| text(v, "long_name"));
    let called = format!("{name} {}", long.unwrap_or_default()).to_lowercase();
    called.contains("valid") || called.contains("verif")
}

/// The times that values are for, where a variable lists them along one of its dimensions; with the number
/// of the dimension.
fn list_of_times(
    name: &str,
    file: &DataSet,
    variable: &NcVariable,
) -> std::result::Result<Option<(usize, Vec<Timestamp>)>, No> {
    for called in listed(variable) {
        let Some(list) = of_name(file, &called).filter(|v| says_for(&called, Some(v))) else {
            continue;
        };
        let [along] = list.dimensions() else {
            continue;
        };
        let number = variable
            .dimensions()
            .iter()
            .position(|d| d.name == along.name);
        if let Some(number) = number
            && let Some(Coordinate::Valid(times)) = coordinate(name, file, list)?
        {
            return Ok(Some((number, times)));
        }
    }
    Ok(None)
}

/// Takes what else is called a time for that of the run; a run that is later than what it is for is none.
fn take_for_runs(
    dimensions: &mut [Coordinate],
    singles: &mut [Coordinate],
    list: usize,
    valid: &[Timestamp],
) -> std::result::Result<(), No> {
    let singles = singles.iter_mut().map(|single| (None, single));
    let numbered = dimensions.iter_mut().enumerate();
    let all = numbered.map(|(number, d)| (Some(number), d)).chain(singles);
    for (number, coordinate) in all {
        let Coordinate::Valid(times) = &*coordinate else {
            continue;
        };
        let goes_along = number == Some(list);
        let run = |i: usize| {
            if goes_along {
                times.get(i)
            } else {
                times.first()
            }
        };
        let is_before = |(i, valid): (usize, &Timestamp)| run(i).is_some_and(|run| run <= valid);
        if !(goes_along || times.len() == 1) || !valid.iter().enumerate().all(is_before) {
            return Err(No::LeftOut(MORE_TIMES.into()));
        }
        of_run(coordinate);
    }
    Ok(())
}

/// The coordinates of a single value that belong to a variable: those it lists, and one time.
fn singles(
    name: &str,
    file: &DataSet,
    variable: &NcVariable,
) -> std::result::Result<Vec<Coordinate>, No> {
    let names = listed(variable);
    let is_listed = |single: &NcVariable| names.iter().any(|name| name == single.name());
    // Outside of an ensemble the member's number says nothing.
    let no_ensemble = variable
        .attribute("GRIB_totalNumber")
        .is_some_and(|total| total.value.as_f64() == Some(0.0));
    let mut singles = Vec::new();
    let mut times = Vec::new();
    for single in file.variables().iter().filter(|single| single.ndim() == 0) {
        let listed = is_listed(single);
        if text(single, "units").is_some_and(|units| is_since(&units)) {
            times.extend(time_of(single, listed).map(|rank| (rank, single)));
            continue;
        }
        if !listed {
            continue;
        }
        match coordinate(name, file, single)? {
            Some(Coordinate::Member(_)) if no_ensemble => {}
            found => singles.extend(found),
        }
    }
    let ranks = times.iter().map(|(rank, _)| *rank);
    let best = ranks.filter(|rank| *rank != RUN).min();
    let mut valid = None;
    for (rank, single) in times {
        if rank != RUN && Some(rank) != best {
            continue;
        }
        let found = coordinate(name, file, single)?;
        if let (true, Some(Coordinate::Valid(time))) = (rank != RUN, &found)
            && valid
                .replace(time.clone())
                .is_some_and(|other| other != *time)
        {
            return Err(No::LeftOut(MORE_TIMES.into()));
        }
        singles.extend(found);
    }
    Ok(singles)
}

/// Whether what is called a time of a variable is that of the run.
fn times_are_of_runs(
    file: &DataSet,
    variable: &NcVariable,
    dimensions: &[Coordinate],
    singles: &[Coordinate],
) -> bool {
    let named = variable.dimensions().iter();
    let named = named.map(|d| (d.name.clone(), of_name(file, &d.name)));
    // A list of times says nothing of the one time beside it.
    let listed = listed(variable).into_iter().map(|name| {
        let single = of_name(file, &name).filter(|v| v.ndim() == 0);
        (name, single)
    });
    let listed = listed.filter(|(_, single)| single.is_some());
    let says_for = named.chain(listed).any(|(name, v)| says_for(&name, v));
    !says_for && are_of_runs(dimensions, singles)
}

/// Where lead times are a dimension beside it, and no other run is named.
fn are_of_runs(dimensions: &[Coordinate], singles: &[Coordinate]) -> bool {
    let all = || dimensions.iter().chain(singles);
    dimensions.iter().any(|d| matches!(d, Coordinate::Lead(_)))
        && all().any(|d| matches!(d, Coordinate::Valid(_)))
        && !all().any(|d| matches!(d, Coordinate::Run(_)))
}

fn of_run(coordinate: &mut Coordinate) {
    if let Coordinate::Valid(times) = coordinate {
        *coordinate = Coordinate::Run(std::mem::take(times));
    }
}

/// The rank of the time of a run, which is none of the times that values may be for.
const RUN: u8 = 0;

/// How surely a single time is the one that values are for, the surest lowest; `None` where it may be of anything
/// else, as of the making of the file.
fn time_of(single: &NcVariable, listed: bool) -> Option<u8> {
    const OF_OTHERS: [&str; 8] = [
        "ref", "run", "init", "analysis", "issue", "proc", "creat", "prod",
    ];
    const NAMES: [&str; 4] = ["time", "valid_time", "validtime", "forecast_time"];
    let standard_name = text(single, "standard_name").unwrap_or_default();
    let plain = single.name().to_lowercase();
    match standard_name.as_str() {
        "forecast_reference_time" => Some(RUN),
        "time" => Some(if listed { 1 } else { 4 }),
        _ if OF_OTHERS.iter().any(|word| plain.contains(word)) => None,
        // Of several times servers number the names.
        _ if NAMES.contains(&plain.trim_end_matches(|c: char| c.is_ascii_digit())) => {
            Some(if listed { 2 } else { 5 })
        }
        _ => listed.then_some(3),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_beside_lead_times_is_that_of_the_run() {
        let time: Timestamp = "2026-02-05T06:00:00Z".parse().unwrap();
        let (valid, run) = (Coordinate::Valid(vec![time]), Coordinate::Run(vec![time]));
        let leads = Coordinate::Lead([6, 9].map(jiff::SignedDuration::from_hours).to_vec());
        let both = [valid.clone(), leads.clone()];
        assert!(are_of_runs(&both, &[]));
        assert!(are_of_runs(&both[1..], &both[..1]));
        assert!(!are_of_runs(&both, std::slice::from_ref(&run)));
        // Of one lead alone nothing is told by a dimension.
        assert!(!are_of_runs(&both[..1], &[leads]));
        assert!(says_for("valid_time", None) && !says_for("time", None));
        let mut time = valid;
        of_run(&mut time);
        assert_eq!(time, run);
    }
}

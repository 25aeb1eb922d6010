//! NetCDF files that are easily misread: which of their levels are levels of pressure, which of their times
//! are those of runs, which are steps, which fields are of members, which values stand for missing ones.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/netcdf.rs"]
mod netcdf;

use jiff::Timestamp;
use netcdf::{Variable, netcdf};
use windfall::notes::left_out::{LeftOut, NoField};
use windfall::notes::reading::Reading;
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::{Archive, Joining};
use windfall::wind::slab::Quantity;

const HPA: [f64; 5] = [1000.0, 500.0, 100.0, 15.0, 10.0];
const HEIGHTS_M: [f64; 5] = [110.0, 5_570.0, 16_180.0, 28_120.0, 30_780.0];
const POINTS: [f64; 3] = [0.0, 1.0, 2.0];

fn joined(files: Vec<Vec<u8>>) -> Archive {
    let files = files.into_iter().enumerate();
    let opened = files.map(|(i, bytes)| GridFile::from_bytes(&format!("{i}.nc"), bytes));
    let opened = opened.collect::<Result<Vec<_>, _>>().unwrap();
    Archive::join(opened, Joining::default()).unwrap()
}

fn places<'a>() -> [Variable<'a>; 2] {
    let lats = POINTS.map(|lat| 42.0 + lat);
    let lons = POINTS.map(|lon| lon - 108.0);
    [
        Variable::new("lat", &["lat"], &[("units", "degrees_north")], lats),
        Variable::new("lon", &["lon"], &[("units", "degrees_east")], lons),
    ]
}

fn levels<'a>() -> Variable<'a> {
    let attributes = [("units", "hPa"), ("standard_name", "air_pressure")];
    Variable::new("level", &["level"], &attributes, HPA)
}

/// Winds and heights of some times on levels: at the first an eastward wind of 10 m/s, at the next of 20 and
/// so on; and what else the attributes of all of them say.
fn fields<'a>(
    along: &'a [&'a str],
    times: usize,
    more: &[(&'a str, &'a str)],
) -> [Variable<'a>; 3] {
    let field = |name, unit, standard_name, value: &dyn Fn(usize, usize) -> f64| {
        let mut values = Vec::new();
        for time in 0..times {
            for level in 0..HPA.len() {
                values.extend([value(time, level); POINTS.len() * POINTS.len()]);
            }
        }
        let mut attributes = vec![("units", unit), ("standard_name", standard_name)];
        attributes.extend(more);
        Variable::new(name, along, &attributes, values)
    };
    [
        field("u", "m s-1", "eastward_wind", &|time, _| {
            10.0 * (time + 1) as f64
        }),
        field("v", "m s-1", "northward_wind", &|_, _| 0.0),
        field("z", "gpm", "geopotential_height", &|_, level| {
            HEIGHTS_M[level]
        }),
    ]
}

/// Winds of three times on levels, and how the file tells the times.
fn told(dimension: &str, listed: &str, times: Vec<Variable>) -> Vec<u8> {
    let along = [dimension, "level", "lat", "lon"];
    let mut variables = times;
    variables.extend(places());
    variables.push(levels());
    variables.extend(fields(&along, 3, &[("coordinates", listed)]));
    let count = POINTS.len();
    let dimensions = [
        (dimension, 3),
        ("level", HPA.len()),
        ("lat", count),
        ("lon", count),
    ];
    netcdf(&dimensions, &variables)
}

const SINCE: &str = "hours since 2026-02-05 12:00:00";
const NOON: &str = "2026-02-05T12:00:00Z";
const LATER: [&str; 3] = [
    "2026-02-05T18:00:00Z",
    "2026-02-06T00:00:00Z",
    "2026-02-06T06:00:00Z",
];
const LEADS: [f64; 3] = [6.0, 12.0, 18.0];

fn time(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// For which times the winds are, in the order in which they grow, of which runs, and what was assumed.
fn read(file: Vec<u8>) -> (Vec<String>, Vec<Option<Timestamp>>, Vec<Reading>) {
    let archive = joined(vec![file]);
    let block = archive
        .cut(archive.lattice.whole(), 0..archive.steps.len())
        .unwrap();
    let wind = |step: usize| block.east_m_s[[block.column(0, step, 1, 1), 0]];
    let mut steps: Vec<usize> = (0..archive.steps.len()).collect();
    steps.sort_by(|a, b| wind(*a).total_cmp(&wind(*b)));
    let valid = steps.iter().map(|s| archive.steps[*s].valid.to_string());
    let runs = steps.iter().map(|s| archive.steps[*s].run);
    (valid.collect(), runs.collect(), archive.assumed)
}

/// As programs write forecasts that were decoded from GRIB: one run, lead times, and which times these come to.
#[test]
fn a_list_of_times_makes_the_one_time_beside_it_that_of_the_run() {
    let step = || {
        Variable::new(
            "step",
            &["step"],
            &[("units", "hours"), ("standard_name", "forecast_period")],
            LEADS,
        )
    };
    let list = || {
        Variable::new(
            "valid_time",
            &["step"],
            &[("units", SINCE), ("long_name", "time")],
            LEADS,
        )
    };
    for (name, says) in [
        ("standard_name", "time"),
        ("standard_name", "forecast_reference_time"),
        ("long_name", "initial time of forecast"),
        ("comment", "none"),
    ] {
        let run = Variable::new("time", &[], &[("units", SINCE), (name, says)], [0.0]);
        let file = told("step", "time valid_time", vec![run, step(), list()]);
        let (valid, runs, assumed) = read(file);
        assert_eq!(valid, LATER, "{says}");
        assert_eq!(runs, [Some(time(NOON)); 3], "{says}");
        assert!(assumed.is_empty(), "{assumed:?}");
    }
    // Without the list that is likely, and said.
    let run = Variable::new("time", &[], &[("units", SINCE)], [0.0]);
    let (valid, runs, assumed) = read(told("step", "time", vec![run, step()]));
    assert_eq!(
        (valid, runs),
        (LATER.map(String::from).to_vec(), vec![Some(time(NOON)); 3])
    );
    assert_eq!(assumed, [Reading::TimesOfRuns]);
}

/// One lead time of several runs.
#[test]
fn a_list_of_times_along_those_of_runs_is_what_values_are_for() {
    let hours =
        |name, along, values: [f64; 3]| Variable::new(name, along, &[("units", SINCE)], values);
    let lead = || {
        Variable::new(
            "step",
            &[],
            &[("units", "hours"), ("standard_name", "forecast_period")],
            [6.0],
        )
    };
    let runs = [0.0, 6.0, 12.0];
    let file = told(
        "time",
        "step valid_time",
        vec![
            hours("time", &["time"], runs),
            lead(),
            hours("valid_time", &["time"], LEADS),
        ],
    );
    let (valid, of_runs, _) = read(file);
    assert_eq!(valid, LATER);
    assert_eq!(
        of_runs,
        [NOON, LATER[0], LATER[1]].map(|run| Some(time(run)))
    );
    // The list says the same as the dimension: no runs are told.
    let file = told(
        "time",
        "valid_time",
        vec![
            hours("time", &["time"], LEADS),
            hours("valid_time", &["time"], LEADS),
        ],
    );
    let (valid, of_runs, assumed) = read(file);
    assert_eq!(valid, LATER);
    assert_eq!(of_runs, [None; 3]);
    assert!(assumed.is_empty(), "{assumed:?}");
    // A run later than what it is for is none.
    let file = told(
        "time",
        "valid_time",
        vec![
            hours("time", &["time"], LEADS),
            hours("valid_time", &["time"], runs),
        ],
    );
    let refused = GridFile::from_bytes("late.nc", file)
        .err()
        .unwrap()
        .to_string();
    assert!(refused.contains("with more than one time"), "{refused}");
}

/// As a server's subset of a forecast: beside levels of pressure the layers next to the ground, whose
/// coordinate is how much less the pressure is there.
#[test]
fn pressures_counted_from_the_ground_are_no_levels() {
    let along = ["time", "level", "lat", "lon"];
    let above_ground = ["time", "layer", "lat", "lon"];
    let layer = |more: &[(&'static str, &'static str)]| {
        let attributes = [&[("units", "Pa")], more].concat();
        Variable::new("layer", &["layer"], &attributes, [1_500.0, 4_500.0])
    };
    let near_ground = |name, standard_name| {
        let attributes = [("units", "m s-1"), ("standard_name", standard_name)];
        Variable::new(name, &above_ground, &attributes, vec![-33.0; 2 * 9])
    };
    let datum = [("datum", "ground")];
    for layer in [layer(&datum), layer(&[]).with("Grib_level_type", &[108])] {
        let times = Variable::new("time", &["time"], &[("units", SINCE)], [6.0]);
        let mut variables = vec![times, layer, levels()];
        variables.extend(places());
        variables.push(near_ground("u_layer", "eastward_wind"));
        variables.push(near_ground("v_layer", "northward_wind"));
        variables.extend(fields(&along, 1, &[]));
        let sizes = [
            ("time", 1),
            ("level", HPA.len()),
            ("layer", 2),
            ("lat", 3),
            ("lon", 3),
        ];
        let archive = joined(vec![netcdf(&sizes, &variables)]);
        assert_eq!(archive.levels_pa, HPA.map(|hpa| 100 * hpa as u32));
        let told = archive.left_out_of_all().join("; ");
        assert!(told.contains("2 variables: along \"layer\""), "{told}");
        let block = archive.cut(archive.lattice.whole(), 0..1).unwrap();
        assert!(block.east_m_s.iter().all(|wind| *wind == 10.0));
    }
}

/// A file of levels every six hours, and one of winds at 10 m every hour.
#[test]
fn hours_of_the_wind_at_the_ground_alone_are_no_steps() {
    let hours = |count: usize, every: f64| {
        let values = (0..count).map(move |i| every * i as f64);
        Variable::new("time", &["time"], &[("units", SINCE)], values)
    };
    let mut aloft = vec![hours(3, 6.0), levels()];
    aloft.extend(places());
    aloft.extend(fields(&["time", "level", "lat", "lon"], 3, &[]));
    let sizes = [("time", 3), ("level", HPA.len()), ("lat", 3), ("lon", 3)];
    let aloft = netcdf(&sizes, &aloft);
    let along = ["time", "lat", "lon"];
    let at_10_m = |name, parameter| {
        Variable::new(name, &along, &[("units", "m s-1")], vec![3.0; 13 * 9])
            .with("GRIB_paramId", parameter)
    };
    let mut near = vec![
        hours(13, 1.0),
        at_10_m("u10", &[165]),
        at_10_m("v10", &[166]),
    ];
    near.extend(places());
    let near = netcdf(&[("time", 13), ("lat", 3), ("lon", 3)], &near);
    let archive = joined(vec![aloft, near]);
    let valid: Vec<String> = archive.steps.iter().map(|s| s.valid.to_string()).collect();
    assert_eq!(valid, [NOON, LATER[0], LATER[1]]);
    assert!(archive.also().contains(&"wind at 10 m".to_owned()));
    let why = NoField::NoWindAloft;
    assert_eq!(archive.left_out, [LeftOut::Fields { count: 20, why }]);
    let block = archive.cut(archive.lattice.whole(), 0..3).unwrap();
    let wind = block.ground.unwrap().wind_m_s.unwrap();
    assert!(wind.column(0).iter().all(|east| *east == 3.0));
}

/// Winds of two members at noon and at 18 UTC.
fn members() -> Vec<u8> {
    let number = [("standard_name", "realization")];
    let mut variables = vec![
        Variable::new("number", &["number"], &number, [0.0, 1.0]),
        Variable::new("time", &["time"], &[("units", SINCE)], [0.0, 6.0]),
        levels(),
    ];
    variables.extend(places());
    let along = ["number", "time", "level", "lat", "lon"];
    variables.extend(fields(&along, 4, &[]));
    netcdf(
        &[
            ("number", 2),
            ("time", 2),
            ("level", HPA.len()),
            ("lat", 3),
            ("lon", 3),
        ],
        &variables,
    )
}

/// Winds at noon and at 18 UTC of one forecast, and what else the attributes of all of them say.
fn one_forecast(more: &[(&str, &str)]) -> Vec<u8> {
    let hours = [0.0, 6.0];
    let mut variables = vec![
        Variable::new("time", &["time"], &[("units", SINCE)], hours),
        // As converters number what has no number.
        Variable::new("number", &[], &[("standard_name", "realization")], [0.0]),
        levels(),
    ];
    variables.extend(places());
    let listed = [&[("coordinates", "number")], more].concat();
    variables.extend(fields(&["time", "level", "lat", "lon"], 2, &listed));
    let sizes = [("time", 2), ("level", HPA.len()), ("lat", 3), ("lon", 3)];
    netcdf(&sizes, &variables)
}

/// A model's ground is given for one time, as that of a reanalysis, and for no member.
#[test]
fn the_ground_of_another_time_is_that_of_all_times_and_members() {
    let hours = [-6.0];
    let along = ["time", "lat", "lon"];
    let height = [("units", "m"), ("standard_name", "surface_altitude")];
    let mut ground = vec![
        Variable::new("time", &["time"], &[("units", SINCE)], hours),
        Variable::new("z", &along, &height, [800.0; 9]),
    ];
    ground.extend(places());
    let ground = netcdf(&[("time", 1), ("lat", 3), ("lon", 3)], &ground);
    for (winds, count) in [(one_forecast(&[]), 1), (members(), 2)] {
        let archive = joined(vec![winds, ground.clone()]);
        let valid: Vec<String> = archive.steps.iter().map(|s| s.valid.to_string()).collect();
        assert_eq!(valid, [NOON, LATER[0]]);
        assert_eq!(archive.members.len(), count);
        assert!(archive.left_out.is_empty(), "{:?}", archive.left_out);
        assert!(archive.also().contains(&"orography".to_owned()));
        let block = archive.cut(archive.lattice.whole(), 0..2).unwrap();
        let altitude_m = block.ground.unwrap().altitude_m;
        assert!(altitude_m.iter().all(|z| (z - 800.0).abs() < 2.0));
    }
}

#[test]
fn the_mean_of_an_ensemble_is_no_further_member() {
    let count = 3 * 2 * HPA.len();
    for says in [
        ("GRIB_dataType", "em"),
        ("cell_methods", "realization: mean"),
    ] {
        let archive = joined(vec![one_forecast(&[says]), members()]);
        assert_eq!(archive.members, [Some(0), Some(1)]);
        let why = NoField::EnsembleMean;
        assert_eq!(archive.left_out, [LeftOut::Fields { count, why }]);
        assert!(archive.assumed.is_empty(), "{:?}", archive.assumed);
        // By itself it is a forecast.
        let alone = joined(vec![one_forecast(&[says])]);
        assert_eq!(alone.members, [None]);
        assert!(alone.left_out.is_empty());
    }
}

/// What stands for missing values where the file does not say so.
#[test]
fn gusts_that_no_air_has_are_missing() {
    let hours = [0.0, 6.0];
    let mut variables = vec![
        Variable::new("time", &["time"], &[("units", SINCE)], hours),
        levels(),
    ];
    variables.extend(places());
    variables.extend(fields(&["time", "level", "lat", "lon"], 2, &[]));
    let gusts = [("units", "m s-1"), ("standard_name", "wind_speed_of_gust")];
    let values = [[12.0; 9], [9_999.0; 9]].concat();
    variables.push(Variable::new(
        "gust",
        &["time", "lat", "lon"],
        &gusts,
        values,
    ));
    let sizes = [("time", 2), ("level", HPA.len()), ("lat", 3), ("lon", 3)];
    let archive = joined(vec![netcdf(&sizes, &variables)]);
    let block = archive.cut(archive.lattice.whole(), 0..2).unwrap();
    let gusts = block.ground.unwrap().gust_m_s.unwrap();
    let (there, missing) = gusts.as_slice().unwrap().split_at(9);
    assert!(there.iter().all(|gust| *gust == 12.0));
    assert!(missing.iter().all(|gust| gust.is_nan()), "{missing:?}");
}

/// MERRA-2 has a standard name of its own for the heights of its levels.
#[test]
fn heights_by_another_name_are_read() {
    let along = ["time", "level", "lat", "lon"];
    let times = Variable::new("time", &["time"], &[("units", SINCE)], [6.0]);
    let mut variables = vec![times, levels()];
    variables.extend(places());
    let [u, v, mut z] = fields(&along, 1, &[]);
    z.attributes = Variable::new(
        "",
        &[],
        &[("units", "m"), ("standard_name", "edge_heights")],
        [],
    )
    .attributes;
    variables.extend([u, v, z]);
    let sizes = [("time", 1), ("level", HPA.len()), ("lat", 3), ("lon", 3)];
    let file = GridFile::from_bytes("heights.nc", netcdf(&sizes, &variables)).unwrap();
    let heights = file
        .slabs
        .iter()
        .filter(|slab| slab.quantity == Quantity::Height);
    assert_eq!(heights.count(), HPA.len());
    let archive = Archive::join(vec![file], Joining::default()).unwrap();
    assert!(archive.assumed.is_empty(), "{:?}", archive.assumed);
}

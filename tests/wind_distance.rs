//! Regions of winds from another place hold what they claim: by distance, on forecasts and analyses.
//!
//! A flight is flown in the column of one point of a grid and met by that of another, at the same
//! hour. The grids do not resolve small scales, and what a fresh sounding is wrong by besides is in
//! the error said. Pairs whose first points share a square of 3,000 km are one weather, as wide as
//! its systems are. The constants were fitted to these grids among others.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

mod common;
#[path = "common/grids.rs"]
mod grids;
#[path = "common/wind_series.rs"]
mod wind_series;

use grids::{GFS_2011, GFS_EUROPE, archive};
use wind_series::{Flown, Judged, judge};
use windfall::geodesy::Position;
use windfall::wind::column::WindProfile;
use windfall::wind::error::WindError;
use windfall::wind::grid::Block;
use windfall::wind::placing::Placing;

const MIDWEST: &str = "era5_midwest_20200223_16z.nc";
const NORTH_AMERICA: &str = "gfs_1p0_north_america_20101026_12z.nc";
const GFS_2017: &str = "gfs_2p5_global_20170322_00z.grib2";

/// Files with the corners (south, west, north, east) and the steps (degrees) of the points taken.
const GRIDS: [(&str, [f64; 4], f64); 5] = [
    (GFS_EUROPE, [41.5, -4.5, 50.5, 8.5], 3.0),
    (MIDWEST, [31.0, -99.0, 53.0, -76.0], 4.0),
    (NORTH_AMERICA, [22.0, -148.0, 63.0, -52.0], 7.0),
    (GFS_2011, [-65.0, -175.0, 65.0, 175.0], 10.0),
    (GFS_2017, [-65.0, -175.0, 65.0, 175.0], 10.0),
];

/// A forecast's only time, decoded whole.
struct Decoded {
    block: Block,
    placing: Placing,
}

impl Decoded {
    fn new(file: &str) -> Decoded {
        let archive = archive(file);
        let window = archive.lattice.whole();
        let block = archive.cut(window, 0..archive.steps.len()).unwrap();
        let somewhere = Position::new(45.0, 0.0).unwrap();
        let placing = Placing::of_block(&block, somewhere, archive.steps[0].valid).unwrap();
        Decoded { block, placing }
    }

    fn winds(&self, place: Position) -> Option<WindProfile> {
        let weights = self.placing.weights(place.normal(), 0.0).ok()?;
        let profiles: Vec<(f64, WindProfile)> = weights
            .terms()
            .map(|(column, weight)| (weight, self.block.winds(column)))
            .collect();
        let parts: Vec<(f64, &WindProfile)> = profiles.iter().map(|(w, p)| (*w, p)).collect();
        Some(WindProfile::blend(&parts))
    }
}

/// Pairs so far apart, alternately to the east and to the north, in grids fine enough for that.
fn apart(grids: &[Decoded], distance_m: f64, wanted: impl Fn(f64) -> bool) -> Vec<Judged> {
    let mut judged = Vec::new();
    for (decoded, (file, [south, west, north, east], step)) in grids.iter().zip(GRIDS) {
        if file.contains("2p5") && distance_m < 250_000.0 {
            continue;
        }
        let rows = ((north - south) / step) as u32;
        let columns = ((east - west) / step) as u32;
        for (j, i) in (0..=rows).flat_map(|j| (0..=columns).map(move |i| (j, i))) {
            let (lat, lon) = (south + step * f64::from(j), west + step * f64::from(i));
            let here = Position::new(lat, lon).unwrap();
            let there = here.destination(if (i + j) % 2 == 0 { 90.0 } else { 0.0 }, distance_m);
            if !wanted(lat) {
                continue;
            }
            let (Some(used), Some(met)) = (decoded.winds(here), decoded.winds(there)) else {
                continue;
            };
            let Some(flown) = Flown::in_both(&used, &met) else {
                continue;
            };
            let error = WindError::of_sounding(&used, lat, 0.0, distance_m);
            let square = |degrees: f64, km: f64| (degrees * 111.2 / km).floor() as i64;
            let across = square(lon * lat.to_radians().cos(), 3_000.0);
            judged.push(Judged::new(
                file,
                1_000 * square(lat, 3_000.0) + across,
                flown.drift_m(&used),
                flown.drift_m(&met),
                flown.sigma_m(&error),
            ));
        }
    }
    judged
}

#[test]
fn a_sounding_from_some_distance_holds_what_it_says() {
    let grids = GRIDS.map(|(file, ..)| Decoded::new(file));
    for (what, wanted) in [
        (
            "beyond 20 degrees",
            (|lat: f64| lat.abs() > 20.0) as fn(f64) -> bool,
        ),
        ("within 20 degrees", |lat: f64| lat.abs() <= 20.0),
    ] {
        for km in [100.0, 200.0, 300.0, 500.0] {
            let judged = apart(&grids, 1_000.0 * km, wanted);
            if judged.is_empty() {
                continue;
            }
            for (file, ..) in GRIDS {
                let of_file: Vec<Judged> = apart_of(&judged, file);
                if !of_file.is_empty() {
                    judge(&of_file).print(&format!("{km} km, {what}, {file}"));
                }
            }
            let verdict = judge(&judged);
            let what = format!("{km} km, {what}, all");
            verdict.print(&what);
            verdict.assert_held_at_least(&what);
            // Nearer than 300 km the grids are smoother than the wind.
            if km >= 300.0 {
                assert!(verdict.score_m < 1.02 * verdict.circle_score_m, "{what}");
                assert!(verdict.said_m < 1.5 * verdict.off_m, "{what}");
            }
        }
    }
}

fn apart_of(judged: &[Judged], file: &str) -> Vec<Judged> {
    judged.iter().filter(|j| j.place == file).cloned().collect()
}

//! Flights that come down on terrain: closed forms on slopes, a real tile, a forecast's own ground.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/grids.rs"]
mod grids;

use std::fmt::Write as _;
use std::path::Path;

use grids::{GFS_EUROPE, archive};
use windfall::geodesy::{Position, SEMI_MAJOR_M};
use windfall::ground::region::Region;
use windfall::ground::terrain::Terrain;
use windfall::notes::warning::{Warning, warnings};
use windfall::notes::{Assumption, Note};
use windfall::plan::Plan;
use windfall::report::notes;
use windfall::sources::{FileAscent, read_soundings};
use windfall::units::UnitSystem;
use windfall::winds::Winds;
use windfall::zone::facts::LandedOn;
use windfall::zone::{Options, Prediction, predict};

const OPTIONS: Options = Options {
    draws: 400,
    seed: 1,
    keep_draws: true,
};

/// 10 m/s from the west everywhere, without temperatures.
fn west_wind(folder: &Path) -> Winds {
    let path = folder.join("west.csv");
    let rows = "altitude_m,wind_speed_m_s,wind_direction_deg\n0,10,270\n40000,10,270\n";
    std::fs::write(&path, rows).unwrap();
    let soundings = read_soundings(&path, None).unwrap();
    let ascent = |sounding| FileAscent {
        file: "west.csv".into(),
        sounding,
    };
    Winds::Soundings(soundings.into_iter().map(ascent).collect())
}

/// Up at 5 m/s to 6 km, down at 5 m/s.
fn plan(site: &str, more: &str) -> Plan {
    let text = format!(
        "[flight]\nrelease = 2026-05-01T06:00:00Z\n[site]\n{site}\n[ascent]\nrate = \"5 m/s\"\nburst_altitude = \"6 km\"\n[descent]\nrates = [[\"0 m\", \"5 m/s\"]]\n[spread]\nwind = \"none\"\n{more}"
    );
    Plan::parse("test.toml", &text, Path::new("")).unwrap()
}

/// An ESRI grid along the equator from 10 degrees east on: 1,000 m at 10 E, so much more for each
/// metre eastward.
fn slope(folder: &Path, rise: f64) -> String {
    let metres_a_degree = SEMI_MAJOR_M.to_radians();
    let mut text = String::from(
        "ncols 601\nnrows 3\nxllcenter 9.9\nyllcenter -0.001\ncellsize 0.001\nNODATA_value -9999\n",
    );
    for _ in 0..3 {
        let height = |i: i32| 1_000.0 + rise * (f64::from(i) * 0.001 - 0.1) * metres_a_degree;
        let row: Vec<String> = (0..601)
            .map(|i| format!("{:.4}", height(i).clamp(-450.0, 8_900.0)))
            .collect();
        writeln!(text, "{}", row.join(" ")).unwrap();
    }
    let path = folder.join("slope.asc");
    std::fs::write(&path, text).unwrap();
    format!("[ground]\nterrain = [{:?}]\n", path.to_str().unwrap())
}

/// Metres along the equator and seconds until the flight from 1,000 m at x = 0 meets the ground:
/// eastward drift at height z moves the foot by a / (a + z) of it.
fn by_hand(rise: f64) -> (f64, f64, f64) {
    let (dt, wind, rate) = (0.01, 10.0, 5.0);
    let (mut x, mut z, mut t) = (0.0, 1_000.0, 0.0);
    let mut up = true;
    loop {
        let dz = if up { rate * dt } else { -rate * dt };
        x += wind * dt * SEMI_MAJOR_M / (SEMI_MAJOR_M + z + 0.5 * dz);
        z += dz;
        t += dt;
        up = up && z < 6_000.0;
        if !up && z <= 1_000.0 + rise * x {
            return (x, z, t);
        }
    }
}

#[test]
fn the_touchdown_on_a_slope_is_that_of_the_closed_form() {
    let folder = tempfile::tempdir().unwrap();
    let winds = west_wind(folder.path());
    // Down to 580 m, below the site; level; up to 1,400 m; steeper than the fall.
    for rise in [-0.02, 0.0, 0.02, 0.2] {
        let plan = plan(
            "lat = 0.0\nlon = 10.0\nelevation = \"1000 m\"",
            &slope(folder.path(), rise),
        );
        let zone = predict(&plan, &winds, OPTIONS, || {}).unwrap().zone;
        let (x, z, t) = by_hand(rise);
        let landing = zone.landing;
        let east = (landing.position.lon_deg - 10.0).to_radians() * SEMI_MAJOR_M;
        assert!((east - x).abs() < 1.0, "{rise}: {east} {x}");
        assert!(
            (landing.altitude_m - z).abs() < 0.2,
            "{rise}: {landing:?} {z}"
        );
        let seconds = landing.time.duration_since(zone.release.time).as_secs_f64();
        assert!((seconds - t).abs() < 0.1, "{rise}: {seconds} {t}");
    }
}

#[test]
fn where_the_terrain_ends_the_elevation_of_the_site_counts() {
    let folder = tempfile::tempdir().unwrap();
    let winds = west_wind(folder.path());
    // Released 5 km before the end of the grid, at 10.5 E.
    let site = "lat = 0.0\nlon = 10.455\nelevation = \"1012 m\"";
    let plan = plan(site, &slope(folder.path(), 0.0));
    let told = predict(&plan, &winds, OPTIONS, || {}).unwrap();
    assert!((told.zone.landing.altitude_m - 1_012.0).abs() < 1e-6);
    // A tenth of the draws bursts early, over the grid.
    let LandedOn { source, share } = &told.facts.landed_on[0];
    assert!(source.is_none() && *share > 0.85, "{share}");
    let on_site = Assumption::LandsWithoutTerrain { share: *share };
    let assumed = &told.zone.assumptions;
    assert!(assumed.contains(&on_site), "{assumed:?}");
}

/// Released at 20.5 E in a wind from the west, 10 degrees beyond the grid's last height.
#[test]
fn terrain_of_elsewhere_is_refused_and_terrain_that_is_never_met_is_a_warning() {
    let folder = tempfile::tempdir().unwrap();
    let winds = west_wind(folder.path());
    let terrain = slope(folder.path(), 0.0);
    let released = |lon: f64| {
        let site = format!("lat = 0.0\nlon = {lon}\nelevation = \"1012 m\"");
        predict(&plan(&site, &terrain), &winds, OPTIONS, || {})
    };
    let message = released(20.5).unwrap_err().to_string();
    assert!(message.contains("no height within 300 km"), "{message}");
    let told = released(10.8).unwrap().zone;
    let never_met = Assumption::LandsWithoutTerrain { share: 1.0 };
    assert!(
        told.assumptions.contains(&never_met),
        "{:?}",
        told.assumptions
    );
    let warned = warnings(&told.notes, &told.assumptions);
    assert!(
        warned.contains(&Warning::Assumption(never_met)),
        "{warned:?}"
    );
}

const TILE: &str = "tests/data/ground/N44W072.hgt.gz";

fn over_the_tile(folder: &Path, elevation: &str) -> Prediction {
    let site = format!("lat = 44.27\nlon = -71.75\n{elevation}");
    let plan = plan(&site, &format!("[ground]\nterrain = [{TILE:?}]\n"));
    predict(&plan, &west_wind(folder), OPTIONS, || {}).unwrap()
}

/// SRTM tile of the White Mountains (tests/data/ground/README.md).
#[test]
fn flights_come_down_on_a_real_tile() {
    let folder = tempfile::tempdir().unwrap();
    let told = over_the_tile(folder.path(), "");
    let middle = Position::new(44.5, -71.5).unwrap();
    let terrain = Terrain::open(&[TILE], &Region::around(middle, 90_000.0)).unwrap();
    let ground_m = |p: Position| terrain.height_m(p).unwrap();
    let zone = &told.zone;
    // Without an elevation in the plan the site lies on the ground.
    let site_m = ground_m(zone.release.position);
    assert!((zone.release.altitude_m - site_m).abs() < 1e-6);
    let landing = zone.landing;
    assert!((landing.altitude_m - ground_m(landing.position)).abs() < 0.2);
    assert!((landing.altitude_m - site_m).abs() > 20.0, "{landing:?}");
    let file = LandedOn {
        source: Some("N44W072.hgt.gz".into()),
        share: 1.0,
    };
    assert_eq!(told.facts.landed_on, [file]);
    assert!(
        !zone
            .notes
            .iter()
            .any(|n| matches!(n, Note::ReleaseOffGround(_)))
    );
}

#[test]
fn a_release_off_the_ground_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let terrain_m = over_the_tile(folder.path(), "").zone.release.altitude_m;
    for (off_m, told) in [
        (-49.0, None),
        (49.0, None),
        (-52.0, Some("below")),
        (52.0, Some("above")),
    ] {
        let elevation = format!("elevation = \"{:.1} m\"", terrain_m + off_m);
        let notes = over_the_tile(folder.path(), &elevation).zone.notes;
        let found = notes.iter().find_map(|n| match n {
            Note::ReleaseOffGround(off) => Some((n, off)),
            _ => None,
        });
        assert_eq!(found.is_some(), told.is_some(), "{off_m}: {notes:?}");
        if let (Some((note, off)), Some(side)) = (found, told) {
            assert!((off.above_m - off_m).abs() < 0.1, "{off:?}");
            let words = format!("52 m {side} the ground by N44W072.hgt.gz");
            let note = notes::note(note, UnitSystem::Metric);
            assert!(note.contains(&words), "{note}");
        }
    }
}

/// GFS 0.25 degree with its orography (tests/data/grids/README.md).
#[test]
fn the_forecasts_own_ground_is_the_fallback() {
    let site = Position::new(46.5, 2.0).unwrap();
    let winds = Winds::Forecast(Box::new(archive(GFS_EUROPE)));
    let mut plan = plan("lat = 46.5\nlon = 2.0", "");
    plan.release = "2020-03-14T01:00:00Z".parse().unwrap();
    let told = predict(&plan, &winds, OPTIONS, || {}).unwrap();
    let archive = archive(GFS_EUROPE);
    let window = archive.lattice.around(site, 150_000.0).unwrap();
    let heights = archive.orography(window).unwrap().unwrap();
    let landing = told.zone.landing;
    // Between the four points around the landing, bilinear, by hand.
    let lattice = archive.lattice.cut(window);
    let x = (landing.position.lon_deg - lattice.x.first).rem_euclid(360.0) / lattice.x.step;
    let y = (landing.position.lat_deg - lattice.y.first) / lattice.y.step;
    let (i, j) = (x as usize, y as usize);
    let (fx, fy) = (x.fract(), y.fract());
    let at = |dj: usize, di: usize| f64::from(heights[[j + dj, i + di]]);
    let low = at(0, 0) * (1.0 - fx) + at(0, 1) * fx;
    let high = at(1, 0) * (1.0 - fx) + at(1, 1) * fx;
    let ground_m = low * (1.0 - fy) + high * fy;
    assert!(
        (landing.altitude_m - ground_m).abs() < 0.5,
        "{landing:?} {ground_m}"
    );
    let own = Some("the forecast's own ground".to_owned());
    assert_eq!(
        told.facts.landed_on,
        [LandedOn {
            source: own,
            share: 1.0
        }]
    );
    let assumed = &told.zone.assumptions;
    let on_forecast = Assumption::LandsOnForecastGround { share: 1.0 };
    assert!(assumed.contains(&on_forecast), "{assumed:?}");
}

/// Lower ground far away, where nobody lands, changes no draw: not the height at which canopies change either.
#[test]
fn a_valley_far_away_changes_no_landing() {
    let folder = tempfile::tempdir().unwrap();
    let winds = west_wind(folder.path());
    let landings = |valley_m: f64| {
        let mut text = String::from(
            "ncols 301\nnrows 3\nxllcenter 9.9\nyllcenter -0.01\ncellsize 0.01\nNODATA_value -9999\n",
        );
        for _ in 0..3 {
            let height = |i: i32| if i > 250 { valley_m } else { 1_000.0 };
            let row: Vec<String> = (0..301).map(|i| height(i).to_string()).collect();
            writeln!(text, "{}", row.join(" ")).unwrap();
        }
        let path = folder.path().join(format!("{valley_m}.asc"));
        std::fs::write(&path, text).unwrap();
        let text = format!(
            "[flight]\nrelease = 2026-05-01T06:00:00Z\n[site]\nlat = 0.0\nlon = 10.0\nelevation = \"1000 m\"\n[ascent]\nrate = \"5 m/s\"\nburst_altitude = \"6 km\"\n[descent]\nlanding_speed = \"5 m/s\"\n[spread]\nwind = \"none\"\ncanopy_changes = \"100 %\"\n[ground]\nterrain = [{:?}]\n",
            path.to_str().unwrap()
        );
        let plan = Plan::parse("test.toml", &text, Path::new("")).unwrap();
        predict(&plan, &winds, OPTIONS, || {})
            .unwrap()
            .zone
            .draws
            .unwrap()
    };
    let (flat, with_valley) = (landings(1_000.0), landings(-400.0));
    assert_eq!(flat.len(), with_valley.len());
    let apart = flat.iter().zip(&with_valley).map(|(a, b)| a.distance_m(*b));
    let farthest_m = apart.fold(0.0, f64::max);
    assert!(farthest_m < 1.0, "{farthest_m}");
}

/// The plan's terrain counts where it covers, also where it is coarser than the forecast's own ground.
#[test]
fn the_plans_terrain_counts_before_the_forecasts_ground() {
    let folder = tempfile::tempdir().unwrap();
    let winds = Winds::Forecast(Box::new(archive(GFS_EUROPE)));
    // 5 by 5 heights a degree apart: the forecast's are a quarter of one apart.
    let mut text = String::from("ncols 5\nnrows 5\nxllcenter 0\nyllcenter 44.5\ncellsize 1\n");
    text.push_str(&"777 777 777 777 777\n".repeat(5));
    let path = folder.path().join("coarse.asc");
    std::fs::write(&path, text).unwrap();
    let more = format!("[ground]\nterrain = [{:?}]\n", path.to_str().unwrap());
    let mut plan = plan("lat = 46.5\nlon = 2.0", &more);
    plan.release = "2020-03-14T01:00:00Z".parse().unwrap();
    let told = predict(&plan, &winds, OPTIONS, || {}).unwrap();
    assert!((told.zone.landing.altitude_m - 777.0).abs() < 0.2);
    let said = told.zone.assumptions.iter().find_map(|a| match a {
        Assumption::LandsOnCoarseTerrain {
            share,
            source,
            spacing_m,
            forecast_m,
        } => Some((*share, source.as_str(), *spacing_m, *forecast_m)),
        _ => None,
    });
    let (share, source, spacing_m, forecast_m) = said.unwrap();
    assert_eq!((share, source), (1.0, "coarse.asc"));
    assert!(
        (spacing_m / forecast_m - 4.0).abs() < 0.1,
        "{spacing_m} {forecast_m}"
    );
}

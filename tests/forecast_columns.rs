//! Columns of forecasts: what is interpolated from a file, against tables made by independent
//! decoders and numpy or xarray (tests/data/grids/reference/README.md says how).

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/grids.rs"]
mod grids;

use grids::{
    GFS_2011, GFS_EUROPE, NAM, PORTUGAL_2022, PORTUGAL_2023, Row, archive, number, path, place_of,
    table, time_of,
};
use jiff::Timestamp;
use windfall::atmosphere::{AirProfile, Geopotential};
use windfall::geodesy::Position;
use windfall::geodesy::lattice::Window;
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::Archive;
use windfall::wind::column::{Column, WindProfile};
use windfall::wind::placing::Placing;
use windfall::wind::slab::{Quantity, Surface};
use windfall::wind::sounding::Wind;

/// Wind and air above a place, in the way flights are flown: cut, placed, each column's profile
/// weighed.
fn column(archive: &Archive, place: Position, time: Timestamp) -> (WindProfile, AirProfile) {
    let window = archive.lattice.around(place, 0.0).unwrap();
    let block = archive
        .cut(window, archive.steps_around(time, time))
        .unwrap();
    let placing = Placing::of_block(&block, place, time).unwrap();
    let weights = placing.weights(place.normal(), 0.0).unwrap();
    let profiles: Vec<(f64, WindProfile)> =
        weights.terms().map(|(c, w)| (w, block.winds(c))).collect();
    let parts: Vec<(f64, &WindProfile)> = profiles.iter().map(|(w, p)| (*w, p)).collect();
    (WindProfile::blend(&parts), block.air(&weights, 0))
}

fn apart(wind: Wind, row: &Row) -> f64 {
    let east = wind.east_m_s - number(row, "u_m_s");
    let north = wind.north_m_s - number(row, "v_m_s");
    east.abs().max(north.abs())
}

/// Largest departures of a table's rows of one file: wind as flown, wind of [`Archive::profile`]
/// between its levels, temperature; and how many rows there were.
fn departures(rows: &[Row], file: &str) -> ([f64; 3], usize) {
    let archive = archive(file);
    let (mut worst, mut checked) = ([0.0_f64; 3], 0);
    for row in rows.iter().filter(|row| row["file"] == file) {
        let (place, time, z) = (place_of(row), time_of(row), number(row, "altitude_m"));
        let (winds, air) = column(&archive, place, time);
        let profile = Column::from_sounding(&archive.profile(place, time).unwrap());
        let here = [
            apart(winds.at(z), row),
            apart(profile.winds.at(z), row),
            (air.at(z).temperature_k - number(row, "t_k")).abs(),
        ];
        for (worst, here) in worst.iter_mut().zip(here) {
            *worst = worst.max(here);
        }
        checked += 1;
    }
    (worst, checked)
}

/// The same definition was written with numpy, so what is left is the 32 bits of heights and winds:
/// 30,000 m is held to 1 mm (in a shear of 0.02 m/s per metre 2e-5 m/s), 100 m/s to 4e-6 m/s. A profile shows one level for each pressure and
/// is straight between them, where the mean of four columns is not quite. The table interpolates
/// temperature in each column; the air of a flight interpolates levels of pressure.
#[test]
fn winds_at_altitudes_are_those_of_numpy() {
    let mut rows = table("portugal_altitudes.csv");
    rows.extend(table("gfs_altitudes.csv"));
    let mut all = 0;
    for (file, wanted) in [(PORTUGAL_2022, 55), (PORTUGAL_2023, 55), (GFS_EUROPE, 33)] {
        let ([flown, shown, temperature], checked) = departures(&rows, file);
        println!("{file}: wind {flown:.1e} m/s, profile {shown:.3} m/s, air {temperature:.2} K");
        assert_eq!(checked, wanted, "{file}");
        assert!(flown < 1e-4, "{file}: {flown} m/s");
        assert!(shown < 0.05, "{file}: {shown} m/s");
        assert!(temperature < 0.3, "{file}: {temperature} K");
        all += checked;
    }
    // The rest is of a file of 2017 that is not here.
    assert_eq!((all, rows.len()), (143, 198));
}

/// xarray interpolates heights and winds at a fixed pressure. Here winds are interpolated at a fixed
/// altitude: the pressure at it differs from column to column, by a few metres of height over 0.25
/// degrees, which in a shear of 0.01 m/s per metre makes some hundredths of a metre per second.
#[test]
fn levels_of_a_profile_are_those_of_xarray() {
    let rows = table("portugal_columns.csv");
    let (mut checked, mut worst) = (0, [0.0_f64; 3]);
    for file in [PORTUGAL_2022, PORTUGAL_2023] {
        let archive = archive(file);
        for row in rows.iter().filter(|row| row["file"] == file) {
            let place = place_of(row);
            let profile = archive.profile(place, time_of(row)).unwrap();
            let pressure = number(row, "pressure_pa");
            let level = profile
                .levels
                .iter()
                .find(|l| l.pressure_pa == Some(pressure))
                .unwrap_or_else(|| panic!("no level for {row:?}"));
            let height = Geopotential(number(row, "height_gpm")).altitude_m(place.lat_deg);
            let here = [
                (level.altitude_m - height).abs(),
                apart(level.wind.unwrap(), row),
                (level.temperature_k.unwrap() - number(row, "t_k")).abs(),
            ];
            for (worst, here) in worst.iter_mut().zip(here) {
                *worst = worst.max(here);
            }
            checked += 1;
        }
    }
    println!(
        "heights {:.3} m, winds {:.3} m/s, temperatures {:.4} K",
        worst[0], worst[1], worst[2]
    );
    assert_eq!((checked, rows.len()), (370, 370));
    assert!(worst[0] < 1.0, "{} m", worst[0]);
    assert!(worst[1] < 0.05, "{} m/s", worst[1]);
    assert!(worst[2] < 1e-3, "{} K", worst[2]);
}

/// Geometric altitude as the reference's README writes it.
fn geometric(h: f64, lat_deg: f64) -> f64 {
    let s2 = lat_deg.to_radians().sin().powi(2);
    let gamma = 9.780_325 * (1.0 + 0.001_931_85 * s2) / (1.0 - 0.006_694_35 * s2).sqrt();
    let g = gamma / 9.806_65;
    let r = 6_378_137.0 / (1.006_803 - 0.006_706 * s2);
    r * h / (g * r - h)
}

/// One column of the global file at an altitude: read point by point, interpolated by a loop.
fn at_point(file: &GridFile, row: usize, column: usize, z: f64) -> [f64; 2] {
    let window = Window {
        row,
        column,
        rows: 1,
        columns: 1,
    };
    let read = |quantity, pa| {
        let slab = file
            .slabs
            .iter()
            .position(|s| s.quantity == quantity && s.surface == Surface::Isobaric(pa))
            .unwrap();
        f64::from(file.read(slab, window).unwrap()[[0, 0]])
    };
    let mut levels: Vec<u32> = file
        .slabs
        .iter()
        .filter_map(|s| match (s.quantity, s.surface) {
            (Quantity::EastWind, Surface::Isobaric(pa)) => Some(pa),
            _ => None,
        })
        .collect();
    levels.sort_unstable();
    levels.reverse();
    let lat_deg = -90.0 + 2.5 * row as f64;
    let height = |pa| geometric(read(Quantity::Height, pa), lat_deg);
    let above = levels.iter().position(|&pa| height(pa) > z).unwrap();
    let (low, high) = (levels[above - 1], levels[above]);
    let f = (z - height(low)) / (height(high) - height(low));
    [Quantity::EastWind, Quantity::NorthWind]
        .map(|q| read(q, low) + f * (read(q, high) - read(q, low)))
}

/// Across Greenwich, where columns go on at the first; on both sides of the date line, where they
/// do not; and in the last rows before the poles.
#[test]
fn a_global_file_goes_round_the_earth() {
    let file = GridFile::open(&path(GFS_2011)).unwrap();
    let archive = archive(GFS_2011);
    let time = archive.steps[0].valid;
    let mut checked = 0;
    for (lat, lon, columns) in [
        (10.0, -0.7, [143, 0]),
        (10.0, 0.7, [0, 1]),
        (10.0, -179.3, [72, 73]),
        (10.0, 179.3, [71, 72]),
        (88.9, 40.0, [16, 17]),
        (-89.2, -120.0, [96, 97]),
    ] {
        let place = Position::new(lat, lon).unwrap();
        let (winds, _) = column(&archive, place, time);
        let rows = ((lat + 90.0) / 2.5_f64).floor();
        let north = (lat + 90.0) / 2.5 - rows;
        let degrees_east = (lon + 360.0) % 360.0;
        let east = degrees_east / 2.5 - columns[0] as f64;
        // Above the ground of the Antarctic.
        for z in [5_000.0, 8_000.0, 12_000.0, 20_000.0, 28_000.0] {
            let mut wanted = [0.0; 2];
            for (row, share) in [(rows as usize, 1.0 - north), (rows as usize + 1, north)] {
                for (column, share) in [
                    (columns[0], share * (1.0 - east)),
                    (columns[1], share * east),
                ] {
                    let wind = at_point(&file, row, column, z);
                    wanted = [wanted[0] + share * wind[0], wanted[1] + share * wind[1]];
                }
            }
            let found = winds.at(z);
            let off = (found.east_m_s - wanted[0]).hypot(found.north_m_s - wanted[1]);
            // Values of 32 bits, as above.
            assert!(off < 1e-3, "{off} m/s at {place:?}, {z} m");
            assert!(wanted[0].hypot(wanted[1]) > 0.1);
            checked += 1;
        }
    }
    assert_eq!(checked, 30);
}

/// Single points of the cone, turned to true north by ecCodes' values and the closed form.
#[test]
fn winds_of_a_cone_are_turned_when_they_are_cut() {
    let archive = archive(NAM);
    let level = archive
        .levels_pa
        .iter()
        .position(|&pa| pa == 50_000)
        .unwrap();
    let rows = table("nam_rotation.csv");
    assert_eq!(rows.len(), 3);
    for row in rows {
        let window = Window {
            row: number(&row, "row") as usize,
            column: number(&row, "column") as usize,
            rows: 2,
            columns: 2,
        };
        let block = archive.cut(window, 0..1).unwrap();
        let first = block.column(0, 0, 0, 0);
        for (found, wanted) in [(&block.east_m_s, "u_true"), (&block.north_m_s, "v_true")] {
            let off = f64::from(found[[first, level]]) - number(&row, wanted);
            // Nine digits of 41 m/s in the table, 32 bits here.
            assert!(off.abs() < 1e-3, "{off} {row:?}");
        }
        // The same through the profile above the point itself.
        let place = place_of(&row);
        let profile = archive.profile(place, archive.steps[0].valid).unwrap();
        let wind = profile
            .levels
            .iter()
            .find(|l| l.pressure_pa == Some(50_000.0))
            .and_then(|l| l.wind)
            .unwrap();
        let off =
            (wind.east_m_s - number(&row, "u_true")).hypot(wind.north_m_s - number(&row, "v_true"));
        // The place has nine digits, and a flight's map of the cone is off by up to 2 m.
        assert!(off < 2e-3, "{off} {row:?}");
    }
}

/// Corners and edges belong to the region: `winds` says "39 to 40 N, 9 to 7 W".
#[test]
fn the_edge_of_the_region_is_in_it() {
    let archive = archive(PORTUGAL_2023);
    let time = archive.steps[0].valid;
    for (lat, lon) in [
        (39.0, -9.0),
        (40.0, -7.0),
        (39.0, -7.4),
        (39.6, -9.0),
        (40.0, -8.0),
    ] {
        let place = Position::new(lat, lon).unwrap();
        assert!(archive.profile(place, time).is_ok(), "{lat} {lon}");
    }
    for (lat, lon) in [
        (38.999, -8.0),
        (40.001, -8.0),
        (39.5, -9.001),
        (39.5, -6.999),
    ] {
        let place = Position::new(lat, lon).unwrap();
        let message = archive.profile(place, time).unwrap_err().to_string();
        assert!(message.contains("39 to 40 N, 9 to 7 W"), "{message}");
    }
}

//! Years of winds: a record whose numbers can be written down, real hours against `days` release by
//! release, the same bytes from any cut, no value decoded twice.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/grids.rs"]
mod grids;
#[path = "common/made_years.rs"]
mod made_years;
#[path = "common/program.rs"]
mod program;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use grids::{PORTUGAL_2022, PORTUGAL_2023, path};
use jiff::civil::Date;
use jiff::{Timestamp, ToSpan};
use made_years::{
    LATITUDES, LEVELS, LONGITUDES, Whose, Wind, write, write_ground, write_month, write_of,
};
use program::{stderr, stdout, windfall};
use windfall::atmosphere::AirProfile;
use windfall::choice::answer::Verdict;
use windfall::choice::basis::Basis;
use windfall::choice::candidates::Candidate;
use windfall::choice::days::days;
use windfall::geodesy::Position;
use windfall::notes::{Assumption, Note};
use windfall::plan::Plan;
use windfall::random::SplitMix;
use windfall::sources::Hints;
use windfall::winds::Winds;
use windfall::years::answer::{FieldYears, Season, Years};
use windfall::years::digest::Digest;
use windfall::years::long_record::{LongRecord, listed};
use windfall::years::parts::{self, Part};
use windfall::years::release::{Decides, Release, Unknown};
use windfall::years::tally::years;
use windfall::years::{Job, YearsRequest};
use windfall::zone::Options;

/// Wind alone decides: nothing varies, and no limit but that of the drift can be broken.
const CALM: &str = r#"
[flight]
name = "Made years"
release = 2020-06-01T09:00:00Z
timezone = "Europe/Madrid"
[site]
lat = 40.0
lon = -3.0
elevation = "100 m"
[ascent]
rate = "5 m/s"
burst_altitude = "20 km"
[descent]
landing_speed = "5 m/s"
[spread]
wind = "none"
release_delay = "0 min"
[limits]
surface_wind = "30 m/s"
keep_out_probability = 1.0
all_hazards_probability = 1.0
water_probability = 1.0
max_drift = "60 km"
daylight_after_landing = "1 h"
"#;

/// Slow winds stay below the limit of the drift, fast ones go beyond it.
const SLOW_M_S: f64 = 4.0;
const FAST_M_S: f64 = 16.0;
/// By month: how often the wind is fast, and how often it blows eastward instead of northward.
const MONTHS: [(i8, f64, f64); 3] = [(3, 0.7, 0.5), (6, 0.2, 0.9), (10, 0.4, 0.2)];
const YEARS: [i16; 4] = [2016, 2017, 2018, 2019];

fn plan(text: &str) -> Plan {
    Plan::parse("made.toml", text, Path::new(".")).unwrap()
}

/// The wind of a day: drawn from the distribution of its month, always the same for the same day.
fn wind_of(date: Date) -> Wind {
    let (_, fast, east) = MONTHS.into_iter().find(|m| m.0 == date.month()).unwrap();
    let days = i64::from(date.year()) * 1_000 + i64::from(date.day_of_year());
    let mut stream = SplitMix::stream(7, days as u64);
    let mut uniform = || (stream.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
    let speed = if uniform() < fast { FAST_M_S } else { SLOW_M_S };
    let to = if uniform() < east { 90.0 } else { 0.0 };
    (speed, to)
}

fn made(folder: &Path) -> Vec<PathBuf> {
    let months = YEARS
        .into_iter()
        .flat_map(|year| MONTHS.map(|m| Date::constant(year, m.0, 1)));
    months
        .map(|first| write_month(folder, first, wind_of))
        .collect()
}

fn asked() -> YearsRequest {
    YearsRequest {
        between: [None; 2],
        every_s: 3_600,
        hours_s: [11 * 3_600; 2],
        into: None,
        cell_m: 5_000.0,
        options: Options {
            draws: 20,
            seed: 1,
            keep_draws: false,
        },
    }
}

fn job(plan: &Plan, fields: &[Candidate], winds: &[PathBuf], asked: YearsRequest) -> Job {
    let record = LongRecord::survey(plan, winds, &Hints::default(), None).unwrap();
    Job::new(plan, fields, record, asked, Digest::default()).unwrap()
}

fn whole(job: &Job) -> (Part, Years) {
    let part = job.fly(0..job.units(), |_| ()).unwrap();
    let answer = years(job, &part);
    (part, answer)
}

fn month(field: &FieldYears, month: i8) -> &Season {
    field
        .months
        .iter()
        .find(|season| season.month == Some(month))
        .unwrap()
}

/// How long a flight of the plan lasts: up at 5 m/s, down at 5 m/s where the air is as at sea level, and as
/// the root of the density elsewhere.
fn flight_s() -> f64 {
    let air = AirProfile::standard();
    let density = |z: f64| air.at(z).density_kg_m3;
    let (low, high, steps) = (100.0, 20_000.0, 2_000);
    let step = (high - low) / f64::from(steps);
    let down = |k: i32| (density(low + step * (f64::from(k) + 0.5)) / 1.225).sqrt() * step / 5.0;
    (high - low) / 5.0 + (0..steps).map(down).sum::<f64>()
}

#[test]
fn a_made_record_gives_its_own_numbers() {
    let folder = tempfile::tempdir().unwrap();
    let files = made(folder.path());
    let plan = plan(CALM);
    let job = job(&plan, &[], &[folder.path().to_owned()], asked());
    let (part, answer) = whole(&job);
    let field = &answer.fields[0];
    assert_eq!(
        (job.record.files, answer.year_count),
        (files.len(), YEARS.len())
    );
    for (number, fast, east) in MONTHS {
        let season = month(field, number);
        let dates: Vec<Date> = YEARS
            .into_iter()
            .flat_map(|year| {
                let first = Date::constant(year, number, 1);
                first
                    .series(1.day())
                    .take_while(move |d| d.month() == number)
            })
            .collect();
        // Every day at eleven on the clock, also those on which the clocks change.
        assert_eq!(season.counts.releases, dates.len());
        let hours: Vec<i64> = season.hours.iter().map(|h| h.at_s).collect();
        assert_eq!(hours, [11 * 3_600]);
        // The record's own share, exactly; that of the distribution within three sampling errors.
        let slow = dates.iter().filter(|d| wind_of(**d).0 == SLOW_M_S).count();
        let share = slow as f64 / dates.len() as f64;
        assert_eq!(
            (season.usable.at_least, season.usable.at_most),
            (share, share)
        );
        assert_eq!(season.usable_days.at_least, share);
        let error = (fast * (1.0 - fast) / dates.len() as f64).sqrt();
        assert!(
            (share - (1.0 - fast)).abs() < 3.0 * error,
            "{number}: {share}"
        );
        let between = season.between_years.as_ref().unwrap();
        assert!(between.interval[0] <= share && share <= between.interval[1]);
        assert_eq!(between.years.len(), YEARS.len());
        assert_eq!(
            season.counts.decided,
            [(Decides::Drift, dates.len() - slow)]
        );
        // The rose has two sectors, the fourth from north being east.
        let drift = season.drift.as_ref().unwrap();
        let eastward = dates.iter().filter(|d| wind_of(**d).1 == 90.0).count();
        let rose: BTreeMap<usize, f64> = drift
            .rose
            .iter()
            .enumerate()
            .filter(|(_, sector)| sector.share > 0.0)
            .map(|(i, sector)| (i, sector.share))
            .collect();
        let of_all = eastward as f64 / dates.len() as f64;
        assert_eq!(rose.keys().collect::<Vec<_>>(), [&0, &4]);
        assert!((rose[&4] - of_all).abs() < 1e-12 && (rose[&0] + of_all - 1.0).abs() < 1e-12);
        let error = (east * (1.0 - east) / dates.len() as f64).sqrt();
        assert!((of_all - east).abs() < 3.0 * error, "{number}: {of_all}");
    }
    // Drift is the wind times the time aloft; what varies is symmetric but for the lift.
    let flight_s = flight_s();
    let mut flown = 0;
    for release in &part.releases {
        let date = plan.timezone.to_datetime(release.at()).date();
        // Days of months without a file are days of the record: nothing is known of them.
        let Some(numbers) = release.numbers.as_ref() else {
            assert!(MONTHS.iter().all(|m| m.0 != date.month()));
            assert_eq!(release.unknown, Some(Unknown::LeftHours));
            continue;
        };
        flown += 1;
        let (speed, to) = wind_of(date);
        let ratio = numbers.drift_m / (speed * flight_s);
        assert!((ratio - 1.0).abs() < 0.06, "{date}: {ratio}");
        let off = (numbers.azimuth_deg - to + 540.0).rem_euclid(360.0) - 180.0;
        assert!(off.abs() < 0.5, "{date}: {off}");
    }
    // All flights are on the map, and those of days within the limits are the near ones.
    let sum = |of: fn(&windfall::years::answer::CellShare) -> f64| {
        field.cells.iter().map(of).sum::<f64>()
    };
    let of_all = flown as f64 / part.releases.len() as f64;
    assert!((sum(|c| c.share) - of_all).abs() < 1e-9);
    assert!((sum(|c| c.usable_share) - 1.0).abs() < 1e-9);
    let far_m = |cell: &windfall::years::answer::CellShare| {
        let [south, west, north, east] = cell.bounds_deg;
        let middle = Position::new(0.5 * (south + north), 0.5 * (west + east)).unwrap();
        plan.site.position.distance_m(middle)
    };
    let farthest = field
        .cells
        .iter()
        .filter(|c| c.usable_share > 0.0)
        .map(far_m)
        .fold(0.0, f64::max);
    assert!(farthest < 60_000.0, "{farthest}");
    assert!(field.cells.iter().map(far_m).fold(0.0, f64::max) > 70_000.0);
}

/// Winds that no air has are missing, but what is decoded with them serves as before.
#[test]
fn a_day_of_impossible_winds_is_decoded_once_like_others() {
    let decoded = |speed_m_s: f64| {
        let folder = tempfile::tempdir().unwrap();
        let wind = |date: Date| match date.day() {
            10 => (speed_m_s, 90.0),
            _ => (SLOW_M_S, 90.0),
        };
        write_month(folder.path(), Date::constant(2016, 6, 1), wind);
        let between = ["2016-06-08T00:00:00Z", "2016-06-13T00:00:00Z"];
        let asked = YearsRequest {
            between: between.map(|time| Some(time.parse().unwrap())),
            every_s: 7_200,
            hours_s: [0, 86_400],
            ..asked()
        };
        let job = job(&plan(CALM), &[], &[folder.path().to_owned()], asked);
        let (part, _) = whole(&job);
        (
            part.values_decoded,
            part.releases.iter().filter(|r| r.is_unknown()).count(),
        )
    };
    let [(fast, known), (impossible, unknown)] = [FAST_M_S, 300.0].map(decoded);
    assert!(unknown > known, "{unknown}");
    assert_eq!(impossible, fast);
}

#[test]
fn any_cut_gives_the_same_bytes_and_no_value_is_decoded_twice() {
    let folder = tempfile::tempdir().unwrap();
    let june = Date::constant(2016, 6, 1);
    write_month(folder.path(), june, wind_of);
    // The next file begins where that one ends.
    let july: Vec<(Date, Wind)> = Date::constant(2016, 7, 1)
        .series(1.day())
        .take(4)
        .map(|date| (date, (FAST_M_S, 45.0)))
        .collect();
    write(&folder.path().join("2016-07.nc"), &july);
    let plan = plan(CALM);
    let fields: Vec<Candidate> = [(40.0, -3.0), (40.3, -3.2), (39.8, -2.9)]
        .map(|(lat, lon)| Candidate {
            name: format!("{lat} {lon}"),
            ..Candidate::at(Position::new(lat, lon).unwrap())
        })
        .to_vec();
    let asked = YearsRequest {
        between: [Some("2016-06-20T00:00:00Z".parse().unwrap()), None],
        // Twelve releases a day round the clock: days need hours of their neighbours.
        every_s: 7_200,
        hours_s: [0, 86_400],
        ..asked()
    };
    let job = job(&plan, &fields, &[folder.path().to_owned()], asked);
    let (part, answer) = whole(&job);
    let text = part.text().unwrap();
    for n in [1, 2, 7, 12, 1_000] {
        let mut joined = Part::empty(&job.digest, 0..0);
        for k in 1..=n {
            let units = job.shard(k, n);
            joined = joined.with(job.fly(units, |_| ()).unwrap());
            if n == 1_000 && k > 60 {
                // Most parts of so many are empty; the rest in one go.
                let rest = job.shard(k, n).end..job.units();
                joined = joined.with(job.fly(rest, |_| ()).unwrap());
                break;
            }
        }
        assert!(joined.text().unwrap() == text, "{n} parts");
    }
    let one = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .unwrap();
    let alone = one.install(|| job.fly(0..job.units(), |_| ()).unwrap());
    assert!(alone.text().unwrap() == text, "one thread");
    assert_eq!(Part::parse("part", &text).unwrap().text().unwrap(), text);
    // Three quantities on all levels and points: of every time from the first that is needed, once.
    let a_time = (3 * LEVELS.len() * LATITUDES.len() * LONGITUDES.len()) as u64;
    let first: Timestamp = "2016-06-19T18:00:00Z".parse().unwrap();
    let last: Timestamp = "2016-07-04T18:00:00Z".parse().unwrap();
    let times = 1 + last.duration_since(first).as_hours() as u64 / 6;
    assert_eq!(part.values_decoded, times * a_time);
    // Where the hours end, flights that go on are results.
    let unknown = &answer.fields[0].year.counts.why_unknown;
    assert_eq!(unknown[0].0, Unknown::LeftHours);
    let year = &answer.fields[0].year;
    assert!(year.usable.at_least < year.usable.at_most);
}

/// Files of an ensemble's members over two months, and of its mean for some days of each: which files there
/// are changes in July, while those of the members stay open.
#[test]
fn an_ensembles_next_month_has_the_same_members() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, first: Date, count: usize, wind: Wind, whose: Whose| {
        let days = first.series(1.day()).take(count).map(|date| (date, wind));
        write_of(&folder.path().join(name), &days.collect::<Vec<_>>(), whose);
    };
    let (june, july) = (Date::constant(2016, 6, 27), Date::constant(2016, 7, 3));
    write("mean-06.nc", june, 2, (2.0, 45.0), Whose::Mean);
    write("1.nc", june, 9, (SLOW_M_S, 90.0), Whose::Member(1));
    write("2.nc", june, 9, (FAST_M_S, 0.0), Whose::Member(2));
    write("mean-07.nc", july, 3, (2.0, 45.0), Whose::Mean);
    let job = job(&plan(CALM), &[], &[folder.path().to_owned()], asked());
    let (part, _) = whole(&job);
    let parts = (1..=job.units()).map(|k| job.fly(job.shard(k, job.units()), |_| ()).unwrap());
    let joined = parts.fold(Part::empty(&job.digest, 0..0), Part::with);
    assert_eq!(job.units(), 9);
    assert!(joined.text().unwrap() == part.text().unwrap());
}

/// Reanalyses give the height of the ground in a file of its own, for any one time.
#[test]
fn the_ground_of_a_record_is_that_of_all_its_months() {
    let folder = tempfile::tempdir().unwrap();
    let days: Vec<(Date, Wind)> = Date::constant(2016, 6, 27)
        .series(1.day())
        .take(9)
        .map(|date| (date, (SLOW_M_S, 90.0)))
        .collect();
    for (name, days) in [("06.nc", &days[..4]), ("07.nc", &days[4..])] {
        write(&folder.path().join(name), days);
    }
    let winds = || {
        let job = job(&plan(CALM), &[], &[folder.path().to_owned()], asked());
        let (part, _) = whole(&job);
        let numbers = part.releases.into_iter().filter_map(|r| r.numbers);
        numbers.map(|n| n.surface_m_s.unwrap()).collect::<Vec<_>>()
    };
    let without = winds();
    assert_eq!(without, [SLOW_M_S; 9]);
    write_ground(
        &folder.path().join("z.nc"),
        Date::constant(1979, 1, 1),
        800.0,
    );
    let with = winds();
    // The lowest level is below that ground, and the next is brought down from high above the site.
    assert!(with[0] < 0.5 * SLOW_M_S, "{with:?}");
    assert_eq!(with, [with[0]; 9]);
}

/// What `days` says of a release and what is kept of it are the same.
fn same(kept: &Release, row: &windfall::choice::answer::ReleaseRow, draws: u64) {
    assert_eq!(kept.at(), row.release);
    assert_eq!(kept.verdict, row.verdict, "{}", row.release);
    let Some(day) = &row.day else {
        assert!(kept.numbers.is_none());
        return;
    };
    let numbers = kept.numbers.as_ref().unwrap();
    // Metres are rounded, and each decodes another part of the winds.
    let off_m = day.center.distance_m(numbers.center());
    assert!(off_m < 2.0, "{}: {off_m} m", row.release);
    assert!((numbers.drift_m - day.distance_m).abs() < 1.0 + off_m);
    let left = (kept.left_region + kept.left_hours) as f64 / draws as f64;
    assert!((left - day.left).abs() < 1e-9);
    assert!((numbers.water - day.water.any.share).abs() < 1e-5);
    assert!((numbers.any - day.all_hazards.share).abs() < 1e-5);
    for (mine, its) in numbers.hits.iter().zip(&day.hazards) {
        assert_eq!(mine.is_some(), its.share.is_some(), "{}", its.name);
        let off = mine.unwrap_or(0.0) - its.share.unwrap_or(0.0);
        assert!(off.abs() < 1e-5, "{}: {off}", its.name);
    }
    let wind = day.surface_m_s().unwrap_or(0.0) - numbers.surface_m_s.unwrap_or(0.0);
    assert!(wind.abs() < 0.01);
    match (numbers.area_km2, day.area_m2) {
        (Some(mine), Some(its)) => assert!((mine / (its / 1e6) - 1.0).abs() < 1e-2),
        (mine, its) => assert_eq!(mine.is_some(), its.is_some()),
    }
}

/// Every release of a record against `days`; how many are of which verdict.
fn against_days(
    plan: &Plan,
    files: &[PathBuf],
    asked: YearsRequest,
) -> BTreeMap<&'static str, usize> {
    let winds = Winds::of_files(plan, files, &Hints::default()).unwrap();
    let options = asked.options;
    let job = job(plan, &[], files, asked);
    let (part, _) = whole(&job);
    let times: Vec<Timestamp> = job.days.iter().flat_map(|day| day.times.clone()).collect();
    let rows = days(plan, &winds, &times, options, || ()).unwrap().rows;
    assert_eq!(rows.len(), part.releases.len());
    let mut verdicts = BTreeMap::new();
    for (kept, row) in part.releases.iter().zip(&rows) {
        same(kept, row, options.draws);
        *verdicts.entry(row.verdict.code()).or_default() += 1;
    }
    verdicts
}

#[test]
fn real_hours_equal_days_release_by_release() {
    let plan = Plan::read("samples/ribatejo/plan.toml").unwrap();
    for (file, hours) in [(PORTUGAL_2023, [9, 15]), (PORTUGAL_2022, [6, 12])] {
        let asked = YearsRequest {
            hours_s: hours.map(|h| h * 3_600),
            every_s: 7_200,
            options: Options {
                draws: 100,
                ..asked().options
            },
            ..asked()
        };
        let verdicts = against_days(&plan, &[path(file)], asked);
        println!("{file}: {verdicts:?}");
        assert!(verdicts.len() >= 2, "{verdicts:?}");
    }
}

#[test]
fn soundings_of_a_station_equal_days() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/soundings/igra2_utqiagvik_3soundings.txt");
    let text = CALM
        .replace("lat = 40.0\nlon = -3.0", "lat = 71.28\nlon = -156.78")
        .replace("elevation = \"100 m\"", "elevation = \"12 m\"")
        .replace("Europe/Madrid", "America/Anchorage")
        .replace("wind = \"none\"", "wind = \"sounding\"");
    let asked = YearsRequest {
        between: [
            Some("2010-05-30T00:00:00Z".parse().unwrap()),
            Some("2010-06-05T00:00:00Z".parse().unwrap()),
        ],
        hours_s: [0, 86_400],
        every_s: 6 * 3_600,
        ..asked()
    };
    let verdicts = against_days(&plan(&text), &[file], asked);
    println!("{verdicts:?}");
    // Days after the last sounding it is too old.
    assert!(verdicts.contains_key(Verdict::Unknown.code()) && verdicts.len() >= 2);
}

/// How high the first sounding reached, or what is wrong with it, says nothing of those of other years.
#[test]
fn the_first_sounding_does_not_speak_for_the_record() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/soundings/igra2_utqiagvik_3soundings.txt");
    let text = std::fs::read_to_string(file).unwrap();
    let mut lines: Vec<&str> = text.lines().collect();
    // The first ends at 14.8 km.
    lines.drain(42..159);
    let head = lines[0].replace("  158 ", "   41 ");
    lines[0] = &head;
    let near = lines.join("\n") + "\n";
    // The next sounding half a day later, or eight days.
    let far = near.replace("2010 06 01 12", "2010 06 09 12");
    let far = far.replace("2010 06 02 00", "2010 06 10 00");
    let text = CALM
        .replace("lat = 40.0\nlon = -3.0", "lat = 71.28\nlon = -156.78")
        .replace("Europe/Madrid", "America/Anchorage")
        .replace("20 km", "31 km");
    let plan = plan(&text);
    let is_above = |note: &Note| matches!(note, Note::AboveWinds { .. });
    let is_blended = |said: &Assumption| matches!(said, Assumption::SoundingsBlended { .. });
    let told = |basis: &Basis| {
        let above = basis.notes.iter().any(is_above);
        (above, basis.assumptions.iter().any(is_blended))
    };
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("soundings.txt");
    for (record, of_day_alone) in [(near, (false, true)), (far, (true, false))] {
        std::fs::write(&file, record).unwrap();
        let asked = YearsRequest {
            between: ["2010-06-01T00:00:00Z", "2010-06-02T00:00:00Z"]
                .map(|time| Some(time.parse().unwrap())),
            hours_s: [0, 86_400],
            ..asked()
        };
        let options = asked.options;
        let files = std::slice::from_ref(&file);
        let winds = Winds::of_files(&plan, files, &Hints::default()).unwrap();
        let job = job(&plan, &[], files, asked);
        let first = &job.days[0].times[..1];
        let of_day = days(&plan, &winds, first, options, || ()).unwrap();
        assert_eq!(told(&of_day.basis), of_day_alone, "{:?}", of_day.basis);
        assert_eq!(told(&job.basis), (false, false), "{:?}", job.basis);
        assert_eq!(job.basis.cleaning, []);
    }
}

#[test]
fn parts_are_whole_of_this_work_and_all_there() {
    let folder = tempfile::tempdir().unwrap();
    let [winds, record] = ["winds", "record"].map(|name| folder.path().join(name));
    std::fs::create_dir(&winds).unwrap();
    let days: Vec<(Date, Wind)> = Date::constant(2016, 6, 1)
        .series(1.day())
        .take(6)
        .map(|d| (d, wind_of(d)))
        .collect();
    write(&winds.join("june.nc"), &days);
    std::fs::write(winds.join("README.md"), "not winds").unwrap();
    assert_eq!(listed(std::slice::from_ref(&winds)).unwrap().len(), 1);
    let plan = plan(CALM);
    let one = job(&plan, &[], std::slice::from_ref(&winds), asked());
    for k in [1, 3] {
        parts::write(&record, k, 3, &one.fly(one.shard(k, 3), |_| ()).unwrap()).unwrap();
    }
    let message = |job: &Job| parts::gather(job, &record).unwrap_err().to_string();
    assert!(
        message(&one).contains("1 of 3 parts are missing: 2"),
        "{}",
        message(&one)
    );
    parts::write(&record, 2, 3, &one.fly(one.shard(2, 3), |_| ()).unwrap()).unwrap();
    let gathered = parts::gather(&one, &record).unwrap();
    assert_eq!(gathered.text().unwrap(), whole(&one).0.text().unwrap());
    // Another seed is other work; so is another archive.
    let seed = YearsRequest {
        options: Options {
            seed: 2,
            ..asked().options
        },
        ..asked()
    };
    let other = job(&plan, &[], std::slice::from_ref(&winds), seed);
    assert!(message(&other).contains("part-1-of-3, line 1: found a part of other work"));
    write(
        &winds.join("june.nc"),
        &days
            .iter()
            .map(|(d, _)| (*d, (5.0, 10.0)))
            .collect::<Vec<_>>(),
    );
    let changed = job(&plan, &[], std::slice::from_ref(&winds), asked());
    assert!(message(&changed).contains("other work"));
    // Read in another way the same files may have other winds.
    let hints = Hints {
        columns: "9=none".parse().unwrap(),
        ..Hints::default()
    };
    let record_of = |hints: &Hints| {
        LongRecord::survey(&plan, std::slice::from_ref(&winds), hints, None).unwrap()
    };
    let digest = |hints: &Hints| {
        let job = Job::new(&plan, &[], record_of(hints), asked(), Digest::default());
        job.unwrap().digest
    };
    assert_eq!(digest(&Hints::default()), changed.digest);
    assert_ne!(digest(&hints), changed.digest);
    // Cut short, it is no part.
    let path = parts::path_of(&record, 2, 3);
    let text = std::fs::read_to_string(&path).unwrap();
    for short in [text.len() - 3, text.len() / 2, 0] {
        std::fs::write(&path, &text[..short]).unwrap();
        assert!(message(&one).contains("part-2-of-3"), "{}", message(&one));
    }
    std::fs::remove_file(&path).unwrap();
    std::fs::write(record.join("part-1-of-4"), "").unwrap();
    assert!(
        message(&one).contains("2 different cuts"),
        "{}",
        message(&one)
    );
}

#[test]
fn the_program_does_parts_once_and_joins_them() {
    let folder = tempfile::tempdir().unwrap();
    let record = folder.path().join("record");
    let record = record.to_str().unwrap();
    let table = folder.path().join("months.csv");
    let common = [
        "samples/ribatejo/plan.toml",
        "--draws",
        "20",
        "--hours",
        "09:00-13:00",
        "--candidates",
        "samples/ribatejo/meadows.geojson",
        "--spacing",
        "12 km",
    ];
    let run = |more: &[&str]| windfall("years", &[&common[..], more].concat());
    let alone = run(&["--json"]);
    assert!(alone.status.success(), "{}", stderr(&alone));
    for k in ["1/3", "2/3", "3/3"] {
        let done = run(&["--shard", k, "--out", record]);
        assert!(
            done.status.success() && stdout(&done).is_empty(),
            "{}",
            stderr(&done)
        );
    }
    let again = run(&["--shard", "2/3", "--out", record]);
    assert!(
        stderr(&again).contains("part 2 of 3 is done already"),
        "{}",
        stderr(&again)
    );
    let gathered = run(&[
        "--gather",
        record,
        "--json",
        "--out",
        table.to_str().unwrap(),
    ]);
    assert!(gathered.status.success(), "{}", stderr(&gathered));
    assert!(
        stdout(&gathered) == stdout(&alone),
        "other numbers from parts"
    );
    let text = std::fs::read_to_string(&table).unwrap();
    assert!(text.starts_with("field,lat_deg,lon_deg,rank,month,hour,releases,"));
    let columns: Vec<usize> = text.lines().map(|line| line.split(',').count()).collect();
    assert!(columns.iter().all(|n| *n == columns[0]), "{columns:?}");
    // In a folder: everything.
    let all = folder.path().join("all");
    let done = run(&["--out", all.to_str().unwrap(), "--shards", "2"]);
    assert!(done.status.success(), "{}", stderr(&done));
    for name in [
        "part-1-of-2",
        "years.html",
        "months.csv",
        "releases.csv",
        "years.json",
        "cells.geojson",
    ] {
        assert!(all.join(name).exists(), "{name}");
    }
    assert!(std::fs::read_to_string(all.join("years.json")).unwrap() == stdout(&alone));
    let page = std::fs::read_to_string(all.join("years.html")).unwrap();
    assert!(page.contains("</html>") && !page.contains("NaN"));
    // Wrong input is 1, not "try again".
    let wrong = run(&["--gather", "no/such/folder"]);
    assert_eq!(wrong.status.code(), Some(1));
    let script = run(&["--out", record, "--shards", "12", "--script", "slurm"]);
    let script = stdout(&script);
    assert!(script.contains("#SBATCH --array=1-12\n") && script.contains("--shard array/12 "));
    assert!(!script.contains("--script"));
}

/// What a run leaves among the winds is no wind of the next one; the plan stays the plan where options that
/// are left out of a script stood before it.
#[test]
fn a_record_beside_its_winds_is_not_read_as_winds() {
    let folder = tempfile::tempdir().unwrap();
    let words = week(folder.path());
    let here = folder.path().to_str().unwrap();
    let table = folder.path().join("table.csv");
    let args = |more: &[&str]| -> Vec<String> {
        let own = [
            "--wind",
            here,
            "--out",
            here,
            "--out",
            table.to_str().unwrap(),
        ];
        let all = own.iter().chain(more).map(|w| (*w).to_owned());
        std::iter::once(words[0].clone())
            .chain(all)
            .chain(words[3..].to_vec())
            .collect()
    };
    let run = |more: &[&str]| {
        let all = args(more);
        let all: Vec<&str> = all.iter().map(String::as_str).collect();
        windfall("years", &all)
    };
    let first = run(&["--json"]);
    assert!(first.status.success(), "{}", stderr(&first));
    assert!(folder.path().join("years.json").exists() && table.exists());
    let second = run(&["--json"]);
    assert!(second.status.success(), "{}", stderr(&second));
    assert!(
        stdout(&first) == stdout(&second),
        "other numbers the second time"
    );
    let other = tempfile::tempdir().unwrap();
    // A folder within that of the winds.
    let record = other.path().join("june/record");
    let out = ["--out", record.to_str().unwrap()];
    let words = week(other.path());
    let here = other.path().to_str().unwrap();
    let mut before = vec!["--wind", here];
    before.extend(out);
    before.push(&words[0]);
    before.extend(["--shards", "2", "--script", "slurm"]);
    before.extend(words[3..].iter().map(String::as_str));
    let output = windfall("years", &before);
    let script: String = stdout(&output).chars().filter(|c| *c != '\'').collect();
    let command = format!("years {} --wind {here} --draws", words[0]);
    assert!(script.contains(&command), "{script}{}", stderr(&output));
}

/// Two fields farther apart than a map reaches: each has its own ground, and a keep-out area around the
/// landings of one keeps none of the other's out.
#[test]
fn fields_far_apart_have_a_ground_each() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let text = std::fs::read_to_string("samples/idaho/plan.toml").unwrap();
    let (before, rest) = text.split_once("[ground]").unwrap();
    let after = &rest[rest.find("[limits]").unwrap()..];
    let ground = "[ground]\nkeep_out = [\"keep-out.geojson\"]\n";
    std::fs::write(path("plan.toml"), [before, ground, after].concat()).unwrap();
    let ring = "[[[-109,41],[-103,41],[-103,45],[-109,45],[-109,41]]]";
    let area = format!(
        "{{\"type\":\"Feature\",\"properties\":{{}},\"geometry\":{{\"type\":\"Polygon\",\"coordinates\":{ring}}}}}"
    );
    std::fs::write(path("keep-out.geojson"), area).unwrap();
    let fields = "name,lat,lon,elevation\nwest,43.0,-108.2,1700 m\neast,43.0,-92.0,350 m\n";
    std::fs::write(path("fields.csv"), fields).unwrap();
    let winds = "tests/data/grids/gfs_2p5_global_20170322_00z.grib2";
    let at = "2017-03-22T00:00:00Z";
    let output = windfall(
        "years",
        &[
            &path("plan.toml")[..],
            "--candidates",
            &path("fields.csv"),
            "--wind",
            winds,
            "--from",
            at,
            "--to",
            at,
            "--hours",
            "18:00-18:00",
            "--draws",
            "40",
            "--json",
        ],
    );
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    for field in json["fields"].as_array().unwrap() {
        let hits = field["hits"].as_array().unwrap();
        let kept_out = hits.iter().find(|h| h["name"] == "keep-out area").unwrap();
        let wanted = f64::from(u8::from(field["name"] == "west"));
        assert_eq!(kept_out["share"]["at_least"], wanted, "{field:#}");
    }
    let assumed = json["assumptions"].as_array().unwrap();
    let has = |code: &str| assumed.iter().any(|a| a["code"] == code);
    assert!(has("lands_on_forecast_ground"), "{assumed:#?}");
}

/// A week of made winds and a plan for them, in a folder: the arguments that fly it.
fn week(folder: &Path) -> Vec<String> {
    let days: Vec<(Date, Wind)> = Date::constant(2016, 6, 1)
        .series(1.day())
        .take(7)
        .map(|date| (date, wind_of(date)))
        .collect();
    write(&folder.join("june.nc"), &days);
    std::fs::write(folder.join("plan.toml"), CALM).unwrap();
    let [plan, winds] =
        ["plan.toml", "june.nc"].map(|name| folder.join(name).display().to_string());
    let words = [
        "--wind",
        &winds,
        "--draws",
        "20",
        "--hours",
        "09:00-09:00",
        "--every",
        "1h",
    ];
    std::iter::once(plan)
        .chain(words.map(str::to_owned))
        .collect()
}

/// The lowest level of these winds is above the ground, and what is made of it there is said once.
#[test]
fn the_wind_at_the_ground_is_said_to_be_assumed() {
    let folder = tempfile::tempdir().unwrap();
    let args = week(folder.path());
    let args: Vec<&str> = args.iter().map(String::as_str).chain(["--json"]).collect();
    let output = windfall("years", &args);
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let assumed = json["assumptions"].as_array().unwrap().iter();
    let said = assumed.filter(|a| a["code"] == "ground_wind_brought_down");
    assert_eq!(said.count(), 1, "{json:#}{}", stderr(&output));
}

/// One sounding, one file, one day: what is counted is in the singular, and a year is no ten.
#[test]
fn a_record_of_one_is_told_in_the_singular() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().to_str().unwrap();
    let day = "2026-02-05";
    let common = [
        "samples/high-plains/plan.toml",
        "--from",
        day,
        "--to",
        day,
        "--hours",
        "16:00-16:00",
        "--draws",
        "20",
        "--out",
        out,
    ];
    let part = windfall("years", &[&common[..], &["--shard", "1/1"]].concat());
    assert!(
        stderr(&part).contains("part 1 of 1: 1 day\n"),
        "{}",
        stderr(&part)
    );
    let done = windfall("years", &common);
    let table = stdout(&done);
    let words = table.split_whitespace().collect::<Vec<_>>().join(" ");
    for told in [
        "1 day with releases in 1 year, 1 release from each field; 1 sounding in 1 file",
        "in the one year (fewer than ten",
    ] {
        assert!(words.contains(told), "{table}{}", stderr(&done));
    }
}

/// The top level of these winds lies at 24 km: who flies higher is told, as by `zone`.
#[test]
fn flights_above_the_winds_are_told() {
    let folder = tempfile::tempdir().unwrap();
    write_month(folder.path(), Date::constant(2016, 6, 1), wind_of);
    let between = ["2016-06-03T00:00:00Z", "2016-06-04T00:00:00Z"];
    let beyond = |burst: &str| {
        let plan = plan(&CALM.replace("20 km", burst));
        let asked = YearsRequest {
            between: between.map(|time| Some(time.parse().unwrap())),
            ..asked()
        };
        let options = asked.options;
        let files = listed(&[folder.path().to_owned()]).unwrap();
        let winds = Winds::of_files(&plan, &files, &Hints::default()).unwrap();
        let job = job(&plan, &[], &files, asked);
        let at = job.days[0].times[0];
        let days = days(&plan, &winds, &[at], options, || ()).unwrap();
        [&job.basis, &days.basis].map(|basis| {
            assert!(basis.assumptions.contains(&Assumption::StandardAir));
            let told = basis.notes.iter().find_map(|note| match note {
                Note::AboveWinds { top_m, for_s } => Some((*top_m, *for_s)),
                _ => None,
            });
            told.is_some_and(|(top_m, for_s)| {
                (23_700.0..24_100.0).contains(&top_m) && for_s > 400.0
            })
        })
    };
    assert_eq!(beyond("26 km"), [true, true]);
    assert_eq!(beyond("20 km"), [false, false]);
}

/// A site that does not fit an airport nearby, or its ground, is told, of several fields by name.
#[test]
fn fields_that_do_not_fit_their_ground_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let files = [write_month(
        folder.path(),
        Date::constant(2016, 6, 1),
        wind_of,
    )];
    // Beside the airport of Madrid, at about 600 m.
    let text = CALM.replace("lat = 40.0\nlon = -3.0", "lat = 40.45\nlon = -3.55");
    let alone = job(&plan(&text), &[], &files, asked()).basis;
    let off_airport = |note: &Note| matches!(note, Note::ElevationOffAirport { .. });
    assert!(alone.notes.iter().any(off_airport), "{:?}", alone.notes);
    // Of fields the one whose elevation was given: that of the other is assumed.
    let place = plan(&text).site.position;
    let fields = [0.0, 10_000.0].map(|away_m| Candidate {
        name: format!("{away_m} m away"),
        ..Candidate::at(place.destination(180.0, away_m))
    });
    let of_two = job(&plan(&text), &fields, &files, asked()).basis;
    let named = |note: &Note| match note {
        Note::OfSite { site, note } if off_airport(note) => Some(site.clone()),
        _ => None,
    };
    let named: Vec<String> = of_two.notes.iter().filter_map(named).collect();
    assert_eq!(named, ["0 m away"], "{:?}", of_two.notes);
    assert!(!of_two.notes.iter().any(off_airport), "{:?}", of_two.notes);
    let heights = folder.path().join("heights.asc");
    let rows = "700 700 700 700\n".repeat(4);
    let head = "ncols 4\nnrows 4\nxllcorner -5\nyllcorner 38\ncellsize 1\nNODATA_value -9999\n";
    std::fs::write(&heights, head.to_owned() + &rows).unwrap();
    let plan = plan(&format!("{text}[ground]\nterrain = [{heights:?}]\n"));
    let is_off = |said: &Assumption| matches!(said, Assumption::ReleaseOffGround(off) if off.above_m == -600.0);
    let alone = job(&plan, &[], &files, asked()).basis;
    assert!(
        alone.assumptions.iter().any(is_off),
        "{:?}",
        alone.assumptions
    );
    let low = Candidate {
        name: "low field".into(),
        elevation_m: Some(100.0),
        ..Candidate::at(plan.site.position)
    };
    let several = job(&plan, &[low], &files, asked()).basis;
    let named = several.assumptions.iter().any(|said| match said {
        Assumption::OfSite { site, assumption } => site == "low field" && is_off(assumption),
        _ => false,
    });
    assert!(named, "{:?}", several.assumptions);
}

/// What the table tells of winds, ground and stack the page and the cells tell as well; each warning has a line.
#[test]
fn the_page_has_the_notes_and_warnings_of_the_table() {
    let folder = tempfile::tempdir().unwrap();
    let mut args = week(folder.path());
    let line = r#"{"type":"LineString","coordinates":[[-3.0,40.1],[-2.9,40.2]]}"#;
    let ring = "[[[-3.0,40.1],[-2.9,40.1],[-2.9,40.2],[-3.0,40.1]]]";
    let area = format!(r#"{{"type":"Polygon","coordinates":{ring}}}"#);
    let features =
        [line, &area].map(|g| format!(r#"{{"type":"Feature","properties":{{}},"geometry":{g}}}"#));
    let text = format!(
        r#"{{"type":"FeatureCollection","features":[{}]}}"#,
        features.join(",")
    );
    std::fs::write(folder.path().join("odd.geojson"), text).unwrap();
    let plan = CALM.to_owned() + "\n[ground]\nkeep_out = [\"odd.geojson\"]\n";
    std::fs::write(folder.path().join("plan.toml"), plan).unwrap();
    let out = folder.path().join("all");
    args.extend(["--out", out.to_str().unwrap()].map(str::to_owned));
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let done = windfall("years", &args);
    assert!(done.status.success(), "{}", stderr(&done));
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let table = words(&stdout(&done));
    let read = |name: &str| std::fs::read_to_string(out.join(name)).unwrap();
    let (page, cells) = (read("years.html"), read("cells.geojson"));
    let cells: serde_json::Value = serde_json::from_str(&cells).unwrap();
    let notes = cells["notes"].as_array().unwrap();
    assert!(!notes.is_empty());
    for note in notes {
        let note = note["words"].as_str().unwrap();
        assert!(table.contains(&words(note)), "{note}: {table}");
        assert!(page.contains(&format!("<li>{note}</li>")), "{note}: {page}");
    }
    let warnings = cells["warnings"].as_array().unwrap();
    assert_eq!(page.contains("class=\"warnings\""), !warnings.is_empty());
    for warning in warnings {
        let line = format!("<li>{}</li>", warning["words"].as_str().unwrap());
        assert!(page.contains(&line), "{line}: {page}");
    }
}

#[cfg(unix)]
#[test]
fn what_may_pass_ends_with_75_and_wrong_input_with_1() {
    let folder = tempfile::tempdir().unwrap();
    let common = week(folder.path());
    let in_shell = |before: &str, more: &[&str]| {
        std::process::Command::new("sh")
            .args(["-c", &format!("{before}; exec \"$@\""), "sh"])
            .args([env!("CARGO_BIN_EXE_windfall"), "years"])
            .args(&common)
            .args(more)
            .output()
            .unwrap()
    };
    let parts = folder.path().join("parts");
    let shard = ["--shard", "1/2", "--out", parts.to_str().unwrap()];
    // No file may grow: as on a disk that is full or beyond a quota.
    let full = in_shell("trap '' XFSZ; ulimit -f 0", &shard);
    assert_eq!(full.status.code(), Some(75), "{}", stderr(&full));
    assert!(!parts::path_of(&parts, 1, 2).exists());
    let left: Vec<_> = std::fs::read_dir(&parts).unwrap().flatten().collect();
    assert!(left.is_empty(), "{left:?}");
    // The same again, when it has passed.
    let again = in_shell("true", &shard);
    assert!(again.status.success(), "{}", stderr(&again));
    assert!(parts::path_of(&parts, 1, 2).exists());
    if Path::new("/dev/full").exists() {
        let full = in_shell("exec >/dev/full", &["--json"]);
        assert_eq!(full.status.code(), Some(75), "{}", stderr(&full));
    }
    // What will not pass: a folder below a file, a part that is damaged, no such winds.
    let below = folder.path().join("plan.toml/parts");
    let below = ["--shard", "1/2", "--out", below.to_str().unwrap()];
    let gather = ["--gather", parts.to_str().unwrap()];
    for wrong in [&below[..], &gather[..], &["--wind", "no/such/file"]] {
        let done = in_shell("true", wrong);
        assert_eq!(done.status.code(), Some(1), "{wrong:?}: {}", stderr(&done));
    }
}

#[cfg(unix)]
#[test]
fn the_script_for_pbs_does_all_parts_and_joins_them() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let common = week(folder.path());
    let common: Vec<&str> = common.iter().map(String::as_str).collect();
    let run = |more: &[&str]| windfall("years", &[&common[..], more].concat());
    let record = folder.path().join("the record");
    let script = run(&[
        "--out",
        record.to_str().unwrap(),
        "--shards",
        "3",
        "--script",
        "pbs",
    ]);
    assert!(script.status.success(), "{}", stderr(&script));
    // In place of PBS: runs what it is given, an array task by task, and prints the number of a job.
    let qsub = folder.path().join("qsub");
    let text = "#!/bin/sh
cat > \"$0.job\"
last=$(sed -n 's/^#PBS -J 1-//p' \"$0.job\")
for i in $(seq 1 \"${last:-1}\"); do
    PBS_O_WORKDIR=$PWD PBS_ARRAY_INDEX=$i sh \"$0.job\" >&2 || exit
done
echo \"$*\" >> \"$0.asked\"
echo 17.here
";
    std::fs::write(&qsub, text).unwrap();
    std::fs::set_permissions(&qsub, std::fs::Permissions::from_mode(0o755)).unwrap();
    let file = folder.path().join("years.sh");
    std::fs::write(&file, stdout(&script)).unwrap();
    let path = std::env::var("PATH").unwrap_or_default();
    let done = std::process::Command::new("sh")
        .arg(&file)
        .env("PATH", format!("{}:{path}", folder.path().display()))
        .output()
        .unwrap();
    assert!(done.status.success(), "{}", stderr(&done));
    assert_eq!(stdout(&done), "17.here\n17.here\n");
    let asked = std::fs::read_to_string(folder.path().join("qsub.asked")).unwrap();
    assert_eq!(asked, "\n-W depend=afterok:17.here\n");
    assert!((1..=3).all(|k| parts::path_of(&record, k, 3).exists()));
    let gathered = std::fs::read_to_string(record.join("years.json")).unwrap();
    assert!(
        gathered == stdout(&run(&["--json"])),
        "other numbers from parts"
    );
}

#[cfg(not(feature = "parquet"))]
#[test]
fn a_build_without_parquet_says_so_before_it_flies() {
    let folder = tempfile::tempdir().unwrap();
    let common = week(folder.path());
    let common: Vec<&str> = common.iter().map(String::as_str).collect();
    let out = folder.path().join("releases.parquet");
    let done = windfall(
        "years",
        &[&common[..], &["--out", out.to_str().unwrap()]].concat(),
    );
    assert_eq!(done.status.code(), Some(1));
    assert!(stderr(&done).contains("--features parquet") && !out.exists());
}

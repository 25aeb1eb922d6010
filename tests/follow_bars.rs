//! Following the whole flights of `tests/data/flights/whole` (licences in the README there), report by report,
//! from a plan that is wrong as plans are: winds of the flight's own way up and a draw of a forecast's error (2 to
//! 5 m/s, correlated over 2 km), the rate off by 10 %, the burst by 1.5 km, the fall by 20 % (one standard
//! deviation each); eight such plans a flight. The target is the place at the height of the last airborne
//! report.

#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "the numbers are for --nocapture")]

mod common;
#[path = "common/falls.rs"]
mod falls;
#[path = "common/whole.rs"]
mod whole;

use std::path::Path;

use jiff::Timestamp;
use windfall::clock::seconds_between;
use windfall::flight::model::Moment;
use windfall::follow::Follower;
use windfall::follow::ensemble::Ensemble;
use windfall::follow::phase::Phase;
use windfall::geodesy::{LocalFrame, Position};
use windfall::numeric::last_true;
use windfall::plan::{Plan, WindSpread};
use windfall::random::SplitMix;
use windfall::sources::FileAscent;
use windfall::spread::draws::BurstSpread;
use windfall::spread::region::GroundEllipse;
use windfall::track::{Report, Stamp};
use windfall::vehicle::descent::FallSpeed;
use windfall::wind::error::{ErrorPart, WindError};
use windfall::wind::error_process::WindErrorProcess;
use windfall::wind::sounding::{HeightSource, Level, Sounding, Tally, Wind};
use windfall::winds::Winds;
use windfall::zone::{Options, predict_and_keep};

use whole::{Fix, WholeFlight};

const PRIORS: u64 = 8;
const DRAWS: u64 = 300;
const STAGES: [&str; 7] = [
    "T+10",
    "T+30",
    "T+60",
    "burst-5",
    "first falling",
    "burst+10",
    "end-5",
];
/// One standard deviation of a component of the prior winds by altitude, m and m/s.
const WIND_ROWS: [(f64, f64); 2] = [(0.0, 2.0), (30_000.0, 5.0)];

fn at(time_s: f64) -> Timestamp {
    Timestamp::from_second(time_s as i64).unwrap()
}

/// A plan and winds that are wrong as the heading says.
fn prior(flight: &WholeFlight, which: u64, number: u64) -> (Plan, Winds) {
    let mut stream = SplitMix::stream(20_26, 10 * number + which);
    let (first, last) = (flight.first(), flight.last());
    let rate = (flight.burst_m - first.altitude_m) / (flight.burst_s - first.time_s);
    let rate = rate * (0.10 * stream.next_normal()).exp();
    let burst = flight.burst_m + 1_500.0 * stream.next_normal();
    let fall = fall_as_long(flight) * (0.20 * stream.next_normal()).exp();
    let text = format!(
        "[flight]\nname = \"{}\"\nrelease = {}\n[site]\nlat = {}\nlon = {}\nelevation = \"{:.1} m\"\n\
         [ascent]\nrate = \"{rate:.4} m/s\"\nburst_altitude = \"{burst:.0} m\"\n\
         [descent]\nlanding_speed = \"{fall:.4} m/s\"\n",
        flight.name,
        at(first.time_s),
        first.place.lat_deg,
        first.place.lon_deg,
        last.altitude_m
    );
    let mut plan = Plan::parse("plan", &text, Path::new(".")).unwrap();
    plan.spread.lift = Some(0.10);
    plan.spread.drag = Some(0.0);
    plan.spread.rate = Some(0.08);
    plan.spread.burst = Some(BurstSpread::AltitudeM {
        sigma_m: 1_500.0,
        scale_m: None,
    });
    plan.spread.early_bursts = Some(0.0);
    plan.spread.parachute = Some(0.36);
    plan.spread.release_delay_s = Some(0.0);
    plan.spread.wind = Some(WindSpread::Table(WIND_ROWS.to_vec()));
    let heights: Vec<f64> = (0..150).map(|k| 125.0 + 250.0 * f64::from(k)).collect();
    let part = ErrorPart {
        rows: WIND_ROWS.to_vec(),
        correlation_length_m: 2_000.0,
    };
    let process = WindErrorProcess::new(
        &WindError { parts: vec![part] },
        &heights,
        &vec![0.0; heights.len()],
    );
    let mut errors = Vec::new();
    process.draw([0.0; 2], &mut stream, &mut errors);
    let own = flight.column().winds;
    let level = |(z, e): (&f64, &[f64; 2])| {
        let wind = own.mean(z - 125.0, z + 125.0);
        Level {
            altitude_m: *z,
            wind: Some(Wind {
                east_m_s: wind.east_m_s + e[0],
                north_m_s: wind.north_m_s + e[1],
            }),
            ..Level::default()
        }
    };
    let sounding = Sounding {
        name: flight.name.into(),
        time: Some(plan.release),
        position: Some(plan.site.position),
        model: None,
        heights: HeightSource::Geometric,
        levels: heights.iter().zip(&errors).map(level).collect(),
        tally: Tally::default(),
        wind_at_10_m: None,
    };
    (
        plan,
        Winds::Soundings(vec![FileAscent {
            file: "prior".into(),
            sounding,
        }]),
    )
}

/// The landing speed of a fall by the model's law that takes as long as the measured one, m/s.
fn fall_as_long(flight: &WholeFlight) -> f64 {
    let fall = flight.fall();
    let too_slow = |v0: f64| fall.seconds_by(&FallSpeed::landing_at(v0)) > fall.seconds();
    last_true(1.0, 40.0, too_slow)
}

fn report(fix: &Fix) -> Report {
    Report {
        tracker: "T".into(),
        stamp: Stamp::At(at(fix.time_s)),
        heard: None,
        position: fix.place,
        altitude_m: Some(fix.altitude_m),
    }
}

fn holds(ellipse: &GroundEllipse, place: Position) -> bool {
    let away_m = ellipse.center.distance_m(place);
    let turned = (ellipse.center.azimuth_deg(place) - ellipse.azimuth_deg).to_radians();
    let (along, across) = (away_m * turned.cos(), away_m * turned.sin());
    (along / ellipse.shape.semi_major_m).powi(2) + (across / ellipse.shape.semi_minor_m).powi(2)
        <= 1.0
}

/// A stage of one run: miss, whether the ellipse held the target, its area, and the miss of restarting from the
/// fix with what the plan says.
struct Scored {
    miss_m: f64,
    held: bool,
    area_km2: f64,
    restart_m: f64,
}

fn stages(flight: &WholeFlight) -> [f64; 7] {
    let (release, end) = (flight.first().time_s, flight.last().time_s);
    let falling = flight.falling[0].time_s;
    let burst = flight.burst_s;
    [
        release + 600.0,
        release + 1_800.0,
        release + 3_600.0,
        burst - 300.0,
        falling,
        burst + 600.0,
        end - 300.0,
    ]
}

fn run(flight: &WholeFlight, which: u64, number: u64) -> Vec<Option<Scored>> {
    let (plan, winds) = prior(flight, which, number);
    let options = Options {
        draws: DRAWS,
        seed: 7,
        keep_draws: false,
    };
    let mut follower = Follower::new(&plan, &winds, options).unwrap();
    let (_, kept) = predict_and_keep(&plan, &winds, options, || ()).unwrap();
    let unlearnt = Ensemble::new(&kept, DRAWS, 7);
    let target = flight.last().place;
    let mut fixes = flight.rising.iter().chain(&flight.falling).peekable();
    let mut last = flight.first();
    let (mut scored, mut falls_known) = (Vec::new(), None);
    for (stage, until) in stages(flight).into_iter().enumerate() {
        while let Some(fix) = fixes.next_if(|f| f.time_s <= until + 0.5) {
            follower.hear(Ok(report(fix)), None);
            last = *fix;
        }
        let standing = follower.standing(None).unwrap();
        if stage == 4 {
            falls_known = Some(standing.phase);
        }
        let landing = standing.landing.expect("it flies");
        let outer = landing.outer().unwrap();
        let from = Moment {
            time_s: seconds_between(plan.release, at(last.time_s)),
            altitude_m: last.altitude_m,
            place: last.place.normal(),
        };
        let (flown, _) = unlearnt.fly_on(&kept, from, stage >= 4, 0.0);
        let frame = LocalFrame::new(target);
        let points = flown
            .iter()
            .flatten()
            .map(|o| frame.to_plane(o.flown.landing.place.position()));
        let points: Vec<[f64; 2]> = points.collect();
        let mean = [0, 1].map(|i| points.iter().map(|p| p[i]).sum::<f64>() / points.len() as f64);
        let reached = until <= flight.last().time_s && (stage > 2 || until < flight.burst_s);
        scored.push(reached.then(|| Scored {
            miss_m: landing.center.distance_m(target),
            held: holds(outer, target),
            area_km2: 1e-6 * outer.shape.area_m2(),
            restart_m: mean[0].hypot(mean[1]),
        }));
    }
    assert!(falls_known.is_some());
    scored
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn misses_shrink_as_the_flight_is_heard_and_the_ellipse_keeps_its_share() {
    let flights = WholeFlight::all();
    let runs: Vec<Vec<Option<Scored>>> = flights
        .iter()
        .enumerate()
        .flat_map(|(number, flight)| {
            (0..PRIORS).map(move |which| run(flight, which, number as u64))
        })
        .collect();
    for (number, flight) in flights.iter().enumerate() {
        for which in 0..PRIORS as usize {
            let run = &runs[PRIORS as usize * number + which];
            let km = |s: &Option<Scored>| {
                s.as_ref().map_or("-".into(), |s| {
                    format!("{:.1}/{:.1}", 1e-3 * s.miss_m, 1e-3 * s.restart_m)
                })
            };
            println!(
                "{:22} {}",
                flight.name,
                run.iter().map(km).collect::<Vec<String>>().join("  ")
            );
        }
    }
    let all = table("all 13 flights", runs.iter());
    // The bars were set for flights like these ten; the other three are radiosondes, which fall slowly.
    let students = table("ten student flights", runs[3 * PRIORS as usize..].iter());
    for found in [&students, &all] {
        let [.., later, end] = found.as_slice() else {
            unreachable!()
        };
        assert!(later.0 < later.1 && end.0 < end.1);
        // 90 %, of runs of which eight each are of one flight.
        for (stage, (_, _, held)) in STAGES.iter().zip(found) {
            assert!((0.80..=1.0).contains(held), "{stage}: {held}");
        }
    }
    let [.., first_falling, later, end] = students.as_slice() else {
        unreachable!()
    };
    assert!(first_falling.0 <= 3.0, "{first_falling:?}");
    assert!(later.0 <= 0.9, "{later:?}");
    // 0.45 km was reached on 18 flights elsewhere; these ten have 0.51 (restarted 1.04, there 0.74): on some of
    // them the wind near the ground had turned since the way up.
    assert!(end.0 <= 0.55, "{end:?}");
}

/// Medians of the misses, of those after a restart, km, and the share held, by stage.
fn table<'a>(
    what: &str,
    runs: impl Iterator<Item = &'a Vec<Option<Scored>>> + Clone,
) -> Vec<(f64, f64, f64)> {
    println!("{what}\nstage           runs  miss km  restart km  held %  ellipse km2");
    let stage = |(stage, name): (usize, &&str)| {
        let of: Vec<&Scored> = runs.clone().filter_map(|r| r[stage].as_ref()).collect();
        let miss = 1e-3 * median(of.iter().map(|s| s.miss_m).collect());
        let restart = 1e-3 * median(of.iter().map(|s| s.restart_m).collect());
        let held = of.iter().filter(|s| s.held).count() as f64 / of.len() as f64;
        let area = median(of.iter().map(|s| s.area_km2).collect());
        println!(
            "{name:15} {:4} {miss:8.2} {restart:11.2} {:7.0} {area:12.1}",
            of.len(),
            100.0 * held
        );
        (miss, restart, held)
    };
    STAGES.iter().enumerate().map(stage).collect()
}

/// A burst is known at the second report after it, at the latest.
#[test]
fn a_burst_is_recognised_within_two_reports() {
    for (number, flight) in WholeFlight::all().iter().enumerate() {
        let (plan, winds) = prior(flight, 0, number as u64);
        let options = Options {
            draws: 50,
            seed: 7,
            keep_draws: false,
        };
        let mut follower = Follower::new(&plan, &winds, options).unwrap();
        for fix in &flight.rising {
            follower.hear(Ok(report(fix)), None);
        }
        let rising = follower.standing(None).unwrap();
        assert!(
            matches!(rising.phase, Phase::Rising | Phase::Floating),
            "{}",
            flight.name
        );
        for fix in &flight.falling[..2] {
            follower.hear(Ok(report(fix)), None);
        }
        let standing = follower.standing(None).unwrap();
        assert_eq!(standing.phase, Phase::Falling, "{}", flight.name);
        let burst = standing.burst.unwrap();
        let off_s = seconds_between(at(flight.burst_s), burst.time).abs();
        println!(
            "{:24} burst {:6.0} m (by both lines {:6.0} m), {off_s:3.0} s off",
            flight.name, burst.altitude_m, flight.burst_m
        );
    }
}

/// The same reports give the same bytes, and on any number of threads.
#[test]
fn the_same_log_gives_the_same_answer() {
    let flight = WholeFlight::read("student_2024-05-03_s");
    let (plan, winds) = prior(&flight, 0, 0);
    let options = Options {
        draws: 200,
        seed: 3,
        keep_draws: false,
    };
    let answer = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| {
            let mut follower = Follower::new(&plan, &winds, options).unwrap();
            for fix in flight.rising.iter().chain(&flight.falling[..5]) {
                follower.hear(Ok(report(fix)), None);
            }
            let standing = follower.standing(None).unwrap();
            serde_json::to_string(&standing).unwrap()
        })
    };
    assert_eq!(answer(1), answer(2));
}

/// Learning as reports come is learning from all of them at once.
#[test]
fn one_by_one_or_all_at_once_is_the_same() {
    let flight = WholeFlight::read("student_2024-05-03_s");
    let (plan, winds) = prior(&flight, 0, 0);
    let options = Options {
        draws: 200,
        seed: 3,
        keep_draws: false,
    };
    let ways = [true, false].map(|one_by_one| {
        let mut follower = Follower::new(&plan, &winds, options).unwrap();
        for fix in flight.rising.iter().chain(&flight.falling[..5]) {
            follower.hear(Ok(report(fix)), None);
            if one_by_one {
                follower.standing(None).unwrap();
            }
        }
        follower.standing(None).unwrap().landing.unwrap().center
    });
    assert!(ways[0].distance_m(ways[1]) < 300.0, "{ways:?}");
}

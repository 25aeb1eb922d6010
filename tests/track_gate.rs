//! What the gate lets through of real logs (tests/data/tracks) and of made-up faults.

#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "the numbers are for --nocapture")]

use std::path::Path;

use jiff::Timestamp;
use windfall::clock::{after, seconds_between};
use windfall::geodesy::Position;
use windfall::track::fields::Fields;
use windfall::track::gate::{Change, Gate, reachable};
use windfall::track::reader::Reader;
use windfall::track::{Fix, Refusal, Report, Stamp};

fn time(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// A gate of a flight from 40.5 N 89 W that has read some logs, heard line by line as the logs say.
fn through(names: &[&str], release: &str) -> Gate {
    let mut lines: Vec<Vec<u8>> = Vec::new();
    for name in names {
        let path =
            Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/data/tracks/{name}.txt"));
        let bytes = std::fs::read(path).unwrap();
        lines.extend(bytes.split(|b| *b == b'\n').map(<[u8]>::to_vec));
    }
    // In the order in which they were heard: the time stands in front.
    lines.sort_by(|a, b| a.get(..19).cmp(&b.get(..19)));
    let mut gate = Gate::new(Position::new(40.5, -89.0).unwrap(), time(release));
    let mut reader = Reader::new(Fields::default(), &[]);
    for line in lines {
        for outcome in reader.read(&line) {
            gate.offer(outcome, None);
        }
    }
    gate
}

fn assert_a_balloon_can(fixes: &[Fix]) {
    for pair in fixes.windows(2) {
        assert!(pair[0].time < pair[1].time);
        assert!(reachable(&pair[0], &pair[1]), "{pair:?}");
    }
}

#[test]
fn real_logs_keep_nearly_all_fixes_and_lose_what_was_damaged() {
    let gate = through(&["flight_2024-04-08_kd9zsy-12"], "2024-04-08T17:00:00Z");
    let count = |why| gate.counts().get(&why).copied().unwrap_or(0);
    println!("{:?} {}", gate.counts(), gate.accepted());
    assert_a_balloon_can(gate.fixes());
    // Of 154 lines with a height one is damaged and eight came late or out of order.
    assert_eq!(count(Refusal::Damaged), 1);
    assert!(
        (110..=154).contains(&gate.accepted()),
        "{}",
        gate.accepted()
    );
    // The damaged line would have been 4,000 km away.
    let site = Position::new(40.5, -89.0).unwrap();
    assert!(
        gate.fixes()
            .iter()
            .all(|f| f.position.distance_m(site) < 200_000.0)
    );
    assert!(gate.fixes().iter().any(|f| f.altitude_m > 25_000.0));
}

#[test]
fn two_trackers_of_one_stack_are_one_track() {
    let both = ["flight_2024-05-03_kd9sat-11", "flight_2024-05-03_kd9sat-12"];
    let gate = through(&both, "2024-05-03T13:30:00Z");
    println!("{:?} {}", gate.counts(), gate.accepted());
    assert_a_balloon_can(gate.fixes());
    let of = |call: &str| gate.fixes().iter().filter(|f| f.tracker == call).count();
    assert!(
        of("KD9SAT-11") > 100 && of("KD9SAT-12") > 60,
        "{} {}",
        of("KD9SAT-11"),
        of("KD9SAT-12")
    );
    // By their own clocks: one of them sends the fix before last, some 55 s late.
    let refused = gate.counts().get(&Refusal::Jump).copied().unwrap_or(0);
    assert!(refused <= 4, "{refused}");
}

#[test]
fn a_receiver_that_loses_its_height_is_told() {
    let gate = through(&["flight_2023-04-29_kw9d-14"], "2023-04-29T14:20:00Z");
    println!("{:?} {}", gate.counts(), gate.accepted());
    assert_a_balloon_can(gate.fixes());
    assert!(gate.accepted() > 200);
}

fn report(seconds: f64, altitude_m: f64, lon_deg: f64) -> Report {
    Report {
        tracker: String::new(),
        stamp: Stamp::At(after(time("2026-05-01T09:00:00Z"), seconds)),
        heard: None,
        position: Position::new(0.0, lon_deg).unwrap(),
        altitude_m: Some(altitude_m),
    }
}

/// A flight that rises at 5 m/s and drifts east at 20 m/s, a fix a minute.
fn flight(minutes: u32) -> (Gate, Vec<Report>) {
    let gate = Gate::new(
        Position::new(0.0, 10.0).unwrap(),
        time("2026-05-01T09:00:00Z"),
    );
    let fix = |k: u32| {
        let s = 60.0 * f64::from(k);
        report(s, 100.0 + 5.0 * s, 10.0 + 20.0 * s / 111_319.5)
    };
    (gate, (0..minutes).map(fix).collect())
}

fn counts(gate: &Gate, why: Refusal) -> usize {
    gate.counts().get(&why).copied().unwrap_or(0)
}

#[test]
fn duplicates_late_ones_and_jumps_are_refused() {
    let (mut gate, fixes) = flight(30);
    for fix in &fixes {
        let heard = match fix.stamp {
            Stamp::At(time) => after(time, 5.0),
            _ => unreachable!(),
        };
        assert_eq!(gate.offer(Ok(fix.clone()), Some(heard)), Change::Newer);
        assert_eq!(gate.offer(Ok(fix.clone()), Some(heard)), Change::Nothing);
    }
    assert_eq!(counts(&gate, Refusal::Duplicate), 30);
    let now = time("2026-05-01T09:30:00Z");
    let early = report(600.5, 3_100.0, 10.1078);
    assert_eq!(gate.offer(Ok(early.clone()), Some(now)), Change::Nothing);
    assert_eq!(counts(&gate, Refusal::Late), 1);
    // Out of order, but soon enough.
    let sooner = report(1_710.0, 8_650.0, 10.0 + 20.0 * 1_710.0 / 111_319.5);
    assert_eq!(gate.offer(Ok(sooner), Some(now)), Change::Earlier);
    let far = report(1_800.0, 9_100.0, 30.0);
    assert_eq!(gate.offer(Ok(far), Some(now)), Change::Nothing);
    let high = report(1_805.0, 19_100.0, 10.323);
    assert_eq!(gate.offer(Ok(high), Some(now)), Change::Nothing);
    assert_eq!(counts(&gate, Refusal::Jump), 2);
    let null = Report {
        position: Position::new(0.0, 0.0).unwrap(),
        ..report(1_810.0, 9_000.0, 0.0)
    };
    gate.offer(Ok(null), Some(now));
    gate.offer(
        Ok(Report {
            altitude_m: None,
            ..early.clone()
        }),
        Some(now),
    );
    gate.offer(
        Ok(Report {
            altitude_m: Some(99_000.0),
            ..early
        }),
        Some(now),
    );
    for why in [Refusal::NoFix, Refusal::NoHeight, Refusal::Impossible] {
        assert_eq!(counts(&gate, why), 1, "{why:?}");
    }
    assert_eq!(gate.fixes().len(), 31);
    assert_eq!(gate.refused().count(), 30 + 1 + 2 + 3);
}

/// A clock that is wrong by an hour makes nothing late.
#[test]
fn the_hearers_clock_may_be_wrong() {
    for wrong_s in [-3_600.0, 3_600.0] {
        let (mut gate, fixes) = flight(30);
        for fix in fixes {
            let Stamp::At(at) = fix.stamp else {
                unreachable!()
            };
            let of_day = Stamp::OfDay(seconds_between(time("2026-05-01T00:00:00Z"), at));
            let fix = Report {
                stamp: of_day,
                ..fix
            };
            gate.offer(Ok(fix), Some(after(at, wrong_s)));
        }
        assert_eq!(gate.fixes().len(), 30, "{wrong_s}");
        assert_eq!(gate.fixes()[29].time, time("2026-05-01T09:29:00Z"));
        assert!((gate.usual_delay_s().unwrap() - wrong_s).abs() < 1.0);
    }
}

fn heard_at(report: &Report, delay_s: f64) -> Option<Timestamp> {
    match report.stamp {
        Stamp::At(time) => Some(after(time, delay_s)),
        _ => None,
    }
}

/// One report whose time is three hours ahead, wherever it comes.
#[test]
fn a_report_from_the_future_does_not_make_a_flight_deaf() {
    for heard in [true, false] {
        for wrong in [0, 1, 2, 4, 20] {
            let (mut gate, fixes) = flight(30);
            for (k, fix) in fixes.into_iter().enumerate() {
                let heard = heard_at(&fix, 5.0).filter(|_| heard);
                let ahead_s = if k == wrong { 10_800.0 } else { 0.0 };
                let stamp = heard_at(&fix, ahead_s).map_or(Stamp::Unknown, Stamp::At);
                gate.offer(Ok(Report { stamp, ..fix }), heard);
            }
            let told = format!("{heard} {wrong}: {:?}", gate.counts());
            assert_eq!(gate.fixes().len(), 29, "{told}");
            assert_eq!(gate.accepted(), 29, "{told}");
            assert_eq!(counts(&gate, Refusal::Ahead), 1, "{told}");
            assert_eq!(gate.fixes()[28].time, time("2026-05-01T09:29:00Z"));
        }
    }
}

/// A clock that was ahead by three hours and is set right: the track begins anew.
#[test]
fn a_clock_that_is_set_right_is_heard_again() {
    for wrong in [3, 12] {
        let (mut gate, fixes) = flight(30);
        for (k, fix) in fixes.into_iter().enumerate() {
            let heard = heard_at(&fix, 5.0);
            let ahead_s = if k < wrong { 10_800.0 } else { 0.0 };
            let stamp = heard_at(&fix, ahead_s).map_or(Stamp::Unknown, Stamp::At);
            gate.offer(Ok(Report { stamp, ..fix }), heard);
        }
        let told = format!("{wrong}: {:?}", gate.counts());
        assert_eq!(gate.fixes().len(), 30 - wrong, "{told}");
        assert_eq!(gate.accepted(), 30 - wrong, "{told}");
        let delay_s = gate.usual_delay_s().unwrap();
        assert!((delay_s - 5.0).abs() < 1.0, "{told} {delay_s}");
    }
}

/// The hearer's clock is set in the flight: the trackers' times go on, and so does the track.
#[test]
fn a_hearers_clock_that_is_set_leaves_the_track() {
    let (mut gate, fixes) = flight(113);
    let (before, after_it) = fixes.split_at(100);
    for fix in before {
        gate.offer(Ok(fix.clone()), heard_at(fix, 2.0));
    }
    let first = gate.fixes()[0].clone();
    for fix in after_it {
        gate.offer(Ok(fix.clone()), heard_at(fix, 1_202.0));
    }
    let told = format!("{:?}", gate.counts());
    assert_eq!(gate.fixes().len(), 113, "{told}");
    assert_eq!(gate.fixes()[0], first);
    assert_eq!(counts(&gate, Refusal::Ahead), 0, "{told}");
    assert_eq!(counts(&gate, Refusal::Late), 0, "{told}");
}

/// The log of a car whose computer was half an hour off is read beside that of the base, in either order.
#[test]
fn a_second_log_with_another_clock_adds_what_it_heard_more() {
    let mut found = Vec::new();
    for base_first in [true, false] {
        let (mut gate, fixes) = flight(100);
        let base = fixes[..80].iter().map(|fix| (fix, 2.0));
        let car = fixes[40..].iter().map(|fix| (fix, 1_802.0));
        let all: Vec<(&Report, f64)> = match base_first {
            true => base.chain(car).collect(),
            false => car.chain(base).collect(),
        };
        for (fix, delay_s) in all {
            gate.offer(Ok(fix.clone()), heard_at(fix, delay_s));
        }
        found.push(gate.fixes().to_vec());
        assert_eq!(gate.fixes().len(), 100, "{base_first}: {:?}", gate.counts());
    }
    assert_eq!(found[0], found[1]);
}

/// However few fixes both logs have, the second goes on where the first one ends.
#[test]
fn a_second_log_that_begins_late_in_the_first_leaves_that() {
    for first in [75, 79] {
        let (mut gate, fixes) = flight(100);
        let base = fixes[..80].iter().map(|fix| (fix, 2.0));
        let car = fixes[first..].iter().map(|fix| (fix, -1_802.0));
        for (fix, delay_s) in base.chain(car) {
            gate.offer(Ok(fix.clone()), heard_at(fix, delay_s));
        }
        assert_eq!(gate.fixes().len(), 100, "{first}: {:?}", gate.counts());
    }
}

/// The crew's row of where it lay is read before the track: it is no fix from the future.
#[test]
fn a_landing_that_is_heard_of_first_stays_the_last() {
    for every_s in [60.0, 840.0] {
        let (mut gate, _) = flight(0);
        // Up by 5 m/s for 100 minutes, down by 7 m/s, drifting by 5 m/s.
        let fix = |s: f64| {
            let altitude_m = (5.0 * s).min(30_000.0 - 7.0 * (s - 6_000.0)).max(0.0);
            report(
                s,
                100.0 + altitude_m,
                10.0 + 5.0 * s.min(10_200.0) / 111_319.5,
            )
        };
        let landing = fix(10_200.0);
        gate.offer(Ok(landing.clone()), None);
        let count = 8_400.0 / every_s;
        for k in 0..=count as u32 {
            gate.offer(Ok(fix(every_s * f64::from(k))), None);
        }
        assert_eq!(counts(&gate, Refusal::Ahead), 0, "{every_s}");
        let last = gate.fixes().last().unwrap();
        assert_eq!(Stamp::At(last.time), landing.stamp);
    }
}

/// What was held back comes at once, and late: it does not stand against the track. After the flight it counts.
#[test]
fn what_a_tracker_sends_later_counts_after_the_flight_only() {
    let (live, fixes) = flight(80);
    let past = Gate::of_past(
        Position::new(0.0, 10.0).unwrap(),
        time("2026-05-01T09:00:00Z"),
    );
    for (mut gate, kept) in [(live, 50), (past, 80)] {
        let (at_once, held) = fixes.split_at(20);
        let (held, rest) = held.split_at(30);
        for fix in at_once.iter().chain(rest) {
            gate.offer(Ok(fix.clone()), heard_at(fix, 5.0));
        }
        let end = time("2026-05-01T10:20:00Z");
        for (k, fix) in held.iter().enumerate() {
            gate.offer(Ok(fix.clone()), Some(after(end, k as f64)));
        }
        assert_eq!(gate.fixes().len(), kept, "{:?}", gate.counts());
        assert!((gate.usual_delay_s().unwrap() - 5.0).abs() < 1.0);
    }
}

#[test]
fn a_wrong_first_or_last_fix_does_not_stand_against_all_others() {
    let (mut gate, fixes) = flight(20);
    // The first is wrong, but near the site.
    gate.offer(Ok(report(-30.0, 30_000.0, 10.05)), None);
    for fix in &fixes {
        gate.offer(Ok(fix.clone()), None);
    }
    assert_eq!(gate.fixes().len(), 20, "{:?}", gate.fixes());
    // The last is wrong, but could just be reached; from it the next but one cannot.
    gate.offer(Ok(report(1_190.0, 4_050.0, 10.21)), None);
    let (_, more) = flight(24);
    for fix in &more[20..] {
        gate.offer(Ok(fix.clone()), None);
    }
    assert_eq!(gate.fixes().len(), 24, "{:?}", gate.counts());
    assert!(
        gate.fixes()
            .iter()
            .all(|f| (f.altitude_m - 100.0) % 300.0 < 1e-6)
    );
}

/// When a later fix shows which of two was wrong, that one stands among the refused, and the other does not.
#[test]
fn what_is_let_through_after_all_was_not_refused() {
    let (mut gate, fixes) = flight(20);
    for fix in &fixes {
        gate.offer(Ok(fix.clone()), None);
    }
    let wrong = report(1_190.0, 4_000.0, 10.21);
    gate.offer(Ok(wrong.clone()), None);
    let (_, more) = flight(22);
    gate.offer(Ok(more[20].clone()), None);
    assert_eq!(counts(&gate, Refusal::Jump), 1);
    assert_eq!(gate.offer(Ok(more[21].clone()), None), Change::Earlier);
    assert_eq!(counts(&gate, Refusal::Jump), 1);
    let refused: Vec<f64> = gate
        .refused()
        .filter_map(|r| Some(r.fix.as_ref()?.altitude_m))
        .collect();
    assert_eq!(refused, [wrong.altitude_m.unwrap()]);

    // All of a short track was wrong.
    let (mut gate, fixes) = flight(10);
    let first = report(-30.0, 30_000.0, 10.05);
    gate.offer(Ok(first.clone()), None);
    for fix in &fixes {
        gate.offer(Ok(fix.clone()), None);
    }
    assert_eq!(gate.fixes().len(), 10);
    let refused: Vec<f64> = gate
        .refused()
        .filter_map(|r| Some(r.fix.as_ref()?.altitude_m))
        .collect();
    assert_eq!(refused, [first.altitude_m.unwrap()]);
    assert_eq!(counts(&gate, Refusal::Jump), 1);
}

#[test]
fn of_two_balloons_mixed_the_one_from_the_site_is_followed() {
    let (mut gate, fixes) = flight(40);
    for (k, fix) in fixes.into_iter().enumerate() {
        let s = 60.0 * k as f64;
        let other = Report {
            tracker: "OTHER".into(),
            ..report(s + 20.0, 3_000.0 + 4.0 * s, 12.0 + s / 5_000.0)
        };
        gate.offer(Ok(other), None);
        gate.offer(
            Ok(Report {
                tracker: "OURS".into(),
                ..fix
            }),
            None,
        );
    }
    assert!(gate.fixes().iter().all(|f| f.tracker == "OURS"));
    assert_eq!(gate.fixes().len(), 40);
    assert!(counts(&gate, Refusal::OtherBalloon) >= 39);
}

#[test]
fn a_height_that_stands_still_is_refused_until_it_moves_again() {
    let (mut gate, fixes) = flight(30);
    for (k, fix) in fixes.into_iter().enumerate() {
        let stuck = (10..15).contains(&k).then_some(Some(3_100.0));
        let fix = Report {
            altitude_m: stuck.unwrap_or(fix.altitude_m),
            ..fix
        };
        gate.offer(Ok(fix), None);
    }
    let stale = gate
        .fixes()
        .iter()
        .filter(|f| f.altitude_m == 3_100.0)
        .count();
    assert_eq!(stale, 1, "{:?}", gate.counts());
    assert_eq!(gate.fixes().len(), 26);
}

#[test]
fn a_day_of_reports_is_no_more_than_an_hour_of_them() {
    let mut gate = Gate::new(
        Position::new(0.0, 10.0).unwrap(),
        time("2026-05-01T09:00:00Z"),
    );
    for k in 0..43_200u32 {
        let s = f64::from(k);
        gate.offer(
            Ok(report(
                s,
                20_000.0 + 10.0 * (0.01 * s).sin(),
                10.0 + s / 50_000.0,
            )),
            None,
        );
    }
    assert_eq!(gate.accepted(), 43_200);
    assert!(gate.fixes().len() < 5_000, "{}", gate.fixes().len());
}

/// The highest fix stays however the old ones are thinned, and so do its neighbours: of them the burst is made.
#[test]
fn the_highest_fix_outlasts_the_thinning() {
    let mut gate = Gate::new(
        Position::new(0.0, 10.0).unwrap(),
        time("2026-05-01T09:00:00Z"),
    );
    let height_m = |s: f64| match s {
        s if s < 2_003.0 => 5.0 * s,
        s => 10_015.0 - 8.0 * (s - 2_003.0),
    };
    for k in 0..3_200u32 {
        let s = f64::from(k);
        gate.offer(Ok(report(s, height_m(s), 10.0)), None);
    }
    let fixes = gate.fixes();
    assert!(fixes.len() < 1_500, "{}", fixes.len());
    for second in [2_002.0, 2_003.0, 2_004.0] {
        let kept = |f: &Fix| f.altitude_m == height_m(second);
        assert!(fixes.iter().any(kept), "{second}");
    }
}

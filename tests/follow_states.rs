//! What a followed flight is told to be doing, on flights made from the sample plan's own prediction.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;

use jiff::Timestamp;
use windfall::clock::{after, seconds_between};
use windfall::follow::Follower;
use windfall::follow::answer::{FollowNote, Standing};
use windfall::follow::phase::Phase;
use windfall::geodesy::Position;
use windfall::plan::Plan;
use windfall::track::{Report, Stamp};
use windfall::units::UnitSystem;
use windfall::winds::Winds;
use windfall::zone::{Mark, Options};

fn sample() -> (Plan, Winds) {
    sample_of("high-plains")
}

fn sample_of(name: &str) -> (Plan, Winds) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    let path = root.join(name).join("plan.toml");
    let plan = Plan::read(path).unwrap();
    let winds = Winds::of_plan(&plan).unwrap();
    (plan, winds)
}

fn follower<'a>(plan: &Plan, winds: &'a Winds) -> Follower<'a> {
    let options = Options {
        draws: 200,
        seed: 1,
        keep_draws: false,
    };
    Follower::new(plan, winds, options).unwrap()
}

fn report(time: Timestamp, position: Position, altitude_m: f64) -> Report {
    Report {
        tracker: "T".into(),
        stamp: Stamp::At(time),
        heard: None,
        position,
        altitude_m: Some(altitude_m),
    }
}

/// Hears the planned flight up to the first mark on a way (up or down) beyond an altitude, so much later.
fn hear_plan(
    follower: &mut Follower,
    falling: bool,
    altitude_m: f64,
    later_s: f64,
    ahead_s: Option<f64>,
) -> Mark {
    let track = follower.zone().track.clone();
    let top = (0..track.len())
        .max_by(|i, j| track[*i].altitude_m.total_cmp(&track[*j].altitude_m))
        .unwrap();
    let end = match falling {
        true => {
            top + track[top..]
                .iter()
                .position(|m| m.altitude_m < altitude_m)
                .unwrap()
        }
        false => track
            .iter()
            .position(|m| m.altitude_m > altitude_m)
            .unwrap(),
    };
    for mark in &track[..=end] {
        let time = after(mark.time, later_s);
        let heard = ahead_s.map(|s| after(time, s));
        follower.hear(Ok(report(time, mark.position, mark.altitude_m)), heard);
    }
    track[end]
}

fn has(standing: &Standing, is: impl Fn(&FollowNote) -> bool) -> bool {
    standing.notes.iter().any(is)
}

#[test]
fn heights_that_wander_on_the_ground_are_no_flight() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let release = follower.zone().release;
    for k in 0..30 {
        let wander_m = [0.0, 35.0, -20.0, 48.0, -41.0][k % 5];
        let time = after(plan.release, 60.0 * k as f64 - 1_800.0);
        follower.hear(
            Ok(report(
                time,
                release.position,
                release.altitude_m + wander_m,
            )),
            None,
        );
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::OnGround);
    assert!(standing.landing.is_none() && standing.released.is_none());
}

#[test]
fn a_flight_that_goes_as_planned_lands_as_planned() {
    let (plan, winds) = sample();
    for (falling, altitude_m, allowed_m) in [
        (false, 15_000.0, 9_000.0),
        (true, 15_000.0, 3_000.0),
        (true, 4_000.0, 1_000.0),
    ] {
        let mut follower = follower(&plan, &winds);
        hear_plan(&mut follower, falling, altitude_m, 0.0, None);
        let standing = follower.standing(None).unwrap();
        assert_eq!(
            standing.phase,
            if falling {
                Phase::Falling
            } else {
                Phase::Rising
            }
        );
        let off_m = standing
            .landing
            .unwrap()
            .center
            .distance_m(follower.zone().landing.position);
        assert!(off_m < allowed_m, "{altitude_m} {falling}: {off_m}");
        assert_eq!(standing.burst.is_some(), falling);
        let released = standing.released.unwrap();
        assert!(
            seconds_between(plan.release, released).abs() < 60.0,
            "{released}"
        );
    }
}

#[test]
fn a_quiet_tracker_leaves_a_zone_and_a_place_that_grows_less_sure() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let last = hear_plan(&mut follower, false, 20_000.0, 0.0, Some(5.0));
    let at = |follower: &mut Follower, minutes: f64| {
        follower
            .standing(Some(after(last.time, 60.0 * minutes)))
            .unwrap()
    };
    let fresh = at(&mut follower, 1.0);
    assert!(fresh.now.is_none() && !has(&fresh, |n| matches!(n, FollowNote::Quiet { .. })));
    let later = [10.0, 20.0, 30.0].map(|m| at(&mut follower, m));
    let radii = later.each_ref().map(|s| s.now.unwrap().radius_m);
    assert!(radii.is_sorted() && radii[2] > radii[0], "{radii:?}");
    for standing in &later {
        assert!(has(standing, |n| matches!(n, FollowNote::Quiet { .. })));
        let center = |s: &Standing| s.landing.as_ref().unwrap().center;
        assert_eq!(center(standing), center(&fresh));
    }
    let down = at(&mut follower, 400.0);
    assert!(has(&down, |n| matches!(n, FollowNote::PresumedDown { .. })));
    assert_eq!(down.now.unwrap().landed_share, 1.0);
}

#[test]
fn a_computers_clock_that_is_wrong_by_an_hour_is_told_and_changes_nothing() {
    let (plan, winds) = sample();
    for wrong_s in [-3_600.0, 3_600.0] {
        let mut follower = follower(&plan, &winds);
        let last = hear_plan(&mut follower, false, 12_000.0, 0.0, Some(wrong_s + 5.0));
        let clock = after(last.time, wrong_s + 65.0);
        let standing = follower.standing(Some(clock)).unwrap();
        let age_s = standing.last.as_ref().unwrap().age_s;
        assert!((age_s - 60.0).abs() < 1.0, "{age_s}");
        assert!(has(
            &standing,
            |n| matches!(n, FollowNote::ClockDiffers { by_s } if (by_s - wrong_s).abs() < 10.0)
        ));
        assert!(!has(&standing, |n| matches!(n, FollowNote::Quiet { .. })));
    }
}

#[test]
fn a_late_release_is_predicted_anew() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    hear_plan(&mut follower, false, 9_000.0, 2_400.0, None);
    let standing = follower.standing(None).unwrap();
    assert!(has(
        &standing,
        |n| matches!(n, FollowNote::ReleasedLater { by_s, again: true, local: false } if (by_s - 2_400.0).abs() < 60.0)
    ));
    let lands = standing.landing.unwrap().times.middle;
    let planned = follower.zone().landing.time;
    assert!(
        (seconds_between(planned, lands) - 2_400.0).abs() < 900.0,
        "{lands}"
    );
}

/// Released earlier by just the hours of the time zone: heard as it is told, that is no fault of its clock.
#[test]
fn times_that_the_hearers_clock_agrees_with_are_not_local_ones() {
    let (plan, winds) = sample();
    for (delay_s, asked) in [(None, true), (Some(5.0), false)] {
        let mut follower = follower(&plan, &winds);
        hear_plan(&mut follower, false, 9_000.0, -25_200.0, delay_s);
        let standing = follower.standing(None).unwrap();
        let is = |n: &FollowNote| matches!(n, FollowNote::ReleasedLater { local, .. } if *local == asked);
        assert!(has(&standing, is), "{delay_s:?}");
    }
}

/// A float that sinks by some centimetres a second has not burst, however far it has sunk; in its fall it has.
#[test]
fn a_float_that_sinks_slowly_is_none_that_falls() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let last = hear_plan(&mut follower, false, 14_000.0, 0.0, None);
    let mut hear = |minute: u32, altitude_m: f64| {
        let seconds = 60.0 * f64::from(minute);
        let place = last.position.destination(90.0, 10.0 * seconds);
        follower.hear(
            Ok(report(after(last.time, seconds), place, altitude_m)),
            None,
        );
        follower.standing(None).unwrap().phase
    };
    for minute in 1..90 {
        let phase = hear(minute, last.altitude_m - 6.0 * f64::from(minute));
        assert_eq!(
            phase == Phase::Floating,
            minute >= 10,
            "{minute}: {phase:?}"
        );
    }
    let phases = [90, 91].map(|k| hear(k, last.altitude_m - 534.0 - 600.0 * f64::from(k - 89)));
    assert_eq!(phases[1], Phase::Falling);
}

#[test]
fn a_balloon_that_floats_is_told() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let last = hear_plan(&mut follower, false, 14_000.0, 0.0, None);
    for minute in 1..20 {
        let seconds = 60.0 * f64::from(minute);
        let place = last.position.destination(90.0, 10.0 * seconds);
        let wander_m = 12.0 * f64::from(minute % 3) - 12.0;
        follower.hear(
            Ok(report(
                after(last.time, seconds),
                place,
                last.altitude_m + wander_m,
            )),
            None,
        );
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Floating);
    assert!(has(&standing, |n| matches!(n, FollowNote::Floats { .. })));
}

#[test]
fn one_that_lies_still_has_landed() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let last = hear_plan(&mut follower, true, 2_200.0, 0.0, None);
    let ground = follower.zone().landing;
    let begin = after(last.time, 180.0);
    for k in 0..6 {
        let wander_m: f64 = [0.0, 30.0, -25.0][k % 3];
        let place = ground.position.destination(30.0, wander_m.abs());
        let time = after(begin, 45.0 * k as f64);
        follower.hear(Ok(report(time, place, ground.altitude_m + wander_m)), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Landed);
    assert!(standing.landing.is_none());
    let search = standing.search.as_ref().unwrap();
    assert!(search.drift.is_none() && search.center.distance_m(ground.position) < 60.0);
    assert!(
        standing
            .last
            .unwrap()
            .mark
            .position
            .distance_m(ground.position)
            < 60.0
    );
}

/// A height that was read wrongly, and could just be: the flight is not taken for falling.
#[test]
fn a_height_that_was_none_is_forgotten() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let track = follower.zone().track.clone();
    let end = track.iter().position(|m| m.altitude_m > 12_000.0).unwrap();
    for (k, mark) in track[..end].iter().enumerate() {
        let wrong_m = if k == 30 { 700.0 } else { 0.0 };
        follower.hear(
            Ok(report(mark.time, mark.position, mark.altitude_m + wrong_m)),
            None,
        );
    }
    assert_eq!(follower.standing(None).unwrap().phase, Phase::Rising);
}

/// Heard last 600 m above the ground: the ring to search lies down the wind, holds where it landed, and does not
/// grow; from high up there is none before it must be down.
#[test]
fn after_the_last_report_near_the_ground_a_ring_is_searched() {
    let (plan, winds) = sample();
    let mut near = follower(&plan, &winds);
    let ground_m = near.zone().landing.altitude_m;
    let last = hear_plan(&mut near, true, ground_m + 700.0, 0.0, None);
    let standing = near.standing(None).unwrap();
    let search = standing.search.as_ref().unwrap();
    let landing = near.zone().landing;
    assert_eq!(search.last.position, last.position);
    assert!(search.above_ground_m < 700.0, "{}", search.above_ground_m);
    assert!(
        search.center.distance_m(landing.position) < search.radius_m,
        "{search:?}"
    );
    assert!(
        search.radius_m < 1_000.0 && search.ring.len() > 36,
        "{}",
        search.radius_m
    );
    let drift = search.drift.unwrap();
    let rest_s = seconds_between(last.time, landing.time);
    assert!(
        (drift.seconds / rest_s - 1.0).abs() < 0.3,
        "{drift:?} {rest_s}"
    );
    let truly_m = last.position.distance_m(landing.position);
    assert!(
        (drift.distance_m - truly_m).abs() < 300.0,
        "{drift:?} {truly_m}"
    );
    let later = near.standing(Some(after(last.time, 7_200.0))).unwrap();
    assert_eq!(
        later.search.as_ref().map(|s| s.radius_m),
        Some(search.radius_m)
    );
    // As the files and the view have it.
    let units = windfall::units::UnitSystem::Metric;
    let json: serde_json::Value =
        serde_json::from_str(&windfall::report::files::follow::geojson(&standing, units)).unwrap();
    let features = json["features"].as_array().unwrap();
    let ring = features
        .iter()
        .find(|f| f["properties"]["kind"] == "search")
        .unwrap();
    assert_eq!(ring["geometry"]["type"], "Polygon");
    let view = windfall::report::tables::follow::view(&standing, &[], &plan.timezone, units);
    assert!(
        view.contains("Search ") && view.contains("in a wind of "),
        "{view}"
    );
    let page = windfall::report::pages::follow::text(&standing, &[], &plan.timezone, units);
    assert!(page.contains(">search</text>"));

    let mut high = follower(&plan, &winds);
    let last = hear_plan(&mut high, true, 9_000.0, 0.0, None);
    assert!(high.standing(None).unwrap().search.is_none());
    let down = high.standing(Some(after(last.time, 7_200.0))).unwrap();
    assert!(down.search.unwrap().radius_m > search.radius_m);
}

/// The whole planned flight, then ten minutes on the ground.
fn hear_to_the_ground(follower: &mut Follower) -> Mark {
    let ground_m = follower.zone().landing.altitude_m;
    hear_plan(follower, true, ground_m + 150.0, 0.0, None);
    let ground = follower.zone().landing;
    for k in 0..40 {
        let time = after(ground.time, 15.0 * f64::from(k));
        follower.hear(Ok(report(time, ground.position, ground.altitude_m)), None);
    }
    Mark {
        time: after(ground.time, 585.0),
        ..ground
    }
}

/// The crew carries it uphill, downhill, and far away: it has landed where it lay.
#[test]
fn a_stack_that_is_driven_home_has_landed_where_it_lay() {
    let (plan, winds) = sample();
    for up_m in [5.0, 0.0, -8.0] {
        let mut follower = follower(&plan, &winds);
        let lay = hear_to_the_ground(&mut follower);
        let lying = follower.standing(None).unwrap();
        assert_eq!(lying.phase, Phase::Landed);
        for k in 1..=80 {
            let (k, time) = (f64::from(k), after(lay.time, 15.0 * f64::from(k)));
            let place = lay.position.destination(0.0, 225.0 * k);
            follower.hear(Ok(report(time, place, lay.altitude_m + up_m * k)), None);
            if k % 20.0 == 0.0 {
                let standing = follower.standing(None).unwrap();
                assert_eq!(standing.phase, Phase::Landed, "{up_m} {k}");
                let last = standing.last.unwrap().mark.position;
                assert!(last.distance_m(lay.position) < 60.0, "{up_m} {k}");
                assert_eq!(standing.released, lying.released);
                assert_eq!(standing.burst, lying.burst);
            }
        }
    }
}

/// A receiver that repeats its last place for two minutes of the fall has not landed.
#[test]
fn a_place_that_is_repeated_is_no_landing() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let stuck = hear_plan(&mut follower, true, 9_000.0, 0.0, None);
    let zone = follower.zone().clone();
    for mark in zone.track.iter().filter(|m| m.time > stuck.time) {
        let repeats = seconds_between(stuck.time, mark.time) < 120.0;
        let at = if repeats { &stuck } else { mark };
        let heard = report(mark.time, at.position, at.altitude_m);
        follower.hear(Ok(heard), None);
        if mark.altitude_m < 5_000.0 {
            break;
        }
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Falling);
    assert!(standing.last.unwrap().mark.altitude_m < 5_100.0);
}

/// One that repeats it until the end has not landed either, so far above the ground.
#[test]
fn a_receiver_that_stops_far_above_the_ground_has_not_landed() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let stuck = hear_plan(&mut follower, true, 9_000.0, 0.0, None);
    for k in 1..=10 {
        let time = after(stuck.time, 30.0 * f64::from(k));
        follower.hear(Ok(report(time, stuck.position, stuck.altitude_m)), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Falling);
    assert_eq!(standing.last.as_ref().unwrap().mark.time, stuck.time);
    assert!(standing.landing.is_some());
    let told = |n: &FollowNote| matches!(n, FollowNote::Stuck { for_s, above_m } if *for_s == 300.0 && *above_m > 5_000.0);
    assert!(has(&standing, told), "{:?}", standing.notes);
}

/// Quiet 400 m up, and heard again in a car that is far away by then.
#[test]
fn what_a_crew_carries_away_is_no_landing() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let ground_m = follower.zone().landing.altitude_m;
    let last = hear_plan(&mut follower, true, ground_m + 400.0, 0.0, None);
    for k in 0..5 {
        let seconds = 60.0 * f64::from(k);
        let place = last.position.destination(200.0, 28_000.0 + 15.0 * seconds);
        let time = after(last.time, 2_400.0 + seconds);
        follower.hear(Ok(report(time, place, ground_m)), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Falling);
    assert_eq!(standing.last.as_ref().unwrap().mark.time, last.time);
}

/// A balloon that floats for hours comes to where the planned flight never gets: the forecast is read on for it.
#[test]
fn a_forecast_is_read_on_for_a_flight_that_floats() {
    let (plan, winds) = sample_of("ribatejo");
    let mut follower = follower(&plan, &winds);
    let release = follower.zone().release;
    // Five hours and a half after the release.
    for minute in 0..=330 {
        let seconds = 60.0 * f64::from(minute);
        let place = release.position.destination(90.0, 0.5 * seconds);
        let wander_m = 15.0 * (0.01 * seconds).sin();
        let altitude_m = (release.altitude_m + 5.5 * seconds).min(12_100.0) + wander_m;
        let heard = report(after(plan.release, seconds), place, altitude_m);
        follower.hear(Ok(heard), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Floating);
    assert!(standing.landing.is_some(), "{:?}", standing.notes);
    let left_share = standing.landing.unwrap().left_share;
    assert!(left_share < 0.01, "{left_share}");
}

/// On the next day of the sample's winds the flight comes down in the lake.
#[test]
fn landings_in_water_are_told() {
    let (mut plan, _) = sample_of("lake-shore");
    for (release, in_lake) in [("2026-05-09T12:00Z", false), ("2026-05-10T14:00Z", true)] {
        plan.release = release.parse().unwrap();
        let winds = Winds::of_plan(&plan).unwrap();
        let mut follower = follower(&plan, &winds);
        hear_plan(&mut follower, true, 5_000.0, 0.0, None);
        let mut standing = follower.standing(None).unwrap();
        // Once more, when the places to wait at are known already.
        for _ in 0..2 {
            standing.notes.clear();
            follower.waiting(&mut standing).unwrap();
            let wet =
                |n: &FollowNote| matches!(n, FollowNote::LandsInWater { share } if *share > 0.9);
            assert_eq!(has(&standing, wet), in_lake, "{:?}", standing.notes);
            assert_eq!(standing.notes.len(), usize::from(in_lake));
        }
    }
}

/// From a hill 460 m above the plan's site: what stands still at first is ground.
#[test]
fn ground_far_above_the_site_is_no_flight() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let release = follower.zone().release;
    let hill_m = release.altitude_m + 460.0;
    for k in 0..80 {
        let time = after(plan.release, 15.0 * f64::from(k) - 1_200.0);
        follower.hear(Ok(report(time, release.position, hill_m)), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::OnGround);
    assert!(standing.landing.is_none() && standing.released.is_none());
    let track = follower.zone().track.clone();
    for mark in track.iter().take_while(|m| m.altitude_m < 9_000.0) {
        let heard = report(mark.time, mark.position, mark.altitude_m + 460.0);
        follower.hear(Ok(heard), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Rising);
    let off_s = seconds_between(plan.release, standing.released.unwrap());
    assert!(off_s.abs() < 60.0, "{off_s}");
    assert!(!has(&standing, |n| matches!(
        n,
        FollowNote::HeardLate { .. }
    )));
}

/// With so few draws that a quarter of them is none, and higher than all of them burst.
#[test]
fn three_draws_are_flown_on_from_above_all_their_bursts() {
    let (plan, winds) = sample();
    let options = Options {
        draws: 3,
        seed: 1,
        keep_draws: false,
    };
    let mut follower = Follower::new(&plan, &winds, options).unwrap();
    let last = hear_plan(&mut follower, false, 20_000.0, 0.0, None);
    for k in 1..=250 {
        let time = after(last.time, 20.0 * f64::from(k));
        let altitude_m = last.altitude_m + 100.0 * f64::from(k);
        follower.hear(Ok(report(time, last.position, altitude_m)), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Rising);
    assert!(standing.last.unwrap().mark.altitude_m > 40_000.0);
    assert!(
        standing
            .notes
            .iter()
            .any(|n| matches!(n, FollowNote::HigherThanExpected { .. }))
    );
}

/// A wrong height while it still stands on the ground is no flight that has landed there.
#[test]
fn a_wrong_height_on_the_ground_hides_no_flight() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let release = follower.zone().release;
    for k in 0..20 {
        let wrong_m = if k == 5 { 700.0 } else { 0.0 };
        let time = after(plan.release, 60.0 * f64::from(k) - 1_230.0);
        let heard = report(time, release.position, release.altitude_m + wrong_m);
        follower.hear(Ok(heard), None);
    }
    let track = follower.zone().track.clone();
    for mark in track
        .iter()
        .take_while(|m| m.altitude_m < release.altitude_m + 600.0)
    {
        follower.hear(Ok(report(mark.time, mark.position, mark.altitude_m)), None);
    }
    assert_eq!(follower.standing(None).unwrap().phase, Phase::Rising);
    hear_plan(&mut follower, false, 9_000.0, 0.0, None);
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Rising);
    let off_s = seconds_between(plan.release, standing.released.unwrap());
    assert!(off_s.abs() < 60.0, "{off_s}");
}

fn text(standing: &Standing, plan: &Plan) -> String {
    windfall::report::tables::follow::view(standing, &[], &plan.timezone, UnitSystem::Metric)
}

#[test]
fn what_was_not_heard_is_not_said_to_stand_on_the_ground() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let early = follower.standing(Some(after(plan.release, -60.0))).unwrap();
    assert!(text(&early, &plan).contains("nothing was heard yet"));
    assert!(early.notes.is_empty());
    let release = follower.zone().release;
    let late = |follower: &mut Follower| {
        let clock = Some(after(plan.release, 3_400.0));
        let standing = follower.standing(clock).unwrap();
        let told = text(&standing, &plan);
        assert!(!told.contains("not left the ground yet"), "{told}");
        let for_s = standing.notes.iter().find_map(|n| match n {
            FollowNote::LeftUnknown { for_s } => Some(*for_s),
            _ => None,
        });
        (for_s.unwrap(), told)
    };
    let (for_s, told) = late(&mut follower);
    assert!(told.contains("not heard yet"), "{told}");
    assert!((for_s - 3_400.0).abs() < 1.0);
    // Heard on the ground, two minutes before the release, and no more.
    for seconds in [-180.0, -120.0] {
        let time = after(plan.release, seconds);
        let report = report(time, release.position, release.altitude_m);
        follower.hear(Ok(report), Some(time));
    }
    let (for_s, told) = late(&mut follower);
    assert!(told.contains("on the ground when last heard"), "{told}");
    assert!((for_s - 3_520.0).abs() < 1.0);
    let fresh = follower
        .standing(Some(after(plan.release, -100.0)))
        .unwrap();
    assert!(text(&fresh, &plan).contains("it has not left the ground yet"));
}

/// Without terrain it falls on into a valley lower than the site.
#[test]
fn below_the_ground_that_is_assumed_no_landing_is_given() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let last = hear_plan(&mut follower, true, 3_000.0, 0.0, None);
    let standing = follower.standing(None).unwrap();
    assert!(has(&standing, |n| *n == FollowNote::GroundAssumed));
    assert!(standing.landing.is_some() && text(&standing, &plan).contains("assumed"));
    let site_m = follower.zone().release.altitude_m;
    let mut altitude_m = last.altitude_m;
    let mut seconds = 0.0;
    while altitude_m > site_m - 500.0 {
        (seconds, altitude_m) = (seconds + 30.0, altitude_m - 180.0);
        let place = last.position.destination(80.0, 5.0 * seconds);
        let report = report(after(last.time, seconds), place, altitude_m);
        follower.hear(Ok(report), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Falling);
    assert!(standing.landing.is_none() && standing.search.is_none());
    assert!(has(
        &standing,
        |n| matches!(n, FollowNote::BelowAssumedGround { lower_m } if (lower_m - site_m + altitude_m).abs() < 1.0)
    ));
}

/// On the planned way between two of its marks it is beside nothing; above its top there is no plan.
#[test]
fn beside_the_plan_is_beside_its_place_at_that_height() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let last = hear_plan(&mut follower, false, 9_000.0, 0.0, None);
    let track = follower.zone().track.clone();
    let next = track
        .iter()
        .find(|m| m.altitude_m > last.altitude_m + 1.0)
        .unwrap();
    let way_m = last.position.distance_m(next.position);
    let half = Mark {
        position: last
            .position
            .destination(last.position.azimuth_deg(next.position), 0.5 * way_m),
        altitude_m: 0.5 * (last.altitude_m + next.altitude_m),
        time: after(last.time, 0.5 * seconds_between(last.time, next.time)),
    };
    follower.hear(Ok(report(half.time, half.position, half.altitude_m)), None);
    let off = follower.standing(None).unwrap().off_plan.unwrap();
    assert!(
        off.distance_m < 5.0 && off.later_s.abs() < 1.5,
        "{off:?} {way_m}"
    );
    let burst = follower.zone().burst;
    hear_plan(&mut follower, false, burst.altitude_m - 300.0, 0.0, None);
    let higher = report(
        after(burst.time, 300.0),
        burst.position,
        burst.altitude_m + 900.0,
    );
    follower.hear(Ok(higher), None);
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Rising);
    assert!(standing.off_plan.is_none());
}

/// A fix a second: those of the first hundred metres of the rise do not hold the release back.
#[test]
fn a_release_heard_every_second_is_found_to_the_second() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let release = follower.zone().release;
    for second in -120..400 {
        let seconds = f64::from(second);
        let height_m = 5.0 * seconds.max(0.0);
        let time = after(plan.release, seconds);
        let report = report(time, release.position, release.altitude_m + height_m);
        follower.hear(Ok(report), None);
    }
    let released = follower.standing(None).unwrap().released.unwrap();
    let off_s = seconds_between(plan.release, released);
    assert!(off_s.abs() < 2.0, "{off_s}");
}

/// Winds of a few hours: a flight released after them is not said to be predicted again.
#[test]
fn a_release_that_the_winds_do_not_cover_is_told_without_contradiction() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/idaho/plan.toml");
    let plan = Plan::read(path).unwrap();
    let winds = Winds::of_plan(&plan).unwrap();
    let mut follower = follower(&plan, &winds);
    hear_plan(&mut follower, false, 6_000.0, 8.0 * 3_600.0, None);
    let standing = follower.standing(None).unwrap();
    assert!(has(&standing, |n| *n == FollowNote::WindsOfPlan));
    let told = text(&standing, &plan);
    assert!(told.contains("later than planned."), "{told}");
    assert!(!told.contains("predicted again"), "{told}");
    assert_eq!(
        standing.landing.is_none(),
        told.contains("No landing can be given"),
        "{told}"
    );
}

/// What a tracker told of a flight two days before does not end the one of today.
#[test]
fn an_earlier_flight_of_the_same_tracker_is_left_out() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let track = follower.zone().track.clone();
    for mark in &track {
        let time = after(mark.time, -2.0 * 86_400.0);
        follower.hear(Ok(report(time, mark.position, mark.altitude_m)), None);
    }
    let before = follower.standing(None).unwrap();
    assert!(matches!(before.phase, Phase::Falling | Phase::Landed));
    hear_plan(&mut follower, false, 15_000.0, 0.0, None);
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Rising);
    assert!(seconds_between(plan.release, standing.released.unwrap()).abs() < 60.0);
    assert!(has(
        &standing,
        |n| matches!(n, FollowNote::OtherFlights { flights: 1, fixes } if *fixes == track.len())
    ));
}

/// Heard first in its fall: neither when it was released nor where it burst is known, and that is said.
#[test]
fn of_a_flight_that_is_joined_in_its_fall_no_burst_is_told() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let zone = follower.zone().clone();
    let falling = zone.track.iter().filter(|m| m.time > zone.burst.time);
    for mark in falling.filter(|m| (5_000.0..20_000.0).contains(&m.altitude_m)) {
        let heard = report(mark.time, mark.position, mark.altitude_m);
        follower.hear(Ok(heard), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::Falling);
    assert_eq!((standing.burst, standing.released), (None, None));
    assert!(has(&standing, |n| matches!(
        n,
        FollowNote::HeardLate {
            released: false,
            ..
        }
    )));
}

/// Heard on its way up and then lying: where it burst nobody knows.
#[test]
fn a_burst_that_was_not_heard_is_not_told() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    hear_plan(&mut follower, false, 15_000.0, 0.0, None);
    let lies = follower.zone().landing;
    for k in 0..10 {
        let time = after(lies.time, 30.0 * f64::from(k));
        follower.hear(Ok(report(time, lies.position, lies.altitude_m)), None);
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!((standing.phase, standing.burst), (Phase::Landed, None));
}

/// Heard on the pad and then lying far away: it has left, or somebody carries it.
#[test]
fn what_lies_far_from_the_site_is_not_said_to_wait_there() {
    let (plan, winds) = sample();
    let mut follower = follower(&plan, &winds);
    let (release, site_m) = (plan.site.position, follower.zone().release.altitude_m);
    let far = release.destination(120.0, 60_000.0);
    for (place, from_s) in [(release, -900.0), (far, 7_900.0)] {
        for k in 0..20 {
            let time = after(plan.release, from_s + 15.0 * f64::from(k));
            follower.hear(Ok(report(time, place, site_m)), None);
        }
    }
    let standing = follower.standing(None).unwrap();
    assert_eq!(standing.phase, Phase::OnGround);
    assert!(has(&standing, |n| matches!(
        n,
        FollowNote::LiesElsewhere { .. }
    )));
    assert_eq!(standing.search.as_ref().unwrap().center, far);
    let units = UnitSystem::Metric;
    let view = windfall::report::tables::follow::view(&standing, &[], &plan.timezone, units);
    assert!(view.contains("flown or carried there"), "{view}");
    assert!(!view.contains("not left"), "{view}");
}

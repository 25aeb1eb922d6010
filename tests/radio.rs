//! The radio horizon over an earth of 4/3 its radius. The distances are those computed from
//! k R (acos(k R / (k R + h1)) + acos(k R / (k R + h2))) with R = 6371 km, k = 4/3 (ITU-R P.310: an
//! effective radius of about 8500 km), beside the rule of thumb 4.12 (sqrt h1 + sqrt h2) km.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use windfall::brief::radio::{hearing, horizon_m, lowest_seen_m};
use windfall::geodesy::Position;
use windfall::zone::Mark;

/// Heights, m, and the distance along the ground at which they just see each other, km.
const HORIZONS: [(f64, f64, f64); 4] = [
    (30_000.0, 2.0, 718.70),
    (10_000.0, 2.0, 417.81),
    (1_000.0, 2.0, 136.17),
    (100.0, 2.0, 47.05),
];

#[test]
fn horizons_are_those_of_the_table() {
    for (high_m, low_m, km) in HORIZONS {
        let found = horizon_m(high_m, low_m) / 1_000.0;
        assert!((found - km).abs() < 0.006, "{high_m}: {found}");
        // The rule of thumb is within 0.1 %.
        let thumb = 4.12 * (f64::sqrt(high_m) + f64::sqrt(low_m));
        assert!((found / thumb - 1.0).abs() < 1.5e-3, "{found} {thumb}");
    }
}

#[test]
fn the_lowest_height_seen_is_that_of_the_horizon() {
    for (high_m, low_m, _) in HORIZONS {
        let distance_m = horizon_m(high_m, low_m);
        let found = lowest_seen_m(low_m, 0.0, distance_m, |_| None);
        assert!((found - high_m).abs() < 0.01, "{high_m}: {found}");
        // Ground at sea level is no obstacle beyond that.
        let over_ground = lowest_seen_m(low_m, 0.0, distance_m, |_| Some(0.0));
        assert!(
            (over_ground - high_m).abs() < 1e-3 * high_m + 0.1,
            "{over_ground}"
        );
    }
    // Nearer than the antenna's own horizon everything is seen, down to the ground.
    assert!(lowest_seen_m(2.0, 0.0, 3_000.0, |_| None).abs() < 0.01);
}

/// A ridge hides what is behind it: over a flat earth with the heights lowered by d^2 / (2 k R), a
/// straight line over its top.
#[test]
fn a_ridge_hides_what_is_behind_it() {
    let (antenna_m, ridge_m, at_m, distance_m) = (302.0, 800.0, 12_000.0, 40_000.0);
    let drop = |d: f64| d * d / (2.0 * 4.0 / 3.0 * 6_371_000.0);
    let slope = (ridge_m - drop(at_m) - antenna_m) / at_m;
    let expected = antenna_m + slope * distance_m + drop(distance_m);
    let ridge = |d: f64| {
        Some(if (d - at_m).abs() < 80.0 {
            ridge_m
        } else {
            300.0
        })
    };
    let found = lowest_seen_m(antenna_m, 300.0, distance_m, ridge);
    assert!((found - expected).abs() < 15.0, "{found} {expected}");
    let without = lowest_seen_m(antenna_m, 300.0, distance_m, |_| Some(300.0));
    assert!(without < 400.0, "{without}");
}

#[test]
fn a_tracker_is_heard_between_two_heights() {
    let site = Position::new(40.0, 0.0).unwrap();
    let mark = |km: f64, altitude_m: f64| Mark {
        position: site.destination(90.0, 1_000.0 * km),
        altitude_m,
        time: "2026-01-01T00:00:00Z".parse().unwrap(),
    };
    let track: Vec<Mark> = (0..=100)
        .map(|k| mark(f64::from(k), 200.0 * f64::from(k)))
        .chain((0..=100).map(|k| mark(100.0 + 0.5 * f64::from(k), 20_000.0 - 200.0 * f64::from(k))))
        .collect();
    let place = site.destination(90.0, 50_000.0);
    let heard = hearing(place, 0.0, &track, None);
    // From the place the release is 50 km away and the landing 100 km: the heights there of the
    // antenna's horizon, by the parabola (d - sqrt(2 k R a))^2 / (2 k R).
    let hidden = |d: f64| {
        let r = 2.0 * 4.0 / 3.0 * 6_371_000.0;
        (d - f64::sqrt(r * 2.0)).powi(2) / r
    };
    let (from, until) = (heard.from_m.unwrap(), heard.until_m.unwrap());
    assert!(
        from > 0.0 && (from - hidden(50_000.0 - 5.0 * from)).abs() < 10.0,
        "{from}"
    );
    assert!(
        (until - hidden(100_000.0 - 2.5 * until)).abs() < 15.0,
        "{until}"
    );
    assert!(
        (heard.last_distance_m - 98_000.0).abs() < 2_000.0,
        "{heard:?}"
    );
}

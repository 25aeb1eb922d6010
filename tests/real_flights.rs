//! The drift integrator on measured flights: with the recorded winds, times and heights it must
//! come out where the flight did.
//!
//! Each phase is flown by the flight model itself, layer by layer: winds by altitude, and the
//! seconds in each layer from the recorded times. Positions of the flights from Darwin and
//! Oklahoma were not measured but summed by their source from the same winds on a sphere (111,137 m
//! a degree), so there the error is mostly the difference of sphere and ellipsoid, about half a
//! percent. See tests/data/flights/README.md.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "tables for whoever runs the tests")]

mod common;

use common::{MeasuredFlight, Record, column, interpolate};
use windfall::atmosphere::AirProfile;
use windfall::flight::layers::{LayerWinds, Layers, THICKNESS_M};
use windfall::flight::model::{
    Departures, Fall, FlightModel, FlightWinds, Moment, Scratch, Variation,
};
use windfall::flight::rise::Rise;
use windfall::geodesy::Compass;

/// Seconds that whole layers take at the recorded pace; `times` by rising altitude. A layer the
/// flight passes in part is taken at the pace of that part.
fn layer_seconds(times: &[(f64, f64)], layers: &Layers) -> Vec<f64> {
    let (low, high) = (times[0].0, times[times.len() - 1].0);
    let at = |z: f64| interpolate(times, z).expect("a recorded altitude");
    (0..layers.count)
        .map(|k| {
            let (from, to) = (
                layers.altitude_m(k).max(low),
                layers.altitude_m(k + 1).min(high),
            );
            (at(to) - at(from)).abs() * layers.thickness_m / (to - from)
        })
        .collect()
}

/// A model that goes through the records' altitudes at their pace, up or down.
fn model(rising: &[Record], start: &Record, up: bool) -> (FlightModel, f64) {
    let (low, high) = (rising[0].altitude_m, rising[rising.len() - 1].altitude_m);
    let layers = Layers::covering(low, high, THICKNESS_M);
    let times: Vec<(f64, f64)> = rising.iter().map(|r| (r.altitude_m, r.time_s)).collect();
    let seconds = layer_seconds(&times, &layers);
    let none = vec![0.0; layers.count];
    let (rise, fall) = if up { (seconds, none) } else { (none, seconds) };
    let model = FlightModel {
        winds: FlightWinds::Column(LayerWinds::of_profile(
            &column(rising, AirProfile::standard()).winds,
            &layers,
        )),
        rise: Rise::Stated {
            seconds: rise,
            burst_altitude_m: high,
        },
        fall: Fall {
            seconds: fall,
            half_ln_thinness: vec![0.0; layers.count],
        },
        layers,
        start: start.place.normal(),
        compass: Compass::at(start.place),
        release_layer: 0,
        ground: None,
    };
    (model, high)
}

/// Flies a phase and returns where it ends, with the seconds it took.
fn fly(model: &FlightModel, up: bool) -> Moment {
    let flown = model
        .fly(
            &Variation::NONE,
            Departures::NONE,
            &mut Scratch::default(),
            None,
        )
        .expect("it flies");
    if up { flown.burst } else { flown.landing }
}

/// Error at the end, m and as a share of the distance between first and last record.
fn end_error(name: &str, records: &[Record], up: bool) -> f64 {
    let (first, last) = (records[0], records[records.len() - 1]);
    let mut rising = monotonic(records, up);
    if !up {
        rising.reverse();
    }
    let (model, _) = model(&rising, &first, up);
    let end = fly(&model, up);
    let recorded_s = (rising[rising.len() - 1].time_s - rising[0].time_s).abs();
    // The top layer is passed in part, and its pace leans as from the layer below.
    assert!(
        (end.time_s - recorded_s).abs() < 5.0,
        "{name}: {} s",
        end.time_s
    );
    let distance = first.place.distance_m(last.place);
    let error = end.place.position().distance_m(last.place);
    println!(
        "{name} {}: {:.2} km, error {error:.0} m, {:.2} %",
        if up { "ascent" } else { "descent" },
        distance / 1_000.0,
        100.0 * error / distance
    );
    error / distance
}

/// Records higher (or lower) than all before.
fn monotonic(records: &[Record], up: bool) -> Vec<Record> {
    let mut kept: Vec<Record> = Vec::new();
    for r in records {
        let goes_on = kept
            .last()
            .is_none_or(|last| (r.altitude_m > last.altitude_m) == up);
        if goes_on
            && kept
                .last()
                .is_none_or(|last| r.altitude_m != last.altitude_m)
        {
            kept.push(*r);
        }
    }
    kept
}

#[test]
fn barbados_ascent_and_descent() {
    let flight = MeasuredFlight::read("barbados_2019-02-10");
    assert!(end_error("barbados", &flight.ascent, true) < 0.01);
    assert!(end_error("barbados", &flight.descent, false) < 0.01);
}

#[test]
fn riverton_ascent() {
    let flight = MeasuredFlight::read("riverton_2026-02-05");
    assert!(end_error("riverton", &flight.ascent, true) < 0.01);
}

#[test]
fn oklahoma_ascent() {
    let flight = MeasuredFlight::read("oklahoma_2019-01-01");
    assert!(end_error("oklahoma", &flight.ascent, true) < 0.01);
}

#[test]
fn every_ascent_from_darwin() {
    let flights = MeasuredFlight::all_darwin();
    assert_eq!(flights.len(), 12);
    for flight in flights {
        assert!(
            end_error(&flight.name, &flight.ascent, true) < 0.01,
            "{}",
            flight.name
        );
    }
}

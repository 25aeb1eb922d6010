//! The integrator against drifts in closed form, and its order.
//!
//! The closed forms are of a flat earth; the library moves over an ellipsoid, on which a stack at
//! height z that the air carries 1 m makes R / (R + z) m over the ground. So all flights here
//! start on the equator in a wind towards the east: their way is a circle of radius
//! a + z, and the ellipsoid adds nothing else. Each drift is tested twice:
//! as the integrator flew it, against the integral of u / v R / (R + z) by a fine quadrature
//! (whose flat case must first give the published number);
//! and with R / (R + z) taken back out leg by leg, against the published number itself.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::exponential_air;
use windfall::atmosphere::AirProfile;
use windfall::flight::layers::{LayerWinds, Layers, THICKNESS_M};
use windfall::flight::model::{
    Departures, Fall, FlightModel, FlightWinds, Moment, Scratch, Variation,
};
use windfall::flight::rates::RateTable;
use windfall::flight::rise::Rise;
use windfall::geodesy::{Compass, FLATTENING, Normal, Position, SEMI_MAJOR_M, advance};
use windfall::vehicle::descent::FallSpeed;
use windfall::wind::column::Column;
use windfall::wind::sounding::Wind;

const TOP_M: f64 = 30_000.0;
/// What the tests allow: 0.02 %.
const ALLOWED: f64 = 2e-4;

fn east(east_m_s: f64) -> Wind {
    Wind {
        east_m_s,
        north_m_s: 0.0,
    }
}

/// u = a z with a = 1e-3 /s.
fn shear() -> Column {
    let winds = [(0.0, east(0.0)), (TOP_M, east(30.0))];
    Column::from_winds(&winds, AirProfile::standard())
}

fn steady() -> Column {
    Column::from_winds(&[(0.0, east(10.0))], AirProfile::standard())
}

/// A flight up at 5 m/s to 30 km and down at 5 m/s sqrt(rho0 / rho).
fn model(column: &Column, air: &AirProfile) -> FlightModel {
    let layers = Layers::covering(0.0, TOP_M, THICKNESS_M);
    let fall = FallSpeed {
        landing_speed_m_s: 5.0,
        thin_air_exponent: 0.0,
    };
    FlightModel {
        winds: FlightWinds::Column(LayerWinds::of_profile(&column.winds, &layers)),
        rise: Rise::stated(&RateTable::constant(5.0), TOP_M, &layers),
        fall: Fall::at_speed(&fall, air, &layers),
        layers,
        start: Position {
            lat_deg: 0.0,
            lon_deg: 0.0,
        }
        .normal(),
        compass: Compass::True,
        release_layer: 0,
        ground: None,
    }
}

/// Metres east over the ground.
fn east_m(from: Normal, to: Normal) -> f64 {
    let [from, to] = [from, to].map(|n| n.position());
    assert!(from.lat_deg.abs() < 1e-12 && to.lat_deg.abs() < 1e-12);
    (to.lon_deg - from.lon_deg).to_radians() * SEMI_MAJOR_M
}

/// What is compared: the way up or the way down.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    Up,
    Down,
}

/// Drift over the ground as flown in the legs of a Monte-Carlo flight.
fn flown_m(model: &FlightModel, way: Way) -> f64 {
    let flown = model
        .fly(
            &Variation::NONE,
            Departures::NONE,
            &mut Scratch::default(),
            None,
        )
        .expect("it flies");
    assert!((flown.burst.altitude_m - TOP_M).abs() < 1e-9);
    assert!(flown.landing.altitude_m.abs() < 1e-9);
    match way {
        Way::Up => east_m(model.start, flown.burst.place),
        Way::Down => east_m(flown.burst.place, flown.landing.place),
    }
}

/// Drift with the effect of height taken out of every recorded leg.
fn flattened_m(model: &FlightModel, way: Way) -> f64 {
    let mut moments: Vec<Moment> = Vec::new();
    let mut record = |m: Moment| moments.push(m);
    model
        .fly(
            &Variation::NONE,
            Departures::NONE,
            &mut Scratch::default(),
            Some(&mut record),
        )
        .expect("it flies");
    moments
        .windows(2)
        .filter(|w| (w[1].altitude_m > w[0].altitude_m) == (way == Way::Up))
        .map(|w| {
            let middle_m = 0.5 * (w[0].altitude_m + w[1].altitude_m);
            east_m(w[0].place, w[1].place) * (SEMI_MAJOR_M + middle_m) / SEMI_MAJOR_M
        })
        .sum()
}

/// The integral of u(z) / v(z) over the ground of a sphere (or, without a radius, of a plane), by
/// the midpoint rule in steps of 1 m.
fn quadrature_m(slowness_times_wind: impl Fn(f64) -> f64, radius_m: Option<f64>) -> f64 {
    (0..TOP_M as usize)
        .map(|i| {
            let z = i as f64 + 0.5;
            slowness_times_wind(z) * radius_m.map_or(1.0, |r| r / (r + z))
        })
        .sum()
}

/// Holds one closed form: `published` metres, to its `digits` (half a unit of the last).
fn hold(
    what: &str,
    model: &FlightModel,
    way: Way,
    integrand: impl Fn(f64) -> f64,
    (published, digits): (f64, f64),
) {
    let flat = quadrature_m(&integrand, None);
    assert!(
        (flat - published).abs() < digits,
        "{what}: quadrature {flat}"
    );
    let round = quadrature_m(&integrand, Some(SEMI_MAJOR_M));
    let flown = flown_m(model, way);
    assert!(
        (flown / round - 1.0).abs() < ALLOWED,
        "{what}: {flown} for {round}"
    );
    let flattened = flattened_m(model, way);
    let error = flattened / published - 1.0;
    assert!(error.abs() < ALLOWED, "{what}: {flattened} for {published}");
    // The earth's roundness itself is ten times what is allowed: it was not lost in between.
    assert!(round / flat < 1.0 - 5.0 * ALLOWED, "{what}: {round} {flat}");
}

/// Ascent: a z^2 / (2 w) = 90,000 m.
#[test]
fn ascent_through_linear_shear() {
    let model = model(&shear(), &AirProfile::standard());
    hold(
        "shear up",
        &model,
        Way::Up,
        |z| 1e-3 * z / 5.0,
        (90_000.0, 0.01),
    );
}

/// Descent at v = 5 sqrt(rho0 / rho) m/s in the standard atmosphere: u = a z gives 27,892.13 m, 10
/// m/s gives 27,498.31 m. (The profile interpolates ln rho in 100 m steps: 3e-6 of the density.)
#[test]
fn descent_in_the_standard_atmosphere() {
    use windfall::atmosphere::{Geopotential, RHO0_KG_M3, standard};
    let slowness =
        |z: f64| (standard(Geopotential::standard(z)).density_kg_m3 / RHO0_KG_M3).sqrt() / 5.0;
    let air = AirProfile::standard();
    let sheared = model(&shear(), &air);
    hold(
        "shear down",
        &sheared,
        Way::Down,
        |z| 1e-3 * z * slowness(z),
        (27_892.13, 0.02),
    );
    let steady = model(&steady(), &air);
    hold(
        "steady down",
        &steady,
        Way::Down,
        |z| 10.0 * slowness(z),
        (27_498.31, 0.02),
    );
}

/// Descent in exponential air, H = 7 km, u = a z:
/// (a / v0) [4 H^2 (1 - e^(-z/2H)) - 2 H z e^(-z/2H)] = 24,746.28 m.
#[test]
fn descent_in_exponential_air() {
    let (h, a, v0) = (7_000.0, 1e-3, 5.0);
    let e = f64::exp(-TOP_M / (2.0 * h));
    let closed = a / v0 * (4.0 * h * h * (1.0 - e) - 2.0 * h * TOP_M * e);
    assert!((closed - 24_746.28).abs() < 0.005, "{closed}");
    let model = model(&shear(), &exponential_air(h));
    hold(
        "exponential down",
        &model,
        Way::Down,
        |z| a * z / v0 * f64::exp(-z / (2.0 * h)),
        (24_746.28, 0.02),
    );
}

/// One revolution in solid-body rotation in `steps` steps of [`advance`], on a circle of 1 km about
/// a place on the equator: the distance from start to end as a share of the radius.
fn end_error_of_a_revolution(steps: usize) -> f64 {
    const RADIUS_M: f64 = 1_000.0;
    // Radii of curvature on the equator: a to the east, a (1 - e^2) to the north. The rest of the
    // plane's error is 1e-8 (a kilometre against the earth's radius, squared).
    let north_radius = SEMI_MAJOR_M * (1.0 - FLATTENING) * (1.0 - FLATTENING);
    let plane = |n: Normal| {
        let p = n.position();
        [
            p.lon_deg.to_radians() * SEMI_MAJOR_M,
            p.lat_deg.to_radians() * north_radius,
        ]
    };
    let turn = std::f64::consts::TAU / steps as f64;
    let start = Position {
        lat_deg: 0.0,
        lon_deg: (RADIUS_M / SEMI_MAJOR_M).to_degrees(),
    }
    .normal();
    let mut here = start;
    for _ in 0..steps {
        // u = -w y, v = w x with w = 1 rad/s.
        here = advance(here, &Compass::True, 0.0, turn, |n| {
            let [x, y] = plane(n);
            [-y, x]
        });
    }
    let ([x0, y0], [x, y]) = (plane(start), plane(here));
    (x - x0).hypot(y - y0) / RADIUS_M
}

/// The explicit midpoint method, computed in the plane: relative end error after one revolution.
#[test]
fn order_on_solid_body_rotation() {
    let published = [
        (20, 1.043e-1),
        (40, 2.586e-2),
        (80, 6.460e-3),
        (160, 1.615e-3),
    ];
    let errors = published.map(|(steps, expected)| {
        let error = end_error_of_a_revolution(steps);
        assert!((error / expected - 1.0).abs() < 0.01, "{steps}: {error}");
        error
    });
    for pair in errors.windows(2) {
        let order = (pair[0] / pair[1]).log2();
        assert!((order - 2.0).abs() < 0.02, "{order}");
    }
}

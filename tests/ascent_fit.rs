//! The drag curve against measured ascents: what it explains and what it leaves.
//!
//! Sources of the flights: tests/data/flights/README.md. Of each flight the free lift is matched to
//! the whole time of the ascent; what is left is ln(measured / model) of the ascent rate in bands
//! of 2.5 km that the flight covers to 60 %.
//!
//! Balloon and load of these flights are not recorded; assumed are a 350 g balloon with 0.30 kg
//! (Darwin) or 0.20 kg (Oklahoma), 600 g with 0.25 kg (Riverton), 200 g with 0.15 kg (Barbados),
//! all in helium. The curve was fitted to the flights marked so here and two more, and checked on
//! the held-out ones and two more (Czech soundings that are not among the test data).

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "tables for whoever runs the tests")]

mod common;

use common::{MeasuredFlight, interpolate};
use windfall::atmosphere::{AirLevel, AirProfile, virtual_temperature_k};
use windfall::vehicle::ascent::{Climber, DragCurve, GasHeat};
use windfall::vehicle::balloon::{Fill, Gas, LiftingGas};

const FITTED_ON: [&str; 8] = [
    "darwin_2006-01-19T0503",
    "darwin_2006-01-19T1120",
    "darwin_2006-01-19T2316",
    "darwin_2006-01-20T1119",
    "darwin_2006-01-20T2315",
    "darwin_2006-01-21T1116",
    "darwin_2006-01-21T2316",
    "riverton_2026-02-05",
];

const HELD_OUT: [&str; 6] = [
    "darwin_2006-01-19T1633",
    "darwin_2006-01-20T0438",
    "darwin_2006-01-20T1708",
    "darwin_2006-01-21T0515",
    "oklahoma_2019-01-01",
    "barbados_2019-02-10",
];

/// Left out of both: its rate falls to 0.56 of itself between 10 and 16 km (ice or a leak is
/// suspected, not shown). Printed with the others.
const LEFT_OUT: &str = "darwin_2006-01-21T1716";

const BAND_M: f64 = 2_500.0;

/// An ascent ready to be compared.
struct Ascent {
    name: &'static str,
    balloon_kg: f64,
    load_kg: f64,
    air: AirProfile,
    /// Altitude and time, strictly rising.
    track: Vec<(f64, f64)>,
}

fn assumed_masses_kg(name: &str) -> (f64, f64) {
    match name.split('_').next() {
        Some("darwin") => (0.35, 0.30),
        Some("oklahoma") => (0.35, 0.20),
        Some("riverton") => (0.60, 0.25),
        Some("barbados") => (0.20, 0.15),
        _ => panic!("no masses for {name}"),
    }
}

fn ascent(name: &'static str, darwin: &[(f64, f64)]) -> Ascent {
    let flight = MeasuredFlight::read(name);
    let rising = flight.rising();
    let measured = rising.iter().filter(|r| r.temperature_k.is_some()).count();
    let air = if measured > 10 {
        flight.air()
    } else {
        // Three Darwin flights have no temperature above the ground.
        let levels: Vec<AirLevel> = rising
            .iter()
            .filter_map(|r| {
                Some(AirLevel {
                    altitude_m: r.altitude_m,
                    temperature_k: interpolate(darwin, r.altitude_m)?,
                    pressure_pa: r.pressure_pa,
                    vapour_pressure_pa: 0.0,
                })
            })
            .collect();
        AirProfile::from_levels(&levels)
    };
    let (balloon_kg, load_kg) = assumed_masses_kg(name);
    Ascent {
        name,
        balloon_kg,
        load_kg,
        air,
        track: rising.iter().map(|r| (r.altitude_m, r.time_s)).collect(),
    }
}

/// Mean virtual temperature above Darwin by altitude.
fn darwin_temperatures() -> Vec<(f64, f64)> {
    let profiles: Vec<Vec<(f64, f64)>> = MeasuredFlight::all_darwin()
        .iter()
        .map(|flight| {
            flight
                .rising()
                .iter()
                .filter_map(|r| {
                    let t = r.temperature_k?;
                    let tv = virtual_temperature_k(t, r.pressure_pa, r.vapour_pressure_pa);
                    Some((r.altitude_m, tv))
                })
                .collect::<Vec<_>>()
        })
        .filter(|p: &Vec<_>| p.len() > 10)
        .collect();
    (0..150)
        .filter_map(|k| {
            let z = 32.0 + 200.0 * f64::from(k);
            let there: Vec<f64> = profiles.iter().filter_map(|p| interpolate(p, z)).collect();
            let mean = there.iter().sum::<f64>() / there.len() as f64;
            (!there.is_empty()).then_some((z, mean))
        })
        .collect()
}

fn ascents(names: &[&'static str]) -> Vec<Ascent> {
    let darwin = darwin_temperatures();
    names.iter().map(|name| ascent(name, &darwin)).collect()
}

impl Ascent {
    fn ends(&self) -> ((f64, f64), (f64, f64)) {
        (self.track[0], self.track[self.track.len() - 1])
    }

    /// Altitude and time of the model with a free lift, in layers of about 100 m.
    fn modelled(&self, free_kg: f64, drag: DragCurve) -> Vec<(f64, f64)> {
        let ((low, _), (high, _)) = self.ends();
        let dead_mass_kg = self.balloon_kg + self.load_kg;
        let gas = LiftingGas {
            gas: Gas::Helium,
            purity: 1.0,
        };
        let climber = Climber {
            dead_mass_kg,
            fill: Fill::of_gross_lift(gas, dead_mass_kg + free_kg, &self.air.at(low)),
            drag,
            drag_factor: 1.0,
            heat: GasHeat::Convective,
        };
        let count = ((high - low) / 100.0).ceil() as usize;
        let thickness = (high - low) / count as f64;
        let climb = climber.climb(&self.air, low, thickness, count);
        let mut time = 0.0;
        let mut track = vec![(low, 0.0)];
        for (k, seconds) in climb.seconds.iter().enumerate() {
            time += seconds;
            track.push((low + thickness * (k + 1) as f64, time));
        }
        track[count].0 = high;
        track
    }

    /// The model whose free lift gives the measured time of the whole ascent: bisection.
    fn matched(&self, drag: DragCurve) -> Vec<(f64, f64)> {
        let ((_, start), (_, end)) = self.ends();
        let (mut low, mut high) = (0.02f64.ln(), 4f64.ln());
        for _ in 0..24 {
            let middle = 0.5 * (low + high);
            let track = self.modelled(middle.exp(), drag);
            if track[track.len() - 1].1 > end - start {
                low = middle;
            } else {
                high = middle;
            }
        }
        self.modelled((0.5 * (low + high)).exp(), drag)
    }

    /// ln(measured / model) by band: lower edge m and residual.
    fn residuals(&self, drag: DragCurve) -> Vec<(f64, f64)> {
        let model = self.matched(drag);
        let ((low, _), (high, _)) = self.ends();
        (0..15)
            .filter_map(|k| {
                let edge = BAND_M * f64::from(k);
                let (from, to) = (edge.max(low), (edge + BAND_M).min(high));
                if to - from < 0.6 * BAND_M {
                    return None;
                }
                let seconds = |track: &[(f64, f64)]| {
                    Some(interpolate(track, to)? - interpolate(track, from)?)
                };
                Some((edge, (seconds(&model)? / seconds(&self.track)?).ln()))
            })
            .collect()
    }
}

/// Root mean square over all bands of all flights.
fn rms(ascents: &[Ascent], drag: DragCurve) -> f64 {
    let all: Vec<f64> = ascents
        .iter()
        .flat_map(|a| a.residuals(drag))
        .map(|(_, r)| r)
        .collect();
    assert!(all.len() > 40, "only {} bands", all.len());
    root_mean_square(&all)
}

fn root_mean_square(values: &[f64]) -> f64 {
    (values.iter().map(|r| r * r).sum::<f64>() / values.len() as f64).sqrt()
}

fn print_table(title: &str, ascents: &[Ascent]) {
    println!("\n{title}: ln(measured / model) x 100 by lower edge of the band, km\n");
    let edges: Vec<f64> = (0..14).map(|k| BAND_M * f64::from(k)).collect();
    let head: Vec<String> = edges
        .iter()
        .map(|e| format!("{:.1}", e / 1_000.0))
        .collect();
    println!("| flight | {} | rms |", head.join(" | "));
    println!("|--|{}--:|", "--:|".repeat(edges.len()));
    for a in ascents {
        let found = a.residuals(DragCurve::FITTED);
        let cells: Vec<String> = edges
            .iter()
            .map(|edge| {
                found
                    .iter()
                    .find(|(e, _)| e == edge)
                    .map_or(String::new(), |(_, r)| format!("{:+.0}", 100.0 * r))
            })
            .collect();
        let all: Vec<f64> = found.iter().map(|(_, r)| *r).collect();
        let rms = 100.0 * root_mean_square(&all);
        println!("| {} | {} | {rms:.0} |", a.name, cells.join(" | "));
    }
}

/// The residuals, and what constant drag (Cd 0.285, the mean of what the manufacturer's table
/// implies at release) would leave: about twice as much.
#[test]
fn residuals_of_fitted_and_held_out_flights() {
    let (fitted, held_out) = (ascents(&FITTED_ON), ascents(&HELD_OUT));
    print_table("Flights the curve was fitted on", &fitted);
    print_table("Flights held out", &held_out);
    print_table("Left out", &ascents(&[LEFT_OUT]));
    let of = |drag| (rms(&fitted, drag), rms(&held_out, drag));
    let (fit, held) = of(DragCurve::FITTED);
    let (constant_fit, constant_held) = of(DragCurve::constant(0.285));
    println!("\n| | fitted on | held out |\n|--|--:|--:|");
    println!("| fitted curve | {fit:.3} | {held:.3} |");
    println!("| constant drag | {constant_fit:.3} | {constant_held:.3} |");
    assert!(fit <= 0.130, "{fit}");
    assert!(held <= 0.093, "{held}");
    assert!(constant_fit > 1.7 * fit, "{constant_fit} {fit}");
    assert!(constant_held > 1.7 * held, "{constant_held} {held}");
}

/// No change of the curve fits the flights it was fitted on better: the constants stand near their
/// optimum, although the fit weighed outliers less, held the manufacturer's table too, and had two
/// flights more.
#[test]
fn the_constants_are_near_their_optimum() {
    let fitted = ascents(&FITTED_ON);
    let curve = DragCurve::FITTED;
    let committed = rms(&fitted, curve);
    let with = |name: &str, drag: DragCurve| {
        let other = rms(&fitted, drag);
        println!("{name}: {other:.4}, committed {committed:.4}");
        assert!(other > committed, "{name}: {other} < {committed}");
        other
    };
    let ln_re0 = |ln_re0| DragCurve { ln_re0, ..curve };
    let high = |high| DragCurve { high, ..curve };
    let steepness = |steepness| DragCurve { steepness, ..curve };
    let worst = [
        with("Re0 -20 %", ln_re0(curve.ln_re0 + 0.8f64.ln())),
        with("Re0 +20 %", ln_re0(curve.ln_re0 + 1.2f64.ln())),
        with("high -20 %", high(0.8 * curve.high)),
        with("high +20 %", high(1.2 * curve.high)),
        with("steepness -30 %", steepness(0.7 * curve.steepness)),
        with("steepness +30 %", steepness(1.3 * curve.steepness)),
    ]
    .into_iter()
    .fold(0.0, f64::max);
    assert!(
        worst > 1.05 * committed,
        "the flights do not tell curves apart"
    );
}

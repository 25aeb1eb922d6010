//! The wind error process against its closed forms, and the error of forecasts against published
//! ones.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

use windfall::atmosphere::standard_height_of_pressure;
use windfall::random::SplitMix;
use windfall::wind::column::WindProfile;
use windfall::wind::error::{ErrorPart, WindError};
use windfall::wind::error_process::WindErrorProcess;
use windfall::wind::sounding::Wind;

const LAYER_M: f64 = 200.0;
const LAYERS: usize = 150;
/// 5 m/s.
const SECONDS: f64 = LAYER_M / 5.0;
const SIGMA_M_S: f64 = 3.0;
const DRAWS: u64 = 6_000;

/// Constant sigma over 30 km, of parts that share the variance evenly.
fn process(correlation_lengths_m: &[f64]) -> WindErrorProcess {
    let sigma = SIGMA_M_S / (correlation_lengths_m.len() as f64).sqrt();
    let part = |l: &f64| ErrorPart::constant(sigma, *l);
    let error = WindError {
        parts: correlation_lengths_m.iter().map(part).collect(),
    };
    let heights: Vec<f64> = (0..LAYERS).map(|k| LAYER_M * (k as f64 + 0.5)).collect();
    WindErrorProcess::new(&error, &heights, &[SECONDS; LAYERS])
}

/// Draws with deviates of their own, and hands each to `see`.
fn draw_all(process: &WindErrorProcess, mut see: impl FnMut(&[[f64; 2]])) {
    let mut out = Vec::new();
    for index in 0..DRAWS {
        let mut stream = SplitMix::stream(11, index);
        let deviates = [stream.next_normal(), stream.next_normal()];
        process.draw(deviates, &mut stream, &mut out);
        see(&out);
    }
}

/// Exponential correlation over a depth Z passed at w:
/// SD = sqrt(2 sigma^2 (L Z - L^2 (1 - exp(-Z / L)))) / w, here 3 m/s, 30 km, 5 m/s; m.
const CLOSED_FORM: [(f64, f64); 4] = [
    (500.0, 3_259.0),
    (1_000.0, 4_569.0),
    (2_000.0, 6_350.0),
    (5_000.0, 9_489.0),
];

fn closed_form_m(l: f64) -> f64 {
    let z = LAYER_M * LAYERS as f64;
    (2.0 * SIGMA_M_S.powi(2) * (l * z - l * l * (1.0 - (-z / l).exp()))).sqrt() / 5.0
}

/// Within 3 %, as the process says of itself and as its draws show. Of 12,000 drawn drifts (two
/// components) the SD has a standard error of 0.65 %.
#[test]
fn drift_has_the_spread_of_the_closed_form() {
    for (l, published) in CLOSED_FORM {
        assert!((closed_form_m(l) - published).abs() < 0.5);
        let process = process(&[l]);
        let stated = process.drift_sigma_m() / published - 1.0;
        let mut sum = 0.0;
        draw_all(&process, |out| {
            for i in 0..2 {
                let drift: f64 = out.iter().map(|e| e[i] * SECONDS).sum();
                sum += drift * drift;
            }
        });
        let drawn = (sum / (2.0 * DRAWS as f64)).sqrt() / published - 1.0;
        println!("L {l} m: stated {stated:+.4}, drawn {drawn:+.4}");
        assert!(stated.abs() < 0.03, "L {l}: stated {stated:+.4}");
        assert!(drawn.abs() < 0.03, "L {l}: drawn {drawn:+.4}");
    }
}

/// The deviates handed in fix the planned drift exactly, whatever the stream brings.
#[test]
fn the_deviates_are_the_drift() {
    let process = process(&[2_000.0, 6_500.0]);
    let mut out = Vec::new();
    for index in 0..20 {
        let deviates = [1.5, -0.25];
        process.draw(deviates, &mut SplitMix::stream(1, index), &mut out);
        for i in 0..2 {
            let drift: f64 = out.iter().map(|e| e[i] * SECONDS).sum();
            let wanted = deviates[i] * process.drift_sigma_m();
            assert!(
                (drift - wanted).abs() < 1e-6 * process.drift_sigma_m(),
                "{drift}"
            );
        }
    }
}

/// Parts may begin higher up, as what holding the last wind adds does: variances and covariances of
/// the closed form there as well, within five standard errors of 12,000 products.
#[test]
fn parts_that_begin_higher_up() {
    let rising = |from_m: f64, length_m: f64| ErrorPart {
        rows: vec![(from_m, 0.0), (from_m + 4_000.0, 3.0)],
        correlation_length_m: length_m,
    };
    let error = WindError {
        parts: vec![
            rising(20_000.0, 10_000.0),
            ErrorPart::constant(1.0, 1_000.0),
            rising(10_000.0, 5_000.0),
        ],
    };
    let heights: Vec<f64> = (0..LAYERS).map(|k| LAYER_M * (k as f64 + 0.5)).collect();
    let process = WindErrorProcess::new(&error, &heights, &[SECONDS; LAYERS]);
    let pairs = [
        (30, 30),
        (55, 55),
        (55, 60),
        (101, 101),
        (110, 110),
        (105, 115),
        (140, 149),
    ];
    let mut sums = [0.0; 7];
    draw_all(&process, |out| {
        for (sum, (a, b)) in sums.iter_mut().zip(pairs) {
            *sum += out[a][0] * out[b][0] + out[a][1] * out[b][1];
        }
    });
    for (sum, (a, b)) in sums.into_iter().zip(pairs) {
        let covariance = |a: usize, b: usize| -> f64 {
            let term = |part: &ErrorPart| {
                let sigmas = part.sigma_m_s(heights[a]) * part.sigma_m_s(heights[b]);
                sigmas * (-(heights[b] - heights[a]) / part.correlation_length_m).exp()
            };
            error.parts.iter().map(term).sum()
        };
        let (found, wanted) = (sum / (2 * DRAWS) as f64, covariance(a, b));
        let product = covariance(a, a) * covariance(b, b) + wanted * wanted;
        let allowed = 5.0 * (product / (2 * DRAWS) as f64).sqrt();
        println!("layers {a} and {b}: {found:.3}, closed form {wanted:.3}");
        assert!(
            (found - wanted).abs() < allowed,
            "{a} {b}: {found} {wanted}"
        );
    }
}

/// Variance and covariance at every height and between any two are those of the closed form,
/// sum of sigma^2 exp(-dz / L) over the parts, within 1 % of the variance. Of 150 layers, the mean
/// of the products over all pairs of a lag: their standard error is below 0.25 % for lags up to
/// 8 km and the lengths here.
#[test]
fn variance_and_covariance_of_the_closed_form() {
    for lengths in [&[800.0][..], &[2_000.0], &[1_300.0, 6_500.0]] {
        let process = process(lengths);
        for lag in [0, 1, 3, 10, 40] {
            let (mut sum, mut count) = (0.0, 0.0);
            draw_all(&process, |out| {
                for (a, b) in out.iter().zip(&out[lag..]) {
                    sum += a[0] * b[0] + a[1] * b[1];
                    count += 2.0;
                }
            });
            let dz = LAYER_M * lag as f64;
            let shares = lengths.iter().map(|l| (-dz / l).exp());
            let wanted = shares.sum::<f64>() / lengths.len() as f64;
            let found = sum / count / SIGMA_M_S.powi(2);
            println!("L {lengths:?} m, {dz} m apart: {found:.4}, closed form {wanted:.4}");
            assert!((found - wanted).abs() < 0.01, "{dz} m: {found} {wanted}");
        }
    }
}

/// The variance of single layers, low, high and in between: standard error 1.3 % of each.
#[test]
fn no_layer_is_calmer_than_another() {
    let process = process(&[800.0]);
    let mut squares = vec![0.0; LAYERS];
    draw_all(&process, |out| {
        for (square, e) in squares.iter_mut().zip(out) {
            *square += (e[0].powi(2) + e[1].powi(2)) / (2.0 * DRAWS as f64);
        }
    });
    for (k, square) in squares.iter().enumerate() {
        let share = square / SIGMA_M_S.powi(2);
        assert!((share - 1.0).abs() < 0.06, "layer {k}: {share}");
    }
    let mean = squares.iter().sum::<f64>() / LAYERS as f64 / SIGMA_M_S.powi(2);
    assert!((mean - 1.0).abs() < 0.01, "{mean}");
}

/// East and north are independent, and so are neighbouring draws.
#[test]
fn components_and_draws_are_independent() {
    let process = process(&[1_000.0]);
    let (mut cross, mut serial, mut square, mut last) = (0.0, 0.0, 0.0, [0.0; 2]);
    draw_all(&process, |out| {
        let here = out[70];
        cross += here[0] * here[1];
        serial += here[0] * last[0];
        square += here[0] * here[0];
        last = here;
    });
    // Five standard errors, 5 / sqrt(6000).
    assert!((cross / square).abs() < 0.065, "{}", cross / square);
    assert!((serial / square).abs() < 0.065, "{}", serial / square);
}

/// Observation errors of radiosonde winds in the global analysis of NCEP, per component, with what
/// a grid does not resolve: GSI `prepobs_errtable.global`, type 220 (NOAA-EMC/GSI-fix, commit
/// 92de100c); hPa, m/s. No forecast is better than the observations it is made from.
const GSI: [(f64, f64); 22] = [
    (950.0, 1.5),
    (900.0, 1.5),
    (850.0, 1.5),
    (800.0, 1.6),
    (750.0, 1.6),
    (700.0, 1.6),
    (650.0, 1.8),
    (600.0, 1.9),
    (550.0, 2.0),
    (500.0, 2.1),
    (450.0, 2.3),
    (400.0, 2.6),
    (350.0, 2.8),
    (300.0, 3.0),
    (250.0, 3.2),
    (200.0, 2.7),
    (150.0, 2.4),
    (100.0, 2.1),
    (50.0, 2.1),
    (20.0, 2.1),
    (10.0, 2.1),
    (1_000.0, 1.4),
];

#[test]
fn forecasts_are_not_taken_to_beat_observations() {
    let table = WindError::of_forecast(&calm(), 86_400.0);
    for (hpa, sigma) in GSI {
        let altitude_m = standard_height_of_pressure(100.0 * hpa).standard_altitude_m();
        let forecast = table.sigma_m_s(altitude_m);
        assert!(forecast >= sigma, "{hpa} hPa: {forecast} < {sigma}");
        assert!(forecast < 3.0 * sigma, "{hpa} hPa: {forecast}");
    }
}

/// A calm profile that ends higher than balloons fly.
fn calm() -> WindProfile {
    WindProfile::new(&[(60_000.0, Wind::from_direction(0.0, 0.0))])
}

/// Published errors of a leading global model at 500 hPa, m/s a component, against reanalysis
/// (2018 to 2020, digitised to 0.1), and of one forecast of 120 h against its own analysis, which
/// leave out what no model resolves: the whole error is larger, by that.
#[test]
fn forecasts_are_as_wrong_as_published() {
    let at = |hours: f64, hpa: f64| {
        let altitude_m = standard_height_of_pressure(100.0 * hpa).standard_altitude_m();
        WindError::of_forecast(&calm(), 3_600.0 * hours).sigma_m_s(altitude_m)
    };
    for (hours, published) in [
        (6.0, 1.5),
        (24.0, 1.9),
        (48.0, 2.65),
        (72.0, 3.5),
        (96.0, 4.45),
        (120.0, 5.4),
        (168.0, 7.4),
        (240.0, 9.6),
    ] {
        let besides = (at(hours, 500.0).powi(2) - f64::powi(published, 2)).sqrt();
        println!("{hours} h: {:.2}, published {published}", at(hours, 500.0));
        assert!((1.3..2.1).contains(&besides), "{hours} h: {besides}");
    }
    let ratio = at(120.0, 850.0) / at(120.0, 500.0);
    println!(
        "120 h: 850 hPa {ratio:.2} of 500 hPa, published {:.2}",
        3.7 / 6.9
    );
    assert!((ratio - 3.7 / 6.9).abs() < 0.1, "{ratio}");
}

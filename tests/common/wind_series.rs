//! Winds above one place at many times, and how a region by a wind error fares on them.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use jiff::Timestamp;
use windfall::geodesy::Position;
use windfall::sources::read_soundings;
use windfall::wind::column::{Column, WindProfile};
use windfall::wind::error::WindError;
use windfall::wind::error_process::WindErrorProcess;
use windfall::wind::sounding::Wind;

use crate::common::{DARWIN, MeasuredFlight, column};
use crate::grids::{PORTUGAL_2022, PORTUGAL_2023, archive};

/// Profiles above a place, by hours since 1970.
pub struct Series {
    pub place: &'static str,
    pub lat_deg: f64,
    pub profiles: Vec<(f64, WindProfile)>,
}

fn hours(time: Timestamp) -> f64 {
    time.as_second() as f64 / 3_600.0
}

/// Twelve soundings of Darwin.
pub fn darwin() -> Series {
    let profile = |flight: MeasuredFlight| {
        let release = flight.name.trim_start_matches("darwin_");
        let time: Timestamp = format!("{}:{}:00Z", &release[..13], &release[13..])
            .parse()
            .unwrap();
        (hours(time), column(&flight.rising(), flight.air()).winds)
    };
    assert_eq!(DARWIN.len(), 12);
    Series {
        place: "Darwin",
        lat_deg: -12.42,
        profiles: MeasuredFlight::all_darwin()
            .into_iter()
            .map(profile)
            .collect(),
    }
}

/// Four soundings of Prague.
pub fn prague() -> Series {
    let releases = [
        ("_4", "2007-11-19T23:15:00Z"),
        ("_3", "2007-11-20T05:29:00Z"),
        ("_2", "2007-11-20T11:15:00Z"),
        ("", "2007-11-20T17:30:00Z"),
    ];
    let profile = |(number, release): (&str, &str)| {
        let file = format!("tests/data/soundings/chmi_11520{number}.csv");
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
        let sounding = read_soundings(&path, None).unwrap().remove(0);
        let time: Timestamp = release.parse().unwrap();
        (hours(time), Column::from_sounding(&sounding).winds)
    };
    Series {
        place: "Prague",
        lat_deg: 50.01,
        profiles: releases.into_iter().map(profile).collect(),
    }
}

/// One run of a model above a place (`tests/data/profiles`), with the hour of the run.
pub fn run(file: &str) -> (f64, Series) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/profiles");
    let (place, lat_deg) = match file {
        f if f.starts_with("missoula") => ("Missoula", 46.92),
        _ => ("Des Moines", 41.53),
    };
    let digits: String = file.chars().filter(char::is_ascii_digit).collect();
    let (date, hour) = digits.split_at(8);
    let time = format!(
        "{}-{}-{}T{hour}:00:00Z",
        &date[..4],
        &date[4..6],
        &date[6..]
    );
    let issued = hours(time.parse().unwrap());
    let mut levels: BTreeMap<u32, Vec<(f64, Wind)>> = BTreeMap::new();
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path.join(file))
        .unwrap();
    for row in reader.deserialize() {
        let (lead_h, altitude_m, east_m_s, north_m_s): (u32, f64, f64, f64) = row.unwrap();
        let wind = Wind {
            east_m_s,
            north_m_s,
        };
        levels.entry(lead_h).or_default().push((altitude_m, wind));
    }
    let profiles = levels
        .into_iter()
        .map(|(lead_h, levels)| (issued + f64::from(lead_h), WindProfile::new(&levels)))
        .collect();
    let series = Series {
        place,
        lat_deg,
        profiles,
    };
    (issued, series)
}

/// Reanalysis above the middle of Portugal in October 2022 and 2023: eight and eleven hours a day.
pub fn portugal() -> [Series; 2] {
    [
        ("Portugal 2022", PORTUGAL_2022),
        ("Portugal 2023", PORTUGAL_2023),
    ]
    .map(|(place, file)| {
        let archive = archive(file);
        let above = Position::new(39.5, -8.5).unwrap();
        let profile = |time: Timestamp| {
            let sounding = archive.profile(above, time).unwrap();
            (hours(time), Column::from_sounding(&sounding).winds)
        };
        Series {
            place,
            lat_deg: 39.5,
            profiles: archive.steps.iter().map(|s| profile(s.valid)).collect(),
        }
    })
}

/// Two profiles, the later meant.
pub struct Pair<'a> {
    pub place: &'static str,
    pub lat_deg: f64,
    /// Hours since 1970 of the earlier.
    pub at_h: f64,
    pub lag_h: f64,
    pub earlier: &'a WindProfile,
    pub later: &'a WindProfile,
}

/// The pairs of a lag, within 1.25 h: for each profile the one nearest to so much later.
pub fn pairs(series: &Series, lag_h: f64) -> Vec<Pair<'_>> {
    let off = |a: f64, b: f64| (b - a - lag_h).abs();
    let mut pairs = Vec::new();
    for (at_h, earlier) in &series.profiles {
        let nearest = series
            .profiles
            .iter()
            .min_by(|a, b| off(*at_h, a.0).total_cmp(&off(*at_h, b.0)));
        if let Some((later_h, later)) = nearest.filter(|l| off(*at_h, l.0) <= 1.25) {
            pairs.push(Pair {
                place: series.place,
                lat_deg: series.lat_deg,
                at_h: *at_h,
                lag_h: later_h - at_h,
                earlier,
                later,
            });
        }
    }
    pairs
}

/// How long a flight is at each height: 5 m/s up, and down at 5.5 m/s at the ground, faster aloft
/// as the air is thinner (scale height 7.2 km, exponent 0.45).
pub struct Flown {
    /// Middles of layers of 250 m.
    heights_m: Vec<f64>,
    seconds: Vec<f64>,
}

const LAYER_M: f64 = 250.0;
/// Flights end here, or where a profile does.
pub const TOP_M: f64 = 30_000.0;
/// Flights lower than this are not judged.
const LEAST_DEPTH_M: f64 = 10_000.0;

impl Flown {
    /// Between two heights; `None` where that is less than 10 km.
    pub fn between(base_m: f64, top_m: f64) -> Option<Flown> {
        let layers = ((top_m.min(TOP_M) - base_m) / LAYER_M) as u32;
        let middle = |k: u32| base_m + LAYER_M * (f64::from(k) + 0.5);
        let heights_m: Vec<f64> = (0..layers).map(middle).collect();
        let down_m_s = |z: f64| 5.5 * (0.45 * z / 7_200.0).exp();
        let seconds = heights_m
            .iter()
            .map(|z| LAYER_M / 5.0 + LAYER_M / down_m_s(*z))
            .collect();
        (LAYER_M * f64::from(layers) >= LEAST_DEPTH_M).then_some(Flown { heights_m, seconds })
    }

    /// Where both profiles know the wind.
    pub fn in_both(a: &WindProfile, b: &WindProfile) -> Option<Flown> {
        Flown::between(a.base_m().max(b.base_m()), a.top_m().min(b.top_m()))
    }

    /// The drift in a profile, m east and north.
    pub fn drift_m(&self, winds: &WindProfile) -> [f64; 2] {
        let mut drift = [0.0; 2];
        for (z, s) in self.heights_m.iter().zip(&self.seconds) {
            let wind = winds.mean(z - 0.5 * LAYER_M, z + 0.5 * LAYER_M);
            drift[0] += wind.east_m_s * s;
            drift[1] += wind.north_m_s * s;
        }
        drift
    }

    /// What an error moves that drift by, m a component.
    pub fn sigma_m(&self, error: &WindError) -> f64 {
        WindErrorProcess::new(error, &self.heights_m, &self.seconds).drift_sigma_m()
    }
}

/// A drift that was off, and what it was said to be off by.
#[derive(Clone)]
pub struct Judged {
    pub place: String,
    /// Flights of one place with the same number are one weather, and count as one.
    pub weather: i64,
    pub off_m: [f64; 2],
    pub sigma_m: f64,
}

impl Judged {
    pub fn new(place: &str, weather: i64, used: [f64; 2], met: [f64; 2], sigma_m: f64) -> Judged {
        Judged {
            place: place.to_owned(),
            weather,
            off_m: [met[0] - used[0], met[1] - used[1]],
            sigma_m,
        }
    }

    fn off_squared(&self) -> f64 {
        self.off_m[0].powi(2) + self.off_m[1].powi(2)
    }
}

/// The probabilities of regions.
pub const PROBABILITIES: [f64; 3] = [0.5, 0.9, 0.95];

/// What comes of judging.
pub struct Verdict {
    pub flights: usize,
    /// Weathers, each counted once.
    pub independent: usize,
    /// Root mean square of the drift error, m a component.
    pub off_m: f64,
    /// What it was said to be.
    pub said_m: f64,
    /// Share held by the regions of [`PROBABILITIES`]: each weather has the same weight.
    pub held: [f64; 3],
    /// Mean energy score, m.
    pub score_m: f64,
    /// That of one circle for all, of the errors' own mean square: the simplest alternative, and
    /// it knows the answers.
    pub circle_score_m: f64,
}

/// Judges drifts by the circles of a normal error, radius sigma sqrt(-2 ln(1 - p)).
pub fn judge(flights: &[Judged]) -> Verdict {
    let mut weathers: BTreeMap<(&str, i64), f64> = BTreeMap::new();
    for f in flights {
        *weathers.entry((&f.place, f.weather)).or_default() += 1.0;
    }
    let weight =
        |f: &Judged| 1.0 / weathers[&(f.place.as_str(), f.weather)] / weathers.len() as f64;
    let mean = |of: &dyn Fn(&Judged) -> f64| flights.iter().map(|f| weight(f) * of(f)).sum::<f64>();
    let off_m = (0.5 * mean(&Judged::off_squared)).sqrt();
    let held = PROBABILITIES.map(|p| {
        let inside = |f: &Judged| f.off_squared() <= -2.0 * (1.0 - p).ln() * f.sigma_m.powi(2);
        mean(&|f| f64::from(u8::from(inside(f))))
    });
    let score = |sigma_m: f64, f: &Judged| energy_score(f.off_squared().sqrt(), sigma_m);
    Verdict {
        flights: flights.len(),
        independent: weathers.len(),
        off_m,
        said_m: mean(&|f| f.sigma_m.powi(2)).sqrt(),
        held,
        score_m: mean(&|f| score(f.sigma_m, f)),
        circle_score_m: mean(&|f| score(off_m, f)),
    }
}

impl Verdict {
    pub fn print(&self, what: &str) {
        println!(
            "{what}: {} flights, {} independent; drift off {:.1} km a component, said {:.1}; \
             50/90/95 % hold {:.0}/{:.0}/{:.0} %; energy score {:.1} km, fixed circle {:.1}",
            self.flights,
            self.independent,
            self.off_m / 1e3,
            self.said_m / 1e3,
            100.0 * self.held[0],
            100.0 * self.held[1],
            100.0 * self.held[2],
            self.score_m / 1e3,
            self.circle_score_m / 1e3
        );
    }

    /// That every region holds its share, as far as so many independent flights tell: within the
    /// exact two-sided binomial bounds of 95 %.
    pub fn assert_held(&self, what: &str) {
        for (p, held) in PROBABILITIES.into_iter().zip(self.held) {
            let [low, high] = binomial_bounds(self.independent, p);
            assert!(
                (low - 1e-9..=high + 1e-9).contains(&held),
                "{what}: the {p} region holds {held:.2}, not {low:.2} to {high:.2}"
            );
        }
    }

    /// That no region holds less than its share, within the same bounds; that of 95 % may fall
    /// short of them by 2 %, as a mixture of calm and stormy weathers has longer tails than the
    /// normal law of the circles.
    pub fn assert_held_at_least(&self, what: &str) {
        for (p, held) in PROBABILITIES.into_iter().zip(self.held) {
            let [low, _] = binomial_bounds(self.independent, p);
            let tail = if p > 0.9 { 0.02 } else { 0.0 };
            assert!(
                held >= low - tail - 1e-9,
                "{what}: the {p} region holds {held:.3} < {low:.3}"
            );
        }
    }
}

/// Mean distance of a draw of a circular normal distribution from a point `r` off its centre, less
/// half of that between two draws: sigma sqrt(pi / 2) L(-r^2 / 2 sigma^2) - sigma sqrt(pi) / 2, the
/// mean distance by rings and angles.
fn energy_score(r: f64, sigma: f64) -> f64 {
    let mut sum = 0.0;
    let (rings, angles) = (60, 24);
    for i in 0..rings {
        let ring = sigma * (-2.0 * ((f64::from(i) + 0.5) / f64::from(rings)).ln()).sqrt();
        for j in 0..angles {
            let angle = std::f64::consts::TAU * (f64::from(j) + 0.5) / f64::from(angles);
            sum += (r * r + ring * ring - 2.0 * r * ring * angle.cos()).sqrt();
        }
    }
    sum / f64::from(rings * angles) - 0.5 * sigma * std::f64::consts::PI.sqrt()
}

/// Shares of n that a probability p gives with more than 2.5 % on either side.
pub fn binomial_bounds(n: usize, p: f64) -> [f64; 2] {
    let n_f = n as f64;
    // Logarithms, as (1 - p)^n is nothing for many.
    let mut logarithm = n_f * (1.0 - p).ln();
    let mut terms = vec![logarithm.exp()];
    for k in 0..n {
        let k_f = k as f64;
        logarithm += ((n_f - k_f) / (k_f + 1.0) * p / (1.0 - p)).ln();
        terms.push(logarithm.exp());
    }
    let mut below = 0.0;
    let (mut low, mut high) = (0, n);
    for (k, term) in terms.iter().enumerate() {
        if below + term <= 0.025 {
            low = k + 1;
        }
        if 1.0 - below > 0.025 {
            high = k;
        }
        below += term;
    }
    [low as f64 / n_f, high as f64 / n_f]
}

/// How many different places.
pub fn places(flights: &[Judged]) -> usize {
    let names: BTreeSet<&str> = flights.iter().map(|f| f.place.as_str()).collect();
    names.len()
}

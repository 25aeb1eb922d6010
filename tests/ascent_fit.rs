//! The drag curve against measured ascents: how it was fitted, what it explains, what it leaves,
//! and what one constant rate would leave.
//!
//! Of each flight the free lift is matched to the whole time of the ascent; what is left is
//! ln(measured / model) of the rate of ascent in bands of 2.5 km that the flight covers to 60 %.
//! The simple alternative is matched alike: the one rate that gives the same time.
//!
//! Flights so matched say nothing of the level of the curve, only of its shape. The level is held
//! by rates at a known lift (`common/known_lift.rs`), which count together as one more campaign.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "tables for whoever runs the tests")]

#[path = "common/ascents.rs"]
mod ascents;
mod common;
#[path = "common/known_lift.rs"]
mod known_lift;

use std::sync::LazyLock;

use rayon::prelude::*;
use windfall::vehicle::ascent::{DragCurve, RATE_ERROR, RATE_ERROR_CORRELATION_M};
use windfall::vehicle::latex::LatexTable;

use ascents::{Ascent, BAND_M, BURST_REACH, Campaign, campaigns};
use known_lift::{Source, sources};

/// Residuals beyond this weigh less: the loss of one is 2 (sqrt(1 + (r / s)^2) - 1).
const SOFT: f64 = 0.10;

/// What curves are fitted to: groups of residuals, each with its weight.
struct Data<'a> {
    campaigns: Vec<&'a Campaign>,
    sources: Vec<&'a Source>,
}

/// A group of residuals, which weigh together `weight`.
struct Group {
    weight: f64,
    residuals: Vec<f64>,
}

impl Data<'_> {
    /// Every campaign weighs alike, and so do all sources of known lift together.
    fn groups(&self, drag: DragCurve) -> Vec<Group> {
        let of_campaign = |c: &&Campaign| Group {
            weight: 1.0,
            residuals: residuals(c, drag),
        };
        let of_source = |s: &&Source| Group {
            weight: 1.0 / self.sources.len() as f64,
            residuals: s.departures(drag),
        };
        let campaigns = self.campaigns.iter().map(of_campaign);
        campaigns
            .chain(self.sources.iter().map(of_source))
            .collect()
    }
}

fn residuals(campaign: &Campaign, drag: DragCurve) -> Vec<f64> {
    let sound = campaign.ascents.iter().filter(|a| a.sound());
    sound.flat_map(|a| a.residuals(drag)).collect()
}

fn loss(groups: &[Group]) -> f64 {
    let one = |r: &f64| 2.0 * ((1.0 + (r / SOFT).powi(2)).sqrt() - 1.0);
    let mean = |g: &Group| g.residuals.iter().map(one).sum::<f64>() / g.residuals.len() as f64;
    groups.iter().map(|g| g.weight * mean(g)).sum()
}

/// The steepness is held: the campaigns here leave it open (from 2.5 to 5 the rms of those left out
/// stays within 0.2 points), and 58 flights of five campaigns since 2012, measured elsewhere, ask
/// for 2.4 to 3.
const STEEPNESS: f64 = 2.7;

/// The curve as three numbers without bounds.
type Numbers = [f64; 3];

fn numbers(c: DragCurve) -> Numbers {
    [c.low.ln(), (c.high - c.low).ln(), c.ln_re0]
}

fn curve([low, rise, ln_re0]: Numbers) -> DragCurve {
    DragCurve {
        low: low.exp(),
        high: low.exp() + rise.exp(),
        ln_re0,
        steepness: STEEPNESS,
    }
}

/// Where every fit begins: round numbers.
const START: DragCurve = DragCurve {
    low: 0.2,
    high: 0.8,
    ln_re0: 12.4,
    steepness: STEEPNESS,
};

/// The curve of least loss: Gauss-Newton with weights 1 / sqrt(1 + (r / s)^2), damped.
fn fit(data: &Data) -> DragCurve {
    let mut at = numbers(START);
    let mut groups = data.groups(curve(at));
    let mut damping = 1e-2;
    for _ in 0..40 {
        let before = loss(&groups);
        let (normal, gradient) = normal_equations(data, at, &groups);
        let step = |damping: f64| {
            let mut damped = normal;
            for (i, row) in damped.iter_mut().enumerate() {
                row[i] *= 1.0 + damping;
            }
            let by = solve(damped, gradient);
            let to: Numbers = std::array::from_fn(|i| at[i] - by[i].clamp(-0.5, 0.5));
            (to, data.groups(curve(to)))
        };
        let mut found = None;
        while found.is_none() && damping < 1e4 {
            let (to, there) = step(damping);
            if loss(&there) < before {
                found = Some((to, there));
                damping = (damping / 5.0).max(1e-6);
            } else {
                damping = 8.0 * damping.max(1e-3);
            }
        }
        let Some((to, there)) = found else { break };
        let gained = before - loss(&there);
        (at, groups) = (to, there);
        if gained < 1e-6 {
            break;
        }
    }
    curve(at)
}

/// J^T W J and J^T W r, slopes by differences.
fn normal_equations(data: &Data, at: Numbers, groups: &[Group]) -> ([Numbers; 3], Numbers) {
    const STEP: f64 = 0.01;
    let slopes: Vec<Vec<Group>> = (0..3)
        .map(|i| {
            let mut beside = at;
            beside[i] += STEP;
            data.groups(curve(beside))
        })
        .collect();
    let (mut normal, mut gradient) = ([[0.0; 3]; 3], [0.0; 3]);
    for (k, group) in groups.iter().enumerate() {
        for (b, r) in group.residuals.iter().enumerate() {
            let share = group.weight / group.residuals.len() as f64;
            let weight = share / (1.0 + (r / SOFT).powi(2)).sqrt();
            let slope = |i: usize| (slopes[i][k].residuals[b] - r) / STEP;
            for i in 0..3 {
                gradient[i] += weight * slope(i) * r;
                for (j, entry) in normal[i].iter_mut().enumerate() {
                    *entry += weight * slope(i) * slope(j);
                }
            }
        }
    }
    (normal, gradient)
}

/// Solves a small symmetric positive system by elimination.
fn solve(mut a: [Numbers; 3], mut b: Numbers) -> Numbers {
    for i in 0..3 {
        for j in i + 1..3 {
            let factor = a[j][i] / a[i][i];
            let pivot = a[i];
            for (entry, above) in a[j].iter_mut().zip(pivot) {
                *entry -= factor * above;
            }
            b[j] -= factor * b[i];
        }
    }
    for i in (0..3).rev() {
        let known: f64 = (i + 1..3).map(|k| a[i][k] * b[k]).sum();
        b[i] = (b[i] - known) / a[i][i];
    }
    b
}

fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|r| r * r).sum::<f64>() / values.len() as f64).sqrt()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    match sorted.len() % 2 {
        1 => sorted[half],
        _ => 0.5 * (sorted[half - 1] + sorted[half]),
    }
}

/// The curve fitted to everything, to everything but one campaign, and to everything but one
/// source of known lift.
struct Fits {
    all: DragCurve,
    without_campaign: Vec<DragCurve>,
    without_source: Vec<DragCurve>,
}

/// Campaigns and the fits to them, made once for all tests.
static FITTED: LazyLock<(Vec<Campaign>, Fits)> = LazyLock::new(|| {
    let campaigns = campaigns();
    let fits = fits(&campaigns, &sources());
    (campaigns, fits)
});

fn fits(campaigns: &[Campaign], sources: &[Source]) -> Fits {
    let without = |left_out: usize| {
        let kept = |i: usize| i != left_out;
        let of = campaigns.len();
        Data {
            campaigns: (0..of)
                .filter(|&i| kept(i))
                .map(|i| &campaigns[i])
                .collect(),
            sources: (0..sources.len())
                .filter(|&i| kept(of + i))
                .map(|i| &sources[i])
                .collect(),
        }
    };
    let all = campaigns.len() + sources.len();
    let mut curves: Vec<DragCurve> = (0..=all)
        .into_par_iter()
        .map(|i| fit(&without(i)))
        .collect();
    let fitted = curves.pop().unwrap();
    let without_source = curves.split_off(campaigns.len());
    Fits {
        all: fitted,
        without_campaign: curves,
        without_source,
    }
}

fn in_words(c: DragCurve) -> String {
    format!(
        "{:.3} | {:.3} | {:.2}e5 | {:.2}",
        c.low,
        c.high,
        c.ln_re0.exp() / 1e5,
        c.steepness
    )
}

/// The jackknife's standard error of a number, from fits that each leave something out.
fn jackknife(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let middle = mean(values);
    let squares: f64 = values.iter().map(|v| (v - middle).powi(2)).sum();
    ((n - 1.0) / n * squares).sqrt()
}

/// What is left in a campaign, in percent of the rate, by one curve.
fn left_percent(campaign: &Campaign, drag: DragCurve) -> f64 {
    100.0 * rms(&residuals(campaign, drag))
}

fn constant_percent(campaign: &Campaign) -> f64 {
    let sound = campaign.ascents.iter().filter(|a| a.sound());
    let all: Vec<f64> = sound.flat_map(Ascent::constant_residuals).collect();
    100.0 * rms(&all)
}

/// The committed curve is what this fit finds, and what it leaves where it was not fitted is told
/// beside what one constant rate leaves.
#[test]
fn campaigns_left_out_of_the_fit() {
    let ((campaigns, fits), sources) = (&*FITTED, sources());
    let committed = DragCurve::FITTED;

    println!("\n| fitted to | low | high | Re0 | steepness |\n|--|--:|--:|--:|--:|");
    println!("| everything | {} |", in_words(fits.all));
    let mut beside = Vec::new();
    for (campaign, c) in campaigns.iter().zip(&fits.without_campaign) {
        println!("| all but {} | {} |", campaign.name, in_words(*c));
        beside.push(*c);
    }
    for (source, c) in sources.iter().zip(&fits.without_source) {
        println!("| all but known lift, {} | {} |", source.name, in_words(*c));
    }
    println!("| committed | {} |", in_words(committed));
    let error = |of: fn(&DragCurve) -> f64| jackknife(&beside.iter().map(of).collect::<Vec<_>>());
    println!(
        "standard errors (campaigns left out): low {:.3}, high {:.3}, ln Re0 {:.3}",
        error(|c| c.low),
        error(|c| c.high),
        error(|c| c.ln_re0)
    );

    println!("\n| campaign | flights | bands | in the fit | left out | one constant rate |");
    println!("|--|--:|--:|--:|--:|--:|");
    let mut table = Vec::new();
    for (campaign, &without) in campaigns.iter().zip(&fits.without_campaign) {
        let flights = campaign.ascents.iter().filter(|a| a.sound()).count();
        let bands = residuals(campaign, fits.all).len();
        let row = [
            left_percent(campaign, fits.all),
            left_percent(campaign, without),
            constant_percent(campaign),
        ];
        let [inside, outside, constant] = row;
        println!(
            "| {} | {flights} | {bands} | {inside:.1} | {outside:.1} | {constant:.1} |",
            campaign.name
        );
        table.push(row);
    }
    let column = |i: usize| table.iter().map(|row| row[i]).collect::<Vec<_>>();
    let (inside, outside, constant) = (column(0), column(1), column(2));
    println!(
        "| median | | | {:.1} | {:.1} | {:.1} |\n| mean | | | {:.1} | {:.1} | {:.1} |",
        median(&inside),
        median(&outside),
        median(&constant),
        mean(&inside),
        mean(&outside),
        mean(&constant)
    );

    print_bands(campaigns, fits);
    print_error(campaigns, &fits.without_campaign);

    for (a, b) in numbers(fits.all).iter().zip(numbers(committed)) {
        assert!((a - b).abs() < 0.01, "{:?} {committed:?}", fits.all);
    }
    assert!(median(&outside) <= 8.0, "{}", median(&outside));
    assert!(median(&outside) < median(&constant) - 1.5);
    assert!(mean(&outside) < mean(&constant) - 1.5);
    // Better than one constant rate everywhere but at Darwin and Prague, in the fit or left out.
    for (campaign, [inside, outside, constant]) in campaigns.iter().zip(&table) {
        let (with, without) = match campaign.name {
            "Darwin 2006" | "Prague 2007" => (0.8, 1.3),
            "Illinois 2022-24" => (-0.2, 0.0),
            _ => (-1.0, -1.0),
        };
        assert!(*inside < constant + with, "{}", campaign.name);
        let told = format!("{}: {outside} {constant}", campaign.name);
        assert!(*outside < constant + without, "{told}");
    }
}

/// What every flight leaves when its campaign is left out, by band.
fn print_bands(campaigns: &[Campaign], fits: &Fits) {
    println!("\n100 ln(measured / model), campaign left out, by lower edge of the band, km\n");
    let edges: Vec<f64> = (0..14).map(|k| BAND_M * f64::from(k)).collect();
    let head: Vec<String> = edges.iter().map(|e| format!("{:.1}", e / 1e3)).collect();
    println!("| flight | {} | rms | constant |", head.join(" | "));
    println!("|--|{}--:|--:|", "--:|".repeat(edges.len()));
    for (campaign, &without) in campaigns.iter().zip(&fits.without_campaign) {
        for a in &campaign.ascents {
            let found = a.residuals(without);
            let cell = |edge: &f64| {
                let at = a
                    .bands
                    .iter()
                    .position(|b| (b.0 / BAND_M).floor() * BAND_M == *edge);
                at.map_or(String::new(), |i| format!("{:+.0}", 100.0 * found[i]))
            };
            let cells: Vec<String> = edges.iter().map(cell).collect();
            println!(
                "| {} | {} | {:.0} | {:.0} |",
                a.name,
                cells.join(" | "),
                100.0 * rms(&found),
                100.0 * rms(&a.constant_residuals())
            );
        }
    }
}

/// What the error process of the rate would have the bands of a flight vary by, once the mean over
/// the time of the ascent is gone: standard deviations, band by band. The process has the
/// covariance sd^2 exp(-|dz| / L); a band has its mean over the band.
fn expected_sd(ascent: &Ascent, sd: f64, correlation_m: f64) -> Vec<f64> {
    let bands = &ascent.bands;
    let seconds: Vec<f64> = bands
        .iter()
        .map(|b| ascent.band_seconds(b.0, b.1))
        .collect();
    let total: f64 = seconds.iter().sum();
    let covariance = |i: usize, j: usize| {
        let half = |k: usize| 0.5 * (bands[k].1 - bands[k].0) / correlation_m;
        let middle = |k: usize| 0.5 * (bands[k].0 + bands[k].1);
        let square = sd * sd;
        if i == j {
            let h = 2.0 * half(i);
            return square * 2.0 / (h * h) * (h - 1.0 + (-h).exp());
        }
        let widening = |k: usize| half(k).sinh() / half(k);
        square * (-(middle(i) - middle(j)).abs() / correlation_m).exp() * widening(i) * widening(j)
    };
    let all = 0..bands.len();
    // Of e - sum w e, with weights w the shares of the time.
    let weight = |k: usize| seconds[k] / total;
    let with_mean = |i: usize| {
        all.clone()
            .map(|j| weight(j) * covariance(i, j))
            .sum::<f64>()
    };
    let of_mean: f64 = all.clone().map(|i| weight(i) * with_mean(i)).sum();
    all.clone()
        .map(|i| (covariance(i, i) - 2.0 * with_mean(i) + of_mean).sqrt())
        .collect()
}

/// How many of the bands lie within what the error process says, campaigns weighing alike.
fn share_within(campaigns: &[Campaign], curves: &[DragCurve], sd: f64, sigmas: f64) -> f64 {
    let of = |(campaign, &drag): (&Campaign, &DragCurve)| {
        let sound = campaign.ascents.iter().filter(|a| a.sound());
        let within: Vec<f64> = sound
            .flat_map(|a| {
                let expected = expected_sd(a, sd, RATE_ERROR_CORRELATION_M);
                let found = a.residuals(drag);
                let inside = |(r, s): (&f64, &f64)| f64::from(u8::from(r.abs() <= sigmas * s));
                found.iter().zip(&expected).map(inside).collect::<Vec<_>>()
            })
            .collect();
        mean(&within)
    };
    mean(&campaigns.iter().zip(curves).map(of).collect::<Vec<_>>())
}

/// Correlation of what is left in a band with that of a band some bands higher, campaigns weighing
/// alike: measured, and what the error process gives.
fn print_error(campaigns: &[Campaign], curves: &[DragCurve]) {
    println!("\n| error of the rate, sd | bands within 50 % | within 90 % |\n|--:|--:|--:|");
    for sd in [0.06, 0.08, 0.10, 0.12, 0.14] {
        let shares = [0.674_49, 1.644_85].map(|k| 100.0 * share_within(campaigns, curves, sd, k));
        println!("| {sd:.2} | {:.0} % | {:.0} % |", shares[0], shares[1]);
    }
    println!("\n| bands apart | correlation |\n|--:|--:|");
    for lag in 1..=4 {
        let (mut products, mut squares) = (0.0, 0.0);
        for (campaign, &drag) in campaigns.iter().zip(curves) {
            let all: Vec<Vec<f64>> = campaign
                .ascents
                .iter()
                .filter(|a| a.sound())
                .map(|a| a.residuals(drag))
                .collect();
            let count: usize = all.iter().map(Vec::len).sum();
            for r in &all {
                let pairs = r.iter().zip(r.iter().skip(lag));
                let apart = r.len().saturating_sub(lag).max(1) as f64;
                let whole = r.len() as f64 / count as f64;
                products += pairs.map(|(a, b)| a * b).sum::<f64>() / apart * whole;
                squares += r.iter().map(|a| a * a).sum::<f64>() / r.len() as f64 * whole;
            }
        }
        println!("| {lag} | {:+.2} |", products / squares);
    }
}

/// The error of the rate that draws are made with holds nine bands in ten of campaigns that the
/// curve was not fitted to, as it says.
#[test]
fn the_error_of_the_rate_holds_campaigns_left_out() {
    let (campaigns, fits) = &*FITTED;
    let share = share_within(campaigns, &fits.without_campaign, RATE_ERROR, 1.644_85);
    println!("within 90 %: {:.1} %", 100.0 * share);
    assert!((0.86..0.95).contains(&share), "{share}");
    // Half of it would be too sure.
    let half = share_within(
        campaigns,
        &fits.without_campaign,
        0.5 * RATE_ERROR,
        1.644_85,
    );
    assert!(half < 0.80, "{half}");
}

/// The balloons assumed could have got to where the flights did.
#[test]
fn assumed_balloons_reach_the_heights_of_their_flights() {
    let table = LatexTable::built_in().expect("the table");
    for campaign in campaigns() {
        for a in campaign.ascents.iter().filter(|a| a.sound()) {
            let top = *a.matched(DragCurve::FITTED).states.last().unwrap();
            let burst = table
                .look_up(a.balloon_kg)
                .expect("a diameter")
                .burst_diameter_m;
            let reached = top.diameter_m / burst;
            println!(
                "{}: {:.2} m, {reached:.2} of {burst:.2} m",
                a.name, top.diameter_m
            );
            assert!(reached < BURST_REACH, "{}: {reached}", a.name);
        }
    }
}

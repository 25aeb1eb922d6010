//! What legs teach of the rates: the draws are moved by their own covariances (an ensemble Kalman filter),
//! as rates and burst depend on lift, drag and gas in no closed form.

use crate::random::SplitMix;

/// What is uncertain of ln of a leg's time, on the way up and on the way down.
pub const RISE_NOISE: f64 = 0.12;
/// The same on the way down.
pub const FALL_NOISE: f64 = 0.06;
/// What a leg's height is uncertain by, m.
pub const HEIGHT_M: f64 = 20.0;
/// How the fall departs from its law from height to height, one standard deviation of ln speed by altitude,
/// m: 3 to 6 % below 20 km, a third above 25 km, where stacks tumble (18 falls; beside the law's own exponent).
pub const FALL_ERROR: [(f64, f64); 2] = [(18_000.0, 0.05), (27_000.0, 0.25)];
/// Its correlation length, m.
pub const FALL_ERROR_CORRELATION_M: f64 = 5_000.0;
/// With fewer draws than this their covariances are noise far away, and are tapered.
pub const FEW: usize = 200;
/// Over this height, m.
pub const TAPER_M: f64 = 4_000.0;
/// A leg teaches no more than this factor in one step.
const MOST: f64 = 1.5;

/// A leg's lesson: what each draw predicted, and what was seen.
pub struct Lesson<'a> {
    /// ln of the leg's time by each draw.
    pub predicted: &'a [f64],
    /// The same as seen.
    pub seen: f64,
    /// What is uncertain of it, one standard deviation.
    pub noise: f64,
    /// Half-way up the leg, m.
    pub middle_m: f64,
    /// Which of all lessons: names the noise of each draw.
    pub number: u64,
    /// The seed.
    pub seed: u64,
}

/// Moves states of all draws, `count` each with a height, by a lesson.
pub fn learn(states: &mut [f64], heights_m: &[f64], lesson: &Lesson) {
    let (draws, count) = (lesson.predicted.len(), heights_m.len());
    if draws < 3 || count == 0 {
        return;
    }
    let n = draws as f64;
    let mean = lesson.predicted.iter().sum::<f64>() / n;
    let off = |p: &f64| p - mean;
    let variance = lesson.predicted.iter().map(|p| off(p).powi(2)).sum::<f64>() / (n - 1.0);
    let mut gain = vec![0.0; count];
    for (row, p) in states.chunks(count).zip(lesson.predicted) {
        let off = off(p) / (n - 1.0);
        for (g, x) in gain.iter_mut().zip(row) {
            // The mean of x need not be taken away: what all draws are off by adds up to 0.
            *g += off * x;
        }
    }
    let scale = 1.0 / (variance + lesson.noise * lesson.noise);
    for (g, z) in gain.iter_mut().zip(heights_m) {
        let taper = match draws < FEW {
            true => (-(z - lesson.middle_m).abs() / TAPER_M).exp(),
            false => 1.0,
        };
        *g *= scale * taper;
    }
    // What no draw comes near would throw all of them far beyond what any of them is.
    let seen = lesson.seen.clamp(mean - MOST, mean + MOST);
    for (i, (row, p)) in states.chunks_mut(count).zip(lesson.predicted).enumerate() {
        // Each draw sees the leg with noise of its own: with the same for all they would end up
        // closer together than the leg can tell.
        let wrong = seen + lesson.noise * noise(lesson.seed, lesson.number, i) - p;
        for (x, g) in row.iter_mut().zip(&gain) {
            *x += g * wrong;
        }
    }
}

/// The normal deviate of a draw in a lesson: by seed, lesson and draw alone.
pub fn noise(seed: u64, lesson: u64, draw: usize) -> f64 {
    let mixed = seed ^ lesson.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    SplitMix::stream(mixed, draw as u64).next_normal()
}

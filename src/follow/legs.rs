//! The ways between fixes that something is learnt from.

use crate::clock::seconds_between;
use crate::flight::layers::Layers;
use crate::track::Fix;

/// A leg takes at least so long, s: what places and heights are uncertain by is then little of it.
pub const LEAST_S: f64 = 45.0;

/// A way from one fix to another.
#[derive(Debug, Clone)]
pub struct Leg {
    /// From here.
    pub from: Fix,
    /// To here.
    pub to: Fix,
    /// Whether it goes up.
    pub rising: bool,
}

impl Leg {
    /// How long it takes, s.
    pub fn seconds(&self) -> f64 {
        seconds_between(self.from.time, self.to.time)
    }

    /// How much higher or lower it ends, m.
    pub fn height_m(&self) -> f64 {
        (self.to.altitude_m - self.from.altitude_m).abs()
    }

    /// Half-way up, m.
    pub fn middle_m(&self) -> f64 {
        0.5 * (self.to.altitude_m + self.from.altitude_m)
    }

    /// The layers it goes through, each with the share of its thickness.
    pub fn layers(&self, layers: &Layers) -> Vec<(usize, f64)> {
        let (low, high) = match self.from.altitude_m <= self.to.altitude_m {
            true => (self.from.altitude_m, self.to.altitude_m),
            false => (self.to.altitude_m, self.from.altitude_m),
        };
        let (first, below) = layers.locate(low);
        let (last, up_to) = layers.locate(high);
        (first..=last)
            .map(|k| {
                let from = if k == first { below } else { 0.0 };
                let to = if k == last { up_to } else { 1.0 };
                (k, (to - from).max(0.0))
            })
            .collect()
    }
}

/// The legs of fixes in the air that begin after a fix already used: `fixes[first..=last]`, all rising or all
/// falling.
pub fn legs(fixes: &[Fix], rising: bool) -> Vec<Leg> {
    let mut legs = Vec::new();
    let Some(mut from) = fixes.first() else {
        return legs;
    };
    for to in &fixes[1..] {
        if seconds_between(from.time, to.time) >= LEAST_S {
            legs.push(Leg {
                from: from.clone(),
                to: to.clone(),
                rising,
            });
            from = to;
        }
    }
    legs
}

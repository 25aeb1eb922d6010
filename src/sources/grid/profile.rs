//! The column of a forecast above one place at one time, as if a sonde had risen there.

use jiff::Timestamp;

use super::archive::Archive;
use crate::error::{Error, Result};
use crate::geodesy::Position;
use crate::wind::column::WindProfile;
use crate::wind::grid::Block;
use crate::wind::placing::{Placing, Weights};
use crate::wind::sounding::{HeightSource, Level, Sounding, Tally};

impl Archive {
    /// The first member's column above `place` at `time`, on the levels of pressure; wind and
    /// height interpolated between the points and times around.
    ///
    /// # Errors
    ///
    /// When place or time lie outside, or a slab cannot be decoded.
    pub fn profile(&self, place: Position, time: Timestamp) -> Result<Sounding> {
        let window = self.lattice.around(place, 0.0)?;
        let block = self.cut(window, self.steps_around(time, time))?;
        let placing = Placing::of_block(&block, place, time)?;
        let weights = placing
            .weights(place.normal(), 0.0)
            .map_err(|_| Error::CannotDo {
                why: format!("{} at {time} lies outside the winds", place.text()),
                remedy: format!("expected a place and time within {}", self.covered()),
            })?;
        Ok(Sounding {
            name: format!("forecast at {}", place.text()),
            time: Some(time),
            position: Some(place),
            heights: HeightSource::Geopotential,
            levels: levels(&block, &weights),
            tally: Tally {
                rows: block.pressures_pa.len(),
                ..Tally::default()
            },
        })
    }

    /// The region and the hours covered, in words.
    pub fn covered(&self) -> String {
        let region = self.lattice.region();
        match &self.steps[..] {
            [] => region,
            [only] => format!("{region}, {}", only.valid),
            [first, .., last] => format!(
                "{region}, {} times from {} to {} without gaps of more than six hours",
                self.steps.len(),
                first.valid,
                last.valid
            ),
        }
    }
}

fn levels(block: &Block, weights: &Weights) -> Vec<Level> {
    let profiles: Vec<(f64, WindProfile)> =
        weights.terms().map(|(c, w)| (w, block.winds(c))).collect();
    let parts: Vec<(f64, &WindProfile)> = profiles.iter().map(|(w, p)| (*w, p)).collect();
    let winds = WindProfile::blend(&parts);
    let mean = |values: &ndarray::Array2<f32>, level: usize| -> f64 {
        weights.mean(|c| f64::from(values[[c, level]]))
    };
    let known = |value: f64| value.is_finite().then_some(value);
    let mut levels: Vec<Level> = Vec::new();
    for (k, &pressure_pa) in block.pressures_pa.iter().enumerate() {
        let altitude_m = mean(&block.altitude_m, k);
        let rises = levels.last().is_none_or(|l| altitude_m > l.altitude_m);
        if !(altitude_m.is_finite() && rises) {
            continue;
        }
        let temperature = block.temperature_k.as_ref().map(|t| mean(t, k));
        let vapour = block.vapour_pressure_pa.as_ref().map(|e| mean(e, k));
        levels.push(Level {
            altitude_m,
            pressure_pa: Some(pressure_pa),
            temperature_k: temperature.and_then(known),
            vapour_pressure_pa: vapour.and_then(known).map(|e| e.max(0.0)),
            // Below the forecast's ground there is no wind.
            wind: (altitude_m >= winds.base_m()).then(|| winds.at(altitude_m)),
        });
    }
    levels
}

//! The column of a forecast above one place at one time, as if a sonde had risen there.

use jiff::Timestamp;

use super::archive::Archive;
use crate::clock::seconds_between;
use crate::error::{Error, Result};
use crate::geodesy::Position;
use crate::wind::column::WindProfile;
use crate::wind::grid::Block;
use crate::wind::placing::{LONGEST_GAP_S, Placing, Weights};
use crate::wind::sounding::{HeightSource, Level, Model, Sounding, Tally};

impl Archive {
    /// The column above `place` at `time`, the mean of the members' winds, on the levels of pressure; wind and
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
            // Its levels are no measurements, so wide steps between them are no gaps.
            model: Some(Model {
                name: "grid".into(),
                lead_s: block.run_at(time).map(|run| seconds_between(run, time)),
            }),
            wind_at_10_m: None,
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
        let times: Vec<Timestamp> = self.steps.iter().map(|s| s.valid).collect();
        let own = format!("{}, {}", self.lattice.region(), hours(&times));
        match &self.above {
            Some(above) => format!("{own}; those above {}", above.covered()),
            None => own,
        }
    }
}

/// Stretches of time that are named one by one; of more, the first and the last.
const NAMED_STRETCHES: usize = 6;

/// Times in words: each stretch without a gap.
fn hours(times: &[Timestamp]) -> String {
    let near = |a: &Timestamp, b: &Timestamp| b.duration_since(*a).as_secs_f64() <= LONGEST_GAP_S;
    let mut words: Vec<String> = times
        .chunk_by(near)
        .map(|stretch| match stretch {
            [first, .., last] => format!("{first} to {last}"),
            [only] => only.to_string(),
            [] => String::new(),
        })
        .collect();
    if words.len() > NAMED_STRETCHES {
        let between = words.len() - 2;
        words.splice(1..=between, [format!("{between} more stretches of time")]);
    }
    match words.pop() {
        Some(last) if words.is_empty() => last,
        Some(last) => format!("{} and {last}", words.join(", ")),
        None => "no time".into(),
    }
}

fn levels(block: &Block, weights: &Weights) -> Vec<Level> {
    // Of an ensemble the mean, as flights are planned in it.
    let winds = WindProfile::mean_of(&block.winds_of_members(weights));
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
            // Packed humidities may lie a little below 0.
            vapour_pressure_pa: vapour.and_then(known).map(|e| e.max(0.0)),
            // Below the forecast's ground there is no wind.
            wind: (altitude_m >= winds.base_m()).then(|| winds.at(altitude_m)),
            ..Level::default()
        });
    }
    levels
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_told_with_the_nights_between_them() {
        let at = |days: i64, hour: i64| {
            let first: Timestamp = "2023-10-12T08:00:00Z".parse().unwrap();
            first + jiff::SignedDuration::from_hours(24 * days + hour)
        };
        assert_eq!(hours(&[at(0, 0)]), "2023-10-12T08:00:00Z");
        assert_eq!(
            hours(&[at(0, 0), at(0, 6), at(1, 0), at(2, 0)]),
            "2023-10-12T08:00:00Z to 2023-10-12T14:00:00Z, 2023-10-13T08:00:00Z and \
             2023-10-14T08:00:00Z"
        );
        let week: Vec<Timestamp> = (0..9).map(|d| at(d, 0)).collect();
        assert_eq!(
            hours(&week),
            "2023-10-12T08:00:00Z, 7 more stretches of time and 2023-10-20T08:00:00Z"
        );
    }
}

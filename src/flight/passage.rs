//! How long one flight is in each layer, on its way up or down.

use super::field::{FIELD_LEG_LAYERS, legs_for};
use super::model::Summit;

/// How long one flight is in each layer, on one way.
#[derive(Debug, Clone, Default)]
pub struct Passage {
    /// Seconds in each layer, up to the one that is passed in part, as if it were passed whole.
    pub seconds: Vec<f64>,
    /// How the time within each layer leans to its upper half, s: what the slope of the wind in
    /// the layer is felt for.
    pub lean: Vec<f64>,
    /// Seconds flown in each layer, that of the summit in part; whole legs.
    pub flown: Vec<f64>,
    /// Seconds for which the mean wind of each layer is felt in a field, s; whole legs.
    pub felt: Vec<[f32; FIELD_LEG_LAYERS]>,
}

impl Passage {
    /// Sets `lean` from `seconds`. With the wind u + S x and the time t (1 + g x) dx over a layer,
    /// x from -1/2 to 1/2, the drift is u t + S g t / 12, and g t is half the change of t from the
    /// layer below to the one above. The way begins or ends with the layer `first`.
    pub fn set_lean(&mut self, first: usize) {
        let t = &self.seconds[first..];
        self.lean.clear();
        self.lean.resize(first, 0.0);
        if let [first, second, ..] = t[..] {
            self.lean.push((second - first) / 12.0);
            self.lean.extend(t.windows(3).map(|w| (w[2] - w[0]) / 24.0));
        }
        // The last layer is passed in part only, and has a slope of its own.
        self.lean.resize(self.seconds.len(), 0.0);
    }

    /// Seconds the way takes through the lowest `share` of its last layer. The time in it leans
    /// as from the layer below: t (s + g (s^2 - s) / 2), with g t the change of t from layer to
    /// layer.
    pub fn last_part_s(&self, share: f64) -> f64 {
        let Some((&seconds, below)) = self.seconds.split_last() else {
            return 0.0;
        };
        // A way that begins in its last layer has no time in the one below, which says nothing.
        let flown_below = below.last().filter(|b| **b > 0.0);
        let change = flown_below.map_or(0.0, |b| seconds - b);
        share * (seconds + 0.5 * change * (share - 1.0))
    }

    /// Sets `flown` and `felt` from `seconds` and `lean`, whose last layer gets its own; once after each
    /// [`Passage::set_lean`]: the slope of the wind in a layer is half the change
    /// of its mean from the layer below to the one above, so what leans counts there. Of the last
    /// layer, passed up to `share`, the mean wind is that of its middle less (1 - share) / 2 of the
    /// slope. The way begins or ends with the layer `first`.
    pub fn set_felt(&mut self, summit: &Summit, first: usize) {
        let last = summit.layer;
        // One layer above the summit's own is felt too, for the slope.
        let legs = legs_for(last + 2);
        let count = legs * FIELD_LEG_LAYERS;
        let part_s = self.last_part_s(summit.share);
        self.flown.clear();
        self.flown.extend_from_slice(&self.seconds[..last]);
        self.flown.push(part_s);
        self.flown.resize(count, 0.0);
        self.lean.truncate(last);
        self.lean.push(0.5 * (summit.share - 1.0) * part_s);
        self.lean.resize(count + 1, 0.0);
        self.felt.clear();
        self.felt.resize(legs, [0.0; FIELD_LEG_LAYERS]);
        let felt = self.felt.as_flattened_mut();
        // Layers below the first lean nowhere.
        let [of_first, above] = [self.lean[first], self.lean[first + 1]];
        felt[first] = (self.flown[first] - of_first - 0.5 * above) as f32;
        let within = felt[first + 1..].iter_mut().zip(&self.flown[first + 1..]);
        for ((felt, flown), lean) in within.zip(self.lean[first..].windows(3)) {
            *felt = (flown + 0.5 * (lean[0] - lean[2])) as f32;
        }
        // There is none below the first layer of the way, so its slope is taken to the one above.
        felt[first + 1] += (0.5 * of_first) as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_way_that_begins_in_its_last_layer_does_not_lean() {
        let part_s = |seconds: &[f64]| {
            let passage = Passage {
                seconds: seconds.to_vec(),
                ..Passage::default()
            };
            passage.last_part_s(0.5)
        };
        assert_eq!(part_s(&[0.0, 0.0, 50.0]), 25.0);
        assert_eq!(part_s(&[50.0]), 25.0);
        // From 40 s in the layer below the time grows: less of it in the lower half.
        assert_eq!(part_s(&[0.0, 40.0, 50.0]), 23.75);
    }
}

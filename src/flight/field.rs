//! The winds of a field by layer: many columns, each cut into the same layers.

use std::sync::Arc;

use jiff::Timestamp;
use rayon::prelude::*;

use super::layers::Layers;
use crate::error;
use crate::geodesy::beside::Vectors;
use crate::geodesy::{Compass, Normal, Position};
use crate::wind::column::WindProfile;
use crate::wind::grid::Block;
use crate::wind::placing::{Outside, Placing, Weights};

/// Layers that a flight passes as one leg through a field, with the columns around the leg's
/// middle. Also how many lie together in memory.
pub const FIELD_LEG_LAYERS: usize = 4;

/// One leg of one column: east and north of each of its layers, m/s.
type Leg = [[f32; 2]; FIELD_LEG_LAYERS];

/// Winds by column and layer, and how places and times find the columns.
///
/// Within a layer a column's wind counts by its mean, which is exact; between columns it is
/// interpolated at the same altitude, as each column is cut by its own altitudes first.
#[derive(Debug, Clone)]
pub struct LayerField {
    placing: Arc<Placing>,
    /// From the time that the placing counts from to the planned release, s.
    release_s: f64,
    /// Column by column, leg by leg, from the ground up.
    legs: Arc<Vec<Leg>>,
    legs_a_column: usize,
    columns_a_member: usize,
}

impl LayerField {
    /// Cuts `profiles` into layers. `place` tells where each stands, so that its wind can be given
    /// in the directions of the `compass`. Profiles of several members follow each other,
    /// `columns_a_member` each.
    pub fn new(
        placing: Placing,
        columns_a_member: usize,
        columns: usize,
        column: impl Fn(usize) -> (WindProfile, Position) + Sync,
        layers: &Layers,
        compass: &Compass,
    ) -> LayerField {
        // One layer more than there are: at the top the slope of the wind is felt in the layer
        // above it.
        let legs_a_column = legs_for(layers.count + 1);
        let cut = |index: usize| -> Vec<Leg> {
            let (profile, place) = column(index);
            let boundaries = (0..=legs_a_column * FIELD_LEG_LAYERS).map(|k| layers.altitude_m(k));
            // In the compass's directions already here: a flight adds up columns without turning
            // each of them.
            let mut means = profile.means(boundaries).map(|wind| {
                compass
                    .components(place, [wind.east_m_s, wind.north_m_s])
                    .map(|w| w as f32)
            });
            let mut next = || means.next().unwrap_or_default();
            let leg = |_| std::array::from_fn(|_| next());
            (0..legs_a_column).map(leg).collect()
        };
        LayerField {
            placing: Arc::new(placing),
            release_s: 0.0,
            legs: Arc::new((0..columns).into_par_iter().flat_map_iter(cut).collect()),
            legs_a_column,
            columns_a_member,
        }
    }

    /// The field of a forecast's block, around a `center`, with times counted from the planned
    /// `release`.
    ///
    /// # Errors
    ///
    /// When PROJ refuses the block's projection.
    pub fn of_block(
        block: &Block,
        center: Position,
        release: Timestamp,
        layers: &Layers,
        compass: &Compass,
    ) -> error::Result<LayerField> {
        let map = block.lattice.map()?;
        let mut places: Vec<Position> = Vec::new();
        for row in 0..block.lattice.y.count {
            for column in 0..block.lattice.x.count {
                places.push(map.position(row as f64, column as f64)?);
            }
        }
        // Columns of all members and times stand on the same points.
        let column = |i: usize| (block.winds(i), places[i % places.len()]);
        Ok(LayerField::new(
            Placing::of_block(block, center, release)?,
            block.columns_of_member(),
            block.columns_of_member() * block.members.len(),
            column,
            layers,
            compass,
        ))
    }

    /// The same field with one member more: the mean of all. Returns its number.
    pub fn with_mean_member(self) -> (LayerField, usize) {
        let size = self.columns_a_member * self.legs_a_column;
        let members = self.legs.len() / size.max(1);
        let mean_of = |at: usize| -> Leg {
            // In double precision: of many members the single one would lose digits in the sum.
            let mut sum = [[0.0f64; 2]; FIELD_LEG_LAYERS];
            for member in 0..members {
                for (s, w) in sum.iter_mut().zip(&self.legs[member * size + at]) {
                    *s = [s[0] + f64::from(w[0]), s[1] + f64::from(w[1])];
                }
            }
            sum.map(|s| s.map(|w| (w / members as f64) as f32))
        };
        let legs: Vec<Leg> = self
            .legs
            .iter()
            .copied()
            .chain((0..size).map(mean_of))
            .collect();
        let legs = Arc::new(legs);
        (LayerField { legs, ..self }, members)
    }

    /// The same winds for a release this many seconds after the time they are counted from.
    #[must_use]
    pub fn at_release(&self, release_s: f64) -> LayerField {
        LayerField {
            release_s,
            ..self.clone()
        }
    }

    /// Whether a gap in the hours lies after the planned release, beyond which no flight gets however many
    /// hours follow it.
    pub fn gap_ahead(&self) -> bool {
        self.placing.gap_after(self.release_s)
    }

    /// The columns around a place at a time, seconds since the planned release, near the ground.
    ///
    /// # Errors
    ///
    /// Where the field ends.
    pub fn weights(&self, place: Normal, time_s: f64) -> Result<Weights, Outside> {
        self.weights_at(place, time_s, 0.0)
    }

    /// The same at an altitude, m above mean sea level.
    ///
    /// # Errors
    ///
    /// Where the field ends.
    pub fn weights_at(
        &self,
        place: Normal,
        time_s: f64,
        altitude_m: f64,
    ) -> Result<Weights, Outside> {
        self.placing
            .weights_at(place, self.release_s + time_s, altitude_m)
    }

    /// Where several places are among the columns, to [`LayerField::weigh`] by.
    #[inline(always)]
    pub fn locate_all<const N: usize>(&self, places: &Vectors<N>) -> [[f64; N]; 2] {
        self.placing.locate_all(places)
    }

    /// [`LayerField::weights_at`] in place of others, of a place that has been `located`.
    ///
    /// # Errors
    ///
    /// Where the field ends.
    #[inline]
    pub fn weigh(
        &self,
        place: Normal,
        located: [f64; 2],
        time_s: f64,
        altitude_m: f64,
        weights: &mut Weights,
    ) -> Result<(), Outside> {
        let at_s = self.release_s + time_s;
        self.placing
            .weigh(place, located, at_s, altitude_m, weights)
    }

    /// Drift through leg `leg` of the columns of a member, m: the sum over its layers of wind times
    /// `felt` seconds.
    #[inline]
    pub fn drift(
        &self,
        weights: &Weights,
        member: usize,
        leg: usize,
        felt: &[f32; FIELD_LEG_LAYERS],
    ) -> [f64; 2] {
        // The whole leg's winds before its drift: each column is read once, four layers side by
        // side.
        let first = member * self.columns_a_member;
        let mut wind = [[0.0f32; 2]; FIELD_LEG_LAYERS];
        for (column, weight) in weights.terms() {
            let at = (first + column) * self.legs_a_column + leg;
            let weight = weight as f32;
            for (sum, w) in wind.iter_mut().zip(&self.legs[at]) {
                sum[0] += weight * w[0];
                sum[1] += weight * w[1];
            }
        }
        let mut drift = [0.0f32; 2];
        for (w, s) in wind.iter().zip(felt) {
            drift[0] += w[0] * s;
            drift[1] += w[1] * s;
        }
        drift.map(f64::from)
    }
}

/// Legs that hold this many layers.
pub fn legs_for(layers: usize) -> usize {
    layers.div_ceil(FIELD_LEG_LAYERS)
}

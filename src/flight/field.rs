//! The winds of a field by layer: many columns, each cut into the same layers.

use std::ops::Range;
use std::sync::{Arc, OnceLock};

use jiff::Timestamp;

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

/// One leg of one column, m/s: the wind to the east of each of its layers, and that to the north. In this
/// order the compiler takes four layers at a time.
type Leg = [[f32; FIELD_LEG_LAYERS]; 2];
/// The legs of one column from the ground up.
type Legs = Box<[Leg]>;

/// Winds by column and layer, and how places and times find the columns.
///
/// Within a layer a column's wind counts by its mean, which is exact; between columns it is
/// interpolated at the same altitude, as each column is cut by its own altitudes first.
#[derive(Debug, Clone)]
pub struct LayerField {
    placing: Arc<Placing>,
    /// From the time that the placing counts from to the planned release, s.
    release_s: f64,
    columns: Arc<Columns>,
}

/// The columns, each cut into layers when a flight first comes near it: flights pass few of those that are in
/// their reach.
#[derive(Debug)]
struct Columns {
    source: Source,
    layers: Layers,
    compass: Compass,
    /// Of each column, those of a member one after the other.
    legs: Vec<OnceLock<Legs>>,
    of_a_member: usize,
    members: usize,
}

/// What columns are cut from.
#[derive(Debug)]
enum Source {
    /// A part of a forecast, with the places of its points.
    Block(Box<Block>, Vec<Position>),
    /// Winds, with where they are.
    Profiles(Vec<(WindProfile, Position)>),
}

impl Columns {
    fn new(source: Source, members: usize, layers: &Layers, compass: &Compass) -> Columns {
        let of_a_member = match &source {
            Source::Block(block, _) => block.columns_of_member(),
            Source::Profiles(profiles) => profiles.len(),
        };
        Columns {
            source,
            layers: *layers,
            compass: *compass,
            legs: vec![OnceLock::new(); of_a_member * members],
            of_a_member,
            members,
        }
    }

    #[inline]
    fn leg(&self, member: usize, column: usize, leg: usize) -> &Leg {
        let at = member * self.of_a_member + column;
        &self.legs[at].get_or_init(|| self.cut(at))[leg]
    }

    #[cold]
    fn cut(&self, at: usize) -> Legs {
        // One layer more than there are: at the top the slope of the wind is felt in the layer
        // above it.
        let legs = 0..legs_for(self.layers.count + 1);
        match &self.source {
            // One member more than the forecast has is their mean.
            Source::Block(block, _) if at >= self.of_a_member * block.members.len() => {
                let column = at % self.of_a_member;
                legs.map(|leg| self.mean(column, leg, block.members.len()))
                    .collect()
            }
            // Columns of all members and times stand on the same points.
            Source::Block(block, places) => {
                self.cut_profile(&block.winds(at), places[at % places.len()], legs)
            }
            Source::Profiles(profiles) => self.cut_profile(&profiles[at].0, profiles[at].1, legs),
        }
    }

    fn cut_profile(&self, profile: &WindProfile, place: Position, legs: Range<usize>) -> Legs {
        let boundaries = (0..=legs.len() * FIELD_LEG_LAYERS).map(|k| self.layers.altitude_m(k));
        // In the compass's directions already here: a flight adds up columns without turning
        // each of them.
        let mut means = profile.means(boundaries).map(|wind| {
            self.compass
                .components(place, [wind.east_m_s, wind.north_m_s])
                .map(|w| w as f32)
        });
        let next = |_| {
            let mut leg = Leg::default();
            for layer in 0..FIELD_LEG_LAYERS {
                [leg[0][layer], leg[1][layer]] = means.next().unwrap_or_default();
            }
            leg
        };
        legs.map(next).collect()
    }

    /// A leg of a column in the mean of the first members.
    fn mean(&self, column: usize, leg: usize, members: usize) -> Leg {
        // In double precision: of many members the single one would lose digits in the sum.
        let mut sum = [[0.0f64; FIELD_LEG_LAYERS]; 2];
        for member in 0..members {
            let winds = self.leg(member, column, leg).as_flattened();
            for (sum, w) in sum.as_flattened_mut().iter_mut().zip(winds) {
                *sum += f64::from(*w);
            }
        }
        sum.map(|winds| winds.map(|w| (w / members as f64) as f32))
    }
}

impl LayerField {
    /// The field of winds here and there, found by a `placing`; each is given with where it stands, so that it
    /// can be told in the directions of the `compass`.
    pub fn of_profiles(
        placing: Placing,
        profiles: Vec<(WindProfile, Position)>,
        layers: &Layers,
        compass: &Compass,
    ) -> LayerField {
        let source = Source::Profiles(profiles);
        LayerField {
            placing: Arc::new(placing),
            release_s: 0.0,
            columns: Arc::new(Columns::new(source, 1, layers, compass)),
        }
    }

    /// The field of a forecast's block, around a `center`, with times counted from the planned
    /// `release`. An ensemble has one member more than the block: the mean of all.
    ///
    /// # Errors
    ///
    /// When PROJ refuses the block's projection.
    pub fn of_block(
        block: Block,
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
        let placing = Placing::of_block(&block, center, release)?;
        let members = match block.members.len() {
            1 => 1,
            several => several + 1,
        };
        let source = Source::Block(Box::new(block), places);
        Ok(LayerField {
            placing: Arc::new(placing),
            release_s: 0.0,
            columns: Arc::new(Columns::new(source, members, layers, compass)),
        })
    }

    /// The member that the planned flight goes through: the only one, or the mean of all.
    pub fn planned_member(&self) -> usize {
        self.columns.members - 1
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
        let mut wind = Leg::default();
        for (column, weight) in weights.terms() {
            let weight = weight as f32;
            let column = self.columns.leg(member, column, leg);
            for (sums, winds) in wind.iter_mut().zip(column) {
                for (sum, w) in sums.iter_mut().zip(winds) {
                    *sum += weight * w;
                }
            }
        }
        wind.map(|winds| {
            let drift: f32 = winds.iter().zip(felt).map(|(w, s)| w * s).sum();
            f64::from(drift)
        })
    }
}

/// Legs that hold this many layers.
pub fn legs_for(layers: usize) -> usize {
    layers.div_ceil(FIELD_LEG_LAYERS)
}

//! Flights that go on from where they are, at any height, by seconds and winds that are known layer by
//! layer.

use super::field::FIELD_LEG_LAYERS;
use super::model::{FlightModel, FlightWinds, Flown, Moment, Scratch, Summit, Variation, Way};
use super::rise::Miss;
use crate::geodesy::{drift, half_way, whole_way};

/// The way that one flight takes, layer by layer of its model.
#[derive(Debug, Clone, Copy)]
pub struct Course<'a> {
    /// Which member of the winds it flies in.
    pub member: usize,
    /// Seconds in each layer on the way up.
    pub up_s: &'a [f64],
    /// Altitude of the burst, m; at or below where the flight is, it falls.
    pub burst_m: f64,
    /// Seconds in each layer on the way down.
    pub down_s: &'a [f64],
    /// Added to the wind of each layer on the way up, m/s east and north.
    pub wind_up_m_s: &'a [[f64; 2]],
    /// The same on the way down.
    pub wind_down_m_s: &'a [[f64; 2]],
}

/// How far below the highest layer's top a burst is, at least, m.
const BELOW_TOP_M: f64 = 1.0;

impl FlightModel {
    /// Flies on from a moment; tells of every leg's end.
    ///
    /// # Errors
    ///
    /// [`Miss::Leaves`] where it leaves the winds.
    pub fn fly_onward(
        &self,
        from: Moment,
        course: &Course,
        scratch: &mut Scratch,
        mut tell: impl FnMut(Moment),
    ) -> Result<Flown, Miss> {
        let layers = &self.layers;
        // A burst that has been learnt may lie above the air that is cut into layers.
        let burst_m = course.burst_m.min(layers.top_m() - BELOW_TOP_M);
        let (here, share) = layers.locate(from.altitude_m);
        let (summit_layer, summit_share) = layers.locate(burst_m);
        if burst_m <= from.altitude_m {
            return self.fall_on(from, from, course, scratch, &mut tell);
        }
        // Burst and flight within one layer: there is no whole layer to walk through before it
        // turns.
        if summit_layer == here {
            let seconds = (summit_share - share) * course.up_s[here];
            let burst = self.pass_part(from, here, seconds, course, true, burst_m)?;
            tell(burst);
            return self.fall_on(burst, burst, course, scratch, &mut tell);
        }
        let seconds = (1.0 - share) * course.up_s[here];
        let first_layer = here + 1;
        let start = self.pass_part(
            from,
            here,
            seconds,
            course,
            true,
            layers.altitude_m(first_layer),
        )?;
        let summit = Summit {
            altitude_m: burst_m,
            layer: summit_layer,
            share: summit_share,
        };
        set(
            &mut scratch.up.seconds,
            course.up_s,
            first_layer,
            summit_layer,
        );
        set(&mut scratch.down.seconds, course.down_s, 0, summit_layer);
        self.walk(
            &way(start, first_layer, summit, course),
            scratch,
            false,
            &mut tell,
        )
    }

    /// Falls from where it is to the ground.
    fn fall_on(
        &self,
        from: Moment,
        burst: Moment,
        course: &Course,
        scratch: &mut Scratch,
        tell: &mut impl FnMut(Moment),
    ) -> Result<Flown, Miss> {
        let layers = &self.layers;
        let (here, share) = layers.locate(from.altitude_m);
        let seconds = share * course.down_s[here];
        // A fix below the lowest layer is located at its bottom: a fall must not end above its
        // start.
        let boundary_m = layers.altitude_m(here).min(from.altitude_m);
        tell(from);
        let start = self.pass_part(from, here, seconds, course, false, boundary_m)?;
        // The ground may be met within this first part of a layer, which the walk does not look at.
        if let Some(landing) = self.floor().met(from, start) {
            tell(landing);
            return Ok(Flown { burst, landing });
        }
        let summit = Summit {
            altitude_m: start.altitude_m,
            layer: here,
            share: 0.0,
        };
        set(&mut scratch.up.seconds, &[], here + 1, here);
        set(&mut scratch.down.seconds, course.down_s, 0, here);
        let flown = self.walk(&way(start, here, summit, course), scratch, false, tell)?;
        Ok(Flown { burst, ..flown })
    }

    /// Through a part of one layer.
    fn pass_part(
        &self,
        from: Moment,
        layer: usize,
        seconds: f64,
        course: &Course,
        rising: bool,
        arrive_m: f64,
    ) -> Result<Moment, Miss> {
        let errors = if rising {
            course.wind_up_m_s
        } else {
            course.wind_down_m_s
        };
        let error = errors.get(layer).copied().unwrap_or([0.0; 2]);
        let wind = |place, time_s| -> Result<[f64; 2], Miss> {
            let wind = self.wind_of_layer(layer, course.member, place, time_s)?;
            Ok([0, 1].map(|i| (wind[i] + error[i]) * seconds))
        };
        let middle_m = 0.5 * (from.altitude_m + arrive_m);
        let first = wind(from.place, from.time_s)?;
        let place = match &self.winds {
            // One column has the same wind all along, so the middle would say nothing new.
            FlightWinds::Column(_) => {
                drift(from.place, &self.compass, first[0], first[1], middle_m)
            }
            FlightWinds::Field(_) => {
                let middle = half_way(from.place, &self.compass, middle_m, first);
                let felt = wind(middle, from.time_s + 0.5 * seconds)?;
                whole_way(from.place, middle, &self.compass, middle_m, felt)
            }
        };
        Ok(Moment {
            time_s: from.time_s + seconds,
            altitude_m: arrive_m,
            place,
        })
    }

    /// Seconds that a variation is in each layer of the model, up and down, whole layers also above its
    /// burst; and the altitude of the burst, m. `slowness` multiplies those of the way up from the release on.
    ///
    /// # Errors
    ///
    /// When it does not rise or burst.
    pub fn seconds_of(
        &self,
        v: &Variation,
        slowness: &[f64],
        up: &mut Vec<f64>,
        down: &mut Vec<f64>,
    ) -> Result<f64, Miss> {
        let (layers, below) = (&self.layers, self.release_layer);
        let above = layers.above(below);
        let burst_m = self
            .rise
            .of(&above, &v.rise, v.burst_diameter, v.burst_higher_m, up)?;
        // The layer of the burst is passed in part, those above it are held.
        up.resize(above.count, up.last().copied().unwrap_or(0.0));
        for (seconds, slower) in up.iter_mut().zip(slowness) {
            *seconds *= slower;
        }
        // A fix may lie below the release, where no rise is tabulated: the lowest layer's time
        // holds there.
        let first = up.first().copied().unwrap_or(0.0);
        up.splice(0..0, std::iter::repeat_n(first, below));
        // The fall is asked for from the top down, but a canopy changes on the way from the burst.
        let unchanged = Variation {
            canopy_change: None,
            ..*v
        };
        let top = Summit {
            altitude_m: layers.top_m(),
            layer: layers.count - 1,
            share: 1.0,
        };
        self.fall_seconds(&unchanged, &top, down);
        if let Some(change) = v.canopy_change {
            let (layer, share) = layers.locate(burst_m);
            let at = self.change_at(change, layer as f64 + share);
            let slower = 1.0 / change.speed_above;
            for (k, seconds) in down.iter_mut().enumerate() {
                let in_it = (at - k as f64).clamp(0.0, 1.0);
                *seconds *= in_it + (1.0 - in_it) * slower;
            }
        }
        Ok(burst_m)
    }

    /// The mean wind of a layer at a place and a time (s since the planned release), m/s towards the
    /// compass's east and north.
    ///
    /// # Errors
    ///
    /// [`Miss::Leaves`] where no wind is known.
    pub fn wind_of_layer(
        &self,
        layer: usize,
        member: usize,
        place: crate::geodesy::Normal,
        time_s: f64,
    ) -> Result<[f64; 2], Miss> {
        match &self.winds {
            FlightWinds::Column(winds) => Ok(winds.mean[layer]),
            FlightWinds::Field(field) => {
                let weights = field.weights_at(place, time_s, self.layers.middle_m(layer))?;
                // One second in this layer and none in the others: the drift is then the wind.
                let mut felt = [0.0f32; FIELD_LEG_LAYERS];
                felt[layer % FIELD_LEG_LAYERS] = 1.0;
                Ok(field.drift(&weights, member, layer / FIELD_LEG_LAYERS, &felt))
            }
        }
    }
}

fn way<'a>(start: Moment, first_layer: usize, summit: Summit, course: &Course<'a>) -> Way<'a> {
    Way {
        start,
        first_layer,
        summit,
        member: course.member,
        wind_errors: [course.wind_up_m_s, course.wind_down_m_s],
    }
}

/// Seconds of the layers from `first` to `last`; none below.
fn set(out: &mut Vec<f64>, seconds: &[f64], first: usize, last: usize) {
    out.clear();
    out.resize(last + 1, 0.0);
    if first <= last && !seconds.is_empty() {
        out[first..=last].copy_from_slice(&seconds[first..=last]);
    }
}

//! How far and how long flights may reach, and the part of a forecast that takes.

use jiff::Timestamp;

use crate::clock::after;
use crate::error::Result;
use crate::flight::model::{FlightModel, FlightWinds, Moment};
use crate::geodesy::Position;
use crate::sources::grid::archive::Archive;
use crate::spread::draws::{SIGMAS, Spread};
use crate::wind::grid::Block;
use crate::wind::placing::Outside;

/// A guess that is grown when flights leave it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// From the site to all sides, m.
    pub far_m: f64,
    /// After the planned release, s; no flight is early.
    pub late_s: f64,
}

/// How much of the winds was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Extent {
    /// Whether it is the whole region.
    pub everywhere: bool,
    /// Whether it goes on to the last time.
    pub to_the_end: bool,
}

impl Extent {
    /// All of it.
    pub const WHOLE: Extent = Extent {
        everywhere: true,
        to_the_end: true,
    };

    /// Whether there is no more to be had there.
    pub fn ends_at(&self, outside: Outside) -> bool {
        match outside {
            Outside::Region => self.everywhere,
            Outside::Hours => self.to_the_end,
        }
    }
}

/// Flights of the spread fly so much longer and farther than the planned one.
const LONGER: f64 = 1.5;
/// Room for errors of the wind and for winds that are stronger away from the site, m.
const ROOM_M: f64 = 30_000.0;
/// How much the guess grows at a time.
const GROWTH: f64 = 1.6;
/// This many columns are decoded at once: flying again in more of them would cost more.
const FEW_COLUMNS: usize = 4_000;

impl Reach {
    /// Nowhere.
    pub const NONE: Reach = Reach {
        far_m: 0.0,
        late_s: 0.0,
    };

    /// From the planned flight in the winds above the site.
    pub fn of(track: &[Moment], model: &FlightModel, spread: &Spread) -> Reach {
        let drift_m = match &model.winds {
            FlightWinds::Column(winds) => track
                .windows(2)
                .map(|leg| {
                    let middle_m = 0.5 * (leg[0].altitude_m + leg[1].altitude_m);
                    let [east, north] = winds.mean[model.layers.locate(middle_m).0];
                    // Lengths, not their sum: winds that turn above the site need not turn
                    // elsewhere.
                    east.hypot(north) * (leg[1].time_s - leg[0].time_s)
                })
                .sum(),
            // The planned flight is flown in the column first, so this does not come up.
            FlightWinds::Field(_) => 0.0,
        };
        let flown_s = track.last().map_or(0.0, |m| m.time_s);
        // Besides what flights take longer: a delay does not grow with their length.
        let delay_s = SIGMAS * spread.release_delay_s;
        Reach {
            far_m: LONGER * drift_m + ROOM_M,
            late_s: delay_s + LONGER * flown_s,
        }
    }

    /// The same, but no longer than a flight as planned takes: for winds some of whose members end
    /// early and are to be used as far as they go.
    #[must_use]
    pub fn short(self, track: &[Moment]) -> Reach {
        Reach {
            late_s: track.last().map_or(0.0, |m| m.time_s),
            ..self
        }
    }

    /// The same, grown to where or when flights left it.
    #[must_use]
    pub fn grown(self, left: Outside) -> Reach {
        match left {
            Outside::Region => Reach {
                far_m: GROWTH * self.far_m,
                ..self
            },
            Outside::Hours => Reach {
                late_s: GROWTH * self.late_s,
                ..self
            },
        }
    }

    /// The same, on a side as far as another one.
    #[must_use]
    pub fn on_side(self, side: Outside, other: Reach) -> Reach {
        match side {
            Outside::Region => Reach {
                far_m: other.far_m,
                ..self
            },
            Outside::Hours => Reach {
                late_s: other.late_s,
                ..self
            },
        }
    }

    /// The same from a place so far from the site, at a time after the release.
    #[must_use]
    pub fn from(self, away_m: f64, after_s: f64) -> Reach {
        Reach {
            far_m: away_m + self.far_m,
            late_s: after_s + self.late_s,
        }
    }

    /// The reach that holds both.
    #[must_use]
    pub fn with(self, other: Reach) -> Reach {
        Reach {
            far_m: self.far_m.max(other.far_m),
            late_s: self.late_s.max(other.late_s),
        }
    }

    /// The part of a forecast within reach of releases from a site, and how much of it that is.
    ///
    /// # Errors
    ///
    /// When it cannot be decoded.
    pub fn cut(
        &self,
        site: Position,
        releases: [Timestamp; 2],
        archive: &Archive,
    ) -> Result<(Block, Extent)> {
        let steps = archive.steps_around(releases[0], after(releases[1], self.late_s));
        let whole = archive.lattice.whole();
        let columns = whole.rows * whole.columns * steps.len() * archive.members.len();
        let window = match columns <= FEW_COLUMNS {
            true => whole,
            false => archive.lattice.around(site, self.far_m)?,
        };
        let extent = Extent {
            everywhere: window == whole,
            to_the_end: steps.end == archive.steps.len(),
        };
        Ok((archive.cut(window, steps)?, extent))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reach_grows_where_or_when_it_was_left() {
        let reach = Reach {
            far_m: 10.0,
            late_s: 30.0,
        };
        let farther = reach.grown(Outside::Region);
        assert!(farther.far_m > 15.0);
        assert_eq!(farther.late_s, 30.0);
        let longer = reach.grown(Outside::Hours);
        assert!(longer.late_s > 45.0);
        assert_eq!(longer.far_m, 10.0);
        let both = farther.with(longer);
        assert_eq!((both.far_m, both.late_s), (farther.far_m, longer.late_s));
        let all_hours = Extent {
            everywhere: false,
            to_the_end: true,
        };
        assert!(all_hours.ends_at(Outside::Hours) && !all_hours.ends_at(Outside::Region));
    }
}

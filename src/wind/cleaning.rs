//! What reading a sounding left of it, as far as it matters to who flies in its winds.

use super::sounding::Sounding;
use crate::files::name_of;
use crate::notes::{Cleaning, Gap};

/// Winds farther apart than this in height leave a gap, m.
pub const GAP_M: f64 = 1_500.0;
/// Levels of forecasts lie up to this far apart, m (20 and 10 hPa), and so did those of the columns
/// to which the errors of forecasts were fitted.
pub const FORECAST_GAP_M: f64 = 5_000.0;
/// Where gaps begin that no balloon of latex meets, m.
const ABOVE_BALLOONS_M: f64 = 45_000.0;
/// Impossible values among more than this share of the rows are told.
const IMPOSSIBLE_SHARE: f64 = 0.02;

impl Cleaning {
    /// Of a sounding from a file, which is told by its name: answers go to people who need not know where it lies.
    pub fn of(file: &str, sounding: &Sounding) -> Cleaning {
        let tally = &sounding.tally;
        let levels = sounding.levels.iter().filter(|l| l.wind.is_some());
        let heights: Vec<f64> = levels.map(|l| l.altitude_m).collect();
        Cleaning {
            file: name_of(file),
            // A descent and repeated heights are left out of every sounding: they are no loss.
            rows: tally.rows.saturating_sub(tally.descent + tally.repeated),
            winds: heights.len(),
            impossible: tally.out_of_range,
            unusable: tally.unusable,
            gaps: gaps(&heights, least_gap_m(sounding)),
        }
    }

    /// Whether fewer than half of the rows have given a wind.
    pub fn lost_most(&self) -> bool {
        2 * self.winds < self.rows
    }

    /// Whether this many values cannot be that something is wrong with the file.
    pub fn has_many_impossible(&self) -> bool {
        self.impossible as f64 > IMPOSSIBLE_SHARE * self.rows as f64
    }

    /// What of it matters to flights that stay below a height, m, if anything does.
    #[must_use]
    pub fn below(mut self, top_m: f64) -> Option<Cleaning> {
        self.gaps.retain(|gap| gap.from_m < top_m);
        self.matters().then_some(self)
    }

    /// Whether who flies in these winds should know.
    pub fn matters(&self) -> bool {
        !self.gaps.is_empty() || self.lost_most() || self.has_many_impossible()
    }
}

/// How far apart in height the winds of a sounding have to be to leave a gap, m: a model's levels are
/// no measurements, and leave none between them.
pub fn least_gap_m(sounding: &Sounding) -> f64 {
    match sounding.model {
        Some(_) => FORECAST_GAP_M,
        None => GAP_M,
    }
}

/// The gaps of more than `least_m` between heights that rise, m.
pub fn gaps(heights_m: &[f64], least_m: f64) -> Vec<Gap> {
    let pairs = heights_m
        .windows(2)
        .filter(|pair| pair[1] - pair[0] > least_m && pair[0] < ABOVE_BALLOONS_M);
    pairs
        .map(|pair| Gap {
            from_m: pair[0],
            to_m: pair[1],
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wind::sounding::{HeightSource, Level, Model, Tally, Wind};

    fn sounding(heights_m: impl Iterator<Item = f64>, tally: Tally) -> Sounding {
        let level = |altitude_m| Level {
            altitude_m,
            wind: Some(Wind::from_direction(5.0, 270.0)),
            ..Level::default()
        };
        Sounding {
            name: String::new(),
            time: None,
            position: None,
            model: None,
            wind_at_10_m: None,
            heights: HeightSource::Geometric,
            levels: heights_m.map(level).collect(),
            tally,
        }
    }

    fn of_rows(rows: usize, out_of_range: usize, descent: usize) -> Tally {
        Tally {
            rows,
            out_of_range,
            descent,
            ..Tally::default()
        }
    }

    fn heights() -> impl Iterator<Item = f64> {
        (0..60).map(|k| 500.0 * f64::from(k))
    }

    #[test]
    fn a_whole_sounding_is_not_worth_a_word() {
        for tally in [of_rows(60, 0, 0), of_rows(60, 1, 0), of_rows(200, 0, 140)] {
            let cleaning = Cleaning::of("f.csv", &sounding(heights(), tally));
            assert_eq!((cleaning.rows, cleaning.winds), (60, 60));
            assert!(!cleaning.matters());
        }
    }

    #[test]
    fn gaps_and_losses_matter() {
        let holed = heights().filter(|z| !(2_100.0..28_000.0).contains(z));
        let cleaning = Cleaning::of("f.csv", &sounding(holed, of_rows(8, 0, 0)));
        let gap = Gap {
            from_m: 2_000.0,
            to_m: 28_000.0,
        };
        assert_eq!(cleaning.gaps, [gap]);
        assert!(cleaning.matters() && !cleaning.lost_most());
        let lost = Cleaning::of("f.csv", &sounding(heights(), of_rows(121, 0, 0)));
        assert!(lost.matters() && lost.lost_most());
        // A model's levels may lie that far apart.
        let mut model = sounding((0..9).map(|k| 4_000.0 * f64::from(k)), of_rows(9, 0, 0));
        assert_eq!(Cleaning::of("f.buf", &model).gaps.len(), 8);
        model.model = Some(Model {
            name: String::new(),
            lead_s: None,
        });
        assert!(Cleaning::of("f.buf", &model).gaps.is_empty());
        let wrong = Cleaning::of("f.csv", &sounding(heights(), of_rows(60, 2, 0)));
        assert!(wrong.matters() && wrong.has_many_impossible());
    }
}

//! The regions that landings fill: ellipses, contours, and whether the two agree.
//!
//! Everything here is planar geometry in metres on a [`LocalFrame`](crate::geodesy::LocalFrame);
//! `on_ground` brings the result to longitude and latitude. Best centre the frame near the
//! landings, where its distances and areas are truest.

mod contour;
mod ellipse;
mod ground;
mod moments;
mod rings;

use contour::FEWEST;
pub use contour::{Contour, NoContour, contours};
use ellipse::circle_holding;
pub use ellipse::{Ellipse, radius_holding, squared_radius, squared_radius_predicted};
pub use ground::{GroundContour, GroundEllipse, GroundPolygon, polygons_on_ground};
pub use moments::{Moments, PrincipalAxes};
pub use rings::nest;

use crate::error::{Error, Result};
use crate::notes::Note;

/// The probabilities of the ellipses.
pub const ELLIPSE_PROBABILITIES: [f64; 4] = [0.5, 0.9, 0.95, 0.99];
/// The probability of the region that people are shown as the zone.
pub const OUTER_PROBABILITY: f64 = 0.9;

/// Whether that is the probability of a region, up to what writing it down may have done to it.
pub fn is_outer(probability: f64) -> bool {
    (probability - OUTER_PROBABILITY).abs() < 1e-9
}
/// The probabilities of the contours.
pub const CONTOUR_PROBABILITIES: [f64; 2] = [0.5, 0.9];

/// All regions of one set of draws.
#[derive(Debug, Clone, PartialEq)]
pub struct Regions {
    /// Mean and covariance of the draws.
    pub moments: Moments,
    /// Ellipses for [`ELLIPSE_PROBABILITIES`], smallest first.
    pub ellipses: Vec<Ellipse>,
    /// Contours for [`CONTOUR_PROBABILITIES`], smallest first; empty when there are none.
    pub contours: Vec<Contour>,
    /// Radius, metres, of the circle around the mean that holds half of the draws (circular error
    /// probable).
    pub half_circle_m: f64,
    /// What to know about these regions.
    pub notes: Vec<RegionNote>,
}

impl Regions {
    /// The regions of `draws`, metres on a local plane.
    ///
    /// # Errors
    ///
    /// When there are fewer than three draws, or one is not finite.
    pub fn of(draws: &[[f64; 2]]) -> Result<Regions> {
        Regions::build(draws).ok_or_else(|| none_of(draws))
    }

    /// The ellipse of [`OUTER_PROBABILITY`] alone.
    ///
    /// # Errors
    ///
    /// As [`Regions::of`].
    pub fn outer_of(draws: &[[f64; 2]]) -> Result<Ellipse> {
        Ellipse::of(draws, OUTER_PROBABILITY).ok_or_else(|| none_of(draws))
    }

    /// The ellipse of [`OUTER_PROBABILITY`].
    pub fn outer(&self) -> Option<&Ellipse> {
        let mut ellipses = self.ellipses.iter();
        ellipses.find(|e| is_outer(e.probability))
    }

    fn build(draws: &[[f64; 2]]) -> Option<Regions> {
        let moments = Moments::of(draws)?;
        let ellipses = ELLIPSE_PROBABILITIES
            .iter()
            .map(|p| Ellipse::of_moments(draws, &moments, *p))
            .collect::<Option<Vec<_>>>()?;
        let half_circle_m = circle_holding(0.5, draws, &moments)?;
        // Ellipses need less than a density does: without contours they are told alone.
        let (contours, mut notes) = match contours(draws, &CONTOUR_PROBABILITIES) {
            Ok(contours) => (contours, Vec::new()),
            Err(why) => (Vec::new(), vec![RegionNote::NoContour(why)]),
        };
        notes.extend(disagreements(&ellipses, &contours));
        Some(Regions {
            moments,
            ellipses,
            contours,
            half_circle_m,
            notes,
        })
    }
}

fn none_of(draws: &[[f64; 2]]) -> Error {
    Error::CannotDo {
        why: format!("no region can be drawn around {} landings", draws.len()),
        remedy: "expected at least 3 draws that land, at finite distances".into(),
    }
}

/// Something to know about a set of regions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RegionNote {
    /// There are no contours.
    NoContour(NoContour),
    /// The contour needs much less ground than the ellipse for the same share of the draws.
    Smaller {
        /// The probability of both, 0 to 1.
        probability: f64,
        /// Area of the contour over area of the ellipse.
        ratio: f64,
    },
    /// The landings fall into separate areas.
    Pieces {
        /// The probability of the contour, 0 to 1.
        probability: f64,
        /// How many pieces hold at least 2 % of the draws.
        count: usize,
    },
}

impl From<RegionNote> for Note {
    fn from(note: RegionNote) -> Note {
        match note {
            RegionNote::NoContour(NoContour::TooFew { draws }) => Note::TooFewForContours {
                draws,
                needed: FEWEST,
            },
            RegionNote::NoContour(NoContour::Flat) => Note::TooFlatForContours,
            RegionNote::NoContour(NoContour::NotFinite) => Note::NoContours,
            RegionNote::Smaller { probability, ratio } => {
                Note::ContourSmaller { probability, ratio }
            }
            RegionNote::Pieces { probability, count } => {
                Note::ContourInPieces { probability, count }
            }
        }
    }
}

/// A contour with less than this share of its ellipse's area is much smaller.
const AREA_RATIO: f64 = 0.7;

/// Where ellipses and contours disagree enough to matter: a contour has less
/// than 0.7 of the area of the ellipse for the same probability of at least 90 %; a contour is
/// in several pieces of at least 2 % of the draws each.
pub fn disagreements(ellipses: &[Ellipse], contours: &[Contour]) -> Vec<RegionNote> {
    let mut notes = Vec::new();
    for contour in contours {
        let probability = contour.probability;
        let same = |e: &&Ellipse| (e.probability - probability).abs() < 1e-9;
        if let Some(ellipse) = ellipses.iter().find(same) {
            let ratio = contour.area_m2() / ellipse.area_m2();
            if probability >= 0.9 && ratio < AREA_RATIO {
                notes.push(RegionNote::Smaller { probability, ratio });
            }
        }
        if contour.pieces > 1 {
            notes.push(RegionNote::Pieces {
                probability,
                count: contour.pieces,
            });
        }
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points of a sunflower: evenly dense in a disc.
    fn disc(n: usize, center: [f64; 2], radius: f64) -> Vec<[f64; 2]> {
        (0..n)
            .map(|i| {
                let r = radius * ((i as f64 + 0.5) / n as f64).sqrt();
                let (s, c) = (2.399_963 * i as f64).sin_cos();
                [center[0] + r * c, center[1] + r * s]
            })
            .collect()
    }

    #[test]
    fn two_clumps_are_two_pieces() {
        let mut draws = disc(1000, [0.0, 0.0], 1000.0);
        draws.extend(disc(1000, [20_000.0, 5000.0], 1000.0));
        let regions = Regions::of(&draws).unwrap();
        assert_eq!(regions.contours[1].pieces, 2);
        assert_eq!(regions.outer(), Some(&Regions::outer_of(&draws).unwrap()));
        let note = |wanted: fn(&RegionNote) -> bool| regions.notes.iter().any(wanted);
        assert!(note(|n| matches!(n, RegionNote::Pieces { count: 2, .. })));
        assert!(note(|n| matches!(n, RegionNote::Smaller { .. })));
        for contour in &regions.contours {
            assert!((contour.held - contour.probability).abs() < 0.02);
        }
    }

    #[test]
    fn a_ring_of_landings_leaves_a_hole() {
        let draws: Vec<[f64; 2]> = disc(4000, [0.0, 0.0], 5000.0)
            .into_iter()
            .filter(|p| p[0].hypot(p[1]) > 4000.0)
            .collect();
        let regions = Regions::of(&draws).unwrap();
        let polygons = &regions.contours[1].polygons;
        assert_eq!((polygons.0.len(), polygons.0[0].interiors().len()), (1, 1));
        assert!(
            regions
                .notes
                .iter()
                .any(|n| matches!(n, RegionNote::Smaller { .. }))
        );
    }

    #[test]
    fn few_draws_are_said() {
        let regions = Regions::of(&disc(10, [0.0; 2], 10.0)).unwrap();
        assert!(regions.contours.is_empty());
        assert_eq!(
            regions.notes[0],
            RegionNote::NoContour(NoContour::TooFew { draws: 10 })
        );
        assert!(Regions::of(&[]).is_err() && Regions::outer_of(&[]).is_err());
    }
}

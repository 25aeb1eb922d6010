//! The map's frame and the ground in it, drawn once for many zones.

use std::sync::{Arc, Mutex};

use maud::{Markup, PreEscaped};

use super::state::locked;
use crate::brief::map_ground;
use crate::error::Result;
use crate::geodesy::Position;
use crate::ground::region::Region;
use crate::plan::Plan;
use crate::report::pictures::map::layered;
use crate::report::pictures::map::sheet::Sheet;
use crate::units::UnitSystem;

/// A frame reaches at least and at most so far to each side, m.
const REACH_M: [f64; 2] = [4_000.0, 2_500_000.0];
/// Drawings kept.
const KEPT: usize = 6;

/// What a map shows: a square around a centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Its centre.
    pub center: Position,
    /// How far it reaches to each side, m.
    pub half_m: f64,
}

impl Frame {
    /// A frame from its text, "lat,lon,half".
    pub fn read(text: &str) -> Option<Frame> {
        let numbers: Vec<f64> = text
            .split(',')
            .map(|part| part.parse().ok())
            .collect::<Option<_>>()?;
        let [lat, lon, half_m] = numbers[..] else {
            return None;
        };
        let good = half_m.is_finite() && (REACH_M[0]..=REACH_M[1]).contains(&half_m);
        let center = Position::new(lat, lon).filter(|_| good)?;
        Some(Frame { center, half_m })
    }

    /// Its text.
    pub fn text(self) -> String {
        let Position { lat_deg, lon_deg } = self.center;
        format!("{lat_deg:.4},{lon_deg:.4},{:.0}", self.half_m)
    }

    /// The frame around places: the one there is while they lie well in it.
    pub fn around(places: &[Position], had: Option<Frame>) -> Option<Frame> {
        let (first, rest) = places.split_first()?;
        let reach = |from: Position| {
            let far = places.iter().map(|p| from.distance_m(*p));
            far.fold(0.0, f64::max)
        };
        if let Some(had) = had {
            let far = reach(had.center);
            if far < 0.97 * had.half_m && far > 0.3 * had.half_m {
                return Some(had);
            }
        }
        // Half way to the farthest place, from where the others are near enough.
        let farthest = rest
            .iter()
            .max_by(|a, b| first.distance_m(**a).total_cmp(&first.distance_m(**b)));
        let center = farthest.map_or(*first, |far| {
            first.destination(first.azimuth_deg(*far), 0.5 * first.distance_m(*far))
        });
        let half_m = (1.2 * reach(center)).clamp(REACH_M[0], REACH_M[1]);
        // As its text says it, so that it is found again.
        Frame::read(&Frame { center, half_m }.text())
    }

    /// The sheet it is drawn on.
    pub fn sheet(self) -> Sheet {
        layered::sheet(self.center, self.half_m)
    }
}

/// What a drawing was made of.
type Of = (String, UnitSystem);

/// The drawings that were made last.
#[derive(Default)]
pub struct Land(Mutex<Vec<(Of, Arc<String>)>>);

impl Land {
    /// The ground of a plan within a frame, as the inside of an SVG.
    ///
    /// # Errors
    ///
    /// A file of the ground cannot be read.
    pub fn of(&self, plan: &Plan, frame: Frame, units: UnitSystem) -> Result<Markup> {
        let of = (format!("{} {:?}", frame.text(), plan.ground), units);
        if let Some((_, drawn)) = locked(&self.0).iter().find(|(had, _)| *had == of) {
            return Ok(PreEscaped(drawn.to_string()));
        }
        let region = Region::around(frame.center, 1.42 * frame.half_m);
        let ground = map_ground(plan, region)?;
        let drawn = layered::below(&frame.sheet(), &ground, units);
        let mut kept = locked(&self.0);
        if kept.len() >= KEPT {
            kept.remove(0);
        }
        kept.push((of, Arc::new(drawn.0.clone())));
        Ok(drawn)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_holds_its_places_and_stays_while_it_does() {
        let site = Position::new(43.0, -108.4).unwrap();
        let places = [
            site,
            site.destination(120.0, 80_000.0),
            site.destination(100.0, 40_000.0),
        ];
        let frame = Frame::around(&places, None).unwrap();
        assert_eq!(Frame::read(&frame.text()), Some(frame));
        for place in places {
            assert!(frame.sheet().shows(frame.sheet().at(place), 0.0));
        }
        let moved = places.map(|p| p.destination(0.0, 3_000.0));
        assert_eq!(Frame::around(&moved, Some(frame)), Some(frame));
        let far = places.map(|p| p.destination(0.0, 90_000.0));
        assert_ne!(Frame::around(&far, Some(frame)), Some(frame));
        assert_eq!(Frame::around(&[], None), None);
        for wrong in [
            "",
            "1,2",
            "1,2,nan",
            "91,0,5000",
            "1,2,1e12",
            "1,2,3,4",
            "1,2,10",
        ] {
            assert_eq!(Frame::read(wrong), None, "{wrong}");
        }
    }
}

//! The map's frame and the ground in it, drawn once for many zones.

use std::sync::{Arc, Mutex};

use maud::{Markup, PreEscaped};

use super::air::{Stamped, stamped};
use super::state::locked;
use crate::brief::{Wait, WaitingGround, map_ground, waiting_region};
use crate::error::Result;
use crate::geodesy::Position;
use crate::ground::region::Region;
use crate::plan::Plan;
use crate::report::pictures::map::layered;
use crate::report::pictures::map::sheet::Sheet;
use crate::units::UnitSystem;
use crate::zone::Zone;
use crate::zone::aloft::Continuation;

/// A frame reaches at least and at most so far to each side, m.
const REACH_M: [f64; 2] = [4_000.0, 2_500_000.0];
/// Room around a zone's ground, so that another zone finds it read, m.
const ROOM_M: f64 = 30_000.0;
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
        // It comes from the page, and no reach beyond these makes a map.
        let good = half_m.is_finite() && (REACH_M[0]..=REACH_M[1]).contains(&half_m);
        let center = Position::new(lat, lon).filter(|_| good)?;
        Some(Frame { center, half_m })
    }

    /// Its text.
    pub fn text(self) -> String {
        let Position { lat_deg, lon_deg } = self.center;
        // To a unit of the nearest frame there is: frames that look alike are one drawing.
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
            // Neither at its edge nor lost in its middle.
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

/// What decides whether the ground is still that of a plan.
#[derive(Debug, Clone, PartialEq)]
struct OfPlan {
    ground: String,
    files: Vec<Stamped>,
}

impl OfPlan {
    fn new(plan: &Plan) -> OfPlan {
        OfPlan {
            ground: format!("{:?}", plan.ground),
            files: stamped(plan.ground.files()),
        }
    }
}

/// What a drawing was made of.
type Of = (String, OfPlan, UnitSystem);

/// The drawings that were made last, and the ground on which places to wait were looked for.
#[derive(Default)]
pub struct Land {
    drawings: Mutex<Vec<(Of, Arc<String>)>>,
    waiting: Mutex<Option<(OfPlan, Arc<WaitingGround>)>>,
}

impl Land {
    /// The ground of a plan within a frame, as the inside of an SVG.
    ///
    /// # Errors
    ///
    /// A file of the ground cannot be read.
    pub fn of(&self, plan: &Plan, frame: Frame, units: UnitSystem) -> Result<Markup> {
        let of = (frame.text(), OfPlan::new(plan), units);
        if let Some((_, drawn)) = locked(&self.drawings).iter().find(|(had, _)| *had == of) {
            return Ok(PreEscaped(drawn.to_string()));
        }
        // Drawn without the lock, so that nobody waits for it. The region reaches to the corners:
        // half a side times the root of two, and a little more.
        let region = Region::around(frame.center, 1.42 * frame.half_m);
        let ground = map_ground(plan, region)?;
        let drawn = layered::below(&frame.sheet(), &ground, units);
        let mut kept = locked(&self.drawings);
        if kept.len() >= KEPT {
            kept.remove(0);
        }
        kept.push((of, Arc::new(drawn.0.clone())));
        Ok(drawn)
    }

    /// Where to wait for the landing of a plan's zone. The ground is read with some room, and again
    /// only for a zone that leaves it.
    ///
    /// # Errors
    ///
    /// A file of the ground cannot be read.
    pub fn where_to_wait(&self, plan: &Plan, zone: &mut Zone, kept: &Continuation) -> Result<Wait> {
        let (of, region) = (OfPlan::new(plan), waiting_region(plan, zone, kept));
        // Cloned, or the lock would be held while places are looked for.
        let had = locked(&self.waiting).clone();
        let had = had.filter(|(had, ground)| *had == of && ground.region().holds_all_of(&region));
        if let Some((_, ground)) = had {
            return ground.where_to_wait(plan, zone, kept);
        }
        let wide = Region::around(region.plane.center(), region.reach_m + ROOM_M);
        let ground = Arc::new(WaitingGround::new(plan, wide)?);
        *locked(&self.waiting) = Some((of, ground.clone()));
        ground.where_to_wait(plan, zone, kept)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::where_to_wait;
    use crate::winds::Winds;
    use crate::zone::{Options, predict_and_keep};

    /// The ground is read once for zones beside each other, and anew when a file of it has changed.
    #[test]
    fn ground_to_wait_on_is_read_once_until_its_file_changes() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("roads.geojson");
        let road = |name: &str, east: f64| {
            let line = format!("[[{0}, 42.3], [{0}, 42.9]]", -108.1 + east);
            let text = format!(
                r#"{{"type": "Feature", "properties": {{"highway": "primary", "name": "{name}"}},
                "geometry": {{"type": "LineString", "coordinates": {line}}}}}"#
            );
            std::fs::write(&file, text).unwrap();
        };
        let mut plan = Plan::read("samples/high-plains/plan.toml").unwrap();
        plan.ground.roads = vec![file.clone()];
        let winds = Winds::of_plan(&plan).unwrap();
        let options = Options {
            draws: 100,
            ..Options::default()
        };
        let land = Land::default();
        let waits = |plan: &Plan| {
            let (mut made, kept) = predict_and_keep(plan, &winds, options, || ()).unwrap();
            let wait = land.where_to_wait(plan, &mut made.zone, &kept).unwrap();
            assert_eq!(
                wait.points[0].road,
                where_to_wait(plan, &mut made.zone, &kept).unwrap().points[0].road
            );
            wait.points[0].road.clone().unwrap().name
        };
        let ground = || locked(&land.waiting).as_ref().map(|(_, g)| Arc::as_ptr(g));
        road("Old Road", 0.0);
        assert_eq!(waits(&plan), "Old Road");
        let first = ground();
        plan.site.position = plan.site.position.destination(90.0, 2_000.0);
        waits(&plan);
        assert_eq!(ground(), first);
        road("A Longer Road", 0.01);
        assert_eq!(waits(&plan), "A Longer Road");
        assert_ne!(ground(), first);
    }

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

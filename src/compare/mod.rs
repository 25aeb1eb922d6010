//! Two zones of the same flight: did it move, and by how much of its own uncertainty.

mod published;

use serde::Serialize;

use crate::clock::seconds_between;
use crate::geodesy::LocalFrame;

pub use self::published::{PublishedEllipse, PublishedZone};

/// What became of a zone between an older and a newer prediction.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Comparison {
    /// The older prediction.
    pub old: PublishedZone,
    /// The newer one.
    pub new: PublishedZone,
    /// From the old centre to the new, m.
    pub moved_m: f64,
    /// Azimuth of that way where it begins, degrees clockwise from true north.
    pub moved_azimuth_deg: f64,
    /// The way as a share of the old 90 % ellipse's radius in its direction: 1 is its edge.
    pub share_of_old_radius: f64,
    /// Probability of the smallest new ellipse that holds the old centre; `None` when none does.
    pub old_center_within: Option<f64>,
    /// Area of the new 90 % ellipse over that of the old.
    pub area_ratio: f64,
    /// How much later the planned landing is, s.
    pub landing_later_s: f64,
    /// How much later the release is, s.
    pub release_later_s: f64,
    /// From the old release to the new, m.
    pub release_moved_m: f64,
}

impl Comparison {
    /// Compares an older zone with a newer one.
    pub fn of(old: PublishedZone, new: PublishedZone) -> Comparison {
        let (was, is) = (old.outer(), new.outer());
        let frame = LocalFrame::new(was.center);
        let moved = frame.to_plane(is.center);
        // On a plane around the new centre, where the new ellipses have their axes.
        let back = LocalFrame::new(is.center).to_plane(was.center);
        let holds = |e: &&PublishedEllipse| e.radii_at(back) <= 1.0;
        Comparison {
            moved_m: was.center.distance_m(is.center),
            moved_azimuth_deg: was.center.azimuth_deg(is.center),
            share_of_old_radius: was.radii_at(moved),
            old_center_within: new.ellipses.iter().find(holds).map(|e| e.probability),
            area_ratio: is.area_m2() / was.area_m2(),
            landing_later_s: seconds_between(old.landing.time, new.landing.time),
            release_later_s: seconds_between(old.release.time, new.release.time),
            release_moved_m: old.release.position.distance_m(new.release.position),
            old,
            new,
        }
    }

    /// Whether the old centre lies in the new 90 % ellipse.
    pub fn still_holds(&self) -> bool {
        // Probabilities are read from text, where 0.9 may have become its neighbour.
        self.old_center_within.is_some_and(|p| p <= 0.9 + 1e-9)
    }
}

#[cfg(test)]
mod tests {
    use super::published::tests::zone_at;
    use super::*;
    use crate::geodesy::Position;

    const HERE: Position = Position {
        lat_deg: 43.0,
        lon_deg: -108.0,
    };

    #[test]
    fn a_zone_has_not_moved_from_itself() {
        let same = Comparison::of(zone_at(HERE), zone_at(HERE));
        assert!(same.moved_m < 1e-6 && same.share_of_old_radius < 1e-6);
        assert_eq!(same.old_center_within, Some(0.5));
        assert!((same.area_ratio - 1.0).abs() < 1e-12);
    }

    /// Along the long axis the edge of the 90 % ellipse is its semi-major axis away, across it the
    /// semi-minor one.
    #[test]
    fn the_way_is_measured_in_radii_of_its_direction() {
        let of = |azimuth_deg, m| {
            let there = HERE.destination(azimuth_deg, m);
            Comparison::of(zone_at(HERE), zone_at(there))
        };
        let along = of(160.0, 20_000.0);
        assert!((along.share_of_old_radius - 1.0).abs() < 1e-3);
        let across = of(70.0, 10_000.0);
        assert!((across.share_of_old_radius - 1.0).abs() < 1e-3);
        assert!((across.moved_azimuth_deg - 70.0).abs() < 1e-6);
        assert!(!of(70.0, 10_300.0).still_holds());
        assert!(of(70.0, 9_700.0).still_holds());
        assert_eq!(of(70.0, 30_000.0).old_center_within, None);
    }
}

//! A zone as this program publishes it, read back from its GeoJSON.

use std::path::Path;

use geojson::{Feature, FeatureCollection, GeometryValue};
use jiff::Timestamp;
use serde::Serialize;
use serde_json::Value;

use crate::error::{Fault, Result};
use crate::files::read_text;
use crate::geodesy::Position;
use crate::spread::region::is_outer;
use crate::zone::Mark;

/// The file of a briefing's folder that holds the zone.
const OF_BRIEFING: &str = "zone.geojson";

/// What a file should be.
const OF_ZONE: &str = "the GeoJSON of a zone, as windfall zone --out FILE.geojson writes it";

/// A zone as published.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PublishedZone {
    /// The file, as the user named it.
    pub file: String,
    /// The planned release.
    pub release: Mark,
    /// The planned landing.
    pub landing: Mark,
    /// The ellipses, smallest probability first; one of 90 % is among them.
    pub ellipses: Vec<PublishedEllipse>,
}

/// An ellipse as published.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PublishedEllipse {
    /// The share of landings it holds.
    pub probability: f64,
    /// Its centre.
    pub center: Position,
    /// Half of its long axis, m.
    pub semi_major_m: f64,
    /// Half of its short axis, m.
    pub semi_minor_m: f64,
    /// Azimuth of the long axis, degrees clockwise from true north.
    pub azimuth_deg: f64,
}

impl PublishedEllipse {
    /// How far a point lies from the centre as a share of the radius in its direction: 1 is the
    /// edge. The point is east and north of the centre, m.
    pub fn radii_at(&self, [east_m, north_m]: [f64; 2]) -> f64 {
        let (sin, cos) = self.azimuth_deg.to_radians().sin_cos();
        let along = east_m * sin + north_m * cos;
        let across = east_m * cos - north_m * sin;
        (along / self.semi_major_m).hypot(across / self.semi_minor_m)
    }

    /// Its area on the plane, m2.
    pub fn area_m2(&self) -> f64 {
        std::f64::consts::PI * self.semi_major_m * self.semi_minor_m
    }

    /// Its edge.
    pub fn ring(&self) -> Vec<Position> {
        let point = |degree: u32| {
            let (sin, cos) = (5.0 * f64::from(degree)).to_radians().sin_cos();
            let (along, across) = (self.semi_major_m * cos, self.semi_minor_m * sin);
            // On a plane around the centre azimuths and distances from it are those on the ground.
            let azimuth_deg = self.azimuth_deg + across.atan2(along).to_degrees();
            self.center.destination(azimuth_deg, along.hypot(across))
        };
        (0..72).map(point).collect()
    }

    fn is_outer(&self) -> bool {
        is_outer(self.probability)
    }
}

impl PublishedZone {
    /// Reads a zone from the GeoJSON that `zone` and `brief` write, or from a briefing's folder.
    ///
    /// # Errors
    ///
    /// A file that cannot be read, or that is not such a zone.
    pub fn read(path: &Path) -> Result<PublishedZone> {
        let path = match path.is_dir() {
            true => path.join(OF_BRIEFING),
            false => path.to_owned(),
        };
        let text = read_text(&path, OF_ZONE)?;
        PublishedZone::of_text(&path.display().to_string(), &text)
    }

    /// Reads a zone from text.
    ///
    /// # Errors
    ///
    /// Text that is not such a zone.
    pub fn of_text(file: &str, text: &str) -> Result<PublishedZone> {
        let collection: FeatureCollection =
            serde_json::from_str(text).map_err(|wrong| Fault::of_json(file, &wrong, OF_ZONE))?;
        let marks = |kind| mark(file, &collection, kind);
        let mut ellipses: Vec<PublishedEllipse> = of_kind(&collection, "ellipse")
            .map(|feature| ellipse(feature).ok_or_else(|| bad(file, "ellipse")))
            .collect::<std::result::Result<_, Fault>>()?;
        // The first that holds a point is then the smallest.
        ellipses.sort_by(|a, b| a.probability.total_cmp(&b.probability));
        if !ellipses.iter().any(PublishedEllipse::is_outer) {
            let found = "no ellipse of 90 %";
            let expected =
                "a zone with its ellipses; none is given where too many flights leave the winds";
            return Err(Fault::new(file, found, expected).into());
        }
        Ok(PublishedZone {
            file: file.to_owned(),
            release: marks("release")?,
            landing: marks("landing")?,
            ellipses,
        })
    }

    /// The ellipse of 90 %: reading makes sure that there is one.
    pub fn outer(&self) -> &PublishedEllipse {
        let outer = self.ellipses.iter().find(|e| e.is_outer());
        outer.unwrap_or(&self.ellipses[0])
    }
}

fn bad(file: &str, kind: &str) -> Fault {
    let expected = format!("Features of the kind {kind} with the properties that windfall writes");
    Fault::new(
        file,
        format!("a {kind} that is incomplete or out of range"),
        expected,
    )
}

fn of_kind<'a>(
    collection: &'a FeatureCollection,
    kind: &'a str,
) -> impl Iterator<Item = &'a Feature> {
    let is = move |f: &&Feature| f.property("kind").and_then(Value::as_str) == Some(kind);
    collection.features.iter().filter(is)
}

fn mark(file: &str, collection: &FeatureCollection, kind: &str) -> Result<Mark> {
    let feature = of_kind(collection, kind).next();
    let mark = feature.and_then(|feature| {
        let time = feature.property("time")?.as_str()?;
        let GeometryValue::Point { coordinates } = &feature.geometry.as_ref()?.value else {
            return None;
        };
        let [lon, lat, altitude_m] = coordinates.as_slice().try_into().ok()?;
        Some(Mark {
            position: Position::new(lat, lon)?,
            altitude_m,
            time: time.parse::<Timestamp>().ok()?,
        })
    });
    mark.ok_or_else(|| bad(file, kind).into())
}

fn ellipse(feature: &Feature) -> Option<PublishedEllipse> {
    let number = |key| feature.property(key).and_then(Value::as_f64);
    let length = |key| number(key).filter(|m| m.is_finite() && *m > 0.0);
    let center = feature.property("center")?.as_array()?;
    let [lon, lat] = center.as_slice() else {
        return None;
    };
    Some(PublishedEllipse {
        probability: number("probability").filter(|p| (0.0..=1.0).contains(p))?,
        center: Position::new(lat.as_f64()?, lon.as_f64()?)?,
        semi_major_m: length("semi_major_m")?,
        semi_minor_m: length("semi_minor_m")?,
        azimuth_deg: number("azimuth_deg").filter(|a| a.is_finite())?,
    })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub(crate) fn zone_at(center: Position) -> PublishedZone {
        let mark = Mark {
            position: center,
            altitude_m: 1_600.0,
            time: Timestamp::UNIX_EPOCH,
        };
        let ellipse = |probability, size: f64| PublishedEllipse {
            probability,
            center,
            semi_major_m: size * 20_000.0,
            semi_minor_m: size * 10_000.0,
            azimuth_deg: 160.0,
        };
        PublishedZone {
            file: "zone.geojson".into(),
            release: mark,
            landing: mark,
            ellipses: vec![ellipse(0.5, 0.5), ellipse(0.9, 1.0), ellipse(0.99, 1.5)],
        }
    }

    #[test]
    fn what_is_no_zone_is_refused_with_its_file() {
        for wrong in [
            "",
            "{}",
            "[1",
            r#"{"type": "FeatureCollection", "features": []}"#,
        ] {
            let error = PublishedZone::of_text("old.geojson", wrong).unwrap_err();
            let said = error.to_string();
            assert!(
                said.starts_with("old.geojson") && said.contains(": found "),
                "{said}"
            );
        }
    }
}

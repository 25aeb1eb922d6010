//! A briefing's points and lines as a table for other programs (CSV, RFC 4180).

use geo::Coord;
use jiff::Timestamp;

use super::coordinates::{areas, clock, lon_lat, metres, track_lines};
use super::kml::marks;
use crate::brief::Brief;
use crate::error::{Error, Result};
use crate::geodesy::Position;
use crate::report::{plain, words};

/// One row a point. `part` and `point` number the lines of a thing and the points of a line.
const HEADER: [&str; 9] = [
    "kind",
    "name",
    "probability",
    "part",
    "point",
    "lat_deg",
    "lon_deg",
    "altitude_m",
    "time_utc",
];

/// The table: degrees on WGS84, altitudes above mean sea level, times in UTC.
///
/// # Errors
///
/// None that memory does not give.
pub fn text(brief: &Brief) -> Result<String> {
    let mut table = Table(csv::Writer::from_writer(Vec::new()));
    table.0.write_record(HEADER).map_err(failed)?;
    for (name, mark) in marks(brief) {
        let altitude_m = Some(metres(mark.altitude_m));
        let at = lon_lat(mark.position);
        table.row([name, "", ""], [0, 0], at, altitude_m, Some(mark.time))?;
    }
    for waiting in &brief.wait.points {
        let name = words::waiting_name(waiting);
        let name = plain::cell(&name);
        let at = lon_lat(waiting.position);
        table.row(["waiting", &name, ""], [0, 0], at, None, None)?;
    }
    for (part, piece) in track_lines(&brief.zone.track).iter().enumerate() {
        for (i, p) in piece.iter().enumerate() {
            let altitude_m = Some(p.altitude_m);
            table.row(["track", "", ""], [part, i], p.at, altitude_m, Some(p.time))?;
        }
    }
    for ellipse in &brief.zone.ellipses {
        let p = ellipse.shape.probability;
        table.region("ellipse", p, [[ellipse.ring.as_slice()]])?;
    }
    for contour in &brief.zone.contours {
        let polygons = contour.polygons.iter().map(|polygon| {
            std::iter::once(&polygon.exterior)
                .chain(&polygon.holes)
                .map(Vec::as_slice)
        });
        table.region("contour", contour.probability, polygons)?;
    }
    table.finish()
}

struct Table(csv::Writer<Vec<u8>>);

impl Table {
    fn row(
        &mut self,
        [kind, name, probability]: [&str; 3],
        [part, point]: [usize; 2],
        at: Coord,
        altitude_m: Option<f64>,
        time: Option<Timestamp>,
    ) -> Result<()> {
        let altitude = altitude_m.map_or_else(String::new, |m| m.to_string());
        let time = time.map_or_else(String::new, clock);
        let [part, point] = [part, point].map(|i| i.to_string());
        let [lat, lon] = [at.y, at.x].map(|v| v.to_string());
        let fields: [&str; 9] = [
            kind,
            name,
            probability,
            &part,
            &point,
            &lat,
            &lon,
            &altitude,
            &time,
        ];
        self.0.write_record(fields).map_err(failed)
    }

    fn region<'a, P>(
        &mut self,
        kind: &str,
        probability: f64,
        polygons: impl IntoIterator<Item = P>,
    ) -> Result<()>
    where
        P: IntoIterator<Item = &'a [Position]>,
    {
        let probability = probability.to_string();
        // As GeoJSON has them, cut and rounded, so that both files draw the same lines.
        let polygons = areas(polygons);
        let rings = polygons
            .iter()
            .flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()));
        for (part, ring) in rings.enumerate() {
            // The last corner is the first once more, as it is in GeoJSON.
            for (i, corner) in ring.0.iter().enumerate() {
                self.row([kind, "", &probability], [part, i], *corner, None, None)?;
            }
        }
        Ok(())
    }

    fn finish(self) -> Result<String> {
        let bytes = self
            .0
            .into_inner()
            .map_err(|e| failed(e.into_error().into()))?;
        Ok(String::from_utf8(bytes).unwrap_or_default())
    }
}

pub(super) fn failed(cause: csv::Error) -> Error {
    Error::CannotDo {
        why: format!("the table cannot be written: {cause}"),
        remedy: "expected more memory".into(),
    }
}

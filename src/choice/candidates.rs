//! Sites to choose from: points of a file, or a grid over its polygons.

mod heights;
mod shapes;
mod table;

use std::collections::{HashMap, HashSet};
use std::path::Path;

use crate::error::{Error, Fault, Result};
use crate::files::read_bytes;
use crate::geodesy::Position;
use crate::ground::terrain::Terrain;
use crate::notes::{Assumption, Note};
use crate::plan::{Plan, Site};
use crate::zone::fits;
use crate::zone::terrain::{OF_FORECAST, height_at};

/// A site to choose.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// What it is called.
    pub name: String,
    /// Where it is.
    pub position: Position,
    /// Its elevation above mean sea level, m, if given.
    pub elevation_m: Option<f64>,
}

impl Candidate {
    /// A place of which nothing else is known.
    pub fn at(position: Position) -> Candidate {
        Candidate {
            name: String::new(),
            position,
            elevation_m: None,
        }
    }

    /// How high it lies, m above mean sea level, and what is assumed of that: as given, else as a file of
    /// heights says; at the plan's own site as the plan says; else as the forecast's own ground, else as the
    /// plan's site.
    fn elevation(
        &self,
        plan: &Plan,
        terrain: Option<&Terrain>,
    ) -> (Option<f64>, Option<Assumption>) {
        let ground = height_at(terrain, self.position);
        let of_file = ground.as_ref().filter(|g| g.source != OF_FORECAST);
        let known = self.elevation_m.or(of_file.map(|g| g.height_m));
        // What the plan says of the same place comes before the forecast's ground, which is smooth: in a valley
        // some hundred metres above it.
        if let known @ Some(_) = known.or_else(|| self.given_m(plan)) {
            return (known, None);
        }
        let planned_m = plan.site.elevation_m;
        match ground {
            Some(ground) => (Some(ground.height_m), Some(Assumption::ElevationOfForecast)),
            None => (planned_m, planned_m.map(|_| Assumption::ElevationAsPlanned)),
        }
    }

    /// The elevation that somebody gave, of the candidate or of the plan's own site, m above mean sea level.
    fn given_m(&self, plan: &Plan) -> Option<f64> {
        let is_site = self.position.distance_m(plan.site.position) <= AT_SITE_M;
        let planned_m = plan.site.elevation_m.filter(|_| is_site);
        self.elevation_m.or(planned_m)
    }

    /// What does not fit of it: of its elevation by its name, as somebody gave it or, where nothing tells it, the
    /// altitude that is flown from, if that is known.
    ///
    /// # Errors
    ///
    /// When the airports inside the program are damaged.
    pub fn unfit(
        &self,
        plan: &Plan,
        terrain: Option<&Terrain>,
        flown_m: Option<f64>,
    ) -> Result<Vec<Note>> {
        let mut given = plan.clone();
        given.site.position = self.position;
        given.site.elevation_m = self.given_m(plan);
        let notes = fits::site(&given, terrain, flown_m)?.into_iter();
        Ok(notes
            .map(|note| match note {
                Note::ElevationOffAirport { .. } => Note::OfSite {
                    site: self.name.clone(),
                    note: Box::new(note),
                },
                // Of clocks, which all share, the worst is told.
                of_all => of_all,
            })
            .collect())
    }

    /// What is assumed of it, by its name.
    pub fn by_name(&self, assumption: Assumption) -> Assumption {
        Assumption::OfSite {
            site: self.name.clone(),
            assumption: Box::new(assumption),
        }
    }

    /// A plan flown from here.
    pub fn plan(&self, plan: &Plan, terrain: Option<&Terrain>) -> Plan {
        Plan {
            site: Site {
                position: self.position,
                elevation_m: self.elevation(plan, terrain).0,
                ..plan.site
            },
            ..plan.clone()
        }
    }
}

/// This close to the plan's site a candidate is that site, m.
const AT_SITE_M: f64 = 500.0;

/// What is assumed of the heights of candidates, each above its terrain; once for all of them.
pub fn assumed_of_heights<'a>(
    plan: &Plan,
    candidates: impl IntoIterator<Item = (&'a Candidate, Option<&'a Terrain>)>,
) -> Vec<Assumption> {
    let mut said: Vec<Assumption> = Vec::new();
    for (candidate, terrain) in candidates {
        let assumed = candidate.elevation(plan, terrain).1;
        said.extend(assumed.filter(|assumed| !said.contains(assumed)));
    }
    said
}

/// The most candidates that are compared.
const MOST: usize = 10_000;

/// Reads candidates: a CSV table with `lat`, `lon` and, if wanted, `name` and `elevation` (with its
/// unit), or GeoJSON with points (`name` and `elevation` among their properties) or polygons, over which
/// a grid is laid with `spacing_m` between its points. No two have the same name.
///
/// # Errors
///
/// A file that cannot be read, a row without a place on the earth, no candidate at all, too many.
pub fn read(path: &Path, spacing_m: f64) -> Result<Vec<Candidate>> {
    let bytes = read_bytes(path)?;
    let name = path.display().to_string();
    // Spreadsheets put a byte-order mark before their CSV.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    let found = match bytes.iter().find(|b| !b.is_ascii_whitespace()) {
        // By what it begins with: a table has no brace there, and endings are anything.
        Some(b'{') => shapes::read(&name, bytes, spacing_m)?,
        None => {
            return Err(Fault::new(
                name,
                "an empty file",
                "CSV with columns lat and lon, or GeoJSON",
            )
            .into());
        }
        _ => table::read(&name, bytes)?,
    };
    match found.len() {
        0 => Err(Fault::new(name, "no candidate", "at least one point or polygon").into()),
        n if n > MOST => Err(too_many(name, n)),
        _ => Ok(told_apart(found)),
    }
}

fn too_many(name: String, count: usize) -> Error {
    let expected = format!("at most {MOST}: fewer points or polygons, or a larger --spacing");
    Fault::new(name, format!("{count} candidates"), expected).into()
}

/// Names that are told apart: of those that come again, the second has a "(2)" behind it.
fn told_apart(mut candidates: Vec<Candidate>) -> Vec<Candidate> {
    let mut taken: HashSet<String> = candidates.iter().map(|c| c.name.clone()).collect();
    let mut times: HashMap<String, usize> = HashMap::new();
    for candidate in &mut candidates {
        let name = candidate.name.clone();
        let time = times.entry(name.clone()).or_default();
        *time += 1;
        while *time > 1 {
            candidate.name = format!("{name} ({time})");
            // A file may have such a name of its own.
            if taken.insert(candidate.name.clone()) {
                break;
            }
            *time += 1;
        }
    }
    candidates
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::lattice::{Axis, Lattice, Plane};
    use crate::ground::terrain::{Heights, Raster};

    fn read_text(name: &str, text: &str, spacing_m: f64) -> Result<Vec<Candidate>> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        read(&path, spacing_m)
    }

    #[test]
    fn tables_give_names_places_and_elevations() {
        let text = "# ours\nSite,Lat,Lon,Elevation\nschool field,39.7,-8.8,312 ft\n,39.8,-8.9,\n";
        let found = read_text("sites.csv", text, 1.0).unwrap();
        assert_eq!(found[0].name, "school field");
        assert!((found[0].elevation_m.unwrap() - 95.0976).abs() < 1e-9);
        assert_eq!(found[0].position, Position::new(39.7, -8.8).unwrap());
        assert_eq!(
            (found[1].name.as_str(), found[1].elevation_m),
            ("site 2", None)
        );
    }

    /// As clubs number their fields; remarks stand between them.
    #[test]
    fn a_name_may_begin_with_the_sign_of_remarks() {
        let text = "# ours\n#2026 list\nname,lat,lon\n#1 North field,39,-8\n# wet, in winter\n#2,39.1,-8\n#,,\n# Old field,39,-8\n#Quarry,39,-8\n";
        let found = read_text("sites.csv", text, 1.0).unwrap();
        let names: Vec<&str> = found.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["#1 North field", "#2"]);
    }

    #[test]
    fn no_two_candidates_have_the_same_name() {
        let text = "name,lat,lon\nfield,39,-8\nfield,39.1,-8\nfield (2),39.2,-8\nfield,39.3,-8\n";
        let found = read_text("sites.csv", text, 1.0).unwrap();
        let names: Vec<&str> = found.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["field", "field (3)", "field (2)", "field (4)"]);
    }

    #[test]
    fn a_heading_may_give_the_unit_of_elevations() {
        for (heading, cell, elevation_m) in [
            ("elevation_m", "1640", 1_640.0),
            ("alt_ft", "1000", 304.8),
            ("elev_m", "1000 ft", 304.8),
            ("Elevation (ft)", "1000", 304.8),
            ("elevation [m]", "120", 120.0),
            ("Altitude", "120 m", 120.0),
        ] {
            let text = format!("lat,lon,{heading}\n39,-8,{cell}\n");
            let found = read_text("sites.csv", &text, 1.0).unwrap();
            let told_m = found[0].elevation_m.unwrap();
            assert!((told_m - elevation_m).abs() < 1e-9, "{heading}: {told_m}");
        }
    }

    #[test]
    fn the_plans_own_site_is_as_high_as_the_plan_says() {
        let plan = Plan::read("samples/ribatejo/plan.toml").unwrap();
        let around = Lattice {
            plane: Plane::LatLon,
            x: Axis {
                first: -9.5,
                step: 1.0,
                count: 2,
            },
            y: Axis {
                first: 39.0,
                step: 1.0,
                count: 2,
            },
        };
        let raster = |source: &str| {
            let heights = Heights::Fine(vec![400.0; 4]);
            Terrain::of(vec![Raster::new(source.into(), &around, heights).unwrap()])
        };
        let (forecast, file) = (raster(OF_FORECAST), raster("heights.asc"));
        let at = |lat_deg, lon_deg| Candidate::at(Position::new(lat_deg, lon_deg).unwrap());
        let site = plan.site.position;
        let (here, away) = (at(site.lat_deg, site.lon_deg), at(39.5, -9.0));
        let height_m =
            |c: &Candidate, t: Option<&Terrain>| c.plan(&plan, t).site.elevation_m.unwrap();
        assert_eq!(height_m(&here, Some(&forecast)), 96.0);
        assert_eq!(height_m(&away, Some(&forecast)), 400.0);
        assert_eq!(height_m(&here, Some(&file)), 400.0);
        assert_eq!(height_m(&away, None), 96.0);
        let said = |c: &Candidate, t| assumed_of_heights(&plan, [(c, t), (c, t)]);
        assert_eq!(said(&here, Some(&forecast)), []);
        assert_eq!(
            said(&away, Some(&forecast)),
            [Assumption::ElevationOfForecast]
        );
        assert_eq!(said(&away, Some(&file)), []);
        assert_eq!(said(&away, None), [Assumption::ElevationAsPlanned]);
    }

    #[test]
    fn candidates_beside_one_airport_are_each_told_by_name_where_their_elevation_is_given() {
        let plan = Plan::read("samples/ribatejo/plan.toml").unwrap();
        // Beside the airport of Madrid, at about 600 m.
        let beside = Candidate::at(Position::new(40.45, -3.55).unwrap());
        assert_eq!(beside.unfit(&plan, None, None).unwrap(), []);
        for name in ["quarry", "meadow"] {
            let given = Candidate {
                name: name.into(),
                elevation_m: Some(100.0),
                ..beside.clone()
            };
            let told = given.unfit(&plan, None, None).unwrap();
            assert!(
                matches!(&told[..], [Note::OfSite { site, note }]
                    if site == name && matches!(**note, Note::ElevationOffAirport { .. })),
                "{told:?}"
            );
        }
    }

    #[test]
    fn what_is_wrong_with_a_table_is_told_with_its_line() {
        for (text, words) in [
            ("lat,lon\n39,-8\n95,-8\n", "line 3"),
            ("lat,lon\n39,west\n", "line 2"),
            ("lat,lon,elevation\n39,-8,120\n", "elevation"),
            (
                "lat,lon,elevation\n39,-8,12000 m\n",
                "line 2, elevation: found \"12000 m\"",
            ),
            ("# ours\nnorth,east\n39,-8\n", "line 2: found columns north"),
            (
                "name,lat,lon\n#1 north field,39,-8,now\n",
                "line 2: found 4 fields",
            ),
            ("lat,lon,elevation (ft)\n39,-8,high\n", "line 2, elevation"),
            ("lat,lon\n39\n", "line 2"),
            ("lat,lon\n", "no candidate"),
            ("", "lat and lon"),
            (" \n", "an empty file"),
        ] {
            let message = read_text("sites.csv", text, 1.0).unwrap_err().to_string();
            assert!(message.contains(words), "{text:?}: {message}");
        }
    }

    #[test]
    fn points_and_polygons_of_geojson_are_taken() {
        let points = r#"{"type":"FeatureCollection","features":[
            {"type":"Feature","properties":{"name":"quarry"},"geometry":{"type":"Point","coordinates":[-8.8,39.7]}},
            {"type":"Feature","properties":null,"geometry":{"type":"MultiPoint","coordinates":[[-8.9,39.8],[-9,40]]}}]}"#;
        let found = read_text("p.geojson", points, 1.0).unwrap();
        let names: Vec<&str> = found.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["quarry", "2", "3"]);
        // 4 by 4 km across the antimeridian with a hole in the middle: 5 x 5 points less 1.
        let square = r#"{"type":"Polygon","coordinates":[
            [[179.98,-0.02],[-179.98,-0.02],[-179.98,0.02],[179.98,0.02],[179.98,-0.02]],
            [[179.999,-0.001],[-179.999,-0.001],[-179.999,0.001],[179.999,0.001],[179.999,-0.001]]]}"#;
        let found = read_text("a.geojson", square, 1_000.0).unwrap();
        assert_eq!(found.len(), 24);
        assert!(found.iter().all(|c| c.position.lon_deg.abs() > 179.97));
        let apart = found[0].position.distance_m(found[1].position);
        assert!((apart - 1_000.0).abs() < 10.0, "{apart}");
    }

    /// What stands before the features may have brackets of its own; programs write names in capitals or as
    /// numbers.
    #[test]
    fn names_of_geojson_are_found_however_they_are_written() {
        let point = r#""geometry":{"type":"Point","coordinates":[-8.8,39.7]}"#;
        let text = format!(
            r#"{{"type":"FeatureCollection","bbox":[-9,39,-8,40],"features":[
            {{"type":"Feature","properties":{{"NAME":"quarry"}},{point}}},
            {{"type":"Feature","properties":{{"Name":7}},{point}}},
            {{"type":"Feature","properties":{{"NAME":"A 12","name":"meadow"}},{point}}},
            {{"type":"Feature","properties":{{"NAME":" ","Name":null,"nAme":"hill"}},{point}}}]}}"#
        );
        let found = read_text("p.geojson", &text, 1.0).unwrap();
        let names: Vec<&str> = found.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["quarry", "7", "meadow", "hill"]);
    }

    #[test]
    fn features_may_have_elevations() {
        let of = |property: &str| {
            let text = format!(
                r#"{{"type":"Feature","properties":{{{property}}},"geometry":{{"type":"Point","coordinates":[-8.8,39.7]}}}}"#
            );
            read_text("p.geojson", &text, 1.0)
        };
        for (property, elevation_m) in [
            (r#""elevation":"120 m""#, Some(120.0)),
            (r#""elevation":120,"elevation_ft":1000"#, Some(304.8)),
            (r#""elevation_m":120"#, Some(120.0)),
            (r#""elevation_m":null"#, None),
            (r#""elevation_m":"","elevation":"120 m""#, Some(120.0)),
            // As maps have them, of buildings, too: a number without a unit is not used.
            (r#""elevation":120"#, None),
            (r#""height":true"#, None),
            (r#""alt_name":"quarry""#, None),
        ] {
            assert_eq!(
                of(property).unwrap()[0].elevation_m,
                elevation_m,
                "{property}"
            );
        }
        for (property, words) in [
            (r#""elevation":"high""#, "elevation: found"),
            (r#""elevation_m":"high""#, "elevation_m: found"),
        ] {
            let message = of(property).unwrap_err().to_string();
            assert!(message.contains(words), "{property}: {message}");
        }
    }

    /// A field without a name goes on counting, and one that is smaller than the spacing, or has no point of
    /// the grid in it, still is a field.
    #[test]
    fn every_polygon_is_a_candidate_with_a_name_of_its_own() {
        let square = |lon: f64| {
            let (w, e) = (lon, lon + 0.01);
            format!("[[[{w},40],[{e},40],[{e},40.01],[{w},40.01],[{w},40]]]")
        };
        // Its box has its middle outside of it.
        let bent =
            "[[[2,40],[2.01,40],[2.01,40.001],[2.001,40.001],[2.001,40.01],[2,40.01],[2,40]]]";
        let polygons = [square(0.0), square(1.0), bent.to_owned()];
        let features = polygons.map(|rings| {
            format!(r#"{{"type":"Feature","properties":null,"geometry":{{"type":"Polygon","coordinates":{rings}}}}}"#)
        });
        let all = format!(
            r#"{{"type":"FeatureCollection","features":[{}]}}"#,
            features.join(",")
        );
        let found = read_text("p.geojson", &all, 5_000.0).unwrap();
        let names: Vec<&str> = found.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["1", "2", "3"]);
        let bent = found[2].position;
        assert!(bent.lon_deg < 2.001 || bent.lat_deg < 40.001, "{bent:?}");
    }

    #[test]
    fn what_is_wrong_with_geojson_is_told() {
        let empty = r#"{"type":"FeatureCollection","features":[]}"#;
        let line = r#"{"type":"LineString","coordinates":[[0,0],[1,1]]}"#;
        let metres = r#"{"type":"Point","coordinates":[512000,4400000]}"#;
        let large = r#"{"type":"Polygon","coordinates":[[[0,0],[9,0],[9,9],[0,0]]]}"#;
        for (text, words) in [
            (empty, "no candidate"),
            (line, "points or polygons"),
            (metres, "512000"),
            (large, "--spacing"),
            ("{", "GeoJSON"),
        ] {
            let message = read_text("x.geojson", text, 100.0).unwrap_err().to_string();
            assert!(message.contains(words), "{text}: {message}");
        }
    }
}

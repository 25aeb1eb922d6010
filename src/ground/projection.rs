//! From a file's own coordinates to longitude and latitude on WGS84.

use proj::Proj;

use crate::error::Fault;

/// What a file says its coordinates are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reference {
    /// A code of the EPSG registry.
    Epsg(u32),
    /// Well-known text, as in a .prj file.
    Wkt(String),
}

/// Degrees on WGS84, for PROJ.
const DEGREES: &str = "+proj=longlat +datum=WGS84 +no_defs +type=crs";
/// What to do about a projection that cannot be read.
const REMEDY: &str = "longitude and latitude on WGS84 (EPSG:4326), or a projection on a datum that \
                      PROJ can shift without grids; ogr2ogr or gdalwarp with -t_srs EPSG:4326 makes it";

/// The definition of an EPSG code for PROJ; its own database is not on every machine.
///
/// # Errors
///
/// An unknown code, or one whose datum needs a grid of shifts that is not here.
pub fn definition(file: &str, code: u32) -> Result<&'static str, Fault> {
    let known = u16::try_from(code)
        .ok()
        .and_then(crs_definitions::from_code);
    let Some(known) = known else {
        return Err(Fault::new(
            file,
            format!("the projection EPSG:{code}"),
            REMEDY,
        ));
    };
    let text = known.proj4;
    // Datums that PROJ turns into WGS84 by grids only: without them places would be off by 100 m.
    let grids = text.contains("+nadgrids") && !text.contains("+nadgrids=@null");
    let needs_grids = ["+datum=NAD27", "+datum=nzgd49"];
    let shifted = [
        "+towgs84",
        "+datum=",
        "+ellps=GRS80",
        "+ellps=WGS84",
        "@null",
    ];
    if grids
        || needs_grids.iter().any(|word| text.contains(word))
        || !shifted.iter().any(|word| text.contains(word))
        || text.contains("+proj=geocent")
    {
        let found = format!("EPSG:{code}, whose datum cannot be shifted to WGS84");
        return Err(Fault::new(file, found, REMEDY));
    }
    Ok(text)
}

/// Whether a definition's datum is WGS84 to about a metre.
pub fn is_modern(definition: &str) -> bool {
    let moved = definition.contains("+towgs84") && !definition.contains("+towgs84=0,0,0");
    // The map of the web is a sphere by definition; its latitudes are those of WGS84.
    let alike = ["WGS84", "NAD83", "GRS80", "+a=6378137 +b=6378137"];
    !moved && alike.iter().any(|d| definition.contains(d))
}

/// Whether the coordinates are degrees on a datum that is WGS84 to about a metre.
pub fn is_degrees(definition: &str) -> bool {
    definition.contains("+proj=longlat") && is_modern(definition)
}

/// A way from a file's coordinates to degrees. Holds a PROJ handle: not to be shared by threads.
pub struct ToDegrees {
    proj: Option<Proj>,
}

impl ToDegrees {
    /// For coordinates that are longitude and latitude already.
    pub fn same() -> ToDegrees {
        ToDegrees { proj: None }
    }

    /// For what a file says its coordinates are.
    ///
    /// # Errors
    ///
    /// An unknown projection, or one on a datum that cannot be shifted.
    pub fn new(file: &str, reference: &Reference) -> Result<ToDegrees, Fault> {
        let crs = match reference {
            Reference::Epsg(code) => {
                let text = definition(file, *code)?;
                if is_degrees(text) {
                    return Ok(ToDegrees::same());
                }
                format!("{text} +type=crs")
            }
            Reference::Wkt(wkt) => {
                let wkt = wkt.trim();
                let modern = modern_datum(wkt);
                if modern && is_unprojected(wkt) {
                    return Ok(ToDegrees::same());
                }
                if !modern && !wkt.contains("TOWGS84[") {
                    let found = format!("a projection on another datum: {}", start_of(wkt));
                    return Err(Fault::new(file, found, REMEDY));
                }
                wkt.to_owned()
            }
        };
        // This way of asking keeps x before y, whatever order the authority has for its axes.
        match Proj::new_known_crs(&crs, DEGREES, None) {
            Ok(proj) => Ok(ToDegrees { proj: Some(proj) }),
            Err(cause) => {
                let found = format!(
                    "a projection that PROJ refuses: {} ({cause})",
                    start_of(&crs)
                );
                Err(Fault::new(file, found, REMEDY))
            }
        }
    }

    /// Whether coordinates stay as they are.
    pub fn is_same(&self) -> bool {
        self.proj.is_none()
    }

    /// Longitude and latitude, degrees; `None` where there is no such place.
    pub fn degrees(&self, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
        let Some(proj) = &self.proj else {
            return Some([x, y]);
        };
        let (lon, lat) = proj.convert((x, y)).ok()?;
        // Beyond its bounds a projection may give infinity without an error.
        (lon.is_finite() && lat.is_finite()).then_some([lon, lat])
    }
}

/// Whether the text of a .prj file says that coordinates are degrees: as well-known text, or in the words of
/// older programs, as in "Projection GEOGRAPHIC" and "Units DD".
pub fn is_unprojected(text: &str) -> bool {
    let is = |key: &str, wanted: &str| {
        let mut lines = text.lines().map(str::split_ascii_whitespace);
        lines.any(|mut words| {
            let pair = [words.next(), words.next()].map(Option::unwrap_or_default);
            pair[0].eq_ignore_ascii_case(key) && pair[1].eq_ignore_ascii_case(wanted)
        })
    };
    let in_words = is("Projection", "GEOGRAPHIC") && is("Units", "DD");
    in_words || text.trim_start().starts_with("GEOGCS")
}

/// Whether well-known text names WGS84, NAD83, ETRS89 or another datum on their ellipsoids, which
/// differ from each other by about a metre.
fn modern_datum(wkt: &str) -> bool {
    let text: String = wkt
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|c| c.to_ascii_uppercase())
        .collect();
    ["WGS1984", "WGS84", "GRS1980", "GRS80"]
        .iter()
        .any(|name| text.contains(name))
}

fn start_of(text: &str) -> String {
    text.chars().take(60).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_and_texts_become_degrees() {
        // 9 W on the equator is the middle of zone 29.
        let utm = ToDegrees::new("f", &Reference::Epsg(32629)).unwrap();
        let [lon, lat] = utm.degrees([500_000.0, 0.0]).unwrap();
        assert!((lon + 9.0).abs() < 1e-9 && lat.abs() < 1e-9);
        for code in [4326, 4269, 4258] {
            let same = ToDegrees::new("f", &Reference::Epsg(code)).unwrap();
            assert_eq!(same.degrees([7.0, 8.0]), Some([7.0, 8.0]));
        }
        let prj = r#"PROJCS["NAD_1983_UTM_Zone_12N",GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",500000.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-111.0],PARAMETER["Scale_Factor",0.9996],PARAMETER["Latitude_Of_Origin",0.0],UNIT["Meter",1.0]]"#;
        let text = ToDegrees::new("f", &Reference::Wkt(prj.into())).unwrap();
        let code = ToDegrees::new("f", &Reference::Epsg(26912)).unwrap();
        let [a, b] = [&text, &code].map(|t| t.degrees([420_000.0, 4_800_000.0]).unwrap());
        assert!(
            (a[0] - b[0]).abs() < 1e-7 && (a[1] - b[1]).abs() < 1e-7,
            "{a:?} {b:?}"
        );
    }

    #[test]
    fn a_datum_that_needs_grids_is_refused() {
        for code in [26712, 4267, 4978, 1, 99_999] {
            let fault = ToDegrees::new("f.tif", &Reference::Epsg(code))
                .err()
                .unwrap();
            assert!(fault.to_string().contains(&code.to_string()), "{fault}");
        }
        let old = Reference::Wkt(
            "GEOGCS[\"x\",DATUM[\"D_x\",SPHEROID[\"Clarke_1866\",6378206.4,294.98]]]".into(),
        );
        let fault = ToDegrees::new("f.prj", &old).err().unwrap().to_string();
        assert!(
            fault.contains("another datum") && fault.contains("ogr2ogr"),
            "{fault}"
        );
        assert!(ToDegrees::new("f", &Reference::Wkt("PROJCS[WGS84".into())).is_err());
    }

    #[test]
    fn the_british_datum_is_shifted() {
        // Ordnance Survey, "A guide to coordinate systems in Great Britain", annexe C: the worked
        // example 52d39'27.2531"N 1d43'4.5177"E on OSGB36 is E 651409.903, N 313177.270. The shift
        // to WGS84 there is about 100 m east and 50 m north.
        let grid = ToDegrees::new("f", &Reference::Epsg(27700)).unwrap();
        let [lon, lat] = grid.degrees([651_409.903, 313_177.270]).unwrap();
        let (on_grid_lat, on_grid_lon) = (
            52.0 + 39.0 / 60.0 + 27.2531 / 3600.0,
            1.0 + 43.0 / 60.0 + 4.5177 / 3600.0,
        );
        let north = (lat - on_grid_lat) * 111_250.0;
        let east = (lon - on_grid_lon) * 67_700.0;
        assert!(
            (20.0..90.0).contains(&north.abs()) && (80.0..140.0).contains(&east.abs()),
            "{north} {east}"
        );
    }
}

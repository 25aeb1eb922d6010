//! A plan begun from a few answers, and what can be looked up for it. `report::files::plan` writes it.

use std::path::PathBuf;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::error::Result;
use crate::geodesy::Position;
use crate::geodesy::reading::{EXPECTED, read_position};
use crate::ground::airports::nearest_elevation;
use crate::ground::region::Region;
use crate::ground::terrain::Terrain;
use crate::ground::towns::{Town, towns};

/// Room around a site in which heights are read, m.
const TERRAIN_M: f64 = 1_000.0;
/// Towns named where several have the name that was given.
const CANDIDATES: usize = 12;

/// What a load is called that was given as one mass.
pub const ALL_OF_LOAD: &str = "payload, lines and parachute";

/// What a plan is begun with. Quantities stand as their writer wrote them, once they were read.
#[derive(Debug, Clone, PartialEq)]
pub struct Answers {
    /// The flight's name.
    pub name: String,
    /// The site.
    pub site: NamedSite,
    /// Its elevation, if it is known.
    pub elevation: Option<Elevation>,
    /// The zone of people's times.
    pub timezone: TimeZone,
    /// The release.
    pub release: Timestamp,
    /// Mass of the balloon.
    pub balloon: String,
    /// Diameter at the burst, where no table is to give it.
    pub burst_diameter: Option<String>,
    /// "helium" or "hydrogen"; `None` to assume helium.
    pub gas: Option<String>,
    /// Rate of ascent at release; `None` to assume the usual one.
    pub ascent_rate: Option<String>,
    /// What hangs below: names and masses.
    pub load: Vec<(String, String)>,
    /// Diameter of the parachute.
    pub parachute: String,
    /// Files with heights, as seen from the plan.
    pub terrain: Vec<PathBuf>,
    /// Whether its people read US units.
    pub us_units: bool,
}

/// A place to release from.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedSite {
    /// Where.
    pub position: Position,
    /// The town that was named, if one was.
    pub town: Option<Town>,
}

/// Why a place was not understood: what was found and what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoSite {
    /// What stands there.
    pub found: String,
    /// What would be right.
    pub expected: String,
}

/// The site of a text: coordinates, or a town's name that only one town has.
///
/// ```
/// use windfall::draft::site;
///
/// let by_name = site("Riverton, WY")?.expect("only one town is called that");
/// let by_numbers = site("43 01.5 N, 108 22.8 W")?.expect("degrees and minutes");
/// assert!(by_name.position.distance_m(by_numbers.position) < 100.0);
/// assert!(site("Nowhere at all")?.is_err());
/// # Ok::<(), windfall::Error>(())
/// ```
///
/// # Errors
///
/// The outer one when the data in the program are damaged; the inner one tells what would be right.
pub fn site(text: &str) -> Result<std::result::Result<NamedSite, NoSite>> {
    let text = text.trim();
    if let Some(position) = read_position(text) {
        let town = None;
        return Ok(Ok(NamedSite { position, town }));
    }
    let found = towns()?.named(text);
    let no_site = |found: String, expected: String| Ok(Err(NoSite { found, expected }));
    match found.as_slice() {
        // With digits in it, it was meant as coordinates.
        [] if text.chars().any(|c| c.is_ascii_digit()) => {
            no_site(format!("\"{text}\""), EXPECTED.to_owned())
        }
        [] => match towns()?.like(text).as_slice() {
            [] => no_site(
                format!("\"{text}\", which no town is called"),
                format!(
                    "the name of a town of a thousand people or more as in \"Riverton WY\", mostly in English, \
                     its region in full outside the US; or {EXPECTED}"
                ),
            ),
            like => no_site(format!("\"{text}\", which no town is called"), one_of(like)),
        },
        [town] => Ok(Ok(NamedSite {
            position: town.position,
            town: Some(*town),
        })),
        several => no_site(
            format!("\"{text}\", which {} towns may be", several.len()),
            one_of(several),
        ),
    }
}

/// The first of some towns, told apart.
fn one_of(towns: &[Town]) -> String {
    let names: Vec<String> = towns.iter().take(CANDIDATES).map(told_apart).collect();
    let more = match towns.len().saturating_sub(CANDIDATES) {
        0 => String::new(),
        more => format!("; and {more} more"),
    };
    format!("one of {}{more}; or coordinates", names.join("; "))
}

fn told_apart(town: &Town) -> String {
    format!("{} ({})", town.full_name(), town.position.text())
}

/// Whether people there use pounds and feet: in the United States, by the nearest town.
pub fn usually_us_units(site: &NamedSite) -> bool {
    let nearest = || {
        let towns = towns().ok()?;
        towns.nearest(site.position).map(|near| near.what)
    };
    let town = site.town.or_else(nearest);
    town.is_some_and(|town| town.area.country == "US")
}

/// An elevation that was given or looked up.
#[derive(Debug, Clone, PartialEq)]
pub struct Elevation {
    /// Above mean sea level, m.
    pub elevation_m: f64,
    /// Where it is from.
    pub from: ElevationFrom,
}

/// Where an elevation is from.
#[derive(Debug, Clone, PartialEq)]
pub enum ElevationFrom {
    /// Given, as it was written.
    Given(String),
    /// Heights of the ground.
    Terrain(String),
    /// The nearest airport, by its code, and the distance to it in m.
    Airport(&'static str, f64),
}

/// The elevation of a place: by the heights of the ground, else that of the nearest airport within
/// [`AIRPORT_WITHIN_M`](crate::ground::airports::AIRPORT_WITHIN_M); `None` where there is neither.
///
/// # Errors
///
/// Heights that cannot be read.
pub fn elevation(place: Position, terrain: &[PathBuf]) -> Result<Option<Elevation>> {
    if !terrain.is_empty() {
        // One height is wanted, so of large files no more is read than lies around it.
        let heights = Terrain::open(terrain, &Region::around(place, TERRAIN_M))?;
        if let Some(elevation_m) = heights.height_m(place) {
            let from = heights.source_at(place).unwrap_or_default().to_owned();
            return Ok(Some(Elevation {
                elevation_m,
                from: ElevationFrom::Terrain(from),
            }));
        }
    }
    let near = nearest_elevation(place)?;
    Ok(near.map(|near| Elevation {
        elevation_m: near.elevation_m,
        from: ElevationFrom::Airport(near.ident, near.distance_m),
    }))
}

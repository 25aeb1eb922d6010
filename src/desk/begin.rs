//! A plan begun on the page.

use jiff::tz::TimeZone;

use crate::clock::local::read_time;
use crate::draft::{ALL_OF_LOAD, Answers, NamedSite, elevation, site, usually_us_units};
use crate::error::{Error, Fault, Result};
use crate::ground::time_zone::time_zone;
use crate::report::files::plan::draft;
use crate::units::{Dimension, parse};

use super::fields::Values;
use super::folder::{is_name, is_plan};
use super::words;

/// The fields of a new plan, in their order.
pub const FIELDS: [&str; 6] = ["file", "place", "release", "balloon", "load", "parachute"];

/// Those of them that are quantities.
const QUANTITIES: [(&str, Dimension); 3] = [
    ("balloon", Dimension::Mass),
    ("load", Dimension::Mass),
    ("parachute", Dimension::Length),
];

/// The name of the file and the text of the plan that the answers make; or what is wrong with each of them.
///
/// # Errors
///
/// The data in the program are damaged.
pub fn plan(given: &Values) -> Result<std::result::Result<(String, String), Vec<Fault>>> {
    let of = |id: &str| given.get(id).map_or("", |text| text.trim());
    let name = of("file").trim_end_matches(".toml");
    let file = format!("{name}.toml");
    // No fault ends the reading: a person sees at once all that is wrong.
    let mut faults: Vec<Fault> = wrong_name(of("file"), &file).into_iter().collect();
    faults.extend(QUANTITIES.iter().filter_map(|(id, dimension)| {
        let wrong = parse(of(id), *dimension).err()?;
        Some(fault(id, wrong.found, wrong.expected))
    }));
    let place = place_and_clocks(of("place"))?;
    let place = place.map_err(|wrong| faults.push(wrong)).ok();
    let zone = place.as_ref().map(|(_, zone)| zone);
    let release = read_time(of("release"), zone).map_err(|wrong| {
        // Without a place its clocks are not known, and the place is told.
        if zone.is_some() || of("release").is_empty() {
            faults.push(fault("release", wrong.found, wrong.expected));
        }
    });
    let (Some((site, timezone)), Ok(release), true) = (place, release, faults.is_empty()) else {
        return Ok(Err(faults));
    };
    let answers = Answers {
        name: name.to_owned(),
        elevation: elevation(site.position, &[])?,
        timezone,
        release,
        balloon: of("balloon").to_owned(),
        burst_diameter: None,
        gas: None,
        ascent_rate: None,
        load: vec![(ALL_OF_LOAD.to_owned(), of("load").to_owned())],
        parachute: of("parachute").to_owned(),
        terrain: Vec::new(),
        us_units: usually_us_units(&site),
        site,
    };
    Ok(Ok((file, draft(&answers).text)))
}

/// What is wrong with the name that was typed for a file.
fn wrong_name(typed: &str, file: &str) -> Option<Fault> {
    let expected = match file {
        file if !is_name(file) => words::PLAIN_NAME,
        file if !is_plan(file) => words::NO_PLANS_NAME,
        _ => return None,
    };
    Some(fault("file", format!("\"{typed}\""), expected))
}

/// The place that was typed, and the clocks that people have there; or what is wrong with it.
fn place_and_clocks(typed: &str) -> Result<std::result::Result<(NamedSite, TimeZone), Fault>> {
    let place = site(typed)?.map_err(|wrong| fault("place", wrong.found, wrong.expected));
    Ok(place.and_then(|place| {
        let zone = time_zone(place.position).ok_or_else(|| {
            let expected = "a place on the earth's time zones";
            fault("place", format!("\"{typed}\""), expected)
        })?;
        Ok((place, zone))
    }))
}

/// Faults of the plan that the answers made, each at the box that it was typed into.
///
/// # Errors
///
/// The faults as they are, where one is of something that was not typed.
pub fn at_their_boxes(faults: Vec<Fault>) -> Result<Vec<Fault>> {
    let boxes: Option<Vec<_>> = faults.iter().map(box_of).collect();
    match boxes {
        None => Err(Error::Faults(faults)),
        Some(boxes) => {
            let both = faults.into_iter().zip(boxes);
            Ok(both.map(|(fault, id)| fault.of_key(id)).collect())
        }
    }
}

fn box_of(fault: &Fault) -> Option<&'static str> {
    let (section, _) = fault.key.as_deref()?.split_once(' ')?;
    match section {
        "[balloon]" => Some("balloon"),
        "[[load]]" => Some("load"),
        "[parachute]" => Some("parachute"),
        _ => None,
    }
}

fn fault(id: &str, found: impl Into<String>, expected: impl Into<String>) -> Fault {
    Fault::new("", found, expected).of_key(id)
}

/// The field that a fault belongs to, and its words.
pub fn in_words(fault: &Fault) -> (String, String) {
    let id = fault.key.clone().unwrap_or_default();
    (
        id,
        format!("found {}; expected {}", fault.found, fault.expected),
    )
}

/// The site of a text that was typed to move the release.
///
/// # Errors
///
/// What was found and what would be right.
pub fn place(text: &str) -> Result<crate::geodesy::Position> {
    let found = site(text)?;
    let place = found.map_err(|wrong| Fault::new("place", wrong.found, wrong.expected));
    Ok(place.map_err(Error::from)?.position)
}

//! What the page shows of a plan while it is being typed: its faults, the fill, the winds, the zone, the map.

use std::path::Path;
use std::sync::Arc;

use maud::{Markup, html};

use super::fields::of_fault;
use super::jobs::end_if;
use super::land::Frame;
use super::made::Answer;
use super::state::{Desk, View};
use super::{show, words};
use crate::brief::Wait;
use crate::choice::answer::ComparedSite;
use crate::error::{Error, Fault, Result};
use crate::fill;
use crate::geodesy::Position;
use crate::plan::Plan;
use crate::plan::edit::PlanText;
use crate::report::fill_words::round_in_kg;
use crate::report::pictures::map::layered;
use crate::units::UnitSystem;
use crate::winds::Winds;
use crate::zone::{Options, Prediction, predict_and_keep};

/// What is wrong, and the field it belongs to.
pub type FieldFault = (Option<String>, String);

/// What is shown of a plan.
#[derive(Default)]
pub struct Live {
    /// What is wrong with the plan.
    pub faults: Vec<FieldFault>,
    /// The fill.
    pub fill: Option<Markup>,
    /// The winds.
    pub winds: Option<Markup>,
    /// The zone in short.
    pub zone: Option<Markup>,
    /// Its numbers.
    pub numbers: Option<Markup>,
    /// The map.
    pub map: Option<MapNow>,
}

/// The map as it is now.
pub struct MapNow {
    /// What it shows.
    pub frame: Frame,
    /// The flight and the zone, as the inside of an SVG.
    pub above: Markup,
    /// What it shows, for who does not see it.
    pub label: String,
    /// The flight by time: where on the map, and in words.
    pub track: Vec<([f64; 2], String)>,
}

/// A plan's text as a plan whose files are all inside the folder of the desk.
///
/// # Errors
///
/// The faults of the plan, and files elsewhere.
pub fn parsed(desk: &Desk, name: &str, text: &str) -> Result<Plan> {
    // Readers of TOML differ in how many byte order marks they skip, and both have to see the same files.
    let text = text.trim_start_matches('\u{feff}');
    let path = desk.folder.path(name)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    // Before anything is read: the plan's own reading opens a file, too.
    let files = PlanText::read(text).map_or_else(Vec::new, |plan| plan.files(folder));
    if let Some(outside) = files.iter().find(|file| !desk.folder.holds(file)) {
        return Err(Error::CannotDo {
            why: format!("{}: {}", words::OUTSIDE, outside.display()),
            remedy: words::OUTSIDE_REMEDY.into(),
        });
    }
    let mut plan = Plan::parse(name, text, folder)?;
    // Messages name files as the folder has them.
    name.clone_into(&mut plan.file);
    Ok(plan)
}

/// Everything that is shown of a plan's text. `newer` is asked again and again whether it is still wanted.
pub fn live(
    desk: &Desk,
    name: &str,
    text: &str,
    had: Option<Frame>,
    newer: &(impl Fn() -> bool + Sync),
) -> Live {
    let view = desk.view();
    let plan = match parsed(desk, name, text) {
        Ok(plan) => plan,
        Err(error) => return without_plan(name, text, &error, had),
    };
    let units = view.units_of(&plan);
    let winds = match plan.wind_files.is_empty() {
        true => None,
        false => Some(desk.air.of(&plan)),
    };
    // Reading winds cannot be stopped half way, so this is asked as soon as they are read.
    end_if(newer());
    let winds_shown = match &winds {
        None => html! { p { (words::NO_WINDS) } },
        Some(Err(error)) => show::error(error),
        Some(Ok(winds)) => show::winds(winds, &plan, units),
    };
    // What is wrong with the winds is told by now; the fill does without them.
    let named = winds.is_some();
    let ready = winds.and_then(Result::ok);
    let fill = fill_of(&plan, ready.as_deref(), units);
    end_if(newer());
    let zone = ready.map(|winds| zone_of(desk, &plan, &winds, newer));
    let flown = match zone {
        None if named => not_flown(html! { p { (words::UNREADABLE_WINDS) } }, &plan, had),
        None => not_flown(html! { p { (words::NO_WINDS) } }, &plan, had),
        Some(Err(error)) => not_flown(show::error(&error), &plan, had),
        Some(Ok(zone)) => flown(&zone, &plan, (had, &sites_compared(desk, name)), view),
    };
    Live {
        fill: Some(fill),
        winds: Some(winds_shown),
        ..flown
    }
}

/// What is shown of a flight.
fn flown(
    (prediction, wait): &(Prediction, Wait),
    plan: &Plan,
    beside: (Option<Frame>, &[(String, Position)]),
    view: View,
) -> Live {
    let (units, clocks) = (view.units_of(plan), &view.clocks(&plan.timezone));
    Live {
        zone: Some(show::zone_in_short(prediction, wait, clocks, units)),
        numbers: Some(show::zone(prediction, wait, clocks, units)),
        map: map(prediction, wait, plan, beside, view),
        ..Live::default()
    }
}

/// What is shown where there is no flight: why.
fn not_flown(why: Markup, plan: &Plan, had: Option<Frame>) -> Live {
    Live {
        zone: Some(why),
        // Empty rather than missing, so that numbers shown before, which hold no more, go.
        numbers: Some(html! {}),
        map: map_of_site(plan.site.position, had),
        ..Live::default()
    }
}

/// What is wrong with a plan's text: the field it belongs to, if it has one, and the plan's own words.
pub fn faults(desk: &Desk, name: &str, text: &str) -> Vec<FieldFault> {
    parsed(desk, name, text).map_or_else(|error| told(name, text, &error), |_| Vec::new())
}

fn told(name: &str, text: &str, error: &Error) -> Vec<FieldFault> {
    let doc = PlanText::read(text);
    let of = |fault: &Fault| {
        let field = doc.as_ref().and_then(|doc| of_fault(doc, fault));
        let said = in_words(name, fault, field.is_some());
        (field, said)
    };
    match error {
        Error::Faults(faults) => faults.iter().map(of).collect(),
        other => vec![(None, other.to_string())],
    }
}

/// What is shown of a text that is no plan: why, and the site if it has one.
fn without_plan(name: &str, text: &str, error: &Error, had: Option<Frame>) -> Live {
    let site = PlanText::read(text).as_ref().and_then(site);
    Live {
        // No parts: the page keeps those it showed last, marked as old.
        faults: told(name, text, error),
        map: site.and_then(|site| map_of_site(site, had)),
        ..Live::default()
    }
}

/// A fault as a sentence beside its field, which needs no file; with its line where it has no field.
fn in_words(name: &str, fault: &Fault, at_field: bool) -> String {
    let place = match (&fault.key, fault.line) {
        // Which plan it is everybody sees; of a file that it names that has to be said.
        _ if fault.file != name => format!("{}: ", fault.file),
        _ if at_field => String::new(),
        (Some(key), _) => format!("{key}: "),
        (None, Some(line)) => format!("line {line}: "),
        _ => String::new(),
    };
    format!("{place}found {}; expected {}", fault.found, fault.expected)
}

/// The site of a plan's text.
pub fn site(plan: &PlanText) -> Option<Position> {
    let values = super::fields::shown(plan);
    let number = |id: &str| values.get(id)?.parse::<f64>().ok();
    Position::new(number("site.lat")?, number("site.lon")?)
}

fn fill_of(plan: &Plan, winds: Option<&Winds>, units: UnitSystem) -> Markup {
    if plan.stack.ascent.balloon().is_none() {
        return html! { p { (words::NO_BALLOON) } };
    }
    let options = fill::Options {
        known: None,
        lifted_kg: None,
        rules: None,
        round_in_kg: round_in_kg(units),
    };
    match fill::size(plan, winds, options) {
        Ok(fill) => show::fill(&fill, units),
        Err(error) => show::error(&error),
    }
}

fn zone_of(
    desk: &Desk,
    plan: &Plan,
    winds: &Arc<Winds>,
    newer: &(impl Fn() -> bool + Sync),
) -> Result<(Prediction, Wait)> {
    let flown = || end_if(newer());
    let (mut prediction, kept) = predict_and_keep(plan, winds, Options::default(), flown)?;
    end_if(newer());
    let wait = desk.land.where_to_wait(plan, &mut prediction.zone, &kept)?;
    Ok((prediction, wait))
}

/// The sites that were compared last, by rank or name.
fn sites_compared(desk: &Desk, name: &str) -> Vec<(String, Position)> {
    let made = desk.made(name, words::Station::Site);
    let Some(Answer::Sites(sites)) = made.as_ref().map(|made| &made.answer) else {
        return Vec::new();
    };
    let name = |site: &ComparedSite| match site.rank {
        Some(rank) => format!("{rank} {}", site.name),
        None => site.name.clone(),
    };
    let sites = sites.sites.iter();
    sites.map(|site| (name(site), site.position)).collect()
}

fn map(
    prediction: &Prediction,
    wait: &Wait,
    plan: &Plan,
    (had, sites): (Option<Frame>, &[(String, Position)]),
    view: View,
) -> Option<MapNow> {
    let zone = &prediction.zone;
    let (units, clocks) = (view.units_of(plan), &view.clocks(&plan.timezone));
    let track = zone.track.iter().map(|mark| mark.position);
    // Not the ellipse of 99 %, beside which all else would be small.
    let outer = zone.outer().map_or(&[][..], |e| &e.ring);
    let places: Vec<Position> = track.chain(outer.iter().copied()).collect();
    let frame = Frame::around(&places, had)?;
    let sheet = frame.sheet();
    Some(MapNow {
        frame,
        above: html! {
            (layered::above(&sheet, (zone, wait), clocks, units))
            (layered::numbered(&sheet, sites))
        },
        label: show::map_label(prediction, clocks, units),
        track: zone
            .track
            .iter()
            .map(|mark| {
                (
                    sheet.at(mark.position),
                    show::moment(mark, zone, clocks, units),
                )
            })
            .collect(),
    })
}

/// The map of a site without a flight.
fn map_of_site(site: Position, had: Option<Frame>) -> Option<MapNow> {
    let around = [0.0, 90.0, 180.0, 270.0].map(|azimuth| site.destination(azimuth, 60_000.0));
    let places: Vec<Position> = [site].into_iter().chain(around).collect();
    // Not near the edge: half of what lies around the site would be off the map.
    let frame = match had.filter(|had| had.center.distance_m(site) < 0.9 * had.half_m) {
        Some(had) => had,
        // The centre is put between the places; here the site itself is to be it.
        None => Frame::around(&places, None).map(|f| Frame { center: site, ..f })?,
    };
    Some(MapNow {
        frame,
        above: layered::release(&frame.sheet(), site),
        label: show::site_label(site),
        track: Vec::new(),
    })
}

//! The map of a flight beside its prediction: the zone and the track as planned, what was flown, and the miss.

use jiff::tz::TimeZone;

use super::furniture::{self, Sample};
use super::ground::KeyEntries;
use super::labels::Labels;
use super::sheet::Sheet;
use super::sizes::NAME;
use super::{Base, flight, framed, free_corner, keep_free, names, sheet_with};
use crate::brief::Wait;
use crate::brief::answer::MapGround;
use crate::debrief::Debrief;
use crate::geodesy::Position;
use crate::report::palette::{FLOWN, PAPER};
use crate::report::pictures::picture::{Look, Picture};
use crate::report::words::{clock_time, date, way_of};
use crate::units::UnitSystem;
use crate::zone::Mark;

/// The flown track: a double line.
const TRACK: Look = Look::line(FLOWN, 6.0);
const WITHIN: Look = Look::line(PAPER, 2.4);
/// From the planned landing to the real one.
const MISS: Look = Look::line(FLOWN, 3.0).dashed("3 5");
/// Half the room of a sign.
const SIGN: f64 = 13.0;

/// The sheet that shows both flights and the zone.
pub fn sheet(d: &Debrief) -> Sheet {
    let flown = d.measured.track.iter().map(|m| m.position);
    sheet_with(&d.zone, flown.chain([d.landing.position]))
}

/// Draws the map, with what lies on the ground.
pub fn draw(d: &Debrief, shown: &MapGround, timezone: &TimeZone, units: UnitSystem) -> Picture {
    let sheet = sheet(d);
    let (body, drawn) = body(&sheet, d, shown, timezone, units);
    let samples = samples(d, &drawn);
    framed(&sheet, &body, &samples, heading(d, timezone, units))
}

fn heading(d: &Debrief, timezone: &TimeZone, units: UnitSystem) -> [String; 3] {
    let when = format!(
        "{}: released {}, down {}{}",
        date(d.measured.released, timezone),
        clock_time(d.measured.released, timezone),
        if d.measured.down_before { "by " } else { "" },
        clock_time(d.landing.time, timezone)
    );
    let miss = format!(
        "{} {} of the planned landing",
        landed(d),
        way_of(d.miss_m, d.miss_azimuth_deg, units)
    );
    [title(d), when, miss]
}

/// That it landed, as far as that was heard.
pub fn landed(d: &Debrief) -> &'static str {
    match d.measured.landed {
        true => "landed",
        false => "would have landed (estimated)",
    }
}

/// The flight's name, or what stands for it.
pub fn title(d: &Debrief) -> String {
    match d.name.as_str() {
        "" => "Flight beside its prediction".to_owned(),
        name => name.to_owned(),
    }
}

fn body(
    sheet: &Sheet,
    d: &Debrief,
    shown: &MapGround,
    timezone: &TimeZone,
    units: UnitSystem,
) -> (Picture, KeyEntries) {
    let Base {
        picture: mut body,
        drawn,
        mut grid,
        airfields,
    } = Base::of(sheet, shown);
    let mut labels = Labels::new(sheet.size);
    let zone = &d.zone;
    flight::contours(&mut body, sheet, zone);
    flight::ellipses(&mut body, sheet, &mut labels, zone);
    flight::track(&mut body, sheet, &mut labels, zone);
    let flown = flown(&mut body, sheet, &mut labels, d);
    let mut top = Picture::clear(sheet.size[0], sheet.size[1]);
    // The flight is over: the signs are those of a briefing, but nobody waits.
    let nowhere = Wait {
        points: Vec::new(),
        from: zone.release.time,
        layer_notes: Vec::new(),
    };
    flight::places(&mut top, sheet, &mut labels, (zone, &nowhere), timezone);
    places(&mut top, sheet, &mut labels, d, timezone);
    let corner = free_corner(sheet, &labels, &flown);
    keep_free(&mut labels, corner, &mut grid, &airfields);
    flight::region_names(&mut body, sheet, &mut labels, zone);
    names(&mut body, sheet, &mut labels, shown, &airfields);
    furniture::grid_names(&mut body, &grid);
    furniture::scale(&mut body, sheet, corner, units);
    body.append(&top);
    (body, drawn)
}

/// Draws what was flown and the miss; all points that are shown.
fn flown(picture: &mut Picture, sheet: &Sheet, labels: &mut Labels, d: &Debrief) -> Vec<[f64; 2]> {
    let at = |p: Position| sheet.at(p);
    let mut line: Vec<[f64; 2]> = d.measured.track.iter().map(|m| at(m.position)).collect();
    // Not heard down to the ground: the line goes on to where the landing is reckoned to be.
    if !d.measured.landed {
        line.push(at(d.landing.position));
    }
    let lines = [line];
    // An edge of paper first, as both tracks often lie on each other.
    picture.path(&lines, false, Look::line(PAPER, 9.0));
    picture.path(&lines, false, TRACK);
    picture.path(&lines, false, WITHIN);
    let miss = [vec![at(d.zone.landing.position), at(d.landing.position)]];
    picture.path(&miss, false, Look::line(PAPER, 6.0));
    picture.path(&miss, false, MISS);
    labels.avoid(&lines[0]);
    let [line] = lines;
    let rings = d.zone.ellipses.iter().flat_map(|e| e.ring.iter().copied());
    let planned = d.zone.track.iter().map(|m| m.position);
    line.into_iter()
        .chain(rings.chain(planned).map(at))
        .collect()
}

/// Draws and names where it burst and landed.
fn places(top: &mut Picture, sheet: &Sheet, labels: &mut Labels, d: &Debrief, zone: &TimeZone) {
    let down = match (d.measured.landed, d.measured.down_before) {
        (true, false) => "landed",
        (true, true) => "landed by",
        (false, _) => "landed, reckoned",
    };
    let burst = d.measured.burst.as_ref().map(|mark| ("did burst", mark));
    let marks: Vec<(&str, &Mark)> = burst.into_iter().chain([(down, &d.landing)]).collect();
    let points: Vec<[f64; 2]> = marks.iter().map(|(_, m)| sheet.at(m.position)).collect();
    for [x, y] in &points {
        labels.take([x - SIGN, y - SIGN, x + SIGN, y + SIGN]);
    }
    for ((what, mark), at) in marks.iter().zip(&points) {
        let name = format!("{what} {}", clock_time(mark.time, zone));
        labels.write_or_join(top, *at, SIGN + 3.0, NAME, &name);
    }
    if let Some((_, burst)) = burst {
        let burst = sheet.at(burst.position);
        top.dot(burst, 7.0, PAPER);
        top.dot(burst, 5.0, FLOWN);
    }
    let landing = sheet.at(d.landing.position);
    top.dot(landing, 11.0, PAPER);
    top.dot(landing, 9.0, FLOWN);
    top.dot(landing, 5.0, PAPER);
    top.dot(landing, 2.5, FLOWN);
}

fn samples(d: &Debrief, drawn: &KeyEntries) -> Vec<(Sample, String)> {
    let mut samples = furniture::zone_samples(&d.zone);
    let flight = [
        (flight::UP, "planned way up"),
        (flight::DOWN, "planned way down"),
        (TRACK, "as flown (a double line)"),
        (MISS, "from the planned landing"),
    ];
    samples.extend(flight.map(|(look, name)| (Sample::Line(look), name.to_owned())));
    samples.extend(furniture::ground_shown(drawn));
    samples
}

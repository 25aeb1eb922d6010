//! Answers for other programs: the answer's own numbers, all in SI, with the words for people beside
//! each code.

use serde::Serialize;
use serde_json::{Value, json};

use super::basis::{ground_source, warned};
use super::tables::{fill_rules, why};
use super::{fill_words, findings, input_notes, notes, reasons, warnings, words};
use crate::brief::Wait;
use crate::brief::answer::WaitingPoint;
use crate::choice::answer::{Aim, Days, ReleaseRow, Sites};
use crate::choice::basis::Basis;
use crate::choice::why::WhyBest;
use crate::fill::Fill;
use crate::fill::compared::{ComparedLine, Rules};
use crate::units::UnitSystem;
use crate::years::answer::Years;
use crate::zone::{Prediction, Zone};

/// A zone without its track, the facts, and where to wait.
pub fn zone(prediction: &Prediction, wait: &Wait, units: UnitSystem) -> Value {
    let Prediction { zone, facts } = prediction;
    // Track and draws are most of it, and the GeoJSON has them.
    let bare = Zone {
        track: Vec::new(),
        draws: None,
        ..zone.clone()
    };
    let mut json = json!({"zone": bare, "facts": facts, "wait": self::wait(wait, units)});
    // The zone itself has codes and numbers: here each comes with its words.
    json["zone"]["warnings"] = warnings::json(&warnings::of_zone(zone), units);
    json["zone"]["assumptions"] = notes::assumptions_json(&zone.assumptions, units);
    json["zone"]["notes"] = notes::notes_json(&zone.notes, units);
    json
}

/// Where to wait and from when, with the words for each place.
fn wait(wait: &Wait, units: UnitSystem) -> Value {
    let point = |point: &WaitingPoint| {
        json!({
            "name": point.name,
            "position": point.position,
            "place": words::waiting_place(point, units),
            "half_within_m": point.half_within_m,
            "most_within_m": point.most_within_m,
        })
    };
    let points: Vec<Value> = wait.points.iter().map(point).collect();
    let layers = wait.layer_notes.iter();
    let layers: Vec<Value> = layers
        .map(|note| with_words(note, input_notes::of_layer(note, units)))
        .collect();
    json!({"from": wait.from, "points": points, "layer_notes": layers})
}

/// A fill.
pub fn fill(fill: &Fill, units: UnitSystem) -> Value {
    let mut json = value(fill);
    let solved_from = fill_words::solved_from(&fill.solved_from, units);
    json["solved_from"] = with_words(&fill.solved_from, solved_from);
    json["findings"] = fill
        .findings
        .iter()
        .map(|finding| with_words(finding, findings::concern(&finding.concern, units)))
        .collect();
    if let Some(flight) = &fill.flight {
        let of = fill_words::burst_sigma(&flight.burst_sigma_of, units);
        json["flight"]["burst_sigma_of"] = with_words(&flight.burst_sigma_of, of);
    }
    if let Some(compared) = &fill.rules {
        json["rules"] = rules(compared, units);
    }
    json["assumptions"] = notes::assumptions_json(&fill.assumptions, units);
    json["notes"] = notes::notes_json(&fill.notes, units);
    json
}

fn rules(rules: &Rules, units: UnitSystem) -> Value {
    let line = |line: &ComparedLine| {
        let mut json = value(line);
        json["number"] = fill_rules::number(line, units).into();
        if let Some(threshold) = &line.threshold {
            let words = fill_rules::threshold_text(line.quantity, threshold, units);
            json["threshold"] = with_words(threshold, words);
        }
        let remarks = line.remarks.iter();
        json["remarks"] = remarks
            .map(|remark| with_words(remark, fill_rules::remark(remark, units)))
            .collect();
        json
    };
    let mut json = value(rules);
    json["lines"] = rules.lines.iter().map(line).collect();
    json
}

/// Release times compared.
pub fn days(days: &Days, units: UnitSystem) -> Value {
    let mut json = value(days);
    put_basis(&mut json, &days.basis, units);
    json["rows"] = rows(&days.rows, &days.basis, units);
    put_why(&mut json, days.why_best.as_ref(), &days.basis, units);
    json
}

/// Years of winds.
pub fn years(years: &Years, units: UnitSystem) -> Value {
    let mut json = value(years);
    put_basis(&mut json, &years.basis, units);
    json
}

/// Sites compared.
pub fn sites(sites: &Sites, units: UnitSystem) -> Value {
    let mut json = value(sites);
    put_basis(&mut json, &sites.basis, units);
    let each = sites.sites.iter().map(|site| {
        let mut json = value(site);
        let words = reasons::reason(&site.reason, units, &sites.basis.timezone);
        json["reason"] = with_words(&site.reason, words);
        json["rows"] = rows(&site.rows, &sites.basis, units);
        json
    });
    json["sites"] = each.collect();
    put_why(&mut json, sites.why_best.as_ref(), &sites.basis, units);
    json
}

/// Where to launch for a target.
pub fn aim(aim: &Aim, units: UnitSystem) -> Value {
    let mut json = value(aim);
    put_basis(&mut json, &aim.basis, units);
    let words = reasons::launches(&aim.restricted).to_owned();
    json["restricted"] = with_words(&aim.restricted, words);
    let each = aim.rows.iter().map(|each| {
        let mut json = value(each);
        json["row"] = row(&each.row, &aim.basis, units);
        json
    });
    json["rows"] = each.collect();
    json
}

fn rows(rows: &[ReleaseRow], basis: &Basis, units: UnitSystem) -> Value {
    rows.iter().map(|each| row(each, basis, units)).collect()
}

fn row(row: &ReleaseRow, basis: &Basis, units: UnitSystem) -> Value {
    let mut json = value(row);
    let words = reasons::reason(&row.reason, units, &basis.timezone);
    json["reason"] = with_words(&row.reason, words);
    json
}

fn put_why(json: &mut Value, why: Option<&WhyBest>, basis: &Basis, units: UnitSystem) {
    if let Some(why) = why {
        json["why_best"]["words"] = why::lines(why, &basis.timezone, units).into();
    }
}

fn put_basis(json: &mut Value, basis: &Basis, units: UnitSystem) {
    json["warnings"] = warnings::json(&warned(basis), units);
    json["assumptions"] = notes::assumptions_json(&basis.assumptions, units);
    json["notes"] = notes::notes_json(&basis.notes, units);
    json["sources"] = basis
        .sources
        .iter()
        .map(|source| with_words(source, ground_source(source)))
        .collect();
    json["limits"]["words"] = reasons::limits(&basis.limits, units).into();
}

/// A part of an answer and, as `words`, what it says to people.
pub(super) fn with_words(part: &impl Serialize, words: String) -> Value {
    let mut json = value(part);
    json["words"] = words.into();
    json
}

/// Answers are plain structs with text keys, which always become JSON.
fn value(part: &impl Serialize) -> Value {
    serde_json::to_value(part).unwrap_or_default()
}

//! JSON: one object a line, or an array of them; names as [`super::fields`] knows them or as the user
//! gives them, with dotted paths.

use serde_json::Value;

use super::fields::{Fields, What, default_scale, plain, rank, report, what};
use super::{Outcome, Refusal};

/// Objects within objects are searched so deep.
const DEPTH: usize = 4;

/// Reports of a value; of an array, of each of its members, and so of an object that has no place but lists of
/// objects that have.
pub fn read(value: &Value, fields: &Fields) -> Vec<Outcome> {
    read_in(value, fields, DEPTH)
}

fn read_in(value: &Value, fields: &Fields, depth: usize) -> Vec<Outcome> {
    let outcomes = match value {
        Value::Array(members) => {
            let of_member = |m| read_in(m, fields, depth);
            return members.iter().flat_map(of_member).collect();
        }
        Value::Object(_) if fields.is_given() => vec![by_paths(value, fields)],
        Value::Object(_) => by_names(value),
        _ => return Vec::new(),
    };
    if outcomes != [Err(Refusal::NoPosition)] {
        return outcomes;
    }
    match listed(value, fields, depth) {
        none if none.is_empty() => outcomes,
        listed => listed,
    }
}

/// Reports of the lists within an object; nothing where none has a place.
fn listed(object: &Value, fields: &Fields, depth: usize) -> Vec<Outcome> {
    let Some(depth) = depth.checked_sub(1) else {
        return Vec::new();
    };
    let members = object.as_object().into_iter().flat_map(|o| o.values());
    let lists = members.filter(|v| v.is_array() || v.is_object());
    let outcomes: Vec<Outcome> = lists.flat_map(|l| read_in(l, fields, depth)).collect();
    let told = outcomes.iter().any(|o| *o != Err(Refusal::NoPosition));
    if told { outcomes } else { Vec::new() }
}

fn by_paths(value: &Value, fields: &Fields) -> Outcome {
    report(|asked| match fields.given(asked) {
        Some(place) => Some((text(at(value, &place.path)?)?, place.scale)),
        None => named(value, asked),
    })
}

/// The objects, from the outside in, that have a place: where several have a time of their own, as in a page of many
/// moments or trackers, each of these; else the first. Time and tracker also from around it.
fn by_names(value: &Value) -> Vec<Outcome> {
    let mut level = vec![value];
    for _ in 0..DEPTH {
        let has = |object: &Value, asked| named(object, asked).is_some();
        let mut placed = level.clone();
        placed.retain(|o| has(o, What::Latitude) && has(o, What::Longitude));
        let timed: Vec<&Value> = placed
            .iter()
            .filter(|o| has(o, What::Time))
            .copied()
            .collect();
        let told = match timed.len() {
            0 | 1 => placed.get(..1).unwrap_or_default(),
            _ => &timed,
        };
        if !told.is_empty() {
            let of = |object, asked| named(object, asked).or_else(|| named(value, asked));
            return told.iter().map(|o| report(|asked| of(o, asked))).collect();
        }
        let inner = level.iter().filter_map(|o| o.as_object());
        level = inner
            .flat_map(|o| o.values())
            .filter(|v| v.is_object())
            .collect();
    }
    vec![Err(Refusal::NoPosition)]
}

fn named(value: &Value, asked: What) -> Option<(String, f64)> {
    let members = value.as_object()?;
    let mut found = members.iter().filter_map(|(name, member)| {
        // Where a member of such a name is a list or an object, the next one may be it.
        let is_it = what(&plain(name)) == Some(asked);
        is_it
            .then(|| Some((name, (text(member)?, default_scale(name)))))
            .flatten()
    });
    let it = match asked {
        What::Tracker => found.min_by_key(|(name, _)| rank(&plain(name))),
        _ => found.next(),
    };
    it.map(|(_, it)| it)
}

fn at<'a>(value: &'a Value, path: &[String]) -> Option<&'a Value> {
    path.iter().try_fold(value, |value, name| match value {
        Value::Array(members) => members.get(name.parse::<usize>().ok()?),
        _ => value.get(name),
    })
}

fn text(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    }
}

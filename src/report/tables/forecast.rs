//! What is in forecast files.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use jiff::Timestamp;
use serde::Serialize;

use crate::notes::reading::{Reading, in_words};
use crate::sources::grid::archive::Archive;
use crate::wind::grid::ensemble;
use crate::wind::placing::LONGEST_GAP_S;

/// What joined forecast files hold, in plain values.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Contents {
    /// The files.
    pub files: Vec<String>,
    /// Region and spacing, in words.
    pub grid: String,
    /// Rows and columns of points.
    pub points: [usize; 2],
    /// The runs that the values come from.
    pub runs: Vec<Timestamp>,
    /// The times.
    pub times: Vec<Timestamp>,
    /// Pressures of the levels with height and wind, hPa, falling.
    pub levels_hpa: Vec<f64>,
    /// What there is besides height and wind, in words.
    pub also: Vec<String>,
    /// The numbers of an ensemble's members; `None` is one without a number.
    pub members: Vec<Option<u32>>,
    /// What was assumed; in JSON in words.
    #[serde(serialize_with = "in_words")]
    pub assumed: Vec<Reading>,
    /// What was left out.
    pub left_out: Vec<String>,
}

impl Contents {
    /// Of an archive.
    pub fn of(archive: &Archive) -> Contents {
        // Many steps have one run in common, and several runs are told in order.
        let runs: BTreeSet<Timestamp> = archive.steps.iter().filter_map(|s| s.run).collect();
        Contents {
            files: archive.names(),
            grid: archive.describe(),
            points: [archive.lattice.y.count, archive.lattice.x.count],
            runs: runs.into_iter().collect(),
            times: archive.steps.iter().map(|s| s.valid).collect(),
            levels_hpa: archive
                .all_levels_pa()
                .into_iter()
                .map(|pa| f64::from(pa) / 100.0)
                .collect(),
            also: archive.also(),
            members: ensemble(&archive.members).to_vec(),
            assumed: archive.assumed.clone(),
            left_out: archive.left_out_of_all(),
        }
    }
}

/// The members in words: how many, and their numbers.
fn members(all: &[Option<u32>]) -> String {
    let numbers: Vec<String> = all.iter().flatten().map(ToString::to_string).collect();
    let numberless = match all.contains(&None) {
        true => " and one without a number",
        false => "",
    };
    format!("{}: {}{numberless}", all.len(), numbers.join(" "))
}

/// The contents as text for people.
pub fn report(contents: &Contents) -> String {
    let mut text = String::new();
    let mut line = |name: &str, value: String| {
        let _ = writeln!(text, "{name:10}{value}");
    };
    for (i, file) in contents.files.iter().enumerate() {
        line(if i == 0 { "file" } else { "" }, file.clone());
    }
    let [rows, columns] = contents.points;
    line(
        "grid",
        format!("{} ({rows} x {columns} points)", contents.grid),
    );
    let times: Vec<String> = contents.runs.iter().map(ToString::to_string).collect();
    let runs = match times.as_slice() {
        [] => "not in the file".into(),
        runs => runs.join(", "),
    };
    line("run", runs);
    for (i, stretch) in stretches(&contents.times).iter().enumerate() {
        line(if i == 0 { "times" } else { "" }, stretch.clone());
    }
    let levels: Vec<String> = contents
        .levels_hpa
        .iter()
        .map(ToString::to_string)
        .collect();
    line(
        "levels",
        format!("{}, hPa: {}", levels.len(), levels.join(" ")),
    );
    line("also", none_or(&contents.also));
    if !contents.members.is_empty() {
        line("members", members(&contents.members));
    }
    for (i, what) in contents.assumed.iter().enumerate() {
        line(if i == 0 { "assumed" } else { "" }, what.to_string());
    }
    for (i, what) in contents.left_out.iter().enumerate() {
        line(if i == 0 { "left out" } else { "" }, what.clone());
    }
    text
}

fn none_or(items: &[String]) -> String {
    match items {
        [] => "nothing".into(),
        items => items.join(", "),
    }
}

/// The times in words, a line for each stretch without a gap.
fn stretches(times: &[Timestamp]) -> Vec<String> {
    // By the gap that flights go by: a stretch is what they can be flown in.
    let gap = |a: Timestamp, b: Timestamp| b.duration_since(a).as_secs_f64() > LONGEST_GAP_S;
    let chunks = times.chunk_by(|a, b| !gap(*a, *b));
    chunks
        .map(|chunk| match chunk {
            [only] => only.to_string(),
            [first, .., last] => {
                let hours = last.duration_since(*first).as_secs_f64() / 3_600.0;
                // On average, as steps may grow longer in the course of a forecast.
                let step = hours / (chunk.len() - 1) as f64;
                format!(
                    "{first} to {last}, {} times, every {} h on average",
                    chunk.len(),
                    (step * 100.0).round() / 100.0
                )
            }
            [] => String::new(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nights_without_times_are_seen() {
        let times: Vec<Timestamp> = [
            "2023-10-12T08:00:00Z",
            "2023-10-12T09:00:00Z",
            "2023-10-12T10:00:00Z",
            "2023-10-13T08:00:00Z",
        ]
        .iter()
        .map(|t| t.parse().unwrap())
        .collect();
        assert_eq!(
            stretches(&times),
            [
                "2023-10-12T08:00:00Z to 2023-10-12T10:00:00Z, 3 times, every 1 h on average",
                "2023-10-13T08:00:00Z"
            ]
        );
    }
}

//! Why the best is before the second best, in words.

use jiff::tz::TimeZone;

use super::days::time;
use crate::choice::verdict::DARK;
use crate::choice::why::{Compared, Compares, Difference, WhyBest};
use crate::report::reasons::{percent, reason_in_short, verdict_name};
use crate::units::{UnitSystem, duration};

/// The two, what differs, and whether that is more than chance.
pub(in crate::report) fn lines(why: &WhyBest, zone: &TimeZone, units: UnitSystem) -> Vec<String> {
    let name = |one: &Compared| match &one.site {
        Some(site) => format!("{site}, {}", time(one.release, zone)),
        None => time(one.release, zone),
    };
    let mut lines = vec![format!(
        "{} before {}, both {}:",
        name(&why.best),
        name(&why.second),
        verdict_name(why.verdict)
    )];
    let [best, second] = [&why.best, &why.second].map(|one| {
        let near = reason_in_short(&one.nearest, units, zone);
        format!("{near} ({} of it)", percent_of(one.strain))
    });
    lines.push(format!("nearest to a limit: {best} against {second}"));
    let differences = why.differences.iter();
    let told: Vec<(&Difference, String)> = differences
        .filter_map(|difference| Some((difference, words(difference, units)?)))
        .collect();
    lines.extend(told.iter().map(|(_, words)| words.clone()));
    let end = match &told[..] {
        [] => "they differ in nothing that is compared: take either",
        told if told.iter().any(|(difference, _)| difference.is_sure) => return lines,
        _ => "no difference is larger than the sampling error: take either, or raise --draws",
    };
    lines.push(end.to_owned());
    lines
}

/// A share of a limit.
fn percent_of(share: f64) -> String {
    // In the dark nothing is left of the limit, and there is no share to tell.
    match share < DARK {
        true => format!("{:.0} %", 100.0 * share),
        false => "all".to_owned(),
    }
}

/// A difference; `None` where the numbers are told alike.
fn words(difference: &Difference, units: UnitSystem) -> Option<String> {
    let share = |v: f64| percent(v);
    let (what, number): (&str, &dyn Fn(f64) -> String) = match difference.of {
        Compares::SurfaceWindMS => ("wind at the ground", &|v| units.speed(v)),
        Compares::DriftM => ("drift", &|v| units.distance(v)),
        Compares::HitShare => ("draws on the thing that most of them hit", &share),
        Compares::AllHitsShare => ("draws on any thing to keep clear of", &share),
        Compares::WaterShare => ("draws in water", &share),
        Compares::DaylightS => ("daylight left", &duration),
        Compares::AreaM2 => ("90 % zone", &|v| units.area(v)),
    };
    let [best, second] = [difference.best, difference.second].map(number);
    if best == second {
        return None;
    }
    let chance = match (difference.standard_error, difference.is_sure) {
        // One wind for all draws has no sampling error.
        (0.0, _) => "no draws are behind it",
        (_, true) => "larger than the sampling error",
        (_, false) => "within the sampling error",
    };
    Some(format!("{what} {best} against {second}: {chance}"))
}

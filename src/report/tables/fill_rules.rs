//! Published thresholds beside the numbers of a stack.

use std::fmt::Write as _;

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use crate::fill::compared::{
    AgainstThreshold, ComparedLine, ComparedQuantity, Crossed, Remark, Rules, Threshold,
};
use crate::report::layout::wrapped;
use crate::units::{UnitSystem, duration};

/// The lines as text, times of notice in a zone.
pub fn text(rules: &Rules, release: Timestamp, zone: &TimeZone, units: UnitSystem) -> String {
    let mut text = format!("\nThresholds: {}\n", rules.title);
    for line in &rules.lines {
        for (i, part) in wrapped(&sentence(line, release, zone, units), 94)
            .iter()
            .enumerate()
        {
            let _ = writeln!(text, "{} {part}", if i == 0 { "-" } else { " " });
        }
    }
    text + "  Numbers beside published texts, no judgement.\n"
}

/// One line in a sentence or two.
fn sentence(line: &ComparedLine, release: Timestamp, zone: &TimeZone, units: UnitSystem) -> String {
    let mut text = format!("{}: {}", comparison_name(line.verdict), line.what);
    if let Some(number) = number(line, units) {
        let _ = write!(text, ", {number}");
    }
    if let Some(window) = notice(line, release, zone) {
        let _ = write!(text, ", {window}");
    }
    if !line.remarks.is_empty() {
        let _ = write!(text, " ({})", remarks(line, units));
    }
    if let Some(threshold) = &line.threshold {
        let threshold = threshold_text(line.quantity, threshold, units);
        let _ = write!(text, "; threshold {threshold}");
    }
    // A notice is due in any case, all else only where a threshold is crossed.
    let what_if = match line.notice {
        Some(_) => "",
        None => "if crossed: ",
    };
    let unverified = if line.unverified { ", unverified" } else { "" };
    let _ = write!(
        text,
        "; {what_if}{}. As published in {} (read: {}; {}{unverified}), check the current text and ask the authority.",
        line.means, line.citation, line.source, line.date
    );
    text
}

fn comparison_name(comparison: AgainstThreshold) -> &'static str {
    match comparison {
        AgainstThreshold::Above => "above",
        AgainstThreshold::Below => "below",
        AgainstThreshold::NotEnoughInformation => "not enough information",
    }
}

/// The stack's number in people's units.
pub(in crate::report) fn number(line: &ComparedLine, units: UnitSystem) -> Option<String> {
    Some(quantity(line.quantity, line.number_si?, units))
}

fn quantity(quantity: ComparedQuantity, value: f64, units: UnitSystem) -> String {
    match quantity {
        ComparedQuantity::PackageMass | ComparedQuantity::PayloadMass => units.mass(value),
        ComparedQuantity::AreaDensity => units.area_density(value),
        ComparedQuantity::LineStrength => units.force(value),
        ComparedQuantity::LineLength | ComparedQuantity::BurstDiameter => units.size(value),
        ComparedQuantity::BurstAltitude => units.height(value),
        ComparedQuantity::GasCapacity => units.volume(value),
        ComparedQuantity::Notice => duration(value),
    }
}

/// A threshold as published, and in people's units where these are others.
pub(in crate::report) fn threshold_text(
    of: ComparedQuantity,
    threshold: &Threshold,
    units: UnitSystem,
) -> String {
    let published = &threshold.published;
    let ours = quantity(of, threshold.si, units);
    let unit = |text: &str| text.rsplit(' ').next().map(str::to_owned);
    // The same unit twice says nothing more.
    let ours = match unit(published) == unit(&ours) {
        true => String::new(),
        false => format!(" ({ours})"),
    };
    match threshold.crossed {
        Crossed::Above => format!("more than {published}{ours}"),
        Crossed::AtOrAbove => format!("{published} or more{ours}"),
    }
}

/// What to know of the number of a line.
fn remarks(line: &ComparedLine, units: UnitSystem) -> String {
    let remarks: Vec<String> = line.remarks.iter().map(|r| remark(r, units)).collect();
    remarks.join("; ")
}

/// One thing to know of a number.
pub(in crate::report) fn remark(remark: &Remark, units: UnitSystem) -> String {
    match remark {
        Remark::OfPackage { name } => name.clone(),
        Remark::OfWeakestLine => "the weakest line".into(),
        Remark::OfAllLines => "all lines together".into(),
        Remark::VolumeAtBurst => "volume at the burst".into(),
        Remark::FilledAtRelease { volume_m3 } => {
            format!("filled with {} at release", units.volume(*volume_m3))
        }
        Remark::AtThreshold { crossed } => match crossed {
            Crossed::Above => "exactly at it, and the text says more than that",
            Crossed::AtOrAbove => "exactly at it, and the text says that much or more",
        }
        .into(),
        Remark::FewPackages { packages, least } => {
            format!("{packages} package; the line is about {least} or more")
        }
        Remark::NoPackageOf { mass } => {
            let published = &mass.published;
            match mass.crossed {
                Crossed::Above => format!("no package of more than {published}"),
                Crossed::AtOrAbove => format!("no package of {published} or more"),
            }
        }
        Remark::PackagesOrAll {
            packages_kg,
            all_kg,
        } => format!(
            "packages alone {}; with lines, reflector and parachute {}: ask whether these count",
            units.mass(*packages_kg),
            units.mass(*all_kg)
        ),
        Remark::BurstOrRelease { release_m3 } => format!(
            "volume at the burst; filled with {} at release: ask which of them counts",
            units.volume(*release_m3)
        ),
        Remark::WeakestKnownLine => {
            "the weakest line that has its strength; others have none".into()
        }
        Remark::NoPackage => "no package in the plan".into(),
        Remark::NoSmallestFace { names } => format!("no smallest_face of {}", names.join(", ")),
        Remark::NoLineStrength => "no line with its strength in the plan".into(),
        Remark::NoLine => "no line in the plan".into(),
        Remark::NoLengthOfSome => "some lines have no length".into(),
        Remark::NoBurstDiameter => "no burst diameter".into(),
        Remark::NoFlight => "the stack does not fly".into(),
        Remark::NoticeNotInPlan => "when notice was given is not in the plan".into(),
    }
}

/// When notice is due, in people's time.
fn notice(line: &ComparedLine, release: Timestamp, zone: &TimeZone) -> Option<String> {
    let at = |before_s: f64| {
        let before = SignedDuration::from_secs(before_s as i64);
        let time = release.checked_sub(before).unwrap_or(release);
        let local = time.to_zoned_datetime(zone.clone());
        local.strftime("%Y-%m-%d %H:%M %Z").to_string()
    };
    let notice = line.notice?;
    let latest = at(notice.latest_s);
    Some(match notice.earliest_s {
        Some(earliest_s) => format!("between {} and {latest}", at(earliest_s)),
        None => format!("by {latest}"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mass_that_no_package_has_is_told_in_words() {
        let told = |crossed| {
            let mass = Threshold {
                published: "2 kg".into(),
                si: 2.0,
                crossed,
            };
            remark(&Remark::NoPackageOf { mass }, UnitSystem::Metric)
        };
        assert_eq!(told(Crossed::AtOrAbove), "no package of 2 kg or more");
        assert_eq!(told(Crossed::Above), "no package of more than 2 kg");
    }
}

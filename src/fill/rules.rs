//! Published thresholds, and which of them a stack crosses.
//!
//! The thresholds are data: `rules.toml` beside this file. Nothing here decides what is allowed.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::compared::{Compared, Rules, Verdict};
use super::toml_file;
use crate::error::{Error, Fault, Result};
use crate::units::{Dimension, UnitSystem, parse};

const BUILT_IN: &str = include_str!("rules.toml");

/// The rules that are known, by name.
#[derive(Debug, Clone)]
pub struct RuleBook {
    all: BTreeMap<String, RuleSet>,
}

/// Thresholds of one body of rules.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RuleSet {
    title: String,
    line: Vec<Line>,
}

/// Which number of a stack is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
enum Number {
    #[serde(rename = "package mass")]
    PackageMass,
    #[serde(rename = "area density")]
    AreaDensity,
    #[serde(rename = "payload mass")]
    PayloadMass,
    #[serde(rename = "line strength")]
    LineStrength,
    #[serde(rename = "line length")]
    LineLength,
    #[serde(rename = "gas capacity")]
    GasCapacity,
    #[serde(rename = "burst diameter")]
    BurstDiameter,
    #[serde(rename = "burst altitude")]
    BurstAltitude,
    #[serde(rename = "notice")]
    Notice,
}

/// From which number on a threshold is crossed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Default)]
enum Crossed {
    #[default]
    #[serde(rename = "above")]
    Above,
    #[serde(rename = "at or above")]
    AtOrAbove,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    what: String,
    compare: Number,
    #[serde(default)]
    threshold: Option<String>,
    #[serde(default)]
    crossed: Crossed,
    #[serde(default)]
    package_mass: Option<String>,
    #[serde(default)]
    package_mass_crossed: Crossed,
    #[serde(default)]
    packages: usize,
    #[serde(default)]
    from: Option<String>,
    #[serde(default)]
    until: Option<String>,
    means: String,
    citation: String,
    source: String,
    date: String,
    verified: bool,
}

/// What rules look at in a stack.
#[derive(Debug, Clone, Default)]
pub struct Numbers {
    /// Packages: name, mass (kg), area of the smallest face (m2) if known.
    pub packages: Vec<(String, f64, Option<f64>)>,
    /// Mass of everything else below the neck, kg.
    pub other_kg: f64,
    /// Breaking strength of each line, N, if known.
    pub lines_n: Vec<Option<f64>>,
    /// Length of each line, m, if known.
    pub lines_m: Vec<Option<f64>>,
    /// Volume at the burst diameter, m3, if known.
    pub capacity_m3: Option<f64>,
    /// Volume at release, m3.
    pub release_m3: f64,
    /// Diameter at the burst, m, if known.
    pub burst_diameter_m: Option<f64>,
    /// Altitude of the burst, m above mean sea level, if the stack flies.
    pub burst_m: Option<f64>,
}

/// Numbers this close to a threshold are at it: sums of masses in pounds are not exact in binary.
const AT: f64 = 1e-9;

impl Number {
    fn dimension(self) -> Dimension {
        match self {
            Number::PackageMass | Number::PayloadMass => Dimension::Mass,
            Number::AreaDensity => Dimension::AreaDensity,
            Number::LineStrength => Dimension::Force,
            Number::LineLength | Number::BurstDiameter | Number::BurstAltitude => Dimension::Length,
            Number::GasCapacity => Dimension::Volume,
            Number::Notice => Dimension::Time,
        }
    }

    fn text(self, value: f64, units: UnitSystem) -> String {
        match self {
            Number::PackageMass | Number::PayloadMass => units.mass(value),
            Number::AreaDensity => units.area_density(value),
            Number::LineStrength => units.force(value),
            Number::LineLength | Number::BurstDiameter => units.size(value),
            Number::BurstAltitude => units.height(value),
            Number::GasCapacity => units.volume(value),
            Number::Notice => crate::units::duration(value),
        }
    }
}

impl Crossed {
    fn by(self, value: f64, threshold: f64) -> bool {
        let at = (value - threshold).abs() <= AT * threshold.abs();
        match self {
            Crossed::Above => value > threshold && !at,
            Crossed::AtOrAbove => value > threshold || at,
        }
    }

    fn words(self) -> &'static str {
        match self {
            Crossed::Above => "more than",
            Crossed::AtOrAbove => "or more:",
        }
    }
}

impl RuleBook {
    /// The program's rules.
    ///
    /// # Errors
    ///
    /// None, as long as the program's own file is right; a test holds that.
    pub fn built_in() -> Result<RuleBook> {
        Ok(RuleBook {
            all: read("rules.toml", BUILT_IN)?,
        })
    }

    /// With the rules of a file added to these, or in their place.
    ///
    /// # Errors
    ///
    /// What is wrong with the file, and where.
    pub fn with(mut self, name: &str, text: &str) -> Result<RuleBook> {
        self.all.extend(read(name, text)?);
        Ok(self)
    }

    /// Rules by name.
    ///
    /// # Errors
    ///
    /// Names those that there are.
    pub fn get(&self, name: &str) -> Result<&RuleSet> {
        self.all.get(name).ok_or_else(|| {
            let names: Vec<&str> = self.all.keys().map(String::as_str).collect();
            Error::CannotDo {
                why: format!("there are no rules called \"{name}\""),
                remedy: format!("expected one of {}, or none", names.join(", ")),
            }
        })
    }
}

fn read(name: &str, text: &str) -> Result<BTreeMap<String, RuleSet>> {
    let expected = "rules as in src/fill/rules.toml";
    let all: BTreeMap<String, RuleSet> = toml_file(name, text, expected)?;
    if all.values().all(|set| set.line.is_empty()) {
        return Err(Fault::new(name, "no rules", expected).into());
    }
    let mut faults = Vec::new();
    for (rules, set) in &all {
        for line in &set.line {
            let mut check = |value: &Option<String>, dimension, key: &str, needed: bool| {
                let fault = match value {
                    None if needed => Some(("nothing".to_owned(), format!("{key} with a unit"))),
                    None => None,
                    Some(text) => match parse(text, dimension) {
                        Ok(value) if value > 0.0 => None,
                        Ok(_) => Some((format!("\"{text}\""), "a number above zero".to_owned())),
                        Err(wrong) => Some((wrong.found, wrong.expected)),
                    },
                };
                if let Some((found, expected)) = fault {
                    let key = format!("{rules}, {}, {key}", line.what);
                    faults.push(Fault::new(name, found, expected).of_key(key));
                }
            };
            let notice = line.compare == Number::Notice;
            let by_face = line.compare == Number::AreaDensity;
            check(
                &line.threshold,
                line.compare.dimension(),
                "threshold",
                !notice,
            );
            check(&line.package_mass, Dimension::Mass, "package_mass", by_face);
            check(&line.from, Dimension::Time, "from", false);
            check(&line.until, Dimension::Time, "until", notice);
        }
    }
    if faults.is_empty() {
        Ok(all)
    } else {
        Err(Error::Faults(faults))
    }
}

/// What came of a comparison: the number, what is thought of it, and a word on it.
struct Outcome {
    value: Option<f64>,
    verdict: Verdict,
    remark: String,
}

impl Outcome {
    fn unknown(value: Option<f64>, remark: impl Into<String>) -> Outcome {
        Outcome {
            value,
            verdict: Verdict::NotEnoughInformation,
            remark: remark.into(),
        }
    }
}

impl RuleSet {
    /// Compares a stack with every line.
    pub fn compare(&self, numbers: &Numbers, units: UnitSystem) -> Rules {
        let lines = self.line.iter().map(|line| line.compared(numbers, units));
        Rules {
            title: self.title.clone(),
            lines: lines.collect(),
        }
    }
}

impl Line {
    /// The threshold in SI; checked when the rules were read.
    fn threshold_si(&self) -> f64 {
        let text = self.threshold.as_deref().unwrap_or("");
        parse(text, self.compare.dimension()).unwrap_or(f64::NAN)
    }

    fn compared(&self, numbers: &Numbers, units: UnitSystem) -> Compared {
        let outcome = match self.compare {
            Number::PackageMass => self.heaviest(numbers),
            Number::AreaDensity => self.by_face(numbers),
            Number::PayloadMass => self.payload(numbers, units),
            Number::LineStrength => self.weakest(numbers),
            Number::LineLength => self.length(numbers),
            Number::GasCapacity => self.capacity(numbers, units),
            Number::BurstDiameter => self.simple(numbers.burst_diameter_m, "no burst diameter"),
            Number::BurstAltitude => self.simple(numbers.burst_m, "the stack does not fly"),
            Number::Notice => Outcome::unknown(None, "when notice was given is not in the plan"),
        };
        let seconds = |text: &Option<String>| parse(text.as_deref()?, Dimension::Time).ok();
        Compared {
            what: self.what.clone(),
            verdict: outcome.verdict,
            number_si: outcome.value,
            number: outcome.value.map(|v| self.compare.text(v, units)),
            threshold: self.threshold.as_ref().map(|published| {
                let ours = self.compare.text(self.threshold_si(), units);
                // The same unit twice says nothing more.
                let unit = |text: &str| text.rsplit(' ').next().map(str::to_owned);
                let ours = match unit(published) == unit(&ours) {
                    true => String::new(),
                    false => format!(" ({ours})"),
                };
                match self.crossed {
                    Crossed::Above => format!("more than {published}{ours}"),
                    Crossed::AtOrAbove => format!("{published} or more{ours}"),
                }
            }),
            notice_s: [seconds(&self.from), seconds(&self.until)],
            remark: outcome.remark,
            means: self.means.clone(),
            citation: self.citation.clone(),
            source: self.source.clone(),
            date: self.date.clone(),
            unverified: !self.verified,
        }
    }

    fn verdict(&self, value: f64) -> Verdict {
        if self.crossed.by(value, self.threshold_si()) {
            Verdict::Above
        } else {
            Verdict::Below
        }
    }

    /// A remark where a number lies exactly at the threshold.
    fn at(&self, value: f64) -> &'static str {
        let threshold = self.threshold_si();
        if (value - threshold).abs() > AT * threshold {
            ""
        } else if self.crossed == Crossed::Above {
            "exactly at it, and the text says more than that"
        } else {
            "exactly at it, and the text says that much or more"
        }
    }

    fn simple(&self, value: Option<f64>, missing: &str) -> Outcome {
        match value {
            None => Outcome::unknown(None, missing),
            Some(value) => Outcome {
                value: Some(value),
                verdict: self.verdict(value),
                remark: self.at(value).to_owned(),
            },
        }
    }

    fn heaviest(&self, numbers: &Numbers) -> Outcome {
        let packages = numbers.packages.iter();
        let Some((name, kg, _)) = packages.max_by(|a, b| a.1.total_cmp(&b.1)) else {
            return Outcome::unknown(None, "no package in the plan");
        };
        let mut outcome = self.simple(Some(*kg), "");
        outcome.remark = joined(&[name, &outcome.remark]);
        outcome
    }

    fn by_face(&self, numbers: &Numbers) -> Outcome {
        let text = self.package_mass.as_deref().unwrap_or("");
        let from_kg = parse(text, Dimension::Mass).unwrap_or(0.0);
        let counts = |kg: f64| self.package_mass_crossed.by(kg, from_kg);
        let heavy: Vec<_> = numbers.packages.iter().filter(|p| counts(p.1)).collect();
        if heavy.is_empty() {
            return Outcome {
                value: None,
                verdict: Verdict::Below,
                remark: match numbers.packages.len() {
                    0 => return Outcome::unknown(None, "no package in the plan"),
                    _ => format!("no package of {} {text}", self.package_mass_crossed.words()),
                },
            };
        }
        let dense = heavy
            .iter()
            .filter_map(|(name, kg, area)| Some((name, kg / (*area)?)));
        let densest = dense.max_by(|a, b| a.1.total_cmp(&b.1));
        let faceless: Vec<&str> = heavy
            .iter()
            .filter(|p| p.2.is_none())
            .map(|p| p.0.as_str())
            .collect();
        match densest {
            Some((name, density)) if self.verdict(density) == Verdict::Above => Outcome {
                value: Some(density),
                verdict: Verdict::Above,
                remark: joined(&[name, self.at(density)]),
            },
            densest if !faceless.is_empty() => Outcome::unknown(
                densest.map(|d| d.1),
                format!("no smallest_face of {}", faceless.join(", ")),
            ),
            Some((name, density)) => Outcome {
                value: Some(density),
                verdict: Verdict::Below,
                remark: joined(&[name, self.at(density)]),
            },
            None => Outcome::unknown(None, "no smallest_face"),
        }
    }

    fn payload(&self, numbers: &Numbers, units: UnitSystem) -> Outcome {
        let count = numbers.packages.len();
        let kg: f64 = numbers.packages.iter().map(|p| p.1).sum();
        if count == 0 {
            return Outcome::unknown(None, "no package in the plan");
        }
        if count < self.packages {
            return Outcome {
                value: Some(kg),
                verdict: Verdict::Below,
                remark: format!(
                    "{count} package; the line is about {} or more",
                    self.packages
                ),
            };
        }
        let all_kg = kg + numbers.other_kg;
        if self.verdict(kg) != self.verdict(all_kg) {
            let remark = format!(
                "packages alone {}; with lines, reflector and parachute {}: ask whether these count",
                units.mass(kg),
                units.mass(all_kg)
            );
            return Outcome::unknown(Some(kg), remark);
        }
        self.simple(Some(kg), "")
    }

    /// The suspension parts where it is weakest.
    fn weakest(&self, numbers: &Numbers) -> Outcome {
        let known = numbers.lines_n.iter().flatten().copied();
        let Some(weakest) = known.reduce(f64::min) else {
            return Outcome::unknown(None, "no line with its strength in the plan");
        };
        let some_unknown = numbers.lines_n.iter().any(Option::is_none);
        if some_unknown && self.verdict(weakest) == Verdict::Above {
            let remark = "the weakest line that has its strength; others have none";
            return Outcome::unknown(Some(weakest), remark);
        }
        let mut outcome = self.simple(Some(weakest), "");
        outcome.remark = joined(&["the weakest line", &outcome.remark]);
        outcome
    }

    fn length(&self, numbers: &Numbers) -> Outcome {
        let known: f64 = numbers.lines_m.iter().flatten().sum();
        let some_unknown = numbers.lines_m.iter().any(Option::is_none);
        if numbers.lines_m.is_empty() {
            return Outcome::unknown(None, "no line in the plan");
        }
        if some_unknown && self.verdict(known) == Verdict::Below {
            return Outcome::unknown(Some(known), "some lines have no length");
        }
        let mut outcome = self.simple(Some(known), "");
        outcome.remark = joined(&["all lines together", &outcome.remark]);
        outcome
    }

    /// What a balloon can carry is its volume at the burst; the texts read do not say so.
    fn capacity(&self, numbers: &Numbers, units: UnitSystem) -> Outcome {
        let Some(capacity) = numbers.capacity_m3 else {
            return Outcome::unknown(None, "no burst diameter");
        };
        let filled = format!(
            "filled with {} at release",
            units.volume(numbers.release_m3)
        );
        if self.verdict(capacity) != self.verdict(numbers.release_m3) {
            let remark = format!("volume at the burst; {filled}: ask which of them counts");
            return Outcome::unknown(Some(capacity), remark);
        }
        let mut outcome = self.simple(Some(capacity), "");
        outcome.remark = joined(&["volume at the burst", &filled, &outcome.remark]);
        outcome
    }
}

fn joined(parts: &[&str]) -> String {
    let parts: Vec<&str> = parts.iter().copied().filter(|p| !p.is_empty()).collect();
    parts.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_programs_own_rules_are_whole() {
        let book = RuleBook::built_in().unwrap();
        for name in ["us", "icao", "uk", "canada"] {
            assert!(!book.get(name).unwrap().line.is_empty());
        }
        let message = book.get("mars").unwrap_err().to_string();
        assert!(message.contains("canada, icao, uk, us"), "{message}");
    }

    #[test]
    fn faults_of_a_users_rules_are_told_together() {
        let line = "[[here.line]]\nwhat = \"x\"\ncompare = \"package mass\"\nmeans = \"\"\ncitation = \"\"\nsource = \"\"\ndate = \"\"\nverified = true\n";
        let text = format!("[here]\ntitle = \"\"\n{line}threshold = \"6\"\n{line}");
        let wrong = RuleBook::built_in().unwrap().with("mine.toml", &text);
        let message = wrong.unwrap_err().to_string();
        assert_eq!(message.lines().count(), 2, "{message}");
        assert!(message.contains("without a unit") && message.contains("found nothing"));
    }

    #[test]
    fn nothing_known_is_not_enough_information() {
        let book = RuleBook::built_in().unwrap();
        for name in ["us", "icao", "uk", "canada"] {
            let rules = book
                .get(name)
                .unwrap()
                .compare(&Numbers::default(), UnitSystem::Us);
            for line in rules.lines {
                assert_eq!(line.verdict, Verdict::NotEnoughInformation, "{}", line.what);
            }
        }
    }
}

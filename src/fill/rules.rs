//! Published thresholds, and which of them a stack crosses.
//!
//! The thresholds are data: `rules.toml` beside this file. Nothing here decides what is allowed.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::compared::{
    AgainstThreshold, ComparedLine, ComparedQuantity, Crossed, Notice, Remark, Rules, Threshold,
};
use super::toml_file;
use crate::error::{Error, Fault, Result};
use crate::units::{Dimension, parse};

const BUILT_IN: &str = include_str!("rules.toml");

/// The rules that are known, by name.
#[derive(Debug, Clone)]
pub struct RuleBook {
    all: BTreeMap<String, RuleSet>,
}

/// Thresholds of one body of rules.
#[derive(Debug, Clone)]
pub struct RuleSet {
    title: String,
    rules: Vec<Rule>,
}

/// One threshold, and where it is from.
#[derive(Debug, Clone)]
struct Rule {
    what: String,
    test: Test,
    notice: Option<Notice>,
    means: String,
    citation: String,
    source: String,
    date: String,
    verified: bool,
}

/// What is compared, and with what.
#[derive(Debug, Clone)]
enum Test {
    PackageMass(Threshold),
    /// Of packages from a mass on.
    AreaDensity {
        threshold: Threshold,
        of_mass: Threshold,
    },
    /// Of all packages, where there are that many or more.
    PayloadMass {
        threshold: Threshold,
        packages: usize,
    },
    LineStrength(Threshold),
    LineLength(Threshold),
    GasCapacity(Threshold),
    BurstDiameter(Threshold),
    BurstAltitude(Threshold),
    Notice,
}

/// What rules look at in a stack.
#[derive(Debug, Clone, Default)]
pub struct Numbers {
    /// The packages.
    pub packages: Vec<Package>,
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

/// A package of the load.
#[derive(Debug, Clone, PartialEq)]
pub struct Package {
    /// Its name.
    pub name: String,
    /// Its mass, kg.
    pub mass_kg: f64,
    /// Area of its smallest face, m2, if known.
    pub smallest_face_m2: Option<f64>,
}

impl ComparedQuantity {
    fn dimension(self) -> Dimension {
        match self {
            ComparedQuantity::PackageMass | ComparedQuantity::PayloadMass => Dimension::Mass,
            ComparedQuantity::AreaDensity => Dimension::AreaDensity,
            ComparedQuantity::LineStrength => Dimension::Force,
            ComparedQuantity::LineLength
            | ComparedQuantity::BurstDiameter
            | ComparedQuantity::BurstAltitude => Dimension::Length,
            ComparedQuantity::GasCapacity => Dimension::Volume,
            ComparedQuantity::Notice => Dimension::Time,
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
        // A set of the same name is replaced whole, or lines of both would stand side by side.
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

/// A file of rules, before its quantities are read.
type WrittenRules = BTreeMap<String, WrittenSet>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenSet {
    title: String,
    line: Vec<WrittenLine>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenLine {
    what: String,
    compare: ComparedQuantity,
    threshold: Option<String>,
    #[serde(default)]
    crossed: Crossed,
    package_mass: Option<String>,
    #[serde(default)]
    package_mass_crossed: Crossed,
    #[serde(default)]
    packages: usize,
    from: Option<String>,
    until: Option<String>,
    means: String,
    citation: String,
    source: String,
    date: String,
    verified: bool,
}

fn read(name: &str, text: &str) -> Result<BTreeMap<String, RuleSet>> {
    let expected = "rules as in src/fill/rules.toml";
    let written: WrittenRules = toml_file(name, text, expected)?;
    // A file of titles alone would pass for rules that nothing crosses.
    if written.values().all(|set| set.line.is_empty()) {
        return Err(Fault::new(name, "no rules", expected).into());
    }
    let mut faults = Vec::new();
    let mut all = BTreeMap::new();
    for (rules, set) in written {
        let read = set.line.into_iter().filter_map(|line| {
            let mut reader = LineReader {
                file: name,
                place: format!("{rules}, {}", line.what),
                faults: &mut faults,
            };
            reader.rule(line)
        });
        let set = RuleSet {
            title: set.title,
            rules: read.collect(),
        };
        all.insert(rules, set);
    }
    match faults.is_empty() {
        true => Ok(all),
        false => Err(Error::Faults(faults)),
    }
}

/// Reads the quantities of a line and keeps what is wrong with them.
struct LineReader<'a> {
    file: &'a str,
    /// The rules and the line, for messages.
    place: String,
    faults: &'a mut Vec<Fault>,
}

impl LineReader<'_> {
    /// The rule of a line; `None` where a quantity is missing or wrong.
    fn rule(&mut self, line: WrittenLine) -> Option<Rule> {
        let quantity = line.compare;
        // A notice has times in place of a threshold: no number of the stack is held against it.
        let is_notice = quantity == ComparedQuantity::Notice;
        let by_face = quantity == ComparedQuantity::AreaDensity;
        let dimension = quantity.dimension();
        let threshold = self.threshold(
            ("threshold", line.threshold),
            (dimension, line.crossed),
            !is_notice,
        );
        let of_mass = self.threshold(
            ("package_mass", line.package_mass),
            (Dimension::Mass, line.package_mass_crossed),
            by_face,
        );
        let earliest_s = self.quantity("from", line.from.as_deref(), Dimension::Time, false);
        let latest_s = self.quantity("until", line.until.as_deref(), Dimension::Time, is_notice);
        let test = match quantity {
            ComparedQuantity::Notice => Test::Notice,
            ComparedQuantity::AreaDensity => Test::AreaDensity {
                threshold: threshold?,
                of_mass: of_mass?,
            },
            ComparedQuantity::PayloadMass => Test::PayloadMass {
                threshold: threshold?,
                packages: line.packages,
            },
            ComparedQuantity::PackageMass => Test::PackageMass(threshold?),
            ComparedQuantity::LineStrength => Test::LineStrength(threshold?),
            ComparedQuantity::LineLength => Test::LineLength(threshold?),
            ComparedQuantity::GasCapacity => Test::GasCapacity(threshold?),
            ComparedQuantity::BurstDiameter => Test::BurstDiameter(threshold?),
            ComparedQuantity::BurstAltitude => Test::BurstAltitude(threshold?),
        };
        Some(Rule {
            what: line.what,
            test,
            notice: latest_s.map(|latest_s| Notice {
                earliest_s,
                latest_s,
            }),
            means: line.means,
            citation: line.citation,
            source: line.source,
            date: line.date,
            verified: line.verified,
        })
    }

    fn threshold(
        &mut self,
        (key, published): (&str, Option<String>),
        (dimension, crossed): (Dimension, Crossed),
        needed: bool,
    ) -> Option<Threshold> {
        let si = self.quantity(key, published.as_deref(), dimension, needed)?;
        Some(Threshold {
            published: published?,
            si,
            crossed,
        })
    }

    /// A quantity above zero, in SI.
    fn quantity(
        &mut self,
        key: &str,
        text: Option<&str>,
        dimension: Dimension,
        needed: bool,
    ) -> Option<f64> {
        let (found, expected) = match text {
            None if needed => ("nothing".to_owned(), format!("{key} with a unit")),
            None => return None,
            Some(text) => match parse(text, dimension) {
                // A threshold of nothing would be crossed by every stack.
                Ok(value) if value > 0.0 => return Some(value),
                Ok(_) => (format!("\"{text}\""), "a number above zero".to_owned()),
                Err(wrong) => (wrong.found, wrong.expected),
            },
        };
        let key = format!("{}, {key}", self.place);
        self.faults
            .push(Fault::new(self.file, found, expected).of_key(key));
        None
    }
}

/// What came of a comparison.
struct Outcome {
    value: Option<f64>,
    verdict: AgainstThreshold,
    remarks: Vec<Remark>,
}

impl Outcome {
    fn unknown(value: Option<f64>, remark: Remark) -> Outcome {
        Outcome {
            value,
            verdict: AgainstThreshold::NotEnoughInformation,
            remarks: vec![remark],
        }
    }

    fn below(value: Option<f64>, remark: Remark) -> Outcome {
        Outcome {
            value,
            verdict: AgainstThreshold::Below,
            remarks: vec![remark],
        }
    }

    /// A known number against its threshold, with what to know of it first.
    fn known(threshold: &Threshold, value: f64, mut remarks: Vec<Remark>) -> Outcome {
        // Just at it, rules differ: "more than" or "or more". Which it is decides, and is told.
        if threshold.is_met_by(value) {
            remarks.push(Remark::AtThreshold {
                crossed: threshold.crossed,
            });
        }
        Outcome {
            value: Some(value),
            verdict: match threshold.is_crossed_by(value) {
                true => AgainstThreshold::Above,
                false => AgainstThreshold::Below,
            },
            remarks,
        }
    }

    /// A number that may not be known.
    fn of(threshold: &Threshold, value: Option<f64>, missing: Remark) -> Outcome {
        match value {
            Some(value) => Outcome::known(threshold, value, Vec::new()),
            None => Outcome::unknown(None, missing),
        }
    }
}

impl RuleSet {
    /// Compares a stack with every line.
    pub fn compare(&self, numbers: &Numbers) -> Rules {
        Rules {
            title: self.title.clone(),
            // Lines that are far from crossed, too: a reader sees that they were looked at.
            lines: self.rules.iter().map(|rule| rule.line(numbers)).collect(),
        }
    }
}

impl Rule {
    fn line(&self, numbers: &Numbers) -> ComparedLine {
        let outcome = self.test.outcome(numbers);
        ComparedLine {
            what: self.what.clone(),
            quantity: self.test.quantity(),
            verdict: outcome.verdict,
            number_si: outcome.value,
            threshold: self.test.threshold().cloned(),
            notice: self.notice,
            remarks: outcome.remarks,
            means: self.means.clone(),
            citation: self.citation.clone(),
            source: self.source.clone(),
            date: self.date.clone(),
            unverified: !self.verified,
        }
    }
}

impl Test {
    fn quantity(&self) -> ComparedQuantity {
        match self {
            Test::PackageMass(_) => ComparedQuantity::PackageMass,
            Test::AreaDensity { .. } => ComparedQuantity::AreaDensity,
            Test::PayloadMass { .. } => ComparedQuantity::PayloadMass,
            Test::LineStrength(_) => ComparedQuantity::LineStrength,
            Test::LineLength(_) => ComparedQuantity::LineLength,
            Test::GasCapacity(_) => ComparedQuantity::GasCapacity,
            Test::BurstDiameter(_) => ComparedQuantity::BurstDiameter,
            Test::BurstAltitude(_) => ComparedQuantity::BurstAltitude,
            Test::Notice => ComparedQuantity::Notice,
        }
    }

    fn threshold(&self) -> Option<&Threshold> {
        match self {
            Test::PackageMass(threshold)
            | Test::AreaDensity { threshold, .. }
            | Test::PayloadMass { threshold, .. }
            | Test::LineStrength(threshold)
            | Test::LineLength(threshold)
            | Test::GasCapacity(threshold)
            | Test::BurstDiameter(threshold)
            | Test::BurstAltitude(threshold) => Some(threshold),
            Test::Notice => None,
        }
    }

    fn outcome(&self, numbers: &Numbers) -> Outcome {
        match self {
            Test::PackageMass(threshold) => heaviest(threshold, numbers),
            Test::AreaDensity { threshold, of_mass } => by_face(threshold, of_mass, numbers),
            Test::PayloadMass {
                threshold,
                packages,
            } => payload(threshold, *packages, numbers),
            Test::LineStrength(threshold) => weakest(threshold, numbers),
            Test::LineLength(threshold) => length(threshold, numbers),
            Test::GasCapacity(threshold) => capacity(threshold, numbers),
            Test::BurstDiameter(threshold) => {
                Outcome::of(threshold, numbers.burst_diameter_m, Remark::NoBurstDiameter)
            }
            Test::BurstAltitude(threshold) => {
                Outcome::of(threshold, numbers.burst_m, Remark::NoFlight)
            }
            Test::Notice => Outcome::unknown(None, Remark::NoticeNotInPlan),
        }
    }
}

fn heaviest(threshold: &Threshold, numbers: &Numbers) -> Outcome {
    let packages = numbers.packages.iter();
    let Some(package) = packages.max_by(|a, b| a.mass_kg.total_cmp(&b.mass_kg)) else {
        return Outcome::unknown(None, Remark::NoPackage);
    };
    Outcome::known(threshold, package.mass_kg, vec![of_package(package)])
}

fn of_package(package: &Package) -> Remark {
    Remark::OfPackage {
        name: package.name.clone(),
    }
}

fn by_face(threshold: &Threshold, of_mass: &Threshold, numbers: &Numbers) -> Outcome {
    if numbers.packages.is_empty() {
        return Outcome::unknown(None, Remark::NoPackage);
    }
    let packages = numbers.packages.iter();
    let heavy: Vec<&Package> = packages
        .filter(|p| of_mass.is_crossed_by(p.mass_kg))
        .collect();
    let dense = heavy
        .iter()
        .filter_map(|p| Some((*p, p.mass_kg / p.smallest_face_m2?)));
    let densest = dense.max_by(|a, b| a.1.total_cmp(&b.1));
    let faceless = heavy.iter().filter(|p| p.smallest_face_m2.is_none());
    let names: Vec<String> = faceless.map(|p| p.name.clone()).collect();
    let known = densest
        .map(|(package, density)| Outcome::known(threshold, density, vec![of_package(package)]));
    match known {
        // Whatever the others are, one is above.
        Some(outcome) if outcome.verdict == AgainstThreshold::Above => outcome,
        // One of those without a face may be above.
        known if !names.is_empty() => Outcome::unknown(
            known.and_then(|outcome| outcome.value),
            Remark::NoSmallestFace { names },
        ),
        Some(outcome) => outcome,
        // Whatever their faces are, the line is not about packages so light.
        None => Outcome::below(
            None,
            Remark::NoPackageOf {
                mass: of_mass.clone(),
            },
        ),
    }
}

fn payload(threshold: &Threshold, least: usize, numbers: &Numbers) -> Outcome {
    let packages = numbers.packages.len();
    if packages == 0 {
        return Outcome::unknown(None, Remark::NoPackage);
    }
    let packages_kg: f64 = numbers.packages.iter().map(|p| p.mass_kg).sum();
    if packages < least {
        return Outcome::below(Some(packages_kg), Remark::FewPackages { packages, least });
    }
    let all_kg = packages_kg + numbers.other_kg;
    // The texts do not say whether lines and parachute count, so where they decide nothing is said.
    if threshold.is_crossed_by(packages_kg) != threshold.is_crossed_by(all_kg) {
        let remark = Remark::PackagesOrAll {
            packages_kg,
            all_kg,
        };
        return Outcome::unknown(Some(packages_kg), remark);
    }
    Outcome::known(threshold, packages_kg, Vec::new())
}

/// The suspension parts where it is weakest.
fn weakest(threshold: &Threshold, numbers: &Numbers) -> Outcome {
    let known = numbers.lines_n.iter().flatten().copied();
    let Some(weakest) = known.reduce(f64::min) else {
        return Outcome::unknown(None, Remark::NoLineStrength);
    };
    let some_unknown = numbers.lines_n.iter().any(Option::is_none);
    // A line of unknown strength may be weaker still: only a threshold not crossed is certain.
    if some_unknown && threshold.is_crossed_by(weakest) {
        return Outcome::unknown(Some(weakest), Remark::WeakestKnownLine);
    }
    Outcome::known(threshold, weakest, vec![Remark::OfWeakestLine])
}

fn length(threshold: &Threshold, numbers: &Numbers) -> Outcome {
    if numbers.lines_m.is_empty() {
        return Outcome::unknown(None, Remark::NoLine);
    }
    let known: f64 = numbers.lines_m.iter().flatten().sum();
    let some_unknown = numbers.lines_m.iter().any(Option::is_none);
    // Unknown lengths can only add: a threshold that is crossed already stays so.
    if some_unknown && !threshold.is_crossed_by(known) {
        return Outcome::unknown(Some(known), Remark::NoLengthOfSome);
    }
    Outcome::known(threshold, known, vec![Remark::OfAllLines])
}

/// What a balloon can carry is its volume at the burst; the texts read do not say so.
fn capacity(threshold: &Threshold, numbers: &Numbers) -> Outcome {
    let release_m3 = numbers.release_m3;
    let Some(capacity_m3) = numbers.capacity_m3 else {
        return Outcome::unknown(None, Remark::NoBurstDiameter);
    };
    if threshold.is_crossed_by(capacity_m3) != threshold.is_crossed_by(release_m3) {
        return Outcome::unknown(Some(capacity_m3), Remark::BurstOrRelease { release_m3 });
    }
    let filled = Remark::FilledAtRelease {
        volume_m3: release_m3,
    };
    Outcome::known(threshold, capacity_m3, vec![Remark::VolumeAtBurst, filled])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_programs_own_rules_are_whole() {
        let book = RuleBook::built_in().unwrap();
        for name in ["us", "icao", "uk", "canada"] {
            assert!(!book.get(name).unwrap().rules.is_empty());
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
            let rules = book.get(name).unwrap().compare(&Numbers::default());
            for line in rules.lines {
                assert_eq!(
                    line.verdict,
                    AgainstThreshold::NotEnoughInformation,
                    "{}",
                    line.what
                );
            }
        }
    }
}

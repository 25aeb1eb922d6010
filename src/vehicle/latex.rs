//! Latex balloons by mass: at which diameter they burst, by published tables.
//!
//! The tables are data: `latex.toml` beside this file, and a user's own of the same form before it.

use serde::Deserialize;

use crate::error::{Error, Fault, Result};
use crate::units::{Dimension, parse};

const BUILT_IN: &str = include_str!("latex.toml");

/// Balloons of one published table.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// Its name, for people.
    pub name: String,
    /// Where the figures are from.
    pub source: String,
    /// How the source was read.
    pub read: String,
    /// Masses (kg), rising, and diameters at the burst (m).
    pub balloons: Vec<(f64, f64)>,
}

/// A diameter at the burst, and whose it is.
#[derive(Debug, Clone, PartialEq)]
pub struct TableDiameter {
    /// Diameter at the burst, m.
    pub burst_diameter_m: f64,
    /// The table it is from, in words: how it was found, source and how that was read.
    pub from: String,
}

/// The tables, in the order in which they are asked.
#[derive(Debug, Clone, PartialEq)]
pub struct LatexTable {
    /// One table after the other.
    pub series: Vec<Series>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    series: Vec<Written>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    name: String,
    source: String,
    read: String,
    balloons: Vec<[String; 2]>,
}

impl LatexTable {
    /// The program's tables.
    ///
    /// # Errors
    ///
    /// None, as long as the program's own file is right; a test holds that.
    pub fn built_in() -> Result<LatexTable> {
        let series = read("latex.toml", BUILT_IN)?;
        Ok(LatexTable { series })
    }

    /// With the tables of a file before these.
    ///
    /// # Errors
    ///
    /// What is wrong with the file, and where.
    pub fn with(mut self, name: &str, text: &str) -> Result<LatexTable> {
        let mut series = read(name, text)?;
        series.append(&mut self.series);
        self.series = series;
        Ok(self)
    }

    /// The burst diameter of a balloon by the first table that reaches its mass: as it stands
    /// there, or between its neighbours (a power of the mass). `None` where none reaches it.
    pub fn look_up(&self, mass_kg: f64) -> Option<TableDiameter> {
        self.series.iter().find_map(|s| s.look_up(mass_kg))
    }

    /// The balloons next lighter and next heavier than a mass, each mass (kg) and burst diameter
    /// (m), by the first table that reaches the mass; `None` each where there is none.
    pub fn neighbours(&self, mass_kg: f64) -> [Option<(f64, f64)>; 2] {
        let Some(series) = self.series.iter().find(|s| s.look_up(mass_kg).is_some()) else {
            return [None; 2];
        };
        // A balloon on the scales is a little lighter or heavier than its name.
        let (light, heavy) = (0.94 * mass_kg, 1.06 * mass_kg);
        let balloons = &series.balloons;
        [
            balloons.iter().rev().find(|b| b.0 < light).copied(),
            balloons.iter().find(|b| b.0 > heavy).copied(),
        ]
    }
}

impl Series {
    fn look_up(&self, mass_kg: f64) -> Option<TableDiameter> {
        let above = self
            .balloons
            .iter()
            // Masses come from several units: what people call the same may differ in the last
            // bits.
            .position(|b| b.0 >= mass_kg * (1.0 - 1e-9))?;
        let (mass, diameter) = self.balloons[above];
        let looked = |burst_diameter_m, how: &str| TableDiameter {
            burst_diameter_m,
            from: format!("{how} {} ({})", self.source, self.read),
        };
        if (mass / mass_kg - 1.0).abs() < 1e-9 {
            return Some(looked(diameter, "as in"));
        }
        // Lighter than the lightest is not guessed: the series says nothing of it.
        let below = self.balloons[above.checked_sub(1)?];
        let share = (mass_kg / below.0).ln() / (mass / below.0).ln();
        let between = below.1 * (diameter / below.1).powf(share);
        Some(looked(between, "between the neighbours in"))
    }
}

/// The series of a file; all that is wrong with it at once.
fn read(name: &str, text: &str) -> Result<Vec<Series>> {
    let expected = "[[series]] with name, source, read and balloons";
    let file: File =
        toml::from_str(text).map_err(|wrong| Fault::of_toml(name, text, &wrong, expected))?;
    let mut faults = Vec::new();
    let mut all = Vec::new();
    for series in file.series {
        let mut fault = |found: String, expected: &str| {
            faults.push(Fault::new(name, found, expected).of_key(series.name.clone()));
        };
        let mut balloons = Vec::new();
        for [mass, diameter] in &series.balloons {
            let read = parse(mass, Dimension::Mass)
                .and_then(|kg| Ok((kg, parse(diameter, Dimension::Length)?)));
            match read {
                // Wider than any latex balloon, so what lies outside has a wrong unit or a slip.
                Ok((kg, m)) if (0.005..=20.0).contains(&kg) && (0.3..=30.0).contains(&m) => {
                    balloons.push((kg, m));
                }
                Ok(_) => fault(
                    format!("\"{mass}\", \"{diameter}\""),
                    "masses from 5 g to 20 kg and diameters from 0.3 to 30 m",
                ),
                Err(wrong) => fault(wrong.found, &wrong.expected),
            }
        }
        if series.source.trim().is_empty() {
            fault("no source".into(), "where the figures are from");
        }
        if balloons.is_empty() || !balloons.windows(2).all(|w| w[0].0 < w[1].0) {
            fault(
                "masses that do not rise".into(),
                "balloons by rising mass, at least one",
            );
        }
        all.push(Series {
            name: series.name,
            source: series.source,
            read: series.read,
            balloons,
        });
    }
    if faults.is_empty() {
        Ok(all)
    } else {
        Err(Error::Faults(faults))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_printed_between_and_not_beyond() {
        let table = LatexTable::built_in().unwrap();
        let at = |kg| table.look_up(kg).map(|l| l.burst_diameter_m);
        assert_eq!(at(1.2), Some(8.63));
        // Only the second series has it.
        assert_eq!(at(0.1), Some(1.80));
        let between = at(1.35).unwrap();
        assert!((8.63..9.44).contains(&between), "{between}");
        assert_eq!(at(5.0), None);
        assert_eq!(at(0.05), None);
        assert_eq!(
            table.neighbours(1.21),
            [Some((1.0, 7.86)), Some((1.5, 9.44))]
        );
        assert_eq!(table.neighbours(3.0), [Some((2.0, 10.54)), None]);
    }

    #[test]
    fn a_users_table_comes_first_and_its_faults_are_told() {
        let mine = "[[series]]\nname = \"mine\"\nsource = \"measured by us\"\nread = \"at the source\"\nballoons = [[\"1200 g\", \"8.1 m\"]]\n";
        let table = LatexTable::built_in()
            .unwrap()
            .with("mine.toml", mine)
            .unwrap();
        let looked = table.look_up(1.2).unwrap();
        assert_eq!(looked.burst_diameter_m, 8.1);
        assert!(looked.from.contains("measured by us"));
        assert_eq!(table.look_up(1.0).unwrap().burst_diameter_m, 7.86);
        for (from, to, found) in [
            ("8.1 m", "8.1", "without a unit"),
            ("8.1 m", "81 m", "81 m"),
            ("measured by us", "", "no source"),
            ("read =", "reed =", "reed"),
        ] {
            let wrong = LatexTable::built_in()
                .unwrap()
                .with("mine.toml", &mine.replace(from, to));
            let message = wrong.unwrap_err().to_string();
            assert!(
                message.contains(found) && message.contains("mine.toml"),
                "{message}"
            );
        }
    }
}

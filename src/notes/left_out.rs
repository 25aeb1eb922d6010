//! Winds that were given and are left out, as data; lists of what is in a file and errors of readers say
//! the same words.

use std::fmt;

use jiff::Timestamp;
use serde::Serialize;

/// Winds that were given and are left out.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "what", rename_all = "snake_case")]
#[non_exhaustive]
pub enum LeftOut {
    /// Fields of a forecast.
    Fields {
        /// How many.
        count: usize,
        /// Why.
        why: NoField,
    },
    /// One component of the wind without the other.
    LoneComponent {
        /// Which there is.
        component: Component,
        /// Where.
        level: Level,
    },
    /// Levels with a wind but no height.
    WithoutHeight {
        /// Their pressures, Pa.
        levels_pa: Vec<u32>,
    },
    /// Winds and temperatures that no air has.
    Impossible {
        /// The pressures of their levels, Pa.
        levels_pa: Vec<u32>,
    },
    /// Levels that most members of an ensemble lack.
    OfFewMembers {
        /// Their pressures, Pa.
        levels_pa: Vec<u32>,
    },
    /// A member of an ensemble.
    Member {
        /// Its number, where it has one.
        member: Option<u32>,
        /// Why.
        #[serde(flatten)]
        why: NoMember,
    },
    /// A file of an ensemble that cannot be read.
    File {
        /// What is wrong with it, as errors say it.
        fault: String,
    },
    /// Soundings that do not come into a field of several.
    Soundings {
        /// How many.
        count: usize,
        /// Why.
        #[serde(flatten)]
        why: NoSounding,
    },
    /// An ascent among others of a file.
    Ascent {
        /// What is wrong with it, as errors say it.
        fault: String,
    },
    /// More such ascents.
    MoreAscents {
        /// How many.
        count: usize,
        /// Of which file.
        file: String,
    },
}

impl LeftOut {
    /// Fields of a forecast, if there are any.
    pub fn fields(count: usize, why: NoField) -> Option<LeftOut> {
        (count > 0).then_some(LeftOut::Fields { count, why })
    }
}

/// Why fields of a forecast are left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NoField {
    /// They are on other grids than the winds.
    OtherGrid,
    /// They are of older runs than the winds of their time.
    OlderRun,
    /// They are of newer runs, which have no winds for their time.
    NewerRun,
    /// They are given twice.
    Repeated,
    /// They are for times, or of members, that have no wind on levels of pressure.
    NoWindAloft,
    /// They are the mean of an ensemble, whose members are there.
    EnsembleMean,
}

/// Why soundings do not come into a field of several.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "why", rename_all = "snake_case")]
pub enum NoSounding {
    /// Nothing tells where or when they were made.
    UnknownPlaceOrTime,
    /// They are farther from the release in time than this.
    OtherTime {
        /// Before or after it, s.
        within_s: f64,
    },
    /// Other stations lie nearer to the site.
    FartherStations {
        /// How many of the nearest count.
        nearest: usize,
    },
}

/// A component of the wind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Component {
    /// Towards the east.
    East,
    /// Towards the north.
    North,
}

/// A level of a forecast.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Of this pressure, Pa.
    PressurePa(u32),
    /// The ground.
    Ground,
    /// So high above the ground, m.
    AboveGroundM(u16),
}

/// Why a member of an ensemble is left out.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "why", rename_all = "snake_case")]
pub enum NoMember {
    /// It lacks levels.
    Levels {
        /// Their pressures, Pa.
        missing_pa: Vec<u32>,
    },
    /// It lacks levels at one time that it has at others.
    LevelsAt {
        /// The time.
        time: Timestamp,
        /// Their pressures, Pa.
        missing_pa: Vec<u32>,
    },
    /// It does not cover the flight.
    Hours {
        /// The last time it has.
        ends: Timestamp,
    },
    /// It has no winds.
    NoWinds,
    /// It cannot be decoded.
    Damaged {
        /// What is wrong with it, as errors say it.
        fault: String,
    },
}

/// Levels of pressure in words.
fn levels(levels_pa: &[u32]) -> String {
    let names = levels_pa
        .iter()
        .map(|pa| Level::PressurePa(*pa).to_string());
    names.collect::<Vec<String>>().join(", ")
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Level::PressurePa(pa) => write!(f, "{} hPa", f64::from(*pa) / 100.0),
            Level::Ground => f.write_str("the ground"),
            Level::AboveGroundM(m) => write!(f, "{m} m above the ground"),
        }
    }
}

impl fmt::Display for NoField {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            NoField::OtherGrid => "on other grids than the winds",
            NoField::OlderRun => "of older runs, for times that a newer run gives",
            NoField::NewerRun => "of newer runs, for times that only an older run has winds for",
            NoField::Repeated => "given twice",
            NoField::NoWindAloft => {
                "for times or of members that have no wind on levels of pressure"
            }
            NoField::EnsembleMean => "of the mean of an ensemble, beside its members",
        })
    }
}

impl fmt::Display for NoSounding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NoSounding::UnknownPlaceOrTime => {
                f.write_str("whose place or time is not known, beside others of known ones")
            }
            NoSounding::OtherTime { within_s } => {
                let hours = within_s / 3_600.0;
                write!(f, "more than {hours:.0} h before or after the release")
            }
            NoSounding::FartherStations { nearest } => {
                write!(f, "of stations farther away than the {nearest} nearest")
            }
        }
    }
}

impl fmt::Display for NoMember {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NoMember::Levels { missing_pa } => {
                write!(f, "no height or wind at {}", levels(missing_pa))
            }
            NoMember::LevelsAt { time, missing_pa } => write!(
                f,
                "height or wind missing for {time} at {}, which other times have",
                levels(missing_pa)
            ),
            NoMember::Hours { ends } => write!(
                f,
                "it ends at {ends} or has a gap, and the flight is not covered"
            ),
            NoMember::NoWinds => f.write_str("no winds"),
            NoMember::Damaged { fault } => f.write_str(fault),
        }
    }
}

impl fmt::Display for LeftOut {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LeftOut::Fields { count: 1, why } => write!(f, "1 field {why}"),
            LeftOut::Fields { count, why } => write!(f, "{count} fields {why}"),
            LeftOut::LoneComponent { component, level } => {
                let name = match component {
                    Component::East => "eastward",
                    Component::North => "northward",
                };
                write!(f, "the {name} wind at {level}, without the other component")
            }
            LeftOut::WithoutHeight { levels_pa } => {
                write!(f, "{}: wind without height", levels(levels_pa))
            }
            LeftOut::Impossible { levels_pa } => write!(
                f,
                "winds of more than 200 m/s, or temperatures below 130 K or above 340 K, at {}: no air has these, as what \
                 stands for missing values",
                levels(levels_pa)
            ),
            LeftOut::OfFewMembers { levels_pa } => {
                write!(f, "{}: most members lack it", levels(levels_pa))
            }
            LeftOut::Member { member, why } => match member {
                Some(number) => write!(f, "member {number}: {why}"),
                None => write!(f, "the member without number: {why}"),
            },
            LeftOut::File { fault } => f.write_str(fault),
            LeftOut::Soundings { count, why } => {
                let plural = if *count == 1 { "" } else { "s" };
                write!(f, "{count} sounding{plural} {why}")
            }
            LeftOut::Ascent { fault } => write!(f, "an ascent: {fault}"),
            LeftOut::MoreAscents { count, file } => write!(f, "{count} more ascents of {file}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_and_numbers_stand_beside_each_other() {
        let json = |what: &LeftOut| serde_json::to_value(what).unwrap();
        let ends = "2024-06-03T18:00:00Z".parse().unwrap();
        let member = LeftOut::Member {
            member: Some(3),
            why: NoMember::Hours { ends },
        };
        assert_eq!(
            json(&member),
            serde_json::json!({"what": "member", "member": 3, "why": "hours", "ends": "2024-06-03T18:00:00Z"})
        );
        let lone = LeftOut::LoneComponent {
            component: Component::North,
            level: Level::PressurePa(92_500),
        };
        assert_eq!(
            json(&lone),
            serde_json::json!({"what": "lone_component", "component": "north", "level": {"pressure_pa": 92_500}})
        );
        assert_eq!(
            lone.to_string(),
            "the northward wind at 925 hPa, without the other component"
        );
    }
}

//! How big a road is.

use std::fmt;

/// The class of a road, the busiest first, in the words of OpenStreetMap.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RoadClass {
    /// Motorways and the like: carriageways apart, no crossings.
    Motorway,
    /// The most important other roads.
    Trunk,
    /// Roads between large towns.
    Primary,
    /// Roads between towns.
    Secondary,
    /// Roads between villages.
    Tertiary,
    /// All other roads one may drive on.
    Local,
    /// A road of a class that the layer does not tell.
    Unknown,
}

impl RoadClass {
    /// All classes, the busiest first.
    pub const ALL: [RoadClass; 7] = [
        RoadClass::Motorway,
        RoadClass::Trunk,
        RoadClass::Primary,
        RoadClass::Secondary,
        RoadClass::Tertiary,
        RoadClass::Local,
        RoadClass::Unknown,
    ];

    /// The class for a value of OpenStreetMap's `highway`; `None` for ways that are not for cars
    /// (paths, tracks, stairs) or that do not exist yet.
    ///
    /// # References
    ///
    /// OpenStreetMap wiki, "Key:highway": the values for roads, links and special roads.
    pub fn of_highway(value: &str) -> Option<RoadClass> {
        // A ramp is as busy as the road it leads to.
        Some(match value.strip_suffix("_link").unwrap_or(value) {
            "motorway" => RoadClass::Motorway,
            "trunk" => RoadClass::Trunk,
            "primary" => RoadClass::Primary,
            "secondary" => RoadClass::Secondary,
            "tertiary" => RoadClass::Tertiary,
            "unclassified" | "residential" | "living_street" | "service" | "road" => {
                RoadClass::Local
            }
            _ => return None,
        })
    }

    /// The class for a value of an attribute that a user names: a word of OpenStreetMap, or
    /// "local"; [`RoadClass::Unknown`] for anything else; `None` for ways that are not for cars.
    pub fn of_word(value: &str) -> Option<RoadClass> {
        let word = value.trim().to_ascii_lowercase();
        match word.as_str() {
            "local" => Some(RoadClass::Local),
            // Downloads of OpenStreetMap number their kinds of tracks: "track_grade3".
            way if NOT_FOR_CARS.contains(&way) || way.starts_with("track") => None,
            _ => Some(RoadClass::of_highway(&word).unwrap_or(RoadClass::Unknown)),
        }
    }
}

/// Words of OpenStreetMap for ways that no car drives on: not made for them, or not there yet.
const NOT_FOR_CARS: [&str; 12] = [
    "footway",
    "path",
    "steps",
    "cycleway",
    "bridleway",
    "pedestrian",
    "corridor",
    "platform",
    "construction",
    "proposed",
    "raceway",
    "abandoned",
];

impl fmt::Display for RoadClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            RoadClass::Motorway => "motorway",
            RoadClass::Trunk => "trunk",
            RoadClass::Primary => "primary",
            RoadClass::Secondary => "secondary",
            RoadClass::Tertiary => "tertiary",
            RoadClass::Local => "local",
            RoadClass::Unknown => "unknown",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_understood() {
        for class in RoadClass::ALL {
            assert_eq!(RoadClass::of_word(&class.to_string()), Some(class));
        }
        assert_eq!(
            RoadClass::of_highway("motorway_link"),
            Some(RoadClass::Motorway)
        );
        assert_eq!(RoadClass::of_highway("residential"), Some(RoadClass::Local));
        for path in ["footway", "track", "construction", "proposed", ""] {
            assert_eq!(RoadClass::of_highway(path), None, "{path}");
        }
        assert_eq!(RoadClass::of_word(" Primary "), Some(RoadClass::Primary));
        assert_eq!(RoadClass::of_word("Kreisstrasse"), Some(RoadClass::Unknown));
        for path in ["footway", "Steps", "track", "track_grade3", "construction"] {
            assert_eq!(RoadClass::of_word(path), None, "{path}");
        }
    }
}

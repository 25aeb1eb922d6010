//! What the tags of OpenStreetMap say a thing is.
//!
//! # References
//!
//! OpenStreetMap wiki, "Map features": highway, aeroway, natural, water, waterway, landuse, power,
//! place.

use super::{Kind, RoadClass};

/// What a thing is, from its tags.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Meaning {
    pub kind: Kind,
    pub class: RoadClass,
    /// Whether a closed way is the area inside, not only the line.
    pub area: bool,
    pub name: String,
}

/// The meaning of a way or an area; `None` when it is nothing that counts here.
pub(super) fn meaning<'a>(tags: impl Iterator<Item = (&'a str, &'a str)>) -> Option<Meaning> {
    let mut found: Option<(Kind, RoadClass, bool)> = None;
    let mut name = "";
    let mut number = "";
    // `water=river` only tells more about `natural=water`, and tags come in any order.
    let mut river_water = false;
    for (key, value) in tags {
        let this = match (key, value) {
            ("name", value) => {
                name = value;
                None
            }
            ("ref", value) => {
                number = value;
                None
            }
            ("highway", value) => {
                RoadClass::of_highway(value).map(|class| (Kind::Road, class, false))
            }
            ("aeroway", "aerodrome" | "airstrip") => area(Kind::Airfield),
            ("aeroway", "runway") => Some((Kind::Airfield, RoadClass::Unknown, false)),
            ("natural", "water") | ("landuse", "reservoir") => area(Kind::Lake),
            ("water", "river" | "canal") => {
                river_water = true;
                None
            }
            ("waterway", "riverbank") => area(Kind::River),
            ("waterway", "river" | "canal") => Some((Kind::River, RoadClass::Unknown, false)),
            ("landuse", "residential" | "commercial" | "retail" | "industrial") => {
                area(Kind::Urban)
            }
            ("power", "line" | "minor_line") => Some((Kind::PowerLine, RoadClass::Unknown, false)),
            _ => None,
        };
        found = found.or(this);
    }
    let (kind, class, area) = found?;
    let kind = if kind == Kind::Lake && river_water {
        Kind::River
    } else {
        kind
    };
    let name = match kind {
        Kind::Road => road_name(number, name),
        _ => name.to_owned(),
    };
    Some(Meaning {
        kind,
        class,
        area,
        name,
    })
}

/// A road's name with its number before it, as in "A 1, Autoestrada do Norte".
pub(super) fn road_name(number: &str, name: &str) -> String {
    // Several numbers of one road are separated by semicolons.
    let number = number.replace(';', "/");
    match (number.as_str(), name) {
        ("", name) => name.to_owned(),
        (_, "") => number,
        (_, name) => format!("{number}, {name}"),
    }
}

fn area(kind: Kind) -> Option<(Kind, RoadClass, bool)> {
    Some((kind, RoadClass::Unknown, true))
}

/// The name of a node that is a populated place.
pub(super) fn place_name<'a>(tags: impl Iterator<Item = (&'a str, &'a str)>) -> Option<String> {
    let mut place = false;
    let mut name = None;
    for (key, value) in tags {
        match (key, value) {
            ("place", "city" | "town" | "village" | "hamlet" | "suburb") => place = true,
            ("name", value) => name = Some(value.to_owned()),
            _ => {}
        }
    }
    name.filter(|_| place)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(tags: &[(&'static str, &'static str)]) -> Option<(Kind, RoadClass, bool)> {
        meaning(tags.iter().copied()).map(|m| (m.kind, m.class, m.area))
    }

    #[test]
    fn tags_are_understood() {
        let none = RoadClass::Unknown;
        assert_eq!(
            kind(&[("name", "A 9"), ("highway", "motorway")]),
            Some((Kind::Road, RoadClass::Motorway, false))
        );
        assert_eq!(kind(&[("highway", "footway")]), None);
        assert_eq!(
            kind(&[("natural", "water")]),
            Some((Kind::Lake, none, true))
        );
        assert_eq!(
            kind(&[("natural", "water"), ("water", "river")]),
            Some((Kind::River, none, true))
        );
        assert_eq!(kind(&[("waterway", "stream")]), None);
        // As among the built-in airports: a hospital's roof is no airfield.
        assert_eq!(kind(&[("aeroway", "helipad")]), None);
        assert_eq!(kind(&[("aeroway", "heliport")]), None);
        assert_eq!(
            kind(&[("power", "line")]),
            Some((Kind::PowerLine, none, false))
        );
        let town = [("name", "Arco"), ("place", "town")];
        assert_eq!(place_name(town.into_iter()).as_deref(), Some("Arco"));
        assert_eq!(place_name([("name", "Arco")].into_iter()), None);
    }
}

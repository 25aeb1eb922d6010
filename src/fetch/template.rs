//! The URL of a file, with places to fill in.

use super::region::{Region, number};
use crate::geodesy::Position;

/// A URL with `{date}`, `{hour}`, `{step}`, `{step:3}`, `{member}` or `{valid}` in it; of a service that
/// cuts a region out with `{west}`, `{east}`, `{south}`, `{north}`, `{variables}` and `{levels}` as well; of
/// a point forecast with `{lat}`, `{lon}`, `{first}` and `{last}`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Template {
    text: String,
    parts: Vec<Part>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Part {
    Text(String),
    Date,
    Hour,
    /// In hours, with at least this many digits.
    Step(usize),
    Member,
    Valid,
    Edge(Edge),
    Variables,
    Levels,
    Lat,
    Lon,
    First,
    Last,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Edge {
    West,
    East,
    South,
    North,
}

/// What is filled in.
#[derive(Debug, Clone, Copy)]
pub struct Filling<'a> {
    /// Day of the run, as YYYYMMDD.
    pub date: &'a str,
    /// Hour of the run, two digits.
    pub hour: &'a str,
    /// Hours after the run.
    pub step: u32,
    /// The member; empty where there are none.
    pub member: &'a str,
    /// The time the step is for, as 2026-11-25T12:00:00Z.
    pub valid: &'a str,
    /// What is to be cut out, where the URL asks for that.
    pub cut: Option<&'a Cut>,
    /// The place and the hours of a point forecast, where the URL asks for them.
    pub point: Option<&'a Point>,
}

/// A place and hours of which a forecast is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// The place.
    pub place: Position,
    /// The first and the last hour, as 2026-11-25T12:00.
    pub hours: [String; 2],
}

/// A part of a forecast to be cut out by a service.
#[derive(Debug, Clone, PartialEq)]
pub struct Cut {
    /// The region.
    pub region: Region,
    /// The variables, as they stand in the URL.
    pub variables: String,
    /// The levels, as they stand in the URL.
    pub levels: String,
}

impl Template {
    /// Takes a template apart; on failure what was found and what would be right.
    pub fn parse(text: &str) -> Result<Template, (String, &'static str)> {
        if !text.starts_with("https://") && !text.starts_with("http://") {
            let expected = "a URL that begins with https:// or http://";
            return Err((format!("\"{text}\""), expected));
        }
        let expected = "{date}, {hour}, {step}, {step:3}, {member}, {valid}, of files of one field each \
                        {name}, {name:small} and {level}, of a service {west}, \
                        {east}, {south}, {north}, {variables}, {levels}, of a point forecast {lat}, \
                        {lon}, {first}, {last}";
        let mut parts = Vec::new();
        let mut rest = text;
        while let Some((before, from)) = rest.split_once('{') {
            let Some((name, after)) = from.split_once('}') else {
                return Err((format!("{{ without }} in {text}"), expected));
            };
            let Some(part) = placeholder(name) else {
                return Err((format!("{{{name}}}"), expected));
            };
            parts.push(Part::Text(before.to_owned()));
            parts.push(part);
            rest = after;
        }
        parts.push(Part::Text(rest.to_owned()));
        Ok(Template {
            text: text.to_owned(),
            parts,
        })
    }

    /// The template as written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether it depends on the member.
    pub fn has_member(&self) -> bool {
        self.parts.contains(&Part::Member)
    }

    /// Whether it names all edges of a region; `None` if it names some only.
    pub fn has_region(&self) -> Option<bool> {
        let edges = [Edge::West, Edge::East, Edge::South, Edge::North];
        let named = edges.map(|edge| self.parts.contains(&Part::Edge(edge)));
        match named {
            [true, true, true, true] => Some(true),
            [false, false, false, false] => Some(false),
            _ => None,
        }
    }

    /// Whether it names a place.
    pub fn has_place(&self) -> bool {
        self.parts.contains(&Part::Lat) && self.parts.contains(&Part::Lon)
    }

    /// Whether it names variables or levels.
    pub fn has_selection(&self) -> bool {
        let selects = |part: &Part| matches!(part, Part::Variables | Part::Levels);
        self.parts.iter().any(selects)
    }

    /// The URL.
    /// What the filling lacks is left empty.
    pub fn fill(&self, with: Filling) -> String {
        let edge = |edge: Edge| {
            let region = with.cut.map(|c| c.region);
            region.map_or(String::new(), |r| match edge {
                Edge::West => number(r.west),
                Edge::East => number(r.east),
                Edge::South => number(r.south),
                Edge::North => number(r.north),
            })
        };
        let point = |tell: &dyn Fn(&Point) -> String| with.point.map_or(String::new(), tell);
        let parts = self.parts.iter().map(|part| match part {
            Part::Text(text) => text.clone(),
            Part::Date => with.date.to_owned(),
            Part::Hour => with.hour.to_owned(),
            Part::Step(digits) => format!("{:0digits$}", with.step, digits = *digits),
            Part::Member => with.member.to_owned(),
            Part::Valid => with.valid.to_owned(),
            Part::Edge(which) => edge(*which),
            Part::Variables => with.cut.map_or(String::new(), |c| c.variables.clone()),
            Part::Levels => with.cut.map_or(String::new(), |c| c.levels.clone()),
            Part::Lat => point(&|p| number(p.place.lat_deg)),
            Part::Lon => point(&|p| number(p.place.lon_deg)),
            Part::First => point(&|p| p.hours[0].clone()),
            Part::Last => point(&|p| p.hours[1].clone()),
        });
        parts.collect()
    }
}

fn placeholder(name: &str) -> Option<Part> {
    match name {
        "date" => Some(Part::Date),
        "hour" => Some(Part::Hour),
        "step" => Some(Part::Step(1)),
        "member" => Some(Part::Member),
        "valid" => Some(Part::Valid),
        "west" => Some(Part::Edge(Edge::West)),
        "east" => Some(Part::Edge(Edge::East)),
        "south" => Some(Part::Edge(Edge::South)),
        "north" => Some(Part::Edge(Edge::North)),
        "variables" => Some(Part::Variables),
        "levels" => Some(Part::Levels),
        "lat" => Some(Part::Lat),
        "lon" => Some(Part::Lon),
        "first" => Some(Part::First),
        "last" => Some(Part::Last),
        _ => {
            let digits = name.strip_prefix("step:")?.parse().ok()?;
            // No step has more digits, and any width that is asked for would be filled up.
            (1..=6).contains(&digits).then_some(Part::Step(digits))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_template_is_filled() {
        let with = Filling {
            date: "20261125",
            hour: "06",
            step: 9,
            member: "p01",
            valid: "2026-11-25T15:00:00Z",
            cut: None,
            point: None,
        };
        let template =
            Template::parse("https://h/{date}/{hour}/ge{member}.f{step:3}-{step}h").unwrap();
        assert_eq!(template.fill(with), "https://h/20261125/06/gep01.f009-9h");
        assert!(template.has_member());
    }

    #[test]
    fn a_region_is_filled_in() {
        let cut = Cut {
            region: Region {
                south: -0.25,
                north: 10.0,
                west: 175.5,
                east: 181.0,
            },
            variables: "&var_U=on".into(),
            levels: "&lev_1=on".into(),
        };
        let with = Filling {
            date: "20261125",
            hour: "06",
            step: 9,
            member: "",
            valid: "2026-11-25T15:00:00Z",
            cut: Some(&cut),
            point: None,
        };
        let text = "https://h/?t={valid}{variables}{levels}&w={west}&e={east}&s={south}&n={north}";
        let template = Template::parse(text).unwrap();
        assert_eq!(
            template.fill(with),
            "https://h/?t=2026-11-25T15:00:00Z&var_U=on&lev_1=on&w=175.5&e=181&s=-0.25&n=10"
        );
        assert_eq!(template.has_region(), Some(true));
        assert!(template.has_selection());
        let some = Template::parse("https://h/?w={west}").unwrap();
        assert_eq!(some.has_region(), None);
    }

    #[test]
    fn what_is_not_known_is_refused() {
        for wrong in [
            "https://h/{day}",
            "https://h/{step:x}",
            "https://h/{step:9}",
            "https://h/{date",
            "h/{date}",
        ] {
            assert!(Template::parse(wrong).is_err(), "{wrong}");
        }
    }
}

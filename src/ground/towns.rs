//! The built-in towns of the world: the nearest one, those of a region, those of a name.

use std::f64::consts::FRAC_PI_2;
use std::sync::OnceLock;

use super::data;
use super::globe::{Near, SLACK};
use crate::error::{Error, Result};
use crate::geodesy::Position;

/// A built-in town.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Town {
    /// Its name.
    pub name: &'static str,
    /// Where in the world that is.
    pub area: TownArea,
    /// Where.
    pub position: Position,
    /// How many people live there, to two digits; 0 where it is not known.
    pub people: u32,
}

/// A region of a country.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TownArea {
    /// The country's two letters (ISO 3166).
    pub country: &'static str,
    /// The country's name in English.
    pub country_name: &'static str,
    /// The region as addresses have it where that is usual, as in "WY"; else empty.
    pub short: &'static str,
    /// The region's name; may be empty.
    pub name: &'static str,
}

/// All built-in towns.
#[derive(Debug)]
pub struct Towns {
    all: Vec<Town>,
}

/// The built-in towns: those of GeoNames with a thousand people or more, and seats of
/// administrations.
///
/// # Errors
///
/// When the data in the program are damaged.
pub fn towns() -> Result<&'static Towns> {
    // Kept as long as the program runs: towns borrow their names from it.
    static TEXT: OnceLock<String> = OnceLock::new();
    static TOWNS: OnceLock<Option<Towns>> = OnceLock::new();
    let read = || {
        let all = decoded(TEXT.get_or_init(|| data::text(data::PLACES).unwrap_or_default()))?;
        Some(Towns { all })
    };
    TOWNS
        .get_or_init(read)
        .as_ref()
        .ok_or_else(|| Error::CannotDo {
            why: "the places inside the program are damaged".into(),
            remedy: "expected a complete program file; install it again".into(),
        })
}

/// The towns of the packed list: `@country,name` begins a country, `#short,region` a region of it;
/// then a town a line with its name, its way north and east from the town before in thousandths of a degree, its people.
fn decoded(text: &'static str) -> Option<Vec<Town>> {
    let mut all = Vec::new();
    let mut area = TownArea::default();
    let (mut lat, mut lon) = (0_i32, 0_i32);
    for line in text.lines() {
        if let Some(head) = line.strip_prefix('@') {
            (area.country, area.country_name) = head.split_once(',')?;
            continue;
        }
        if let Some(head) = line.strip_prefix('#') {
            (area.short, area.name) = head.split_once(',')?;
            continue;
        }
        // From the end: names may hold commas.
        let mut fields = line.rsplitn(4, ',');
        let people = fields.next()?.parse().ok()?;
        lon += fields.next()?.parse::<i32>().ok()?;
        lat += fields.next()?.parse::<i32>().ok()?;
        all.push(Town {
            name: fields.next()?,
            area,
            position: Position::new(f64::from(lat) / 1e3, f64::from(lon) / 1e3)?,
            people,
        });
    }
    (!all.is_empty()).then_some(all)
}

impl Town {
    /// Its name as it cannot be mistaken: "Riverton, WY", "Coruche, Santarém, PT", "Lisbon, PT".
    pub fn full_name(&self) -> String {
        let TownArea {
            country,
            short,
            name,
            ..
        } = self.area;
        if !short.is_empty() {
            format!("{}, {short}", self.name)
        } else if name.is_empty() || name == self.name {
            format!("{}, {country}", self.name)
        } else {
            format!("{}, {name}, {country}", self.name)
        }
    }
}

impl Towns {
    /// All of them.
    pub fn all(&self) -> &[Town] {
        &self.all
    }

    /// The nearest one; its azimuth is seen from the place asked for.
    pub fn nearest(&self, from: Position) -> Option<Near<Town>> {
        let here = from.normal().0;
        // All are looked at: a tree of them takes longer to build than hundreds of questions take so. No
        // chord is shorter than this share of the latitudes between its ends, which are at hand.
        let at_least =
            |town: &Town| (town.position.lat_deg - from.lat_deg).abs().to_radians() / FRAC_PI_2;
        let chord = |town: &Town| -> f64 {
            let there = town.position.normal().0;
            let squares = (0..3).map(|k| (there[k] - here[k]).powi(2));
            squares.sum::<f64>().sqrt()
        };
        let mut least = f64::INFINITY;
        for town in &self.all {
            if at_least(town) < least {
                least = least.min(chord(town));
            }
        }
        let enough = SLACK * least;
        let near = self.all.iter();
        let near = near.filter(|town| at_least(town) <= enough && chord(town) <= enough);
        let way = |town: &Town| Near {
            what: *town,
            distance_m: from.distance_m(town.position),
            azimuth_deg: from.azimuth_deg(town.position),
        };
        near.map(way)
            .min_by(|a, b| a.distance_m.total_cmp(&b.distance_m))
    }

    /// The towns of a name, the largest first. Words after a comma, or the last words, may be the
    /// region or the country: "Riverton WY", "Riverton, Wyoming", "Coruche PT". Capitals and accents
    /// do not count.
    pub fn named(&self, text: &str) -> Vec<Town> {
        let text = folded(text);
        self.first_found(&text, |town, name, region| {
            folded(town.name) == name && town.area.is_called(region)
        })
    }

    /// The towns that may be meant by a name that none has, the largest first: those whose name begins so, in
    /// the region if one is named, else those of the name in other regions.
    pub fn like(&self, text: &str) -> Vec<Town> {
        let text = folded(text);
        // One or two letters begin too many names to be of help.
        let begins = |town: &Town, name: &str| {
            name.chars().count() > 2 && folded(town.name).starts_with(name)
        };
        let found = self.first_found(&text, |town, name, region| {
            begins(town, name) && town.area.is_called(region)
        });
        match found.is_empty() {
            true => self.first_found(&text, |town, name, _| folded(town.name) == name),
            false => found,
        }
    }

    /// The towns that some words mean, the whole of them taken for the name, or all but the last ones, which
    /// are then a region; the most words of a name for which there are any.
    fn first_found(&self, text: &str, means: impl Fn(&Town, &str, &str) -> bool) -> Vec<Town> {
        let words: Vec<&str> = text.split_whitespace().collect();
        let found = (1..=words.len()).rev().map(|n| {
            let (name, region) = (words[..n].join(" "), words[n..].join(" "));
            self.sorted(|town| means(town, &name, &region))
        });
        found
            .into_iter()
            .find(|f| !f.is_empty())
            .unwrap_or_default()
    }

    fn sorted(&self, wanted: impl Fn(&Town) -> bool) -> Vec<Town> {
        let mut found: Vec<Town> = self.all.iter().filter(|t| wanted(t)).copied().collect();
        found.sort_by_key(|town| std::cmp::Reverse(town.people));
        found
    }
}

impl TownArea {
    /// Whether some words, folded, name this region, its country, or both; no words name any.
    fn is_called(&self, words: &str) -> bool {
        let [country, country_name] = [self.country, self.country_name].map(folded);
        // What people write is neither its code nor its name.
        let in_short = match country.as_str() {
            "us" => "usa",
            "gb" => "uk",
            _ => "",
        };
        let countries = [country.as_str(), country_name.as_str(), in_short];
        let regions = [self.short, self.name].map(folded);
        let is_one = |names: &[&str], words: &str| !words.is_empty() && names.contains(&words);
        let regions = regions.each_ref().map(String::as_str);
        let both = |country: &&str| {
            let region = words
                .strip_suffix(country)
                .and_then(|w| w.strip_suffix(' '));
            !country.is_empty() && region.is_some_and(|w| is_one(&regions, w))
        };
        words.is_empty()
            || is_one(&countries, words)
            || is_one(&regions, words)
            || countries.iter().any(both)
    }
}

/// Small letters without accents, everything else as a space.
fn folded(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars().flat_map(char::to_lowercase) {
        match c {
            'à'..='å' | 'ā' | 'ă' | 'ą' | 'ạ' | 'ả' | 'ấ'..='ặ' => out.push('a'),
            'æ' => out.push_str("ae"),
            'ç' | 'ć' | 'ĉ' | 'ċ' | 'č' => out.push('c'),
            'ď' | 'đ' | 'ð' => out.push('d'),
            'è'..='ë' | 'ē' | 'ĕ' | 'ė' | 'ę' | 'ě' | 'ẹ'..='ệ' => out.push('e'),
            'ĝ' | 'ğ' | 'ġ' | 'ģ' => out.push('g'),
            'ĥ' | 'ħ' | 'ḩ' => out.push('h'),
            'ì'..='ï' | 'ĩ' | 'ī' | 'į' | 'ı' | 'ỉ' | 'ị' => out.push('i'),
            'ķ' => out.push('k'),
            'ĺ' | 'ļ' | 'ľ' | 'ł' => out.push('l'),
            'ñ' | 'ń' | 'ņ' | 'ň' => out.push('n'),
            'ò'..='ö' | 'ø' | 'ō' | 'ŏ' | 'ő' | 'ơ' | 'ọ'..='ợ' => out.push('o'),
            'œ' => out.push_str("oe"),
            'ŕ' | 'ř' => out.push('r'),
            'ś' | 'ş' | 'š' | 'ș' => out.push('s'),
            'ß' => out.push_str("ss"),
            'ţ' | 'ť' | 'ț' => out.push('t'),
            'þ' => out.push_str("th"),
            'ù'..='ü' | 'ũ' | 'ū' | 'ŭ' | 'ů' | 'ű' | 'ų' | 'ư' | 'ụ'..='ự' => {
                out.push('u')
            }
            'ý' | 'ÿ' | 'ỳ'..='ỹ' => out.push('y'),
            'ź' | 'ż' | 'ž' => out.push('z'),
            // U+0307 is what is left of a Turkish capital I with its dot when it is made small.
            // "St. John's" is found as "St Johns".
            '.' | '\'' | '\u{2019}' | '\u{2018}' | '\u{307}' => {}
            c if c.is_alphanumeric() => out.push(c),
            _ => out.push(' '),
        }
    }
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(text: &str) -> Vec<String> {
        let found = towns().unwrap().named(text);
        found.iter().map(Town::full_name).collect()
    }

    #[test]
    fn towns_are_found_as_people_write_them() {
        for text in [
            "Riverton, WY",
            "riverton wy",
            "Riverton Wyoming",
            "Riverton, WY, US",
            "Riverton, Wyoming, USA",
        ] {
            let found = names(text);
            assert_eq!(found, ["Riverton, WY"], "{text}");
        }
        let several = names("Riverton");
        assert_eq!(several[0], "Riverton, UT");
        assert!(several.len() > 4, "{several:?}");
        assert!(several.iter().any(|name| name.ends_with("NZ")));
        assert_eq!(names("sao paulo")[0], "São Paulo, BR");
        assert_eq!(names("Zürich")[0], names("zurich")[0]);
        assert_eq!(names("New York City")[0], "New York City, NY");
        assert!(names("Coruche pt")[0].ends_with(", PT"));
        assert_eq!(names("Coruche, Portugal"), names("Coruche pt"));
        assert_eq!(names("Cambridge, UK"), names("Cambridge, GB"));
        assert!(names("Cambridge, UK")[0].starts_with("Cambridge, "));
        assert!(names("xyzzyx").is_empty());
        assert!(names("").is_empty() && names(",").is_empty());
    }

    /// "Kiev" was taken for Kievskiy, near Moscow.
    #[test]
    fn what_begins_a_name_is_no_name() {
        let like = |text: &str| -> Vec<String> {
            let found = towns().unwrap().like(text);
            found.iter().map(Town::full_name).collect()
        };
        for (text, meant) in [
            ("Rivert", "Riverton, WY"),
            ("Rivert WY", "Riverton, WY"),
            ("New York, NY", "New York City, NY"),
            ("London, ON", "London, Ontario, CA"),
        ] {
            assert!(names(text).is_empty(), "{text}: {:?}", names(text));
            let found = like(text);
            assert!(found.iter().any(|name| name == meant), "{text}: {found:?}");
        }
        assert_eq!(
            names("Kiev")
                .iter()
                .filter(|n| n.contains("Kievskiy"))
                .count(),
            0
        );
        assert!(like("xyzzyx").is_empty() && like("").is_empty());
    }

    #[test]
    fn the_nearest_is_the_nearest_of_all() {
        let towns = towns().unwrap();
        for (lat, lon) in [(43.0, -108.4), (-89.0, 0.0), (-17.0, 179.99), (52.5, 13.4)] {
            let here = Position::new(lat, lon).unwrap();
            let near = towns.nearest(here).unwrap();
            let all = towns.all().iter().map(|t| here.distance_m(t.position));
            assert_eq!(near.distance_m, all.fold(f64::INFINITY, f64::min));
        }
    }
}

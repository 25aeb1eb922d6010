//! A TOML document read key by key, with every fault noted where it stands.

use std::ops::RangeInclusive;

use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

use crate::error::{Error, Fault};
use crate::units::{Dimension, parse, without_point};

type Item<'a> = Spanned<DeValue<'a>>;

/// The faults found so far, and the text they are found in.
pub struct Faults<'a> {
    file: &'a str,
    text: &'a str,
    found: Vec<Fault>,
}

impl<'a> Faults<'a> {
    /// No faults yet.
    pub fn new(file: &'a str, text: &'a str) -> Faults<'a> {
        Faults {
            file,
            text,
            found: Vec::new(),
        }
    }

    /// The plan's file as the user named it.
    pub fn file(&self) -> &'a str {
        self.file
    }

    /// Notes a fault of `key` at a byte of the text.
    pub fn note(
        &mut self,
        at: Option<usize>,
        key: &str,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) {
        let mut fault = Fault::new(self.file, found, expected).of_key(key);
        if let Some(at) = at {
            fault = fault.at_line(self.line(at));
        }
        self.found.push(fault);
    }

    /// The line, from 1, of a byte of the text.
    fn line(&self, at: usize) -> usize {
        let before = self.text.bytes().take(at);
        1 + before.filter(|&b| b == b'\n').count()
    }

    /// Notes what was wrong with another file that the document names.
    pub fn note_error(&mut self, at: Option<usize>, key: &str, error: Error) {
        match error {
            // These name their own file and line, which the key of the plan would hide.
            Error::Faults(more) => self.found.extend(more),
            other => self.note(at, key, other.to_string(), "a file that can be read"),
        }
    }

    /// All faults, in the order of their lines.
    pub fn into_sorted(mut self) -> Vec<Fault> {
        // What stands nowhere, as a section that is missing, comes first.
        self.found.sort_by_key(|f| f.line);
        self.found
    }
}

/// One table of the document.
pub struct Section<'a> {
    /// Its name with brackets, as in "[balloon]".
    pub name: String,
    table: Option<&'a DeTable<'a>>,
    at: Option<usize>,
}

impl<'a> Section<'a> {
    /// The section `name` of the document; one that is not there has no keys.
    pub fn of(root: &'a DeTable<'a>, name: &str, faults: &mut Faults) -> Section<'a> {
        let item = root.get(name);
        let table = item.and_then(|i| i.get_ref().as_table());
        if let (Some(item), None) = (item, table) {
            let found = describe(item);
            faults.note(
                Some(item.span().start),
                name,
                found,
                format!("a table [{name}]"),
            );
        }
        Section {
            name: format!("[{name}]"),
            table,
            at: item.map(|i| i.span().start),
        }
    }

    /// All tables of the array `name`, as in `[[load]]`.
    pub fn all_of(root: &'a DeTable<'a>, name: &str, faults: &mut Faults) -> Vec<Section<'a>> {
        let Some(item) = root.get(name) else {
            return Vec::new();
        };
        let Some(array) = item.get_ref().as_array() else {
            let found = describe(item);
            faults.note(
                Some(item.span().start),
                name,
                found,
                format!("tables [[{name}]]"),
            );
            return Vec::new();
        };
        let mut sections = Vec::new();
        for item in array.iter() {
            match item.get_ref().as_table() {
                Some(table) => sections.push(Section {
                    name: format!("[[{name}]]"),
                    table: Some(table),
                    at: Some(item.span().start),
                }),
                None => {
                    let found = describe(item);
                    faults.note(
                        Some(item.span().start),
                        name,
                        found,
                        format!("tables [[{name}]]"),
                    );
                }
            }
        }
        sections
    }

    /// The tables that stand under a key of this section: one, or an array of them.
    pub fn tables_under(&self, key: &str, faults: &mut Faults) -> Vec<Section<'a>> {
        let expected = format!("a table or an array of tables, as in {key} = {{ ... }}");
        let items: Option<Vec<&Item>> = self.get(key).map(|item| match item.get_ref() {
            DeValue::Array(array) => array.iter().collect(),
            _ => vec![item],
        });
        if items.as_ref().is_some_and(Vec::is_empty) {
            let at = self.span(key);
            faults.note(at, &self.path(key), "an empty array", expected.clone());
        }
        let mut sections = Vec::new();
        for item in items.unwrap_or_default() {
            match item.get_ref().as_table() {
                Some(table) => sections.push(Section {
                    name: self.path(key),
                    table: Some(table),
                    at: Some(item.span().start),
                }),
                None => {
                    let at = Some(item.span().start);
                    faults.note(at, &self.path(key), describe(item), expected.clone());
                }
            }
        }
        sections
    }

    /// Whether the document has the section.
    pub fn exists(&self) -> bool {
        self.table.is_some()
    }

    /// Whether the section has a key.
    pub fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// Notes every key that is not in `known`.
    pub fn allow(&self, known: &[&str], faults: &mut Faults) {
        for key in self.table.iter().flat_map(|t| t.keys()) {
            let name: &str = key.get_ref();
            if !known.contains(&name) {
                faults.note(
                    Some(key.span().start),
                    &self.path(name),
                    "an unknown key",
                    format!("one of {}", known.join(", ")),
                );
            }
        }
    }

    /// Notes that a key is missing, with what it should be.
    pub fn missing(&self, key: &str, expected: &str, faults: &mut Faults) {
        faults.note(self.at, &self.path(key), "nothing", expected);
    }

    /// Notes what is wrong with the value of a key, where that stands.
    pub fn wrong(
        &self,
        key: &str,
        found: impl Into<String>,
        expected: impl Into<String>,
        faults: &mut Faults,
    ) {
        faults.note(self.span(key), &self.path(key), found, expected);
    }

    /// Notes that the section itself should not be there.
    pub fn contradiction(&self, found: &str, expected: &str, faults: &mut Faults) {
        faults.note(self.at, &self.name, found, expected);
    }

    /// The keys of `keys` that stand in the section; more than one is a contradiction and noted.
    pub fn only_one(&self, keys: &[&'static str], faults: &mut Faults) -> Option<&'static str> {
        let there: Vec<&'static str> = keys.iter().copied().filter(|k| self.has(k)).collect();
        // At the second, where a reader of the plan meets the contradiction.
        if let [_, second, ..] = there[..] {
            self.wrong(
                second,
                format!("{} together", there.join(" and ")),
                format!("exactly one of {}", keys.join(", ")),
                faults,
            );
        }
        there.first().copied()
    }

    /// A quantity with a unit, within a range given in SI.
    pub fn quantity(
        &self,
        key: &str,
        dimension: Dimension,
        range: RangeInclusive<f64>,
        faults: &mut Faults,
    ) -> Option<f64> {
        let item = self.get(key)?;
        let path = self.path(key);
        quantity(item, &path, dimension, range, faults)
    }

    /// The same of something whose three decimals are no thousands, as the length of a line.
    pub fn small_quantity(
        &self,
        key: &str,
        dimension: Dimension,
        range: RangeInclusive<f64>,
        faults: &mut Faults,
    ) -> Option<f64> {
        let item = self.get(key)?;
        decimal(item, &self.path(key), dimension, &range, faults)
    }

    /// A plain number within a range, as a latitude or a coefficient.
    pub fn number(
        &self,
        key: &str,
        what: &str,
        range: RangeInclusive<f64>,
        faults: &mut Faults,
    ) -> Option<f64> {
        let expected = format!("{what}, a number from {} to {}", range.start(), range.end());
        self.value(key, &expected, faults, |value| {
            let number = match value {
                // TOML has nan and inf, too, which lie in no range.
                DeValue::Float(f) => f.as_str().parse().ok(),
                DeValue::Integer(i) if i.radix() == 10 => i.as_str().parse().ok(),
                _ => None,
            };
            number.filter(|n| range.contains(n))
        })
    }

    /// A string.
    pub fn text(&self, key: &str, what: &str, faults: &mut Faults) -> Option<&'a str> {
        self.value(key, what, faults, DeValue::as_str)
    }

    /// True or false.
    pub fn flag(&self, key: &str, faults: &mut Faults) -> Option<bool> {
        self.value(key, "true or false", faults, DeValue::as_bool)
    }

    /// An array of strings.
    pub fn texts(&self, key: &str, what: &str, faults: &mut Faults) -> Vec<&'a str> {
        let texts = self.value(key, what, faults, |value| {
            let array = value.as_array()?.iter();
            array.map(|item| item.get_ref().as_str()).collect()
        });
        texts.unwrap_or_default()
    }

    /// A date and time, as it is written.
    pub fn date_time(&self, key: &str, what: &str, faults: &mut Faults) -> Option<String> {
        self.value(key, what, faults, |value| {
            let whole = value
                .as_datetime()
                .filter(|d| d.date.is_some() && d.time.is_some() && d.offset.is_some());
            whole.map(ToString::to_string)
        })
    }

    /// A date and time as a text or as TOML has it, as it is written.
    pub fn written_time(&self, key: &str, what: &str, faults: &mut Faults) -> Option<String> {
        self.value(key, what, faults, |value| {
            let text = value.as_str().map(str::to_owned);
            text.or_else(|| value.as_datetime().map(ToString::to_string))
        })
    }

    /// What `read` makes of the key's value; where it makes nothing, that is noted.
    fn value<T>(
        &self,
        key: &str,
        expected: &str,
        faults: &mut Faults,
        read: impl FnOnce(&'a DeValue<'a>) -> Option<T>,
    ) -> Option<T> {
        let item = self.get(key)?;
        let value = read(item.get_ref());
        if value.is_none() {
            let at = Some(item.span().start);
            faults.note(at, &self.path(key), describe(item), expected);
        }
        value
    }

    /// An array of pairs, each read by `read`; `None` (and noted) unless all are pairs.
    pub fn pairs<T>(
        &self,
        key: &str,
        what: &str,
        faults: &mut Faults,
        mut read: impl FnMut(&Item<'a>, &Item<'a>, &str, &mut Faults) -> Option<T>,
    ) -> Option<Vec<T>> {
        let pair = |row: &'a DeArray<'a>| match (row.first(), row.get(1)) {
            (Some(first), Some(second)) if row.len() == 2 => Some((first, second)),
            _ => None,
        };
        let rows = self.value(key, what, faults, |value| {
            let rows: Option<Vec<(&Item<'a>, &Item<'a>)>> = value
                .as_array()?
                .iter()
                .map(|row| row.get_ref().as_array().and_then(pair))
                .collect();
            // An empty array was begun and forgotten: it does not stand for what is assumed.
            rows.filter(|rows| !rows.is_empty())
        })?;
        let path = self.path(key);
        // Each is read before any is given up, as all faults of a plan are told at once.
        let read: Vec<Option<T>> = rows
            .iter()
            .map(|(first, second)| read(first, second, &path, faults))
            .collect();
        read.into_iter().collect()
    }

    /// Whether the key holds an array.
    pub fn is_array(&self, key: &str) -> bool {
        self.get(key).is_some_and(|i| i.get_ref().is_array())
    }

    /// Where the key's value stands.
    pub fn span(&self, key: &str) -> Option<usize> {
        // What is missing is told where its section begins.
        self.get(key).map(|i| i.span().start).or(self.at)
    }

    /// The key with its section, for messages.
    pub fn path(&self, key: &str) -> String {
        format!("{} {key}", self.name)
    }

    fn get(&self, key: &str) -> Option<&'a Item<'a>> {
        self.table.and_then(|t| t.get(key))
    }
}

/// A quantity of an item, within a range given in SI. Whether a mass of "1.200 g" or a height of "1.640 m" has
/// three decimals or a point between thousands is not guessed, where both are in the range.
pub fn quantity(
    item: &Item,
    path: &str,
    dimension: Dimension,
    range: RangeInclusive<f64>,
    faults: &mut Faults,
) -> Option<f64> {
    let value = decimal(item, path, dimension, &range, faults)?;
    let text = item.get_ref().as_str().unwrap_or("");
    let as_thousands = without_point(text).filter(|_| is_by_thousands(text, dimension));
    let in_range = |text: &String| parse(text, dimension).is_ok_and(|v| range.contains(&v));
    let Some(other) = as_thousands.filter(in_range) else {
        return Some(value);
    };
    let expected =
        format!("\"{other}\" if the point stands between thousands, else two decimals or four");
    let at = Some(item.span().start);
    faults.note(at, path, format!("\"{text}\""), expected);
    None
}

/// Whether there are thousands of a quantity's unit in what people weigh and measure: grams, metres and feet.
fn is_by_thousands(text: &str, dimension: Dimension) -> bool {
    let unit = text.trim_start_matches(|c: char| !c.is_alphabetic());
    let most = match dimension {
        Dimension::Mass => 1e-3,
        Dimension::Length => 1.0,
        _ => return false,
    };
    parse(&format!("1 {unit}"), dimension).is_ok_and(|one| one <= most)
}

/// A quantity of an item, within a range given in SI; a point is a decimal one.
fn decimal(
    item: &Item,
    path: &str,
    dimension: Dimension,
    range: &RangeInclusive<f64>,
    faults: &mut Faults,
) -> Option<f64> {
    let at = Some(item.span().start);
    let Some(text) = item.get_ref().as_str() else {
        let expected = format!(
            "a string with a unit, as in \"{} {}\"",
            example(dimension),
            dimension.si_symbol()
        );
        faults.note(at, path, describe(item), expected);
        return None;
    };
    match parse(text, dimension) {
        Err(wrong) => {
            faults.note(at, path, wrong.found, wrong.expected);
            None
        }
        Ok(value) if range.contains(&value) => Some(value),
        Ok(_) => {
            // Shares are written in percent, and 1 within.
            let scale = if dimension == Dimension::Ratio {
                100.0
            } else {
                1.0
            };
            let expected = format!(
                "from {} to {} {}",
                range.start() * scale,
                range.end() * scale,
                dimension.si_symbol()
            );
            faults.note(at, path, format!("\"{text}\""), expected);
            None
        }
    }
}

fn example(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Mass => "1.2",
        Dimension::Length => "30000",
        Dimension::Ratio | Dimension::Speed => "5",
        Dimension::Pressure => "85000",
        Dimension::Volume => "6",
        Dimension::Temperature => "288",
        Dimension::Time => "600",
        Dimension::Force => "220",
        Dimension::MassPerLength => "0.005",
        Dimension::AreaDensity => "100",
    }
}

/// An item as a person would say it.
fn describe(item: &Item) -> String {
    match item.get_ref() {
        DeValue::String(s) => format!("\"{s}\""),
        DeValue::Integer(i) => i.as_str().to_owned(),
        DeValue::Float(f) => f.as_str().to_owned(),
        DeValue::Boolean(b) => b.to_string(),
        DeValue::Datetime(d) => d.to_string(),
        DeValue::Array(_) => "an array".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

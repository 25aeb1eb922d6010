//! The inventory in JSON lines, one object a field, with `_offset` and `_length`.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::{MOST_FIELDS, Message};
use crate::error::{Error, Fault, Result};
use crate::fetch::field::{Field, Level, WantedQuantity};

const LINE: &str = "a JSON object with param, levtype, date, time, step, _offset and _length";

/// A line; what else it has is left alone.
#[derive(Deserialize)]
struct Line {
    param: String,
    levtype: String,
    levelist: Option<Text>,
    date: Text,
    time: Text,
    step: Text,
    number: Option<Text>,
    _offset: u64,
    _length: u64,
}

/// Numbers are written as text in some inventories and bare in others.
#[derive(Deserialize)]
#[serde(untagged)]
enum Text {
    Written(String),
    Bare(u64),
}

impl Text {
    fn into_string(self) -> String {
        match self {
            Text::Written(text) => text,
            Text::Bare(number) => number.to_string(),
        }
    }
}

/// Reads the text of an inventory called `name`, which may be a file or a URL.
///
/// # Errors
///
/// The first line that is not one of an inventory, or no line at all.
pub fn parse(name: &str, text: &str) -> Result<Vec<Message>> {
    let mut messages: BTreeMap<u64, Message> = BTreeMap::new();
    let lines = text
        .lines()
        .enumerate()
        .filter(|(_, l)| !l.trim().is_empty());
    for (number, line) in lines.take(MOST_FIELDS) {
        let wrong = |found: String| Error::from(Fault::new(name, found, LINE).at_line(number + 1));
        let line: Line = serde_json::from_str(line).map_err(|e| wrong(e.to_string()))?;
        let (start, length) = (line._offset, line._length);
        let message = messages.entry(start).or_insert_with(|| Message {
            start,
            length: Some(length),
            fields: Vec::new(),
        });
        // Fields that share a message have to agree on its length.
        if length == 0 || message.length != Some(length) {
            return Err(wrong(format!("a _length of {length} at _offset {start}")));
        }
        message.fields.push(line.into_field());
    }
    if messages.is_empty() {
        return Err(Fault::new(name, "no line at all", format!("lines of {LINE}")).into());
    }
    Ok(messages.into_values().collect())
}

impl Line {
    fn into_field(self) -> Field {
        let levelist = self.levelist.map(Text::into_string);
        let level = match (self.levtype.as_str(), levelist) {
            ("pl", Some(level)) => Level::parse(&format!("{level} mb")),
            ("sfc", None) => Level::InName,
            _ => Level::Other,
        };
        // 6 UTC is "0600"; a bare number has lost its zeros.
        let time = format!("{:0>4}", self.time.into_string());
        let hour: String = time.chars().take(2).collect();
        Field {
            quantity: WantedQuantity::Name(self.param),
            level,
            run: self.date.into_string() + &hour,
            member: self.number.map(Text::into_string),
            // A range, as in "0-6", is of a while.
            of_a_moment: self.step.into_string().parse::<u32>().is_ok(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WIND: &str = r#"{"domain": "g", "date": "20240101", "time": "0600", "expver": "0001", "class": "od", "type": "pf", "stream": "enfo", "step": "3", "levelist": "500", "levtype": "pl", "number": "7", "param": "u", "_offset": 1000, "_length": 456}"#;
    const GUST: &str = r#"{"date": 20240101, "time": 600, "step": "0-3", "levtype": "sfc", "param": "10u", "_offset": 0, "_length": 1000}"#;

    #[test]
    fn lines_are_read_whatever_their_order() {
        let messages = parse("a.index", &format!("{WIND}\n\n{GUST}\n")).unwrap();
        assert_eq!((messages[0].start, messages[0].length), (0, Some(1000)));
        let (single, wind) = (&messages[0].fields[0], &messages[1].fields[0]);
        assert_eq!((&single.level, single.of_a_moment), (&Level::InName, false));
        assert_eq!(single.run, "2024010106");
        assert_eq!(wind.level, Level::Pressure(500.0));
        assert_eq!(
            (wind.run.as_str(), wind.member.as_deref()),
            ("2024010106", Some("7"))
        );
    }

    #[test]
    fn the_wrong_line_is_named() {
        for bad in [
            "<html>",
            "{}",
            "[1]",
            &WIND.replace("456", "-4"),
            &WIND.replace("456", "0"),
        ] {
            let message = parse("u.index", &format!("{GUST}\n{bad}"))
                .unwrap_err()
                .to_string();
            assert!(message.starts_with("u.index, line 2: found "), "{message}");
        }
        let twice = format!("{WIND}\n{}", WIND.replace("456", "457"));
        assert!(
            parse("u.index", &twice)
                .unwrap_err()
                .to_string()
                .contains("457")
        );
        assert!(
            parse("u.index", "")
                .unwrap_err()
                .to_string()
                .contains("no line")
        );
    }
}

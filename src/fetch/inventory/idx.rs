//! The text inventory, one line a field: `12:345678:d=2023092800:UGRD:850 mb:6 hour fcst:`.
//!
//! Fields that share a message are numbered `12.1`, `12.2` and have the same offset. A message ends
//! where the next begins; the list does not say where the last one ends.

use std::collections::BTreeMap;

use super::{MOST_FIELDS, Message};
use crate::error::{Error, Fault, Result};
use crate::fetch::field::{Field, Level, WantedQuantity};

const LINE: &str = "number:offset:d=YYYYMMDDHH:name:level:time:";

/// Reads the text of an inventory called `name`, which may be a file or a URL.
///
/// # Errors
///
/// The first line that is not one of an inventory, or no line at all.
pub fn parse(name: &str, text: &str) -> Result<Vec<Message>> {
    // By offset, whatever the order of lines: a message ends where the next one begins.
    let mut fields: BTreeMap<u64, Vec<Field>> = BTreeMap::new();
    let lines = text
        .lines()
        .enumerate()
        .filter(|(_, l)| !l.trim().is_empty());
    for (number, line) in lines.take(MOST_FIELDS) {
        let (offset, field) = read_line(line)
            .map_err(|found| Error::from(Fault::new(name, found, LINE).at_line(number + 1)))?;
        fields.entry(offset).or_default().push(field);
    }
    if fields.is_empty() {
        return Err(Fault::new(name, "no line at all", format!("lines as {LINE}")).into());
    }
    let mut ends: Vec<Option<u64>> = fields.keys().skip(1).copied().map(Some).collect();
    ends.push(None);
    let messages = fields.into_iter().zip(ends);
    Ok(messages
        .map(|((start, fields), end)| Message {
            start,
            length: end.map(|end| end - start),
            fields,
        })
        .collect())
}

/// Offset and field of a line, or what stands there instead.
fn read_line(line: &str) -> std::result::Result<(u64, Field), String> {
    let parts: Vec<&str> = line.trim_end().split(':').collect();
    let [number, offset, date, name, level, time, more @ ..] = parts.as_slice() else {
        return Err(format!("\"{}\"", beginning(line)));
    };
    let counted = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit());
    if !number.splitn(2, '.').all(counted) {
        return Err(format!("\"{}\" for a number", beginning(number)));
    }
    let offset = offset
        .parse()
        .map_err(|_| format!("\"{}\" for an offset", beginning(offset)))?;
    let run = date
        .strip_prefix("d=")
        .filter(|d| counted(d))
        .and_then(|d| d.get(..10))
        .ok_or_else(|| format!("\"{}\" for a date", beginning(date)))?;
    let field = Field {
        quantity: WantedQuantity::Name((*name).to_owned()),
        level: Level::parse(level),
        run: run.to_owned(),
        member: more
            .iter()
            .find_map(|m| m.strip_prefix("ENS="))
            .map(str::to_owned),
        of_a_moment: is_of_a_moment(time),
    };
    Ok((offset, field))
}

/// "anl" or "6 hour fcst", but not "0-6 hour acc fcst" or "6 hour max fcst".
fn is_of_a_moment(time: &str) -> bool {
    let words: Vec<&str> = time.split(' ').collect();
    match words.as_slice() {
        ["anl"] => true,
        [number, "min" | "hour" | "day", "fcst"] => number.parse::<u32>().is_ok(),
        _ => false,
    }
}

/// Enough of a text to recognise it.
fn beginning(text: &str) -> String {
    text.chars()
        .take(60)
        .collect::<String>()
        .escape_debug()
        .to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_of_one_message_come_together() {
        let text = "1:0:d=2023092800:HGT:850 mb:6 hour fcst:\n\
                    2.1:100:d=2023092800:UGRD:850 mb:6 hour fcst:ENS=+1\n\
                    2.2:100:d=2023092800:VGRD:850 mb:6 hour fcst:ENS=+1\n\
                    3:250:d=2023092800:APCP:surface:0-6 hour acc fcst:\n";
        let messages = parse("a.idx", text).unwrap();
        let places: Vec<_> = messages
            .iter()
            .map(|m| (m.start, m.length, m.fields.len()))
            .collect();
        assert_eq!(
            places,
            [(0, Some(100), 1), (100, Some(150), 2), (250, None, 1)]
        );
        assert_eq!(
            messages[1].fields[1].quantity,
            WantedQuantity::Name("VGRD".into())
        );
        assert_eq!(messages[1].fields[1].member.as_deref(), Some("+1"));
        assert!(messages[0].fields[0].of_a_moment && !messages[2].fields[0].of_a_moment);
    }

    #[test]
    fn the_wrong_line_is_named() {
        let good = "1:0:d=2023092800:HGT:850 mb:6 hour fcst:\n";
        for (bad, found) in [
            ("<html>", "\"<html>\""),
            ("2:x:d=2023092800:HGT:850 mb:anl:", "for an offset"),
            (
                "2:99999999999999999999:d=2023092800:HGT:850 mb:anl:",
                "for an offset",
            ),
            ("2:5:2023092800:HGT:850 mb:anl:", "for a date"),
            ("2.:5:d=2023092800:HGT:850 mb:anl:", "for a number"),
        ] {
            let message = parse("u.idx", &format!("{good}{bad}"))
                .unwrap_err()
                .to_string();
            assert!(
                message.starts_with("u.idx, line 2") && message.contains(found),
                "{message}"
            );
        }
        assert!(
            parse("u.idx", " \n")
                .unwrap_err()
                .to_string()
                .contains("no line")
        );
    }
}

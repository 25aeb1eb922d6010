//! The messages of a step that a flight needs.

use super::feed::Feed;
use super::field::{Field, Level, WantedField};
use super::inventory::Message;
use crate::error::{Error, Fault, Result};

/// Which wanted fields of one step and member are found already.
#[derive(Debug, Clone)]
pub struct Selection<'a> {
    feed: &'a Feed,
    run: String,
    member: Option<&'a str>,
    found: Vec<bool>,
}

impl<'a> Selection<'a> {
    /// Nothing yet, of a run (YYYYMMDDHH) and a member whose name the inventory tells, if any.
    pub fn nothing(feed: &'a Feed, run: String, member: Option<&'a str>) -> Selection<'a> {
        Selection {
            feed,
            run,
            member,
            found: vec![false; feed.wanted.len()],
        }
    }

    /// The messages of one file that hold something wanted and not found before, in their order.
    ///
    /// # Errors
    ///
    /// The file is of another run.
    pub fn select<'m>(&mut self, url: &str, messages: &'m [Message]) -> Result<Vec<&'m Message>> {
        let mut selected = Vec::new();
        for message in messages {
            let mut useful = false;
            for field in &message.fields {
                let Some(which) = self.which(field) else {
                    continue;
                };
                if field.run != self.run {
                    let found = format!("fields of the run {}", field.run);
                    return Err(Fault::new(url, found, format!("those of {}", self.run)).into());
                }
                if let Some(found) = self.found.get_mut(which) {
                    *found = true;
                }
                useful = true;
            }
            if useful {
                selected.push(message);
            }
        }
        Ok(selected)
    }

    /// The wanted field that this is, unless it is found already.
    fn which(&self, field: &Field) -> Option<usize> {
        if self.member.is_some_and(|m| !is_member(field, m)) {
            return None;
        }
        let wanted = self.feed.wanted.iter().zip(&self.found);
        wanted
            .enumerate()
            // What an earlier file of the step has is not taken again from a later one.
            .find_map(|(i, (w, found))| (!found && w.is_met_by(field)).then_some(i))
    }

    /// The wanted fields that were not found, in words.
    pub fn missing(&self) -> Vec<String> {
        let all = self.feed.wanted.iter().zip(&self.found);
        all.filter(|(_, found)| !**found)
            .map(|(w, _)| in_words(w))
            .collect()
    }

    /// Checks that there is a wind to fly in: both components and the height on at least two
    /// pressure levels.
    ///
    /// # Errors
    ///
    /// There is none; `url` names where it should be.
    pub fn check_winds(&self, url: &str) -> Result<()> {
        let is = |code: [u8; 3]| move |w: &WantedField| w.code == code && w.is_aloft();
        let east = self.levels(is(WantedField::EASTWARD));
        let north = self.levels(is(WantedField::NORTHWARD));
        let heights = self.levels(WantedField::is_height);
        let on_all = east.iter().filter(|l| north.contains(l));
        let winds = on_all.clone().count();
        let both = on_all.filter(|l| heights.contains(l)).count();
        // From fewer no wind can be interpolated in height.
        if both >= 2 {
            return Ok(());
        }
        let found = match winds {
            0 | 1 => format!("winds on {winds} pressure levels"),
            _ => format!("winds on {winds} pressure levels, with their heights on {both}"),
        };
        let expected = "winds and heights on at least 2 of those the feed lists";
        Err(Error::from(Fault::new(url, found, expected)))
    }

    /// The levels on which a wanted field of this kind was found.
    fn levels(&self, is: impl Fn(&WantedField) -> bool) -> Vec<&Level> {
        let all = self.feed.wanted.iter().zip(&self.found);
        all.filter(|(w, found)| **found && is(w))
            .map(|(w, _)| &w.level)
            .collect()
    }
}

/// By name, or by number where both are numbers: "1", "01" and "+1" are one member.
fn is_member(field: &Field, wanted: &str) -> bool {
    let number = |text: &str| text.parse::<i32>().ok();
    field.member.as_deref().is_some_and(|found| {
        found == wanted || number(found).is_some() && number(found) == number(wanted)
    })
}

fn in_words(wanted: &WantedField) -> String {
    match wanted.level {
        Level::Pressure(hpa) => format!("{} at {hpa} hPa", wanted.name),
        Level::AboveGround(m) => format!("{} at {m} m", wanted.name),
        _ => format!("{} at the surface", wanted.name),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fetch::feed::Feeds;
    use crate::fetch::inventory::{idx, json_lines};

    fn idx_messages(text: &str) -> Vec<Message> {
        idx::parse("x.idx", text).unwrap()
    }

    #[test]
    fn only_what_is_wanted_and_only_once() {
        let feeds = Feeds::built_in().unwrap();
        let gfs = feeds.get("gfs").unwrap();
        let a = "1:0:d=2023092800:HGT:850 mb:6 hour fcst:\n\
                 2:10:d=2023092800:UGRD:850 mb:6 hour fcst:\n\
                 3:20:d=2023092800:UGRD:850 mb:0-6 hour ave fcst:\n\
                 4:30:d=2023092800:CLMR:850 mb:6 hour fcst:\n\
                 5:40:d=2023092800:VGRD:850 mb:6 hour fcst:\n\
                 6:50:d=2023092800:UGRD:10 m above ground:6 hour fcst:\n";
        let b = "1:0:d=2023092800:HGT:850 mb:6 hour fcst:\n\
                 2.1:10:d=2023092800:UGRD:700 mb:6 hour fcst:\n\
                 2.2:10:d=2023092800:VGRD:700 mb:6 hour fcst:\n\
                 3:20:d=2023092800:HGT:700 mb:6 hour fcst:\n";
        let (a, b) = (idx_messages(a), idx_messages(b));
        let mut found = Selection::nothing(gfs, "2023092800".into(), None);
        let starts = |m: Vec<&Message>| m.iter().map(|m| m.start).collect::<Vec<_>>();
        assert_eq!(starts(found.select("a", &a).unwrap()), [0, 10, 40, 50]);
        assert!(
            found
                .check_winds("a")
                .unwrap_err()
                .to_string()
                .contains("winds on 1 ")
        );
        let mut without = found.clone();
        without.select("b", &b[..2]).unwrap();
        let message = without.check_winds("b").unwrap_err().to_string();
        assert!(message.contains("with their heights on 1"), "{message}");
        assert_eq!(starts(found.select("b", &b).unwrap()), [10, 20]);
        assert!(found.check_winds("b").is_ok());
        assert_eq!(found.missing().len(), gfs.wanted.len() - 7);
        let mut other_run = Selection::nothing(gfs, "2023092806".into(), None);
        assert!(
            other_run
                .select("a", &a)
                .unwrap_err()
                .to_string()
                .contains("2023092800")
        );
    }

    #[test]
    fn members_that_share_a_file_are_told_apart() {
        let feeds = Feeds::built_in().unwrap();
        let line = |number: &str, offset: u32| {
            format!(
                r#"{{"date":"20260601","time":"0000","step":"3","levtype":"sfc","param":"10u","number":"{number}","_offset":{offset},"_length":5}}"#
            )
        };
        let text = [line("1", 0), line("7", 5), line("17", 10)].join("\n");
        let messages = json_lines::parse("x.index", &text).unwrap();
        let feed = feeds.get("ecmwf-ens").unwrap();
        let mut found = Selection::nothing(feed, "2026060100".into(), Some("7"));
        let selected = found.select("x", &messages).unwrap();
        assert_eq!(selected, [&messages[1]]);
    }
}

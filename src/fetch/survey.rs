//! What to fetch for a flight: the run, its steps, and the messages of each file.

use std::collections::BTreeMap;
use std::path::PathBuf;

use jiff::Timestamp;

use super::address::shown;
use super::asked::{self, FetchRequest};
use super::feed::{Feed, InventoryKind};
use super::http::{ByteSpan, Client, vanished};
use super::inventory::{Message, idx, json_lines, walk};
use super::manifest::{Manifest, digest};
use super::parallel;
use super::ranges::{RangeSource, chunks, total};
use super::region::Region;
use super::runs::{self, Period, RunChoice};
use super::select::Selection;
use super::service::{Format, Service};
use crate::error::{Error, Fault, Result};
use crate::geodesy::Position;

/// The longest message that is fetched, bytes.
const LONGEST_MESSAGE: u64 = 256 << 20;

/// What is asked for.
#[derive(Debug, Clone)]
pub struct Order<'a> {
    /// The forecast.
    pub feed: &'a Feed,
    /// Where the balloon is released.
    pub site: Position,
    /// How far around it winds are wanted, m; of use where the feed cuts a region out.
    pub reach_m: f64,
    /// The times to be covered.
    pub period: Period,
    /// The present time.
    pub now: Timestamp,
    /// The run, if not the newest that is complete.
    pub run: Option<Timestamp>,
    /// Members, as [`members`] gives them; empty where the feed has none.
    pub members: Vec<String>,
    /// Where the files go.
    pub folder: PathBuf,
    /// Questions asked at the same time.
    pub connections: usize,
    /// Whether a service that has no inventory is asked for its run before it is chosen.
    pub probe: bool,
}

impl Order<'_> {
    /// The region that is asked for, if the feed cuts one out.
    pub fn region(&self) -> Option<Region> {
        let service = self.feed.service.as_ref()?;
        Some(Region::around(self.site, self.reach_m, service.spacing))
    }
}

/// What there is.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// The run and its steps.
    pub choice: RunChoice,
    /// One file for each member.
    pub files: Vec<Planned>,
}

/// A file to be written.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// Where it goes.
    pub path: PathBuf,
    /// The member, if it is an ensemble.
    pub member: Option<String>,
    /// What was wanted, as a digest.
    pub wanted: String,
    /// The hours after the run that it holds.
    pub steps: Vec<u32>,
    /// Its messages; empty if the file is there already, or made of answers.
    pub sources: Vec<RangeSource>,
    /// The questions to a service whose answers make the file; empty if it is there already.
    pub asked: Vec<FetchRequest>,
    /// The file as it is there already.
    pub there: Option<Manifest>,
}

impl Planned {
    /// Length of the file, bytes; of one that is made of answers, about.
    pub fn bytes(&self) -> u64 {
        let messages = self.sources.iter().flat_map(|s| &s.messages);
        let of_messages = messages.map(|m| m.length);
        let of_answers = self.asked.iter().map(|a| a.about);
        let all = total(of_messages.chain(of_answers));
        self.there.as_ref().map_or(all, |m| m.bytes)
    }

    /// Requests for it, and how many bytes they bring.
    pub fn requests(&self) -> (usize, u64) {
        let chunks = chunks(&self.sources);
        let bytes = chunks.iter().map(|c| c.span.length);
        let about = self.asked.iter().map(|a| a.about);
        (chunks.len() + self.asked.len(), total(bytes.chain(about)))
    }
}

impl Survey {
    /// Requests for all that is not there, and how many bytes they bring.
    pub fn requests(&self) -> (usize, u64) {
        let all = self.files.iter().map(Planned::requests);
        all.fold((0, 0), |sum, one| (sum.0 + one.0, total([sum.1, one.1])))
    }
}

/// The members that words mean: names, numbers, ranges of numbers as in "1-5", or "all". Without
/// words, the first one.
///
/// # Errors
///
/// The feed has no such member.
pub fn members(feed: &Feed, words: &[String]) -> Result<Vec<String>> {
    if words.is_empty() {
        return Ok(feed.members.iter().take(1).cloned().collect());
    }
    // Marked rather than gathered: each comes once, in the order of the feed.
    let mut meant = vec![false; feed.members.len()];
    for word in words {
        let is_meant =
            |member: &String| word == "all" || word == member || has_number(member, word);
        let mut known = false;
        for (meant, _) in meant
            .iter_mut()
            .zip(&feed.members)
            .filter(|(_, m)| is_meant(m))
        {
            *meant = true;
            known = true;
        }
        if !known {
            let expected = match feed.members.as_slice() {
                [] => format!("no --members: {} is not an ensemble", feed.name),
                [first, .., last] => format!("{first} to {last}, numbers, a range as 1-5, or all"),
                [one] => one.clone(),
            };
            return Err(Fault::new("--members", format!("\"{word}\""), expected).into());
        }
    }
    let all = feed.members.iter().zip(meant);
    Ok(all
        .filter(|(_, meant)| *meant)
        .map(|(member, _)| member.clone())
        .collect())
}

/// Whether the number in a member's name is this one, or within this range.
fn has_number(member: &str, word: &str) -> bool {
    let digits = member.trim_start_matches(|c: char| !c.is_ascii_digit());
    let (first, last) = word.split_once('-').unwrap_or((word, word));
    match (
        digits.parse::<u32>(),
        first.parse::<u32>(),
        last.parse::<u32>(),
    ) {
        (Ok(number), Ok(first), Ok(last)) => (first..=last).contains(&number),
        _ => false,
    }
}

/// Finds the run, and what of it to fetch. Reads inventories only; writes nothing.
///
/// # Errors
///
/// No run covers the period or is there, the site is outside of the feed's area, or the server's.
pub fn survey(client: &Client, order: &Order, say: &dyn Fn(&str)) -> Result<Survey> {
    order.feed.check_site(order.site)?;
    let choices = match order.run {
        Some(run) => vec![runs::given(order.feed, run, order.period)?],
        None => runs::candidates(order.feed, order.period, order.now)?,
    };
    let mut missing = Vec::new();
    for (i, choice) in choices.iter().enumerate() {
        match attempt(client, order, choice, say)? {
            Attempt::There(survey) => return Ok(survey),
            Attempt::Missing(url) => {
                let next = choices.get(i + 1).map_or(String::new(), |next| {
                    format!("; trying the one before, {}", next.run)
                });
                say(&format!(
                    "the run {} is not there (no {url}){next}",
                    choice.run
                ));
                missing.push(choice.run.to_string());
            }
        }
    }
    Err(Error::CannotDo {
        why: format!(
            "{} has none of the runs {}",
            order.feed.name,
            missing.join(", ")
        ),
        remedy: "expected a --run that is on the server, or another --feed".into(),
    })
}

/// What became of a run.
enum Attempt {
    There(Survey),
    /// The run is not complete: this file is not there.
    Missing(String),
}

fn attempt(
    client: &Client,
    order: &Order,
    choice: &RunChoice,
    say: &dyn Fn(&str),
) -> Result<Attempt> {
    if let Some(service) = &order.feed.service {
        return of_service(client, order, choice, service);
    }
    if order.feed.point.is_some() {
        return Ok(Attempt::There(of_point(order, choice)));
    }
    if let Some(about) = order.feed.whole_bytes {
        return of_whole(client, order, choice, about);
    }
    let mut files = planned(order, choice);
    let to_fetch = || files.iter().filter(|f| f.there.is_none());
    let mut urls: Vec<String> = to_fetch()
        .flat_map(|f| {
            choice
                .steps
                .iter()
                .flat_map(|s| asked::files(order.feed, choice, *s, &f.member))
        })
        .collect();
    // Members may stand in one file, whose inventory is read once.
    urls.sort();
    urls.dedup();
    let read = |url: &String| inventory(client, order.feed.inventory, url);
    let answers = parallel::each(order.connections, &urls, read)?;
    let mut inventories = BTreeMap::new();
    for (url, answer) in urls.into_iter().zip(answers) {
        let Some((messages, remark)) = answer else {
            // One file that is not there is enough: the run is not complete.
            return Ok(Attempt::Missing(shown(&url)));
        };
        if let Some(remark) = remark {
            say(&remark);
        }
        inventories.insert(url, messages);
    }
    let mut missing = BTreeMap::new();
    for file in files.iter_mut().filter(|f| f.there.is_none()) {
        file.sources = sources(order.feed, choice, &file.member, &inventories, &mut missing)?;
    }
    if let Some(remark) = remark_on(&missing) {
        say(&remark);
    }
    complete_lengths(client, order.connections, &mut files)?;
    Ok(Attempt::There(Survey {
        choice: choice.clone(),
        files,
    }))
}

/// A run of a service: what to ask, once it is known to be there.
fn of_service(
    client: &Client,
    order: &Order,
    choice: &RunChoice,
    service: &Service,
) -> Result<Attempt> {
    let region = Region::around(order.site, order.reach_m, service.spacing);
    let mut files = planned(order, choice);
    let open = |file: &Planned| file.there.is_none();
    if order.probe
        && let Some(file) = files.iter().find(|f| open(f))
    {
        // The last step of a run comes last. A few points tell as much as all.
        let few = Region::around(order.site, 0.1 * service.spacing, service.spacing);
        let last = choice.steps.last().into_iter();
        let of_last = last.flat_map(|step| {
            asked::of_region(order.feed, service, choice, &file.member, *step, few)
        });
        // One side of a seam is enough to know.
        for question in of_last.filter(|q| !q.goes_on) {
            if client
                .reply(&question.url, service.missing.as_deref())?
                .is_none()
            {
                return Ok(Attempt::Missing(shown(&question.url)));
            }
        }
    }
    for file in files.iter_mut().filter(|f| open(f)) {
        let steps = file.steps.iter();
        let member = &file.member;
        let all = steps
            .flat_map(|step| asked::of_region(order.feed, service, choice, member, *step, region));
        file.asked = all.collect();
    }
    Ok(Attempt::There(Survey {
        choice: choice.clone(),
        files,
    }))
}

/// A run whose files are got whole, once it is known to be there.
fn of_whole(client: &Client, order: &Order, choice: &RunChoice, about: u64) -> Result<Attempt> {
    let mut files = planned(order, choice);
    for file in files.iter_mut().filter(|f| f.there.is_none()) {
        let question = |step: &u32| {
            let urls = asked::files(order.feed, choice, *step, &file.member);
            let asked = |url| FetchRequest {
                url,
                step: *step,
                goes_on: false,
                about,
            };
            urls.into_iter().map(asked).collect::<Vec<_>>()
        };
        file.asked = file.steps.iter().flat_map(question).collect();
    }
    // The last step of a run comes last.
    let last = files.last().and_then(|f| f.asked.last());
    if let Some(last) = last.filter(|_| order.probe) {
        // Enough to know that it is there.
        const FIRST: ByteSpan = ByteSpan {
            start: 0,
            length: 16,
        };
        if client.piece(&last.url, FIRST)?.is_none() {
            return Ok(Attempt::Missing(shown(&last.url)));
        }
    }
    Ok(Attempt::There(Survey {
        choice: choice.clone(),
        files,
    }))
}

/// The one question of a point forecast, which is for all hours.
fn of_point(order: &Order, choice: &RunChoice) -> Survey {
    let mut files = planned(order, choice);
    for file in files.iter_mut().filter(|f| f.there.is_none()) {
        file.asked = asked::of_point(order.feed, choice, order.site);
    }
    Survey {
        choice: choice.clone(),
        files,
    }
}

/// Every address that a step of a member is fetched from, whether it is there or not.
pub fn addresses(
    order: &Order,
    choice: &RunChoice,
    step: u32,
    member: &Option<String>,
) -> Vec<String> {
    let feed = order.feed;
    let asked = match (&feed.service, order.region()) {
        (Some(service), Some(region)) => {
            asked::of_region(feed, service, choice, member, step, region)
        }
        _ if feed.point.is_some() => asked::of_point(feed, choice, order.site),
        _ => return asked::files(feed, choice, step, member),
    };
    asked.into_iter().map(|asked| asked.url).collect()
}

/// The files of a run, without their messages.
fn planned(order: &Order, choice: &RunChoice) -> Vec<Planned> {
    let members: Vec<Option<String>> = match order.members.as_slice() {
        [] => vec![None],
        members => members.iter().cloned().map(Some).collect(),
    };
    let service = order.feed.service.as_ref();
    // NetCDF files are not put end to end, and whole files of the globe would be much to hold.
    let apart = service.is_some_and(|s| s.format == Format::NetCdf);
    let of_steps: Vec<Vec<u32>> = match apart || order.feed.whole_bytes.is_some() {
        true => choice.steps.iter().map(|step| vec![*step]).collect(),
        false => vec![choice.steps.clone()],
    };
    let urls: Vec<String> = order.feed.urls.iter().map(|u| shown(u.text())).collect();
    let region = order.region();
    let plan = |member: &Option<String>, steps: &Vec<u32>| {
        let path = order.folder.join(file_name(order, choice, member, steps));
        let place = order.feed.point.as_ref().map(|keys| (order.site, keys));
        // All that the bytes depend on: where one of these differs, the file
        // that is there is another.
        let what = (
            &urls,
            &order.feed.wanted,
            choice.run,
            steps,
            member,
            region,
            place,
        );
        let wanted = digest(format!("{what:?}").as_bytes());
        let there = Manifest::of_whole(&path).filter(|m| m.wanted == wanted);
        Planned {
            path,
            member: member.clone(),
            wanted,
            steps: steps.clone(),
            sources: Vec::new(),
            asked: Vec::new(),
            there,
        }
    };
    let each = members
        .iter()
        .flat_map(|member| of_steps.iter().map(move |s| (member, s)));
    each.map(|(member, steps)| plan(member, steps)).collect()
}

/// As in gefs-20261125-12z-40.25n9.1w-p01-f000-f012.grib2: of a region, with the place it is around, to a
/// kilometre.
fn file_name(order: &Order, choice: &RunChoice, member: &Option<String>, steps: &[u32]) -> String {
    let (date, hour) = choice.date_and_hour();
    let member = member.as_ref().map_or(String::new(), |m| format!("-{m}"));
    let step = |step: Option<&u32>| step.copied().unwrap_or(0);
    let (first, last) = (step(steps.first()), step(steps.last()));
    let name = &order.feed.name;
    let of_service = order.feed.service.as_ref().map(|s| match s.format {
        Format::Grib => "grib2",
        Format::NetCdf => "nc",
    });
    let of_place = of_service.or(order.feed.point.as_ref().map(|_| "json"));
    let (around, ending) = match of_place {
        None => (String::new(), "grib2"),
        Some(ending) => {
            let side = |deg: f64, [positive, negative]: [char; 2]| {
                let side = if deg < 0.0 { negative } else { positive };
                let degrees = format!("{:.2}", deg.abs());
                let degrees = degrees.trim_end_matches('0').trim_end_matches('.');
                format!("{degrees}{side}")
            };
            let (lat, lon) = (order.site.lat_deg, order.site.lon_deg);
            let around = side(lat, ['n', 's']) + &side(lon, ['e', 'w']);
            (format!("-{around}"), ending)
        }
    };
    format!("{name}-{date}-{hour}z{around}{member}-f{first:03}-f{last:03}.{ending}")
}

/// What is in a file, and a remark if that had to be found out from the file itself; `None` if
/// there is no such file.
fn inventory(
    client: &Client,
    kind: InventoryKind,
    url: &str,
) -> Result<Option<(Vec<Message>, Option<String>)>> {
    let Some(beside) = kind.url(url) else {
        return Ok(walk::messages(client, url)?.map(|messages| (messages, None)));
    };
    // Without its inventory the file may be there all the same.
    let trouble = match client.whole(&beside)? {
        None => format!("{} is not there", shown(&beside)),
        Some(bytes) => match read_inventory(kind, &shown(&beside), &bytes) {
            Ok(messages) => return Ok(Some((messages, None))),
            Err(fault) => fault.to_string(),
        },
    };
    let messages = walk::messages(client, url)?;
    Ok(messages.map(|messages| {
        let remark = format!(
            "{trouble}; the headers of its {} messages are read instead",
            messages.len()
        );
        (messages, Some(remark))
    }))
}

fn read_inventory(kind: InventoryKind, name: &str, bytes: &[u8]) -> Result<Vec<Message>> {
    let text = std::str::from_utf8(bytes)
        .map_err(|_| Error::from(Fault::new(name, "bytes that are not text", "an inventory")))?;
    match kind {
        InventoryKind::Index => json_lines::parse(name, text),
        _ => idx::parse(name, text),
    }
}

/// The messages of a member, step by step; wanted ones that are not there are counted.
fn sources(
    feed: &Feed,
    choice: &RunChoice,
    member: &Option<String>,
    inventories: &BTreeMap<String, Vec<Message>>,
    missing: &mut BTreeMap<String, usize>,
) -> Result<Vec<RangeSource>> {
    let (date, hour) = choice.date_and_hour();
    // Where the address tells the member, its inventory need not.
    let in_inventory = member.as_deref().filter(|_| !feed.member_in_url());
    let mut sources = Vec::new();
    for &step in &choice.steps {
        let mut found = Selection::nothing(feed, format!("{date}{hour}"), in_inventory);
        let urls = asked::files(feed, choice, step, member);
        for url in &urls {
            let messages = inventories.get(url).map_or(&[][..], Vec::as_slice);
            let selected = found.select(&shown(url), messages)?;
            let spans: Result<Vec<ByteSpan>> = selected.iter().map(|m| span(url, m)).collect();
            let spans = spans?;
            if !spans.is_empty() {
                sources.push(RangeSource {
                    url: url.clone(),
                    step,
                    messages: spans,
                });
            }
        }
        let names: Vec<String> = urls.iter().map(|url| shown(url)).collect();
        found.check_winds(&names.join(" and "))?;
        for field in found.missing() {
            *missing.entry(field).or_default() += 1;
        }
    }
    Ok(sources)
}

/// Stands for the unknown length of a file's last message until it is asked for.
const UNKNOWN: u64 = 0;

fn span(url: &str, message: &Message) -> Result<ByteSpan> {
    let length = message.length.unwrap_or(UNKNOWN);
    let fits = message.start.checked_add(length).is_some() && length <= LONGEST_MESSAGE;
    if !fits {
        let found = format!("a message of {length} bytes at byte {}", message.start);
        let expected = format!("one of at most {LONGEST_MESSAGE}");
        return Err(Fault::new(shown(url), found, expected).into());
    }
    Ok(ByteSpan {
        start: message.start,
        length,
    })
}

/// Asks for the lengths of those messages whose inventory does not tell them.
fn complete_lengths(client: &Client, connections: usize, files: &mut [Planned]) -> Result<()> {
    let sources = || files.iter().flat_map(|f| &f.sources);
    let last = |s: &RangeSource| s.messages.last().filter(|m| m.length == UNKNOWN).copied();
    let open: Vec<(String, u64)> = sources()
        .filter_map(|s| Some((s.url.clone(), last(s)?.start)))
        .collect();
    let ask = |(url, start): &(String, u64)| {
        // Of the message itself, not by the file's length: the inventory may have been cut short.
        let length = walk::message_length(client, url, *start)?;
        let known = ByteSpan::new(*start, length).filter(|s| s.length <= LONGEST_MESSAGE);
        known.ok_or_else(|| vanished(url))
    };
    let mut answers = parallel::each(connections, &open, ask)?.into_iter();
    for source in files.iter_mut().flat_map(|f| &mut f.sources) {
        if let Some(span) = source.messages.last_mut().filter(|m| m.length == UNKNOWN) {
            *span = answers.next().unwrap_or(*span);
        }
    }
    Ok(())
}

/// Says which wanted fields are in no inventory.
fn remark_on(missing: &BTreeMap<String, usize>) -> Option<String> {
    const SHOWN: usize = 8;
    if missing.is_empty() {
        return None;
    }
    let names: Vec<&str> = missing.keys().take(SHOWN).map(String::as_str).collect();
    let more = match missing.len().saturating_sub(SHOWN) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    Some(format!(
        "not in this run, or not in every step: {}{more}",
        names.join(", ")
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fetch::feed::Feeds;

    #[test]
    fn members_are_meant_by_name_number_and_range() {
        let feeds = Feeds::built_in().unwrap();
        let meant = |feed: &str, words: &[&str]| {
            let words: Vec<String> = words.iter().map(|w| (*w).to_owned()).collect();
            members(feeds.get(feed).unwrap(), &words).map_err(|e| e.to_string())
        };
        assert_eq!(meant("gefs", &[]).unwrap(), ["c00"]);
        assert_eq!(
            meant("gefs", &["p03", "1", "0"]).unwrap(),
            ["c00", "p01", "p03"]
        );
        assert_eq!(meant("gefs", &["9-11"]).unwrap(), ["p09", "p10", "p11"]);
        assert_eq!(meant("gefs", &["all"]).unwrap().len(), 31);
        assert!(meant("gfs", &[]).unwrap().is_empty());
        assert!(meant("gefs", &["31"]).unwrap_err().contains("c00 to p30"));
        assert!(
            meant("gfs", &["1"])
                .unwrap_err()
                .contains("not an ensemble")
        );
    }
}

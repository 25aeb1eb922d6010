//! Addresses written out: of the files of a step, and of the questions to services that cut a
//! region out or answer for a point.

use jiff::Timestamp;

use super::feed::Feed;
use super::region::Region;
use super::runs::RunChoice;
use super::service::Service;
use super::template::{Cut, Filling, Point, Template};
use crate::geodesy::Position;

/// About as many bytes has an hour of a point forecast: a hundred numbers.
const HOUR_OF_POINT: u64 = 600;

/// A question to a service that cuts regions out.
#[derive(Debug, Clone, PartialEq)]
pub struct FetchRequest {
    /// Where.
    pub url: String,
    /// Hours after the run.
    pub step: u32,
    /// Whether the answer goes on east of the one before.
    pub goes_on: bool,
    /// About how many bytes it has.
    pub about: u64,
}

/// The questions for one step of a file.
pub fn of_region(
    feed: &Feed,
    service: &Service,
    choice: &RunChoice,
    member: &Option<String>,
    step: u32,
    region: Region,
) -> Vec<FetchRequest> {
    let parts = region.parts(service.longitudes, service.spacing);
    // Of several files of a step nobody knows which has what: together they have it all.
    let files = feed.urls.len() as u64;
    let mut all = Vec::new();
    for url in &feed.urls {
        for (i, part) in parts.iter().enumerate() {
            let cut = Cut {
                region: *part,
                variables: service.variables(&feed.wanted),
                levels: service.levels(&feed.wanted),
            };
            all.push(FetchRequest {
                url: filled(url, choice, step, member, Some(&cut), None),
                step,
                goes_on: i > 0,
                about: service.estimate(&feed.wanted, *part).div_ceil(files),
            });
        }
    }
    all
}

/// The one question for all hours above a place.
pub fn of_point(feed: &Feed, choice: &RunChoice, site: Position) -> Vec<FetchRequest> {
    let hour = |time: Timestamp| time.strftime("%Y-%m-%dT%H:%M").to_string();
    let covers = choice.covers();
    let point = Point {
        place: site,
        hours: [hour(covers.from), hour(covers.to)],
    };
    let step = choice.steps.first().copied().unwrap_or(0);
    let url = |url: &Template| filled(url, choice, step, &None, None, Some(&point));
    let urls = feed.urls.iter().map(url);
    urls.map(|url| FetchRequest {
        url,
        step,
        goes_on: false,
        about: HOUR_OF_POINT * choice.steps.len() as u64,
    })
    .collect()
}

/// The files of one step.
pub fn files(feed: &Feed, choice: &RunChoice, step: u32, member: &Option<String>) -> Vec<String> {
    let urls = feed.urls.iter();
    urls.map(|url| filled(url, choice, step, member, None, None))
        .collect()
}

fn filled(
    url: &Template,
    choice: &RunChoice,
    step: u32,
    member: &Option<String>,
    cut: Option<&Cut>,
    point: Option<&Point>,
) -> String {
    let (date, hour) = choice.date_and_hour();
    let valid = choice.valid(step).strftime("%Y-%m-%dT%H:%M:%SZ");
    url.fill(Filling {
        date: &date,
        hour: &hour,
        step,
        member: member.as_deref().unwrap_or(""),
        valid: &valid.to_string(),
        cut,
        point,
    })
}

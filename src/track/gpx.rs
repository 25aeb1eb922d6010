//! GPX 1.0 and 1.1: points of tracks and routes, and waypoints, with `ele` and `time`.

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::fields::{What, report};
use super::{Outcome, Refusal};

/// One point on its way to a report.
#[derive(Default)]
struct Point {
    lat: Option<String>,
    lon: Option<String>,
    ele: Option<String>,
    time: Option<String>,
}

/// Whether a text is a document of this format, by its beginning.
pub fn looks_like(text: &str) -> bool {
    let begin: String = text.chars().take(4_096).collect();
    let is_gpx = |tag: &str| {
        let name = tag.split(|c: char| c.is_whitespace() || c == '>').next();
        name.is_some_and(|name| name == "gpx" || name.ends_with(":gpx"))
    };
    begin.trim_start().starts_with('<') && begin.split('<').any(is_gpx)
}

/// A document of one point, by the point's own text.
pub fn document(point: &str) -> String {
    format!("<gpx>{point}</gpx>")
}

/// The reports of a document.
/// Where it is damaged, those before that, and that it is.
pub fn read(text: &str) -> Vec<Outcome> {
    points(text)
        .into_iter()
        .map(|(outcome, _)| outcome)
        .collect()
}

/// The reports of a document, each with the text of its point; damage has none.
pub fn points(text: &str) -> Vec<(Outcome, &str)> {
    let mut reader = Reader::from_str(text);
    let (mut outcomes, mut point, mut inside) = (Vec::new(), None, Vec::new());
    let mut begins = 0;
    loop {
        let before = at(&reader);
        match reader.read_event() {
            Ok(Event::Start(tag)) => {
                let name = local(&tag);
                if is_point(&name) {
                    point = Some(begun(&tag));
                    begins = before;
                }
                inside.push(name);
            }
            Ok(Event::Empty(tag)) if is_point(&local(&tag)) => {
                outcomes.push((
                    done(begun(&tag)),
                    text.get(before..at(&reader)).unwrap_or(""),
                ));
            }
            Ok(Event::Text(words)) => {
                let part = point.as_mut().and_then(|p: &mut Point| {
                    match inside.last().map(String::as_str) {
                        Some("ele") => Some(&mut p.ele),
                        Some("time") => Some(&mut p.time),
                        _ => None,
                    }
                });
                if let Some(part) = part {
                    // A text may come in pieces.
                    part.get_or_insert_default().push_str(&words);
                }
            }
            Ok(Event::End(_)) => {
                if inside.pop().is_some_and(|name| is_point(&name)) {
                    let of_point = text.get(begins..at(&reader)).unwrap_or("");
                    outcomes.extend(point.take().map(|point| (done(point), of_point)));
                }
            }
            Ok(Event::Eof) => break,
            Ok(_) => {}
            Err(_) => {
                outcomes.push((Err(Refusal::Damaged), ""));
                break;
            }
        }
        // Nothing of a track lies so deep.
        if inside.len() > 1_000 {
            outcomes.push((Err(Refusal::Damaged), ""));
            break;
        }
    }
    outcomes
}

/// How far a reader has come, in bytes.
fn at(reader: &Reader<&[u8]>) -> usize {
    usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX)
}

fn is_point(name: &str) -> bool {
    matches!(name, "trkpt" | "rtept" | "wpt")
}

fn local(tag: &BytesStart) -> String {
    tag.local_name().as_ref().to_owned()
}

fn begun(tag: &BytesStart) -> Point {
    let value = |name: &str| {
        let attribute = tag.try_get_attribute(name).ok().flatten()?;
        Some(attribute.value.into_owned())
    };
    Point {
        lat: value("lat"),
        lon: value("lon"),
        ..Point::default()
    }
}

fn done(point: Point) -> Outcome {
    report(|asked| {
        let text = match asked {
            What::Latitude => point.lat.clone(),
            What::Longitude => point.lon.clone(),
            What::Altitude => point.ele.clone(),
            What::Time => point.time.clone(),
            _ => None,
        };
        text.map(|text| (text, 1.0))
    })
}

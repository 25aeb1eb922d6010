//! Release times compared, as a picture: time across, the factors down.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::picture::{Anchor, Picture};
use crate::choice::answer::{Day, Days, ReleaseRow, Verdict};
use crate::report::basis;
use crate::report::cautions::AID;
use crate::report::palette::{BEYOND, Colour, NEAR, UNKNOWN, WITHIN};
use crate::report::reasons::verdict_sign;
use crate::report::tables::days::{TITLE, verdict};
use crate::units::{UnitSystem, duration};

const LEFT: f64 = 190.0;
const TOP: f64 = 92.0;
const CELL: [f64; 2] = [84.0, 34.0];
const RIGHT: f64 = 20.0;
const BELOW: f64 = 74.0;
/// Releases side by side at most; more go into further bands below.
const ACROSS: usize = 16;

/// What stands in each line: its name and, of a release, the text and how near the limit it is.
type Factor = (
    &'static str,
    fn(&ReleaseRow, UnitSystem) -> (String, Option<f64>),
);

const FACTORS: [Factor; 7] = [
    ("verdict", |row, _| {
        let share = match row.verdict {
            Verdict::Fly => Some(0.0),
            Verdict::Marginal => Some(0.9),
            Verdict::DoNot => Some(2.0),
            Verdict::Unknown => None,
        };
        (verdict(row.verdict), share)
    }),
    ("wind at the ground", |row, units| {
        cell(row, row.strains.wind, |d| {
            Some(units.speed(d.surface_m_s()?))
        })
    }),
    ("drift", |row, units| {
        cell(row, row.strains.drift, |d| {
            Some(units.distance(d.distance_m))
        })
    }),
    ("hits to keep clear of", |row, _| {
        cell(row, row.strains.hits, |d| {
            Some(format!("{:.1} %", 100.0 * d.worst_hazard()?.share))
        })
    }),
    ("daylight left", |row, _| {
        cell(row, row.strains.daylight, |d| d.daylight_s.map(duration))
    }),
    ("90 % zone", |row, units| {
        let text = row.day.as_ref().and_then(|d| d.area_m2);
        (text.map_or_else(|| "-".into(), |a| units.area(a)), None)
    }),
    ("lead time", |row, _| {
        let lead = row.day.as_ref().and_then(|d| d.lead_s);
        (lead.map_or_else(|| "-".into(), duration), None)
    }),
];

/// A number of a release with its share of the limit.
fn cell(
    row: &ReleaseRow,
    strain: Option<f64>,
    text: impl Fn(&Day) -> Option<String>,
) -> (String, Option<f64>) {
    match row.day.as_ref().and_then(text) {
        Some(text) => (text, strain),
        None => ("-".into(), None),
    }
}

/// Draws the comparison.
pub fn draw(days: &Days, units: UnitSystem) -> Picture {
    let bands: Vec<&[ReleaseRow]> = days.rows.chunks(ACROSS).collect();
    let across = bands.iter().map(|b| b.len()).max().unwrap_or(1).max(7) as f64;
    let band_height = 34.0 + CELL[1] * FACTORS.len() as f64 + 16.0;
    let width = LEFT + CELL[0] * across + RIGHT;
    let height = TOP + band_height * bands.len() as f64 + BELOW;
    let mut picture = Picture::new(width, height);
    let title = basis::title(&days.basis, TITLE);
    picture.text([16.0, 30.0], 20.0, Anchor::Start, &title);
    let zone = zone_name(days);
    let under = format!("from {}; times in {zone}", days.site.text());
    picture.text([16.0, 52.0], 13.0, Anchor::Start, &under);
    for (i, band) in bands.iter().enumerate() {
        let top = TOP + band_height * i as f64;
        draw_band(&mut picture, band, top, &days.basis.timezone, units);
    }
    let y = height - BELOW + 20.0;
    let key = [
        (Some(0.0), "+ within the limit"),
        (Some(0.9), "~ beyond 80 % of it"),
        (Some(2.0), "x beyond the limit"),
        (None, "? unknown, or no limit"),
    ];
    for (i, (share, text)) in key.into_iter().enumerate() {
        let x = 16.0 + 165.0 * i as f64;
        picture.rectangle([x, y - 12.0], [16.0, 16.0], colour(share));
        picture.text([x + 22.0, y + 1.0], 12.0, Anchor::Start, text);
    }
    picture.text([16.0, y + 30.0], 12.0, Anchor::Start, AID);
    picture
}

fn draw_band(
    picture: &mut Picture,
    rows: &[ReleaseRow],
    top: f64,
    zone: &TimeZone,
    units: UnitSystem,
) {
    let mut day = String::new();
    for (k, row) in rows.iter().enumerate() {
        let x = LEFT + CELL[0] * (k as f64 + 0.5);
        let (date, hour) = local(row.release, zone);
        if date != day {
            picture.text(
                [x - 0.5 * CELL[0] + 2.0, top - 2.0],
                13.0,
                Anchor::Start,
                &date,
            );
            day = date;
        }
        picture.text([x, top + 20.0], 13.0, Anchor::Middle, &hour);
    }
    for (f, (name, value)) in FACTORS.iter().enumerate() {
        let y = top + 30.0 + CELL[1] * f as f64;
        picture.text([16.0, y + 22.0], 13.0, Anchor::Start, name);
        for (k, row) in rows.iter().enumerate() {
            let x = LEFT + CELL[0] * k as f64;
            let (text, share) = value(row, units);
            let share = share.filter(|_| row.verdict != Verdict::Unknown);
            let size = [CELL[0] - 2.0, CELL[1] - 2.0];
            picture.rectangle([x + 1.0, y + 1.0], size, colour(share));
            // The verdict has its sign already.
            let text = match (f, share) {
                (0, _) | (_, None) => text,
                (_, Some(share)) => format!("{} {text}", verdict_sign(Verdict::of_strain(share))),
            };
            let at = [x + 0.5 * CELL[0], y + 22.0];
            picture.text(at, 11.0, Anchor::Middle, &text);
        }
    }
}

/// The colour of a share of a limit. Signs tell them apart for those who see no red or green.
fn colour(share: Option<f64>) -> Colour {
    match share.map(Verdict::of_strain) {
        Some(Verdict::Fly) => WITHIN,
        Some(Verdict::Marginal) => NEAR,
        Some(Verdict::DoNot) => BEYOND,
        _ => UNKNOWN,
    }
}

fn local(at: Timestamp, zone: &TimeZone) -> (String, String) {
    let local = at.to_zoned_datetime(zone.clone());
    (
        local.strftime("%a %-d %b").to_string(),
        local.strftime("%H:%M").to_string(),
    )
}

fn zone_name(days: &Days) -> String {
    let name = days.basis.timezone.iana_name().map(str::to_owned);
    name.unwrap_or_else(|| "UTC".to_owned())
}

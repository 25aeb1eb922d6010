//! Release times compared, as a picture: time across, days apart, the factors down.

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::picture::{Anchor, Picture};
use crate::choice::answer::{Day, Days, ReleaseRow, Verdict};
use crate::report::basis;
use crate::report::cautions::AID;
use crate::report::layout::wrapped;
use crate::report::palette::{BEYOND, Colour, NEAR, UNKNOWN, WITHIN};
use crate::report::reasons::{clock, percent, reason_in_short, verdict_sign};
use crate::report::tables::days::{
    DayPart, TITLE, not_flown_line, parts, verdict, wind_at_ground, zone_name,
};
use crate::units::{UnitSystem, duration};

const LEFT: f64 = 190.0;
const TOP: f64 = 92.0;
/// Width of a release, and height of a line.
const CELL: [f64; 2] = [112.0, 30.0];
/// Height of the line with the reasons.
const REASON_HEIGHT: f64 = 46.0;
/// Between two days.
const GAP: f64 = 16.0;
const RIGHT: f64 = 20.0;
const BELOW: f64 = 74.0;
/// Above the first line of a band: day, sun and time.
const HEADS: f64 = 54.0;
/// Releases side by side at most; more go into further bands below.
const ACROSS: usize = 14;

/// What stands in each line: its name and, of a release, the text and how near the limit it is.
type Factor = (
    &'static str,
    fn(&ReleaseRow, UnitSystem) -> (String, Option<f64>),
);

/// The line that says what is thought of a release; those before it are no numbers either.
const VERDICT: usize = 1;

const FACTORS: [Factor; 10] = [
    ("rank", |row, _| {
        let rank = row.rank.map_or_else(|| "-".into(), |rank| rank.to_string());
        (rank, of_verdict(row.verdict))
    }),
    ("verdict", |row, _| {
        (verdict(row.verdict), of_verdict(row.verdict))
    }),
    ("wind at the ground", |row, units| {
        // With its gusts: the colour may be theirs.
        cell(row, row.strains.wind, |d| wind_at_ground(d, units))
    }),
    ("drift", |row, units| {
        let limit = match row.strains.drift {
            None if row.verdict != Verdict::Unknown => ", no limit",
            _ => "",
        };
        cell(row, row.strains.drift, |d| {
            Some(format!("{}{limit}", units.distance(d.distance_m)))
        })
    }),
    ("most hit hazard", |row, _| {
        cell(row, row.strains.hits, |d| {
            Some(percent(d.worst_hazard()?.share))
        })
    }),
    ("all hazards", |row, _| {
        cell(row, row.strains.all_hits, |d| {
            Some(percent(d.all_hazards.share))
        })
    }),
    ("in water", |row, _| {
        cell(row, row.strains.water, |d| Some(percent(d.water.any.share)))
    }),
    ("daylight left", |row, _| {
        cell(row, row.strains.daylight, |d| d.daylight_s.map(duration))
    }),
    // Neither this nor the lead has a limit, so neither has a colour.
    ("90 % zone", |row, units| {
        let text = row.day.as_ref().and_then(|d| d.area_m2);
        (text.map_or_else(|| "-".into(), |a| units.area(a)), None)
    }),
    ("lead time", |row, _| {
        let lead = row.day.as_ref().and_then(|d| d.lead_s);
        (lead.map_or_else(|| "-".into(), duration), None)
    }),
];

/// A share of a limit that has the colour of a verdict.
fn of_verdict(verdict: Verdict) -> Option<f64> {
    match verdict {
        // Any share within a verdict's own range: colours are asked for by shares.
        Verdict::WithinLimits => Some(0.0),
        Verdict::NearLimit => Some(0.9),
        Verdict::BeyondLimit => Some(2.0),
        Verdict::Unknown => None,
    }
}

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

/// Releases of a day that stand side by side.
type OfDay<'a> = (Date, &'a [ReleaseRow]);

/// Draws the comparison.
pub fn draw(days: &Days, units: UnitSystem) -> Picture {
    let parts = parts(days);
    let bands = bands(&parts);
    let not_covered: Vec<String> = parts
        .iter()
        .filter_map(|part| match part {
            DayPart::NotFlown(dates, rows) => Some(not_flown_line(*dates, rows)),
            DayPart::Day(..) => None,
        })
        .collect();
    let widest = bands.iter().map(|band| width(band)).fold(0.0, f64::max);
    let band_height = HEADS + CELL[1] * FACTORS.len() as f64 + REASON_HEIGHT + 16.0;
    let lines_from = TOP + band_height * bands.len() as f64;
    let page = [
        // Title, key and caution need that much, however few the releases are.
        LEFT + widest.max(6.0 * CELL[0]) + RIGHT,
        lines_from + 20.0 * not_covered.len() as f64 + BELOW,
    ];
    let mut picture = Picture::new(page[0], page[1]);
    let title = basis::title(&days.basis, TITLE);
    picture.text([16.0, 30.0], 20.0, Anchor::Start, &title);
    let zone = &days.basis.timezone;
    let under = format!("from {}; times in {}", days.site.text(), zone_name(zone));
    picture.text([16.0, 52.0], 13.0, Anchor::Start, &under);
    for (i, band) in bands.iter().enumerate() {
        let top = TOP + band_height * i as f64;
        draw_band(&mut picture, band, top, zone, units);
    }
    for (i, line) in not_covered.iter().enumerate() {
        let y = lines_from + 20.0 * i as f64 + 8.0;
        picture.text([16.0, y], 13.0, Anchor::Start, line);
    }
    let y = page[1] - BELOW + 20.0;
    // The key asks for its colours as the cells do, so that both agree.
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

/// The days that were flown, this many side by side as there is room for; long ones are cut.
fn bands<'a>(parts: &[DayPart<'a>]) -> Vec<Vec<OfDay<'a>>> {
    let mut bands: Vec<Vec<OfDay>> = Vec::new();
    let mut room = 0;
    for part in parts {
        let DayPart::Day(date, rows) = part else {
            continue;
        };
        for rows in rows.chunks(ACROSS) {
            match bands.last_mut() {
                // A day stays whole: where the band has no room for all of it, it
                // begins the next one.
                Some(band) if rows.len() <= room => band.push((*date, rows)),
                _ => {
                    bands.push(vec![(*date, rows)]);
                    room = ACROSS;
                }
            }
            room -= rows.len();
        }
    }
    bands
}

fn width(band: &[OfDay]) -> f64 {
    let releases: usize = band.iter().map(|(_, rows)| rows.len()).sum();
    CELL[0] * releases as f64 + GAP * band.len().saturating_sub(1) as f64
}

fn draw_band(picture: &mut Picture, band: &[OfDay], top: f64, zone: &TimeZone, units: UnitSystem) {
    let mut y = top + HEADS;
    for (name, _) in FACTORS {
        picture.text([16.0, y + 20.0], 13.0, Anchor::Start, name);
        y += CELL[1];
    }
    picture.text([16.0, y + 20.0], 13.0, Anchor::Start, "what decides");
    let mut x = LEFT;
    for (date, rows) in band {
        let day = date.strftime("%a %-d %b").to_string();
        picture.text([x + 2.0, top], 14.0, Anchor::Start, &day);
        // Of any release that was flown: the sun is that of the day.
        let sun = rows.iter().find_map(|row| {
            let day = row.day.as_ref()?;
            Some([clock(day.sunrise?, zone), clock(day.sunset?, zone)])
        });
        if let Some([rise, set]) = sun {
            let sun = format!("sun {rise} to {set}");
            picture.text([x + 2.0, top + 17.0], 11.0, Anchor::Start, &sun);
        }
        for row in *rows {
            draw_release(picture, row, [x, top], zone, units);
            x += CELL[0];
        }
        x += GAP;
    }
}

fn draw_release(
    picture: &mut Picture,
    row: &ReleaseRow,
    [x, top]: [f64; 2],
    zone: &TimeZone,
    units: UnitSystem,
) {
    let middle = x + 0.5 * CELL[0];
    // Beside the time, as in the table: where the plan allows it no reason says so.
    let dark = row.day.as_ref().is_some_and(|day| day.dark_release);
    let hour = format!(
        "{}{}",
        clock(row.release, zone),
        if dark { " dark" } else { "" }
    );
    picture.text([middle, top + HEADS - 10.0], 13.0, Anchor::Middle, &hour);
    let mut y = top + HEADS;
    for (f, (_, value)) in FACTORS.iter().enumerate() {
        let (text, share) = value(row, units);
        // Good numbers promise nothing where nothing is known of the release.
        let share = share.filter(|_| row.verdict != Verdict::Unknown);
        let size = [CELL[0] - 2.0, CELL[1] - 2.0];
        picture.rectangle([x + 1.0, y + 1.0], size, colour(share));
        // The verdict has its sign already.
        let text = match (f, share) {
            (0..=VERDICT, _) | (_, None) => text,
            (_, Some(share)) => format!("{} {text}", verdict_sign(Verdict::of_strain(share))),
        };
        picture.text([middle, y + 20.0], 11.0, Anchor::Middle, &text);
        y += CELL[1];
    }
    let reason = reason_in_short(&row.reason, units, zone);
    // The line ends behind the number, so that its limit stands below it.
    let lines = reason
        .split_inclusive(", ")
        .flat_map(|part| wrapped(part, 22));
    // As many as there is room for below the numbers.
    for (i, line) in lines.take(3).enumerate() {
        let at = [middle, y + 14.0 + 13.0 * i as f64];
        picture.text(at, 10.0, Anchor::Middle, &line);
    }
}

/// The colour of a share of a limit. Signs tell them apart for those who see no red or green.
fn colour(share: Option<f64>) -> Colour {
    match share.map(Verdict::of_strain) {
        Some(Verdict::WithinLimits) => WITHIN,
        Some(Verdict::NearLimit) => NEAR,
        Some(Verdict::BeyondLimit) => BEYOND,
        _ => UNKNOWN,
    }
}

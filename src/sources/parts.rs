//! Tables that hold a part of an ascent beside the whole, as its mandatory levels above all of them.

use super::ONE_STATION_M;
use super::clean::{Raw, Row};
use crate::clock::seconds_between;
use crate::error::Result;
use crate::geodesy::wrap_longitude;
use crate::notes::reading::Reading;
use crate::units::counted;

/// A part has no more rows.
const MOST_ROWS: usize = 200;
/// Fewer rows with a wind may agree by chance.
const FEWEST_WINDS: usize = 2;
/// So far apart are values of one level that were rounded differently.
const HEIGHT_M: f64 = 10.0;
const PRESSURE_PA: f64 = 50.0;
pub(super) const SPEED_M_S: f64 = 1.0;
pub(super) const FROM_DEG: f64 = 5.0;
/// Below this a wind has no direction worth comparing, m/s.
const CALM_M_S: f64 = 1.0;
/// The nominal hour of an ascent and its release are no farther apart, s.
const ONE_ASCENT_S: f64 = 3_600.0;

/// Ascents without those of which all winds stand in the one before or behind as well; that one takes what the file says
/// of its part.
pub(super) fn joined(ascents: Vec<Result<Raw>>) -> Vec<Result<Raw>> {
    let mut joined: Vec<Result<Raw>> = Vec::new();
    for next in ascents {
        match (joined.last_mut(), next) {
            (Some(Ok(last)), Ok(next)) if is_part(last, &next) => {
                let part = std::mem::replace(last, next);
                take(last, part);
            }
            (Some(Ok(last)), Ok(next)) if is_part(&next, last) => take(last, next),
            (_, next) => joined.push(next),
        }
    }
    joined
}

/// Whether an ascent is a part of another, by what is said of both and by its winds.
fn is_part(part: &Raw, whole: &Raw) -> bool {
    let is_same = (part.name == whole.name || part.name.is_empty() || whole.name.is_empty())
        && agree(part.time, whole.time, |a, b| {
            seconds_between(a, b).abs() <= ONE_ASCENT_S
        })
        && agree(part.position, whole.position, |a, b| {
            a.distance_m(b) < ONE_STATION_M
        })
        && agree(part.model.as_ref(), whole.model.as_ref(), |a, b| a == b);
    let is_shorter = part.rows.len() < whole.rows.len() && part.rows.len() <= MOST_ROWS;
    let has_wind = |row: &&Row| row.speed_m_s.or(row.east_m_s).is_some();
    let mut winds = part.rows.iter().filter(has_wind);
    is_same
        && is_shorter
        && winds.clone().count() >= FEWEST_WINDS
        && winds.all(|row| whole.rows.iter().any(|other| is_same_level(row, other)))
}

/// Whether two do not contradict each other.
fn agree<T>(one: Option<T>, other: Option<T>, is_same: fn(T, T) -> bool) -> bool {
    one.zip(other)
        .is_none_or(|(one, other)| is_same(one, other))
}

fn is_same_level(one: &Row, other: &Row) -> bool {
    let is_near = |of: fn(&Row) -> Option<f64>, within: f64| {
        let both = of(one).zip(of(other));
        both.is_some_and(|(a, b)| (a - b).abs() <= within)
    };
    let is_there = is_near(|r| r.height_m, HEIGHT_M) || is_near(|r| r.pressure_pa, PRESSURE_PA);
    let is_calm = |row: &Row| row.speed_m_s.is_some_and(|speed| speed < CALM_M_S);
    let by_direction = || {
        let both = one.from_deg.zip(other.from_deg);
        both.is_some_and(|(a, b)| wrap_longitude(a - b).abs() <= FROM_DEG)
    };
    let is_wind = || (is_calm(one) && is_calm(other)) || by_direction();
    let by_speed = || is_near(|r| r.speed_m_s, SPEED_M_S) && is_wind();
    let by_parts = || is_near(|r| r.east_m_s, SPEED_M_S) && is_near(|r| r.north_m_s, SPEED_M_S);
    is_there && (by_speed() || by_parts())
}

/// Gives an ascent what is said of its part.
fn take(whole: &mut Raw, part: Raw) {
    if whole.name.is_empty() {
        whole.name = part.name;
    }
    if whole.time.is_none() && part.tally.assumed.contains(&Reading::TimesInUtc) {
        whole.tally.assumed.push(Reading::TimesInUtc);
    }
    whole.time = whole.time.or(part.time);
    whole.position = whole.position.or(part.position);
    whole.model = whole.model.take().or(part.model);
    whole.tally.comments += part.tally.comments;
    let rows = counted(part.rows.len(), "row", "rows");
    let said = format!(
        "a table of {rows}, line {}, whose winds stand in another as well",
        part.line
    );
    whole.tally.left_out.push(said);
    whole.tally.left_out.extend(part.tally.left_out);
}

//! One release from one site, judged by the plan's limits, and the order of several.

use std::cmp::Ordering;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::answer::{
    Day, DrawShare, Hazard, InWater, NearPlace, Passing, ReleaseRow, Strains, SurfaceWind, Verdict,
};
use super::ground::buffers;
use super::reason::Reason;
use super::verdict::{DayStrains, Limits};
use crate::clock::{DAY_S, after};
use crate::error::{Error, Result};
use crate::geodesy::{Normal, Position};
use crate::ground::airspace::{Airspace, Cylinder};
use crate::ground::hits::{Buffer, Hits, Share, hits, is_to_keep_clear_of};
use crate::ground::map::{Class, GroundMap, Knowledge};
use crate::ground::sun::{Span, SunNow, sun, sun_now};
use crate::ground::water::{Water, WaterShares};
use crate::notes::Assumption;
use crate::plan::Plan;
use crate::spread::run::quantiles;
use crate::wind::near_ground::{GroundWindFrom, ROUGHNESS_M, TOLD_AT_M};
use crate::zone::LEFT_ALLOWED;
use crate::zone::releases::{FlownRelease, GroundWind, TriedRelease};

/// What releases are judged by.
pub struct Judge<'a> {
    map: &'a GroundMap,
    water: Water<'a>,
    buffers: Vec<Buffer>,
    cylinders: &'a [Cylinder],
    airspace: Airspace<'a>,
    limits: Limits,
    timezone: &'a TimeZone,
    names_places: bool,
}

impl<'a> Judge<'a> {
    /// By a plan's limits and buffers, on a ground.
    ///
    /// # Errors
    ///
    /// When the data in the program are damaged.
    pub fn new(
        plan: &'a Plan,
        map: &'a GroundMap,
        cylinders: &'a [Cylinder],
        limits: Limits,
    ) -> Result<Judge<'a>> {
        Ok(Judge {
            map,
            water: Water::of(map)?,
            buffers: buffers(&plan.ground),
            cylinders,
            airspace: Airspace::new(map, cylinders),
            limits,
            timezone: &plan.timezone,
            names_places: true,
        })
    }

    /// The water of its ground.
    pub fn water(&self) -> &Water<'a> {
        &self.water
    }

    /// The same, but rows do not name the place that the landings are near: for many that are counted only.
    #[must_use]
    pub fn without_names(self) -> Judge<'a> {
        Judge {
            names_places: false,
            ..self
        }
    }

    /// A release from a site as it was tried.
    ///
    /// # Errors
    ///
    /// When the data in the program are damaged.
    pub fn row(&self, site: Position, (release, flown): &TriedRelease) -> Result<ReleaseRow> {
        match flown {
            Ok(flown) => self.flown_row(site, flown),
            Err(error) => Ok(unknown_by(*release, error)),
        }
    }

    /// A release from a site that was flown.
    ///
    /// # Errors
    ///
    /// When the data in the program are damaged.
    pub fn flown_row(&self, site: Position, flown: &FlownRelease) -> Result<ReleaseRow> {
        let day = self.day(site, flown)?;
        // Its numbers are shown all the same, but nothing is judged by them.
        if let Some(reason) = not_told(&day) {
            return Ok(unknown(flown.release, reason, Some(day)));
        }
        let strains = DayStrains::of(flown.release, &day, &self.limits);
        let shares = strains.shares();
        let worst = strains.worst();
        Ok(ReleaseRow {
            release: flown.release,
            verdict: Verdict::of_strain(worst.judged()),
            reason: worst.reason,
            strain: worst.share,
            strains: shares,
            rank: None,
            day: Some(day),
        })
    }

    fn day(&self, site: Position, flown: &FlownRelease) -> Result<Day> {
        let places: Vec<Normal> = flown.landings.iter().map(|l| l.place).collect();
        let hits = hits(self.map, &self.buffers, &places);
        let sun = Sun::of(site, flown.release, self.timezone);
        let lands = quantiles(&flown.landings, |l| l.time_s).map(|s| after(flown.release, s));
        // Kept apart from the hazards: to come down there is what is wanted.
        let land_in = hits.share(Class::LandIn).map(|s| s.share());
        let surface = flown.surface.iter();
        Ok(Day {
            lead_s: flown.lead_s,
            center: flown.center,
            distance_m: site.distance_m(flown.center),
            azimuth_deg: site.azimuth_deg(flown.center),
            place: match self.names_places {
                true => near_place(self.map, flown.center)?,
                false => None,
            },
            landing: lands.middle,
            latest_landing: lands.high,
            area_m2: flown.ellipse.as_ref().map(|e| e.shape.area_m2()),
            ellipse: flown.ellipse.clone(),
            sunrise: sun.rise,
            sunset: sun.set,
            dark_release: sun.down,
            wind_age_s: flown.wind_age_s,
            wind_distance_m: flown.wind_distance_m,
            surface: surface
                .map(|wind| SurfaceWind {
                    after_s: wind.after_s,
                    speed_m_s: wind.speed_m_s,
                    gust_m_s: wind.gust_m_s,
                })
                .collect(),
            surface_from: surface_from(&flown.surface),
            // By when nearly all have landed: late ones are to be found by daylight, too.
            daylight_s: daylight_after(flown.center, lands.high),
            left: flown.left as f64 / flown.draws as f64,
            off_map: hits.share_outside(),
            land_in,
            walk_in_m: hits.walk_in_m(0.9),
            hazards: hazards(&hits),
            all_hazards: draw_share(hits.any),
            water: in_water(self.water.shares(&places)),
            airspace: self.passings(flown),
        })
    }

    fn passings(&self, flown: &FlownRelease) -> Vec<Passing> {
        let shares = self.airspace.shares(flown.low.iter().map(AsRef::as_ref));
        let passed = self.cylinders.iter().zip(shares);
        passed
            .map(|(cylinder, share)| Passing {
                airport: cylinder.kind.name(),
                within_m: cylinder.radius_m,
                below_m: cylinder.height_m,
                share: share.share(),
                standard_error: share.standard_error(),
            })
            .collect()
    }
}

/// The named place nearest to the centre of landings.
///
/// # Errors
///
/// When the data in the program are damaged.
pub fn near_place(map: &GroundMap, center: Position) -> Result<Option<NearPlace>> {
    let near = map.nearest_place(center)?;
    Ok(near.map(|near| NearPlace {
        name: near.what.name.clone(),
        distance_m: near.distance_m,
        azimuth_deg: near.what.position.azimuth_deg(center),
    }))
}

/// A release that could not be flown.
pub fn unknown_by(release: Timestamp, error: &Error) -> ReleaseRow {
    let why = match error {
        Error::NoWinds { why, .. } | Error::CannotDo { why, .. } => why.clone(),
        error => error.to_string(),
    };
    let wants_winds = matches!(error, Error::NoWinds { .. });
    unknown(release, Reason::NotFlown { wants_winds, why }, None)
}

fn unknown(release: Timestamp, reason: Reason, day: Option<Day>) -> ReleaseRow {
    ReleaseRow {
        release,
        verdict: Verdict::Unknown,
        reason,
        strain: f64::INFINITY,
        strains: Strains::default(),
        rank: None,
        day,
    }
}

/// Whether those on the map stand for all: few enough came down off it.
pub fn tells_of_all(hits: &Hits) -> bool {
    hits.share_outside() <= LEFT_ALLOWED
}

/// What landings hit, a row a class.
pub fn hazards(hits: &Hits) -> Vec<Hazard> {
    // Where many came down off the map, those on it do not stand for all.
    let told = tells_of_all(hits);
    let rows = hits.classes.iter();
    rows.map(|row| Hazard {
        name: row.buffer.class.name(),
        within_m: row.buffer.radius_m,
        share: row.share.filter(|_| told).map(|s| s.share()),
        standard_error: row.share.filter(|_| told).map(|s| s.standard_error()),
        coarse: row.knowledge == Knowledge::Coarse,
        to_keep_clear_of: is_to_keep_clear_of(row.buffer.class),
    })
    .collect()
}

fn draw_share(share: Share) -> DrawShare {
    DrawShare {
        share: share.share(),
        standard_error: share.standard_error(),
    }
}

fn in_water(shares: WaterShares) -> InWater {
    InWater {
        any: draw_share(shares.any),
        sea_share: shares.sea.share(),
        lake_share: shares.lake.share(),
        river_share: shares.river.share(),
    }
}

/// A sounding older than this tells nothing of a release, s (assumed).
pub const OLDEST_SOUNDING_S: f64 = 24.0 * 3_600.0;
/// Nor does one farther away than this, m (assumed).
pub const FARTHEST_SOUNDING_M: f64 = 300_000.0;

/// Why winds or ground tell too little of a release to judge it, if they do.
fn not_told(day: &Day) -> Option<Reason> {
    // One made as long after the release tells as little.
    let age_s = day.wind_age_s.filter(|s| s.abs() > OLDEST_SOUNDING_S);
    let away_m = day.wind_distance_m.filter(|m| *m > FARTHEST_SOUNDING_M);
    let old = age_s.map(|age_s| Reason::OldWinds {
        age_s,
        limit_s: OLDEST_SOUNDING_S,
    });
    let far = away_m.map(|distance_m| Reason::DistantWinds {
        distance_m,
        limit_m: FARTHEST_SOUNDING_M,
    });
    let left = (day.left > LEFT_ALLOWED).then_some(Reason::LeavesWinds {
        share: day.left,
        limit_share: LEFT_ALLOWED,
    });
    let off_map = (day.off_map > LEFT_ALLOWED).then_some(Reason::OffMap {
        share: day.off_map,
        limit_share: LEFT_ALLOWED,
    });
    // What is wrong with the winds comes before what follows from it.
    old.or(far).or(left).or(off_map)
}

/// What the winds at the ground are from; of several the one that is least known.
fn surface_from(winds: &[GroundWind]) -> Option<GroundWindFrom> {
    let height = |from: &GroundWindFrom| match from {
        GroundWindFrom::TenMetres => 0.0,
        GroundWindFrom::AtStation { apart_m } => *apart_m,
        GroundWindFrom::Between => TOLD_AT_M,
        GroundWindFrom::BroughtDown { from_m } => *from_m,
    };
    let all = winds.iter().map(|wind| wind.from);
    // The one that was brought down from highest is known least.
    all.max_by(|a, b| height(a).total_cmp(&height(b)))
}

/// What is assumed of the winds at the ground of some releases.
pub fn assumed_at_ground<'a>(rows: impl Iterator<Item = &'a ReleaseRow>) -> Vec<Assumption> {
    assumed_of_surface(rows.filter_map(|row| row.day.as_ref()?.surface_from))
}

/// What is assumed of winds at the ground by what they are from.
pub fn assumed_of_surface(from: impl Iterator<Item = GroundWindFrom>) -> Vec<Assumption> {
    let all: Vec<GroundWindFrom> = from.collect();
    let most = |of: fn(&GroundWindFrom) -> Option<f64>| all.iter().filter_map(of).reduce(f64::max);
    let apart_m = most(|from| match from {
        GroundWindFrom::AtStation { apart_m } => Some(*apart_m),
        _ => None,
    });
    let from_m = most(|from| match from {
        GroundWindFrom::BroughtDown { from_m } => Some(*from_m),
        _ => None,
    });
    let at_station = apart_m.map(|apart_m| Assumption::GroundWindAtStation { apart_m });
    let brought_down = from_m.map(|from_m| Assumption::GroundWindBroughtDown {
        from_m,
        roughness_m: ROUGHNESS_M,
    });
    at_station.into_iter().chain(brought_down).collect()
}

/// The sun at a site on the local day of a release.
struct Sun {
    rise: Option<Timestamp>,
    set: Option<Timestamp>,
    /// Whether it is down at the release.
    down: bool,
}

impl Sun {
    fn of(site: Position, release: Timestamp, zone: &TimeZone) -> Sun {
        let day = release.to_zoned_datetime(zone.clone()).date();
        let now = sun_now(site, release);
        let of_day = match sun(site, day, zone) {
            Ok(Span::Crosses { rise, set }) => [rise, set],
            _ => [None, None],
        };
        Sun {
            rise: of_day[0],
            // The one that ends the light of this release, which may come after midnight.
            set: match now {
                Ok(SunNow::Up { until: Some(until) }) => Some(until),
                _ => of_day[1],
            },
            // Where the sun cannot be told no release is taken for one in the dark.
            down: matches!(now, Ok(SunNow::Down)),
        }
    }
}

/// Seconds from a landing to the next sunset at the centre of the landings; 0 when the sun is down. Where it
/// does not set within a day there is more than any limit asks for.
fn daylight_after(center: Position, landing: Timestamp) -> Option<f64> {
    Some(match sun_now(center, landing).ok()? {
        SunNow::Up { until: Some(until) } => until.duration_since(landing).as_secs_f64(),
        SunNow::Up { until: None } => DAY_S,
        SunNow::Down => 0.0,
    })
}

/// The better of two first: by verdict, then by how near the deciding number is to its limit, then
/// by time.
pub fn better_first(a: &ReleaseRow, b: &ReleaseRow) -> Ordering {
    a.verdict
        .cmp(&b.verdict)
        .then(a.strain.partial_cmp(&b.strain).unwrap_or(Ordering::Equal))
        .then(a.release.cmp(&b.release))
}

/// Numbers the rows, the best first. Unknown ones have no rank.
pub fn rank(rows: &mut [ReleaseRow]) {
    // Through an order of their own: the rows stay in the order of time.
    let mut order: Vec<usize> = (0..rows.len()).collect();
    order.sort_by(|&a, &b| better_first(&rows[a], &rows[b]));
    for (rank, i) in order.into_iter().enumerate() {
        if rows[i].verdict != Verdict::Unknown {
            rows[i].rank = Some(rank + 1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::hits::default_buffers;
    use crate::ground::region::Region;

    /// In summer in Alaska the sun sets after midnight: the light of a day ends on the next.
    #[test]
    fn the_sunset_that_counts_is_the_next_one() {
        let zone = TimeZone::get("America/Anchorage").unwrap();
        let site = Position::new(64.84, -147.72).unwrap();
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        let hours = |landing: &str| daylight_after(site, at(landing)).unwrap() / 3_600.0;
        // 13:00 there; the sun sets at 00:47 (from memory).
        let left = hours("2026-06-21T21:00:00Z");
        assert!((left - 11.8).abs() < 0.1, "{left}");
        let sun = Sun::of(site, at("2026-06-21T19:00:00Z"), &zone);
        assert!(!sun.down && sun.set > Some(at("2026-06-22T08:00:00Z")));
        // At 00:30 it is still up, at 01:30 not.
        assert!((hours("2026-06-22T08:30:00Z") - 0.3).abs() < 0.1);
        assert_eq!(hours("2026-06-22T09:30:00Z"), 0.0);
        assert!(Sun::of(site, at("2026-06-22T09:30:00Z"), &zone).down);
        // Farther north it does not set in June, nor rise in December.
        let north = Position::new(78.2, 15.6).unwrap();
        assert_eq!(
            daylight_after(north, at("2026-06-21T00:00:00Z")),
            Some(86_400.0)
        );
        assert_eq!(daylight_after(north, at("2026-12-21T12:00:00Z")), Some(0.0));
    }

    #[test]
    fn off_the_map_nothing_is_known_of_what_is_hit() {
        let site = Position::new(43.0, -108.2).unwrap();
        let map = GroundMap::new(Region::around(site, 500_000.0), &[]).unwrap();
        let [near, far] = [100_000.0, 700_000.0].map(|m| site.destination(90.0, m).normal());
        let of = |landings: &[Normal]| hits(&map, &default_buffers(), landings);
        let some_known = |hits: &Hits| hazards(hits).iter().any(|row| row.share.is_some());
        let (on, off) = (
            of(&[near; 200]),
            of(&[vec![near; 190], vec![far; 10]].concat()),
        );
        assert!(on.share_outside() == 0.0 && some_known(&on));
        assert!((off.share_outside() - 0.05).abs() < 1e-12 && !some_known(&off));
        // One in two hundred is as few as may leave the winds.
        let few = of(&[vec![near; 199], vec![far]].concat());
        assert!(some_known(&few));
    }
}

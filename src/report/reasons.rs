//! Verdicts on releases and sites, their reasons and their limits, in words.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::words::far;
use crate::choice::answer::{LaunchesIn, Verdict};
use crate::choice::reason::{InWhat, Reason};
use crate::choice::verdict::Limits;
use crate::clock::local::to_the_minute;
use crate::ground::site::{SiteFinding, SiteVerdict};
use crate::units::{UnitSystem, duration};

/// A verdict in a word or two.
pub fn verdict_name(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::WithinLimits => "within limits",
        Verdict::NearLimit => "near a limit",
        Verdict::BeyondLimit => "beyond a limit",
        Verdict::Unknown => "unknown",
    }
}

/// A sign for a verdict that reads without colour.
pub fn verdict_sign(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::WithinLimits => "+",
        Verdict::NearLimit => "~",
        Verdict::BeyondLimit => "x",
        Verdict::Unknown => "?",
    }
}

/// The reason that decides: the number and its limit, times on the clock of `zone`.
pub fn reason(reason: &Reason, units: UnitSystem, zone: &TimeZone) -> String {
    match reason {
        Reason::SurfaceWind {
            speed_m_s,
            limit_m_s,
        } => format!(
            "wind at the ground {}, limit {}",
            units.speed(*speed_m_s),
            units.speed(*limit_m_s)
        ),
        Reason::Gusts {
            gust_m_s,
            limit_m_s,
        } => format!(
            "gusts at the ground {}, limit {} (one and a half times that of the wind, assumed)",
            units.speed(*gust_m_s),
            units.speed(*limit_m_s)
        ),
        Reason::Hits {
            hazard,
            share,
            limit_share,
        } => format!(
            "{hazard}: {} of the draws, limit {}",
            percent(*share),
            percent(*limit_share)
        ),
        Reason::AllHits { share, limit_share } => format!(
            "all hazards: {} of the draws hit at least one, limit {}",
            percent(*share),
            percent(*limit_share)
        ),
        Reason::Water {
            kind,
            share,
            limit_share,
        } => format!(
            "water: {} of the draws, most of them in {}, limit {}",
            percent(*share),
            water(*kind),
            percent(*limit_share)
        ),
        Reason::DarkRelease {
            sunrise, sunset, ..
        } => {
            let time = |at: &Option<Timestamp>| at.map_or("-".into(), |t| clock(t, zone));
            format!(
                "release in the dark: sunrise {}, sunset {}",
                time(sunrise),
                time(sunset)
            )
        }
        Reason::Daylight { left_s, limit_s } => format!(
            "daylight left {}, at least {} wanted",
            duration(*left_s),
            duration(*limit_s)
        ),
        Reason::Dark {
            latest_landing,
            limit_s,
        } => format!(
            "dark at the landing, at the latest {}; {} of daylight wanted",
            clock(*latest_landing, zone),
            duration(*limit_s)
        ),
        Reason::LeavesWinds { share, limit_share } => format!(
            "{} of the draws leave the winds, limit {}",
            percent(*share),
            percent(*limit_share)
        ),
        Reason::OldWinds { age_s, limit_s } => {
            // Flights that are looked at afterwards have winds that were measured later.
            let side = if *age_s < 0.0 { "after" } else { "before" };
            format!(
                "the sounding was made {} {side} the release, limit {}",
                duration(age_s.abs()),
                duration(*limit_s)
            )
        }
        Reason::DistantWinds {
            distance_m,
            limit_m,
        } => format!(
            "the nearest sounding was made {} away, limit {}",
            units.distance(*distance_m),
            units.distance(*limit_m)
        ),
        Reason::OffMap { share, limit_share } => format!(
            "{} of the draws come down farther from the middle of the map than the ground was read, limit {}",
            percent(*share),
            percent(*limit_share)
        ),
        // The library tells times in UTC, the reader of a table has the clocks of the place.
        Reason::NotFlown { why, .. } => on_local_clock(why, zone),
        Reason::NoLaunchPlace => {
            "there is no place on land upwind of the target where launching is allowed".to_owned()
        }
        Reason::TargetMissed => {
            "no draw from a place where launching is allowed comes down in the target".to_owned()
        }
        Reason::NothingTried => "no release was tried".to_owned(),
        Reason::TooNearSite { finding } => format!("site: {}", site_finding(finding, units)),
        // It says all that there is to say.
        short @ Reason::Drift { .. } => reason_in_short(short, units, zone),
    }
}

/// The same in about thirty characters, for tables and pictures.
pub fn reason_in_short(long: &Reason, units: UnitSystem, zone: &TimeZone) -> String {
    let of_draws = |what: &str, share: f64, limit_share: f64| {
        format!("{what} {}, limit {}", percent(share), percent(limit_share))
    };
    let hours = |s: f64| format!("{:.0} h", s / 3_600.0);
    match long {
        Reason::SurfaceWind {
            speed_m_s,
            limit_m_s,
        } => format!(
            "wind {}, limit {}",
            units.speed(*speed_m_s),
            units.speed(*limit_m_s)
        ),
        Reason::Gusts {
            gust_m_s,
            limit_m_s,
        } => format!(
            "gusts {}, limit {}",
            units.speed(*gust_m_s),
            units.speed(*limit_m_s)
        ),
        Reason::Drift {
            distance_m,
            limit_m,
        } => format!(
            "drift {}, limit {}",
            units.distance(*distance_m),
            units.distance(*limit_m)
        ),
        Reason::Hits {
            hazard,
            share,
            limit_share,
        } => of_draws(hazard, *share, *limit_share),
        Reason::AllHits { share, limit_share } => of_draws("all hazards", *share, *limit_share),
        Reason::Water {
            share, limit_share, ..
        } => of_draws("water", *share, *limit_share),
        Reason::LeavesWinds { share, limit_share } => {
            of_draws("left the winds", *share, *limit_share)
        }
        Reason::DarkRelease {
            release,
            sunrise,
            sunset,
        } => match (sunrise, sunset) {
            // The sunrise is what to wait for, unless it is past.
            (Some(rise), _) if release < rise => format!("dark, sunrise {}", clock(*rise, zone)),
            (_, Some(set)) => format!("dark, sunset {}", clock(*set, zone)),
            // Beyond the polar circles in winter.
            (_, None) => "dark all day".to_owned(),
        },
        Reason::Daylight { left_s, limit_s } => format!(
            "light left {}, limit {} h",
            hours_and_minutes(*left_s),
            hours_and_minutes(*limit_s)
        ),
        Reason::Dark { latest_landing, .. } => {
            format!("landing in the dark, {}", clock(*latest_landing, zone))
        }
        Reason::OldWinds { age_s, limit_s } => format!(
            "winds {} {}, limit {}",
            hours(age_s.abs()),
            if *age_s < 0.0 { "younger" } else { "old" },
            hours(*limit_s)
        ),
        Reason::DistantWinds {
            distance_m,
            limit_m,
        } => format!(
            "winds {} away, limit {}",
            far(*distance_m, units),
            far(*limit_m, units)
        ),
        Reason::OffMap { share, limit_share } => of_draws("off the map", *share, *limit_share),
        // The message is a sentence, and a column has room for a few words.
        Reason::NotFlown { .. } => "not flown, see below".to_owned(),
        Reason::TooNearSite { finding } => match finding.nearest_m {
            Some(near_m) => format!(
                "site: {} {}, limit {}",
                finding.name,
                far(near_m, units),
                far(finding.limit_m, units)
            ),
            None => reason(long, units, zone),
        },
        Reason::NoLaunchPlace | Reason::TargetMissed | Reason::NothingTried => {
            reason(long, units, zone)
        }
    }
}

fn water(kind: InWhat) -> &'static str {
    match kind {
        InWhat::Sea => "the sea",
        InWhat::Lake => "lakes",
        InWhat::River => "rivers",
    }
}

/// A share in percent, to a tenth where that is not nought.
pub fn percent(share: f64) -> String {
    let tenths = format!("{:.1}", 100.0 * share);
    format!("{} %", tenths.strip_suffix(".0").unwrap_or(&tenths))
}

/// A duration as in "11:02".
pub(super) fn hours_and_minutes(seconds: f64) -> String {
    // Rounded before it is taken apart, or 1:59.9 would become 1:60.
    let minutes = (seconds / 60.0).round() as i64;
    format!("{}:{:02}", minutes / 60, minutes % 60)
}

/// A time of the day.
pub(super) fn clock(at: Timestamp, zone: &TimeZone) -> String {
    let local = at.to_zoned_datetime(zone.clone());
    local.strftime("%H:%M").to_string()
}

/// A message with its moments, which errors tell in UTC, on the clock of a zone.
fn on_local_clock(message: &str, zone: &TimeZone) -> String {
    let word = |word: &str| {
        // The end of a clause stands right behind its time.
        let bare = word.trim_end_matches([',', ';', '.']);
        match bare.parse::<Timestamp>() {
            Ok(at) => format!("{}{}", to_the_minute(at, zone), &word[bare.len()..]),
            Err(_) => word.to_owned(),
        }
    };
    // By single blanks, so that joined again it is the same text.
    message.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

/// A finding at a site, as in "small airport: 3.1 km away, 4.0 km wanted".
pub fn site_finding(finding: &SiteFinding, units: UnitSystem) -> String {
    let wanted = units.distance(finding.limit_m);
    match (finding.nearest_m, finding.verdict) {
        (Some(near), SiteVerdict::TooNear) => format!(
            "{}: {} away, {wanted} wanted ({})",
            finding.name,
            units.distance(near),
            finding.reason
        ),
        (Some(near), _) => format!("{}: {} away", finding.name, units.distance(near)),
        (None, _) => format!("{}: none in the region", finding.name),
    }
}

/// The limits that releases are judged by.
pub fn limits(limits: &Limits, units: UnitSystem) -> Vec<String> {
    let drift = limits.max_drift_m.map_or_else(
        || "drift not limited".to_owned(),
        |m| format!("drift at most {}", units.distance(m)),
    );
    vec![
        format!(
            "wind at the ground at most {}",
            units.speed(limits.surface_wind_m_s)
        ),
        drift,
        format!(
            "at most {:.1} % of the draws on any one thing to keep clear of, and {:.1} % on any of them together",
            100.0 * limits.keep_out_probability,
            100.0 * limits.all_hazards_probability
        ),
        format!(
            "at most {:.1} % of the draws in water",
            100.0 * limits.water_probability
        ),
        match limits.daylight_s > 0.0 {
            true => format!(
                "at least {} of daylight after the landing",
                duration(limits.daylight_s)
            ),
            false => "landing in the dark allowed by the plan".to_owned(),
        },
        match limits.dark_release {
            true => "filling and release in the dark allowed by the plan".to_owned(),
            false => "release between sunrise and sunset".to_owned(),
        },
    ]
}

/// Where launches were looked for.
pub fn launches(within: &LaunchesIn) -> &'static str {
    match within {
        LaunchesIn::Anywhere => "anywhere: whether launching is allowed there is not known",
        LaunchesIn::Areas => "within the areas given",
        LaunchesIn::Roads => "on roads",
        LaunchesIn::RoadsInAreas => "on roads within the areas given",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_that_is_none_demands_nothing() {
        let words = |daylight_s| {
            let limits = Limits {
                surface_wind_m_s: 4.0,
                keep_out_probability: 0.02,
                all_hazards_probability: 0.04,
                water_probability: 0.05,
                max_drift_m: None,
                daylight_s,
                dark_release: false,
            };
            super::limits(&limits, UnitSystem::Metric).join("\n")
        };
        assert!(words(0.0).contains("landing in the dark allowed by the plan"));
        assert!(words(3_600.0).contains("at least 1 h 00 min of daylight"));
    }

    #[test]
    fn reasons_name_the_number_and_the_limit_in_local_time() {
        let zone = TimeZone::get("America/Detroit").unwrap();
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        let words = |what: &Reason| {
            [reason, reason_in_short].map(|words| words(what, UnitSystem::Us, &zone))
        };
        let dark = |release: &str| Reason::DarkRelease {
            release: at(release),
            sunrise: Some(at("2026-05-10T10:21:10Z")),
            sunset: Some(at("2026-05-11T00:54:00Z")),
        };
        assert_eq!(
            words(&dark("2026-05-10T09:00:00Z")),
            [
                "release in the dark: sunrise 06:21, sunset 20:54",
                "dark, sunrise 06:21"
            ]
        );
        // In the evening the sunrise is past.
        assert_eq!(
            words(&dark("2026-05-11T01:30:00Z"))[1],
            "dark, sunset 20:54"
        );
        let water = Reason::Water {
            kind: InWhat::Lake,
            share: 0.994,
            limit_share: 0.05,
        };
        assert_eq!(
            words(&water),
            [
                "water: 99.4 % of the draws, most of them in lakes, limit 5 %",
                "water 99.4 %, limit 5 %"
            ]
        );
        let old = Reason::OldWinds {
            age_s: 31.0 * 3_600.0,
            limit_s: 24.0 * 3_600.0,
        };
        assert_eq!(words(&old)[1], "winds 31 h old, limit 24 h");
        let not_flown = Reason::NotFlown {
            wants_winds: true,
            why: "the release at 2026-05-10T10:00:00Z lies outside the winds".into(),
        };
        assert_eq!(
            words(&not_flown)[0],
            "the release at 2026-05-10 06:00 lies outside the winds"
        );
    }
}

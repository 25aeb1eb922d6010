//! Words of a flight that is followed.

use crate::follow::answer::{FollowNote, Standing};
use crate::follow::phase::Phase;
use crate::listen::Said;
use crate::report::words::{far, share};
use crate::track::Refusal;
use crate::units::{UnitSystem, duration};

/// What the balloon is doing.
pub fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::OnGround => "on the ground",
        Phase::Rising => "rising",
        Phase::Floating => "floating",
        Phase::Falling => "falling",
        Phase::Landed => "landed",
    }
}

/// What the balloon is doing, as far as anything was heard of it.
pub fn doing(standing: &Standing) -> &'static str {
    match (&standing.last, standing.silent_s) {
        (None, _) => "not heard yet",
        (Some(_), Some(_)) if standing.phase == Phase::OnGround => "on the ground when last heard",
        _ => phase(standing.phase),
    }
}

/// Why a report was refused.
pub fn refusal(why: Refusal) -> &'static str {
    match why {
        Refusal::NotAsked => "of other stations",
        Refusal::NoPosition => "without a position (status, telemetry)",
        Refusal::NoFix => "no fix according to the receiver, or 0 N 0 E",
        Refusal::Vague => "place left vague on purpose",
        Refusal::Damaged => "damaged on the way",
        Refusal::TakenBack => "taken back by its sender",
        Refusal::NoHeight => "without a height",
        Refusal::NoTime => "without a time, and not heard live",
        Refusal::Duplicate => "the same fix again",
        Refusal::Late => "heard more than 15 min after its time",
        Refusal::Ahead => "time ahead of when it was heard, or of the reports after it",
        Refusal::Jump => "a jump that no balloon makes",
        Refusal::OtherBalloon => "of another balloon",
        Refusal::StaleHeight => "height stays the same while the place changes",
        Refusal::HeightLimit => "height at a receiver's limit",
        Refusal::Impossible => "below the ground or above 60 km",
    }
}

/// A time as short as people say it: seconds below two minutes.
pub fn ago(seconds: f64) -> String {
    match seconds.abs() < 120.0 {
        // Clocks differ by a little, and nothing was heard in the future.
        true => format!("{:.0} s", seconds.max(0.0)),
        false => duration(seconds),
    }
}

/// A note.
pub fn note(note: &FollowNote, units: UnitSystem) -> String {
    let rate = |m_s: f64| units.vertical_speed(m_s);
    match *note {
        FollowNote::Floats { altitude_m } => format!(
            "It has neither risen nor sunk for ten minutes at {}: it is floating, or has too little lift. The zone still assumes that it will rise and burst, which may not happen.",
            units.height(altitude_m)
        ),
        FollowNote::RisesSlowly {
            rate_m_s,
            planned_m_s,
        } => format!(
            "It rises at {} where the plan has {}: a leak, or less gas than planned.",
            rate(rate_m_s),
            rate(planned_m_s)
        ),
        FollowNote::FallsSlowly {
            rate_m_s,
            planned_m_s,
        } => format!(
            "It falls at {} where the plan has {}: part of the balloon may still carry it.",
            rate(rate_m_s),
            rate(planned_m_s)
        ),
        FollowNote::FallsFast {
            rate_m_s,
            planned_m_s,
        } => format!(
            "It falls at {} where the plan has {}: the parachute may not be open. Keep people away from below.",
            rate(rate_m_s),
            rate(planned_m_s)
        ),
        FollowNote::HigherThanExpected { altitude_m } => format!(
            "At {} it is above nearly all simulated bursts: the burst is assumed to come soon, which is a guess.",
            units.height(altitude_m)
        ),
        FollowNote::Quiet { for_s } => format!(
            "Not heard for {}: the zone is that of the last report, and where it is now grows less certain.",
            ago(for_s)
        ),
        FollowNote::PresumedDown { heard_at_m } => format!(
            "By now it is on the ground (19 of 20 draws). It was last heard {} above it: search the zone from the middle out.",
            units.height(heard_at_m)
        ),
        FollowNote::Stuck { for_s, above_m } => format!(
            "Its place and height have not changed for {}, {} above the ground: its receiver may have stopped. That is told from the first such report on.",
            ago(for_s),
            units.height(above_m)
        ),
        FollowNote::ClockDiffers { by_s } => format!(
            "This computer's clock is {} {} the trackers'; their times are used.",
            ago(by_s.abs()),
            if by_s > 0.0 { "ahead of" } else { "behind" }
        ),
        FollowNote::WithoutTime { reports } => format!(
            "{}: the time of hearing is used (assumed).",
            match reports {
                1 => "One report had no time of its own".to_owned(),
                n => format!("{n} reports had no time of their own"),
            }
        ),
        FollowNote::ReleasedLater { by_s, again, local } => format!(
            "Released {} {} than planned{}.{}",
            ago(by_s.abs()),
            if by_s > 0.0 { "later" } else { "earlier" },
            if again { "; predicted again for that" } else { "" },
            match local {
                true => " These are just the hours of the plan's time zone: are the trackers' times local ones?",
                false => "",
            }
        ),
        FollowNote::ReleasedElsewhere {
            away_m,
            winds_of_site,
        } => format!(
            "Released {} from the plan's site{}.",
            far(away_m, units),
            match winds_of_site {
                true => ": the winds are those above the site",
                false => "",
            }
        ),
        FollowNote::LiesElsewhere { away_m } => format!(
            "It is on the ground {} from the site, and was not heard in the air: it has flown there, or was carried.",
            far(away_m, units)
        ),
        FollowNote::WindsOfPlan => {
            "The winds do not cover the time of the release: those of the plan's release are used."
                .to_owned()
        }
        FollowNote::NoLanding => {
            "No landing can be given: too few of the draws stay within the winds.".to_owned()
        }
        FollowNote::LeftUnknown { for_s } => format!(
            "Nothing heard for {}, and its planned release is past: whether it has left the ground is not known.",
            ago(for_s)
        ),
        FollowNote::OtherFlights { flights, fixes } => other_flights(flights, fixes),
        FollowNote::GroundAssumed => {
            "The height of the ground below it is not known: that of the site is used (assumed). [ground] terrain in the plan gives it.".to_owned()
        }
        FollowNote::BelowAssumedGround { lower_m } => format!(
            "It falls on, {} lower than the site, whose height was used for the ground's (assumed): where it lands cannot be given without [ground] terrain in the plan.",
            units.height(lower_m)
        ),
        FollowNote::LandsInWater { share: wet } => {
            format!("{} of the landings lie in water.", share(wet))
        }
        FollowNote::DrawsLeft { share: left } => {
            format!(
                "{} of the draws leave the winds and are not in the zone.",
                share(left)
            )
        }
        FollowNote::HeardLate { above_m, released } => format!(
            "First heard {} above the site: the release is {}.",
            units.height(above_m),
            match released {
                true => "worked out, not seen",
                false => "not known, nor is the burst where it falls already",
            }
        ),
    }
}

/// That reports of other flights are left out.
pub fn other_flights(flights: usize, fixes: usize) -> String {
    let what = match flights {
        0 => "from before this flight or after it".to_owned(),
        1 => "of another flight".to_owned(),
        n => format!("of {n} other flights"),
    };
    let fixes = match fixes {
        1 => format!("One fix {what} is left out"),
        n => format!("{n} fixes {what} are left out"),
    };
    format!("{fixes}: this is what was released nearest to the plan's time.")
}

/// What happened to a source.
pub fn said(said: &Said) -> String {
    match said {
        Said::Connected(where_) => format!("listening to {where_}"),
        Said::Lost(why, pause) => {
            // A pause of less than a second would be told as none.
            format!("lost: {why}; next try in {} s", pause.as_secs().max(1))
        }
        Said::Ended(why) => format!("broken off: {why}; what came before it counts"),
        Said::Silent(limit) => format!("nothing heard for {} s: connecting again", limit.as_secs()),
        Said::BegunAnew(path) => {
            format!("{path} is now shorter, or another file: read again from the start")
        }
    }
}

/// Area now as a share of that before the release.
pub fn shrunk(standing: &Standing) -> Option<f64> {
    let now_m2 = standing.landing.as_ref()?.outer()?.shape.area_m2();
    // Of a zone that was a point no share can be told.
    let before_m2 = standing.area_at_release_m2.filter(|a| *a > 0.0)?;
    Some(now_m2 / before_m2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_told_as_one_and_winds_above_the_site_where_they_are() {
        let told = |said: FollowNote| note(&said, UnitSystem::Metric);
        assert!(told(FollowNote::WithoutTime { reports: 1 }).starts_with("One report had no time"));
        assert!(told(FollowNote::WithoutTime { reports: 2 }).starts_with("2 reports had no time"));
        assert!(other_flights(1, 1).starts_with("One fix of another flight is left out"));
        let elsewhere = |winds_of_site| {
            told(FollowNote::ReleasedElsewhere {
                away_m: 12_000.0,
                winds_of_site,
            })
        };
        assert!(elsewhere(true).contains("those above the site"));
        assert!(!elsewhere(false).contains("winds"));
    }
}

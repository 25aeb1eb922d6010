//! From numbers and limits to a verdict with the one reason that decides.

use jiff::Timestamp;
use serde::Serialize;

use super::answer::{Day, Strains};
use super::reason::{InWhat, Reason};
use crate::notes::Assumption;
use crate::plan::LimitsPlan;

/// Limits to judge by; each a largest value, but daylight a least.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Limits {
    /// Wind at the ground, m/s.
    pub surface_wind_m_s: f64,
    /// Share of draws on any one thing to keep clear of.
    pub keep_out_probability: f64,
    /// Share of draws on any of the things to keep clear of.
    pub all_hazards_probability: f64,
    /// Share of draws in water.
    pub water_probability: f64,
    /// Distance from the site to the centre of the landings, m, if limited.
    pub max_drift_m: Option<f64>,
    /// Daylight after the landing, s.
    pub daylight_s: f64,
    /// Whether the release may be in the dark.
    pub dark_release: bool,
}

/// The share on any thing to keep clear of may be this many times that on one of them.
const ALL_TO_ONE: f64 = 2.0;

/// Assumed where a plan gives nothing: wind and daylight by common practice (no source), the shares
/// by judgement.
const ASSUMED: Limits = Limits {
    surface_wind_m_s: 4.0,
    keep_out_probability: 0.02,
    all_hazards_probability: ALL_TO_ONE * 0.02,
    water_probability: 0.05,
    max_drift_m: None,
    daylight_s: 7_200.0,
    dark_release: false,
};

impl Limits {
    /// The plan's, with what is assumed where it gives nothing.
    pub fn of(plan: &LimitsPlan, assumed: &mut Vec<Assumption>) -> Limits {
        let mut limits = ASSUMED;
        match plan.surface_wind_m_s {
            Some(given) => limits.surface_wind_m_s = given,
            None => assumed.push(Assumption::SurfaceWindLimit {
                limit_m_s: limits.surface_wind_m_s,
            }),
        }
        match plan.keep_out_probability {
            Some(given) => limits.keep_out_probability = given,
            None => assumed.push(Assumption::KeepOutLimit {
                limit_share: limits.keep_out_probability,
            }),
        }
        match plan.all_hazards_probability {
            Some(given) => limits.all_hazards_probability = given,
            None => {
                limits.all_hazards_probability =
                    // A limit above all draws would be none.
                    (ALL_TO_ONE * limits.keep_out_probability).min(1.0);
                assumed.push(Assumption::AllHazardsLimit {
                    limit_share: limits.all_hazards_probability,
                });
            }
        }
        match plan.water_probability {
            Some(given) => limits.water_probability = given,
            None => assumed.push(Assumption::WaterLimit {
                limit_share: limits.water_probability,
            }),
        }
        match plan.daylight_after_landing_s {
            Some(given) => limits.daylight_s = given,
            None => assumed.push(Assumption::DaylightLimit {
                limit_s: limits.daylight_s,
            }),
        }
        limits.max_drift_m = plan.max_drift_m;
        limits.dark_release = plan.dark_release;
        limits
    }
}

/// The share of its limit that a landing in the dark has: of no light left nothing can be a share, and no
/// other number comes to so much.
pub const DARK: f64 = 1e12;

/// One number against its limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Strain {
    /// The number as a share of the limit: above 1 it is broken, but for those that are near at most.
    pub share: f64,
    /// The number.
    pub reason: Reason,
}

impl Strain {
    /// The share that it is judged by: gusts, and darkness at the release, are as near a limit as can be
    /// and never beyond it.
    pub fn judged(&self) -> f64 {
        match self.reason {
            Reason::Gusts { .. } | Reason::DarkRelease { .. } => self.share.min(1.0),
            _ => self.share,
        }
    }
}

/// Every number of a day against its limit.
#[derive(Debug, Clone, PartialEq)]
pub struct DayStrains {
    /// The wind at the ground, if it is known.
    pub wind: Option<Strain>,
    /// The drift, if it is limited.
    pub drift: Option<Strain>,
    /// The thing to keep clear of that most draws hit, if any is known.
    pub hits: Option<Strain>,
    /// All the things to keep clear of.
    pub all_hits: Strain,
    /// The water.
    pub water: Strain,
    /// The daylight.
    pub daylight: Strain,
    /// A release in the dark, if it is not allowed.
    pub dark_release: Option<Strain>,
}

impl DayStrains {
    /// Of a release's day with its limits.
    pub fn of(release: Timestamp, day: &Day, limits: &Limits) -> DayStrains {
        DayStrains {
            wind: wind(day, limits),
            drift: drift(day, limits),
            hits: hits(day, limits),
            all_hits: all_hits(day, limits),
            water: water(day, limits),
            daylight: daylight(day, limits),
            dark_release: dark_release(day, release, limits),
        }
    }

    /// The shares that they are judged by, without their reasons.
    pub fn shares(&self) -> Strains {
        let share = |strain: &Option<Strain>| strain.as_ref().map(Strain::judged);
        Strains {
            wind: share(&self.wind),
            drift: share(&self.drift),
            hits: share(&self.hits),
            all_hits: Some(self.all_hits.share),
            water: Some(self.water.share),
            daylight: Some(self.daylight.share),
            dark_release: share(&self.dark_release),
        }
    }

    /// The number nearest to its limit, or farthest beyond it; of two alike the first of these.
    pub fn worst(self) -> Strain {
        let others = [self.hits, self.drift, self.wind, self.dark_release];
        let others = [Some(self.water), Some(self.all_hits)]
            .into_iter()
            .chain(others);
        // Of two as near to their limits the one with more of it.
        let larger = |a: &Strain, b: &Strain| {
            let judged = a.judged().total_cmp(&b.judged());
            judged.then(a.share.total_cmp(&b.share)).is_gt()
        };
        others
            .flatten()
            .fold(self.daylight, |worst, other| match larger(&other, &worst) {
                true => other,
                false => worst,
            })
    }
}

/// Gusts of this many times the limit of the wind are near a limit, not beyond it: wind over land has gusts
/// of about that (judgement).
const GUST_FACTOR: f64 = 1.5;

fn wind(day: &Day, limits: &Limits) -> Option<Strain> {
    let (speed_m_s, limit_m_s) = (day.surface_m_s()?, limits.surface_wind_m_s);
    let gust_limit_m_s = GUST_FACTOR * limit_m_s;
    let gusty = day.gust_m_s().filter(|gust_m_s| *gust_m_s > gust_limit_m_s);
    // Wind that is beyond its limit by itself is the plainer reason.
    if let Some(gust_m_s) = gusty.filter(|_| speed_m_s < limit_m_s) {
        let reason = Reason::Gusts {
            gust_m_s,
            limit_m_s: gust_limit_m_s,
        };
        let share = gust_m_s / gust_limit_m_s;
        return Some(Strain { share, reason });
    }
    Some(Strain {
        share: speed_m_s / limit_m_s,
        reason: Reason::SurfaceWind {
            speed_m_s,
            limit_m_s,
        },
    })
}

fn drift(day: &Day, limits: &Limits) -> Option<Strain> {
    let (distance_m, limit_m) = (day.distance_m, limits.max_drift_m?);
    Some(Strain {
        share: distance_m / limit_m,
        reason: Reason::Drift {
            distance_m,
            limit_m,
        },
    })
}

/// A share of draws as a share of its limit, which may be 0.
fn of_limit(share: f64, limit_share: f64) -> f64 {
    // A limit of 0 is broken by any draw on it, and met by none: the ratio must stay a number.
    share / limit_share.max(1e-9)
}

fn hits(day: &Day, limits: &Limits) -> Option<Strain> {
    let worst = day.worst_hazard()?;
    let limit_share = limits.keep_out_probability;
    Some(Strain {
        share: of_limit(worst.share, limit_share),
        reason: Reason::Hits {
            hazard: worst.name,
            share: worst.share,
            limit_share,
        },
    })
}

fn all_hits(day: &Day, limits: &Limits) -> Strain {
    let (share, limit_share) = (day.all_hazards.share, limits.all_hazards_probability);
    Strain {
        share: of_limit(share, limit_share),
        reason: Reason::AllHits { share, limit_share },
    }
}

fn water(day: &Day, limits: &Limits) -> Strain {
    let (water, limit_share) = (day.water, limits.water_probability);
    let share = water.any.share;
    let most = water.sea_share.max(water.lake_share).max(water.river_share);
    // It is one of these very numbers, so it may be asked for exactly.
    let kind = match most {
        m if m == water.sea_share => InWhat::Sea,
        m if m == water.lake_share => InWhat::Lake,
        _ => InWhat::River,
    };
    Strain {
        share: of_limit(share, limit_share),
        reason: Reason::Water {
            kind,
            share,
            limit_share,
        },
    }
}

fn daylight(day: &Day, limits: &Limits) -> Strain {
    let limit_s = limits.daylight_s;
    match day.daylight_s {
        // A least value, so the ratio is the other way round.
        Some(left_s) if left_s > 0.0 => Strain {
            share: limit_s / left_s,
            reason: Reason::Daylight { left_s, limit_s },
        },
        _ => Strain {
            // A plan may want none, for a search by night.
            share: match limit_s > 0.0 {
                true => DARK,
                false => 0.0,
            },
            reason: Reason::Dark {
                latest_landing: day.latest_landing,
                limit_s,
            },
        },
    }
}

/// Filling in the dark is not beyond a limit, but as near as can be.
fn dark_release(day: &Day, release: Timestamp, limits: &Limits) -> Option<Strain> {
    let decides = day.dark_release && !limits.dark_release;
    decides.then_some(Strain {
        share: 1.0,
        reason: Reason::DarkRelease {
            release,
            sunrise: day.sunrise,
            sunset: day.sunset,
        },
    })
}

#[cfg(test)]
mod tests {
    use super::super::answer::Verdict;
    use super::*;

    fn strain(share: f64) -> Strain {
        Strain {
            share,
            reason: Reason::LeavesWinds {
                share,
                limit_share: 1.0,
            },
        }
    }

    /// A day with some wind and daylight, and nothing else that strains.
    fn day(wind: Strain, daylight: f64) -> DayStrains {
        DayStrains {
            wind: Some(wind),
            drift: None,
            hits: None,
            all_hits: strain(0.0),
            water: strain(0.0),
            daylight: strain(daylight),
            dark_release: None,
        }
    }

    /// Stronger gusts count for more among releases that are near a limit, and break none.
    #[test]
    fn gusts_are_near_a_limit_however_strong() {
        let gusts = Strain {
            share: 2.0,
            reason: Reason::Gusts {
                gust_m_s: 12.0,
                limit_m_s: 6.0,
            },
        };
        let with = |daylight: f64| day(gusts.clone(), daylight);
        assert_eq!(with(0.9).shares().wind, Some(1.0));
        assert_eq!(with(0.9).worst(), gusts);
        assert_eq!(Verdict::of_strain(gusts.judged()), Verdict::NearLimit);
        assert_eq!(with(1.1).worst(), strain(1.1));
    }

    #[test]
    fn the_worst_number_decides() {
        let verdict = |wind: f64, daylight: f64| {
            let strains = day(strain(wind), daylight);
            let worst = strains.worst();
            assert_eq!(worst.share, wind.max(daylight));
            assert_eq!(worst, strain(worst.share));
            Verdict::of_strain(worst.share)
        };
        assert_eq!(verdict(0.1, 0.8), Verdict::WithinLimits);
        assert_eq!(verdict(0.1, 0.81), Verdict::NearLimit);
        assert_eq!(verdict(1.0, 0.2), Verdict::NearLimit);
        assert_eq!(verdict(0.5, 1.01), Verdict::BeyondLimit);
        assert_eq!(verdict(DARK, 0.2), Verdict::BeyondLimit);
    }
}

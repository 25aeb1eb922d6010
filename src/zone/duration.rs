//! How long a flight lasts, before there are winds.

use super::setup::{Setup, Surroundings};
use crate::atmosphere::AirProfile;
use crate::error::{Error, Result};
use crate::flight::model::{Departures, Scratch, Variation};
use crate::plan::Plan;
use crate::wind::column::Column;

/// The mean wind over a flight that a region has room for, m/s: a strong jet all the way (assumed).
pub const FAST_M_S: f64 = 40.0;
/// Room besides, m (assumed).
pub const ROOM_M: f64 = 100_000.0;
/// Time aloft where the plan does not tell, s (assumed).
const USUAL_S: f64 = 3.0 * 3600.0;

/// How long a flight lasts, for how far it may go.
pub struct TimeAloft {
    /// Time aloft, s.
    pub seconds: f64,
    /// Whether the plan tells it.
    pub told_by_plan: bool,
}

impl TimeAloft {
    /// As the plan tells, or as is usual.
    pub fn of(plan: &Plan) -> TimeAloft {
        // A plan that makes no flight yet may still ask for winds.
        let told = time_aloft_s(plan).ok();
        TimeAloft {
            seconds: told.unwrap_or(USUAL_S),
            told_by_plan: told.is_some(),
        }
    }

    /// How far around the site winds may be needed, m.
    pub fn reach_m(&self) -> f64 {
        self.seconds * FAST_M_S + ROOM_M
    }
}

/// From the release to the landing as planned, s: in calm standard air, above the site's elevation
/// (sea level where the plan does not give it).
///
/// # Errors
///
/// [`Error::CannotDo`] when the stack does not make a flight.
pub fn time_aloft_s(plan: &Plan) -> Result<f64> {
    let column = Column::from_winds(&[], AirProfile::standard());
    let place = Surroundings {
        site: plan.site.position,
        site_m: plan.site.elevation_m.unwrap_or(0.0),
        column: &column,
        // Asked before there are winds or terrain, to know how much of them to fetch.
        through_field: false,
        terrain: None,
    };
    let setup = Setup::new(&plan.stack, &plan.spread, place)?;
    let scratch = &mut Scratch::default();
    let flown = setup
        .model
        .fly(&Variation::NONE, Departures::NONE, scratch, None);
    flown
        .map(|flown| flown.landing.time_s)
        .map_err(|miss| Error::CannotDo {
            why: format!("the flight as planned does not come down ({miss:?})"),
            remedy: "expected a stack that rises and bursts".into(),
        })
}

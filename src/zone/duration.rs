//! How long a flight lasts, before there are winds.

use super::setup::{Setup, Surroundings};
use crate::atmosphere::AirProfile;
use crate::error::{Error, Result};
use crate::flight::model::{Departures, Scratch, Variation};
use crate::plan::Plan;
use crate::wind::column::Column;

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

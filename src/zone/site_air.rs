//! The air above the site at the release, for who needs no wind.

use super::weather::SiteWinds;
use super::{elevation, terrain};
use crate::atmosphere::AirProfile;
use crate::error::Result;
use crate::plan::Plan;
use crate::units::UnitSystem;
use crate::winds::Winds;

/// Terrain is read so far around the site, m.
const AROUND_M: f64 = 5_000.0;

/// The air above a site.
#[derive(Debug, Clone)]
pub struct SiteAir {
    /// The air by altitude.
    pub air: AirProfile,
    /// Altitude of the site, m above mean sea level.
    pub site_m: f64,
    /// The files it is from; none for the standard atmosphere.
    pub files: Vec<String>,
}

/// The air of the plan's release by `winds`, or the standard atmosphere. Says what it assumes.
///
/// # Errors
///
/// When the winds do not cover the site at the release.
pub fn site_air(
    plan: &Plan,
    winds: Option<&Winds>,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> Result<SiteAir> {
    let Some(winds) = winds else {
        let site_m = plan.elevation_m.unwrap_or_else(|| {
            assumed.push("the site lies at sea level, assumed: the plan gives no elevation".into());
            0.0
        });
        assumed.push("standard atmosphere (U.S. 1976), assumed: volume, diameter and rate depend on the air; how much gas a lift takes out of the cylinders does not".into());
        return Ok(SiteAir {
            air: AirProfile::standard(),
            site_m,
            files: Vec::new(),
        });
    };
    // What is assumed of the wind itself does not matter here.
    let mut of_wind = Vec::new();
    let site = SiteWinds::new(plan.site, winds, [plan.release; 2])?;
    let weather = site.weather(plan, units, &mut of_wind)?;
    let ground = match plan.elevation_m {
        Some(_) => None,
        None => terrain::around(plan, winds, plan.site, AROUND_M)?,
    };
    let site_m = elevation(plan, ground.as_deref(), &weather, units, assumed);
    let measured = weather.column.air.measured_m().is_some();
    if !measured {
        assumed.push(
            "the winds come without temperature and pressure: standard atmosphere, assumed".into(),
        );
    }
    Ok(SiteAir {
        air: weather.column.air,
        site_m,
        files: if measured { weather.files } else { Vec::new() },
    })
}

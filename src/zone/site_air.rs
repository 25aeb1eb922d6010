//! The air above the site at the release, for who needs no wind.

use std::sync::Arc;

use super::site_winds::SiteWinds;
use super::terrain;
use crate::atmosphere::AirProfile;
use crate::error::Result;
use crate::ground::terrain::Terrain;
use crate::notes::Assumption;
use crate::plan::Plan;
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
    /// What is assumed.
    pub assumptions: Vec<Assumption>,
}

/// The air of the plan's release by `winds`, or the standard atmosphere.
///
/// # Errors
///
/// When the winds do not cover the site at the release.
pub fn site_air(plan: &Plan, winds: Option<&Winds>) -> Result<SiteAir> {
    match winds {
        None => standard(plan),
        Some(winds) => by_winds(plan, winds),
    }
}

fn standard(plan: &Plan) -> Result<SiteAir> {
    let ground = ground(plan, None)?;
    let (site_m, said) = terrain::elevation(&plan.site, ground.as_deref(), None);
    let standard = [Assumption::StandardAirWithoutWinds];
    Ok(SiteAir {
        air: AirProfile::standard(),
        site_m,
        files: Vec::new(),
        assumptions: said.into_iter().chain(standard).collect(),
    })
}

/// The ground around the site; a stated elevation needs none to be looked up from.
fn ground(plan: &Plan, winds: Option<&Winds>) -> Result<Option<Arc<Terrain>>> {
    match plan.site.elevation_m {
        Some(_) => Ok(None),
        None => terrain::around(&plan.ground, winds, plan.site.position, AROUND_M),
    }
}

fn by_winds(plan: &Plan, winds: &Winds) -> Result<SiteAir> {
    let site = SiteWinds::new(plan, winds, [plan.release; 2])?;
    // What is assumed of the wind itself does not matter here.
    let weather = site.weather(plan.release)?;
    let ground = ground(plan, Some(winds))?;
    let (site_m, said) = terrain::elevation(&plan.site, ground.as_deref(), Some(&weather.column));
    let standard = weather.standard_air();
    Ok(SiteAir {
        air: weather.column.air,
        site_m,
        // Winds that tell nothing of the air are not what it is from.
        files: match standard {
            Some(_) => Vec::new(),
            None => weather.files,
        },
        assumptions: said.into_iter().chain(standard).collect(),
    })
}

//! The winds that were read last: reading them anew for each key that is pressed would be waste.

use std::fs;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::SystemTime;

use jiff::Timestamp;

use super::state::locked;
use crate::error::Result;
use crate::geodesy::Position;
use crate::plan::Plan;
use crate::sources::Columns;
use crate::winds::Winds;
use crate::zone::duration::TimeAloft;

/// A file as it is now: when it was written last, and how long it is.
pub type Stamped = (PathBuf, Option<(SystemTime, u64)>);

/// Files as they are now.
pub fn stamped<'a>(files: impl IntoIterator<Item = &'a PathBuf>) -> Vec<Stamped> {
    let now = |path: &PathBuf| {
        let data = fs::metadata(path).ok()?;
        // The length as well, as some file systems tell times only to two seconds.
        Some((data.modified().ok()?, data.len()))
    };
    let files = files.into_iter();
    files.map(|path| (path.clone(), now(path))).collect()
}

/// Where and when winds are decoded beforehand: flights from a site of this cell of whole degrees, released
/// in these hours.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Near {
    lat: i32,
    lon: i32,
    hours: i64,
}

/// Hours of releases that share what is decoded.
const TOGETHER_S: i64 = 3 * 3_600;
/// Flights are late and long by so much, as a share of the planned one.
const LATE: f64 = 2.0;
/// From the middle of a cell to its corners, m.
const CELL_M: f64 = 80_000.0;
/// This many columns are kept at most where a forecast is kept whole.
const FEW_COLUMNS: usize = 20_000;

impl Near {
    fn of(plan: &Plan) -> Near {
        let Position { lat_deg, lon_deg } = plan.site.position;
        Near {
            // By cells: a site that is dragged a little finds everything decoded.
            lat: lat_deg.floor() as i32,
            lon: lon_deg.floor() as i32,
            hours: plan.release.as_second().div_euclid(TOGETHER_S),
        }
    }

    /// Decodes what flights from here may need of a forecast. What they need beyond it they decode
    /// themselves, and so it does not matter whether this works.
    fn keep(self, winds: &mut Winds, aloft: TimeAloft) {
        let Winds::Forecast(archive) = winds else {
            return;
        };
        let middle = |degrees: i32| f64::from(degrees) + 0.5;
        let Some(center) = Position::new(middle(self.lat), middle(self.lon)) else {
            return;
        };
        let from = self.hours * TOGETHER_S;
        let to = from + TOGETHER_S + (LATE * aloft.seconds) as i64;
        let [Ok(from), Ok(to)] = [from, to].map(Timestamp::from_second) else {
            return;
        };
        let steps = archive.steps_around(from, to);
        let whole = archive.lattice.whole();
        let columns = whole.rows * whole.columns * steps.len() * archive.members.len();
        let window = match columns <= FEW_COLUMNS {
            true => Ok(whole),
            false => archive.lattice.around(center, aloft.reach_m() + CELL_M),
        };
        // Whatever is wrong is told by the flight that needs it.
        let _ = window.and_then(|window| archive.keep(window, steps));
    }
}

/// What decides whether winds that were read are still those of a plan.
#[derive(Debug, Clone, PartialEq)]
struct Of {
    files: Vec<Stamped>,
    issued: Option<Timestamp>,
    member_per_file: bool,
    columns: Columns,
    near: Near,
}

/// The winds that were read last.
#[derive(Default)]
pub struct Air(Mutex<Option<(Of, Arc<Winds>)>>);

impl Air {
    /// The winds of a plan.
    ///
    /// # Errors
    ///
    /// As [`Winds::of_plan`].
    pub fn of(&self, plan: &Plan) -> Result<Arc<Winds>> {
        let of = Of {
            files: stamped(&plan.wind_files),
            issued: plan.wind_issued,
            member_per_file: plan.member_per_file,
            columns: plan.wind_columns.clone(),
            near: Near::of(plan),
        };
        if let Some((had, winds)) = &*locked(&self.0)
            && *had == of
        {
            return Ok(winds.clone());
        }
        // Without the lock: who asks meanwhile may read them a second time, but waits for nobody.
        let mut winds = Winds::of_plan(plan)?;
        of.near.keep(&mut winds, TimeAloft::of(plan));
        let winds = Arc::new(winds);
        *locked(&self.0) = Some((of, winds.clone()));
        Ok(winds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::zone::{Options, predict};

    /// A forecast is decoded when it is read; zones of other sites and times nearby then decode hardly anything,
    /// and are those of winds that were never kept.
    #[test]
    fn zones_nearby_decode_hardly_anything_more() {
        let mut plan = Plan::read("samples/idaho/plan.toml").unwrap();
        let air = Air::default();
        let decoded = |winds: &Winds| match winds {
            Winds::Forecast(archive) => archive.values_decoded(),
            Winds::Soundings(_) => 0,
        };
        let options = Options {
            draws: 100,
            ..Options::default()
        };
        let first = air.of(&plan).unwrap();
        let before = decoded(&first);
        assert!(before > 0);
        plan.site.position = plan.site.position.destination(45.0, 15_000.0);
        for _ in 0..2 {
            let winds = air.of(&plan).unwrap();
            assert!(Arc::ptr_eq(&winds, &first));
            let zone = predict(&plan, &winds, options, || ()).unwrap().zone;
            let fresh = Winds::of_plan(&plan).unwrap();
            assert_eq!(
                zone.landing,
                predict(&plan, &fresh, options, || ()).unwrap().zone.landing
            );
            // Only the height of the forecast's own ground at the site is looked up.
            assert!(decoded(&winds) - before < before / 1_000);
            plan.release = crate::clock::after(plan.release, 600.0);
        }
        plan.site.position = plan.site.position.destination(90.0, 150_000.0);
        assert!(!Arc::ptr_eq(&air.of(&plan).unwrap(), &first));
    }

    /// What columns hold is a part of what winds are read by.
    #[test]
    fn winds_are_read_anew_by_other_columns() {
        let mut plan = Plan::read("samples/high-plains/plan.toml").unwrap();
        let air = Air::default();
        let first = air.of(&plan).unwrap();
        assert!(Arc::ptr_eq(&air.of(&plan).unwrap(), &first));
        plan.wind_columns = "9=wind speed kt".parse().unwrap();
        let again = air.of(&plan);
        assert!(again.is_err() || !Arc::ptr_eq(&again.unwrap(), &first));
    }
}

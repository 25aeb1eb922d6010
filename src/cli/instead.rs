//! Options that stand in place of what a plan says: "we are 40 minutes late", "we filled less".

use clap::Args;

use windfall::clock::local::read_time_near;
use windfall::draft::{ElevationFrom, elevation};
use windfall::error::{Error, Fault, Result};
use windfall::geodesy::reading::{EXPECTED, read_position};
use windfall::notes::Assumption;
use windfall::notes::replaced::{
    ClockTime, OtherElevation, OtherElevationFrom, PlannedFill, Replaced,
};
use windfall::plan::Plan;
use windfall::report::notes;
use windfall::sizing::Known;
use windfall::units::{Dimension, UnitSystem, parse};

/// The plan's elevation stands for a site moved by less than this, m.
const SAME_GROUND_M: f64 = 200.0;

/// The release in place of the plan's.
#[derive(Debug, Args)]
pub struct ReleaseInstead {
    /// The time of release in place of the plan's, as in "2026-05-01 09:40", or "09:40" by the
    /// plan's clocks: on its day, or on the next or the one before where that is within 6 h of the plan's release.
    #[arg(long, value_name = "TIME")]
    pub release: Option<String>,
}

/// Fill and site in place of the plan's.
#[derive(Debug, Args)]
pub struct Instead {
    /// The lift at the neck in place of the plan's fill, as in "6.2 kg" or "10 % less".
    #[arg(long, value_name = "MASS")]
    pub lift: Option<String>,
    /// The site in place of the plan's: coordinates in any usual form.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true)]
    pub site: Option<String>,
}

impl ReleaseInstead {
    /// Puts the release into the plan, and says so in its list of what was replaced.
    ///
    /// # Errors
    ///
    /// A time that cannot be read.
    pub fn apply(&self, plan: &mut Plan) -> Result<()> {
        let Some(text) = &self.release else {
            return Ok(());
        };
        let time = read_time_near(text, plan.release, &plan.timezone)
            .map_err(|wrong| Fault::new("--release", wrong.found, wrong.expected))?;
        let [given, planned] = [time, plan.release].map(|time| ClockTime {
            time,
            offset_s: plan.timezone.to_offset(time).seconds(),
        });
        say(plan, Replaced::Release { planned, given });
        plan.release = time;
        Ok(())
    }
}

impl Instead {
    /// Puts fill and site into the plan, and says so in its list of what was replaced.
    ///
    /// # Errors
    ///
    /// What cannot be read, and a lift that would change nothing.
    pub fn apply(&self, plan: &mut Plan) -> Result<()> {
        if let Some(text) = &self.lift {
            lift(plan, text)?;
        }
        if let Some(text) = &self.site {
            site(plan, text)?;
        }
        Ok(())
    }
}

fn lift(plan: &mut Plan, text: &str) -> Result<()> {
    let nothing = |why: &str, remedy: &str| Error::CannotDo {
        why: format!("--lift would change nothing: {why}"),
        remedy: remedy.into(),
    };
    if plan.stack.ascent.rates().is_some() {
        return Err(nothing(
            "the plan states its rates of ascent",
            "expected a plan without [ascent] rate, or no --lift",
        ));
    }
    let load_kg = plan.stack.load_kg();
    let balloon = plan.stack.ascent.balloon_mut().ok_or_else(|| {
        nothing(
            "the plan has no balloon",
            "expected [balloon] with mass, gas and fill",
        )
    })?;
    let kg = neck_lift_kg(text, balloon.fill, load_kg)?;
    let planned = match balloon.fill {
        Known::NeckLift(kg) => PlannedFill::NeckLiftKg(kg),
        Known::FreeLift(kg) => PlannedFill::FreeLiftKg(kg),
        Known::GasVolume(m3) => PlannedFill::GasVolumeM3(m3),
        Known::Cylinders | Known::Amount(_) => PlannedFill::Cylinders,
        Known::AscentRate(m_s) => PlannedFill::AscentRateMS(m_s),
        Known::BurstAltitude(m) => PlannedFill::BurstAltitudeM(m),
        Known::FlightTime(s) => PlannedFill::FlightTimeS(s),
    };
    balloon.fill = Known::NeckLift(kg);
    let neck_lift_kg = kg;
    let what = Replaced::Lift {
        planned,
        neck_lift_kg,
    };
    say(plan, what);
    Ok(())
}

/// The lift at the neck, kg: as stated, or by its share of what the plan fills in.
fn neck_lift_kg(text: &str, planned: Known, load_kg: f64) -> Result<f64> {
    let kg = match share_of_planned(text) {
        None => parse(text, Dimension::Mass).map_err(|wrong| {
            let right = format!(
                "{}, or \"10 % less\" or \"5 % more\" than the plan's lift",
                wrong.expected
            );
            Fault::new("--lift", wrong.found, right)
        })?,
        Some(share) => {
            let planned_kg = match planned {
                Known::NeckLift(kg) => kg,
                Known::FreeLift(kg) => kg + load_kg,
                _ => {
                    // How much lift another fill makes depends on air and gas, which are not at
                    // hand here.
                    let found = format!("\"{text}\" of a fill that is not given as a lift");
                    let right = "a mass, as in \"6.2 kg\"; windfall fill shows the plan's lift";
                    return Err(Fault::new("--lift", found, right).into());
                }
            };
            share * planned_kg
        }
    };
    if !(0.005..=100.0).contains(&kg) {
        let fault = Fault::new("--lift", format!("\"{text}\""), "from 0.005 to 100 kg");
        return Err(fault.into());
    }
    Ok(kg)
}

/// The share that "10 % less" or "5% more" leaves; `None` where it is not one of these.
fn share_of_planned(text: &str) -> Option<f64> {
    let (percent, way) = text.split_once('%')?;
    let part = percent.trim().parse::<f64>().ok()? / 100.0;
    // The whole of the lift less would leave none.
    let part = (0.0..1.0).contains(&part).then_some(part)?;
    match way.trim().to_ascii_lowercase().as_str() {
        "less" => Some(1.0 - part),
        "more" => Some(1.0 + part),
        // "90 %" alone may be what is left or what is missing.
        _ => None,
    }
}

fn site(plan: &mut Plan, text: &str) -> Result<()> {
    let place =
        read_position(text).ok_or_else(|| Fault::new("--site", format!("\"{text}\""), EXPECTED))?;
    let planned = plan.site.position;
    let moved_m = planned.distance_m(place);
    let mut other = None;
    // The elevation of another field is not this one's.
    if let Some(old_m) = plan.site.elevation_m.filter(|_| moved_m > SAME_GROUND_M) {
        // Where the plan gives none there is none to replace: the prediction looks it up by itself.
        let known = elevation(place, &plan.ground.terrain)?;
        let from = match known.as_ref().map(|known| &known.from) {
            Some(ElevationFrom::Airport(code, distance_m)) => OtherElevationFrom::Airport {
                code: (*code).to_owned(),
                distance_m: *distance_m,
            },
            Some(_) => OtherElevationFrom::Terrain,
            None => OtherElevationFrom::Plan,
        };
        let elevation_m = known.map_or(old_m, |known| known.elevation_m);
        other = Some(OtherElevation { elevation_m, from });
        plan.site.elevation_m = Some(elevation_m);
    }
    plan.site.position = place;
    let what = Replaced::Site {
        planned_deg: [planned.lat_deg, planned.lon_deg],
        given_deg: [place.lat_deg, place.lon_deg],
        moved_m,
        elevation: other,
    };
    say(plan, what);
    Ok(())
}

/// Puts something into the plan's list of what was replaced.
fn say(plan: &mut Plan, what: Replaced) {
    plan.replaced.push(Assumption::Replaced(what));
}

/// What was replaced, to stand above everything else; nothing where nothing was.
pub fn heading(plan: &Plan, units: UnitSystem) -> String {
    if plan.replaced.is_empty() {
        return String::new();
    }
    let lines: String = plan
        .replaced
        .iter()
        .map(|line| format!("  {}\n", notes::assumption(line, units)))
        .collect();
    format!("Not as the plan says:\n{lines}\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn less_and_more_are_of_the_planned_lift() {
        assert_eq!(share_of_planned("10 % less"), Some(0.9));
        assert_eq!(share_of_planned("5% More"), Some(1.05));
        assert_eq!(share_of_planned("110 % less"), None);
        assert_eq!(share_of_planned("90 %"), None);
        let less = neck_lift_kg("10 % less", Known::FreeLift(1.0), 4.0).unwrap();
        assert!((less - 4.5).abs() < 1e-12, "{less}");
        assert!(neck_lift_kg("10 % less", Known::AscentRate(5.0), 4.0).is_err());
        assert!(neck_lift_kg("90 %", Known::NeckLift(5.0), 4.0).is_err());
    }
}

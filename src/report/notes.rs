//! The words of assumptions and notes.

use jiff::tz::Offset;
use serde_json::Value;

use super::input_notes;
use super::json::with_words;
use super::reasons::percent;
use super::words;
use crate::geodesy::Position;
use crate::notes::replaced::{
    ClockTime, OtherElevation, OtherElevationFrom, PlannedFill, Replaced,
};
use crate::notes::{Assumption, LearntOf, Note, OffGround, Profile, Varying};
use crate::units::{UnitSystem, duration};
use crate::wind::near_ground::TOLD_AT_M;

/// Assumptions in words.
pub fn assumptions(all: &[Assumption], units: UnitSystem) -> Vec<String> {
    all.iter().map(|a| assumption(a, units)).collect()
}

/// Notes in words.
pub fn notes(all: &[Note], units: UnitSystem) -> Vec<String> {
    all.iter().map(|n| note(n, units)).collect()
}

/// Assumptions as JSON: the code and the numbers in SI, with the words beside them.
pub fn assumptions_json(all: &[Assumption], units: UnitSystem) -> Value {
    let worded = all.iter().map(|a| with_words(a, assumption(a, units)));
    worded.collect()
}

/// Notes as JSON: the code and the numbers in SI, with the words beside them.
pub fn notes_json(all: &[Note], units: UnitSystem) -> Value {
    all.iter().map(|n| with_words(n, note(n, units))).collect()
}

/// What a logbook taught.
fn learnt(what: LearntOf, factor: f64, wider: f64, flights: usize) -> String {
    let name = match what {
        LearntOf::Rate => "the rate of rise",
        LearntOf::BurstDiameter => "the burst diameter",
        LearntOf::Fall => "the speed of fall",
        LearntOf::Winds => "how wrong the winds are",
    };
    let from = format!(
        "learnt from {} of the logbook",
        match flights {
            1 => "1 flight".to_owned(),
            n => format!("{n} flights"),
        }
    );
    match what {
        // Of winds only the error is learnt: they have no number that could be off by a factor.
        LearntOf::Winds => {
            format!("{name}: {wider:.2} times what is assumed without flights, {from}")
        }
        _ => format!(
            "{name}: {factor:.2} times what the plan says, its spread {wider:.2} times, {from}"
        ),
    }
}

/// An assumption in words.
pub fn assumption(said: &Assumption, units: UnitSystem) -> String {
    match said {
        // Zone and winds: the stack.
        Assumption::BurstDiameter {
            diameter_m,
            balloon_kg,
            from,
        } => format!(
            "burst diameter of {} for a balloon of {}, {from}, assumed",
            units.size(*diameter_m),
            units.balloon(*balloon_kg)
        ),
        Assumption::PureGas => "pure gas (no gas_purity given), assumed".into(),
        Assumption::ParachuteDrag { coefficient } => format!(
            "parachute drag coefficient {coefficient} on the laid-out area (flat circular canopy), assumed"
        ),
        Assumption::NoParachuteMass => {
            "the parachute weighs nothing, assumed: neither [parachute] mass nor a [[load]] by that name is given".into()
        }
        Assumption::ParachuteCountedTwice { part } => format!(
            "\"{part}\" is in the load and [parachute] has a mass: both are counted; if that part is the parachute, leave one of them out"
        ),
        Assumption::NoRemnant => {
            "nothing of the balloon stays on the line after the burst, assumed: the plan has no [balloon]".into()
        }
        Assumption::Remnant { share, mass_kg } => format!(
            "{:.0} % of the balloon ({}) stays on the line after the burst, assumed",
            100.0 * share,
            units.mass(*mass_kg)
        ),
        Assumption::StatedRateVaries => "a stated rate varies with the lift in proportion and with the root of the drag, assumed".into(),
        Assumption::FittedDragCurve => "ascent by a drag curve fitted to 34 flights, most of lighter stacks, and to rates at known lifts; the spread includes its scatter".into(),
        Assumption::ThinAir { exponent, sigma } => format!(
            "drag area varies with the density of the air to the power {exponent:+.2} (sd {sigma:.2}), as in measured falls with such a landing speed, assumed"
        ),

        // Zone and winds: what varies.
        Assumption::Varies { what, sigma } => format!(
            "{} varies by {:.0} % (sd), assumed",
            varying(*what),
            100.0 * sigma
        ),
        Assumption::Learnt {
            what,
            factor,
            wider,
            flights,
        } => learnt(*what, *factor, *wider, *flights),
        Assumption::CanopyChanges { share } => format!(
            "on {:.0} % of falls the canopy's drag area halves or doubles on the way, assumed",
            100.0 * share
        ),
        Assumption::EarlyBurstsDrawn {
            share,
            least_diameter_share,
            most_diameter_share,
        } => format!(
            "{:.0} % of balloons burst early, at {least_diameter_share:.2} to {most_diameter_share:.2} of their diameter, assumed",
            100.0 * share
        ),
        Assumption::ReleaseDelay { two_thirds_below_s } => format!(
            "the release is late, never early: two thirds of the delays are under {}, assumed",
            duration(*two_thirds_below_s)
        ),

        // Zone and winds: the site and the ground.
        Assumption::SiteElevation { elevation_m, from } => format!(
            "the site is {} above sea level, {}, assumed",
            units.height(*elevation_m),
            from.as_deref().unwrap_or("the lowest level of the winds")
        ),
        Assumption::SiteAtSeaLevel => {
            "the site is at sea level, assumed: the plan gives no elevation".into()
        }
        Assumption::LandsAtSite => {
            "the load lands at the elevation of the site: no terrain is given".into()
        }
        Assumption::LandsWithoutTerrain { share } => format!(
            "{:.1} % of the draws land where no terrain is known: there the ground is as high as the site, assumed",
            100.0 * share
        ),
        Assumption::LandsOnCoarseTerrain {
            share,
            source,
            spacing_m,
            forecast_m,
        } => format!(
            "{:.1} % of the draws land on {source}, whose heights are {} apart: the plan's terrain counts, though the forecast's own ground is finer, {}",
            100.0 * share,
            units.distance(*spacing_m),
            units.distance(*forecast_m)
        ),
        Assumption::LandsOnForecastGround { share } => format!(
            "{:.1} % of the draws land on the forecast's own ground, which has no small hills and valleys, assumed",
            100.0 * share
        ),

        // Zone and winds: the air and the winds.
        Assumption::StandardAir => {
            "the winds come without temperature and pressure: standard atmosphere, assumed".into()
        }
        Assumption::StandardAirWithoutWinds => "standard atmosphere (U.S. 1976), assumed: volume, diameter and rate depend on the air; how much gas a lift takes out of the cylinders does not".into(),
        Assumption::LeftOut(what) => format!("left out of the winds: {what}"),
        Assumption::SoundingsContinued {
            soundings,
            lowest_top_m,
        } => format!(
            "soundings that end lower than others: {soundings}, the lowest at {} above sea level; above it the winds of the nearest higher one are taken, assumed",
            units.height(*lowest_top_m)
        ),
        Assumption::SoundingsBlended {
            soundings,
            stations,
        } => format!(
            "{soundings} soundings of {} make a field: linear in time, by inverse square distance between stations, assumed",
            match stations {
                1 => "one station".to_owned(),
                n => format!("{n} stations"),
            }
        ),
        Assumption::NearestSounding { of } => format!(
            "of {of} soundings, the one nearest to the release is used for the whole flight, assumed"
        ),
        Assumption::ForecastRunUnknown => "the files name no run and the plan has no [wind] issued: the winds are taken as an analysis, assumed".into(),
        Assumption::ProfileRunUnknown => "neither the model profile nor [wind] issued names a run: taken as an analysis, assumed".into(),
        Assumption::RunOfMeasured => "[wind] issued is not used: nothing in the file says that a model computed the winds, so they are taken as measured, assumed (a line such as \"GFS forecast\" above its table would say so)".into(),
        Assumption::ProfileTimeUnknown { profile: of } => {
            format!("the {} has no time: taken as a day old, assumed", profile(*of))
        }
        Assumption::ProfilePlaceUnknown { profile: of } => format!(
            "the {} has no place: taken as made at the site, assumed",
            profile(*of)
        ),
        Assumption::WindsMiscalled { measured: true } => "[spread] wind is \"forecast\", but these winds are a measured sounding: their error grows with age and distance".into(),
        Assumption::WindsMiscalled { measured: false } => "[spread] wind is \"sounding\", but these winds are a forecast: their error grows with its lead time".into(),
        Assumption::WindErrorCorrelation { length_m } => format!(
            "wind errors correlated over {} of height, assumed",
            units.distance(*length_m)
        ),
        Assumption::EnsembleError { members, lead_s } => format!(
            "wind error of {members} members: how they differ, and what so few members and any model miss, from published errors of {} forecasts; assumed to apply here",
            duration(*lead_s)
        ),
        Assumption::ForecastError {
            lead_s,
            sigma_m_s,
            at_m,
        } => format!(
            "wind error of a forecast of {}: {}; published errors of a leading global model (2018 to 2020), assumed to apply here",
            duration(*lead_s),
            wind_error(*sigma_m_s, *at_m, units)
        ),
        Assumption::SoundingError {
            several,
            age_s,
            distance_m,
            sigma_m_s,
            at_m,
        } => format!(
            "wind error of {} made {}: {}; from how winds differ between times and places elsewhere (profiles of six places, five grids), assumed to apply here",
            match several {
                true => "soundings, by the one that counts most,",
                false => "a sounding",
            },
            away(*age_s, *distance_m, units),
            wind_error(*sigma_m_s, *at_m, units)
        ),
        Assumption::ModelProfileError {
            model,
            lead_s,
            age_s,
            distance_m,
            sigma_m_s,
            at_m,
        } => format!(
            "wind error of a {model} forecast of {}, valid {}: {}; published errors of a leading global model (2018 to 2020) and how winds differ between times and places elsewhere, assumed to apply here",
            duration(*lead_s),
            away(*age_s, *distance_m, units),
            wind_error(*sigma_m_s, *at_m, units)
        ),

        Assumption::OneTimeHeld { time, stands_s } => format!(
            "the winds are for one time, {}: they are used for {} before and after, assumed",
            words::utc(*time),
            duration(*stands_s)
        ),
        Assumption::ReleaseOffGround(off) => off_ground(off, units),

        // Fill.
        Assumption::WeightlessFiller => "the filler on the neck weighs nothing, assumed: weigh it with the part of the hose that hangs on it, and give [balloon] filler; the weight to hang is less by that much".into(),
        Assumption::CountedAsPackages { names } => format!(
            "without a kind, counted as packages, assumed: {}",
            names.join(", ")
        ),
        Assumption::CylindersAsWarmAsAir { temperature_k } => format!(
            "cylinders without a temperature have that of the air, {}, assumed: one that has been in the sun or in a cold van differs",
            units.temperature(*temperature_k)
        ),
        Assumption::ContentsAtPressure { gauge_pa } => format!(
            "cylinders named by their contents are full, with {} on the gauge at 70 F (21 C), assumed",
            units.gauge(*gauge_pa)
        ),
        Assumption::FittedAscent => "ascent by a drag curve fitted to 34 flights and to rates at known lifts; no wind up or down".into(),
        Assumption::EarlyBursts {
            share,
            least_diameter_share,
            most_diameter_share,
        } => format!(
            "about {}, at {least_diameter_share:.2} to {most_diameter_share:.2} of the usual diameter: the deviation of the burst does not include that",
            words::bursts_early(*share, "balloon")
        ),

        // Choice.
        Assumption::SurfaceWindLimit { limit_m_s } => format!(
            "limit for the wind at the ground: {}, assumed",
            units.speed(*limit_m_s)
        ),
        Assumption::KeepOutLimit { limit_share } => format!(
            "limit for the share of draws on any one thing to keep clear of: {:.0} %, assumed",
            100.0 * limit_share
        ),
        Assumption::AllHazardsLimit { limit_share } => format!(
            "limit for the share of draws on any of the things to keep clear of: {:.1} %, twice that for one of them, assumed",
            100.0 * limit_share
        ),
        Assumption::WaterLimit { limit_share } => format!(
            "limit for the share of draws in water: {:.0} %, assumed",
            100.0 * limit_share
        ),
        Assumption::GroundWindAtStation { apart_m } => format!(
            "wind at the ground: the lowest of the sounding, taken as measured {} above the ground of its station, up to {} above or below the site, assumed; gusts are stronger",
            units.height(TOLD_AT_M),
            units.height(*apart_m)
        ),
        Assumption::GroundWindBroughtDown {
            from_m,
            roughness_m,
        } => format!(
            "wind at the ground: the lowest level of the winds, up to {} above the site, brought down to {} by a logarithmic profile with a roughness of {}, assumed; gusts are stronger",
            units.height(*from_m),
            units.height(TOLD_AT_M),
            units.size(*roughness_m)
        ),
        Assumption::DaylightLimit { limit_s } => format!(
            "daylight wanted after the landing: {}, assumed",
            duration(*limit_s)
        ),
        Assumption::HitDistances => "how near to a road, an airport or a town counts as a hit: default distances where [ground] buffers gives none, assumed".into(),
        Assumption::CoarseGround => "built-in lakes, rivers and towns are a coarse map of the world: what it does not show may be there".into(),
        Assumption::AirportsForAirspace => "the air around airports stands in for controlled airspace, by default distances and heights, assumed: charts decide".into(),
        Assumption::CarriedOver { candidates, flown } => format!(
            "of {candidates} candidates, the {flown} best were simulated fully; the others are judged by flights carried over from the middle of all, assumed"
        ),
        Assumption::ElevationOfForecast => "sites without an elevation are as high as the forecast's own ground, which is smoothed, assumed".into(),
        Assumption::ElevationAsPlanned => "sites without an elevation are as high as the plan's site, assumed".into(),
        Assumption::SameDriftNearby => "drift is the same for neighbouring places in launch regions, assumed; launch places themselves were simulated fully".into(),

        // Brief.
        Assumption::FillingBegins { before_release_s } => format!(
            "filling begins {} before the release (no [brief] filling), assumed",
            duration(*before_release_s)
        ),
        Assumption::RadioLineOfSight {
            with_terrain,
            antenna_m,
        } => {
            let ground = match with_terrain {
                true => "with the ground as high as the terrain says",
                false => "over smooth ground, no terrain is read",
            };
            format!(
                "radio: line of sight over an earth of 4/3 its radius, {ground}; antenna {} above the ground, no trees or houses, enough power, assumed",
                units.size(*antenna_m)
            )
        }
        Assumption::HeardOnPlannedFlight => "when the tracker goes quiet: last heard where the planned flight is at that height; what follows varies as planned, as if nothing had been learnt on the way, assumed".into(),

        Assumption::OfSite {
            site,
            assumption: of,
        } => format!("{site}: {}", assumption(of, units)),

        Assumption::OfSomeReleases { assumption: of } => {
            format!("of some releases: {}", assumption(of, units))
        }

        Assumption::Replaced(what) => replaced(what, units),
        Assumption::ReadOutside { files } => format!(
            "--outside: files outside of the plan's folder are read: {}",
            files.join(", ")
        ),
        Assumption::Read(reading) => reading.to_string(),
    }
}

/// What was given in place of what the plan says.
fn replaced(what: &Replaced, units: UnitSystem) -> String {
    match what {
        Replaced::Release { planned, given } => {
            let [new, old] = [given, planned].map(on_clocks);
            format!("--release: {new} in place of the plan's {old}")
        }
        Replaced::Lift {
            planned,
            neck_lift_kg,
        } => format!(
            "--lift: a neck lift of {} in place of the plan's {}",
            units.mass(*neck_lift_kg),
            planned_fill(*planned, units)
        ),
        Replaced::Site {
            given_deg: [lat_deg, lon_deg],
            moved_m,
            elevation,
            ..
        } => {
            let place = Position {
                lat_deg: *lat_deg,
                lon_deg: *lon_deg,
            };
            let elevation = elevation.as_ref().map(|of| other_elevation(of, units));
            format!(
                "--site: {} in place of the plan's, {} away{}",
                place.text(),
                units.distance(*moved_m),
                elevation.unwrap_or_default()
            )
        }
    }
}

/// A time on the clocks of a plan, as in "2026-05-01 09:40".
fn on_clocks(at: &ClockTime) -> String {
    // It comes from a time zone, so it always is one.
    let offset = Offset::from_seconds(at.offset_s).unwrap_or(Offset::UTC);
    let clock = offset.to_datetime(at.time);
    clock.strftime("%Y-%m-%d %H:%M").to_string()
}

/// What a plan fills in.
fn planned_fill(fill: PlannedFill, units: UnitSystem) -> String {
    match fill {
        PlannedFill::NeckLiftKg(kg) => format!("neck lift of {}", units.mass(kg)),
        PlannedFill::FreeLiftKg(kg) => format!("free lift of {}", units.mass(kg)),
        PlannedFill::GasVolumeM3(m3) => format!("volume of gas, {}", units.volume(m3)),
        PlannedFill::Cylinders => "cylinders emptied".to_owned(),
        PlannedFill::AscentRateMS(m_s) => format!("rate of ascent, {}", units.vertical_speed(m_s)),
        PlannedFill::BurstAltitudeM(m) => format!("altitude of the burst, {}", units.height(m)),
        PlannedFill::FlightTimeS(s) => format!("time of flight, {}", duration(s)),
    }
}

/// The elevation of a site that stands in place of the plan's.
fn other_elevation(of: &OtherElevation, units: UnitSystem) -> String {
    let from = match &of.from {
        OtherElevationFrom::Airport { code, distance_m } => format!(
            "that of the airport {code}, {} away, assumed",
            units.distance(*distance_m)
        ),
        OtherElevationFrom::Terrain => "by the terrain".to_owned(),
        OtherElevationFrom::Plan => "the plan's, assumed".to_owned(),
    };
    format!("; its elevation {}, {from}", units.height(of.elevation_m))
}

/// A note in words.
pub fn note(said: &Note, units: UnitSystem) -> String {
    match said {
        Note::ReleaseOffGround(off) => off_ground(off, units),

        // Zone and winds: the winds.
        Note::BetterWinds {
            away_s,
            away_m,
            drift_sigma_m,
            new_forecast_s,
            new_forecast_drift_sigma_m,
        } => {
            let away = [away_s.map(duration), away_m.map(|m| units.distance(m))];
            let away: Vec<String> = away.into_iter().flatten().collect();
            format!(
                "most of the zone's width is because the winds are {} away from the flight: that alone moves the landing by {} (sd); a forecast for the place and hour, from a run of the last {:.0} hours, would reduce that to about {}",
                away.join(" and "),
                units.distance(*drift_sigma_m),
                new_forecast_s / 3_600.0,
                units.distance(*new_forecast_drift_sigma_m)
            )
        }
        Note::OldWinds { away_s, measured_s } => format!(
            "the winds are {} away from the release: they say little about the winds of the flight, and no error was measured beyond {}",
            duration(*away_s),
            duration(*measured_s)
        ),
        Note::DistantWinds { away_m } => format!(
            "the winds are {} away from the site: they say little about the winds of the flight",
            units.distance(*away_m)
        ),
        Note::Cleaned(cleaning) => input_notes::of_sounding(cleaning, units),
        Note::AboveWinds { top_m, for_s } => format!(
            "no wind is known above {} above sea level: the last one is used for {} of the flight, and its error grows",
            units.height(*top_m),
            duration(*for_s)
        ),
        Note::BelowWinds { base_m, for_s } => format!(
            "no wind is known below {} above sea level: the lowest one is used for {} of the flight",
            units.height(*base_m),
            duration(*for_s)
        ),

        // Zone: the site and the landing.
        Note::ElevationOffAirport {
            site_m,
            airport_m,
            airport,
            distance_m,
        } => format!(
            "the site, at {} above sea level, is {} {} than the airport {airport}, {} away at {}: check latitude, longitude and elevation of the site",
            units.height(*site_m),
            units.height((site_m - airport_m).abs()),
            if site_m > airport_m { "higher" } else { "lower" },
            units.distance(*distance_m),
            units.height(*airport_m)
        ),
        Note::OfSite { site, note: of } => format!("{site}: {}", note(of, units)),
        Note::TimeZoneOff { timezone, ahead_s } => format!(
            "the clocks of {timezone} are {} {} the sun's at the site: check time zone and longitude",
            duration(ahead_s.abs()),
            if *ahead_s > 0.0 { "ahead of" } else { "behind" }
        ),
        Note::HardLanding {
            speed_m_s,
            hard_m_s,
            dangerous_m_s,
        } => match speed_m_s > dangerous_m_s {
            true => format!(
                "DO NOT FLY: the load lands at {}, more than {}; check parachute and masses",
                units.landing_speed(*speed_m_s),
                units.landing_speed(*dangerous_m_s)
            ),
            false => format!(
                "the load lands hard, at {}, more than {}: a larger parachute or less load",
                units.landing_speed(*speed_m_s),
                units.landing_speed(*hard_m_s)
            ),
        },
        Note::LandsInWater {
            share,
            limit_share,
            limit_assumed,
        } => format!(
            "{} of the draws come down in water, limit {}{}: think again before you release",
            percent(*share),
            percent(*limit_share),
            if *limit_assumed { " (assumed)" } else { "" }
        ),

        // Zone and winds: the draws.
        Note::DrawsLeft {
            share,
            covered,
            regions_given,
        } => format!(
            "{:.2} % of the draws left the winds, which cover {covered}: {}",
            100.0 * share,
            match regions_given {
                true => "the regions are made from the others",
                false =>
                    "no ellipse and no contour is given, as they would leave out the farthest landings",
            }
        ),
        Note::DrawsMissing { count, draws, why } => {
            format!("{count} of {draws} draws are not in the zone: {why}")
        }

        // Zone and winds: the regions.
        Note::TooFewForContours { draws, needed } => {
            format!("no contours: {draws} draws are too few for a density, {needed} are needed")
        }
        Note::TooFlatForContours => "no contours: the draws lie on a point or a line".into(),
        Note::NoContours => "no contours: a draw is not a finite number".into(),
        Note::ContourSmaller { probability, ratio } => format!(
            "the {:.0} % contour covers {:.0} % of the ellipse's area: the landings lie in a bend or in clumps inside the ellipse, so trust the contours more",
            100.0 * probability,
            100.0 * ratio
        ),
        Note::ContourInPieces { probability, count } => format!(
            "the {:.0} % contour is in {count} pieces: the landings fall into separate areas",
            100.0 * probability
        ),

        // Fill.
        Note::RatesOfPlanUnused => "the plan states rates of ascent, which `windfall zone` uses; here the rate follows from the gas".into(),
        Note::BurstAltitudeOfPlan => "the plan states the burst altitude: it does not depend on the gas here, nor in `windfall zone`".into(),
        Note::NoThresholds => "no thresholds were compared: ask for them with --rules us, icao, uk or canada".into(),
    }
}

fn off_ground(off: &OffGround, units: UnitSystem) -> String {
    format!(
        "the release, at {} above sea level, is {} {} the ground by {}, {}{}",
        units.height(off.release_m),
        units.height(off.above_m.abs()),
        if off.above_m > 0.0 { "above" } else { "below" },
        off.from,
        units.height(off.ground_m),
        match off.smoothed {
            true => "; that is smoothed between its points",
            false => ": check latitude, longitude and elevation of the site",
        }
    )
}

fn varying(what: Varying) -> &'static str {
    match what {
        Varying::Lift => "lift",
        Varying::BalloonDrag => "drag of the balloon",
        Varying::AscentRate => "rate of ascent from height to height",
        Varying::BurstDiameter => "burst diameter",
        Varying::ParachuteDragArea => "drag area of the parachute",
        Varying::StatedFallDragArea => "drag area behind the stated speed of fall",
        Varying::Remnant => "share of the balloon left on the line",
    }
}

fn profile(profile: Profile) -> &'static str {
    match profile {
        Profile::Sounding => "sounding",
        Profile::Model => "model profile",
    }
}

/// An error of the wind, by what it is at one height.
fn wind_error(sigma_m_s: f64, at_m: f64, units: UnitSystem) -> String {
    format!(
        "{} a component (sd) at {} above sea level",
        units.speed(sigma_m_s),
        units.height(at_m)
    )
}

/// A profile nearer than this was made at the site, m.
const AT_SITE_M: f64 = 1_000.0;

/// How far a profile is from the flight.
fn away(age_s: f64, distance_m: f64, units: UnitSystem) -> String {
    format!(
        "{} {} the release, {}",
        duration(age_s.abs()),
        if age_s < 0.0 { "after" } else { "before" },
        match distance_m {
            d if d < AT_SITE_M => "at the site".into(),
            d => format!("{} from the site", units.distance(d)),
        }
    )
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::notes::reading::Reading;

    #[test]
    fn what_was_replaced_is_told_in_the_units_of_the_reader() {
        let at = |text: &str| ClockTime {
            time: text.parse().unwrap(),
            offset_s: 3_600,
        };
        let all = [
            Assumption::Replaced(Replaced::Release {
                planned: at("2026-05-01T08:00:00Z"),
                given: at("2026-05-01T08:40:00Z"),
            }),
            Assumption::Replaced(Replaced::Lift {
                planned: PlannedFill::FreeLiftKg(1.0),
                neck_lift_kg: 5.0,
            }),
            Assumption::Replaced(Replaced::Site {
                planned_deg: [43.0, -108.0],
                given_deg: [43.1, -108.0],
                moved_m: 11_112.0,
                elevation: Some(OtherElevation {
                    elevation_m: 1_500.0,
                    from: OtherElevationFrom::Plan,
                }),
            }),
        ];
        let words = |units| assumptions(&all, units).join("\n");
        assert_eq!(
            words(UnitSystem::Metric),
            "--release: 2026-05-01 09:40 in place of the plan's 2026-05-01 09:00\n\
             --lift: a neck lift of 5.00 kg in place of the plan's free lift of 1.00 kg\n\
             --site: 43.1000 N, 108.0000 W in place of the plan's, 11.1 km away; its elevation 1,500 m, the plan's, assumed"
        );
        assert!(words(UnitSystem::Us).contains("its elevation 4,9"));
        let json = assumptions_json(&all, UnitSystem::Metric);
        assert_eq!(json[1]["code"], "replaced");
        assert_eq!(json[1]["option"], "lift");
        assert_eq!(json[1]["planned"], json!({"free_lift_kg": 1.0}));
        assert_eq!(json[2]["elevation"]["from"], "plan");
    }

    #[test]
    fn json_has_the_code_the_numbers_and_the_words() {
        let all = [
            Assumption::PureGas,
            Assumption::Varies {
                what: Varying::Lift,
                sigma: 0.04,
            },
            Assumption::Read(Reading::Latitude { latitude_deg: 45.0 }),
        ];
        assert_eq!(
            assumptions_json(&all, UnitSystem::Metric),
            json!([
                {"code": "pure_gas", "words": "pure gas (no gas_purity given), assumed"},
                {"code": "varies", "what": "lift", "sigma": 0.04, "words": "lift varies by 4 % (sd), assumed"},
                {"code": "latitude", "latitude_deg": 45.0, "words": "latitude 45 degrees for the conversion of geopotential heights (the file has none)"},
            ])
        );
    }

    #[test]
    fn words_are_in_the_units_of_the_reader_and_data_in_si() {
        let note = Note::AboveWinds {
            top_m: 30_480.0,
            for_s: 600.0,
        };
        let both = [UnitSystem::Metric, UnitSystem::Us]
            .map(|units| notes_json(std::slice::from_ref(&note), units));
        for (json, top) in both.iter().zip(["30,480 m", "100,000 ft"]) {
            assert_eq!(json[0]["top_m"], 30_480.0);
            assert!(json[0]["words"].as_str().unwrap().contains(top), "{json}");
        }
    }
}

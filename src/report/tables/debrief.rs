//! A flight beside its prediction, as a table for people.

use std::fmt::Write as _;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::clock::local::seems_local;
use crate::clock::seconds_between;
use crate::debrief::measured::Measured;
use crate::debrief::replay::Cause;
use crate::debrief::{Debrief, Held, WindsTeach};
use crate::plan::Plan;
use crate::report::follow_words::other_flights;
use crate::report::layout::{list, wrapped};
use crate::report::words::clock_with_zone;
use crate::units::{UnitSystem, duration};

/// A release so far from the plan's may be of another flight, s.
const OTHER_DAY_S: f64 = 43_200.0;

/// The table, with the lines for the next plan.
pub fn table(d: &Debrief, plan: &Plan, units: UnitSystem) -> String {
    let mut text = "\nThe flight beside its prediction\n\n".to_owned();
    for (name, what) in lines(d, plan, units) {
        let _ = writeln!(text, "{name:15}{what}");
    }
    text + &causes(d, units) + &next(d, plan, units)
}

/// Its lines: a name, and what is said.
pub(in crate::report) fn lines(
    d: &Debrief,
    plan: &Plan,
    units: UnitSystem,
) -> Vec<(&'static str, String)> {
    let clock = |t: Timestamp| clock_with_zone(t, &plan.timezone);
    let m = &d.measured;
    let mut lines = vec![
        (
            "release",
            format!(
                "{}, {}",
                clock(m.released),
                shift(
                    seconds_between(d.planned_release.time, m.released),
                    &plan.timezone,
                    m.released
                )
            ),
        ),
        (
            "rise",
            rate(
                d,
                0,
                d.next.mean_rate_m_s,
                "up to 10 km above the site ",
                units,
            ),
        ),
        ("burst", burst(d, plan, units)),
        ("fall", fall(d, units)),
        ("track", track(d, units)),
        (
            "landing",
            format!("{}, {}", d.landing.position.text(), landed_when(d, plan)),
        ),
        (
            "miss",
            format!(
                "{} at {:03.0} deg true of the planned landing: {}",
                units.distance(d.miss_m),
                d.miss_azimuth_deg,
                sides(d.along_across_m, units)
            ),
        ),
        (
            "planned drift",
            format!(
                "{} towards {:03.0} deg true",
                units.distance(d.drift_m),
                d.drift_azimuth_deg
            ),
        ),
    ];
    if m.floated_s > 0.0 {
        let float = format!("for {} before it fell", duration(m.floated_s));
        lines.insert(2, ("float", float));
    }
    match &d.held {
        Some(held) => lines.extend(zone_lines(held, d, units)),
        None => lines.push((
            "zone",
            "none was given: too many flights leave the winds".into(),
        )),
    }
    lines
}

fn burst(d: &Debrief, plan: &Plan, units: UnitSystem) -> String {
    let heard = match &d.measured.burst {
        Some(burst) => format!(
            "{} at {}",
            units.height(burst.altitude_m),
            clock_with_zone(burst.time, &plan.timezone)
        ),
        None => "not heard".to_owned(),
    };
    format!(
        "{heard}, planned {}",
        units.height(d.planned_burst.altitude_m)
    )
}

fn fall(d: &Debrief, units: UnitSystem) -> String {
    match d.next.landing_speed_m_s {
        Some(m_s) => rate(d, 1, m_s, "", units) + ", at sea level",
        None => "too little was heard of it to tell how fast it was".to_owned(),
    }
}

/// When it landed, or by when.
fn landed_when(d: &Debrief, plan: &Plan) -> String {
    let time = clock_with_zone(d.landing.time, &plan.timezone);
    match d.measured.down_before {
        true => format!("by {time} at the latest"),
        false => time,
    }
}

fn shift(late_s: f64, zone: &TimeZone, released: Timestamp) -> String {
    let by = match late_s {
        // Less is rounded to no minute.
        s if s.abs() < 30.0 => "as in".to_owned(),
        s if s > 0.0 => format!("{} later than in", duration(s)),
        s => format!("{} earlier than in", duration(-s)),
    };
    let doubt = match late_s.abs() > OTHER_DAY_S {
        _ if seems_local(zone, released, late_s) => {
            "; these are just the hours of the plan's zone: are the track's times local ones?"
        }
        true => "; is it the track of this flight?",
        false => "",
    };
    format!("{by} the plan{doubt}")
}

fn rate(d: &Debrief, way: usize, m_s: f64, over: &str, units: UnitSystem) -> String {
    let by = match d.ln_rates[way] {
        // Less would be told as 0 %.
        Some(ln) if ln.abs() < 0.005 => format!("; {over}as planned"),
        Some(ln) => {
            let word = if ln > 0.0 { "faster" } else { "slower" };
            format!(
                "; {over}{:.0} % {word} than planned",
                // Rates are compared by logarithms, and told as shares.
                100.0 * ln.exp_m1().abs()
            )
        }
        None => String::new(),
    };
    format!("{}{by}", units.vertical_speed(m_s))
}

fn track(d: &Debrief, units: UnitSystem) -> String {
    let m = &d.measured;
    let refused: usize = d.refused.values().sum();
    let end = match m.landed {
        true => "heard on the ground".to_owned(),
        false => format!(
            "ends in the air, at {} above sea level; the landing is estimated from there, by {} and the winds of the plan",
            units.height(m.last.altitude_m),
            match m.down.is_empty() {
                true => "the plan's rate of fall",
                false => "its rate of fall so far",
            }
        ),
    };
    let begin = match m.heard_from_m {
        // From as high on a flight counts as heard late in `follow::phase`, too.
        h if h > 400.0 => format!(
            ", heard from {} above where it was released on",
            units.height(h)
        ),
        _ => String::new(),
    };
    format!(
        "{} fixes; other lines, without one or refused: {refused}{begin}; {end}{}",
        d.accepted,
        others(d)
    )
}

/// That the track tells of other flights.
fn others(d: &Debrief) -> String {
    match d.others.fixes {
        0 => String::new(),
        fixes => format!(
            "; {}",
            other_flights(d.others.flights, fixes).trim_end_matches('.')
        ),
    }
}

pub(in crate::report) fn sides([along, across]: [f64; 2], units: UnitSystem) -> String {
    format!(
        "{} {}, {} {}",
        units.distance(along.abs()),
        if along < 0.0 { "short" } else { "long" },
        units.distance(across.abs()),
        if across < 0.0 { "left" } else { "right" }
    )
}

fn zone_lines(held: &Held, d: &Debrief, units: UnitSystem) -> Vec<(&'static str, String)> {
    let inside = |p: Option<f64>, what: &str| match p {
        Some(p) => format!("inside the {:.0} % {what}", 100.0 * p),
        None => format!("outside every {what}"),
    };
    vec![
        (
            "zone",
            format!(
                "{}, {}; {:.0} % of {} draws are nearer to its middle",
                inside(held.ellipse, "ellipse"),
                inside(held.contour, "contour"),
                100.0 * held.nearer_share,
                d.draws
            ),
        ),
        (
            "energy score",
            format!(
                "{}; the planned landing alone would score {} (less is better)",
                // What makes it fair may take it below nought by chance.
                units.distance(held.energy_m.fair.max(0.0)),
                units.distance(d.miss_m)
            ),
        ),
    ]
}

fn causes(d: &Debrief, units: UnitSystem) -> String {
    if d.causes.is_empty() {
        return "\nWhat caused the miss cannot be said: flown again as measured, the flight leaves the winds.\n"
            .into();
    }
    let mut text =
        "\nWhat caused the miss: the plan flown again, with one measured part after the other\n\n"
            .to_owned();
    for part in &d.causes {
        let name = cause_name(part.cause);
        let [along, across] = part.along_across_m;
        let _ = writeln!(
            text,
            "{name:15}{:>8}   {}",
            units.distance(along.hypot(across)),
            sides(part.along_across_m, units)
        );
    }
    let said = [in_the_rest(&d.measured), winds_teach(d.winds_teach)];
    for said in said.into_iter().flatten() {
        let _ = write!(text, "\n{}\n", wrapped(said, 96).join("\n"));
    }
    text
}

/// What of the flight was not heard and so is part of the rest.
pub(in crate::report) fn in_the_rest(m: &Measured) -> Option<&'static str> {
    match (m.burst.is_some(), m.down.is_empty()) {
        (false, _) => Some(
            "Burst and fall were not heard: what they moved it by is part of the rest, and the logbook learns nothing from them, nor about how wrong winds are.",
        ),
        (true, true) => Some(
            "Too little was heard of the fall: what it moved it by is part of the rest, and the logbook learns nothing from it, nor about how wrong winds are.",
        ),
        (true, false) => None,
    }
}

/// What a part of a miss is from.
pub(in crate::report) fn cause_name(cause: Cause) -> &'static str {
    match cause {
        Cause::Release => "release",
        Cause::Rise => "rate of rise",
        Cause::Burst => "burst",
        Cause::Fall => "fall",
        Cause::Winds => "winds (rest)",
    }
}

/// Why the winds' part says nothing of the next plan's winds, where it does not.
pub(in crate::report) fn winds_teach(teach: WindsTeach) -> Option<&'static str> {
    match teach {
        WindsTeach::Plan => None,
        WindsTeach::OfTheFlight => Some(
            "These winds were measured by the flight itself or beside it: they do not show how wrong winds known beforehand are, and the logbook learns nothing about that from this flight.",
        ),
        WindsTeach::Newer => Some(
            "These winds were made after the release: they do not show how wrong winds known beforehand are, and the logbook learns nothing about that from this flight.",
        ),
        WindsTeach::RunUnknown => Some(
            "When these winds were made is not known, as with a reanalysis: the logbook learns nothing from this flight about how wrong winds are. If they are a forecast, give its run in [wind] issued.",
        ),
    }
}

/// Lines for the next plan, and what they are worth.
fn next(d: &Debrief, plan: &Plan, units: UnitSystem) -> String {
    format!(
        "\nFor the next plan\n\n{}{}",
        lines_for_next(d),
        list(WORTH, &worth(d, plan, units))
    )
}

/// Lines for the next plan, as they stand in a plan.
pub(in crate::report) fn lines_for_next(d: &Debrief) -> String {
    let n = &d.next;
    let mut text = n.ascent.clone();
    if let (Some(rates), Some(speed)) = (&n.descent, &n.descent_by_speed) {
        // As remarks, for a plan takes one of the two.
        let commented: String = speed.lines().map(|line| format!("# {line}\n")).collect();
        text += &format!("\n{rates}\n# or in one number\n{commented}");
    }
    text
}

/// The heading over what [`worth`] says.
pub(in crate::report) const WORTH: &str = "What one flight can and cannot say";

/// What the lines for the next plan are worth.
pub(in crate::report) fn worth(d: &Debrief, plan: &Plan, units: UnitSystem) -> Vec<String> {
    let n = &d.next;
    let mut said = vec![
        "Rate of rise and burst: of this balloon with this fill. One flight cannot say how much of a different rate is due to lift and how much to drag; a weighed lift can.".to_owned(),
    ];
    if d.measured.floated_s > 0.0 {
        said.push("The float is part of the rates of its highest band, as flown; it is none of the mean rate, nor of what the logbook learns.".to_owned());
    }
    if d.measured.burst.is_some() {
        said.push("Burst: one of many kinds; a single low burst may be a weak make or one damaged balloon.".to_owned());
    }
    if n.descent.is_some() {
        said.push("Fall: the load and what was left of the balloon under this canopy; one flight cannot say how much of it hung on the line. For another burst altitude use the landing speed instead of the rates.".to_owned());
    }
    if let Some(kg) = n.neck_lift_kg {
        said.push(format!(
            "With {} of lift at the neck the plan's balloon would rise as fast, if all of the difference is lift.",
            units.mass(kg)
        ));
    }
    if let Some(m) = n.burst_diameter_m {
        said.push(format!(
            "It burst at a diameter of {}, if it was filled as planned.",
            units.size(m)
        ));
    }
    if let (Some(area), Some(kg)) = (n.drag_area_m2, n.falling_kg) {
        let coefficient = n.drag_coefficient(plan).map_or(String::new(), |c| {
            format!(", a coefficient of {c:.2} on the laid-out area")
        });
        said.push(format!(
            "Drag area {}{coefficient}, if {} fell (30 % of the balloon left on the line where the plan does not say, assumed).",
            units.surface(area),
            units.mass(kg)
        ));
    }
    if !d.measured.landed {
        said.push("No reports came from the lowest part of the fall.".into());
    }
    said
}

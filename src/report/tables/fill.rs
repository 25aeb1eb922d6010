//! A fill as a table for people.

use std::fmt::Write as _;

use super::fill_rules;
use crate::atmosphere::P0_PA;
use crate::fill::Fill;
use crate::fill::answer::{CostPerKg, FlightFacts, LiftRow, LiftRowKind, Sensitivities};
use crate::report::cautions::{COLD_GAUGE, LIFT_TEST_AT_LENGTH, filling};
use crate::report::fill_words::{
    about, burst_sigma, cylinders_are, cylinders_used, filler, fits, gas_name, measured_sum,
    rate_bounds, release, solved_from, title, weight_to_hang,
};
use crate::report::findings::concern;
use crate::report::layout::{list, wrapped};
use crate::report::{notes, warnings};
use crate::units::{FOOT_M, POUND_KG, UnitSystem, duration, thousands};

/// The whole table.
pub fn table(fill: &Fill, units: UnitSystem) -> String {
    let mut text = format!("{}\n", title(fill, "Fill"));
    let _ = writeln!(text, "for the release on {}", release(fill));
    text += &line("solved from", &solved_from(&fill.solved_from, units));
    text += "\n";
    text += &warnings::block(&warnings::of_fill(fill), units);
    text += &findings(fill, units);
    // What is done with cold hands comes before what explains it.
    text += &on_the_morning(fill, units);
    text += &masses(fill, units);
    text += &balloon(fill, units);
    if let Some(flight) = &fill.flight {
        text += &flight_lines(flight, units);
    }
    text += &lift_test(fill, units);
    if let Some(s) = &fill.sensitivities {
        text += &sensitivities(s, units);
    }
    if let Some(rules) = &fill.rules {
        text += &fill_rules::text(rules, fill.release, &fill.timezone, units);
    }
    text += &list("Notes", &notes::notes(&fill.notes, units));
    text += &list("Assumed", &notes::assumptions(&fill.assumptions, units));
    text += &list("Cautions", &filling(fill.balloon.gas.gas));
    let _ = writeln!(text, "\nwindfall {}", fill.version);
    text
}

/// A name and what it is, wrapped under itself.
fn line(name: &str, what: &str) -> String {
    let mut text = String::new();
    for (i, part) in wrapped(what, 76).iter().enumerate() {
        let name = if i == 0 { name } else { "" };
        let _ = writeln!(text, "{}", format!("{name:20}{part}").trim_end());
    }
    text
}

fn findings(fill: &Fill, units: UnitSystem) -> String {
    let mut text = String::new();
    for finding in &fill.findings {
        let head = if finding.stops {
            "DO NOT FLY"
        } else {
            "look again"
        };
        text += &line(head, &concern(&finding.concern, units));
    }
    if text.is_empty() { text } else { text + "\n" }
}

fn on_the_morning(fill: &Fill, units: UnitSystem) -> String {
    let [low, target, high] = weight_to_hang(&fill.lift_test, units);
    let lift = &fill.lift;
    let mut text = "On the morning\n".to_owned();
    text += &line(
        "hang on the filler",
        &format!("{target}; {}", filler(&fill.lift_test, units)),
    );
    text += &line(
        "low and high bound",
        &format!(
            "{low} and {high}: {:.0} % of the lift, one standard deviation",
            100.0 * fill.lift_test.bounds_share
        ),
    );
    text += &line(
        "gas",
        &format!(
            "{} of {} at the site; {} at {} and {}",
            units.volume(lift.volume_m3),
            gas_name(fill.balloon.gas.gas),
            units.volume(lift.standard_m3),
            // Suppliers sell volumes at a standard state, which is not the air of the morning.
            units.temperature(288.15),
            units.air_pressure(P0_PA)
        ),
    );
    text += &line("cylinders", &cylinders_used(&fill.cylinders, units));
    text += &line("", &cylinders_are(&fill.cylinders, units));
    text += &line("", COLD_GAUGE);
    let fits = fits(fill, units);
    let fits = fits.unwrap_or("give [site] door and shelter to see whether it fits".into());
    let across = units.size(lift.release_diameter_m);
    text += &line("across at release", &format!("{across}; {fits}"));
    text + "\n"
}

fn masses(fill: &Fill, units: UnitSystem) -> String {
    let ledger = &fill.ledger;
    let mut text = format!(
        "{:32}{:>11}{:>11}{:>12}{:>13}  {}\n",
        "Masses", "planned", "measured", "difference", "impact", ""
    );
    for item in &ledger.items {
        let planned = item
            .planned_kg
            .map_or_else(|| "-".into(), |kg| units.item_mass(kg));
        let measured = match item.measured {
            true => units.item_mass(item.mass_kg),
            false => "-".into(),
        };
        // What was not planned has nothing to differ from.
        let difference = match (item.measured, item.planned_kg) {
            (true, Some(kg)) => signed_mass(item.mass_kg - kg, units),
            _ => String::new(),
        };
        let impact = item.impact_j.map_or_else(String::new, |j| units.energy(j));
        let row = format!(
            "{:32}{planned:>11}{measured:>11}{difference:>12}{impact:>13}  {}",
            short(&item.name, 31),
            about(item, units)
        );
        let _ = writeln!(text, "{}", row.trim_end());
    }
    let sum = measured_sum(fill, units);
    // As with single items: only what was weighed differs from what was planned.
    let difference = match sum {
        Some(_) => signed_mass(ledger.load_kg - ledger.planned_kg, units),
        None => String::new(),
    };
    let _ = writeln!(
        text,
        "{:32}{:>11}{:>11}{difference:>12}",
        "all below the neck",
        units.item_mass(ledger.planned_kg),
        sum.unwrap_or_else(|| "-".into())
    );
    let open = ledger.items.len() - ledger.measured;
    // A ledger half weighed looks like a whole one: its lift is for masses that nobody has checked.
    if open > 0 {
        let _ = writeln!(
            text,
            "{open} of {} not measured yet: these count as planned. The lift is for {}.",
            ledger.items.len(),
            units.mass(ledger.load_kg)
        );
    }
    text += "Impact: the energy of each package at the touchdown, m v^2 / 2.\n";
    text + "\n"
}

fn balloon(fill: &Fill, units: UnitSystem) -> String {
    let (lift, b, site) = (&fill.lift, &fill.balloon, &fill.site);
    let mut text = String::new();
    let burst = b.burst_diameter_m.map_or_else(String::new, |d| {
        format!(", bursts at {} across", units.size(d))
    });
    text += &line(
        "balloon",
        &format!(
            "{} of latex{burst}; {} of {:.1} % purity",
            units.balloon(b.mass_kg),
            gas_name(b.gas.gas),
            100.0 * b.gas.purity
        ),
    );
    text += &line(
        "lift",
        &format!(
            "{} gross, {} at the neck, {} free beyond the load of {}",
            units.mass(lift.gross_kg),
            units.mass(lift.neck_kg),
            units.mass(lift.free_kg),
            units.mass(fill.ledger.load_kg)
        ),
    );
    let from = match site.air_from.is_empty() {
        true => "standard atmosphere".to_owned(),
        false => site.air_from.join(", "),
    };
    text += &line(
        "air at the site",
        &format!(
            "{}, {} at {} above sea level, by {from}",
            units.temperature(site.temperature_k),
            units.air_pressure(site.pressure_pa),
            units.height(site.altitude_m)
        ),
    );
    text
}

fn flight_lines(flight: &FlightFacts, units: UnitSystem) -> String {
    let mut text = String::new();
    // What a watcher can check with a clock: how soon it is some 10,000 ft up.
    let low = flight.low_climb_s.map_or_else(String::new, |s| {
        format!(
            "; {} above the site after {}",
            units.height(3_000.0),
            duration(s)
        )
    });
    text += &line(
        "rises",
        &format!(
            "at {} at release ({}), {} on average{low}",
            units.vertical_speed(flight.release_rate_m_s),
            rate_bounds(flight, units),
            units.vertical_speed(flight.mean_rate_m_s)
        ),
    );
    text += &line(
        "bursts",
        &format!(
            "at {} above sea level after {}; one standard deviation {}, of {}",
            units.height(flight.burst_m),
            duration(flight.rise_s),
            units.height(flight.burst_sigma_m),
            burst_sigma(&flight.burst_sigma_of, units)
        ),
    );
    let speeds: Vec<String> = flight
        .fall_speeds
        .iter()
        .map(|fall| {
            format!(
                "{} at {}",
                units.vertical_speed(fall.speed_m_s),
                units.height(fall.altitude_m)
            )
        })
        .collect();
    text += &line(
        "falls",
        &format!(
            "at {} above sea level, touches down at {}",
            speeds.join(", "),
            units.landing_speed(flight.touchdown_m_s)
        ),
    );
    let whole = duration(flight.rise_s + flight.fall_s);
    text += &line(
        "in the air for",
        &format!(
            "{whole}: {} up, {} down",
            duration(flight.rise_s),
            duration(flight.fall_s)
        ),
    );
    text
}

fn lift_test(fill: &Fill, units: UnitSystem) -> String {
    let test = &fill.lift_test;
    let mut text = format!(
        "\n{:26}{:>12}{:>12}{:>14}{:>14}{:>12}  {}\n",
        "Lift test: it just lifts", "free lift", "gas", "rises", "bursts at*", "flies for", ""
    );
    for row in &test.rows {
        let _ = writeln!(text, "{}", lift_row(row, fill, units).trim_end());
    }
    text += "* above sea level; rises: at release\n";
    text += "  Only the filler (the tube to fill through) and the weight on the neck; straight up, in a lull, three times.\n";
    text += LIFT_TEST_AT_LENGTH;
    let _ = writeln!(
        text,
        "  {:>12}{:>16}{:>8}{:>24}",
        "steady wind", "pulls sideways", "lean", "spring scale too high"
    );
    for w in &test.wind {
        let _ = writeln!(
            text,
            "  {:>12}{:>16}{:>8}{:>24}",
            units.speed(w.wind_m_s),
            units.mass(w.pull_kg),
            format!("{:.0} deg", w.lean_deg),
            units.small_mass(w.too_much_kg)
        );
    }
    text
}

fn lift_row(row: &LiftRow, fill: &Fill, units: UnitSystem) -> String {
    let [rises, bursts, flies] = match row.flight {
        Some(flight) => [
            units.vertical_speed(flight.release_rate_m_s),
            units.height(flight.burst_m),
            duration(flight.whole_s),
        ],
        None => ["-".into(), "-".into(), "no flight".into()],
    };
    let which = match row.which {
        LiftRowKind::Target => "<- target",
        // Both bounds are of one kind; the target lies between them.
        LiftRowKind::Bound if row.hang_kg < fill.lift_test.hang_kg => "<- low bound",
        LiftRowKind::Bound => "<- high bound",
        LiftRowKind::Asked => "<- as lifted",
        LiftRowKind::Other => "",
    };
    format!(
        "{:>26}{:>12}{:>12}{rises:>14}{bursts:>14}{flies:>12}  {which}",
        units.both_weights(row.hang_kg),
        units.mass(row.free_kg),
        units.volume(row.volume_m3)
    )
}

fn sensitivities(s: &Sensitivities, units: UnitSystem) -> String {
    let (one, unit, kg) = match units {
        UnitSystem::Metric => ("a", "gram", 1e-3),
        UnitSystem::Us => ("an", "ounce", POUND_KG / 16.0),
    };
    let mut text = format!(
        "\n{:44}{:>16}{:>12}{:>12}\n",
        format!("What each {unit} costs"),
        "rate at release",
        "burst",
        "gas"
    );
    for (what, change) in [
        (format!("{one} {unit} more of load, same gas"), s.load),
        (
            format!("{one} {unit} more of load, same rate"),
            s.load_at_rate,
        ),
        (format!("{one} {unit} more of lift: gas"), s.lift),
    ] {
        let [rate, burst, gas] = costs(change, kg, units);
        let _ = writeln!(text, "{what:44}{rate:>16}{burst:>12}{gas:>12}");
    }
    let percent = height_change(s.burst_m_a_percent, units);
    let _ = writeln!(
        text,
        "{:44}{:>16}{percent:>12}",
        "one percent more of burst diameter", ""
    );
    text
}

fn costs(change: CostPerKg, kg: f64, units: UnitSystem) -> [String; 3] {
    let (rate, gas) = (kg * change.rate_m_s_kg, kg * change.gas_m3_kg);
    let [rate, gas] = match units {
        UnitSystem::Metric => [
            format!("{:+.2} mm/s", 1_000.0 * rate),
            format!("{:+.2} L", 1_000.0 * gas),
        ],
        UnitSystem::Us => [
            format!("{:+.2} ft/min", rate / FOOT_M * 60.0),
            format!("{:+.2} ft3", gas / FOOT_M.powi(3)),
        ],
    };
    [
        plus_zero(rate),
        height_change(kg * change.burst_m_kg, units),
        plus_zero(gas),
    ]
}

fn height_change(m: f64, units: UnitSystem) -> String {
    plus_zero(match units {
        UnitSystem::Metric => format!("{m:+.1} m"),
        UnitSystem::Us => format!("{:+.0} ft", m / FOOT_M),
    })
}

/// Without the sign of a number that rounds to nothing.
fn plus_zero(text: String) -> String {
    let number = text.split(' ').next().unwrap_or("");
    let zero = !number.contains(|c: char| ('1'..='9').contains(&c));
    match (zero, text.strip_prefix(['-', '+'])) {
        (true, Some(rest)) => rest.to_owned(),
        _ => text,
    }
}

fn signed_mass(kg: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Metric => {
            let grams = (1_000.0 * kg).round();
            let sign = if grams > 0.0 { "+" } else { "" };
            format!("{sign}{} g", thousands(grams))
        }
        UnitSystem::Us => plus_zero(format!("{:+.1} oz", 16.0 * kg / POUND_KG)),
    }
}

/// A name cut to a width.
fn short(name: &str, width: usize) -> String {
    match name.chars().count() <= width {
        true => name.to_owned(),
        false => name.chars().take(width - 3).collect::<String>() + "...",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_has_no_sign() {
        assert_eq!(plus_zero("-0.00 mm/s".into()), "0.00 mm/s");
        assert_eq!(plus_zero("+0.00 ft3".into()), "0.00 ft3");
        assert_eq!(plus_zero("-0.01 m".into()), "-0.01 m");
        assert_eq!(plus_zero("+3.0 m".into()), "+3.0 m");
        assert_eq!(signed_mass(-0.0302, UnitSystem::Metric), "-30 g");
    }
}

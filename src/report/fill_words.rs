//! Numbers of a fill in words that table and card share.

use crate::fill::Fill;
use crate::fill::answer::{CylinderUse, Finding, FlightFacts, LiftTest};
use crate::units::{UnitSystem, thousands};
use crate::vehicle::balloon::Gas;

/// What stands before a finding.
pub fn heading(finding: &Finding) -> &'static str {
    if finding.stops {
        "DO NOT FLY"
    } else {
        "LOOK AGAIN"
    }
}

/// Whether the filled balloon fits where it has to.
pub fn fits(fill: &Fill, units: UnitSystem) -> Option<String> {
    let openings = fill.lift.openings.iter().map(|(what, side, fits)| {
        let how = if *fits { "fits" } else { "does NOT fit" };
        format!("{how} the {what} of {}", units.size(*side))
    });
    let openings: Vec<String> = openings.collect();
    (!openings.is_empty()).then(|| openings.join(", "))
}

/// The sum of what was measured: only where everything was.
pub fn measured_sum(fill: &Fill, units: UnitSystem) -> Option<String> {
    let ledger = &fill.ledger;
    (ledger.measured == ledger.items.len()).then(|| units.item_mass(ledger.load_kg))
}

/// The gas, in words.
pub fn gas_name(gas: Gas) -> &'static str {
    match gas {
        Gas::Helium => "helium",
        Gas::Hydrogen => "hydrogen",
    }
}

/// What the fill takes out of the cylinders.
pub fn cylinders_used(used: &CylinderUse, units: UnitSystem) -> String {
    let emptied = &used.emptied;
    let whole = match (emptied.whole, used.at_hand) {
        (0, _) => String::new(),
        (1, _) => "one emptied".to_owned(),
        (n, _) => format!("{n} emptied"),
    };
    let next = emptied.gauge_left_pa.map(|gauge| {
        let which = if emptied.whole == 0 {
            "the first"
        } else {
            "the next"
        };
        format!(
            "{which} down to {} on the gauge ({:.0} % used)",
            units.gauge(gauge),
            100.0 * emptied.share_of_next
        )
    });
    let mut text = match (whole.is_empty(), next) {
        (false, Some(next)) => format!("{whole}, {next}"),
        (true, Some(next)) => next,
        (_, None) => whole,
    };
    if used.short_m3 > 0.0 {
        text += &format!("; {} short", units.volume(used.short_m3));
    } else if used.at_hand && used.left_m3 > 0.005 {
        text += &format!("; {} left over", units.volume(used.left_m3));
    }
    text
}

/// What the cylinders are.
pub fn cylinders_are(used: &CylinderUse, units: UnitSystem) -> String {
    let kinds: Vec<String> = used
        .cylinders
        .iter()
        .map(|c| {
            format!(
                "{} of {:.0} L at {} on the gauge, {}",
                thousands(f64::from(c.count)),
                1_000.0 * c.water_volume_m3,
                units.gauge(c.gauge_pa),
                units.temperature(c.temperature_k)
            )
        })
        .collect();
    let assumed = match used.at_hand {
        true => "",
        false => "a usual size, assumed: ",
    };
    format!(
        "{assumed}{}; they give {} at the site, {:.1} % less than an ideal gas would",
        kinds.join("; "),
        units.volume(used.give_m3),
        100.0 * used.less_than_ideal
    )
}

/// The weight to hang, with its bounds.
pub fn weight_to_hang(test: &LiftTest, units: UnitSystem) -> [String; 3] {
    [test.bounds_kg[0], test.hang_kg, test.bounds_kg[1]].map(|kg| {
        if kg > 0.0 {
            units.both_weights(kg)
        } else {
            "nothing (not even the filler is lifted)".to_owned()
        }
    })
}

/// How sure the rate at release is when the lift is known.
pub fn rate_bounds(flight: &FlightFacts, units: UnitSystem) -> String {
    let [low, high] = flight
        .release_rate_bounds_m_s
        .map(|m_s| units.vertical_speed(m_s));
    format!(
        "{low} to {high}: drag known to {:.0} %",
        100.0 * flight.drag_share
    )
}

/// The filler, in words.
pub fn filler(test: &LiftTest, units: UnitSystem) -> String {
    match test.filler_known {
        true => format!("the filler of {} counted", units.small_mass(test.filler_kg)),
        false => "the filler not counted: its weight is not in the plan".to_owned(),
    }
}

/// The title, with the flight's name.
pub fn title(fill: &Fill, what: &str) -> String {
    match fill.name.as_str() {
        "" => what.to_owned(),
        name => format!("{what}: {name}"),
    }
}

/// The planned release in people's time.
pub fn release(fill: &Fill) -> String {
    let local = fill.release.to_zoned_datetime(fill.timezone.clone());
    local.strftime("%a %Y-%m-%d %H:%M %Z").to_string()
}

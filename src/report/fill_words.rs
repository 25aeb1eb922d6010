//! Numbers of a fill in words that table and card share.

use crate::fill::Fill;
use crate::fill::answer::{
    BurstSigma, CylinderKind, CylinderUse, FlightFacts, KnownFill, LedgerItem, LiftTest,
    OpeningKind, SolvedFrom, UsualCylinders,
};
use crate::fill::findings::Finding;
use crate::units::{CUBIC_FOOT_M3, POUND_KG, UnitSystem, duration, thousands};
use crate::vehicle::balloon::Gas;

/// What stands before a finding.
pub fn heading(finding: &Finding) -> &'static str {
    if finding.stops {
        "DO NOT FLY"
    } else {
        LOOK_AGAIN
    }
}

/// Heads what does not stop a flight by itself.
pub const LOOK_AGAIN: &str = "LOOK AGAIN";

/// The unit in which weights to hang are round, kg.
pub fn round_in_kg(units: UnitSystem) -> f64 {
    match units {
        UnitSystem::Metric => 1.0,
        UnitSystem::Us => POUND_KG,
    }
}

/// What was known of the fill.
pub fn solved_from(from: &SolvedFrom, units: UnitSystem) -> String {
    let what = match from.known {
        KnownFill::NeckLift { neck_lift_kg } => {
            format!("a neck lift of {}", units.mass(neck_lift_kg))
        }
        KnownFill::FreeLift { free_lift_kg } => {
            format!("a free lift of {}", units.mass(free_lift_kg))
        }
        KnownFill::GasVolume { volume_m3 } => {
            format!("a gas volume of {} at the site", units.volume(volume_m3))
        }
        KnownFill::CylindersEmptied => "the cylinders, emptied".to_owned(),
        KnownFill::Amount { amount_mol } => format!("{amount_mol:.1} mol of gas"),
        KnownFill::AscentRate { rate_m_s } => {
            format!("an ascent of {} at release", units.vertical_speed(rate_m_s))
        }
        KnownFill::BurstAltitude { burst_m } => {
            format!("a burst at {} above sea level", units.height(burst_m))
        }
        KnownFill::FlightTime { whole_s } => format!("a flight of {}", duration(whole_s)),
    };
    match from.by_plan {
        true => format!("{what}, as the plan says"),
        false => format!("{what}, in place of the plan's fill"),
    }
}

/// What the spread of the burst altitude is of.
pub fn burst_sigma(of: &BurstSigma, units: UnitSystem) -> String {
    match *of {
        BurstSigma::LiftAndDiameter {
            lift_share,
            diameter_share,
        } => format!(
            "{:.0} % of the lift and {:.0} % of the burst diameter",
            100.0 * lift_share,
            100.0 * diameter_share
        ),
        BurstSigma::LiftAndAltitude {
            lift_share,
            altitude_sigma_m,
        } => format!(
            "{:.0} % of the lift and {} of burst altitude",
            100.0 * lift_share,
            units.height(altitude_sigma_m)
        ),
        BurstSigma::StatedAltitude { burst_m } => format!("the stated {}", units.height(burst_m)),
        BurstSigma::DiameterAtStatedAltitude { diameter_share } => format!(
            "what {:.0} % of burst diameter would be",
            100.0 * diameter_share
        ),
    }
}

/// Length and strength of a line, faces of a box, size of a parachute; may be empty.
pub fn about(item: &LedgerItem, units: UnitSystem) -> String {
    let length = item.length_m.map(|m| units.size(m));
    let strength = item
        .strength_n
        .map(|n| format!("breaks at {}", units.force(n)));
    let face = item
        .area_density_kg_m2
        .map(|density| format!("{} on its smallest face", units.area_density(density)));
    let laid_out = item
        .laid_out_m
        .map(|m| format!("{} laid out", units.size(m)));
    let parts: Vec<String> = [length, strength, face, laid_out]
        .into_iter()
        .flatten()
        .collect();
    parts.join(", ")
}

/// What the filled balloon has to fit in or through.
pub fn opening_name(kind: OpeningKind) -> &'static str {
    match kind {
        OpeningKind::Shelter => "shelter",
        OpeningKind::Door => "door",
    }
}

/// Whether the filled balloon fits where it has to.
pub fn fits(fill: &Fill, units: UnitSystem) -> Option<String> {
    let openings = fill.lift.openings.iter().map(|opening| {
        let how = match opening.fits {
            true => "fits",
            false => "does NOT fit",
        };
        let what = opening_name(opening.kind);
        format!("{how} the {what} of {}", units.size(opening.side_m))
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
    if !used.at_hand {
        return "the plan names none".to_owned();
    }
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
    // Less than this would be written as nothing.
    } else if used.at_hand && used.left_m3 > 0.005 {
        text += &format!("; {} left over", units.volume(used.left_m3));
    }
    text
}

/// What the cylinders are.
pub fn cylinders_are(used: &CylinderUse, units: UnitSystem) -> String {
    if !used.at_hand {
        return usual_cylinders(&used.usual, units);
    }
    let kinds: Vec<String> = used
        .cylinders
        .iter()
        .map(|c| {
            format!(
                "{} of {} at {} on the gauge, {}",
                thousands(f64::from(c.count)),
                units.cylinder(c.water_volume_m3),
                units.gauge(c.gauge_pa),
                units.temperature(c.temperature_k)
            )
        })
        .collect();
    format!(
        "{}; they give {} at the site, {:.1} % less than an ideal gas would",
        kinds.join("; "),
        units.volume(used.give_m3),
        100.0 * used.less_than_ideal
    )
}

/// The weight to hang, with its bounds.
pub fn weight_to_hang(test: &LiftTest, units: UnitSystem) -> [String; 3] {
    [test.bounds_kg[0], test.hang_kg, test.bounds_kg[1]].map(|kg| {
        // The filler alone may weigh more than the balloon lifts.
        if kg > 0.0 {
            units.both_weights(kg)
        } else {
            "nothing (it does not even lift the filler)".to_owned()
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
        true => format!(
            "on top of the filler's own {}",
            units.small_mass(test.filler_kg)
        ),
        false => "less the filler's own weight, which is not in the plan".to_owned(),
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

/// What is needed, in whole tenths: rounded up, as a crew that brings less comes short.
fn tenths(needed: f64) -> f64 {
    // What is a tenth but for the last bits is that tenth.
    (10.0 * needed - 1e-9).ceil() / 10.0
}

/// How many of the usual cylinders a fill takes.
fn usual_cylinders(usual: &[UsualCylinders], units: UnitSystem) -> String {
    let one = |of: &UsualCylinders| match of.kind {
        CylinderKind::Contents { contents_m3 } => format!(
            // Suppliers name these by cubic feet, whatever units a plan is read in.
            "{:.1} of {:.0} ft3 at 70 F and 14.7 psi",
            tenths(of.needed),
            contents_m3 / CUBIC_FOOT_M3
        ),
        CylinderKind::Pressure {
            water_volume_m3,
            gauge_pa,
        } => format!(
            "{:.1} of {} at {}",
            tenths(of.needed),
            units.cylinder(water_volume_m3),
            units.gauge(gauge_pa)
        ),
    };
    let all: Vec<String> = usual.iter().map(one).collect();
    format!(
        "it takes, of the usual kinds (common practice, no source), {}",
        all.join(", or ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_needed_is_never_told_as_less() {
        let told = [1.007_7, 1.0, 0.949_9, 2.3, 0.04].map(tenths);
        assert_eq!(told, [1.1, 1.0, 1.0, 2.3, 0.1]);
    }
}

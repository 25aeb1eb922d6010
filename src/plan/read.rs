//! The sections of a plan about what flies, read into a [`StackPlan`].

use toml::de::DeTable;

use super::document::{Faults, Section, quantity};
use super::filling;
use super::named_files::Files;
use super::stack::{Ascent, BalloonPlan, Descent, LoadItem, LoadKind, ParachutePlan, StackPlan};
use super::{KG, M, M_S, SHARE, SpreadPlan};
use crate::flight::rates::RateTable;
use crate::sizing::Known;
use crate::units::Dimension;
use crate::vehicle::balloon::{Gas, LiftingGas};
use crate::vehicle::burst::Burst;
use crate::vehicle::latex::LatexTable;

/// What flies, and the balloons by mass; `None` (and noted) for what is missing or wrong.
pub fn stack<'a>(
    root: &'a DeTable<'a>,
    files: &mut Files,
    faults: &mut Faults,
) -> (Option<StackPlan>, Option<LatexTable>) {
    let balloon = Section::of(root, "balloon", faults);
    let balloons = filling::balloon_table(&balloon, files, faults);
    let ascent_section = Section::of(root, "ascent", faults);
    let ascent = ascent(&ascent_section, &balloon, balloons.as_ref(), faults);
    let cylinders = filling::cylinders(root, &balloon, faults);
    let load: Vec<LoadItem> = Section::all_of(root, "load", faults)
        .iter()
        .filter_map(|section| load_item(section, faults))
        .collect();
    let parachute_section = Section::of(root, "parachute", faults);
    let parachute = parachute(&parachute_section, faults);
    let descent_section = Section::of(root, "descent", faults);
    let with_balloon = balloon.exists();
    let descent = descent(&descent_section, &parachute_section, parachute, faults);
    // Beside a stated speed it is a fault already.
    if let Some(Descent::Parachute { remnant, .. }) = &descent
        && !with_balloon
    {
        no_remnant(&descent_section, *remnant, faults);
    }
    let by_lift = matches!(ascent, Some(Ascent::Balloon(_)));
    let by_drag = matches!(descent, Some(Descent::Parachute { .. }));
    // Stated rates hold whatever the stack weighs.
    // Of items that are there it is told already what is wrong with them.
    let no_load = root.get("load").is_none_or(|load| {
        let items = load.get_ref().as_array();
        items.is_some_and(|items| items.is_empty())
    });
    if no_load && (by_lift || by_drag) {
        let expected =
            "at least one [[load]] with name and mass: the stack's weight sets rise and fall";
        faults.note(None, "[[load]]", "nothing", expected);
    }
    let stack = ascent.zip(descent).map(|(ascent, descent)| StackPlan {
        load,
        ascent,
        descent,
        cylinders,
    });
    (stack, balloons)
}

fn ascent(
    s: &Section,
    balloon_section: &Section,
    balloons: Option<&LatexTable>,
    faults: &mut Faults,
) -> Option<Ascent> {
    s.allow(&["rate", "rates", "burst_altitude"], faults);
    let rates = rates(s, "rate", 0.2..=30.0, faults);
    let burst_altitude_m = s.quantity("burst_altitude", M, 100.0..=50_000.0, faults);
    // Also where rates are stated: it says when it bursts, and its faults are to be told.
    let balloon = balloon(balloon_section, burst_altitude_m, balloons, faults);
    let wanted = balloon.as_ref().map(|b| b.fill);
    if matches!(wanted, Some(Known::BurstAltitude(_))) && burst_altitude_m.is_some() {
        s.wrong(
            "burst_altitude",
            "a stated burst together with a wanted one",
            "[ascent] burst_altitude or [balloon] burst_altitude, not both",
            faults,
        );
    }
    if !balloon_section.exists() {
        if !s.has("rate") && !s.has("rates") {
            s.missing(
                "rate",
                "[balloon] with mass, gas and fill, or [ascent] with rate and burst_altitude",
                faults,
            );
        }
        if !s.has("burst_altitude") {
            s.missing("burst_altitude", BURST_EXPECTED, faults);
        }
        return Some(Ascent::Rates {
            rates: rates?,
            burst_altitude_m: burst_altitude_m?,
        });
    }
    Some(match rates {
        None => Ascent::Balloon(balloon?),
        Some(rates) => Ascent::BalloonAtRates(balloon?, rates),
    })
}

/// How a plan may say when the balloon bursts.
const BURST_EXPECTED: &str = "[balloon] burst_diameter, as in \"8.6 m\", or [ascent] burst_altitude, as in \"30 km\"; no table of balloons has this mass";

fn descent(
    s: &Section,
    parachute_section: &Section,
    parachute: Option<ParachutePlan>,
    faults: &mut Faults,
) -> Option<Descent> {
    s.allow(&["landing_speed", "rates", "remnant"], faults);
    s.only_one(&["landing_speed", "rates"], faults);
    let landing_speed_m_s = s.quantity("landing_speed", M_S, 0.5..=60.0, faults);
    let rates = rate_table(s, 0.5..=200.0, faults);
    let remnant = s.quantity("remnant", SHARE, 0.0..=1.0, faults);
    let stated = s.has("landing_speed") || s.has("rates");
    if stated && s.has("remnant") {
        let found = "what stays on the line together with a stated speed";
        let expected =
            "remnant beside [parachute] alone: a stated speed holds whatever hangs there";
        s.wrong("remnant", found, expected, faults);
    }
    if !stated && !parachute_section.exists() {
        parachute_section.missing(
            "diameter",
            "[parachute] with diameter, or [descent] with landing_speed or rates",
            faults,
        );
    }
    match (landing_speed_m_s, rates) {
        // Where both stand that is noted already, and either will do to read on.
        (Some(landing_speed_m_s), _) => Some(Descent::LandingSpeed {
            landing_speed_m_s,
            parachute,
        }),
        (None, Some(rates)) => Some(Descent::Rates { rates, parachute }),
        // What is stated wrongly is noted already; a parachute must not take its place unasked.
        (None, None) if stated => None,
        (None, None) => Some(Descent::Parachute {
            parachute: parachute?,
            remnant,
        }),
    }
}

/// Notes a share of a balloon that there is not; that nothing of it stays is true.
fn no_remnant(s: &Section, remnant: Option<f64>, faults: &mut Faults) {
    if remnant.is_some_and(|share| share > 0.0) {
        let found = "what stays on the line of a balloon, and no balloon";
        let expected = "remnant beside [balloon]: it is a share of the balloon's mass";
        s.wrong("remnant", found, expected, faults);
    }
}

/// Notes what a spread says of a fall that goes by something else: it would be passed over. Nothing is said by 0.
pub fn check_spread(s: &Section, spread: &SpreadPlan, stack: &StackPlan, faults: &mut Faults) {
    let varies = |share: Option<f64>| share.is_some_and(|share| share > 0.0);
    let by_parachute = matches!(stack.descent, Descent::Parachute { .. });
    if varies(spread.remnant) && !(by_parachute && stack.ascent.balloon().is_some()) {
        let found = "a spread of what stays on the line, on which this fall does not depend";
        let expected = "remnant where the fall goes by [parachute] and there is a [balloon]";
        s.wrong("remnant", found, expected, faults);
    }
    if varies(spread.canopy_changes) && matches!(stack.descent, Descent::Rates { .. }) {
        let found =
            "changes of the canopy together with [descent] rates, which hold at every height";
        s.wrong(
            "canopy_changes",
            found,
            "[descent] landing_speed or [parachute], or no canopy_changes",
            faults,
        );
    }
}

/// One rate under `key`, or a table of them under `rates`.
fn rates(
    s: &Section,
    key: &'static str,
    range: std::ops::RangeInclusive<f64>,
    faults: &mut Faults,
) -> Option<RateTable> {
    s.only_one(&[key, "rates"], faults);
    let one = s.quantity(key, M_S, range.clone(), faults);
    let table = rate_table(s, range, faults);
    one.map(RateTable::constant).or(table)
}

fn rate_table(
    s: &Section,
    range: std::ops::RangeInclusive<f64>,
    faults: &mut Faults,
) -> Option<RateTable> {
    let what = "pairs of altitude and rate, as in [[\"0 m\", \"4.5 m/s\"], [\"10 km\", \"4 m/s\"]]";
    let rows = s.pairs("rates", what, faults, |altitude, rate, path, faults| {
        let altitude = quantity(altitude, path, M, -500.0..=60_000.0, faults);
        altitude.zip(quantity(rate, path, M_S, range.clone(), faults))
    })?;
    let table = RateTable::new(rows);
    if table.is_none() {
        let found = "altitudes that do not rise from pair to pair";
        s.wrong("rates", found, what, faults);
    }
    table
}

fn balloon(
    s: &Section,
    burst_altitude_m: Option<f64>,
    balloons: Option<&LatexTable>,
    faults: &mut Faults,
) -> Option<BalloonPlan> {
    let own = [
        "mass",
        "burst_diameter",
        "table",
        "gas",
        "gas_purity",
        "filler",
    ];
    s.allow(&[&own[..], &filling::FILLS].concat(), faults);
    if !s.exists() {
        return None;
    }
    if !s.has("mass") {
        s.missing(
            "mass",
            "the mass of the empty balloon, as in \"1200 g\"",
            faults,
        );
    }
    let mass_kg = s.quantity("mass", KG, 0.005..=20.0, faults);
    let burst_diameter_m = s.quantity("burst_diameter", M, 0.3..=30.0, faults);
    let gas = gas(s, faults);
    let purity = s.number(
        "gas_purity",
        "the share of gas by volume",
        0.5..=1.0,
        faults,
    );
    let filler_kg = s.quantity("filler", KG, 0.0..=10.0, faults);
    let fill = filling::fill(s, faults);
    // Only after all keys are read: each has noted its own fault by now.
    let (mass_kg, gas, fill) = (mass_kg?, gas?, fill?);
    let (burst, diameter_from) = match (burst_altitude_m, burst_diameter_m) {
        // The altitude decides; the diameter is kept for thresholds that ask for it.
        (Some(altitude_m), diameter_m) => {
            let burst = Burst::Altitude {
                altitude_m,
                diameter_m,
            };
            (burst, None)
        }
        (None, Some(diameter_m)) => (Burst::Diameter { diameter_m }, None),
        (None, None) => burst_of_table(s, mass_kg, balloons?, faults)?,
    };
    Some(BalloonPlan {
        mass_kg,
        burst,
        diameter_from,
        gas: LiftingGas {
            gas,
            purity: purity.unwrap_or(1.0),
        },
        purity_given: purity.is_some(),
        fill,
        filler_kg,
    })
}

/// The burst that a table gives to a balloon, and which table that is; noted where none does.
fn burst_of_table(
    s: &Section,
    mass_kg: f64,
    balloons: &LatexTable,
    faults: &mut Faults,
) -> Option<(Burst, Option<String>)> {
    let Some(found) = balloons.look_up(mass_kg) else {
        s.missing("burst_diameter", BURST_EXPECTED, faults);
        return None;
    };
    let burst = Burst::Diameter {
        diameter_m: found.burst_diameter_m,
    };
    Some((burst, Some(found.from)))
}

fn gas(s: &Section, faults: &mut Faults) -> Option<Gas> {
    let expected = "\"helium\" or \"hydrogen\"";
    match s.text("gas", expected, faults) {
        Some("helium") => Some(Gas::Helium),
        Some("hydrogen") => Some(Gas::Hydrogen),
        Some(other) => {
            s.wrong("gas", format!("\"{other}\""), expected, faults);
            None
        }
        None => {
            if !s.has("gas") {
                s.missing("gas", expected, faults);
            }
            None
        }
    }
}

fn load_item(s: &Section, faults: &mut Faults) -> Option<LoadItem> {
    let known = [
        "name",
        "kind",
        "mass",
        "measured",
        "length",
        "mass_per_length",
        "strength",
        "smallest_face",
    ];
    s.allow(&known, faults);
    let name = s
        .text("name", "a name in quotes", faults)
        .unwrap_or("unnamed");
    let length_m = s.small_quantity("length", M, 0.01..=1_000.0, faults);
    let planned_kg = filling::planned_mass(s, length_m, faults);
    let measured_kg = s.quantity("measured", KG, 0.0..=100.0, faults);
    if !s.has("mass") && !s.has("mass_per_length") && !s.has("measured") {
        let expected = "a mass, as in \"0.95 kg\", or measured, or length and mass_per_length";
        s.missing("mass", expected, faults);
    }
    let expected = "two sides, as in \"15 cm x 20 cm\"";
    let sides = filling::sides(s, "smallest_face", expected, 2..=2, faults);
    let strength_n = s.quantity("strength", Dimension::Force, 1.0..=100_000.0, faults);
    // Nothing else has a length or a strength.
    let line = length_m.is_some() || strength_n.is_some();
    Some(LoadItem {
        name: name.to_owned(),
        // What was on the scales counts more than what was planned.
        mass_kg: measured_kg.or(planned_kg)?,
        planned_kg,
        measured: measured_kg.is_some(),
        kind: filling::kind(s, faults).or(line.then_some(LoadKind::Line)),
        smallest_face_m: sides.and_then(|sides| Some((*sides.first()?, *sides.get(1)?))),
        length_m,
        strength_n,
    })
}

fn parachute(s: &Section, faults: &mut Faults) -> Option<ParachutePlan> {
    s.allow(
        &["diameter", "drag_coefficient", "mass", "measured"],
        faults,
    );
    if !s.exists() {
        return None;
    }
    if !s.has("diameter") {
        s.missing("diameter", "the laid-out diameter, as in \"2.1 m\"", faults);
    }
    let what = "on the laid-out area: 0.75 for a flat circular canopy";
    let drag_coefficient = s.number("drag_coefficient", what, 0.1..=3.0, faults);
    let planned_kg = s.quantity("mass", KG, 0.0..=20.0, faults);
    let measured_kg = s.quantity("measured", KG, 0.0..=20.0, faults);
    Some(ParachutePlan {
        diameter_m: s.quantity("diameter", M, 0.1..=20.0, faults)?,
        drag_coefficient,
        mass_kg: measured_kg.or(planned_kg).unwrap_or(0.0),
        planned_kg,
        measured: measured_kg.is_some(),
    })
}
